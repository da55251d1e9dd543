"""What pressure decays conclude, declared once."""

from __future__ import annotations

from sitegen.vocabulary import Measure

_GAS = (
    "The gas expands as it leaves, by an exponent n between 1 (the walls keep it warm) and 1.4 (they do not), of which "
    "nothing is known: both are worked out"
)
_FLOW = (
    "A·t/V = ∫ dp / (n R T f(p)); where the flow is choked (above 13.1 psig into standard air) "
    "A = V·(−d ln p/dt) / (n·0.0404184·R·√T), p absolute"
)
_SOURCE = "discharge of a vessel through an ideal nozzle (any text on gas dynamics), air as ideal gas, R 287"
_USED = (
    "Used are samples from the closing of the supply down to half of the gauge pressure then, 20 at least and 35 "
    "in a time constant."
)

AREA = Measure(
    id="decay.area",
    title="leak area by pressure decay",
    unit="mm²",
    better="less",
    compare="ratio",
    method=f"From how fast a cylinder that was charged and closed loses its pressure, by all paths. {_GAS}, and the "
    "interval reaches from the one to the other; the value is their middle.",
    formula=_FLOW,
    source=f"{_SOURCE}; to the ends are added scatter of repeats (Student's t), the limits of error of volume, sensor "
    "and thermometer",
    limits=f"{_USED} The volume of the hose counts. An isothermal area is up to 1.34 times too large. A slit leaks "
    "less at a lower pressure, so an area belongs to the pressures it was found at.",
    interval="bounds",
)
BY_GAS = Measure(
    id="decay.area_by_gas",
    title="leak area by pressure decay, one kind of gas",
    unit="mm²",
    better="less",
    method=f"{_GAS}: `isothermal`, n = 1, and `adiabatic`, n = 1.4.",
    formula=_FLOW,
    source=_SOURCE,
    limits=_USED,
    interval="",
)
RATE = Measure(
    id="decay.rate",
    title="leak area over the volume it empties",
    unit="mm²/L",
    better="less",
    method=f"What a decay tells where its volume is not known. {_GAS}.",
    formula="A/V, slope of ∫ dp / (n R T f(p)) over time",
    source=_SOURCE,
    limits=f"{_USED} Cylinders compare in it only where their volumes are equal.",
    interval="bounds",
)
CONSTANT = Measure(
    id="decay.time_constant",
    title="time constant of the decay",
    unit="s",
    better="",
    method="Time in which the absolute pressure falls to 1/e of what it was, by the first and last sixth of the "
    "samples used.",
    formula="Δt / ln(p₁/p₂)",
    source="definition; 50 cm³ behind 0.5 mm², isothermal: 0.50 s, so 100 samples a second at least",
    interval="",
)
TO_LEAST = Measure(
    id="decay.to_least",
    title="leak by pressure decay over that of the tightest cylinder",
    unit="1",
    better="less",
    scale="log",
    method="Of one engine at one check. The exponent of the gas cancels. Where volumes are not known they are taken as "
    "equal.",
    formula="A / least A of the engine",
    source="ratio to every other cylinder, widened for their number (Bonferroni); scatter of repeats",
    limits="Needs decays that were repeated for an interval. Limits of sensor and volume are taken to be shared.",
)
OVER = Measure(
    id="decay.over_leakdown",
    title="leak area by pressure decay over that by leak-down",
    unit="1",
    better="",
    scale="log",
    method="Of the same cylinder at the same check, by both intervals: one lies inside where they overlap.",
    formula="A(decay) / A(leak-down)",
    source="quotients of the ends",
    limits="Leak-down areas are on the scale of the tester's orifice, whose discharge (down to 0.86, from memory) is "
    "in them: the upper end allows for it. Overlap is no proof that both are right.",
    interval="bounds",
)
REPEAT = Measure(
    id="decay.repeat",
    title="scatter of repeats of a pressure decay",
    unit="%",
    better="less",
    method="Standard deviation of ln(A/V) between repeats of one cylinder, pooled over the program.",
    formula="√(Σ(ln A − mean)² / df)",
    source="pooled variance",
    interval="",
)
