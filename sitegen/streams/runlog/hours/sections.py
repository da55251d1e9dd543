"""Over the hours of a long run on the page of a build: levels by window, what they tell and what they cannot."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sitegen.declarations import Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.runlog.hours.measures import BENCH, CHANNELS, LOST, WINDOWS, Channel
from sitegen.streams.runlog.hours.steps import EXTRAPOLATED, LEVELS, LINES, MARKS
from sitegen.streams.runlog.hours.whole import LEAST as WHOLE_LEAST
from sitegen.streams.runlog.hours.whole import SLOPE as WHOLE
from sitegen.streams.runlog.judged import base
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Value

MOST_POINTS = 200  # of a channel in a figure
MARKED = 0.004  # share of the axis, half of the band that marks a change


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


@dataclass(frozen=True)
class Run:
    """One long run on the axis of all of them."""

    phase: Phase
    begin: float  # h run before, in long runs
    levels: Sequence[Level]
    lines: Sequence[Level]
    marks: Sequence[Mark]

    def of(self, channel: str) -> list[Level]:
        return [row for row in self.levels if row.channel == channel]

    @property
    def hours(self) -> float:
        """By its last window."""
        return max(row.hour for row in self.levels)

    @property
    def changes(self) -> list[Mark]:
        return [row for row in self.marks if row.hour == row.hour]


def over_the_hours(view: View) -> Sequence[Block]:
    """The long runs of a build one behind the other: the level of blow-by, then of all channels, and what is told."""
    runs = _runs(view)
    if not runs:
        return ()
    channels = list(dict.fromkeys(row.channel for run in runs for row in run.levels))
    first = "blowby" if "blowby" in channels else channels[0]
    several = len(runs[-1].of(first)) > MOST_POINTS
    caption = f"Grey: levels {'of several windows' if several else 'by window'}."
    caption += " Straight: the line told of them." if any(run.lines for run in runs) else ""
    name = f"over-the-hours-{view.the_build.id}"
    measure = CHANNELS[base(first)[0]].slope.id
    blocks: list[Block] = [
        Text((Cell(_reading(view, runs)),), "reading"),
        Figure(name, "curves", (_panel(view, first, runs),), "", caption, measure=measure),
        _table(view, runs, channels),
    ]
    rest = tuple(_panel(view, channel, runs) for channel in channels if channel != first)
    if rest:
        blocks.append(Figure(f"{name}-more", "curves", rest, "", caption, one_scale=False))
    lost = " ".join(filter(None, (_lost(view, run, alone=len(runs) == 1) for run in runs)))
    return (*blocks, Text((Cell(lost),), "note"))


def _runs(view: View) -> list[Run]:
    found: list[Run] = []
    own = {each.key.phase: rows_of(each.frame, Level) for each in view.series(LEVELS)}
    marks = {each.key.phase: rows_of(each.frame, Mark) for each in view.series(MARKS)}
    lines = {each.key.phase: rows_of(each.frame, Level) for each in view.series(LINES)}
    for phase in (each for each in view.phases if own.get(each.id)):
        begin = found[-1].begin + math.ceil(found[-1].hours) if found else 0.0
        found.append(Run(phase, begin, own[phase.id], lines.get(phase.id, []), marks.get(phase.id, [])))
    return found


def _panel(view: View, channel: str, runs: Sequence[Run]) -> Panel:
    kind, title = CHANNELS[base(channel)[0]], _title(channel)
    coating = view.the_build.coatings[0] if len(view.the_build.coatings) == 1 else ""
    end = math.ceil(runs[-1].begin + runs[-1].hours)
    path: list[ChartRow] = [
        {"at": round(run.begin + row.hour, 2), "value": float(f"{row.level:.5g}"), "grey": grey, "coating": coating,
         "line": f"{name} {run.begin:g} {row.side:g}"}
        for run in runs
        for name, grey, drawn in (
            ("levels", True, list(thinned(run.of(channel)))),
            ("slope", False, [row for row in run.lines if row.channel == channel]),
        )
        for row in drawn
    ]  # fmt: skip
    half = MARKED * end
    bands: list[ChartRow] = [
        {"at": max(run.begin + row.hour - half, 0.0), "to": min(run.begin + row.hour + half, end), "label": row.what}
        for run in runs
        for row in run.changes
    ]
    signals: ChartRow = {"from": 0.0, "to": end, "along": "h"}
    return Panel(title, {"path": path, "bands": bands}, signals, coating=coating,
                 label=f"{title} over the hours of the long runs", axis=f"{title}, {kind.unit}",
                 along="Hours run")  # fmt: skip


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


def _reading(view: View, runs: Sequence[Run]) -> str:
    """What is told of blow-by, then which other channels changed."""
    kind = CHANNELS["blowby"]
    phase = runs[0].phase.id if len(runs) == 1 else ""
    names = (kind.slope.id, kind.least.id) if phase else (WHOLE.id, WHOLE_LEAST.id)
    slope, least = (view.value(name, phase, cylinder=0) for name in names)
    parts = [_of_blowby(view, runs, slope, least)] if slope is not None else []
    told = [each for run in runs for name in CHANNELS for each in _values(view, CHANNELS[name].slope.id, run.phase)]
    others = [each for each in told if each.measure != kind.slope.id]
    moved = [each for each in others if _sure(each)]
    if moved:
        named = (f"{_of(each)}{_when(view, each, runs)} {_rate(each, CHANNELS[_kind(each)])}" for each in moved)
        parts.append(f"{'Beside it' if slope is not None else 'These'} changed: {words.listed(named)}.")
    told_of = {_of(each) for each in others if each.value is not None}
    untold = list(dict.fromkeys(name for each in others if (name := _of(each)) not in told_of))
    if told_of and not moved:
        which = "Of the other channels that can be told none" if untold else "No other channel"
        parts.append(f"{which} changed by more than its wander explains.")
    if untold and (told_of or (slope is not None and slope.value is not None)):
        which = words.listed(untold) if len(untold) <= NAMED else words.counted(len(untold), "other channel")
        parts.append(f"Of {which} it cannot be told.")
    return " ".join(filter(None, parts)) or "No level of blow-by is told."


NAMED = 3  # channels named in a sentence; of more the table tells


def _when(view: View, value: Value, runs: Sequence[Run]) -> str:
    """In which of several runs."""
    return f" ({view.program.phase(value.key.phase).title})" if len(runs) > 1 else ""


def _of_blowby(view: View, runs: Sequence[Run], slope: Value, least: Value | None) -> str:
    kind = CHANNELS["blowby"]
    hours = words.with_unit(words.number(math.ceil(runs[-1].begin + runs[-1].hours), 0), "h")
    if slope.value is None:
        by_itself = ""
        if least is not None and least.value is not None:
            amount = words.with_unit(words.number(least.value, words.decimals_alone(least.value, 2)), "%")
            by_itself = f" By their wander alone they could show none below {amount} per 100 h."
        return f"These {hours} tell no slope of blow-by, and none is drawn: {view.why(slope.reason)}.{by_itself}"
    if not _sure(slope):
        told = f"Over {hours} blow-by changed by no more than its wander explains: {_ends(slope)} per 100 h."
    else:
        word = "rose" if slope.value > 0 else "fell"
        told = f"Over {hours} blow-by {word} by {_rate(slope, kind, signed=False)}."
    return told + (_planned(view, runs[0].phase) if len(runs) == 1 else "")


def _planned(view: View, phase: Phase) -> str:
    """Where the run ended before the hours planned, its level there by the line."""
    value = view.value(CHANNELS["blowby"].ahead.id, phase.id, cylinder=0)
    if value is None or value.value is None or EXTRAPOLATED not in value.flags:
        return ""
    hours = words.with_unit(words.number(phase.repeat * sum(step.time for step in phase.schedule) / 3600, 0), "h")
    return f" Drawn on to the {hours} planned, a window would lie at {view.text(value, unit=True)}."


def _values(view: View, measure: str, phase: Phase) -> list[Value]:
    return [each for each in view.values(measure, engine=view.the_build) if each.key.phase == phase.id]


def _kind(value: Value) -> str:
    return next(name for name, each in CHANNELS.items() if value.measure in {each.slope.id, each.least.id})


def _of(value: Value) -> str:
    title = CHANNELS[_kind(value)].title
    return f"{title} of cylinder {value.key.cylinder}" if value.key.cylinder else title


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


def _table(view: View, runs: Sequence[Run], channels: Sequence[str]) -> Table:
    """Every channel: slope, the least that could be told, the level at the planned hours, or why there is none."""
    rows = []
    for run in runs:
        for channel in (each for each in channels if run.of(each)):
            kind, cylinder = CHANNELS[base(channel)[0]], base(channel)[1]
            slope, least, ahead = (
                view.value(measure.id, run.phase.id, cylinder=cylinder)
                for measure in (kind.slope, kind.least, kind.ahead)
            )
            told = slope is not None and slope.value is not None
            why = "" if slope is None or told else view.why(slope.reason)
            least_told = least is not None and least.value is not None
            there = ahead is not None and ahead.value is not None
            cells = (
                Cell(_title(channel)),
                Cell(view.text(slope) if told else "none", note=why),
                Cell(view.text(least) if least_told else words.DASH),
                Cell(kind.slope.unit),
                Cell(view.text(ahead, unit=True) if there else words.DASH),
                Cell(_bench(view, run.phase, channel)),
            )
            rows.append(Row(cells if len(runs) == 1 else (Cell(run.phase.title), *cells)))
    columns = (
        Column("Channel"), Column("Slope", numeric=True), Column("Least it can show", numeric=True), Column("Unit"),
        Column("At the planned hours", numeric=True), Column("Bench wanders over", "h", numeric=True, measure=BENCH.id),
    )  # fmt: skip
    phase = () if len(runs) == 1 else (Column("Phase"),)
    return Table(f"slopes-{view.the_build.id}", (*phase, *columns), rows, wide=True)


def _bench(view: View, phase: Phase, channel: str) -> str:
    """The slow time constant a slope rests on: stated, or of the other builds."""
    stated = None if view.program.run is None else view.program.run.wander
    if stated is not None:
        return words.number(stated.time / 3600)
    found = view.value(BENCH.id, phase.id, channel, cylinder=0)
    return words.DASH if found is None or found.value is None else words.number(found.value, 1)


def _lost(view: View, run: Run, *, alone: bool) -> str:
    """How many windows count, and why the others do not."""
    counted, lost = (view.value(each.id, run.phase.id, cylinder=0) for each in (WINDOWS, LOST))
    if counted is None or counted.value is None:
        return ""
    there = int(counted.value)
    text = f"{words.counted(there, 'window')} {words.plural(there, 'counts', 'count')}"
    text = words.sentence(text) if alone else f"{words.sentence(run.phase.title)}: {text}"
    why = [f"{row.what}: {words.number(row.many, 0)}" for row in run.marks if row.hour != row.hour]
    if lost is not None and lost.value:
        text += f"; lost {words.number(lost.value, 0)} ({', '.join(why)})"
    changes = [f"{row.what} at {words.with_unit(words.number(row.hour, 0), 'h')}" for row in run.changes]
    return f"{text}.{f' On record: {words.listed(changes)}.' if changes else ''}"


SECTIONS = (Section("over-the-hours", "Over the hours", 48, "engine", over_the_hours, "half", "All channels"),)
