"""A test folder as a newcomer has it: German words and headers, a file a run, a worksheet an engine. All is invented.

Six-cylinder gas engines of irrigation pump sets, six builds, three coatings. Files are written as a bench, an office
program and a laboratory write them; none of them knows an id of the program file.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from random import Random

from openpyxl import Workbook

BUILDS = tuple(f"M{number}" for number in range(1, 7))
CYLINDERS = range(1, 7)
COATINGS = {"M1": "nitrided", "M2": "graded", "M3": "nitrided", "M4": "hard", "M5": "graded", "M6": "hard"}
STATIC = "Einbau"
RUNS = {"Einlauf 1": 15, "Einlauf 2": 60, "Einlauf 3": 240, "Dauerlauf": 600}  # name of the bench -> min
OPENED = "Zerlegung"

DEFINITIONS = """\
format: 1

coatings:
  nitrided: {title: nitriert}
  graded: {title: Chromnitrid mit Einlaufschicht, tracers: [Cr]}
  hard: {title: Chromnitrid, tracers: [Cr]}

engine_types:
  pump-36-gas:
    title: 3.6-litre inline six
    cylinders: 6
    firing_order: [1, 5, 3, 6, 2, 4]
    bore: 87.5 mm
    stroke: 100 mm

testers:
  P1: {title: Prüfgerät der Werkstatt, orifice: 1.0 mm, gauge_class: 0.02 bar}

tools:
  balance-1: {title: Analysenwaage, kind: balance, limit: 0.5 mg}

laboratories:
  lab-1: {title: Labor, method: ICP}

# Words of the house, the same in every program.
words:
  phase: {Einbau: cold-build, Zerlegung: teardown}
  yes_no: {ja: "yes", nein: "no"}
  crank: {OT: tdc, UT: bdc}
  oil: {trocken: dry, geölt: wet}
  condition: {kalt: cold, warm gefahren: warm}
  ring: {1. Ring: top, Minutenring: second, Ölring: oil}
  part: {1. Ring: top-ring, Minutenring: second-ring, Buchse: bore}
  finding: {keine: none, leicht: light, stark: marked}
  mark: {n.n.: not-detected, k.A.: not-measured}
  what: {Probe: sample, Füllung: fill, Nachfüllen: top-up, Ablass: drain}
  tester: {Gerät 1: P1}
  tool: {Waage 1: balance-1}
  laboratory: {Labor Mitte: lab-1}
"""

_HEAD = """\
format: 1
title: Einlauf von Kolbenringen, Sechszylinder
question: Does a layer for running in let the rings seat sooner?
invented: true

compare:
  reference: nitrided
  candidates: [graded, hard]
  primary: {measure: leakdown.crankcase, phase: run-in-3}
  planned_builds: 2

seating: {to_lose: 0.03 mm2, level: 0.35 mm2}

leakdown: {supply: 5.5 bar gauge}

phases:
  - {id: cold-build, title: Einbau, kind: static check, condition: cold, records: [buildsheet, leakdown]}
"""

_TAIL = """\
  - {id: teardown, title: Zerlegung, kind: teardown, records: [buildsheet, inspection]}

builds:
"""

# As little as reads all of it. The bench writes its columns alike in each file, so they are said once.
_RECORDS = """\
words:
  phase: {Einlauf 1: run-in-1, Einlauf 2: run-in-2, Einlauf 3: run-in-3, Dauerlauf: durability}

mappings:
  office: {separator: semicolon, decimal: ",", encoding: windows-1252, date_order: day first}

records:
  leakdown:
    - files: druckverlust/{engine}/{phase}.csv
      mapping: office
      columns:
        cylinder: Zyl.
        repeat: Lauf
        tester: Gerät
        supply: {header: p1, unit: bar gauge}
        pressure: {header: p2, unit: bar gauge}
        crank: Stellung
        condition: Zustand
        oil: Ringe
        locked: gehalten
        date: Datum
        operator: Prüfer
  runlog:
    - files: pruefstand/{engine}_{phase}_*.csv
      separator: semicolon
      decimal: ","
      time: {column: "Zeit [s]", unit: s}
      channels:
        speed: {header: "Drehzahl [1/min]", unit: rpm}
        torque: {header: "Drehmoment [Nm]", unit: N m}
        oil_temperature: {header: "T_Öl [°C]", unit: degC}
  buildsheet:
    - file: Kolbenringe.xlsx
      sheet: "{engine}"
      date_order: day first
      columns:
        cylinder: Zylinder
        phase: Anlass
        ring: Ring
        mass: {header: Masse, unit: g}
        tool_mass: Waage
        date: Datum
  oil:
    - file: Ölberichte.csv
      mapping: office
      columns:
        {engine: Motor, phase: Lauf, what: Art, sample: Probe, laboratory: Labor, Fe: Fe, Cr: Cr, date: Datum}
  inspection:
    - file: Befunde.csv
      mapping: office
      columns:
        engine: Motor
        phase: Anlass
        cylinder: Zyl.
        part: Teil
        inspector: Prüfer
        scuffing: Riefen
        deposits: Ablagerung
