"""The plan of a program as blocks: for its page, and printed as text by the command."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sitegen.declarations import Smallest
from sitegen.page import words
from sitegen.page.blocks import Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.pages import differences
from sitegen.pages.contexts import Part, PartsPage
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, parts_page
from sitegen.program.model import Program
from sitegen.rounding import interval

if TYPE_CHECKING:
    from sitegen.crossing.allocation import Lots
    from sitegen.crossing.planning import Curve, Planning, Point, Reach

MOST = 60
MOST_CURVES = 4  # subjects in one table, the primary first
CAUTION = (
    "A plan is no permit to run. Local codes, licensed practice, the site's rules and a competent person come first; "
    "the limits that end a run are settled before the first start. What each kind of work can do to people stands at "
    "the top of its field sheet and on the methods page."
)
CAUTIONS = "Before the work"
LOTS, REACH, SMALLEST = "Who gets which coating", "What the comparison can find", "What the instruments can show"
CURVE = "What more builds would find"


def reading(plan: Planning) -> str:
    """The plan in a sentence."""
    program = plan.program
    coatings = [f"{program.definitions.coatings[each].title} rings" for each in program.coatings]
    builds = words.sentence(words.counted(plan.builds, "build"))
    return f"{builds} planned for {words.listed(coatings)}; allotted as {plan.scheme}."


def _finding(plan: Planning, reach: Reach) -> str:
    """What the builds of two coatings find, in a sentence."""
    titles = plan.program.definitions.coatings
    two = f"{titles[reach.candidate].title} and {titles[plan.program.reference].title} rings"
    place = differences.place_words(reach.at)
    what = f"the {reach.measure.title} {f'({place}) ' if place else ''}of {two}"
    if reach.found is None:
        return f"With {_builds(reach)} no difference in {what} can be tested."
    worst = ""
    if reach.found_at_worst is not None and reach.scatter.df is not None:
        worst = f" ({amount(reach, reach.found_at_worst)} at the upper limit of the scatter)"
    found = amount(reach, reach.found)
    here = ", in these engines only" if reach.these_engines else ""
    return f"{words.sentence(_builds(reach))} find a difference of {found}{worst} in {what} four times in five{here}."


def _builds(reach: Reach) -> str:
    if reach.scatter.within:
        return f"{words.counted(reach.builds, 'build')} holding both"
    if reach.builds == reach.builds_reference:
        return f"{words.counted(reach.builds, 'build')} of each"
    return f"{words.counted(reach.builds, 'build')} against {words.count(reach.builds_reference)}"


def amount(reach: Reach, value: float) -> str:
    """A difference as a share of the level, or in the unit of the measure."""
    return _amount(reach, value)


def _amount(of: Reach | Curve, value: float | None) -> str:
    if value is None:
        return words.DASH
    if of.measure.compare == "ratio":
        return words.with_unit(words.number(100 * value, 0 if value > 0.095 else 1), "%")
    return words.with_unit(words.number(value), of.measure.unit)


def lots(plan: Planning, recorded: Mapping[str, Sequence[str]] | None = None) -> Table:
    """Builds in the order of building, with the coating of each cylinder and when they were recorded.

    `recorded` holds the days [ISO] of the records of each build; None where nobody asked for them.
    """
    builds = sorted(plan.program.builds, key=lambda build: build.built)
    rows = []
    count = max(len(plan.drawn or ()), len(builds))
    for place in range(count):
        build = builds[place] if place < len(builds) else None
        drawn = _coatings(plan, plan.drawn[place]) if plan.drawn and place < len(plan.drawn) else ""
        listed = _coatings(plan, plan.actual[place]) if build is not None else ""
        other = f"drawn: {drawn}" if drawn and listed and drawn != listed else "" if listed else "drawn, not built yet"
        days = _days(recorded.get(build.id, ()) if build else ()) if recorded is not None else ""
        cells = [Cell(str(place + 1)), Cell(build.id if build else words.DASH), Cell(listed or drawn, note=other)]
        rows.append(Row([*cells, Cell(days)] if recorded is not None else cells))
    columns = [
        Column("Order"),
        Column("Build"),
        Column("Coating"),
        *([Column("Records")] if recorded is not None else []),
    ]
    said = _lots_reading(plan)
    if recorded is not None and count:
        there = sum(1 for build in builds if recorded.get(build.id))
        said = f"{said} {words.sentence(words.share(there, count, 'build'))} {words.has(there, count)} records."
    return Table("who-gets-which-coating", columns, rows, said, note=_LOTS_NOTE)


def _days(days: Sequence[str]) -> str:
    if not days:
        return "none dated yet"
    first, last = words.day(min(days)), words.day(max(days))
    return first if first == last else words.from_to(first, last)


_LOTS_NOTE = (
    "Drawn from the seed by a fair shuffle that gives the same draw on every machine. Take the draw as it falls: "
    "redrawing until it suits is not a draw."
)


def _coatings(plan: Planning, build: Sequence[str]) -> str:
    names = {each: plan.program.definitions.coatings[each].title for each in dict.fromkeys(build)}
    if len(names) == 1:
        return next(iter(names.values()))
    return "; ".join(
        f"{words.numbers_listed([n for n, coating in enumerate(build, start=1) if coating == each])}: {title}"
        for each, title in names.items()
    )


def _lots_reading(plan: Planning) -> str:
    return " ".join(filter(None, (_how_drawn(plan), _cannot_compare(plan.actual or plan.drawn or ()))))


def _cannot_compare(lots: Lots) -> str:
    """What is wrong with lots that put the coatings of every engine on the same cylinders; "" with others.

    >>> _cannot_compare((("a", "b"), ("b", "a"))), _cannot_compare((("a", "b"), ("a", "b")))[:16]
    ('', 'But every engine')
    """
    if len(lots) < 2 or len(set(lots)) > 1 or len(set(lots[0])) < 2:
        return ""
    return (
        "But every engine holds its coatings on the same cylinders, so that place and coating cannot be told apart: "
        "before anything is built, draw once more from the next seed."
    )


def _how_drawn(plan: Planning) -> str:
    if plan.drawn is None:
        if plan.seed is None:
            return "No seed is recorded, so no lots can be drawn or checked."
        return f"Lots cannot be drawn for the scheme “{plan.scheme}”."
    if not plan.actual:
        return f"Drawn from seed {plan.seed}."
    if plan.follows:
        return f"The allocation in the program file is the one that seed {plan.seed} draws."
    return (
        f"The allocation in the program file is not the one that seed {plan.seed} draws: no randomisation test can be "
        "made on it."
    )


def reach(plan: Planning) -> Table:
    """What each compared measure can find with the builds planned, and how many it would take."""
    rows = [
        Row(
            (
                Cell(words.sentence(each.measure.title), note=_which(plan, each)),
                Cell(
                    plan.program.definitions.coatings[each.candidate].title,
                    note=_builds(each) + ("; these engines only" if each.these_engines else ""),
                ),
                Cell(_scatter(each), note=_source(each)),
                Cell(amount(each, each.found) if each.found is not None else "no test", note=_at_worst(each)),
                Cell(_needed(each), note=_worth(plan, each)),
            )
        )
        for each in plan.reaches
        if each.found is not None or each.candidate not in _untested(plan)
    ]
    columns = (
        Column("Measure"),
        Column("Against the reference"),
        Column("Scatter from build to build", numeric=True),
        Column("Difference found", numeric=True),
        Column("Builds it takes", numeric=True),
    )
    return Table("what-the-comparison-can-find", columns, rows, _reach_reading(plan), note=_REACH_NOTE, stack=True)


_REACH_NOTE = (
    "Found: with a power of 80\N{NO-BREAK SPACE}%, by the test the comparison will make; its error of "
    "5\N{NO-BREAK SPACE}% is shared by all candidates, and by exploratory measures among themselves. Builds it takes: "
    "builds of each coating; where engines hold both coatings, such engines, and at least four for an answer about "
    "engines to come. Scatter with degrees of freedom is from the results so far; ranges and “at worst” "
    "are at its 80\N{NO-BREAK SPACE}% limits."
)


def _untested(plan: Planning) -> dict[str, Reach]:
    """Candidates of which nothing can be tested while others can, with one reach of each."""
    tested = {each.candidate for each in plan.reaches if each.found is not None}
    return {each.candidate: each for each in plan.reaches if tested and each.candidate not in tested}


def _which(plan: Planning, each: Reach) -> str:
    """Which ring, when, and whether it is the primary: "top, at teardown"."""
    program = plan.program
    primary = (each.measure.id, each.phase, each.at) == (
        program.primary_measure, program.primary_phase, program.primary_at,
    )  # fmt: skip
    when = differences.in_phase(program, each.phase)
    return ", ".join(filter(None, (differences.place_words(each.at), when, "primary" if primary else "")))


def curves(plan: Planning) -> Table | None:
    """What more or fewer builds would find, a row a number of builds; None where no scatter is known."""
    told = plan.curves[:MOST_CURVES]
    if not told:
        return None
    first = told[0]
    columns = [Column("Builds holding both" if first.within else "Builds of each coating", numeric=True)]
    columns += [Column(words.sentence(_named(each)), numeric=True) for each in told]
    rows = [
        Row((Cell(str(point.builds)), *(_step(each, each.points[place]) for each in told)))
        for place, point in enumerate(first.points)
    ]
    sure = [point for point in first.points if point.found is not None and not point.these_engines]
    reading = ""
    if len(sure) > 1:
        few, many = sure[0], sure[-1]
        ends = words.from_to(words.number(few.builds, 0), words.number(many.builds, 0))
        reading = (
            f"From {ends} builds the difference found in "
            f"the {_named(first)} falls from {_amount(first, few.found)} to {_amount(first, many.found)}."
        )
    note = "As above, with as many builds of every coating. At worst: at the upper limit of the scatter."
    return Table("builds-against-difference", tuple(columns), rows, f"{reading}{_beside_the_plan(plan)}", note=note)


def _beside_the_plan(plan: Planning) -> str:
    """Why the planned builds find another difference than as many of every coating; "" where they do not."""
    curve, own = plan.curves[0], [each for each in plan.reaches if each.measure.id == plan.curves[0].measure.id]
    for each in own:
        alike = each.builds == each.builds_reference and not curve.within and each.found is not None
        point = next((point for point in curve.points if point.builds == each.builds and alike), None)
        if point is not None and _amount(curve, point.found) != _amount(curve, each.found):
            n, found = words.sentence(words.counted(each.builds, "build")), _amount(curve, point.found)
            return (
                f" {n} of every coating would find {found}, the plan {_amount(curve, each.found)}: the more builds of "
                "any coating, the better the scatter is known."
            )
    return ""


def drawn(plan: Planning) -> Figure | None:
    """What more builds would find in the primary measure, as a curve above the table of all; None without a scatter."""
    table = curves(plan)
    if table is None:
        return None
    curve = plan.curves[0]
    ratio = curve.measure.compare == "ratio"
    unit, times = ("%", 100.0) if ratio else (curve.measure.unit, 1.0)
    known = [each for each in curve.points if each.found is not None and math.isfinite(each.found_at_worst or 0.0)]
    if len(known) < 2:
        return None
    path: list[ChartRow] = []
    points: list[ChartRow] = []
    ranged = any(each.found_at_worst != each.found for each in known)
    for name, grey in (("at the scatter found", False), ("at worst", True))[: 1 + ranged]:
        for each in known:
            found = each.found_at_worst if grey else each.found
            if found is not None:
                drawn_at, _, _ = interval(times * found, None, None)  # further digits hang on the version of scipy
                row: ChartRow = {"at": each.builds, "value": drawn_at, "line": name}
                path.append({**row, "grey": grey, "coating": plan.program.candidates[0]})
                points += [] if grey else [
                    {"at": each.builds, "value": drawn_at, "coating": plan.program.candidates[0],
                     "tip": f"{words.counted(each.builds, 'build')}: {_amount(curve, found)}"}
                ]  # fmt: skip
    worth = plan.program.worth_finding if ratio else None
    levels: list[ChartRow] = [{"value": times * worth}] if worth else []
    data = {"path": path, "points": points, "levels": levels}
    title = f"Difference found, {unit}"
    along = table.columns[0].title
    signals: ChartRow = {"from": 0, "to": known[-1].builds, "least": 0, "unit": unit, "along": "builds"}
    panel = Panel("", data, signals, label=f"{title}, against {along.lower()}", axis=title, along=along)
    dotted = f" Dotted: {words.percent(worth, 1)}, the difference worth finding." if worth else ""
    limit = " Grey: at the upper 80\N{NO-BREAK SPACE}% limit of the scatter." if ranged else ""
    caption = f"Of the {_named(curve)}, four times in five.{limit}{dotted}"
    return Figure("builds-against-difference", "curves", [panel], table.reading, caption, _units_above(plan, table))


def _units_above(plan: Planning, table: Table) -> Table:
    """The same table as data: units stand in the headings alone."""
    units = ["", *("%" if each.measure.compare == "ratio" else each.measure.unit for each in plan.curves[:MOST_CURVES])]

    def bare(cell: Cell, unit: str) -> Cell:
        after = words.with_unit("", unit)
        return replace(cell, text=cell.text.removesuffix(after), note=cell.note.replace(after, ""))

    columns = [replace(column, unit=unit) for column, unit in zip(table.columns, units, strict=True)]
    rows = [Row([bare(cell, unit) for cell, unit in zip(row.cells, units, strict=True)]) for row in table.rows]
    return replace(table, columns=columns, rows=rows, reading="")


def _named(curve: Curve) -> str:
    place = differences.place_words(curve.at)
    return f"{curve.measure.title}{f' ({place})' if place else ''}"


def _step(curve: Curve, point: Point) -> Cell:
    if point.found is None:
        return Cell("no test")
    worst = f"at worst {_amount(curve, point.found_at_worst)}" if point.found_at_worst != point.found else ""
    here = "these engines only" if point.these_engines else ""
    return Cell(_amount(curve, point.found), note="; ".join(filter(None, (worst, here))))


def _scatter(each: Reach) -> str:
    if each.measure.compare == "ratio":
        return words.with_unit(words.number(100 * each.scatter.sd, 1), "%")
    return words.with_unit(words.number(each.scatter.sd), each.measure.unit)


def _source(each: Reach) -> str:
    of = "of the difference inside a build, " if each.scatter.within else ""
    if each.scatter.df is None:
        return f"{of}typed in"
    df = words.number(each.scatter.df, 0)
    return f"{of}{df} {'degree' if df == '1' else 'degrees'} of freedom"


def _at_worst(each: Reach) -> str:
    if each.found_at_worst is None or each.scatter.df is None:
        return ""
    return f"at worst {amount(each, each.found_at_worst)}"


def _needed(each: Reach) -> str:
    if each.needed is None:
        return words.DASH
    least, most = each.needed
    more = f"more than {MOST}"
    if least > MOST:
        return more
    ends = words.from_to(str(least), more if most is None else str(most))
    middle = more if each.middle is None else str(each.middle)
    return middle if middle == ends else f"{middle} ({ends})"


def _worth(plan: Planning, each: Reach) -> str:
    if plan.program.worth_finding is None:
        return "no difference worth finding is stated"
    worth = words.percent(plan.program.worth_finding, 1)
    return f"for a difference of {worth}" if each.needed else "the level of the reference is not known yet"


def _reach_reading(plan: Planning) -> str:
    if not plan.reaches and not plan.without:
        return "With so many builds no coating can be set against the reference."
    if not plan.reaches and plan.program.primary_measure in plan.of_engines:
        return (
            "What is compared first belongs to whole engines, and engines here hold several coatings: no number of "
            "such builds sets a coating against the reference in it."
        )
    if not plan.reaches:
        return (
            "How far builds scatter is not known yet: type it in (--scatter), or look again when two builds of a "
            "coating are in."
        )
    untested = _untested(plan)
    told = [_finding(plan, each) for each in plan.reaches
            if each.measure.id == plan.reaches[0].measure.id and each.candidate not in untested]  # fmt: skip
    titles = {each.id: each.title for each in plan.program.definitions.coatings.values()}
    reference = titles[plan.program.reference]
    told += [
        f"With {_builds(each)} no difference of {titles[coating]} and {reference} rings can be tested."
        for coating, each in untested.items()
    ]
    if plan.without:
        number = words.counted(len(plan.without), "measure")
        told.append(f"Of {number} it is not known how far builds scatter.")
    return " ".join(told)


def smallest(plan: Planning) -> Table:
    """What each instrument can show at all, by stream."""
    alike: dict[tuple[str, str], list[Smallest]] = {}  # what one instrument shows alike stands in one row
    for _, each in plan.smallest:
        alike.setdefault((_least(plan, each), each.because), []).append(each)
    rows = []
    for (least, because), several in alike.items():
        asked = {each.expected is not None: each for each in several}
        if set(asked) == {True}:  # what is expected of all of them in one answer
            ends = [end for each in several for end in each.expected or ()]
            several_ = [replace(several[0], expected=(min(ends), max(ends)))]
        else:
            several_ = several
        answers = [_suffices(plan, each) for each in several_]
        answer = "; ".join(answers if len(set(answers)) > 1 else answers[:1])
        what = words.sentence(_together([each.what for each in several]))
        rows.append(Row((Cell(what), Cell(least), Cell(because), Cell(answer))))
    columns = (Column("What"), Column("Least", numeric=True), Column("Because"), Column("Is it enough"))
    note = (
        "For one reading. Means over cylinders and builds lessen what scatters from reading to reading, but not what "
        "an instrument does to all of its readings."
    )
    return Table("what-the-instruments-can-show", columns, rows, note=note)


def _together(texts: Sequence[str]) -> str:
    """Texts in a row, what they begin with alike once, from three words on.

    >>> _together(["metal from wear of nitrided faces", "metal from wear of graded faces"])
    'metal from wear of nitrided faces; graded faces'
    """
    split = [each.split(" ") for each in texts]
    alike = 0
    while all(len(each) > alike + 1 and each[alike] == split[0][alike] for each in split):
        alike += 1
    alike = alike if alike > 2 else 0
    return "; ".join([texts[0], *(" ".join(each[alike:]) for each in split[1:])])


def _shown(plan: Planning) -> str:
    """How many of the instruments show enough, and which do not."""
    table = smallest(plan)
    enough = [row for row in table.rows if row.cells[-1].text.startswith("yes")]
    count = len(table.rows)
    told = words.sentence(f"{words.share(len(enough), count, 'reading')} {words.are(len(enough), count)} fine enough")
    short = [row.cells[0].text for row in table.rows if row.cells[-1].text.startswith(("no:", "in part"))]
    parts = [told, f"not: {words.listed(f'{each[:1].lower()}{each[1:]}' for each in short)}" if short else ""]
    open_ = count - len(enough) - len(short)
    parts += [f"of {words.count(open_)} it is not known"] if open_ else []
    return f"{'; '.join(filter(None, parts))}."


def _suffices(plan: Planning, each: Smallest) -> str:
    """Whether the instrument shows what is expected, what the reference lies at, or what came so far; or why not."""
    if math.isinf(each.value):
        return "no: whatever there is"
    level = plan.levels.get(each.measure)
    unit = plan.units.get(each.measure, "")
    if each.expected is not None:
        least, most = each.expected
        answer = "yes" if least > each.value else "no" if most <= each.value else "in part"
        ends = (words.number(end, words.decimals_alone(end, 2)) for end in (least, most))
        told = words.with_unit(words.from_to(*ends), unit)
        return f"{answer}: {told} {'is' if least == most else 'are'} expected"
    if each.of == "level" and level is None:
        if each.measure not in plan.seen:
            return "not known: nothing is expected or found yet to hold it against"
        found, count = plan.seen[each.measure]
        told = words.with_unit(words.number(found, words.decimals_alone(found, 2)), unit)
        of = words.counted(count, "value")
        return f"{'yes' if found > each.value else 'no'}: {told} found on the reference so far, middle of {of}"
    if level is None:
        return "not known: the reference has no level yet"
    if each.of == "level":
        told = words.with_unit(words.number(level), unit)
        return f"{'yes' if abs(level) > each.value else 'no'}: the reference lies at {told}"
    if plan.program.worth_finding is None:
        return "not known: no difference worth finding is stated"
    wanted = plan.program.worth_finding * abs(level)
    told = words.with_unit(words.number(wanted, words.decimals_alone(wanted, 2)), unit)
    return f"{'yes' if wanted > each.value else 'no'}: the difference worth finding is {told}"


def _least(plan: Planning, each: Smallest) -> str:
    if math.isinf(each.value):
        return "none"
    unit = plan.units.get(each.measure, "")
    return words.with_unit(words.number(each.value, words.decimals_alone(each.value, 2)), unit)


def tables(plan: Planning, recorded: Mapping[str, Sequence[str]] | None = None) -> list[tuple[str, Table]]:
    """Headings and tables in the order of the page."""
    curve = curves(plan)
    more = [(CURVE, curve)] if curve is not None else []
    return [(LOTS, lots(plan, recorded)), (REACH, reach(plan)), *more, (SMALLEST, smallest(plan))]


def page(site: Site, program: Program) -> PartsPage:
    """The page of a program's plan."""
    path = site.addresses.plans[program.id]
    plan = site.plans[program.id]
    view = site.view(path, program.id)
    setter = site.setter(path)
    parts = [Part(setter.id(heading), heading, [drawn(plan) or table if heading == CURVE else table])
             for heading, table in tables(plan, view.the_desk.days_by_build) if heading != SMALLEST]  # fmt: skip
    parts.append(Part(setter.id(CAUTIONS), CAUTIONS, [Text((Cell(CAUTION),), role="caution")]))
    rest = [folded(Part(setter.id(SMALLEST), SMALLEST, [smallest(plan)]), _shown(plan))] if plan.smallest else []
    return parts_page(site, program, path, "Plan", setter, reading(plan), parts, rest)


