"""The page of one program: the question, the answer so far, what it rests on, what is still to come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from markupsafe import Markup

from sitegen.declarations import Stream
from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages import builds, closure, comparing, criteria, decision, doubted, hours, odd, plans, stated, ties
from sitegen.pages.contexts import Part, ProgramPage, Said
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.pages.present import Record, complete, records
from sitegen.program.model import Program
from sitegen.vocabulary import COMPARED, Change


def page(site: Site, program: Program) -> ProgramPage:
    """The page of one program: what leads in order, the rest folded."""
    path = site.addresses.programs[program.id]
    view = site.view(path, program.id)
    setter = site.setter(path)
    every = records(site.desks[program.id], list(site.streams))

    def part(anchor: str, title: str, blocks: Sequence[Block]) -> list[Part]:
        return site.shows("program", setter.id(anchor), title, blocks)

    asked = stated.criteria_table(view)
    lead = part("criteria", criteria.TITLE, [asked] if asked else [])
    lead += part(comparing.ANCHOR, comparing.TITLE, comparing.table(view))
    lead += part("decisions", "Decisions", decision.taken(view))
    lead += site.parts(view, setter, "program", "main")
    lead += part(builds.ANCHOR, builds.TITLE, builds.blocks(view, site.streams))
    moved = _changes(view)
    found = [*comparing.answer(view, site.plans.get(program.id)), *comparing.untested(view)]
    rest = [
        *part(odd.ANCHOR, odd.TITLE, odd.blocks(view)),
        *part(hours.ANCHOR, hours.TITLE, hours.program(view)),
        *part(closure.ANCHOR, closure.TITLE, closure.program(view)),
        *part("planned", "Planned and present", _matrix(site, view, every)),
        *part("without", "Without each build", comparing.resting(view)),
        *part("findings", "The findings in sentences", found),
        *part("criteria-in-full", "Each criterion", _in_full(view)),
        *part("changes", "Changed since the last commit", [moved] if moved else []),
        *part("worked-out", "How it was compared", comparing.worked_out(view)),
        *part(ties.ANCHOR, ties.TITLE, ties.blocks(view)),
    ]
    results = {  # of parts whose first sentence is no result
        "planned": _lacking(every),
        "findings": comparing.in_doubt(view),
        "criteria-in-full": criteria.counts(view),
        odd.ANCHOR: odd.in_short(view),
        "worked-out": comparing.procedures(view),
        ties.ANCHOR: ties.in_short(view),
    }
    rest = [
        *(folded(each, results.get(each.anchor, "")) for each in rest),
        *site.parts(view, setter, "program", "rest"),
    ]
    programs = list(site.folder.programs)
    place = programs.index(program)
    before = programs[place - 1] if place else None
    after = programs[place + 1] if place + 1 < len(programs) else None
    verdict = said(view, program, every)
    verdict = replace(verdict, sentence=[*verdict.sentence, *failed(view, site.streams)])
    setter.id("notes")
    there = site.noted.get(program.id, ("", ""))
    noted, about = (Markup(mark if text else "") for mark, text in zip(view.the_desk.notes, there, strict=True))  # noqa: S704
    return ProgramPage(
        setter=setter,
        path=path,
        title=window_title(program.title),
        crumbs=crumbs(site, path, [(program.title, path)]),
        others=site.others(path, program),
        around=site.around(path, program),
        previous=Link(before.title, view.href_program(before)) if before else None,
        next=Link(after.title, view.href_program(after)) if after else None,
        assets=site.links(path, [*lead, *rest], verdict.blocks),
        foot=site.foot(path, program),
        question=program.question or program.title,
        meta=_meta(site, view, every),
        verdict=verdict,
        parts=lead,
        rest=rest,
        notes=noted,
        notes_about=about,
    )


def said(view: View, program: Program, every: list[Record]) -> Said:
    """The verdict: the word of the rule, the finding, the rule, a row a candidate."""
    return Said(decision.status(view), _sentence(view, program, every), decision.rule(view), decision.blocks(view))


MOST_FAILED = 3  # builds named as beyond a limit; the rest are counted


def failed(view: View, streams: Sequence[Stream]) -> list[Cell]:
    """A sentence that names builds which passed a limit stated beforehand, each linked to where it is shown."""
    found = [
        (build, own)
        for build in view.program.builds
        if (own := [one for each in streams if each.failed is not None for one in each.failed(view.of_build(build))])
    ]
    if not found:
        return []
    cells = [
        Cell(
            " Beyond a limit of its run: " if len(found) == len(found[0][1]) == 1 else " Beyond limits of their runs: "
        )
    ]
    for n, (build, own) in enumerate(found[:MOST_FAILED]):
        cells += [Cell("; ")] if n else []
        cells.append(Cell(build.id, href=view.href_engine(build, own[0].anchor)))
        cells.append(Cell(f", {own[0].text}" if len(own) == 1 else f" in {words.counted(len(own), 'run')}"))
    more = len(found) - MOST_FAILED
    return [*cells, Cell(f"; {words.counted(more, 'build')} more." if more > 0 else ".")]


def _meta(site: Site, view: View, every: list[Record]) -> list[Cell]:
    program = view.program
    cylinders = sum(len(build.places) for build in program.builds)
    builds = words.sentence(words.counted(len(program.builds), "build"))
    pieces = [
        Cell(words.sentence(site.as_of(program)), strong=True),
        Cell(f"{builds}, {words.counted(cylinders, 'cylinder')}"),
        Cell(f"{complete(every)} of {len(every)} planned records in"),
    ]
    due = decision.next_due(view)
    pieces += [Cell(due, strong=True)] if due else []
    return [*pieces, Cell("Invented data")] if program.invented else pieces


BLIND = "Coatings, their comparisons and the answers to criteria are not shown to blinded reviewers."


def _sentence(view: View, program: Program, every: list[Record]) -> list[Cell]:
    """The finding that answers the question, and what drives the word of the rule where it stands against it."""
    if view.folder.blind:
        return [Cell(f"{plans.states_sentence(view)} {BLIND}".strip())]
    found, doubt = comparing.in_short(view), doubted.in_short(view)
    if found:
        return [Cell(" ".join(filter(None, (found, comparing.apart(view), decision.but(view))))), *doubt]
    if not program.builds:
        return [Cell("Nothing has been built yet.")]
    lacking = len(every) - complete(every)
    text = "Not decided yet."
    if lacking:
        out = (
            words.share(lacking, len(every), "planned record")
            if lacking < len(every)
            else f"none of {len(every)} planned records"
        )
        text += f" {words.sentence(out)} {'are' if lacking > 1 else 'is'} {'not ' if lacking < len(every) else ''}in."
    return [Cell(text), *doubt]


def _in_full(view: View) -> list[Block]:
    """How the criteria were answered, and what was stated or changed late."""
    told = [*filter(None, [decision.looks(view)]), *stated.of_program(view), *filter(None, [stated.note(view)])]
    blocks: list[Block] = criteria.in_full(view, partial(stated.of_criterion, view), stated.late(view))
    return [*blocks, *(Text([Cell(each)]) for each in told)]


# ---- since the last commit ------------------------------------------------------------------------------------------

MOST_CHANGES = 40  # rows shown; all of them are in the diff


def _changes(view: View) -> Table | None:
    """What moved since the last commit of the results: verdicts first; None where nothing did, or nothing is known."""
    changes = sorted(view.the_desk.changes or (), key=lambda change: (not change.verdict, change.what, change.key))
    if not changes:
        return None
    rows = [Row(_moved(view, change)) for change in changes[:MOST_CHANGES]]
    words_ = sum(change.verdict for change in changes)
    parts = [words.counted(words_, "verdict")] if words_ else []
    parts += [words.counted(len(changes) - words_, "value")] if len(changes) > words_ else []
    verb = "differs" if len(changes) == 1 else "differ"
    reading = f"{words.sentence(words.listed(parts))} {verb} from the results as committed."
    note = f"The first {MOST_CHANGES} of {len(changes)}; git shows all. " if len(changes) > MOST_CHANGES else ""
    note += f"What is committed was {view.the_desk.written}." if view.the_desk.written else ""
    columns = (Column("What"), Column("Of"), Column("Committed", numeric=True), Column("Now", numeric=True))
    return Table("changed-since-the-last-commit", columns, rows, reading, note=note.strip())


def _change_title(view: View, change: Change) -> tuple[str, str]:
    """What a change is of, and of what kind."""
    measure = view.measures.get(change.what.removeprefix(COMPARED))
    if measure is not None:
        if change.verdict:
            return words.sentence(measure.title), "comparison"
        unit = f", {measure.unit}" if measure.unit != "1" else ""
        return f"{words.sentence(measure.title)}{unit}", ""
    rule, _, name = change.what.partition(":")
    criterion = next((each for each in view.program.criteria if each.id == name), None)
    if criterion is not None:
        return criterion.title, "criterion" if rule == "criterion" else rule.replace("-", " ")
    return words.sentence(change.what), "verdict" if change.verdict else ""


def _moved(view: View, change: Change) -> list[Cell]:
    title, kind = _change_title(view, change)
    key = change.key
    known = key.phase in {phase.id for phase in view.program.phases}
    about = [
        key.engine,
        f"cylinder {key.cylinder}" if key.cylinder else "",
        view.coating_title(key.coating) if not key.engine and key.coating in view.folder.definitions.coatings else "",
        view.program.phase(key.phase).title if known else key.phase,
        view.measures[key.at].title if key.at in view.measures else key.at,
    ]
    return [
        Cell(title, note=kind),
        Cell(", ".join(part for part in about if part)),
        Cell(change.before or words.DASH),
        Cell(change.after or words.DASH),
    ]


# ---- planned and present --------------------------------------------------------------------------------------------


def _matrix(site: Site, view: View, every: list[Record]) -> list[Block]:
    program = view.program
    planned = {record.phase for record in every}
    phases = [phase for phase in program.phases if phase.id in planned]
    titles = {stream.name: stream.title for stream in site.streams}
    rows = []
    for build in program.builds:
        cells = [Cell(build.id, href=view.href_engine(build))]
        for phase in phases:
            own = [record for record in every if record.build == build.id and record.phase == phase.id]
            cells.append(_cell(own, titles, _skipped(program, build.id, phase.id)))
        rows.append(Row(cells))
    if not rows:
        return []
    columns = [Column("Build"), *(Column(phase.title) for phase in phases)]
    return [Table("planned-and-present", columns, rows, _reading(view, every), wide=True, stack=True)]


def _skipped(program: Program, build: str, phase: str) -> str:
    own = program.build(build)
    if any(each.phase == phase and each.kind == "skipped" for each in own.departures):
        return "skipped"
    only = program.phase(phase).only
    return "" if only and build not in only else "not planned"


def _cell(own: list[Record], titles: dict[str, str], absent: str) -> Cell:
    """One word where all streams agree, else what each stream lacks."""
    if not own:
        return Cell(absent if absent == "skipped" else words.DASH)
    if len({(record.word, record.detail, record.lacks) for record in own}) == 1:
        return Cell(_word(own[0], ""))
    lacking = [record for record in own if record.word != "in" or record.lacks]
    return Cell("; ".join(_word(record, titles.get(record.stream, record.stream)) for record in lacking))


def _word(record: Record, stream: str) -> str:
    told = (record.detail,) if record.word == "partly in" else (record.word, record.detail)
    said = ", ".join(filter(None, (*told, record.lacks)))
    return f"{stream.lower()} {said}" if stream else said


def _lacks(every: list[Record]) -> list[str]:
    """ "eight are to come", "one is missing"."""
    tellings = {
        "to come": "to come",
        "missing": "missing",
        "partly in": "only partly in",
        "set aside": "set aside whole",
    }
    counts = {word: sum(1 for record in every if record.word == word) for word in tellings}
    return [f"{words.count(n)} {'is' if n == 1 else 'are'} {tellings[word]}" for word, n in counts.items() if n]


def _lacking(every: list[Record]) -> str:
    """What is not in of the planned records; "" where all are, or none are planned."""
    rest = _lacks(every)
    return f"{words.sentence(words.listed(rest))}." if rest else ""


def _reading(view: View, every: list[Record]) -> str:
    if not every:
        return "No records are planned."
    rest = _lacks(every)
    present = complete(every)
    without: dict[tuple[str, str], int] = {}
    for record in every:
        if record.lacks:
            without[record.lacks, record.because] = without.get((record.lacks, record.because), 0) + 1
    told = [f"Of {words.count(n)} there is {lacks}: {view.why(why)}." for (lacks, why), n in without.items()]
    empty = "".join(f" {each}" for each in told)
    if not rest:
        return f"All {len(every)} planned records are in.{empty}"
    return words.sentence(f"{present} of {len(every)} planned records are in; {words.listed(rest)}.{empty}")
