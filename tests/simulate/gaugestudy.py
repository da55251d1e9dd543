"""A simulated gauge study: three operators read cylinders of one build, an orifice and leak standards, twice each.

An operator adds a share of his own to every area, and a smaller one to each object; a repeat on a cylinder finds the
piston a little otherwise, one on a hole does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from simulate import flow
from simulate.engine import MM2, Chance, Check, CylinderTruth, Tester, read

OPERATORS: Mapping[str, float] = {"M. A.": 0.004, "K. L.": -0.005, "R. S.": 0.002}  # share added to every area
OF_OBJECT = 0.003  # share, what an operator does at one object
REPEAT = {"cylinder": 0.015, "hole": 0.005}
HOLES: Mapping[str, float] = {"R1": flow.circle(0.70e-3) / MM2, "L1": 0.22, "L2": 0.81}  # mm2
REPEATS = 2
AMBIENT = 101.3  # kPa


@dataclass(frozen=True)
class Setup:
    """What was read, with what and when."""

    build: str
    check: Check
    cylinders: tuple[CylinderTruth, ...]
    tester: Tester
    day: str


def record(seed: int, setup: Setup) -> bytes:
    """The record of the study, in the order the readings were taken."""
    head = "study,operator,tester,engine,phase,cylinder,reference,standard,label,repeat,anew,order,blind,"
    lines = [head + "supply [psig],pressure [psig],ambient [kPa absolute],date,remark"]
    areas = {f"cylinder {each.cylinder}": _cylinder(each, setup.check) for each in setup.cylinders} | dict(HOLES)
    for letter, (operator, usual) in zip("ABC", OPERATORS.items(), strict=True):
        lot = Chance(seed, setup.build, operator, "order")
        places = sorted((repeat, lot.between(0, 1), name) for repeat in range(1, REPEATS + 1) for name in areas)
        labels = [f"{letter}{n:02d}" for n in sorted(range(1, len(places) + 1), key=lambda _: lot.between(0, 1))]
        for order, (repeat, _, name) in enumerate(places, start=1):
            own = Chance(seed, setup.build, operator, name).normal(OF_OBJECT)
            kind = "cylinder" if name not in HOLES else "hole"
            shaken = Chance(seed, setup.build, operator, name, repeat).spread(REPEAT[kind])
            leak = flow.Leak(areas[name] * (1 + usual + own) * shaken * MM2)
            supply, pressure, _ = read(setup.tester, leak, 80.0, AMBIENT)
            cylinder = name.removeprefix("cylinder ") if kind == "cylinder" else ""
            reference, standard = (name if name[0] == first else "" for first in "RL")
            cells = ("G1", operator, setup.tester.id, setup.build, setup.check.phase, cylinder, reference, standard,
                     labels[order - 1], str(repeat), "yes", str(order), "yes", f"{supply:.1f}", f"{pressure:.1f}",
                     f"{AMBIENT:.1f}", setup.day, "")  # fmt: skip
            lines.append(",".join(cells))
    return ("\n".join(lines) + "\n").encode()


def _cylinder(cylinder: CylinderTruth, check: Check) -> float:
    """All of the leak [mm2] of a cylinder."""
    return cylinder.ring_area(check) + cylinder.exhaust_area(check.phase) + cylinder.intake
