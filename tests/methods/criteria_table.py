"""Simulated criteria and plans: how often a word is wrong, and how often a plan holds what is truly needed.

    python -m tests.methods.criteria_table --draws 100000

draws that many programs a row and prints the tables (a minute or two). The test run does the same with 10 000 draws
(test_criteria.py, test_power.py).

The truth is drawn here and every decision is made by the code under test, cylinder by cylinder. A value has a standard
error of 1 and a limit of 0 it must not exceed; its interval comes from a scatter on `df` degrees of freedom (none:
known), and from an error common to all cylinders where a row has one.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import contrasts, criteria, power
from sitegen.methods.design import Spot
from sitegen.methods.intervals import NORMAL_95, student_95

Floats = NDArray[np.float64]
SEED = 20260113
LIMIT = 0.0
FAR = 20.0  # standard errors inside the limit: never in doubt
FAR_TOO_MANY = 10_000  # readings: counts as undecided


@dataclass(frozen=True)
class Row:
    """Cylinders under one criterion. `truth` are their true values in standard errors above the limit."""

    name: str
    truth: Sequence[float]
    df: float | None = None
    common: float = 0.0  # standard error of what all cylinders share


def rows() -> Iterator[Row]:
    """A cylinder exactly at its limit is the worst case of both words: by a hair it breaks it, or keeps it."""
    for number in (4, 8):
        for df, common in ((None, 0.0), (4.0, 0.0), (9.0, 0.0), (4.0, 1.0)):
            told = f"{number} cylinders" + (", common error" if common else "")
            one = [0.0] + [-FAR] * (number - 1)
            yield Row(f"{told}: one at the limit, rest far inside", one, df, common)
            yield Row(f"{told}: all at the limit", [0.0] * number, df, common)


@dataclass(frozen=True)
class Rates:
    """Shares of the programs drawn [-]."""

    words: dict[str, float]
    uncorrected: float  # fails, if each cylinder were held against its own 95 % interval


def intervals(row: Row, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Values and half-widths of their 95 % intervals; (draws, cylinders)."""
    shape = (draws, len(row.truth))
    shared = row.common * rng.standard_normal((draws, 1))
    values = np.asarray(row.truth) + rng.standard_normal(shape) + shared
    se = np.ones(shape) if row.df is None else np.sqrt(rng.chisquare(row.df, shape) / row.df)
    cut = student_95(math.inf if row.df is None else row.df)
    return values, np.hypot(cut * se, NORMAL_95 * row.common)


def run(row: Row, draws: int) -> Rates:
    rng = np.random.default_rng([SEED, *(round(10 * (each or 0)) % 1000 for each in (*row.truth, row.df, row.common))])
    values, half = intervals(row, draws, rng)
    number = len(row.truth)
    found = dict.fromkeys((criteria.HOLDS, criteria.FAILS, criteria.CANNOT), 0)
    naive = 0
    for own, reach in zip(values.tolist(), half.tolist(), strict=True):
        words = [
            criteria.word(
                *criteria.deciding(value, value - each, value + each, "at-most", row.df, number), LIMIT, "at-most"
            )
            for value, each in zip(own, reach, strict=True)
        ]
        found[criteria.every(words, 0)] += 1
        naive += any(value - each > LIMIT for value, each in zip(own, reach, strict=True))
    return Rates({word: count / draws for word, count in found.items()}, naive / draws)


# ---- occasions -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Occasions:
    """Cylinders of some engines, each engine checked on an occasion of its own that moved all of its cylinders."""

    engines: int
    cylinders: int
    scatter: float  # of occasions, in standard errors of a reading
    df: float  # that scatter is known on
    one: bool  # one cylinder at the limit, the rest far inside; else all at it


def occasions() -> Iterator[Occasions]:
    for engines, cylinders in ((2, 4), (3, 4), (6, 4), (3, 8)):
        for scatter in (0.3, 1.0, 3.0):
            for df in (3.0, 8.0, 20.0):
                for one in (True, False):
                    yield Occasions(engines, cylinders, scatter, df, one)


