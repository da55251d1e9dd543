"""Coatings set against each other: the answer in sentences, the table with its intervals, how it was worked out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sitegen.crossing import without
from sitegen.crossing.history import OWN_SCALE
from sitegen.methods.looks import false_alarm
from sitegen.page import words
from sitegen.page.blocks import Axis, Block, Cell, Column, Row, Strip, Table, Text
from sitegen.page.view import View
from sitegen.pages import differences, operators
from sitegen.reasons import IN_DOUBT
from sitegen.vocabulary import Comparison

if TYPE_CHECKING:
    from sitegen.crossing.planning import Planning

MOST = 60  # builds beyond which no number is given
INSIDE = frozenset({"fixed", "differences"})  # procedures that compare inside engines
ANCHOR, TITLE = "compared", "Coatings compared"


# ---- the answer -----------------------------------------------------------------------------------------------------


def answer(view: View, plan: Planning | None = None) -> list[Text]:
    """The opening of a program page: the primary comparison of each candidate, and with what care to read it."""
    rows = primary(view)
    if not rows:
        return []
    blocks = [Text((Cell(_lead(view, rows)),), role="lead")]
    blocks += [Text((Cell(text),)) for text in _asked(view)]
    blocks += [Text((Cell(text),)) for text in _beside(view)]
    blocks += [Text((Cell(differences.sentence(view, row)),)) for row in rows[1:]]
    care = _care(view, rows, plan)
    if care:
        blocks.append(Text((Cell(care),)))
    return blocks


def _asked(view: View) -> list[str]:
    """That the primary measure does not answer the question, with why, in the program's words; what does, and how."""
    program = view.program
    if program.answered_by is None:
        return []
    rows = answering(view)
    name = view.measures[program.answered_by.measure].title
    why = program.not_primary.rstrip(".")
    told = [f"The question is answered by the {name}, which is not the primary measure, since {why}."]
    return [*told, *(differences.sentence(view, row) for row in rows)]


def _beside(view: View) -> list[str]:
    """The exploratory measures in which a candidate differs, a sentence a candidate."""
    parts = []
    for coating in view.program.candidates:
        every = [row for row in view.comparisons if row.role == "exploratory" and row.coating == coating]
        own = [row for row in every if not _answers(view, row)]
        told = [row for row in own if row.verdict not in {"cannot tell", "refused"}]
        if not told:
            continue
        named = words.listed([_with_estimate(view, row) for row in told])
        where = " in these engines" if all(row.scope == "these-engines" for row in told) else ""
        verb = words.plural(len(told), "differs", "differ")
        of = words.counted(len(own), "exploratory measure" if len(own) == len(every) else "other exploratory measure")
        fit = _one_fit(view, every)
        parts.append(f"Of the {of}, {named} {verb} for {differences.rings(view, coating)}{where}.{fit}")
    return parts


def answering(view: View) -> list[Comparison]:
    """The rows of what answers the question where the primary measure does not."""
    return [row for row in view.comparisons if _answers(view, row)]


def _answers(view: View, row: Comparison) -> bool:
    """Whether a row is of what answers the question, which is told by itself."""
    asked = view.program.answered_by
    return asked is not None and (row.measure, row.phase, row.at) == (asked.measure, asked.phase, asked.at)


def _with_estimate(view: View, row: Comparison) -> str:
    """ "the seating distance (54 % less, 95 % interval ...; three builds against two; without B6 cylinder 2)"."""
    place = differences.place_words(row.at)
    number = f"{differences.estimate(view, row)}, 95\N{NO-BREAK SPACE}% interval {differences.interval(view, row)}"
    told = "; ".join(filter(None, (place, number, differences.rests_on(row), differences.without(view, row))))
    return f"the {view.measures[row.measure].title} ({told})"


