"""From a checked program to its results: reads the streams, runs the steps in order, fills in what is missing.

Missing, refused and excluded rows and the rounding are made here, once, for every stream.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cache, partial
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Protocol

from sitegen.copies import shared
from sitegen.declarations import Step, Stream, in_order
from sitegen.logs.join import Log
from sitegen.program import described
from sitegen.program import seen as seen_as
from sitegen.program.doubted import Doubted
from sitegen.program.model import Effect, Program, Restated, Reviewed, Standing, Where
from sitegen.reasons import RESTORABLE
from sitegen.regular import hash_or_none, hashes_of, opened, unchanged, unmoved
from sitegen.results import keeping
from sitegen.results.keeping import Kept, Read
from sitegen.results.shadows import Shadow, comparisons_between, shadows, told, values_between, verdicts_between
from sitegen.rounding import stored
from sitegen.shelves import NONE, Shelves, digest, key_of
from sitegen.tables.ids import unknown_objections
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import (
    Book,
    Change,
    Comparison,
    Key,
    Later,
    Lazy,
    Problem,
    Readings,
    ReadingsBook,
    Result,
    Series,
    Value,
    Verdict,
    some,
)

if TYPE_CHECKING:
    import pandas as pd

Rows = Mapping[tuple[str, Key], Value]
Given = Mapping[str, Mapping[str, str]]  # measure -> build -> hash of its values


class Share(NamedTuple):
    """Steps of one build that somebody else may run, with all they rest on but what was recorded."""

    engine: str
    steps: Sequence[str]  # in order
    given: Given  # of what they need
    known: Sequence[Value]


class Helpers(Protocol):
    """Others who work: what they did lies on the shelves when a call returns. What does not is worked out here."""

    def read(self, wanted: Sequence[tuple[Program, Stream]]) -> None: ...
    def run(self, program: Program, stand: str, shares: Sequence[Share]) -> None: ...


@dataclass(frozen=True)
class Evidence:
    """What was recorded for one program, and what is wrong with it."""

    program: Program
    readings: Mapping[str, Readings]
    problems: tuple[Problem, ...]
    inputs: Mapping[str, str]  # file, relative to the programs folder -> sha256
    days: tuple[str, ...] = ()  # ISO date of each dated record that is used, in order
    digests: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # stream -> build -> hash of its readings

    @property
    def as_of(self) -> str:
        """ISO date of the newest record: as of when the results speak; "" where none is dated."""
        return self.days[-1] if self.days else ""

    @property
    def blocked(self) -> bool:
        """True where a table cannot be trusted, so that nothing may be written."""
        return any(problem.level == "error" for problem in self.problems)


@dataclass(frozen=True)
class Analysis(Lazy):
    """Everything the pages and the result files are made from."""

    program: Program
    readings: Mapping[str, Readings]
    values: Rows  # rounded
    verdicts: tuple[Verdict, ...]
    comparisons: tuple[Comparison, ...]  # the primary first; rounded
    series: tuple[Series, ...]
    doubted: tuple[Doubted, ...]  # instruments found off, and what that does to the results
    problems: tuple[Problem, ...]
    inputs: Mapping[str, str]
    days: tuple[str, ...] = ()  # ISO date of each dated record that is used, in order
    digests: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # stream -> build -> hash of its readings
    files: Mapping[str, bytes] = field(default_factory=dict)  # the results as stored, once they are made
    results_id: str = ""  # short hash of these files, shown in every footer
    stand: str = ""  # hash of all the results follow from; "": nobody reckoned it
    looks: int | None = 1  # at the primary comparison, by the commits, before all builds are in; None: not known
    changes: tuple[Change, ...] | None = None  # against the last commit of the results; None: nothing to compare with
    written: str = ""  # where these are some: that another version wrote what git holds, and what it changed, a clause
    taken: tuple[Standing, ...] = ()  # decisions, and what moved since they were taken
    reviewed: tuple[Reviewed, ...] = ()  # reviews, and what moved since
    effects: tuple[Effect, ...] = ()  # of what they object to
    restated: tuple[Restated, ...] | None = None  # set beforehand and changed late; None: no history is known

    @property
    def as_of(self) -> str:
        """ISO date of the newest record; "" where none is dated."""
        return self.days[-1] if self.days else ""


# ---- reading ----------------------------------------------------------------------------------------------------


def unread(program: Program, streams: Sequence[Stream], shelves: Shelves) -> list[Stream]:
    """Streams whose readings of the program do not lie on the shelves."""
    seen, _ = seen_as.by_readers(program)
    base = _base(seen)
    return [stream for stream in streams if _kept(seen, stream, base, shelves) is None]


def read_one(program: Program, stream: Stream, shelves: Shelves) -> None:
    """Put what a stream reads on the shelves."""
    seen, _ = seen_as.by_readers(program)
    base = _base(seen)
    if _kept(seen, stream, base, shelves) is None:
        _read(seen, stream, base, shelves)


def gather(program: Program, streams: Sequence[Stream], shelves: Shelves = NONE) -> Evidence:
    """Read every record of the program; see `gather_each`."""
    return gather_each([program], streams, shelves)[0]


class _Wanted(NamedTuple):
    """What a stream has to read."""

    program: Program  # as readers see it
    stream: Stream
    base: Sequence[object]


def gather_each(
    programs: Sequence[Program], streams: Sequence[Stream], shelves: Shelves = NONE, processes: int = 1
) -> list[Evidence]:
    """Read every record of some programs. Problems are returned, never raised.

    Of a kind of record that the format describes and none of the streams reads there are no readings.
    """
    inputs = [input_hashes(each) for each in programs]  # first: what changes while it is read has another in the end
    seen = [seen_as.by_readers(each) for each in programs]
    bases = [_base(own) if shelves.open else () for own, _ in seen]
    wanted = [_Wanted(own, stream, base) for (own, _), base in zip(seen, bases, strict=True) for stream in streams]
    read = iter(_read_each(wanted, shelves, processes))
    return [
        _gathered(program, streams, [next(read) for _ in streams], own, places)
        for program, own, (_, places) in zip(programs, inputs, seen, strict=True)
    ]  # fmt: skip


def _gathered(
    program: Program, streams: Sequence[Stream], read: Sequence[Read], inputs: dict[str, str], places: Sequence[Where]
) -> Evidence:
    absent = described.absent([stream.name for stream in streams])
    readings = {name: _none(kind.fields) for name, kind in absent.items()}
    problems: list[Problem] = [*program.passed_over]
    days: list[str] = []
    for stream, own in zip(streams, read, strict=True):
        readings[stream.name] = own.readings
        problems.extend(seen_as.placed(each, places) for each in own.readings.problems)
        days += own.days
    problems.extend(unknown_objections(program, readings))
    for stream in streams:
        if stream.against is not None:
            problems.extend(stream.against(program, readings))
    for each in readings.values():
        inputs |= each.inputs
    digests = {stream.name: own.digests for stream, own in zip(streams, read, strict=True)}
    return Evidence(
        program, readings, tuple(sorted(problems)), dict(sorted(inputs.items())), tuple(sorted(days)), digests
    )


def _read_each(wanted: Sequence[_Wanted], shelves: Shelves, processes: int) -> list[Read]:
    """What streams read; as kept where all the files they opened are what they were."""
    found = [_kept(*each, shelves) for each in wanted]
    missing = [place for place, kept in enumerate(found) if kept is None]
    if processes > 1:
        missing.sort(key=lambda place: -size_of(*wanted[place][:2]))
    made = shared(lambda place: _read(*wanted[place], shelves), missing, processes)
    anew = dict(zip(missing, made, strict=True))
    return [kept if kept is not None else anew[place] for place, kept in enumerate(found)]


def _read(program: Program, stream: Stream, base: Sequence[object], shelves: Shelves) -> Read:
    """What a stream reads, put on the shelves."""
    sources = [source for source in program.records if source.stream == stream.name]
    if not shelves.open:
        readings = stream.read(program, sources)
        return Read(readings, {}, {}, tuple(_days(stream, readings)))
    with opened() as files:
        readings = stream.read(program, sources)
    root = Path(program.folder).parent
    read = Read(readings, hashes_of(files, root), _digests(readings), tuple(_days(stream, readings)))
    if all(unmoved(path, state) for path, state in files.items()):
        shelves.put(_key(stream, base), read, keeping.pack_read)
    return read


def size_of(program: Program, stream: Stream) -> int:
    """Bytes of the files of a stream, as far as the program names them; traces count by their number."""
    logs = stream.name == "runlog"
    sources = program.logs if logs else [each for each in program.records if each.stream == stream.name]
    root = Path(program.folder)
    found = 0
    for source in sources:
        with suppress(OSError):
            found += (root / source.file).stat().st_size * (100 if stream.again and stream.fields else 1)
    return found


def _base(seen: Program) -> tuple[object, ...]:
    return digest(seen), keeping.names_in(Path(seen.folder))


def _key(stream: Stream, base: Sequence[object]) -> str:
    return key_of("read", stream.name, *base)


def _kept(program: Program, stream: Stream, base: Sequence[object], shelves: Shelves) -> Read | None:
    """Readings as kept, where all the files they were read from are what they were."""
    if not shelves.open:
        return None
    again = partial(stream.again or _nothing, program)
    kept = shelves.find(_key(stream, base), lambda content: keeping.unpack_read(content, again))
    root = Path(program.folder).parent
    return kept if kept is not None and unchanged(kept.opened, root) else None


def _nothing(program: Program, readings: Readings, engine: str) -> Readings:
    del readings
    raise LookupError(f"{program.id}, {engine}: the stream says not how its logs or traces are read again")


def _digests(readings: Readings) -> dict[str, str]:
    """Hash of what each build recorded; under "" of all."""
    places: dict[str, list[int]] = {}
    for place, engine in enumerate(readings.frame["engine"].tolist()):
        if isinstance(engine, str):  # nan where it is missing
            places.setdefault(engine, []).append(place)
    found = {}
    for engine, own in places.items():
        found[engine] = _digest(_part(readings, own, engine))
    return {**found, "": digest((readings.frame, found))}


def _digest(part: Readings) -> str:
    return digest((part.frame, list(part.logs.items()), list(part.traces.items())))


def _days(stream: Stream, readings: Readings) -> list[str]:
    """The day of each record that is used. No clock is asked, so the results stay what they are."""
    days = [log.start[:10] for log in readings.logs.values() if isinstance(log, Log) and log.start]
    for each in stream.fields:
        if each.kind == "date" and not each.ahead and each.name in readings.frame:
            days += readings.frame.loc[readings.frame["use"] == "", each.name].dropna().astype(str).tolist()
    return days


def _none(fields: Iterable[str]) -> Readings:
    import pandas as pd

    names = dict.fromkeys(["reading", "file", "row", "use", "engine", "phase", *fields])
    return Readings(pd.DataFrame(columns=list(names), dtype=object))


def lent_file(program: str) -> str:
    """The file another program's scatter is taken from, relative to the programs folder."""
    return f"{program}/results/measures.csv"


