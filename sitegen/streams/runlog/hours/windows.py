"""The windows of a long run: one point of its schedule, once a visit or once an hour, and what was read in each."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from sitegen.logs.join import Log
from sitegen.methods import schedule
from sitegen.methods.long_run import Levels
from sitegen.program.model import Build, Phase, Program, VisitBands, WindowRule
from sitegen.shelves import digest
from sitegen.streams.runlog.blowby import METERS, corrected, smoothed
from sitegen.streams.runlog.hours.measures import CHANNELS
from sitegen.streams.runlog.judged import IDLE, base, column, running
from sitegen.streams.runlog.read import PAUSE
from sitegen.streams.runlog.steps import parts
from sitegen.vocabulary import Readings, Refused

LONG = 20 * 3600.0  # s planned from which on a run is looked at over its hours; common practice, no source
FEW_SAMPLES = 3  # of a channel in a window
BY_HAND = 120.0  # s by which the clock of who wrote a stop down may be off
TWICE = 1.0  # h run within which an event and a fill tell of the same change
UNKNOWN = 0.02  # share of the hours run that may be missing from the record
SHORT_SIDE = 0.1  # share of all windows below which a side has too few for a level of its own
OF_METER, OF_OIL, OF_PAUSE = "meter changed", "oil changed", "paused"
CONDITIONS = ("speed", "torque", "oil_temperature", "intake_temperature")
OFF = {
    "speed": "speed off", "torque": "torque off", "oil_temperature": "oil temperature off",
    "intake_temperature": "intake temperature off",
}  # fmt: skip
NOT_SETTLED, NOT_READ, NOT_RUN = "not settled", "not read", "not run"
COUNTER = "hours"  # channel of the engine's own counter


@dataclass(frozen=True)
class Window:
    """A stretch of the log at the point."""

    begin: float  # s of the log, settling left out
    end: float
    hour: float  # running hours at its middle, since the phase began
    used: np.ndarray  # places of the bins within the bands
    off: str  # why it does not count; "" where it does


@dataclass(frozen=True)
class Change:
    """What gives the windows after it a level of their own."""

    at: float  # s of the log
    what: str
    hour: float = 0.0  # run


@dataclass(frozen=True)
class Hours:
    """A long run by its windows."""

    log: Log
    windows: tuple[Window, ...]
    planned: int  # windows
    run: float  # h
    to_run: float  # h planned
    known: bool  # False: holes in the record leave open how long it ran
    clocked: bool  # pauses are known, so that the time of day is
    changes: tuple[Change, ...]

    @property
    def counted(self) -> list[Window]:
        return [each for each in self.windows if not each.off]

    def hour_at(self, at: np.ndarray) -> np.ndarray:
        """Running hours at instants of the log [s]."""
        return np.asarray(np.interp(at, self.log.bins["t"].to_numpy(), _hours(self.log, running(self.log))))

    @property
    def lost(self) -> Counter[str]:
        """Why windows do not count, and how many each."""
        found = Counter(each.off for each in self.windows if each.off)
        missing = self.planned - len(self.windows)
        if missing > 0:
            found[NOT_RUN] = missing
        return found


def long_runs(program: Program, build: Build) -> Iterator[Phase]:
    """Phases of a build that are looked at over their hours."""
    for phase in program.phases_of(build):
        if phase.kind == "durability" or planned_seconds(phase) >= LONG:
            yield phase


def planned_seconds(phase: Phase) -> float:
    """Time of the whole schedule [s]."""
    return phase.repeat * sum(step.time for step in phase.schedule)


def hours_of(
    program: Program, phase: Phase, log: Log, changes: Sequence[Change], stood: Sequence[tuple[float, float]] = ()
) -> Hours:
    """The windows of a run; `stood` are stretches [s of the log] in which it is on record that the engine stood.

    Refuses "no-schedule", "no-speed" and "no-steady-step".
    """
    planned = tuple(parts(phase))
    rule = program.run
    cutting, bands = (WindowRule(), VisitBands()) if rule is None else (rule.windows, rule.visits)
    cut = log.once(("windows", digest((planned, cutting, bands))), lambda: _windows(log, planned, cutting, bands))
    t, hour = log.bins["t"].to_numpy(), cut.hour
    holes = sum(_left_open(hole, stood) for hole in cut.holes)
    total = float(hour[-1]) if len(hour) else 0.0
    changes = [
        Change(each.at, each.what, float(np.interp(each.at, t, hour)))
        for each in sorted([*changes, *_of_log(log)], key=lambda each: each.at)
    ]
    changes = [
        each for n, each in enumerate(changes)
        if not any(each.what == one.what and each.hour - one.hour <= TWICE for one in changes[:n])
    ]  # fmt: skip
    known = COUNTER in log.bins or holes <= UNKNOWN * max(3600 * total, 1.0)
    return Hours(
        log, cut.windows, cut.planned, total, planned_seconds(phase) / 3600, known, _clocked(log), tuple(changes)
    )  # fmt: skip


class _Cut(NamedTuple):
    """What follows of the windows from the log and the schedule alone."""

    windows: tuple[Window, ...]
    planned: int
    holes: Sequence[tuple[float, float]]
    hour: np.ndarray


def _windows(log: Log, planned: Sequence[schedule.Part], cutting: WindowRule, bands: VisitBands) -> _Cut:
    t, ran = log.bins["t"].to_numpy(), running(log)
    wide = schedule.Bands(math.inf, math.inf)
    held = schedule.held(t, log.width, column(log, "speed"), column(log, "torque"), planned, wide, IDLE, step=log.step)
    point = _point(planned)
    hour = _hours(log, ran)
    found: list[Window] = []
    for place, begin, end in held.windows:
        if place in point:
            found += _cut(t, ran, hour, log.width, planned[place].time, cutting, (begin, end))
    count = sum(_pieces(planned[place].time, cutting)[0] for place in point)
    return _Cut(tuple(_judged(log, found, bands, cutting.inlet)), count, held.holes, hour)


def _left_open(hole: tuple[float, float], stood: Sequence[tuple[float, float]]) -> float:
    """Seconds of a hole in the record in which nothing says that the engine stood."""
    begin, end = hole
    covered = sum(max(min(end, to + BY_HAND) - max(begin, at - BY_HAND), 0.0) for at, to in stood)
    return max(end - begin - covered, 0.0)


def stops_on_record(readings: Mapping[str, Readings], engine: str, phase: str) -> list[tuple[float, float]]:
    """Stops of the event log that say how long they lasted [s of the log]."""
    events = readings["events"].frame
    own = events[
        (events["engine"] == engine) & (events["phase"] == phase) & (events["use"] == "") & (events["what"] == "stop")
    ]
    return [(float(at), float(at + lasted)) for at, lasted in zip(own["at"], own["lasted"], strict=True)
            if at == at and lasted == lasted]  # fmt: skip


def _point(planned: Sequence[schedule.Part]) -> frozenset[int]:
    """Places in the plan of the point that is followed: the reference point visited most, else the longest step."""
    groups: dict[tuple[float, float | None], list[int]] = {}
    reference = any(part.reference for part in planned)
    for place, part in enumerate(planned):
        steady = part.speed == part.speed_to and part.torque_to in {None, part.torque}
        if steady and part.reference == reference:
            groups.setdefault((part.speed, part.torque), []).append(place)
    if not groups:
        raise Refused("no-steady-step")
    return frozenset(max(groups.values(), key=lambda own: sum(planned[place].time for place in own)))


def _pieces(time: float, rule: WindowRule) -> tuple[int, float]:
    """Windows in a stretch of so many seconds, and the settling left out of it [s]."""
    settle = min(rule.settle, time / 2)
    return max(1, math.floor((time - settle) / rule.every + 0.25)), settle


def _cut(
    t: np.ndarray, ran: np.ndarray, hour: np.ndarray, width: float, time: float, rule: WindowRule,
    span: tuple[float, float],
) -> Iterator[Window]:  # fmt: skip
    """Windows of one step as run, each start and stop in it a new beginning; conditions not yet looked at."""
    inside = ran & (t >= span[0]) & (t < span[1])
    edges = np.flatnonzero(np.diff(inside.astype(int), prepend=0, append=0))
    asked = min(rule.every, time - min(rule.settle, time / 2))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        begin, end = float(t[first]), float(t[last - 1]) + width
        settle = min(rule.settle, time / 2)
        if end - begin - settle < asked / 2:
            continue
        count, _ = _pieces(end - begin, rule)
        for number in range(count):
            at = begin + settle + number * rule.every
            to = min(at + rule.every, end) if time > rule.every + rule.settle else end
            low, high = np.searchsorted(t, (at, to))
            yield Window(at, to, float(np.interp((at + to) / 2, t, hour)), low + np.flatnonzero(inside[low:high]), "")


def _judged(log: Log, windows: Sequence[Window], bands: VisitBands, inlet: float | None) -> Iterator[Window]:
    """The windows, with the bins that are within the bands about the medians over all of them."""
    values = {name: smoothed(found, log.width) for name in CONDITIONS if (found := column(log, name)) is not None}
    # medians: of a log of a row a minute the line to the next step is a good part of a visit
    medians = {
        name: np.array([float(np.nanmedian(own[each.used])) if np.isfinite(own[each.used]).any() else math.nan
                        for each in windows])
        for name, own in values.items()
    }  # fmt: skip
    middle = {name: float(np.nanmedian(own)) for name, own in medians.items() if np.isfinite(own).any()}
    limits = {
        "speed": bands.speed * middle.get("speed", math.nan),
        "torque": bands.torque * abs(middle.get("torque", math.nan)),
        "oil_temperature": bands.oil,
        "intake_temperature": math.inf if inlet is None else inlet,
    }
    for each in windows:
        near = {
            name: np.abs(own[each.used] - middle[name]) <= limits[name]
            for name, own in values.items()
            if name in middle and math.isfinite(limits[name])
        }
        good = each.used[np.all([np.ones(len(each.used), dtype=bool), *near.values()], axis=0)]
        off = ""
        if 2 * len(good) < len(each.used):
            off = OFF[min(near, key=lambda name: int(near[name].sum()))]
        elif _moves(values.get("oil_temperature"), each.used, bands.oil):
            off = NOT_SETTLED
        yield Window(each.begin, each.end, each.hour, good, off)


def _moves(values: np.ndarray | None, used: np.ndarray, band: float) -> bool:
    """Whether oil temperature changes by more than its band from the first quarter of a window to the last."""
    own = np.zeros(0) if values is None else values[used]
    own = own[np.isfinite(own)]
    quarter = len(own) // 4
    return bool(quarter) and abs(float(own[-quarter:].mean() - own[:quarter].mean())) > band


def _hours(log: Log, ran: np.ndarray) -> np.ndarray:
    """Running hours at the beginning of each bin: by the engine's counter where one was logged, else as logged."""
    counter = column(log, COUNTER)
    if counter is not None and np.isfinite(counter).any():
        t = log.bins["t"].to_numpy()
        good = np.isfinite(counter)
        found = np.maximum.accumulate(np.interp(t, t[good], counter[good]))
        return np.asarray((found - found[0]) / 3600)
    return np.asarray((np.cumsum(ran) - ran) * log.width / 3600)


