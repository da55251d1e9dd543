"""What the templates of field sheets are given: typed, frozen, finished. Templates print it and compute nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Literal


@dataclass(frozen=True)
class Blankspace:
    """One thing to write or tick."""

    title: str
    unit: str = ""
    text: str = ""  # known already
    ticks: Sequence[str] = ()  # words to tick; none: room to write


@dataclass(frozen=True)
class Heading:
    title: str
    unit: str = ""
    note: str = ""
    width: Literal["narrow", "usual", "wide"] = "usual"


@dataclass(frozen=True)
class Cell:
    text: str = ""
    ticks: Sequence[str] = ()
    strong: bool = False


@dataclass(frozen=True)
class Row:
    cells: Sequence[Cell]
    marked: bool = False  # a reference point
    parted: bool = False  # begins with a heavier line


@dataclass(frozen=True)
class Grid:
    """A table to write in; its head repeats on every page it runs over."""

    title: str
    running: str  # who and what, repeated above the headings
    headings: Sequence[Heading]
    rows: Sequence[Row]
    tall: bool = False  # room for a whole line of handwriting


@dataclass(frozen=True)
class Label:
    """A label for one bottle."""

    sample: str
    what: str  # "sample" or "retain"
    lines: Sequence[str]
    asked: Sequence[Blankspace]


@dataclass(frozen=True)
class Sheet:
    """One piece of work on one or more pages of its own."""

    anchor: str
    title: str
    facts: Sequence[str]  # in the line below the title
    cautions: Sequence[str] = ()
    steps: Sequence[str] = ()
    asked: Sequence[Blankspace] = ()  # written once
    grids: Sequence[Grid] = ()
    labels: Sequence[Label] = ()
    of: str = ""  # whose it is: build and phase


@dataclass(frozen=True)
class Packet:
    """All sheets of one build in one phase, or in all of them: one file."""

    template: ClassVar[str] = "sheets.html"
    path: str
    title: str
    program: str
    style: str  # of the page itself, so that a sheet can be mailed alone
    sheets: Sequence[Sheet]
    invented: bool = False


@dataclass(frozen=True)
class TableLinks:
    """One empty table in both its forms."""

    title: str
    text: str  # link
    workbook: str  # link


@dataclass(frozen=True)
class PacketLine:
    """A packet in the list of all."""

    phase: str
    href: str
    sheets: str
    tables: Sequence[TableLinks]
    not_asked: Sequence[str] = ()  # what its tables have no column for, a sentence a stream


@dataclass(frozen=True)
class BuildLines:
    title: str
    packets: Sequence[PacketLine]
    whole: str = ""  # link to all its sheets in one file


@dataclass(frozen=True)
class SheetList:
    """The page that leads to every packet and every empty table."""

    template: ClassVar[str] = "sheet-list.html"
    path: str
    title: str
    program: str
    style: str
    builds: Sequence[BuildLines]
    entries: Sequence[tuple[str, str]] = field(default_factory=tuple)  # text and link
    calibrations: Sequence[tuple[str, str]] = ()  # the same of sheets, an instrument each
    invented: bool = False


AnySheetPage = Packet | SheetList
