"""Files as other people write them, made by hand: what was once read wrong, refused wrongly, or had no place.

Benches, loggers, laboratories and profilometers write such files (common practice, no source); numbers are invented.
What is read is worked out here from what the file says, not by the readers.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from openpyxl import Workbook

from foreign.trying import Case

ZERO = 273.15  # K
RPM = 2 * math.pi / 60  # rad/s
BAR = 1e5  # Pa


def joined(rows: Iterable[Any], mark: str = ";", end: str = "\n") -> str:
    return "".join(mark.join(map(str, row)) + end for row in rows)


def comma(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def book(**sheets: Iterable[Any]) -> bytes:
    made, stream = Workbook(), io.BytesIO()
    made.remove(made.worksheets[0])
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    made.save(stream)
    return stream.getvalue()


def parquet(columns: dict[str, list[float]]) -> bytes:
    stream = io.BytesIO()
    pq.write_table(pa.table({name: pa.array(values) for name, values in columns.items()}), stream)
    return stream.getvalue()


def log(channels: str, time: str = "{column: Zeit, unit: s}", file: str = "log.csv", more: str = "") -> str:
    """The entry of a log of B1."""
    rest = f"    {more}\n" if more else ""
    return (
        f'runlog:\n  - file: {file}\n    engine: B1\n    phase: pulls\n{rest}    time: {time}\n    channels:\n'
        + "".join(f"      {each.strip()}\n" for each in channels.split(";"))
    )  # fmt: skip


SPEED = "speed: {header: n, unit: rpm}"
SECONDS = range(12)


def speed(second: int) -> int:
    return 1490 + 7 * (second % 4)


MEAN = RPM * sum(map(speed, SECONDS)) / 12

# ---- leak-down tables ------------------------------------------------------------------------------------------------

GERMAN = ["Motor", "Zyl.", "Anlass", "Speisedruck [bar]", "Zylinderdruck [bar]", "Stellung", "Gerät"]
LEAKS: list[list[Any]] = [
    ["B1", cylinder, "Einbau", "5,50", comma(4.8 + 0.05 * cylinder, 2), "OT", "T1"] for cylinder in (1, 2, 3, 4)
]
GAUGES = [BAR * (4.8 + 0.05 * cylinder) for cylinder in (1, 2, 3, 4)]


def leak(file: str = "leak.csv", words: str = "{phase: {Einbau: cold-build}, crank: {OT: tdc}}", more: str = "") -> str:
    rest = f"    {more}\n" if more else ""
    return f"""leakdown:
  - file: {file}
    words: {words}
{rest}    columns:
      engine: Motor
      cylinder: Zyl.
      phase: Anlass
      tester: Gerät
      supply: {{header: Speisedruck, unit: bar gauge}}
      pressure: {{header: Zylinderdruck, unit: bar gauge}}
      crank: Stellung
"""


FOUR = (("M1", "Einbau", 0.0), ("M1", "Einlauf", 0.07), ("M2", "Einbau", 0.03), ("M2", "Einlauf", 0.11))
OURS = "engine,cylinder,phase,tester,supply [bar gauge],pressure [bar gauge],crank"
OUR_ROWS: list[list[Any]] = [
    ["B1", n, "cold-build", "T1", "5.50", f"{4.8 + 0.05 * n:.2f}", "tdc"] for n in (1, 2, 3, 4)
]
OUR_TABLE = [OURS.split(","), *OUR_ROWS]
NUMBERED = """leakdown:
  - file: leak.csv
    columns:
      engine: {number: 1}
      cylinder: {number: 2}
      phase: {number: 3}
      tester: {number: 4}
      supply: {number: 5, unit: bar gauge}
      pressure: {letter: F, unit: bar gauge}
      crank: {letter: G}
