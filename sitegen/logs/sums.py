"""Revolutions, running time and work of a log, from its samples by the trapezoid rule, never across a gap."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from sitegen.logs.axis import Track

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
RUNNING = 10.0  # rad/s, some 95 rpm: about a tenth of idle, below cranking; what a pick-up shows below it is noise
_NONE = np.zeros(0, dtype=np.int64)


@dataclass
class Turning:
    """Revolutions and running time of a speed."""

    revolutions: float = 0.0
    seconds: float = 0.0  # s with the engine running: steps at whose end the speed is above `RUNNING`
    samples: int = 0
    _last: float = 0.0  # rad/s

    def feed(self, steps: Floats, breaks: Places, speed: Floats) -> None:
        """Speed (n,) [rad/s] with the step before each sample [s], as `Track.feed` gives them; below `RUNNING` zero."""
        going = _steps(steps, breaks)
        before = np.concatenate([[self._last], speed[:-1]])
        mean = (speed + before) / 2
        self.revolutions += float((mean * going).sum()) / (2 * math.pi)
        self.seconds += float(going[speed > RUNNING].sum())
        self.samples += len(speed)
        self._last = float(speed[-1])


@dataclass
class _Waiting:
    """Samples of one of two series until the other has come as far."""

    parts: list[tuple[Floats, Floats]] = field(default_factory=list)  # t, x
    begins: list[float] = field(default_factory=list)  # of gaps
    ends: list[float] = field(default_factory=list)

    def add(self, t: Floats, x: Floats, breaks: Places) -> None:
        last = self.last if self.parts else math.nan
        self.begins += [float(t[at - 1]) if at else last for at in breaks.tolist()]
        self.ends += t[breaks].tolist()
        self.parts.append((t, x))

    @property
    def first(self) -> float:
        return float(self.parts[0][0][0])

    @property
    def last(self) -> float:
        return float(self.parts[-1][0][-1])

    def whole(self) -> tuple[Floats, Floats]:
        """All samples as one."""
        if len(self.parts) > 1:
            t, x = zip(*self.parts, strict=True)
            self.parts = [(np.concatenate(t), np.concatenate(x))]
        return self.parts[0]

    def forget(self, until: float) -> None:
        """Only the last sample up to `until`, and what follows it, stays."""
        t, x = self.whole()
        at = max(int(np.searchsorted(t, until, side="right")) - 1, 0)
        self.parts = [(t[at:], x[at:])]
        kept = [at for at, end in enumerate(self.ends) if end > until]
        self.begins, self.ends = [self.begins[at] for at in kept], [self.ends[at] for at in kept]

    def across(self, middle: Floats) -> npt.NDArray[np.bool_]:
        """Whether instants lie in a gap."""
        if not self.ends:
            return np.zeros(len(middle), dtype=bool)
        ends, begins = np.array(self.ends), np.array(self.begins)
        at = np.searchsorted(ends, middle)
        found: npt.NDArray[np.bool_] = (at < len(ends)) & (middle > begins[np.minimum(at, len(ends) - 1)])
        return found


@dataclass
class Work:
    """Energy given off at the crankshaft. Speed and torque may come at different instants: lines join their samples."""

    joules: float = 0.0
    steps: int = 0
    _speed: _Waiting = field(default_factory=_Waiting)
    _torque: _Waiting = field(default_factory=_Waiting)

    def feed_both(self, t: Floats, steps: Floats, breaks: Places, speed: Floats, torque: Floats) -> None:
        """Speed [rad/s] and torque [N m] of the same instants, one piece."""
        if self._even():
            power = speed * torque
            last = float(self._speed.parts[-1][1][-1] * self._torque.parts[-1][1][-1]) if self._speed.parts else 0.0
            before = np.concatenate([[last], power[:-1]])
            going = _steps(steps, breaks)
            self.joules += float(((power + before) * going).sum()) / 2
            self.steps += len(t)
            for waiting, x in ((self._speed, speed), (self._torque, torque)):
                waiting.parts, waiting.begins, waiting.ends = [(t[-1:], x[-1:])], [], []
        else:
            self.feed(t, breaks, speed, t, breaks, torque)

    def feed(
        self, at_speed: Floats, speed_breaks: Places, speed: Floats, at_torque: Floats, torque_breaks: Places,
        torque: Floats,
    ) -> None:  # fmt: skip
        """One piece of each, at their own instants."""
        if len(at_speed):
            self._speed.add(at_speed, speed, speed_breaks)
        if len(at_torque):
            self._torque.add(at_torque, torque, torque_breaks)
        if not self._speed.parts or not self._torque.parts:
            return
        begin = max(self._speed.first, self._torque.first)  # of one of them the end of what is done
        end = min(self._speed.last, self._torque.last)
        if end <= begin:
            return
        both = [self._speed.whole(), self._torque.whole()]
        grid = np.unique(np.concatenate([[begin, end], *(t[(t >= begin) & (t <= end)] for t, _ in both)]))
        power = np.interp(grid, *both[0]) * np.interp(grid, *both[1])
        middle = (grid[1:] + grid[:-1]) / 2
        going = np.where(self._speed.across(middle) | self._torque.across(middle), 0.0, np.diff(grid))
        self.joules += float(((power[1:] + power[:-1]) * going).sum()) / 2
        self.steps += len(going)
        self._speed.forget(end)
        self._torque.forget(end)

    def _even(self) -> bool:
        """Both series have come exactly as far."""
        counts = {sum(len(t) for t, _ in each.parts) for each in (self._speed, self._torque)}
        return counts == {0} or (counts == {1} and self._speed.first == self._torque.first)


def _steps(steps: Floats, breaks: Places) -> Floats:
    """Steps with none before the first sample and across gaps."""
    if not len(breaks) and not math.isnan(steps[0]):
        return steps
    going = steps.copy()
    going[breaks] = 0.0
    if math.isnan(going[0]):
        going[0] = 0.0
    return going


@dataclass
class Sums:
    """What exposure is made of."""

    both: bool  # speed and torque were logged
    turning: Turning = field(default_factory=Turning)
    work: Work = field(default_factory=Work)
    _speeds: Track = field(default_factory=Track)
    _torques: Track = field(default_factory=Track)

    def feed(
        self,
        speed: tuple[Floats, Floats, Places] | None,
        torque: tuple[Floats, Floats, Places] | None,
        together: bool,
    ) -> None:
        """One piece: instants [s], samples (rad/s, N m) without nan, new starts of each; None where there are none.

        `together` says that both have the same instants.
        """
        speeds = torques = None
        if speed is not None:
            t, x, news = speed
            x = np.where(x > RUNNING, x, 0.0)
            steps, breaks = self._speeds.feed(t, news)
            self.turning.feed(steps, breaks, x)
            speeds = t, breaks, x
        if not self.both:
            return
        if torque is not None:
            t, x, news = torque
            if together and speeds is not None:
                self._torques.last, self._torques.step = self._speeds.last, self._speeds.step
                self.work.feed_both(t, steps, breaks, speeds[2], x)
                return
            _, breaks = self._torques.feed(t, news)
            torques = t, breaks, x
        nothing = np.zeros(0), _NONE, np.zeros(0)
        if speeds is not None or torques is not None:
            self.work.feed(*(speeds or nothing), *(torques or nothing))
