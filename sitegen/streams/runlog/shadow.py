"""Run logs as they would be if the meter of their blow-by had been off already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sitegen.logs.join import Log
from sitegen.program.calibrated import Doubt
from sitegen.program.model import Program
from sitegen.tables.shadows import as_true
from sitegen.vocabulary import Later, Readings


def read_with(program: Program, readings: Readings, instrument: str) -> list[tuple[int, str]]:
    """Rows of the logs of phases in which a meter was logged, with the day these begin; "" where they bear no date.

    No log is read again for that.
    """
    named = {(log.engine, log.phase) for log in program.logs if any(each.meter == instrument for each in log.channels)}
    columns = (readings.cells(name) for name in ("engine", "phase", "use", "begun"))
    rows = [(n, (engine, phase), day) for n, (engine, phase, use, day) in enumerate(zip(*columns, strict=True))
            if use == "" and (engine, phase) in named]  # fmt: skip
    begun = {where: min(day for _, other, day in rows if other == where) for _, where, _ in rows}
    return [(n, begun[where]) for n, where, _ in rows]


def _flows(log: object, instrument: str) -> list[str]:
    """Channels that a meter gives."""
    return [name for name, meter in log.meters.items() if meter == instrument] if isinstance(log, Log) else []


def shadow(program: Program, readings: Readings, doubt: Doubt, rows: Sequence[int]) -> Readings:
    """The flows of these logs, less what the meter showed too much, bin by bin.

    What was found wrong with a channel as it was logged stays found.
    """
    del program
    engines, phases = readings.cells("engine"), readings.cells("phase")
    wanted = {(engines[n], phases[n]) for n in rows}

    def log(key: tuple[str, str]) -> object:
        own = readings.logs[key]
        return _shifted(own, doubt) if key in wanted and isinstance(own, Log) else own

    return readings.but(logs=Later(readings.logs, log))


def _shifted(log: Log, doubt: Doubt) -> Log:
    columns = [name + end for name in _flows(log, doubt.instrument) for end in ("", ".low", ".high")]
    shown = {name: log.bins[name].to_numpy(dtype=float) for name in columns if name in log.bins}
    return replace(log, bins=log.bins.assign(**{name: as_true(doubt, each) for name, each in shown.items()}))
