"""What came up in the hours between checks, as pages say it. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from sitegen.declarations import OfCylinder, Section, Unusual
from sitegen.methods import coincidence
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.limits import in_phase
from sitegen.program.model import Phase, Window
from sitegen.streams.runlog.alarms.breather import NARROWER, NONE, RINGS, WIDER
from sitegen.streams.runlog.alarms.breather import RULE as OF_BREATHER
from sitegen.streams.runlog.alarms.limits import BY_WINDOW, FAILS, HOLDS
from sitegen.streams.runlog.alarms.limits import RULE as WITHIN
from sitegen.streams.runlog.alarms.measures import (
    BEYOND,
    COLD,
    FIRST,
    LONGEST,
    NARROWS,
    SINCE,
    SIZE,
    STARTS,
    WATCHED,
    WINDOWS_BEYOND,
)
from sitegen.streams.runlog.alarms.watch import ALARM, ALIKE, NOT, SPREAD
from sitegen.streams.runlog.alarms.watch import RULE as TOGETHER
from sitegen.streams.runlog.judged import base
from sitegen.streams.runlog.measures import MEANS
from sitegen.tables.rows import Recorded, Written, given, rows_of
from sitegen.vocabulary import Value, Verdict

WATCH, LIMITS, BREATHER = "watched", "limits-of-channels", "breather"  # anchors
SIGNALS = {
    coincidence.FIRST: "blow-by",
    SPREAD: "spread of exhaust temperatures",
    "oil_pressure": "oil pressure",
    "torque": "torque at equal demand",
}
INTAKE = ("intake temperature", "°C", 1.0, -273.15)
_SPANS = 6  # of failing windows that are told by their hours
_TOGETHER = 0.5  # h between two windows of one span: settling and the other points of a schedule
FINDING = "scuffing"  # of an inspection: what an alarm suspects


class Seen(Recorded):
    """What is asked of an inspection."""

    __slots__ = ()
    cylinder: float
    part: Written
    scuffing: Written


@dataclass(frozen=True)
class Event:
    """Channels flagged close together, as stored."""

    phase: Phase
    minute: int
    alarm: bool
    sizes: Sequence[Value]
    cylinder: int  # the hottest where exhaust temperatures spread; 0: none

    @property
    def signals(self) -> str:
        """In their order: "blow-by and oil pressure"."""
        found = {value.key.at.rpartition(":")[2] for value in self.sizes}
        return words.listed(name for each, name in SIGNALS.items() if each in found)

    @property
    def when(self) -> str:
        return words.with_unit(words.number(self.minute / 60, 1), "h")


def events(view: View) -> list[Event]:
    """All that came up in the runs of a build, by phase and minute."""
    alarms = {(each.key.phase, each.key.at) for each in view.verdicts(TOGETHER, engine=view.the_build) if each.key.at}
    groups: dict[tuple[str, str], list[Value]] = {}
    for value in view.values(SIZE.id, engine=view.the_build):
        groups.setdefault((value.key.phase, value.key.at.rpartition(":")[0]), []).append(value)
    found = []
    for (phase, at), sizes in groups.items():
        cylinder = max(value.key.cylinder for value in sizes)
        minute = int(at.rpartition("-")[2])
        found.append(Event(view.program.phase(phase), minute, (phase, at) in alarms, sizes, cylinder))
    return sorted(found, key=lambda each: (each.phase.order, each.minute))


# ---- channels that turn together ------------------------------------------------------------------------------------


def watched(view: View) -> Sequence[Block]:
    """What each long run was watched for, what came up, and what the inspection found afterwards."""
    judged = [each for each in view.verdicts(TOGETHER, engine=view.the_build) if not each.key.at]
    if not judged:
        return ()
    found = events(view)
    reading = " ".join(_reading(view, each, [event for event in found if event.phase.id == each.key.phase])
                       for each in judged)  # fmt: skip
    if not found:
        return (Text((Cell(reading),), "reading"),)
    rows = [_row(view, each) for each in found]
    columns = (
        Column("Run"), Column("At", "h", numeric=True), Column("Channels, and size of each", measure=SIZE.id),
        Column("Word"), Column("Inspection afterwards"),
    )  # fmt: skip
    note = (
        f"Size: deviation in the channel's own scatter, above {coincidence.FLAG:g} a signal. Blow-by and one more "
        f"within {coincidence.WITHIN} min are the alarm, above {coincidence.LONG.alarm:g} each where one cause, such "
        "as the room, moves the channels alike. Simulated, false ones came to 0 to 0.16 in 100 h, of logs of a row a "
        "minute to as many as two. One signal alone comes up once or twice in 100 h of nothing."
    )
    return (Table("watched", columns, rows, reading, note=note, wide=True),)


def _reading(view: View, verdict: Verdict, found: Sequence[Event]) -> str:
    title = words.sentence(view.program.phase(verdict.key.phase).title)
    if verdict.word == NOT:
        return f"{title}: not watched, because {view.why(verdict.reason)}."
    value = view.value(WATCHED.id, verdict.key.phase, cylinder=0)
    hours = words.with_unit(words.number(value.value, 0), "h") if value is not None and value.value is not None else ""
    alarms = [each for each in found if each.alarm]
    alone = len(found) - len(alarms)
    parts = [f"{title}: watched for {hours}"]
    if value is not None and ALIKE in value.flags:
        parts.append(view.why(ALIKE))
    for each in alarms:
        of = f", cylinder {each.cylinder} the hottest" if each.cylinder else ""
        parts.append(f"possible scuffing at {each.when} ({each.signals}{of}): inspect")
    if not alarms:
        parts.append("no alarm")
    if alone:
        parts.append(f"{words.counted(alone, 'signal')} alone: look here")
    return f"{'; '.join(parts)}."


def _row(view: View, event: Event) -> Row:
    sizes = words.listed(
        f"{SIGNALS[value.key.at.rpartition(':')[2]]} {words.number(value.value, 1)}"
        for value in sorted(event.sizes, key=lambda each: list(SIGNALS).index(each.key.at.rpartition(":")[2]))
        if value.value is not None
    )
    hottest = f"cylinder {event.cylinder} the hottest" if event.cylinder else ""
    word = Cell(ALARM if event.alarm else "look here", word=True)
    after = _found(view, event) if event.alarm else ""
    return Row(
        (Cell(event.phase.title), Cell(words.number(event.minute / 60, 1)), Cell(sizes, note=hottest), word,
         Cell(after or words.DASH))
    )  # fmt: skip


def _found(view: View, event: Event) -> str:
    """What inspections from that phase on say of scuffing, of the cylinder named, else of all."""
    if "inspection" not in view.the_desk.streams:
        return ""
    order = {phase.id: phase.order for phase in view.program.phases}
    own = [
        row for row in view.records("inspection", Seen, used=True)
        if order[row.phase] >= event.phase.order and given(row.scuffing)
        and (not event.cylinder or row.cylinder == event.cylinder)
    ]  # fmt: skip
    if not own:
        return "not inspected yet"
    worst = {int(row.cylinder) for row in own if row.scuffing != "none"}
    if not worst:
        return "no scuffing seen" + (f", cylinder {event.cylinder}" if event.cylinder else "")
    parts = dict.fromkeys(f"{row.scuffing} on {str(row.part).replace('-', ' ')}"
                          for row in own if row.scuffing != "none")  # fmt: skip
    return (
        f"scuffing, {words.plural(len(worst), 'cylinder')} {words.numbers_listed(sorted(worst))}: {words.listed(parts)}"
    )


def alarm_of_cylinder(view: View) -> Cell | None:
    """That its exhaust was the hottest when an alarm came up, beside what was seen of it."""
    own = [each for each in events(view.of_build(view.the_build)) if each.alarm and each.cylinder == view.cylinder]
    if not own:
        return None
    first = own[0]
    told = f"{first.phase.title} at {first.when}: {first.signals}, this exhaust the hottest"
    return Cell(ALARM, word=True, note=f"{told}; {_found(view, first)}")


# ---- limits ---------------------------------------------------------------------------------------------------------


def channel_limits(view: View) -> Sequence[Block]:
    """Each limited channel of each logged phase: limits, time beyond, and a word."""
    judged = view.verdicts(WITHIN, engine=view.the_build)
    if not judged:
        return ()
    order = {phase.id: phase.order for phase in view.program.phases}
    judged = sorted(judged, key=lambda each: (order[each.key.phase], each.key.at, each.key.cylinder))
    rows = []
    for each in judged:
        phase = view.program.phase(each.key.phase)
        beyond, longest, first = (
            view.value(measure.id, phase.id, each.key.at, cylinder=each.key.cylinder, coating=each.key.coating)
            for measure in (BEYOND, LONGEST, FIRST)
        )
        rows.append(
            Row(
                (Cell(phase.title), Cell(words.sentence(_name(each))), Cell(_limits(view, each)),
                 Cell(each.word, word=True, note=view.why(each.reason) if each.reason else ""),
                 Cell(view.text(beyond)), Cell(view.text(longest)), Cell(view.text(first)))
            )
        )  # fmt: skip
    columns = (
        Column("Run"), Column("Channel"), Column("Limits"), Column("Word"),
        Column("Time beyond", "%", numeric=True, measure=BEYOND.id),
        Column("Longest", "s", numeric=True, measure=LONGEST.id),
        Column("First at", "min", numeric=True, measure=FIRST.id),
    )  # fmt: skip
    return (Table("limits-of-channels", columns, rows, _limits_reading(view, judged), wide=True), *_by_window(view))


class OfWindow:
    """A window of a channel, or without hours what was run outside of all."""

    channel: str
    begin: float
    end: float
    word: str


def _by_window(view: View) -> Iterator[Block]:
    """Of each long run the windows by their answers, and in which hours they fail."""
    rows, told = [], []
    for series in view.series(BY_WINDOW):
        own = rows_of(series.frame, OfWindow)
        phase = view.program.phase(series.key.phase)
        for channel in dict.fromkeys(row.channel for row in own):
            name, cylinder = base(channel)
            windows = [row for row in own if row.channel == channel and given(row.begin)]
            outside = next(row.word for row in own if row.channel == channel and not given(row.begin))
            broken = [row for row in windows if row.word == FAILS]
            held = sum(row.word == HOLDS for row in windows)
            since = view.value(SINCE.id, phase.id, name, cylinder=cylinder)
            from_on = view.text(since, unit=True) if since is not None and since.value is not None else ""
            title = words.sentence(_titled(name, cylinder))
            rows.append(
                Row((Cell(phase.title), Cell(title), Cell(str(held)), Cell(str(len(broken))),
                     Cell(str(len(windows) - held - len(broken))), Cell(_when(broken), note=from_on and f"each from "
                     f"{from_on} on"), Cell(outside or words.DASH, word=bool(outside))))
            )  # fmt: skip
            if from_on:
                told.append(f"{title} lies beyond its limit in every window from {from_on} on.")
    if rows:
        columns = (
            Column("Run"), Column("Channel"), Column("Hold", numeric=True, group="windows"),
            Column("Fail", numeric=True, group="windows", measure=WINDOWS_BEYOND.id),
            Column("Cannot tell", numeric=True, group="windows"), Column("Failing, hours run"),
            Column("Outside of windows"),
        )  # fmt: skip
        yield Table("limits-by-window", columns, rows, " ".join(told), wide=True)


def _when(broken: Sequence[OfWindow]) -> str:
    """Hours run of windows, those one behind the other together: "41–45, 60–61 and 3 more"."""
    spans: list[list[float]] = []
    for row in broken:
        if spans and row.begin - spans[-1][1] < max(row.end - row.begin, _TOGETHER):
            spans[-1][1] = row.end
        else:
            spans.append([row.begin, row.end])
    told = [words.from_to(*(words.number(end, 1) for end in span)) for span in spans[:_SPANS]]
    more = ""
    if len(spans) > _SPANS:
        left = sum(row.begin > spans[_SPANS - 1][1] for row in broken)
        more = f" and {words.counted(left, 'window')} more"
    return ", ".join(told) + more or words.DASH


def _limits_reading(view: View, judged: Sequence[Verdict]) -> str:
    counts = {word: [each for each in judged if each.word == word] for word in ("holds", "fails", "cannot tell")}
    kept = (
        f"{words.sentence(words.share(len(counts['holds']), len(judged), 'limit of a channel', 'limits of channels'))} "
    )
    text = f"{kept}{words.plural(len(counts['holds']), 'holds', 'hold')}."
    parts = []
    for each in counts["fails"][:3]:
        beyond = view.value(
            BEYOND.id, each.key.phase, each.key.at, cylinder=each.key.cylinder, coating=each.key.coating
        )
        share = view.text(beyond, unit=True) if beyond is not None and beyond.value else "single samples"
        parts.append(f"{_name(each)}, {view.program.phase(each.key.phase).title} ({share})")
    more = len(counts["fails"]) - len(parts)
    parts += [f"{words.count(more)} more"] if more > 0 else []
    if parts:
        text += f" Beyond: {words.listed(parts)}."
    if unknown := len(counts["cannot tell"]):
        text += f" Of {words.count(unknown)} it cannot be told."
    return text


def _name(verdict: Verdict) -> str:
    return _titled(verdict.key.at, verdict.key.cylinder)


def _titled(name: str, cylinder: int) -> str:
    title = INTAKE[0] if name not in MEANS else MEANS[name][0].title
    return f"{title}, cylinder {cylinder}" if cylinder else title


def _limits(view: View, verdict: Verdict) -> str:
    limits = in_phase(view.program, view.program.phase(verdict.key.phase)).get(verdict.key.at, Window())
    measure = MEANS.get(verdict.key.at)
    unit, factor, offset = INTAKE[1:] if measure is None else (measure[0].unit, *measure[1:])
    low, high = (
        None if end is None else words.with_unit(words.stated(round(end * factor + offset, 6)), unit)
        for end in (limits.low, limits.high)
    )
    if low is None:
        return f"at most {high}"
    return f"at least {low}" if high is None else f"{low} to {high}"


# ---- crankcase pressure against blow-by -----------------------------------------------------------------------------

SAID = {
    NARROWER: "the crankcase pressure rises at equal blow-by: the breather narrows",
    WIDER: "the crankcase pressure falls at equal blow-by: the breather opens, or the crankcase leaks",
    RINGS: "crankcase pressure and blow-by rise along one curve: more gas past the rings, the breather as before",
    NONE: "neither breather nor rings show a change",
}


def breather(view: View) -> Sequence[Block]:
    """Whether the breather or the rings moved the crankcase pressure, a sentence for all runs that say the same."""
    told: dict[str, list[str]] = {}
    found = view.verdicts(OF_BREATHER, engine=view.the_build)
    for each in sorted(found, key=lambda each: view.program.phase(each.key.phase).order):
        title = view.program.phase(each.key.phase).title
        value = view.value(NARROWS.id, each.key.phase, cylinder=0)
        if each.word in SAID and value is not None:
            said = f"{SAID[each.word]} ({view.text(value, unit=True)} at equal blow-by)"
        else:
            said = f"breather and rings cannot be told apart, because {view.why(each.reason)}"
        told.setdefault(said, []).append(title)
    lines = [f"{words.sentence(words.listed(titles))}: {said}." for said, titles in told.items()]
    return (Text((Cell(" ".join(lines)),), "reading"),) if told else ()


# ---- starts, and what is out of the ordinary ------------------------------------------------------------------------


def starts(view: View) -> str:
    """How often the engine was started, and how often from cold; "" where the program does not say what that is."""
    counted = [value.value for value in view.values(STARTS.id, engine=view.the_build) if value.value is not None]
    if not counted:
        return ""
    cold = view.values(COLD.id, engine=view.the_build)
    text = words.counted(int(sum(counted)), "start")
    known = int(sum(value.value for value in cold if value.value is not None))
    if all(value.value is not None for value in cold):
        return f"{text}, {words.count(known)} from cold"
    return f"{text}, {words.count(known)} from cold at least" if known else f"{text}, how many from cold is not known"


def failed(view: View) -> Iterator[Unusual]:
    """Runs of a build in which channels lay beyond their limits: "25 h run: oil pressure"."""
    broken = [each for each in view.verdicts(WITHIN, engine=view.the_build) if each.word == FAILS]
    for phase in dict.fromkeys(each.key.phase for each in broken):
        of: dict[str, list[int]] = {}
        for each in broken:
            if each.key.phase == phase:
                of.setdefault(each.key.at, []).append(each.key.cylinder)
        names = [
            f"{_titled(at, 0)}, cylinders {words.numbers_listed(sorted(own))}" if len(own) > 1 else _titled(at, own[0])
            for at, own in of.items()
        ]
        yield Unusual(f"{view.program.phase(phase).title}: {words.listed(names)}", LIMITS, 14)


def unusual(view: View) -> Iterator[Unusual]:
    """Alarms first, then limits passed, then signals that came alone."""
    found = events(view)
    for each in found:
        if each.alarm:
            of = f", cylinder {each.cylinder} the hottest" if each.cylinder else ""
            yield Unusual(f"Possible scuffing, {each.phase.title} at {each.when}: inspect", WATCH, 4,
                          f": {each.signals}{of}")  # fmt: skip
    for one in failed(view):
        yield replace(one, text=f"Beyond its limit, {one.text}")
    for verdict in view.verdicts(OF_BREATHER, engine=view.the_build):
        if verdict.word in {NARROWER, WIDER, RINGS}:
            title = view.program.phase(verdict.key.phase).title
            yield Unusual(f"{words.sentence(verdict.word)}, {title}", BREATHER, 23)
    alone = [each for each in found if not each.alarm]
    for phase in dict.fromkeys(each.phase.id for each in alone):
        own = [each for each in alone if each.phase.id == phase]
        told = words.listed(dict.fromkeys(f"{each.signals} at {each.when}" for each in own[:3]))
        more = f" and {words.count(len(own) - 3)} more" if len(own) > 3 else ""
        yield Unusual(f"One signal alone, {own[0].phase.title}: look here", WATCH, 23, f": {told}{more}")
    for verdict in view.verdicts(TOGETHER, engine=view.the_build):
        if verdict.word == NOT:
            title = words.sentence(view.program.phase(verdict.key.phase).title)
            yield Unusual(f"{title} not watched", WATCH, 24, f": {view.why(verdict.reason)}")


SECTIONS = (
    Section(WATCH, "Channels that turn together", 46, "engine", watched, place="rest"),
    Section(LIMITS, "Limits of channels", 46, "engine", channel_limits, place="rest"),
    Section(BREATHER, "Breather or rings", 46, "engine", breather, place="rest"),
)
OF_CYLINDER = (OfCylinder("In the long run", 60, alarm_of_cylinder),)