def input_hashes(program: Program, also: Iterable[str] = ()) -> dict[str, str]:
    """sha256 of every file the results rest on, by path relative to the programs folder; "" where it cannot be read.

    `also` are files that records name in their rows, such as traces; which these are the records say, not the program.
    """
    folder = Path(program.folder)
    files = {f"{folder.name}/{source.file}" for source in program.records}
    files |= {f"{folder.name}/{source.file}" for source in program.logs}
    files |= {"definitions.yaml", f"{folder.name}/program.yaml"}
    files |= {lent_file(lender) for lender in program.scatter_from}
    files |= set(also)
    return {name: hash_or_none(folder.parent / name, folder.parent) for name in sorted(files)}


# ---- running ----------------------------------------------------------------------------------------------------


def analyse(
    evidence: Evidence,
    streams: Sequence[Stream],
    steps: Sequence[Step],
    helpers: Helpers | None = None,
    shelves: Shelves = NONE,
    processes: int = 1,
) -> Analysis:
    """Run the steps on what was recorded.

    Steps of scope "engine" run once a build, and helpers or processes share the builds; the result does not depend on
    it.
    """
    seen, ordered = seen_as.by_steps(evidence.program), in_order(steps)
    doubts = shadows(evidence.program, streams, evidence.readings)
    ground = _Ground(seen, evidence.digests, shelves, helpers, processes=processes, again=bool(doubts))
    found = _run(ground, evidence.readings, ordered)
    missing = _missing(seen, streams, found.values)
    left_out = _with_what_was_left_out(seen, evidence, streams, ordered, shelves)
    found.values |= left_out
    wider, doubted = found, []
    for each in doubts:
        other = _run(_Beside(ground, each), each.readings, ordered)
        beside = replace(evidence, readings=each.readings, digests=each.digests(evidence.digests))
        moved = [
            one for one in streams if any({*step.reads} & {*each.builds} for step in _leading_to(ordered, one.recorded))
        ]
        other.values |= {**left_out, **_with_what_was_left_out(seen, beside, moved, ordered, shelves)}
        wider = _between(seen, wider, other, ordered)
        doubted.append(_told(each, found, _between(seen, found, other, ordered)))
    values = {**wider.values, **missing}
    return Analysis(
        program=evidence.program,
        readings=evidence.readings,
        values=dict(sorted(values.items(), key=lambda item: item[0])),
        verdicts=tuple(sorted(wider.verdicts, key=lambda verdict: (verdict.rule, verdict.key))),
        comparisons=tuple(wider.comparisons),
        series=tuple(found.series),
        problems=evidence.problems,
        inputs=evidence.inputs,
        days=evidence.days,
        digests=evidence.digests,
        doubted=tuple(doubted),
    )


