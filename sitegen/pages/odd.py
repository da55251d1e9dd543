"""Which cylinders are odd among those of their engine: a sentence, a strip of deviations, a line on their own pages."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from sitegen.crossing import odd
from sitegen.crossing.subjects import APART
from sitegen.declarations import Unusual
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.page.counts import MANY
from sitegen.page.view import View
from sitegen.program.model import Build
from sitegen.vocabulary import Value, Verdict

ANCHOR, TITLE = "odd", "Odd cylinders"
GRADE, RING = "inspection.grade", "top-ring"  # what inspectors said of the ring that runs in
ALL_BUT = 0.25  # of a grade: this near to the best of the scale counts as it
NAMED = 2.0  # scatters from the mean of the engine: among many, cylinders this far off are named when pointed at
LEAST = 0.001  # probability below which no more digits are told


def blocks(view: View) -> list[Block]:
    """The section of a program page; nothing where no cylinder could be looked at."""
    told = view.verdicts(odd.RULE)
    if not told:
        return []
    found = [each for each in told if each.word == odd.ODD]
    first = [*_cells(view, found), *_rest(told, found)]
    return [Text(first, role="reading"), *(Text([Cell(_told(view, each))]) for each in found),
            _strip(view, told, found)]  # fmt: skip


def in_short(view: View) -> str:
    """The odd cylinders with the measures they lie off in; "" where there are none."""
    found = [each for each in view.verdicts(odd.RULE) if each.word == odd.ODD]
    told = [f"{name(each)}, in {_listed(view, _off(view, each)) or 'all its measures together'}" for each in found]
    return f"{'; '.join(told)}." if told else ""


def of_engine(view: View) -> list[Block]:
    """Where the cylinders of a build lie among each other; nothing where none of them is odd."""
    told = view.verdicts(odd.RULE, engine=view.the_build)
    found = [each for each in told if each.word == odd.ODD]
    return [_strip(view, told, found)] if found else []


def unusual(view: View) -> Iterator[Unusual]:
    """A line for each odd cylinder of a build, with what inspectors said of it where that says otherwise."""
    for each in view.verdicts(odd.RULE, engine=view.the_build):
        if each.word == odd.ODD:
            off = _off(view, each)
            where = f"is odd in {_listed(view, off)}" if off else "is odd in all its measures together"
            grade = _graded(view, each)
            more = f"; yet graded {grade}" if grade else ""
            yield Unusual(f"Cylinder {each.key.cylinder} {where}", ANCHOR, 0, more)


def of_cylinder(view: View) -> list[Block]:
    """The line on the page of a cylinder."""
    for each in view.verdicts(odd.RULE, engine=view.the_build, cylinder=view.cylinder):
        if each.word == odd.ODD:
            return [Text([Cell(f"This cylinder is {_in(view, each)}. {_told(view, each)}")], "reading")]
        if each.word == odd.NOT_ODD:
            held = view.the_desk.places(odd.DEVIATION.id, each.key.engine, each.key.cylinder)
            by = words.listed([_title(view, measure) for measure in _measures(view) if measure in held])
            return [Text([Cell(f"Not odd among those of its engine, by {by}.")])]
        return [Text([Cell(f"Whether it is odd among those of its engine cannot be told, because "
                           f"{view.why(each.reason)}.")])]  # fmt: skip
    return []


def is_odd(view: View) -> bool:
    """Whether the cylinder of the view is odd: then its page says so before the rest."""
    return any(each.word == odd.ODD for each in view.verdicts(odd.RULE, engine=view.the_build, cylinder=view.cylinder))


def tells(view: View, measures: Sequence[str]) -> list[Verdict]:
    """Odd cylinders that lie off in all of these measures."""
    found = [each for each in view.verdicts(odd.RULE) if each.word == odd.ODD]
    return [each for each in found if set(measures) <= {value.key.at for value in _off(view, each)}]


# ---- sentences ------------------------------------------------------------------------------------------------------


def _cells(view: View, found: Sequence[Verdict]) -> list[Cell]:
    """ "B6 cylinder 2 is odd in leak area ..., with its link."""
    cells: list[Cell] = []
    for place, each in enumerate(found):
        href = view.href_cylinder(each.key.engine, each.key.cylinder)
        cells.append(Cell(name(each), href=href))
        cells.append(Cell(f" is {_in(view, each)}{'' if place + 1 == len(found) else '; '}"))
    return cells


def name(verdict: Verdict) -> str:
    """ "B6 cylinder 2"."""
    return f"{verdict.key.engine} cylinder {verdict.key.cylinder}"


