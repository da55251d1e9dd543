"""The log of one phase: one file, or several one after the other, in bins of a second."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from sitegen.logs import bins
from sitegen.logs.reading import LogFile
from sitegen.vocabulary import Problem

STANDSTILL = 10.0  # rad/s below which the engine does not run: some 95 rpm, below the idle of any engine here


@dataclass(frozen=True)
class Log:
    """Channels of a phase over time, in SI."""

    bins: Any  # DataFrame: t [s], then for each channel its mean, "<channel>.low", "<channel>.high"
    width: float  # s, of a bin
    seconds: float
    channels: tuple[str, ...]
    meters: Mapping[str, str]  # flow channel -> id of its meter
    revolutions: float  # [-]; not a number without a speed
    running_seconds: float
    energy: float  # J; not a number without torque


def join(files: Sequence[LogFile]) -> tuple[Log | None, list[Problem]]:
    """The files of one phase, in the order of their stamps, else as listed. Overlapping stamps are a problem."""
    ordered = sorted(files, key=lambda each: each.start) if all(each.start for each in files) else list(files)
    offsets, at = [], 0.0
    problems: list[Problem] = []
    first = ordered[0].start
    for before, each in zip([None, *ordered], ordered, strict=False):
        if before is not None:
            begin = _apart(first, each.start) if first and each.start else at + before.step
            if begin < at:
                problems.append(
                    Problem(
                        each.file, 0, 0, "logs-overlap", f"it begins before {before.file} has ended",
                        expected="logs of one phase one after the other",
                    )
                )  # fmt: skip
                return None, problems
            at = begin
        offsets.append(at)
        at += each.seconds
    names = tuple(dict.fromkeys(name for each in ordered for name in each.samples))
    wide = bins.width(at)
    count = math.floor(at / wide) + 1
    data: dict[str, Any] = {"t": np.arange(count) * wide}
    whole = {}
    for name in names:
        parts = [(t + off, x) for each, off in zip(ordered, offsets, strict=True) if name in each.samples
                 for t, x in (each.samples[name],)]  # fmt: skip
        t, x = (np.concatenate(each) for each in zip(*parts, strict=True))
        whole[name] = t, x
        data[name], data[f"{name}.low"], data[f"{name}.high"] = bins.gathered(t, x, wide, count)
    meters = {channel.name: channel.meter for each in ordered for channel in each.source.channels if channel.meter}
    revolutions = energy = math.nan
    ran = 0.0
    if "speed" in whole:
        t, speed = whole["speed"]
        turning = np.where(speed > STANDSTILL, speed, 0.0)  # what a pickup shows at standstill is noise
        revolutions = bins.integral(t, turning) / (2 * math.pi)
        ran = bins.time_above(t, speed, STANDSTILL)
        if "torque" in whole:
            at_torque, torque = whole["torque"]
            good = np.isfinite(torque)
            if good.sum() > 1:
                energy = bins.integral(t, turning * np.interp(t, at_torque[good], torque[good]))
    return Log(pd.DataFrame(data), wide, at, names, meters, revolutions, ran, energy), problems


def _apart(first: str, second: str) -> float:
    return (datetime.fromisoformat(second) - datetime.fromisoformat(first)).total_seconds()
