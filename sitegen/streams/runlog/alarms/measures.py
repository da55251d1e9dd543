"""What is concluded of the hours between checks, declared once."""

from __future__ import annotations

from sitegen.methods import coincidence
from sitegen.vocabulary import Measure

WATCHED = Measure(
    id="watch.hours",
    title="time watched for channels that turn together",
    unit="h",
    better="more",
    method="Time in which blow-by and one more of spread of exhaust temperatures, oil pressure and torque at equal "
    "demand were compared with the hours before: while the run kept to its schedule, from hour 17 of running, in a "
    "shorter form from hour 6, counted anew after a stop of ten minutes.",
    formula="minutes in which blow-by and one more have a size of deviation",
    source="definition",
    limits="A channel that is not sound, or stands still for half an hour, does not watch. Torque watches only where "
    "the demand was logged: a brake that holds the torque hides what the engine lacks. Fewer than two live channels: "
    "not watched.",
    interval="",
)
SIZE = Measure(
    id="watch.size",
    title="size of a deviation while watched",
    unit="1",
    better="less",
    method="How far a channel went in the harmful direction, in its own usual scatter: the mean of three minutes less "
    "that of the hour that ended six minutes before, each minute less its median at the same minute of the schedule "
    "over the five cycles before, over the scatter of such differences in the last ten hours. Above 4 a channel is "
    f"flagged; blow-by and one more within {coincidence.WITHIN} min are the alarm. Where the sizes of blow-by and the "
    f"other correlate by more than {coincidence.TOGETHER:g}, one cause, such as the room, moves them alike: both then "
    f"have to go beyond {coincidence.LONG.alarm:g}, in the short form {coincidence.SHORT.alarm:g}.",
    formula="z = d / s, s = 1.4826 · median of the absolute deviations of d",
    source="simulated: tests/methods/coincidence_rates.py; 1.4826 is the robust standard deviation of a normal spread",
    limits=f"False alarms: fewer than {coincidence.STATED} in 100 h watched, simulated with samples of heavy tails, a "
    "slow wander of each channel or one that moves all the harmful way at once, and a daily cycle; 0.16 where such a "
    "wander of all is within their noise, of a row a minute with heavy tails and no wander 0.3 to 2. One channel alone "
    "is flagged once or twice in 100 h of nothing. A jump of 4.2 is found in about eight of ten, one of 3.3 in half; "
    "fewer where one cause moves the channels alike. Told afterwards: the cell's trips protect the engine, and an "
    "inspection decides.",
    interval="",
)
BEYOND = Measure(
    id="limit.beyond",
    title="time beyond a limit of a channel",
    unit="%",
    better="less",
    method="Share of the recorded running time in which the mean of a second lay beyond a limit the program states. "
    "Left out: the first 15 s after each start, and what the program sets apart after a cold one.",
    formula="time beyond / running time recorded",
    source="definition; the 15 s are common practice, no source",
    limits="Of long logs bins are wider than a second, and of a row a minute nothing is known between: a shorter "
    "excursion shows in the single samples only, by which the word is decided.",
    interval="",
)
LONGEST = Measure(
    id="limit.longest",
    title="longest time beyond a limit of a channel",
    unit="s",
    better="less",
    method="Longest stretch of running in which the mean of a second lay beyond the limit.",
    formula="end less beginning",
    source=BEYOND.source,
    limits=BEYOND.limits,
    interval="",
)
FIRST = Measure(
    id="limit.first",
    title="first time beyond a limit of a channel",
    unit="min",
    better="",
    method="Time since the run of the phase began at which a sample first lay beyond the limit.",
    formula="reading",
    source=BEYOND.source,
    limits=BEYOND.limits,
    interval="",
)
WINDOWS_BEYOND = Measure(
    id="limit.windows",
    title="windows beyond a limit of a channel",
    unit="1",
    better="less",
    method="Of a long run each window answers by itself: it fails where a sample in it lay beyond the limit, holds "
    "where nearly all of its running time was recorded and none did, and cannot be told else. Windows are those of "
    "the run over its hours, lost ones included, since a limit holds off the point of the schedule too. Running time "
    "outside of all windows is one more answer.",
    formula="count of windows that fail, of those that answer",
    source="definition",
    limits=BEYOND.limits,
    interval="",
)
SINCE = Measure(
    id="limit.since",
    title="hours run from which every window lies beyond a limit",
    unit="h",
    better="more",
    method="Beginning of the windows at the end of a run that fail one after the other, two at least.",
    formula="hours run at the first of them",
    source="definition",
    limits="A run that goes on may come back within its limit.",
    interval="",
)
STARTS = Measure(
    id="run.starts",
    title="starts of the engine",
    unit="1",
    better="",
    method="How often the engine began to run after a standstill of ten seconds or more, or as the log began.",
    formula="count",
    source="definition",
    limits="A log that begins with the engine running does not show its start; it is not counted.",
    interval="",
)
COLD = Measure(
    id="run.cold_starts",
    title="cold starts",
    unit="1",
    better="less",
    method="Starts at which the oil, or the coolant where no oil temperature was logged, was below the temperature the "
    "program states.",
    formula="count",
    source="definition",
    limits="By the last sample before the start. Where a start has none it is counted among the starts only.",
    interval="",
)
NARROWS = Measure(
    id="breather.slope",
    title="crankcase pressure at equal blow-by, change in 100 h",
    unit="%/100 h",
    better="",
    method="Blow-by has to leave through the breather, so that the pressure in the crankcase goes as a power of it. "
    "The power comes from points of the schedule with different blow-by in one cycle; what the pressure does besides, "
    "from cycle to cycle, is of the breather alone. Rising at equal blow-by: it narrows. Pressure and blow-by rising "
    "along one curve: more gas past the rings.",
    formula="slope of ln p − n · ln Q over the hours run",
    source="orifice: pressure as the square of the flow; filter mat: in proportion (textbooks on flow). The slope as "
    "for other channels over the hours",
    limits="Of the flow as its meter reads. No answer where the blow-by of the points differs by less than a fifth, "
    "the pressure does not lie above ambient, or a slope over the hours cannot be told.",
)
POWER = Measure(
    id="breather.power",
    title="power of blow-by that the crankcase pressure goes with",
    unit="1",
    better="",
    method="Least squares over points of the schedule with different blow-by, a constant for each cycle.",
    formula="n of p = k · Q^n",
    source=NARROWS.source,
    limits="1 of a filter mat, 2 of a narrow passage; a pressure gauge that is off moves it.",
)
