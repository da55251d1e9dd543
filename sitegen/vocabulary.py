"""The vocabulary every part shares.

Imports nothing of ours and holds no behaviour but order and access. Three shapes travel through the program:
`Readings` (what was recorded), `Value` and `Verdict` (what was concluded) and `Series` (curves for drawing only).
Pages are described in blocks (`Figure`, `Table`, `Plans`, `Images`, `Text`, `Beside`) that templates turn into HTML.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import TopologicalSorter
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    import pandas as pd


# ---- problems -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, order=True)
class Problem:
    """Something the user can mend. Sorted as shown: by file, line, column."""

    file: str  # relative to the programs folder, with forward slashes
    line: int = 0  # 1-based; 0: the whole file
    column: int = 0  # 1-based character; 0: not known, or `column_name` says it
    code: str = ""  # short, stable, kebab-case
    what: str = ""
    expected: str = ""
    nearest: str = ""  # nearest allowed name, where a name was not known
    next_step: str = ""
    column_name: str = ""  # of a table
    level: Literal["error", "warning"] = "error"  # a warning is a reading set aside: it fails only `--strict`


class Refused(Exception):  # noqa: N818 - an answer, not a fault
    """A method cannot answer: becomes a `refused` row with the reason's code, never a number."""

    def __init__(self, code: str, **facts: float | str) -> None:
        super().__init__(code)
        self.code = code
        self.facts = facts


# ---- values ---------------------------------------------------------------------------------------------------


class Key(NamedTuple):
    """What a number is about; "" or 0: does not apply."""

    engine: str = ""
    cylinder: int = 0
    coating: str = ""
    phase: str = ""
    at: str = ""  # inside the phase: "top", "vs:cold-build", "supply:276-kpa"


Status = Literal["ok", "below", "missing", "refused", "excluded"]
Of = Literal["reading", "cylinder", "build", "pull", "sample", "repeat", "check", "inspector", "place", ""]


@dataclass(frozen=True)
class Measure:
    """A quantity the site can show, declared once: methods page, tables and tests are made from it."""

    id: str
    title: str
    unit: str  # as printed; "1" for a pure ratio
    better: Literal["less", "more", ""]
    method: str  # one or two sentences a reader understands
    formula: str
    source: str
    limits: str = ""  # what it does not say
    interval: Literal["confidence", "prediction", "bounds", "laboratory", ""] = "confidence"
    scale: Literal["linear", "log"] = "linear"
    compare: Literal["ratio", "difference", ""] = ""  # how two coatings are set against each other; "": never
    offered: bool = False  # among the comparisons made when the program names none
    shared: str = ""  # measure that gives, at the same key, the half-width of what one instrument does to all readings
    grows: bool = False  # with the distance run: builds that ran very different distances are not compared in it


@dataclass(frozen=True)
class Value:
    """One row of measures.csv, in the unit of its measure; (measure, key) is unique."""

    measure: str
    key: Key
    value: float | None = None
    low: float | None = None  # 95 % interval; None unknown, +-inf unbounded
    high: float | None = None
    se: float | None = None  # independent part of the error
    df: float | None = None  # of `se`; None: known, which a stored row also says above `rounding.MOST_DF`
    se_common: float | None = None  # part shared by all readings of `common`; cancels in differences
    common: str = ""  # "tester:T1", "lab:A" ...
    n: int = 0
    of: Of = ""
    status: Status = "ok"
    flags: frozenset[str] = frozenset()
    reason: str = ""  # a code of `reasons.CATALOGUE`, so wording never moves a diff


@dataclass(frozen=True)
class Verdict:
    """One row of verdicts.csv: a cylinder's state or a criterion's answer."""

    rule: str
    key: Key
    word: str
    deciding: str = ""  # "measure@at" of the row that decided
    error_rate: float | None = None
    adjusted_over: int = 1
    reason: str = ""


