"""What the templates are given beside blocks: typed, frozen, finished. Templates print it and compute nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from markupsafe import Markup

from sitegen.page.addresses import Link
from sitegen.page.blocks import Block, Cell, Table
from sitegen.page.blocks import Fact as Fact
from sitegen.pages.setting import Setter


@dataclass(frozen=True)
class Part:
    """A stretch of a page under one heading."""

    anchor: str
    title: str
    blocks: Sequence[Block]
    result: str = ""  # of a folded part: what its summary states
    more: str = ""  # of a half: the line its further blocks are folded behind


@dataclass(frozen=True)
class Around:
    """Pages near this one, offered beside its contents: the builds of a program, the cylinders of a build."""

    title: str
    links: Sequence[Link]  # without an address where it is this page


@dataclass(frozen=True)
class Half:
    """A stream on the page of a build: a sentence at the left, one figure or table at the right, the rest folded."""

    anchor: str
    title: str
    said: Sequence[Block]
    shown: Sequence[Block]
    more: str
    folded: Sequence[Block]


@dataclass(frozen=True)
class Line:
    """One thing out of the ordinary."""

    label: str
    text: Cell
    more: str


def contents_of(parts: Sequence[Part], rest: Sequence[Part] = ()) -> list[Link]:
    """Sections of a page, and one line for all that is folded."""
    return [*(Link(part.title, f"#{part.anchor}") for part in parts), *([Link(REST, "#rest")] if rest else [])]


REST = "The rest, folded"
UNUSUAL = "Out of the ordinary"


@dataclass(frozen=True)
class Assets:
    """Links from the page to the site's assets; charts only where the page draws some."""

    style: str
    script: str
    tables: str
    drawings: str = ""
    saving: str = ""
    marking: str = ""  # of the page of review
    inline: str = ""  # of a page that is sent alone: the style itself, in place of all links


@dataclass(frozen=True)
class Foot:
    invented: bool
    program: str = ""
    results: str = ""
    files: str = ""  # "41 of 43 input files used"
    left_out: str = ""  # link
    as_of: str = ""  # "records until 14 August 2026"
    day: str = ""  # the same as an ISO date
    mark: str = ""  # of data that leave the page: "invented", "partly invented", or ""
    source: str = ""  # line under pictures that leave the page
    others: Sequence[str] = ()  # the same of each program, on a page about several
    blind: bool = False  # coatings are not shown


@dataclass(frozen=True, kw_only=True)
class Page:
    """The frame of every page."""

    template: ClassVar[str] = "base.html"
    setter: Setter  # serves the blocks of this page
    path: str
    title: str  # of the browser's window
    crumbs: Sequence[Link]
    others: Sequence[Link]
    previous: Link | None
    next: Link | None
    assets: Assets
    foot: Foot
    around: Sequence[Around] = ()

    @property
    def contents(self) -> Sequence[Link]:
        """Sections of this page, in order."""
        return ()


@dataclass(frozen=True)
class Said:
    """The verdict a page opens with."""

    status: str  # by the program's own rule; "" without one
    sentence: Sequence[Cell]
    rule: str  # in small below it
    blocks: Sequence[Block] = ()


@dataclass(frozen=True, kw_only=True)
class ProgramPage(Page):
    template: ClassVar[str] = "program.html"
    question: str
    meta: Sequence[Cell]
    verdict: Said
    parts: Sequence[Part]
    rest: Sequence[Part]  # folded
    notes_about: str = ""  # what the line says that the notes are folded behind
    notes: Markup  # "" where there are none

    @property
    def contents(self) -> Sequence[Link]:
        return contents_of(self.parts, self.rest)


@dataclass(frozen=True)
class SheetTable:
    """A table of a decision sheet under its heading."""

    anchor: str
    title: str
    table: Table


@dataclass(frozen=True, kw_only=True)
class DecisionPage(Page):
    """One page of paper a program."""

    template: ClassVar[str] = "decision.html"
    heading: str
    question: str
    meta: Sequence[Cell]
    verdict: Said
    tables: Sequence[SheetTable]
    signatures: Sequence[str]  # lines to be signed: the coating each is about, or ""