CONCLUDED = ("values", "verdicts", "comparisons", "series", "doubted")  # what an analysis holds of results


def stand_of(evidence: Evidence) -> str:
    """Hash of all that the results of a program follow from, but what lies there of earlier ones."""
    told = [(name, each.files, each.inputs) for name, each in evidence.readings.items()]
    return digest((seen_as.by_steps(evidence.program), evidence.digests, evidence.inputs, evidence.days, told))


@dataclass
class _Found:
    """What the steps gave."""

    values: dict[tuple[str, Key], Value]
    verdicts: list[Verdict]
    comparisons: list[Comparison]
    series: list[Series]


def _between(program: Program, own: _Found, other: _Found, steps: Sequence[Step]) -> _Found:
    """Results that reach as far as those with a doubt in them."""
    return _Found(
        values_between(own.values, other.values),
        verdicts_between(program, own.verdicts, other.verdicts, steps),
        comparisons_between(own.comparisons, other.comparisons),
        own.series,
    )


def _told(shadow: Shadow, own: _Found, wider: _Found) -> Doubted:
    return told(
        shadow, (own.values, wider.values), (own.comparisons, wider.comparisons), (own.verdicts, wider.verdicts)
    )


class _Ground:
    """What a run of the steps stands on: the program as steps see it, hashes of what was recorded and given so far."""

    def __init__(
        self,
        program: Program,
        digests: Mapping[str, Mapping[str, str]],
        shelves: Shelves,
        helpers: Helpers | None = None,
        given: Given | None = None,
        *,
        processes: int = 1,
        again: bool = False,
    ) -> None:
        self.settled: dict[tuple[str, str], Kept] | None = {} if again else None  # by step and build, to be run beside
        self.program = program
        self.shelves = shelves
        self.helpers = helpers
        self.processes = processes
        self.recorded = digests
        self._program = digest(program) if shelves.open else ""
        self._given = {measure: dict(hashes) for measure, hashes in (given or {}).items()}

    def settle(self, step: Step, engine: str, readings: Mapping[str, Readings], known: Rows) -> Kept:
        """What a step gives; as kept where all it sees is what it was."""
        kept = self._settled(step, engine, readings, known)
        self.learn(step, engine, kept)
        return kept

    def _settled(self, step: Step, engine: str, readings: Mapping[str, Readings], known: Rows) -> Kept:
        if not self.shelves.open:
            return Kept(_run_step(self.program, engine, step, readings, known), {})
        key = self._key(step, engine, readings)
        kept = self.shelves.find(key, keeping.unpack_results)
        if kept is None:
            results = _run_step(self.program, engine, step, readings, known)
            kept, pack = keeping.pack_results(results)
            self.shelves.put(key, kept, lambda _: pack())
        return kept

    def _key(self, step: Step, engine: str, readings: Mapping[str, Readings]) -> str:
        builds = (engine, "") if engine else None
        return key_of(
            "step", step.name, step.revision, self._program, engine,
            [
                [readings[stream].cells(name) for name in step.sees[stream]]
                if stream in step.sees else self.recorded.get(stream, {}).get(engine, "")
                for stream in step.reads
            ],
            [_some(self._given.get(measure, {}), builds) for measure in step.needs],
        )  # fmt: skip

    def learn(self, step: Step, engine: str, kept: Kept) -> None:
        """What a step gave."""
        if self.settled is not None:
            self.settled[step.name, engine] = kept
        for measure, hashes in kept.given.items():
            self._given.setdefault(measure, {}).update(hashes)

    def hand_out(
        self, steps: Sequence[Step], recorded: Mapping[str, Mapping[str, Readings]], known: Mapping[str, Rows]
    ) -> None:
        """Have helpers run steps of the builds whose results are not kept, those with most to look at first."""
        if self.helpers is None or not self.shelves.open:
            return
        needs = {need for step in steps for need in step.needs}
        waiting = [engine for engine in known if self.kept(steps, engine, recorded[engine]) is None]
        shares = [
            Share(
                engine, [step.name for step in steps],
                {need: _some(self._given[need], (engine, "")) for need in sorted(needs & {*self._given})},
                [value for value in known[engine].values() if value.measure in needs],
            )
            for engine in _heaviest_first(waiting, recorded)
        ]  # fmt: skip
        if len(shares) > 1:
            self.helpers.run(self.program, digest(self.recorded), shares)

    def kept(self, steps: Sequence[Step], engine: str, readings: Mapping[str, Readings]) -> list[Kept] | None:
        """What steps give of a build, where all of it is kept."""
        found = []
        for step in steps if self.shelves.open else ():
            kept = self.shelves.find(self._key(step, engine, readings), keeping.unpack_results)
            if kept is None:
                return None
            self.learn(step, engine, kept)
            found.append(kept)
        return found or None


