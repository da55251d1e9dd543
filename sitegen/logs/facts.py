"""What a channel looks like as a whole: how much of it there is, its ends, and how long it stands still."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
DISTINCT = 50  # different values counted; a channel with that many or more says 50


@dataclass(frozen=True)
class ChannelFacts:
    """A channel over one or more files. Values in SI; nan where there is no sample."""

    n: int  # samples
    missing: int  # rows of its time without a sample
    low: float
    high: float
    mean: float  # of the samples
    longest_constant: float  # s, longest stretch without any change
    share_constant: float  # [-], samples equal to the one before
    distinct: int  # different values, at most `DISTINCT`; of several files the most in one
    at_low: float  # [-], share of samples equal to the least
    at_high: float  # [-], share equal to the greatest


@dataclass
class Tally:
    """Gathers the facts of one channel piece by piece, in the unit of its column."""

    n: int = 0
    missing: int = 0
    low: float = np.inf
    high: float = -np.inf
    _sum: float = 0.0
    _longest: float = 0.0
    _same: int = 0
    _pairs: int = 0
    _lows: int = 0
    _highs: int = 0
    _values: set[float] = field(default_factory=set)
    _last: float | None = None
    _since: float = 0.0  # s, since when the last value has stood

    def feed(
        self, t: Floats, x: Floats, breaks: npt.NDArray[np.int64], widest: float, low: float, high: float, total: float
    ) -> None:
        """Samples x (n,) at t (n,) [s], n > 0, without nan; gaps lie before the places of `breaks`.

        `widest` [s], the longest step of t, and `low`, `high` and `total` of x are what the caller knows.
        """
        count = len(x)
        self.n += count
        self._sum += total
        if low < self.low:
            self.low, self._lows = low, 0
        if low == self.low:
            self._lows += int(np.count_nonzero(x == low))
        if high > self.high:
            self.high, self._highs = high, 0
        if high == self.high:
            self._highs += int(np.count_nonzero(x == high))
        if len(self._values) < DISTINCT:
            self._different(x)
        self._constant(t, x, breaks, widest)

    def _different(self, x: Floats) -> None:
        self._values.update(np.unique(x[:256]).tolist())
        if len(self._values) < DISTINCT:
            self._values.update(np.unique(x).tolist())

    def _constant(self, t: Floats, x: Floats, breaks: np.ndarray, widest: float) -> None:
        same = x[1:] == x[:-1]
        equal = int(np.count_nonzero(same))
        first = self._last is not None and float(x[0]) == self._last
        self._same += equal + first
        self._pairs += len(x) - 1 + (self._last is not None)
        going_on = first and not (len(breaks) and breaks[0] == 0)
        begin = self._since if going_on else float(t[0])
        if len(breaks):
            same[breaks[breaks > 0] - 1] = False  # nothing is known across a gap
        said = same.tobytes()  # a 1 where a sample equals the one before
        lead = len(said) - len(said.lstrip(b"\1"))
        self._longest = max(self._longest, float(t[lead]) - begin)
        if lead < len(said):
            # a stretch of so many samples is the least that can last longer than the longest so far
            many = int(min(self._longest / widest * (1 - 1e-9), len(said))) + 1 if widest else 1
            if said.find(b"\1" * many, lead) >= 0:
                self._longest = max(self._longest, _longest(t, np.flatnonzero(same)))
            begin = float(t[len(said.rstrip(b"\1"))])
        self._last, self._since = float(x[-1]), begin

    def facts(self, scale: float, offset: float) -> ChannelFacts:
        """The facts in SI: number · scale + offset."""
        if not self.n:
            return ChannelFacts(0, self.missing, np.nan, np.nan, np.nan, 0.0, np.nan, 0, np.nan, np.nan)
        return ChannelFacts(
            self.n,
            self.missing,
            self.low * scale + offset,
            self.high * scale + offset,
            self._sum / self.n * scale + offset,
            self._longest,
            self._same / self._pairs if self._pairs else 0.0,
            min(len(self._values), DISTINCT),
            self._lows / self.n,
            self._highs / self.n,
        )


def _longest(t: Floats, at: npt.NDArray[np.int64]) -> float:
    """The longest stretch [s] of samples each of which equals the one after it; `at`: their places."""
    apart = np.flatnonzero(at[1:] - at[:-1] > 1)
    starts = at[np.concatenate([[0], apart + 1])]
    ends = at[np.concatenate([apart, [len(at) - 1]])] + 1
    return float((t[ends] - t[starts]).max())


def together(parts: list[ChannelFacts]) -> ChannelFacts:
    """Facts of a channel over several files, each fact weighted by its samples."""
    held = [each for each in parts if each.n]
    missing = sum(each.missing for each in parts)
    if not held:
        return ChannelFacts(0, missing, np.nan, np.nan, np.nan, 0.0, np.nan, 0, np.nan, np.nan)
    n = sum(each.n for each in held)
    low, high = min(each.low for each in held), max(each.high for each in held)
    return ChannelFacts(
        n,
        missing,
        low,
        high,
        sum(each.mean * each.n for each in held) / n,
        max(each.longest_constant for each in held),
        sum(each.share_constant * each.n for each in held) / n,
        max(each.distinct for each in held),
        sum(each.at_low * each.n for each in held if each.low == low) / n,
        sum(each.at_high * each.n for each in held if each.high == high) / n,
    )
