"""What templates ask for while they print the blocks of a page: ids that nothing else has, looks, places in pixels."""

from __future__ import annotations

import json
import math
import posixpath
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from markupsafe import Markup

from sitegen.page.addresses import Link, relative, slug
from sitegen.page.blocks import (
    Axis,
    Beside,
    Block,
    Cell,
    ChartRow,
    Column,
    Datum,
    Disc,
    Figure,
    Image,
    Images,
    Panel,
    Plan,
    Row,
    Strip,
    Table,
    Under,
    number_of,
)
from sitegen.page.words import number
from sitegen.pages import charts, printed
from sitegen.pages.gallery import Gallery, Scale, not_alike_lit, not_to_scale, scale_of
from sitegen.pages.styles import Style, style
from sitegen.program.model import Coating


@dataclass(frozen=True)
class PlacedStrip:
    """An interval in a cell [px], in a box of the width and height the template draws."""

    low: float
    high: float
    mark: float | None
    others: Sequence[float]
    before: bool  # it begins left of the axis: an arrow head
    beyond: bool
    name_at: float  # middle of the name above it


@dataclass(frozen=True)
class PlacedAxis:
    """Ticks of an axis and the middle of their labels [px], and the upright line as a share of the width of the box."""

    ticks: Sequence[tuple[float, float, str]]
    line: float | None
    column: int


@dataclass(frozen=True)
class DrawnPanel:
    """One chart of a figure as the script draws it."""

    id: str
    panel: Panel
    label: str
    rows: charts.Drawn
    height: int  # px, drawing with its labels: kept free before it is drawn
    finer: str = ""  # address of the script with its finer rows


@dataclass(frozen=True)
class Choice:
    """A series of a figure that the reader may hide."""

    number: int  # what its rows carry
    name: str
    coating: str


@dataclass(frozen=True)
class Stretch:
    """A figure over time of which a reader may look at a part [min]."""

    begin: str
    end: str
    parts: Sequence[tuple[str, str, str]]  # title, begin, end


@dataclass(frozen=True)
class PlacedDisc:
    """One cylinder of a block plan [px]."""

    disc: Disc
    name: str
    label: str
    coating: str
    me: bool
    x: float
    y: float
    radius: float
    name_y: float
    word_y: float
    filled: float = 0.0  # radius of the filled disc in a small plan


@dataclass(frozen=True)
class PlacedPlan:
    """A block plan [px]."""

    label: str
    note: str
    width: float
    height: float
    body_left: float
    body_top: float
    body_width: float
    body_height: float
    flywheel_x: float
    flywheel_text_x: float
    discs: Sequence[PlacedDisc]


@dataclass(frozen=True)
class Shown:
    """A picture of the page: links to its small and its whole form."""

    small: str
    full: str
    width: int  # px, of the small one
    height: int
    size: str  # "1200 × 800 pixels": what opens
    note: str
    scale: Scale | None


@dataclass(frozen=True)
class SideBySide:
    """Pictures of one place: how wide each is drawn, and why they do not compare."""

    shares: Sequence[float]  # % of the room of one
    told: Sequence[str]  # clauses that go on after "not comparable"


PRINTED, GAP = 8.4, 5  # px in that box: width of a letter as large as on paper, and free between two labels
PAPER_LETTER = 10.0  # px in that box: width of a letter of a name, as large as on paper
STRIP_WIDTH, STRIP_ROOM = 320, 10  # px, of the box of a strip, and free at both ends of its axis


def _along(share: float) -> float:
    """Where a share of the axis lies in the box of a strip [px]."""
    return round(STRIP_ROOM + (STRIP_WIDTH - 2 * STRIP_ROOM) * share, 1)


def _inside(middle: float, text: str) -> float:
    """Where the middle of a text is drawn so that none of it lies beyond the box of a strip [px]."""
    half = PAPER_LETTER * len(text) / 2
    return round(max(half, min(STRIP_WIDTH - half, middle)), 1)


MOST_CELLS = 600  # of a table; of one with more, a page shows the first rows
SHOWN_ROWS = 24
ROWS = "sitegenRows"  # what the script of further rows calls, in tables.js
READINGS = "sitegenReadings"  # what that of readings of a review calls, in marking.js
FINER = "sitegenFiner"  # what that of finer rows of a chart calls, in report.js


