"""From what is in a file to the record entry that would read it.

Nothing is settled that the file does not show: what only the user can know is left as "?", which `check` refuses, and
every line says what it rests on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import PurePosixPath

from sitegen import units
from sitegen.looking.seen import Seen, SeenColumn
from sitegen.looking.words import CHANNELS, FIELDS, TIMES
from sitegen.program import channels
from sitegen.program.model import Program
from sitegen.program.yamltext import scalar
from sitegen.tables.columns import YES_NO
from sitegen.tables.mapping import is_mark
from sitegen.tables.table import plain
from sitegen.vocabulary import Field

OPEN = "?"
"""Stands where only the user knows: no value that `check` accepts."""
_UNSTATED = {
    "gauge-or-absolute-unstated": {"gauge pressure": " gauge", "absolute pressure": " absolute"},
    "actual-or-standard-unstated": {"actual flow": " actual"},
}
_ENOUGH = 0.6
_NEAR = 0.08  # two columns this near to each other in merit: neither is taken
_SEPARATORS = {"comma": "comma", "semicolon": "semicolon", "tab": "tab", "bar": "bar", "blanks": "blanks"}
_PLACES = {"engine": "build", "phase": "phase", "tester": "tester", "reference": "reference orifice", "meter": "meter"}


@dataclass
class Proposal:
    """A record entry to paste, and what is still open."""

    lines: list[str]  # of YAML, indented as an entry of `records`
    open: list[str] = field(default_factory=list)  # what "?" stands for
    unused: list[str] = field(default_factory=list)  # headers of columns the entry does not name

    def text(self) -> str:
        """The entry as it is pasted."""
        return "\n".join(self.lines) + "\n"


@dataclass(frozen=True)
class _Fit:
    """How well a column fits a field or channel."""

    merit: float
    name: str
    at: int
    why: str
    unit: str = ""  # to be written; "" none, or the header says it
    remark: str = ""


# ---- names ----------------------------------------------------------------------------------------------------------


def _tokens(text: str) -> tuple[str, ...]:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    return tuple(
        re.findall(r"[a-z]+|[0-9]+", spaced.casefold().replace("blow-by", "blowby").replace("blow by", "blowby"))
    )


def _alike(name: str, known: Iterable[str]) -> float:
    """Likeness of a header to the names of a field, 0 to 1."""
    mine = _tokens(name)
    best = 0.0
    for each in known:
        theirs = _tokens(each)
        if not mine or not theirs:
            continue
        if mine == theirs:
            return 1.0
        left = list(theirs)
        met = 0.0
        for token in mine:
            whole = next((other for other in left if other == token), None)
            part = next(
                (o for o in left if min(len(o), len(token)) >= 3 and (o.startswith(token) or token.startswith(o))), None
            )
            if (found := whole or part) is not None:
                met += 1.0 if whole else 0.8
                left.remove(found)
        best = max(best, 0.95 * 2 * met / (len(mine) + len(theirs)))
    return best


# ---- units ----------------------------------------------------------------------------------------------------------


def _unit_for(column: SeenColumn, dimensions: Sequence[str]) -> tuple[float, str, str]:
    """What a column's unit adds to its merit (below 0: it cannot be), the unit to write, and a remark on it."""
    if not column.unit:
        return 0.0, OPEN, ""
    in_name = column.unit_place == "at the end of its header"
    best: tuple[float, str, str] = (0.0, OPEN, f'"{column.unit}" is no unit known here')
    for dimension in dimensions:
        try:
            units.converter(column.unit, dimension)
        except units.UnitError as error:
            nature = _UNSTATED.get(error.code, {}).get(dimension, "")
            if nature:
                best = (0.25, column.unit + nature, f'the file says "{column.unit}": is it{nature}?')
            elif error.code == "wrong-kind-of-unit" and best[0] <= 0:
                best = (-1.0, "", "")
        else:
            return 0.3, column.unit if in_name else "", ""
    return best


def _ascii(unit: str) -> str:
    return unit.replace("°C", "degC").replace("°F", "degF").replace("µ", "u").replace("μ", "u")


# ---- tables ---------------------------------------------------------------------------------------------------------


def _ids(program: Program | None, refers: str) -> list[str] | None:
    """Ids of a kind; None where no program says them."""
    if program is None:
        return None
    given = program.definitions
    return {
        "engine": [each.id for each in program.builds],
        "phase": [each.id for each in program.phases],
        "tester": list(given.testers),
        "reference": list(given.reference_orifices),
        "tool": list(given.tools),
        "meter": list(given.meters),
        "laboratory": list(given.laboratories),
    }.get(refers)