def _rest(told: Sequence[Verdict], found: Sequence[Verdict]) -> list[Cell]:
    """What is said of all other cylinders."""
    looked_at = [each for each in told if each.word != odd.OPEN]
    if not looked_at:
        return [Cell("Whether a cylinder is odd among those of its engine cannot be told yet.")]
    left = len(looked_at) - len(found)
    other = "other " if found else ""
    which = f"None of the {other}{words.counted(left, 'cylinder')} is" if left > 1 else f"The {other}cylinder is not"
    text = f"{'. ' if found else ''}{which} odd among those of its engine." if left else "."
    lacking = len(told) - len(looked_at)
    if lacking:
        text += f" Of {words.counted(lacking, 'more cylinder')} a measure is missing."
    return [Cell(text)]


def _in(view: View, verdict: Verdict) -> str:
    """ "odd in leak area and contact band (by chance alone in 1 of 1000 programs)"."""
    off = _off(view, verdict)
    where = f"odd in {_listed(view, off)}" if off else "odd in all its measures together"
    return f"{where} (by chance alone in {_share(verdict.found)} programs)"


def _share(p: float | None) -> str:
    """A probability up to 5 % as cases.

    >>> _share(0.0312), _share(0.0000001)
    ('31 of 1\\u202f000', 'fewer than 1 of 1\\u202f000')
    """
    whole = words.number(1000, 0)
    return f"fewer than 1 of {whole}" if p is None or p < LEAST else f"{words.number(1000 * p, 0)} of {whole}"


def _told(view: View, verdict: Verdict) -> str:
    """Each measure beside those of the neighbours, and the grade where it says otherwise."""
    build = view.program.build(verdict.key.engine)
    parts = []
    for deviation in _deviations(view, verdict):
        values = _values(view, build, deviation)
        own = values.pop(verdict.key.cylinder, None)
        if own is None or not values:
            continue
        unit = view.measures[deviation.key.at].unit
        places = max(map(_decimals, [own, *values.values()]))
        mine, *theirs = (
            words.number(number, places)
            for number in [own.value or 0.0, *sorted(value.value or 0.0 for value in values.values())]
        )
        beside = words.with_unit(words.from_to(theirs[0], theirs[-1]), unit)
        parts.append(f"{_short(view, deviation)} {words.with_unit(mine, unit)}, the others of {build.id} {beside}")
    text = f"{words.sentence('; '.join(parts))}." if parts else ""
    return " ".join(filter(None, (text, _against(view, verdict))))


def _decimals(value: Value) -> int:
    """Decimals [-] that the interval of a value justifies, else those of two digits."""
    if value.low is None or value.high is None or not value.low < value.high < math.inf or math.isinf(value.low):
        return words.decimals_alone(value.value or 0.0, 2)
    return max(0, words.decimals_for((value.high - value.low) / 2))


def _against(view: View, verdict: Verdict) -> str:
    """The grade of a ring that inspectors found as good as can be."""
    grade = _graded(view, verdict)
    return f"Its top ring was graded {grade}: grade and measures contradict each other." if grade else ""


def _graded(view: View, verdict: Verdict) -> str:
    """A grade at the best of the scale, with what that stands for; "" where it is another."""
    scale = view.program.inspection
    if scale is None:
        return ""
    found = view.values(GRADE, engine=verdict.key.engine, cylinder=verdict.key.cylinder, at=RING)
    graded = [value.value for value in found if value.value is not None and abs(value.value - scale.best) <= ALL_BUT]
    if not graded:
        return ""
    stands_for = scale.grades[scale.best]
    grade = words.number(graded[-1], words.decimals_alone(graded[-1], 2))
    return f"{grade}, “{stands_for}”"


# ---- what was found -------------------------------------------------------------------------------------------------


def _deviations(view: View, verdict: Verdict) -> list[Value]:
    """Of one cylinder, a value a measure."""
    found = view.values(odd.DEVIATION.id, engine=verdict.key.engine, cylinder=verdict.key.cylinder)
    order = _measures(view)
    return sorted(found, key=lambda value: order.index(value.key.at))


def _measures(view: View) -> list[str]:
    """What cylinders are looked at in: the measure of the primary comparison first, then as declared."""
    held = view.the_desk.places(odd.DEVIATION.id)
    return sorted(
        (each for each in view.measures if each in held), key=lambda each: each != view.program.primary_measure
    )


def _off(view: View, verdict: Verdict) -> list[Value]:
    """The measures in which a cylinder lies furthest off of all cylinders of its engine."""
    every = view.values(odd.DEVIATION.id, engine=verdict.key.engine)
    most: dict[str, float] = {}
    for value in every:
        most[value.key.at] = max(most.get(value.key.at, 0.0), value.value or 0.0)
    return [value for value in _deviations(view, verdict) if (value.value or 0.0) >= most[value.key.at] > 0]