@dataclass(frozen=True)
class Comparison:
    """One row of comparisons.csv: a coating against the reference in one measure, phase and place."""

    measure: str
    phase: str
    at: str
    coating: str
    reference: str
    role: Literal["primary", "criterion", "exploratory"]
    scale: Literal["ratio", "difference"]
    design: str = ""  # what the allocation was, in words: decides the procedure
    procedure: str = ""
    scope: str = ""  # "engines-to-come" or "these-engines"; "" where nothing is claimed
    estimate: float | None = None  # candidate over reference, or candidate less reference in the measure's unit
    low: float | None = None  # 95 % interval, adjusted as `adjusted_over` says
    high: float | None = None
    df: float | None = None
    se: float | None = None  # independent part, on the scale worked on (natural log for ratios)
    adjusted_over: int = 1
    p: float | None = None  # adjusted alike; None where no test is honest
    p_randomised: float | None = None  # randomisation test, where the recorded scheme allows one that can speak
    least_p: float | None = None  # the least a randomisation test of this allocation could reach
    level: float | None = None  # mean of the builds with the coating, in the measure's unit (geometric for ratios)
    level_reference: float | None = None
    builds: int = 0
    builds_reference: int = 0
    cylinders: int = 0
    cylinders_reference: int = 0
    icc: float | None = None  # share of the scatter that lies between builds
    icc_low: float | None = None
    icc_high: float | None = None
    effective: float | None = None  # number of independent tests the cylinders are worth
    effective_low: float | None = None
    effective_high: float | None = None
    verdict: Literal["better", "worse", "less", "more", "cannot tell", "refused"] = "cannot tell"
    flags: frozenset[str] = frozenset()
    reason: str = ""


@dataclass(frozen=True)
class Series:
    """A curve for drawing; never stored, never reviewed."""

    id: str
    key: Key
    units: Mapping[str, str]
    frame: pd.DataFrame


def refused(measure: str, key: Key, why: Refused) -> Value:
    """The row that stands where a method could not answer."""
    return Value(measure, key, status="refused", reason=why.code)


COMPARED = "comparison:"  # + measure: what a change of a comparison is of


@dataclass(frozen=True)
class Change:
    """One row that differs from the last commit: of a measure, a comparison, or a verdict's rule."""

    what: str  # id of the measure, or the rule
    key: Key
    before: str  # value or word as stored; "" where there was no row or no value
    after: str
    verdict: bool = False


# ---- readings and streams -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Field:
    """One thing a record of a stream may say, and how its text is understood.

    A "bounded" field is a number that may stand as a bound: "<1" is below 1, "ND" not detected, "-" not measured. Its
    column holds the number (of "<1" the 1), and a column `<name>_mark` "<", "ND", "-" or "".
    """

    name: str
    title: str
    kind: Literal["id", "integer", "number", "bounded", "word", "yes-no", "date", "text"]
    unit: str = ""  # SI unit of the numbers read; "" for kinds without
    dimension: str = ""  # key of `units.DIMENSIONS`, e.g. "gauge pressure"
    words: tuple[str, ...] = ()  # allowed words of a "word" field
    refers: Literal["", "engine", "phase", "cylinder", "tester", "reference", "tool", "meter", "laboratory"] = ""  # id
    required: bool = False
    low: float | None = None  # readings outside [low, high] are set aside
    high: float | None = None
    help: str = ""
    beforehand: bool = False  # may be filled in before anything was read: a row with no more is not yet taken

    @property
    def told_beforehand(self) -> bool:
        """True of what says which reading it is to be, by whom, when and with what: not what was found."""
        return self.beforehand or bool(self.refers) or self.kind == "date" or self.name == "reading"


@dataclass(frozen=True)
class Readings:
    """What was recorded, one row a reading, in SI.

    Columns: reading (id), file, row (line in the file), use ("" or the reason's code), then the stream's fields.
    """

    frame: pd.DataFrame
    problems: Sequence[Problem] = ()
    files: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)  # file -> encoding, rows, used, not_taken ...
    logs: Mapping[tuple[str, str], Any] = field(default_factory=dict)  # (engine, phase) -> logs.Log, of run logs
    traces: Mapping[str, Any] = field(default_factory=dict)  # reading -> traces.Trace, of surfaces
    inputs: Mapping[str, str] = field(default_factory=dict)  # further file, named inside a record -> sha256


