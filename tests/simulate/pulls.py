"""Full-load pulls of the 2026 example: two days a build, with a known torque at reference air.

The engine's torque is a curve of its own; a day moves it, a pull scatters, the first pull of a day is cold. What is
read is what the air lets through, by the correction turned round: the known truth is the point here, not the physics.
"""

from __future__ import annotations

import datetime
import math

from simulate.engine import Chance

SPEEDS = range(1200, 2201, 100)  # rpm
PULLS = 4  # a day, the first to warm up
OF_BUILD, OF_DAY, OF_PULL, OF_POINT = 0.006, 0.0025, 0.004, 0.0015  # shares
COLD = 0.013  # share that a first pull lacks
STARTS = {  # date of the cold build
    "B1": "2026-02-09", "B2": "2026-03-16", "B3": "2026-11-16", "B4": "2026-02-23", "B5": "2026-04-13",
    "B6": "2026-07-06", "B7": "2026-11-02",
}  # fmt: skip
DAYS = {"B3": (2,)}  # after the cold build; others two and three: B3's second day is still to come
CREW = {"B1": "M. A.", "B2": "K. L.", "B3": "R. S.", "B4": "J. Ö.", "B5": "M. A.", "B6": "K. L.", "B7": "R. S."}
HEAD = (
    "engine", "phase", "date", "pull", "speed [rpm]", "torque [N m]", "barometer [kPa absolute]", "inlet [degC]",
    "humidity [%]", "inlet_at", "oil [degC]", "coolant [degC]", "operator",
)  # fmt: skip


def at_reference(rpm: float) -> float:
    """Torque [N m] at reference air of an engine like all others."""
    return 163.0 - 1.1e-5 * (rpm - 1650.0) ** 2


def truth(seed: int, build: str) -> float:
    """Share by which a build gives more than `at_reference`."""
    return Chance(seed, build, "power").normal(OF_BUILD)


def _let_through(pressure: float, inlet: float, humidity: float) -> float:
    """Share of the power at 100 kPa, 25 °C, 30 % that such air allows: kPa, °C, %. Magnus for the vapour."""

    def vapour(celsius: float, share: float) -> float:
        return share * 0.61094 * math.exp(17.625 * celsius / (celsius + 243.04))

    dry = (pressure - vapour(inlet, humidity / 100)) / (100.0 - vapour(25.0, 0.3))
    k = dry**0.86 * (298.15 / (inlet + 273.15)) ** 0.55
    return float(k - 0.7 * (1 - k) * (1 / 0.8 - 1))


def record(seed: int) -> bytes:
    """The table, a row a speed."""
    lines = [",".join(HEAD)]
    for build, start in STARTS.items():
        for day in DAYS.get(build, (2, 3)):
            date = (datetime.date.fromisoformat(start) + datetime.timedelta(days=day)).isoformat()
            chance = Chance(seed, build, "power", day)
            moved = chance.normal(OF_DAY)
            pressure = 100.4 + chance.normal(0.6)
            for pull in range(1, PULLS + 1):
                inlet, humidity = 23.5 + 0.4 * pull + chance.normal(0.8), 48 + chance.normal(6)
                here = truth(seed, build) + moved + chance.normal(OF_PULL) - (COLD if pull == 1 else 0.0)
                air = (f"{pressure:.2f}", f"{inlet:.1f}", f"{humidity:.0f}")
                oil, coolant = f"{86 + pull + chance.normal(0.5):.0f}", f"{84 + chance.normal(0.5):.0f}"
                for rpm in SPEEDS:
                    read = at_reference(rpm) * (1 + here + chance.normal(OF_POINT)) * _let_through(*map(float, air))
                    cells = (build, "pulls", date, str(pull), str(rpm), f"{read:.1f}", *air, "air filter", oil, coolant)
                    lines.append(",".join((*cells, CREW[build])))
    return ("\n".join(lines) + "\n").encode()
