"""What the oil stream concludes, declared once. Metals are measures of their own, so that programs may name them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from sitegen.methods import elements
from sitegen.vocabulary import Measure

_PRECISION = (
    "laboratory's own intermediate precision from the program file, else the reproducibility of ASTM D5185 within its "
    "range (copper and lead published, other elements from memory); rounding of the report as a uniform term"
)
_PARTICLES = (
    "ICP reads particles above a few micrometres low (scope of ASTM D5185), so flakes of the run-in are missed."
)
MISLEADS = "Concentration alone misleads: a change of oil or a top-up lowers it, wear does not."

CONCENTRATION: Mapping[str, Measure] = {
    symbol: Measure(
        id=f"oil.{name}",
        title=f"{name} in the oil",
        unit="mg/kg",
        better="",
        method=f"{name.capitalize()} in the oil, of each sample, as reported.",
        formula="reading",
        source=_PRECISION,
        limits=f"{MISLEADS} {_PARTICLES}",
        interval="laboratory",
        compare="difference",
    )
    for symbol, name in elements.ALL.items()
}
MASS: Mapping[str, Measure] = {
    symbol: Measure(
        id=f"wear.{name}_mass",
        title=f"{name} made",
        unit="mg",
        better="less",
        method=f"{name.capitalize()} made and brought into the oil since the sample before; in all, since the first "
        "fill. Fresh oil is taken off. Lost oil counts as droplets at the mean of both ends; the bounds reach from "
        "all of it evaporated, which leaves the metal behind, to all of it lost as droplets at the end.",
        formula="W = M₂·c₂ − M₁·c₁ + Σ drawn·c + Σ drained·c − Σ filled·c(fresh) + lost·c(lost)",
        source=f"balance of mass (exact); {_PRECISION}",
        limits=f"The whole engine, whatever its parts. {_PARTICLES} What a filter holds is in it where the filter was "
        "analysed. What fresh oil holds is known to within the error the program states, else one report of the "
        "laboratory.",
        interval="bounds",
        compare="difference",
        grows=True,
    )
    for symbol, name in elements.METALS.items()
}
PER_HOUR = Measure(
    id="wear.metal_per_hour",
    title="metal made per hour",
    unit="mg/h",
    better="less",
    method="Metal made since the sample before, by the running time since.",
    formula="W / hours",
    source="of the metal made and the running time",
    interval="bounds",
    compare="difference",
    only_at="element",
)
PER_KM = Measure(
    id="wear.metal_per_km",
    title="metal made per kilometre of sliding",
    unit="mg/km",
    better="less",
    method="Metal made since the sample before, by the distance the rings slid since.",
    formula="W / distance",
    source="of the metal made and the sliding distance",
    interval="bounds",
    compare="difference",
    only_at="element",
)
RUN_IN = Measure(
    id="wear.run_in_share",
    title="share of the metal made by the run-in",
    unit="%",
    better="",
    method="Metal made up to the last sample before durability running, of all up to the last sample.",
    formula="100 · W(run-in) / W",
    source="of the metal made; bounds from the bounds of both parts",
    interval="bounds",
    only_at="element",
)
FROM = Measure(
    id="wear.from_source",
    title="metal by the part it came from",
    unit="mg",
    better="less",
    method="Parts of the compositions the program states, in the proportion that explains the metals best. Parts that "
    "hold the same metals in the same proportion are one group. The interval takes in every set of parts that explains "
    "the metals as well.",
    formula="least squares, weighted by the errors of the metals, no mass below zero; as well: misfit larger by less "
    "than 3.84, the 95 % point of χ² on 1 degree of freedom",
    source="non-negative least squares",
    limits="Only as good as the list of parts: what is not on it is put down to those that are.",
    interval="bounds",
    only_at="source of metal",
    of_coating=True,
)
DEPTH = Measure(
    id="wear.face_depth",
    title="wear of the ring faces by the oil",
    unit="µm",
    better="less",
    method="Metal put down to the ring faces, spread over their surface: a mean over all rings of the engine.",
    formula="mass / (surface · density)",
    source="of the metal by the part it came from; surface and density from the program file",
    limits="Says nothing of a single ring. Only as good as the list of parts, and what large particles hold is missed.",
    interval="bounds",
    compare="difference",
    grows=True,
    of_coating=True,
)
NEXT = Measure(
    id="wear.next_build",
    title="metal made by the next build",
    unit="mg",
    better="",
    method="Where the metal made by one more build with this coating may lie with a probability of 95 %, taking the "
    "builds so far as drawn from one lot. Only engines that hold this coating alone.",
    formula="mean ± t(n − 1) · s · √(1 + 1/n) over builds",
    source="Student's prediction interval (exact for normal scatter)",
    limits="Not below three builds. Holds in 91 to 95 % where builds scatter with a long tail. Fewer than fifteen "
    "support no tolerance interval: the points and their range are shown.",
    interval="prediction",
    only_at="element",
)
CONSUMPTION = Measure(
    id="oil.consumption",
    title="oil consumption",
    unit="g/h",
    better="less",
    method="Oil filled and topped up less oil drained, drawn and left in the engine, by the running time of the fill. "
    "Weighed. Fuel that chromatography found in every sample of the fill is taken off, and not counted as oil. What a "
    "drain leaves is the stated share of the largest fill, and the same at every drain of an engine.",
    formula="(filled + topped up − drawn · (1 − φ) − (drained + left) · (1 − φ)) / hours, φ the fuel in each",
    source="balance of mass (exact). Errors of the masses as the program states them; of what a drain leaves ±50 % at "
    "the first fill, a scatter of 10 % from drain to drain, and more of more oil, from memory. Of fuel as the "
    "laboratory states it; where it does not, no interval",
    limits="Where fuel came into the oil and is not known of every sample of the fill, fuel counts as oil, so that the "
    "engine seems to use too little.",
    interval="confidence",
    compare="difference",
)
APPARENT = Measure(
    id="oil.consumption_apparent",
    title="oil consumption with fuel taken for oil",
    unit="g/h",
    better="",
    method="As the oil consumption, from the masses alone.",
    formula="(filled + topped up − drawn − drained − left) / hours",
    source="balance of mass (exact)",
    limits="Too small by the fuel that is in what left.",
    interval="",
)
FUEL_HINT = Measure(
    id="oil.fuel_hint",
    title="fuel that the viscosity hints of",
    unit="%",
    better="",
    method="Fuel that alone would have thinned the fresh oil to the viscosity at 40 °C of the sample, by mass. "
    "Enters no balance.",
    formula="(A(fresh) − A(sample)) / (A(fresh) − A(fuel)), A = 14.534 · ln(ln(ν + 0.8)) + 10.975",
    source="mixture rule in common use, constants from memory",
    limits="A printed chart has 3 % in an oil of 160 mm²/s with fuel of 3 mm²/s at 137 mm²/s; the rule has it at 131, "
    "and reads 137 as 2.3 %. Shear and water thin an oil too, soot and oxidation hide fuel.",
    interval="",
)
SPECIFIC = Measure(
    id="oil.consumption_specific",
    title="oil consumption by energy",
    unit="g/kWh",
    better="less",
    method="Oil lost by the brake energy delivered on the fill.",
    formula="lost / energy",
    source="of the oil consumption and the brake energy",
    interval="confidence",
    compare="difference",
)
SHOWN = Measure(
    id="oil.least_shown",
    title="least wear that oil shows",
    unit="µm",
    better="less",
    method="Least wear of the surface of a part, all rings alike, that two samples tell from none by the laboratory's "
    "scatter near what fresh oil holds; by the metal that shows the least, of those no other part of the engine gives.",
    formula="1.96 · oil charge · √2 · scatter / (surface · density · share of the metal)",
    source=f"95 points in a hundred of a normal difference (exact); {_PRECISION}",
    limits="Says whether oil can tell, not what wore: what large particles hold is missed.",
    interval="",
)
WEIGHED = Measure(
    id="oil.least_weighed",
    title="least wear of one ring that the balance shows",
    unit="µm",
    better="less",
    method="Twice the limit of error of the best balance, once before and once after, spread over the running face of "
    "one ring.",
    formula="2 · limit / (surface / rings · density)",
    source="bounds of the difference of two weighings (exact); surface and density from the program file",
    limits="Supposes that a ring loses mass at its running face alone.",
    interval="",
)
EXPECTED = Measure(
    id="oil.wear_expected",
    title="wear expected of a part",
    unit="µm",
    better="",
    method="Wear of its surface over the program, as the program file expects it.",
    formula="as stated",
    source="the program file",
    limits="An expectation, not a finding.",
    interval="",
)
INDEX = Measure(
    id="oil.viscosity_index",
    title="viscosity index",
    unit="1",
    better="",
    method="From the viscosities at 40 and 100 °C.",
    formula="ASTM D2270, procedures A and B",
    source="ASTM D2270, table 1",
    limits="Not defined below 2 mm²/s at 100 °C.",
    interval="",
)
THICKER = Measure(
    id="oil.viscosity_change",
    title="change of the viscosity at 100 °C from fresh",
    unit="%",
    better="",
    method="Viscosity of the sample against that of the fresh oil.",
    formula="100 · (ν / ν(fresh) − 1)",
    source="exact",
    interval="",
)


def _read(
    name: str, title: str, unit: str, source: str = "reading", interval: Literal["", "laboratory"] = ""
) -> Measure:
    return Measure(
        id=f"oil.{name}",
        title=title,
        unit=unit,
        better="",
        method=f"{title[0].upper()}{title[1:]}, as reported.",
        formula="reading",
        source=source,
        interval=interval,
    )


READ: Mapping[str, Measure] = {
    "acid_number": _read("acid_number", "acid number", "mg KOH/g"),
    "base_number": _read("base_number", "base number", "mg KOH/g"),
    "oxidation": _read("oxidation", "oxidation", "A/cm"),
    "nitration": _read("nitration", "nitration", "A/cm"),
    "fuel": _read("fuel", "fuel in the oil", "%", "precision as the laboratory states it", "laboratory"),
    "soot": _read("soot", "soot in the oil", "%"),
    "water": _read("water", "water in the oil", "%"),
}