class Book:
    """Values by measure and key. Append-only; a step sees only what it said it needs."""

    def __init__(self, rows: Mapping[tuple[str, Key], Value], needs: Iterable[str]) -> None:
        self._rows = rows
        self._needs = frozenset(needs)

    def _declared(self, measure: str) -> None:
        if measure not in self._needs:
            raise LookupError(f"{measure} is read but not declared in needs")

    def knows(self, measure: str) -> bool:
        """Whether this step may see a measure: a step that needs every measure there is cannot see any other."""
        return measure in self._needs

    def get(self, measure: str, key: Key) -> Value | None:
        self._declared(measure)
        return self._rows.get((measure, key))

    def of(self, measure: str) -> Iterator[Value]:
        """All values of one measure that this step may see, in the order they were given."""
        self._declared(measure)
        return (value for (name, _), value in self._rows.items() if name == measure)


class ReadingsBook(Mapping[str, Readings]):
    """The readings of the streams a step named; any other raises."""

    def __init__(self, readings: Mapping[str, Readings], reads: Iterable[str]) -> None:
        self._readings = readings
        self._reads = tuple(reads)

    def __getitem__(self, stream: str) -> Readings:
        if stream not in self._reads:
            raise LookupError(f"stream {stream} is read but not declared in reads")
        return self._readings[stream]

    def __iter__(self) -> Iterator[str]:
        return iter(self._reads)

    def __len__(self) -> int:
        return len(self._reads)


Result = Value | Verdict | Series | Comparison


@dataclass(frozen=True)
class Step:
    """One analysis: the unit of order, of parallel work and of blame."""

    name: str
    gives: tuple[Measure, ...]
    run: Callable[[Any, str, Mapping[str, Readings], Book], Iterable[Result]]  # program, engine id or ""
    reads: tuple[str, ...] = ()  # streams
    needs: tuple[str, ...] = ()  # measures of other steps
    scope: Literal["engine", "program"] = "engine"


def in_order(steps: Sequence[Step]) -> list[Step]:
    """Steps so that each comes after those whose measures it needs; the same order under any hash seed."""
    owner: dict[str, str] = {}
    for step in steps:
        for measure in step.gives:
            if measure.id in owner:
                raise ValueError(f"measure {measure.id} is given by {owner[measure.id]} and by {step.name}")
            owner[measure.id] = step.name
    graph: dict[str, list[str]] = {}
    for step in sorted(steps, key=lambda each: each.name):
        unknown = [need for need in step.needs if need not in owner]
        if unknown:
            raise ValueError(f"step {step.name} needs {', '.join(unknown)}, which no step gives")
        graph[step.name] = sorted({owner[need] for need in step.needs})
    named = {step.name: step for step in steps}
    return [named[name] for name in TopologicalSorter(graph).static_order()]


# ---- what a page is made of -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Strip:
    """An interval drawn in a table's cell about an upright line of no difference; places from -1 to 1, 0 the line."""

    low: float
    mark: float | None
    high: float
    hollow: bool  # not yet to be relied on
    coating: str
    label: str  # what a screen reader is told


@dataclass(frozen=True)
class Cell:
    """One cell of a table, or a piece of a sentence. Plain text: templates escape it."""

    text: str
    href: str = ""
    word: bool = False  # a word of state: drawn with its mark
    note: str = ""  # small second line
    coating: str = ""  # draws the coating's key before the text
    strip: Strip | None = None  # drawn in place of the text


@dataclass(frozen=True)
class Column:
    title: str
    unit: str = ""
    numeric: bool = False
    measure: str = ""  # id of what it shows: its heading leads to the methods page


@dataclass(frozen=True)
class Row:
    cells: Sequence[Cell]
    here: bool = False  # highlighted: left out, or the subject of the page
    anchor: str = ""


@dataclass(frozen=True)
class Table:
    """A table; saved as CSV under `name`."""

    name: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    reading: str = ""  # computed sentence above it
    caption: str = ""
    note: str = ""
    wide: bool = False  # scrolls sideways on a narrow screen
    stack: bool = False  # there its rows become blocks instead, each cell led by its column
    measure: str = ""  # id of what all its numbers are: its note leads to the methods page


