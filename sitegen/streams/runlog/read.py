"""From log files to Readings: a row a file, and the joined log of each phase beside them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from sitegen.logs.join import Log, join
from sitegen.logs.reading import LogFile, read_log
from sitegen.problems import counted
from sitegen.program.model import Program, RecordSource
from sitegen.reader.records import SEPARATORS
from sitegen.streams.runlog import whose
from sitegen.streams.runlog.judged import column, strange
from sitegen.tables.checks import wrong_day
from sitegen.vocabulary import Problem, Readings

PAUSE = 7 * 86400.0  # s without a sample that are told; common practice, no source
COUNTER_STEP, COUNTER_OFF = 1.0, 0.02  # h, and share, by which a counter may differ from the time run; practice
COLUMNS = (
    "reading", "file", "row", "use", "engine", "phase", "rows", "seconds", "begun",
    "clock", "span",  # of the whole phase: stamp of its first instant, "" not known; s from there to its last
)  # fmt: skip


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Every log of the program. A file that cannot be trusted is an error; its phase has no log then."""
    import pandas as pd

    del sources  # logs are declared apart: program.logs
    problems: list[Problem] = []
    rows: list[dict[str, object]] = []
    files: dict[str, Mapping[str, object]] = {}
    parts: dict[tuple[str, str], list[LogFile]] = {}
    logs: dict[tuple[str, str], Log | None] = {}
    waiting = Counter((source.engine, source.phase) for source in program.logs)
    folder = Path(program.folder)
    for source in program.logs:
        name = f"{folder.name}/{source.file}"
        found = read_log(source, folder / source.file, name)
        problems += found.problems
        use = "" if found.usable else "log-not-usable"
        rows.append(
            dict(
                zip(
                    COLUMNS,
                    (
                        source.stem or Path(source.file).stem,
                        name,
                        1,
                        use,
                        source.engine,
                        source.phase,
                        found.rows,
                        found.seconds,
                        found.start[:10],
                        "",
                        math.nan,
                    ),
                    strict=True,
                )
            )
        )
        used = found.used if found.usable else 0
        files[name] = {
            "rows": found.rows, "used": used, "set_aside": found.rows - used, "encoding": found.encoding,
            "separator": SEPARATORS.get(found.separator, ""), "notes": [*source.notes, *found.notes],
            "columns": {name: name for name in found.channels} | dict.fromkeys(found.unused, ""),
        }  # fmt: skip
        if found.usable and "speed" in found.facts and found.running_seconds == 0:
            problems.append(
                Problem(
                    name,
                    1,
                    0,
                    "engine-never-ran",
                    "by its speed the engine never ran in this log",
                    f"a log of {source.engine} running {source.phase}",
                    next_step="see whether the column and unit of the speed are right, and whose log it is",
                    level="warning",
                )
            )
        if found.usable:
            parts.setdefault((source.engine, source.phase), []).append(found)
        key = source.engine, source.phase
        waiting[key] -= 1
        if not waiting[key] and key in parts:  # as soon as it is whole: the bins of its files take most of the memory
            log, more = join(parts[key])
            logs[key] = log
            problems += more
            if log is not None:
                problems += [*_implausible(program, log), *_wrong_days(program, log)]
            parts[key] = [replace(each, bins=None) for each in parts[key]]
    problems += whose.problems(program, [part for own in parts.values() for part in own])
    for row in rows:
        own = logs.get((str(row["engine"]), str(row["phase"])))
        if own is not None:
            row |= {"clock": own.start, "span": own.seconds}
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    found_logs = {key: log for key in parts if (log := logs.get(key)) is not None}
    return Readings(frame, problems, files, found_logs)


def _implausible(program: Program, log: Log) -> Iterator[Problem]:
    """What no running engine gives, told once a run and channel; and channels of which there is nothing."""
    first = log.files[0]
    for channel in log.channels:
        if not log.facts[channel].n:
            what = f"there is no number of this channel in any of {counted(log.rows, 'row')}"
            step = "see whether the entry names the right column, else take the channel out of it"
            yield Problem(first.file, 1, 0, "channel-empty", what, "samples", next_step=step, column_name=channel,
                          level="warning")  # fmt: skip
    yield from _time(log)
    for channel, found in strange(log, program.build(first.engine).engine_type).items():
        code = f"channel-{found.word or 'flat'}"
        step = "see whether the entry names the right column and unit, and whether the sensor was connected"
        yield Problem(first.file, 1, 0, code, found.what, found.expected, next_step=step, column_name=channel,
                      level="warning")  # fmt: skip


def _wrong_days(program: Program, log: Log) -> Iterator[Problem]:
    """Meters whose calibration was not in force on the day a log begins, or that were not there; it stays in use."""
    day = log.start[:10]
    for channel, meter in log.meters.items():
        one = program.definitions.meters.get(meter)
        if day and one is not None and (found := wrong_day(one, day)) is not None:
            code, what, expected = found
            step = "correct the entry, or keep in mind that nobody vouches for its flow"
            yield Problem(log.files[0].file, 1, 0, code, what, expected, next_step=step, column_name=channel,
                          level="warning")  # fmt: skip


def _time(log: Log) -> Iterator[Problem]:
    """Pauses of a week and more, and an engine's counter that disagrees with the time it ran."""
    first = log.files[0].file
    for begin, end in log.gaps:
        if end - begin >= PAUSE:
            days, at = (f"{each / 3600:.0f}" for each in ((end - begin) / 24, begin))
            what = f"{days} days are without a sample, from {at} h of the log on"
            step = "see whether a file is missing; a level after so long a pause is one of its own"
            yield Problem(first, 1, 0, "log-pause", what, "samples, or a phase of its own", next_step=step,
                          level="warning")  # fmt: skip
    counter = column(log, "hours")
    known = np.zeros(0) if counter is None else counter[np.isfinite(counter)]
    if len(known) < 2 or not math.isfinite(log.running_seconds):
        return
    by_counter, ran = float(known[-1] - known[0]) / 3600, log.running_seconds / 3600
    if abs(by_counter - ran) > max(COUNTER_STEP, COUNTER_OFF * ran):
        what = f"the engine's counter goes on by {by_counter:.1f} h, the log shows it running for {ran:.1f} h"
        step = "see whether the log lacks hours, or the counter's column or unit is another"
        yield Problem(first, 1, 0, "hours-disagree", what, "the same of both", column_name="hours", next_step=step,
                      level="warning")  # fmt: skip


def again(program: Program, readings: Readings, engine: str) -> Readings:
    """The logs of one build, as `read` gave them."""
    found = read(replace(program, logs=tuple(log for log in program.logs if log.engine == engine)), ())
    return Readings(readings.frame, logs=found.logs)
