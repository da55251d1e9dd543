"""Over the hours of a long run on the page of a build: levels by window, what they tell and what they cannot."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from sitegen.declarations import Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.runlog.hours.measures import BENCH, CHANNELS, LOST, WINDOWS, Channel
from sitegen.streams.runlog.hours.steps import EXTRAPOLATED, LEVELS, LINES, MARKS
from sitegen.streams.runlog.judged import base
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Value

MOST_POINTS = 200  # of a channel in a figure
MARKED = 0.004  # share of the axis, half of the band that marks a change
CYCLE, NOT_KNOWN, SHORT, DAYS = "daily-cycle", "bench-not-known", "run-short", "few-days"  # reasons


class Level:
    """A window of a channel."""

    channel: str
    hour: float
    level: float
    side: float


class Mark:
    """A change of meter or oil at so many hours; without hours why windows were lost, and how many."""

    hour: float
    what: str
    many: float


def over_the_hours(view: View) -> Sequence[Block]:
    """One long run after the other."""
    blocks: list[Block] = []
    for series in view.series(LEVELS):
        phase = view.program.phase(series.key.phase)
        rows = rows_of(series.frame, Level)
        channels = list(dict.fromkeys(row.channel for row in rows))
        if not channels:
            continue
        marks = [row for each in view.series(MARKS) if each.key.phase == phase.id for row in rows_of(each.frame, Mark)]
        lines = [row for each in view.series(LINES) if each.key.phase == phase.id for row in rows_of(each.frame, Level)]
        panels = [
            _panel(view, channel, [row for row in rows if row.channel == channel],
                   [row for row in lines if row.channel == channel], marks)
            for channel in channels
        ]  # fmt: skip
        first = next((at for at, channel in enumerate(channels) if channel == "blowby"), 0)
        several = len(rows) > MOST_POINTS * len(channels)
        caption = f"Grey: levels {'of several windows' if several else 'by window'}."
        caption += " Straight: the line told of them." if lines else ""
        own = CHANNELS[base(channels[first])[0]]
        name = f"over-the-hours-{view.the_build.id}-{phase.id}"
        shown = panels[first]
        blocks.append(Figure(name, "curves", (shown,), _reading(view, phase), caption, measure=own.slope.id))
        blocks.append(_table(view, phase, channels))
        if len(panels) > 1:
            rest = tuple(panel for panel in panels if panel is not shown)
            blocks.append(Figure(f"{name}-more", "curves", rest, "", caption, one_scale=False))
        blocks.append(Text((Cell(_lost(view, phase, marks)),), "note"))
    return blocks


def _panel(view: View, channel: str, rows: Sequence[Level], lines: Sequence[Level], marks: Sequence[Mark]) -> Panel:
    kind, title = CHANNELS[base(channel)[0]], _title(channel)
    coating = view.the_build.coatings[0] if len(view.the_build.coatings) == 1 else ""
    end = max(row.hour for row in rows)
    places = kind.unit
    path: list[ChartRow] = [
        {"at": round(row.hour, 2), "value": float(f"{row.level:.5g}"), "line": f"{name} {row.side:g}", "grey": grey,
         "coating": coating}
        for name, grey, drawn in (("levels", True, list(thinned(rows))), ("slope", False, lines))
        for row in drawn
    ]  # fmt: skip
    half = MARKED * end
    bands: list[ChartRow] = [
        {"at": max(row.hour - half, 0.0), "to": min(row.hour + half, end), "label": row.what}
        for row in marks
        if row.hour == row.hour
    ]
    least = min(row.level for row in rows)
    signals: ChartRow = {"from": 0.0, "to": math.ceil(end), "least": least, "along": "h"}
    return Panel(title, {"path": path, "bands": bands}, signals, coating=coating,
                 label=f"{title} over the hours of the run", axis=f"{title}, {places}", along="Hours run")  # fmt: skip


def thinned(rows: Sequence[Level]) -> Iterator[Level]:
    """The windows; of many, means of neighbours on one side."""
    size = -(-len(rows) // MOST_POINTS)
    for side in dict.fromkeys(row.side for row in rows):
        own = [row for row in rows if row.side == side]
        for at in range(0, len(own), size):
            part, made = own[at : at + size], Level()
            made.hour = sum(row.hour for row in part) / len(part)
            made.level = sum(row.level for row in part) / len(part)
            made.side = side
            yield made


def _title(channel: str) -> str:
    name, cylinder = base(channel)
    title = words.sentence(CHANNELS[name].title)
    return f"{title}, cylinder {cylinder}" if cylinder else title


def _reading(view: View, phase: Phase) -> str:
    """What is told of blow-by, then which other channels changed."""
    told = [each for kind in CHANNELS.values() for each in _values(view, kind.slope.id, phase)]
    blowby = view.value(CHANNELS["blowby"].slope.id, phase.id, cylinder=0)
    parts = [_of_blowby(view, phase, blowby)] if blowby is not None else []
    moved = [each for each in told if each is not blowby and _sure(each)]
    if moved:
        named = (f"{_lower(_of(each))} {_rate(each, CHANNELS[_kind(each)])}" for each in moved)
        parts.append(f"{'Beside it' if blowby is not None else 'These'} changed: {words.listed(named)}.")
    elif any(each.value is not None for each in told if each is not blowby):
        parts.append("No other channel changed by more than its wander explains.")
    return " ".join(filter(None, parts))


def _of_blowby(view: View, phase: Phase, slope: Value) -> str:
    kind = CHANNELS["blowby"]
    hours = words.with_unit(words.number(_run(view, phase), 0), "h")
    if slope.value is None:
        least = view.value(kind.least.id, phase.id, cylinder=0)
        by_itself = ""
        if least is not None and least.value is not None:
            amount = words.with_unit(words.number(least.value, words.decimals_alone(least.value, 2)), "%")
            by_itself = f" By its wander alone it could show none below {amount} per 100 h."
        return f"This run of {hours} tells no slope of blow-by, and none is drawn: {view.why(slope.reason)}.{by_itself}"
    if not _sure(slope):
        return (
            f"Over {hours} blow-by changed by no more than its wander explains: {_ends(slope)} per 100 h."
            f"{_planned(view, phase)}"
        )
    word = "rose" if slope.value > 0 else "fell"
    return f"Over {hours} blow-by {word} by {_rate(slope, kind, signed=False)}.{_planned(view, phase)}"


def _planned(view: View, phase: Phase) -> str:
    """Where the run ended before the hours planned, its level there by the line."""
    value = view.value(CHANNELS["blowby"].ahead.id, phase.id, cylinder=0)
    if value is None or value.value is None or EXTRAPOLATED not in value.flags:
        return ""
    hours = words.with_unit(words.number(phase.repeat * sum(step.time for step in phase.schedule) / 3600, 0), "h")
    return f" Drawn on to the {hours} planned, a window would lie at {view.text(value, unit=True)}."


def _run(view: View, phase: Phase) -> float:
    """Hours run in a phase, by its windows' last."""
    rows = [row for each in view.series(LEVELS) if each.key.phase == phase.id for row in rows_of(each.frame, Level)]
    return max((row.hour for row in rows), default=0.0)


