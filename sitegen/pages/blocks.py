"""Blocks of content turned into what templates print: ids made unique, keys and marks looked up, plans placed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from sitegen.page.addresses import relative, slug
from sitegen.page.blocks import (
    Beside,
    Block,
    Cell,
    Column,
    Datum,
    Figure,
    Images,
    Plan,
    Plans,
    Row,
    Strip,
    Table,
    Text,
    number_of,
)
from sitegen.page.words import number
from sitegen.pages import charts
from sitegen.pages.contexts import (
    BesideView,
    BlockView,
    ChoiceView,
    ColumnView,
    DiscView,
    FigureView,
    ImagesView,
    ImageView,
    KeyView,
    Link,
    PanelView,
    PieceView,
    PlansView,
    PlanView,
    RowView,
    StretchView,
    StripView,
    TableView,
    TextView,
)
from sitegen.pages.gallery import Gallery, scale_of
from sitegen.pages.marks import STRONG, mark_of
from sitegen.pages.styles import SHAPES, style
from sitegen.program.model import Coating


def stretch_of(figure: Figure) -> StretchView | None:
    """What a reader may look closer at in a figure over time: all of it, and its phases by name."""
    if figure.kind != "run" or not figure.panels:
        return None
    panel = figure.panels[0]
    begin, end = number_of(panel.signals["from"]), number_of(panel.signals["to"])
    phases = [row for row in panel.data.get("marks", ()) if not row.get("event")]
    edges = [*(number_of(row["at"]) for row in phases), end]
    parts = [
        (str(row["label"]), f"{at:.2f}", f"{after:.2f}")
        for row, at, after in zip(phases, edges, edges[1:], strict=False)
    ]
    return StretchView(f"{begin:.2f}", f"{end:.2f}", parts if len(parts) > 1 else ())


class Setter:
    """Turns the blocks of one page into views; hands out each id once."""

    def __init__(
        self,
        coatings: Mapping[str, Coating],
        page: str = "",
        gallery: Gallery | None = None,
        method: Callable[[str], Link | None] | None = None,  # of a measure: its name and its place in the site
    ) -> None:
        self._page = page
        self._method = method
        self._explained: list[str] = []
        self._gallery = gallery
        self._coatings = coatings
        self._orders = {each.id: each.order for each in coatings.values()}
        self._taken: set[str] = {"main"}
        self._labels: dict[str, int] = {}
        self.charts = False  # does the page draw any?

    def anchor(self, wanted: str) -> str:
        """An id nobody on this page has yet."""
        name, n = slug(wanted), 2
        while name in self._taken:
            name, n = f"{slug(wanted)}-{n}", n + 1
        self._taken.add(name)
        return name

    def _label(self, wanted: str) -> str:
        """A name for a region that no other region of the page has: screen readers list them."""
        self._labels[wanted] = self._labels.get(wanted, 0) + 1
        return wanted if self._labels[wanted] == 1 else f"{wanted}, {self._labels[wanted]}"

    def how(self, measure: str) -> Link | None:
        """Name of a measure and the link to how it is worked out; None for what the methods page does not know."""
        found = self._method(measure) if self._method is not None and measure else None
        if found is not None:
            self._explained.append(measure)
        return Link(found.text, relative(found.href, self._page)) if found is not None else None

    def explained(self) -> list[str]:
        """Measures led from to the methods page since this was asked last."""
        found, self._explained = self._explained, []
        return found

    def _column(self, column: Column) -> ColumnView:
        how = self.how(column.measure)
        unit = "" if column.unit == "1" else column.unit
        return ColumnView(column.title, unit, column.numeric, how.href if how is not None else "")

    def blocks(self, blocks: Sequence[Block]) -> list[BlockView]:
        return [self.block(block) for block in blocks]

    def block(self, block: Block) -> BlockView:
        if isinstance(block, Figure):
            return self.figure(block)
        if isinstance(block, Table):
            return self.table(block)
        if isinstance(block, Plans):
            return self.plans(block)
        if isinstance(block, Images):
            return self.images(block)
        if isinstance(block, Beside):
            return BesideView(self.anchor(block.name), block.title, [self.block(each) for each in block.blocks])
        return self.text(block)

    # ---- small things ----

    def key(self, coating: str) -> KeyView | None:
        if not coating:
            return None
        look = style(self._orders[coating])
        dash = " ".join(f"{each:g}" for each in look.dash)
        return KeyView(look.colour, look.shape, dash, SHAPES.index(look.shape))

    def piece(self, cell: Cell) -> PieceView:
        mark = mark_of(cell.text) if cell.word else ""
        plain = not (cell.href or cell.word or cell.note or cell.coating or cell.strip)
        return PieceView(
            cell.text,
            cell.href,
            mark,
            mark in STRONG,
            cell.word,
            cell.note,
            self.key(cell.coating),
            self.strip(cell.strip) if cell.strip else None,
            plain,
        )

    def strip(self, strip: Strip) -> StripView:
        """An interval on a line of 180 px with 8 px of room at both ends."""
        look = style(self._orders[strip.coating])

        def place(at: float) -> float:
            return round(90 + 82 * at, 1)

        mark = None if strip.mark is None else place(strip.mark)
        return StripView(
            place(strip.low), place(strip.high), mark, 90, 180, strip.hollow, look.colour, look.shape, strip.label
        )

    def text(self, block: Text) -> TextView:
        return TextView(block.role, [self.piece(cell) for cell in block.cells])

    def table(self, block: Table) -> TableView:
        for row in block.rows:
            if len(row.cells) != len(block.columns):
                raise ValueError(f"table {block.name}: a row of {len(row.cells)} cells, {len(block.columns)} columns")
        return TableView(
            id=self.anchor(block.name),
            name=slug(block.name),
            label=self._label(f"Table: {block.caption or block.name.replace('-', ' ')}"),
            columns=[self._column(each) for each in block.columns],
            rows=[
                RowView(
                    [self.piece(cell) for cell in row.cells], row.here, self.anchor(row.anchor) if row.anchor else ""
                )
                for row in block.rows
            ],
            reading=block.reading,
            caption=block.caption,
            note=block.note,
            wide=block.wide,
            stack=block.stack,
            how=self.how(block.measure),
        )

    # ---- figures ----

    def figure(self, block: Figure) -> FigureView:
        return replace(self._drawn(block), how=self.how(block.measure))

    def _drawn(self, block: Figure) -> FigureView:
        self.charts = True
        id_ = self.anchor(block.name)
        panels = []
        for n, (panel, rows) in enumerate(
            zip(block.panels, charts.payloads(block, self._orders), strict=True), start=1
        ):
            panels.append(
                PanelView(
                    id=self.anchor(f"{id_}-panel-{n}"),
                    title=panel.title,
                    key=self.key(panel.coating),
                    note=panel.note,
                    label=panel.label
                    or f"{panel.title or block.reading or block.name}. The data are in the table below.",
                    rows=charts.packed(rows),
                    height=round(rows["height"] + rows["pad"]["top"] + rows["pad"]["bottom"]),
                )
            )
        table = self.table(bare(block.table) if block.table is not None else rows_as_table(block))
        choices = [ChoiceView(n, name, self.key(coating)) for n, (name, coating) in enumerate(charts.series(block))]
        return FigureView(
            id_, slug(block.name), block.reading, block.caption, panels, table, choices, stretch_of(block)
        )

    # ---- pictures ----

    def images(self, block: Images) -> ImagesView:
        if self._gallery is None:
            raise ValueError(f"{block.name}: pictures on a page that takes none")
        made = []
        for image in block.images:
            found = self._gallery.put(image.source)
            if found is None:
                made.append(ImageView("", "", 0, 0, "", image.caption, "", image.alternative, None))
                continue
            small, full = (relative(path, self._page) for path in (found.small, found.full))
            width, height = found.picture.thumbnail_width, found.picture.thumbnail_height
            size = f"{number(found.picture.width)} × {number(found.picture.height)} pixels"
            note = "; ".join(found.picture.notes)
            scale = scale_of(image.width)
            made.append(ImageView(small, full, width, height, size, image.caption, note, image.alternative, scale))
        return ImagesView(self.anchor(block.name), block.reading, block.caption, made)

    # ---- block plans ----

    def plans(self, block: Plans) -> PlansView:
        placed = [self._small(plan) if block.small else self._large(plan) for plan in block.plans]
        return PlansView(self.anchor("plan"), block.reading, block.caption, block.small, placed)

    def _large(self, plan: Plan) -> PlanView:
        """Discs of 29 px radius 82 px apart, number above, word below; more than eight stand in two rows."""
        pitch, radius = 82.0, 29.0
        rows = _ranks(len(plan.discs))
        per_row = math.ceil(len(plan.discs) / rows) if plan.discs else 1
        row_height = 142.0
        left = 26.0 if plan.flywheel == "left" else 1.0
        body = per_row * pitch + 2
        discs = []
        for i, disc in enumerate(plan.discs):
            row, place = divmod(i, per_row)
            top = row * row_height
            mark = mark_of(disc.word)
            discs.append(
                DiscView(
                    number=f"cylinder {disc.cylinder}" if i == 0 else str(disc.cylinder),
                    x=_px(left + 1 + pitch * (place + 0.5)),
                    y=_px(top + 63),
                    radius=_px(radius),
                    text=disc.text,
                    unit="" if disc.unit == "1" else disc.unit,
                    colour=self._colour(disc.coating or plan.coating),
                    word=disc.word,
                    mark=mark,
                    href=disc.href,
                    label=disc.label or _disc_sentence(disc.cylinder, disc.text, disc.unit, disc.word),
                    me=plan.me == disc.cylinder,
                    named_y=_px(top + 13),
                    word_y=_px(top + 122),
                )
            )
        return PlanView(
            title=plan.title, href=plan.href, key=self.key(plan.coating), note=plan.note or self._title(plan.coating),
            label=f"Block plan of {plan.title}", width=left + body + (32 if plan.flywheel == "right" else 4),
            height=rows * row_height + 4, body_width=body, body_top=20,
            body_height=(rows - 1) * row_height + 86, body_left=left,
            flywheel_x=left + body + 6 if plan.flywheel == "right" else left - 6,
            flywheel_text_x=left + body + 24 if plan.flywheel == "right" else left - 14,
            discs=discs, small=False,
        )  # fmt: skip

    def _small(self, plan: Plan) -> PlanView:
        """Filled discs whose area is the share; the numbers stand beneath."""
        pitch, most = 37.0, 16.0
        rows = _ranks(len(plan.discs))
        per_row = math.ceil(len(plan.discs) / rows) if plan.discs else 1
        left = 8.0 if plan.flywheel == "left" else 1.0
        body = per_row * pitch + 4
        discs = []
        for i, disc in enumerate(plan.discs):
            row, place = divmod(i, per_row)
            top = row * 62.0
            discs.append(
                DiscView(
                    number=str(disc.cylinder),
                    x=_px(left + 2 + pitch * (place + 0.5)),
                    y=_px(top + 21),
                    radius=_px(most),
                    text=disc.text,
                    unit=disc.unit,
                    colour=self._colour(disc.coating or plan.coating),
                    word=disc.word,
                    mark="",
                    href=disc.href,
                    label=disc.label or _disc_sentence(disc.cylinder, disc.text, disc.unit, disc.word),
                    me=plan.me == disc.cylinder,
                    filled=round(most * math.sqrt(min(1.0, max(0.0, disc.share or 0.0))), 2),
                    named_y=0,
                    word_y=_px(top + 56),
                )
            )
        return PlanView(
            title=plan.title, href=plan.href, key=self.key(plan.coating), note=plan.note or self._title(plan.coating),
            label=f"{plan.title}: block plan", width=left + body + 8, height=rows * 62.0, body_width=body, body_top=1,
            body_height=(rows - 1) * 62.0 + 40, body_left=left,
            flywheel_x=left + body + 5 if plan.flywheel == "right" else left - 5, flywheel_text_x=0,
            discs=discs, small=True,
        )  # fmt: skip

    def _title(self, coating: str) -> str:
        return self._coatings[coating].title if coating else ""

    def _colour(self, coating: str) -> int:
        return style(self._orders[coating]).colour if coating else -1


def _px(length: float) -> float:
    """A length as short as it prints: 43, not 43.0; pages hold many of them."""
    return int(length) if length == int(length) else round(length, 2)


def _ranks(count: int) -> int:
    return 1 if count <= 6 else 2


def _disc_sentence(cylinder: int, text: str, unit: str, word: str) -> str:
    number_ = f"{text} {unit}".strip() if unit != "1" else text
    return ", ".join(part for part in (f"Cylinder {cylinder}", number_, word) if part)


# ---- the table of a figure that brought none ------------------------------------------------------------------------


def rows_as_table(figure: Figure) -> Table:
    """The rows of a figure as a table: what is drawn can always be read."""
    phases = {row["x"]: row["label"] for panel in figure.panels for row in panel.data.get("phases", [])}
    builds = {row["y"]: row["label"] for panel in figure.panels for row in panel.data.get("lines", [])}
    units = {str(panel.signals.get("unit", "")) for panel in figure.panels}
    unit = units.pop() if len(units) == 1 else ""
    rows = []
    for panel in figure.panels:
        for name in ("means", "thin", "readings", "dots"):
            for row in panel.data.get(name, []):
                place = phases.get(row.get("x"), builds.get(row.get("y"), ""))
                what = str(row.get("line") or {"readings": "single reading", "dots": "cylinder"}.get(name, ""))
                remark = "left out" if row.get("crossed") else "not yet to rely on" if row.get("open") else ""
                rows.append(
                    Row([Cell(panel.title), Cell(what), Cell(str(place)), Cell(number(number_of(row["value"]))),
                         Cell(_end(row.get("low"))), Cell(_end(row.get("high"))), Cell(remark)])
                )  # fmt: skip
    columns = [
        Column("Panel"), Column("Line"), Column("Where"), Column("Value", unit, True), Column("From", unit, True),
        Column("To", unit, True), Column("Remark"),
    ]  # fmt: skip
    return Table(f"{figure.name}-data", columns, rows, caption="Data of this figure", wide=True)


def bare(table: Table) -> Table:
    """A figure's table as plain text: its links and keys stand on the page already, and would be most of its weight."""
    rows = [replace(row, cells=[replace(cell, href="", coating="") for cell in row.cells]) for row in table.rows]
    return replace(table, rows=rows)


def _end(end: Datum) -> str:
    return "" if end is None else number(number_of(end))
