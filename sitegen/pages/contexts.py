"""What the templates are given: typed, frozen, finished. Templates print it and compute nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from markupsafe import Markup

from sitegen.pages.marks import Mark


@dataclass(frozen=True)
class Link:
    text: str
    href: str = ""  # "": this very page


@dataclass(frozen=True)
class KeyView:
    """A coating's key: a piece of its line with its point."""

    colour: int
    shape: str  # SVG path in a box from -1 to 1
    dash: str  # stroke-dasharray
    symbol: int = 0  # number of the drawing that holds this shape and dash


@dataclass(frozen=True)
class StripView:
    """An interval in a cell [px], in a box of the width and height the template draws."""

    low: float
    high: float
    mark: float | None
    middle: float
    width: float
    hollow: bool
    colour: int
    shape: str
    label: str


@dataclass(frozen=True)
class PieceView:
    """A cell, or a piece of a sentence."""

    text: str
    href: str = ""
    mark: Mark = ""
    strong: bool = False
    word: bool = False
    note: str = ""
    key: KeyView | None = None
    strip: StripView | None = None
    plain: bool = False  # nothing but text: printed without asking for the rest


@dataclass(frozen=True)
class ColumnView:
    title: str
    unit: str
    numeric: bool
    href: str = ""  # to how it is worked out


@dataclass(frozen=True)
class RowView:
    cells: Sequence[PieceView]
    here: bool
    anchor: str


@dataclass(frozen=True)
class TableView:
    shape: ClassVar = "table"
    how: Link | None = field(default=None, kw_only=True)  # name of the measure, and how it is worked out
    id: str
    name: str
    label: str  # what a screen reader calls the scrolling region
    columns: Sequence[ColumnView]
    rows: Sequence[RowView]
    reading: str = ""
    caption: str = ""
    note: str = ""
    wide: bool = False
    stack: bool = False


@dataclass(frozen=True)
class ChoiceView:
    """A series of a figure that the reader may hide."""

    number: int  # what its rows carry
    name: str
    key: KeyView | None


@dataclass(frozen=True)
class PanelView:
    id: str
    title: str
    key: KeyView | None
    note: str
    label: str
    rows: Mapping[str, object]  # what the script draws
    height: int  # px, drawing with its labels: kept free before it is drawn


@dataclass(frozen=True)
class StretchView:
    """A figure over time of which a reader may look at a part [min]."""

    begin: str
    end: str
    parts: Sequence[tuple[str, str, str]]  # title, begin, end


@dataclass(frozen=True)
class FigureView:
    shape: ClassVar = "figure"
    how: Link | None = field(default=None, kw_only=True)  # name of the measure, and how it is worked out
    id: str
    name: str
    reading: str
    caption: str
    panels: Sequence[PanelView]
    table: TableView
    choices: Sequence[ChoiceView] = ()  # none where there is nothing to choose
    stretch: StretchView | None = None  # of a figure over time


@dataclass(frozen=True)
class DiscView:
    """One cylinder of a block plan, placed [px]."""

    number: str
    x: float
    y: float
    radius: float
    text: str
    unit: str
    colour: int  # -1: no coating
    word: str
    mark: Mark
    href: str
    label: str
    me: bool
    filled: float = 0.0  # radius of the filled disc in a small plan
    named_y: float = 0.0
    word_y: float = 0.0


@dataclass(frozen=True)
class PlanView:
    title: str
    href: str
    key: KeyView | None
    note: str
    label: str
    width: float
    height: float
    body_width: float
    body_top: float
    body_height: float
    body_left: float
    flywheel_x: float
    flywheel_text_x: float
    discs: Sequence[DiscView]
    small: bool


@dataclass(frozen=True)
class PlansView:
    shape: ClassVar = "plans"
    id: str
    reading: str
    caption: str
    small: bool
    plans: Sequence[PlanView]


@dataclass(frozen=True)
class TextView:
    shape: ClassVar = "text"
    role: str
    pieces: Sequence[PieceView]


@dataclass(frozen=True)
class ScaleView:
    """Scale bar of a picture."""

    share: float  # % of the picture's width
    length: str  # "0.5 mm"


@dataclass(frozen=True)
class ImageView:
    """One picture; `small` is empty where it could not be made any more."""

    small: str  # link of the thumbnail
    full: str  # link of the whole picture
    width: int  # px, of the thumbnail
    height: int
    size: str  # "1200 × 800 pixels": what opens
    caption: str
    note: str
    alternative: str
    scale: ScaleView | None


@dataclass(frozen=True)
class ImagesView:
    shape: ClassVar = "images"
    id: str
    reading: str
    caption: str
    images: Sequence[ImageView]


@dataclass(frozen=True)
class BesideView:
    shape: ClassVar = "beside"
    id: str
    title: str
    blocks: Sequence[BlockView]


