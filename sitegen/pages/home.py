"""The first page: a row a program with its status, its interval and what is due next; then the coatings."""

from __future__ import annotations

from dataclasses import replace

from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Axis, Block, Cell, Column, Row, Table
from sitegen.page.due import overdue
from sitegen.page.view import View
from sitegen.pages import comparing, criteria, decision, differences, left, plans, stated
from sitegen.pages.contexts import PartsPage
from sitegen.pages.frame import Site, engine_types, window_title
from sitegen.pages.present import complete, records


def page(site: Site) -> PartsPage:
    """The first page."""
    path = site.addresses.home
    setter = site.setter(path)
    programs = list(reversed(site.folder.programs))  # the latest first
    views = [site.view(path, program.id) for program in programs]
    parts = site.shows(
        "home", setter.id("programs"), "Programs", [*left.sentences(site, path), *_programs(site, views)]
    )
    parts += site.shows("home", setter.id("due"), "Due next", _due(site, views))
    reading = words.counted(len(programs), "program")
    others = [Link("Methods", site.view(path).href_methods())]
    if not site.folder.blind:
        parts += site.shows("home", setter.id("coatings"), "Coatings", _coatings(site, views))
        reading += f", {words.counted(len(site.folder.definitions.coatings), 'coating')}"
        others.insert(0, Link("Coatings", "#coatings"))
    return PartsPage(
        setter=setter,
        path=path,
        title=window_title("Test programs"),
        crumbs=[Link("All programs")],
        others=others,
        previous=None,
        next=Link(programs[0].title, views[0].href_program()) if programs else None,
        assets=site.links(path, parts),
        foot=site.foot(path, about=site.folder.programs),
        heading="Test programs",
        reading=words.sentence(f"{reading}."),
        parts=parts,
    )


# ---- programs -------------------------------------------------------------------------------------------------------


def _programs(site: Site, views: list[View]) -> list[Block]:
    if site.folder.blind:
        rows = [Row((_question(view), Cell(plans.states_sentence(view)), _next(site, view))) for view in views]
        return [Table("programs", (Column("Program"), Column("Cylinders"), Column("Next")), rows, stack=True)]
    ends = [end for found in map(comparing.primary, views) for row in found for end in comparing.shares(row)]
    axis = comparing.share_axis(ends, 2)
    rows = [
        Row(
            (
                _question(view),
                Cell(decision.status(view) or criteria.tally(view) or "No criteria", strong=True, note=_why(view)),
                _strip(view, axis),
                _next(site, view),
            )
        )
        for view in views
    ]
    columns = (
        Column("Question"), Column("Status, and why"), Column(_compared(views)), Column("Next"),
    )  # fmt: skip
    note = "95\N{NO-BREAK SPACE}% intervals. Testers, oils and schedules of the programs may differ."
    return [Table("programs", columns, rows, note=note, stack=True, axis=axis)] if rows else []


def _compared(views: list[View]) -> str:
    """What the intervals are of, where all programs compare the same: "Leak area, against nitrided; less is better"."""
    found = {(row.measure, row.reference) for view in views for row in comparing.primary(view)}
    if len(found) != 1:
        return "Primary measure, against the reference"
    (name, reference), view = next(iter(found)), views[0]
    measure = view.measures[name]
    sense = f"; {measure.better} is better" if measure.better else ""
    return f"{words.sentence(measure.title)}, against {view.coating_title(reference)}{sense}"


def _question(view: View) -> Cell:
    program = view.program
    cylinders = sum(len(build.places) for build in program.builds)
    about = f"{engine_types(program)}, {words.counted(cylinders, 'cylinder')}"
    about = f"{program.title}; {about}" if program.question else words.sentence(about)
    return Cell(program.question or program.title, href=view.href_program(),
                note=f"{about}. Invented example." if program.invented else f"{about}.")  # fmt: skip


def _why(view: View) -> str:
    """The finding and what keeps it from a release; without a rule how the criteria stand."""
    found = comparing.in_short(view) or plans.states_sentence(view) or "Nothing to compare yet."
    against = decision.but(view) if view.program.decide is not None else criteria.failing(view)
    return " ".join(filter(None, (found, against, stated.in_short(view))))


def _strip(view: View, axis: Axis) -> Cell:
    """The interval of every candidate, with how many builds it rests on."""
    drawn = [(row, comparing.strip_cell(view, row, axis).strip) for row in comparing.primary(view)]
    strips = [
        replace(strip, note=f"{view.coating_title(row.coating)}, {differences.scope(row)}")
        for row, strip in drawn
        if strip is not None
    ]
    return Cell("", strip=strips[0], strips=strips[1:]) if strips else Cell("")


def _next(site: Site, view: View) -> Cell:
    every = records(view.the_desk, list(site.streams))
    come = f"{complete(every)} of {len(every)} records, {site.as_of(view.program)}" if every else "no records planned"
    left = view.the_desk.not_used
    moved = view.the_desk.changes
    more = [f"{words.counted(len(moved), 'result')} changed since the last commit"] if moved else []
    note = "; ".join(filter(None, (come, left, *more)))
    return Cell(decision.next_due(view) or ("Nothing due" if every and complete(every) == len(every) else words.DASH),
                note=words.sentence(note))  # fmt: skip


def _due(site: Site, views: list[View]) -> list[Block]:
    """What is due, over all programs: phases to come, then calibrations, by date."""
    of = {view.program.id: view for view in views}
    due = site.due()
    made = [
        Row((Cell(words.day(each.due) if each.due else "no date"),
             Cell(each.what, href=of[each.program.id].href_engine(each.build)), Cell(each.program.title)))
        for each in due.phases
    ]  # fmt: skip
    made += [
        Row((Cell(words.day(each.due), note=overdue(each)), Cell(f"{each.instrument}, calibration", note=each.title),
             Cell(words.DASH)))
        for each in due.found
    ]  # fmt: skip
    columns = (Column("Date"), Column("What"), Column("Program"))
    return [Table("due-next", columns, made, due.counted(), stack=True)] if made else []


# ---- coatings -------------------------------------------------------------------------------------------------------


def _coatings(site: Site, views: list[View]) -> list[Block]:
    view = site.view(site.addresses.home)
    rows = []
    for coating in site.folder.definitions.coatings.values():
        held = [(each, build) for each in site.folder.programs for build in each.builds if coating.id in build.coatings]
        where = words.counted(len({program.id for program, _ in held}), "program")
        used = f"{words.counted(len(held), 'build')} in {where}" if held else "no build yet"
        rows.append(
            Row((view.coating_cell(coating.id), Cell(coating.process), Cell(used), Cell(_so_far(views, coating.id))))
        )
    columns = (Column("Coating"), Column("Process"), Column("Built"), Column("So far"))
    note = "A coating keeps its colour, its point shape and its dash on every page."
    return [Table("coatings", columns, rows, note=note, stack=True)] if rows else []


def _so_far(views: list[View], coating: str) -> str:
    """What answers the question of each program, and its primary finding, on a coating."""
    told = []
    for view in views:
        every = [*comparing.answering(view), *comparing.primary(view)]
        own = [row for row in every if row.coating == coating and row.estimate is not None]
        for row in own:
            what = view.measures[row.measure].title.partition(" to ")[0]
            number = f"{differences.estimate(view, row)} ({differences.ends(view, row)})"
            told.append(f"{what} {number}, {differences.scope(row)}, {view.program.title}")
        if not own and coating == view.program.reference and "reference" not in told:
            told.append("reference")
    return words.sentence("; ".join(told)) or words.DASH
