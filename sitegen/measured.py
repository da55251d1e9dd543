"""The measures as a list, for whoever writes criteria: ids, units, what each is in a line."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sitegen.vocabulary import Measure

FORMAT = 1
_COMPARED = {"ratio": "compared as a ratio", "difference": "compared as a difference", "": ""}


def found(measures: Sequence[Measure], words: Sequence[str]) -> list[Measure]:
    """Those that hold every word in id, title or method, by id."""
    asked = [word.casefold() for word in words]
    return sorted(
        (
            each
            for each in measures
            if all(word in f"{each.id} {each.title} {each.method}".casefold() for word in asked)
        ),
        key=lambda each: each.id,
    )


def as_text(measures: Sequence[Measure]) -> str:
    """A line each: id, unit, title, and what a criterion has to know of it."""
    ids = max(len(each.id) for each in measures)
    units = max(len(each.unit) for each in measures)
    lines = [f"{each.id:<{ids}}  {each.unit:<{units}}  {'; '.join(filter(None, _said(each)))}" for each in measures]
    return "\n".join([*lines, "", _HOW])


_HOW = (
    "In a criterion: `measure: leakdown.crankcase`, with `phase` and a limit in the unit above; 1 is a number without "
    "a unit. Only what is compared can stand against the reference, or be primary. `sitegen key criteria` says the "
    "rest."
)


def _said(one: Measure) -> tuple[str, ...]:
    better = f"{one.better} is better" if one.better else ""
    at = f"only at places ({one.only_at}), named under `at`" if one.only_at else ""
    return one.title, better, _COMPARED[one.compare], at, "over all hours, without a phase" if one.to_the_end else ""


def as_json(measures: Sequence[Measure]) -> str:
    """The same for other programs, with the method in full."""
    rows = [
        {
            "id": each.id, "title": each.title, "unit": each.unit, "better": each.better, "compared": each.compare,
            "only_at": each.only_at, "to_the_end": each.to_the_end, "method": each.method, "limits": each.limits,
        }
        for each in measures
    ]  # fmt: skip
    return json.dumps({"format": FORMAT, "measures": rows}, indent=2, ensure_ascii=True)