BlockView = TableView | FigureView | PlansView | TextView | ImagesView | BesideView


@dataclass(frozen=True)
class Part:
    """A stretch of a page under one heading."""

    anchor: str
    title: str
    blocks: Sequence[BlockView]


@dataclass(frozen=True)
class Fact:
    term: str
    pieces: Sequence[PieceView]


@dataclass(frozen=True)
class Assets:
    """Links from the page to the site's assets; charts only where the page draws some."""

    style: str
    script: str
    tables: str
    drawings: str = ""


@dataclass(frozen=True)
class Foot:
    invented: bool
    program: str = ""
    results: str = ""
    files: str = ""  # "41 of 43 input files used"
    left_out: str = ""  # link


@dataclass(frozen=True)
class Page:
    """The frame of every page."""

    template: ClassVar[str] = "base.html"
    path: str
    title: str  # of the browser's window
    crumbs: Sequence[Link]
    others: Sequence[Link]
    previous: Link | None
    next: Link | None
    assets: Assets
    foot: Foot


@dataclass(frozen=True)
class ProgramLine:
    """A program on the home page."""

    question: str
    href: str
    title: str
    answer: Sequence[PieceView]
    facts: str
    records: str
    criteria: str  # how they stand, in words
    left_out: str  # readings set aside
    moved: str  # against the last commit of the results


@dataclass(frozen=True)
class CoatingLine:
    piece: PieceView
    process: str
    used: str


@dataclass(frozen=True)
class HomePage(Page):
    template: ClassVar[str] = "home.html"
    reading: str
    programs: Sequence[ProgramLine]
    coatings: Sequence[CoatingLine]


@dataclass(frozen=True)
class AnswerLine:
    """The answer to a criterion for one coating."""

    coating: PieceView | None  # named where the criterion is about several
    word: PieceView
    told: Sequence[str]  # who decided it, what would


@dataclass(frozen=True)
class CriterionLine:
    title: str
    limit: str
    note: str
    answers: Sequence[AnswerLine]


@dataclass(frozen=True)
class MatrixCell:
    lines: Sequence[PieceView]


@dataclass(frozen=True)
class MatrixRow:
    head: PieceView
    keys: Sequence[PieceView]
    cells: Sequence[MatrixCell]


@dataclass(frozen=True)
class Matrix:
    reading: str
    columns: Sequence[str]
    rows: Sequence[MatrixRow]


@dataclass(frozen=True)
class ProgramPage(Page):
    template: ClassVar[str] = "program.html"
    question: str
    meta: Sequence[PieceView]
    answer: Sequence[BlockView]
    criteria_caption: str
    criteria: Sequence[CriterionLine]
    parts: Sequence[Part]
    side: Sequence[Part]
    matrix: Matrix
    notes: Markup  # "" where there are none


@dataclass(frozen=True)
class EnginePage(Page):
    template: ClassVar[str] = "engine.html"
    heading: str
    meta: Sequence[PieceView]
    first: Part | None
    side: Sequence[Part]
    facts: Sequence[Fact]
    parts: Sequence[Part]


@dataclass(frozen=True)
class CylinderPage(Page):
    template: ClassVar[str] = "cylinder.html"
    heading: str
    state: PieceView | None
    meta: Sequence[PieceView]
    first: Part | None
    side: Sequence[Part]
    parts: Sequence[Part]


@dataclass(frozen=True)
class CoatingPage(Page):
    template: ClassVar[str] = "coating.html"
    heading: PieceView
    reading: str
    facts: Sequence[Fact]
    parts: Sequence[Part]


@dataclass(frozen=True)
class PartsPage(Page):
    """A page that is only a heading, a reading and its parts: data."""

    template: ClassVar[str] = "parts.html"
    heading: str
    reading: str
    parts: Sequence[Part]


@dataclass(frozen=True)
class NameView:
    """One of several measures that are worked out alike."""

    anchor: str
    id: str
    title: str
    kind: str  # unit, better direction


@dataclass(frozen=True)
class MethodView:
    anchor: str
    id: str
    title: str
    kind: str  # unit, better direction, kind of interval
    method: str
    formula: str
    facts: Sequence[Fact]
    names: Sequence[NameView] = ()  # where the entry is of several measures; its own id is empty then


@dataclass(frozen=True)
class MethodGroup:
    anchor: str
    title: str
    methods: Sequence[MethodView]
    count: str = ""  # "ten measures"


@dataclass(frozen=True)
class MethodsPage(Page):
    template: ClassVar[str] = "methods.html"
    intervals: Sequence[Fact]
    groups: Sequence[MethodGroup]
    comparing: Part
    parts: Sequence[Part]
    cautions: Sequence[tuple[str, Sequence[str]]]


AnyPage = HomePage | ProgramPage | EnginePage | CylinderPage | CoatingPage | PartsPage | MethodsPage
Place = Literal["main", "side"]
