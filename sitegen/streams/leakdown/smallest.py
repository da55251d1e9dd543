"""What the testers of a program can show at all, before the first start."""

from __future__ import annotations

from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods import leakdown as method
from sitegen.program.model import Program, Tester
from sitegen.streams.leakdown.area import MM2
from sitegen.streams.leakdown.measures import CRANKCASE


def smallest(program: Program) -> Iterable[Smallest]:
    """The smallest leak each tester tells from none, and how far its gauges alone may err at the level asked for."""
    supply = program.leakdown.supply
    for tester in program.definitions.testers.values():
        master = method.orifice_area(tester.orifice)

        def area(cylinder: float, master: float = master, tester: Tester = tester) -> method.Area:
            return method.leak_area(
                [supply],
                [cylinder],
                master_area=master,
                gauge_limit=tester.gauge_class,
                ambient=method.STANDARD_AMBIENT,
            )

        gauge = f"{tester.title}: gauges of ±{tester.gauge_class / 1e3:.2g} kPa, orifice {tester.orifice * 1e3:.3g} mm"
        yield Smallest(CRANKCASE.id, "leak that is told from none", MM2 * area(supply).high, gauge)
        if program.seating.level:
            cylinder = float(method.cylinder_for(program.seating.level / MM2 / master, supply, method.STANDARD_AMBIENT))
            found = area(cylinder)
            if found.value is not None:
                part = MM2 * (found.gauge_high - found.gauge_low) / 2
                what = f"what its gauges alone may err at a leak of {program.seating.level:g} mm²"
                yield Smallest(CRANKCASE.id, what, part, gauge, "difference")
