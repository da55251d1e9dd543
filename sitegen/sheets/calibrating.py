"""Sheets for the calibration of an instrument: what it shows as found and as left, and the same as YAML to paste."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen import units
from sitegen.page.words import stated
from sitegen.program import calibrated
from sitegen.program.calibrated import Calibrated
from sitegen.program.model import CheckPoint, Definitions, Meter, Tester
from sitegen.program.yamltext import flow
from sitegen.sheets.contexts import Blankspace, Cell, Grid, Heading, Row, Sheet
from sitegen.sheets.paper import cautions

FOLDER = "calibrations"
ENTRIES = f"{FOLDER}/entries.yaml"  # to paste into definitions.yaml
_EMPTY = 5  # points where none is known from a calibration before
_OPEN = "?"
_AIR = (
    "Compressed air: hoses, fittings and the standard rated above the highest point; eye protection; pressure up "
    "slowly, and vented before anything is opened.",
)
_CAUTIONS = {  # common practice, no source
    "meter": ("With clean air on a bench: crankcase gas burns and is poisonous. Air regulated and relieved.",),
    "torque-cell": (
        "Engine stopped and kept from starting, and nobody below hanging weights: they are lifted on slowly, off "
        "before the arm is moved.",
    ),
    "thermocouple": ("Hot blocks and baths burn, and near water a bath of oil spits: gloves and eye protection.",),
    "balance": ("Weights with tongs or gloves; heavy ones are lifted by two people.",),
    "tension-gauge": ("A ring under tension springs: eye protection.",),
}
_CAUTIONS["thermometer"] = _CAUTIONS["thermocouple"]
_CAUTIONS["pressure-gauge"] = _AIR
_STEPS = (
    "Read every point before anything is touched, zero too: that is as found, and without it nobody can tell what the "
    "readings since the last check are worth.",
    "Go through the points upwards, then downwards; write down the reading that is further off.",
    "Adjust only what lies beyond what is allowed. Then read every point again: that is as left. Nothing adjusted: "
    "leave it empty.",
)


def there(definitions: Definitions) -> list[Calibrated]:
    """Instruments that get a sheet: those not withdrawn."""
    return [one for one in calibrated.every(definitions).values() if not one.until]


def sheet(one: Calibrated, program: str) -> Sheet:
    """The sheet of one instrument, with the points of its newest calibration that has any."""
    points = _points(one)
    rows = [_row(point) for point in points] or [_row(None) for _ in range(_EMPTY)]
    gauges = [Heading("Gauge", width="narrow")] if isinstance(one, Tester) else []
    headings = [*gauges, Heading("Standard"), Heading("Allowed off"), Heading("As found"), Heading("As left")]
    if not gauges:
        rows = [Row(each.cells[1:]) for each in rows]
    newest = max(one.calibrations, key=lambda each: each.on, default=None)
    last = f"last calibrated {newest.on}, due {newest.due}" if newest else "no calibration on record"
    asked = ("Date", "Next due", "By", "Certificate", "Standard used, its certificate", "Air", "Remark")
    return Sheet(
        anchor="calibration",
        title="Calibration",
        of=f"{one.id}, {one.title}",
        facts=(last,),
        cautions=cautions(_told(one)),
        steps=(*_STEPS, f"Copy it to the calibrations of {one.id} in definitions.yaml."),
        asked=[Blankspace(each) for each in asked],
        grids=[Grid("", f"{program} · Calibration, {one.id}", headings, rows, tall=True)],
    )


def entries(every: Sequence[Calibrated]) -> str:
    """What is pasted under the calibrations of each instrument once it is filled in."""
    lines = ["# Under `calibrations` of each instrument in definitions.yaml; instead of each ? what was written down."]
    for one in every:
        lines += [f"# {one.id}", f'- on: "{_OPEN}"', f'  due: "{_OPEN}"', f'  by: "{_OPEN}"']
        if isinstance(one, Meter) or (isinstance(one, Tester) and one.scale == "percent"):
            lines.append(f'  tolerance: "{_OPEN}"')
        known: list[CheckPoint | None] = [*_points(one)]
        lines += ["  checks:", *(f"    - {flow(_entry(point))}" for point in known or [None])]
    return "\n".join([*lines, ""])


def _entry(point: CheckPoint | None) -> dict[str, object]:
    if point is None:
        return {"at": _OPEN, "found": _OPEN, "left": _OPEN}
    gauge = {"gauge": point.gauge} if point.gauge else {}
    unit = units.split(point.said)[1]
    return {**gauge, "at": point.said, "found": f"{_OPEN} {unit}", "left": f"{_OPEN} {unit}"}


def _points(one: Calibrated) -> Sequence[CheckPoint]:
    dated = sorted((each for each in one.calibrations if each.checks), key=lambda each: each.on)
    return sorted(dated[-1].checks, key=lambda each: (each.gauge, each.at)) if dated else ()


def _row(point: CheckPoint | None) -> Row:
    if point is None:
        return Row([Cell()] * 5)
    unit = units.split(point.said)[1]
    most = f"±{stated(float(f'{point.tolerance / units.unit(unit).scale:.3g}'))} {unit}"
    return Row([Cell(point.gauge or "both"), Cell(point.said), Cell(most), Cell(), Cell()])


def _told(one: Calibrated) -> Sequence[str]:
    if isinstance(one, Tester):
        return _AIR
    return _CAUTIONS.get("meter" if isinstance(one, Meter) else one.kind, ())
