"""The page of one program: the question, the answer so far, what it rests on, what is still to come."""

from __future__ import annotations

from functools import partial

from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Block, Cell, Column, Plans, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages import closure, comparing, criteria, decision, notes, odd, plans, stated, ties
from sitegen.pages.contexts import Matrix, MatrixCell, MatrixRow, Part, ProgramPage
from sitegen.pages.frame import Site, crumbs, engine_types, shows_plan, window_title
from sitegen.pages.home import ANSWER
from sitegen.pages.present import Record, complete, records
from sitegen.program.model import Program
from sitegen.vocabulary import COMPARED, Change

_OWN_ANCHORS = (
    decision.ANCHOR,
    "answer",
    "criteria",
    "planned",
    "notes",
    comparing.ANCHOR,
    odd.ANCHOR,
    ties.ANCHOR,
    "worked-out",
)


def page(site: Site, program: Program) -> ProgramPage:
    """The page of one program."""
    path = site.addresses.programs[program.id]
    view = site.view(path, program.id)
    setter = site.setter(path)
    for anchor in _OWN_ANCHORS:
        setter.id(anchor)
    every = records(site.desks[program.id], list(site.streams))
    answer: list[Block] = [*comparing.answer(view, site.plans.get(program.id))]
    answer += [
        block
        for section in site.sections("program", "main")
        if section.anchor == ANSWER
        for block in section.build(view)
    ]
    decided = decision.blocks(view)
    answer += [Text([Cell(each)]) for each in stated.of_program(view)]
    parts = site.parts(view, setter, "program", "main", skip=(ANSWER,))
    compared = comparing.table(view)
    if compared:
        parts[1:1] = site.shows("program", comparing.ANCHOR, comparing.TITLE, [*compared, *comparing.resting(view)])
    side = site.parts(view, setter, "program", "side")
    parts += site.shows("program", odd.ANCHOR, odd.TITLE, odd.blocks(view))
    parts += site.shows("program", setter.id(closure.ANCHOR), closure.TITLE, closure.program(view))
    tied = ties.blocks(view)
    if tied:
        parts.append(Part(ties.ANCHOR, ties.TITLE, tied))
    moved = _changes(view)
    if moved is not None:
        parts.append(Part(setter.id("changes"), "Changed since the last commit", [moved]))
    detail = comparing.worked_out(view)
    if detail:
        parts.append(Part("worked-out", "How the comparisons were worked out", detail))
    if program.builds and not shows_plan([*parts, *side]):
        drawn = [plans.plan_of(view, build) for build in program.builds]
        block = Plans(drawn, plans.states_sentence(view), plans.caption(view))
        parts.append(Part(setter.id("engines"), "Engines", [block]))
    programs = list(site.folder.programs)
    place = programs.index(program)
    before = programs[place - 1] if place else None
    after = programs[place + 1] if place + 1 < len(programs) else None
    return ProgramPage(
        setter=setter,
        path=path,
        title=window_title(program.title),
        crumbs=crumbs(site, path, [(program.title, path)]),
        others=site.others(path, program),
        previous=Link(before.title, view.href_program(before)) if before else None,
        next=Link(after.title, view.href_program(after)) if after else None,
        assets=site.links(path, [*parts, *side], [*decided, *answer]),
        foot=site.foot(path, program),
        question=program.question or program.title,
        meta=[*_meta(program, every), Cell(words.sentence(site.as_of(program)))],
        decision=decided,
        answer=answer or [_undecided(program, every)],
        criteria_caption=criteria.caption(program, stated.late(view)),
        criteria=criteria.lines(view, partial(stated.of_criterion, view)),
        stated_note=stated.note(view),
        parts=parts,
        side=side,
        matrix=_matrix(site, view, every),
        notes=notes.of_program(site, program, path),
    )


def _meta(program: Program, every: list[Record]) -> list[Cell]:
    cylinders = sum(len(build.places) for build in program.builds)
    pieces = [
        Cell(program.title, strong=True),
        Cell(f"{words.sentence(engine_types(program))}, {words.counted(cylinders, 'cylinder')}"),
        Cell(f"{complete(every)} of {len(every)} planned records in"),
    ]
    due = [record for record in every if record.word == "to come"]
    if due:
        waiting = words.listed(dict.fromkeys(record.build for record in due))
        pieces.append(Cell(f"Provisional: records of {waiting} still to come"))
    return pieces


