"""Criteria with their answers: the word, who decided it, how wrong it can be, what would decide it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from sitegen.crossing import deciding
from sitegen.crossing import next_step as next_steps
from sitegen.page import words
from sitegen.page.blocks import Axis, Block, Cell, Column, Row, Strip, Table
from sitegen.page.view import View
from sitegen.pages import comparing, differences
from sitegen.program.model import Criterion, Program
from sitegen.vocabulary import Comparison, Verdict

SENSES = {"at-most": "at most", "at-least": "at least"}
TITLE = "Criteria"
CANNOT = "cannot tell yet"
_SAID = {"fails": ("fails", "fail"), "holds": ("holds", "hold"), CANNOT: ("cannot be told", "cannot be told")}
WORST = "Intervals are widened for the number of cylinders. Open, dashed: cannot tell."
MOST_SHARE = 2.0  # of a limit: what lies beyond is cut at the edge of the axis
MOST_NAMED = 4  # undecided cylinders named in a line; the rest are counted


def caption(program: Program, late: str = "") -> str:
    """Caption of the criteria, with the day they were stated and what had come in by then."""
    when = f"Criteria, stated {words.day(program.criteria_stated)}" if program.criteria_stated else "Criteria"
    return f"{when}, {late}" if late else when


def table(
    view: View, changed: Callable[[Criterion], Sequence[str]], late: str, coatings: Sequence[str] | None = None
) -> Table | None:
    """Every answer on one axis, the share of its limit; of some coatings only, where named. None without criteria.

    `changed` says how a criterion stood before, `late` what had come in by the day they were stated.
    """
    rows = [(each, coating, _summary(view, each, coating)) for each in view.program.criteria
            for coating in each.coatings if coatings is None or coating in coatings]  # fmt: skip
    if not rows:
        return None
    placed = {n: _shares(view, *row) for n, row in enumerate(rows)}
    reach = min(MOST_SHARE, max([1.2, *(max(each) for each in placed.values() if each)]))
    end = math.ceil(4 * reach * 1.02) / 4
    columns = (
        Column("Criterion"), Column("Worst value as a share of its limit"), Column("Worst, or difference"),
        Column("Limit"), Column("Answer"),
    )  # fmt: skip
    ticks = [(1.0, "limit"), *((n / 2, f"{50 * n}\N{NO-BREAK SPACE}%") for n in range(math.floor(2 * end + 1e-9) + 1)
                               if n != 2)]  # fmt: skip
    axis = Axis(1, 0.0, end, ticks, 1.0)
    made = [_row(view, *row, placed[n], axis, changed) for n, row in enumerate(rows)]
    many = any(each.scope != "mean-of-builds" and each.sense in SENSES for each, _, _ in rows)
    said, when = _reading(view, coatings, late)
    note = " ".join(filter(None, (WORST if many else "", "" if said else when)))
    return Table("criteria", columns, made, f"{said} {when}".strip() if said else "", note=note, stack=True, axis=axis)


def _reading(view: View, coatings: Sequence[str] | None, late: str) -> tuple[str, str]:
    """The answers by coating, left to the verdict where a rule leads the page, and when the criteria were stated."""
    led = coatings is None and view.program.decide is not None
    day = view.program.criteria_stated
    when = f"Stated {words.day(day)}{f', {late}' if late else ''}." if day else ""
    return "" if led else standing(view, coatings), when


def standing(view: View, coatings: Sequence[str] | None = None) -> str:
    """The answers by coating: "Graded: criterion 2 holds, criteria 1 and 3 cannot be told."; "" without an answer."""
    asked = dict.fromkeys(each for criterion in view.program.criteria for each in criterion.coatings)
    parts = []
    for coating in asked if coatings is None else coatings:
        answers = [(each, _summary(view, each, coating)) for each in view.program.criteria if coating in each.coatings]
        same = {word: [each for each, own in answers if own is not None and own.word == word] for word in _SAID}
        if clauses := [told(view, own, word) for word, own in same.items() if own]:
            parts.append(f"{view.coating_title(coating)}: {', '.join(clauses)}")
    return f"{words.sentence('; '.join(parts))}." if parts else ""


def told(view: View, some: Sequence[Criterion], word: str) -> str:
    """Criteria with the same answer: "criterion 2 holds", "criteria 1 and 3 cannot be told"."""
    numbers = words.numbers_listed([number(view, each) for each in some])
    return f"{words.plural(len(some), 'criterion', 'criteria')} {numbers} {_SAID[word][len(some) > 1]}"


def shown(word: str) -> str:
    """A word of an answer on a page, where whether more is to come is said beside it."""
    return word.removesuffix(" yet")


def number(view: View, criterion: Criterion) -> int:
    """Place of a criterion in its program, from one: what pages call it by."""
    return view.program.criteria.index(criterion) + 1


def _summary(view: View, criterion: Criterion, coating: str) -> Verdict | None:
    found = view.verdicts(f"criterion:{criterion.id}", engine="", coating=coating, phase=criterion.phase)
    return found[0] if found else None


def comparison(view: View, criterion: Criterion, coating: str) -> Comparison | None:
    """The comparison that a criterion against the reference asks for."""
    wanted = (criterion.measure, criterion.phase, criterion.at, coating)
    return next((row for row in view.comparisons
                 if (row.measure, row.phase, row.at, row.coating) == wanted), None)  # fmt: skip


def _shares(
    view: View, criterion: Criterion, coating: str, summary: Verdict | None
) -> tuple[float, float, float] | tuple[()]:
    """Low, value and high of an answer as shares of its limit; nothing where there is none to draw."""
    if criterion.sense not in SENSES:
        row = comparison(view, criterion, coating)
        if row is None or row.estimate is None or row.low is None or row.high is None:
            return ()
        if row.scale == "ratio":
            return row.low, row.estimate, row.high
        level = row.level_reference
        if not level or level <= 0:
            return ()
        return 1 + row.low / level, 1 + row.estimate / level, 1 + row.high / level
    if summary is None or summary.found is None or not criterion.limit or criterion.limit < 0:
        return ()
    low, high = (summary.found if end is None else end for end in (summary.low, summary.high))
    return low / criterion.limit, summary.found / criterion.limit, high / criterion.limit


def _row(
    view: View, criterion: Criterion, coating: str, summary: Verdict | None, shares: Sequence[float], axis: Axis,
    changed: Callable[[Criterion], Sequence[str]],
) -> Row:  # fmt: skip
    units = view.verdicts(f"criterion:{criterion.id}", coating=coating, phase=criterion.phase)
    units = [each for each in units if each.key.engine and each.found is not None]
    word = summary.word if summary else "not decided here"
    who = next((unit_name(each) for each in units if summary and _decides(each, summary)), "")
    if criterion.sense in SENSES:
        found = judged(view, criterion, summary) if summary and summary.found is not None else words.DASH
    else:
        row = comparison(view, criterion, coating)
        known = row is not None and row.estimate is not None
        found = f"{differences.estimate(view, row)} ({differences.ends(view, row)})" if row and known else words.DASH
    drawn = Cell("")
    others = [axis.place((each.found or 0.0) / criterion.limit) for each in units
              if criterion.limit and unit_name(each) != who]  # fmt: skip
    if shares or others:
        low, value, high = map(axis.place, shares) if shares else (None, None, None)
        label = f"{found}, {limit(view, criterion)}"
        drawn = Cell(
            "", strip=Strip(low, value, high, word == CANNOT, coating, label, others, who, clear=axis.place(1.0))
        )
    ended = view.program.decide is not None and criterion.id in view.program.decide.stop  # the rule says so then
    first = view.coating is not None or coating == criterion.coatings[0]  # on the page of a coating, its only row
    before = [each.removeprefix("It ").removesuffix(".") for each in changed(criterion)] if first else []
    notes = [view.coating_title(coating) if len(criterion.coatings) > 1 else "",
             "ends the program when it fails" if criterion.end_rule and not ended else "", *before]  # fmt: skip
    title = Cell(
        f"{number(view, criterion)} {criterion.title if first else 'the same'}",
        note="; ".join(filter(None, notes)),
        coating=coating,
    )
    told = _answer(view, criterion, coating)
    note = told[0] if told else ""
    if note == words.sentence(_undecided([who])):  # the mark is named already
        note = words.sentence(view.why(summary.reason)) if summary and summary.reason else ""
    return Row((title, drawn, Cell(found), Cell(limit(view, criterion)), Cell(shown(word), word=True, note=note)))


def _decides(unit: Verdict, summary: Verdict) -> bool:
    return summary.deciding.partition("@")[2] == f"{unit.key.engine}/{unit.key.cylinder}"


def in_full(view: View, changed: Callable[[Criterion], Sequence[str]], late: str) -> list[Block]:
    """Who decided each criterion, how wrong it can be, what would decide it; `changed` says how it stood before."""
    rows = []
    for each in view.program.criteria:
        when = f", after {view.program.phase(each.phase).title}" if each.phase else ""
        end = "; a failure ends the program for the coating" if each.end_rule else ""
        for n, coating in enumerate(each.coatings):
            before = [] if n else [sentence.removesuffix(".") for sentence in changed(each)]
            told = [*before, *_answer(view, each, coating)]
            rows.append(
                Row((Cell(each.title, note=f"{scope(view, each)}{when}{end}"), view.coating_cell(coating, link=False),
                     Cell(f"{'. '.join(told)}." if told else words.DASH)))
            )  # fmt: skip
    columns = (Column("Criterion"), Column("Coating"), Column("How it was answered"))
    return [Table("criteria-in-full", columns, rows, f"{caption(view.program, late)}.", stack=True)] if rows else []


def scope(view: View, criterion: Criterion) -> str:
    """What is judged: "every cylinder with hard chromium nitride"."""
    coatings = words.listed(view.coating_title(coating) for coating in criterion.coatings)
    return {
        "every-cylinder": f"every cylinder with {coatings}",
        "mean-of-builds": _mean_of(view, criterion, coatings),
        "every-build": f"every build with {coatings}",
    }[criterion.scope]


def _mean_of(view: View, criterion: Criterion, coatings: str) -> str:
    """What a mean of builds is: of what is compared as a ratio the typical build, on the logarithms."""
    if criterion.sense in SENSES:
        typical = any(each.route.startswith("typical-") for each in view.verdicts(f"criterion:{criterion.id}"))
    else:
        measure = view.measures.get(criterion.measure)
        typical = measure is not None and measure.compare == "ratio"
    return f"typical build with {coatings} (geometric mean)" if typical else f"mean of the builds with {coatings}"


def limit(view: View, criterion: Criterion) -> str:
    """The limit as stated: "at most 0.35 mm²", "below nitrided"."""
    measure = view.measures.get(criterion.measure)
    if criterion.limit is not None and criterion.sense in SENSES:
        unit = measure.unit if measure else ""
        return f"{SENSES[criterion.sense]} {words.with_unit(words.stated(criterion.limit), unit)}"
    side = "below" if criterion.sense == "below-reference" else "above"
    return f"{side} {view.coating_title(view.program.reference)}"


def _answer(view: View, criterion: Criterion, coating: str) -> list[str]:
    """Who decided an answer, how wrong it can be, what would decide it."""
    own = [
        each
        for each in view.verdicts(f"criterion:{criterion.id}")
        if each.key.coating == coating and each.key.phase == criterion.phase
    ]
    summary = next((each for each in own if not each.key.engine), None)
    if summary is None:
        return []
    units = [each for each in own if each.key.engine]
    told = [*_decided_by(view, criterion, summary, units), *_worst(view, criterion, coating)]
    if criterion.scope == "mean-of-builds" and criterion.sense in SENSES and summary.found is not None:
        told.insert(0, f"found: {judged(view, criterion, summary)}")
    if units and _on_one_occasion(view, criterion):
        told.append("judged on one occasion, because it is not known how far occasions scatter")
    if summary.word == "fails" and criterion.end_rule:
        told.insert(0, "the program ends for this coating")
    return [words.sentence(each) for each in [*told, *_builds_needed(view, criterion, coating)]]


def unit_name(verdict: Verdict) -> str:
    """ "B6 cylinder 2", or the build."""
    return f"{verdict.key.engine} cylinder {verdict.key.cylinder}" if verdict.key.cylinder else verdict.key.engine


def _named(verdicts: Sequence[Verdict]) -> str:
    shown = [unit_name(each) for each in verdicts[:MOST_NAMED]]
    more = len(verdicts) - len(shown)
    return words.listed([*shown, f"{words.count(more)} more"]) if more else words.listed(shown)


def _decided_by(view: View, criterion: Criterion, summary: Verdict, units: Sequence[Verdict]) -> list[str]:
    failing = deciding.worst_first(criterion, [each for each in units if each.word == "fails"])
    open_ = deciding.worst_first(criterion, [each for each in units if each.word == CANNOT])
    if summary.word == "fails":
        return [f"decided by {_named(failing)}"] if failing else []
    if summary.word == "holds":
        return []
    if open_:
        told = [_undecided([_named(open_)])]
        needed = _readings_needed(view, criterion, open_)
        return [*told, *([needed] if needed else [])]
    told = _without(view, criterion, summary.key.coating, units)
    if summary.reason == "builds-to-come":
        told = [_so_far(view)]
    elif not told and summary.reason:
        told = [view.why(summary.reason)]
    holding = sum(each.word == "holds" for each in units)
    if holding:
        some = bool(told) and summary.reason != "builds-to-come"
        others = f"the other {words.count(holding)}" if some else words.share(holding, holding, _noun(criterion))
        falls = _still_falls(view, criterion, summary.key.coating, units, holding) if some else ""
        told.insert(0, falls or f"holds for {others}" + (f" {_noun(criterion)}s" if some else ""))
    return told


def _still_falls(view: View, criterion: Criterion, coating: str, units: Sequence[Verdict], holding: int) -> str:
    """Cylinders without a value whose leak fell beyond scatter at their last check, with by how much; "" none."""
    told = []
    for name, engine, cylinder in _without_value(view, criterion, coating, units):
        state = view.state(engine, cylinder)
        if state is not None and state.reason == "last-fall" and state.found is not None:
            measure = view.measures.get(state.deciding.partition("@")[0])
            fell = words.judged(state.found, state.low, state.high, state.limit or 0.0)
            last = f"it last fell by {words.with_unit(fell, measure.unit if measure else '')}"
            yet = "yet" if view.program.build(engine).is_due(criterion.phase) else "and none to come"
            told.append(f"{name} has no value {yet}: {last}")
    verb = words.plural(holding, "holds", "hold")
    return f"{words.count(holding)} {verb}; {'; '.join(told)}" if told else ""


def _undecided(names: Sequence[str]) -> str:
    return f"undecided: {words.listed(names)}"


def _on_one_occasion(view: View, criterion: Criterion) -> bool:
    """Whether occasions matter to what is judged, and nothing tells by how much."""
    measure = view.measures.get(criterion.measure)
    return measure is not None and bool(measure.occasion) and not view.values(measure.occasion, phase=criterion.phase)


def _so_far(view: View) -> str:
    """How many of the planned builds there are: the others may carry any coating."""
    listed, planned = len(view.program.builds), view.program.planned_builds
    return f"{words.count(listed)} of {words.counted(planned, 'planned build')} so far"


def _without(view: View, criterion: Criterion, coating: str, units: Sequence[Verdict]) -> list[str]:
    """Cylinders that should have a value and have none, and why, by reason."""
    lacking: dict[str, list[str]] = {}
    for name, engine, cylinder in _without_value(view, criterion, coating, units):
        due = view.program.build(engine).is_due(criterion.phase)
        why = "to-come" if due else _why_none(view, criterion, engine, cylinder)
        lacking.setdefault(why, []).append(name)
    told = []
    for why, names in lacking.items():
        which = words.listed(names) if len(names) <= MOST_NAMED else words.counted(len(names), "cylinder")
        when = f" yet, {view.why(why)}" if why == "to-come" else f", and none to come, because {view.why(why)}"
        told.append(f"no value for {which}{when}")
    return told


def _without_value(
    view: View, criterion: Criterion, coating: str, units: Sequence[Verdict]
) -> list[tuple[str, str, int]]:
    """Name, build and cylinder of each that a criterion asks for and that has no value."""
    if criterion.scope != "every-cylinder":
        return []
    known = {(each.key.engine, each.key.cylinder) for each in units}
    return [
        (f"{build.id} cylinder {place.cylinder}", build.id, place.cylinder)
        for build in view.program.builds
        if not criterion.phase or criterion.phase in {phase.id for phase in view.program.phases_of(build)}
        for place in build.places
        if place.coating == coating and (build.id, place.cylinder) not in known
    ]


def lacking(view: View, criterion: Criterion, coating: str) -> str:
    """Cylinders that a criterion asks for and that have no value: "value for B6 cylinder 2"."""
    names = lacking_names(view, criterion, coating)
    of = words.listed(names) if len(names) <= MOST_NAMED else words.counted(len(names), "cylinder")
    return f"value for {of}" if names else "value for a cylinder"


def lacking_names(view: View, criterion: Criterion, coating: str) -> list[str]:
    """The same cylinders by name."""
    own = view.verdicts(f"criterion:{criterion.id}", coating=coating, phase=criterion.phase)
    return [name for name, *_ in _without_value(view, criterion, coating, [each for each in own if each.key.engine])]


def _why_none(view: View, criterion: Criterion, engine: str, cylinder: int) -> str:
    """Why a cylinder has no value: said at the phase itself, or once for all phases by what refused it."""
    own = view.value(criterion.measure, criterion.phase, criterion.at, engine=engine, cylinder=cylinder)
    if own is not None and own.reason:
        return own.reason
    others = view.values(criterion.measure, engine=engine, cylinder=cylinder)
    return next((value.reason for value in others if value.status == "refused" and value.reason), "no-reading")


def _noun(criterion: Criterion) -> str:
    return "build" if criterion.scope == "every-build" else "cylinder"


def _readings_needed(view: View, criterion: Criterion, open_: Sequence[Verdict]) -> str:
    """What would decide the cylinders that are open."""
    values = [
        value
        for each in open_
        for value in view.values(
            "criterion.readings_needed", engine=each.key.engine, cylinder=each.key.cylinder, at=criterion.id
        )
    ]
    known = [int(value.value) for value in values if value.value is not None]
    own = {step.reason for each in open_ for step in view.verdicts(next_steps.RULE, coating=each.key.coating)
           if step.deciding == f"criterion:{criterion.id}"}  # fmt: skip
    gone = next_steps.GONE in own
    if values and not known:
        start = f"{view.why(next_steps.GONE)}; nor could more readings" if gone else "more readings cannot"
        return f"{start} decide it, because {view.why('common-error-reaches')}"
    if gone:
        return view.why(next_steps.GONE)
    if not known:
        return ""
    return f"about {words.number(max(known), 0)} readings of a check would decide it"


def _builds_needed(view: View, criterion: Criterion, coating: str) -> list[str]:
    value = view.value("criterion.builds_needed", criterion.phase, criterion.id, engine="", cylinder=0, coating=coating)
    if value is None or value.low is None:
        return []
    return [f"would take {comparing.builds_range(value.low, value.high)} of each coating"]


def _worst(view: View, criterion: Criterion, coating: str) -> list[str]:
    """The worst cylinder seen, and those not clearly better: the worst of many looks worse than it is."""
    own = [each for each in view.verdicts(f"worst-seen:{criterion.id}") if each.key.coating == coating]
    worst = next((each for each in own if each.word == "worst seen"), None)
    if worst is None:
        return []
    found = view.verdicts(f"criterion:{criterion.id}", engine=worst.key.engine, cylinder=worst.key.cylinder)
    shown = f" at {judged(view, criterion, found[0])}" if found else ""
    near = [each for each in own if each.word != "worst seen"]
    beside = f"; {_near(near)}" if near else ""
    beside += f"; {view.why(worst.reason)}" if worst.reason else ""
    return [f"worst seen: {unit_name(worst)}{shown}{beside}"]


def judged(view: View, criterion: Criterion, verdict: Verdict) -> str:
    """The number with the interval that decided, and its unit."""
    measure = view.measures.get(criterion.measure)
    found = words.judged(verdict.found, verdict.low, verdict.high, verdict.limit or 0.0)
    return words.with_unit(found, measure.unit if measure else "")


def distance(view: View, criterion: Criterion, verdict: Verdict) -> str:
    """How far the value lies from its limit: "0.041 mm² above the limit"."""
    if verdict.found is None or verdict.limit is None:
        return ""
    measure = view.measures.get(criterion.measure)
    if verdict.found == verdict.limit:
        return "at the limit"
    side = "above" if verdict.found > verdict.limit else "below"
    far = words.number(abs(verdict.found - verdict.limit), words.decimals_alone(verdict.found - verdict.limit, 2))
    return f"{words.with_unit(far, measure.unit if measure else '')} {side} the limit"


def _near(near: Sequence[Verdict]) -> str:
    if len(near) > MOST_NAMED:
        return f"{words.count(len(near))} others are not clearly better"
    return f"{_named(near)} {'is' if len(near) == 1 else 'are'} not clearly better"


# ---- one cylinder ---------------------------------------------------------------------------------------------------


def of_cylinder(view: View) -> Table | None:
    """How one cylinder stands under each criterion; None where none looks at it."""
    rows = []
    for criterion in view.program.criteria:
        verdict = next(
            iter(view.verdicts(f"criterion:{criterion.id}", engine=view.the_build, cylinder=view.cylinder)), None
        )
        if verdict is None:
            continue
        rows.append(
            Row(
                (
                    Cell(criterion.title, href=view.href_program(anchor="criteria")),
                    Cell(limit(view, criterion)),
                    Cell(judged(view, criterion, verdict)),
                    Cell(shown(verdict.word), word=True, note=view.why(verdict.reason) if verdict.reason else ""),
                )
            )
        )
    if not rows:
        return None
    columns = (Column("Criterion"), Column("Limit"), Column("Found"), Column("Answer"))
    told = [f"{row.cells[0].text}: {row.cells[3].text}" for row in rows]
    reading = f"{'; '.join(told)}."
    note = (
        "For this cylinder alone: it fails only where its interval lies beyond the limit with room for the number of "
        "cylinders looked at."
    )
    return Table("criteria-of-this-cylinder", columns, rows, reading, note=note)


_OF_STATE = {"met": "holds", "not met": "fails", "cannot tell": CANNOT}


def beside_state(view: View) -> str:
    """Where a criterion about what decided the state has another word, since it has room for all it asks."""
    own = view.verdicts(engine=view.the_build, cylinder=view.cylinder)
    told = []
    for criterion in view.program.criteria:
        for asked in (each for each in own if each.rule == f"criterion:{criterion.id}"):
            of = (criterion.measure, criterion.phase, asked.limit, asked.route)
            beside = {_OF_STATE.get(each.word, asked.word) for each in own
                      if (each.deciding.partition("@")[0], each.key.phase, each.limit, each.route) == of
                      and each.rule != asked.rule}  # fmt: skip
            if beside - {asked.word}:
                ends = words.judged(asked.found, asked.low, asked.high, asked.limit or 0.0).partition(" (")[2]
                told.append(
                    f"Criterion {number(view, criterion)} is asked of {words.counted(asked.adjusted_over, 'cylinder')} "
                    f"at once; with room for that, its interval here is {ends.rstrip(')')}: {shown(asked.word)}."
                )
    return " ".join(told)


def fails(view: View) -> bool:
    """Whether the cylinder of the view fails a criterion."""
    found = view.verdicts(engine=view.the_build, cylinder=view.cylinder)
    return any(each.rule.startswith("criterion:") and each.word == "fails" for each in found)


# ---- in a line ------------------------------------------------------------------------------------------------------


def tally(view: View) -> str:
    """How the answers stand in a few words: "One fails, one holds"; "" without an answer."""
    found = [own.word for _, own in _summaries(view)]
    parts = [f"{words.count(n)} {verbs[n > 1]}" for word, verbs in _SAID.items() if (n := found.count(word))]
    return words.sentence(", ".join(parts))


def counts(view: View) -> str:
    """The same with how many there are: "Four answers: one holds, three cannot be told."."""
    many = len(_summaries(view))
    return (
        f"{words.sentence(words.counted(many, 'answer'))}: {tally(view)[0].lower()}{tally(view)[1:]}." if many else ""
    )


def failing(view: View) -> str:
    """The criteria that fail, with what made them, for the home page: "“Leak area” (A1 cylinder 2) fails."."""
    told = dict.fromkeys(_titled(view, each, own) for each, own in _summaries(view) if own.word == "fails")
    return f"{words.listed(told)} {words.plural(len(told), 'fails', 'fail')}." if told else ""


def _summaries(view: View) -> list[tuple[Criterion, Verdict]]:
    """Every answer with its criterion."""
    return [(each, own) for each in view.program.criteria for coating in each.coatings
            if (own := _summary(view, each, coating)) is not None]  # fmt: skip


def _titled(view: View, criterion: Criterion, summary: Verdict) -> str:
    """The title, with those that made it fail."""
    own = view.verdicts(f"criterion:{criterion.id}", coating=summary.key.coating)
    found = deciding.worst_first(criterion, [each for each in own if each.key.engine and each.word == "fails"])
    return f"“{criterion.title}”{f' ({_named(found)})' if found else ''}"
