"""What is concluded over the hours of a long run, declared once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sitegen.streams.runlog.measures import LEVEL, MEANS, REFERENCE
from sitegen.vocabulary import Measure

POINT = (
    "Windows are visits to the reference point of the schedule, or the hours of its longest step, while speed, torque, "
    "oil and intake temperature are within their bands, what comes after a start or a change of step left out."
)
WINDOWS = Measure(
    id="hours.windows",
    title="windows over the hours",
    unit="1",
    better="more",
    method=f"How many windows of a long run count. {POINT}",
    formula="count",
    source="definition",
    limits="A window counts where half of its samples lie within the bands and oil temperature changes by no more than "
    "its band from its first quarter to its last.",
    interval="",
)
LOST = Measure(
    id="hours.lost",
    title="windows lost",
    unit="1",
    better="less",
    method="How many of the windows planned do not count, or were not run or not recorded.",
    formula="planned less those that count",
    source="definition",
    interval="",
)
MEMORY = Measure(
    id="hours.memory",
    title="slow time constant of a run",
    unit="h",
    better="",
    method="How slowly a channel wanders over the windows of a long run: the time in which the correlation falls to "
    "37 %; 0 where none shows. Trend and a daily cycle are taken off first. It serves the runs of other builds.",
    formula="restricted likelihood of a wander beside noise on sixty blocks",
    source="Patterson and Thompson, Biometrika 58 (1971) 545",
    limits="Longer than a third of the run it is a lower limit at best, so that it is never used for the same run.",
    interval="",
)
BENCH = Measure(
    id="hours.bench",
    title="slow time constant taken",
    unit="h",
    better="",
    method="The slow time constant a slope rests on, where the program states none: the mean of those of the other "
    "builds in the same phase.",
    formula="mean over the other builds",
    source="the log under test does not protect: by its own time constant intervals hold in 58 to 92 % (simulated)",
    interval="",
)


@dataclass(frozen=True)
class Channel:
    """A channel whose level is followed over the hours."""

    name: str  # without its cylinder
    slope: Measure
    least: Measure
    ahead: Measure
    unit: str  # of its level
    factor: float  # of SI to that unit
    offset: float
    relative: bool  # slopes are shares of the level

    @property
    def title(self) -> str:
        return self.slope.title.removeprefix("slope of ")


def _channel(
    name: str, short: str, title: str, unit: str, better: Literal["less", "more", ""], factor: float, offset: float,
    *, relative: bool, how: str = "",
) -> Channel:  # fmt: skip
    of = "% per 100 h" if relative else f"{unit.replace('°C', 'K')} per 100 h"
    slope = Measure(
        id=f"hours.{short}_slope",
        title=f"slope of {title}",
        unit=of,
        better=better,
        method=f"Change of its level with the hours of a long run{how}. {POINT} A line through five equal blocks of "
        "the run; where the bench stands still at night, through its days.",
        formula="weighted line through block means, Student's t on blocks less parameters; widened by what "
        "neighbouring blocks share of the wander",
        source="B. Schmeiser, Operations Research 30 (1982) 556; coverage simulated: 94.4 to 96 %",
        limits="None below thirty slow time constants of the bench, which other runs or the program tell. None in less "
        "than four days round the clock, in which a daily cycle passes for a slope, or five days of shifts. A change "
        "of meter or oil on record gives each side a level of its own; across a jump that is on none there is no "
        "slope.",
        compare="difference",
    )
    least = Measure(
        id=f"hours.{short}_least",
        title=f"least slope of {title} a run can show",
        unit=of,
        better="less",
        method="Slope that a run of these hours finds four times in five: by the error of its slope where one is told, "
        "else by the wander it had itself.",
        formula="(shift of the noncentral t for 80 %) · error of the slope; else 420 · √((24 · s² · τ + 12 · w²) / "
        "T³), s and τ of the wander, w from hour to hour, T hours; 1.6 times as much across one change of meter or "
        "oil, 2.4 across more",
        source="variance of a line through correlated values; power by the noncentral t distribution",
        limits="A daily cycle in a run of less than four days counts as wander.",
        interval="",
    )
    ahead = Measure(
        id=f"hours.{short}_planned",
        title=f"{title} at the planned hours",
        unit=unit,
        better=better,
        method=f"Level in a window at the end of the hours planned{how}, by the line. Where the run ended before, it "
        "is extrapolated, at most to twice the hours run.",
        formula="line at the planned hours ± √((t · its error)² + (1.96 · scatter of windows)²)",
        source="N. R. Draper and H. Smith, Applied Regression Analysis (1998), 1.3 (prediction)",
        limits="Supposes that the line goes on as it did. A daily cycle is taken out of it. None where there is no "
        "slope.",
        interval="prediction",
        compare="ratio" if relative else "difference",
    )
    return Channel(name, slope, least, ahead, unit, factor, offset, relative)


def _of_mean(name: str, short: str, better: Literal["less", "more", ""], *, relative: bool) -> Channel:
    measure, factor, offset = MEANS[name]
    return _channel(name, short, measure.title, measure.unit, better, factor, offset, relative=relative)


CHANNELS = {
    each.name: each
    for each in (
        _channel("blowby", "blowby", "blow-by", LEVEL.unit, "less", 1.0, 0.0, relative=True, how=f", {REFERENCE}"),
        _of_mean("crankcase_pressure", "crankcase", "less", relative=False),
        _of_mean("oil_pressure", "oil_pressure", "more", relative=True),
        _of_mean("exhaust_temperature", "exhaust", "", relative=False),
        _of_mean("coolant_temperature", "coolant", "", relative=False),
        _channel("torque", "torque", "torque at the same point", "N m", "more", 1.0, 0.0, relative=True),
    )
}
BY_SLOPE = {each.slope.id: each for each in CHANNELS.values()}
