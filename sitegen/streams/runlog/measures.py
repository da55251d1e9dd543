"""What the run-log stream concludes, declared once."""

from __future__ import annotations

from typing import Literal

from sitegen.vocabulary import Measure

# Reference conditions every flow is brought to and printed with: ISO 8778 (standard reference atmosphere), dry.
REFERENCE_PRESSURE = 100e3  # Pa absolute
REFERENCE_TEMPERATURE = 293.15  # K
REFERENCE = "at 100 kPa and 20 °C"

HELD = Measure(
    id="run.held",
    title="planned time held",
    unit="%",
    better="more",
    method="Share of the planned running time in which speed and torque stayed within the bands the program states, "
    "and oil and coolant within the windows it states for a step. The first 15 s of a step count neither way; a stop "
    "moves what follows it. What was not recorded is not held.",
    formula="time within all bands and windows / planned time",
    source="definition; the 15 s are common practice, no source",
    limits="Nothing of it says whether the schedule itself was right. A window is asked only where its temperature was "
    "logged. Of a hole in the record nothing says whether the engine ran: it is followed whichever way fits the plan "
    "better.",
    interval="",
)
STOPPED = Measure(
    id="run.stopped",
    title="time stopped during a run",
    unit="min",
    better="less",
    method="Time for which the engine stood, ten seconds or more at a time, between its first and its last running.",
    formula="sum of the stops",
    source="definition",
    limits="Only what was recorded: a stretch without samples between two of running is a hole in the record, no stop.",
    interval="",
)
BMEP = Measure(
    id="run.bmep",
    title="brake mean effective pressure",
    unit="bar",
    better="",
    method="Mean over the running time of a phase.",
    formula="2π · n_r · mean torque / displacement, n_r revolutions a cycle",
    source="definition",
    limits="Of the torque at the brake, as logged.",
    interval="",
)
PISTON_SPEED = Measure(
    id="run.piston_speed",
    title="mean piston speed",
    unit="m/s",
    better="",
    method="Mean over the running time of a phase.",
    formula="2 · stroke · mean speed",
    source="definition",
    interval="",
)
LEVEL = Measure(
    id="blowby.level",
    title="blow-by at the reference point",
    unit="L/min",
    better="less",
    method=f"Mean flow over the later half of a reference point of the schedule, {REFERENCE}, while speed, torque and "
    "oil temperature, averaged over 15 s, are within the program's bands about their medians over the visits of the "
    "build: 1 %, 2 % and 3 K where it states none. A visit that is within them for less than half of its samples does "
    "not count, so that what changes is the engine.",
    formula="mean of the flow brought to the reference conditions by the meter's principle",
    source="ideal gas; float and orifice meters by the root of the density ratio",
    limits="The default bands are common practice, no source. Where oil temperature was not logged it is not asked. "
    "Belongs to the whole engine, and in an engine with mixed coatings to none of them. It goes with the "
    "smaller of the ring-gap areas (SAE 680109): ±0.05 mm on a gap of 0.30 mm is ±17 %. Gas from the crankcase is warm "
    "and wet; the vapour is not taken out. No interval: a reference point is too short for one. The common part of "
    "its error is of barometer and thermometer at their limits, where the definitions state them.",
    interval="",
    compare="ratio",
    only_at="reference point",
)
LAST = Measure(
    id="blowby.last",
    title="blow-by at the last reference point",
    unit="L/min",
    better="less",
    method=f"The level at the last reference point of a phase, {REFERENCE}. None where that point does not count, or "
    "the meter never moved or stood still and answered no check.",
    formula="the last of the levels",
    source=LEVEL.source,
    limits=LEVEL.limits,
    interval="",
    compare="ratio",
    offered=True,
)
UNSTEADY = Measure(
    id="blowby.unsteadiness",
    title="unsteadiness of blow-by",
    unit="L/min",
    better="less",
    method="Spread of the flow about its running median over the later half of a reference point.",
    formula="1.4826 · median of the absolute deviations from the running median",
    source="robust standard deviation of a normal spread (exact)",
    limits="A slow meter hides it: read it with the meter's time constant. Of ten samples with five changes at least, "
    "so that a value held between samples is not taken for a steady flow; where it is lost in the steps of the reading "
    "it is given as below that.",
    interval="",
)
PER_LITRE = Measure(
    id="blowby.per_litre",
    title="blow-by per litre swept",
    unit="mL/L",
    better="less",
    method="Blow-by at the last reference point over the volume the engine swept in the same time.",
    formula="flow / (displacement · speed / revolutions a cycle)",
    source="definition",
    limits="For engines of other sizes. Context, never a verdict.",
    interval="",
    compare="ratio",
)
SCALE = Measure(
    id="blowby.scale",
    title="seating distance by blow-by",
    unit="km",
    better="less",
    method="Sliding distance over which what blow-by has still to lose falls to 37 %, from the reference points of the "
    "run-in that count. Its interval holds those of visits that scatter all alike or in proportion to the flow, and "
    "those with 0.3 % of blow-by a kelvin of oil temperature taken out, either way.",
    formula="Q(x) = P + (S − P) · exp(−x / x_s), least squares over the flow; a level P for each reference point",
    source="as for the seating distance by leak-down; the 0.3 % are common practice, no source",
    limits="No answer where the steady parts of the runs allow the means of neighbouring visits a correlation of more "
    "than 0.1 by slow wander, or are too short to tell: a wander of minutes looks like settling. Of the whole engine. "
    "Shown beside the distance by leak-down; where too few leak checks count and the "
    "engine holds one coating, the seating curve of the leak rests on it.",
    compare="ratio",
    only_at="assembly",
)
BIAS = Measure(
    id="blowby.bias",
    title="second meter less the first",
    unit="L/min",
    better="",
    method=f"Mean difference of two meters in series, both {REFERENCE}, in block means of two minutes.",
    formula="mean of the differences",
    source="J. M. Bland and D. G. Altman, Lancet 1986 i 307",
    limits="The second meter presses back on the first. Says how far they differ, not which of them is right.",
)
APART = Measure(
    id="blowby.apart",
    title="how far two meters lie apart",
    unit="L/min",
    better="less",
    method="Half the distance between the limits of agreement of two meters in block means of two minutes: 95 of 100 "
    "such means differ by no more than this from the bias.",
    formula="1.96 · standard deviation of the differences",
    source=BIAS.source,
    limits="Of means over two minutes; single readings lie further apart.",
)


