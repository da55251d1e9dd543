"""Run logs as the bytes of files, in the forms recorders save them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simulate.logs import Array, Run

FAHRENHEIT = (1.8, 32.0)
POUND_FOOT = (1 / (0.45359237 * 9.80665 * 0.3048), 0.0)  # lb-ft in a N m: pound, standard gravity, foot
PSI = (1000 * 0.0254**2 / (0.45359237 * 9.80665), 0.0)  # psi in a kPa
MERCURY = (1000 / (13595.1 * 9.80665 * 0.0254), 0.0)  # inHg in a kPa, conventional density of mercury
WATER = (1000 / (1000 * 9.80665 * 0.0254), 0.0)  # inH2O in a kPa, conventional density of water
SAME = (1.0, 0.0)


@dataclass(frozen=True)
class Column:
    """One channel in a file."""

    channel: str
    header: str  # of several rows, joined by a bar
    unit: str  # as the program file says it
    decimals: int
    scale: tuple[float, float] = SAME  # into its unit
    every: int = 1  # s, in the mixed-rate form

    def values(self, run: Run) -> Array:
        """The channel as the recorder keeps it: in its unit, rounded, never minus zero."""
        scale, offset = self.scale
        return np.round(run.shown[self.channel] * scale + offset, self.decimals) + 0.0


@dataclass(frozen=True)
class LogForm:
    """How one log is laid out and saved."""

    columns: Sequence[Column]
    time: Literal["s", "min", "iso", "day first", "date and time"] = "s"
    time_headers: tuple[str, ...] = ("Time",)
    kind: Literal["text", "mixed"] = "text"
    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    line_end: str = "\n"
    preamble: Sequence[str] = ()
    header_rows: int = 1
    units_row: bool = False
    every: int = 1  # rows written of so many; 1: all

    @property
    def suffix(self) -> str:
        """Of the file's name."""
        return "tsv" if self.separator == "\t" else "csv"


def written(run: Run, form: LogForm) -> bytes:
    """The bytes of a log."""
    body = _mixed(run, form) if form.kind == "mixed" else _rows(run, form)[:: form.every]
    lines = [*form.preamble, *_heads(form), *body]
    return form.line_end.join([*lines, ""]).encode(form.encoding)


def time_header(column: Column) -> str:
    """Header of a channel's own time column, in the mixed-rate form."""
    return f"t {column.header}"


def _heads(form: LogForm) -> list[str]:
    if form.kind == "mixed":
        return [form.separator.join(f"{time_header(c)}{form.separator}{c.header}" for c in form.columns)]
    headers = [*form.time_headers, *(column.header for column in form.columns)]
    heads = [[header.split("|")[row] for header in headers] for row in range(form.header_rows)]
    if form.units_row:
        heads.append(["" if form.time not in {"s", "min"} else form.time, *(column.unit for column in form.columns)])
        heads[-1] = [f'"{each}"' if form.separator in each else each for each in heads[-1]]
    return [form.separator.join(each) for each in heads]


def _rows(run: Run, form: LogForm) -> list[str]:
    pattern = form.separator.join(f"%.{max(column.decimals, 0)}f" for column in form.columns)
    numbers = zip(*(column.values(run).tolist() for column in form.columns), strict=True)
    stamps = _stamps(run, form)
    if form.decimal == ".":
        return [f"{stamp}{form.separator}{pattern % row}" for stamp, row in zip(stamps, numbers, strict=True)]
    return [
        f"{stamp}{form.separator}{(pattern % row).replace('.', form.decimal)}"
        for stamp, row in zip(stamps, numbers, strict=True)
    ]


def _stamps(run: Run, form: LogForm) -> list[str]:
    seconds = run.time.tolist()
    if form.time == "s":
        return [f"{each:.0f}" for each in seconds]
    if form.time == "min":
        return [f"{each / 60:.4f}".replace(".", form.decimal) for each in seconds]
    start = datetime.datetime.fromisoformat(run.truth.start)
    clocks = [start + datetime.timedelta(seconds=each) for each in seconds]
    if form.time == "iso":
        return [each.isoformat() for each in clocks]
    if form.time == "day first":
        return [f"{each:%d.%m.%Y %H:%M:%S}" for each in clocks]
    return [f"{each:%d.%m.%Y}{form.separator}{each:%H:%M:%S}" for each in clocks]


def _mixed(run: Run, form: LogForm) -> list[str]:
    """Every channel at its own rate beside its own time; short ones end in empty fields."""
    cells: list[list[str]] = []
    for column in form.columns:
        values, times = column.values(run)[:: column.every].tolist(), run.time[:: column.every].tolist()
        cells += [[f"{each:.0f}" for each in times], [f"{each:.{column.decimals}f}" for each in values]]
    length = max(map(len, cells))
    padded = [each + [""] * (length - len(each)) for each in cells]
    return [form.separator.join(row).replace(".", form.decimal) for row in zip(*padded, strict=True)]
