"""Which phases of the example programs were logged, by what recorder, and what went wrong with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from simulate.logfiles import FAHRENHEIT, MERCURY, POUND_FOOT, PSI, WATER, Column, LogForm
from simulate.logs import Departure

BY_DAY = {"run-in-10": "08:40", "run-in-25": "10:30", "run-in-60": "13:10", "pulls": "09:20", "durability": "07:00"}
BY_NIGHT = {**BY_DAY, "run-in-10": "20:05", "run-in-25": "21:50", "run-in-60": "23:41"}
RUN_IN_AND_PULLS = ("run-in-10", "run-in-25", "run-in-60", "pulls")
METERS = {"blowby": "M1", "blowby_2": "M2"}

Line = tuple[str, str, str, int]  # channel, header, unit, decimals

SHORT: Sequence[Line] = (
    ("speed", "n", "rpm", 0),
    ("torque", "Md", "N m", 1),
    ("blowby", "Blow-by", "L/min actual", 1),
    ("blowby_2", "Blow-by 2", "standard L/min (0 degC, 101.325 kPa)", 1),
    ("crankcase_pressure", "p crankcase", "kPa gauge", 2),
    ("oil_pressure", "p oil", "kPa gauge", 0),
    ("oil_temperature", "T oil", "degC", 1),
    ("coolant_temperature", "T coolant", "degC", 1),
    ("blowby_temperature", "T blow-by", "degC", 1),
    ("ambient_pressure", "p room", "kPa absolute", 2),
    ("exhaust_temperature_1", "T exh 1", "degC", 0),
    ("exhaust_temperature_2", "T exh 2", "degC", 0),
    ("exhaust_temperature_3", "T exh 3", "degC", 0),
    ("exhaust_temperature_4", "T exh 4", "degC", 0),
)
WORDS = {
    "speed": "Speed", "torque": "Brake torque", "blowby": "Blow-by", "blowby_2": "Second meter",
    "crankcase_pressure": "Crankcase", "oil_pressure": "Oil pressure", "oil_temperature": "Oil",
    "coolant_temperature": "Coolant", "blowby_temperature": "Gas at meter", "blowby_pressure": "Pressure at meter",
    "ambient_pressure": "Barometer", "exhaust_temperature_1": "Exhaust 1", "exhaust_temperature_2": "Exhaust 2",
    "exhaust_temperature_3": "Exhaust 3", "exhaust_temperature_4": "Exhaust 4",
}  # fmt: skip
TWO_ROWS = {
    "speed": "Engine|speed", "torque": "Engine|torque", "blowby": "Blow-by|flow",
    "crankcase_pressure": "Crankcase|gauge", "oil_pressure": "Oil|gauge", "oil_temperature": "Oil|temperature",
    "coolant_temperature": "Coolant|temperature", "blowby_temperature": "Blow-by|temperature",
    "blowby_pressure": "Blow-by|pressure", "exhaust_temperature_1": "Exhaust|1", "exhaust_temperature_2": "Exhaust|2",
    "exhaust_temperature_3": "Exhaust|3", "exhaust_temperature_4": "Exhaust|4",
}  # fmt: skip
DEGREES = {
    "oil_temperature": "Oil °C", "coolant_temperature": "Coolant °C", "blowby_temperature": "Blow-by °C",
    "exhaust_temperature_1": "Exhaust 1 °C", "exhaust_temperature_2": "Exhaust 2 °C",
    "exhaust_temperature_3": "Exhaust 3 °C", "exhaust_temperature_4": "Exhaust 4 °C",
}  # fmt: skip
INCH_UNITS = {
    "torque": ("lb-ft", 1, POUND_FOOT), "blowby": ("ACFM", 2, (1 / 28.316846592, 0.0)),
    "crankcase_pressure": ("inH2O gauge", 2, WATER), "oil_pressure": ("psig", 1, PSI),
    "ambient_pressure": ("inHg absolute", 2, MERCURY),
}  # fmt: skip
EVERY = {"speed": 1, "torque": 1, "blowby": 2, "blowby_2": 1, "crankcase_pressure": 5, "oil_pressure": 5,
         "ambient_pressure": 60}  # s; others 10  # fmt: skip


def _columns(headers: Mapping[str, str] | None = None, leave_out: Sequence[str] = ()) -> tuple[Column, ...]:
    named = headers or {}
    return tuple(
        Column(channel, named.get(channel, header), unit, decimals)
        for channel, header, unit, decimals in SHORT
        if channel not in leave_out
    )


def _at_meter(headers: Mapping[str, str]) -> tuple[Column, ...]:
    """One meter, and the pressure taken at it in place of the room's."""
    found = _columns(headers, leave_out=("blowby_2",))
    return tuple(
        replace(each, channel="blowby_pressure", header=headers["blowby_pressure"])
        if each.channel == "ambient_pressure"
        else each
        for each in found
    )