def _mean(name: str, title: str, unit: str, better: Literal["less", "more", ""] = "") -> Measure:
    return Measure(
        id=f"run.{name}",
        title=title,
        unit=unit,
        better=better,
        method=f"{title[0].upper()}{title[1:]}, mean over the running time of a phase. Shown beside seating, never "
        "adjusted for.",
        formula="mean of the samples while the engine runs",
        source="reading",
        limits="As logged; where the channel looks wrong, it is flagged.",
        interval="",
    )


MEANS = {  # channel without its cylinder -> measure, and what turns SI into its unit
    "crankcase_pressure": (_mean("crankcase_pressure", "crankcase pressure", "kPa"), 1e-3, 0.0),
    "oil_pressure": (_mean("oil_pressure", "oil pressure", "kPa"), 1e-3, 0.0),
    "oil_temperature": (_mean("oil_temperature", "oil temperature", "°C"), 1.0, -273.15),
    "coolant_temperature": (_mean("coolant_temperature", "coolant temperature", "°C"), 1.0, -273.15),
    "exhaust_temperature": (_mean("exhaust_temperature", "exhaust temperature", "°C"), 1.0, -273.15),
    "peak_pressure": (_mean("peak_pressure", "peak pressure, absolute", "MPa"), 1e-6, 0.0),
}
