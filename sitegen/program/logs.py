"""The run logs a program names: the files, how their instants are written, and what each channel is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from sitegen import units
from sitegen.problems import listed, nearest, shown
from sitegen.program import channels, patterns, records, words
from sitegen.program.addresses import address
from sitegen.program.convert import instance
from sitegen.program.definitions import HOME, MOST_CYLINDERS
from sitegen.program.files import SAID_BY_NAMES, Claim, Claims, tell_pattern
from sitegen.program.model import Address, Build, LogChannel, LogSource, LogTime, Meter, Phase
from sitegen.program.node import Node

_OWN = re.compile("[a-z][a-z0-9_]{0,39}")
_HERE = "this program"
_WAYS = "column with its unit, left with its unit, clock, or date with time_of_day"
_COLUMNS = ("column", "clock", "date", "time_of_day")  # keys of `time` that name one


def sources(
    entries: Sequence[records.Entry],
    claims: Claims,
    builds: Sequence[Build],
    phases: Sequence[Phase],
    meters: Mapping[str, Meter] | None,
) -> tuple[LogSource, ...]:
    """Every log file of a program in the order written; `meters` None: ids of meters are not checked."""
    made = []
    drawn: dict[str, tuple[str, str, int]] = {}
    for each in entries:
        if each.stream == words.LOGS:
            _check_said(each.node)
            claimed = claims[each.node.path] or (Claim(""),)
            made += [_source(each.node, claim, builds, phases, meters, drawn) for claim in claimed]
    return tuple(made)


def _check_said(entry: Node) -> None:
    """Build and phase are each said by a key or in braces."""
    said = records.said_by_names(entry)
    if patterns.is_pattern(entry.text("sheet")):
        fault = patterns.PatternFault(
            "a run log cannot have", "the name of a worksheet; names of files say build and phase"
        )
        tell_pattern(entry.get("sheet"), fault)
    for name in SAID_BY_NAMES:
        if entry.has(name) and name in said:
            records.said_twice(entry, name, entry.get(name), "entry")
        elif not entry.has(name) and name not in said:
            step = f'add "{name}"' + (f", or {{{name}}} to `files`" if entry.has("files") else "")
            entry.add("missing-key", f'the key "{name}" is missing{entry.within}', next_step=step)
    if not entry.has("channels"):
        entry.add("missing-key", f'the key "channels" is missing{entry.within}', next_step='add "channels"')


def _source(
    entry: Node,
    claim: Claim,
    builds: Sequence[Build],
    phases: Sequence[Phase],
    meters: Mapping[str, Meter] | None,
    drawn: dict[str, tuple[str, str, int]],
) -> LogSource:
    engine = claim.given.get("engine") or entry.reference("engine", [each.id for each in builds], "build", _HERE)
    build = next((each for each in builds if each.id == engine), None)
    phase = _phase(entry, claim, build, phases)
    records.check_keys(entry, ("header_rows", "units_row"))
    time = _time(entry.get("time")) if entry.has("time") else None
    made = [_channel(name, node, build, meters) for name, node in entry.entries("channels")]
    made += [_drawn(name, node, drawn) for name, node in entry.entries("drawn")]
    _apart(entry)
    for name, node in (*entry.entries("channels"), *entry.entries("drawn")):
        if time is None and not node.has("time"):
            node.add(
                "log-time-missing",
                f'no time is given for the channel "{shown(name)}"{entry.within}',
                expected="`time` for the whole file, or one for each channel",
            )
    own = {"engine": engine, "phase": phase, "channels": tuple(made), "time": time, "constants": _constants(entry)}
    return instance(LogSource, entry, file=claim.file, stem=claim.stem, notes=claim.notes, **own)


def _phase(entry: Node, claim: Claim, build: Build | None, phases: Sequence[Phase]) -> str:
    """The phase of a log: one the build has, in which the engine runs."""
    by_name = claim.given.get("phase", "")
    name = by_name or entry.reference("phase", [each.id for each in phases], "phase", _HERE)
    node = entry.get("files" if by_name else "phase")
    about = f"{node.subject} fits {shown(claim.file)}, whose phase" if by_name else node.subject
    phase = next((each for each in phases if each.id == name), None)
    if phase is None:
        return ""
    if not phase.fires:
        running = [each.id for each in phases if each.fires]
        node.add(
            "phase-not-run",
            f'{about} is "{name}", in which no engine runs',
            expected=listed(running),
        )
    elif build is not None:
        gone = phase.only and build.id not in phase.only
        skipped = any(each.phase == name and each.kind == "skipped" for each in build.departures)
        if gone or skipped:
            node.add("phase-not-of-build", f'{about} is "{name}", which {build.id} does not run')
    return name


def _time(node: Node) -> LogTime:
    """How instants are written: exactly one of the ways."""
    ways = [way for way in ("column", "left", "clock", "date") if node.has(way)]
    if node.has("time_of_day") and "date" not in ways:
        ways.append("time_of_day")
    whole = len(ways) == 1 and (ways != ["date"] or node.has("time_of_day")) and ways != ["time_of_day"]
    if not whole:
        said = f"has {' and '.join(ways)}" if ways else "says nothing"
        if len(ways) == 1:
            said += " without " + ("time_of_day" if ways == ["date"] else "date")
        node.add("log-time-unclear", f"{node.subject} {said}", expected=f"exactly one of {_WAYS}")
        return LogTime("elapsed", (Address(),))
    if ways[0] in {"column", "left"}:
        if not node.has("unit"):
            node.add("missing-key", f'the key "unit" is missing{node.within}', next_step='add "unit"')
        else:
            _unit_of_time(node.get("unit"))
        _unwanted(node, ("date_order",), "elapsed time has no date")
        beside = () if ways == ["left"] else (address(node.get("column")),)
        return LogTime("elapsed", beside, node.text("unit") or "s")
    _unwanted(node, ("unit",), "a stamp has no unit")
    order = node.text("date_order")
    if ways == ["clock"]:
        return LogTime("clock", (address(node.get("clock")),), date_order=order)
    at = (address(node.get("date")), address(node.get("time_of_day")))
    return LogTime("date-and-time", at, date_order=order)


def _unwanted(node: Node, keys: Sequence[str], why: str) -> None:
    for key in keys:
        if node.has(key):
            node.get(key).add(
                "key-does-not-apply", f'"{key}" does not apply{node.within}: {why}', next_step="remove it"
            )


def _unit_of_time(node: Node) -> None:
    if not isinstance(node.value, str):
        return
    try:
        units.converter(node.value, "time")
    except units.UnitError as error:
        node.add(error.code, f"{node.subject}: {error.what}", expected=error.expected, near=error.nearest)


def _channel(name: str, node: Node, build: Build | None, meters: Mapping[str, Meter] | None) -> LogChannel:
    found = channels.known(name)
    cylinders = build.engine_type.cylinders if build is not None else 0
    cylinders = cylinders if 0 < cylinders <= MOST_CYLINDERS else MOST_CYLINDERS
    meter = ""
    if found is None or found[1] > cylinders:
        if found is not None:  # a name without a match is refused by the schema
            node.problems.add(
                node.key_at,
                "unknown-cylinder",
                f'"{shown(name)}"{_above(node)} is of no cylinder of its engine type',
                expected=f"1 to {cylinders}",
                nearest=nearest(name, channels.names(cylinders)),
            )
    else:
        _unit(node.get("unit"), found[0])
        if found[0].metered:
            meter = _meter(node, meters)
    time = _time(node.get("time")) if node.has("time") else None
    return instance(LogChannel, node, name=name, at=address(node), meter=meter, time=time, drawn="")


def _drawn(name: str, node: Node, before: dict[str, tuple[str, str, int]]) -> LogChannel:
    """A channel of one's own: its numbers as they are written, under one title and in one unit in every log."""
    if channels.known(name) is not None:
        node.problems.add(
            node.key_at,
            "drawn-is-channel",
            f'"{shown(name)}"{_above(node)} is a channel that more than a drawing is made of',
            expected="a name of your own, or the channel under `channels`",
        )
    if not _OWN.fullmatch(name):
        node.problems.add(
            node.key_at,
            "not-a-name",
            f'"{shown(name)}"{_above(node)} cannot name a channel of your own',
            expected="a small letter, then small letters, digits and underscores, at most 40 in all",
            next_step="choose another name; the title may be any text",
        )
    title, unit = node.text("title") or name, node.text("unit")
    first = before.setdefault(name, (title, unit, node.at[0]))
    if first[:2] != (title, unit):
        node.problems.add(
            node.key_at,
            "drawn-twofold",
            f'"{shown(name)}"{_above(node)} is "{shown(title)}" in "{shown(unit)}" here, and '
            f'"{shown(first[0])}" in "{shown(first[1])}" in line {first[2]}',
            expected="one title and one unit for one name, which are drawn on one axis",
        )
    time = _time(node.get("time")) if node.has("time") else None
    return instance(LogChannel, node, name=name, at=address(node), time=time, drawn=title, meter="")


