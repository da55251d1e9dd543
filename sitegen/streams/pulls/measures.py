"""What the stream of pulls concludes, declared once."""

from __future__ import annotations

from sitegen.vocabulary import Measure

_DAYS = "A day's mean without its first pull is one number, since the pulls of a day share its air, fuel and warm-up"
_WHOLE = "It belongs to the whole engine: in one with several coatings it says nothing about any of them."

TORQUE = Measure(
    id="power.torque",
    title="full-load torque",
    unit="N·m",
    better="more",
    compare="ratio",
    scale="log",
    method=f"Mean over the bands of speed, at the reference air of the program's standard. {_DAYS}; the interval is "
    "over days, whose scatter is pooled over the builds of the program.",
    formula="mean over days of the mean over pulls of ∫T dn / (n₂ − n₁); T times the factor of the standard",
    source="SAE J1349 (1990), SAE J607, ISO 1585, ISO 3046-1, one in a program; days as units: simulation",
    limits="Of an engine that is stated to be governed it is the torque as observed. Builds whose days scatter more "
    f"than the others' get too narrow an interval. {_WHOLE} An error of the "
    "torque cell, of the barometer or of the inertia is in every pull alike and not in the interval. The best pull of "
    "several is never told: best of eight beats best of three by 0.22 % where nothing differs.",
)
OBSERVED = Measure(
    id="power.observed",
    title="full-load torque as observed",
    unit="N·m",
    better="more",
    scale="log",
    method=f"The same without correction for the air. {_DAYS}.",
    formula=TORQUE.formula.partition(";")[0],
    source="definition",
    limits="Air of another day may move it by several per cent: nothing is compared by it.",
)
GAIN = Measure(
    id="power.gain",
    title="gain of one variant over another",
    unit="%",
    better="more",
    method="Means of days of two variants that alternate in one build (ABAB or ABBA), with a straight drift over the "
    "days taken out; t on the days less three. In each band by Bonferroni over the bands.",
    formula="ln T = level + step of the variant + slope · order of the day",
    source="simulation: 4.6 to 5.6 % false gains at any drift; two blocks of days one after the other make 39 %",
    limits=f"At least three days of each. Another coating is a rebuild: builds are compared, not days. {_WHOLE}",
)
SMALLEST = Measure(
    id="power.smallest_gain",
    title="smallest gain the days can show",
    unit="%",
    better="less",
    method="What the days that were pulled find four times in five, from the scatter of days and pulls in all builds.",
    formula="noncentral t on the days less three, times the error of the step",
    source="J. Cohen, Statistical power analysis (1988), ch. 2",
    limits="With few days its scatter is itself badly known.",
    interval="",
)
DRIFT = Measure(
    id="power.drift",
    title="drift along a day",
    unit="%",
    better="",
    method="Change of torque from one pull to the next, first pull apart; days as units.",
    formula="slope of ln T over the pulls of a day, mean over days",
    source="definition",
    limits="Three days or more.",
)
REPEAT = Measure(
    id="power.pull_scatter",
    title="scatter of the pulls of a day",
    unit="%",
    better="less",
    method="Standard deviation between the kept pulls of a day, pooled over all days of the program.",
    formula="sqrt(Σ(ln T − mean of the day)² / df)",
    source="definition",
    interval="",
)
DAYS = Measure(
    id="power.day_scatter",
    title="scatter of days",
    unit="%",
    better="less",
    method="Standard deviation between the means of days of one build and variant, pooled; the scatter of pulls is in "
    "it.",
    formula="sqrt(Σ(mean of the day − mean of its days)² / df)",
    source="definition",
    interval="",
)
