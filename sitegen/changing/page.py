"""What moved between two states as a page that stands alone, to be sent or kept with the minutes."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.changing import told
from sitegen.changing.compared import Compared
from sitegen.changing.told import MOST, Titles
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.pages.contexts import Part
from sitegen.pages.site import alone
from sitegen.program.model import Folder


def page(folder: Folder, every: Sequence[tuple[Compared, Titles]]) -> bytes:
    """One HTML file about the programs compared."""
    parts = [
        Part(f"{found.program}-{anchor}", title if len(every) == 1 else f"{titles.program.title}: {title}", blocks)
        for found, titles in every
        for anchor, title, blocks in _parts(found, titles)
    ]
    names = words.listed(titles.program.title for _, titles in every)
    reading = " ".join(told.headline(found) for found, _ in every)
    programs = [titles.program for _, titles in every]
    return alone(folder, programs, f"What changed: {names}", reading, parts)


def _parts(found: Compared, titles: Titles) -> list[tuple[str, str, list[Block]]]:
    notes: list[Block] = [Text((Cell(text),)) for text in (f"{told.sides(found)}.", *found.notes)]
    made: list[tuple[str, str, list[Block]]] = [("states", "Compared", notes)]
    for title, own in told.groups(found):
        rows = [
            Row((Cell(titles.what(move), note=titles.about(move)), Cell(move.told(move.old) or words.DASH),
                 Cell(move.told(move.new) or words.DASH), Cell(told.reasons(found, move))))
            for move in own[:MOST]
        ]  # fmt: skip
        columns = (Column("What"), Column("Before"), Column("After"), Column("Because of"))
        note = f"The first {MOST} of {len(own)}." if len(own) > MOST else ""
        name = f"{found.program}-{title.split()[0].lower()}"
        made.append((title.split()[0].lower(), title, [Table(name, columns, rows, note=note, stack=True)]))
    if counts := told.counts(found, titles):
        made.append(("counts", "New, gone, and within their intervals", [Text((Cell(each),)) for each in counts]))
    if found.reasons:
        rows = [Row((Cell(" with ".join(each.what)), Cell(told.effect(each)))) for each in found.reasons]
        changed = Table(f"{found.program}-changes", (Column("Changed"), Column("Moved", numeric=True)), rows,
                      note="Each was put in by itself, in this order, and everything worked out again.")  # fmt: skip
        made.append(("changes", "What was changed, and what it moved", [changed]))
    return made