def _constants(entry: Node) -> Mapping[str, float]:
    """What is stated in place of channels, in SI."""
    made = {}
    for name, node in entry.entries("constants"):
        if entry.get("channels").has(name):
            node.problems.add(
                node.key_at,
                "given-twice",
                f'"{shown(name)}" is a channel and a constant{entry.within}',
                expected="one of the two",
            )
        found = channels.known(name)
        value = node.own_quantity(found[0].dimensions[0]) if found else None
        if found is None or value is None:
            continue
        if not found[0].low <= value <= found[0].high:
            node.add(
                "out-of-range",
                f'{node.subject} is "{shown(node.value)}", which is not possible for {found[0].title.lower()}',
                expected=f"{found[0].low:.6g} to {found[0].high:.6g} {found[0].si}",
            )
            continue
        made[name] = value
    return made


def _above(node: Node) -> str:
    return f" in {place}" if (place := node.subject.partition(" in ")[2]) else ""


def _unit(node: Node, channel: channels.Channel) -> None:
    if not isinstance(node.value, str) or not node.value:
        return
    try:
        channels.converter(channel, node.value)
    except units.UnitError as error:
        node.add(error.code, f"{node.subject}: {error.what}", expected=error.expected, near=error.nearest)


def _meter(node: Node, meters: Mapping[str, Meter] | None) -> str:
    """The meter of a flow channel, whose scale the channel's unit has to agree with."""
    name = node.reference("meter", meters, "meter", HOME)
    meter = (meters or {}).get(name)
    unit = node.get("unit")
    if meter is None or not isinstance(unit.value, str):
        return name
    try:
        nature = units.unit(unit.value).nature
    except units.UnitError:
        return name
    if nature in {"actual", "standard"} and nature != meter.scale:
        unit.add(
            "scale-contradicted",
            f'{unit.subject} is "{shown(unit.value)}", but the scale of the meter {name} is in {meter.scale} volume',
            expected=f"a unit of {meter.scale} flow, as the meter shows it",
        )
    elif (
        nature == "standard"
        and meter.reference_pressure
        and meter.reference_temperature
        and not channels.same_conditions(unit.value, meter.reference_pressure, meter.reference_temperature)
    ):
        unit.add(
            "conditions-contradicted",
            f'{unit.subject} is "{shown(unit.value)}", but the scale of the meter {name} counts at '
            f"{meter.reference_temperature - channels.KELVIN:.6g} degC, {meter.reference_pressure / 1e3:.6g} kPa",
            expected="the reference conditions of the meter, or none beside the unit",
        )
    return name


def _apart(entry: Node) -> None:
    """No column may be two things."""
    taken: dict[str, str] = {}

    def take(column: Node, what: str) -> None:
        alone = isinstance(column.value, dict) and set(column.value) & {"which", "number", "letter", "left_of"}
        header = column.get("header") if isinstance(column.value, dict) else column
        name = "" if alone else " ".join(header.own_text().split())  # what stands where is told with the file
        first = taken.setdefault(name, what)
        if name and first != what:
            header.add(
                "column-twice",
                f'the column "{shown(name)}" is {first} and {what}{entry.within}',
                expected="one use a column",
                next_step="remove one of them",
            )

    for key in _COLUMNS:
        take(entry.get("time").get(key), "time")
    for name, node in (*entry.entries("channels"), *entry.entries("drawn")):
        for key in _COLUMNS:
            take(node.get("time").get(key), "time")
        take(node, shown(name))