def _undecided(program: Program, every: list[Record]) -> Text:
    lacking = len(every) - complete(every)
    text = "Not decided yet."
    if lacking:
        text += f" {words.sentence(words.counted(lacking, 'planned record'))} of {len(every)} are not in."
    if not program.builds:
        text = "Nothing has been built yet."
    return Text([Cell(text)], "lead")


# ---- since the last commit ------------------------------------------------------------------------------------------

MOST_CHANGES = 40  # rows shown; all of them are in the diff


def _changes(view: View) -> Table | None:
    """What moved since the last commit of the results: verdicts first; None where nothing did, or nothing is known."""
    changes = sorted(view.analysis.changes or (), key=lambda change: (not change.verdict, change.what, change.key))
    if not changes:
        return None
    rows = [Row(_moved(view, change)) for change in changes[:MOST_CHANGES]]
    words_ = sum(change.verdict for change in changes)
    parts = [words.counted(words_, "verdict")] if words_ else []
    parts += [words.counted(len(changes) - words_, "value")] if len(changes) > words_ else []
    verb = "differs" if len(changes) == 1 else "differ"
    reading = f"{words.sentence(words.listed(parts))} {verb} from the results as committed."
    note = f"The first {MOST_CHANGES} of {len(changes)}; git shows all." if len(changes) > MOST_CHANGES else ""
    columns = (Column("What"), Column("Of"), Column("Committed", numeric=True), Column("Now", numeric=True))
    return Table("changed-since-the-last-commit", columns, rows, reading, note=note)


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


def _matrix(site: Site, view: View, every: list[Record]) -> Matrix:
    program = view.program
    planned = {record.phase for record in every}
    phases = [phase for phase in program.phases if phase.id in planned]
    titles = {stream.name: stream.title for stream in site.streams}
    rows = []
    for build in program.builds:
        cells = []
        for phase in phases:
            own = [record for record in every if record.build == build.id and record.phase == phase.id]
            cells.append(MatrixCell(_cell(own, titles, _skipped(program, build.id, phase.id))))
        keys = [view.coating_cell(coating, link=False) for coating in build.coatings]
        rows.append(MatrixRow(Cell(build.id, href=view.href_engine(build)), keys, cells))
    return Matrix(_reading(view, every), [phase.title for phase in phases], rows)


def _skipped(program: Program, build: str, phase: str) -> str:
    own = program.build(build)
    if any(each.phase == phase and each.kind == "skipped" for each in own.departures):
        return "skipped"
    only = program.phase(phase).only
    return "" if only and build not in only else "not planned"


def _cell(own: list[Record], titles: dict[str, str], absent: str) -> list[Cell]:
    """One word where all streams agree, else a line for each stream that lacks something."""
    if not own:
        return [Cell(absent)] if absent == "skipped" else []
    if len({(record.word, record.detail, record.lacks) for record in own}) == 1:
        return [_word(own[0], "")]
    return [
        _word(record, titles.get(record.stream, record.stream)) for record in own if record.word != "in" or record.lacks
    ]


def _word(record: Record, stream: str) -> Cell:
    told = (record.detail,) if record.word == "partly in" else (record.word, record.detail)
    said = ", ".join(filter(None, (*told, record.lacks)))
    return Cell(said, word=True, note=stream.lower(), state=record.word)


def _reading(view: View, every: list[Record]) -> str:
    if not every:
        return "No records are planned."
    counts = {
        word: sum(1 for record in every if record.word == word)
        for word in ("to come", "missing", "partly in", "set aside")
    }
    tellings = {
        "to come": "to come",
        "missing": "missing",
        "partly in": "only partly in",
        "set aside": "set aside whole",
    }
    rest = [f"{words.count(n)} {'is' if n == 1 else 'are'} {tellings[word]}" for word, n in counts.items() if n]
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
