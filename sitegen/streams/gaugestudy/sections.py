"""What gauge studies say on the page of a program."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sitegen.declarations import Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.streams.gaugestudy.fields import Reading
from sitegen.streams.gaugestudy.measures import (
    BETWEEN,
    CATEGORIES,
    GAUGE,
    INTERACTION,
    OPERATOR,
    OTHER,
    PARTS,
    REPEAT,
    SHARE,
    TOLERANCE,
)
from sitegen.streams.gaugestudy.read import missing
from sitegen.streams.gaugestudy.steps import NEGATIVE, SUPERSEDED
from sitegen.streams.gaugestudy.studies import Study, studies
from sitegen.vocabulary import Value

_ROWS = (
    (REPEAT, "Repeats by one operator"),
    (OPERATOR, "Operators, alike at all objects"),
    (INTERACTION, "Operators, from object to object"),
    (GAUGE, "Gauge: one reading by any operator"),
    (PARTS, "Objects read"),
)


def gauge_studies(view: View) -> Sequence[Block]:
    """Each study with each tester: what scatters by how much, and what follows for the program."""
    blocks: list[Block] = []
    for study in studies(view.records("gaugestudy", Reading)):
        table = _table(view, study)
        blocks.append(table)
        blocks += [Text([Cell(told)], role="note") for told in [" ".join(_told(view, study))] if told]
    return [*blocks, *(Text([Cell(each)]) for each in _testers(view))]


def _of(view: View, measure: str, at: str) -> Value | None:
    return view.value(measure, at=at, engine="", cylinder=0)


def _table(view: View, study: Study) -> Table:
    rows = []
    for measure, title in _ROWS:
        value = _of(view, measure.id, study.at)
        if value is None:
            continue
        note = "the variance came out negative: given as 0" if NEGATIVE in value.flags else ""
        ends = words.DASH if value.low is None or value.high is None else _ends(value)
        number = words.DASH if value.value is None else words.number(value.value, _places(value.value))
        rows.append(Row((Cell(title, note=note or _why(view, value)), Cell(number), Cell(ends))))
    columns = (
        Column("Scatter of"), Column("Standard deviation", "%", numeric=True), Column("95 % interval", "%"),
    )  # fmt: skip
    name = f"gauge-study-{study.name}-{study.tester}".lower().replace(" ", "-")
    return Table(name, columns, rows, _reading(view, study), _caption(study), measure=GAUGE.id)


def _why(view: View, value: Value) -> str:
    return view.why(value.reason) if value.status == "refused" else ""


def _caption(study: Study) -> str:
    kinds = {"cylinder": "cylinder", "reference": "reference orifice", "standard": "leak standard"}
    count = {kind: sum(each.kind == kind for each in study.things) for kind in kinds}
    read = words.listed(words.counted(n, kinds[kind]) for kind, n in count.items() if n)
    return (
        f"Study {study.name} with {study.tester}: {read}, {words.counted(len(study.operators), 'operator')}, "
        f"{words.counted(len(study.rows), 'reading')}."
    )


def _reading(view: View, study: Study) -> str:
    gauge, repeat = (_of(view, each.id, study.at) for each in (GAUGE, REPEAT))
    if repeat is None or repeat.status == "refused":
        why = "" if repeat is None else f": {view.why(repeat.reason)}"
        return f"The study {study.name} was not analysed{why}."
    if gauge is None or gauge.value is None:
        return f"Repeats by one operator scatter by {_short(repeat)}; the scatter of operators is not told."
    return f"One reading by any operator scatters by {_short(gauge)}, repeats by one operator by {_short(repeat)}."


def _short(value: Value) -> str:
    """A scatter with its interval: "2.1 % (1.6 to 5.2 %)"."""
    middle = words.number(value.value or 0.0, _places(value.value or 0.0))
    return f"{words.with_unit(middle, '%')} ({words.with_unit(_ends(value), '%')})"


def _ends(value: Value) -> str:
    return words.span(value.low, value.high, _places(value.value or 0.0))


def _places(value: float) -> int:
    """Decimals of a scatter: no digit of it is worth more."""
    return 1 if value < 9.95 else 0


def _told(view: View, study: Study) -> Iterator[str]:
    """What the figures are worth, what they were not taken under, and what they enter."""
    repeat, share, groups, tolerance = (_of(view, each.id, study.at) for each in (REPEAT, SHARE, CATEGORIES, TOLERANCE))
    if study.short_of:
        yield f"{words.sentence(missing(study))}."
    if share is not None and share.value is not None and groups is not None and groups.value is not None:
        yield (
            f"The gauge makes {_short(share)} of the scatter of this study; {_groups(groups)}. No mark to pass is set: "
            "both hang on the objects chosen and are known no better than this."
        )
        if (groups.low or 0.0) < 1 and not any(each.kind == "standard" for each in study.things):
            yield "The objects are too alike to show what the gauge tells apart: add leak standards to the next study."
    if tolerance is not None and tolerance.value is not None:
        yield f"Six scatters of the gauge are {_short(tolerance)} of the tolerance, the leak areas stated as allowed."
    elif share is not None and share.value is not None:
        yield "No leak areas are stated as allowed, so there is no tolerance to hold it against."
    flags = sorted((repeat.flags if repeat is not None else frozenset()) - {NEGATIVE})
    yield from (f"{words.sentence(view.why(each))}." for each in flags)
    other = _of(view, OTHER.id, study.tester)
    if other is not None and other.value is not None and repeat is not None and SUPERSEDED not in repeat.flags:
        yield (
            f"Another operator may move a leak area by {words.with_unit(words.number(other.value, 1), '%')}: in the "
            f"interval of each area read with {study.tester}, where several operators read with it."
        )


def _groups(value: Value) -> str:
    found = words.number(value.value or 0.0, _places(value.value or 0.0))
    return f"it tells {found} groups of such objects apart ({_ends(value)})"


def _testers(view: View) -> Iterator[str]:
    for value in view.values(BETWEEN.id):
        study, _, pair = value.key.at.rpartition("/")
        first, _, second = pair.partition(":")
        if value.value is None:
            yield f"{first} and {second} in the study {study}: {view.why(value.reason)}."
            continue
        more = "more" if value.value >= 0 else "less"
        told = words.with_unit(words.number(abs(value.value), 1), "%")
        ends = words.with_unit(words.span(value.low, value.high, 1), "%")
        yield f"In the study {study}, {second} reads {told} {more} than {first} ({ends}), by nominal orifices."


SECTIONS = (Section("gauge-study", "Gauge study", 60, "program", gauge_studies, place="rest"),)
