"""Pulls that a row names a log for: found in it, and read with what the row states of the day."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import pi
from pathlib import Path
from types import MappingProxyType

import numpy as np

from sitegen.logs.sweeps import MOST, Sweeps, Swept, find_sweeps
from sitegen.methods.brake import displacement
from sitegen.methods.sweeps import Planned
from sitegen.problems import counted, nearest, shown
from sitegen.program.model import LogSource, Phase, Program
from sitegen.regular import sha256_of
from sitegen.streams.pulls.fields import RPM, Reading
from sitegen.tables.reading import Sheet
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import Readings

_AIR: Mapping[str, tuple[str, float]] = MappingProxyType(  # field -> channel of a log, and what its SI is times
    {
        "inlet": ("air_temperature", 1.0), "barometer": ("ambient_pressure", 1.0), "humidity": ("air_humidity", 100.0),
        "oil": ("oil_temperature", 1.0), "coolant": ("coolant_temperature", 1.0),
    }
)  # fmt: skip
_WHY: Mapping[str, str] = MappingProxyType(
    {
        "pull-broken-off": "it does not run through the whole range",
        "pull-load-stepped": "torque steps on the way: the load was changed, or a governor takes over",
        "pull-part-load": "not at full load",
        "pull-not-swept": "speed stands still on the way",
        "pull-too-quick": "over in less than two seconds",
        "pull-not-planned": "at another rate than the schedule's ramps",
        "pull-without-torque": "without torque, or in too few samples",
    }
)
_OWN_ROW = ("pull-broken-off", "pull-load-stepped")  # what was meant for a pull; other rises of speed are counted
Day = tuple[str, str, str]  # build, phase, date
Point = str | float  # a field of a reading
Found = tuple[str, Swept]  # stamp that says the order, and the rise


class InLogs:
    """Reads the logs that rows name; a check of `read_stream`, and what is made of its readings afterwards."""

    def __init__(self) -> None:
        self._inputs: dict[str, str] = {}
        self._notes: dict[str, list[str]] = {}  # table -> what is told of it
        self._points: list[dict[str, Point]] = []

    def read(self, program: Program, sheet: Sheet) -> None:
        """Looks for the pulls of each day that rows name logs for. Sets aside rows of which nothing is found."""
        rows = rows_of(sheet.frame, Reading)
        asked = [at for at in np.flatnonzero(sheet.open).tolist() if given(rows[at].log)]
        written = {_day(rows[at]) for at in np.flatnonzero(sheet.open).tolist() if not given(rows[at].log)}
        sources = {at: found for at in asked if (found := self._source(program, sheet, at, rows[at], written))}
        read: dict[str, Sweeps] = {}
        for source in sources.values():
            if source.file not in read:
                read[source.file] = self._sweeps(program, source)
        days: dict[Day, list[int]] = {}
        for at in sources:
            days.setdefault(_day(rows[at]), []).append(at)
        dates: dict[str, set[str]] = {}
        for at, source in sources.items():
            dates.setdefault(source.file, set()).add(rows[at].date)
        for day, own in days.items():
            self._take(sheet, day, {at: rows[at] for at in own}, {at: sources[at] for at in own}, read, dates)

    def _source(
        self, program: Program, sheet: Sheet, at: int, row: Reading, written: set[Day]
    ) -> LogSource | None:  # fmt: skip
        def aside(code: str, what: str, expected: str, near: str = "") -> None:
            sheet.set_aside(_only(sheet, at), code, "log", what, expected, near)

        own = {name: each for each in program.logs for name in (each.file, each.stem)
               if (each.engine, each.phase) == (row.engine, row.phase)}  # fmt: skip
        name = str(row.log)
        if not program.power.bands:
            aside("bands-not-stated", "the program states no bands of speed that a pull is to run through",
                  "`bands` under `power`")  # fmt: skip
        elif _day(row) in written:
            aside("pull-both-ways", "pulls of this day are entered with their torque as well, and would count twice",
                  "one of the two")  # fmt: skip
        elif name not in own:
            files = ", ".join(sorted({each.file for each in own.values()})) or "there is none"
            aside("log-not-declared", f'"{shown(name)}" is no run log of {row.engine} in {row.phase}',
                  f"a file under `runlog`: {files}", nearest(name, own))  # fmt: skip
        elif {"speed", "torque"} - {channel.name for channel in own[name].channels}:
            aside("log-without-torque", f'the run log "{shown(name)}" has no channel of speed, or none of torque',
                  "both among its `channels`")  # fmt: skip
        else:
            return own[name]
        return None

    def _sweeps(self, program: Program, source: LogSource) -> Sweeps:
        folder = Path(program.folder)
        engine = program.build(source.engine).engine_type
        displaced = displacement(engine.bore, engine.stroke, engine.cylinders)
        bands = program.power.bands
        file = f"{folder.name}/{source.file}"
        found = find_sweeps(
            source, folder / source.file, file, (bands[0].low, bands[-1].high), displaced / (pi * engine.strokes),
            tuple(_ramps(program.phase(source.phase))),
        )  # fmt: skip
        self._inputs[file] = sha256_of(folder / source.file)
        return found

    def _take(
        self, sheet: Sheet, day: Day, rows: Mapping[int, Reading], sources: Mapping[int, LogSource],
        read: Mapping[str, Sweeps], dates: Mapping[str, set[str]],
    ) -> None:  # fmt: skip
        """Pulls of one day, numbered over its logs; each with the row that speaks of it."""
        files = list(dict.fromkeys(sources[at].file for at in rows))
        found = {file: list(_of_day(read[file], day[2], dates[file])) for file in files}
        order = sorted(((stamp, files.index(file), file, swept) for file, own in found.items() for stamp, swept in own
                        if not swept.rise.word), key=lambda each: (*each[:2], each[3].rise.begin))  # fmt: skip
        spoken = {(sources[at].file, int(row.pull)): at for at, row in rows.items() if given(row.pull)}
        whole = {sources[at].file: at for at, row in rows.items() if not given(row.pull)}
        used: set[int] = set()
        for number, (_, _, file, swept) in enumerate(order, 1):
            at = spoken.get((file, number), whole.get(file, -1))
            if at >= 0:
                used.add(at)
                self._points += _points(rows[at], number, swept)
        for file in files:
            if (told := next((at for at in sorted(used) if sources[at].file == file), None)) is not None:
                self._beside(sheet, told, rows[told], read[file], found[file])
        for at in sorted(rows.keys() - used):
            file, row = sources[at].file, rows[at]
            own = found[file]
            sheet.set_aside(_only(sheet, at), "no-pull-in-log", "log", _none(row, read[file], own, dates[file]),
                            "a full-load sweep through all bands of speed on that day")  # fmt: skip

    def _beside(self, sheet: Sheet, at: int, row: Reading, of: Sweeps, own: Sequence[Found]) -> None:
        """What else the day's log holds: pulls that were broken off keep a row, other rises of speed are counted."""
        others = [swept for _, swept in own if swept.rise.word]
        for n, swept in enumerate((each for each in others if each.rise.word in _OWN_ROW), 1):
            rise = swept.rise
            ends = f"{rise.speeds[0] / RPM:.0f} to {rise.speeds[-1] / RPM:.0f} rpm"
            what = f"a sweep from {ends}, {rise.begin:.0f} s into the log, is no pull: {_WHY[rise.word]}"
            sheet.tell(at, rise.word, "log", what, "a full-load sweep through all bands of speed",
                       next_step="nothing, if it was broken off on purpose; it is in no mean")  # fmt: skip
            self._points.append(
                {
                    "of": row.reading,
                    "reading": f"{row.reading}.off.{n}",
                    "use": rise.word,
                    "speed": float(rise.speeds[-1]),
                }
            )
        pulls = len(own) - len(others)
        note = f"{of.log.file.rpartition('/')[2]}: {counted(pulls, 'pull')} found on {row.date}{_counts(others)}"
        more = f"; of all its rises only the first {MOST} were looked at" if of.more else ""
        self._notes.setdefault(sheet.place(at)[0], []).append(note + more)

    def put_in(self, readings: Readings) -> Readings:
        """The readings with a row for each speed of each pull that was found."""
        import pandas as pd

        if not self._inputs:
            return readings
        frame = readings.frame
        if self._points:
            places = {name: at for at, name in enumerate(frame["reading"].tolist())}
            at = [places[each.pop("of")] for each in self._points]
            more = frame.iloc[at].copy().reset_index(drop=True)
            for name in dict.fromkeys(name for each in self._points for name in each):
                values = [each.get(name) for each in self._points]
                given_at = [n for n, value in enumerate(values) if value is not None]
                more.loc[given_at, name] = [values[n] for n in given_at]
            frame = pd.concat([frame, more], ignore_index=True)
        files = {name: {**facts, "notes": [*facts["notes"], *self._notes.get(name, ())]}
                 for name, facts in readings.files.items()}  # fmt: skip
        return replace(readings, frame=frame, files=files, inputs=dict(sorted(self._inputs.items())))