class _Beside(_Ground):
    """What a run stands on that has a doubt in its readings: steps that see nothing of it give what they gave."""

    def __init__(self, ground: _Ground, shadow: Shadow) -> None:
        super().__init__(ground.program, shadow.digests(ground.recorded), ground.shelves)
        self._own = ground.settled or {}
        self._shadow = shadow
        self._moved: dict[str, set[str]] = {}  # measure -> builds whose values are not what they were

    def settle(self, step: Step, engine: str, readings: Mapping[str, Readings], known: Rows) -> Kept:
        own = self._own[step.name, engine]
        if not self._sees(step, engine):
            self.learn(step, engine, own)
            return own
        kept = super().settle(step, engine, readings, known)
        before, after = _by_build(own.results), _by_build(kept.results)
        for measure, build in before.keys() | after.keys():
            if before.get((measure, build)) != after.get((measure, build)):
                self._moved.setdefault(measure, set()).add(build)
        return kept

    def _sees(self, step: Step, engine: str) -> bool:
        recorded = [self._shadow.builds.get(stream, frozenset()) for stream in step.reads]
        given = [self._moved.get(measure, set()) for measure in step.needs]
        return any(own & {engine, ""} if engine else own for own in (*recorded, *given))


def _by_build(results: Iterable[Result]) -> dict[tuple[str, str], list[Value]]:
    found: dict[tuple[str, str], list[Value]] = {}
    for each in results:
        if isinstance(each, Value):
            found.setdefault((each.measure, each.key.engine), []).append(each)
    return found