def _inches() -> tuple[Column, ...]:
    found = []
    for each in _columns(WORDS, leave_out=("blowby_2",)):
        unit, decimals, scale = INCH_UNITS.get(each.channel, (each.unit, each.decimals, each.scale))
        if unit == "degC":
            unit, scale = "degF", FAHRENHEIT
        found.append(replace(each, unit=unit, decimals=decimals, scale=scale))
    return tuple(found)


def _for_long_runs() -> tuple[Column, ...]:
    """No digit more than the sensors know: liquids to whole degrees, the crankcase in tens of pascals.

    Thermocouples of class 1 are good to 1.5 degrees: IEC 60584-1 (from memory). What the flow of gas rests on keeps
    its digits.
    """
    coarser = {
        "oil_temperature": {"decimals": 0},
        "coolant_temperature": {"decimals": 0},
        "crankcase_pressure": {"unit": "Pa gauge", "scale": (1000.0, 0.0), "decimals": -1},
    }
    return tuple(replace(each, **coarser.get(each.channel, {})) for each in _columns())  # type: ignore[arg-type]


@dataclass(frozen=True)
class Logged:
    """The logs of one build."""

    form: LogForm
    forms: Mapping[str, LogForm] = field(default_factory=dict)  # phase -> another one
    phases: Sequence[str] = RUN_IN_AND_PULLS
    clocks: Mapping[str, str] = field(default_factory=lambda: BY_DAY)
    second: bool = True  # a second meter behind the first
    departures: Mapping[str, tuple[Departure, ...]] = field(default_factory=dict)  # by phase
    dead: tuple[str, ...] = ()
    stuck: Mapping[str, Mapping[str, int]] = field(default_factory=dict)  # phase -> channel -> s

    def form_of(self, phase: str) -> LogForm:
        """The form of one log."""
        return self.forms.get(phase, self.form)


SECONDS = LogForm(_columns())
LOGS_2025 = {
    "A1": Logged(LogForm(_at_meter(WORDS)), second=False),
    "A2": Logged(
        LogForm(_at_meter(WORDS), time="min", time_headers=("Minutes",), separator=";", decimal=","), second=False
    ),
    "A3": Logged(LogForm(_at_meter(TWO_ROWS), time_headers=("Run|time",), header_rows=2), second=False),
}
LOGS_2026 = {
    "B1": Logged(
        SECONDS, forms={"durability": LogForm(_for_long_runs())}, phases=(*RUN_IN_AND_PULLS, "durability")
    ),
    "B2": Logged(
        LogForm(_columns(WORDS), time="day first", time_headers=("Stamp",), separator=";", decimal=","),
        departures={"run-in-60": (Departure("stop", at=1005, seconds=240),)},
    ),
    "B3": Logged(LogForm(_columns(WORDS), units_row=True), stuck={"run-in-60": {"coolant_temperature": 540}}),
    "B4": Logged(
        LogForm(
            _columns(DEGREES), time="date and time", time_headers=("Date", "Clock"), encoding="latin-1", line_end="\r\n"
        ),
        forms={"durability": LogForm(_for_long_runs(), time_headers=("time",), every=5)},
        phases=(*RUN_IN_AND_PULLS, "durability"),
        clocks=BY_NIGHT,
    ),
    "B5": Logged(
        LogForm(
            _columns(), time_headers=("t",), separator="\t",
            preamble=("Recorder of the south cell", "Build B5, rings as fitted in April", "One row a second", "---"),
        ),
        departures={"pulls": (Departure("no sweep", at=600, seconds=30),)},
    ),
    "B6": Logged(
        LogForm(_columns(WORDS), time="iso", time_headers=("Stamp",), separator=";"),
        forms={"run-in-10": LogForm(
            tuple(replace(each, every=EVERY.get(each.channel, 10)) for each in _columns()), kind="mixed", separator=";"
        )},
        departures={"run-in-60": (Departure("excursion", at=1110, seconds=20, speed=2300, torque=40),)},
    ),
    "B7": Logged(LogForm(_inches()), second=False, dead=("blowby",)),
}  # fmt: skip