@dataclass(frozen=True)
class Panel:
    """One chart of a figure: data rows by name and signal values for one chart kind."""

    title: str
    data: Mapping[str, Sequence[Mapping[str, Any]]]
    signals: Mapping[str, Any] = field(default_factory=dict)
    coating: str = ""
    note: str = ""
    label: str = ""  # what a screen reader is told


@dataclass(frozen=True)
class Figure:
    """Panels of one chart kind under one computed sentence, above a fold with their data."""

    name: str  # file name of what is saved
    kind: str  # key of `pages.charts.KINDS`
    panels: Sequence[Panel]
    reading: str = ""
    caption: str = ""
    table: Table | None = None
    measure: str = ""  # id of what it shows: its caption leads to the methods page
    one_scale: bool = True  # its panels share the ends of the value axis


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

    plans: Sequence[Plan]
    reading: str = ""
    caption: str = ""
    small: bool = False


@dataclass(frozen=True)
class Text:
    """A paragraph of cells (plain text with links and words)."""

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

    name: str
    images: Sequence[Image]
    reading: str = ""
    caption: str = ""


@dataclass(frozen=True)
class Beside:
    """What belongs to one subject, side by side: picture, drawing, numbers. Wraps where there is no room."""

    name: str
    title: str
    blocks: Sequence[Figure | Table | Images]


Block = Figure | Table | Plans | Text | Images | Beside


@dataclass(frozen=True)
class Section:
    """What a stream has to say on one page kind; no blocks: nothing."""

    anchor: str
    title: str
    order: int
    page: Literal["program", "engine", "cylinder", "coating"]
    build: Callable[[Any], Sequence[Block]]  # Any: pages.view.View of one subject
    place: Literal["main", "side"] = "main"


@dataclass(frozen=True)
class Smallest:
    """The least a measure can show with one instrument of the program, known before anything is run."""

    measure: str
    what: str  # "leak of a cylinder, one check": completes "the smallest ... it can show"
    value: float  # in the unit of the measure
    because: str  # the instrument and its limit
    of: Literal["level", "difference"] = "level"  # what it is held against: the level itself, or a difference in it


@dataclass(frozen=True)
class PaperTable:
    """One table of a field sheet, filled in by hand."""

    title: str
    known: tuple[str, ...]  # fields printed at the head of each row
    asked: tuple[str, ...]  # fields written in, in the order of the work
    rows: Sequence[Mapping[str, str]]  # what is known of each row, by field
    ticks: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # words to tick, where not all of a field's few


@dataclass(frozen=True)
class Blank:
    """An empty record of one build in one phase: what is known of it before anybody fills it in."""

    rows: Sequence[Mapping[str, str]]  # of the table: text known beforehand, by field
    once: tuple[str, ...] = ()  # fields that are the same in every row: on paper written once
    tables: tuple[PaperTable, ...] = ()  # on paper; none: one table that asks for every field
    units: Mapping[str, str] = field(default_factory=dict)  # by field, where no table of the program says one
    steps: tuple[str, ...] = ()  # how it is done, a sentence each
    labels: tuple[str, ...] = ()  # ids of the samples drawn: bottles get labels


@dataclass(frozen=True)
class Stream:
    """One kind of evidence: one folder exports one of these; the registry lists them."""

    name: str
    title: str
    order: int
    fields: tuple[Field, ...]
    read: Callable[[Any, Sequence[Any]], Readings]  # program, record sources of this stream
    steps: tuple[Step, ...]
    sections: tuple[Section, ...] = ()
    recorded: tuple[str, ...] = ()  # measures a planned record of this stream yields for every cylinder
    whole: bool = False  # they belong to the whole engine instead
    cautions: tuple[str, ...] = ()
    smallest: Callable[[Any], Iterable[Smallest]] | None = None  # program -> what its instruments can show at all
    by_repeats: Callable[[Any, Iterable[Value]], Iterable[Smallest]] | None = None  # program, values so far -> the same
    blank: Callable[[Any, Any, Any], Blank] | None = (
        None  # program, build, phase -> empty record; None: from the fields
    )