def judged(row: Occasions, draws: int, *, told: bool = True) -> dict[str, float]:
    """Shares of the words [-]; `told` False: without the occasions, as if the limit were meant for that day."""
    rng = np.random.default_rng([SEED, row.engines, row.cylinders, round(10 * row.scatter), round(row.df), row.one])
    shape = (draws, row.engines, row.cylinders)
    values = rng.standard_normal(shape) + row.scatter * rng.standard_normal((draws, row.engines, 1))
    if row.one:
        values -= FAR * (1 + row.scatter)
        values[:, 0, 0] += FAR * (1 + row.scatter)
    known = row.scatter * np.sqrt(rng.chisquare(row.df, draws) / row.df)  # pooled over the program
    number, cut = row.engines * row.cylinders, student_95(math.inf)
    found = dict.fromkeys((criteria.HOLDS, criteria.FAILS, criteria.CANNOT), 0)
    for own, sd in zip(values.reshape(draws, -1).tolist(), known.tolist(), strict=True):
        moved = student_95(row.df) * sd * told
        words = []
        for value in own:
            ends = criteria.on_any_occasion(value, value - cut, value + cut, moved)
            words.append(criteria.word(*criteria.deciding(value, *ends, "at-most", None, number), LIMIT, "at-most"))
        found[criteria.every(words, 0)] += 1
    return {word: count / draws for word, count in found.items()}


# ---- the mean of builds ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mean:
    """Builds of one coating against a limit at the middle they scatter about."""

    builds: str  # how they scatter: "lognormal", "normal", or "one-sided": exponential on the logarithm
    sd: float  # relative
    number: int
    pooled: bool = False  # with as many builds of another coating beside them


def means() -> Iterator[Mean]:
    """Two to six builds."""
    for sd in (0.1, 0.3, 0.7):
        for number in (2, 3, 4, 6):
            for pooled in (False, True):
                yield Mean("lognormal", sd, number, pooled)
    for sd in (0.1, 0.2):
        for number in (2, 3, 4, 6):
            yield Mean("normal", sd, number)
    for sd in (0.12, 0.3):
        for number in (3, 6):
            for pooled in (False, True):
                yield Mean("one-sided", sd, number, pooled)


@dataclass(frozen=True)
class Wrong:
    """Shares of the programs drawn [-] whose word is wrong: of a limit kept or broken by a hair."""

    holds: float
    fails: float
    plain_holds: float  # by the arithmetic mean alone
    plain_fails: float


def mean(row: Mean, draws: int) -> Wrong:
    rng = np.random.default_rng([SEED, round(100 * row.sd), row.number, row.pooled, len(row.builds)])
    number = row.number * (1 + row.pooled)
    shape = (number, draws)
    if row.builds == "normal":
        values = np.maximum(1 + row.sd * rng.standard_normal(shape), 1e-3)
    else:
        effect = rng.standard_normal(shape) if row.builds == "lognormal" else rng.exponential(1.0, shape) - 1
        values = np.exp(row.sd * effect)
    spots = [Spot(f"B{n}", f"B{n}", n, 1, "own" if n < row.number else "other") for n in range(number)]
    limit, ends = 1.0, []
    for y in (np.log(values), values):
        found = contrasts.level(spots, y, "own")
        half = student_95(float(found.df)) * found.se
        ends.append((found.estimate - half, found.estimate + half))
    (low, high), plain = np.exp(ends[0]), ends[1]
    told = [
        criteria.word(*criteria.typical_ends(*each, "at-most"), limit, "at-most")
        for each in zip(low.tolist(), high.tolist(), plain[0].tolist(), plain[1].tolist(), strict=True)
    ]
    return Wrong(
        told.count(criteria.HOLDS) / draws,
        told.count(criteria.FAILS) / draws,
        float((plain[1] <= limit).mean()),
        float((plain[0] > limit).mean()),
    )


# ---- the worst seen -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Worst:
    """What the largest of several values that are truly alike, or spread, gets wrong."""

    bias: float  # mean of the largest seen less what it truly is, in standard errors
    coverage: float  # of its own 95 % interval [-]
    named: float  # the true worst is the one seen, or among those not clearly better [-]
    near: float  # how many are named beside it


def worst(truth: Sequence[float], df: float | None, draws: int) -> Worst:
    rng = np.random.default_rng([SEED, len(truth), round(10 * (df or 0)), round(10 * max(truth))])
    values, half = intervals(Row("", truth, df), draws, rng)
    cut = student_95(math.inf if df is None else df)
    most = int(np.argmax(truth))
    bias = covered = named = near = 0.0
    for own, reach in zip(values.tolist(), half.tolist(), strict=True):
        place, others = criteria.worst(own, [each / cut for each in reach], [df] * len(own))
        bias += own[place] - truth[place]
        covered += abs(own[place] - truth[place]) <= reach[place]
        named += most == place or most in others
        near += len(others)
    return Worst(bias / draws, covered / draws, named / draws, near / draws)