"""
PLAIN = "leakdown:\n  - file: leak.csv\n"


def forms(name: str, content: str | bytes, entry: str = PLAIN, **how: Any) -> Case:
    """A leak-down table in the field names of the house, written some other way."""
    how = {"rows": 4, "read": 4, "numbers": {"pressure": GAUGES, "cylinder": [1, 2, 3, 4]}, **how}
    return Case(name, "leakdown", {"leak.csv": content}, entry, **how)


TABLES = (
    Case(
        "words of one's own",
        "leakdown",
        {"leak.csv": joined([GERMAN, *LEAKS])},
        leak(),
        4,
        4,
        {"pressure": GAUGES, "phase": ["cold-build"] * 4, "crank": ["tdc"] * 4},
        says=(
            r'phase: "\?"',
            'tester: "\\?" .*Gerät',
            'leaves alone: "Anlass", "Stellung"',
            r"supply: \{header: Speisedruck",
            r"pressure: \{header: Zylinderdruck",
        ),
        never=("ambient: {",),
    ),
    Case(
        "a word nobody explained, in every row",
        "leakdown",
        {"leak.csv": joined([GERMAN, *LEAKS])},
        leak(words="{crank: {OT: tdc}}"),
        4,
        0,
        told=("phase-unknown",),
        refused=True,
        look=False,
    ),
    Case(
        "a grade and the pressure of the supply line",
        "leakdown",
        {"leak.csv": joined([[*GERMAN, "Note"], *([*row, "2"] for row in LEAKS)])},
        leak(),
        4,
        4,
        {"pressure": GAUGES},
        says=(r'remark: "\?"',),
        never=("remark: Note",),
    ),
    Case(
        "columns nobody uses",
        "leakdown",
        {"leak.csv": joined([[*GERMAN, "Lauf", "Öl"], *([*row, "1", "x"] for row in LEAKS)])},
        leak(),
        4,
        4,
        {"pressure": GAUGES},
        says=(r'Columns it leaves alone: .*"Lauf"',),
    ),
    Case(
        "a tester that shows per cent",
        "leakdown",
        {
            "leak.csv": joined(
                [
                    ["Motor", "Zyl.", "Anlass", "Verlust [%]", "Stellung"],
                    *(["B1", n, "Einbau", comma(2 + 0.4 * n), "OT"] for n in (1, 2, 3, 4)),
                ]
            )
        },
        """leakdown:
  - file: leak.csv
    words: {phase: {Einbau: cold-build}, crank: {OT: tdc}}
    constants: {tester: P1, supply: 5.5 bar gauge}
    columns: {engine: Motor, cylinder: Zyl., phase: Anlass, percent: "Verlust [%]", crank: Stellung}
""",
        4,
        4,
        {"percent": [2.4, 2.8, 3.2, 3.6]},
        told=("percent-scale-missing",),
        refused=True,
        says=("percent: ",),
    ),
    Case(
        "a file for each check, named by build and phase",
        "leakdown",
        {
            f"druck/{engine}/{phase}.csv": joined(
                [GERMAN[1:2] + GERMAN[3:6], *([n, "5,50", comma(4.8 + 0.05 * n + more, 2), "OT"] for n in (1, 2, 3, 4))]
            )
            for engine, phase, more in FOUR
        },
        """leakdown:
  - files: druck/{engine}/{phase}.csv
    words: {engine: {M1: B1, M2: B2}, phase: {Einbau: cold-build, Einlauf: pulls}, crank: {OT: tdc}}
    constants: {tester: T1}
    columns:
      cylinder: Zyl.
      supply: {header: Speisedruck, unit: bar gauge}
      pressure: {header: Zylinderdruck, unit: bar gauge}
      crank: Stellung
