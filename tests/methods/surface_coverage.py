"""Simulated traces: how often the intervals from profiles hold the truth, and how often wear is seen where there is none.

    PYTHONPATH=tests python -m methods.surface_coverage --draws 10000

prints the tables over two processes. The normal test run uses few draws (test_surface_coverage.py).

Bores come from tests/simulate/surfaces.py, which knows nothing of the analysis: a pool of traces is made for each state and
evaluated once, and sets of repeats are drawn from it; the truth of a parameter is the mean of its pool, that of wear is what
was taken off the plateaus. Ring faces come from tests/simulate/faces.py, which knows as little of it: crowns cut off, caps,
flats with ramps or upright ends, faces that are no parabola, roughness that goes together over 6 to 30 um.

Claims. Every interval printed holds in 94.4 % or more of records; wear is seen where there is none in 3.5 % or fewer (2.5 by
its t). Widths of bands hold in 92 % or more.
"""  # noqa: E501 - the command and the claims read better unbroken

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from statistics import fmean
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from simulate import surfaces
from simulate.faces import Case, Rough, Wear

from sitegen.methods import bore_wear, material_ratio, profile, profile_filters, ring_face, roughness
from sitegen.methods.intervals import student_95
from sitegen.methods.repeats import difference
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

NOMINAL = 0.944  # 95 % less what 10 000 draws cannot tell apart
ALARMS = 0.025 + 0.006
WEAR = (0.0, 0.1, 0.3, 0.6, 1.2)  # um off the plateaus
STEP, CUTOFF, LENGTH = 2e-6, 0.8e-3, 4e-3  # m
WITHOUT = ("rt", "rsk", "rku")  # parameters printed without an interval


@dataclass
class Tally:
    """Counts of one case."""

    records: int = 0
    held: dict[str, list[bool]] = field(default_factory=dict)
    seen: dict[str, list[bool]] = field(default_factory=dict)  # wear above its detection limit
    refused: int = 0

    def add(self, what: str, low: float, high: float, truth: float) -> None:
        self.held.setdefault(what, []).append(low <= truth <= high)
        self.seen.setdefault(what, []).append(low > 0)

    def share(self, what: str) -> float:
        return float(np.mean(self.held[what])) if self.held.get(what) else math.nan

    def alarms(self, what: str) -> float:
        """Share of records in which wear is seen."""
        return sum(self.seen.get(what, [])) / max(self.records, 1)

    def tolerance(self, what: str, of: float) -> float:
        """Three standard errors of a share over the intervals printed."""
        return 3 * math.sqrt(of * (1 - of) / max(len(self.held.get(what, [])), 1))


# ---- bores ----------------------------------------------------------------------------------------------------------


def trace(seed: int, wear: float, reversal: bool) -> dict[str, float]:
    """Everything one simulated trace tells, heights [um]."""
    random = np.random.RandomState(seed)
    length = surfaces.LENGTH["top-reversal" if reversal else "mid-stroke"]
    z = np.asarray(1e-6 * surfaces.bore(random, length, wear, reversal=reversal), dtype=np.float64)
    x = np.asarray(STEP * np.arange(len(z)), dtype=np.float64)
    if reversal:
        return {"step": 1e6 * bore_wear.axial_step(x, z, 1e-3 * surfaces.UNSWEPT, 1e-3 * surfaces.SWEPT)}
    flat = z - profile.line(x, z)
    rough = flat - profile_filters.robust_gaussian(flat, STEP, CUTOFF)
    count = round(LENGTH / STEP)
    lead = (len(z) - count) // 2
    rough = rough[lead : lead + count]
    curve = material_ratio.curve(rough)
    heights, core = roughness.heights(rough), material_ratio.core(curve)
    found = {name: getattr(heights, name) for name in ("ra", "rq", "rz", "rt", "rsk", "rku")}
    found |= {name: getattr(core, name) for name in ("rk", "rpk", "rvk", "mr1", "mr2", "oil_volume")}
    found["valleys"] = 1e6 * bore_wear.above_valleys(curve)
    chance = material_ratio.probability(rough)
    return found | {"rpq": chance.rpq, "rvq": chance.rvq, "rmq": chance.rmq}


