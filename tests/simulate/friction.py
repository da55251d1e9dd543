"""Driven friction of two builds of the 2026 example, three days each, with a known truth.

Torque follows speed by a curve of its own, the temperature of the oil by a share; a day moves it, a run scatters, the
torque cell reads to 0.01 N m. The run downs, for tests alone, are integrated from the same torque.
"""

from __future__ import annotations

import datetime
import math

from simulate.engine import Chance

SPEEDS = (1200, 1500, 1800)  # rpm
RUNS = 3  # a day
OF_BUILD = {"B1": 0.0, "B4": -0.018}  # share by which a build differs from `pressure`
OF_DAY, OF_RUN, OF_POINT = 0.003, 0.003, 0.001  # shares
OF_OIL = 0.010  # share lost by each K the oil is hotter
STATED = 90.0  # degC
OIL = 0.35  # K, its scatter from run to run
SWEPT = math.pi / 4 * 0.0875**2 * 0.100 * 4  # m3
STARTS = {"B1": "2026-02-09", "B4": "2026-02-23"}  # of the cold build
DAYS = (4, 7, 8)  # after it: between the pulls and the 40 h
CREW = {"B1": "M. A.", "B4": "J. Ö."}
HEAD = (
    "engine", "phase", "method", "date", "run", "speed [rpm]", "torque [N m]", "oil_temperature [degC]",
    "coolant_temperature [degC]", "plugs", "throttle", "instrument", "operator",
)  # fmt: skip


def pressure(rpm: float) -> float:
    """Mean effective pressure [Pa] of an engine like all others, its oil at the stated temperature."""
    thousands = rpm / 1000
    return 1e3 * (62.0 + 21.0 * thousands + 7.5 * thousands**2)


def truth(build: str, rpm: float) -> float:
    """Mean effective pressure [Pa] of a build over days without end."""
    return pressure(rpm) * math.exp(OF_BUILD[build])


def record(seed: int) -> bytes:
    """The table, a row a speed."""
    lines = [",".join(HEAD)]
    for build, start in STARTS.items():
        for day in DAYS:
            date = (datetime.date.fromisoformat(start) + datetime.timedelta(days=day)).isoformat()
            chance = Chance(seed, build, "friction", day)
            moved = chance.normal(OF_DAY)
            for run in range(1, RUNS + 1):
                here = moved + chance.normal(OF_RUN)
                for rpm in SPEEDS:
                    oil = STATED + min(max(chance.normal(OIL), -0.9), 0.9)
                    share = here + chance.normal(OF_POINT) - OF_OIL * (oil - STATED)
                    torque = truth(build, rpm) * math.exp(share) * SWEPT / (4 * math.pi)
                    speed, coolant = rpm + chance.normal(2), 84 + chance.normal(0.5)
                    of_run = (build, "pulls", "motored", date, str(run))
                    read = (f"{speed:.0f}", f"{torque:.2f}", f"{oil:.1f}", f"{coolant:.0f}")
                    lines.append(",".join((*of_run, *read, "in", "open", "torque-1", CREW[build])))
    return ("\n".join(lines) + "\n").encode()
