"""Whether a logged channel can be believed, by itself and beside the others of its log."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sitegen.logs.axis import GAP
from sitegen.logs.join import Log
from sitegen.methods import brake, health
from sitegen.program import channels
from sitegen.program.model import EngineType

MOVES = frozenset({"blowby", "blowby_2", "torque"})  # channels that have to move while the engine runs
STEADY = frozenset({"speed", "ambient_pressure", "blowby_pressure"})  # may well hold one value through a run
TOLD = frozenset({"flat", "stuck", "zero", "below-range", "drifting-zero"})
NOT_OF_TORQUE = frozenset({"drifting-zero"})  # a brake may hold the shaft of an engine that stands
UNLOADED = 300.0  # s of no torque after a start or before a stop: warming up, cooling down; common practice, no source
SLOWER = 0.9  # of the slowest twentieth of loaded running: an engine slower than that idles; common practice, no source
FOLLOWS = frozenset({"oil_pressure", "peak_pressure"})  # channels that cannot keep one value while the speed changes
CHANGED, UNMOVED = 0.2, 0.002  # shares of the speed's and of such a channel's middle value; common practice, no source
NOT_RUN = "engine did not run"  # of every channel of a log in which the speed never rises
LONG_ENOUGH = 300.0  # s of running below which a slow channel is not judged; common practice, no source
MOSTLY = 0.5  # share of the running time for which a channel may stand still; common practice, no source
IDLE = 10.0  # rad/s below which the engine does not run: some 95 rpm, under any idle; common practice, no source
# Beside the others; all of it common practice, no source, and well beyond what engines differ by.
WARMS = frozenset({"oil_temperature", "coolant_temperature", "exhaust_temperature"})  # cannot stay cold
FREEZING, STILL = 273.15, 2.0  # K: below, and by no more than this apart in all of a run, nothing has warmed
TELLING = 20  # different values of two channels that are alike in everything before one is a copy
ALIKE = 60  # samples of both
SHARED = frozenset({"ambient_pressure", "blowby_pressure"})  # of one sensor where the meter is open to the room
JUDGED = 60.0  # s of running from which the middle of a channel is judged
OIL_PRESSURE = (2e3, 2e6)  # Pa gauge, of a running engine
CRANKCASE = (-3e4, 3e4)  # Pa gauge: seals and breather give way far sooner
PEAK_PRESSURE = (1.5e5, 4e7)  # Pa absolute: compression alone gives more than the least
PASSED = (5e-5, 1.0)  # blow-by as a share of what the pistons displace
MOST_BMEP, FASTEST = 1e7, 60.0  # Pa and m/s, of the hardest and fastest twentieth of the run


def column(log: Log, channel: str) -> np.ndarray | None:
    """Means of a channel by bin; None where it was not logged."""
    return log.bins[channel].to_numpy() if channel in log.bins else None


def running(log: Log) -> np.ndarray:
    """Bins in which the engine ran; all of them where no speed was logged."""
    speed = column(log, "speed")
    return np.ones(len(log.bins), dtype=bool) if speed is None else np.nan_to_num(speed, nan=0.0) > IDLE


def on_a_line_to_standing(log: Log) -> NDArray[np.bool_]:
    """Bins without a sample of the speed, of which one neighbour was read at a standstill."""
    speed = column(log, "speed")
    if speed is None:
        return np.zeros(len(log.bins), dtype=bool)
    there = np.flatnonzero(log.sampled("speed"))
    after = np.searchsorted(there, np.arange(len(speed)))
    stands = np.concatenate([[False], speed[there] <= IDLE, [False]])
    found = stands[after] | stands[after + 1]
    found[there] = False
    return np.asarray(found)


def base(channel: str) -> tuple[str, int]:
    """Channel without its cylinder, and the cylinder (0: of the engine).

    >>> base("exhaust_temperature_3"), base("blowby_2"), base("speed")
    (('exhaust_temperature', 3), ('blowby_2', 0), ('speed', 0))
    """
    head, _, tail = channel.rpartition("_")
    if head in {"exhaust_temperature", "peak_pressure"} and tail.isdecimal():
        return head, int(tail)
    return channel, 0


@dataclass(frozen=True)
class Samples:
    """What was read of a channel: no line between samples, one value that is no number in every gap of the record."""

    value: np.ndarray  # mean of the samples of a bin, in SI
    spread: np.ndarray  # greatest less least of them
    at: np.ndarray  # s of the log
    moving: np.ndarray  # whether the engine turned
    untold: np.ndarray  # whether that is not known: no speed, or the line between one of running and a standstill
    speed: np.ndarray  # rad/s
    step: float  # s, usual, from one to the next


def samples(log: Log, channel: str, values: np.ndarray | None = None) -> Samples:
    """The samples of a channel, by bin; `values` by bin stand in for its means."""
    there = np.flatnonzero(log.sampled(channel))
    at = log.bins["t"].to_numpy()[there]
    apart = np.diff(at)
    step = float(np.median(apart)) if len(apart) else log.width
    holes = np.flatnonzero(apart > GAP * step) + 1
    low, high = (log.bins[f"{channel}{end}"].to_numpy(dtype=float)[there] for end in (".low", ".high"))
    known = column(log, "speed")
    speed = np.full(len(log.bins), np.nan) if known is None else known
    untold = np.zeros(len(speed), dtype=bool) if known is None else ~np.isfinite(speed) | on_a_line_to_standing(log)
    value = (log.bins[channel].to_numpy(dtype=float) if values is None else values)[there]
    return Samples(
        np.insert(value, holes, np.nan), np.insert(high - low, holes, 0.0), np.insert(at, holes, at[holes - 1] + step),
        np.insert(running(log)[there], holes, False), np.insert(untold[there], holes, False),
        np.insert(speed[there], holes, np.nan), step,
    )  # fmt: skip


def _unloaded(own: Samples, step: float) -> np.ndarray:
    """Samples of no torque that an engine without load gives: warming up after a start or cooling down before a stop,
    and where it idles. A torque that is nothing for most of the running is none of these; `step`: its resolution.
    """
    nothing = own.moving & (np.abs(own.value) + own.spread <= step)
    loaded = own.moving & np.isfinite(own.value) & ~nothing
    found = np.zeros(len(nothing), dtype=bool)
    if not loaded.any() or nothing.sum() > MOSTLY * (nothing | loaded).sum():
        return found
    idles = SLOWER * float(np.nanquantile(own.speed[loaded], 0.05))
    stands = np.r_[True, own.untold | (np.isfinite(own.speed) & ~own.moving), True]
    edges = np.flatnonzero(np.diff(np.r_[False, nothing, False].astype(np.int8))).reshape(-1, 2)
    for begin, end in edges.tolist():
        lasts = own.at[end - 1] - own.at[begin] + own.step
        beside = (stands[begin] or stands[end + 1]) and lasts <= UNLOADED
        found[begin:end] = beside or float(np.nanmedian(own.speed[begin:end])) < idles
    return found


def channel_word(log: Log, channel: str) -> str:
    """What is wrong with a channel while the engine runs; "sound" where nothing is.

    A channel that has to move is held to all it can show, where it is known whether the engine turned; torque only
    while it is loaded (`_unloaded`). A temperature or a pressure may well stand still for minutes
    on the steps of its converter: of these only one that never moves, or stands for most of the run, is told; and of
    one that follows the speed, that it does not. All by the samples: a log of a row a minute has sixty an hour.
    """
    return log.once(("word", channel), lambda: _word(log, channel))


def _word(log: Log, channel: str) -> str:
    own = samples(log, channel)
    if "speed" in log.bins and not running(log).any():
        return NOT_RUN
    if channel in MOVES:
        own = replace(own, value=np.where(own.untold, np.nan, own.value))
        known = own.value[np.isfinite(own.value)]
        steps = np.abs(np.diff(known))
        resolution = float(steps[steps > 0].min()) if (steps > 0).any() else None
        if channel == "torque":
            own = replace(own, value=np.where(_unloaded(own, resolution or 0.0), np.nan, own.value))
        found = health.health(own.value, own.step, resolution, moving=own.moving, at=own.at, spread=own.spread).words
        told = TOLD - NOT_OF_TORQUE if channel == "torque" else TOLD
        return ", ".join(word for word in found if word in told) or "sound"
    moving = own.moving & np.isfinite(own.value)
    value, spread = own.value[moving], own.spread[moving]
    if len(value) * own.step < LONG_ENOUGH or len(value) < health.STUCK_STEPS or channel in STEADY:
        return "sound"
    if base(channel)[0] in FOLLOWS and _unmoved(log, channel):
        return "flat"
    still = np.r_[False, (np.diff(value) == 0) & (spread[1:] <= 0) & (spread[:-1] <= 0)]
    edges = np.flatnonzero(np.diff(still.astype(int), prepend=0, append=0))
    longest = int(np.max(edges[1::2] - edges[::2])) + 1 if len(edges) else 1
    return "stuck" if longest > max(MOSTLY * len(value), health.STUCK_STEPS) else "sound"


def _unmoved(log: Log, channel: str) -> bool:
    """Whether a channel keeps its value while the speed changes, the ends of both left out."""
    ran = running(log) & log.sampled(channel)
    speed, value = column(log, "speed"), column(log, channel)
    if speed is None or value is None or not ran.any():
        return False
    slow, usual, fast = np.nanquantile(speed[ran], (0.05, 0.5, 0.95))
    low, middle, high = np.nanquantile(value[ran], (0.05, 0.5, 0.95))
    return bool(fast - slow > CHANGED * usual and high - low <= UNMOVED * abs(middle))


@dataclass(frozen=True)
class Strange:
    """What no running engine gives: a word for it, and the sentence `check` tells."""

    word: str
    what: str
    expected: str


def strange(log: Log, kind: EngineType) -> Mapping[str, Strange]:
    """What is implausible of channels beside the others of their log: copies, what never warms, thousandfold values.

    Nothing is said of a log in which the engine did not run. Limits lie well outside of what is met in practice, so
    that a cold, an idle, a worn or a tight engine is within them.
    """
    ran = running(log)
    if "speed" not in log.bins or not ran.any():
        return {}
    found = dict(_copies(log))
    for channel in log.channels:
        if channel not in log.drawn and channel not in found:
            of = _cold(log, channel, ran) or _unmoving(log, channel) or _far_off(log, channel, ran, kind)
            if of is not None:
                found[channel] = of
    return found


def _title(channel: str) -> str:
    name, cylinder = base(channel)
    title = channels.CHANNELS[name].title.lower()
    return f"{title}, cylinder {cylinder}" if cylinder else title


def _copies(log: Log) -> Iterator[tuple[str, Strange]]:
    """Channels that say in every sample what another one says, in one unit or another."""
    own = [each for each in log.channels if each not in log.drawn and log.facts[each].distinct >= TELLING]
    for one, other in combinations(own, 2):
        first, second = log.facts[one], log.facts[other]
        if (first.n, first.missing) != (second.n, second.missing) or {one, other} == SHARED:
            continue
        share = [(each.mean - each.low) / (each.high - each.low) for each in (first, second)]
        if not math.isclose(*share, rel_tol=1e-9) or not _in_step(log, one, other):
            continue
        for channel, twin in ((one, other), (other, one)):
            what = f"the {_title(channel)} moves with the {_title(twin)} in every one of {first.n} samples"
            yield channel, Strange("copy", what, "a column of its own for each; one may hold the other's")


def _in_step(log: Log, one: str, other: str) -> bool:
    """Whether two channels lie on one line, without any scatter, wherever they were sampled."""
    there = log.sampled(one)
    if int(there.sum()) < ALIKE or not np.array_equal(there, log.sampled(other)):
        return False

    def of_range(channel: str) -> np.ndarray:
        ends = [log.bins[f"{channel}{end}"].to_numpy(dtype=float)[there] for end in (".low", "", ".high")]
        least, most = ends[0].min(), ends[2].max()
        return np.asarray((np.array(ends) - least) / (most - least), dtype=float)

    return bool(np.allclose(of_range(one), of_range(other), rtol=0.0, atol=1e-9))


def _cold(log: Log, channel: str, ran: np.ndarray) -> Strange | None:
    known = log.facts[channel]
    if base(channel)[0] not in WARMS or not known.n or float(ran.sum()) * log.width < LONG_ENOUGH:
        return None
    if known.low >= FREEZING or known.high - known.low > STILL:
        return None
    least, most = (f"{end - FREEZING:.1f}" for end in (known.low, known.high))
    what = f"the {_title(channel)} stays between {least} and {most} °C while the engine runs"
    return Strange("never-warm", what, "a temperature that rises with the engine running")


def _unmoving(log: Log, channel: str) -> Strange | None:
    if base(channel)[0] not in FOLLOWS or channel_word(log, channel) != "flat":
        return None
    ran = running(log)
    low, high = np.nanquantile(log.bins["speed"].to_numpy()[ran], (0.05, 0.95)) * 30 / math.pi
    what = f"the {_title(channel)} keeps one value while the speed goes from {low:.0f} to {high:.0f} rpm"
    return Strange("", what, "a pressure that follows the speed")


def _far_off(log: Log, channel: str, ran: np.ndarray, kind: EngineType) -> Strange | None:
    """A channel whose middle while the engine runs is what none gives: its unit or its column is another."""
    there = ran & log.sampled(channel)
    value, speed = (log.bins[each].to_numpy(dtype=float)[there] for each in (channel, "speed"))
    if len(value) < health.STUCK_STEPS or float(ran.sum()) * log.width < JUDGED:
        return None
    limits = _limits(kind, float(np.nanmedian(speed))).get(base(channel)[0])
    if limits is None:
        return None
    hard = limits.least == 0.0
    found = float(np.quantile(np.abs(value), 0.95) if hard else np.median(value)) * limits.factor
    if limits.least <= found <= limits.most or (found <= 0 and channel in MOVES):  # of nothing at all: `channel_word`
        return None
    by = [f"a {'thousand times' if each > 1 else 'thousandth of'} it" for each in (1e3, 1e-3)
          if limits.least <= found * each <= limits.most]  # fmt: skip
    what = (
        f"the {_title(channel)} is {found:.3g} {limits.unit} {'at most' if hard else 'in the middle'} while the engine "
    )
    what += "runs" + (f"; {by[0]} would be usual, as in another unit" if by else "")
    return Strange("far-off", what, f"{limits.least:.3g} to {limits.most:.3g} {limits.unit}")


@dataclass(frozen=True)
class Limits:
    """Within these lies a channel of a running engine, in a unit to print; from 0 on: its hardest twentieth does."""

    least: float
    most: float
    unit: str
    factor: float  # of SI to that unit


def _limits(kind: EngineType, speed: float) -> Mapping[str, Limits]:
    """Of an engine that mostly runs at a speed [rad/s]."""
    displaced = brake.displacement(kind.bore, kind.stroke, kind.cylinders)
    swept = 6e4 * displaced * speed / (math.pi * kind.strokes)  # L/min
    blowby = Limits(PASSED[0] * swept, PASSED[1] * swept, "L/min", 6e4)
    return {
        "oil_pressure": Limits(OIL_PRESSURE[0] / 1e5, OIL_PRESSURE[1] / 1e5, "bar", 1e-5),
        "crankcase_pressure": Limits(CRANKCASE[0] / 1e2, CRANKCASE[1] / 1e2, "mbar", 1e-2),
        "peak_pressure": Limits(PEAK_PRESSURE[0] / 1e5, PEAK_PRESSURE[1] / 1e5, "bar absolute", 1e-5),
        "blowby": blowby,
        "blowby_2": blowby,
        "torque": Limits(0.0, MOST_BMEP * displaced / (math.pi * kind.strokes), "N m", 1.0),
        "speed": Limits(0.0, 30 * FASTEST / kind.stroke, "rpm", 30 / math.pi),
    }
