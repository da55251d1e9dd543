"""How often intervals of engine friction hold a known truth, and what run downs read.

`PYTHONPATH=tests python -m methods.friction_coverage --draws 10000` prints the table (four minutes); the tests try a
small part of it. The engine is one of its own: friction with a constant, a linear and a square part, a falling speed
integrated in small steps, noise of the speed, days and runs that scatter.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.methods import friction, pulls
from sitegen.methods.friction import Day
from sitegen.methods.intervals import student_95

Floats = npt.NDArray[np.float64]
RPM = math.pi / 30


@dataclass(frozen=True)
class Engine:
    """What runs down."""

    inertia: float = 0.6  # kg m2
    rate: float = 50.0  # Hz
    noise: float = 1.5  # rpm
    square: float = 2.2  # N m per (1000 rpm)2
    linear: float = 5.5  # N m per 1000 rpm
    constant: float = 14.0  # N m

    def torque(self, speed: float) -> float:
        thousands = speed / RPM / 1000
        return self.constant + self.linear * thousands + self.square * thousands**2


def run_down(
    rng: np.random.Generator, engine: Engine, start: float = 2400.0
) -> tuple[Floats, Floats, Callable[[float], float]]:
    """Time [s], speed [rad/s] with noise, and the true torque [N m] at a speed."""
    dt = 1e-3 if engine.inertia < 5 else 1e-2
    speed, every = start * RPM, [start * RPM]
    while speed > 300 * RPM:
        half = speed - dt / 2 * engine.torque(speed) / engine.inertia
        speed -= dt * engine.torque(half) / engine.inertia
        every.append(speed)
    fine = np.arange(len(every)) * dt
    time = np.arange(rng.uniform(0, 1 / engine.rate), fine[-1], 1 / engine.rate)
    return time, np.interp(time, fine, every) + rng.normal(0, engine.noise * RPM, len(time)), engine.torque


def read_off(rng: np.random.Generator, engine: Engine, window: float, degree: int = 0, at: float = 1500.0) -> float:
    """Share by which one run down reads the torque too high; degree 0: as the package does, else by numpy.polyfit."""
    time, speed, true = run_down(rng, engine)
    if not degree:
        rate = friction.deceleration(time, speed, at * RPM, window * RPM)
    else:
        inside = np.flatnonzero(np.abs(speed - at * RPM) <= window * RPM)
        x, y = time[inside[0] : inside[-1] + 1], speed[inside[0] : inside[-1] + 1] - at * RPM
        fit = np.polyfit(x - x.mean(), y, degree)
        root = min(np.roots(fit).real, key=abs)
        rate = -float(np.polyval(np.polyder(fit), root))
    return engine.inertia * rate / true(at * RPM) - 1


def held(
    rng: np.random.Generator, draws: int, inertia_error: float = 0.0, of_day: float = 0.004, of_run: float = 0.003,
    builds: int = 2, days: int = 3, runs: int = 3,
) -> tuple[float, float]:  # fmt: skip
    """Share of intervals of absolute pressures that hold the truth: days as units, and runs as units."""
    truth, by_days, by_runs = math.log(1e5), [], []
    common = friction.common_of_inertia(1.0, inertia_error)
    for _ in range(draws):
        shared = rng.normal(0, inertia_error)
        each = truth + shared + rng.normal(0, of_day, (builds, days, 1)) + rng.normal(0, of_run, (builds, days, runs))
        means = [[Day(str(n), float(day)) for day in build] for n, build in enumerate(each.mean(axis=2))]
        level = friction.of_days(means[0], pulls.of_days([day for build in means for day in build]), common)
        by_days.append((level.low or 0) <= 1e5 <= (level.high or 0))
        own = each[0].ravel()
        half = math.hypot(student_95(len(own) - 1) * float(own.std(ddof=1)) / math.sqrt(len(own)), common)
        by_runs.append(abs(float(own.mean()) - truth) <= half)
    return float(np.mean(by_days)), float(np.mean(by_runs))


def changes(
    rng: np.random.Generator, draws: int, step: float, variants: str = "ABBAAB"
) -> Iterator[tuple[float, float]]:
    """Intervals of the change from A to B [-], where the days drift by 0.2 % each."""
    for _ in range(draws):
        days = [
            Day(variant, math.log(1e5) + step * (variant == "B") + 0.002 * n + rng.normal(0, 0.0035))
            for n, variant in enumerate(variants)
        ]
        found = pulls.gain(days, "B")
        yield found.low, found.high


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--draws", default=10000, type=int, help="%(default)s")
    draws = parser.parse_args().draws
    print("run downs: mean and sd of what they read too much, %")
    print("friction      window degree  rate   1000 rpm        1500 rpm        2000 rpm")
    kinds = {"usual": Engine(), "steep": Engine(constant=6.0, linear=7.0, square=5.0)}
    for name, engine in kinds.items():
        for window, degree, rate in ((200, 0, 50.0), (200, 0, 200.0), (300, 0, 50.0), (200, 1, 50.0), (300, 1, 50.0),
                                     (200, 2, 10.0), (200, 3, 50.0)):  # fmt: skip
            row = []
            for at in (1000.0, 1500.0, 2000.0):
                sampled = Engine(engine.inertia, rate, engine.noise, engine.square, engine.linear, engine.constant)
                found = [
                    read_off(np.random.default_rng(n), sampled, window, degree, at)
                    for n in range(max(draws // 100, 20))
                ]
                row.append(f"{100 * np.mean(found):+6.2f} \N{PLUS-MINUS SIGN} {100 * np.std(found):4.2f}")
            print(f"{name:12s}  {window:6d} {degree or 'ours':>6}  {rate:4.0f}  {'   '.join(row)}")
    print("\ncoverage of absolute pressures, %: days as units; runs as units")
    for builds, days, runs, of_day, error in (
        (2, 3, 3, 0.004, 0.0), (2, 3, 3, 0.004, 0.005), (2, 3, 3, 0.004, 0.01), (2, 3, 3, 0.004, 0.03),
        (1, 3, 3, 0.004, 0.0), (2, 3, 8, 0.008, 0.0), (2, 2, 20, 0.012, 0.0), (4, 4, 5, 0.003, 0.0),
    ):  # fmt: skip
        by_days, by_runs = held(np.random.default_rng(1), draws, error, of_day, 0.003, builds, days, runs)
        print(f"{builds} builds, {days} days, {runs:2d} runs, days {100 * of_day:.1f} %, inertia {100 * error:.1f} %:  "
              f"{100 * by_days:5.1f}   {100 * by_runs:5.1f}")  # fmt: skip
    print("\nchanges: false where there is none, %; coverage of one of 1 %")
    for variants in ("ABABAB", "ABBAAB", "ABBAABBA"):
        false = [low > 0 or high < 0 for low, high in changes(np.random.default_rng(2), draws, 0.0, variants)]
        found = [
            low < math.expm1(0.01) < high for low, high in changes(np.random.default_rng(3), draws, 0.01, variants)
        ]
        print(f"{variants:10s} {100 * np.mean(false):5.1f}   {100 * np.mean(found):5.1f}")


if __name__ == "__main__":
    main()
