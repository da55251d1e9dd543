"""What the run logs say on the pages. Formats what the steps concluded; what is drawn is in `drawing`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate
from typing import TYPE_CHECKING

from sitegen.declarations import OfBuild, Section, Unusual
from sitegen.methods.intervals import NORMAL_95
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text, number_of
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.streams.runlog.alarms import sections as alarms
from sitegen.streams.runlog.drawing import (
    FINER,
    LONG_RUN,
    OTHERS,
    RUNS,
    Drawing,
    Line,
    Sketch,
    drawing,
    unit_of,
)
from sitegen.streams.runlog.judged import NOT_RUN, base
from sitegen.streams.runlog.measures import (
    APART,
    BIAS,
    BMEP,
    HELD,
    LAST,
    LEVEL,
    PER_LITRE,
    PISTON_SPEED,
    REFERENCE,
    SCALE,
    STOPPED,
    UNSTEADY,
)
from sitegen.streams.runlog.steps import CHANNEL, PLANNED, QUIET, TIGHT
from sitegen.tables.rows import Recorded, Written, rows_of
from sitegen.vocabulary import Value, Verdict

if TYPE_CHECKING:
    import pandas as pd

KM = "exposure.km"  # measure of what crosses streams
GAPS = "gaps.floor"  # measure of the build sheets
UNSURE = "unverified"  # flag of levels whose meter never moved or stood still: no number for a reader
OFF = "reference-point-off"  # reason of a visit that does not count, told with what was off
NAMED = 3  # stretches without record that a sentence names
NEAR = 120.0  # s between a stop in the log and the same in the event log, whose clock is a person's
HAPPENED = {"stop": "stopped", "hole": "not recorded"}
LIES = "crankcase_pressure"  # told against ambient: may truly lie below zero
ALONG = "Time in each run, min"


# ---- engine ---------------------------------------------------------------------------------------------------------


class Event(Recorded):
    """What is asked of an event of the event log."""

    __slots__ = ()
    at: float
    what: str
    lasted: float


class Stretch:
    """A stop, a hole in the record or an excursion of a run, as its step found it [s]."""

    kind: str
    channel: Written
    begin: float
    end: float


class Visit:
    """A reference point of the schedule, as it was run [s], and what was not as it should be; SI."""

    number: float
    begin: float
    end: float
    off: Written  # conditions that were others
    speed: float
    speed_middle: float
    torque: float
    torque_middle: float
    oil_temperature: float
    oil_temperature_middle: float


def run_charts(view: View) -> Sequence[Block]:
    """What the engine did over the time of its runs, a panel a channel; durability apart, whose hours would press the
    rest together.
    """
    drawn = drawing(view)
    short = {phase.id: drawn.sketches[phase.id] for phase in _run(view, drawn) if phase.kind != "durability"}
    long = {phase: own for phase, own in drawn.sketches.items() if phase not in short}
    figures = [_figure(view, name, own, drawn.lines[name]) for name, own in ((RUNS, short), (LONG_RUN, long)) if own]
    return [replace(each, reading=_reading(view) if each is figures[0] else "") for each in figures]


def other_channels(view: View) -> Sequence[Block]:
    """The channels beside those, with the table of all."""
    drawn = drawing(view)
    if not drawn.sketches:
        return ()
    lines = drawn.lines[OTHERS]
    odd = sum(each.word not in {"sound", NOT_RUN} for each in view.verdicts(CHANNEL, engine=view.the_build))
    as_they = words.plural(odd, "is not to be believed as it is", "are not to be believed as they are")
    heard = f"{words.count(odd)} of all {as_they}"
    reading = f"{words.sentence(words.counted(len(lines), 'more channel'))}; {heard if odd else 'all sound'}."
    table = _channel_table(view, drawn.sketches)
    if not lines:
        return (replace(table, reading=reading),)
    return (replace(_figure(view, OTHERS, drawn.sketches, lines), reading=reading, table=table),)


def _run(view: View, drawn: Drawing) -> list[Phase]:
    """Phases with a log."""
    return [phase for phase in view.phases if phase.id in drawn.sketches]


def _figure(view: View, name: str, runs: Mapping[str, Sketch], lines: Mapping[str, Line]) -> Figure:
    """Stacked panels on one axis of time."""
    begins = [0.0, *accumulate(own.seconds / 60 for own in runs.values())]
    at = begins.pop()
    titles = {phase.id: phase.title for phase in view.phases}
    labels: list[ChartRow] = [
        {"at": round(begin, 2), "to": round(end, 2), "label": titles[phase]}
        for phase, begin, end in zip(runs, begins, [*begins[1:], at], strict=True)
    ]
    begun = dict(zip(runs, begins, strict=True))
    events, bands = _events(view, begun), _bands(view, begun)
    marks: list[ChartRow] = [{"at": each, "run": run} for each, run, _ in events]
    panels = []
    for channel, line in lines.items():
        own = next((sketch for sketch in runs.values() if channel in sketch.drawn), None)
        title, unit, *_ = unit_of(channel) if own is None else own.unit(channel)
        data = {"bands": bands, "runs": labels, "events": marks}
        free = unit == "°C" or base(channel)[0] == LIES or own is not None
        signals = {"from": 0.0, "to": at, "floor": None if free else 0.0}
        label = f"{title} over the time of the runs"
        axis = f"{title}, {unit}" if unit else title
        panels.append(Panel(title, data, signals, note=unit, label=label, axis=axis, along=ALONG, path=line.path,
                            finer=line.finer))  # fmt: skip
    apart = [pace for line in lines.values() for pace in line.paces]
    ends = (min(apart, default=math.inf), max(apart, default=0.0))
    paces = " to ".join(dict.fromkeys(words.number(each, 0) for each in ends))
    shaded = " Shaded: reference points of the schedule." if bands else ""
    closer = any(line.finer is not None for line in lines.values())
    finer_told = f" Closer: means of {words.with_unit(words.number(FINER, 0), 's')} throughout." if closer else ""
    caption = (
        f"Line: means of {words.with_unit(paces, 's')} of the log, as fine as any part of it is shown here; "
        f"grey: least to most within them.{finer_told}{shaded}"
    )
    table = replace(_channel_table(view, runs, [*lines]), name=f"{name}-channels")
    return Figure(name, "run", panels, "", caption, table, one_scale=False, events=[each for _, _, each in events])


def _events(view: View, begins: Mapping[str, float]) -> list[tuple[float, int, str]]:
    """Stops, holes, excursions and entries of the event log in their order: when [min], in which run, what it was."""
    found = []
    events = {each.key.phase: each.frame for each in view.series("run.events")}
    suspected = [each for each in alarms.events(view) if each.alarm]
    for run, (phase, begin) in enumerate(_from(view, begins)):
        told = [
            (row.begin, f"{_happened(row)} for {words.with_unit(words.number((row.end - row.begin) / 60, 1), 'min')}")
            for row in (rows_of(events[phase.id], Stretch) if phase.id in events else ())
        ]
        told += [
            (event.at, _EVENTS.get(event.what) or event.what.replace("-", " "))
            for event in _noted(view, phase)
            if not (event.what == "stop" and _logged_stop(events.get(phase.id), event.at))
        ]
        told += [
            (60.0 * each.minute, f"possible scuffing, {each.signals}") for each in suspected if each.phase == phase
        ]
        found += [
            (round(begin + at / 60, 2), run,
             f"{phase.title}, at {words.with_unit(words.number(at / 60, 1 if at < _LONG else 0), 'min')}: {what}")
            for at, what in sorted(told)
        ]  # fmt: skip
    return found


_LONG = 6000  # s from which no tenth of a minute is told
_EVENTS = {"meter-reading": "reading by eye", "other": "noted, see events"}


def _happened(row: Stretch) -> str:
    return HAPPENED.get(row.kind) or f"{_lower(unit_of(str(row.channel))[0])} left its schedule"


def _bands(view: View, begins: Mapping[str, float]) -> list[ChartRow]:
    """Reference points as bands [min]."""
    points = {each.key.phase: each.frame for each in view.series("blowby.points")}
    return [
        {"at": round(begin + row.begin / 60, 2), "to": round(begin + row.end / 60, 2), "run": run}
        for run, (phase, begin) in enumerate(_from(view, begins))
        for row in (rows_of(points[phase.id], Visit) if phase.id in points else ())
    ]


def _from(view: View, begins: Mapping[str, float]) -> list[tuple[Phase, float]]:
    """Phases that are drawn, in their order, and when each begins [min]."""
    return [(phase, begins[phase.id]) for phase in view.phases if phase.id in begins]


def _noted(view: View, phase: Phase) -> list[Event]:
    """Events of the event log with a time, of one phase."""
    return [row for row in view.records("events", Event, phase=phase.id, used=True) if row.at == row.at]


def _logged_stop(frame: pd.DataFrame | None, at: float) -> bool:
    """Whether the log shows a stop, or nothing, within `NEAR` of an instant [s]."""
    if frame is None:
        return False
    stops = frame[frame["kind"] != "excursion"]
    return bool(((stops["begin"] - NEAR <= at) & (at <= stops["end"] + NEAR)).any())


def _unexplained(view: View) -> list[str]:
    """Stops in the logs that no event of the event log is near to: "run-in, 60 min, at 16.8 min"."""
    found = []
    for series in view.series("run.events"):
        phase = view.program.phase(series.key.phase)
        noted = [(row.at, row.at + (row.lasted if row.lasted == row.lasted else 0.0)) for row in _noted(view, phase)]
        found += [
            f"{phase.title}, at {words.with_unit(words.number(row.begin / 60, 1), 'min')}"
            for row in rows_of(series.frame, Stretch)
            if row.kind == "stop" and not any(row.begin - NEAR <= to and at <= row.end + NEAR for at, to in noted)
        ]
    return found


def _holes(view: View) -> list[str]:
    """Stretches without samples between two of running: "run-in, 60 min, 2.2 min from 16.8 min on"."""
    found = []
    for series in view.series("run.events"):
        title = view.program.phase(series.key.phase).title
        for row in rows_of(series.frame, Stretch):
            if row.kind == "hole":
                long, begin = (words.number(each / 60, 1) for each in (row.end - row.begin, row.begin))
                found.append(f"{title}, {words.with_unit(long, 'min')} from {words.with_unit(begin, 'min')} on")
    return found


def _channel_table(view: View, runs: Mapping[str, Sketch], only: Sequence[str] = ()) -> Table:
    rows = []
    looks = {(each.key.phase, each.key.at): each.word for each in view.verdicts(CHANNEL, engine=view.the_build)}
    for phase, log in ((phase, runs[phase.id]) for phase in view.phases if phase.id in runs):
        for channel, told in ((each, own) for each, own in log.channels.items() if not only or each in only):
            title, unit, factor, offset = log.unit(channel)
            ends = [words.DASH] * 3
            if told[0] is not None:  # ends of the samples, which a mean over a second would hide
                mean, *both = (each * factor + offset for each in told if each is not None)
                ends = [words.number(each) for each in (mean, *sorted(both))]
            word = looks.get((phase.id, channel), "drawn only" if channel in log.drawn else "")
            rows.append(Row((Cell(phase.title), Cell(title), *map(Cell, ends), Cell(unit), Cell(word))))
        for channel, known_as in (each for each in log.stated.items() if not only or each[0] in only):
            title, unit, factor, offset = unit_of(channel)
            least, most = (words.number(end * factor + offset) for end in (min(known_as), max(known_as)))
            rows.append(
                Row((Cell(phase.title), Cell(title), Cell(words.from_to(least, most)), Cell(words.DASH),
                     Cell(words.DASH), Cell(unit), Cell("stated, not logged")))
            )  # fmt: skip
    columns = (
        Column("Phase"), Column("Channel"), Column("Mean", numeric=True), Column("Least", numeric=True),
        Column("Most", numeric=True), Column("Unit"), Column("Channel looks"),
    )  # fmt: skip
    return Table("channels-by-phase", columns, rows)


def _reading(view: View) -> str:
    """Which runs were held to their schedule, and which were not."""
    planned = view.verdicts(PLANNED, engine=view.the_build)
    if not planned:
        return ""
    titles = {phase.id: phase.title for phase in view.phases}
    off = [each for each in planned if each.word != "held"]
    parts = []
    if not off:
        parts.append(_held_to(view, planned, planned))
    for each in off:
        value = view.value(HELD.id, each.key.phase, cylinder=0)
        share = words.DASH if value is None or value.value is None else words.number(value.value, 0)
        parts.append(
            f"{words.sentence(titles[each.key.phase])}: not run as planned; {words.with_unit(share, '%')} of the "
            f"planned time lay within the bands{_steps_off(view, each.key.phase)}."
        )
    stopped = [value for value in view.values(STOPPED.id, engine=view.the_build) if value.n]
    parts += [
        f"{words.sentence(titles[value.key.phase])}: stopped {_times(value.n)}, "
        f"{words.with_unit(words.number(value.value, 1), 'min')} in all."
        for value in stopped
    ]
    if holes := _holes(view):
        more = f"; and {words.count(len(holes) - NAMED)} more" if len(holes) > NAMED else ""
        parts.append(f"Not recorded, so that nothing says whether the engine ran: {'; '.join(holes[:NAMED])}{more}.")
    if unexplained := _unexplained(view):
        parts.append(f"The event log says nothing of {words.plural(len(unexplained), 'this stop', 'these stops')}: "
                     f"{'; '.join(unexplained)}.")  # fmt: skip
    judged = view.verdicts(CHANNEL, engine=view.the_build)
    idle = words.listed(dict.fromkeys(titles[each.key.phase] for each in judged if each.word == NOT_RUN))
    if idle:
        parts.append(f"By its log the engine never ran: {idle}.")
    odd = [each for each in judged if each.word not in {"sound", NOT_RUN}]
    if odd:
        found: dict[str, dict[str, None]] = {}
        for each in odd:
            found.setdefault(_lower(unit_of(each.key.at)[0]), {})[each.word] = None
        named = words.listed(f"{name} ({words.listed(said)})" for name, said in found.items())
        are = words.plural(len(found), "it is", "they are")
        parts.append(f"Not to be believed as {are}: {named}.")
    return " ".join(parts)


def _lower(title: str) -> str:
    return title[0].lower() + title[1:]


def _steps_off(view: View, phase: str) -> str:
    """Which steps were not held."""
    rule = view.program.run
    values = [v for v in view.values(HELD.id, engine=view.the_build, phase=phase) if v.key.at and v.value is not None]
    off = sorted(int(v.key.at.rpartition("-")[2]) for v in values if rule and (v.value or 0.0) < 100 * rule.held)
    if not off:
        return ""
    told = f"{words.plural(len(off), 'step')} {words.numbers_listed(off)} of {len(values)}"
    return f", {told} {words.plural(len(off), 'was', 'were')} not held"


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{words.count(n)} times")


def schedule_table(view: View) -> Sequence[Block]:
    """Planned against run, phase by phase."""
    rows = []
    drawn = drawing(view)
    for phase, log in ((phase, drawn.sketches[phase.id]) for phase in _run(view, drawn)):
        held = view.value(HELD.id, phase.id, cylinder=0)
        word = next((v.word for v in view.verdicts(PLANNED, engine=view.the_build) if v.key.phase == phase.id), "")
        planned = phase.repeat * sum(step.time for step in phase.schedule) / 60
        stopped = view.value(STOPPED.id, phase.id, cylinder=0)
        stops = ""
        if stopped is not None and stopped.n:
            stops = f"{words.count(stopped.n)}, {words.with_unit(words.number(stopped.value, 1), 'min')}"
        rows.append(
            Row(
                (
                    Cell(phase.title),
                    Cell(words.number(planned, 1)),
                    Cell(words.number(log.running_seconds / 60, 1)),
                    Cell(words.number(held.value, 0) if held and held.value is not None else words.DASH),
                    Cell(stops or "none"),
                    Cell(view.text(view.value(PISTON_SPEED.id, phase.id, cylinder=0))),
                    Cell(view.text(view.value(BMEP.id, phase.id, cylinder=0))),
                    Cell(word or words.DASH, word=bool(word)),
                )
            )
        )
    if not rows:
        return ()
    ran = words.with_unit(words.number(sum(log.running_seconds for log in drawn.sketches.values()) / 60, 0), "min")
    started = alarms.starts(view)
    reading = f"{words.sentence(words.counted(len(rows), 'run'))}, {ran} in all{f'; {started}' if started else ''}."
    columns = (
        Column("Phase"), Column("Planned", "min", numeric=True), Column("Run", "min", numeric=True),
        Column("Held", "%", numeric=True, measure=HELD.id), Column("Stops"),
        Column("Mean piston speed", "m/s", numeric=True, measure=PISTON_SPEED.id),
        Column("Mean pressure", "bar", numeric=True, measure=BMEP.id), Column("Run as planned"),
    )  # fmt: skip
    return (Table("planned-and-run", columns, rows, reading, wide=True),)


def blowby(view: View) -> Sequence[Block]:
    """Blow-by at each reference point, the seating distance by it, and two meters against each other."""
    rows = []
    for phase in _run(view, drawing(view)):
        levels = [v for v in view.values(LEVEL.id, engine=view.the_build, cylinder=0, phase=phase.id) if v.key.at]
        last = view.value(LAST.id, phase.id, cylinder=0)
        if not levels and last is None:
            continue
        levels.sort(key=lambda value: int(value.key.at.rpartition("-")[2]))
        told = ", ".join(
            words.DASH if value.value is None or UNSURE in value.flags else words.number(value.value, 1)
            for value in levels
        )
        codes = (*sorted(last.flags), last.reason) if last else ()
        care = "; ".join([view.why(code) for code in codes if code and code != OFF] + _not_held(view, phase))
        rows.append(
            Row(
                (
                    Cell(phase.title),
                    Cell(told or words.DASH),
                    Cell(view.text(view.value(UNSTEADY.id, phase.id, cylinder=0))),
                    Cell(view.text(view.value(PER_LITRE.id, phase.id, cylinder=0))),
                    Cell(_meters(view, phase)),
                    Cell(words.sentence(care) or words.DASH),
                )
            )
        )
    if not rows:
        return ()
    columns = (
        Column("Phase"), Column(f"At each reference point, {REFERENCE}", "L/min", numeric=True, measure=LEVEL.id),
        Column("Unsteadiness at the last", "L/min", numeric=True, measure=UNSTEADY.id),
        Column("Per litre swept", "mL/L", numeric=True, measure=PER_LITRE.id),
        Column("Second meter less the first", "L/min", numeric=True, measure=BIAS.id), Column("Read with care"),
    )  # fmt: skip
    note = "Blow-by belongs to the whole engine; cylinders share it, and coatings too where an engine holds several."
    table = Table("blow-by", columns, rows, note=note, wide=True)
    reading = Text((Cell(_blowby_reading(view) or "No level of blow-by is told."),), "reading")
    return (reading, *_levels(view), table, Text((Cell(_meter_note(view)),), "note"))


def _levels(view: View) -> list[Block]:
    """Blow-by by phase: the last reference point a mark, those before it small rings; open where not relied on."""
    build = view.the_build
    coating = build.coatings[0] if len(build.coatings) == 1 else ""
    phases: list[ChartRow] = []
    means: list[ChartRow] = []
    readings: list[ChartRow] = []
    for phase in view.phases:
        own = [v for v in view.values(LEVEL.id, engine=build, cylinder=0, phase=phase.id) if v.value is not None]
        if not own:
            continue
        *before, last = sorted(own, key=lambda value: int(value.key.at.rpartition("-")[2]))
        x = len(phases)
        km = view.value(KM, phase.id, cylinder=0)
        under = f"{words.number(km.value, 0 if km.value >= 20 else 1)} km" if km is not None and km.value else ""
        phases.append({"x": x, "label": phase.title, "under": under})
        tip = f"{phase.title}: {view.text(last, unit=True)}"
        means.append({"line": "blow-by", "x": x, "value": last.value, "coating": coating, "tip": tip,
                      "open": "unverified" in last.flags})  # fmt: skip
        tips = ((each.value, view.text(each, unit=True)) for each in before)
        readings += [{"x": x, "value": value, "coating": coating, "tip": told} for value, told in tips]
    if len(phases) < 2 or not any(number_of(row["value"]) > 0 for row in means):
        return []
    data = {"phases": phases, "means": means, "readings": readings}
    axis = f"Blow-by at the reference point, {LEVEL.unit}"
    panel = Panel("", data, {"unit": LEVEL.unit}, coating=coating, label="Blow-by by phase", axis=axis)
    open_ = " Open: not relied on." if any(row["open"] for row in means) else ""
    caption = f"Mark: last reference point of a run. Small rings: those before it.{open_}"
    return [Figure(f"blow-by-{build.id}", "slope", (panel,), "", caption, measure=LEVEL.id)]


def unusual(view: View) -> Iterator[Unusual]:
    """Runs that were not held, stops and excursions that the event log does not tell, holes, channels not sound, and
    what came up in the hours between checks.
    """
    yield from alarms.unusual(view)
    titles = {phase.id: phase.title for phase in view.phases}
    off = [each.key.phase for each in view.verdicts(PLANNED, engine=view.the_build) if each.word != "held"]
    if off:
        yield Unusual(f"Not run as planned: {words.listed(titles[phase] for phase in off)}", "planned-and-run", 12)
    for series in view.series("run.events"):
        phase = view.program.phase(series.key.phase)
        noted = [row.at for row in _noted(view, phase)]
        found: dict[str, float] = {}
        for row in rows_of(series.frame, Stretch):
            if any(row.begin - NEAR <= at <= row.end + NEAR for at in noted):
                continue
            channel = f"{_lower(unit_of(str(row.channel))[0])} left its band" if row.kind == "excursion" else row.kind
            found.setdefault({"hole": "not recorded", "stop": "stopped"}.get(channel, channel), row.begin)
        for what, begin in found.items():
            when = words.with_unit(words.number(begin / 60, 1), "min")
            yield Unusual(f"{words.sentence(what)}, {phase.title} at {when}", "runs", 21)
    judged: dict[str, dict[str, None]] = {}
    for each in view.verdicts(CHANNEL, engine=view.the_build):
        if each.word != "sound":
            judged.setdefault(unit_of(each.key.at)[0], {})[each.word] = None
    for name, said in judged.items():
        yield Unusual(f"{name}: {words.listed(said)}", "runs", 22)


def _not_held(view: View, phase: Phase) -> list[str]:
    """Visits that do not count, with what was off: "point 4 not counted: speed 1 800 rpm instead of 1 300 rpm"."""
    found = []
    for series in view.series("blowby.points"):
        if series.key.phase != phase.id:
            continue
        for row in rows_of(series.frame, Visit):
            names = row.off.split(", ") if isinstance(row.off, str) and row.off else []
            told = []
            for name in names:
                title, unit, factor, offset = unit_of(name)
                seen, usual = (
                    words.number(each * factor + offset, 0 if name == "speed" else 1)
                    for each in (getattr(row, name), getattr(row, f"{name}_middle"))
                )
                seen, usual = words.with_unit(seen, unit), words.with_unit(usual, unit)
                apart = "on the whole, but not steadily" if seen == usual else f"instead of {usual}"
                told.append(f"{_lower(title)} {seen} {apart}")
            if told:
                found.append(f"point {words.number(row.number, 0)} not counted: {words.listed(told)}")
    return found


def _meters(view: View, phase: Phase) -> str:
    bias = view.value(BIAS.id, phase.id, cylinder=0)
    if bias is None:
        return words.DASH
    apart = view.value(APART.id, phase.id, cylinder=0)
    text = view.text(bias)
    return text if apart is None else f"{text}; single means within ±{words.number(apart.value, 1)} of it"


def _meter_note(view: View) -> str:
    meters = view.program.definitions.meters
    used = list(
        dict.fromkeys(
            c.meter for log in view.program.logs if log.engine == view.the_build.id for c in log.channels if c.meter
        )
    )
    titles = words.listed(f"{meters[each].title} ({meters[each].principle.replace('-', ' ')})" for each in used)
    read = f"Read with {titles}." if titles else "No meter is named."
    if not any(row.what == TIGHT for row in view.records("events", Event, used=True)):
        read += " No check of the crankcase is on record: with leaking seals less of the blow-by reaches the meter."
    return f"{read} {_of_room(view)}".strip()


def _of_room(view: View) -> str:
    """What barometer and thermometer do to the levels of a build."""
    levels = [v for v in view.values(LEVEL.id, engine=view.the_build, cylinder=0) if v.value]
    moved = [NORMAL_95 * v.se_common / v.value for v in levels if v.se_common and v.value]
    if moved:
        most = words.with_unit(words.number(100 * max(moved), 1), "%")
        return f"Barometer and thermometer may put all levels off together by {most}."
    meters = view.program.definitions.meters.values()
    if not levels or all(each.principle == "thermal-mass" for each in meters):
        return ""
    return "How far barometer and thermometer put the levels off is not stated, and in none of them."


def _blowby_reading(view: View) -> str:
    levels = [v for v in view.values(LEVEL.id, engine=view.the_build, cylinder=0) if v.value is not None]
    order = {phase.id: phase.order for phase in view.phases}
    levels.sort(key=lambda v: (order[v.key.phase], int(v.key.at.rpartition("-")[2])))
    if not levels:
        return ""
    quiet = _quiet(view, levels)
    levels = [v for v in levels if UNSURE not in v.flags]
    if not levels:
        return quiet
    first, last = levels[0], levels[-1]
    text = (
        f"Blow-by went from {words.number(first.value, 1)} to {words.with_unit(words.number(last.value, 1), 'L/min')} "
        f"from the first reference point that counts to the last."
    )
    scale = next(iter(view.values(SCALE.id, engine=view.the_build)), None)
    if scale is not None and scale.value is not None:
        length = words.with_unit(words.with_interval(scale.value, scale.low, scale.high), "km")
        text += f" The seating distance by blow-by is {length}."
    elif scale is not None and scale.reason:
        text += f" The seating distance by blow-by cannot be told, because {view.why(scale.reason)}."
    return f"{text} {quiet}".strip()


def _quiet(view: View, levels: Sequence[Value]) -> str:
    """What is said of phases whose meter never moved, or stood still, and answered no check."""
    said = {v.key.phase: v.word for v in view.verdicts(CHANNEL, engine=view.the_build) if v.key.at == "blowby"}
    unsure = list(dict.fromkeys(v.key.phase for v in levels if UNSURE in v.flags))
    stood = [phase for phase in unsure if QUIET & set(said.get(phase, "").split(", ")) == {"stuck"}]
    dead = [phase for phase in unsure if phase not in stood]
    parts = []
    if dead:
        where = "" if len(dead) == len({v.key.phase for v in levels}) else f" ({_titles(view, dead)})"
        parts.append(
            f"The meter never moved{where}: either the rings let nothing past, or it is dead. Its numbers are not "
            "relied on."
        )
    if stood:
        parts.append(
            f"The meter stood still for a stretch while the engine ran ({_titles(view, stood)}). Its numbers there are "
            "not relied on."
        )
    failed = [v.key.phase for v in view.values(LAST.id, engine=view.the_build) if v.reason == "meter-check-failed"]
    if failed:
        parts.append(f"It did not answer the check with flow applied: {_titles(view, failed)}.")
    return " ".join(parts)


def _titles(view: View, phases: Sequence[str]) -> str:
    return words.listed(view.program.phase(each).title for each in phases)


# ---- program --------------------------------------------------------------------------------------------------------


def by_build(view: View) -> Sequence[Block]:
    """Runs and blow-by of every build that has a log."""
    program = view.program
    rows = []
    for build in program.builds:
        own = [value for value in view.values(HELD.id, engine=build, cylinder=0, at="") if value.value is not None]
        level = _last_level(view, build)
        if not own and level is None:
            continue
        scale = next(iter(view.values(SCALE.id, engine=build)), None)
        off = [v for v in view.verdicts(PLANNED, engine=build) if v.word != "held"]
        titles = words.listed(program.phase(each.key.phase).title for each in off)
        codes = () if level is None else (*sorted(level.flags), level.reason)
        care = "; ".join(view.why(code) for code in codes if code)
        rows.append(
            Row(
                (
                    Cell(build.id, href=view.href_engine(build, "runs")),
                    Cell(words.listed(view.coating_title(coating) for coating in build.coatings)),
                    Cell("held" if not off else "not held", note=titles),
                    Cell(view.text(level) if level is None or level.value is not None else words.DASH, note=care),
                    Cell(view.text(scale), note=view.why(scale.reason) if scale is not None and scale.reason else ""),
                    Cell(_gaps(view, build)),
                )
            )
        )
    if not rows:
        return ()
    columns = (
        Column("Build"), Column("Coatings"), Column("Runs as planned"),
        Column(f"Blow-by at the last reference point, {REFERENCE}", "L/min", numeric=True, measure=LAST.id),
        Column("Seating distance by blow-by", "km", numeric=True, measure=SCALE.id),
        Column("Leak of the end gaps alone, a cylinder", "mm²", numeric=True, measure=GAPS),
    )  # fmt: skip
    note = (
        "Blow-by is the engine's. It goes with the ring gaps first: builds are alike only where their gaps are. A "
        "comparison of coatings can take the gaps out, where the program asks for it."
    )
    return (Table("runs-by-build", columns, rows, _program_reading(view), note=note),)


def _gaps(view: View, build: Build) -> str:
    """Least and most of what the gaps of a build's cylinders would leak, before it first ran."""
    first = view.program.phase(build.assemblies[0].first).id
    found = [v.value for v in view.values(GAPS, engine=build, phase=first) if v.value is not None]
    if not found:
        return words.DASH
    least, most = (words.number(end, 2) for end in (min(found), max(found)))
    return words.from_to(least, most)