# ---- readings -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Told:
    """How the number of readings told to undecided programs turns out."""

    decided: float  # of the programs undecided at first, decided once they have that many in all [-]
    median: float  # told, with what further readings do to t
    at_face_value: float  # told, where t stays what it was


def readings(first: int, distance: float, draws: int) -> Told:
    """A cylinder `distance` standard deviations of a reading inside its limit; `first` readings, then as told."""
    rng = np.random.default_rng([SEED, first, round(100 * distance)])
    told, plain, decided = [], [], 0.0
    for own in rng.standard_normal((draws, first)) - distance:
        half = student_95(first - 1) * float(own.std(ddof=1)) / math.sqrt(first)
        value = float(own.mean())
        if value >= LIMIT or value + half <= LIMIT:
            continue
        number = criteria.repeats_needed(value, value + half, LIMIT, first, 0.0, df=first - 1)
        known = criteria.repeats_needed(value, value + half, LIMIT, first, 0.0)
        told.append(math.inf if number is None else number)
        plain.append(math.inf if known is None else known)
        if number is not None and number < FAR_TOO_MANY:
            every = np.concatenate([own, rng.standard_normal(number - first) - distance])
            decided += every.mean() + student_95(number - 1) * every.std(ddof=1) / math.sqrt(number) <= LIMIT
    return Told(float(decided) / len(told), float(np.median(told)), float(np.median(plain)))


# ---- plans ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Planned:
    """How plans made from a scatter on few degrees of freedom turn out. The true scatter is 1."""

    needed: int  # builds truly needed
    held: float  # share of programs whose range holds that number [-]
    enough: float  # share whose upper end is enough [-]
    guessed: float  # share that would have too few builds with the scatter taken at face value [-]
    ends: tuple[int, int | None]  # the median program's range