def pool(traces: int, wear: float, reversal: bool) -> dict[str, Floats]:
    """Traces of one state, by what they tell."""
    start = crc32(f"{wear} {reversal}".encode()) % 2**31
    rows = [trace((start + each) % 2**31, wear, reversal) for each in range(traces)]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def _sets(random: np.random.Generator, values: Floats, draws: int, many: int) -> Floats:
    """Sets of that many different traces of a pool."""
    at = random.integers(0, len(values), (draws, many))
    while True:
        ordered = np.sort(at, axis=1)
        twice = (ordered[:, 1:] == ordered[:, :-1]).any(axis=1)
        if not twice.any():
            return np.asarray(values[at])
        at[twice] = random.integers(0, len(values), (int(twice.sum()), many))


def roughness_of(states: Mapping[str, Floats], repeats: int, draws: int, seed: int = 1) -> Tally:
    """Means of repeats with their t interval, against the mean of the pool."""
    random = np.random.default_rng(seed)
    tally = Tally()
    for name, values in states.items():
        sets = _sets(random, values, draws, repeats)
        half = student_95(repeats - 1) * sets.std(axis=1, ddof=1) / math.sqrt(repeats)
        tally.held[name] = list(np.abs(sets.mean(axis=1) - values.mean()) <= half)
    tally.records = draws
    return tally


def wear_of(
    before: Mapping[str, Floats], after: Mapping[str, Floats], wear: float, repeats: tuple[int, int], draws: int
) -> Tally:
    """Step, valleys and plateau from repeats of two states, against what was taken off."""
    random = np.random.default_rng(2)
    tally = Tally(records=draws)
    truths = {"step": wear, "valleys": wear}
    if "rpk" in before:
        truths["plateau"] = 100 * (1 - float(after["rpk"].mean() / before["rpk"].mean()))
    for name, truth in truths.items():
        source = "rpk" if name == "plateau" else name
        if source not in before:
            continue
        one, other = (
            _sets(random, side[source], draws, many) for side, many in zip((before, after), repeats, strict=True)
        )
        for then, now in zip(one.tolist(), other.tolist(), strict=True):
            if name == "plateau":
                found = difference(np.log(then).tolist(), np.log(now).tolist())
                low, high = (
                    100 * (1 - math.exp(found.value + turn * student_95(found.df) * found.se)) for turn in (1, -1)
                )
                tally.add(name, low, high, truth)
                continue
            found = difference(now, then) if name == "valleys" else difference(then, now)
            half = student_95(found.df) * found.se
            tally.add(name, found.value - half, found.value + half, truth)
    return tally


# ---- ring faces -----------------------------------------------------------------------------------------------------


def section_of(case: Case, draws: int, repeats: tuple[int, int] = (1, 1)) -> Tally:
    random = np.random.default_rng(crc32(case.name.encode()))
    depth, area = case.truth()
    tally = Tally()
    for _ in range(draws):
        tally.records += 1
        # of pairs of traces, the first of so many and the second of so many
        pairs = [tuple(1e-6 * each for each in case.traces(random)) for _ in range(max(repeats))]
        before, after = ([(pair[0], pair[n]) for pair in pairs[:many]] for n, many in enumerate(repeats, 1))
        try:
            found = ring_face.sections(before, after, 1e-3 * case.flank)
        except Refused:
            tally.refused += 1
            continue
        # shown from zero up where it is below its limit
        tally.add("depth", 1e6 * found.depth.low, 1e6 * found.depth.high, depth)
        tally.add("area", 1e9 * found.area.low, 1e9 * found.area.high, area)
        if found.width is not None:
            tally.add("width", 1e3 * found.width.low, 1e3 * found.width.high, case.wear.width)
    return tally