# ---- as text and JSON -----------------------------------------------------------------------------------------------


def as_text(plan: Planning) -> str:
    """The same, for a terminal."""
    title = f"{plan.program.title} (invented data)" if plan.program.invented else plan.program.title
    parts = [title, reading(plan)]
    for heading, table in tables(plan):
        parts.append(f"\n{heading}")
        if table.reading:
            parts.append(table.reading)
        parts.append(_grid(table))
    parts.append(f"\n{CAUTIONS}\n{CAUTION}")
    return "\n".join(parts)


def _grid(table: Table) -> str:
    cells = [[column.title for column in table.columns]]
    cells += [[cell.text + (f" ({cell.note})" if cell.note else "") for cell in row.cells] for row in table.rows]
    widths = [max(len(row[place]) for row in cells) for place in range(len(table.columns))]
    return "\n".join(
        "  " + "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip() for row in cells
    )


def as_json(plan: Planning) -> dict[str, Any]:
    """The same as numbers: coatings by id, measures in their units, shares as shares."""
    builds = sorted(plan.program.builds, key=lambda build: build.built)

    def finite(number: float | None) -> float | None:
        return None if number is None or math.isinf(number) else number

    def lots_of(found: Sequence[Sequence[str]] | None) -> list[list[str]] | None:
        return None if found is None else [list(each) for each in found]

    return {
        "program": plan.program.id,
        "invented": plan.program.invented,
        "scheme": plan.scheme,
        "seed": plan.seed,
        "drawn": lots_of(plan.drawn),
        "listed": lots_of(plan.actual),
        "builds": [build.id for build in builds],
        "follows": plan.follows,
        "finds": [
            {
                "measure": each.measure.id,
                "phase": each.phase,
                "at": each.at,
                "as": each.measure.compare,
                "unit": "1" if each.measure.compare == "ratio" else each.measure.unit,
                "candidate": each.candidate,
                "scatter": each.scatter.sd,
                "scatter_of": "difference inside a build" if each.scatter.within else "build to build",
                "df": each.scatter.df,
                "builds": each.builds,
                "builds_reference": each.builds_reference,
                "finds": finite(each.found),
                "finds_at_worst": finite(each.found_at_worst),
                "builds_needed": None if each.needed is None else list(each.needed),
                "builds_needed_at_scatter": each.middle,
            }
            for each in plan.reaches
        ],
        "curves": [
            {
                "measure": each.measure.id,
                "at": each.at,
                "builds": [point.builds for point in each.points],
                "finds": [finite(point.found) for point in each.points],
                "finds_at_worst": [finite(point.found_at_worst) for point in each.points],
            }
            for each in plan.curves
        ],
        "scatter_unknown": list(plan.without),
        "instruments": [
            {"stream": stream, "measure": each.measure, "what": each.what, "least": each.value, "because": each.because}
            for stream, each in plan.smallest
            if math.isfinite(each.value)
        ],
    }
