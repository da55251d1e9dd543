"""What compression tests conclude, declared once. None of it is compared between coatings, and none tells seating."""

from __future__ import annotations

from sitegen.vocabulary import Measure

_NEVER = "Never a measure of seating: it enters no state of a cylinder and compares no coatings."
_BESIDE = (
    "Set beside each other only where cranking speeds were recorded and lie within 5 %, throttle and strokes were "
    "alike and the oil equally warm: 5 % of speed move a simulated cylinder by 0.7 to 1.6 %"
)
_SPREAD = (
    "The interval holds the scatter of repeats alone, not the 3 % by which equal cylinders differ (common practice, no "
    "source), nor what the gauge does to all of them alike."
)

PRESSURE = Measure(
    id="compression.pressure",
    title="cranking pressure",
    unit="kPa",
    better="more",
    scale="log",
    method="Gauge pressure held after the strokes, geometric mean of the repeats; dry, and after oil was put in "
    "(`wet`).",
    formula="exp(mean of ln p)",
    source="reading; interval: scatter of repeats pooled over the program, Student's t and not less than 2 s",
    limits=f"It hangs on cranking speed, throttle, air and oil. {_NEVER}",
)
TO_BEST = Measure(
    id="compression.to_best",
    title="cranking pressure over that of the best cylinder",
    unit="1",
    better="more",
    scale="log",
    method=f"Dry. {_BESIDE}.",
    formula="p / highest p of the engine",
    source="ratio to every other cylinder, widened for their number (Bonferroni): the best of several is high by "
    "chance, too",
    limits=f"{_SPREAD} {_NEVER}",
)
LOWEST = Measure(
    id="compression.lowest",
    title="lowest over highest cranking pressure",
    unit="1",
    better="more",
    scale="log",
    method=f"Of one engine, dry. {_BESIDE}.",
    formula="lowest p / highest p",
    source="all pairs of cylinders, widened for their number (Bonferroni). Makers allow 0.70 to 0.75 (a maker's table: "
    "1035 kPa, 70 %: 725 kPa); no limit is built in",
    limits=f"Equal cylinders read apart as well: the share that does so stands beside it. {_SPREAD} {_NEVER}",
)
EQUAL = Measure(
    id="compression.equal",
    title="engines of equal cylinders that read so far apart",
    unit="%",
    better="",
    method="Of engines whose cylinders are all equal and scatter by 3 % (common practice, no source), how many would "
    "show a lowest over highest as low as the one found, or below 0.90 (`below:0.90`): four cylinders in 6 of 100, "
    "six in 13.",
    formula="1 − n ∫ φ(x) [Φ(x + w) − Φ(x)]ⁿ⁻¹ dx, w = −ln(ratio) / 0.03",
    source="distribution of the range of a normal sample",
    limits="The 3 % are from no measurement of this program.",
    interval="",
)
WET = Measure(
    id="compression.wet",
    title="change of cranking pressure with oil in the cylinder",
    unit="%",
    better="less",
    method="Of one cylinder at one check. It counts where it lies beyond 2·√2·s between two single readings, s the "
    "scatter of repeats; means of repeats need less.",
    formula="100 · ln(wet / dry)",
    source="interval: Student's t on the pooled repeats and not less than 2, times s·√(1/n + 1/n)",
    limits="The oil takes room: 5 mL in a chamber of 65 mL below a swept 600 mL raise the pressure by about 10 % with "
    f"nothing sealed, so a rise is no proof of rings. {_NEVER}",
)
CHANGE = Measure(
    id="compression.change",
    title="change of cranking pressure since the first check",
    unit="%",
    better="",
    method=f"Dry, of one cylinder, to the ambient pressure of the first check where both were recorded. {_BESIDE}.",
    formula="100 · ln(p / p at the first check)",
    source="interval as of the change with oil",
    limits=_NEVER,
)
REPEAT = Measure(
    id="compression.repeat",
    title="scatter of repeats of a compression test",
    unit="%",
    better="less",
    method="Standard deviation of ln p between repeats of one cylinder in one state, pooled over the program.",
    formula="√(Σ(ln p − mean)² / df)",
    source="pooled variance",
    interval="",
)
