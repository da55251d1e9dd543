"""What the build-sheet stream concludes, declared once."""

from __future__ import annotations

from dataclasses import replace

from sitegen.vocabulary import Measure

_AS_MEASURED = "as measured, mean of the repeats"
_TOOL = "The interval is the limit of error of the tool."


def _measured(name: str, title: str, unit: str, better: str = "") -> Measure:
    return Measure(
        id=f"buildsheet.{name}",
        title=title,
        unit=unit,
        better="less" if better == "less" else "",
        method=f"{title[0].upper()}{title[1:]} {_AS_MEASURED}. {_TOOL}",
        formula="mean of the readings",
        source="reading",
        interval="bounds",
        compare="difference",
        only_at="" if name == "bore" else "ring",
    )


GAP = _measured("gap", "ring end gap in the bore", "mm")
GAP_GAUGE = _measured("gap_gauge", "ring end gap in the ring gauge", "mm")
# a ring loses some ten-thousandths of its mass: what was weighed is kept, whatever is known of the balance
MASS = replace(_measured("mass", "ring mass", "g"), digits=8)
TENSION = _measured("tension", "tangential ring tension", "N")
THICKNESS = _measured("thickness", "radial ring thickness", "mm")
BORE = _measured("bore", "bore diameter", "mm")
CLEARANCE = Measure(
    id="buildsheet.clearance",
    title="radial clearance of the land below the ring",
    unit="mm",
    better="",
    method="Half the difference of bore and land diameter, as measured. No interval: the sheet does not say what the "
    "land was measured with.",
    formula="(bore − land diameter) / 2",
    source="difference of two readings",
    interval="",
    only_at="ring",
)

SCATTER = Measure(
    id="buildsheet.weighing_scatter",
    title="scatter of a weighing",
    unit="mg",
    better="less",
    method="How much repeated weighings of a ring in one state differ, pooled over all rings and states of the "
    "program that were weighed more than once, as a standard deviation.",
    formula="√(Σ (n − 1) s² / Σ (n − 1))",
    source="pooled variance; not less than the rounding of the display (JCGM 100:2008, F.2.2.1)",
    limits="It holds the scatter of cleaning and drying only where rings were cleaned anew before they were weighed "
    "again.",
    interval="",
)
MASS_LOSS = Measure(
    id="wear.mass_loss",
    title="ring mass lost",
    unit="mg",
    better="less",
    compare="difference",
    offered=True,
    odd="less",
    grows=True,
    method="Ring mass before the first start less ring mass at teardown. The lead measure of ring wear: it takes in "
    "the whole ring.",
    formula="m(cold build) − m(teardown)",
    source="difference of two weighings; limits of error of the balance added and, where any ring of the program was "
    "weighed more than once, the 95 % scatter of a weighing (t), pooled over all of those. Buoyancy of air 1.2 kg/m³ "
    "bears less than 0.02 % of an iron or steel ring and of what it lost (conventional mass: OIML R 111-1, from "
    "memory), so it need not be corrected, if it is treated alike both times",
    interval="bounds",
    limits="The whole ring: face, flanks and ends. Deposits and oil left on the ring count against it: clean and dry "
    "it the same way both times. Where no ring was weighed again, the bounds are those of the balance alone: with a "
    "balance of ±0.5 mg and cleaning that scatters by 0.4 mg they held in 84 % of simulated rings, at 0.8 mg in 59 %; "
    "with the scatter of two other rings weighed twice in 99.",
    only_at="ring",
)
FACE_WEAR = Measure(
    id="wear.face_from_gap",
    title="radial face wear from the gap opening",
    unit="µm",
    better="less",
    compare="difference",
    grows=True,
    method="Face wear that would open the free gap by as much as the ring gauge shows.",
    formula="Δgap · (R − t/2) / (2π · R), R half the bore, t the radial thickness",
    source="geometry of a ring whose neutral fibre keeps its length (exact)",
    interval="bounds",
    limits="Blind below about 3 µm with feelers of ±0.02 mm. Only the gap in a ring gauge is used: in the bore, bore "
    "wear adds.",
    only_at="ring",
)
TENSION_LOSS = Measure(
    id="wear.tension_loss",
    title="ring tension lost",
    unit="%",
    better="less",
    compare="difference",
    grows=True,
    method="Tangential force before the first start less that at teardown, over that before. A loss whose bounds reach "
    "zero is not seen.",
    formula="100 · (Ft(before) − Ft(after)) / Ft(before)",
    source="difference of two readings; limits of error of both as √(a² + b²): ±0.4 N twice is ±0.57 N",
    interval="bounds",
    limits="Bounds of two limits that are never passed, evenly spread and independent, hold 91 times in a hundred; "
    "limits that are twice a standard deviation, 95. An error that the gauge makes alike both times cancels. How "
    "the tape lies and how the ring is oiled is in no bounds.",
    only_at="ring",
)
FLOOR = Measure(
    id="gaps.floor",
    title="leak of the end gaps alone",
    unit="mm²",
    better="",
    compare="ratio",
    method="What a perfectly seated set of rings would still leak through its end gaps, rings in series.",
    formula="end gap · radial clearance of the land below + two chamfers, a ring; the flow through each the same",
    source="geometry; rings in series as compressible orifices, discharge coefficient 0.86 (from memory). Position of "
    "the gaps and tilt of the piston: ±20 %, from memory",
    limits="Needs gap, land diameter and bore of each ring. A floor, not a forecast.",
    interval="bounds",
)