def _sparse(ticks: Sequence[tuple[float, float, str]], named: int) -> list[tuple[float, float, str]]:
    """Ticks of which every one has its label, or every second, third ... counted from one, so that none touch.

    >>> [label for *_, label in _sparse([(10, 20, "−100 %"), (60, 60, "−75 %"), (110, 110, "−50 %")], 2)]
    ['−100 %', '', '−50 %']
    """

    def touch(one: tuple[float, float, str], other: tuple[float, float, str]) -> bool:
        return other[1] - one[1] < PRINTED * (len(one[2]) + len(other[2])) / 2 + GAP

    for every in range(1, len(ticks) + 1):
        told = [each if (n - named) % every == 0 else (*each[:2], "") for n, each in enumerate(ticks)]
        if not any(touch(*pair) for pair in pairwise([each for each in told if each[2]])):
            return told
    return list(ticks)


class Setter:
    """Serves the templates of one page; hands out each id once."""

    def __init__(
        self,
        coatings: Mapping[str, Coating],
        page: str = "",
        gallery: Gallery | None = None,
        method: Callable[[str], Link | None] | None = None,  # of a measure: its name and its place in the site
    ) -> None:
        self._page = page
        self._method = method
        self._gallery = gallery
        self._coatings = coatings
        self._orders = {each.id: each.order for each in coatings.values()}
        self.later: dict[str, str] = {}  # path -> script with rows of a long table or chart that the page does not hold
        self._taken: set[str] = {"main"}
        self._labels: dict[str, int] = {}

    def id(self, wanted: str) -> str:
        """An id nobody on this page has yet."""
        name, n = slug(wanted), 2
        while name in self._taken:
            name, n = f"{slug(wanted)}-{n}", n + 1
        self._taken.add(name)
        return name

    def label(self, table: Table) -> str:
        """A name for the region of a table that no other region has: screen readers list them."""
        wanted = f"Table: {table.caption or table.name.replace('-', ' ')}"
        self._labels[wanted] = self._labels.get(wanted, 0) + 1
        return wanted if self._labels[wanted] == 1 else f"{wanted}, {self._labels[wanted]}"

    @staticmethod
    def first_rows(table: Table) -> int:
        """How many rows of a table a page shows: all, or the first of a long one. Rows that links lead to all stand."""
        cells = len(table.rows) * len(table.columns)
        whole = cells <= MOST_CELLS or any(row.anchor for row in table.rows)
        return len(table.rows) if whole else min(SHOWN_ROWS, len(table.rows))

    def headings(self, table: Table, axis: PlacedAxis | None) -> Markup:
        """Headings of the columns of a table, as HTML."""
        return printed.headings(table, axis.column if axis is not None else None, self.how)

    def rows(self, table: Table, axis: PlacedAxis | None, some: Sequence[Row], cell: Callable[[Cell], str]) -> Markup:
        """Some rows of a table, as HTML; `cell` prints what is more than text."""
        return printed.rows(table, some, axis.column if axis is not None else None, cell, self.id)

    def keep(self, id: str, rows: str) -> str:
        """The address of a script with further rows of a table, loaded when a reader asks for them."""
        told = json.dumps({"page": self._page, "table": id, "rows": rows}, ensure_ascii=False)
        return self._later(id, f"{ROWS}({told});\n")

    def keep_readings(self, told: Mapping[str, object]) -> str:
        """The address of a script with readings that can be marked, loaded when a reader comes to one of them."""
        text = json.dumps(told, ensure_ascii=False, separators=(",", ":"))
        return self._later(self.id("readings"), f"{READINGS}({text});\n")

    def _later(self, id: str, script: str) -> str:
        folder, name = posixpath.split(self._page)
        path = posixpath.join(folder, "rows", f"{name.removesuffix('.html')}-{id}.js")
        self.later[path] = script
        return relative(path, self._page)

    def how(self, measure: str) -> Link | None:
        """Name of a measure and the link to how it is worked out; None for what the methods page does not know."""
        found = self._method(measure) if self._method is not None and measure else None
        return Link(found.text, relative(found.href, self._page)) if found is not None else None

    def look(self, coating: str) -> Style:
        """Colour, shape and dash of a coating."""
        return style(self._orders[coating])

    @staticmethod
    def groups(table: Table) -> list[list[tuple[str, int]]]:
        """The row of headings over groups of columns, each with the number of its columns; none without groups."""
        if not any(column.group for column in table.columns):
            return []
        return [[(title, len(list(own))) for title, own in groupby(column.group for column in table.columns)]]

    def strip(self, strip: Strip) -> PlacedStrip:
        """An interval in a box `STRIP_WIDTH` wide."""
        begin, end = strip.low or 0.0, 1.0 if strip.high is None else strip.high
        low, high = _along(max(0.0, begin)), _along(min(1.0, end))
        mark = None if strip.mark is None or not 0 <= strip.mark <= 1 else _along(strip.mark)
        others = [float(x) for x in sorted({round(_along(at)) for at in strip.others if 0 <= at <= 1})]  # a px is seen
        middle = (low + high) / 2 if mark is None else mark
        if strip.clear is not None and abs(middle - _along(strip.clear)) < (room := PAPER_LETTER * len(strip.name) / 2):
            middle = _along(strip.clear) + math.copysign(room, middle - _along(strip.clear))
        return PlacedStrip(low, high, mark, others, begin < 0, end > 1, _inside(middle, strip.name))

    def axis(self, axis: Axis) -> PlacedAxis:
        """The axis under the strips of a table."""
        line = None if axis.line is None else round(_along(axis.place(axis.line)) / STRIP_WIDTH, 4)
        ticks = sorted(axis.ticks)
        placed = [(x, _inside(x, label), label) for x, label in ((_along(axis.place(v)), t) for v, t in ticks)]
        named = next((n for n, (value, _) in enumerate(ticks) if value == axis.line), 0)
        return PlacedAxis(_sparse(placed, named), line, axis.column)

    # ---- figures ----

    def panels(self, figure: Figure, id: str) -> list[DrawnPanel]:
        """The charts of a figure; `id` is that of the figure."""
        return [
            DrawnPanel(
                name := self.id(f"{id}-panel-{n}"),
                panel,
                panel.label or f"{panel.title or figure.reading or figure.name}. The data are in the table below.",
                charts.packed(rows),
                round(rows["height"] + rows["pad"]["top"] + rows["pad"]["bottom"]),
                self._finer(name, panel, rows) if panel.finer is not None else "",
            )
            for n, (panel, rows) in enumerate(
                zip(figure.panels, charts.payloads(figure, self._orders), strict=True), start=1
            )
        ]

    def _finer(self, id: str, panel: Panel, rows: charts.Drawn) -> str:
        """The address of a script with the finer rows of a panel, loaded when a reader looks closer."""
        told = json.dumps({"panel": id, **charts.finer(panel, rows)}, ensure_ascii=False, separators=(",", ":"))
        return self._later(id, f"{FINER}({told});\n")

    def choices(self, figure: Figure) -> list[Choice]:
        """What a reader may hide; none where there is nothing to choose."""
        return [Choice(n, name, coating) for n, (name, coating) in enumerate(charts.series(figure))]

    def stretch(self, figure: Figure) -> Stretch | None:
        """What a reader may look closer at in a figure over time: all of it, and its phases by name."""
        if figure.kind != "run" or not figure.panels:
            return None
        panel = figure.panels[0]
        parts = [
            (str(row["label"]), f"{number_of(row['at']):.2f}", f"{number_of(row['to']):.2f}")
            for row in panel.data.get("runs", ())
        ]
        begin, end = (f"{number_of(panel.signals[end]):.2f}" for end in ("from", "to"))
        return Stretch(begin, end, parts)

    def data(self, figure: Figure) -> Table:
        """The table under a figure: its own, or its rows."""
        return bare(figure.table) if figure.table is not None else rows_as_table(figure)

    # ---- pictures ----

    def picture(self, image: Image) -> Shown | None:
        """Both forms of a picture; None where it could not be made any more."""
        if self._gallery is None:
            raise ValueError(f"{image.source}: a picture on a page that takes none")
        found = self._gallery.put(image.source)
        if found is None:
            return None
        own = found.picture
        return Shown(
            relative(found.small, self._page), relative(found.full, self._page), own.thumbnail_width,
            own.thumbnail_height, f"{number(own.width)} × {number(own.height)} pixels", "; ".join(own.notes),
            scale_of(image.width),
        )  # fmt: skip

    def side_by_side(self, images: Images) -> SideBySide:
        """Pictures of one place to one scale, and why they do not compare where they do not."""
        widths = [image.width for image in images.images]
        if not images.place or len(widths) < 2:
            return SideBySide([100.0] * len(widths), ())
        lights = [self._gallery.light(image.source) if self._gallery else None for image in images.images]
        told = [not_to_scale(widths), not_alike_lit([each for each in lights if each is not None])]
        known = [width for width in widths if width]
        scaled = not told[0]
        shares = [round(100 * width / max(known), 2) if scaled and width else 100.0 for width in widths]
        return SideBySide(shares, [each for each in told if each])

    # ---- block plans ----

    def plan(self, plan: Plan) -> PlacedPlan:
        """Discs of 29 px radius 82 px apart, name above, word below; more than six stand in two rows."""
        pitch, radius, row_height = 82.0, 29.0, 142.0
        rows, per_row = _ranks(plan)
        left = 26.0 if plan.flywheel == "left" else 1.0
        body = per_row * pitch + 2
        discs = []
        for i, disc in enumerate(plan.discs):
            row, place = divmod(i, per_row)
            top = row * row_height
            name = f"cylinder {disc.cylinder}" if i == 0 else str(disc.cylinder)
            x = left + 1 + pitch * (place + 0.5)
            discs.append(_placed(plan, disc, name, x, top + 63, radius, top + 13, top + 122))
        right = plan.flywheel == "right"
        return PlacedPlan(
            label=f"Block plan of {plan.title}".removesuffix(" of "), note=self._note(plan),
            width=left + body + (32 if right else 4), height=rows * row_height + 4,
            body_left=left, body_top=20, body_width=body, body_height=(rows - 1) * row_height + 86,
            flywheel_x=left + body + 6 if right else left - 6,
            flywheel_text_x=left + body + 24 if right else left - 14, discs=discs,
        )  # fmt: skip

    def small_plan(self, plan: Plan) -> PlacedPlan:
        """Filled discs whose area is the share; the numbers stand beneath."""
        pitch, most, row_height = 37.0, 16.0, 62.0
        rows, per_row = _ranks(plan)
        left = 8.0 if plan.flywheel == "left" else 1.0
        body = per_row * pitch + 4
        discs = []
        for i, disc in enumerate(plan.discs):
            row, place = divmod(i, per_row)
            top = row * row_height
            filled = round(most * math.sqrt(min(1.0, max(0.0, disc.share or 0.0))), 2)
            x = left + 2 + pitch * (place + 0.5)
            discs.append(_placed(plan, disc, str(disc.cylinder), x, top + 21, most, 0, top + 56, filled))
        return PlacedPlan(
            label=f"{plan.title}: block plan", note=self._note(plan), width=left + body + 8, height=rows * row_height,
            body_left=left, body_top=1, body_width=body, body_height=(rows - 1) * row_height + 40,
            flywheel_x=left + body + 5 if plan.flywheel == "right" else left - 5, flywheel_text_x=0, discs=discs,
        )  # fmt: skip

    def small_discs(self, plan: PlacedPlan) -> Markup:
        """The cylinders of a small plan, as HTML."""
        return printed.small_discs(
            plan.discs, lambda coating: f"coating-{self.look(coating).colour}" if coating else ""
        )

    def _note(self, plan: Plan) -> str:
        return plan.note or (self._coatings[plan.coating].title if plan.coating else "")


