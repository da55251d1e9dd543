"""The first page: a row a program, and the coatings."""

from __future__ import annotations

from sitegen.page import counts, words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Cell, Column, Row, Table, Text
from sitegen.page.view import Desk
from sitegen.pages import comparing, criteria, decision, differences, stated
from sitegen.pages.contexts import CoatingLine, HomePage, ProgramLine
from sitegen.pages.frame import Site, engine_types, window_title
from sitegen.pages.present import Record, complete, records

ANSWER = "answer"  # anchor of the section that holds a program's answer


def page(site: Site) -> HomePage:
    """The first page."""
    path = site.addresses.home
    setter = site.setter(path)
    setter.id("programs")
    setter.id("coatings")
    setter.id("compared")
    lines = []
    for program in reversed(site.folder.programs):  # the latest first
        desk = site.desks[program.id]
        view = site.view(path, program.id)
        every = records(desk, list(site.streams))
        cylinders = sum(len(build.places) for build in program.builds)
        lines.append(
            ProgramLine(
                question=program.question or program.title,
                href=view.href_program(program),
                title=program.title,
                status=decision.lead(view),
                why=decision.why(view),
                due=". ".join(filter(None, (decision.next_due(view), decision.steps(view)))),
                answer=_answer(site, program.id),
                facts=words.sentence(f"{engine_types(program)}; {words.counted(cylinders, 'cylinder')}"),
                records=_records(every),
                criteria=" ".join(filter(None, (criteria.in_words(view), stated.in_short(view)))),
                left_out=words.sentence(counts.not_used(desk.analysis.readings.values())),
                moved=_moved(desk),
                as_of=words.sentence(site.as_of(program)),
                invented=program.invented,
            )
        )
    coatings = []
    view = site.view(path)
    for coating in site.folder.definitions.coatings.values():
        builds = [
            (program, build)
            for program in site.folder.programs
            for build in program.builds
            if coating.id in build.coatings
        ]
        where = words.counted(len({program.id for program, _ in builds}), "program")
        used = f"{words.counted(len(builds), 'build')} in {where}" if builds else "no build yet"
        coatings.append(CoatingLine(view.coating_cell(coating.id), coating.process, used))
    return HomePage(
        setter=setter,
        path=path,
        title=window_title("Test programs"),
        crumbs=[Link("All programs")],
        others=[Link("Coatings", "#coatings"), Link("Methods", view.href_methods())],
        previous=None,
        next=Link(lines[0].title, lines[0].href) if lines else None,
        assets=site.links(path),
        foot=site.foot(path, about=site.folder.programs),
        reading=words.sentence(
            f"{words.counted(len(lines), 'program')}, {words.counted(len(coatings), 'coating')}. "
            "A coating keeps its colour, its point shape and its dash on every page."
        ),
        programs=lines,
        coatings=coatings,
        compared=_compared(site),
    )


def _compared(site: Site) -> Table | None:
    """The primary comparison of each program, all drawn on one axis; None where there is none yet."""
    found = [
        (view, row)
        for program in reversed(site.folder.programs)
        for view in [site.view(site.addresses.home, program.id)]
        for row in comparing.primary(view)
        if row.estimate is not None and row.low is not None and row.high is not None
    ]
    reach = comparing.reach([row for _, row in found if row.scale == "ratio"])
    rows = [
        Row(
            (
                Cell(view.program.title, href=view.href_program(view.program)),
                Cell(words.sentence(view.measures[row.measure].title), note=differences.after(view, row)),
                view.coating_cell(row.coating),
                comparing.difference_cell(view, row),
                comparing.strip_cell(view, row, reach if row.scale == "ratio" else 0.0),
            )
        )
        for view, row in found
    ]
    if not rows:
        return None
    columns = (
        Column("Program"), Column("Primary measure"), Column("Coating"), Column("Against its reference"),
        Column("Less or more than the reference"),
    )  # fmt: skip
    note = (
        "All intervals are drawn on one scale, in per cent, about the upright line of no difference; open marks are "
        "not yet to be relied on. Testers, oils and schedules of the programs may differ."
    )
    return Table("primary-comparisons", columns, rows, note=note, stack=True)


def _records(every: list[Record]) -> str:
    if not every:
        return "no records planned"
    text = f"{complete(every)} of {len(every)} planned records in"
    due = list(dict.fromkeys(record.build for record in every if record.word == "to come"))
    return f"{text}, provisional: {words.listed(due)} to come" if due else text


def _moved(desk: Desk) -> str:
    moved = desk.analysis.changes
    if not moved:
        return ""
    return f"{words.counted(len(moved), 'result')} changed since the last commit"


def _answer(site: Site, program: str) -> list[Cell]:
    """The lead sentence of the program's answer, where it has one."""
    view = site.view(site.addresses.home, program)
    compared = comparing.lead(view)
    if compared:
        return [Cell(compared)]
    for section in site.sections("program", "main"):
        if section.anchor != ANSWER:
            continue
        for block in section.build(view):
            if isinstance(block, Text) and block.cells:
                return list(block.cells)
    return [Cell("Not decided yet.")]