@dataclass(frozen=True)
class Ring:
    """A ring worn by `depth` [um], at the gap by `more` of it again, falling off over `over` degrees."""

    depth: float
    more: float
    over: float
    angles: Sequence[float] = (20.0, 90.0, 180.0, 270.0, 340.0)
    bore: float = 87.5  # mm

    @property
    def name(self) -> str:
        told = f"depth {self.depth:g} um, {self.more:g} more at the gap over {self.over:g} deg"
        return told + (f", first traced at {self.angles[0]:g}" if self.angles[0] != 20 else "")

    def at(self, angle: Floats) -> Floats:
        return self.depth * (1 + self.more * np.exp(-np.minimum(angle, 360 - angle) / self.over))


def ring_of(case: Ring, draws: int) -> Tally:
    """Volume (and so the specific wear rate, a multiple of it), and the means over the angles."""
    random = np.random.default_rng(crc32(case.name.encode()))
    around = np.linspace(0, 360, 121)
    areas = np.array([_worn(float(depth)).truth()[1] for depth in case.at(around)])
    volume = math.radians(float(np.mean((areas[1:] + areas[:-1]) / 2)) * 360) * case.bore / 2 * 1e-3  # mm3
    sections = [_worn(float(depth)) for depth in case.at(np.array(case.angles))]
    known = [each.truth() for each in sections]
    truths = {"depth": fmean(depth for depth, _ in known), "area": fmean(area for _, area in known),
              "width": fmean(each.wear.width for each in sections)}  # fmt: skip
    tally = Tally()
    for _ in range(draws):
        tally.records += 1
        faces = []
        for each in sections:
            x, before, after = (1e-6 * z for z in each.traces(random))
            faces.append(ring_face.section(x, before, x, after, 1e-3 * each.flank))
        found = ring_face.around({a: face.area for a, face in zip(case.angles, faces, strict=True)}, 1e-3 * case.bore)
        tally.add("volume", 1e9 * found.low, 1e9 * found.high, volume)
        low, high = (1e9 * (found.value + end) / 2 for end in (found.low, found.high))
        tally.held.setdefault("volume at half the width", []).append(low <= volume <= high)
        for name, turn in (("depth", 1e6), ("area", 1e9), ("width", 1e3)):
            told = [getattr(face, name) for face in faces]
            # a mean is printed where every angle is above its limit; an area averages without bias in any case
            if name == "area" or all(one is not None and one.low > 0 for one in told):
                mean = ring_face.mean_of(told)
                tally.add(f"mean {name}", turn * mean.low, turn * mean.high, truths[name])
        deepest = max((face.depth for face in faces), key=lambda one: one.value)
        tally.add("coating left", -1e6 * deepest.high, -1e6 * deepest.low, -max(depth for depth, _ in known))
    return tally


def _worn(depth: float) -> Case:
    return Case(Wear(depth), Rough(0.03, 12.0, worn=1 / 3))


FINE, PLAIN, FAR = Rough(0.05, 6.0), Rough(0.08, 10.0), Rough(0.08, 30.0)
SHARP, LONG = Rough(0.1, 6.0, "exponential"), Rough(0.1, 30.0, "exponential")
SHAPES = (
    *(Wear(depth) for depth in (0.0, 0.3, 1.0)), Wear(1.0, middle=0.1), Wear(1.0, "cap"), Wear(0.1, "cap"),
    Wear(1.0, "flat"), Wear(1.0, "flat", wide=0.5, ramp=0.1), Wear(0.3, "flat", wide=0.6, ramp=0.2),
    Wear(0.15, "flat", wide=0.6, ramp=0.1),
)  # fmt: skip
SECTIONS = (
    *(Case(wear, rough) for rough in (FINE, PLAIN, FAR, SHARP, LONG) for wear in SHAPES),
    Case(Wear(0.0), Rough(0.1, 0.0)), Case(Wear(1.0), Rough(0.1, 0.0)),
    Case(Wear(1.0), PLAIN, step=0.5), Case(Wear(1.0), PLAIN, shift=0.02), Case(Wear(1.0, "step"), PLAIN),
    Case(Wear(1.0), PLAIN, form="lopsided"), Case(Wear(0.0), PLAIN, form="flatter"),
    Case(Wear(1.0, "flat"), PLAIN, form="flatter"), Case(Wear(1.0, "flat"), Rough(0.08, 10.0, worn=2.0)),
    Case(Wear(1.0), Rough(0.08, 10.0, worn=2.0)), Case(Wear(1.0), Rough(0.08, 10.0, worn=0.3)),
    Case(Wear(1.0, "flat", wide=0.7, ramp=0.1), PLAIN), Case(Wear(1.0, "cap"), PLAIN, across=2.4, flank=0.3),
    Case(Wear(1.0, "flat"), PLAIN, across=0.8, flank=0.1),
)  # fmt: skip
# most of what is worn above the mean lies nearer to the gap than the traces: the truth is close to the upper bound
STEEP = Ring(1.0, 1.0, 15.0, (30.0, 100.0, 180.0, 260.0, 330.0))
RINGS = (*(Ring(1.0, more, over) for more in (0.0, 0.5, 1.0, 2.0) for over in (25.0,)), Ring(1.0, 1.0, 40.0),
         Ring(0.0, 0.0, 25.0), STEEP)  # fmt: skip