def _placed(
    plan: Plan, disc: Disc, name: str, x: float, y: float, radius: float, name_y: float, word_y: float,
    filled: float = 0.0,
) -> PlacedDisc:  # fmt: skip
    label = disc.label or _disc_sentence(disc)
    coating, me = disc.coating or plan.coating, plan.me == disc.cylinder
    return PlacedDisc(disc, name, label, coating, me, _px(x), _px(y), _px(radius), _px(name_y), _px(word_y), filled)


def _px(length: float) -> float:
    """A length as short as it prints: 43, not 43.0; pages hold many of them."""
    return int(length) if length == int(length) else round(length, 2)


def _ranks(plan: Plan) -> tuple[int, int]:
    """Rows of a block plan, and discs a row."""
    rows = 1 if len(plan.discs) <= 6 else 2
    return rows, math.ceil(len(plan.discs) / rows) if plan.discs else 1


def _disc_sentence(disc: Disc) -> str:
    number_ = f"{disc.text} {disc.unit}".strip() if disc.unit != "1" else disc.text
    return ", ".join(part for part in (f"Cylinder {disc.cylinder}", number_, disc.word) if part)


# ---- blocks and what is inside them ---------------------------------------------------------------------------------


def inside(blocks: Sequence[Block]) -> list[Block]:
    """Blocks with those that stand beside each other and the tables of figures."""
    found: list[Block] = []
    for block in blocks:
        found.append(block)
        if isinstance(block, Beside | Under):
            found += inside(block.blocks)
        if isinstance(block, Figure) and block.table is not None:
            found.append(block.table)
    return found


