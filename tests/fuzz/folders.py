"""Whole programs folders to break: a file of each kind that means something, and the entry that names it."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import yaml
from openpyxl import Workbook
from PIL import Image

ACCEPTED = Path(__file__).parents[1] / "accepted"
Files = dict[str, bytes]
Cells = list[list[Any]]


@dataclass
class Table:
    """Rows of a table before they are written to a file of some form."""

    cells: Cells  # the header first
    name: str  # of the file in the programs folder, without its ending
    how: dict[str, str] = field(default_factory=dict)  # separator, decimal


def base(name: str) -> Files:
    """An accepted folder."""
    home = ACCEPTED / name
    return {each.relative_to(home).as_posix(): each.read_bytes() for each in sorted(home.rglob("*")) if each.is_file()}


class _Loader(yaml.SafeLoader):
    """As our files are read: dates stay texts, and only true and false are flags, not the key `on`."""


_Loader.yaml_implicit_resolvers = {
    first: [(tag, form) for tag, form in found if tag != "tag:yaml.org,2002:timestamp"]
    for first, found in yaml.SafeLoader.yaml_implicit_resolvers.items()
    if first not in "oOyYnN"
}


def loaded(content: bytes) -> Any:
    """What a YAML file says."""
    return yaml.load(content, _Loader)  # noqa: S506 - a safe loader


def dumped(said: Any) -> bytes:
    return yaml.safe_dump(said, sort_keys=False, allow_unicode=True).encode("utf-8", "surrogatepass")


def with_records(files: Files, stream: str, entry: Mapping[str, object]) -> Files:
    """The folder with one record entry for a stream."""
    said = loaded(files["pump/program.yaml"])
    said["records"] = {**said.get("records", {}), stream: [dict(entry)]}
    return {**files, "pump/program.yaml": dumped(said)}


# ---- rows that mean something ---------------------------------------------------------------------------------------


def leakdown(random: Random) -> Table:
    header = ["engine", "cylinder", "phase", "tester", "supply [psig]", "pressure [psig]", "crank", "date", "remark"]
    rows = [
        [engine, cylinder, phase, "T1", 80, round(random.uniform(55, 79), 1), "tdc", "2026-05-14", "warm, so so"]
        for engine in ("B1", "B2") for phase in ("cold-build", "pulls") for cylinder in range(1, 5)
    ]  # fmt: skip
    return Table([header, *rows], "pump/records/leak")


def buildsheet(random: Random) -> Table:
    rows = [["B1", at, "cold-build", "top", round(random.uniform(14, 15), 4), "balance-1"] for at in range(1, 5)]
    return Table([["engine", "cylinder", "phase", "ring", "mass [g]", "tool_mass"], *rows], "pump/records/build")


def oil(random: Random) -> Table:
    rows: Cells = [["B1", "cold-build", "fill", "", 5.2, "", "", ""]]
    for at in (1, 2, 3):
        rows.append(["B1", "pulls", "sample", f"B1-{at}", 0.1, 3 * at, "dipstick", round(random.uniform(2, 30), 1)])
    header = ["engine", "phase", "what", "sample", "mass [kg]", "since_shutdown [min]", "draw_point", "Fe [mg/kg]"]
    return Table([header, *rows], "pump/records/oil")


def inspection(random: Random) -> Table:
    header = ["engine", "cylinder", "phase", "part", "place", "inspector", "grade", "image"]
    rows: Cells = [
        ["B1", at, "pulls", "top-ring", "back of the gap", "M. A.", random.randint(1, 2), ""] for at in (1, 2, 3, 4)
    ]
    return Table([header, *rows], "pump/records/seen")


def log(random: Random) -> Table:
    step = random.choice([1, 0.1, 10])
    rows = [
        [round(at * step, 3), round(random.gauss(1800, 15), 1), round(random.gauss(140, 2), 2), 18, 500]
        for at in range(random.choice([6, 40, 200]))
    ]
    return Table([["Time", "n", "Md", "Q", "T1"], *rows], "pump/logs/run")


TABLES: Mapping[str, tuple[str, str, Callable[[Random], Table]]] = {  # folder, stream, rows
    "leakdown": ("plain", "leakdown", leakdown),
    "buildsheet": ("plain", "buildsheet", buildsheet),
    "oil": ("oil", "oil", oil),
    "inspection": ("plain", "inspection", inspection),
    "log": ("plain", "runlog", log),
}


# ---- rows to files --------------------------------------------------------------------------------------------------


def as_csv(table: Table, encoding: str = "utf-8") -> bytes:
    mark = {"comma": ",", "semicolon": ";", "tab": "\t"}[table.how.get("separator", "comma")]

    def written(cell: Any) -> str:
        text = "" if cell is None else str(cell)
        if isinstance(cell, float):
            text = text.replace(".", table.how.get("decimal", "."))
        return '"' + text.replace('"', '""') + '"' if any(each in text for each in (mark, '"', "\n")) else text

    return "".join(mark.join(map(written, row)) + "\n" for row in table.cells).encode(encoding, "replace")


def as_xlsx(table: Table) -> bytes:
    book = Workbook()
    sheet = book.worksheets[0]
    for row in table.cells:
        sheet.append([legal(cell) for cell in row])
    for cell in (cell for row in sheet.iter_rows() for cell in row):
        if isinstance(cell.value, str):
            cell.data_type = "s"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def legal(cell: Any) -> Any:
    """A cell as a worksheet can hold it."""
    if isinstance(cell, str):
        return "".join(each for each in cell if each.isprintable())[:32_000]
    return str(cell) if isinstance(cell, float) and not abs(cell) < 1e300 else cell


def as_parquet(table: Table) -> bytes:
    header = [str(name) for name in table.cells[0]]
    width = len(header)
    rows = [(list(row) + [None] * width)[:width] for row in table.cells[1:]]
    columns = []
    for at in range(width):
        values = [row[at] for row in rows]
        try:
            columns.append(pa.array([None if each == "" else each for each in values]))
        except (pa.ArrowException, OverflowError, TypeError):
            columns.append(pa.array([None if each is None else str(each) for each in values]))
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(columns, names=header), out)
    return out.getvalue()


def entry(stream: str, table: Table, ending: str) -> dict[str, object]:
    """The record entry of a table."""
    said: dict[str, object] = {"file": f"{table.name}{ending}".removeprefix("pump/")}
    if ending == ".csv":
        said |= table.how
    if stream == "runlog":
        time = {"column": "Time", "unit": "s"}
        channels = {"speed": {"header": "n", "unit": "rpm"}, "torque": {"header": "Md", "unit": "N m"}}
        said |= {"engine": "B1", "phase": "pulls", "time": time, "channels": channels}
    return said


def trace(random: Random) -> str:
    """A trace as text."""
    z = 0.0
    lines = ["Ra: 0.2 um", "x [um];z [um]"]
    for at in range(random.choice([40, 400])):
        z = 0.9 * z + random.gauss(0, 0.1)
        lines.append(f"{at * 2};{z:.3f}")
    return "\n".join(lines) + "\n"


def as_trace(lines: list[str], ending: str) -> bytes:
    """Lines of a trace as text, or its points as a worksheet or as XML."""
    if ending == ".xlsx":
        return as_xlsx(Table([line.split(";") for line in lines], ""))
    if ending == ".xml":
        heights = "\n".join(line.split(";")[-1] for line in lines[2:])
        lines = ["<?xml version='1.0'?>", "<D><UNITS>um</UNITS><SPACING>2</SPACING><Z>", heights, "</Z></D>"]
    return "\n".join(lines).encode("utf-8", "replace")


def picture(random: Random, form: str) -> bytes:
    size = random.choice([(1, 1), (40, 30), (300, 200)])
    mode = random.choice(["L", "RGB", "RGBA", "P", "1", "I;16", "CMYK", "LA"])
    if (form == "PNG" and mode == "CMYK") or (form == "JPEG" and mode in {"RGBA", "P", "1", "I;16", "LA"}):
        mode = "RGB"
    out = io.BytesIO()
    count = size[0] * size[1]
    pixels = Image.frombytes("RGB", size, random.randbytes(3 * count))
    made = pixels.convert("L").convert("I").convert("I;16") if mode == "I;16" else pixels.convert(mode)
    made.save(out, form)
    return out.getvalue()