def _values(view: View, measure: str, phase: Phase) -> list[Value]:
    return [each for each in view.values(measure, engine=view.the_build) if each.key.phase == phase.id]


def _kind(value: Value) -> str:
    return next(name for name, each in CHANNELS.items() if value.measure in {each.slope.id, each.least.id})


def _of(value: Value) -> str:
    title = CHANNELS[_kind(value)].title
    return f"{title} of cylinder {value.key.cylinder}" if value.key.cylinder else title


def _lower(title: str) -> str:
    return title[0].lower() + title[1:]


def _sure(value: Value) -> bool:
    """Whether the interval leaves no change out."""
    return value.low is not None and value.high is not None and (value.low > 0 or value.high < 0)


def _rate(value: Value, kind: Channel, *, signed: bool = True) -> str:
    """A slope with its interval: "+2.1 % per 100 h (0.4 to 3.9)"."""
    if value.value is None or value.low is None or value.high is None:
        return words.DASH
    turned = not signed and value.value < 0
    ends = (-value.high, -value.low) if turned else (value.low, value.high)
    places = words.apart(ends, 0.0, words.decimals_for((ends[1] - ends[0]) / 2))
    number = words.number(abs(value.value), places) if not signed else words.signed(value.value, places)
    unit, _, per = kind.slope.unit.partition(" per ")
    return f"{words.with_unit(number, unit)} per {per} ({words.span(*ends, places)})"


def _ends(value: Value) -> str:
    return words.with_unit(words.span(value.low, value.high), "%")


def _table(view: View, phase: Phase, channels: Sequence[str]) -> Table:
    """Every channel: slope, the least that could be told, the level at the planned hours, or why there is none."""
    rows = []
    for channel in channels:
        kind, (_, cylinder) = CHANNELS[base(channel)[0]], base(channel)
        slope, least, ahead = (
            view.value(measure.id, phase.id, cylinder=cylinder) for measure in (kind.slope, kind.least, kind.ahead)
        )
        bench = view.value(BENCH.id, phase.id, channel, cylinder=0)
        told = slope is not None and slope.value is not None
        unit, why = kind.slope.unit, "" if slope is None or told else view.why(slope.reason)
        rows.append(
            Row(
                (
                    Cell(_title(channel)),
                    Cell(view.text(slope) if told else "none", note=why),
                    Cell(view.text(least)),
                    Cell(unit),
                    Cell(view.text(ahead, unit=True) if ahead is not None and ahead.value is not None else words.DASH),
                    Cell(view.text(bench)),
                )
            )
        )
    columns = (
        Column("Channel"), Column("Slope", numeric=True), Column("Least it can show", numeric=True), Column("Unit"),
        Column("At the planned hours", numeric=True), Column("Bench wanders over", "h", numeric=True, measure=BENCH.id),
    )  # fmt: skip
    return Table(f"slopes-{view.the_build.id}-{phase.id}", columns, rows, wide=True)


def _lost(view: View, phase: Phase, marks: Sequence[Mark]) -> str:
    """How many windows count, and why the others do not."""
    counted = view.value(WINDOWS.id, phase.id, cylinder=0)
    lost = view.value(LOST.id, phase.id, cylinder=0)
    if counted is None or counted.value is None:
        return ""
    there = int(counted.value)
    text = f"{words.sentence(words.counted(there, 'window'))} {words.plural(there, 'counts', 'count')}"
    why = [f"{row.what}: {words.number(row.many, 0)}" for row in marks if row.hour != row.hour]
    if lost is not None and lost.value:
        text += f"; lost {words.number(lost.value, 0)} ({', '.join(why)})"
    changes = [
        f"{row.what} at {words.with_unit(words.number(row.hour, 0), 'h')}" for row in marks if row.hour == row.hour
    ]
    return f"{text}.{f' On record: {words.listed(changes)}.' if changes else ''}"


SECTIONS = (Section("hours", "Over the hours", 48, "engine", over_the_hours, "half", "All channels"),)