def scatters(df: int, draws: int) -> Floats:
    """Standard deviations as programs find them: pooled over two coatings of df/2 + 1 builds each; (draws,)."""
    rng = np.random.default_rng([SEED, df])
    builds = rng.standard_normal((draws, 2, df // 2 + 1))
    return np.asarray(np.sqrt(builds.var(axis=2, ddof=1).mean(axis=1)))


def planned(kind: str, df: int, difference: float, draws: int) -> Planned:
    """`kind`: "two coatings" (builds_range) or "one mean" (builds_needed).

    Both ends only step up as the scatter found grows, so they are worked out on a fine grid and looked up.
    """

    def plan(sd: float, free: float) -> tuple[int, int | None]:
        if kind == "two coatings":
            return power.builds_range(sd, free, difference)
        return criteria.builds_needed(difference, sd, free, 0.0)

    found = scatters(df, draws)
    grid = np.quantile(found, np.linspace(0, 1, 401))
    ranges = [plan(float(sd), df) for sd in grid]
    guesses = np.array([plan(float(sd), math.inf)[0] for sd in grid])
    lows = np.array([low for low, _ in ranges])
    highs = np.array([math.inf if high is None else high for _, high in ranges])
    places = np.searchsorted(grid, found).clip(0, len(grid) - 1)
    needed, _ = plan(1.0, math.inf)
    low, high = lows[places], highs[places]
    return Planned(
        needed,
        float(((low <= needed) & (needed <= high)).mean()),
        float((needed <= high).mean()),
        float((guesses[places] < needed).mean()),
        ranges[len(ranges) // 2],
    )


def found_share(n_one: int, n_other: int, d: float, draws: int) -> float:
    """Share [-] of simulated programs in which a pooled t test finds a difference of d build standard deviations."""
    rng = np.random.default_rng([SEED, n_one, n_other])
    one, other = rng.standard_normal((draws, n_one)) + d, rng.standard_normal((draws, n_other))
    squares = ((one - one.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    squares += ((other - other.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    df = n_one + n_other - 2
    se = np.sqrt(squares / df * (1 / n_one + 1 / n_other))
    return float((np.abs(one.mean(axis=1) - other.mean(axis=1)) > student_95(df) * se).mean())


PLANS = (("two coatings", 1.5), ("two coatings", 2.5), ("one mean", 1.0), ("one mean", 2.0))
FREEDOMS = (2, 4, 8)
GROUPS = ((2, 2), (3, 3), (6, 6), (2, 5))
ALIKE = (4, 8)


def _df(df: float | None) -> str:
    return "known" if df is None else f"{df:.0f}"


def table(draws: int) -> Iterator[str]:
    """The lines of the tables."""
    yield f"Criteria on every cylinder; {draws} programs a row, shares in per cent, nominal 2.5 a word"
    yield f"{'case':62}{'df':>6}{'holds':>8}{'fails':>8}{'cannot':>8}{'fails uncorrected':>19}"
    for row in rows():
        rates = run(row, draws)
        shares = "".join(
            f"{100 * rates.words[word]:8.2f}" for word in (criteria.HOLDS, criteria.FAILS, criteria.CANNOT)
        )
        yield f"{row.name:62}{_df(row.df):>6}{shares}{100 * rates.uncorrected:19.2f}"
    yield ""
    yield "Engines checked on an occasion each, at the limit: holds, fails; both without the occasions"
    for case in occasions():
        with_, without = judged(case, min(draws, 20_000)), judged(case, min(draws, 20_000), told=False)
        name = f"{case.engines}x{case.cylinders}, occasions {case.scatter:.1f} on {case.df:.0f} df"
        name += ", one at the limit" if case.one else ", all at the limit"
        yield f"{name:52}" + "".join(
            f"{100 * each[word]:8.2f}" for each in (with_, without) for word in (criteria.HOLDS, criteria.FAILS)
        )
    yield ""
    yield "Mean of builds at its limit: wrong words in per cent, and those of the arithmetic mean alone"
    for each in means():
        wrong = mean(each, draws)
        name = f"{each.builds}, {each.sd:.0%}, {each.number} builds" + (", pooled" if each.pooled else "")
        rates_ = (wrong.holds, wrong.fails, wrong.plain_holds, wrong.plain_fails)
        yield f"{name:46}" + "".join(f"{100 * share:8.2f}" for share in rates_)
    yield ""
    yield "Worst seen: bias in standard errors, its own interval, the true worst among those named, named beside it"
    for number in ALIKE:
        for df in (None, 4.0):
            for truth in ([0.0] * number, [1.0] + [0.0] * (number - 1), [3.0] + [0.0] * (number - 1)):
                seen = worst(truth, df, draws)
                yield (
                    f"{number} cylinders, worst truly {truth[0]:.0f} above the rest{'':8}{_df(df):>6}"
                    f"{seen.bias:8.2f}{100 * seen.coverage:8.2f}{100 * seen.named:8.2f}{seen.near:8.2f}"
                )
    yield ""
    yield "Readings of a cylinder inside its limit: decided at the number told, median told, median if t stayed"
    for first in (2, 3, 5):
        for distance in (0.5, 1.0, 1.5):
            told = readings(first, distance, min(draws, 10_000))
            yield (
                f"{first} readings, {distance} sd inside{'':12}{100 * told.decided:8.2f}{told.median:8.0f}"
                f"{told.at_face_value:8.0f}"
            )
    yield ""
    yield "Power of two groups: said, simulated"
    for one, other in GROUPS:
        d = power.detectable(one, other)
        said, got = 100 * power.power(one, other, d), 100 * found_share(one, other, d, draws)
        yield f"{one}+{other} builds find {d:.2f} build-sd{'':8}{said:8.2f}{got:8.2f}"
    yield ""
    yield "Builds from a scatter on few df: needed, range holds that, upper end enough, too few at face value, median"
    for kind, difference in PLANS:
        for free in FREEDOMS:
            made = planned(kind, free, difference, draws)
            shares = "".join(f"{100 * share:8.2f}" for share in (made.held, made.enough, made.guessed))
            low, high = made.ends
            ends = f"{low} to {high}" if high is not None else f"{low} to over 60"
            yield f"{kind}, {difference} build-sd, {free} df{'':4}{made.needed:6}{shares}  {ends}"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--draws", type=int, default=100_000, help="programs a row")
    for line in table(parser.parse_args().draws):
        print(line, flush=True)


if __name__ == "__main__":
    main()
