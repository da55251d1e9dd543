"""Readings and results of steps on the shelves: what they follow from, and how they are written there.

Logs and traces are not kept, they would be the most of it: they are read once more where somebody looks at them.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, fields
from functools import cache
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sitegen.shelves import digest
from sitegen.vocabulary import Comparison, Key, Later, Problem, Readings, Result, Series, Value, Verdict

if TYPE_CHECKING:
    import pandas as pd


def names_in(folder: Path) -> list[str]:
    """Every file of a program's folder but its results: readers look around for names near to one that is not there."""
    found = []
    for root, below, files in os.walk(folder):
        here = Path(root).relative_to(folder).as_posix()
        below[:] = sorted(name for name in below if name != ".git" and (here, name) != (".", "results"))
        found += [f"{here}/{name}" for name in sorted(files)]
    return found


# ---- readings -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Read:
    """What a stream read, as it is kept."""

    readings: Readings  # problems with the numbers of places
    opened: Mapping[str, str]  # file, relative to the programs folder -> sha256, of every file that was opened
    digests: Mapping[str, str]  # build -> hash of what it recorded; "": of all
    days: tuple[str, ...]


def pack_read(read: Read) -> bytes:
    """As kept. Raises TypeError for what no record of ours holds."""
    own = read.readings
    return _json({
        "frame": _columns(own.frame), "problems": [astuple(each) for each in own.problems], "files": own.files,
        "logs": list(own.logs), "traces": list(own.traces), "inputs": own.inputs, "opened": read.opened,
        "digests": read.digests, "days": read.days,
    })  # fmt: skip


def unpack_read(content: bytes, again: Callable[[Readings, str], Readings]) -> Read:
    """As it was; `again` reads a build once more where somebody looks at one of its logs or traces."""
    told = json.loads(content)
    columns = {name: cells for name, _, cells in told["frame"]}
    once = cache(lambda engine: again(readings, engine))
    builds = dict(zip(columns["reading"], columns["engine"], strict=True)) if told["traces"] else {}
    readings = Readings.later(
        {"frame": cache(lambda: _frame(told["frame"]))}, columns=columns,
        problems=tuple(Problem(*each) for each in told["problems"]), files=told["files"],
        logs=Later(map(tuple, told["logs"]), lambda key: once(key[0]).logs[key]) if told["logs"] else {},
        traces=Later(told["traces"], lambda key: once(builds[key]).traces[key]) if builds else {},
        inputs=told["inputs"], rows=None,
    )  # fmt: skip
    return Read(readings, told["opened"], told["digests"], tuple(told["days"]))


# ---- results of steps -----------------------------------------------------------------------------------------------

_KINDS: dict[str, type] = {kind.__name__: kind for kind in (Value, Verdict, Comparison)}


@dataclass(frozen=True)
class Kept:
    """What a step gave, as it is kept."""

    results: Sequence[Result]
    given: Mapping[str, Mapping[str, str]]  # measure -> build -> hash of its values


def pack_results(results: Sequence[Result]) -> tuple[Kept, Callable[[], bytes]]:
    """What a step gave, and how it is written. Writing raises TypeError for what no result of ours holds."""
    told = [each if isinstance(each, Series) else _listed(each) for each in results]
    rows: dict[str, dict[str, list[object]]] = {}
    for each, row in zip(results, told, strict=True):
        if isinstance(each, Value):
            rows.setdefault(each.measure, {}).setdefault(each.key.engine, []).append(row)
    given = {measure: {build: digest(own) for build, own in builds.items()} for measure, builds in rows.items()}
    kept = Kept(results, given)
    return kept, lambda: _json([[_curve(each) if isinstance(each, Series) else each for each in told], given])


def _listed(result: Value | Verdict | Comparison) -> list[object]:
    told = [type(result).__name__, *_TOLD[type(result)](result)]
    at = _FLAGS.get(type(result))  # field by field takes five times as long
    if at is not None:
        told[at] = sorted(told[at])
    return told


def _curve(series: Series) -> list[object]:
    return ["Series", series.id, series.key, series.units, _columns(series.frame)]


_TOLD: dict[type, Callable[[object], tuple[Any, ...]]] = {
    kind: attrgetter(*(each.name for each in fields(kind))) for kind in _KINDS.values()
}
_FLAGS = {
    kind: 1 + [each.name for each in fields(kind)].index("flags") for kind in _KINDS.values() if hasattr(kind, "flags")
}
_FIELDS = {kind: tuple(each.name for each in fields(kind)) for kind in _KINDS.values()}


def unpack_results(content: bytes) -> Kept:
    """As it was."""
    results, given = json.loads(content)
    return Kept([_result(*each) for each in results], given)


def _result(kind: str, *told: Any) -> Result:
    if kind == "Series":
        id, key, units, frame = told
        return Series.later({"frame": lambda: _frame(frame)}, id=id, key=Key(*key), units=units)
    if kind == "Value":  # most of them: field by field takes a third of the time
        measure, key, *numbers, flags, reason = told
        value: Value = _KINDS[kind](measure, Key(*key), *numbers, frozenset(flags), reason)
        return value
    own = _KINDS[kind]
    made = [
        Key(*each) if name == "key" else frozenset(each) if name == "flags" else each
        for name, each in zip(_FIELDS[own], told, strict=True)
    ]
    result: Result = own(*made)
    return result


# ---- tables ---------------------------------------------------------------------------------------------------------


def _columns(frame: pd.DataFrame) -> list[list[object]]:
    if frame.index.tolist() != list(range(len(frame))):
        raise TypeError("a table with an index of its own is not kept")
    return [[name, str(column.dtype), column.tolist()] for name, column in frame.items()]


def _frame(columns: Iterable[tuple[str, str, list[object]]]) -> pd.DataFrame:
    import numpy as np
    import pandas as pd

    plain = {"float64", "int64", "bool", "object"}  # of these an array takes a tenth of the time of a series
    made = {
        name: np.array(cells, dtype=dtype) if dtype in plain else pd.Series(cells, dtype=dtype)
        for name, dtype, cells in columns
    }
    return pd.DataFrame(made)


def _json(of: object) -> bytes:
    return json.dumps(of, separators=(",", ":")).encode()
