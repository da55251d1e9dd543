"""From a checked program to its results: reads the streams, runs the steps in order, fills in what is missing.

Missing, refused and excluded rows and the rounding are made here, once, for every stream.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import cache, partial
from itertools import groupby
from pathlib import Path
from typing import TypeVar

from sitegen.declarations import Step, Stream, in_order
from sitegen.logs.join import Log
from sitegen.program import described
from sitegen.program.model import Program, Restated, Standing
from sitegen.reasons import RESTORABLE
from sitegen.rounding import stored
from sitegen.tables.ids import unknown_objections
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import (
    Book,
    Change,
    Comparison,
    Key,
    Problem,
    Readings,
    ReadingsBook,
    Result,
    Series,
    Value,
    Verdict,
)

Rows = Mapping[tuple[str, Key], Value]
In = TypeVar("In")
Out = TypeVar("Out")


@dataclass(frozen=True)
class Evidence:
    """What was recorded for one program, and what is wrong with it."""

    program: Program
    readings: Mapping[str, Readings]
    problems: tuple[Problem, ...]
    inputs: Mapping[str, str]  # file, relative to the programs folder -> sha256
    days: tuple[str, ...] = ()  # ISO date of each dated record that is used, in order

    @property
    def as_of(self) -> str:
        """ISO date of the newest record: as of when the results speak; "" where none is dated."""
        return self.days[-1] if self.days else ""

    @property
    def blocked(self) -> bool:
        """True where a table cannot be trusted, so that nothing may be written."""
        return any(problem.level == "error" for problem in self.problems)


@dataclass(frozen=True)
class Analysis:
    """Everything the pages and the result files are made from."""

    program: Program
    readings: Mapping[str, Readings]
    values: Rows  # rounded
    verdicts: tuple[Verdict, ...]
    comparisons: tuple[Comparison, ...]  # the primary first; rounded
    series: tuple[Series, ...]
    problems: tuple[Problem, ...]
    inputs: Mapping[str, str]
    days: tuple[str, ...] = ()  # ISO date of each dated record that is used, in order
    files: Mapping[str, bytes] = field(default_factory=dict)  # the results as stored, once they are made
    results_id: str = ""  # short hash of these files, shown in every footer
    looks: int | None = 1  # at the primary comparison, by the commits, before all builds are in; None: not known
    changes: tuple[Change, ...] | None = None  # against the last commit of the results; None: nothing to compare with
    taken: tuple[Standing, ...] = ()  # decisions, and what moved since they were taken
    restated: tuple[Restated, ...] | None = None  # set beforehand and changed late; None: no history is known

    @property
    def as_of(self) -> str:
        """ISO date of the newest record; "" where none is dated."""
        return self.days[-1] if self.days else ""


# ---- reading ----------------------------------------------------------------------------------------------------


def gather(program: Program, streams: Sequence[Stream]) -> Evidence:
    """Read every record of the program. Problems are returned, never raised.

    Of a kind of record that the format describes and none of the streams reads there are no readings.
    """
    inputs = input_hashes(program)  # first: what changes while it is read no longer has this hash in the end
    absent = described.absent([stream.name for stream in streams])
    readings = {name: _none(kind.fields) for name, kind in absent.items()}
    problems: list[Problem] = [*program.passed_over]
    for stream in streams:
        sources = [source for source in program.records if source.stream == stream.name]
        readings[stream.name] = stream.read(program, sources)
        problems.extend(readings[stream.name].problems)
    problems.extend(unknown_objections(program, readings))
    for own in readings.values():
        inputs |= own.inputs
    return Evidence(
        program, readings, tuple(sorted(problems)), dict(sorted(inputs.items())), tuple(_days(streams, readings))
    )


def _days(streams: Sequence[Stream], readings: Mapping[str, Readings]) -> list[str]:
    """The day of each record that is used. No clock is asked, so the results stay what they are."""
    logs = [log for own in readings.values() for log in own.logs.values() if isinstance(log, Log)]
    days = [log.start[:10] for log in logs if log.start]
    for stream in streams:
        frame = readings[stream.name].frame
        for each in stream.fields:
            if each.kind == "date" and each.name in frame:
                days += frame.loc[frame["use"] == "", each.name].dropna().astype(str).tolist()
    return sorted(days)


def _none(fields: Iterable[str]) -> Readings:
    import pandas as pd

    names = dict.fromkeys(["reading", "file", "row", "use", "engine", "phase", *fields])
    return Readings(pd.DataFrame(columns=list(names), dtype=object))


def lent_file(program: str) -> str:
    """The file another program's scatter is taken from, relative to the programs folder."""
    return f"{program}/results/measures.csv"


def input_hashes(program: Program, also: Iterable[str] = ()) -> dict[str, str]:
    """sha256 of every file the results rest on, by path relative to the programs folder.

    `also` are files that records name in their rows, such as traces; which these are the records say, not the program.
    """
    folder = Path(program.folder)
    files = {f"{folder.name}/{source.file}" for source in program.records}
    files |= {f"{folder.name}/{source.file}" for source in program.logs}
    files |= {"definitions.yaml", f"{folder.name}/program.yaml"}
    files |= {lent_file(lender) for lender in program.scatter_from}
    files |= set(also)
    hashes = {}
    for name in sorted(files):
        path = folder.parent / name
        hashes[name] = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
    return hashes


# ---- running ----------------------------------------------------------------------------------------------------


