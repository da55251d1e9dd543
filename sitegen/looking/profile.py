"""A trace of a profilometer, looked at: what its points are, and the row of a table of traces proposed for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from sitegen.looking.propose import OPEN
from sitegen.problems import shown
from sitegen.reader.blocked import Blocked
from sitegen.traces.points import Asked
from sitegen.traces.reading import Trace, read_trace

_KNOWN = ("trace", "engine", "cylinder", "phase", "part")  # columns that no trace says
_ASKED: Mapping[str, str] = {  # code of what the reader misses -> what is to be written for the row
    "trace-unit-missing": "unit",
    "trace-step-missing": "step [um]",
    "trace-columns-unclear": "x",
    "trace-sections": "section",
    "trace-goes-back": "section",
}


def report(path: Path, file: str, name: str, sheet: str, *, sure: bool = False) -> str | None:
    """What is in the trace at `path`, and the row proposed for it; None where its reader finds no points in it.

    `file` is its name in messages, `name` that from the program's folder; `sure`: None too where anything is missing,
    since other figures in columns are no trace.
    """
    asked, open_ = Asked(sheet=sheet), []
    columns = {**dict.fromkeys(_KNOWN, OPEN), "trace": name}
    trace: Trace | None = None
    for _ in range(len(_ASKED)):
        try:
            trace = read_trace(path, file, asked)
            break
        except Blocked as blocked:
            problem = blocked.problems[0]
            key = _ASKED.get(problem.code, "")
            if not key or sure:
                return None
            key = f"{problem.what[:1]}_unit" if key == "unit" else key
            columns[key] = OPEN
            open_.append(f"{key}: {problem.what}; expected {problem.expected}")
            if key == "x":
                columns["z"] = OPEN
                break
            # read on with any unit, step or part: only how many points there are is told of it
            given: dict[str, object] = {key: "mm"} if key.endswith("_unit") else {"section": 1}
            asked = replace(asked, **(given if not key.startswith("step") else {"step": 1e-6}))
    lines = [f"{file}: what is in it", *([] if trace is None else _points(trace, columns))]
    lines += ["", "It is a trace. Proposed row of a table of traces, which an entry of surfaces names:", ""]
    lines += [f"  {','.join(columns)}", f"  {','.join(columns.values())}"]
    lines += ["", 'Only you know what stands for "?":', f"  {', '.join(_KNOWN[1:])}: of what the trace is"]
    return "\n".join([*lines, *(f"  {each}" for each in open_)])


def _points(trace: Trace, columns: Mapping[str, str]) -> list[str]:
    valid = trace.z[~np.isnan(trace.z)]
    lines = [f"  read as   {trace.encoding}", f"  points    {len(trace.x)}, {trace.invalid} of them without a height"]
    if not {"x_unit", "step [um]"} & set(columns):
        lines.append(f"  x         over {1e3 * trace.length:.6g} mm, a point every {1e6 * trace.step:.6g} um")
    if "z_unit" not in columns:
        lines.append(f"  z         {1e6 * valid.min():.6g} to {1e6 * valid.max():.6g} um")
    lines += [f"  says      R{name[1:]} {1e6 * value:.6g} um" for name, value in trace.stated.items()]
    return [*lines, *(f"  note      {shown(each, 200)}" for each in trace.notes), *_doubts(trace)]


def _doubts(trace: Trace) -> list[str]:
    return [f"  note      line {each.line}: {shown(each.what, 200)}" for each in trace.doubts]