def primary(view: View) -> list[Comparison]:
    """Primary comparisons, those that say something first."""
    rows = [row for row in view.comparisons if row.role == "primary"]
    rank = {"better": 0, "worse": 0, "less": 0, "more": 0, "cannot tell": 1, "refused": 2}
    return sorted(rows, key=lambda row: (row.procedure in {"borrowed", "lent"}, rank[row.verdict]))


def lead(view: View) -> str:
    """The one sentence of the home page; "" where there is nothing to compare yet."""
    rows = primary(view)
    return _lead(view, rows) if rows else ""


def in_short(view: View) -> str:
    """The finding a program page opens with, what answers the question first; "" where nothing is compared yet."""
    rows = [row for row in primary(view) if row.estimate is not None]
    if not rows:
        return ""
    asked = [row for row in answering(view) if row.coating == rows[0].coating and row.estimate is not None]
    text = differences.short(view, (asked or rows)[0])
    if "provisional" in rows[0].flags:
        text = f"So far, {_lower(text)}"
    return f"{text} {differences.briefly(view, rows[0])}" if asked else text


def apart(view: View) -> str:
    """That operator and build cannot be told apart in what `in_short` says; "" where they can."""
    return operators.briefly(view, _between([row for row in (*answering(view), *primary(view)) if row.estimate]))


def _lead(view: View, rows: Sequence[Comparison]) -> str:
    text = differences.sentence(view, rows[0])
    if "provisional" in rows[0].flags:
        text = f"So far: {_lower(text)}"
    return text