def _day(row: Reading) -> Day:
    return row.engine, row.phase, row.date


def _only(sheet: Sheet, at: int) -> np.ndarray:
    mask = np.zeros(len(sheet.frame), dtype=bool)
    mask[at] = True
    return mask


def _ramps(phase: Phase) -> Iterator[Planned]:
    """Rising ramps of a schedule."""
    for step in phase.schedule:
        if step.speed_to > step.speed:
            torque = None if step.torque is None else (step.torque + (step.torque_end or 0.0)) / 2
            yield Planned(step.speed, step.speed_to, step.time, torque)


def _of_day(of: Sweeps, date: str, dates: set[str]) -> Iterator[Found]:
    """Rises of one day, with a stamp to order them by; all of a log without dates, if it is named for one day alone."""
    if not of.log.start:
        yield from (("", each) for each in of.swept if len(dates) == 1)
        return
    begin = datetime.datetime.fromisoformat(of.log.start)
    for each in of.swept:
        stamp = (begin + datetime.timedelta(seconds=each.rise.begin)).isoformat()
        if stamp[:10] == date:
            yield stamp, each


def _points(row: Reading, number: int, swept: Swept) -> Iterator[dict[str, Point]]:
    """A reading for each speed of a pull: what the log says of the air before what the row says."""
    air = {field: float(swept.means[name]) * times for field, (name, times) in _AIR.items()
           if name in swept.means and np.isfinite(swept.means[name])}  # fmt: skip
    columns = (swept.rise.speeds, swept.rise.torques, swept.rise.rates)
    for n, (speed, torque, rate) in enumerate(zip(*(each.tolist() for each in columns), strict=True), 1):
        yield {"of": row.reading, "reading": f"{row.reading}.{number}.{n}", "pull": float(number), "speed": speed,
               "torque": torque, "ramp": rate, **air}  # fmt: skip