def _fit(what: Field, column: SeenColumn, program: Program | None) -> _Fit | None:
    """How a column fits a field; None where it cannot be."""
    names = [what.name.replace("_", " "), what.title, *FIELDS.get(what.name, ())]
    # a word at the end of a header that happens to be a unit ("Since stop h") may be part of the name
    merit = max(_alike(column.name, names), _alike(column.header, names))
    why, unit, remark = "by its name", "", ""
    if what.kind in {"number", "bounded"} and what.dimension:
        if column.kind not in {"number", "empty"} and not (what.kind == "bounded" and _marked(column)):
            return None
        gain, unit, remark = _unit_for(column, [what.dimension])
        if gain < 0:
            return None
        if gain:
            why = "by its name and its unit"
        merit += gain if merit > 0 else 0.0
    elif what.kind in {"number", "integer"}:
        if column.kind not in {"number", "empty"} or (what.kind == "integer" and not column.whole and column.filled):
            return None
        if column.filled and not (what.low is None or column.low >= what.low):
            return None
    elif what.kind == "date":
        if column.kind not in {"date", "stamp", "empty"}:
            return None
        merit, why = (merit + 0.3, "its cells are dates") if column.filled else (merit, why)
    elif column.kind == "empty":
        pass
    elif what.kind in {"word", "yes-no"}:
        words = {each.casefold() for each in what.words} or set(YES_NO)
        said = {"-".join(each.casefold().replace("_", " ").replace("-", " ").split()) for each in column.texts}
        share = len(said & words) / max(len(said), 1)
        if column.kind != "text" or share < 0.5:
            return None
        merit, why = merit + 0.4, "by its name, and its cells are words of it"
    elif what.refers:
        ids = _ids(program, what.refers)
        if ids is not None:
            share = sum(each in ids for each in column.texts) / max(len(column.texts), 1)
            if share < 0.5 or column.many:
                return None
            merit, why = merit + 0.65, f"its cells are ids of {_PLACES.get(what.refers, what.refers)}s"
    elif what.kind == "text" and column.kind not in {"text", "number"}:
        return None
    return _Fit(merit, what.name, column.at, why, _ascii(unit), remark) if merit >= _ENOUGH else None


def _marked(column: SeenColumn) -> bool:
    """True where a column of texts holds marks of an oil report alone, as that of a metal never detected does."""
    return column.kind == "text" and all(is_mark(each) for each in column.texts)


def _assigned(fits: Iterable[_Fit], open_: list[str], headers: Sequence[str]) -> dict[str, _Fit]:
    """A column for each field, the best first; where two columns fit one field alike, neither is taken."""
    ranked = sorted(fits, key=lambda fit: (-fit.merit, fit.at, fit.name))
    taken: dict[str, _Fit] = {}
    used: set[int] = set()
    for fit in ranked:
        if fit.name in taken or fit.at in used:
            continue
        rivals = [
            each for each in ranked
            if each.name == fit.name and each.at != fit.at and each.at not in used and fit.merit - each.merit < _NEAR
            and not any(o.at == each.at and o.name not in {fit.name, *taken} and o.merit > each.merit for o in ranked)
        ]  # fmt: skip
        taken[fit.name] = fit
        used.add(fit.at)
        if rivals:
            names = " or ".join(f'"{headers[each.at]}"' for each in (fit, *rivals))
            open_.append(f"{fit.name}: which column is it, {names}?")
            taken[fit.name] = _Fit(fit.merit, fit.name, -1, f"{names}?")
    return taken


def table(seen: Seen, stream: str, fields: Sequence[Field], program: Program | None, file: str) -> Proposal:
    """The record entry of a table of a stream; `file` is its name from the program's folder."""
    del stream
    out = Proposal([f"    - file: {scalar(file)}"])
    headers = [column.header for column in seen.columns]
    own = [each for each in fields if each.name != "reading"]
    sheet = _phases_across(seen, program)
    columns = [column for column in seen.columns if column.at not in sheet]
    fits = [fit for what in own for column in columns if (fit := _fit(what, column, program)) is not None]
    if sheet:
        fits = [fit for fit in fits if fit.name != "phase"]
    found = _assigned(fits, out.open, headers)
    if sheet:
        out.lines.append("      form: sheet              # a row a cylinder, a column a phase")
    _writing(seen, out)
    constants = _constants(own, found, bool(sheet), seen, program, out)
    if constants:
        out.lines += ["      constants:", *(f"        {line}" for line in constants)]
    if found or not sheet:
        out.lines.append("      columns:")
    for what in own:
        if what.name in found:
            out.lines.append(f"        {_line(found[what.name], seen, what.dimension, out)}")
    if sheet:
        numbers = [each.name for each in own if each.kind == "number" and each.name not in found]
        unit = next((seen.columns[at].unit for at in sheet if seen.columns[at].unit_place == "in its header"), "")
        out.open.append("cells, field: what the cells hold: " + ", ".join(numbers[:8]))
        if not unit:
            out.open.append("cells, unit: the unit of the cells")
        out.lines += [
            "      cells:",
            f'        field: "{OPEN}"',
            f"        unit: {scalar(_ascii(unit) or OPEN)}",
            "        phases:",
            *(f"          {scalar(headers[at])}: {phase}" for at, phase in sheet.items()),
        ]
    used = {fit.at for fit in found.values()} | set(sheet)
    out.unused = [column.header for column in seen.columns if column.at not in used]
    return out


