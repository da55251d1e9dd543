"""Results of earlier formats read as those of today: one step a format. Values they did not hold stay empty."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping

Files = Mapping[str, bytes]

_COMPARISONS = (  # of format 2
    "measure", "phase", "at", "coating", "reference", "role", "scope", "design", "procedure", "scale", "estimate",
    "unit", "low", "high", "df", "se", "adjusted_over", "p", "p_randomised", "least_p", "level", "level_reference",
    "builds", "builds_reference", "cylinders", "cylinders_reference", "icc", "icc_low", "icc_high", "effective_tests",
    "effective_low", "effective_high", "verdict", "flags", "reason",
)  # fmt: skip
_DECIDED = ("limit", "found", "low", "high", "route")  # of verdicts, since format 3


class UnknownFormatError(ValueError):
    """Results that no step leads on from."""


def _from_1(files: Files) -> dict[str, bytes]:
    """Format 2 brought comparisons.csv; answers to criteria joined verdicts.csv, whose columns stayed."""
    return {**files, "comparisons.csv": (",".join(_COMPARISONS) + "\n").encode()}


def _from_2(files: Files) -> dict[str, bytes]:
    """Format 3 brought the numbers that decided a verdict, revisions of methods and the date of the newest record."""
    table = csv.DictReader(io.StringIO(files["verdicts.csv"].decode()))
    names = list(table.fieldnames or ())
    after = names.index("word") + 1
    text = io.StringIO()
    writer = csv.DictWriter(text, [*names[:after], *_DECIDED, *names[after:]], restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(table)
    provenance = {"as_of": "", "methods": {}, **json.loads(files["provenance.json"])}
    return {**files, "verdicts.csv": text.getvalue().encode(), "provenance.json": _json(provenance)}


_STEPS: dict[int, Callable[[Files], dict[str, bytes]]] = {1: _from_1, 2: _from_2}


def upgraded(files: Files, to: int) -> Files:
    """The files of a results folder in the format `to`.

    Raises UnknownFormatError for a newer one, or none.
    """
    while (form := format_of(files)) != to:
        if form not in _STEPS:
            raise UnknownFormatError(f"format {form}")
        files = _STEPS[form](files)
        files = {**files, "provenance.json": _json({**json.loads(files["provenance.json"]), "format": form + 1})}
    return files


def format_of(files: Files) -> int:
    """The format results were written in; 0 where they do not say."""
    try:
        form = json.loads(files["provenance.json"])["format"]
    except (KeyError, ValueError, TypeError, RecursionError):
        return 0
    return form if isinstance(form, int) else 0


def _json(facts: object) -> bytes:
    return (json.dumps(facts, indent=1, ensure_ascii=False) + "\n").encode()