def _heaviest_first(engines: Iterable[str], recorded: Mapping[str, Mapping[str, Readings]]) -> list[str]:
    """Builds in order of how many logs and traces they have."""
    return sorted(
        engines, key=lambda engine: -sum(len(each.traces) + len(each.logs) for each in recorded[engine].values())
    )


def _some(given: Mapping[str, str], builds: Sequence[str] | None) -> dict[str, str]:
    return {build: sha for build, sha in sorted(given.items()) if builds is None or build in builds}


def bare(recorded: Mapping[str, Readings]) -> dict[str, Readings]:
    """What a step sees: what was recorded, not what was told of the files."""
    return {name: each.but(problems=(), files={}, inputs={}) for name, each in recorded.items()}


def _run(ground: _Ground, recorded: Mapping[str, Readings], ordered: Sequence[Step]) -> _Found:
    program = ground.program
    readings = bare(recorded)
    found = _Found({}, [], [], [])
    values = found.values

    def keep(results: Iterable[Result], steps: Sequence[Step]) -> None:
        given = {measure.id for step in steps for measure in step.gives}
        for result in results:
            if isinstance(result, Value):
                where = (result.measure, result.key)
                if result.measure not in given or where in values:
                    raise ValueError(f"{result.measure} at {result.key}: not declared by the step, or given twice")
                values[where] = result
            elif isinstance(result, Verdict):
                found.verdicts.append(result)
            elif isinstance(result, Comparison):
                found.comparisons.append(result)
            else:
                found.series.append(result)

    engine_wise = any(step.scope == "engine" for step in ordered)
    own = by_engine(program, readings) if engine_wise else {}
    done: set[str] = set()  # measures
    for scope, group in groupby(ordered, key=lambda step: step.scope):
        steps = tuple(group)
        if scope == "program":
            for step in steps:
                keep(ground.settle(step, "", readings, values).results, (step,))
                done |= {measure.id for measure in step.gives}
            continue
        known: dict[str, dict[tuple[str, Key], Value]] = {build.id: {} for build in program.builds}
        for where, value in values.items():
            if value.key.engine in known:
                known[value.key.engine][where] = value
            elif not value.key.engine:  # of the whole program: every build may see it
                for own_known in known.values():
                    own_known[where] = value
        ground.hand_out(_reachable(ordered, done), own, known)
        for kept in _run_engines(ground, steps, own, known):
            keep((result for each in kept for result in each.results), steps)
        done |= {measure.id for step in steps for measure in step.gives}
    return found


