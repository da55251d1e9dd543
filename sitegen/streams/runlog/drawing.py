"""What pages show of the logs of a build: a few facts of each, and the points that are drawn.

All of it follows from the logs alone and is some thousands of numbers, so that a page made again reads no log.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from sitegen.logs.join import Log
from sitegen.page.blocks import Track
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.runlog.judged import base
from sitegen.streams.runlog.measures import MEANS
from sitegen.vocabulary import Readings

Floats = npt.NDArray[np.float64]
SHOWN = ("speed", "torque", "blowby", "oil_temperature")  # what a run is looked at first by
RUNS, LONG_RUN, OTHERS = "runs", "durability-run", "other-channels"  # figures
HIDDEN = 0.02  # share of a panel's height that least and most have to lie apart to be seen beside the line
FINER = 60.0  # s of the log a point, where a reader looks closer at a run of which the page holds fewer
FINE, COARSE = 1200, 240  # points of a channel in one figure; least and most of what lies between are kept
DIGITS = 6  # decimals at most of what is drawn
TITLES = {
    "speed": ("Speed", "rpm", 30 / math.pi, 0.0),
    "torque": ("Torque", "N m", 1.0, 0.0),
    "demand": ("Demand", "%", 100.0, 0.0),
    "blowby": ("Blow-by, as the meter reads", "L/min", 60e3, 0.0),
    "blowby_2": ("Blow-by, second meter, as it reads", "L/min", 60e3, 0.0),
    "blowby_temperature": ("Gas temperature at the meter", "°C", 1.0, -273.15),
    "blowby_pressure": ("Gas pressure at the meter", "kPa absolute", 1e-3, 0.0),
    "ambient_pressure": ("Ambient pressure", "kPa absolute", 1e-3, 0.0),
    "air_temperature": ("Air temperature", "°C", 1.0, -273.15),
    "air_humidity": ("Air humidity", "%", 100.0, 0.0),
    "intake_temperature": ("Intake temperature", "°C", 1.0, -273.15),
    "hours": ("Engine hours", "h", 1 / 3600, 0.0),
}


class Unit(NamedTuple):
    """How a channel is called, and what turns SI into its unit."""

    title: str
    unit: str
    factor: float
    offset: float


class Sketch(NamedTuple):
    """What is told of a log. SI."""

    seconds: float
    running_seconds: float
    channels: Mapping[str, tuple[float | None, float, float]]  # mean of its bins (None: no value), least and most read
    drawn: Mapping[str, tuple[str, str]]  # as in the log
    stated: Mapping[str, Sequence[float]]

    def unit(self, channel: str) -> Unit:
        """Of one of its channels, one of one's own by what its entry says."""
        if channel not in self.drawn:
            return unit_of(channel)
        title, unit = self.drawn[channel]
        return Unit(title, "" if unit == "1" else unit, 1.0, 0.0)


class Line(NamedTuple):
    """A channel over all runs of a figure."""

    path: Track
    finer: Track | None  # where the path is so coarse that a reader may look closer
    paces: Sequence[float]  # s of the log between two points, run by run


class Drawing(NamedTuple):
    """What is told and drawn of all logs of a build."""

    sketches: Mapping[str, Sketch]  # by phase, in their order
    lines: Mapping[str, Mapping[str, Line]]  # by figure and channel


def unit_of(channel: str) -> Unit:
    """Of a channel that is not one's own."""
    name, cylinder = base(channel)
    if name in TITLES:
        return Unit(*TITLES[name])
    measure, factor, offset = MEANS[name]
    title = measure.title[0].upper() + measure.title[1:]
    return Unit(f"{title}, cylinder {cylinder}" if cylinder else title, measure.unit, factor, offset)


def drawing(view: View) -> Drawing:
    """Of the build of an engine page; as kept where its logs are what they were."""
    about, build = tuple((phase.id, phase.kind) for phase in view.phases), view.the_build.id

    def make(readings: Readings) -> Drawing:
        found = [(phase, readings.logs.get((build, phase.id))) for phase in view.phases]
        return _drawing([(phase, log) for phase, log in found if isinstance(log, Log)])

    return view.the_desk.once(
        ("runlog.drawing", build, about),
        lambda: view.the_desk.of_record("runlog", build, ("drawing", *about), make, _packed, _unpacked),
    )


