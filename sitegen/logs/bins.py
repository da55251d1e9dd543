"""Samples gathered into bins of equal width: one second, doubled until the log fits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]
MOST = 200_000  # bins of a log
NARROWEST = 1.0  # s
SLOW = 3.0  # usual steps of a slow channel over which its samples are joined by a line
_FEW, _MANY = 4, 128  # samples in a bin
_HARDLY, _SOME = 1.25, 1000  # samples a bin, and more than that, with which a channel is not slow
_NEAR = 1e-6  # s: an instant this near the end of a bin, by the rounding of its unit, lies in the next


@dataclass
class Gathered:
    """Sums and ends of one channel by bin; zero where its count is zero."""

    sums: Floats
    lows: Floats
    highs: Floats
    counts: npt.NDArray[np.int32]

    @classmethod
    def none(cls, size: int) -> Gathered:
        return cls(np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size, dtype=np.int32))

    def grown(self, size: int) -> Gathered:
        made = Gathered.none(size)
        for new, old in zip(made._arrays(), self._arrays(), strict=True):
            new[: len(old)] = old
        return made

    def halved(self) -> Gathered:
        """Two bins to one; the size is even."""
        first, second = self.counts[::2] > 0, self.counts[1::2] > 0
        both = first & second
        ends = []
        for values, least in ((self.lows, np.minimum), (self.highs, np.maximum)):
            one, other = values[::2], values[1::2]
            ends.append(np.where(both, least(one, other), np.where(first, one, other)))
        return Gathered(self.sums[::2] + self.sums[1::2], ends[0], ends[1], self.counts[::2] + self.counts[1::2])

    def _arrays(self) -> tuple[np.ndarray, ...]:
        return self.sums, self.lows, self.highs, self.counts


@dataclass(frozen=True)
class Shares:
    """Which of some samples fall into which bin."""

    bins: npt.NDArray[np.int64]  # in order, each once
    starts: npt.NDArray[np.int64]  # place of the first sample of each
    counts: npt.NDArray[np.int32]
    even: int = 0  # samples in each bin but the first and last; 0 where they differ, or are many

    def of(self, x: Floats) -> Part:
        """Samples x (n,) by bin; nan where one of them is."""
        starts = self.starts
        if len(starts) == len(x):
            return Part(self, x, x, x)
        if not self.even:
            return Part(self, *(each.reduceat(x, starts) for each in (np.add, np.minimum, np.maximum)))
        # bins of as many samples each, as all but the first and last of a piece are: many times faster together
        begin, end = int(starts[1]), int(starts[-1])
        inner = x[begin:end].reshape(-1, self.even)
        columns = [inner[:, at] for at in range(self.even)] if self.even <= _FEW else np.ascontiguousarray(inner.T)
        made = []
        for each in (np.add, np.minimum, np.maximum):
            outer = [each.reduce(x[:begin]), each.reduce(x[end:])]
            if isinstance(columns, list):
                found = columns[0]
                for column in columns[1:]:
                    found = each(found, column)
            else:
                found = each.reduce(columns, axis=0)
            made.append(np.concatenate([outer[:1], found, outer[1:]]))
        return Part(self, *made)


@dataclass(frozen=True)
class Part:
    """Sums and ends of some samples by bin."""

    shares: Shares
    sums: Floats
    lows: Floats
    highs: Floats

    @property
    def total(self) -> float:
        return float(self.sums.sum())

    @property
    def low(self) -> float:
        return float(self.lows.min())

    @property
    def high(self) -> float:
        return float(self.highs.max())


@dataclass
class Bins:
    """All channels of a log by bin, in the units of their columns. Instants never run backwards in one channel."""

    width: float = NARROWEST  # s
    ahead: float = 4.0  # how many times the bins of its first piece a log is about to fill
    used: int = 0  # bins up to the last with a sample
    _size: int = 1 << 8  # bins there is room for; even
    channels: dict[str, Gathered] = field(default_factory=dict)
    _samples: dict[str, list[tuple[Floats, Floats]] | None] = field(default_factory=dict)

    def shares(self, t: Floats) -> Shares:
        """Bins of instants t (n,) [s from 0 on], n > 0. Doubles the width where they would be too many."""
        last = float(t[-1]) + _NEAR
        while last / self.width >= MOST:
            self.channels = {name: each.halved() for name, each in self.channels.items()}
            self._size, self.used, self.width = self._size // 2, (self.used + 1) // 2, self.width * 2
            self._room(self._size + self._size % 2)
        place = ((t + _NEAR) / self.width).astype(np.int64)
        self.used = max(self.used, int(place[-1]) + 1)
        if self.used > self._size:
            self._room(min(int(self.ahead * self.used) + 2, MOST))
        self.ahead = 4.0
        starts = np.flatnonzero(place[1:] != place[:-1]) + 1
        starts = np.concatenate([[0], starts])
        counts = np.diff(starts, append=len(t)).astype(np.int32)
        inner = counts[1:-1]
        even = int(inner[0]) if len(inner) and inner[0] <= _MANY and (inner == inner[0]).all() else 0
        return Shares(place[starts], starts, counts, even)

    def add(self, name: str, part: Part, t: Floats, x: Floats) -> None:
        """Samples x (n,) of a channel at instants t, none of them nan, and their shares."""
        self._keep(name, t, x)
        if name not in self.channels:
            self.channels[name] = Gathered.none(self._size)
        own, shares = self.channels[name], part.shares
        at, sums, lows, highs = shares.bins, part.sums, part.lows, part.highs
        first = int(at[0])
        before = own.counts[first] > 0  # only the first bin can have samples already
        if before:
            kept = own.sums[first] + sums[0], min(own.lows[first], lows[0]), max(own.highs[first], highs[0])
            count = own.counts[first] + shares.counts[0]
        whole = int(at[-1]) - first + 1 == len(at)
        place = slice(first, first + len(at)) if whole else at
        own.sums[place], own.lows[place], own.highs[place], own.counts[place] = sums, lows, highs, shares.counts
        if before:
            (own.sums[first], own.lows[first], own.highs[first]), own.counts[first] = kept, count

    def _keep(self, name: str, t: Floats, x: Floats) -> None:
        """Samples themselves are kept while there are hardly more of them than bins: the channel may be a slow one."""
        parts = self._samples.setdefault(name, [])
        if parts is not None:
            parts.append((t, x))
            if sum(len(each) for each, _ in parts) > _HARDLY * self.used + _SOME:
                self._samples[name] = None

    def frame(self, linear: Mapping[str, tuple[float, float]]) -> pd.DataFrame:
        """Columns t [s], and of each channel mean, `.low` and `.high` in SI; nan where there is no sample.

        `linear` gives scale and offset of each channel. Between the samples of a channel whose usual step is wider than
        a bin the means follow a line; `.low` and `.high` are of samples only, so that where they are nan nothing was
        read. The bins are used up: nothing can be added afterwards.
        """
        import pandas as pd

        made: dict[str, np.ndarray] = {"t": np.arange(self.used) * self.width}
        instants: list[int] = []
        lines = _Lines(np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros(0))
        for name, (scale, offset) in linear.items():
            own = self.channels.pop(name, None) or Gathered.none(self._size)
            counts = own.counts[: self.used]
            columns = [each[: self.used] for each in (own.sums, own.lows, own.highs)]
            held = counts > 0
            with np.errstate(invalid="ignore"):  # a bin without a sample: 0 / 0
                columns[0] /= counts
            for values in columns:  # where they lie: room for more would take longer to get than to fill
                values *= scale
                values += offset
                values[~held] = np.nan
            if parts := self._samples.get(name):
                t, x = zip(*parts, strict=True)
                if [*map(id, t)] != instants:  # channels of one axis mostly share their very instants
                    instants, lines = [*map(id, t)], _Lines.between(np.concatenate(t), held, self.width)
                lines.join(columns[0], np.concatenate(x) * scale + offset)
            if all(np.array_equal(columns[0].view(np.int64), each.view(np.int64)) for each in columns[1:]):
                columns[1:] = columns[:1] * 2  # where a bin is a sample: one array instead of three
            made[name], made[f"{name}.low"], made[f"{name}.high"] = columns
        return pd.DataFrame(made, copy=False)

    def _room(self, size: int) -> None:
        if size > self._size or any(len(each.sums) < size for each in self.channels.values()):
            size += size % 2
            self.channels = {
                name: each if len(each.sums) >= size else each.grown(size) for name, each in self.channels.items()
            }
            self._size = size


@dataclass(frozen=True)
class _Lines:
    """Where bins without a sample lie between two samples that are near enough to be joined by a line."""

    t: Floats  # s, of the samples
    bins: npt.NDArray[np.int64]
    middles: Floats  # s, of those bins

    @classmethod
    def between(cls, t: Floats, held: npt.NDArray[np.bool_], width: float) -> _Lines:
        """Lines between samples at t [s]; `held` says which bins have one."""
        step = float(np.median(np.diff(t))) if len(t) > 1 else 0.0
        bins = np.flatnonzero(~held) if step > width else np.zeros(0, dtype=np.int64)
        middles = (bins.astype(np.float64) + 0.5) * width
        after = np.searchsorted(t, middles)
        near = (after > 0) & (after < len(t))
        near[near] &= t[after[near]] - t[after[near] - 1] <= SLOW * step
        return cls(t, bins[near], middles[near])

    def join(self, mean: Floats, x: Floats) -> None:
        """Fills those bins from samples x."""
        if len(self.bins):
            mean[self.bins] = np.interp(self.middles, self.t, x)


def regrouped(frame: pd.DataFrame, shift: float, width: float) -> pd.DataFrame:
    """Bins moved by `shift` [s] into bins of `width` [s], which is no less than theirs. Bins that meet count alike."""
    import pandas as pd

    place = np.floor((frame["t"].to_numpy() + shift + _NEAR) / width).astype(np.int64)
    if not len(place):
        return frame
    single = bool((np.diff(place) > 0).all())
    if single:
        made = {name: frame[name].to_numpy() for name in frame.columns if name != "t"}
        return pd.DataFrame({"t": place * width, **made}, copy=False)
    grouped = frame.drop(columns="t").groupby(place)
    rules = {
        name: "min" if name.endswith(".low") else "max" if name.endswith(".high") else "mean"
        for name in frame.columns
        if name != "t"
    }
    found = grouped.agg(rules)
    found.insert(0, "t", found.index.to_numpy() * width)
    return found.reset_index(drop=True)