def _reachable(ordered: Sequence[Step], done: Set[str]) -> list[Step]:
    """Steps of builds that no step of a whole program has to come before."""
    found, given = [], set(done)
    for step in ordered:
        own = {measure.id for measure in step.gives}
        if step.scope == "engine" and given.issuperset(step.needs) and not (own and own <= done):
            found.append(step)
            given |= own
    return found


def run_share(
    program: Program,
    digests: Mapping[str, Mapping[str, str]],
    readings: Mapping[str, Readings],
    steps: Sequence[Step],
    share: Share,
    shelves: Shelves,
) -> None:
    """Run the steps of a share and put what they give on the shelves.

    `program` is as steps see it, `readings` those of the build. Raises ValueError where a log or a trace is no more
    what it was when it was first read.
    """
    named = {step.name: step for step in steps}
    ground = _Ground(program, digests, shelves, given=share.given)
    own = [named[name] for name in share.steps]
    for stream in {stream for step in own for stream in step.reads}:
        part = readings[stream]
        if (part.logs or part.traces) and digests.get(stream, {}).get(share.engine) != _digest(part):
            raise ValueError(f"{stream}: the files of {share.engine} changed")
    _run_engine(ground, own, share.engine, readings, {(each.measure, each.key): each for each in share.known})


def _run_engines(
    ground: _Ground,
    steps: Sequence[Step],
    recorded: Mapping[str, Mapping[str, Readings]],
    known: Mapping[str, Rows],
) -> Iterator[list[Kept]]:
    """What steps give of each build; processes share what is not kept."""
    if ground.processes == 1:
        yield from (_run_engine(ground, steps, engine, recorded[engine], known[engine]) for engine in known)
        return
    found = {engine: ground.kept(steps, engine, recorded[engine]) for engine in known}
    waiting = _heaviest_first((engine for engine, kept in found.items() if kept is None), recorded)
    made = shared(
        lambda engine: _run_engine(ground, steps, engine, recorded[engine], known[engine]), waiting, ground.processes
    )
    found |= dict(zip(waiting, made, strict=True))
    for engine, gave in found.items():
        for step, kept in zip(steps, gave or (), strict=True):
            ground.learn(step, engine, kept)
        yield gave or []


