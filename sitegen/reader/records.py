"""From lines to records: the separator, quotes, and where each record stands in the file."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from sitegen.reader.blocked import refusal

SEPARATORS: Mapping[str, str] = MappingProxyType(
    {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blanks": " "}
)
_BLANKS = re.compile("[ \t]+")
UNIT = "\x1f"  # unit separator of ASCII: `decode` lets no text with it through
_WHITE = "".join(filter(str.isspace, map(chr, range(0x3001))))  # the white space of Unicode, the hard space among it
NOTHING = "".join(SEPARATORS.values()) + UNIT + _WHITE
"""What may stand in a line that says nothing: a line of it is blank, as it looks in any spreadsheet."""
_UNMATCHED = "the quotes of this row do not match: "
_QUOTES = (
    'a field in quotes from its first to its last character, quotes inside it doubled ("")',
    "close the quote, or take it away",
)


@dataclass(frozen=True)
class Records:
    """Records in file order, header first, each one line without quotes, to be cut at `mark`."""

    rows: list[str]
    lines: list[int]  # line of each in the file
    mark: str
    notes: list[str] = field(default_factory=list)
    word: str = "line"  # what `lines` counts

    def fields(self, i: int) -> list[str]:
        """Fields of one record as written."""
        return self.rows[i].split(self.mark)

    def counts(self) -> list[int]:
        """Number of fields of each record."""
        mark = self.mark
        return [row.count(mark) + 1 for row in self.rows]

    def blanks(self) -> list[bool]:
        """Whether each record holds nothing but separators and white space."""
        ends = self.mark + _WHITE
        return [not row.strip(ends) for row in self.rows]

    def begins(self, heads: Sequence[str]) -> list[int]:
        """Positions of records whose first field may be one of `heads`."""
        starts = tuple(heads)
        return [i for i, row in enumerate(self.rows) if row.lstrip().startswith(starts)]

    def fitted(self, i: int, width: int) -> str:
        """The record with exactly `width` fields: filled up with empty ones, or cut."""
        fields = self.fields(i)[:width]
        return self.mark.join(fields + [""] * (width - len(fields)))


def records(lines: Sequence[str], at: int, separator: str, file: str) -> Records:
    """Records from line position `at` on. Raises `Blocked` where quotes do not match."""
    mark = SEPARATORS[separator]
    if any('"' in line for line in lines[at:]):
        return _quoted(lines, at, mark, file)
    rows = list(lines[at:])
    if mark == " ":
        mark = "\t"
        rows = [_BLANKS.sub(mark, line.strip(" \t")) for line in rows]
    return Records(rows, list(range(at + 1, len(lines) + 1)), mark)


def _quoted(lines: Sequence[str], at: int, mark: str, file: str) -> Records:
    """Records of a table with quotes. A quote that is never closed would swallow rows: refused."""
    fed: Iterable[str] = (line + "\n" for line in lines[at:])
    if mark == " ":
        fed = (line.strip(" \t\n").replace("\t", " ") + "\n" for line in fed)
    reader = csv.reader(fed, delimiter=mark, strict=True, skipinitialspace=True)
    found = Records([], [], UNIT)
    start, others = 0, 1  # lines read so far; separators in the header
    try:
        for row in reader:
            first, last = at + start + 1, at + reader.line_num
            if last > first:
                if any(line.count(mark) >= others for cell in row for line in cell.split("\n")[1:]):
                    raise refusal(file, first, "quotes-unmatched", _UNMATCHED + "a quote is not closed", *_QUOTES)
                found.notes.append(f"lines {first} to {last} are one row: a text in it holds line breaks")
            if not found.rows:
                others = max(len(row) - 1, 1)
            found.rows.append(UNIT.join(row).replace("\n", " "))
            found.lines.append(first)
            start = reader.line_num
    except csv.Error as fault:
        raise refusal(file, at + start + 1, "quotes-unmatched", _UNMATCHED + _said(fault), *_QUOTES) from None
    return found


def _said(fault: csv.Error) -> str:
    text = str(fault)
    if "field larger" in text:
        return "a field is longer than any cell of a table"
    return "text follows the closing quote" if "expected after" in text else "a quote is not closed"


def cut(line: str, separator: str) -> list[str]:
    """Fields of one line, for a look at it before the table is read.

    >>> cut('a;"b;c"', "semicolon")
    ['a', 'b;c']
    """
    mark = SEPARATORS[separator]
    if mark == " ":
        line = _BLANKS.sub(" ", line.strip(" \t"))
    if '"' not in line:
        return line.split(mark)
    try:
        return next(csv.reader([line], delimiter=mark), [""]) or [""]
    except csv.Error:
        return line.split(mark)