""",
        16,
        16,
        {"pressure": [bar + BAR * more for *_, more in FOUR for bar in GAUGES]},
        says=(r'engine: "\?"', r'phase: "\?"'),
    ),
    Case(
        "dates with the year first and points",
        "leakdown",
        {"leak.csv": joined([[*GERMAN, "Datum"], *([*row, "2027.02.03"] for row in LEAKS)])},
        leak() + "      date: Datum\n",
        4,
        4,
        {"date": ["2027-02-03"] * 4},
        says=("date: Datum",),
        never=("date_order",),
    ),
    Case(
        "dates that nothing in the file settles",
        "leakdown",
        {"leak.csv": joined([[*GERMAN, "Datum"], *([*row, "03/02/2027"] for row in LEAKS)])},
        leak(more="date_order: day first") + "      date: Datum\n",
        4,
        4,
        {"date": ["2027-02-03"] * 4},
        says=(r'date_order: "\?"', "day or month first: nothing in the file tells"),
    ),
    forms("UTF-8 with a mark, semicolons", b"\xef\xbb\xbf" + joined(OUR_TABLE).encode()),
    forms("UTF-16", joined(OUR_TABLE, "\t").encode("utf-16")),
    Case(
        "Windows-1252",
        "leakdown",
        {"leak.csv": joined([GERMAN, *LEAKS], end="\r\n").encode("windows-1252")},
        leak(),
        4,
        4,
        {"pressure": GAUGES, "tester": ["T1"] * 4},
        says=("read as   iso-8859-1, semicolon", "not UTF-8: taken as iso-8859-1"),
    ),
    forms("carriage returns alone", joined(OUR_TABLE, end="\r")),
    forms("carriage returns doubled", joined(OUR_TABLE, end="\r\r\n")),
    forms(
        "runs of blanks",
        "engine  cylinder  phase  tester  supply[bar_gauge]  pressure[bar_gauge]  crank\n" + joined(OUR_ROWS, "   "),
        "leakdown:\n  - file: leak.csv\n    columns:\n      supply: {header: 'supply[bar_gauge]', unit: bar gauge}\n"
        "      pressure: {header: 'pressure[bar_gauge]', unit: bar gauge}\n      engine: engine\n"
        "      cylinder: cylinder\n      phase: phase\n      tester: tester\n      crank: crank\n",
    ),
    forms(
        "decimal commas in quotes between commas",
        joined(
            [OUR_TABLE[0], *([*row[:4], '"5,50"', '"' + row[5].replace(".", ",") + '"', row[6]] for row in OUR_ROWS)],
            ",",
        ),
    ),
    forms(
        "two rows of titles, then a row of units",
        "Leak-down of cylinders\nCell north\n"
        + joined(
            [
                ["engine", "cylinder", "phase", "tester", "supply", "pressure", "crank"],
                ["", "", "", "", "bar gauge", "bar gauge", ""],
                *OUR_ROWS,
            ]
        ),
    ),
    forms(
        "empty brackets, units in round ones",
        joined(
            [
                [
                    "engine ()",
                    "cylinder ()",
                    "phase ()",
                    "tester ()",
                    "supply (bar gauge)",
                    "pressure (bar gauge)",
                    "crank ()",
                ],
                *OUR_ROWS,
            ],
            ",",
        ),
    ),
    forms(
        "a separator at the end of some rows",
        joined(OUR_TABLE[:3], ",") + joined(([*row, ""] for row in OUR_ROWS[2:]), ","),
    ),
    forms(
        "one field more in the rows than in the header",
        joined([OUR_TABLE[0], *([*row, "7"] for row in OUR_ROWS)], ","),
        read=0,
        numbers={},
        refused=True,
        told=("more-fields-than-header",),
        status=1,
        says=("No entry can be proposed",),
    ),
    forms(
        "no headers, columns by number",
        joined(OUR_ROWS, ","),
        NUMBERED,
        status=1,
        says=("there is no row of headers", r"\{number: 2\}"),
    ),
    Case(
        "no headers in a worksheet",
        "leakdown",
        {
            "leak.xlsx": book(
                Leak=[[row[0], int(row[1]), *row[2:4], float(row[4]), float(row[5]), row[6]] for row in OUR_ROWS]
            )
        },
        NUMBERED.replace("leak.csv", "leak.xlsx"),
        4,
        4,
        {"pressure": GAUGES},
        status=1,
        says=("there is no row of headers",),
    ),
    forms(
        "no headers",
        joined(OUR_ROWS, ","),
        read=0,
        numbers={},
        refused=True,
        told=("field-missing",) * 4,
        status=1,
        says=("there is no row of headers",),
    ),
    forms("the header again in the middle", joined([*OUR_TABLE[:3], OUR_TABLE[0], *OUR_TABLE[3:]], ",")),
    forms(
        "overflow marks for a reading",
        joined([*OUR_TABLE[:4], [*OUR_ROWS[3][:5], "*.*******", "tdc"]], ","),
        read=3,
        numbers={"pressure": GAUGES[:3]},
        told=("overflow",),
    ),
    Case(
        "the same table under two names",
        "leakdown",
        dict.fromkeys(("leak.csv", "again.csv"), joined(OUR_TABLE)),
        PLAIN + "  - file: again.csv\n",
        8,
        4,
        told=("same-file",),
    ),
    Case(
        "a compression test, dry and wet",
        "leakdown",
        {
            "kompression.csv": joined(
                [
                    ["Motor", "Zyl.", "Hub", "trocken [bar]", "nass [bar]"],
                    *(["B1", n, 1 + n % 6, comma(9 + 0.1 * n), comma(11 + 0.1 * n)] for n in (1, 2, 3, 4)),
                ]
            )
        },
        "",
        4,
        0,
        says=(r'supply: "\?"',),
        never=("pressure: {header", "supply: {header"),
    ),
    Case(
        "two methods side by side",
        "leakdown",
        {
            "methods.csv": joined(
                [
                    ["Motor", "Zyl.", "Verfahren A [%]", "Verfahren B [%]"],
                    *(["B1", n, comma(2 + 0.1 * n), comma(2.2 + 0.1 * n)] for n in (1, 2, 3, 4)),
                ]
            )
        },
        "",
        4,
        0,
        says=('"Verfahren A',),
        never=("percent: .?Verfahren",),
    ),
    forms(
        "thousands marks that are decimals further down",
        joined(
            [
                [*OURS.replace("bar gauge", "mbar gauge").split(",")],
                *([*row[:4], "5.500", f"4.{850 + 40 * n}", "tdc"] for n, row in enumerate(OUR_ROWS)),
            ],
            ";",
        ),
        read=0,
        numbers={},
        refused=True,
        told=("number-format",) * 2,
        says=(r'decimal: "\?"',),
    ),
)

# ---- build sheets ----------------------------------------------------------------------------------------------------

RINGS = ["Zylinder", "Anlass", "Ring", "Masse [g]", "Waage"]
MASSES = {"M1": 14.2, "M2": 14.3}


def rings(name: str) -> list[list[Any]]:
    return [RINGS, *([n, "Einbau", "Minutenring", MASSES[name] + 0.01 * n, "Waage 1"] for n in (1, 2, 3, 4))]


SHEETS = (
    Case(
        "a worksheet for each engine",
        "buildsheet",
        {"rings.xlsx": book(Legende=[["Massen, gereinigt"]], M1=rings("M1"), M2=rings("M2"))},
        """buildsheet:
  - file: rings.xlsx
    sheet: "{engine}"
    words:
      {engine: {M1: B1, M2: B2}, phase: {Einbau: cold-build}, ring: {Minutenring: second}, tool: {Waage 1: balance-1}}
    columns: {cylinder: Zylinder, phase: Anlass, ring: Ring, mass: {header: Masse, unit: g}, tool_mass: Waage}
