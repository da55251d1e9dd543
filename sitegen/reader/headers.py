"""Headers: how they are compared, and which part of one is a unit."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from functools import lru_cache

from sitegen import units
from sitegen.reader.neutral import meant

_WORDS = frozenset(
    ("metre", "meter", "micron", "inch", "inches", "mil", "foot", "feet", "mile", "hour", "hours", "day", "days",
     "degree", "degrees", "turn", "turns", "rev", "litre", "liter", "percent", "in", "d")
)  # fmt: skip


# absorbance of oil by its path, as laboratories give oxidation and nitration; common practice, no source
_ABSORBANCE = re.compile(r"(?:^| )(?:A|Abs\.?)/ ?(?:cm|0[.,]1 ?mm)$")


def plain(text: str) -> str:
    """A header as it is compared: blanks at its ends, runs of blanks and the mark of a text do not count.

    >>> plain("  Cylinder  gauge ")
    'Cylinder gauge'
    """
    return _compared(text) if len(text) <= _REMEMBERED else meant(" ".join(text.split()))


_REMEMBERED = 100  # characters: headers and words of cells come again and again, texts do not


@lru_cache(maxsize=1 << 14)
def _compared(text: str) -> str:
    return meant(" ".join(text.split()))


def parted(header: str) -> tuple[str, str]:
    """Name and bracketed unit of a header.

    >>> parted("pressure [kPa gauge]"), parted("percent ()"), parted("engine")
    (('pressure', 'kPa gauge'), ('percent', ''), ('engine', ''))
    """
    text = plain(header)
    at = text.find("(") if text.endswith(")") else text.rfind("[") if text.endswith("]") else -1
    if at < 0 or (text[at] == "[" and "]" in text[at:-1]):
        return text, ""
    return text[:at].rstrip(), plain(text[at + 1 : -1])


def known_in(wanted: Collection[str]) -> Callable[[Sequence[str]], int]:
    """A count of the cells that are one of some plain headers, with or without its unit.

    >>> known_in({"Torque", "n [rpm]"})(["Torque [N m]", "n  [rpm]", "n", ""])
    2
    """
    names = frozenset(wanted) - {""}

    @lru_cache(maxsize=1 << 12)  # rows of figures are asked about as well, and say the same again and again
    def is_one(cell: str) -> bool:
        name = plain(cell)
        return name in names or (name.endswith((")", "]")) and parted(name)[0] in names)

    return lambda cells: sum(map(is_one, cells))


def bare(cell: str) -> str:
    """A unit without the brackets around it.

    >>> bare("[kPa]"), bare("(s)"), bare("rpm")
    ('kPa', 's', 'rpm')
    """
    return cell[1:-1].strip() if cell[:1] + cell[-1:] in {"[]", "()"} else cell


def with_unit(header: str, below: str) -> tuple[str, str, str]:
    """Name of a column without its unit, the unit, and where it stands; `below` is its cell in a row of units.

    >>> with_unit("Torque N m", ""), with_unit("Supply", "[psig]")
    (('Torque', 'N m', 'at the end of its header'), ('Supply', 'psig', 'in the row of units'))
    """
    if below:
        return parted(header)[0], bare(below), "in the row of units" if bare(below) else ""
    name, bracket = parted(header)
    rest, _, last = name.rpartition(" ")
    if rest and bracket and units.is_unit(last) and units.is_unit(f"{last} ({bracket})"):  # p bar (g)
        return rest, header[len(rest) :].strip(), "at the end of its header"
    if bracket and (units.is_unit(bracket) or _ABSORBANCE.fullmatch(bracket)):
        return name, bracket, "in its header"
    if bracket:
        return header, "", ""
    if found := _ABSORBANCE.search(header):
        return header[: found.start()].rstrip(), found[0].strip(), "at the end of its header"
    for mark in (r"[\s,/]+", r"_"):
        parts = re.split(f"({mark})", header)
        for begin in range(2, len(parts), 2):
            tail = "".join(parts[begin:]).replace("_", " ").strip()
            rest = "".join(parts[: begin - 1]).strip(" _,/")
            word = tail.split(" ")[0] in _WORDS  # rather of the header: Second meter, x in um
            if re.search("[A-Za-z]", rest) and tail[:1] not in "0123456789" and not word and units.is_unit(tail):
                return rest, tail, "at the end of its header"
    return header, "", ""


def joined(heads: Sequence[Sequence[str]], *, carried: bool = True) -> list[str]:
    """Headers of several rows joined by a blank; `carried`: a group's name stands for all of its columns.

    >>> joined([["Engine", ""], ["n", "Md"]])
    ['Engine n', 'Engine Md']
    """
    width = max((len(row) for row in heads), default=0)
    rows = [[plain(cell) for cell in [*row, *[""] * (width - len(row))]] for row in heads]
    for row in rows[:-1] if carried else ():
        for at in range(1, width):
            row[at] = row[at] or row[at - 1]
    return [" ".join(filter(None, parts)) for parts in zip(*rows, strict=True)]


def says_units(row: Sequence[str]) -> bool:
    """Whether most cells of a row are units, or stand in brackets.

    >>> says_units(["[s]", "rpm", ""]), says_units(["1", "-"]), says_units(["B1", "rpm", "x"])
    (True, False, False)
    """
    cells = [plain(cell) for cell in row if cell.strip()]
    sure = [cell for cell in cells if bare(cell) != cell or units.is_unit(cell)]
    known = len(sure) + sum(cell in {"-", "1"} for cell in cells if cell not in sure)
    return any(cell != "1" for cell in sure) and known >= 0.6 * len(cells)