def _counts(others: Iterable[Swept]) -> str:
    """Rises of speed that are no pulls, by why."""
    found = Counter(each.rise.word for each in others)
    if not found:
        return ""
    whys = "; ".join(f"{_WHY[word]}: {count}" for word, count in sorted(found.items()))
    verb = "is" if found.total() == 1 else "are"
    return f", {counted(found.total(), 'other rise')} of speed {verb} none ({whys})"


def _none(row: Reading, of: Sweeps, own: Sequence[Found], dates: set[str]) -> str:
    """Why a row stands without pulls."""
    pulls = sum(not swept.rise.word for _, swept in own)
    if not of.log.usable:
        return "the log could not be read; see its errors"
    if not of.log.start and len(dates) > 1:
        return f"the log bears no dates, and rows name it for {counted(len(dates), 'day')}"
    if pulls and given(row.pull):
        return f"there is no pull {int(row.pull)}: {counted(pulls, 'pull')} was found that day".replace(
            "pulls was", "pulls were"
        )
    if pulls:
        return "each pull of the log has a row of its own already"
    others = _counts(swept for _, swept in own)
    ran = f"; it begins on {of.log.start[:10]}" if of.log.start and not own else ""
    return f"no full-load sweep was found in the log on {row.date}{others}{ran}"
