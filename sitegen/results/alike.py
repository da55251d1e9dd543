"""Whether two results are the same: the one tolerance of publish, of "changed since the last commit" and of `check`.

Words, counts, flags and limits are the same or they are not. A number may have moved by its last digit: what another
processor adds up in another order may fall on the other side of a rounding edge, and says nothing.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence

from sitegen.reader.neutral import meant
from sitegen.rounding import OF_ERROR, OF_VALUE, place

Row = Mapping[str, str]

KEYS = {  # columns that name a row
    "measures.csv": ("engine", "cylinder", "coating", "phase", "at", "measure"),
    "comparisons.csv": ("measure", "phase", "at", "coating"),
    "verdicts.csv": ("rule", "engine", "cylinder", "coating", "phase", "at"),
}
_PLACED = {  # a number and the ends of its interval, rounded to one decimal place
    "measures.csv": ("value", "low", "high"),
    "comparisons.csv": ("estimate", "low", "high"),
    "verdicts.csv": ("found", "low", "high"),
}
_DIGITS = dict.fromkeys(
    ("se", "df", "se_common", "p", "p_randomised", "least_p", "icc", "icc_low", "icc_high", "effective_tests",
     "effective_low", "effective_high"), OF_ERROR,
) | dict.fromkeys(("level", "level_reference"), OF_VALUE)  # fmt: skip
_EDGE = 1.01  # of a last digit: numbers one apart in it are never exactly so in binary
_NOTHING = 1e-9  # probabilities below are rounding


def rows(content: bytes) -> list[dict[str, str]]:
    """Rows of a table of results; cells beyond the header stand under a name of their own, so that they differ."""
    table = csv.DictReader(io.StringIO(content.decode("utf-8", errors="replace")), restkey="more", restval="")
    return [{name: meant(str(cell)) for name, cell in row.items()} for row in table]


def merging(content: bytes) -> bool:
    """Whether a file holds the conflict markers that a merge leaves."""
    return any(line.startswith((b"<<<<<<< ", b">>>>>>> ")) for line in content.splitlines())


def key_of(table: str, row: Row) -> tuple[str, ...]:
    """What a row is about."""
    return tuple(row.get(name, "") for name in KEYS[table])


def differing(table: str, old: Row, new: Row) -> list[str]:
    """Columns in which two rows of one key differ by more than the last digit."""
    if old == new:
        return []
    return [name for name in old.keys() | new.keys() if not _same(table, name, old, new)]


def _same(table: str, name: str, old: Row, new: Row) -> bool:
    before, after = old.get(name, ""), new.get(name, "")
    if before == after:
        return True
    placed = name in _PLACED[table]
    if not placed and name not in _DIGITS:
        return False
    a, b = _number(before), _number(after)
    if a is None or b is None or math.isinf(a) or math.isinf(b):
        return False
    if placed:
        own: float = max(_written(old), _written(new))  # a few measures keep more digits than others
        at = max(float(min(_place(table, old), _place(table, new))), own)
        return abs(a - b) <= _EDGE * math.pow(10.0, -at)
    return math.isclose(a, b, rel_tol=_EDGE * 10.0 ** (1 - _DIGITS[name]), abs_tol=_NOTHING)


def _place(table: str, row: Row) -> int:
    value, low, high = (_number(row.get(name, "")) for name in _PLACED[table])
    own = ("df", "se") if table == "measures.csv" else ()  # of a comparison they are on the scale worked on
    df, se = (_number(row.get(name, "")) for name in own) if own else (None, None)
    return place(value, low, high, df, se)


def _written(row: Row) -> float:
    """Decimals of a value that carries no uncertainty; nothing is said by those of any other."""
    bare = not any(row.get(name, "") for name in ("low", "high", "se", "df"))
    decimals = len(row.get("value", "").partition(".")[2]) if bare else 0
    return decimals or -math.inf


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def differences(stored: Mapping[str, bytes], fresh: Mapping[str, bytes]) -> list[str]:
    """Sentences about rows of stored tables that fresh ones do not give back; tables by name."""
    found: list[str] = []
    for table in KEYS:
        if table not in stored:
            found.append(f"{table} is not there")
            continue
        if stored[table] == fresh[table]:
            continue
        try:
            stored[table].decode("utf-8")
        except UnicodeDecodeError as fault:
            found.append(f"{table} cannot be read: {fault}")
            continue
        old, new = ({key_of(table, row): row for row in rows(each[table])} for each in (stored, fresh))
        for key in sorted(old.keys() | new.keys()):
            where = f"{table}, {' '.join(part for part in key if part)}"
            if key not in new:
                found.append(f"{where}: no longer given")
            elif key not in old:
                found.append(f"{where}: not in the committed file")
            else:
                found += [
                    f"{where}: {name} is {old[key].get(name, '')!r}, a fresh run gives {new[key].get(name, '')!r}"
                    for name in _in_order(old[key], differing(table, old[key], new[key]))
                ]
    return found


def _in_order(row: Row, names: Sequence[str]) -> list[str]:
    order = list(row)
    return sorted(names, key=lambda name: (order.index(name) if name in order else len(order), name))