def _phases_across(seen: Seen, program: Program | None) -> dict[int, str]:
    """Columns whose headers are phases, two or more: a sheet with a row a cylinder."""
    if program is None:
        return {}
    names: dict[str, str] = {}
    for phase in program.phases:
        for text in (phase.id, phase.title):
            names.setdefault(" ".join(_tokens(text)), phase.id)
    found: dict[int, str] = {}
    for column in seen.columns:
        if column.kind not in {"number", "empty"}:
            continue
        words = " ".join(_tokens(column.header))
        ends = [phase for name, phase in names.items() if words and (name == words or name.endswith(f" {words}"))]
        starts = [phase for name, phase in names.items() if words and name.startswith(f"{words} ")]
        fitting = list(dict.fromkeys(ends or starts))
        if len(fitting) == 1 and fitting[0] not in found.values():
            found[column.at] = fitting[0]
    return found if len(found) > 1 else {}


def _writing(seen: Seen, out: Proposal, *, log: bool = False) -> None:
    """How the file is written, as far as it is not found by itself or is not the usual."""
    add = out.lines.append
    if seen.sheet:
        add(f"      sheet: {scalar(seen.sheet)}")
    if seen.text and seen.separator != "comma":
        add(f"      separator: {_SEPARATORS[seen.separator]}")
    if seen.text and seen.doubt:
        out.open.append(f"decimal, thousands: {seen.doubt}")
        add(f'      decimal: "{OPEN}"              # {seen.doubt}')
    elif seen.text and seen.decimal == ",":
        add('      decimal: ","')
    if seen.text and seen.thousands and not log:
        add(f'      thousands: "{seen.thousands}"')
    if seen.text and seen.encoding not in {"utf-8", "utf-16", "utf-32"}:
        add(f"      encoding: {seen.encoding}")
    if seen.date_order and not log:
        if seen.date_order == OPEN:
            out.open.append("date_order: day first or month first; no date of the file tells")
        add(f"      date_order: {scalar(seen.date_order)}")
    if seen.skip_rows and seen.header_line:
        add(f"      skip_rows: {seen.skip_rows}")
    if log and seen.header_rows > 1:
        add(f"      header_rows: {seen.header_rows}")
    if seen.units_row:
        add("      units_row: true")


def _constants(
    fields: Sequence[Field], found: Mapping[str, _Fit], sheet: bool, seen: Seen, program: Program | None, out: Proposal
) -> list[str]:
    """What no column says but every record needs."""
    lines = []
    across = {"phase"} if sheet else set()
    for what in fields:
        if not what.required or what.name in found or what.name in across:
            continue
        value, why = _known(what.refers, seen.file, program)
        if not value:
            value, why = OPEN, what.title.lower()
            out.open.append(f"{what.name}: no column says it ({what.title.lower()})")
        lines.append(f"{what.name}: {scalar(value)}".ljust(24) + f"   # {why}")
    return lines


def _known(refers: str, file: str, program: Program | None) -> tuple[str, str]:
    """An id that the name of the file says, or the only one there is."""
    ids = _ids(program, refers) or []
    stem = "-".join(_tokens(PurePosixPath(file).stem))
    named = [each for each in ids if f"-{'-'.join(_tokens(each))}-" in f"-{stem}-"]
    longest = [each for each in named if not any(each != other and each in other for other in named)]
    if len(longest) == 1:
        return longest[0], "from the name of the file"
    if len(ids) == 1:
        return ids[0], f"the only {_PLACES.get(refers, refers)} there is"
    return "", ""


