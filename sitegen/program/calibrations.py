"""The calibrations of an instrument, and the days it was there: from the document to the frozen model."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sitegen.program.convert import instance
from sitegen.program.model import Calibration, CheckPoint
from sitegen.program.node import Node

Most = tuple[float, float]  # most it may be off: in SI, and as a share of the value


@dataclass(frozen=True)
class Reads:
    """How the points of an instrument are written."""

    kinds: Mapping[str, str]  # which gauge, "" where the key is left out -> what it reads
    value: Callable[[Node, str], float | None]  # place, what it reads -> SI
    most: Callable[[Node, str], Most | None]  # tolerance as written, which may be nothing; what it reads
    meant: str = ""  # the gauge that is meant where none is said; "" both, or the only one


def plain(reads: str, differs: str, limit: float) -> Reads:
    """Of an instrument that reads one kind of quantity, errs by another, and has a limit of error in SI."""

    def most(node: Node, _: str) -> Most | None:
        found = node.own_quantity(differs) if node.value is not None else limit
        return None if found is None else (found, 0.0)

    return Reads({"": reads}, signed, most)


def signed(node: Node, kind: str) -> float | None:
    """A quantity of a kind that may lie below zero [SI]."""
    return node.own_quantity(kind, signed=True)


def of(entry: Node, reads: Reads) -> tuple[Calibration, ...]:
    """Calibrations of an instrument as written; faults become problems."""
    there(entry)
    made: list[Calibration] = []
    for node in entry.items("calibrations"):
        one = instance(Calibration, node, checks=_checks(node, reads))
        if one.on and one.due and one.due <= one.on:
            told = f"the calibration of {one.on} is due on {one.due}"
            node.get("due").add("dates-reversed", told, expected=f"a day after {one.on}")
        if one.on and any(each.on == one.on for each in made):
            told = f"two calibrations of {entry.path[-1]} are dated {one.on}"
            expected, step = "one calibration a day", "put the points of both into one, or correct a date"
            node.get("on").add("calibrated-twice", told, expected=expected, next_step=step)
        made.append(one)
    return tuple(made)


def there(entry: Node) -> None:
    """The days an instrument was there are in order."""
    if isinstance(entry.get("from").value, str) and isinstance(entry.get("until").value, str):
        first, last = entry.get("from").value, entry.get("until").value
        if last < first:
            told = f'"until"{entry.within} is {last}, but it was first there on {first}'
            entry.get("until").add("dates-reversed", told, expected=f"{first} or later")


def _checks(node: Node, reads: Reads) -> tuple[CheckPoint, ...]:
    points = []
    for each in node.items("checks"):
        gauge = each.text("gauge")
        if each.has("gauge") and len(reads.kinds) == 1:
            told = f'"gauge" does not apply{each.within}: only a leak-down tester has two'
            each.get("gauge").add("key-does-not-apply", told, next_step="remove it")
        if isinstance(each.value, dict) and not each.has("found") and not each.has("left"):
            told = f"{each.subject} says neither what it showed as found nor as left"
            each.add("point-without-reading", told, expected="found, left, or both")
        if gauge not in reads.kinds:  # told here, or where the schema is checked
            continue
        kind, stated = reads.kinds[gauge], node.get("tolerance")
        most = reads.most(stated, kind)
        if most is None and stated.value is None:
            told, expected = f"{node.subject} gives points and no tolerance", "the most it may be off at them"
            node.add("tolerance-missing", told, expected=expected, next_step='add "tolerance", such as 1.5 %')
        at, found, left = (_value(each.get(key), reads, kind) for key in ("at", "found", "left"))
        if at is not None and most is not None and (found is not None or left is not None):
            allowed, said = most[0] + most[1] * abs(at), each.get("at").own_text()
            points.append(CheckPoint(at, found, left, gauge or reads.meant, allowed, said))  # type: ignore[arg-type] # a word
    return tuple(points)


def _value(node: Node, reads: Reads, kind: str) -> float | None:
    return None if node.value is None else reads.value(node, kind)