def _clocked(log: Log) -> bool:
    """Whether the pauses between files are known: they bear dates, or their elapsed time goes on."""
    files = log.files
    if log.start:
        return True
    goes_on = all(later.first > earlier.first for earlier, later in pairwise(files))
    return goes_on and not any(each.restarts for each in files)


def _of_log(log: Log) -> Iterator[Change]:
    """Changes that the log itself tells: of the meter from file to file, and pauses of a week and more."""
    meter = None
    for file, offset in zip(log.files, log.offsets, strict=True):
        own = file.meters.get(METERS[0], meter)
        if meter is not None and own != meter:
            yield Change(offset, OF_METER)
        meter = own
    for begin, end in log.gaps:
        if end - begin >= PAUSE:  # as after a change of meter and fill
            yield Change(end, OF_PAUSE)


def changes_on_record(
    readings: Mapping[str, Readings], engine: str, phase: str, began: float
) -> Iterator[tuple[float, str, bool]]:
    """Changes of meter and oil that people wrote down: when, what, and whether it is in running hours.

    Events are in seconds of the log; fills of the sump in hours since the cold build, of which `began` had been run.
    """
    events = readings["events"].frame
    own = events[(events["engine"] == engine) & (events["phase"] == phase) & (events["use"] == "")]
    for what, at in zip(own["what"], own["at"], strict=True):
        if what in {"meter-change", "oil-change"} and at == at:
            yield float(at), OF_METER if what == "meter-change" else OF_OIL, False
    oil = readings["oil"].frame
    own = oil[(oil["engine"] == engine) & (oil["phase"] == phase) & (oil["use"] == "") & (oil["what"] == "fill")]
    for hours in own["hours"]:
        if hours == hours and float(hours) / 3600 - began > 0:
            yield float(hours) / 3600 - began, OF_OIL, True