def _reference(column: SeenColumn, seen: Seen) -> str:
    """The header as an entry writes it: without a bracketed unit where that leaves it the only one."""
    name = plain(column.name) if column.unit_place == "in its header" else plain(column.header)
    others = [other for other in seen.columns if other.at != column.at]
    alone = name and not any(plain(o.header) == name or o.name == name for o in others)
    return name if alone else plain(column.header)


def _line(fit: _Fit, seen: Seen, dimension: str, out: Proposal) -> str:
    """One field of `columns` as YAML."""
    if fit.at < 0:
        return f'{fit.name}: "{OPEN}"'.ljust(40) + f"   # {fit.why}"
    column = seen.columns[fit.at]
    header = scalar(_reference(column, seen))
    why = fit.remark or fit.why
    if not dimension or not fit.unit:
        return f"{fit.name}: {header}".ljust(40) + f"   # {why}"
    if fit.unit == OPEN:
        likely = ", ".join(units.DIMENSIONS[dimension].spellings[:4])
        out.open.append(f'{fit.name}: the unit of column "{column.header}", such as {likely}')
    return f"{fit.name}: {{header: {header}, unit: {scalar(fit.unit)}}}".ljust(40) + f"   # {why}"


# ---- logs -----------------------------------------------------------------------------------------------------------


def log(seen: Seen, program: Program | None, file: str) -> Proposal:
    """The record entry of a run log; `file` is its name from the program's folder."""
    out = Proposal([f"    - file: {scalar(file)}"])
    headers = [column.header for column in seen.columns]
    for key, refers in (("engine", "engine"), ("phase", "phase")):
        value, why = _known(refers, seen.file, program)
        if not value:
            out.open.append(f"{key}: id of the {_PLACES[refers]}")
        out.lines.append(f"      {key}: {scalar(value or OPEN)}".ljust(32) + (f"   # {why}" if why else ""))
    _writing(seen, out, log=True)
    own = _own_times(seen)
    times = sorted(set(own.values())) or _times(seen)
    if not own:
        out.lines.append(_time_line(times, seen, out))
    free = [column for column in seen.columns if column.at not in times and column.kind in {"number", "empty"}]
    fits = [fit for column in free for fit in _channel_fits(column, program)]
    found = _assigned(fits, out.open, headers)
    out.lines.append("      channels:")
    order = {name: n for n, name in enumerate(channels.names(24))}
    for name in sorted(found, key=lambda each: order[each]):
        out.lines.append(f"        {_channel_line(found[name], seen, program, out, own)}")
    if not found:
        out.open.append("channels: none of the columns has a name known here; speed and torque are the first two")
        out.lines.append(f'        speed: {{header: "{OPEN}", unit: rpm}}')
    used = {fit.at for fit in found.values()} | set(times)
    out.unused = [column.header for column in seen.columns if column.at not in used]
    return out


def _times(seen: Seen) -> list[int]:
    """Columns that say the time: one of stamps, a date with a time of day, or elapsed time."""
    kinds = {kind: [each.at for each in seen.columns if each.kind == kind] for kind in ("stamp", "date", "time of day")}
    if kinds["stamp"]:
        return kinds["stamp"][:1]
    if kinds["date"] and kinds["time of day"]:
        return [kinds["date"][0], kinds["time of day"][0]]
    if kinds["time of day"]:
        return kinds["time of day"][:1]
    rising = [each for each in seen.columns if each.kind == "number" and each.rises]
    named = [each for each in rising if _alike(each.name, TIMES) >= 0.9 or _is_time(each.unit)]
    return [each.at for each in (named or (rising[:1] if rising and rising[0].at == 0 else []))][:1]


def _own_times(seen: Seen) -> dict[int, int]:
    """Time column of each channel, where every channel has one of its own on its left."""
    own = {}
    for before, column in pairwise(seen.columns):
        named = set(_tokens(column.name)) <= set(_tokens(before.name))
        plain_time = _alike(before.name, TIMES) >= 0.9 and not column.rises
        if before.rises and column.kind in {"number", "empty"} and (named or plain_time):
            own[column.at] = before.at
    return own if len(own) > 1 else {}


def _is_time(unit: str) -> bool:
    try:
        units.converter(unit, "time")
    except units.UnitError:
        return False
    return True


def _time_line(times: Sequence[int], seen: Seen, out: Proposal) -> str:
    """The time of a log as a line of YAML."""
    time, remark = _time(times, seen, out)
    return f"      time: {time}" + (f"   # {remark}" if remark else "")


