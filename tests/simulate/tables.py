"""Readings and build-sheet lines as the bytes of record tables, in the forms people keep them in."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from simulate.engine import Reading

DECIMALS = {
    "supply": 1, "pressure": 1, "percent": 1, "crankcase_flow": 1, "ambient": 1, "air_temperature": 0,
    "metal_temperature": 0, "since_shutdown": 0, "wait": 0, "chamfer": 2, "gap_gauge": 2, "gap_bore": 2, "mass": 4,
    "tension": 1, "radial_thickness": 3, "land_diameter": 3, "groove_width": 3, "bore": 3, "bore_height": 0,
    "band_share": 0, "band_width": 2, "image_width": 1,
}  # fmt: skip
SHARES = {"to_crankcase": "crankcase", "to_exhaust": "exhaust", "to_intake": "intake"}


def fahrenheit(celsius: float) -> float:
    """The same temperature [degF] for one in [degC]."""
    return celsius * 9 / 5 + 32


@dataclass(frozen=True)
class Form:
    """How one table is laid out and saved."""

    columns: Sequence[tuple[str, str]]  # header, field
    units: Sequence[str] = ()  # a row of units below the headers
    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    line_end: str = "\n"
    day_first: bool = False
    convert: Mapping[str, Callable[[float], float]] = field(default_factory=dict)  # field -> into the column's unit

    @property
    def first_line(self) -> int:
        """Line in the file of the first reading."""
        return 3 if self.units else 2


def value_of(row: Any, name: str) -> Any:
    """What a row says in one field, None where nothing."""
    if name in SHARES:
        return None if row.shares is None else row.shares[SHARES[name]]
    value = getattr(row, name)
    return None if (name == "cylinder" and value == 0) else value


def text_of(value: Any, name: str, form: Form) -> str:
    """The text of one cell."""
    if value is None:
        return ""
    if isinstance(value, float):
        value = form.convert.get(name, float)(value)
        return f"{value:.{DECIMALS[name]}f}".replace(".", form.decimal)
    if name == "date" and form.day_first:
        return ".".join(reversed(value.split("-")))
    return str(value)


def _bytes(rows: Iterable[Sequence[str]], form: Form) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=form.separator, lineterminator=form.line_end).writerows(rows)
    return out.getvalue().encode(form.encoding)


def long(rows: Sequence[Any], form: Form) -> bytes:
    """A table with one line a reading."""
    head = [[header for header, _ in form.columns]]
    if form.units:
        head.append(list(form.units))
    return _bytes(head + [[text_of(value_of(row, name), name, form) for _, name in form.columns] for row in rows], form)


def own_names(fields: Mapping[str, str]) -> list[tuple[str, str]]:
    """Columns whose headers are the field names themselves, with units in brackets."""
    return [(f"{name} [{unit}]" if unit else name, name) for name, unit in fields.items()]


Place = tuple[int, str, int, str]


def sheet(rows: Sequence[Reading], phases: Mapping[str, str], form: Form) -> tuple[bytes, dict[Place, int]]:
    """A table with one line a cylinder (or a reference orifice) and repeat and one column a phase; and where each is.

    The key of a reading is its cylinder, reference, repeat and phase.
    """
    found = {(row.cylinder, row.reference, row.repeat, row.phase): row for row in rows}
    lines = list(dict.fromkeys((row.cylinder, row.reference, row.repeat) for row in rows))
    lines.sort()
    table = [["Orifice" if lines[0][1] else "Cylinder", "Reading", *phases]]
    where = {}
    for number, (cylinder, reference, repeat) in enumerate(lines, start=2):
        cells = []
        for phase in phases.values():
            row = found.get((cylinder, reference, repeat, phase))
            cells.append("" if row is None else text_of(row.pressure, "pressure", form))
            if row is not None:
                where[cylinder, reference, repeat, phase] = number
        table.append([reference or str(cylinder), str(repeat), *cells])
    return _bytes(table, form), where