def _run_engine(
    ground: _Ground, steps: Sequence[Step], engine: str, readings: Mapping[str, Readings], before: Rows
) -> list[Kept]:
    known = dict(before)
    found = []
    for step in steps:
        kept = ground.settle(step, engine, readings, known)
        known |= {(each.measure, each.key): each for each in kept.results if isinstance(each, Value)}
        found.append(kept)
    return found


def _run_step(program: Program, engine: str, step: Step, readings: Mapping[str, Readings], known: Rows) -> list[Result]:
    given = step.run(program, engine, ReadingsBook(readings, step.reads, step.sees), Book(known, step.needs))
    digits = {measure.id: measure.digits for measure in step.gives if measure.digits}
    return [stored(result, digits) for result in given]


def by_engine(program: Program, readings: Mapping[str, Readings]) -> Mapping[str, Mapping[str, Readings]]:
    """The readings of each build, every stream parted once, when a step first asks for it, and its rows.

    Rows of a whole table take hardly longer than those of a part of it.
    """
    together = len(program.builds) > 1

    @cache
    def parted(name: str) -> dict[str, Readings]:
        each, places = readings[name], {build.id: list[int]() for build in program.builds}
        made = cache(partial(rows_of, each.frame))
        for place, engine in enumerate(each.cells("engine")):
            if engine in places:
                places[engine].append(place)
        parts = {engine: _part(each, own, engine) for engine, own in places.items()}
        if together:
            parts = {engine: part.but(rows=partial(_at, made, places[engine])) for engine, part in parts.items()}
        return parts

    def of(engine: str) -> Mapping[str, Readings]:
        return Later(readings, lambda name: parted(name)[engine])

    return {build.id: of(build.id) for build in program.builds}


def _part(each: Readings, own: Sequence[int], engine: str) -> Readings:
    """What one build recorded: the rows at these places of the table, and their logs and traces."""
    whole = bool(own) and own[-1] - own[0] + 1 == len(own)  # a slice takes a tenth of the time of a selection
    frame = each.frame.iloc[own[0] : own[-1] + 1] if whole else each.frame.iloc[list(own)]
    logs = some(each.logs, [key for key in each.logs if key[0] == engine])
    traces = some(each.traces, [key for key in frame["reading"] if key in each.traces] if each.traces else [])
    return Readings(frame.reset_index(drop=True), logs=logs, traces=traces)