"""


def program(records: str = _RECORDS) -> str:
    """The program file; `records` is what it says of files."""
    runs = [
        f"  - {{id: {identity}, title: {name}, kind: {kind}, condition: warm, records: [leakdown, runlog, oil],\n"
        f"     schedule: [{{time: {minutes} min, speed: 1500 rpm, torque: 120 N m}}]}}"
        for (name, minutes), (identity, kind) in zip(
            RUNS.items(),
            [("run-in-1", "run"), ("run-in-2", "run"), ("run-in-3", "run"), ("durability", "durability")],
            strict=True,
        )
    ]
    builds = [
        f"  - {{id: {name}, block: G{number}, number: 1, engine_type: pump-36-gas,\n"
        f"     rings: {{all: {{coating: {COATINGS[name]}}}}}}}"
        for number, name in enumerate(BUILDS, start=1)
    ]
    return _HEAD + "\n".join(runs) + "\n" + _TAIL + "\n".join(builds) + "\n\n" + records


def write(folder: Path, records: str = _RECORDS) -> dict[str, str]:
    """The programs folder with its program and every file of its evidence; sha256 of each of these by its path."""
    home = folder / "pumpensatz"
    home.mkdir(parents=True)
    (folder / "definitions.yaml").write_text(DEFINITIONS, encoding="utf-8")
    (home / "program.yaml").write_text(program(records), encoding="utf-8")
    random = Random(20)  # noqa: S311 - scatter of invented readings
    for name in BUILDS:
        for phase in (STATIC, *RUNS):
            _office(home / "druckverlust" / name / f"{phase}.csv", _leakdown(name, phase, random))
        for phase, minutes in RUNS.items():
            log = home / "pruefstand" / f"{name}_{phase}_20270{int(name[1])}.csv"
            log.parent.mkdir(exist_ok=True)
            log.write_text(_log(minutes, random), encoding="utf-8")
    _office(home / "Ölberichte.csv", _oil(random))
    _office(home / "Befunde.csv", _findings())
    _workbook(home / "Kolbenringe.xlsx", random)
    return hashes(home)


def hashes(home: Path) -> dict[str, str]:
    """sha256 of every file of the evidence."""
    return {
        path.relative_to(home).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(home.rglob("*"))
        if path.is_file() and path.name != "program.yaml" and "results" not in path.parts
    }


def _office(path: Path, rows: list[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes("\r\n".join([*rows, ""]).encode("windows-1252"))


def _comma(number: float, digits: int) -> str:
    return f"{number:.{digits}f}".replace(".", ",")


def _day(name: str, phase: str) -> str:
    return f"{3 + [STATIC, *RUNS, OPENED].index(phase):02}.0{name[1]}.2027"


def held(name: str, phase: str, cylinder: int) -> float:
    """What the cylinder gauge shows without its scatter [bar gauge]: more as the rings run in, sooner with a layer."""
    step = [STATIC, *RUNS].index(phase)
    gain = {"nitrided": 0.07, "graded": 0.11, "hard": 0.06}[COATINGS[name]]
    return 4.85 + gain * step + 0.01 * (cylinder % 3)


def _leakdown(name: str, phase: str, random: Random) -> list[str]:
    rows = ["Zyl.;Lauf;Gerät;p1;p2;Stellung;Zustand;Ringe;gehalten;Datum;Prüfer"]
    state = "kalt" if phase == STATIC else "warm  gefahren"
    for cylinder in CYLINDERS:
        for repeat in (1, 2):
            shown = _comma(held(name, phase, cylinder) + random.gauss(0, 0.01), 2)
            rows.append(f"{cylinder};{repeat};Gerät 1;5,50;{shown};ot;{state};Trocken;ja;{_day(name, phase)};Prüfer A")
    return rows


def _log(minutes: int, random: Random) -> str:
    rows = [
        f"{second};{_comma(1500 + random.gauss(0, 2), 1)};{_comma(120 + random.gauss(0, 0.5), 2)};"
        f"{_comma(92 + random.gauss(0, 0.4), 1)}"
        for second in range(0, minutes * 60, max(10, minutes))
    ]
    return "\n".join(["Zeit [s];Drehzahl [1/min];Drehmoment [Nm];T_Öl [°C]", *rows, ""])


def _oil(random: Random) -> list[str]:
    rows = ["Motor;Lauf;Art;Probe;Labor;Fe [mg/kg];Cr [mg/kg];Datum"]
    for name in BUILDS:
        for number, phase in enumerate(RUNS, start=1):
            chromium = "n.n." if COATINGS[name] == "nitrided" else _comma(0.5 * number, 1)
            iron = "k.A." if (name, phase) == ("M3", "Einlauf 2") else _comma(2 + 3 * number + random.random(), 1)
            rows.append(f"{name};{phase};Probe;{name}-{number};Labor Mitte;{iron};{chromium};{_day(name, phase)}")
    return rows


def _findings() -> list[str]:
    rows = ["Motor;Anlass;Zyl.;Teil;Prüfer;Riefen;Ablagerung"]
    for name in BUILDS:
        for cylinder in CYLINDERS:
            marks = "leicht" if cylinder == 2 else "keine"
            rows.append(f"{name};Zerlegung;{cylinder};1. Ring;Prüfer B;{marks};{'stark' if name == 'M4' else 'keine'}")
    return rows


def _workbook(path: Path, random: Random) -> None:
    book = Workbook()
    first = book.active
    assert first is not None
    first.title = "Legende"
    first.append(["Massen der Ringe, gereinigt und trocken"])
    for name in BUILDS:
        sheet = book.create_sheet(name)
        sheet.append(["Zylinder", "Anlass", "Ring", "Masse", "Waage", "Datum"])
        for occasion in (STATIC, OPENED):
            for cylinder in CYLINDERS:
                for ring, mass in (("1. Ring", 14.2), ("Minutenring", 13.1)):
                    lost = 0.012 if occasion == OPENED else 0.0
                    value = round(mass + 0.01 * cylinder - lost + random.gauss(0, 0.0002), 4)
                    sheet.append([cylinder, occasion, ring, value, "Waage 1", _day(name, occasion)])
    book.save(path)
