"""Simulated run-ins whose blow-by wanders: how often the printed seating distance by blow-by holds, how often there is none.

    PYTHONPATH=tests python -m methods.blowby_coverage --draws 1000

prints every case over two processes; the normal test run tries few (test_blowby_settling.py). The runs are made without the
code under test: a flow that loses 60 % of what it stands above its level in a known distance, times (1 + wander + noise), the
wander by its recursion x[k] = a x[k-1] + sqrt(1 - a^2) z[k], a = exp(-1/time) (any text on time series), its scatter 2 %, the
noise 1 % a second. Visits of 90 s every 380 s, of which the later 45 s are used; between them the load is higher, and these
stretches, or hours at one speed and load afterwards, are the steady records. Oil temperature rises over the first visits and
moves the flow by a stated share a kelvin.

Claim: at least 94.4 % of the printed intervals hold, whatever the wander's time constant; where it is slow there is hardly
ever one. Wander so fast that visits are independent costs nothing.
"""  # noqa: E501 - the claims read better unbroken

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from methods.steady_coverage import NOMINAL, Floats, Tally, wander

from sitegen.methods.wander import shared
from sitegen.streams.runlog.blowby import WARMED, judged, settled
from sitegen.vocabulary import Refused

EVERY, VISIT, USED = 380, 90, 45  # s
SCALE = 0.4  # distance, as hours at one speed
SD, NOISE = 0.02, 0.01  # of the wander and of a second's noise, shares of the flow


@dataclass(frozen=True)
class RunIn:
    """A run-in of so many visits."""

    time: float  # s, time constant of the wander
    steady: float = 0.0  # h of a steady record afterwards; 0: the stretches between the visits are all there is
    visits: int = 15
    alike: bool = False  # scatter of the last flow throughout, else in proportion to the flow
    oil: float = 0.0  # share of the flow a kelvin
    drop: float = 0.6  # of the level, what the flow has to lose at the start; 0: there is nothing to find

    @property
    def name(self) -> str:
        parts = [f"wander {self.time:g} s", f"{self.visits} visits"]
        parts += [f"{self.steady:g} h steady"] if self.steady else []
        parts += ["scatter alike"] if self.alike else []
        parts += [f"oil {100 * self.oil:g} % a K"] if self.oil else []
        parts += [] if self.drop else ["nothing to lose"]
        return ", ".join(parts)


CASES = (
    *(RunIn(time) for time in (5.0, 20.0, 60.0, 120.0, 300.0, 900.0)),
    *(RunIn(time, steady=40.0) for time in (5.0, 20.0, 60.0, 120.0, 300.0, 900.0)),
    *(RunIn(time, alike=True) for time in (5.0, 20.0)),
    *(RunIn(time, visits=8) for time in (5.0, 20.0)),
    *(RunIn(5.0, oil=effect) for effect in (-0.003, 0.003)),
    *(RunIn(5.0, oil=effect, drop=0.0) for effect in (-0.003, 0.003)),
    RunIn(5.0, drop=0.0),
)


def run_in(case: RunIn, rng: np.random.Generator) -> tuple[Floats, Floats, Floats, list[Floats]]:
    """Distance, level and oil temperature of the visits, and the steady records [share of their mean]."""
    seconds = np.arange(case.visits * EVERY)
    unrest = SD * wander(rng, 1, len(seconds), case.time)[0] + NOISE * rng.standard_normal(len(seconds))
    hours = seconds / 3600
    oil = 90 - 7 * np.exp(-hours / 0.3)
    settling = (1 + case.drop * np.exp(-hours / SCALE)) * (1 + case.oil * (oil - 90))
    flow = settling + unrest if case.alike else settling * (1 + unrest)
    begins = EVERY * np.arange(case.visits)
    used = [slice(begin + VISIT - USED, begin + VISIT) for begin in begins.tolist()]
    points = [np.array([float(each[own].mean()) for own in used]) for each in (hours, flow, oil)]
    if case.steady:
        count = round(3600 * case.steady)
        records = [1 + SD * wander(rng, 1, count, case.time)[0] + NOISE * rng.standard_normal(count)]
    else:
        records = [flow[begin + VISIT + int(WARMED) : begin + EVERY] for begin in begins.tolist()]
    return points[0], points[1], points[2], [each / each.mean() for each in records]


def coverage(case: RunIn, draws: int) -> Tally:
    rng = np.random.default_rng(crc32(case.name.encode()))
    tally = Tally()
    for _ in range(draws):
        distance, level, oil, records = run_in(case, rng)
        tally.records += 1
        try:
            judged(shared(records, 1.0, USED, EVERY))
            _, low, high = settled(distance, level, oil, [0] * len(level))
        except Refused as told:
            tally.refused[told.code] += 1
            continue
        tally.add("distance", low <= SCALE <= high if case.drop else False)
    return tally


def _job(job: tuple[RunIn, int]) -> Tally:
    return coverage(*job)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    options = parser.parse_args()
    cases = [case for case in CASES if options.only in case.name]
    with ProcessPoolExecutor(2) as pool:
        for case, tally in zip(cases, pool.map(_job, [(case, options.draws) for case in cases]), strict=True):
            why = ", ".join(f"{code} {100 * n / tally.records:.1f}" for code, n in sorted(tally.refused.items()))
            share = tally.share("distance")
            word = "low" if share + tally.tolerance("distance", NOMINAL) < NOMINAL else ""
            held = "-" if math.isnan(share) else f"{100 * share:.1f}"
            print(
                f"{case.name:42} printed {100 * tally.printed():5.1f} %: {held} {word}; refused: {why or '-'}",
                flush=True,
            )


if __name__ == "__main__":
    main()