SETS = ((5, 5), (3, 3), (2, 2), (5, 2), (5, 3))


def _job(job: Callable[[], Tally]) -> Tally:
    return job()


def _told(tally: Tally, leave_out: Sequence[str] = ()) -> str:
    shares = ", ".join(f"{name} {100 * tally.share(name):.1f}" for name in tally.held if name not in leave_out)
    alarms = ", ".join(f"{name} {100 * tally.alarms(name):.1f}" for name in tally.seen if name != "coating left")
    return f"holds {shares}" + (f"; seen {alarms}" if alarms else "") + (
        f"; refused {tally.refused}" if tally.refused else "")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=10_000)
    draws = parser.parse_args().draws
    traces = max(draws // 5, 100)
    with ProcessPoolExecutor(2) as workers:
        states = [(wear, reversal) for reversal in (False, True) for wear in WEAR]
        pools = dict(zip(states, workers.map(partial(_pool, traces), states), strict=True))
        print(f"Roughness of a place, pools of {traces} traces, {draws} draws\n")
        for wear in WEAR:
            for repeats in (2, 3, 5):
                tally = roughness_of(pools[wear, False], repeats, draws)
                print(f"wear {wear:g} um, {repeats} traces: {_told(tally, ('valleys',))}", flush=True)
        print(f"\nWear of the bore, {draws} draws\n")
        for reversal in (False, True):
            for wear in WEAR:
                for sets in SETS:
                    tally = wear_of(pools[0.0, reversal], pools[wear, reversal], wear, sets, draws)
                    print(f"wear {wear:g} um, {sets[0]} + {sets[1]} traces: {_told(tally)}", flush=True)
        for name in ("valleys", "step"):
            one, other = (pools[wear, name == "step"][name] for wear in (0.0, 0.3))
            single = math.sqrt(one.var() + other.var())
            bias = abs(float(one.mean() - other.mean())) - 0.3
            print(f"{name}: single traces of 0.3 um scatter by {single:.3f} um, five a state by {single / 5**0.5:.3f}, "
                  f"bias {bias:+.3f}")  # fmt: skip
        many = max(draws // 3, 50)
        print(f"\nOne section across a ring face, {many} draws\n")
        for case, tally in zip(SECTIONS, workers.map(_job, [partial(section_of, each, many) for each in SECTIONS]),
                               strict=True):  # fmt: skip
            told = len(tally.held.get("width", ())) / many
            print(f"{case.name:80} {_told(tally)}; width told {100 * told:.0f} %", flush=True)
        many = max(draws // 10, 20)
        print(f"\nAround a ring, five angles, {many} draws\n")
        for ring, tally in zip(RINGS, workers.map(_job, [partial(ring_of, each, many) for each in RINGS]), strict=True):
            print(f"{ring.name:50} {_told(tally)}", flush=True)


def _pool(traces: int, state: tuple[float, bool]) -> dict[str, Floats]:
    return pool(traces, *state)


if __name__ == "__main__":
    main()
