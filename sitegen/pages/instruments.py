"""The page of instruments: what each was used for, whether it read right, and what it does to the results."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sitegen.declarations import Stream
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.due import when
from sitegen.page.view import View
from sitegen.pages import doubted
from sitegen.pages.contexts import Part, PartsPage
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, parts_page
from sitegen.program import calibrated
from sitegen.program.calibrated import Calibrated, Doubt, Due
from sitegen.program.definitions import TOOL_READS, TOOL_SHOWS
from sitegen.program.doubted import Doubted
from sitegen.program.model import Calibration, CheckPoint, Meter, Program, ReferenceOrifice, Tester, Tool
from sitegen.tables.rows import given
from sitegen.tables.shadows import read_with
from sitegen.vocabulary import Readings

TITLE = "Instruments"
NAMED = frozenset({"tester", "reference", "tool", "meter"})  # what a field may refer to that is an instrument
_COUNTS = "its limit of error counts wherever a record gives {}: none says what read it"
_UNNAMED = {
    "barometer": _COUNTS.format("air pressure"), "thermometer": _COUNTS.format("a temperature"),
    "thermocouple": _COUNTS.format("a temperature"), "roughness-standard": "profilometers are checked on it",
}  # fmt: skip
_SHOWN = {  # what it reads -> unit shown, how many in one of SI, zero; the same two of its errors
    "gauge pressure": ("kPa", 1e-3, 0.0, "kPa", 1e-3), "absolute pressure": ("kPa", 1e-3, 0.0, "Pa", 1.0),
    "ratio": ("%", 100.0, 0.0, "%", 100.0), "flow": ("L/min", 6e4, 0.0, "L/min", 6e4),
    "mass": ("g", 1e3, 0.0, "mg", 1e6), "length": ("mm", 1e3, 0.0, "µm", 1e6), "force": ("N", 1.0, 0.0, "N", 1.0),
    "torque": ("N m", 1.0, 0.0, "N m", 1.0), "temperature": ("°C", 1.0, 273.15, "K", 1.0),
}  # fmt: skip


@dataclass
class Use:
    """Where an instrument was used in a program."""

    streams: dict[str, int] = field(default_factory=dict)  # title -> readings that count
    builds: dict[str, None] = field(default_factory=dict)
    phases: set[str] = field(default_factory=set)
    dated: list[str] = field(default_factory=list)  # day of each reading that counts and bears one
    around: set[str] = field(default_factory=set)  # days of other records of the same build and phase as the others
    undated: int = 0
    aside: int = 0

    @property
    def count(self) -> int:
        return sum(self.streams.values())


def page(site: Site, program: Program) -> PartsPage:
    """The page of one program."""
    path = site.addresses.instruments[program.id]
    view, setter = site.view(path, program.id), site.setter(path)
    known = _Known(site, view)
    parts = [
        Part(setter.id(anchor), title, blocks)
        for anchor, title, blocks in (
            (doubted.ANCHOR, "Found off", _in_doubt(known)),
            ("to-know", "What to know", _open(known)),
        )
        if blocks
    ]
    rest = [
        folded(Part(setter.id(anchor), title, blocks))
        for anchor, title, blocks in (
            ("each", "Each instrument", _each(known)),
            ("calibrations", "Every calibration", _calibrations(known)),
            ("points", "Points of the calibrations", _points(known)),
            ("not-named", "Not named by any record", _not_named(known)),
        )
        if blocks
    ]
    return parts_page(site, program, path, TITLE, setter, known.said(), parts, rest)


def in_short(site: Site, view: View) -> list[Block]:
    """What the data page says of them."""
    known = _Known(site, view)
    if not known.uses:
        return []
    href = view.href(site.addresses.instruments[view.program.id])
    return [Text((Cell(f"{known.said()} "), Cell("Each instrument", href=href)))]


# ---- what was used --------------------------------------------------------------------------------------------------


class _Known:
    """Instruments of a program: those its records name, and what is known of their calibrations."""

    def __init__(self, site: Site, view: View) -> None:
        own = view.folder.definitions
        self.view = view
        self.calibrated = calibrated.every(own)
        self.every: dict[str, Calibrated | ReferenceOrifice] = {**self.calibrated, **own.reference_orifices}
        found = view.the_desk.once("use of instruments", lambda: _uses(site, view, self.every))
        every = site.due()
        self.as_of = every.as_of
        self.counted_from = "" if every.as_of == view.the_desk.newest or not every.found else every.as_of
        self.due: dict[str, Due] = {each.instrument: each for each in every.found if each.instrument in found}
        self.due_elsewhere = len(every.found) - len(self.due)
        self.doubted = [each for each in view.the_desk.doubted if each.readings]
        self.off = {each.doubt.instrument: None for each in self.doubted}
        self.uses = dict(sorted(found.items(), key=lambda each: (each[0] not in self.off, each[0] not in self.due)))

    def said(self) -> str:
        """The instruments in two sentences."""
        if not self.uses:
            return "No record names an instrument yet."
        none = [name for name in self.uses if name in self.calibrated and not self.calibrated[name].calibrations]
        told = [f"The records name {words.counted(len(self.uses), 'instrument')}."]
        if self.off:
            named = words.listed(f"{name} ({self.every[name].title})" for name in self.off)
            told.append(f"Found off: {named}.")
        named = "; ".join(f"{each.instrument} {when(each)}" for each in self.due.values())
        more = f"{words.count(self.due_elsewhere)} more that no record here names"
        if self.due:
            told.append(f"Calibrations: {named}{f'; and {more}' if self.due_elsewhere else ''}.")
        elif self.due_elsewhere:
            count = words.sentence(words.counted(self.due_elsewhere, "calibration"))
            verb = words.plural(self.due_elsewhere, "is", "are")
            told.append(f"No calibration of these is due. {count} {verb}, of instruments that no record here names.")
        if self.counted_from:
            told.append(f"Counted from {words.day(self.counted_from)}, the day of the newest record of all programs.")
        if (
            not self.due
            and not self.due_elsewhere
            and any(each.calibrations for each in self.calibrated.values())
            and self.as_of
        ):
            told.append("No calibration is due.")
        if none:
            told.append(f"Of {words.count(len(none))} no calibration is on record.")
        return " ".join(told)


Days = dict[tuple[str, str], set[str]]  # build, phase -> days of its records


def _days_of_phases(site: Site, view: View) -> Days:
    found: Days = {}
    for stream in site.streams:
        readings = view.analysis.readings.get(stream.name)
        if readings is not None and stream.fields:
            columns = (readings.cells(name) for name in ("engine", "phase", "date"))
            for engine, phase, day in zip(*columns, strict=False):
                if given(day):
                    found.setdefault((str(engine), str(phase)), set()).add(str(day)[:10])
    return found


def _uses(site: Site, view: View, instruments: Iterable[str]) -> Mapping[str, Use]:
    """Where each was used, of those that were."""
    days = _days_of_phases(site, view)
    recorded = []
    for stream in site.streams:
        readings = view.analysis.readings.get(stream.name)
        if readings is not None and readings.cells("use"):
            names = {"engine", "phase", "use", "date", "begun", *(each.by for each in stream.fields)}
            names |= {each.name for each in stream.fields if each.by or each.refers}
            columns = {name: readings.cells(name) for name in readings.names if name in names}
            recorded.append((stream, readings.but(columns=columns)))  # laid out once for all instruments
    return {name: use for name in instruments if (use := _use(recorded, view, name, days)).count or use.aside}


def _use(recorded: Sequence[tuple[Stream, Readings]], view: View, instrument: str, days: Days) -> Use:
    use = Use()
    meter = instrument in view.folder.definitions.meters
    for stream, readings in recorded:
        engines, phases, uses = (readings.cells(name) for name in ("engine", "phase", "use"))
        if stream.fields:
            rows = read_with(stream.fields, readings, instrument)
            by = {each.by for each in stream.fields}
            names = [each.name for each in stream.fields if each.refers in NAMED and each.name not in by]
            dates = readings.cells("date")
            rows += [
                (n, str(dates[n])[:10] if given(dates[n]) else "")
                for name in names for n, cell in enumerate(readings.cells(name)) if cell == instrument
            ]  # fmt: skip
        else:
            named = _logged(view.program, instrument) if meter else set()
            rows = [
                (n, str(day)[:10] if given(day) else "")
                for n, (*where, day) in enumerate(zip(engines, phases, readings.cells("begun"), strict=True))
                if tuple(where) in named
            ]
        for n, day in rows:
            where = (str(engines[n]) if given(engines[n]) else "", str(phases[n]))
            if uses[n] != "":
                use.aside += 1
            else:
                _note(use, stream.title, where, day, days)
    return use


def _logged(program: Program, meter: str) -> set[tuple[str, str]]:
    """Builds and phases of logs with a flow of a meter."""
    return {(log.engine, log.phase) for log in program.logs if any(each.meter == meter for each in log.channels)}


def _note(use: Use, stream: str, where: tuple[str, str], day: str, days: Days) -> None:
    build, phase = where
    use.streams[stream] = use.streams.get(stream, 0) + 1
    use.phases.add(phase)
    if build:
        use.builds[build] = None
    if day:
        use.dated.append(day)
    else:
        use.undated += 1
        use.around |= days.get(where, set())


# ---- found off ------------------------------------------------------------------------------------------------------


def _in_doubt(known: _Known) -> list[Block]:
    """Instruments found off, and what that does to the results."""
    rows = [
        Row((
            Cell(known.every[each.doubt.instrument].title, note=each.doubt.instrument),
            Cell(_found(known, each.doubt), note=_since(each.doubt)),
            Cell(_readings(each), note=_when(each), folded=_builds(each)),
            _effect(known.view, each),
        ))
        for each in known.doubted
    ]  # fmt: skip
    if not rows:
        return []
    columns = (Column("Instrument"), Column("What was found"), Column("Readings in doubt"), Column("What that does"))
    reading = (
        "Readings since its last good check may be off by as much as was found, or by less; each stays as it was read, "
        "and intervals reach as far."
    )
    return [Table("found-off", columns, rows, reading, stack=True)]


def _found(known: _Known, doubt: Doubt) -> str:
    """By how much it was off, at the point where that was most."""
    one, day = known.calibrated[doubt.instrument], doubt.after if doubt.left else doubt.until
    at, error = max(doubt.errors, key=lambda each: abs(each[1]))
    checked = [point for each in one.calibrations if each.on == day for point in each.checks]
    own = [point for point in checked if not doubt.gauge or point.gauge in {"", doubt.gauge}]
    point = next(point for point in own if point.at == at)
    kind = reads(one, doubt.gauge)
    gauge = f"{doubt.gauge} gauge " if doubt.gauge else ""
    how = "left" if doubt.left else "found"
    return f"{gauge}{_error(kind, error, point.tolerance)} at {_value(kind, point, at)} as {how}, {_most(kind, point)}"


def _since(doubt: Doubt) -> str:
    if doubt.left:
        return f"left so on {words.day(doubt.after)}" + (f", until {words.day(doubt.until)}" if doubt.until else "")
    good = f"last good check {words.day(doubt.after)}" if doubt.after else "no good check before"
    return f"found so on {words.day(doubt.until)}; {good}"


def _readings(each: Doubted) -> str:
    builds = f" of {words.counted(len(each.builds), 'build')}" if each.builds else ""
    return f"{words.counted(each.readings, 'reading')}{builds}"


def _builds(each: Doubted) -> tuple[str, str]:
    told = [f"{build}: {words.number(count, 0)}" for build, count in each.builds.items()]
    return ("by build", "; ".join(told)) if len(told) > 1 else ("", "")


def _when(each: Doubted) -> str:
    told = [words.days(*each.days)] if all(each.days) else []
    told += [f"{words.count(each.undated)} more without a day, taken as read"] if each.undated else []
    return "; ".join(told)


def _effect(view: View, each: Doubted) -> Cell:
    """What a doubt does to the results, and which interval it widens most."""
    measure = view.measures.get(each.most_of[0]) if each.most_of is not None else None
    return Cell(words.sentence(doubted.effect(each)), note=f"most: {measure.title.lower()}" if measure else "")


# ---- each instrument ------------------------------------------------------------------------------------------------


def _open(known: _Known) -> list[Block]:
    """What is to be seen to, or cannot be told, an instrument a row."""
    rows = []
    for name, use in known.uses.items():
        one, told = known.every[name], list(_to_know(known, name, use))
        if told:
            last = _calibrated(_newest(one))
            count = f"{words.number(use.count, 0)} {words.plural(use.count, 'reading')}"
            rows.append(Row((Cell(one.title, note=name), Cell(words.sentence("; ".join(told))), last, Cell(count))))
    columns = (Column("Instrument"), Column("What"), Column("Calibrated"), Column("Used for"))
    if rows:
        return [Table("instruments-to-know", columns, rows, stack=True)]
    text = "No calibration is due, and what was recorded of them leaves nothing open."
    return [Text((Cell(text),))] if known.uses else []


def _newest(one: Calibrated | ReferenceOrifice) -> Calibration | None:
    return None if isinstance(one, ReferenceOrifice) else max(one.calibrations, key=_day, default=None)


def _calibrated(newest: Calibration | None) -> Cell:
    return Cell(words.day(newest.on), note=f"next due {words.day(newest.due)}") if newest else Cell(words.DASH)


def _each(known: _Known) -> list[Block]:
    rows = []
    for name, use in known.uses.items():
        one = known.every[name]
        newest = _newest(one)
        rows.append(
            Row((
                Cell(one.title, note=name),
                Cell(words.sentence(words.listed(use.streams)), folded=_where(known, use)),
                Cell(words.number(use.count, 0), note=f"{words.count(use.aside)} set aside" if use.aside else ""),
                Cell(*_days(use)),
                _calibrated(newest),
                _checked(one, newest),
            ))
        )  # fmt: skip
    if not rows:
        return []
    columns = (
        Column("Instrument"), Column("Read for"), Column("Readings", numeric=True), Column("From, to"),
        Column("Calibrated"), Column("Then off by"),
    )  # fmt: skip
    reading = (
        f"{words.sentence(words.counted(len(rows), 'instrument'))}: where used, and how far off when last calibrated."
    )
    note = "Off by: the largest error against what is allowed, as found, and below it as left."
    return [Table("instruments", columns, rows, reading, note=note, stack=True)]


def _day(one: Calibration) -> str:
    return one.on


def _checked(one: Calibrated | ReferenceOrifice, newest: Calibration | None) -> Cell:
    """As found, and below it as left."""
    if newest is None or isinstance(one, ReferenceOrifice) or not newest.checks:
        return Cell(words.DASH)
    found, left = _worst(one, newest, left=False), _worst(one, newest, left=True)
    if found.text == words.DASH:
        return Cell(f"{left.text} as left", note="as found not recorded", strong=left.strong)
    return Cell(found.text, note=f"left {left.text}" if left.text != words.DASH else "", strong=found.strong)


def _where(known: _Known, use: Use) -> tuple[str, str]:
    phases = [each.title for each in known.view.program.phases if each.id in use.phases]
    if not use.builds or not phases:
        return "", ""
    count = f"{words.counted(len(use.builds), 'build')}, {words.counted(len(phases), 'phase')}"
    return count, f"{', '.join(sorted(use.builds))}: {'; '.join(phases)}"


def _days(use: Use) -> tuple[str, str, bool, str]:
    days = use.dated or sorted(use.around)
    if not days:
        return "no day recorded", "", False, ""
    told = words.days(min(days), max(days))
    if not use.dated:
        return told, "", False, "by other records of these phases"
    return told, "", False, f"{words.number(use.undated, 0)} without a day" if use.undated else ""


def _worst(one: Calibrated, newest: Calibration, *, left: bool) -> Cell:
    """The largest error of a calibration, held against what is allowed there: "+1.3 of ±0.5 mg"."""
    shown = [(each, each.left if left else each.found) for each in newest.checks]
    known = [(each, value) for each, value in shown if value is not None]
    if not known:
        return Cell(words.DASH)
    point, value = max(known, key=lambda each: abs(each[1] - each[0].at) / (each[0].tolerance or 1.0))
    *_, unit, times = _SHOWN[reads(one, point.gauge)]
    most = times * point.tolerance
    places = words.decimals_for(most)
    told = f"{words.signed(times * (value - point.at), places)} of ±{words.number(most, places)}"
    return Cell(words.with_unit(told, unit), strong=not calibrated.within(point, value))


def _to_know(known: _Known, name: str, use: Use) -> Iterable[str]:
    one = known.every[name]
    if name in known.due:
        yield when(known.due[name])
    if isinstance(one, ReferenceOrifice):
        return
    if not one.calibrations:
        yield "no calibration on record"
    for each in calibrated.unknowns(one):
        count = sum(each.holds(day) for day in use.dated)
        if count:
            since = f"since {words.day(each.after)}" if each.after else "since it was first there"
            yield (
                f"unknown {since}: as found not recorded on {words.day(each.until)} ({words.counted(count, 'reading')})"
            )
    if one.until:
        yield f"withdrawn after {words.day(one.until)}"


# ---- folded ---------------------------------------------------------------------------------------------------------


def _calibrations(known: _Known) -> list[Block]:
    rows = [
        Row((
            Cell(one.title, note=one.id), Cell(words.day(each.on)), Cell(words.day(each.due)),
            _worst(one, each, left=False), _worst(one, each, left=True),
            Cell(each.by or words.DASH, note=each.certificate and f"certificate {each.certificate}"),
            Cell(each.note or words.DASH),
        ))
        for one in _ours(known) for each in sorted(one.calibrations, key=lambda each: each.on)
    ]  # fmt: skip
    columns = (Column("Instrument"), Column("On"), Column("Next due"), Column("As found"), Column("As left"),
               Column("By"), Column("Remark"))  # fmt: skip
    bare = sum(not each.checks for one in _ours(known) for each in one.calibrations)
    reading = f"{words.sentence(words.counted(len(rows), 'calibration'))} on record"
    reading += f", {words.count(bare)} without what was found and left." if bare else "."
    return [Table("calibrations", columns, rows, reading, stack=True)] if rows else []


def _points(known: _Known) -> list[Block]:
    rows, beyond = [], 0
    for one in _ours(known):
        for calibration in sorted(one.calibrations, key=lambda each: each.on):
            for point in sorted(calibration.checks, key=lambda each: (each.gauge, each.at)):
                kind = reads(one, point.gauge)
                found, left = (_shown(kind, point, value) for value in (point.found, point.left))
                off = [each for each in (point.found, point.left) if each is not None]
                beyond += not all(calibrated.within(point, each) for each in off)
                rows.append(
                    Row((
                        Cell(one.title, note=f"{one.id}{f', {point.gauge} gauge' if point.gauge else ''}"),
                        Cell(words.day(calibration.on)), Cell(_value(kind, point, point.at)), found, left,
                        Cell(_most(kind, point).removeprefix("allowed ")),
                    ))
                )  # fmt: skip
    columns = (Column("Instrument"), Column("On"), Column("Standard"), Column("As found"), Column("As left"),
               Column("Allowed"))  # fmt: skip
    reading = f"{words.sentence(words.counted(len(rows), 'point'))}, {words.count(beyond)} beyond what is allowed."
    return [Table("calibration-points", columns, rows, reading, stack=True)] if rows else []


def _shown(kind: str, point: CheckPoint, value: float | None) -> Cell:
    if value is None:
        return Cell(words.DASH)
    error = _error(kind, value - point.at, point.tolerance)
    return Cell(_value(kind, point, value), note=error, strong=not calibrated.within(point, value))


def _not_named(known: _Known) -> list[Block]:
    """Instruments that are defined and that no record names: some count all the same."""
    rows = []
    for name, one in known.every.items():
        if name not in known.uses:
            why = _UNNAMED.get(one.kind, "") if isinstance(one, Tool) else ""
            rows.append(Row((Cell(one.title, note=name), Cell(why or "never used in this program"))))
    reading = f"{words.sentence(words.counted(len(rows), 'instrument'))} defined, and named by no record."
    return [Table("instruments-not-named", (Column("Instrument"), Column("So")), rows, reading)] if rows else []


def _ours(known: _Known) -> Sequence[Calibrated]:
    return [known.calibrated[name] for name in known.uses if name in known.calibrated]


# ---- numbers --------------------------------------------------------------------------------------------------------


def reads(one: Calibrated, gauge: str = "") -> str:
    """The kind of quantity an instrument reads, as in `_SHOWN`."""
    if isinstance(one, Meter):
        return "flow"
    if isinstance(one, Tester):
        return "ratio" if one.scale == "percent" and gauge != "supply" else "gauge pressure"
    return TOOL_SHOWS.get(one.kind) or TOOL_READS[one.kind]


def _value(kind: str, point: CheckPoint, value: float) -> str:
    """A reading, with the digits that show its tolerance."""
    unit, times, zero, own, much = _SHOWN[kind]
    if own != unit and abs(point.at) < 100 / much:  # a roughness, a small weight
        unit, times = own, much
    places = words.decimals_for(times * point.tolerance) if point.tolerance else None
    return words.with_unit(words.number(times * (value - zero), places), unit)


def _error(kind: str, error: float, tolerance: float) -> str:
    *_, unit, times = _SHOWN[kind]
    return words.with_unit(words.signed(times * error, words.decimals_for(times * tolerance)), unit)


def _most(kind: str, point: CheckPoint) -> str:
    *_, unit, times = _SHOWN[kind]
    most = times * point.tolerance
    return f"allowed ±{words.with_unit(words.number(most, words.decimals_for(most)), unit)}"
