"""What the program's own rule says of each candidate, what drives it, what is open, and what would come next."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.crossing import next_step as next_steps
from sitegen.crossing import ruling
from sitegen.page import due, words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.pages import comparing, criteria, differences, stated
from sitegen.program.model import Criterion, DecisionRule, Moved, Standing
from sitegen.vocabulary import Verdict

ANCHOR = "decision"
MOST_MOVED = 6  # values that are named of those that moved; the rest are counted
_SAID: dict[str, str] = {
    ruling.RELEASED: "Released",
    ruling.RUN_ON: "Run on",
    ruling.STOPPED: "Stopped",
    ruling.OPEN: "Open",
}


def words_of(view: View) -> list[tuple[str, str]]:
    """Coating and word of the rule for each candidate; none where no rule was stated."""
    return [(each.key.coating, each.word) for each in view.verdicts(ruling.RULE)]


def next_due(view: View) -> str:
    """What is due first: "Due next, of four: 40 h of B3, on 1 December 2026"; "" where nothing has a day."""
    waiting = due.waiting([view.program])
    if not waiting or not waiting[0].due:
        return ""
    first = waiting[0]
    start = "Was due" if first.due < view.the_desk.newest else "Due next"
    of = f", of {words.count(len(waiting))}" if len(waiting) > 1 else ""
    return f"{start}{of}: {first.phase.title} of {first.build.id}, on {words.day(first.due)}"


def status(view: View) -> str:
    """The words of the rule, each once; "" where no rule was stated."""
    return ", ".join(dict.fromkeys(_SAID[word] for _, word in words_of(view))).capitalize()


def but(view: View) -> str:
    """What keeps the candidate a page leads with from its release; "" where nothing does, or no rule was stated."""
    leading = next((row.coating for row in comparing.primary(view)), None)
    for verdict in view.verdicts(ruling.RULE, coating=leading):
        if verdict.word == ruling.RELEASED:
            return ""
        found = _deciding(view, verdict)
        if found is None:
            return f"{words.sentence(view.why(verdict.reason))}." if verdict.reason else ""
        criterion, answer = found
        alike = [(criterion, answer)] + [each for each in _answers(view, verdict.key.coating)
                                         if each[1].word == answer.word and each[0] is not criterion]  # fmt: skip
        told = criteria.told(view, [each for each, _ in alike], answer.word)
        who = _who(answer)
        if criterion.sense not in criteria.SENSES or not who or answer.found is None:
            return f"But {told}."
        at = f"{criteria.judged(view, criterion, answer)} where {criteria.limit(view, criterion)} is asked"
        if len(alike) == 1:
            return f"But {told}: {who} is at {at}."
        if all(who in {_who(own), *criteria.lacking_names(view, each, verdict.key.coating)} for each, own in alike):
            return f"But {told}, {'both' if len(alike) == 2 else 'all'} because of {who}, at {at}."
        return f"But {told}; in criterion {criteria.number(view, criterion)}, {who} is at {at}."
    return ""


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
    columns = (Column("Candidate"), Column("Driven by"), Column("Also open"), Column("Next step"))
    rows = [_row(view, each) for each in view.verdicts(ruling.RULE)]
    return [Table("by-the-rule", columns, rows, stack=True)]


def _rule(view: View, rule: DecisionRule) -> str:
    """The rule in a sentence, with its day."""
    numbers = {each.id: str(n) for n, each in enumerate(view.program.criteria, start=1)}

    def named(ids: Sequence[str], last: str = "and") -> str:
        told = words.listed([numbers[each] for each in ids], last)
        return f"{words.plural(len(ids), 'criterion', 'criteria')} {told}"

    whole = len(rule.release) == len(numbers)
    hold = words.plural(len(rule.release), "holds", "hold")
    asked = "every criterion holds" if whole else f"{named(rule.release)} {hold}"
    stop = f", stopped when {named(rule.stop, 'or')} fails" if rule.stop else ""
    other = set(rule.release) - set(rule.stop)
    fails = f"{'another' if rule.stop else 'one'} fails or " if other else ""
    when = stated.late(view, rule)
    day = f"{words.day(rule.stated)}, {when}" if when else words.day(rule.stated)
    told = [f"The rule, stated {day}: released when {asked}{stop}, run on while {fails}what is planned may "
            "decide, else open."]  # fmt: skip
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
            Cell(next_step(view, coating)),
        )
    )


def _by_hand(view: View, coating: str) -> str:
    """The word of the latest decision taken about a coating; "" where none was taken."""
    own = [each.decision for each in view.the_desk.taken if each.decision.coating == coating]
    return max(own, key=lambda each: each.on).word if own else ""


def _answers(view: View, coating: str) -> list[tuple[Criterion, Verdict]]:
    rule, found = view.program.decide, []
    for each in view.program.criteria:
        own = view.verdicts(f"criterion:{each.id}", engine="", coating=coating)
        if rule is not None and each.id in rule.release and coating in each.coatings and own:
            found.append((each, own[0]))
    return found


def _deciding(view: View, verdict: Verdict) -> tuple[Criterion, Verdict] | None:
    """The criterion that made the word, with its answer; None where a reason of its own did."""
    found = _answers(view, verdict.key.coating)
    return next(((each, own) for each, own in found if f"criterion:{each.id}" == verdict.deciding), None)


def _who(answer: Verdict) -> str:
    """The cylinder an answer rests on: "B6 cylinder 2"; "" where it rests on no single one."""
    return answer.deciding.partition("@")[2].replace("/", " cylinder ")


def _driver(view: View, verdict: Verdict) -> str:
    """The criterion that made the word: worst value, limit, how far apart they are."""
    found = _deciding(view, verdict)
    if found is None:
        return words.sentence(view.why(verdict.reason)) if verdict.reason else words.DASH
    criterion, answer = found
    word = criteria.shown(answer.word)
    return f"Criterion {criteria.number(view, criterion)}: {word}{_number(view, criterion, answer)}"


def _number(view: View, criterion: Criterion, answer: Verdict) -> str:
    if answer.found is None or answer.limit is None:
        return ""
    if criterion.sense not in criteria.SENSES:
        row = criteria.comparison(view, criterion, answer.key.coating)
        return f"; {differences.estimate(view, row)}" if row else ""
    who = _who(answer)
    place = f"{who}, " if who else ""
    return f"; {place}{criteria.distance(view, criterion, answer)}"


def _open(view: View, verdict: Verdict) -> str:
    """What else cannot be told, and what is due."""
    coating, told = verdict.key.coating, []
    for criterion, answer in _answers(view, coating):
        if answer.word == criteria.CANNOT and f"criterion:{criterion.id}" != verdict.deciding:
            lacks = criteria.lacking(view, criterion, coating) if answer.reason == "cylinders-missing" else ""
            why = f": no {lacks}" if lacks else f": {view.why(answer.reason)}" if answer.reason else ""
            told.append(f"Criterion {criteria.number(view, criterion)}{why}")
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


def next_step(view: View, coating: str) -> str:
    """The next step of a candidate as worked out: what it takes, and its chance; "" without a rule."""
    step = next(iter(view.verdicts(next_steps.RULE, coating=coating)), None)
    if step is None:
        return ""
    about = next((c for c in view.program.criteria if f"criterion:{c.id}" == step.deciding), None)
    title = f"criterion {criteria.number(view, about)}" if about is not None else ""
    hand = _by_hand(view, coating)
    end = f"Decided by hand: {hand}" if hand else "Decide by hand"
    if hand == ruling.RUN_ON and not ruling.more_planned(view.program, coating):
        end += ", for which nothing is planned"
    if step.word == next_steps.NOT_NEEDED:
        return "None: the rule has decided"
    if step.word == next_steps.CAUSE:
        return f"No further build undoes it: {title} fails. Find the cause. {end}"
    if step.word == next_steps.NONE:
        return f"{end}: {_why_none(view, step, about)}"
    taken = words.sentence(words.listed(_taking(view, coating)))
    chance = _number_of(view, next_steps.CHANCE.id, coating)
    if chance:
        return f"{taken}: {words.percent(chance / 100, 1)} chance to settle it, by simulation"
    return f"{taken}: {view.why(step.reason)}; its chance cannot be worked out" if step.reason else taken


def _why_none(view: View, step: Verdict, about: Criterion | None) -> str:
    if about is None or step.reason == "none-within-twelve":
        return "no step within twelve builds settles it"
    which = f"criterion {criteria.number(view, about)}"
    if step.reason != next_steps.GONE:
        return f"no step settles {which}, because {view.why(step.reason)}"
    answer = next((each for criterion, each in _answers(view, step.key.coating) if criterion is about), None)
    who = _who(answer) if answer is not None else ""
    rests = f"rests on {who}, which" if who else f"lacks a {criteria.lacking(view, about, step.key.coating)}, which"
    return f"{which} {rests} cannot be read again as it was"


def _number_of(view: View, measure: str, coating: str) -> float:
    value = view.value(measure, "", engine="", cylinder=0, coating=coating)
    return 0.0 if value is None or value.value is None else value.value


def _taking(view: View, coating: str) -> list[str]:
    """ "two builds more with graded chromium nitride", "40 h of what is due", "one check more"."""
    told: list[str] = []
    for measure, of in ((next_steps.BUILDS, coating), (next_steps.REFERENCE, view.program.reference)):
        if number := int(_number_of(view, measure.id, coating)):
            many = words.count(number) if told else f"{words.counted(number, 'build')} more"
            told.append(f"{many} with {view.coating_title(of)}")
    if hours := _number_of(view, next_steps.HOURS.id, coating):
        due = _due(view, coating)
        time = words.with_unit(words.stated(hours), "h")
        told.append(f"what is due, {time} of running" + (f" ({due})" if due else ""))
    if checks := int(_number_of(view, next_steps.CHECKS.id, coating)):
        told.append(f"{words.counted(checks, 'check')} more")
    return told


def taken(view: View) -> list[Block]:
    """Decisions that were taken, the latest first, and what they rest on that moved since."""
    standings = sorted(view.the_desk.taken, key=lambda each: each.decision.on, reverse=True)
    if not standings:
        return []
    rows = [
        Row(
            (
                Cell(words.day(each.decision.on)),
                Cell(each.decision.by.replace(" ", "\N{NO-BREAK SPACE}")),
                view.coating_cell(each.decision.coating),
                Cell(each.decision.word, word=True),
                Cell(each.decision.why),
                Cell(each.decision.results[:7], note=f"records until {words.day(each.as_of)}" if each.as_of else ""),
                Cell(_since(view, each)),
            )
        )
        for each in standings
    ]
    columns = (
        Column("Date"), Column("By"), Column("Coating"), Column("Decided"), Column("Why"), Column("On results"),
        Column("Since then"),
    )  # fmt: skip
    return [Table("decisions-taken", columns, rows, _against_the_rule(view), stack=True)]


def _against_the_rule(view: View) -> str:
    """Where a decision by hand is another word than the rule gives, and why that may be; what it left open is none."""
    apart = {(hand, word) for coating, word in words_of(view)
             if (hand := _by_hand(view, coating)) and word not in {hand, ruling.OPEN}}  # fmt: skip
    if not apart:
        return ""
    told = "; ".join(f"by hand “{hand}”, by the rule “{word}”" for hand, word in sorted(apart))
    return f"{words.sentence(told)}: the rule only counts criteria, a person may weigh more."


def _since(view: View, standing: Standing) -> str:
    if standing.moved is None:
        return "Not known: git holds no such results"
    answers = [each for each in standing.moved if each.what not in view.measures]
    values = [each for each in standing.moved if each.what in view.measures]
    told = [_moved(view, each) for each in answers]
    told += [_moved(view, each) for each in values[:MOST_MOVED]]
    told += [f"{words.counted(len(values) - MOST_MOVED, 'value')} more"] if len(values) > MOST_MOVED else []
    return words.sentence("; ".join(told)) if told else "Nothing it rests on differs"


def _moved(view: View, each: Moved) -> str:
    """ "Leak area after the pulls: holds, 0.31 (0.29 to 0.33) mm², now fails, ..., 0.081 more"."""
    titles = {f"criterion:{criterion.id}": criterion for criterion in view.program.criteria}
    criterion = titles.get(each.what)
    measure = view.measures.get(criterion.measure if criterion else each.what)
    of_ratio = criterion is not None and criterion.sense not in criteria.SENSES
    unit = "" if measure is None or of_ratio else measure.unit
    name = criterion.title if criterion else "the rule's word" if each.what == ruling.RULE else each.what
    if each.what in view.measures:
        name = f"{measure.title if measure else each.what} of {each.key.engine}"
        name += f" cylinder {each.key.cylinder}" if each.key.cylinder else ""
    by = f" ({words.with_unit(each.by.replace('-', words.MINUS), unit)})" if each.by else ""
    return f"{name}: {_then(each.before, unit)}, now {_then(each.after, unit)}{by}"


def _then(told: str, unit: str) -> str:
    """An answer or a value as it was stored, with the unit of its number."""
    told = told.replace(criteria.CANNOT, criteria.shown(criteria.CANNOT))
    return words.with_unit(told, unit if any(sign.isdigit() for sign in told) else "") or "nothing"
