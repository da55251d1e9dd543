"""A file of forces: tables of strokes with what is said above each, read in pieces and thinned as it is read.

How its lines are written is found as for any file (`reader.find`). A line that is no row of strokes begins a section,
which may say other conditions (a load step) and name its columns anew; what it leaves unsaid holds on.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from sitegen import units
from sitegen.problems import listed, shown
from sitegen.reader.blocked import refusal
from sitegen.reader.decode import folder_of
from sitegen.reader.find import find, kind_of, pairs
from sitegen.reader.headers import bare, plain, says_units, with_unit
from sitegen.reader.layout import Stated
from sitegen.reader.numbers import LONGEST, PLAIN
from sitegen.reader.pieces import opening, pieces
from sitegen.reader.records import NOTHING, cut
from sitegen.regular import sha256_of
from sitegen.streams.rig.fields import BACK, CONDITIONS, FIELDS, FORWARD, MID, REVERSAL
from sitegen.vocabulary import Field

MOST_ROWS = 1200  # kept of a section and class: twice as many are put together by two
MOST_ABOVE = 300  # lines between tables that are looked at
MOST_SECTIONS = 200
MOST_BAD = 0.2  # share of the rows that may hold no number; a convention of ours
_ACROSS = ("time", "count", *CONDITIONS, "forward", "back", "force", "magnitude")  # columns of numbers
_NAMES: Mapping[str, str] = MappingProxyType(
    {
        name: of
        for of, names in {
            "time": ("time", "t", "elapsed", "test time", "zeit", "messzeit", "versuchszeit"),
            "count": ("strokes", "stroke no", "stroke number", "stroke count", "hub nr", "hubzahl", "hübe"),
            "cycles": ("cycles", "cycle", "cycle no", "zyklus", "zyklen", "doppelhübe"),
            "load": ("load", "normal load", "normal force", "last", "normalkraft", "fn"),
            "stroke": ("stroke", "stroke length", "hub", "hublänge"),
            "frequency": ("frequency", "frequenz", "f"),
            "temperature": ("temperature", "contact temperature", "temp", "temperatur", "kontakttemperatur"),
            "forward": ("forward", "force forward", "friction forward", "kraft hin", "reibkraft hin", "hin", "f hin"),
            "back": ("back", "force back", "friction back", "backward", "kraft her", "reibkraft her", "her", "zurück",
                     "kraft zurück", "reibkraft zurück", "f her"),
            "force": ("force", "friction force", "friction", "kraft", "reibkraft"),
            "way": ("way", "direction", "richtung"),
            "stroke_class": ("class", "stroke class", "position", "klasse", "hublage", "lage"),
            "magnitude": ("mean magnitude", "mean absolute force", "magnitude", "mittlerer betrag", "betrag"),
            "zero": ("zero", "offset", "nullpunkt"),
            "specimen": ("specimen", "sample", "probe", "probe nr"),
        }.items()
        for name in names
    }
)  # fmt: skip  # words of the trade for what a column or a line above it says; common practice, no source
_BEFORE_UNIT = re.compile(r"(?<=\S)[ \t]+(?=[\[(])")  # where blanks part columns, one may also part header and unit
_WORDED = frozenset({"stroke_class", "way"})  # columns of words
_WORDS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("mid", "mid-stroke", "middle", "m", "mitte", "hubmitte"), MID),
        **dict.fromkeys(("reversal", "end", "r", "umkehr", "umkehrpunkt", "totpunkt"), REVERSAL),
        **dict.fromkeys(("forward", "fwd", "f", "+", "hin"), FORWARD),
        **dict.fromkeys(("back", "backward", "b", "-", "her", "zurück"), BACK),
    }
)
_OF: Mapping[str, Field] = {each.name: each for each in FIELDS}
Row = dict[str, float]


@dataclass(frozen=True)
class Section:
    """Strokes under one set of conditions and of one class, in the order of the file, thinned."""

    said: Mapping[str, float]  # conditions and zero in SI, as stated above them
    stroke_class: str  # "" where the file does not say
    rows: Sequence[Row]  # field -> mean over the strokes put together, in SI
    line: int  # of its first row
    together: int  # rows of the file in each


@dataclass(frozen=True)
class Forces:
    """What a file of forces holds."""

    sections: Sequence[Section]
    encoding: str
    digest: str
    specimen: str  # as the file names it, "" where it does not
    rows: int  # of strokes in the file
    bad: int  # rows without a number where one should be, not used


@dataclass
class _Thinned:
    """Rows of one section and class while they are read; never more than twice `MOST_ROWS`."""

    said: Mapping[str, float]
    line: int
    rows: list[Row] = field(default_factory=list)
    part: list[Row] = field(default_factory=list)
    every: int = 1

    def add(self, row: Row) -> None:
        self.part.append(row)
        if len(self.part) < self.every:
            return
        self.rows.append(_mean(self.part))
        self.part = []
        if len(self.rows) >= 2 * MOST_ROWS:
            self.rows = [_mean(self.rows[at : at + 2]) for at in range(0, len(self.rows), 2)]
            self.every *= 2


def _mean(rows: Sequence[Row]) -> Row:
    found = {}
    for name in dict.fromkeys(name for row in rows for name in row):
        values = [row[name] for row in rows if name in row]
        found[name] = math.fsum(values) / len(values)
    return found


@dataclass(frozen=True)
class _Columns:
    """Which column says what, and how its numbers become SI."""

    at: Mapping[str, tuple[int, float, float]]
    width: int


def read_forces(path: Path, file: str) -> Forces:
    """The forces in a text file; `file` is its name in messages. Raises `Blocked` where it cannot be trusted."""
    begin = opening(path, file, "")
    layout = find(begin.lines, Stated(thousands=""))
    separator = layout.separator.value
    if not separator:
        raise refusal(file, 1, "rig-no-table", "no table of strokes is found in it", "rows of forces below headers",
                      "see whether this is the right file, saved as text")  # fmt: skip
    reading = _Reader(file, separator, layout.marks.value.decimal)
    number = 0
    for piece in pieces(path, file, begin.encoding, 0):
        for line in piece.data.decode("utf-8", "replace").splitlines():
            number += 1
            reading.take(number, line)
    return reading.done(begin.encoding, sha256_of(path, folder_of(path, file)))


class _Reader:
    """Line by line; what is said above a table, its columns and its rows."""

    def __init__(self, file: str, separator: str, decimal: str) -> None:
        self._file, self._separator, self._decimal = file, separator, decimal
        self._columns: _Columns | None = None
        self._above: list[tuple[int, str]] = []
        self._said: dict[str, float] = {}
        self._specimen = ""
        self._open: dict[str, _Thinned] = {}  # of the section: by class
        self._found: list[tuple[str, _Thinned]] = []
        self._forward: dict[str, tuple[Row, float]] = {}  # class -> a stroke forward that waits for its way back
        self._rows = self._bad = 0

    def take(self, number: int, line: str) -> None:
        if not line.strip(NOTHING):
            return
        cells = [cell.strip() for cell in cut(line, self._separator)]
        while cells and not cells[-1]:
            cells.pop()
        if self._columns is not None and not self._above and self._is_row(cells):
            self._row(number, cells)
            return
        figures = any(kind_of(cell) == "number" for cell in cells)
        if self._above and figures and self._headed(number) and self._is_row(cells):
            self._row(number, cells)
            return
        if len(self._above) >= MOST_ABOVE:
            raise refusal(self._file, number, "rig-no-table", f"{MOST_ABOVE} lines hold no strokes",
                          "rows of forces below headers", "see whether this is the right file")  # fmt: skip
        self._above.append((number, line))

    def _is_row(self, cells: Sequence[str]) -> bool:
        """As many cells as columns at most, with numbers in most columns of numbers."""
        columns = self._columns
        if columns is None or not 1 < len(cells) <= columns.width:
            return False
        kinds = [kind_of(cells[at]) if at < len(cells) else "" for name, (at, *_) in columns.at.items()
                 if name not in _WORDED]  # fmt: skip
        return 2 * sum(kind == "number" for kind in kinds) > len(kinds)

    # ---- what stands above ----

    def _headed(self, number: int) -> bool:
        """Whether the lines gathered end in headers, now taken; or say conditions of a section without headers."""
        lines = [line for _, line in self._above]
        below = says_units([cell for cell in cut(lines[-1], self._separator) if cell.strip()])
        heads = lines[-2 if below and len(lines) > 1 else -1]
        unit_cells = [bare(plain(cell)) for cell in cut(lines[-1], self._separator)] if heads is not lines[-1] else []
        joined = _BEFORE_UNIT.sub("\xa0", heads) if self._separator == "blanks" else heads
        columns = self._of_heads([plain(cell) for cell in cut(joined, self._separator)], unit_cells, number)
        if columns is None and self._columns is None:
            return False
        own = self._pairs(lines[: -2 if unit_cells else -1] if columns is not None else lines)
        if columns is None and not own:  # a remark between rows, or rows spoilt
            self._bad += sum(any(kind_of(cell) == "number" for cell in cut(line, self._separator)) for line in lines)
            self._above = []
            return True
        self._close()
        self._columns = columns or self._columns
        self._said |= own
        self._above = []
        return True

    def _of_heads(self, heads: Sequence[str], below: Sequence[str], number: int) -> _Columns | None:
        """The columns of headers; None where these are none: forces are not among them."""
        found: dict[str, tuple[int, float, float]] = {}
        for at, header in enumerate(heads):
            name, unit, _ = with_unit(header, below[at] if at < len(below) else "")
            of = _NAMES.get(_word(name), "")
            if not of or of in found or of == "specimen":
                continue
            if of in _WORDED:
                found[of] = (at, 1.0, 0.0)
            elif of in {"count", "cycles"}:
                found["count"] = (at, 2.0 if of == "cycles" else 1.0, 0.0)
            elif of in _ACROSS:
                if not unit:
                    raise refusal(self._file, number - 1, "unit-missing", f'the column "{shown(header)}" has no unit',
                                  f"{header} [{units.DIMENSIONS[_OF[of].dimension].spellings[0]}]",
                                  "write the unit into its header", column_name=header)  # fmt: skip
                found[of] = (at, *self._scale(unit, of, number - 1, header))
        whole = {"forward", "back"} <= set(found) or {"force", "way"} <= set(found) or "magnitude" in found
        one = {"forward", "back", "force"} & set(found)
        return _Columns(found, len(heads)) if whole or one else None

    def _scale(self, unit: str, of: str, number: int, header: str) -> tuple[float, float]:
        try:
            return units.converter(unit, _OF[of].dimension)
        except units.UnitError as fault:
            raise refusal(self._file, number, "rig-unit", f"{fault.what}", fault.expected, "correct the unit",
                          nearest=fault.nearest, column_name=header) from None  # fmt: skip

    def _pairs(self, lines: Sequence[str]) -> dict[str, float]:
        """Conditions among pairs of name and value, in SI. What is no quantity of its kind is refused."""
        found: dict[str, float] = {}
        for key, text in pairs([line.replace("\t", ": ", 1) for line in lines]).items():
            name, unit, _ = with_unit(plain(key), "")
            of = _NAMES.get(_word(name), "")
            if of == "specimen":
                if self._specimen not in {"", text}:
                    raise refusal(self._file, 0, "rig-two-specimens",
                                  f'it names the specimens "{shown(self._specimen)}" and "{shown(text)}"',
                                  "the strokes of one specimen", "split the file")  # fmt: skip
                self._specimen = text
            if of not in {*CONDITIONS, "zero"}:
                continue
            value = text.replace(";", " ").strip()
            value = value.replace(",", ".") if self._decimal == "," else value
            try:
                found[of] = units.parse(f"{value} {unit}".strip(), _OF[of].dimension)
            except units.UnitError as fault:
                told = shown(f"{key}: {text}")
                line = self._above[0][0]
                raise refusal(self._file, line, "rig-condition", f'"{told}": {fault.what}',
                              fault.expected or f"a {_OF[of].dimension} with its unit", "correct it in the file",
                              nearest=fault.nearest) from None  # fmt: skip
            if not _within(_OF[of], found[of]):
                raise refusal(self._file, self._above[0][0], "rig-condition",
                              f'"{shown(f"{key}: {text}")}" is outside its limits', f"a {_OF[of].dimension} a rig has",
                              "correct it in the file")  # fmt: skip
        return found

    # ---- rows ----

    def _row(self, number: int, cells: Sequence[str]) -> None:
        columns = self._columns
        if columns is None:
            return
        self._rows += 1
        row: Row = {}
        for name, (at, scale, offset) in columns.at.items():
            if name in _WORDED or at >= len(cells):
                continue
            value = self._number(cells[at])
            if value is not None and _within(_OF[name], value * scale + offset):
                row[name] = value * scale + offset
        words = {
            name: _WORDS.get(cells[at].casefold(), "?") if at < len(cells) else "?"
            for name, (at, *_) in columns.at.items()
            if name in _WORDED
        }
        where = words.get("stroke_class", "")
        if "?" in words.values() or not set(columns.at) - set(words) <= set(row):
            self._bad += 1
            return
        if "way" in words:
            paired = self._pair(where, words["way"], row)
            if paired is None:
                return
            row = paired
        if where not in self._open:
            self._open[where] = _Thinned(dict(self._said), number)
            self._found.append((where, self._open[where]))
        self._open[where].add(row)

    def _pair(self, where: str, way: str, row: Row) -> Row | None:
        """A stroke forward with the next one back of its class; one without the other is no friction."""
        force = row.pop("force")
        if way == FORWARD:
            self._bad += where in self._forward
            self._forward[where] = (row, force)
            return None
        if where not in self._forward:
            self._bad += 1
            return None
        first, forward = self._forward.pop(where)
        return {**_mean([first, row]), "forward": forward, "back": force}

    def _number(self, cell: str) -> float | None:
        text = cell.replace("\u2212", "-")
        if self._decimal == ",":
            if "." in text:
                return None
            text = text.replace(",", ".")
        return float(text) if len(text) <= LONGEST and PLAIN.fullmatch(text) else None

    def _close(self) -> None:
        self._open, self._forward = {}, {}
        if len(self._found) > MOST_SECTIONS:
            raise refusal(self._file, 0, "rig-many-sections", f"it has more than {MOST_SECTIONS} sections",
                          "load steps of one specimen", "split the file")  # fmt: skip

    def done(self, encoding: str, digest: str) -> Forces:
        sections = list(self._sections())
        if not sections:
            known = listed(sorted({"forward", "back", "time", "class"}))
            raise refusal(self._file, 1, "rig-no-table", "no table of strokes is found in it",
                          f"columns such as {known}, with their units", "name the columns so")  # fmt: skip
        if self._bad > MOST_BAD * self._rows:
            raise refusal(self._file, sections[0].line, "rig-rows-bad",
                          f"{self._bad} of {self._rows} rows lack a number, a known class or the other way",
                          "a number under every header, classes mid and reversal, ways forward and back",
                          "see how the file is written")  # fmt: skip
        return Forces(sections, encoding, digest, self._specimen, self._rows, self._bad)

    def _sections(self) -> Iterator[Section]:
        for where, each in self._found:
            if each.part and not each.rows:
                each.rows.append(_mean(each.part))
            if each.rows:
                yield Section(each.said, where, each.rows, each.line, each.every)


def _within(field: Field, value: float) -> bool:
    """Whether a value lies inside the limits of its field."""
    return (field.low is None or value >= field.low) and (field.high is None or value <= field.high)


def _word(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace(".", " ").replace("-", " ").split())
