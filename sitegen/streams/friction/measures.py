"""What the stream of engine friction concludes, declared once."""

from __future__ import annotations

from sitegen.methods.friction import PER_KELVIN
from sitegen.vocabulary import Measure

_WHOLE = "It belongs to the whole engine: in one with several coatings it says nothing about any of them."
_LOAD = (
    "Driven or running down, an engine still pumps its gas and bears no gas load on its rings: the figure orders "
    "coatings and is not the friction of the engine under load."
)
_NOT_OFFERED = (
    "Two other ways are not offered. A line of fuel over load, drawn back to no fuel (Willans; unthrottled diesel "
    "engines, textbook): efficiency that falls by 5 to 15 % up to 10 bar makes it read 2 to 5 % too little over 0 to 4 "
    "bar, 13 to 36 % over 0 to 10 bar with an interval that then holds the truth in 0 to 67 of 100 cases, and without "
    "loads under 2 bar 8 to 24 % too little; a throttled engine has no such line. Indicated less brake work: 1° of "
    "dead centre is 4 % of the indicated pressure, 0.23 bar beside 1.1 bar of friction (own cycle; published: up to "
    "10 %, 0.1° needed)."
)
_DAYS = "The mean of a day's runs is one number, since they share its warm-up and its oil"
_FORMULA = "FMEP = 2π · strokes/2 · T / V, which is 4πT/V of four strokes; V = π/4 · bore² · stroke · cylinders"

DAY = Measure(
    id="friction.day",
    title="friction of one day",
    unit="kPa",
    better="less",
    scale="log",
    method=f"{_DAYS}: at each speed the geometric mean of its runs, over all speeds that of the speeds.",
    formula=_FORMULA,
    source="J. B. Heywood, Internal combustion engine fundamentals (1988), eq. 2.20 (from memory)",
    limits="Oil off its temperature is left out, and a day without a speed has no mean over all speeds.",
    interval="",
    digits=6,
)
MOTORED = Measure(
    id="friction.motored",
    title="friction when driven",
    unit="kPa",
    better="less",
    compare="ratio",
    scale="log",
    method=f"Mean effective pressure of the torque that drives the engine, its oil at the stated temperature. {_DAYS}; "
    "the interval is over days, whose scatter is pooled over the builds, and holds the limit of the torque cell, which "
    "cancels between builds of one torque cell.",
    formula=_FORMULA,
    source="definition; simulated: intervals by days hold in 94 to 97 of 100 cases, those by runs in 23 to 78",
    limits=f"{_LOAD} {_WHOLE} One day has no interval. {_NOT_OFFERED}",
)
COAST = Measure(
    id="friction.coast",
    title="friction by run down",
    unit="kPa",
    better="less",
    compare="ratio",
    scale="log",
    method="Mean effective pressure of the torque that slows an engine running down, its oil at the stated "
    "temperature: inertia times the rate at which the speed falls, of a parabola over the window about each speed. "
    f"{_DAYS}; the interval is over days and holds the uncertainty of the "
    "inertia, which cancels between builds of one cell.",
    formula="T = −I dω/dt; " + _FORMULA,
    source="Newton's second law. Simulated, by how steeply friction rises with speed: a parabola over ±200 rpm reads "
    "0.1 to 0.6 % too much (runs of 50 samples a second scatter by 0.2 %), over ±300 rpm 0.3 to 1.2 %; a straight line "
    "0.2 to 1.2 % too little over ±200 rpm, 0.5 to 2.7 % over ±300; at 10 samples a second runs scatter two to six "
    "times as far",
    limits="What the bench itself drags is in it, and makes ratios smaller than those of the engines. "
    f"{_LOAD} {_WHOLE} One day has no interval. The ways that are not offered stand with {MOTORED.title}.",
)
CHANGE = Measure(
    id="friction.change",
    title="change of friction from one variant to another",
    unit="%",
    better="less",
    method="Means of days of two variants that alternate in one build (ABAB or ABBA), with a straight drift over the "
    "days taken out; t on the days less three. At each speed by Bonferroni over the speeds.",
    formula="ln FMEP = level + step of the variant + slope · order of the day",
    source="simulation: 5.0 to 5.3 % false changes, whatever the drift",
    limits=f"At least three days of each. Another coating is a rebuild: builds are compared, not days. {_WHOLE}",
)
SMALLEST = Measure(
    id="friction.smallest_change",
    title="smallest change the days can show",
    unit="%",
    better="less",
    method="What the days that were run find four times in five, from the scatter of days in all builds.",
    formula="noncentral t on the days less three, times the error of the step",
    source="J. Cohen, Statistical power analysis (1988), ch. 2",
    limits="With few days its scatter is itself badly known.",
    interval="",
)
BETWEEN = Measure(
    id="friction.smallest_difference",
    title="smallest difference two builds' days can show",
    unit="%",
    better="less",
    method="What the planned days of each of two builds find four times in five, from the scatter of days in all "
    "builds. It tells two builds apart, not two coatings.",
    formula="noncentral t on 2d − 2, times the scatter of days · √(2/d)",
    source=SMALLEST.source,
    limits="How far builds of one coating scatter is not in it. With few days its scatter is itself badly known; oil "
    f"that scatters by 1 K from day to day adds {100 * PER_KELVIN:.2g} % to it (half of 2.3 % of viscosity at 90 °C, "
    "from memory).",
    interval="",
)
REPEAT = Measure(
    id="friction.run_scatter",
    title="scatter of the runs of a day",
    unit="%",
    better="less",
    method="Standard deviation between the runs of a day, over all speeds together, pooled over the program.",
    formula="sqrt(Σ(ln FMEP − mean of the day)² / df)",
    source="definition",
    interval="",
)
DAYS = Measure(
    id="friction.day_scatter",
    title="scatter of days",
    unit="%",
    better="less",
    method="Standard deviation between the days of one build and variant, pooled over the program; the scatter of runs "
    "is in it.",
    formula="sqrt(Σ(mean of the day − mean of its days)² / df)",
    source="definition",
    interval="",
)
MEASURES = {"motored": MOTORED, "coast-down": COAST}  # by the word of the method