def analyse(
    evidence: Evidence, streams: Sequence[Stream], steps: Sequence[Step], executor: Executor | None = None
) -> Analysis:
    """Run the steps on what was recorded.

    Steps of scope "engine" run once a build, and builds spread over the executor; the result does not depend on it.
    """
    spread = _Spread(executor)
    found = _run(evidence.program, evidence.readings, in_order(steps), spread)
    values, verdicts = found.values, found.verdicts
    values = {**values, **_missing(evidence.program, streams, values)}
    values |= _with_what_was_left_out(evidence, streams, in_order(steps), spread)
    return Analysis(
        program=evidence.program,
        readings=evidence.readings,
        values=dict(sorted(values.items(), key=lambda item: item[0])),
        verdicts=tuple(sorted(verdicts, key=lambda verdict: (verdict.rule, verdict.key))),
        comparisons=tuple(found.comparisons),
        series=tuple(found.series),
        problems=evidence.problems,
        inputs=evidence.inputs,
        days=evidence.days,
    )


class _Spread:
    """`map` in this process or over an executor; the order of results is that of the tasks either way."""

    def __init__(self, executor: Executor | None) -> None:
        self._executor = executor

    @property
    def here(self) -> bool:
        """True where tasks stay in this process."""
        return self._executor is None

    def __call__(self, function: Callable[[In], Out], tasks: Iterable[In]) -> Iterable[Out]:
        return map(function, tasks) if self._executor is None else self._executor.map(function, tasks)


@dataclass
class _Found:
    """What the steps gave."""

    values: dict[tuple[str, Key], Value]
    verdicts: list[Verdict]
    comparisons: list[Comparison]
    series: list[Series]


def _run(program: Program, readings: Mapping[str, Readings], ordered: Sequence[Step], spread: _Spread) -> _Found:
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

    own = _by_engine(program, readings, spread) if any(step.scope == "engine" for step in ordered) else {}
    for scope, group in groupby(ordered, key=lambda step: step.scope):
        steps = tuple(group)
        if scope == "program":
            for step in steps:
                keep(_run_step(program, "", step, readings, values), (step,))
            continue
        task = partial(_run_engine, program, steps)
        known: dict[str, dict[tuple[str, Key], Value]] = {build.id: {} for build in program.builds}
        for where, value in values.items():
            if value.key.engine in known:
                known[value.key.engine][where] = value
            elif not value.key.engine:  # of the whole program: every build may see it
                for own_known in known.values():
                    own_known[where] = value
        for results in spread(task, [(build.id, own[build.id], known[build.id]) for build in program.builds]):
            keep(results, steps)
    return found


def _run_engine(
    program: Program, steps: Sequence[Step], task: tuple[str, Mapping[str, Readings], Rows]
) -> list[Result]:
    engine, readings, before = task
    known = dict(before)
    results: list[Result] = []
    for step in steps:
        for result in _run_step(program, engine, step, readings, known):
            results.append(result)
            if isinstance(result, Value):
                known[result.measure, result.key] = result
    return results


def _run_step(program: Program, engine: str, step: Step, readings: Mapping[str, Readings], known: Rows) -> list[Result]:
    given = step.run(program, engine, ReadingsBook(readings, step.reads), Book(known, step.needs))
    return [stored(result) for result in given]


def _by_engine(program: Program, readings: Mapping[str, Readings], spread: _Spread) -> dict[str, dict[str, Readings]]:
    """The readings of each build, every stream parted once; its rows too, where they need not travel.

    Rows of a whole table, made when a step first asks for them, take hardly longer than those of a part of it.
    """
    together = spread.here and len(program.builds) > 1
    parts: dict[str, dict[str, Readings]] = {build.id: {} for build in program.builds}
    for name, each in readings.items():
        made = cache(partial(rows_of, each.frame))
        places: dict[str, list[int]] = {}
        for place, engine in enumerate(each.frame["engine"].tolist()):
            places.setdefault(engine, []).append(place)
        for engine, part in parts.items():
            own = places.get(engine, [])
            whole = bool(own) and own[-1] - own[0] + 1 == len(own)  # a slice takes a tenth of the time of a selection
            frame = each.frame.iloc[own[0] : own[-1] + 1] if whole else each.frame.iloc[own]
            logs = {key: log for key, log in each.logs.items() if key[0] == engine}
            traces = {key: each.traces[key] for key in frame["reading"] if key in each.traces} if each.traces else {}
            rows = partial(_at, made, own) if together else None
            part[name] = Readings(frame.reset_index(drop=True), logs=logs, traces=traces, rows=rows)
    return parts


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
    evidence: Evidence, streams: Sequence[Stream], ordered: Sequence[Step], spread: _Spread
) -> dict[tuple[str, Key], Value]:
    """The values a phase would have had with a reading that was left out: the same steps, run once more."""
    added: dict[tuple[str, Key], Value] = {}
    for stream in streams:
        steps = _leading_to(ordered, stream.recorded)
        frame = evidence.readings[stream.name].frame
        for position in [i for i, use in enumerate(frame["use"]) if use in RESTORABLE]:
            reading = frame.iloc[position]
            if "cylinder" not in frame:  # of a stream of whole engines
                continue
            if not isinstance(reading["engine"], str) or not given(reading["cylinder"]):
                continue
            restored = frame.copy()
            restored.loc[restored.index[position], "use"] = ""
            readings = {**evidence.readings, stream.name: replace(evidence.readings[stream.name], frame=restored)}
            program = replace(
                evidence.program, builds=tuple(b for b in evidence.program.builds if b.id == reading["engine"])
            )
            again = _run(program, readings, steps, spread)
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


def _leading_to(ordered: Sequence[Step], measures: Iterable[str]) -> list[Step]:
    """The steps that some measures rest on, in order."""
    wanted = set(measures)
    kept: list[Step] = []
    for step in reversed(ordered):
        if any(measure.id in wanted for measure in step.gives):
            kept.append(step)
            wanted |= set(step.needs)
    return kept[::-1]
