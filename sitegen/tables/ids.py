"""Ids in record tables against the program: what a table speaks of must exist there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any

import numpy as np

from sitegen.problems import listed, nearest, shown
from sitegen.program.files import WORKBOOKS
from sitegen.program.model import Build, Program, RecordSource
from sitegen.program.records import PARQUET
from sitegen.program.words import line
from sitegen.tables.mapping import SAY, Part, in_rows
from sitegen.tables.rows import given
from sitegen.vocabulary import Field, Problem, Readings

MEND = "correct the record, or the program"


def unknown(
    program: Program, part: Part, fields: Sequence[Field], file: str, source: RecordSource
) -> Iterator[Problem]:
    """Engines, phases, cylinders, testers, orifices, tools and meters of a table that the program does not have."""
    known: dict[str, list[str]] = {
        "engine": [build.id for build in program.builds],
        "phase": [phase.id for phase in program.phases],
        "tester": list(program.definitions.testers),
        "reference": list(program.definitions.reference_orifices),
        "tool": list(program.definitions.tools),
        "meter": list(program.definitions.meters),
        "laboratory": list(program.definitions.laboratories),
        "coating": list(program.definitions.coatings),
        "oil": list(program.definitions.oils),
    }
    builds = {build.id: build for build in program.builds}
    engines = part.arrays.get("engine", np.full(len(part.lines), None, dtype=object))
    for each in fields:
        if not each.refers or each.name not in part.arrays:
            continue
        values = part.arrays[each.name]
        allowed = known.get(each.refers, [])
        for value, at, count in _different(values) if each.refers in known else ():
            if value is not None and value not in allowed:
                stated = _stated(part, each.name, source)
                meaning = part.said.get(each.name, {}).get(value, "")
                by = f', for which "{shown(meaning)}" stands' if meaning else ""
                rows = "" if stated or count == 1 else in_rows(part.lines, np.flatnonzero(values == value).tolist())
                what = f'there is no {each.title.lower()} "{shown(value)}"{by}{rows}'
                step = "" if meaning else f", {SAY}: `{line(each.name, [value])}`"
                code, near = f"{each.refers}-unknown", nearest(value, allowed)
                yield _problem(part, each.name, file, source, at, code, what, listed(allowed), near, MEND + step)
        if each.refers not in {"phase", "cylinder"}:
            continue
        for (engine, value), at, count in _different(engines, values):
            if engine not in builds or not given(value):
                continue
            told = _of_build(program, builds[engine], each.refers, value)
            if told:
                code, what, expected = told
                yield _problem(part, each.name, file, source, at, code, what + _further(count), expected, "", MEND)


def _of_build(program: Program, build: Build, refers: str, value: str | float) -> tuple[str, str, str] | None:
    if refers == "cylinder":
        numbers = [place.cylinder for place in build.places]
        if value in numbers:
            return None
        return "cylinder-unknown", f"{build.id} has no cylinder {value:g}", listed(str(number) for number in numbers)
    phases = [phase.id for phase in program.phases_of(build)]
    if value in phases or value not in {phase.id for phase in program.phases}:
        return None
    why = next((each.why for each in build.departures if each.phase == value and each.kind == "skipped"), "")
    said = f"{build.id} does not run the phase {value}" + (f" ({shown(why)})" if why else "")
    return "phase-not-run", said, listed(phases)


def _different(*columns: Any) -> list[tuple[Any, int, int]]:
    """Each different value (or row of values), with its first position and how often it stands there."""
    rows = [*zip(*(column.tolist() for column in columns), strict=True)] if columns[1:] else columns[0].tolist()
    count, first = Counter(rows), dict(zip(reversed(rows), range(len(rows) - 1, -1, -1), strict=True))
    return [(value, first[value], times) for value, times in count.items()]


def _stated(part: Part, name: str, source: RecordSource) -> bool:
    """Whether a field is said once in the record entry, not in the table."""
    return name in source.constants or (name == "phase" and bool(part.phases))


def _further(count: int) -> str:
    return "" if count == 1 else f" (this row and {count - 1} more)"


def _problem(
    part: Part,
    name: str,
    file: str,
    source: RecordSource,
    at: int,
    code: str,
    what: str,
    expected: str,
    near: str,
    next_step: str,
) -> Problem:
    if _stated(part, name, source):
        where = source.where
        return Problem(where.file, where.line, where.column, code, f"{name}: {what}", expected, near)
    return Problem(
        file,
        int(part.lines[at]),
        0,
        code,
        what,
        expected,
        near,
        next_step,
        part.header(name, at),
    )


# ---- ids of readings ------------------------------------------------------------------------------------------------


def counted(file: str) -> str:
    """What the number beside a file's name counts.

    >>> counted("leak.csv"), counted("leak.xlsx"), counted("leak.xlsx:B1")
    ('line', 'row', 'row')
    """
    lower = file.casefold()
    packed = lower.endswith((*WORKBOOKS, PARQUET)) or any(f"{ending}:" in lower for ending in WORKBOOKS)
    return "row" if packed else "line"


def stem(source: RecordSource) -> str:
    """What the ids of a table's readings begin with.

    >>> from sitegen.program.model import Where
    >>> stem(RecordSource("leakdown", "records/leakdown-b1.csv", Where("")))
    'leakdown-b1'
    """
    return source.stem or PurePosixPath(source.file).stem


def of_readings(part: Part, source: RecordSource, own: bool = True) -> list[str]:
    """Id of each reading: its own where the table gives one, else `stem:line`, with the phase on a sheet.

    Of several worksheets of a workbook `stem:worksheet:line`.
    """
    lines = part.lines.tolist()
    begin = f"{stem(source)}{source.ending}"
    ends = [f":{phase}" for phase in part.phases] or [""] * len(lines)
    given = part.arrays["reading"].tolist() if own and "reading" in part.arrays else [None] * len(lines)
    return [
        f"{begin}:{line}{end}" if name is None else f"{name}{end}"
        for name, line, end in zip(given, lines, ends, strict=True)
    ]


def twice(readings: Sequence[str], files: Sequence[str], lines: Sequence[int]) -> Iterator[Problem]:
    """An id that two readings bear: an objection to it would hit both."""
    if len(set(readings)) == len(readings):
        return
    first: dict[str, int] = {}
    for at, name in enumerate(readings):
        before = first.setdefault(name, at)
        if before != at:
            place = f"{counted(files[before])} {lines[before]}" + (
                "" if files[before] == files[at] else f" of {shown(files[before])}"
            )
            yield Problem(
                files[at],
                lines[at],
                0,
                "reading-twice",
                f'the reading "{shown(name)}" stands already in {place}',
                "an id of its own for each reading",
                "",
                "change one of the two, or leave the ids to be made from the line",
            )


def same_stem(program: Program, sources: Iterable[RecordSource]) -> Iterator[Problem]:
    """Record files whose readings would get the same ids."""
    mine = {source.file for source in sources}
    first: dict[str, str] = {}
    for source in program.records:
        other = first.setdefault(stem(source), source.file)
        if other != source.file and source.file in mine:
            yield Problem(
                source.where.file,
                source.where.line,
                source.where.column,
                "record-name-twice",
                f"{shown(source.file)} and {shown(other)} have one name, so their readings would share ids",
                "a name of its own for each record file",
                "",
                "rename one of the two files",
            )


# ---- objections -----------------------------------------------------------------------------------------------------


def objections(
    program: Program, sources: Sequence[RecordSource], readings: Sequence[str], whole: bool
) -> Iterator[Problem]:
    """Objections of the program that name no reading of this stream, as far as this stream can tell.

    An id that begins with the name of one of the stream's files is its own; where other streams have records too, any
    other id may be theirs, and `unknown_objections` tells of it.
    """
    mine = {stem(source) for source in sources}
    alone = (
        bool(sources) and not program.passed_over and all(each.stream == sources[0].stream for each in program.records)
    )
    known = set(readings)
    for each in program.exclusions:
        if each.reading not in known and whole and (each.reading.partition(":")[0] in mine or alone):
            yield _no_such(each.reading, each.where.file, each.where.line, each.where.column, readings)


def unknown_objections(program: Program, readings: Mapping[str, Readings]) -> list[Problem]:
    """Objections whose reading no stream has and no stream could tell of alone; `readings` by name of stream.

    Where records of the program are passed over the reading may be one of theirs: then they are warnings.
    """
    streams = {source.stream for source in program.records}
    if len(streams) < 2 and not program.passed_over:
        return []
    names = [str(name) for each in readings.values() for name in each.cells("reading")]
    known, stems = set(names), {stem(source) for source in program.records}
    found = [
        _no_such(each.reading, each.where.file, each.where.line, each.where.column, names)
        for each in program.exclusions
        if each.reading not in known and each.reading.partition(":")[0] not in stems
    ]
    return [replace(each, level="warning") for each in found] if program.passed_over else found


def _no_such(reading: str, file: str, line: int, column: int, readings: Sequence[str]) -> Problem:
    # of many thousand readings only those that begin alike are compared
    begin = reading.partition(":")[0]
    near = [name for name in readings if name.partition(":")[0] == begin] or list(readings)
    return Problem(
        file,
        line,
        column,
        "objection-unknown",
        f'the objection names a reading "{shown(reading)}" that does not exist',
        "the id of a reading",
        nearest(reading, near[:5000]),
        "correct `reading`, or take the objection out",
    )
