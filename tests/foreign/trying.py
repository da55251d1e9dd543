"""A case tried: its files laid beside a small program, looked at by the command, read by the entry a person writes."""

from __future__ import annotations

import contextlib
import io
import math
import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from sitegen import workflow
from sitegen.cli import main
from sitegen.problems import line_of

DEFINITIONS = """\
format: 1
coatings:
  nitrided: {title: nitrided}
  graded-crn: {title: graded chromium nitride}
engine_types:
  pump-24-gas: {title: 2.4-litre inline four, cylinders: 4, firing_order: [1, 3, 4, 2], bore: 87.5 mm, stroke: 100 mm}
testers:
  T1: {title: cell tester, orifice: 1.0 mm, gauge_class: 0.02 bar}
  P1: {title: workshop tester, orifice: 1.0 mm, gauge_class: 0.05 bar, scale: percent}
meters:
  M1: {title: rotary pistons, principle: positive-displacement, scale: actual}
tools:
  balance-1: {title: analytical balance, kind: balance, limit: 0.5 mg}
  profile-1: {title: stylus instrument, kind: profilometer, limit: 0.02 um}
"""
PROGRAM = """\
format: 1
title: Pump rings
question: Does a graded layer let the rings seat sooner?
compare:
  reference: nitrided
  candidates: [graded-crn]
  primary: {measure: leakdown.crankcase, phase: pulls}
  planned_builds: 2
seating: {to_lose: 0.03 mm2, level: 0.35 mm2}
leakdown: {supply: 5.5 bar gauge}
phases:
  - {id: cold-build, title: cold build, kind: static check, records: [leakdown]}
  - {id: pulls, title: four pulls, kind: pulls, schedule: [{time: 3 min, speed: 1500 rpm, torque: 80 N m}]}
  - {id: durability, title: endurance, kind: durability}
  - {id: teardown, title: teardown, kind: teardown}
builds:
  - {id: B1, block: K11, number: 1, engine_type: pump-24-gas, rings: {all: {coating: nitrided}}}
  - {id: B2, block: K12, number: 1, engine_type: pump-24-gas, rings: {all: {coating: graded-crn}}}
records:
"""


@dataclass(frozen=True)
class Case:
    """A file somebody else wrote, made by hand in a few lines, and what has to become of it."""

    name: str
    kind: str  # of record
    files: Mapping[str, str | bytes]  # path from the program's folder -> content; the first is looked at
    entry: str  # of `records`, as a person writes it who knows the bench; "" where there is nothing to read
    rows: int  # of the files, or points of a trace: read + set aside + not taken
    read: int  # readings, samples or points that are used
    numbers: Mapping[str, Any] = field(default_factory=dict)  # what they are; a path of `Found.number` -> value
    says: tuple[str, ...] = ()  # patterns that `look` prints
    never: tuple[str, ...] = ()  # patterns that it must not print
    told: tuple[str, ...] = ()  # codes of the problems of `check`, one each
    refused: bool = False  # the entry is an error, and nothing is read
    status: int = 0  # exit of `look`
    look: bool = True  # the form is a case of `look` too