def _values(view: View, build: Build, deviation: Value) -> dict[int, Value]:
    """By cylinder, the values a deviation was made of."""
    at = odd.PLACES[view.measures[deviation.key.at].only_at]
    found = view.values(deviation.key.at, engine=build, phase=deviation.key.phase, at=at)
    return {value.key.cylinder: value for value in found if value.value is not None and APART not in value.key.at}


def _title(view: View, measure: str) -> str:
    """The title of a measure up to its first comma."""
    return view.measures[measure].title.partition(",")[0]


def _short(view: View, deviation: Value) -> str:
    return _title(view, deviation.key.at)


def _listed(view: View, deviations: Sequence[Value]) -> str:
    return words.listed([_short(view, each) for each in deviations])


# ---- the strip ------------------------------------------------------------------------------------------------------


def _strip(view: View, told: Sequence[Verdict], found: Sequence[Verdict]) -> Figure:
    """A row a measure, a mark a cylinder; the odd ones large."""
    large = {name(each) for each in found}
    values = view.values(odd.DEVIATION.id, engine=view.build)
    order, many = _measures(view), view.build is None and len(view.program.builds) > MANY
    data: dict[str, list[ChartRow]] = {"lines": [], "dots": [], "means": []}
    for y, measure in enumerate(order):
        sense = f"{view.measures[measure].odd} is odd"
        data["lines"].append({"y": y, "label": words.sentence(_title(view, measure)), "under": sense})
        for value in values:
            if value.key.at == measure and value.value is not None:
                cylinder = f"{value.key.engine} cylinder {value.key.cylinder}"
                named = not many or abs(value.value) >= NAMED or cylinder in large
                row: ChartRow = {"y": y, "value": value.value, "coating": value.key.coating,
                       "tip": f"{cylinder}: {words.signed(value.value, 1)}" if named else ""}  # fmt: skip
                data["means" if cylinder in large else "dots"].append(row)
    data["limits"] = [{"value": 0.0, "label": "mean of the engine"}]
    caption = (
        "Each cylinder from the mean of its engine, in scatters of cylinders within engines; to the right "
        f"lies one that has not run in{_turned(view, order)}."
    )
    if view.build is not None:
        caption = "Each cylinder from the mean of this engine, in scatters of cylinders. To the right: not run in"
        caption += f"{_turned(view, order)}."
    caption += _by(view, told)
    if large:
        caption += f" Large: {words.listed(name(each) for each in found)}."
    panels = (
        [
            Panel(
                "",
                data,
                label="Cylinders from the mean of their engine",
                axis="Scatters from the mean; plus: not run in",
            )
        ]
        if order
        else []
    )
    return Figure("odd-cylinders", "dots", panels, "", caption, _table(view, told, order), odd.DEVIATION.id)


def _turned(view: View, order: Sequence[str]) -> str:
    """The measures that are odd where they are less: their signs are turned."""
    less = words.listed(f"less {_title(view, each).lower()}" for each in order if view.measures[each].odd == "less")
    return f", which is {less}" if less else ""


def _by(view: View, told: Sequence[Verdict]) -> str:
    """Which builds are looked at in fewer measures than others."""
    by: dict[tuple[str, ...], dict[str, None]] = {}
    for each in told:
        by.setdefault(tuple(_short(view, value) for value in _deviations(view, each)), {})[each.key.engine] = None
    by.pop((), None)
    most = max(map(len, by), default=0)
    parts = [f"{words.listed(builds)}: {words.listed(names)} only" for names, builds in by.items() if len(names) < most]
    return f" {'; '.join(parts)}." if parts else ""


def _table(view: View, told: Sequence[Verdict], order: Sequence[str]) -> Table:
    columns = [
        Column("Cylinder"),
        *(Column(words.sentence(_title(view, measure)), numeric=True) for measure in order),
        Column("By chance", numeric=True, measure=odd.CHANCE.id),
        Column("Answer"),
    ]
    rows = []
    for each in told:
        own = {value.key.at: value.value for value in _deviations(view, each)}
        deviations = [own.get(measure) for measure in order]
        p = each.found
        rows.append(
            Row(
                [
                    Cell(
                        name(each),
                        href=view.href_cylinder(each.key.engine, each.key.cylinder),
                        coating=each.key.coating,
                    ),
                    *(Cell(words.DASH if found is None else words.signed(found, 1)) for found in deviations),
                    Cell(words.DASH if p is None else f"below {LEAST}" if p < LEAST else words.number(p, 2)),
                    Cell(each.word, note=view.why(each.reason) if each.reason else ""),
                ]
            )
        )
    note = f"Scatters from the mean of the engine; plus: not run in{_turned(view, order)}."
    return Table("odd-cylinders-values", columns, rows, note=note)