def _program_reading(view: View) -> str:
    planned = view.verdicts(PLANNED)
    if not planned:
        return ""
    return _held_to(view, [each for each in planned if each.word == "held"], planned)


FULL = 100.0  # %, of the planned time


def _held_to(view: View, held: Sequence[Verdict], planned: Sequence[Verdict]) -> str:
    """How many runs kept to the schedule, and for what share of the planned time the least of them lay in its bands."""
    values = [view.value(HELD.id, each.key.phase, engine=each.key.engine, cylinder=0) for each in held]
    shares = [value.value for value in values if value is not None and value.value is not None]
    told = words.sentence(words.share(len(held), len(planned), "logged run"))
    least = min(shares, default=100.0)
    if least >= FULL:
        return f"{told} kept to the schedule."
    share = words.with_unit(words.number(math.floor(10 * least) / 10, 1), "%")
    return f"{told} kept within the bands of the schedule for at least {share} of the planned time."


def blowby_of_build(view: View) -> Cell:
    """Blow-by at the last reference point of a build; none where its meter is not to be relied on."""
    level = _last_level(view, view.the_build)
    return Cell(view.text(level, interval=False) if level is not None and level.value is not None else words.DASH)


def _last_level(view: View, build: Build) -> Value | None:
    order = {phase.id: phase.order for phase in view.program.phases}
    return max(view.values(LAST.id, engine=build, cylinder=0), key=lambda value: order[value.key.phase], default=None)


SECTIONS = (
    Section("runs", "The runs", 45, "engine", run_charts),
    Section("other-channels", "Other channels", 46, "engine", other_channels, place="rest"),
    Section("planned-and-run", "Planned and run", 46, "engine", schedule_table, place="rest"),
    Section("blow-by", "Blow-by", 47, "engine", blowby, "half", "All levels, both meters"),
    *alarms.SECTIONS,
    Section("runs-by-build", "Runs and blow-by", 45, "program", by_build, place="rest"),
)
OF_BUILD = (OfBuild("Blow-by", "L/min", 30, blowby_of_build, LAST.id),)