@dataclass(frozen=True)
class Found:
    """What became of it."""

    status: int
    said: str  # by `look`
    proposed: str  # entry of `records`, as it is to be pasted; "" none
    told: tuple[str, ...]  # codes
    lines: tuple[str, ...]  # and sentences
    blocked: bool
    readings: Any

    def tally(self) -> dict[str, int]:
        """Rows that are used, set aside, and hold nothing to read; points, of traces."""
        if self.readings is None:
            return {"used": 0, "set_aside": 0, "nothing": 0}
        files, logs, traces = self.readings.files, self.readings.logs, self.readings.traces
        if traces:
            points = sum(len(trace.z) for trace in traces.values())
            lost = sum(trace.invalid for trace in traces.values())
            return {"used": points - lost, "set_aside": lost, "nothing": 0}
        return {
            "used": sum(facts["used"] for facts in files.values()),
            "set_aside": sum(facts["set_aside"] for facts in files.values()),
            "nothing": sum(facts.get("not_taken", 0) for facts in files.values())
            + sum(each.idle for log in logs.values() for each in log.files),
        }

    def number(self, path: str) -> Any:
        """A field of all readings used; `<channel>.<fact>` of a log; `x`, `z`, `stated.ra` of a trace [um]."""
        if self.readings.traces:
            trace = next(iter(self.readings.traces.values()))
            if path.startswith("stated."):
                return round(1e6 * trace.stated[path.removeprefix("stated.")], 6)
            return [round(1e6 * float(end), 6) for end in (getattr(trace, path)[0], getattr(trace, path)[-1])]
        if self.readings.logs:
            log = next(iter(self.readings.logs.values()))
            name, _, fact = path.partition(".")
            return getattr(log.facts[name], fact) if fact else getattr(log, name)
        frame = self.readings.frame
        cells = frame.loc[frame["use"] == "", path].tolist()
        return [None if each != each else each for each in cells]


def lay(home: Path, case: Case, entry: str = "") -> Path:
    """The programs folder of a case; its own entry where none is given. Returns the program's folder."""
    pump = home / "pump"
    pump.mkdir(parents=True, exist_ok=True)
    (home / "definitions.yaml").write_text(DEFINITIONS, encoding="utf-8")
    text = textwrap.indent(textwrap.dedent(entry or case.entry).strip("\n"), "  ") + "\n"
    (pump / "program.yaml").write_text((PROGRAM + text).removesuffix("records:\n\n"), encoding="utf-8")
    for name, content in case.files.items():
        path = pump / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
    return pump


def read(home: Path, kind: str) -> tuple[bool, tuple[Any, ...], Any]:
    """What `check` finds: whether anything has to be mended, what is told, and the readings of a kind."""
    found = workflow.examine(home)
    readings = found.evidence[0].readings.get(kind) if found.evidence else None
    return found.blocked, tuple(found.problems), readings


def looked(path: Path, kind: str) -> tuple[int, str]:
    """Exit and print of `sitegen look`."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        status = main(["look", str(path), "--as", kind])
    return status, out.getvalue()


def pasted(said: str, kind: str) -> str:
    """The entry that a look proposes, as part of `records`; "" where it proposes none."""
    found = re.search(r"^Proposed entry of .*?:\n\n(.*?)(?:\n\n|\Z)", said, re.DOTALL | re.MULTILINE)
    return f"{kind}:\n{textwrap.dedent(found[1])}" if found else ""


def asks(entry: str) -> bool:
    """Whether a proposal leaves something to be answered."""
    return '"?"' in yaml.safe_dump(yaml.safe_load(entry), default_style='"')


def tried(case: Case, home: Path) -> Found:
    """Look at the first file, then read with the entry of the case."""
    pump = lay(home, case)
    status, said = looked(pump / next(iter(case.files)), case.kind) if case.look else (0, "")
    if not case.entry:
        return Found(status, said, pasted(said, case.kind), (), (), False, None)
    blocked, problems, readings = read(home, case.kind)
    codes = tuple(sorted(each.code for each in problems))
    lines = tuple(line_of(each) for each in problems)
    return Found(status, said, pasted(said, case.kind), codes, lines, blocked, readings)


def agrees(mine: Any, other: Any) -> bool:
    """Whether two numbers, texts or lists of them are the same; numbers to the digits a file holds."""
    if isinstance(mine, (list, tuple)):
        return len(mine) == len(other) and all(agrees(a, b) for a, b in zip(mine, other, strict=True))
    if isinstance(mine, float) and isinstance(other, (int, float)):
        return math.isclose(mine, other, rel_tol=1e-9, abs_tol=1e-12)
    return bool(mine == other)
