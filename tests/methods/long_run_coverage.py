"""Simulated long runs: how often the interval of a slope holds, and how often there is none.

    PYTHONPATH=tests python -m methods.long_run_coverage --draws 4000

Levels by hour of a bench that wanders (time constant and standard deviation known), with hourly scatter, a daily cycle that
is no sine, nights at which the bench stands still and scatter from day to day, changes of meter. The true slope is known.
Where the time constant is taken from other runs, those are simulated with the same wander. None of it is the code under test.

Claim: at least 94.4 % of printed intervals where the run is as long as is asked, thirty time constants; where it is shorter
and other runs let it through, wrong intervals stay below 5.6 % of all runs.
"""  # noqa: E501 - the command and the claims read better unbroken

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from methods.steady_coverage import NOMINAL, Tally, wander

from sitegen.methods import long_run
from sitegen.vocabulary import Refused

FINE = 6  # instants an hour of the simulated wander


@dataclass(frozen=True)
class Run:
    """A long run."""

    hours: int  # run
    time: float  # h, of the wander
    noise: float = 0.5  # sd of an hour's mean, the wander's being 1
    daily: float = 0.0  # amplitude of a cycle of a day, a share of it in its harmonics
    night: int = 0  # h at a standstill after every `shift` hours
    shift: int = 8
    day_sd: float = 0.0  # from day to day
    swaps: tuple[float, ...] = ()  # shares of the run at which the meter is another
    others: int = 0  # runs of other builds that tell the time constant; 0: it is known
    slope: float = 2.0  # per 100 h
    lost: float = 0.0  # share of windows lost

    @property
    def name(self) -> str:
        parts = [f"{self.hours} h, wander {self.time:g} h"]
        parts += [f"noise {self.noise:g}"] if self.noise != 0.5 else []
        parts += [f"daily {self.daily:g}"] if self.daily else []
        parts += [f"nights of {self.night} h, days {self.day_sd:g}"] if self.night else []
        parts += [f"swaps {len(self.swaps)} ({self.swaps[0]:g})"] if self.swaps else []
        parts += [f"by {self.others} others"] if self.others else []
        parts += [f"lost {self.lost:g}"] if self.lost else []
        return ", ".join(parts)

    @property
    def long_enough(self) -> bool:
        blocks = {0: 5, 1: 8}.get(len(self.swaps), 3 * (len(self.swaps) + 1))
        return self.hours / blocks >= 6 * self.time or bool(self.night)


CASES = (
    *(Run(hours, hours / n, noise) for hours in (100, 300) for n in (30, 60, 150) for noise in (0.0, 0.5, 2.0)),
    *(Run(300, 10.0, noise, others=k) for noise in (0.0, 0.5) for k in (1, 3)),
    *(Run(300, n, others=k) for n in (1.0, 3.0, 30.0) for k in (1, 3)),
    *(Run(hours, 1.0, daily=a) for hours in (96, 125, 200, 300) for a in (1.0, 3.0)),
    *(Run(hours, 1.0, night=16, day_sd=sd) for hours in (40, 80, 160) for sd in (0.0, 0.5, 1.0)),
    *(Run(hours, 1.0, swaps=at) for hours in (150, 300) for at in ((0.5,), (0.3,), (0.33, 0.67), (0.2, 0.6))),
    Run(300, 10.0, lost=0.3),
    Run(300, 5.0, lost=0.3, daily=1.0),
)


def made(case: Run, rng: np.random.Generator) -> long_run.Levels:
    """Levels by hour of one run."""
    hour = np.asarray(np.arange(case.hours) + 0.5, dtype=np.float64)
    nights = np.floor(hour / case.shift) if case.night else np.zeros(case.hours)
    clock = hour + case.night * nights
    count = FINE * math.ceil(clock[-1] + 1)
    fine = wander(rng, 1, count, case.time * FINE)[0] if case.time else np.zeros(count)
    starts = np.rint(FINE * (clock - 0.5)).astype(int)
    level = np.array([fine[at : at + FINE].mean() for at in starts.tolist()])
    level += case.noise * rng.standard_normal(case.hours) + case.slope / 100 * hour + 50
    if case.daily:
        phase = 2 * math.pi * (clock / 24 + rng.random())
        level += case.daily * (np.sin(phase) + 0.3 * np.sin(2 * phase + 1) + 0.2 * np.sin(3 * phase + 2))
    if case.night:
        level += case.day_sd * rng.standard_normal(int(nights[-1]) + 1)[nights.astype(int)]
    side = sum((hour > share * case.hours).astype(int) for share in case.swaps) + np.zeros(case.hours, dtype=np.int64)
    level += np.array([0.0, 3.0, -2.0, 1.0])[side]
    levels = long_run.Levels(hour, np.asarray(clock, dtype=np.float64), np.asarray(level, dtype=np.float64), side)
    return levels.kept(rng.random(case.hours) >= case.lost)


def coverage(case: Run, draws: int) -> Tally:
    rng = np.random.default_rng(crc32(case.name.encode()))
    tally = Tally()
    for _ in range(draws):
        tally.records += 1
        time: float | None = case.time
        try:
            if case.others:
                time = float(np.mean([long_run.memory(made(case, rng)).time for _ in range(case.others)]))
            levels = made(case, rng)
            found = long_run.slope(levels, time)
        except Refused as told:
            tally.refused[told.code] += 1
            continue
        tally.add("slope", found.low <= case.slope <= found.high)
        _ahead(case, found, rng, tally)
        tally.held.setdefault("half", []).append((found.high - found.low) / 2)  # type: ignore[arg-type]
    return tally


def _ahead(case: Run, found: long_run.Slope, rng: np.random.Generator, tally: Tally) -> None:
    """Whether the level of a window at 1.3 times the hours lies where it is told to; a daily cycle is not in it."""
    hour = 1.3 * case.hours
    hourly = wander(rng, 1, FINE, case.time * FINE)[0].mean() if case.time else 0.0
    level = 50 + case.slope / 100 * hour + (0.0, 3.0, -2.0)[len(case.swaps)] + hourly
    level += case.noise * rng.standard_normal() + case.day_sd * rng.standard_normal() * bool(case.night)
    _, low, high = long_run.at_hours(found, hour)
    tally.add("ahead", bool(low <= level <= high))


def _job(job: tuple[Run, int]) -> Tally:
    return coverage(*job)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    options = parser.parse_args()
    cases = [case for case in CASES if options.only in case.name]
    with ProcessPoolExecutor(2) as pool:
        for case, tally in zip(cases, pool.map(_job, [(case, options.draws) for case in cases]), strict=True):
            why = ", ".join(f"{code} {100 * n / tally.records:.1f}" for code, n in sorted(tally.refused.items()))
            share = tally.share("slope")
            half = float(np.mean(tally.held.get("half", [math.nan])))
            low = [what for what in ("slope", "ahead") if tally.share(what) < NOMINAL]
            word = f"low: {', '.join(low)}" if low else ""
            told = f"{100 * share:.1f} (wrong {100 * tally.wrong('slope'):.1f}) ±{half:.2f}"
            told += f", ahead {100 * tally.share('ahead'):.1f}"
            print(f"{case.name:44} printed {100 * tally.printed():5.1f} %: {told} {word}; refused: {why or '-'}",
                  flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