def _packed(drawn: Drawing) -> bytes:
    lines = {
        figure: {channel: [_columns(own.path), _columns(own.finer), own.paces] for channel, own in of.items()}
        for figure, of in drawn.lines.items()
    }
    return json.dumps([drawn.sketches, lines], separators=(",", ":")).encode()


def _columns(track: Track | None) -> list[object] | None:
    return None if track is None else [getattr(track, each.name) for each in fields(Track)]


def _unpacked(content: bytes) -> Drawing:
    sketches, lines = json.loads(content)
    found = {
        figure: {
            channel: Line(Track(*path), None if finer is None else Track(*finer), paces)
            for channel, (path, finer, paces) in of.items()
        }
        for figure, of in lines.items()
    }
    return Drawing({phase: Sketch(*own) for phase, own in sketches.items()}, found)


def _drawing(logs: Sequence[tuple[Phase, Log]]) -> Drawing:
    """Durability stands apart: its hours would press the rest together."""
    groups = {
        RUNS: [log for phase, log in logs if phase.kind != "durability"],
        LONG_RUN: [log for phase, log in logs if phase.kind == "durability"],
    }
    lines = {
        name: {channel: line(own, channel, FINE) for channel in SHOWN if any(channel in log.facts for log in own)}
        for name, own in groups.items()
        if own
    }
    others = dict.fromkeys(channel for _, log in logs for channel in log.channels if channel not in SHOWN)
    every = [log for _, log in logs]
    lines[OTHERS] = {channel: line(every, channel, coarse(len(others))) for channel in others}
    return Drawing({phase.id: _sketch(log) for phase, log in logs}, lines)


def _sketch(log: Log) -> Sketch:
    channels = {}
    for channel, facts in log.facts.items():
        values = log.bins[channel].to_numpy(dtype=float)
        values = values[np.isfinite(values)]
        channels[channel] = (float(values.mean()) if len(values) else None, float(facts.low), float(facts.high))
    return Sketch(float(log.seconds), float(log.running_seconds), channels, dict(log.drawn), dict(log.stated))


def coarse(channels: int) -> int:
    """Points of each of so many channels in one figure: of more than ten fewer, so that a page stays light.

    >>> coarse(9), coarse(26)
    (240, 92)
    """
    return COARSE * 10 // max(channels, 10)


def line(logs: Sequence[Log], channel: str, most: int) -> Line:
    """A line of at most so many points over all runs, the same closer, and how far apart its points are."""
    told = next((log.drawn[channel] for log in logs if channel in log.drawn), None)
    unit = unit_of(channel) if told is None else Unit(*told, 1.0, 0.0)
    at = sum(log.seconds for log in logs) / 60
    begin, paces = 0.0, []
    drawn: list[Stretches] = []
    finer: list[Stretches] = []
    for run, log in enumerate(logs):
        if channel in log.facts:
            points = thinned(log, channel, max(40, round(most * log.seconds / 60 / at)) if at else most)
            drawn.append(_shown(log, points, run, begin, unit))
            if len(points.t):
                paces.append(float(log.seconds / len(points.t)))
                if paces[-1] > FINER * 1.5:
                    close = thinned(log, channel, round(log.seconds / FINER))
                    finer.append(_shown(log, close, run, begin, unit))
        begin += log.seconds / 60
    return Line(_path(drawn), _path(finer) if finer else None, paces)


class Points(NamedTuple):
    """Stretches of a log in SI: time [s] and mean of each, least and most of its samples."""

    t: Floats
    value: Floats
    low: Floats
    high: Floats


