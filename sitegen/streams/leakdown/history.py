"""Leak areas along the phases, as the pages tell them: rows for charts and the words for what was left out.

Everything here arranges values that the steps concluded; nothing is worked out anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sitegen.page import words
from sitegen.page.blocks import ChartRow
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.streams.leakdown.measures import BUILD, CRANKCASE, KM
from sitegen.vocabulary import Value

DOUBTFUL = frozenset(
    {"path-unknown", "other-tester", "no-reference-orifice", "few-reference-readings", "repeats-disagree"}
)  # drawn with open marks


@dataclass(frozen=True)
class Point:
    """One check of one line."""

    x: int  # place of the phase on the axis
    phase: str
    value: Value
    part: str  # assembly
    cold: bool  # before the rings of this assembly first ran


def checked_phases(view: View) -> list[Phase]:
    """Phases with a planned leak-down check, in plan order; of the build where the view has one."""
    return [phase for phase in view.phases if "leakdown" in phase.records]


def distance(view: View, build: Build, phase: Phase) -> str:
    """Sliding distance at the end of a phase of a build, as printed; "" where it has not run."""
    value = view.value(KM, phase.id, engine=build, cylinder=0)
    if value is None or value.value is None:
        return ""
    km = value.value
    return f"{words.number(km, 0 if km >= 20 else 1 if km else 0)} km"


def phase_rows(view: View, builds: Sequence[Build]) -> list[ChartRow]:
    """Axis of a chart: every checked phase with the distance of the first build that ran it."""
    rows: list[ChartRow] = []
    for x, phase in enumerate(checked_phases(view)):
        under = next((d for d in (distance(view, build, phase) for build in builds) if d), "")
        rows.append({"x": x, "label": phase.title, "under": under})
    return rows


def line(view: View, build: Build, cylinder: int) -> list[Point]:
    """Leak area to the crankcase of one cylinder at every check that has one; cylinder 0: mean of the build."""
    measure = CRANKCASE.id if cylinder else BUILD.id
    coating = build.coating_of(cylinder) if cylinder else (view.coating.id if view.coating else "")
    return _points(view, build, measure, cylinder, coating)


def mean_line(view: View, build: Build, coating: str) -> list[Point]:
    """Mean leak area of a build's cylinders of one coating at every check that has one."""
    return _points(view, build, BUILD.id, 0, coating)


def _points(view: View, build: Build, measure: str, cylinder: int, coating: str) -> list[Point]:
    """The same line is drawn on many pages, so it is put together once a program and kind of axis."""
    key = ("line", build.id, measure, cylinder, coating, view.build.id if view.build else "")
    return list(view.the_desk.once(key, lambda: tuple(_each_point(view, build, measure, cylinder, coating))))


def _each_point(view: View, build: Build, measure: str, cylinder: int, coating: str) -> Iterable[Point]:
    places = [p.id for p in checked_phases(view)]
    own = {phase.id for phase in view.program.phases_of(build)}
    fired: set[str] = set()
    for phase in view.program.phases:
        if phase.id not in own:
            continue
        assembly = build.assembly_of(phase, view.program)
        part = assembly.id if assembly else ""
        if phase.fires:
            fired.add(part)
        value = view.value(measure, phase.id, engine=build, cylinder=cylinder, coating=coating)
        if phase.id in places and value is not None and value.status == "ok" and value.value is not None:
            yield Point(places.index(phase.id), phase.id, value, part, part not in fired)


def last(points: Sequence[Point]) -> Point | None:
    """The latest check of a line."""
    return points[-1] if points else None


def mean_row(view: View, point: Point, line: str, coating: str, *, label: str = "", text: str = "") -> ChartRow:
    """A strong point of a chart, with its interval where it has one."""
    value = point.value
    return {
        "line": line,
        "x": point.x,
        "value": value.value,
        "low": value.low,
        "high": value.high,
        "open": bool(value.flags & DOUBTFUL),
        "part": point.part,
        "cold": point.cold,
        "coating": coating,
        "label": label,
        "text": text,
        "tip": f"{line}, {view.program.phase(point.phase).title}: {view.text(value, unit=True)}",
        "series": series_of(view, value),
    }


def thin_row(view: View, point: Point, line: str, coating: str = "", label: str = "") -> ChartRow:
    """A faint point of a chart: a neighbour, a cylinder, another coating."""
    title = view.program.phase(point.phase).title
    return {
        "line": line,
        "x": point.x,
        "value": point.value.value,
        "part": point.part,
        "cold": point.cold,
        "coating": coating,
        "label": label,
        "tip": f"{line}, {title}: {view.text(point.value, unit=True)}",
        "series": series_of(view, point.value),
    }


def series_of(view: View, value: Value) -> str:
    """What a reader of this page may hide: cylinders on the pages of a build, builds elsewhere."""
    if view.build is not None and view.build.id == value.key.engine and value.key.cylinder:
        return f"cylinder {value.key.cylinder}"
    return value.key.engine


def limit_row(view: View) -> ChartRow:
    """The level criterion of the program as a dotted line."""
    level = view.program.seating.level
    return {"value": level, "label": f"limit {mm2(level)}"}


def with_labels(rows: Sequence[ChartRow], label: str) -> list[ChartRow]:
    """The same line, named at its last point."""
    return [*rows[:-1], {**rows[-1], "label": label}] if rows else []


def mm2(number: float) -> str:
    """A leak area without an interval, as printed."""
    return words.number(number, 2)


def range_of(numbers: Sequence[float]) -> str:
    """Leak areas from the least to the largest, with their unit: "0.24 to 0.27 mm²", or the one number."""
    return words.with_unit(bare_range(numbers), "mm²")


def bare_range(numbers: Sequence[float]) -> str:
    """The same without the unit."""
    low, high = mm2(min(numbers)), mm2(max(numbers))
    return words.from_to(low, high)


def area(number: float) -> str:
    """A leak area with its unit, never parted at a line end."""
    return words.with_unit(mm2(number), "mm²")


def area_text(view: View, value: Value | None) -> str:
    """A leak area with its interval in hundredths of a mm², so that a column reads evenly."""
    if value is None or value.status not in {"ok", "excluded"} or value.value is None:
        return view.text(value)
    if value.low is None or value.high is None or math.isinf(value.low) or math.isinf(value.high):
        return view.text(value)
    middle, low, high = (round(number, 2) for number in (value.value, value.low, value.high))
    if abs((high - middle) - (middle - low)) < 0.015:
        return f"{mm2(middle)} ± {mm2((value.high - value.low) / 2)}"
    return f"{mm2(middle)} ({mm2(low)} to {mm2(high)})"


def below_text(view: View, values: Sequence[Value]) -> str:
    """What all of these lie below at least, which are known by a limit alone: "below 0.47 mm²"."""
    largest = max(values, key=lambda each: each.high or 0.0)
    return view.text(largest, unit=True)


def stands_out(values: Sequence[Value]) -> Value | None:
    """The largest value, where its interval clears those of all others; None where nothing stands out.

    Others may be known only to lie below a limit.
    """
    known = [each for each in values if each.value is not None and each.low is not None and each.high is not None]
    bounds = [each for each in values if each.value is None and each.high is not None]
    if not known or len(known) + len(bounds) < 2:
        return None
    *rest, top = [*bounds, *sorted(known, key=lambda each: each.value or 0.0)]
    return top if (top.low or 0.0) > max(each.high or 0.0 for each in rest) else None
