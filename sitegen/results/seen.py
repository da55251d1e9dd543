"""What somebody saw when deciding: answers, and the values they rest on, by which it goes stale by itself.

The hash of the results changes for what nobody looked at, so it only says where to find them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sitegen.program.model import Moved
from sitegen.results import alike
from sitegen.vocabulary import Key

Seen = Mapping[tuple[str, ...], alike.Row]  # table and what names a row in it -> the row as stored
Wanted = Callable[[str, alike.Row], bool]  # table, row
_TOLD = {  # columns of a table that are seen: its word, then its number with the ends of its interval
    "verdicts.csv": ("word", "found", "low", "high", "limit"),
    "measures.csv": ("status", "value", "low", "high"),
}


def seen(files: Mapping[str, bytes], wanted: Wanted) -> Seen:
    """The rows of a state of the results that are looked at."""
    return {
        (table, *alike.key_of(table, row)): row
        for table in _TOLD
        for row in alike.rows(files[table])
        if wanted(table, row)
    }


def moved(before: Seen, after: Seen) -> tuple[Moved, ...]:
    """What is no longer as it was seen, answers first; a last digit is nothing."""
    found = []
    for where in {**before, **after}:
        table, old, new = where[0], before.get(where), after.get(where)
        if old and new and not set(_TOLD[table]) & set(alike.differing(table, old, new)):
            continue
        row = new or old or {}
        key = Key(row["engine"], int(row["cylinder"] or 0), row["coating"], row["phase"], row["at"])
        what = row["rule" if table == "verdicts.csv" else "measure"]
        limits = ("", "")
        if old and new and old.get("limit", "") != new.get("limit", ""):
            limits = (old["limit"], new["limit"])
        found.append(Moved(what, _told(table, old, limits[0]), _told(table, new, limits[1]), key, _by(table, old, new)))
    return tuple(found)


def _told(table: str, row: alike.Row | None, limit: str) -> str:
    """ "fails, 0.391 (0.355 to 0.415)", as stored."""
    if row is None:
        return ""
    word, value, low, high, *_ = (row[name] for name in _TOLD[table])
    number = f"{value} ({low} to {high})" if value and low and high else value
    word = "" if table == "measures.csv" and word == "ok" else word
    return ", ".join(filter(None, (word, number, f"limit {limit}" if limit else "")))


def _by(table: str, old: alike.Row | None, new: alike.Row | None) -> str:
    """How far the number moved, signed, in the digits of the coarser one; "" where one of them has none."""
    name = _TOLD[table][1]
    if not old or not new or not old[name] or not new[name] or old[name] == new[name]:
        return ""
    places = min(max(0, len(row[name].partition(".")[2])) for row in (old, new))
    return f"{float(new[name]) - float(old[name]):+.{places}f}"