def in_seconds(log: Log, told: Sequence[tuple[float, str, bool]]) -> list[Change]:
    """The same as instants of the log [s]."""
    hour = _hours(log, running(log))
    t = log.bins["t"].to_numpy()
    return [Change(float(np.interp(at, hour, t)) if run else at, what) for at, what, run in told]


def channels_of(log: Log) -> list[str]:
    """Logged channels that are followed over the hours."""
    return [each for each in log.channels if base(each)[0] in CHANNELS and each not in log.drawn]


def levels(program: Program, hours: Hours, channel: str) -> Levels:
    """Levels of a channel by window, in the unit it is printed in. Refuses what a flow cannot be brought to."""
    kind, log = CHANNELS[base(channel)[0]], hours.log
    values = corrected(program, log, channel) if kind.name in METERS else log.bins[channel].to_numpy()
    there = log.sampled(channel) & np.isfinite(values)
    changes = sorted({each.at for each in hours.changes if each.what != OF_METER or kind.name in METERS})
    rows = []
    for each in hours.counted:
        own = each.used[there[each.used]]
        if len(own) >= FEW_SAMPLES:
            middle = (each.begin + each.end) / 2
            clock = middle / 3600 if hours.clocked else math.nan
            side = int(np.searchsorted(changes, middle))
            rows.append((each.hour, clock, float(values[own].mean()) * kind.factor + kind.offset, side))
    if not rows:
        raise Refused("few-windows")
    hour, clocks, level, sides = (np.array(each) for each in zip(*rows, strict=True))
    count = Counter(sides.tolist())
    kept = np.array([count[side] >= SHORT_SIDE * len(sides) for side in sides.tolist()])
    return Levels(hour, clocks, level, sides.astype(np.int64)).kept(kept)
