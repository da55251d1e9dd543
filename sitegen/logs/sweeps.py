"""Full-load sweeps of one log, at the rate of its samples: found as the file is read, in bounded memory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sitegen.logs.reading import LogFile, read_log
from sitegen.methods import sweeps
from sitegen.methods.sweeps import LONGEST, Planned, Rise
from sitegen.program.model import LogSource

Floats = npt.NDArray[np.float64]
TICK = 0.2  # s, over which samples are averaged
MOST = 999  # rises of a log; beyond them it is no log of pulls
AIR = ("air_temperature", "ambient_pressure", "air_humidity", "oil_temperature", "coolant_temperature")
_SMOOTH = 1.0  # s
_CHUNK = 100_000  # samples of speed between two looks
_LENT = 300.0  # s, within which a sample of a slow channel speaks for a sweep
_GAP = 2.0  # s, or three usual steps, without a speed: what comes after it is another rise


@dataclass(frozen=True)
class Swept:
    """One rise of speed of a log with the means of the other channels during it."""

    rise: Rise
    means: Mapping[str, float]  # channel -> SI; NaN where it has no sample then


@dataclass(frozen=True)
class Sweeps:
    """What was found in one log. `swept` holds everything that looks like a pull, by time."""

    log: LogFile
    swept: tuple[Swept, ...] = ()
    more: bool = False  # there were more than `MOST`, which are not in it

    @property
    def pulls(self) -> tuple[Swept, ...]:
        return tuple(each for each in self.swept if not each.rise.word)


def find_sweeps(
    source: LogSource, path: Path, file: str, band: tuple[float, float], displaced_torque: float,
    planned: Sequence[Planned] = (),
) -> Sweeps:  # fmt: skip
    """Sweeps through a band of speed [rad/s]; what is one and what not: `methods.sweeps`.

    displaced_torque: torque [N m] of a mean pressure of 1 Pa. Never raises for what the file holds.
    """
    finder = _Finder(*band)
    log = read_log(source, path, file, finder.take)
    if not log.usable:
        return Sweeps(log)
    finder.look(last=True)
    rises = sweeps.judged([each.rise for each in finder.found], finder.most, displaced_torque, planned)
    made = tuple(replace(each, rise=rise) for each, rise in zip(finder.found, rises, strict=True))
    stated = source.constants
    return Sweeps(log, tuple(replace(each, means={**stated, **each.means}) for each in made), finder.more)


class _Finder:
    """Keeps the samples of the last quarter of an hour, and what was found in those before."""

    def __init__(self, low: float, high: float) -> None:
        self.found: list[Swept] = []
        self.more = False
        self._low, self._high = low, high
        self._parts: dict[str, list[tuple[Floats, Floats]]] = {}
        self._waiting = 0
        self._speeds = np.linspace(low, high, sweeps.GRID)
        self._most = np.full(sweeps.GRID, np.nan)

    @property
    def most(self) -> tuple[Floats, Floats]:
        """Speeds, and the most torque over a second at each."""
        return self._speeds, self._most

    def take(self, samples: Mapping[str, tuple[Floats, Floats]]) -> None:
        """Samples of one block: instants [s] and numbers in SI, by channel."""
        for name in {"speed", "torque", "demand", *AIR} & set(samples):
            self._parts.setdefault(name, []).append(samples[name])
        self._waiting += len(samples["speed"][0]) if "speed" in samples else 0
        if self._waiting > _CHUNK:
            self.look(last=False)

    def look(self, *, last: bool) -> None:
        """Finds what has ended; what may go on is kept for the next look."""
        self._waiting = 0
        joined = {name: (np.concatenate([t for t, _ in parts]), np.concatenate([x for _, x in parts]))
                  for name, parts in self._parts.items()}  # fmt: skip
        if "speed" not in joined or not len(joined["speed"][0]):
            return
        first, until = float(joined["speed"][0][0]), float(joined["speed"][0][-1])
        ticks = {name: _ticks(*own, first, until) for name, own in joined.items() if name not in AIR}
        open_from = np.inf if last else until - LONGEST
        kept_from = open_from
        known = np.flatnonzero(np.isfinite(ticks["speed"]))
        t: Floats = np.asarray(first + (known + 0.5) * TICK, dtype=float)
        gap = max(_GAP, 3 * float(np.median(np.diff(t)))) if len(t) > 1 else _GAP
        for part in np.split(np.arange(len(known)), np.flatnonzero(np.diff(t) > gap) + 1):
            kept_from = max(kept_from, self._segment(t[part], known[part], ticks, joined, open_from))
        if not last:
            self._parts = {name: [(own[0][own[0] >= kept_from], own[1][own[0] >= kept_from])]
                           for name, own in joined.items()}  # fmt: skip

    def _segment(
        self, t: Floats, places: npt.NDArray[np.int64], ticks: Mapping[str, Floats],
        samples: Mapping[str, tuple[Floats, Floats]], until: float,
    ) -> float:  # fmt: skip
        """Rises within a stretch without gaps that begin before `until`; instant at which the last of them ended."""
        end = -np.inf
        if len(t) < 2:
            return end
        width = max(1, round(_SMOOTH / float(np.median(np.diff(t)))))
        speed = _smooth(ticks["speed"][places], width)
        torque = ticks["torque"][places] if "torque" in ticks else np.full(len(t), np.nan)
        self._envelope(speed, _smooth(torque, width))
        demand = ticks["demand"][places] if "demand" in ticks else None
        for begin, stop in sweeps.rises(speed, sweeps.REVERSAL * (self._high - self._low)):
            if t[begin] >= until:
                break
            own = slice(begin, stop + 1)
            found = sweeps.rise(t[own], speed[own], torque[own], self._low, self._high,
                                None if demand is None else demand[own])  # fmt: skip
            end = max(end, float(t[stop])) if until < np.inf else end
            if found is None:
                continue
            means = {name: _during(*samples[name], found.begin, found.end) for name in AIR if name in samples}
            self.more |= len(self.found) >= MOST
            if len(self.found) < MOST:
                self.found.append(Swept(found, means))
        return end

    def _envelope(self, speed: Floats, level: Floats) -> None:
        """The most torque at each speed of the grid."""
        step = self._speeds[1] - self._speeds[0]
        place = np.rint((speed - self._low) / step)
        good = np.isfinite(level) & (place >= 0) & (place < len(self._most))
        most = np.full(len(self._most), -np.inf)
        np.maximum.at(most, place[good].astype(np.int64), level[good])
        self._most = np.where(np.isfinite(most), np.fmax(self._most, most), self._most)


def _ticks(t: Floats, x: Floats, first: float, last: float) -> Floats:
    """Means by tick; NaN without a sample."""
    count = int((last - first) / TICK) + 1
    place = np.floor((t - first) / TICK + 1e-6).astype(np.int64)
    inside = (place >= 0) & (place < count)
    n = np.bincount(place[inside], minlength=count)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.bincount(place[inside], x[inside], minlength=count) / np.where(n, n, np.nan))


def _smooth(x: Floats, width: int) -> Floats:
    """Mean over so many neighbours, fewer at the ends and where some are missing."""
    if width == 1:
        return x
    there = np.isfinite(x)
    ones = np.ones(min(width, len(x)))
    total, n = np.convolve(np.where(there, x, 0.0), ones, "same"), np.convolve(there.astype(float), ones, "same")
    with np.errstate(invalid="ignore"):
        return np.asarray(total / np.where(n > 0, n, np.nan))


def _during(t: Floats, x: Floats, begin: float, end: float) -> float:
    """Mean of the samples of a channel from one instant to another; of a slow one the nearest; NaN where it is far."""
    own = slice(*np.searchsorted(t, [begin, end]).tolist())
    if len(x[own]):
        return float(np.mean(x[own]))
    at = int(np.argmin(np.abs(t - (begin + end) / 2)))
    return float(x[at]) if abs(t[at] - (begin + end) / 2) <= _LENT else float("nan")