""",
        8,
        8,
        {
            "mass": [(MASSES[name] + 0.01 * n) / 1000 for name in MASSES for n in (1, 2, 3, 4)],
            "engine": ["B1"] * 4 + ["B2"] * 4,
        },
        status=1,
        says=("Legende, M1 or M2",),
    ),
    Case(
        "cells of a workbook as binary numbers",
        "buildsheet",
        {
            "rings.xlsx": book(
                M1=[
                    ["cylinder", "phase", "ring", "mass [g]"],
                    *([n, "cold-build", "top", 1.5 + 0.184] for n in (1, 2, 3, 4)),
                ]
            )
        },
        "buildsheet:\n  - file: rings.xlsx\n    constants: {engine: B1}\n",
        4,
        4,
        {"mass": [0.001684] * 4},
        says=(r"1\.684(?!\d)",),
        never=("1.68399999",),
    ),
)

# ---- oil -------------------------------------------------------------------------------------------------------------

REPORT = """Motor;Datum;Ölstunden;Fe;Cr;Cu;V100
B1;03.02.2027;120;13,8;<1;2,1;13,9
B1;03.03.2027;240;22,4;1,2;2,8;14,0
B1;14.04.2027;360;30,9;n.n.;3,1;14,2
"""
OIL = """oil:
  - file: oil.csv
    date_order: day first
    constants: {phase: durability, what: sample}
    words: {mark: {n.n.: not-detected}}
    columns:
      engine: Motor
      date: Datum
      on_fill: {header: Ölstunden, unit: h}
      Fe: {header: Fe, unit: mg/kg}
      Cr: {header: Cr, unit: mg/kg}
      Cu: {header: Cu, unit: mg/kg}
      viscosity_100: {header: V100, unit: mm2/s}
