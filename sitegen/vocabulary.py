"""The vocabulary every part shares.

Imports nothing of ours and holds no behaviour but order and access. Three shapes travel through the program:
`Readings` (what was recorded), `Value` and `Verdict` (what was concluded) and `Series` (curves for drawing only).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Self, TypeVar

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
OnlyAt = Literal[
    "", "ring", "assembly", "source of metal", "element", "inspected place", "trace", "reference point", "path",
]  # fmt: skip
Of = Literal[
    "reading", "cylinder", "build", "pull", "sample", "repeat", "check", "inspector", "place", "day", "specimen",
    "coating", "",
]  # fmt: skip


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
    fit: str = ""  # name of the fit it comes from: measures of one fit are one finding, not several
    only_at: OnlyAt = ""  # it has values at such places only, never of a whole phase
    occasion: str = ""  # measure that gives, at the same key, the half-width of what an occasion does to an engine
    operators: str = ""  # measure that says, by phase, what operators who cannot be told from builds may do to it
    odd: Literal["less", "more", ""] = ""  # sense in which a cylinder lies that has not run in; "": shows no such thing
    grows: bool = False  # with the distance run: builds that ran very different distances are not compared in it
    to_the_end: bool = False  # one figure a build over its hours: a build that ended early is compared by it too
    of_program: bool = False  # it rests on the other builds of its program: no history over programs
    of_coating: bool = False  # that there is a value tells which coating it is of: not for blinded reviewers
    digits: int = 0  # significant ones kept of a value without an interval; 0: as many as of any (`rounding.OF_VALUE`)
    of_primary: bool = False  # of the primary comparison: where that is a difference, in the unit of its measure


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
    limit: float | None = None  # what was asked of `found`, in the unit of the deciding measure
    found: float | None = None
    low: float | None = None  # the interval the word was decided on, as stored; it may be wider than that of the value
    high: float | None = None
    route: str = ""  # code: how the word follows from these numbers (tests/results/test_words.py decides by it)
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


class Lazy:
    """A record some of whose parts are made when somebody first asks for one: most of what is kept nobody looks at."""

    @classmethod
    def later(cls, make: Mapping[str, Callable[[], object]], **known: object) -> Self:
        """A record with what is known of it, and how each other part is made."""
        made = cls.__new__(cls)
        vars(made).update(known, _make=make)
        return made

    def but(self, **known: object) -> Self:
        """The same with other parts, of which none is made for that, as `dataclasses.replace` would."""
        other = copy(self)
        vars(other).update(known)
        return other

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            make = vars(self).get("_make", {})
            if name not in make:
                raise AttributeError(name)
            return vars(self).setdefault(name, make[name]())


Name = TypeVar("Name")
Thing = TypeVar("Thing")


class Later(Mapping[Name, Thing]):
    """Logs, traces or plans by their key, made when somebody first asks for one."""

    def __init__(self, keys: Iterable[Name], load: Callable[[Name], Thing]) -> None:
        self._keys = dict.fromkeys(keys)
        self._load = load

    def __getitem__(self, key: Name) -> Thing:
        if key not in self._keys:
            raise KeyError(key)
        return self._load(key)

    def __contains__(self, key: object) -> bool:
        return key in self._keys

    def __iter__(self) -> Iterator[Name]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)

    def some(self, keys: Iterable[Name]) -> Later[Name, Thing]:
        """Those of some keys."""
        return Later(keys, self._load)


def some(of: Mapping[Any, object], keys: Iterable[Any]) -> Mapping[Any, object]:
    """Those of some keys, not yet read where the others are not."""
    return of.some(keys) if isinstance(of, Later) else {key: of[key] for key in keys}


@dataclass(frozen=True)
class Series(Lazy):
    """A curve for drawing; never stored, never reviewed."""

    id: str
    key: Key
    units: Mapping[str, str]
    frame: pd.DataFrame


def refused(measure: str, key: Key, why: Refused) -> Value:
    """The row that stands where a method could not answer."""
    return Value(measure, key, status="refused", reason=why.code)


def numbers(values: Iterable[Value]) -> list[float]:
    """Numbers of the values that have one, in their order."""
    return [value.value for value in values if value.value is not None]


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
    refers: Literal[
        "", "engine", "phase", "cylinder", "coating", "oil", "tester", "reference", "tool", "meter", "laboratory"
    ] = ""  # whose id it is
    required: bool = False
    low: float | None = None  # readings outside [low, high] are set aside
    high: float | None = None
    help: str = ""
    beforehand: bool = False  # may be filled in before anything was read: a row with no more is not yet taken
    example: str = ""  # text of one; "" one follows from the kind, the words and the limits
    family: str = ""  # fields of one family share their words
    by: str = ""  # field of the record that names the instrument it was read with
    gauge: Literal["", "supply", "cylinder"] = ""  # of a tester: which of its two
    ahead: bool = False  # a date still to come, not the day of a record

    @property
    def wordy(self) -> bool:
        """True where words of one's own may stand for what the field says."""
        return self.kind in {"word", "yes-no", "text"} or bool(self.refers)

    @property
    def shared_words(self) -> str:
        """The name under which words may be given for this field and all like it; "" where it shares none."""
        if self.kind in {"number", "bounded"}:
            return "mark"
        return self.family or ("yes_no" if self.kind == "yes-no" else "tool" if self.refers == "tool" else "")

    @property
    def told_beforehand(self) -> bool:
        """True of what says which reading it is to be, by whom, when and with what: not what was found."""
        return self.beforehand or bool(self.refers) or self.kind == "date" or self.name == "reading"


