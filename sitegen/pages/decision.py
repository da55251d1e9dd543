"""What the program's own rule says of each candidate, what drives it, what is open, and what would come next."""

from __future__ import annotations

from sitegen.crossing import ruling
from sitegen.crossing.deciding import NEXT_BUILDS, NEXT_REFERENCE, READINGS_NEEDED
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.pages import criteria, differences, stated
from sitegen.program.model import Criterion, DecisionRule, Standing
from sitegen.vocabulary import Verdict

ANCHOR = "decision"
_SAID: dict[str, str] = {
    ruling.RELEASED: "Released",
    ruling.RUN_ON: "Run on",
    ruling.STOPPED: "Stopped",
    ruling.OPEN: "Open",
}


def words_of(view: View) -> list[tuple[str, str]]:
    """Coating and word of the rule for each candidate; none where no rule was stated."""
    return [(each.key.coating, each.word) for each in view.verdicts(ruling.RULE)]


def lead(view: View) -> str:
    """ "Run on: graded chromium nitride. Open: hard chromium nitride." """
    grouped: dict[str, list[str]] = {}
    for coating, word in words_of(view):
        grouped.setdefault(word, []).append(view.coating_title(coating))
    return " ".join(f"{_SAID[word]}: {words.listed(names)}." for word, names in grouped.items())


def why(view: View) -> str:
    """What drives the word of each candidate, a clause each; "" without a rule."""
    told = [(view.coating_title(each.key.coating), _driver(view, each)) for each in view.verdicts(ruling.RULE)]
    return "".join(f"{words.sentence(title)}: {driver}. " for title, driver in told).strip()


def next_due(view: View) -> str:
    """What is due first: "Due next: 40 h of B3, on 1 December 2026"; "" where nothing has a day."""
    waiting = sorted(
        (each.due, build.id, each.phase)
        for build in view.program.builds
        for each in build.departures
        if each.kind == "due" and each.due
    )
    if not waiting:
        return ""
    day, build, phase = waiting[0]
    start = "Was due" if day < view.analysis.as_of else "Due next"
    return f"{start}: {view.program.phase(phase).title} of {build}, on {words.day(day)}"


def status(view: View) -> str:
    """The words of the rule, each once; "" where no rule was stated."""
    return ", ".join(dict.fromkeys(_SAID[word] for _, word in words_of(view))).capitalize()


def but(view: View) -> str:
    """What keeps the first candidate from its release, as a sentence; "" where nothing does, or no rule was stated."""
    for verdict in view.verdicts(ruling.RULE):
        if verdict.word == ruling.RELEASED:
            continue
        criterion = next((each for each in view.program.criteria if f"criterion:{each.id}" == verdict.deciding), None)
        if criterion is None:
            return f"{words.sentence(view.why(verdict.reason))}." if verdict.reason else ""
        answer = next(answer for each, answer in _answers(view, verdict.key.coating) if each is criterion)
        who = answer.deciding.partition("@")[2].replace("/", " cylinder ")
        if criterion.sense not in criteria.SENSES or not who or answer.found is None:
            return f"But {_lower(criterion.title)}: {answer.word}."
        asked = f"where {criteria.limit(view, criterion)} is asked"
        fails = "fails" if answer.word == "fails" else "cannot be told to hold"
        return f"But one criterion {fails}: {who} is at {criteria.judged(view, criterion, answer)} {asked}."
    return ""