"""

OILS = (
    Case(
        "a report without ids of samples, fills and masses",
        "oil",
        {"oil.csv": REPORT},
        OIL,
        3,
        3,
        {"Fe": [13.8e-6, 22.4e-6, 30.9e-6], "viscosity_100": [13.9e-6, 14.0e-6, 14.2e-6]},
        told=("oil-not-filled",),
        says=("semicolon between fields", "a decimal comma", r'viscosity_100: "\?"', r'Fe: .*unit: "\?"'),
        never=(r"^\s+V: ", "headers   none"),
    ),
    Case(
        "nought for not measured",
        "oil",
        {"oil.csv": REPORT.replace("2,1;", "0;")},
        OIL.replace("n.n.: not-detected", 'n.n.: not-detected, "0": not-measured'),
        3,
        3,
        {"Cu": [None, 2.8e-6, 3.1e-6]},
        told=("oil-not-filled",),
    ),
    Case(
        "one decimal column beside limits and a row of units",
        "oil",
        {"oil.csv": "Probe;Motor;Fe;Cr\n;;mg/kg;mg/kg\nP1;B1;13,8;<1\nP2;B1;14,9;<1\n"},
        "oil:\n  - file: oil.csv\n    constants: {phase: durability, what: sample}\n"
        "    columns: {engine: Motor, sample: Probe, Fe: Fe, Cr: Cr}\n",
        2,
        2,
        {"Fe": [13.8e-6, 14.9e-6], "Cr": [1e-6, 1e-6], "Cr_mark": ["<", "<"]},
        told=("oil-not-filled",),
        says=("semicolon between fields", "a row of units below"),
    ),
)

# ---- run logs --------------------------------------------------------------------------------------------------------

HEADS = ["Zeit", "n [1/min]", "Md [Nm]"]
RUN: list[list[Any]] = [[second, speed(second), 80] for second in SECONDS]
BENCH = [
    "Time (sec)",
    "Drehzahl [1/min]",
    "Temp. Halle [°C]",
    "T_Öl [°C]",
    "p_Kurbelgehäuse [mbar]",
    "Speisedruck [bar]",
]
HALL = [[second, speed(second), "22,5", comma(81.5 + 0.1 * second), comma(2 + 0.1 * (second % 2)), "6,1"]
        for second in SECONDS]  # fmt: skip
OIL_MEAN = ZERO + 81.5 + 0.1 * 5.5
WIDE = ["<time> [ms]", "n", "<time> [ms]", "T", "<time> [ms]", "T"]


def wide() -> list[list[Any]]:
    """Three channels at three rates, each beside its own times; the shorter ones end earlier."""
    rows: list[list[Any]] = []
    for at in range(12):
        cells: list[Any] = [1000 * at, speed(at)]
        cells += [2000 * at, 80 + at] if at < 6 else ["", ""]
        cells += [4000 * at, 20] if at < 3 else ["", ""]
        rows.append(cells)
    return rows


def clock(second: int) -> str:
    return f"{second // 3600:02}:{second // 60 % 60:02}:{second % 60:02}"


def run(name: str, content: str | bytes, entry: str = "", **how: Any) -> Case:
    """A log of twelve seconds at a speed that wanders, written some way."""
    how = {"rows": 12, "read": 12, "numbers": {"speed.mean": MEAN, "seconds": 11.0}, **how}
    return Case(name, "runlog", {"log.csv": content}, entry or log(SPEED), **how)


LOGS = (
    Case(
        "the room is not the oil",
        "runlog",
        {"log.csv": joined([BENCH, *HALL])},
        log(
            "speed: {header: Drehzahl, unit: rpm}; oil_temperature: {header: T_Öl, unit: degC};"
            "crankcase_pressure: {header: p_Kurbelgehäuse, unit: mbar gauge}",
            "{column: Time, unit: s}",
        ),
        12,
        12,
        {"speed.mean": MEAN, "oil_temperature.mean": OIL_MEAN, "crankcase_pressure.mean": 205.0, "seconds": 11.0},
        says=(
            'oil_temperature: {header: "?T_Öl',
            'crankcase_pressure: {header: "?p_Kurbelgehäuse',
            r'Columns it leaves alone: .*"Temp. Halle',
            r"time: \{column: Time, unit: sec",
        ),
        never=(r"header: Temp\. Halle", "header: Speisedruck", "coolant_temperature: {", "ambient_pressure: {"),
    ),
    Case(
        "the same as a column file",
        "runlog",
        {
            "log.parquet": parquet(
                {
                    "Zeit": [float(s) for s in SECONDS],
                    "n": [float(speed(s)) for s in SECONDS],
                    "Temp. Halle": [22.5] * 12,
                    "T_Öl": [81.5 + 0.1 * s for s in SECONDS],
                }
            )
        },
        log(SPEED + "; oil_temperature: {header: T_Öl, unit: degC}", file="log.parquet"),
        12,
        12,
        {"speed.mean": MEAN, "oil_temperature.mean": OIL_MEAN},
        says=('oil_temperature: {header: "?T_Öl',),
        never=(r"header: Temp\. Halle",),
    ),
    Case(
        "seconds said to be minutes",
        "runlog",
        {"log.csv": joined([["Time (sec)", "n"], *(row[:2] for row in RUN)])},
        log(SPEED, "{column: Time (sec), unit: min}"),
        12,
        0,
        told=("unit-contradicted",),
        refused=True,
        says=(r"time: \{column: Time, unit: sec",),
    ),
    Case(
        "times beside each channel under one name",
        "runlog",
        {"log.csv": joined([WIDE, *wide()])},
        log(
            "speed: {header: n, unit: rpm}; coolant_temperature: {header: T, which: 1, unit: degC};"
            "oil_temperature: {letter: F, unit: degC}",
            "{left: true, unit: ms}",
        ),
        12,
        12,
        {
            "speed.mean": MEAN,
            "coolant_temperature.mean": ZERO + 82.5,
            "coolant_temperature.n": 6,
            "oil_temperature.n": 3,
        },
        says=(r"time: \{left: true, unit: ms\}",),
    ),
    Case(
        "one name over several columns",
        "runlog",
        {"log.csv": joined([WIDE, *wide()])},
        log("speed: {header: n, unit: rpm}; oil_temperature: {header: T, unit: degC}", "{left: true, unit: ms}"),
        12,
        0,
        told=("column-ambiguous",),
        refused=True,
        look=False,
    ),
    Case(
        "a header that stands again after a pause",
        "runlog",
        {"log.csv": joined([HEADS, *RUN[:6], HEADS, *([26 * 60 + row[0], *row[1:]] for row in RUN[6:])])},
        log(SPEED + "; torque: {header: Md, unit: N m}"),
        12,
        12,
        {"speed.mean": MEAN, "seconds": 26 * 60 + 11.0, "gaps": ((5.0, 26 * 60 + 6.0),)},
        told=("header-repeated",),
    ),
    run(
        "stamps that repeat",
        joined([HEADS, *([second - second % 2, *row[1:]] for second, row in enumerate(RUN))]),
        numbers={"speed.mean": MEAN, "seconds": 10.0},
        told=("time-repeated",),
    ),
    Case(
        "extremes of less than a second",
        "runlog",
        {"log.csv": joined([HEADS[:2], *([f"{n / 10:.1f}", {33: 0, 47: 2270}.get(n, 1500)] for n in range(120))])},
        log(SPEED),
        120,
        120,
        {"speed.low": 0.0, "speed.high": RPM * 2270},
    ),
    Case(
        "nothing logged for 134 s while it ran",
        "runlog",
        {"log.csv": joined([HEADS, *([second + 134 * (second > 60), 1500 + second % 7, 80] for second in range(120))])},
        log(SPEED),
        120,
        120,
        {"gaps": ((60.0, 195.0),), "seconds": 253.0},
    ),
    Case(
        "an engine that never ran",
        "runlog",
        {"log.csv": joined([HEADS, *([second, 0, 0] for second in range(90))])},
        log(SPEED),
        90,
        90,
        {"running_seconds": 0.0},
        told=("engine-never-ran",),
    ),
    Case(
        "oil pressure that stands still over speed",
        "runlog",
        {
            "log.csv": joined(
                [
                    ["Zeit", "n [1/min]", "Öldruck [bar]"],
                    *([second, 800 + 100 * (second // 120), "3,412"] for second in range(720)),
                ]
            )
        },
        log(SPEED + "; oil_pressure: {header: Öldruck, unit: bar gauge}", more="decimal: ','"),
        720,
        720,
        {"oil_pressure.mean": 3.412 * BAR},
        told=("channel-flat",),
        says=('oil_pressure: {header: "?Öldruck"?, unit: bar gauge}', r'decimal: "\?"'),
    ),
    Case(
        "a run logged once a minute",
        "runlog",
        {
            "log.csv": joined(
                [
                    ["Zeit [min]", "n [1/min]", "Blow-by [l/min]"],
                    *([minute, 1500 + minute % 5, comma(50 + 0.3 * (minute * 7 % 13))] for minute in range(600)),
                ]
            )
        },
        log(SPEED + "; blowby: {header: Blow-by, unit: L/min actual, meter: M1}", "{column: Zeit, unit: min}"),
        600,
        600,
        {"seconds": 599 * 60.0},
        says=(r"time: \{column: Zeit, unit: min",),
    ),
    run(
        "a date and a time of day, day first, tenths",
        joined(
            [
                ["Datum", "Uhrzeit", "n"],
                *(["03.02.2027", clock(36000 + second) + ",5", speed(second)] for second in SECONDS),
            ]
        ),
        log(SPEED, "{date: Datum, time_of_day: Uhrzeit, date_order: day first}"),
        says=(r'date_order: "\?"',),
    ),
    run(
        "over midnight",
        joined([["Uhrzeit", "n"], *([clock((86394 + second) % 86400), speed(second)] for second in SECONDS)]),
        log(SPEED, "{clock: Uhrzeit}"),
        says=("clock: Uhrzeit",),
    ),
    run(
        "a time that starts again at zero",
        joined([HEADS, *RUN[:6], *([row[0] - 6, *row[1:]] for row in RUN[6:])]),
        numbers={"speed.mean": MEAN},
        told=("time-restarts",),
    ),
    run(
        "a log without headers, columns by number",
        joined(RUN),
        log("speed: {number: 2, unit: rpm}; torque: {letter: C, unit: N m}", "{column: {number: 1}, unit: s}"),
        status=1,
        numbers={"speed.mean": MEAN, "torque.mean": 80.0, "seconds": 11.0},
        says=("there is no row of headers",),
    ),
    Case(
        "a worksheet of a log without headers",
        "runlog",
        {"log.xlsx": book(Log=RUN)},
        log("speed: {number: 2, unit: rpm}", "{column: {letter: A}, unit: s}", "log.xlsx"),
        12,
        12,
        {"speed.mean": MEAN, "seconds": 11.0},
        status=1,
        says=("there is no row of headers",),
    ),
    run(
        "a last line that is cut",
        joined([HEADS, *RUN])[:-4],
        read=11,
        told=("file-cut",),
        numbers={"speed.mean": RPM * sum(map(speed, range(11))) / 11, "seconds": 10.0},
    ),
    run(
        "mixed ends of lines, a separator at some ends",
        joined([HEADS, *RUN[:5]], end="\r\n") + joined(RUN[5:], end=";\n"),
    ),
    run(
        "two rows of titles, groups, names and units",
        "Cell north\nRun 7\n"
        + joined(
            [
                ["", "Engine", "Oil", "Water"],
                ["Zeit", "n", "T", "T"],
                ["s", "1/min", "degC", "degC"],
                *([*row[:2], 90, 80] for row in RUN),
            ]
        ),
        log("speed: {header: Engine n, unit: rpm}; oil_temperature: {header: Oil T, unit: degC}"),
        numbers={"speed.mean": MEAN, "oil_temperature.mean": ZERO + 90},
        says=("a row of units below", "oil_temperature: {header: Oil T", "coolant_temperature: .*Water T"),
    ),
    Case(
        "a pressure in kPa one year, in bar the next",
        "runlog",
        {
            f"{year}.csv": joined(
                [
                    ["Zeit [s]", "n [1/min]", f"Öldruck [{unit}]"],
                    *([second, speed(second), value] for second in SECONDS),
                ]
            )
            for year, unit, value in (("2026", "kPa", "341,2"), ("2027", "bar", "3,41"))
        },
        "runlog:\n"
        + "".join(
            log(
                "speed: {header: n, unit: rpm}; oil_pressure: {header: Öldruck, unit: bar gauge}", file=f"{year}.csv"
            ).removeprefix("runlog:\n")
            for year in ("2026", "2027")
        ),
        24,
        0,
        told=("unit-contradicted",),
        refused=True,
    ),
    Case(
        "load in grams",
        "runlog",
        {
            "log.csv": joined(
                [["Zeit [s]", "n [1/min]", "Load [g]"], *([second, speed(second), 8160] for second in SECONDS)]
            )
        },
        log(SPEED + "; torque: {header: Load, unit: N m}"),
        12,
        0,
        told=("unit-contradicted",),
        refused=True,
        never=("torque: {header: Load,",),
    ),
    Case(
        "empty and placeholder channels",
        "runlog",
        {"log.csv": joined([[*HEADS, "T_Öl [°C]", "Reserve"], *([*row, "", "-"] for row in RUN)])},
        log(SPEED + "; oil_temperature: {header: T_Öl, unit: degC}"),
        12,
        12,
        {"speed.mean": MEAN, "oil_temperature.n": 0},
        told=("channel-empty",),
    ),
    Case(
        "overflow marks in a channel",
        "runlog",
        {"log.csv": joined([HEADS, *(row if row[0] != 4 else [4, "*.**", 80] for row in RUN)])},
        log(SPEED),
        12,
        12,
        {"speed.n": 11, "speed.missing": 1, "seconds": 11.0},
        told=("overflow",),
    ),
    Case(
        "room pressure noted once, a channel only drawn",
        "runlog",
        {"log.csv": joined([["Zeit", "n", "Lambda"], *([*row[:2], "1,02"] for row in RUN)])},
        log(SPEED, more="constants: {ambient_pressure: 1003 mbar absolute}")
        + "    drawn: {mixture: {title: Mixture, header: Lambda, unit: '1'}}\n",
        12,
        12,
        {"speed.mean": MEAN, "stated": {"ambient_pressure": (100300.0,)}, "drawn": {"mixture": ("Mixture", "1")}},
        says=(r'Columns it leaves alone: .*"Lambda"',),
    ),
    Case(
        "force over stroke, a preamble for each step",
        "runlog",
        {
            "rig.csv": "".join(
                f"Step {step}\nSpeed 2 mm/s\n"
                + joined(
                    [["ms", "N", "T oil [degC]"], *([100 * n, 12 + n % 3, comma(40 + 0.1 * n)] for n in range(20))]
                )
                for step in (1, 2)
            )
        },
        log("oil_temperature: {header: T oil, unit: degC}", "{column: ms, unit: ms}", "rig.csv")
        + "    drawn: {friction: {title: Friction force, header: N, unit: N}}\n",
        40,
        40,
        {"oil_temperature.mean": ZERO + 40.95, "drawn": {"friction": ("Friction force", "N")}},
        told=("section-begins", "time-restarts"),
        says=("oil_temperature: {header: T oil",),
        never=('header: "?N"?,',),
    ),
    Case(
        "one log under two builds",
        "runlog",
        {name: joined([HEADS, *RUN]) for name in ("one.csv", "two.csv")},
        log(SPEED, file="one.csv") + log(SPEED, file="two.csv").removeprefix("runlog:\n").replace("B1", "B2"),
        24,
        0,
        told=("log-twice",),
        refused=True,
    ),
    Case(
        "oil and water changed places in the second file",
        "runlog",
        {
            name: joined([["Zeit", "n", "T_Öl [°C]", "T_Kühlwasser [°C]"], *([*row[:2], *two] for row in RUN)])
            for name, two in (("one.csv", ("95,5", "80,5")), ("two.csv", ("80,5", "95,5")))
        },
        "runlog:\n"
        + "".join(
            log(
                SPEED + "; oil_temperature: {header: T_Öl, unit: degC};"
                "coolant_temperature: {header: T_Kühlwasser, unit: degC}",
                file=name,
            ).removeprefix("runlog:\n")
            for name in ("one.csv", "two.csv")
        ),
        24,
        24,
        {"oil_temperature.mean": ZERO + 88.0},
    ),
    Case(
        "pressure by crank angle",
        "runlog",
        {
            "indicated.csv": joined(
                [
                    ["°KW", "p_Zyl [bar]"],
                    *(
                        [comma(n / 2 - 180), comma(1 + 40 * math.exp(-((n - 380) ** 2) / 900), 2)]
                        for n in range(0, 720, 9)
                    ),
                ]
            )
        },
        "",
        80,
        0,
        never=("peak_pressure_", "header: .?p_Zyl"),
        says=(r"\?",),
    ),
    Case(
        "a tally at full load, without time",
        "runlog",
        {
            "tally.csv": joined(
                [["n [1/min]", "Md [Nm]", "Raum [°C]"], *([1000 + 200 * n, 80 + 3 * n - n * n, 21] for n in range(8))]
            )
        },
        "",
        8,
        0,
        says=(r'time: \{column: "\?"',),
    ),
    Case(
        "pressure decay, points that are both marks",
        "runlog",
        {
            "decay.csv": joined(
                [
                    ["ms", "V", "bar"],
                    *(
                        [
                            f"{n}" if n < 1000 else f"{n // 1000}.{n % 1000:03}",
                            f"2.{950 - n // 10:03}",
                            f"1.{900 - n // 10:03}",
                        ]
                        for n in range(0, 3000, 100)
                    ),
                ]
            )
        },
        "",
        30,
        0,
        says=(r"\?",),
    ),
)

# ---- traces of profilometers -----------------------------------------------------------------------------------------

STEP = 0.5  # um
HEIGHTS = [round(2 * math.sin(n / 7) + 0.3 * math.sin(n * 1.7), 3) for n in range(400)]
INDEX = "trace,engine,phase,cylinder,part,side,height,repeat,cutoff [mm]"
FILES = "surfaces:\n  - file: traces.csv\n    constants: {instrument: profile-1}\n"


def points(bad: dict[int, str] | None = None, head: str = "x [mm];z [um]\n", step: float = STEP) -> str:
    cells = [(bad or {}).get(n, f"{z:.3f}") for n, z in enumerate(HEIGHTS)]
    return head + joined([f"{n * step / 1000:.6f}", cell] for n, cell in enumerate(cells))


def trace(name: str, content: str | bytes, more: str = "", value: str = "", file: str = "bore.csv", **how: Any) -> Case:
    """One trace of a bore, with the row that names it; `more`: a column of that row, and its value."""
    head, row = (f"{INDEX},{more}", f",{value}") if more else (INDEX, "")
    index = f"{head}\n{file},B1,teardown,1,bore,thrust,mid-stroke,1,0.03{row}\n"
    how = {"rows": 400, "read": 400, "numbers": {"x": [0.0, 399 * STEP], "z": [HEIGHTS[0], HEIGHTS[-1]]},
           **how}  # fmt: skip
    return Case(name, "surfaces", {file: content, "traces.csv": index}, FILES, **how)


def profile(values: str = "", count: int = 400, more: str = "") -> str:
    """A profile in the open XML form of the roughness standards, heights in a list beside unit, count and spacing."""
    listed = values or "\n".join(map(str, HEIGHTS))
    return (f"<?xml version='1.0'?>\n<DATA>\n<UNITS>um</UNITS>\n<NUMPOINTS>{count}</NUMPOINTS>\n"
            f"<SPACING>{STEP}</SPACING>\n<VALUES>{listed}</VALUES>{more}</DATA>\n")  # fmt: skip


ROW = "It is a trace. Proposed row of a table of traces"
TRACES = (
    trace("a trace as it is", points(), says=(ROW, "points    400, 0 of them", "over 0.1995 mm, a point every 0.5 um")),
    trace(
        "one height that is no number, in line 101",
        points({99: "NaN"}),
        read=399,
        told=("trace-rows-not-used",),
        says=("points    400, 1 of them without a height",),
    ),
    trace(
        "an overflow mark in line 251",
        points({249: "***"}),
        read=399,
        told=("trace-rows-not-used",),
        says=("points    400, 1 of them",),
    ),
    trace(
        "the first height missing",
        points({0: ""}),
        read=399,
        numbers={"x": [0.0, 399 * STEP]},
        told=("trace-rows-not-used",),
    ),
    trace("UTF-16, a group name above", points(head="Profile\t\nx [mm];z [um]\n").encode("utf-16")),
    trace(
        "a flag of validity",
        "x;z;valid\nmm;um;\n" + joined([f"{n * STEP / 1000:.6f}", z, int(n % 40 != 7)] for n, z in enumerate(HEIGHTS)),
        read=390,
    ),
    trace(
        "heights alone, no unit, no step",
        "Height\n" + joined([z] for z in HEIGHTS),
        "z_unit,step [um]",
        "um,0.5",
        says=(r"z_unit", r"step \[um\]", r"\?"),
    ),
    trace("the open XML form", profile(), file="bore.xml", says=("points    400", "a point every 0.5 um")),
    trace(
        "two profiles in one XML",
        profile().replace("</DATA>", profile()[28:]),
        file="bore.xml",
        read=0,
        rows=1,
        numbers={},
        told=("trace-sections",),
        says=(r"section", r"\?"),
    ),
    trace(
        "a trace in a workbook",
        book(Trace=[["x [mm]", "z [um]"], *([n * STEP / 1000, z] for n, z in enumerate(HEIGHTS))]),
        file="bore.xlsx",
    ),
    trace(
        "two runs in one trace",
        points() + points(head=""),
        read=0,
        rows=1,
        numbers={},
        told=("trace-goes-back",),
        says=(r"section", r"\?"),
    ),
    trace("the second of two runs in one trace", points() + points(head=""), "section", "2", look=False),
    trace(
        "heights in mm for um",
        points(head="x [mm];z [mm]\n"),
        numbers={"x": [0.0, 399 * STEP]},
        told=("heights-not-plausible",),
    ),
    trace(
        "an evaluation length missed by half a step",
        points(step=1.0),
        "evaluation [mm]",
        "0.3995",
        numbers={"x": [0.0, 399.0]},
        told=(),
    ),
    trace("already filtered by the instrument", points(), "filter", "by-instrument"),
    trace("a stated Rk by the secant", "Rk;1.2;um\n" + points(), "stated_line", "secant", numbers={"stated.rk": 1.2}),
    trace(
        "a text that is no trace",
        "To whom it may concern\nthe bore was\nhoned again\n",
        read=0,
        rows=1,
        numbers={},
        told=("trace-no-points",),
        never=(ROW,),
        status=1,
        says=("No entry can be proposed",),
    ),
)

CASES = (*TABLES, *SHEETS, *OILS, *LOGS, *TRACES)