def _lower(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"


def _care(view: View, rows: Sequence[Comparison], plan: Planning | None) -> str:
    """What is still to come, what it would take, and what cannot be separated."""
    parts = []
    if any("provisional" in row.flags for row in rows):
        program = view.program
        waiting = [build.id for build in program.builds if build.is_due(program.primary_phase)]
        lacking = program.planned_builds - len(program.builds)
        if waiting:
            parts.append(f"{words.listed(waiting)} {words.plural(len(waiting), 'has', 'have')} still to run.")
        if lacking > 0:
            there = len(program.builds)
            of = words.share(there, program.planned_builds, "planned build")
            parts.append(f"{words.sentence(of)} {words.are(there, program.planned_builds)} in.")
        looks = view.the_desk.looks
        if looks is None:
            parts.append(
                "Looking again before all builds are in raises the chance of a false alarm; how often that was done is "
                "not known here, where git holds no whole history."
            )
        elif looks > 1:
            parts.append(
                f"This is look {looks} at the data before all builds are in: so many looks raise the chance of a false "
                f"alarm from 5 to {words.percent(false_alarm(looks), 1)}."
            )
        else:
            parts.append("Looking again before all builds are in raises the chance of a false alarm.")
    for row in rows:
        if "order-one-sided" in row.flags:
            parts.append(f"{words.sentence(view.why('order-one-sided'))}.")
            break
    needed = [text for row in rows if (text := needs(view, row, plan))]
    return " ".join([*parts, *needed])


def needs(view: View, row: Comparison, plan: Planning | None) -> str:
    """How many builds would find the difference worth finding, where the comparison cannot tell."""
    worth = view.program.worth_finding
    if row.verdict != "cannot tell" or row.role != "primary" or worth is None or plan is None:
        return ""
    wanted = (row.measure, row.phase, row.at, row.coating)
    own = (each for each in plan.reaches if (each.measure.id, each.phase, each.at, each.candidate) == wanted)
    reach = next(own, None)
    if reach is None or reach.needed is None:
        return ""
    least, most = reach.needed
    of = "holding both" if reach.scatter.within else "of each"
    return (
        f"To find a difference of {words.percent(worth, 1)} between {differences.rings(view, row.coating)} and "
        f"{differences.rings(view, row.reference)} would take {builds_range(least, most)} {of}."
    )


def builds_range(low: float, high: float | None) -> str:
    """ "three to nine builds", "from four to more than 60 builds"."""
    if low > MOST:
        return f"more than {MOST} builds"
    most = high is None or math.isinf(high) or int(high) > 12  # one of the two in figures: both
    least = words.number(int(low), 0) if most else words.count(int(low))
    if high is None or math.isinf(high):
        return f"from {least} to more than {MOST} builds"
    if int(high) == int(low):
        return words.counted(int(low), "build")
    return f"{least} to {words.counted(int(high), 'build')}"


# ---- the table ------------------------------------------------------------------------------------------------------


def _between(rows: Sequence[Comparison]) -> list[Comparison]:
    """Those of whole builds: inside an engine operator and build are the same on both sides."""
    return [row for row in rows if row.procedure not in INSIDE]


def table(view: View, coatings: Sequence[str] | None = None) -> list[Block]:
    """A row a candidate and measure, every interval on one axis in per cent of the reference; of some coatings only.

    Without `coatings`, exploratory rows that are no test are left to `untested`.
    """
    shown = view.program.candidates if coatings is None else coatings
    rows = [row for row in _shown(view, shown) if coatings is not None or not _aside(row)]
    return [_drawn("coatings-compared", view, rows, _reading(view, rows))] if rows else []


def untested(view: View) -> list[Block]:
    """The exploratory rows that are no test, drawn as the others are."""
    rows = [row for row in _shown(view, view.program.candidates) if _aside(row)]
    said = "Built once: build and coating cannot be told apart, so that this is no test."
    return [_drawn("compared-without-a-test", view, rows, said)] if rows else []


def _shown(view: View, coatings: Sequence[str]) -> list[Comparison]:
    rows = [row for coating in coatings for row in view.comparisons if row.coating == coating]
    rows.sort(key=lambda row: row.role != "primary")  # what was asked first stands first, of every coating
    return [row for row in rows if row.verdict != "refused" or row.role == "primary"]


def _aside(row: Comparison) -> bool:
    return row.role == "exploratory" and row.procedure in {"borrowed", "lent"}


def _drawn(name: str, view: View, rows: Sequence[Comparison], reading: str) -> Table:
    reference = view.coating_title(view.program.reference)
    axis = share_axis([end for row in rows for end in shares(row)], 1)
    made = [
        Row(
            (
                _measure_cell(view, row),
                strip_cell(view, row, axis),
                difference_cell(view, row),
                _level_cell(view, row),
                Cell(differences.counted(row) if row.verdict != "refused" else words.DASH),
            )
        )
        for row in rows
    ]
    columns = (
        Column("Measure"), Column(f"Less or more than {reference}"),
        Column("Difference, 95\N{NO-BREAK SPACE}% interval"), Column(words.sentence(reference)), Column("Builds"),
    )  # fmt: skip
    return Table(name, columns, made, reading, note=operators.note(view, _between(rows)), stack=True, axis=axis)


LEAST_SHARE, MOST_SHARE = -1.0, 1.5  # of the reference: what lies beyond is cut at the edge of the axis
STEPS = (0.05, 0.1, 0.25, 0.5)


def share_axis(ends: Sequence[float], column: int) -> Axis:
    """An axis in per cent less or more than the reference that holds these shares."""
    low = max(LEAST_SHARE, min([-0.1, *ends]))
    high = min(MOST_SHARE, max([0.1, *ends]))
    step = next((each for each in STEPS if (high - low) / each <= 6), STEPS[-1])
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = [(n * step, "0" if n == 0 else words.with_unit(words.signed(100 * n * step, 0), "%"))
             for n in range(first, last + 1)]  # fmt: skip
    return Axis(column, first * step, last * step, ticks, 0.0)


def shares(row: Comparison) -> tuple[float, float, float] | tuple[()]:
    """Low, estimate and high of a comparison as shares less or more than the reference; nothing to draw: none."""
    if row.low is None or row.high is None:
        return ()
    middle = row.estimate if row.estimate is not None else math.nan
    if row.scale == "ratio":
        return row.low - 1, middle - 1, row.high - 1
    if not row.level_reference or row.level_reference <= 0:
        return ()
    level = row.level_reference
    return row.low / level, middle / level, row.high / level


def _measure_cell(view: View, row: Comparison) -> Cell:
    measure = view.measures[row.measure]
    place = differences.place_words(row.at)
    text = words.sentence(measure.title) + (f", {place}" if place else "")
    notes = [differences.after(view, row), row.role, "answers the question" if _answers(view, row) else ""]
    note = ", ".join(note for note in notes if note)
    return Cell(text, href=view.href_methods(row.measure), note=note, coating=row.coating)


def _level_cell(view: View, row: Comparison) -> Cell:
    if row.level_reference is None:
        return Cell(words.DASH)
    return Cell(words.with_unit(words.number(row.level_reference), view.measures[row.measure].unit))


def difference_cell(view: View, row: Comparison | None) -> Cell:
    """The difference with its interval, what it rests on and the word."""
    if row is None:
        return Cell(words.DASH)
    if row.verdict == "refused":
        return Cell("not compared", note=view.why(row.reason))
    if row.procedure in {"borrowed", "lent"}:
        return Cell(differences.estimate(view, row), note=f"{differences.ends(view, row)}; no test")
    if row.verdict == "cannot tell":
        return Cell("cannot tell", word=True, note=differences.interval(view, row))
    ends = differences.ends(view, row)
    level = row.level_reference if view.measures[row.measure].fit and row.scale == "difference" else None
    if level and row.low is not None and row.low < -level < 0:
        ends += "; at most all of it"  # what a fit leaves is no less than nothing
    return Cell(differences.estimate(view, row), strong=True, note=ends)


def strip_cell(view: View, row: Comparison, axis: Axis) -> Cell:
    """The interval drawn on an axis that holds shares less or more than the reference."""
    found = shares(row)
    if not found:
        return Cell("")
    low, mark, high = map(axis.place, found)
    hollow = row.procedure in {"borrowed", "lent"} or "provisional" in row.flags
    label = f"{differences.estimate(view, row)}, {differences.interval(view, row)}"
    return Cell("", strip=Strip(low, None if math.isnan(mark) else mark, high, hollow, row.coating, label))


def _reading(view: View, rows: Sequence[Comparison]) -> str:
    """How many of the measures differ, by candidate."""
    clauses = []
    for coating in view.program.candidates:
        own = [row for row in rows if row.coating == coating and row.verdict != "refused"]
        told = [row for row in own if row.verdict != "cannot tell"]
        if not own:
            continue
        title = view.coating_title(coating)
        found, of = (len({_finding(view, row) for row in each}) for each in (told, own))
        if all(row.procedure in {"borrowed", "lent"} for row in own):
            clauses += [f"{title} was built once, no test"] if len(own) == len(rows) else []
        else:
            few = "no measure" if not told else f"{words.share(found, of, 'measure')}"
            clauses.append(f"{title} differs from {view.coating_title(view.program.reference)} in {few}")
    rests = next((f" {lost}" for row in primary(view) if row in rows and (lost := _lost(view, row))), "")
    return f"{words.sentence('; '.join(clauses))}.{_one_fit(view, rows)}{rests}" if clauses else ""


def in_doubt(view: View) -> str:
    """What the intervals show of the difference worth finding in the primary measure; "" where none is stated."""
    told = [(row, text) for row in primary(view) if (text := differences.worth_finding(view, row))]
    if not told:
        return ""
    row, text = told[0]
    for long, short in ((", the difference worth finding,", ""), (", the difference worth finding", "")):
        text = text.replace(long, short)
    text = text.replace("That is", "It differs by")
    return f"{words.sentence(view.measures[row.measure].title)}: {_lower(text)}"


def _finding(view: View, row: Comparison) -> str:
    """What a row is a finding about: measures of one fit are one."""
    return view.measures[row.measure].fit or f"{row.measure} {row.phase} {row.at}"


def _one_fit(view: View, rows: Sequence[Comparison]) -> str:
    """Measures of one fit are one finding: said where two of them differ."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        fit = view.measures[row.measure].fit
        if fit and row.verdict not in {"cannot tell", "refused"}:
            found.setdefault((row.coating, fit), []).append(view.measures[row.measure].title)
    named = list(dict.fromkeys(tuple(dict.fromkeys(each)) for each in found.values()))
    told = [f"{words.listed(each)}, from one fit, count as one" for each in named if len(each) > 1]
    return f" {words.sentence('; '.join(told))}." if told else ""


def _note(view: View, rows: Sequence[Comparison]) -> str:
    exploratory = sum(row.role == "exploratory" for row in rows if row.coating == view.program.candidates[0])
    parts = []
    if any(row.procedure in INSIDE for row in rows):
        parts.append(
            "Differences are taken inside the engines that hold both coatings, where build, tune and operator are the "
            "same on both sides."
        )
    if any(row.procedure and row.procedure not in INSIDE for row in rows):
        parts.append(
            "Differences are taken between builds, because the cylinders of one engine share its build, its tune and "
            "its operator."
        )
    parts.append(
        "A difference in the unit of its measure is drawn as a share of the reference. Open marks are not yet to be "
        "relied on."
    )
    if len(view.program.candidates) > 1:
        parts.append("Intervals are widened for the number of candidates.")
    if exploratory > 1:
        times = len(view.program.candidates)
        of = f", {words.count(times)} candidates each" if times > 1 else ""
        parts.append(
            f"All but the primary are exploratory: their intervals are widened for the "
            f"{words.counted(exploratory, 'measure')} looked at{of}."
        )
    return " ".join(parts)


# ---- how much it rests on one build ---------------------------------------------------------------------------------


def resting(view: View) -> list[Block]:
    """The primary comparison without each build, a paragraph a candidate; nothing where no build was left out."""
    told = [text for row in primary(view) if (text := _resting(view, row))]
    if not told:
        return []
    rule = "Only a cause recorded without knowing the result leaves a build out of the primary comparison."
    return [*(Text([Cell(text)]) for text in told), Text([Cell(rule)])]


def _each_left_out(view: View, row: Comparison) -> dict[str, Comparison]:
    """A primary comparison without each build, by the build that is left out."""
    return {
        value.key.engine: replace(row, estimate=value.value, low=value.low, high=value.high)
        for value in view.values(without.WITHOUT.id, phase=row.phase, coating=row.coating)
        if value.key.engine and value.value is not None
    }


def _lost(view: View, row: Comparison) -> str:
    """Builds without any one of which a difference could no longer be told; "" where there are none."""
    none = differences.none(row)
    across = [build for build, each in _each_left_out(view, row).items()
              if (each.low or -math.inf) <= none <= (each.high or math.inf)]  # fmt: skip
    if row.verdict in {"cannot tell", "refused"} or not across:
        return ""
    rests = "The answer rests on one build: without" if len(across) == 1 else "Without"
    return f"{rests} {words.listed(across, 'or')} the primary difference could not be told."


def _resting(view: View, row: Comparison) -> str:
    found = view.values(without.WITHOUT.id, phase=row.phase, coating=row.coating)
    again, none = _each_left_out(view, row), differences.none(row)
    if not again or row.estimate is None:
        return ""
    what, coating = differences.subject(view, row), differences.rings(view, row.coating)
    ordered = sorted(again, key=lambda build: again[build].estimate or none)
    least, most = (f"{differences.estimate(view, again[build])} without {build}" for build in (ordered[0], ordered[-1]))
    span = least if len(again) == 1 else f"from {least} to {most}"
    parts = [f"Leaving out one build at a time, {what} with {coating} would be {span}.{_moved(view, row)}"]
    parts = [*filter(None, [_lost(view, row)]), *parts]
    lost = [value.key.engine for value in found if value.status == "refused" and value.key.engine]
    if lost:
        parts.append(f"Without {words.listed(lost, 'or')} nothing can be compared.")
    fitted = next((value for value in found if not value.key.engine and value.value is not None), None)
    if fitted is not None:
        each = replace(row, estimate=fitted.value, low=fitted.low, high=fitted.high)
        apart = _out_of_fit(view, row)
        rate = "seats over a distance of its own" if len(apart) == 1 else "seat over distances of their own"
        ends = f" (95\N{NO-BREAK SPACE}% interval {differences.interval(view, each)})"
        tested = row.procedure not in {"borrowed", "lent"}
        parts.append(
            f"Without {words.listed(apart)}, which {rate}, it would be "
            f"{differences.estimate(view, each)}{ends if tested else ''}."
        )
    return " ".join(parts)


def _moved(view: View, row: Comparison) -> str:
    """How far the estimate moves at most, and how far it usually does."""
    move, usual = (
        view.value(measure.id, row.phase, row.at, engine="", cylinder=0, coating=row.coating)
        for measure in (without.LARGEST, without.USUAL)
    )
    if move is None or move.value is None:
        return ""
    text = f" The largest move is {words.number(move.value, 1)} standard errors"
    if usual is not None and usual.value is not None:
        text += f", and half of such programs move by {words.number(usual.value, 1)} or more"
    return f"{text}."


def _out_of_fit(view: View, row: Comparison) -> list[str]:
    """Cylinders of the two coatings that seat on a scale of their own."""
    found = {
        value.key[:2]
        for measure in view.measures.values()
        if measure.fit
        for value in view.values(measure.id)
        if value.reason == OWN_SCALE and value.key.coating in {row.coating, row.reference}
    }
    return [f"{engine} cylinder {cylinder}" for engine, cylinder in sorted(found)]


# ---- how it was worked out ------------------------------------------------------------------------------------------


def worked_out(view: View) -> list[Block]:
    """The procedure of each comparison, and what the cylinders are worth."""
    rows = [row for row in view.comparisons if row.design]
    if not rows:
        return []
    made = [
        Row(
            (
                Cell(words.sentence(view.measures[row.measure].title), note=_place(view, row)),
                view.coating_cell(row.coating, link=False),
                Cell(words.sentence(row.design), note=_procedure(row)),
                Cell(_p(row.p), note=_p_note(row)),
                Cell(_worth(row), note=_icc(row)),
                Cell(_cares(view, row)),
            )
        )
        for row in rows
    ]
    columns = (
        Column("Measure"), Column("Coating"), Column("Design and procedure"), Column("p", numeric=True),
        Column("Independent tests"), Column("Read with care"),
    )  # fmt: skip
    how = Table("how-worked-out", columns, made, _design_sentence(view), note=_detail(view, rows), wide=True)
    return [how, Text((Cell(_note(view, rows)),), role="note")]


def procedures(view: View) -> str:
    """By which procedures coatings were compared, in a line."""
    tested = [row.procedure for row in view.comparisons if row.procedure not in {"", "borrowed", "lent"}]
    told = dict.fromkeys(differences.PROCEDURES[each] for each in tested)
    return f"{words.sentence('; '.join(told))}." if told else ""


def _procedure(row: Comparison) -> str:
    parts = [differences.PROCEDURES.get(row.procedure, ""), differences.SCOPES.get(row.scope, "")]
    return "; ".join(part for part in parts if part)


def _p_note(row: Comparison) -> str:
    parts = []
    if row.df is not None:
        df = words.number(row.df, 1 if row.df % 1 else 0)
        parts.append(f"{df} degrees of freedom" if row.df != 1 else "one degree of freedom")
    if row.df is not None and row.adjusted_over > 1:
        parts.append(f"widened for {words.count(row.adjusted_over)} comparisons")
    return "; ".join([*parts, *filter(None, [_randomised(row)])])


def _detail(view: View, rows: Sequence[Comparison]) -> str:
    """What the columns mean, and the care the values themselves ask for, once for all rows."""
    flags = sorted({flag for row in rows for flag in row.flags} - OWN_FLAGS)
    of_values = [f"{view.why(flag)}" for flag in flags]
    return _DETAIL + (f" Of some of the values behind them: {'; '.join(of_values)}." if of_values else "")


# flags of a comparison itself; the others come from its values
OWN_FLAGS = frozenset(
    {
        "provisional", "mean-of-fewer", "build-without-value", "other-distance-left-out",
        "one-lot", "order-one-sided", "whole-builds-left-out", "position-taken-out",
        "unpaired-builds-left-out", "shared-block-left-out", "blocks-used-again", IN_DOUBT,
    }
)  # fmt: skip


_DETAIL = (
    "The procedure follows from which coating was where, before a number is looked at. Independent tests: as how many "
    "the cylinders count, from how alike those of one build are."
)


def _place(view: View, row: Comparison) -> str:
    return ", ".join(part for part in (differences.after(view, row), differences.place_words(row.at)) if part)


def _p(p: float | None) -> str:
    if p is None:
        return words.DASH
    return "below 0.001" if p < 0.001 else words.number(p, 3 if p < 0.1 else 2)


def _randomised(row: Comparison) -> str:
    if row.p_randomised is not None:
        return f"by randomisation {_p(row.p_randomised)}"
    if row.least_p is not None and row.least_p > 0.05:
        least = f"randomisation cannot go below {words.number(row.least_p, 2)}"
        rests = row.p is not None and row.p < row.least_p
        means = words.counted(row.builds + row.builds_reference, "build mean")
        return f"rests on {means} scattering normally: {least}" if rests else least
    return ""


def _worth(row: Comparison) -> str:
    if row.effective is None:
        return words.DASH
    whole = f"of {words.counted(row.cylinders + row.cylinders_reference, 'cylinder')}"
    if row.effective_low is None or row.effective_high is None:
        return f"{words.number(row.effective, 0)} {whole}"
    least, most = words.number(row.effective_low, 0), words.number(row.effective_high, 0)
    return f"{words.from_to(least, most)} {whole}"


def _icc(row: Comparison) -> str:
    if row.icc is None or row.icc_low is None or row.icc_high is None:
        return ""
    low, high = max(row.icc_low, 0.0), max(row.icc_high, 0.0)
    return f"{words.percent(low, 1)} to {words.percent(high, 1)} of the scatter is between builds"


def _cares(view: View, row: Comparison) -> str:
    told = "; ".join(view.why(flag) for flag in sorted(row.flags & OWN_FLAGS))
    if row.reason:
        told = "; ".join(part for part in (view.why(row.reason), told) if part)
    return words.sentence(told) or words.DASH


def _design_sentence(view: View) -> str:
    """Which coating was where."""
    program = view.program
    mixed = [build.id for build in program.builds if len(build.coatings) > 1]
    whole = [build for build in program.builds if len(build.coatings) == 1]
    parts = []
    if mixed:
        parts.append(f"{words.listed(mixed)} {words.plural(len(mixed), 'holds', 'hold')} more than one coating")
    if whole:
        counts = [
            f"{words.counted(n, 'build')} with {differences.rings(view, coating)}"
            for coating in program.coatings
            if (n := sum(build.coatings == (coating,) for build in whole))
        ]
        parts.append(words.listed(counts))
    text = f"{words.sentence('; '.join(parts))}." if parts else ""
    scheme = program.allocation_scheme
    if scheme == "not recorded":
        return f"{text} How the coatings were allotted is not recorded."
    drawn = " by lot" if program.allocation_seed is not None else ""
    return f"{text} Allotted{drawn} as {scheme}."
