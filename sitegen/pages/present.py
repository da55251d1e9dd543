"""Planned and present: which planned record is in, which is missing, which is still to come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sitegen.declarations import Stream
from sitegen.page import words
from sitegen.page.view import Desk
from sitegen.program.model import Build, Phase


@dataclass(frozen=True)
class Record:
    """One planned record: a stream in a phase of a build."""

    build: str
    phase: str
    stream: str
    word: str  # in, partly in, missing, to come, set aside
    detail: str = ""  # "3 of 4 cylinders", "7 December"
    lacks: str = ""  # "no leak area", where readings that are in gave none of a measure
    because: str = ""  # code of the reason


def records(desk: Desk, streams: list[Stream], of: Build | None = None) -> list[Record]:
    """Every planned record of a program, or of one build, with its word, in plan order."""
    by_name = {stream.name: stream for stream in streams}
    by_cylinder = {
        stream.name: not stream.whole and any(field.name == "cylinder" for field in stream.fields) for stream in streams
    }
    present = desk.present(of.id if of is not None else "")
    return [
        Record(build.id, phase.id, stream, "missing", "not read by this version")
        if stream not in by_name
        else _lacking(
            desk,
            by_name[stream],
            _record(
                build,
                phase,
                stream,
                present.get((build.id, phase.id, stream), {}),
                len(desk.program.planned_cylinders(build, stream)) if by_cylinder.get(stream, False) else 0,
            ),
        )
        for build, phase, stream in desk.program.planned(of)
    ]


def _lacking(desk: Desk, stream: Stream, record: Record) -> Record:
    """The same with the first measure that a record which is in yields no value of, and why."""
    if record.word not in {"in", "partly in"}:
        return record
    measures = {measure.id: measure for step in stream.steps for measure in step.gives}
    for name in stream.recorded:
        known, why = desk.statuses(name, record.build).get(record.phase, (False, ""))
        if why and not known:
            return replace(record, lacks=f"no {measures[name].title}", because=why)
    return record


def complete(every: list[Record]) -> int:
    """Planned records that are wholly in."""
    return sum(1 for record in every if record.word == "in")


def _record(build: Build, phase: Phase, stream: str, cylinders: Mapping[int, bool], of: int) -> Record:
    """The word of one planned record; `of` so many cylinders, 0 where it is of the whole engine."""

    def record(word: str, detail: str = "") -> Record:
        return Record(build.id, phase.id, stream, word, detail)

    if of:  # a row of no cylinder, such as one of a reference orifice, is no record of cylinders
        cylinders = {number: counts for number, counts in cylinders.items() if number}
    if not cylinders:
        if build.is_due(phase.id):
            due = next(each.due for each in build.departures if each.phase == phase.id and each.kind == "due")
            return record("to come", words.day(due, year=False) if due else "")
        return record("missing")
    used = sum(cylinders.values())
    if not used:
        return record("set aside")
    if of and used < of:
        return record("partly in", f"{used} of {of} cylinders")
    return record("in")
