"""The time of a log: one axis that only runs forwards, with its gaps, repeated stamps and restarts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from sitegen.logs.cells import Block
from sitegen.logs.layout import Axis
from sitegen.problems import shown
from sitegen.reader.blocked import refusal
from sitegen.reader.numbers import has_short_year
from sitegen.reader.stamps import FAULTS, instants, iso, together

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

DAY = 86400.0  # s
HOUR = 3600.0  # s, by which clocks are set at the end of summer time
GAP = 5.0  # usual steps, of the log and of the rows about it, that make a gap
LONG = 60.0  # s: a step this long is a gap whatever the rows about it do ...
RARE = 30.0  # ... where it is as many usual steps
ZERO = 5.0  # usual steps within which an elapsed time that starts again starts
FARTHEST = 1e10  # s, three hundred years: seconds counted since 1900 or 1970 stay below it
_FAR = "time-not-possible"
_MOST_BACK = 1000  # times a time may start again in one piece
_UNREAD = 0.5  # share of stamps that may be faulty before the column is not trusted


@dataclass
class Track:
    """Steps of one series of instants, fed piece by piece."""

    last: float | None = None
    _medians: list[float] = field(default_factory=list)
    _weights: list[int] = field(default_factory=list)
    step: float = 0.0  # s, usual: median of the pieces' medians, weighted by their steps; 0 not known

    def feed(self, t: Floats, breaks: Places) -> tuple[Floats, Places]:
        """Step before each instant [s], nan before the very first, and the places of steps that are gaps.

        t (n,) does not run backwards. `breaks` are places whose step is none: there a time started again.

        A gap is a step of more than 5 usual ones that is also more than 5 times as long as the steps about it, so that
        a log written at two rates has none; a step of more than 60 s is one already by 30 usual ones.
        """
        steps = _steps(t, np.nan if self.last is None else self.last)
        self.last = float(t[-1]) if len(t) else self.last
        going = steps[steps > 0]
        if len(going):
            self._medians.append(float(np.median(going)))
            self._weights.append(len(going))
            self.step = _weighted_median(self._medians, self._weights)
        wide = np.flatnonzero(steps > GAP * self.step) if self.step else np.zeros(0, dtype=np.int64)
        if len(wide):
            about = np.pad(np.where(steps > 0, steps, np.nan), 2, constant_values=np.nan)
            local = np.nanmedian(np.lib.stride_tricks.sliding_window_view(about, 5)[wide], axis=1)
            own = steps[wide]
            wide = wide[(own > GAP * local) | ((own > LONG) & (own > RARE * self.step))]
        return steps, np.union1d(wide, breaks).astype(np.int64) if len(breaks) else wide


def _steps(t: Floats, before: float) -> Floats:
    """The step before each of some instants; many times faster than `np.diff`, which puts `before` in front first."""
    steps = np.empty(len(t))
    if len(t):
        steps[0] = t[0] - before
        np.subtract(t[1:], t[:-1], out=steps[1:])
    return steps


def _weighted_median(values: list[float], weights: list[int]) -> float:
    order = np.argsort(values, kind="stable")
    sums = np.cumsum(np.asarray(weights)[order])
    return float(np.asarray(values)[order][np.searchsorted(sums, sums[-1] / 2)])


@dataclass(frozen=True)
class Fed:
    """Instants of one piece."""

    t: Floats  # s since the start of the file
    kept: Places | None  # places of the rows that have an instant; None: all of them
    breaks: Places  # places of steps that are gaps or new starts
    widest: float  # s, the longest step between two of them


@dataclass
class Clock:
    """The instants of one axis, piece by piece."""

    axis: Axis
    file: str
    origin: float | None = None  # of t, in seconds as written; the first axis of a file to begin says it
    first: float | None = None  # s as written, of its first row
    start: str = ""  # ISO stamp of its first row
    rows: int = 0  # rows with an instant
    repeated: tuple[int, int] = (0, 0)  # rows with the instant of the row before: count, line of the first
    restarts: tuple[int, int] = (0, 0)  # count, line of the first
    set_back: tuple[int, int] = (0, 0)  # times the clock was set back by an hour: count, line of the first
    midnights: int = 0
    untimed: tuple[int, int] = (0, 0)  # rows with samples but without an instant: count, line of the first
    faults: dict[str, tuple[int, int, str]] = field(default_factory=dict)  # code -> count, line and cell of the first
    gaps: list[tuple[float, float]] = field(default_factory=list)  # s since the start of the file
    track: Track = field(default_factory=Track)
    _dated: bool | None = None
    _shift: float = 0.0  # s, what restarts and midnights have added
    _before: float | None = None  # s as written, of the last row

    def written(self, block: Block) -> Floats:
        """Seconds as written; nan where there is none."""
        if self.axis.time.kind == "elapsed":
            values: Floats = block.numbers[self.axis.at[0]]
            seconds = values if self.axis.scale == 1.0 else values * self.axis.scale
            wild = np.abs(seconds) > FARTHEST
            if wild.any():
                at = int(wild.argmax())
                count, line, cell = self.faults.get(_FAR, (0, block.line(at), f"{values[at]:.6g}"))
                self.faults[_FAR] = count + int(wild.sum()), line, cell
                seconds = np.where(wild, np.nan, seconds)
            return seconds
        cells = [block.texts[at] for at in self.axis.at]
        stamps = cells[0] if len(cells) == 1 else together(*cells)
        found = instants(stamps, self.axis.time.date_order, self._dated)
        wrong = np.flatnonzero(found.faults != "")
        for place in wrong.tolist():
            code = str(found.faults[place])
            count, line, cell = self.faults.get(code, (0, block.line(place), str(stamps[place])))
            self.faults[code] = count + 1, line, cell
        if len(wrong) > max(_UNREAD * len(stamps), 1):
            self.refuse()
        known = np.flatnonzero(~np.isnan(found.seconds))
        if len(known):
            self._dated = found.dated
            if self.first is None and found.dated:
                self.start = iso(float(found.seconds[known[0]]), found.zone)
        return found.seconds

    def refuse(self) -> None:
        """Raises `Blocked`: the stamps as a whole cannot be read."""
        code, (count, line, cell) = max(self.faults.items(), key=lambda each: each[1][0])
        order = code == "date-order-unstated"
        raise refusal(
            self.file,
            line,
            code if order else "stamps-not-read",
            f'"{shown(cell)}" {FAULTS[code]}; {count} stamps are like it',
            "stamps such as 2026-05-14 08:30:00, or with the day first as 14.05.2026 08:30:00.5",
            "write `date_order: day first` or `date_order: month first` beside the time in the record entry"
            + (", by which its year is 20xx" if has_short_year(cell) else "")
            if order
            else "see whether `time` says it right",
            column_name=self.axis.header,
        )

    def feed(self, block: Block, raw: Floats, sampled: Callable[[], npt.NDArray[np.bool_]]) -> Fed | None:
        """Instants since the start of the file; `sampled()` says which rows hold samples. None where there are none.

        Raises `Blocked` where time runs backwards.
        """
        missing = np.isnan(raw)
        kept = None
        if missing.any():
            lost = np.flatnonzero(missing & sampled())
            if len(lost):
                self.untimed = _counted(self.untimed, len(lost), block.line(int(lost[0])))
            kept = np.flatnonzero(~missing)
            raw = raw[kept]
            if not len(raw):
                return None
        if self.first is None:
            self.first = float(raw[0])

        def line(place: int) -> int:
            return block.line(int(place if kept is None else kept[place]))

        t, news = self._forwards(raw, line)
        if self.origin is None:
            raise AssertionError("the file has no start")
        t = t - self.origin if self.origin else t
        if self._dated:
            t = np.round(t, 6)  # seconds since 1970 are known to a quarter of a microsecond
        self.rows += len(t)
        last = self.track.last
        steps, breaks = self.track.feed(t, news)
        same = steps == 0
        if same.any():
            self.repeated = _counted(self.repeated, int(same.sum()), line(int(same.argmax())))
        for place in breaks.tolist():
            if place not in news:
                self.gaps.append((float(t[place - 1] if place else last or 0.0), float(t[place])))
        return Fed(t, kept, breaks, float(steps[1:].max(initial=0.0)))

    def _forwards(self, raw: Floats, line: Callable[[int], int]) -> tuple[Floats, Places]:
        """Time that goes on over midnights and new starts, and the places of new starts."""
        before = raw[0] if self._before is None else self._before
        steps = _steps(raw, before)
        self._before = float(raw[-1])
        back = np.flatnonzero(steps < 0)
        if not len(back):
            return (raw + self._shift if self._shift else raw), back
        shifts = np.zeros(len(raw))
        going = steps[steps > 0]
        step = self.track.step or (float(np.median(going)) if len(going) else 1.0)
        news = []
        first = self.first or 0.0
        near = ZERO * step + (first if first <= ZERO * step else 0.0)
        for place in back.tolist()[:_MOST_BACK]:
            new = float(raw[place])
            old = new - float(steps[place])
            restarted = self.axis.time.kind == "elapsed" or self._dated is False
            from_zero = new <= near and old - new > 1.5 * step
            over = self._dated is False and new + DAY - old < DAY / 2 and old < DAY
            if over and not (from_zero and old < DAY - 3600):
                shifts[place] = DAY
                self.midnights += 1
            elif restarted and from_zero:
                shifts[place] = old + step - new
                news.append(place)
                self.restarts = _counted(self.restarts, 1, line(place))
            elif self._dated and 0 < new + HOUR - old <= GAP * step:
                shifts[place] = HOUR
                self.set_back = _counted(self.set_back, 1, line(place))
            else:
                self._backwards(old, new, line(place))
        if len(back) > _MOST_BACK:
            place = int(back[_MOST_BACK])
            self._backwards(float(raw[place] - steps[place]), float(raw[place]), line(place))
        total = self._shift + np.cumsum(shifts)
        self._shift = float(total[-1])
        return raw + total, np.array(news, dtype=np.int64)

    def set_forward(self) -> list[float]:
        """Instants [s as written] after which just an hour is missing, as where a clock is set forward."""
        if not self._dated or self.origin is None:
            return []
        step = self.track.step
        return [self.origin + begin for begin, end in self.gaps if abs(end - begin - HOUR - step) <= step / 2]

    def _backwards(self, old: float, new: float, line: int) -> None:
        if self._dated:
            said = f"from {iso(old)} to {iso(new)}"
        elif self._dated is False:
            said = f"from {_of_day(old)} to {_of_day(new)}"
        else:
            said = f"from {old:.10g} s to {new:.10g} s"
        raise refusal(
            self.file,
            line,
            "time-backwards",
            f"the time runs backwards, {said}",
            "rows in the order they were logged"
            + (", in elapsed time or in stamps without a change to or from summer time" if self._dated else ""),
            "put the rows in order, or leave out what was logged before",
            column_name=self.axis.header,
        )


def _of_day(seconds: float) -> str:
    minutes, rest = divmod(seconds, 60)
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}:{rest:06.3f}".rstrip("0").rstrip(".")


def _counted(so_far: tuple[int, int], more: int, line: int) -> tuple[int, int]:
    return (so_far[0] + more, so_far[1] or line)
