"""The run logs a program names: the files, how their instants are written, and what each channel is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sitegen import units
from sitegen.problems import listed, nearest, shown
from sitegen.program import channels, records
from sitegen.program.convert import instance
from sitegen.program.definitions import HOME, MOST_CYLINDERS
from sitegen.program.model import Build, LogChannel, LogSource, LogTime, Meter, Phase
from sitegen.program.node import Node

STREAM = "runlog"
_HERE = "this program"
_WAYS = "column with its unit, clock, or date with time_of_day"


def sources(
    root: Node,
    files: records.Files,
    builds: Sequence[Build],
    phases: Sequence[Phase],
    meters: Mapping[str, Meter] | None,
) -> tuple[LogSource, ...]:
    """Every log file of a program in the order written; `meters` None: ids of meters are not checked."""
    return tuple(_source(entry, files, builds, phases, meters) for entry in root.get("records").items(STREAM))


def _source(
    entry: Node,
    files: records.Files,
    builds: Sequence[Build],
    phases: Sequence[Phase],
    meters: Mapping[str, Meter] | None,
) -> LogSource:
    engine = entry.reference("engine", [each.id for each in builds], "build", _HERE)
    build = next((each for each in builds if each.id == engine), None)
    phase = _phase(entry, build, phases)
    records.check_keys(entry, ("header_rows", "units_row"))
    time = _time(entry.get("time")) if entry.has("time") else None
    made = [_channel(name, node, build, meters) for name, node in entry.entries("channels")]
    _apart(entry)
    for name, node in entry.entries("channels"):
        if time is None and not node.has("time"):
            node.add(
                "log-time-missing",
                f'no time is given for the channel "{shown(name)}"{entry.within}',
                expected="`time` for the whole file, or one for each channel",
            )
    own = {"engine": engine, "phase": phase, "channels": tuple(made), "time": time}
    return instance(LogSource, entry, file=files.take(entry.get("file")), **own)


def _phase(entry: Node, build: Build | None, phases: Sequence[Phase]) -> str:
    """The phase of a log: one the build has, in which the engine runs."""
    name = entry.reference("phase", [each.id for each in phases], "phase", _HERE)
    phase = next((each for each in phases if each.id == name), None)
    if phase is None:
        return ""
    if not phase.fires:
        running = [each.id for each in phases if each.fires]
        entry.get("phase").add(
            "phase-not-run",
            f'{entry.get("phase").subject} is "{name}", in which no engine runs',
            expected=listed(running),
        )
    elif build is not None:
        gone = phase.only and build.id not in phase.only
        skipped = any(each.phase == name and each.kind == "skipped" for each in build.departures)
        if gone or skipped:
            entry.get("phase").add(
                "phase-not-of-build", f'{entry.get("phase").subject} is "{name}", which {build.id} does not run'
            )
    return name


def _time(node: Node) -> LogTime:
    """How instants are written: exactly one of the ways."""
    ways = [way for way in ("column", "clock", "date") if node.has(way)]
    if node.has("time_of_day") and "date" not in ways:
        ways.append("time_of_day")
    whole = len(ways) == 1 and (ways != ["date"] or node.has("time_of_day")) and ways != ["time_of_day"]
    if not whole:
        said = f"has {' and '.join(ways)}" if ways else "says nothing"
        if len(ways) == 1:
            said += " without " + ("time_of_day" if ways == ["date"] else "date")
        node.add("log-time-unclear", f"{node.subject} {said}", expected=f"exactly one of {_WAYS}")
        return LogTime("elapsed", ())
    if ways == ["column"]:
        if not node.has("unit"):
            node.add("missing-key", f'the key "unit" is missing{node.within}', next_step='add "unit"')
        else:
            _unit_of_time(node.get("unit"))
        _unwanted(node, ("date_order",), "elapsed time has no date")
        return LogTime("elapsed", (node.text("column"),), node.text("unit") or "s")
    _unwanted(node, ("unit",), "a stamp has no unit")
    order = node.text("date_order")
    if ways == ["clock"]:
        return LogTime("clock", (node.text("clock"),), date_order=order)  # type: ignore[arg-type] # of the schema
    headers = (node.text("date"), node.text("time_of_day"))
    return LogTime("date-and-time", headers, date_order=order)  # type: ignore[arg-type]


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
    return instance(LogChannel, node, name=name, meter=meter, time=time)


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

    def take(header: Node, what: str) -> None:
        name = " ".join(header.own_text().split())
        first = taken.setdefault(name, what)
        if name and first != what:
            header.add(
                "column-twice",
                f'the column "{shown(name)}" is {first} and {what}{entry.within}',
                expected="one use a column",
                next_step="remove one of them",
            )

    for key in ("column", "clock", "date", "time_of_day"):
        take(entry.get("time").get(key), "time")
    for name, node in entry.entries("channels"):
        for key in ("column", "clock", "date", "time_of_day"):
            take(node.get("time").get(key), "time")
        take(node.get("header"), shown(name))