def thinned(log: Log, channel: str, most: int) -> Points:
    """At most so many stretches of the log, none of its extremes lost."""
    names = ("t", channel, f"{channel}.low", f"{channel}.high")
    bins = Points(*(log.bins[name].to_numpy(dtype=float) for name in names))
    known = np.flatnonzero(np.isfinite(bins.value))
    parts = np.split(known, np.searchsorted(bins.t[known], _breaks(log, most)))
    found = [
        each
        for part in parts
        if len(part)
        for each in _thinned(bins, part, max(1, round(most * len(part) / len(known))))
    ]
    points = Points(*(np.concatenate([np.empty(0), *own]) for own in (zip(*found, strict=True) if found else [()] * 4)))
    return points._replace(t=points.t + log.width / 2)


def _breaks(log: Log, most: int) -> list[float]:
    """Instants [s] at which the record breaks off for longer than so many points lie apart."""
    wide = log.seconds / max(most, 1)
    return [begin for begin, end in log.gaps if end - begin > wide]


def _thinned(bins: Points, known: npt.NDArray[np.intp], most: int) -> Iterator[Points]:
    """The same of some bins, all with a value, at the begin of their bins."""
    count = min(most, len(known))
    size, more = divmod(len(known), count)  # stretches are of two lengths, the longer first: a block of rows of each
    longer = more * (size + 1)
    for rows in (known[:longer].reshape(more, size + 1), known[longer:].reshape(count - more, size)):
        if len(rows):
            means = bins.value[rows]
            ends = _of_samples(np.fmin, bins.low[rows], means), _of_samples(np.fmax, bins.high[rows], means)
            yield Points(bins.t[rows].mean(axis=1), means.mean(axis=1), *ends)


def _of_samples(which: np.ufunc, ends: Floats, means: Floats) -> Floats:
    """Least or most of the samples of each row; of a row between samples, of the line between them."""
    found = np.asarray(which.reduce(ends, axis=1), dtype=float)
    between = ~np.isfinite(found)
    if between.any():
        found[between] = which.reduce(means[between], axis=1)
    return found


def pieces(log: Log, points: Points) -> npt.NDArray[np.intp]:
    """In which unbroken piece of the record each point lies: a gap wider than points lie apart breaks the line."""
    return np.searchsorted(_breaks(log, len(points.t)), points.t)


class Stretches(NamedTuple):
    """Points of one run as an eye can tell them: whole numbers of `digits` decimals."""

    at: Floats  # min
    value: Floats
    low: Floats
    high: Floats
    run: int
    piece: npt.NDArray[np.intp]
    digits: int


def _shown(log: Log, points: Points, run: int, begin: float, unit: Unit) -> Stretches:
    """With the digits an eye can tell; extremes hidden by the line are the line."""
    value, low, high = (each * unit.factor + unit.offset for each in points[1:])
    wide = float(np.max(high, initial=-math.inf) - np.min(low, initial=math.inf)) if len(value) else 0.0
    wide = wide or 1.0
    digits = min(3 - math.floor(math.log10(wide)), DIGITS)
    v, lo, hi = (np.rint(each * 10.0**digits) for each in (value, low, high))
    hidden = hi - lo <= HIDDEN * wide * 10.0**digits
    lo, hi = np.where(hidden, v, lo), np.where(hidden, v, hi)
    return Stretches(np.round(begin + points.t / 60, 4), v, lo, hi, run, pieces(log, points), digits)


def _path(runs: Sequence[Stretches]) -> Track:
    """All runs in whole grains of one digit: the coarsest that tells them all."""
    digits = max([0, *(each.digits for each in runs)])
    of = [[], [], []] if not runs else [[own[n] * 10.0 ** (digits - own.digits) for own in runs] for n in (1, 2, 3)]
    value, low, high = (np.concatenate([np.empty(0), *each]).astype(np.int64) for each in of)
    while digits and not any((each % 10).any() for each in (value, low, high)):
        digits, value, low, high = digits - 1, value // 10, low // 10, high // 10
    grains = 10**digits
    return Track(
        [at for each in runs for at in each.at.tolist()],
        np.diff(value, prepend=0).tolist(), (value - low).tolist(), (high - value).tolist(),
        [each.run for each in runs for _ in each.at], [int(at) for each in runs for at in each.piece],
        grains, int(np.min(low, initial=0 if not len(low) else low[0])) / grains,
        int(np.max(high, initial=0 if not len(high) else high[0])) / grains,
    )  # fmt: skip