def _time(times: Sequence[int], seen: Seen, out: Proposal) -> tuple[str, str]:
    order = ""
    if seen.date_order:
        order = f", date_order: {scalar(seen.date_order)}"
        if seen.date_order == OPEN:
            out.open.append("date_order: day first or month first; no stamp of the file tells")
    if not times:
        out.open.append("time: no column of elapsed time, and none of stamps, was found")
        return f'{{column: "{OPEN}", unit: s}}', ""
    names = [scalar(_reference(seen.columns[at], seen)) for at in times]
    column = seen.columns[times[0]]
    if len(times) == 2:
        return f"{{date: {names[0]}, time_of_day: {names[1]}{order}}}", ""
    if column.kind != "number":
        return f"{{clock: {names[0]}{order}}}", ""
    said = column.unit if _is_time(column.unit) else ""
    word = next((word for word in _tokens(column.header) if word in _TIME_WORDS), "")
    unit = said or _TIME_WORDS.get(word, "")
    if not unit:
        said = f'time, unit: s, min or ms? "{column.header}" runs from {column.low:g} to {column.high:g}'
        if not any(each.startswith("time, unit") for each in out.open):
            out.open.append(said)
    remark = f"it runs from {column.low:g} to {column.high:g}"
    return f"{{column: {names[0]}, unit: {scalar(unit or OPEN)}}}", remark


_TIME_WORDS = {"seconds": "s", "sec": "s", "minutes": "min", "minute": "min", "hours": "h", "ms": "ms"}


def _channel_fits(column: SeenColumn, program: Program | None) -> list[_Fit]:
    """The channels a column may be."""
    cylinders = max((build.engine_type.cylinders for build in program.builds), default=24) if program else 24
    number = re.search(r"(?<![0-9.])([0-9]{1,2})\s*$", column.name)
    fits = []
    for name, what in channels.CHANNELS.items():
        known = [name.replace("_", " "), what.title, *CHANNELS.get(name, ())]
        said, own = column.name, name
        if what.each_cylinder:
            if number is None or not 1 <= int(number[1]) <= cylinders:
                continue
            said, own = column.name[: number.start()], f"{name}_{int(number[1])}"
        merit = max(_alike(said, known), 0.0 if what.each_cylinder else _alike(column.header, known))
        dimensions = ["actual flow", "standard flow"] if what.metered else list(what.dimensions)
        gain, unit, remark = _unit_for(column, dimensions)
        if gain < 0 or merit <= 0:
            continue
        if what.metered and remark:
            unit, remark = _flow_unit(column, program)
        if merit + gain >= _ENOUGH:
            why = "by its name and its unit" if gain else "by its name"
            written = _ascii(unit) or _ascii(column.unit)
            fits.append(_Fit(merit + gain, own, column.at, why, written, remark))
    return fits


def _flow_unit(column: SeenColumn, program: Program | None) -> tuple[str, str]:
    """A flow that does not say which volume it counts: as the scale of the only meter says, else open."""
    meters = list(program.definitions.meters.values()) if program else []
    if len(meters) == 1 and meters[0].scale == "actual":
        return f"{column.unit} actual", f"actual volume, as {meters[0].id} shows it"
    return OPEN, f'the file says "{column.unit}": actual or standard volume?'


def _channel_line(fit: _Fit, seen: Seen, program: Program | None, out: Proposal, own: Mapping[int, int]) -> str:
    if fit.at < 0:
        return f'{fit.name}: {{header: "{OPEN}", unit: "{OPEN}"}}   # {fit.why}'
    column = seen.columns[fit.at]
    found = channels.known(fit.name)
    what = found[0] if found else None
    parts = [f"header: {scalar(_reference(column, seen))}", f"unit: {scalar(fit.unit)}"]
    if fit.unit == OPEN and what is not None:
        dimensions = what.dimensions if not what.metered else ("actual flow",)
        likely = ", ".join(units.DIMENSIONS[dimensions[0]].spellings[:4])
        said = f'{fit.name}: the unit of column "{column.header}", such as {likely}'
        out.open.append(said)
    if what is not None and what.metered:
        meters = list(program.definitions.meters) if program else []
        meter = meters[0] if len(meters) == 1 else OPEN
        if meter == OPEN:
            out.open.append(
                f"{fit.name}, meter: id of the meter in definitions.yaml"
                + (f" ({', '.join(meters)})" if meters else "")
            )
        parts.append(f"meter: {scalar(meter)}")
    if fit.at in own:
        parts.append(f"time: {_time([own[fit.at]], seen, out)[0]}")
    return f"{fit.name}: {{{', '.join(parts)}}}   # {fit.remark or fit.why}"