@dataclass(frozen=True, kw_only=True)
class EnginePage(Page):
    template: ClassVar[str] = "engine.html"
    heading: str
    states: str  # ends the heading: the cylinders that are not seated
    meta: Sequence[Cell]
    first: Part
    side: Sequence[Part]
    crowded: bool  # many cylinders: the block plan takes more of the first screen
    unusual: Sequence[Line]
    odd: Sequence[Part]  # where odd cylinders lie
    parts: Sequence[Part]
    halves: Sequence[Half]
    rest: Sequence[Part]  # folded

    @property
    def contents(self) -> Sequence[Link]:
        own = [Link(self.first.title, f"#{self.first.anchor}"), Link(UNUSUAL, "#unusual")]
        halves = [Link(half.title, f"#{half.anchor}") for half in self.halves]
        return [*own, *contents_of(self.parts), *halves, *contents_of((), self.rest)]


@dataclass(frozen=True, kw_only=True)
class CylinderPage(Page):
    template: ClassVar[str] = "cylinder.html"
    heading: str
    state: str  # word; "" where none was concluded
    meta: Sequence[Cell]
    first: Part | None  # why it has its state
    parts: Sequence[Part]
    rest: Sequence[Part] = ()  # folded

    @property
    def contents(self) -> Sequence[Link]:
        return contents_of([*([self.first] if self.first else []), *self.parts], self.rest)


@dataclass(frozen=True)
class Chapter:
    """What one program says of a coating: its builds, and folded below them what its streams say."""

    part: Part
    rest: Sequence[Part]  # folded


@dataclass(frozen=True, kw_only=True)
class CoatingPage(Page):
    template: ClassVar[str] = "coating.html"
    heading: Cell
    reading: str
    facts: Sequence[Fact]
    parts: Sequence[Part]
    chapters: Sequence[Chapter]

    @property
    def contents(self) -> Sequence[Link]:
        return contents_of([*self.parts, *(each.part for each in self.chapters)])


@dataclass(frozen=True, kw_only=True)
class PartsPage(Page):
    """A page that is only a heading, a reading and its parts: home, data, plan."""

    template: ClassVar[str] = "parts.html"
    heading: str
    reading: str
    parts: Sequence[Part]
    rest: Sequence[Part] = ()  # folded

    @property
    def contents(self) -> Sequence[Link]:
        return contents_of(self.parts, self.rest)


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
    line: str  # what it is, in a line
    names: Sequence[NameView] = ()  # where the entry is of several measures; its own id is empty then


@dataclass(frozen=True)
class MethodGroup:
    anchor: str
    title: str
    methods: Sequence[MethodView]
    count: str = ""  # "ten measures"


@dataclass(frozen=True)
class Entry:
    """Something folded behind its title and a line: blocks, or sentences as a list."""

    title: str
    line: str
    blocks: Sequence[Block] = ()
    sentences: Sequence[str] = ()


@dataclass(frozen=True)
class EntryGroup:
    anchor: str
    title: str
    entries: Sequence[Entry]


@dataclass(frozen=True, kw_only=True)
class MethodsPage(Page):
    template: ClassVar[str] = "methods.html"
    glossary: Sequence[Fact]
    intervals: Sequence[Fact]
    groups: Sequence[MethodGroup]
    rest: Sequence[EntryGroup]  # comparing, reasons, cautions

    @property
    def contents(self) -> Sequence[Link]:
        own = [(each.anchor, each.title) for each in self.groups] + [(each.anchor, each.title) for each in self.rest]
        return [Link(title, f"#{anchor}") for anchor, title in (*METHODS_FIRST, *own)]


METHODS_FIRST = (("glossary", "Words"), ("intervals", "What an interval says"))


@dataclass(frozen=True)
class ToReview:
    """A build or a cylinder that can be marked: the script makes its list of these."""

    id: str  # anchor that its own page leads to
    name: str  # of a cylinder: its number
    href: str
    state: str = ""
    part: int = 0  # of a build: which of the scripts beside the page has its readings; 0: none
    cylinders: Sequence[ToReview] = ()


@dataclass(frozen=True, kw_only=True)
class ReviewPage(PartsPage):
    """Where results are gone through: what was said so far, and what a reviewer fills in, as data for the script."""

    template: ClassVar[str] = "review.html"
    builds: Sequence[ToReview]
    subjects: Mapping[str, object]  # what the script needs beside them


AnyPage = ReviewPage | ProgramPage | DecisionPage | EnginePage | CylinderPage | CoatingPage | PartsPage | MethodsPage
