"""The decision sheet: one page of paper a program, A4 or letter, that stands alone and is signed by hand.

It says what the program page leads with and nothing else. What does not fit on one page is left off by rows, and how
many are shown is said. Nothing on it leads away, so that the same page can be sent as a file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from textwrap import wrap

from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Row, Table
from sitegen.page.view import View
from sitegen.pages import comparing, criteria, decision, program, stated
from sitegen.pages.contexts import Assets, DecisionPage, Said, SheetTable
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.pages.present import records
from sitegen.program.model import Program

TITLE = "Decision sheet"
NO_RULE = "No rule of decision was stated."
FOLDER = "sheets"  # of the site, for the files to be sent
SIGNATURES, MOST_SIGNED = 2, 4  # lines to sign: one a candidate, at least and at most
# Room on paper [mm], by the sizes in report.css: the height of letter, which is lower than A4, less margins; head
# and foot with the lines to sign; heading and column titles of a table, and its axis; what stays free for other fonts.
ROOM, FRAME, TABLE, AXIS, SPARE = 279.4 - 2 * 10, 57.0, 11.4, 5.0, 9.0
LINE, TITLE_LINE, LEAD_LINE, PADDING, SIGNED = 3.3, 6.6, 4.9, 0.9, 8.0  # mm
LETTERS, TITLE_LETTERS, LEAD_LETTERS = 148, 70, 92  # across the page, of each size
MOST_LETTERS, MOST_LINES = 420, 6  # of one text; of one cell
COLUMNS = {  # shares of the width, as report.css has them
    "by-the-rule": (0.17, 0.27, 0.2, 0.36),
    "criteria": (0.27, 0.22, 0.15, 0.11, 0.25),
    "coatings-compared": (0.4, 0.22, 0.18, 0.11, 0.09),
    "decisions-taken": (0.11, 0.08, 0.13, 0.08, 0.3, 0.13, 0.17),
}


def page(site: Site, own: Program, style: str = "") -> DecisionPage:
    """The sheet of a program; with `style`, the text of a style sheet, as a file of its own."""
    path = f"{FOLDER}/{site.addresses.programs[own.id].split('/')[1]}.html" if style else site.addresses.sheets[own.id]
    view = site.view(path, own.id)
    setter = site.setter(path)
    said = program.said(view, own, records(site.desks[own.id], list(site.streams)))
    said = replace(
        said,
        sentence=[
            *(each for each in said.sentence if not each.href),  # paper leads nowhere
            *(replace(each, href="") for each in program.failed(view, site.streams)),
        ],
        rule=_clipped(said.rule) if own.decide is not None else NO_RULE,
        blocks=(),
    )
    question = _clipped(own.question or own.title)
    signed = [_clipped(view.coating_title(each)) for each in own.candidates[:MOST_SIGNED]]
    tables = [
        SheetTable(setter.id(title), title, table)
        for title, table in zip(_TITLES, _fitted(_tables(view), _room(question, said, len(signed))), strict=True)
        if table is not None
    ]
    foot = site.foot(path, own)
    trail = [(own.title, site.addresses.programs[own.id]), (TITLE, path)]
    return DecisionPage(
        setter=setter,
        path=path,
        title=window_title(TITLE, own.title),
        crumbs=() if style else crumbs(site, path, trail),
        others=() if style else site.others(path, own),
        previous=None,
        next=None,
        assets=Assets("", "", "", inline=style) if style else site.links(path),
        foot=replace(foot, left_out="") if style else foot,
        heading=f"{TITLE}: {own.title}",
        question=question,
        meta=_meta(site, view),
        verdict=said,
        tables=tables,
        signatures=[*signed, *[""] * (SIGNATURES - len(signed))],
    )


_TITLES = ("By the rule", criteria.TITLE, comparing.TITLE, "Decisions taken")


def _meta(site: Site, view: View) -> list[Cell]:
    """As of which day, by which results, what is due: the sheet is dated by its records, not by a clock."""
    own = view.program
    results = site.desks[own.id].results
    told = [words.sentence(site.as_of(own)), f"Results {results}" if results else "", decision.next_due(view)]
    pieces = [Cell(text) for text in told if text]
    return [*pieces, Cell("Invented data", strong=True)] if own.invented else pieces


def _tables(view: View) -> list[Table | None]:
    """Candidates, criteria, comparisons and decisions; None where there are none."""

    def first(blocks: Sequence[Block]) -> Table | None:
        return next((each for each in blocks if isinstance(each, Table) and each.rows), None)

    asked, compared, taken = stated.criteria_table(view), first(comparing.table(view)), first(decision.taken(view))
    unknown = "" if view.program.invented else stated.note(view)
    said = " ".join([*stated.of_program(view), *filter(None, [unknown])])  # beside the criteria, where there are any
    return [
        first(decision.blocks(view)),
        None if asked is None else replace(asked, reading=f"{asked.reading} {said}".strip()),
        None if compared is None else _of_sheet(compared, "" if asked is not None else said),
        None if taken is None else replace(taken, reading=""),
    ]


def _of_sheet(compared: Table, said: str) -> Table:
    """Comparisons without what operators may put into them: that leads the sheet."""
    return replace(compared, reading=f"{compared.reading} {said}".strip(), note="")


# ---- what fits on the page ------------------------------------------------------------------------------------------


def _lines(text: str, letters: float) -> int:
    """Lines a text takes where this many letters stand in one."""
    return len(wrap(text, max(1, math.floor(letters))))


def _room(question: str, said: Said, signed: int) -> float:
    """Room for rows of tables [mm]."""
    sentence = " ".join(piece.text for piece in said.sentence)
    beside = LEAD_LETTERS - 1.7 * len(said.status)  # the word of the rule stands before the sentence
    told = TITLE_LINE * _lines(question, TITLE_LETTERS) + LEAD_LINE * max(1, _lines(sentence, beside))
    lines = SIGNED * max(0, signed - SIGNATURES)
    return ROOM - FRAME - SPARE - lines - told - LINE * _lines(said.rule, LETTERS)


def _frame(table: Table) -> float:
    """What a table takes beside its rows [mm]: heading, sentence, column titles, axis."""
    return TABLE + LINE * _lines(table.reading, LETTERS) + (AXIS if table.axis else 0.0)


def _height(row: Row, name: str) -> float:
    """How tall a row becomes on paper [mm]."""
    lines = max(
        _lines(_told(cell), LETTERS * share - 1.5) for cell, share in zip(row.cells, COLUMNS[name], strict=True)
    )
    return LINE * max(1, lines) + PADDING


def _told(cell: Cell) -> str:
    key = "    " if cell.coating else ""  # drawn before the text
    return f"{key}{cell.text}{f' {cell.note}' if cell.note else ''}"


def _fitted(tables: Sequence[Table | None], room: float) -> list[Table | None]:
    """The tables with as many rows as the page holds: what was asked first, then a row to each in turn."""
    made = [_on_paper(each) if each is not None else None for each in tables]
    waiting = {n: [_height(row, each.name) for row in each.rows] for n, each in enumerate(made) if each is not None}
    left = room - sum(_frame(each) for each in made if each is not None)
    taken = dict.fromkeys(waiting, 0)
    for n in [n for n, each in enumerate(made) if each is not None and each.name == "criteria"]:
        kept = sum(heights[0] for other, heights in waiting.items() if other != n)  # a row of each other table
        while waiting[n] and waiting[n][0] + kept <= left:
            left -= waiting[n].pop(0)
            taken[n] += 1
        del waiting[n]
    while waiting:
        for n in list(waiting):
            if waiting[n] and waiting[n][0] <= left:
                left -= waiting[n].pop(0)
                taken[n] += 1
            else:
                del waiting[n]
    return [None if each is None else _first(each, taken[n]) for n, each in enumerate(made)]


def _first(table: Table, count: int) -> Table:
    if count == len(table.rows):
        return table
    shown = f"The first {count}" if count else "None"
    note = f"{shown.lower()} of {len(table.rows)}; all on the program page"
    return replace(table, rows=table.rows[:count], note=note)


def _on_paper(table: Table) -> Table:
    """Without links, and without texts that would fill the page alone."""
    most = [min(MOST_LETTERS, int(MOST_LINES * LETTERS * share)) for share in COLUMNS[table.name]]
    rows = [
        replace(row, anchor="", cells=[_in_lines(cell, letters) for cell, letters in zip(row.cells, most, strict=True)])
        for row in table.rows
    ]
    columns = [replace(column, measure="") for column in table.columns]
    return replace(table, columns=columns, rows=rows, reading=_clipped(table.reading), wide=False)


def _in_lines(cell: Cell, most: int) -> Cell:
    return replace(cell, href="", text=_clipped(cell.text, most), note=_clipped(cell.note, most))


def _clipped(text: str, most: int = MOST_LETTERS) -> str:
    return text if len(text) <= most else f"{text[: most - 2].rpartition(' ')[0]} …"