@dataclass(frozen=True)
class Readings(Lazy):
    """What was recorded, one row a reading, in SI.

    Columns: reading (id), file, row (line in the file), use ("" or the reason's code), then the stream's fields.
    """

    frame: pd.DataFrame
    problems: Sequence[Problem] = ()
    files: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)  # file -> encoding, rows, used, not_taken ...
    logs: Mapping[tuple[str, str], object] = field(default_factory=dict)  # (engine, phase) -> logs.Log, of run logs
    traces: Mapping[str, object] = field(default_factory=dict)  # reading -> traces.Trace, of surfaces
    inputs: Mapping[str, str] = field(default_factory=dict)  # further file, named inside a record -> sha256
    rows: Callable[[type], Sequence[Any]] | None = None  # the frame's, where those of the whole table are: `rows_in`
    columns: Mapping[str, Sequence[Any]] | None = None  # the frame's, where it is made of them later: `cells`

    @property
    def names(self) -> Sequence[str]:
        """Of the columns."""
        return list(self.frame.columns if self.columns is None else self.columns)

    def cells(self, name: str) -> Sequence[Any]:
        """One column of the frame, which need not be made for that; nothing where there is none of that name."""
        if self.columns is not None:
            return self.columns.get(name, ())
        return self.frame[name].tolist() if name in self.frame else ()

    @property
    def tally(self) -> dict[str, dict[str, int]]:
        """Rows read, used, set aside and not taken of each file; those of its worksheets added up."""
        found: dict[str, dict[str, int]] = {}
        for name, facts in self.files.items():
            own = found.setdefault(str(facts.get("file", name)), dict.fromkeys(TALLIED, 0))
            for what in TALLIED:
                own[what] += int(facts.get(what, 0))
        return found


TALLIED = ("rows", "used", "set_aside", "not_taken")


class Book:
    """Values by measure and key. Append-only; a step sees only what it said it needs."""

    def __init__(self, rows: Mapping[tuple[str, Key], Value], needs: Iterable[str]) -> None:
        self._rows = rows
        self._needs = frozenset(needs)
        self._by_measure: dict[str, list[Value]] | None = None  # of those it needs, once it asks for all of one

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
        if self._by_measure is None:
            self._by_measure = {name: [] for name in self._needs}
            for (name, _), value in self._rows.items():
                if name in self._by_measure:
                    self._by_measure[name].append(value)
        return iter(self._by_measure[measure])


class ReadingsBook(Mapping[str, Readings]):
    """The readings of the streams a step named; any other raises. Of some it is shown but some columns."""

    def __init__(
        self, readings: Mapping[str, Readings], reads: Iterable[str], sees: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        self._readings = readings
        self._reads = tuple(reads)
        self._sees = sees or {}

    def __getitem__(self, stream: str) -> Readings:
        if stream not in self._reads:
            raise LookupError(f"stream {stream} is read but not declared in reads")
        found = self._readings[stream]
        return Readings(found.frame[[*self._sees[stream]]]) if stream in self._sees else found

    def __iter__(self) -> Iterator[str]:
        return iter(self._reads)

    def __len__(self) -> int:
        return len(self._reads)


Result = Value | Verdict | Series | Comparison
