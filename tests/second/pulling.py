"""Program folders of engines that are pulled at full load: days, air and coatings with a known truth.

Imports nothing of the package under test, nor of `simulate`. Air lets through what SAE J1349 (1990) says turned round,
with the vapour by Buck (1981: 6.1121·exp((18.678 − t/234.5)·t/(257.14 + t)) hPa); units are those of an American bench,
or of a German one with decimal commas. Days scatter with long tails, pulls as Laplace has it, builds lognormally.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

SPEEDS = range(1150, 2300, 125)  # rpm
BANDS = ((1200, 1500), (1500, 1800), (1800, 2200))
POUND_FOOT, MERCURY = 1.3558179483314004, 3.386389  # N m, kPa
PULLS = 4
PLAIN, LAYERED = "plain", "layered"


@dataclass(frozen=True)
class Scenario:
    """A kind of program."""

    name: str
    coatings: tuple[str, ...] = (PLAIN, LAYERED) * 3  # of the builds; "both": two cylinders of each
    days: str = "KLLKKLLK"  # variants by day
    gain: float = 0.0  # of L over K, a share
    better: float = 0.0  # of the layered builds, a share
    of_days: float = 0.003  # scatter, a share
    of_pulls: float = 0.004
    of_builds: float = 0.006
    drift: float = 0.002  # a day, along the days
    german: bool = False


def _air(chance: np.random.Generator) -> tuple[float, float, float]:
    """kPa, degC, % of a day."""
    return 99.5 + 0.9 * chance.standard_normal(), chance.uniform(18, 31), chance.uniform(25, 75)


def lets_through(air: tuple[float, float, float]) -> float:
    """Share of the torque at reference air that such air allows."""
    t = air[1]
    vapour = air[2] / 100 * 6.1121 * math.exp((18.678 - t / 234.5) * t / (257.14 + t))
    return 1 / (1.180 * 990 / (10 * air[0] - vapour) * math.sqrt((t + 273) / 298) - 0.18)


def torque(rpm: float) -> float:
    """N m at reference air."""
    return 171.0 * (1 - 0.21 * ((rpm - 1550) / 1000) ** 2)


def _tails(chance: np.random.Generator) -> float:
    """Of unit variance, with long tails."""
    return float(chance.standard_t(5) / math.sqrt(5 / 3))


def _rows(name: str, coating: str, scenario: Scenario, chance: np.random.Generator) -> list[list[str]]:
    level = math.exp(scenario.of_builds * (chance.lognormal(0, 0.5) - math.exp(0.125)) / 0.6039)
    level *= 1 + (scenario.better if coating == LAYERED else 0.0)
    made = []
    for order, variant in enumerate(scenario.days):
        date = datetime.date(2031, 3, 3) + datetime.timedelta(days=order)
        of_day = scenario.of_days * _tails(chance) + scenario.drift * order
        air = _air(chance)
        for pull in range(1, PULLS + 1):
            here = (air[0], air[1] + 0.3 * pull, air[2])
            share = of_day + scenario.of_pulls * chance.laplace(0, 1 / math.sqrt(2)) - (0.015 if pull == 1 else 0)
            share += math.log1p(scenario.gain if variant == "L" else 0.0)
            shown = (f"{here[0]:.2f}", f"{here[1]:.1f}", f"{here[2]:.0f}")
            if not scenario.german:
                shown = (f"{here[0] / MERCURY:.3f}", f"{here[1] * 1.8 + 32:.1f}", f"{here[2]:.0f}")
            for rpm in SPEEDS:
                read = torque(rpm) * level * math.exp(share + 0.001 * chance.standard_normal()) * lets_through(here)
                told = f"{read:.1f}" if scenario.german else f"{read / POUND_FOOT:.2f}"
                date_told = date.strftime("%d.%m.%Y") if scenario.german else date.isoformat()
                made.append([name, date_told, str(pull), f"oil {variant}", str(rpm), told, *shown])
    return made


_ENGLISH = (
    ("Engine", "Date", "Pull", "Oil", "rpm", "Tq", "Baro", "Inlet", "RH"),
    "{header: rpm, unit: rpm}, torque: {header: Tq, unit: lb-ft}, barometer: {header: Baro, unit: inHg absolute}, "
    'inlet: {header: Inlet, unit: degF}, humidity: {header: RH, unit: "%"}',
)
_GERMAN = (
    ("Motor", "Datum", "Lauf", "Öl", "Drehzahl", "Drehmoment", "Luftdruck", "Ansauglufttemperatur", "Luftfeuchte"),
    "{header: Drehzahl, unit: rpm}, torque: {header: Drehmoment, unit: N m}, barometer: {header: Luftdruck, "
    "unit: kPa absolute}, inlet: {header: Ansauglufttemperatur, unit: degC}, "
    'humidity: {header: Luftfeuchte, unit: "%"}',
)


def table(scenario: Scenario, rows: Sequence[Sequence[str]]) -> str:
    """The record, in the marks of the bench."""
    heads = _GERMAN[0] if scenario.german else _ENGLISH[0]
    if not scenario.german:
        return "\n".join(",".join(row) for row in (heads, *rows)) + "\n"
    lines = [";".join([*row[:1], row[1], *(cell.replace(".", ",") for cell in row[2:])]) for row in rows]
    return "\n".join([";".join(heads), *lines]) + "\n"


def program_file(scenario: Scenario) -> str:
    """The program file."""
    heads, columns = _GERMAN if scenario.german else _ENGLISH
    bands = ", ".join(f"{{from: {low} rpm, to: {high} rpm}}" for low, high in BANDS)
    order = "\n      date_order: day first" if scenario.german else ""
    at = ", at: oil K" if len(set(scenario.days)) > 1 else ""  # torque of one of the oils: a mean over both is of none
    lines = [
        "format: 1", "title: Pulls", "question: Which pulls harder?", "invented: true",
        "compare:", f"  reference: {PLAIN}", f"  candidates: [{LAYERED}]",
        f"  primary: {{measure: power.torque, phase: pulls{at}}}", f"  planned_builds: {len(scenario.coatings)}",
        "seating: {to_lose: 0.03 mm2, level: 0.35 mm2}", "leakdown: {supply: 80 psig}",
        "power:", "  standard: SAE J1349", f"  bands: [{bands}]",
        "criteria:", "  stated: 2031-01-01", "  list:",
        "    - {id: more, title: More torque with oil L, measure: power.gain, phase: pulls, "
        "at: \"oil L:over:oil K\", at_least: 0 %, scope: mean of builds}",
        f"    - {{id: harder, title: Pulls harder than plain, measure: power.torque, phase: pulls{at}, "
        "above_reference: true, scope: mean of builds}",
        "phases:", "  - {id: pulls, title: pulls, kind: pulls, records: [pulls]}", "builds:",
    ]  # fmt: skip
    for number, coating in enumerate(scenario.coatings, 1):
        rings = f"{{all: {{coating: {coating}, lot: L{number}}}}}"
        if coating == "both":
            rings = "{" + ", ".join(f"{n}: {{coating: {(PLAIN, LAYERED)[n % 2]}, lot: L}}" for n in (1, 2, 3, 4)) + "}"
        lines.append(f"  - {{id: E{number}, block: K{number}, number: 1, engine_type: pump, rings: {rings}}}")
    fields = ("engine", "date", "pull", "variant")
    named = ", ".join(f"{field}: {head}" for field, head in zip(fields, heads, strict=False))
    lines += ["records:", "  pulls:", "    - file: records/pulls.csv", "      constants: {phase: pulls}" + order,
              f"      columns: {{{named}, speed: {columns}}}", ""]  # fmt: skip
    return "\n".join(lines)


DEFINITIONS = f"""\
format: 1
coatings: {{{PLAIN}: {{title: plain}}, {LAYERED}: {{title: layered}}}}
engine_types: {{pump: {{title: pump engine, cylinders: 4, bore: 90 mm, stroke: 95 mm}}}}
"""


def write(folder: Path, scenario: Scenario, rng: np.random.Generator) -> None:
    """Make a programs folder."""
    rows = [row for number, coating in enumerate(scenario.coatings, 1)
            for row in _rows(f"E{number}", coating, scenario, rng)]  # fmt: skip
    texts = {"definitions.yaml": DEFINITIONS, "made/program.yaml": program_file(scenario),
             "made/records/pulls.csv": table(scenario, rows)}  # fmt: skip
    for path, text in texts.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8", newline="\n")