def _lower(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"


def rule(view: View) -> str:
    """The rule in a sentence, with its looks; where none was stated it says so, and that the criteria stand alone."""
    own = view.program.decide
    if own is None:
        stated_none = view.program.criteria and view.program.candidates
        return "No rule of decision was stated, so the criteria stand for themselves." if stated_none else ""
    return _rule(view, own)


def looks(view: View) -> str:
    """When a release may be said; "" without a rule."""
    return _looks(view.program.decide) if view.program.decide is not None else ""


def blocks(view: View) -> list[Block]:
    """A row a candidate: its word, what drives it, what is open, what would come next; nothing without a rule."""
    if view.program.decide is None:
        return []
    columns = (Column("Candidate"), Column("Driven by"), Column("Still open"), Column("Next step"))
    rows = [_row(view, each) for each in view.verdicts(ruling.RULE)]
    return [Table("by-the-rule", columns, rows, stack=True)]


def _rule(view: View, rule: DecisionRule) -> str:
    """The rule in a sentence, with its day."""
    titles = {each.id: each.title for each in view.program.criteria}
    whole = len(rule.release) == len(titles)
    hold = words.plural(len(rule.release), "holds", "hold")
    asked = "every criterion holds" if whole else f"{words.listed(f'“{titles[each]}”' for each in rule.release)} {hold}"
    stop = (
        f", stopped when {words.listed([f'“{titles[each]}”' for each in rule.stop], 'or')} fails" if rule.stop else ""
    )
    when = stated.late(view, rule)
    day = f"{words.day(rule.stated)}, {when}" if when else words.day(rule.stated)
    told = [f"The rule, stated {day}: released when {asked}{stop}, otherwise run on."]
    return " ".join([*told, *stated.of_rule(view)])


def _looks(rule: DecisionRule) -> str:
    if rule.looks:
        counts = words.listed([str(each) for each in rule.looks])
        share = words.count(len(rule.looks))
        return (
            f"A release may be said at {counts} builds; the {share} looks share the error of the words, so that all "
            f"together a wrong release is said in at most 2.5\N{NO-BREAK SPACE}% of programs."
        )
    return "A release may be said once, when all planned builds are in. Nothing that is missing has passed."


def _row(view: View, verdict: Verdict) -> Row:
    coating = verdict.key.coating
    return Row(
        (
            Cell(view.coating_title(coating), href=view.href_coating(coating), coating=coating, note=verdict.word),
            Cell(_driver(view, verdict)),
            Cell(_open(view, verdict)),
            Cell(_next(view, verdict)),
        )
    )


def _answers(view: View, coating: str) -> list[tuple[Criterion, Verdict]]:
    rule, found = view.program.decide, []
    for each in view.program.criteria:
        own = view.verdicts(f"criterion:{each.id}", engine="", coating=coating)
        if rule is not None and each.id in rule.release and coating in each.coatings and own:
            found.append((each, own[0]))
    return found


def _driver(view: View, verdict: Verdict) -> str:
    """The criterion that made the word: worst value, limit, how far apart they are."""
    criterion = next((each for each in view.program.criteria if f"criterion:{each.id}" == verdict.deciding), None)
    if criterion is None:
        return words.sentence(view.why(verdict.reason)) if verdict.reason else words.DASH
    answer = next(answer for each, answer in _answers(view, verdict.key.coating) if each is criterion)
    why = f"; {view.why(answer.reason)}" if answer.word == criteria.CANNOT and answer.reason else ""
    return f"{criterion.title}: {answer.word}{_number(view, criterion, answer)}{why}"


def _number(view: View, criterion: Criterion, answer: Verdict) -> str:
    if answer.found is None or answer.limit is None:
        return ""
    if criterion.sense not in criteria.SENSES:
        row = next(
            (
                each
                for each in view.comparisons
                if (each.measure, each.phase, each.at, each.coating)
                == (criterion.measure, criterion.phase, criterion.at, answer.key.coating)
            ),
            None,
        )
        return f"; {differences.estimate(view, row)} ({differences.interval(view, row)})" if row else ""
    who = answer.deciding.partition("@")[2].replace("/", " cylinder ")
    place = f"{who}, " if who else ""
    return f"; {place}{criteria.distance(view, criterion, answer)}"


def _open(view: View, verdict: Verdict) -> str:
    """What else cannot be told, and what is due."""
    coating, told = verdict.key.coating, []
    for criterion, answer in _answers(view, coating):
        if answer.word == criteria.CANNOT and f"criterion:{criterion.id}" != verdict.deciding:
            told.append(f"{criterion.title}: {view.why(answer.reason)}" if answer.reason else criterion.title)
    due = _due(view, coating)
    told += [f"Due: {due}"] if due else []
    return ". ".join(told) or "Nothing else"


def _due(view: View, coating: str) -> str:
    """Phases that the criteria look at and that are still to come, with their day."""
    pair = {coating, view.program.reference}
    asked = {criterion.phase for criterion, _ in _answers(view, coating)}
    return words.listed(
        [
            f"{view.program.phase(each.phase).title} of {build.id}{f' on {words.day(each.due)}' if each.due else ''}"
            for build in view.program.builds
            if pair & set(build.coatings)
            for each in build.departures
            if each.kind == "due" and each.phase in asked
        ]
    )


def _next(view: View, verdict: Verdict) -> str:
    """The cheapest step likely to settle what is open: builds, hours that are due, readings."""
    coating = verdict.key.coating
    if verdict.word in {ruling.RELEASED, ruling.STOPPED}:
        return "None: the rule has decided"
    answers = _answers(view, coating)
    failing = [criterion for criterion, answer in answers if answer.word == "fails"]
    if failing:
        return f"No further build undoes it: {failing[0].title} fails. Find the cause, and decide by hand"
    told = []
    for criterion, answer in answers:
        if answer.word != criteria.CANNOT:
            continue
        step = _step(view, criterion, answer, coating)
        if step and step not in told:
            told.append(step)
    return ". ".join(told) or words.DASH


def _step(view: View, criterion: Criterion, answer: Verdict, coating: str) -> str:
    if answer.reason in ruling.WAITING:
        due = _due(view, coating)
        return f"What is due: {due}" if due else "The builds that are planned"
    own = view.value(NEXT_BUILDS.id, criterion.phase, criterion.id, engine="", cylinder=0, coating=coating)
    if own is not None and own.value is not None:
        other = view.value(NEXT_REFERENCE.id, criterion.phase, criterion.id, engine="", cylinder=0, coating=coating)
        beside = int(other.value) if other is not None and other.value else 0
        parts = (
            [f"{words.counted(int(own.value), 'build')} more with {view.coating_title(coating)}"] if own.value else []
        )
        if beside:
            parts.append(f"{words.counted(beside, 'build')} more with {view.coating_title(view.program.reference)}")
        return words.sentence(f"{words.listed(parts)}: a chance of at least four in five to settle it")
    if own is not None and own.reason:
        return words.sentence(view.why(own.reason))
    if answer.reason == "one-build":
        return f"A second build with {view.coating_title(coating)}: one build cannot be told from its coating"
    who = answer.deciding.partition("@")[2].replace("/", " cylinder ")
    if answer.reason == "cylinders-missing":
        return f"{criterion.title} lacks a cylinder that will have no value: decide by hand"
    needed = [
        value
        for value in view.values(READINGS_NEEDED.id, at=criterion.id)
        if value.key.coating == coating and f"{value.key.engine}/{value.key.cylinder}" in answer.deciding
    ]
    if needed and _apart(view, needed[0].key.engine, criterion.phase):
        return f"{who} cannot be read again, since {needed[0].key.engine} has been taken apart: decide by hand"
    if needed and needed[0].value is not None:
        return f"{who}: about {words.number(needed[0].value, 0)} readings in one check"
    if needed:
        return (
            f"{who}: a check on another day or with another tester, since more readings of the same check do not help"
        )
    return ""


def _apart(view: View, engine: str, phase: str) -> bool:
    """Whether a build was taken apart after a phase."""
    build = view.program.build(engine)
    order = view.program.phase(phase).order
    later = [each for each in view.program.phases_of(build) if each.order > order and not build.is_due(each.id)]
    return any(each.kind == "teardown" for each in later)


def taken(view: View) -> list[Block]:
    """Decisions that were taken, the latest first, and what they rest on that moved since."""
    standings = sorted(view.analysis.taken, key=lambda each: each.decision.on, reverse=True)
    if not standings:
        return []
    rows = [
        Row(
            (
                Cell(words.day(each.decision.on)),
                Cell(each.decision.by),
                view.coating_cell(each.decision.coating),
                Cell(each.decision.word, word=True),
                Cell(each.decision.why),
                Cell(each.decision.results[:7]),
                Cell(_since(view, each)),
            )
        )
        for each in standings
    ]
    columns = (
        Column("Date"), Column("By"), Column("Coating"), Column("Decided"), Column("Why"), Column("On results"),
        Column("Since then"),
    )  # fmt: skip
    return [Table("decisions-taken", columns, rows, "Each was taken on the results of its day.", stack=True)]


def _since(view: View, standing: Standing) -> str:
    if standing.moved is None:
        return "Not known: git holds no such results"
    titles = {f"criterion:{each.id}": each.title for each in view.program.criteria}
    titles[ruling.RULE] = "the rule's word"
    told = [
        f"{titles.get(each.rule, each.rule)}: {_then(view, each.rule, each.before)}, now "
        f"{_then(view, each.rule, each.after)}"
        for each in standing.moved
    ]
    return words.sentence("; ".join(told)) if told else "Nothing it rests on has moved"


def _then(view: View, rule: str, answer: str) -> str:
    """An answer as it was stored, with the unit of its number."""
    limit = next((each for each in view.program.criteria if f"criterion:{each.id}" == rule), None)
    measure = view.measures.get(limit.measure) if limit is not None and limit.sense in criteria.SENSES else None
    unit = measure.unit if measure is not None and "(" in answer else ""
    return words.with_unit(answer, unit) or "no answer"
