"""Whether logs are those of the build and the phase they are named for."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path

from sitegen.logs.reading import LogFile
from sitegen.program.model import Program
from sitegen.regular import sha256_of
from sitegen.vocabulary import Problem

Span = tuple[datetime.datetime, datetime.datetime]


def problems(program: Program, files: Sequence[LogFile]) -> list[Problem]:
    """Everything that speaks against the build or the phase a log is named for."""
    found = [*_named_after_another(program, files), *_the_same(program, files)]
    spans = [(each, span) for each in files if (span := _span(each)) is not None]
    return [*found, *_phases_at_once(program, spans), *_builds_at_once(program, spans)]


def _span(file: LogFile) -> Span | None:
    """From when to when it was logged; None where its time has no date."""
    try:
        begin = datetime.datetime.fromisoformat(file.start)
    except ValueError:
        return None
    return begin, begin + datetime.timedelta(seconds=file.seconds)


def _named_after_another(program: Program, files: Sequence[LogFile]) -> Iterator[Problem]:
    """The name of the file holds the id of another build and not that of its own."""
    builds = {build.id.lower(): build.id for build in program.builds}
    for each in files:
        words = set(re.split(r"[^a-z0-9]+", Path(each.file).name.lower()))
        others = sorted(builds[word] for word in words & set(builds) if builds[word] != each.engine)
        if others and each.engine.lower() not in words:
            yield Problem(
                each.file, 1, 0, "log-of-another-build", f"it is named for {each.engine}, its file after {others[0]}",
                f"a log of {each.engine}", next_step="see whose log it is, and name file or entry accordingly",
                level="warning",
            )  # fmt: skip


def _the_same(program: Program, files: Sequence[LogFile]) -> Iterator[Problem]:
    """One log, byte by byte, for two runs. (Twice in one run it is counted once: see `logs.join`.)"""
    folder = Path(program.folder).parent
    sizes = {each.file: (folder / each.file).stat().st_size for each in files}
    alike = Counter(sizes.values())  # files of different size need not be read for it
    first: dict[str, LogFile] = {}
    for each in files:
        if alike[sizes[each.file]] < 2:
            continue
        before = first.setdefault(sha256_of(folder / each.file, folder), each)
        if (before.engine, before.phase) != (each.engine, each.phase):
            yield Problem(
                each.file, 1, 0, "log-twice",
                f"it is the same, byte by byte, as {before.file}, the log of {before.engine} in {before.phase}",
                f"the log of {each.engine} in {each.phase}", next_step="find the log that belongs here, or take it out",
            )  # fmt: skip


def _phases_at_once(program: Program, spans: Sequence[tuple[LogFile, Span]]) -> Iterator[Problem]:
    """One build cannot run two phases at once, nor a later one before an earlier."""
    order = {phase.id: phase.order for phase in program.phases}
    own = sorted(spans, key=lambda each: (order[each[0].phase], each[0].file))
    for (earlier, one), (later, other) in combinations(own, 2):
        if earlier.engine == later.engine and earlier.phase != later.phase and other[0] < one[1]:
            yield Problem(
                later.file, 1, 0, "phases-overlap",
                f"the log of {later.phase} begins at {other[0]}, before that of {earlier.phase} ends at {one[1]}",
                "phases one after the other", next_step="see whether phases are mixed up, or a clock was wrong",
                level="warning",
            )  # fmt: skip


def _builds_at_once(program: Program, spans: Sequence[tuple[LogFile, Span]]) -> Iterator[Problem]:
    """Two builds in one cell at one time: one of the logs is another's, or the cell is wrong."""
    cells = {build.id: build.cell for build in program.builds}
    for (one, span), (other, second) in combinations(sorted(spans, key=lambda each: each[0].file), 2):
        if one.engine == other.engine or not cells[one.engine] or cells[one.engine] != cells[other.engine]:
            continue
        if span[0] < second[1] and second[0] < span[1]:
            yield Problem(
                other.file, 1, 0, "builds-at-once",
                f"{other.engine} ran in cell {cells[other.engine]} while {one.engine} did, by {one.file}",
                "one build in a cell at a time", next_step="see whose log it is, or correct the cell", level="warning",
            )  # fmt: skip
