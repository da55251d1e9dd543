"""What a stream, and a step that crosses streams, declares to the house; the order of the steps follows from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import TopologicalSorter
from typing import Literal

from sitegen.page.blocks import Block, Cell
from sitegen.page.view import View
from sitegen.program.calibrated import Doubt
from sitegen.program.model import Build, Phase, Program, RecordSource
from sitegen.vocabulary import Book, Field, Measure, Problem, Readings, Result, Value, Verdict

_Words = Sequence[Verdict]


@dataclass(frozen=True)
class Step:
    """One analysis: the unit of order, of parallel work and of blame."""

    name: str
    gives: tuple[Measure, ...]
    run: Callable[[Program, str, Mapping[str, Readings], Book], Iterable[Result]]  # program, engine id or ""
    reads: tuple[str, ...] = ()  # streams
    sees: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # of some of them, the only columns it is shown
    needs: tuple[str, ...] = ()  # measures of other steps
    revision: int = 1  # of its methods: raised by whoever makes the same records give other values or words
    scope: Literal["engine", "program"] = "engine"
    undecided: Mapping[str, str] = field(default_factory=dict)  # rule of its verdicts -> the word that leaves it open
    # words that follow from words, once more where an instrument was off: as read, with its error, and of both together
    follow: Callable[[Program, _Words, _Words, _Words], Iterable[Verdict]] | None = None


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


@dataclass(frozen=True)
class Section:
    """What a stream has to say on one page kind; no blocks: nothing.

    A section in the place "rest" is folded: its first reading is what the fold states. In the place "half" the sentence
    stands beside the first figure or table, and what follows is folded behind a line, `more`.
    """

    anchor: str
    title: str
    order: int
    page: Literal["program", "engine", "cylinder", "coating", "data"]
    build: Callable[[View], Sequence[Block]]
    place: Literal["main", "side", "half", "rest"] = "main"
    more: str = ""  # of a half: what waits behind the fold


@dataclass(frozen=True)
class Unusual:
    """One thing out of the ordinary with a build: a line at the top of its page, linked to where it is shown."""

    text: str  # what is linked: "Cylinder 2 seats over a distance of its own"
    anchor: str  # of the section that shows it
    order: int  # over all streams: what a decision hangs on first
    more: str = ""  # ends the line


@dataclass(frozen=True)
class OfBuild:
    """A column of the table of builds on a program page: the one number of a stream that tells builds apart."""

    title: str
    unit: str
    order: int
    cell: Callable[[View], Cell]  # of one build
    measure: str = ""  # id of what it shows


@dataclass(frozen=True)
class OfCylinder:
    """A fact of a stream beside the history of a cylinder; None: nothing is known."""

    title: str
    order: int
    cell: Callable[[View], Cell | None]  # of one cylinder


@dataclass(frozen=True)
class Smallest:
    """The least a measure can show with one instrument of the program, known before anything is run."""

    measure: str
    what: str  # "leak of a cylinder, one check": completes "the smallest ... it can show"
    value: float  # in the unit of the measure
    because: str  # the instrument and its limit
    of: Literal["level", "difference"] = "level"  # what it is held against: the level itself, or a difference in it
    expected: tuple[float, float] | None = None  # least and most that the program file expects, in the same unit


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
    beside: Mapping[str, str] = field(default_factory=dict)  # by field, what is asked of it: stands at its column
    steps: tuple[str, ...] = ()  # how it is done, a sentence each
    cautions: tuple[str, ...] = ()  # of this engine; they follow those of the stream
    labels: tuple[str, ...] = ()  # ids of the samples drawn: bottles get labels
    needed: tuple[str, ...] = ()  # fields a measure of the program rests on: asked for, column or not


@dataclass(frozen=True)
class Entry:
    """What the schema of a stream says beside its fields; it is what the format knows of it where it is taken out."""

    title: str  # of one entry under `records`
    about: str  # what one entry is
    program_keys: tuple[str, ...] = ()  # of the program file, that are there for this stream alone


def table_entry(title: str, holds: str, *program_keys: str) -> Entry:
    """Of a stream of tables; `holds` is what one of them is, as the beginning of a sentence: "One event log"."""
    return Entry(
        title,
        f"{holds}, and how it is read. With neither columns nor constants the headers are the field names, with the "
        "unit in square brackets.",
        program_keys,
    )


@dataclass(frozen=True)
class Stream:
    """One kind of evidence: one folder exports one of these; the registry lists them."""

    name: str
    title: str
    order: int
    fields: tuple[Field, ...]
    read: Callable[[Program, Sequence[RecordSource]], Readings]  # record sources of this stream
    steps: tuple[Step, ...]
    sections: tuple[Section, ...] = ()
    of_build: tuple[OfBuild, ...] = ()
    of_cylinder: tuple[OfCylinder, ...] = ()
    unusual: Callable[[View], Iterable[Unusual]] | None = None  # of one build
    # of one build: limits stated beforehand that it passed, which are among the unusual too
    failed: Callable[[View], Iterable[Unusual]] | None = None
    recorded: tuple[str, ...] = ()  # measures a planned record of this stream yields for every cylinder
    whole: bool = False  # they belong to the whole engine instead
    of_coatings: bool = True  # pages of coatings show what it records
    cautions: tuple[str, ...] = ()
    smallest: Callable[[Program], Iterable[Smallest]] | None = None  # what its instruments can show at all
    by_repeats: Callable[[Program, Iterable[Value]], Iterable[Smallest]] | None = None  # the same, from values so far
    blank: Callable[[Program, Build, Phase], Blank] | None = None  # empty record; None: from the fields
    # what speaks against its readings in those of other streams, by their columns; they stay in use
    against: Callable[[Program, Mapping[str, Readings]], Iterable[Problem]] | None = None
    again: Callable[[Program, Readings, str], Readings] | None = None  # logs and traces of one build, read once more
    entry: Entry | None = None  # of its schema; every stream of the registry has one
    # rows an instrument read, with their days, and the readings with the error of a doubt in these rows; None: by `by`
    # of the fields
    read_with: Callable[[Program, Readings, str], Sequence[tuple[int, str]]] | None = None
    shadow: Callable[[Program, Readings, Doubt, Sequence[int]], Readings] | None = None