def measures_of(blocks: Sequence[Block]) -> list[str]:
    """Measures that the blocks say they show, each once."""
    named: dict[str, None] = {}
    for block in inside(blocks):
        if isinstance(block, Figure | Table):
            named[block.measure] = None
        if isinstance(block, Table):
            named.update(dict.fromkeys(column.measure for column in block.columns))
    return [measure for measure in named if measure]


# ---- the table of a figure that brought none ------------------------------------------------------------------------

_DRAWN = ("means", "thin", "readings", "dots", "path", "points", "levels", "limits")  # sets whose rows are numbers
_SAID = {"readings": "single reading", "dots": "cylinder", "levels": "level"}
MOST_POINTS = 24  # of a line in the table: all of them would outweigh the page; the file saved has all


def rows_as_table(figure: Figure) -> Table:
    """The rows of a figure as a table: what is drawn can always be read. Its numbers have a column a unit.

    A panel names units as its signals `unit` (of values) and `along` (of its axis, where that is a quantity).
    """
    places = {axis: {row[axis]: row["label"] for panel in figure.panels for row in panel.data.get(rows, ())}
              for axis, rows in (("x", "phases"), ("y", "lines"))}  # fmt: skip
    units = [*dict.fromkeys(str(panel.signals.get("unit", "")) for panel in figure.panels)]
    alongs = [*dict.fromkeys(str(panel.signals.get("along", "")) for panel in figure.panels)]
    rows, note = [], ""
    for panel in figure.panels:
        own, along = str(panel.signals.get("unit", "")), str(panel.signals.get("along", ""))
        for name in _DRAWN:
            shown = _some(panel.data.get(name, ())) if name == "path" else panel.data.get(name, ())
            if len(shown) < len(panel.data.get(name, ())):
                note = "Some points of each line. What is saved as CSV has all that are drawn."
            for row in shown:
                where = str(places["x"].get(row.get("x"), places["y"].get(row.get("y"), "")))
                what = str((row.get("series") if name == "path" else "") or row.get("line") or row.get("label") or "")
                remark = "left out" if row.get("crossed") else "not yet to rely on" if row.get("open") else ""
                told = [_end(row.get(end)) for end in ("value", "low", "high")]
                rows.append([
                    panel.title, what or _SAID.get(name, ""), where,
                    *(_end(row.get("at")) if each == along else "" for each in alongs),
                    *(text for each in units for text in (told if each == own else [""] * 3)), remark,
                ])  # fmt: skip
    columns = [Column("Panel"), Column("Line"), Column("Where"), *(Column("Along", each, True) for each in alongs)]
    for each in units:
        columns += [Column("Value", each, True), Column("From", each, True), Column("To", each, True)]
    columns.append(Column("Remark"))
    kept = [n for n in range(len(columns)) if any(row[n] for row in rows)]  # a column nobody fills says nothing
    return Table(
        f"{figure.name}-data", [columns[n] for n in kept], [Row([Cell(row[n]) for n in kept]) for row in rows],
        caption="Data of this figure", note=note, wide=True,
    )  # fmt: skip


def _some(path: Sequence[ChartRow]) -> list[ChartRow]:
    """At most `MOST_POINTS` of each line, evenly, its ends among them."""
    lines: dict[object, list[ChartRow]] = {}
    for row in path:
        lines.setdefault(row.get("line"), []).append(row)
    chosen = []
    for line in lines.values():
        count = min(len(line), MOST_POINTS)
        chosen += [line[round(n * (len(line) - 1) / max(1, count - 1))] for n in range(count)]
    return chosen


def bare(table: Table) -> Table:
    """A figure's table as plain text: its links and keys stand on the page already, and would be most of its weight."""

    def text(cell: Cell) -> Cell:
        return replace(cell, href="", coating="") if cell.href or cell.coating else cell

    return replace(table, rows=[replace(row, cells=[*map(text, row.cells)]) for row in table.rows])


def _end(end: Datum) -> str:
    return "" if end is None else number(number_of(end))
