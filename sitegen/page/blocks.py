"""The blocks a page is described in; templates turn them into HTML. Plain text everywhere, no HTML."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, ClassVar, Literal

from sitegen.page import words


@dataclass(frozen=True)
class Strip:
    """An interval drawn on the axis of its table; places are shares of that axis, 0 its left end and 1 its right.

    An end beyond the axis is cut there, with an arrow head.
    """

    low: float | None  # None: there is no interval, only the others
    mark: float | None
    high: float | None
    hollow: bool  # not yet to be relied on
    coating: str
    label: str  # what a screen reader is told
    others: Sequence[float] = ()  # small upright strokes beside it: the other cylinders or builds
    name: str = ""  # written beside the mark
    note: str = ""  # written below it
    clear: float | None = None  # place of a line that the name does not lie across


@dataclass(frozen=True)
class Axis:
    """The one axis that all strips of a table share, in a unit of its own."""

    column: int  # place of the column that holds the strips
    low: float
    high: float
    ticks: Sequence[tuple[float, str]]  # value and label
    line: float | None = None  # upright through all rows: no difference, or the limit

    def place(self, value: float) -> float:
        """Where a value lies, as a share of the axis."""
        return (value - self.low) / (self.high - self.low)

    @classmethod
    def over(cls, column: int, ends: Sequence[float]) -> Axis:
        """An axis from nought, or from below it, that holds these values; at most six steps of 1, 2 or 5.

        >>> [label for _, label in Axis.over(1, [-0.6, 3.6]).ticks]
        ['−1', '0', '1', '2', '3', '4']
        """
        low, high = min([0.0, *ends]), max([0.0, *ends]) or 1.0
        power = math.floor(math.log10((high - low) / 6))
        step = next(n * 10.0**power for n in (1, 2, 5, 10) if (high - low) / (n * 10.0**power) <= 6)
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        places = max(0, -math.floor(math.log10(step) + 1e-9))
        ticks = [(n * step, words.number(n * step, places)) for n in range(first, last + 1)]
        return cls(column, first * step, last * step, ticks)


@dataclass(frozen=True)
class Cell:
    """One cell of a table, or a piece of a sentence. Plain text: templates escape it."""

    text: str
    href: str = ""
    word: bool = False  # a word of state: drawn with its mark
    note: str = ""  # small second line
    coating: str = ""  # draws the coating's key before the text
    strip: Strip | None = None  # drawn in place of the text
    strips: Sequence[Strip] = ()  # further ones below it
    state: str = ""  # the word whose mark is drawn, where the text says more
    strong: bool = False
    box: Literal["", "solid", "dashed", "boxed"] = ""  # underlined or boxed in the coating's colour; no key is drawn
    folded: tuple[str, str] = ("", "")  # below the text: how much more there is, and what opens with it

    if not TYPE_CHECKING:  # a site is made of cells, and most of them are but a text: the rest is that of the class

        def __init__(self, text, *others, **named) -> None:
            own = vars(self)
            own["text"] = text
            if others:
                own.update(zip(_BESIDE_TEXT, others, strict=False))
            if named:
                own.update(named)

    @property
    def plain(self) -> bool:
        """True of nothing but text: printed without asking for the rest."""
        drawn = self.coating or self.strip or self.strong or self.box
        return not (self.href or self.word or self.note or self.folded[1] or drawn)


_BESIDE_TEXT = [each.name for each in fields(Cell)][1:]


@dataclass(frozen=True)
class Column:
    title: str
    unit: str = ""
    numeric: bool = False
    measure: str = ""  # id of what it shows: its heading leads to the methods page
    group: str = ""  # heading over all columns beside each other that share it


@dataclass(frozen=True)
class Row:
    cells: Sequence[Cell]
    here: bool = False  # highlighted: left out, or the subject of the page
    anchor: str = ""


@dataclass(frozen=True)
class Table:
    """A table; saved as CSV under `name`."""

    shape: ClassVar = "table"  # macro that prints it
    name: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    reading: str = ""  # computed sentence above it
    caption: str = ""
    note: str = ""
    wide: bool = False  # scrolls sideways on a narrow screen
    stack: bool = False  # there its rows become blocks instead, each cell led by its column
    measure: str = ""  # id of what all its numbers are: its note leads to the methods page
    axis: Axis | None = None  # of the strips in one of its columns

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row.cells) != len(self.columns):
                raise ValueError(f"table {self.name}: a row of {len(row.cells)} cells, {len(self.columns)} columns")


Datum = str | float | bool | None
ChartRow = Mapping[str, Datum]  # what `pages.charts` takes of each chart kind


def number_of(datum: Datum) -> float:
    """A datum that has to be a number. Raises TypeError for any other."""
    if isinstance(datum, str) or datum is None:
        raise TypeError(f"{datum!r} is no number")
    return float(datum)


@dataclass(frozen=True)
class Track:
    """A channel over time as a run chart draws it, by column: there are too many points for a row each.

    Values are whole grains of the last digit, each as the step from the one before; of a stretch whose least and most
    lie too near to the line to be seen, both are 0.
    """

    at: Sequence[float]  # min
    steps: Sequence[int]
    below: Sequence[int]  # how far the least of the stretch lies below the value
    above: Sequence[int]
    run: Sequence[int]
    piece: Sequence[int]  # unbroken piece of the record
    grains: int  # that are one
    least: float  # of all that is drawn
    most: float


@dataclass(frozen=True)
class Panel:
    """One chart of a figure: data rows by name and signal values for one chart kind."""

    title: str
    data: Mapping[str, Sequence[ChartRow]]
    signals: Mapping[str, Datum] = field(default_factory=dict)
    coating: str = ""
    note: str = ""
    label: str = ""  # what a screen reader is told
    axis: str = ""  # title and unit of the value axis: "Leak area, mm²"; it stands in the drawing and in what is saved
    along: str = ""  # the same of the other axis, where that is a quantity
    path: Track | None = None  # of a run chart
    finer: Track | None = None  # the same for whoever looks closer, in a script beside the page


@dataclass(frozen=True)
class Figure:
    """Panels of one chart kind under one computed sentence, above a fold with their data."""

    shape: ClassVar = "figure"  # macro that prints it
    name: str  # file name of what is saved
    kind: str  # key of `pages.charts.KINDS`
    panels: Sequence[Panel]
    reading: str = ""
    caption: str = ""
    table: Table | None = None
    measure: str = ""  # id of what it shows: its caption leads to the methods page
    one_scale: bool = True  # its panels share the ends of the value axis
    layout: Literal["", "wide", "row"] = ""  # one panel as wide as the page; small panels in one row
    events: Sequence[str] = ()  # what its numbered circles stand for, in their order


MARKS = "Dashed: cannot be told; boxed: not seated."  # of the cells and circles of cylinders, on every page


@dataclass(frozen=True)
class Disc:
    """One cylinder in a block plan."""

    cylinder: int
    text: str  # the number in it; "" where there is none
    unit: str = ""
    coating: str = ""
    word: str = ""
    href: str = ""
    share: float | None = None  # 0..1: filled disc of that area (strip by phase); None: ring with the number
    label: str = ""  # whole sentence for a screen reader


@dataclass(frozen=True)
class Plan:
    title: str
    discs: Sequence[Disc]
    href: str = ""
    note: str = ""
    coating: str = ""
    me: int = 0  # cylinder to be ringed
    flywheel: Literal["right", "left"] = "right"


@dataclass(frozen=True)
class Plans:
    """Block plans: large with numbers and words, or a strip of small ones by phase."""

    shape: ClassVar = "plans"  # macro that prints it
    plans: Sequence[Plan]
    reading: str = ""
    caption: str = ""
    small: bool = False


@dataclass(frozen=True)
class Text:
    """A paragraph of cells (plain text with links and words)."""

    shape: ClassVar = "text"  # macro that prints it
    cells: Sequence[Cell]
    role: Literal["plain", "lead", "note", "reading", "caution"] = "plain"


@dataclass(frozen=True)
class Image:
    """A picture from the records. Content names the file; the pages make what is published from it."""

    source: str  # the file, from the programs folder, with forward slashes
    caption: str
    alternative: str  # what a screen reader is told in its place
    width: float | None = None  # m, of the whole picture in reality: draws the scale bar


@dataclass(frozen=True)
class Images:
    """Pictures side by side: small ones that open the whole ones."""

    shape: ClassVar = "images"  # macro that prints it
    name: str
    images: Sequence[Image]
    reading: str = ""
    caption: str = ""
    place: str = ""  # where all of them were taken, one after the other: drawn to one scale, or not to be compared


@dataclass(frozen=True)
class Fact:
    term: str
    pieces: Sequence[Cell]


@dataclass(frozen=True)
class Facts:
    """Terms with what is known of each, under a small heading."""

    shape: ClassVar = "facts"  # macro that prints it
    name: str
    title: str
    facts: Sequence[Fact]


@dataclass(frozen=True)
class Beside:
    """Two or more blocks side by side: what leads, and what it rests on. Wraps where there is no room."""

    shape: ClassVar = "beside"  # macro that prints it
    name: str
    blocks: Sequence[Figure | Table | Facts | Text]
    halves: bool = False  # as wide as each other; else the first takes more


@dataclass(frozen=True)
class Under:
    """More of what stands above it, behind a line that says how much."""

    shape: ClassVar = "under"  # macro that prints it
    name: str
    summary: str
    blocks: Sequence[Figure | Table | Text]


Block = Figure | Table | Plans | Text | Images | Facts | Beside | Under
