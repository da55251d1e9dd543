"""The log of one phase: one file, or several one after the other."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt

from sitegen.logs import bins, facts
from sitegen.logs.axis import GAP
from sitegen.logs.facts import ChannelFacts
from sitegen.logs.held import Held
from sitegen.logs.reading import LogFile
from sitegen.logs.sums import RUNNING
from sitegen.vocabulary import Problem

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
_ZERO = 5.0  # usual steps within which an elapsed time that starts again starts
_TELLING = 10  # different values of a channel with which two logs that are alike in everything are copies


@dataclass(frozen=True)
class Log:
    """Channels of a phase over time. Flows are in m3/s on the scale of their meter, all else in SI."""

    files: tuple[LogFile, ...]  # in the order they were run, without their bins
    offsets: tuple[float, ...]  # s of the log at which each begins
    bins: pd.DataFrame  # t (s, start of the bin), then "<channel>", "<channel>.low", "<channel>.high"
    width: float  # s, of a bin
    start: str  # ISO stamp of the first row; "" not known
    seconds: float  # s from the first instant to the last
    step: float  # s, usual, of the first file
    gaps: tuple[tuple[float, float], ...]  # s of the log, those between files included
    facts: Mapping[str, ChannelFacts]
    meters: Mapping[str, str]  # flow channel -> id of its meter
    stated: Mapping[str, tuple[float, ...]]  # channel -> what is stated for it in files that did not log it, SI
    drawn: Mapping[str, tuple[str, str]]  # channel of one's own, which is drawn and nothing else -> title, unit
    revolutions: float  # [-]; nan where a file has no speed
    running_seconds: float  # s
    energy: float  # J; nan where a file has no torque
    rows: int
    used: int
    problems: tuple[Problem, ...] = field(default=())

    def __post_init__(self) -> None:
        own = vars(self)  # bins are asked of what holds them, which need not have them in memory
        own["_held"] = Held(own.pop("bins"))

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            if name == "bins" and "_held" in vars(self):
                return vars(self)["_held"].frame
            raise AttributeError(name)

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(self.facts)

    def once(self, what: Hashable, make: Callable[[], T]) -> T:
        """What is worked out of this log alone (and of `what`), once: several steps ask for the same."""
        known: dict[Hashable, T] = self.__dict__.setdefault("_known", {})  # no field: it is no part of what was logged
        if what not in known:
            known[what] = make()
        return known[what]

    def sampled(self, channel: str) -> npt.NDArray[np.bool_]:
        """Bins in which a channel has samples of its own; elsewhere its mean lies on a line between two of them."""
        found: npt.NDArray[np.bool_] = np.isfinite(self.bins[f"{channel}.low"].to_numpy(dtype=float))
        return found


def join(files: Sequence[LogFile]) -> tuple[Log | None, list[Problem]]:
    """Files of one phase in the order of their stamps, or as listed where their time is elapsed.

    Elapsed time that goes on from file to file is kept; where it starts again at zero, one file begins a usual step
    after the one before, for the pause is not known. Where a file begins so soon that there is no gap, what lies
    between counts as if it had been logged. Files that cannot be used are left out. Overlapping files, copies,
    and stamps beside elapsed time are errors, and there is no log then. Dated files at the same time with no channel in
    common are those of loggers side by side.
    """
    usable = [each for each in files if each.usable]
    if not usable:
        return None, []
    problems: list[Problem] = []
    stamped = [bool(each.start) for each in usable]
    if any(stamped) and not all(stamped):
        odd = usable[stamped.index(not stamped[0])]
        problems.append(_told(odd, "logs-without-order", f"this log and {usable[0].file} of the same phase do not "
                              "both bear dates, so that nothing says which comes first", "dates in all of them or in "
                              "none"))  # fmt: skip
        return None, problems
    ordered = sorted(usable, key=lambda each: (each.start, each.file)) if all(stamped) else usable
    problems += _copies(ordered)
    if all(stamped) and not problems and len(loggers := _loggers(ordered)) > 1:
        return _side_by_side(loggers)
    offsets = [0.0]
    for before, each in pairwise(ordered):
        offset, overlap = _begin(before, each, offsets[-1])
        if overlap > 0 and not problems:
            problems.append(_told(each, "logs-overlap", f"it begins {overlap:.6g} s before {before.file} ends",
                                  "logs of one phase one after the other"))  # fmt: skip
        offsets.append(offset)
    if problems:
        return None, problems
    return _joined(ordered, offsets), []


def _loggers(files: Sequence[LogFile]) -> list[list[LogFile]]:
    """Files by logger, where some at the same time share no channel; else all of them as one."""
    found: list[list[LogFile]] = []
    for each in files:
        own = next((group for group in found if set(group[0].facts) & set(each.facts)), None)
        if own is None:
            found.append([each])
        else:
            own.append(each)
    return found if any(_begin(a, b, 0.0)[1] > 0 for a, b in pairwise(files)) else [list(files)]


def _side_by_side(loggers: Sequence[Sequence[LogFile]]) -> tuple[Log | None, list[Problem]]:
    """The logs of several loggers on one axis, their clocks taken to agree: which is told."""
    made: list[Log] = []
    for group in loggers:
        log, problems = join(group)
        if log is None:
            return None, problems
        made.append(log)
    main = next((each for each in made if "speed" in each.facts), made[0])
    first = min(datetime.fromisoformat(each.start) for each in made)
    shifts = [(datetime.fromisoformat(each.start) - first).total_seconds() for each in made]
    seconds = max(shift + each.seconds for each, shift in zip(made, shifts, strict=True))
    width = max(each.width for each in made)
    while seconds / width >= bins.MOST:
        width *= 2
    whole = _merged([bins.regrouped(log.bins, shift, width) for log, shift in zip(made, shifts, strict=True)], width)
    energy = main.energy
    if not math.isfinite(energy) and {"speed", "torque"} <= set(whole.columns):
        energy = float(np.nansum(whole["speed"].to_numpy() * whole["torque"].to_numpy()) * width)
    named = " and ".join(group[0].file for group in loggers)
    what = f"{named} were logged at the same time, each its own channels"
    told = Problem(
        main.files[0].file, 0, 0, "loggers-side-by-side", what, "clocks that agree",
        next_step="see that the loggers' clocks agree; they are taken to", level="warning",
    )  # fmt: skip
    ordered = [(file, shift + offset) for log, shift in zip(made, shifts, strict=True)
               for file, offset in zip(log.files, log.offsets, strict=True)]  # fmt: skip
    return replace(
        main, files=tuple(file for file, _ in ordered), offsets=tuple(offset for _, offset in ordered), bins=whole,
        width=width, start=min(each.start for each in made), seconds=seconds, energy=energy,
        gaps=tuple((begin + shifts[made.index(main)], end + shifts[made.index(main)]) for begin, end in main.gaps),
        facts={name: of for each in made for name, of in each.facts.items()},
        meters={name: meter for each in made for name, meter in each.meters.items()},
        stated={name: of for each in made for name, of in each.stated.items()},
        drawn={name: title for each in made for name, title in each.drawn.items()},
        rows=sum(each.rows for each in made), used=sum(each.used for each in made),
        problems=tuple(problem for each in made for problem in each.problems),
    ), [told]  # fmt: skip


def _merged(frames: Sequence[pd.DataFrame], width: float) -> pd.DataFrame:
    """Bins of several logs on one row of bins; of a channel that several state, that of the first."""
    import pandas as pd

    places = [np.rint(frame["t"].to_numpy() / width).astype(np.int64) for frame in frames]
    count = int(max(place[-1] for place in places)) + 1
    made = {"t": np.arange(count) * width}
    for frame, place in zip(frames, places, strict=True):
        for name in (each for each in frame.columns if each not in made):
            made[name] = np.full(count, np.nan)
            made[name][place] = frame[name].to_numpy()
    return pd.DataFrame(made, copy=False)


def _begin(before: LogFile, each: LogFile, at: float) -> tuple[float, float]:
    """Offset of a file whose predecessor begins at `at` [s], and by how much the two overlap [s]."""
    end = at + before.seconds
    step = before.step if math.isfinite(before.step) else 1.0
    if each.start:
        apart = (datetime.fromisoformat(each.start) - datetime.fromisoformat(before.start)).total_seconds()
        return at + apart, before.seconds - apart
    if each.first <= max(before.first, _ZERO * step):
        return end + step, 0.0
    return at + each.first - before.first, before.seconds - (each.first - before.first)


def _copies(files: Sequence[LogFile]) -> list[Problem]:
    """Files that say the same as another one in every channel."""
    found = []
    for at, each in enumerate(files):
        same = next((before for before in files[:at] if _alike(before, each)), None)
        if same is not None:
            found.append(_told(each, "same-file", f"it holds the same as {same.file}", "a log of its own"))
    return found


def _alike(one: LogFile, other: LogFile) -> bool:
    told = [(each.rows, each.start, each.seconds, str(dict(each.facts))) for each in (one, other)]  # text: nan is nan
    return told[0] == told[1] and any(each.distinct > _TELLING for each in one.facts.values())


def _told(file: LogFile, code: str, what: str, expected: str) -> Problem:
    return Problem(file.file, 0, 0, code, what, expected, next_step="correct the record entries of the phase")


def _joined(files: Sequence[LogFile], offsets: Sequence[float]) -> Log:
    logged = list(dict.fromkeys(name for each in files for name in each.facts))
    stated = list(dict.fromkeys(name for each in files for name in each.stated))
    names = list(dict.fromkeys([*logged, *stated]))
    seconds = max(offset + each.seconds for each, offset in zip(files, offsets, strict=True))
    width = max(each.width for each in files)
    while seconds / width >= bins.MOST:
        width *= 2
    gaps = list(files[0].gaps)
    turned = worked = ran = 0.0
    for (before, begin), (each, offset) in pairwise(zip(files, offsets, strict=True)):
        end = begin + before.seconds
        step = before.step if math.isfinite(before.step) else 1.0
        if offset - end > GAP * step:
            gaps.append((end, offset))
        else:
            turned, worked, ran = (
                so_far + more
                for so_far, more in zip((turned, worked, ran), _between(before, each, offset - end), strict=True)
            )
        gaps += [(offset + first, offset + last) for first, last in each.gaps]
    return Log(
        files=tuple(replace(each, bins=None) for each in files),
        offsets=tuple(offsets),
        bins=_once(_frames(files, offsets, names, width), names),
        width=width,
        start=files[0].start,
        seconds=seconds,
        step=files[0].step,
        gaps=tuple(gaps),
        facts={name: facts.together([each.facts[name] for each in files if name in each.facts]) for name in logged},
        meters={name: meter for each in files for name, meter in each.meters.items()},
        stated={
            name: tuple(dict.fromkeys(each.stated[name] for each in files if name in each.stated)) for name in stated
        },
        drawn={name: title for each in files for name, title in each.drawn.items()},
        revolutions=sum(each.revolutions for each in files) + turned,
        running_seconds=sum(each.running_seconds for each in files) + ran,
        energy=sum(each.energy for each in files) + worked,
        rows=sum(each.rows for each in files),
        used=sum(each.used for each in files),
        problems=tuple(problem for each in files for problem in each.problems),
    )


def _between(before: LogFile, each: LogFile, seconds: float) -> tuple[float, float, float]:
    """Revolutions, work [J] and running time [s] between two files without a gap."""
    speeds: list[float] = []
    torques: list[float] = []
    for file, last in ((before, True), (each, False)):
        for name, found in (("speed", speeds), ("torque", torques)):
            held = file.bins[name].dropna().tolist() if name in file.bins else []
            found.append(held[-1 if last else 0] if held else 0.0)
    speeds = [speed if speed > RUNNING else 0.0 for speed in speeds]
    mean = sum(speeds) / 2
    power = sum(speed * torque for speed, torque in zip(speeds, torques, strict=True)) / 2
    return mean * seconds / (2 * math.pi), power * seconds, seconds if speeds[1] > RUNNING else 0.0


def _once(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """The same frame; least and most that are the means, as where a bin is a sample, take no memory of their own."""
    import pandas as pd

    made = {column: frame[column].to_numpy(dtype=float) for column in frame.columns}
    for name in names:
        least, most = f"{name}.low", f"{name}.high"
        for end, other in ((least, name), (most, name), (most, least)):
            if np.array_equal(made[other].view(np.int64), made[end].view(np.int64)):
                made[end] = made[other]
    return pd.DataFrame(made, index=frame.index, copy=False)


def _frames(files: Sequence[LogFile], offsets: Sequence[float], names: Sequence[str], width: float) -> pd.DataFrame:
    """Bins of all files on one row of bins without holes."""
    if len(files) == 1 and files[0].width == width:
        own: pd.DataFrame = files[0].bins
        return own
    import pandas as pd

    parts = [bins.regrouped(each.bins, offset, width) for each, offset in zip(files, offsets, strict=True)]
    columns = ["t", *(name + end for name in names for end in ("", ".low", ".high"))]
    whole = bins.regrouped(pd.concat(parts, ignore_index=True).reindex(columns=columns), 0.0, width)
    place = np.rint(whole["t"].to_numpy() / width).astype(np.int64)
    made = {"t": np.arange(place[-1] + 1) * width}
    for name in columns[1:]:
        made[name] = np.full(len(made["t"]), np.nan)
        made[name][place] = whole[name].to_numpy()
    return pd.DataFrame(made, copy=False)