def _at(made: Callable[[type], Sequence[object]], places: Sequence[int], kind: type) -> list[object]:
    """The rows at some places of a table."""
    rows = made(kind)
    return [rows[place] for place in places]


# ---- what is not there ------------------------------------------------------------------------------------------


def _missing(program: Program, streams: Sequence[Stream], values: Rows) -> dict[tuple[str, Key], Value]:
    recorded = {stream.name: stream.recorded for stream in streams}
    whole = {stream.name for stream in streams if stream.whole}
    present = {(measure, key.engine, key.cylinder, key.phase) for measure, key in values}
    missing: dict[tuple[str, Key], Value] = {}
    for build, phase, stream in program.planned():
        for measure in recorded.get(stream, ()):
            for cylinder in (0,) if stream in whole else program.planned_cylinders(build, stream):
                if (measure, build.id, cylinder, phase.id) not in present:
                    key = build.key(cylinder, phase.id)
                    reason = "to-come" if build.is_due(phase.id) else "no-reading"
                    missing[measure, key] = Value(measure, key, status="missing", reason=reason)
    return missing


def _with_what_was_left_out(
    seen: Program,
    evidence: Evidence,
    streams: Sequence[Stream],
    ordered: Sequence[Step],
    shelves: Shelves,
) -> dict[tuple[str, Key], Value]:
    """The values a phase would have had with a reading that was left out: the same steps, run once more."""
    added: dict[tuple[str, Key], Value] = {}
    for stream in streams:
        steps = _leading_to(ordered, stream.recorded)
        own = evidence.readings[stream.name]
        for position in [i for i, use in enumerate(own.cells("use")) if use in RESTORABLE]:
            if not own.cells("cylinder"):  # of a stream of whole engines
                continue
            reading = {name: own.cells(name)[position] for name in ("reading", "engine", "cylinder", "phase", "use")}
            if not isinstance(reading["engine"], str) or not given(reading["cylinder"]):
                continue
            readings = {**evidence.readings, stream.name: _restored(own, position)}
            alone = replace(seen, builds=tuple(b for b in seen.builds if b.id == reading["engine"]))
            hashes = {build: f"{sha} with {position}" for build, sha in evidence.digests.get(stream.name, {}).items()}
            digests = {**evidence.digests, stream.name: hashes}
            again = _run(_Ground(alone, digests, shelves), readings, steps)
            for (measure, key), value in again.values.items():
                same = (key.engine, key.cylinder, key.phase, key.at) == (
                    reading["engine"],
                    int(reading["cylinder"]),
                    reading["phase"],
                    "",
                )
                if same and measure in stream.recorded and value.status == "ok":
                    with_it = key._replace(at=f"with:{reading['reading']}")
                    added[measure, with_it] = replace(value, key=with_it, status="excluded", reason=str(reading["use"]))
    return added


def _restored(readings: Readings, position: int) -> Readings:
    """The same with one reading used."""

    def frame() -> pd.DataFrame:
        restored = readings.frame.copy()
        restored.loc[restored.index[position], "use"] = ""
        return restored

    return Readings.later({"frame": cache(frame)}, logs=readings.logs, traces=readings.traces, files={}, inputs={})


def _leading_to(ordered: Sequence[Step], measures: Iterable[str]) -> list[Step]:
    """The steps that some measures rest on, in order."""
    wanted = set(measures)
    kept: list[Step] = []
    for step in reversed(ordered):
        if any(measure.id in wanted for measure in step.gives):
            kept.append(step)
            wanted |= set(step.needs)
    return kept[::-1]
