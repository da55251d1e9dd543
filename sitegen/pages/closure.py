"""Whether the wear adds up: each way to measure it with its interval, what it sees, what would explain the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sitegen.crossing import closure as crossing
from sitegen.declarations import Unusual
from sitegen.methods.closure import AGREE, NOT
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.program.model import Build
from sitegen.vocabulary import Value, Verdict

ANCHOR = "wear-closure"
TITLE = "Does the wear add up?"
RING = {"top": "top ring", "second": "second ring", "oil": "oil ring"}
_RULES = ("closure.ring", "closure.gap", "closure.oil", "closure.bores")
_EXPLAINS = {
    ("closure.ring", "less-by-the-whole"): "deposits or oil left on the ring at teardown, another density of the face, "
    "or traces at places worn more than the rest",
    ("closure.ring", "more-than-stated"): "wear of flanks and ends, flakes off the face, or rings cleaned otherwise",
    ("closure.gap", "less-by-the-whole"): "a ring that set, or a gap measured in another gauge",
    ("closure.gap", "more-than-stated"): "wear of the ends, or flanks of the face that wore too and hide as much",
    ("closure.oil", "list-incomplete"): "a part of the same metals that is not on the list",
    (
        "closure.oil",
        "held-back",
    ): "flakes, metal in filter or sludge, oil lost unseen, or wear of flanks of another metal",
    ("closure.bores", "held-back"): "metal in filter or sludge, flakes, or traced places that wore more than the rest",
}
SEES = (
    "Balance: the whole ring; what is left on it counts against it. Traces: the running face where it was traced, not "
    "flanks or ends. Gap: the face alone, where feelers can show it. Oil: what is afloat; flakes and what a filter "
    "holds are missed, and what is not on the list of parts is put down to those that are."
)


def engine(view: View) -> list[Block]:
    """Every pair of ways of one build."""
    verdicts = _verdicts(view, view.the_build)
    refusals = _refused(view, view.the_build)
    if not verdicts and not refusals:
        return []
    rows = [*(_row(view, each) for each in verdicts), *refusals]
    columns = (
        Column("What"), Column("One way"), Column("Another"),
        Column("One less the other", numeric=True, measure=crossing.REST.id), Column("Do they close"),
    )  # fmt: skip
    apart = unlisted(view, view.the_build)
    note = f"{SEES} {apart}".rstrip()
    name = f"wear-closure-{view.the_build.id}"
    return [Table(name, columns, rows, _reading(view, verdicts), note=note, stack=True)]


def unusual(view: View) -> Iterator[Unusual]:
    """Ways to measure the wear of a build that do not close."""
    apart: dict[str, Verdict] = {}
    for each in _verdicts(view, view.the_build):
        name = _called(each)
        if each.word == NOT and abs(each.found or 0.0) > abs(apart[name].found or 0.0 if name in apart else 0.0):
            apart[name] = each
    if apart:
        told = [f"{name}, {_apart(view, each).partition(' (')[0]} apart" for name, each in apart.items()]
        yield Unusual(f"The wear does not add up: {'; '.join(told)}", ANCHOR, 17)


def program(view: View) -> list[Block]:
    """A row a build: its top rings by balance, traces and oil, and whether they close."""
    rows, every = [], []
    for build in view.program.builds:
        verdicts = _verdicts(view, build)
        if not verdicts:
            continue
        every += verdicts
        summed = view.values(crossing.WEIGHED.id, engine=build)
        oil = [v for v in view.values(crossing.FROM_SOURCE, engine=build) if v.key.at in {s.key.at for s in summed}]
        faces = [v for v in view.values(crossing.FACE.id, engine=build, at="top") if v.value is not None]
        traced = words.DASH
        if faces:
            total = words.number(sum(v.value or 0.0 for v in faces), 1)
            traced = f"{words.with_unit(total, 'mg')} in {words.count(len(faces))} of {words.count(len(build.places))}"
        not_listed = view.values(crossing.UNLISTED.id, engine=build)
        apart = "; ".join(f"{v.key.at} {view.text(v, interval=False, unit=True)}" for v in not_listed) or words.DASH
        told = _word_of(verdicts)
        rows.append(
            Row((Cell(build.id, href=view.href_engine(build, ANCHOR), coating=build.coatings[0]),
                 Cell("; ".join(view.text(v, unit=True) for v in summed) or words.DASH), Cell(traced),
                 Cell("; ".join(view.text(v, unit=True) for v in oil) or words.DASH), Cell(apart),
                 Cell(told, word=True, note=_why(view, verdicts, told))))
        )  # fmt: skip
    if not rows:
        return []
    columns = (
        Column("Build"), Column("Top rings by the balance", numeric=True, measure=crossing.WEIGHED.id),
        Column("Faces by traces", numeric=True, measure=crossing.FACE.id),
        Column("Ring faces by the oil", numeric=True, measure=crossing.FROM_SOURCE),
        Column("Rings on no list of sources", numeric=True, measure=crossing.UNLISTED.id),
        Column("Do they close"),
    )  # fmt: skip
    note = "The page of each build has every pair of ways, with its interval and what each way sees."
    return [Table("wear-closure", columns, rows, _reading(view, every), note=note, stack=True)]


def unlisted(view: View, build: Build) -> str:
    """Rings that clearly lost mass and are on no list of sources, with the sums their metal falls to; "" none."""
    found = view.values(crossing.UNLISTED.id, engine=build)
    if not found:
        return ""
    named = words.listed(f"{RING[v.key.at]}s {words.with_unit(view.text(v), 'mg')}" for v in found)
    return f"Weighed, and on no list of sources: {named}."


def _verdicts(view: View, build: Build) -> list[Verdict]:
    return [each for rule in _RULES for each in view.verdicts(rule, engine=build)]


def _refused(view: View, build: Build) -> list[Row]:
    """Pairs that could not be compared, with the reason."""
    rows = []
    named = {source.id: source.title for source in view.program.oil.sources}
    for measure, what in (
        (crossing.FACE, ""),
        (crossing.REST, ""),
        (crossing.MORE, "by the oil"),
        (crossing.BORES, ""),
    ):
        for value in view.values(measure.id, engine=build):
            if value.status != "refused" or value.reason in {"rings-not-weighed", "no-metal-by-part"}:
                continue
            if value.key.cylinder:
                subject = f"cylinder {value.key.cylinder}, {RING[value.key.at]}"
            else:
                subject = f"{named[value.key.at]} {what}" if value.key.at in named else "bores"
            why = view.why(value.reason)
            rows.append(Row((Cell(words.sentence(subject)), *(Cell(words.DASH) for _ in range(3)),
                             Cell("cannot tell", word=True, note=why))))  # fmt: skip
    return rows


def _row(view: View, verdict: Verdict) -> Row:
    key = verdict.key
    build = view.the_build
    at = (key.phase, key.at)

    def told(measure: str, phase: str = key.phase) -> str:
        return view.text(view.value(measure, phase, key.at, engine=build, cylinder=key.cylinder), unit=True)

    named = {source.id: source for source in view.program.oil.sources}
    if verdict.rule == "closure.ring":
        what = f"cylinder {key.cylinder}, {RING[key.at]}"
        pair = Cell(told(crossing.MASS_LOSS), note="balance"), Cell(told(crossing.FACE.id), note="face by traces")
    elif verdict.rule == "closure.gap":
        what = f"cylinder {key.cylinder}, face of the {RING[key.at]}"
        pair = Cell(told(crossing.FROM_GAP), note="gap"), Cell(told(crossing.DEPTH), note="traces")
    elif verdict.rule == "closure.oil":
        source = named[key.at]
        what = f"{source.title}, all cylinders"
        oil = next((v for v in view.values(crossing.FROM_SOURCE, engine=build, at=key.at)), None)
        pair = Cell(view.text(oil, unit=True), note="oil"), Cell(told(crossing.WEIGHED.id), note="balance, whole rings")
    else:
        what = "iron of the bores"
        iron = _last(view, build)
        pair = (
            Cell(view.text(iron, unit=True), note="all iron in the oil"),
            Cell(told(crossing.BORES.id), note="traces, at least"),
        )
    rest = view.value(verdict.deciding.partition("@")[0], *at, engine=build, cylinder=key.cylinder)
    flanks = view.value(crossing.FLANKS.id, *at, engine=build, cylinder=key.cylinder)
    note = _beside(view, verdict)
    if verdict.rule == "closure.ring" and flanks is not None:
        note += f"; as {view.text(flanks, unit=True)} off both flanks would"
    shown = view.text(rest, unit=True)
    if verdict.limit is not None:  # with the digits that show on which side of it the ends lie
        unit = view.measures[verdict.deciding.partition("@")[0]].unit
        shown = words.with_unit(words.judged(verdict.found, verdict.low, verdict.high, verdict.limit), unit)
    return Row((Cell(words.sentence(what)), *pair, Cell(shown, note=_of(verdict)),
                Cell(verdict.word, word=True, note=note)), here=verdict.word == NOT)  # fmt: skip


def _of(verdict: Verdict) -> str:
    """What the difference is held against, where it is no plain difference."""
    measure = verdict.deciding.partition("@")[0]
    if measure in {crossing.SHORT.id, crossing.BORES_SHORT.id}:
        return "beyond the least they gave"
    if measure == crossing.MORE.id:
        return "beyond the most they gave"
    if measure == crossing.BORES.id:
        return ""
    if verdict.rule == "closure.ring" and verdict.limit is not None:
        return f"at most {words.with_unit(words.stated(verdict.limit), 'mg')} stated"
    return ""


def _last(view: View, build: Build) -> Value | None:
    order = {phase.id: phase.order for phase in view.program.phases}
    found = view.values(crossing.IRON, engine=build, at=crossing.TOTAL)
    return max(found, key=lambda value: order[value.key.phase], default=None)


def _beside(view: View, verdict: Verdict) -> str:
    explained = _EXPLAINS.get((verdict.rule, verdict.reason), "")
    why = view.why(verdict.reason)
    return f"{why}: {explained}" if explained else why


def _word_of(verdicts: Sequence[Verdict]) -> str:
    """One word for a build: of the pairs that were put to the test, the worst."""
    said = [each.word for each in verdicts]
    return NOT if NOT in said else AGREE if AGREE in said else "cannot tell"


def _why(view: View, verdicts: Sequence[Verdict], word: str) -> str:
    """Which pairs the word of a build rests on, or the reason of the first where it is open."""
    own = [each for each in verdicts if each.word == word]
    if word == "cannot tell":
        return view.why(own[0].reason)
    said = dict.fromkeys(_called(each) for each in own)
    still = len([each for each in verdicts if each.word == "cannot tell"])
    return "; ".join(said) + (f"; {words.counted(still, 'pair')} cannot be told" if still else "")


def _called(verdict: Verdict) -> str:
    return {
        "closure.ring": "balance and traces",
        "closure.gap": "gap and traces",
        "closure.oil": "oil and balance",
        "closure.bores": "bores and iron in the oil",
    }[verdict.rule]


def _reading(view: View, verdicts: Sequence[Verdict]) -> str:
    """How many pairs close, and the first that do not."""
    if not verdicts:
        return "No two ways could be compared."
    apart = [each for each in verdicts if each.word == NOT]
    agree = sum(each.word == AGREE for each in verdicts)
    still = len(verdicts) - agree - len(apart)
    parts = [f"{words.count(agree)} {words.plural(agree, 'agrees', 'agree')}"] if agree else []
    parts += [f"{words.count(len(apart))} {words.plural(len(apart), 'does', 'do')} not"] if apart else []
    parts += [f"{words.count(still)} cannot be told"] if still else []
    pairs = words.counted(len(verdicts), "pair of measurements", "pairs of measurements")
    tally = f"Of {pairs}, {words.listed(parts)}."
    if len(parts) == 1:
        pairs = words.share(len(verdicts), len(verdicts), "pair of measurements", "pairs of measurements")
        agrees = words.plural(len(verdicts), "agrees", "agree")
        not_ = f"{pairs} {words.plural(len(verdicts), 'does', 'do')} not agree"
        tally = f"Whether {pairs} {agrees} cannot be told." if still else f"{pairs} {agrees}." if agree else f"{not_}."
        tally = words.sentence(tally)
    told = []
    for rule in _RULES:
        if own := [each for each in apart if each.rule == rule]:
            by = words.listed(f"{_apart(view, each)} apart{_where(view, each)}" for each in own)
            told.append(f"{words.sentence(_called(own[0]))} do not close: {by}.")
    if view.build is None:
        return " ".join((tally, *told))
    if not told:
        named = {source.id: source.title for source in view.program.oil.sources}
        sums = [f"{view.text(each, unit=True)} for {named.get(each.key.at, 'the rings')}"
                for each in view.values(crossing.WEIGHED.id, engine=view.build)]  # fmt: skip
        told = [f"Weighing gives {words.listed(sums)}."] if sums else []
    return " ".join((*told, tally))


def _apart(view: View, verdict: Verdict) -> str:
    """How far two ways lie from each other, with the interval that decided: "2.1 mg (0.7 to 3.5)"."""
    low, high = sorted(abs(end or 0.0) for end in (verdict.low, verdict.high))
    text, _, ends = words.judged(abs(verdict.found or 0.0), low, high, abs(verdict.limit or 0.0)).partition(" (")
    size = words.with_unit(text, view.measures[verdict.deciding.partition("@")[0]].unit)
    return f"{size} ({ends}" if ends else size


def _where(view: View, verdict: Verdict) -> str:
    own = [verdict.key.engine] if view.build is None else []
    own += [f"cylinder {verdict.key.cylinder}"] if verdict.key.cylinder else []
    return f" in {' '.join(own)}" if own else ""
