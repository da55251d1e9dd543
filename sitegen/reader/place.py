"""Where the column stands that a record entry names: one rule for tables and for logs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from sitegen import units
from sitegen.problems import listed, nearest, shown
from sitegen.program.model import Address
from sitegen.reader.grid import letters
from sitegen.reader.headers import parted, plain

_MOST_SHOWN = 6  # columns named one by one
# words for time in headers, in the languages of the trade met so far; common practice, no source
TIMES = frozenset({"t", "time", "timestamp", "elapsed", "zeit", "temps", "tiempo", "tempo", "tijd", "tid", "czas"})


class Misplaced(LookupError):  # noqa: N818 - it says where, not that something broke
    """No column, or more than one, stands where an address points."""

    def __init__(self, code: str, what: str, expected: str = "", near: str = "", next_step: str = "") -> None:
        super().__init__(what)
        self.code, self.what, self.expected, self.nearest, self.next_step = code, what, expected, near, next_step


def ending(header: str) -> str:
    """The unit a header ends in: what stands in brackets, else a last word that can be nothing but a unit; "" none.

    >>> ending("Druck [bar]"), ending("Drehzahl, U/min"), ending("Druck min"), ending("Zyl. 1")
    ('bar', 'U/min', '', '')
    """
    name, unit = parted(header)
    if unit:
        return unit
    words = re.split(r"[\s,;_]+|\bin\s+", name)
    last = words[-1] if len(words) > 1 else ""
    return last if units.alone(last) else ""


def column(at: int) -> str:
    """A column as it is told, by its place from 0 on.

    >>> column(53)
    'column 54 (BB)'
    """
    return f"column {at + 1} ({letters(at)})"


def labels(header: Sequence[str]) -> list[str]:
    """A name for each column that no other bears: its header, with its place where it is repeated or empty.

    >>> labels(["n", "Temp.", "Temp.", ""])
    ['n', 'Temp., column 2 (B)', 'Temp., column 3 (C)', 'column 4 (D)']
    """
    names = list(header)
    return [
        column(at) if not name else f"{name}, {column(at)}" if names.count(name) > 1 else name
        for at, name in enumerate(names)
    ]


def place(header: Sequence[str], address: Address, file: str, where: str, carried: Sequence[str] = ()) -> int:
    """Position from 0 on of the column an address means.

    `header` has a plain header a column, "" where there is none; `carried` the same with the name of a group over all
    of its columns, where headers have several rows; `where` is the row they stand in, as messages say it. A header
    counts with or without its unit in brackets. Raises `Misplaced`.
    """
    if address.left_of is not None:
        at = place(header, address.left_of, file, where, carried) - 1
        if at < 0:
            what = f"nothing stands left of {_told(header, at + 1)}, the first column of {shown(file)}"
            raise Misplaced("column-missing", what, "a column with another to its left")
    elif address.number:
        at = address.number - 1
        if at >= len(header):
            what = f"{shown(file)} has {len(header)} columns, and no {column(at)}"
            raise Misplaced("column-missing", what, f"1 to {len(header)}")
    else:
        return _by_header(header, address, file, where, carried)
    said = plain(address.header)
    if said and at not in _under(said, header, carried):
        what = f'{column(at)} of {shown(file)} is headed "{shown(header[at])}", not "{shown(said)}"'
        found = _under(said, header, carried)
        near = listed(column(each) for each in found[:_MOST_SHOWN]) if found else ""
        raise Misplaced("column-contradicted", what, "the header of that column, or none", near)
    return at


def _under(name: str, header: Sequence[str], carried: Sequence[str]) -> list[int]:
    """Columns under a header: under all of it, else under it but for its unit."""
    for whole in (True, False):
        for row in (header, carried):
            found = [at for at, cell in enumerate(row) if (cell if whole else parted(cell)[0]) == name]
            if found:
                return found
    return []


def _by_header(header: Sequence[str], address: Address, file: str, where: str, carried: Sequence[str]) -> int:
    name = plain(address.header)
    found = _under(name, header, carried) if name else []
    if not found:
        what = f'{shown(file)} has no column "{shown(address.header)}"'
        near = nearest(name, filter(None, [*header, *carried]))
        raise Misplaced("column-missing", what, f"a header of {where}", near)
    if address.which:
        if address.which > len(found):
            what = f'"{shown(address.header)}" stands over {_columns(found)} of {shown(file)}; there is no number '
            raise Misplaced("column-missing", f"{what}{address.which}", f"1 to {len(found)}")
        return found[address.which - 1]
    if len(found) == 1:
        return found[0]
    what = f'"{shown(address.header)}" stands over {_columns(found)} of {shown(file)}'
    names = list(dict.fromkeys(header[at] for at in found))
    if len(names) == len(found) and all(names):
        step = f"write the whole header: {' or '.join(shown(each) for each in names[:_MOST_SHOWN])}"
        raise Misplaced("column-ambiguous", what, "one column", next_step=step)
    at = found[-1]
    ways = [f'{{header: "{shown(address.header)}", which: {len(found)}}}', f"{{number: {at + 1}}}",
            f"{{letter: {letters(at)}}}"]  # fmt: skip
    if at + 1 < len(header) and header[at + 1] and list(header).count(header[at + 1]) == 1:
        ways.append(f'{{left_of: "{shown(header[at + 1])}"}}')
    step = f"say which, for the last of them: {listed(ways)}"
    raise Misplaced("column-ambiguous", what, "one column", next_step=step)


def _columns(found: Sequence[int]) -> str:
    """How many columns, and which.

    >>> _columns([3, 8])
    '2 columns, 4 (D) and 9 (I),'
    """
    *named, last = [f"{at + 1} ({letters(at)})" for at in found[:_MOST_SHOWN]]
    if len(found) > _MOST_SHOWN:
        named, last = [*named, last], f"{len(found) - _MOST_SHOWN} more"
    if not named:
        return f"one column, {last},"
    return f"{len(found)} columns, {', '.join(named)} and {last},"


def _told(header: Sequence[str], at: int) -> str:
    return f'"{shown(header[at])}"' if header[at] else column(at)
