"""What calibrations say of the readings before and after them: whether an instrument is due, and what is in doubt.

A calibration whose as-found lies beyond its tolerance puts every reading since the last good check in doubt. Nothing is
corrected backwards: between the two checks nobody knows when it went wrong.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from sitegen.program.model import Calibration, CheckPoint, Definitions, Meter, Tester, Tool

Gauge = Literal["supply", "cylinder", ""]
Calibrated = Tester | Meter | Tool
_ROUNDING = 1e-9  # share of a tolerance: a point on it is within it


@dataclass(frozen=True)
class Span:
    """Days after one and up to another, that one included, as ISO dates."""

    after: str  # "" since it was first there
    until: str  # "" till today

    def holds(self, day: str) -> bool:
        """Whether a day lies in it."""
        return self.after < day and (not self.until or day <= self.until)


@dataclass(frozen=True)
class Doubt(Span):
    """Days whose readings of an instrument are in doubt, and what it showed too much or too little then."""

    instrument: str  # id
    errors: tuple[tuple[float, float], ...]  # shown by the standard, shown too much: SI of the reading, ascending
    gauge: Gauge = ""  # of a tester: the gauge it is about; "" both, or the only one
    left: bool = False  # it was left so on the day `after`, rather than found so on the day `until`

    def error(self, at: float) -> float:
        """What it showed too much [SI] at a reading, straight between the points and constant beyond them.

        >>> Doubt("", "", "G", ((0.0, 0.0), (10.0, 1.0))).error(2.0), Doubt("", "", "G", ((5.0, 1.0),)).error(9.0)
        (0.2, 1.0)
        """
        points = self.errors
        place = bisect_left(points, (at, float("-inf")))
        if place in {0, len(points)}:
            return points[0 if place == 0 else -1][1]
        (low, first), (high, second) = points[place - 1 : place + 1]
        return first + (second - first) * (at - low) / (high - low)


@dataclass(frozen=True)
class Unknown(Span):
    """Days before a calibration without as-found readings, since the last good check: nobody knows how it read."""

    instrument: str  # id


@dataclass(frozen=True, order=True)
class Due:
    """An instrument whose newest calibration on record ends soon, or has ended."""

    due: str  # ISO date
    instrument: str  # id
    title: str
    on: str  # ISO date of that calibration
    days: int  # till then, from the day asked about; below zero: overdue


def every(definitions: Definitions) -> dict[str, Calibrated]:
    """Instruments that are calibrated, by id."""
    return {**definitions.testers, **definitions.meters, **definitions.tools}


def due(definitions: Definitions, day: str, within_days: float) -> list[Due]:
    """Instruments due within so many days of a day, the one longest overdue first.

    One without a calibration on record is never due; nor is one that was withdrawn by that day.
    """
    found = []
    for one in every(definitions).values():
        newest = next((each for each in reversed(_dated(one.calibrations)) if each.due), None)
        if newest is not None and not (one.until and one.until <= day):
            days = (date.fromisoformat(newest.due) - date.fromisoformat(day)).days
            if days <= within_days:
                found.append(Due(newest.due, one.id, one.title, newest.on, days))
    return sorted(found)


def within(point: CheckPoint, shown: float) -> bool:
    """Whether a reading at a point is within its tolerance."""
    return abs(shown - point.at) <= point.tolerance * (1 + _ROUNDING)


def good(points: Sequence[CheckPoint]) -> bool:
    """Whether an instrument was known to read right after a calibration: adjusted so, or found so and left alone."""
    return bool(points) and all(within(each, _after(each)) for each in points)


def doubts(one: Calibrated) -> tuple[Doubt, ...]:
    """Every stretch of days whose readings of an instrument are in doubt, by their ends.

    Errors are in the SI unit of the reading: Pa of a pressure gauge, a share of a percent gauge, m3/s on its own scale
    of a meter, K of a thermometer. Where a point was checked twice, rising and falling, the larger error counts.
    Source: methods, part 2, section 17.
    """
    if not isinstance(one, Tester):
        return tuple(_doubts(one, ""))
    each = {gauge: _doubts(one, gauge) for gauge in ("supply", "cylinder")}
    both = [doubt for doubt in each["supply"] if doubt in each["cylinder"]]
    apart = [
        Doubt(doubt.after, doubt.until, one.id, doubt.errors, gauge, doubt.left)  # type: ignore[arg-type]
        for gauge, found in each.items() for doubt in found if doubt not in both
    ]  # fmt: skip
    return tuple(sorted((*both, *apart), key=lambda doubt: (doubt.until or "~", doubt.after, doubt.gauge)))


def unknowns(one: Calibrated) -> tuple[Unknown, ...]:
    """Every stretch of days before a calibration that recorded nothing as found."""
    dated = _dated(one.calibrations)
    return tuple(
        Unknown(_last_good(dated[:n], ""), each.on, one.id)
        for n, each in enumerate(dated)
        if not any(point.found is not None for point in each.checks)
    )


def in_doubt(definitions: Definitions) -> dict[str, tuple[Doubt, ...]]:
    """Doubts by the id of their instrument; only instruments that have any."""
    return {one.id: found for one in every(definitions).values() if (found := doubts(one))}


def _doubts(one: Calibrated, gauge: Gauge | str) -> list[Doubt]:
    """Of one gauge, without saying which."""
    dated = _dated(one.calibrations)
    found = []
    for n, each in enumerate(dated):
        points = _of(each, gauge)
        if any(point.found is not None and not within(point, point.found) for point in points):
            errors = _errors([(point.at, point.found - point.at) for point in points if point.found is not None])
            found.append(Doubt(_last_good(dated[:n], gauge), each.on, one.id, errors))
        if points and not good(points):
            errors = _errors([(point.at, _after(point) - point.at) for point in points])
            until = next((later.on for later in dated[n + 1 :] if _of(later, gauge)), "")
            found.append(Doubt(each.on, until, one.id, errors, left=True))
    return found


def _dated(calibrations: Sequence[Calibration]) -> list[Calibration]:
    return sorted((each for each in calibrations if each.on), key=lambda each: each.on)


def _of(one: Calibration, gauge: str) -> list[CheckPoint]:
    return [point for point in one.checks if not gauge or point.gauge in {"", gauge}]


def _after(point: CheckPoint) -> float:
    """What it showed once the calibration was over."""
    shown = point.found if point.left is None else point.left
    return point.at if shown is None else shown  # one of them is always there


def _last_good(before: Sequence[Calibration], gauge: str) -> str:
    return next((each.on for each in reversed(before) if good(_of(each, gauge))), "")


def _errors(each: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    largest: dict[float, float] = {}
    for at, error in each:
        largest[at] = max(largest.get(at, 0.0), error, key=abs)
    return tuple(sorted(largest.items()))
