"""Which columns an empty table gets: the program's own where it has some for that build, else `field [unit]`."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from sitegen import units
from sitegen.declarations import Blank, Stream
from sitegen.program.files import WORKBOOKS
from sitegen.program.model import Address, Build, ColumnUse, Phase, Program, RecordSource
from sitegen.program.records import PARQUET
from sitegen.reader.blocked import Blocked
from sitegen.reader.decode import Decoded
from sitegen.reader.headers import parted
from sitegen.reader.kinds import load
from sitegen.reader.place import Misplaced, place
from sitegen.reader.table import Table, lay_out, lay_out_cells, settled
from sitegen.tables.columns import known_headers
from sitegen.tables.reading import read_stream
from sitegen.vocabulary import Field

# The unit a field is written in where neither the program's tables nor its stream name one.
_UNITS = {
    "gauge pressure": "kPa gauge",
    "absolute pressure": "kPa absolute",
    "pressure difference": "kPa",
    "length": "mm",
    "area": "mm2",
    "mass": "g",
    "temperature": "degC",
    "temperature difference": "K",
    "time": "min",
    "speed": "rpm",
    "torque": "N m",
    "power": "kW",
    "volume": "mL",
    "actual flow": "actual L/min",
    "standard flow": "standard L/min (0 degC, 101.325 kPa)",
    "force": "N",
    "energy": "kJ",
    "density": "kg/m3",
    "hardness": "HV",
    "angle": "deg",
    "ratio": "%",
}


@dataclass(frozen=True)
class Heading:
    """One column of an empty table."""

    header: str  # as it stands over the column
    field: str  # "" where the record entry does not use it
    unit: str  # as written; "" none


@dataclass(frozen=True)
class Columns:
    """Columns of an empty table, and the way of writing that goes with them."""

    headings: tuple[Heading, ...]
    source: RecordSource | None = None  # the record entry they are from; None: headers are `field [unit]`
    below: tuple[str, ...] = ()  # row of units below the header
    separator: str = ""  # between the columns of a text table, as the reader calls it

    def unit(self, name: str) -> str:
        """Unit a field is written in; "" where it has none, or no column."""
        return next((each.unit for each in self.headings if each.field == name), "")

    @property
    def fields(self) -> tuple[str, ...]:
        """Fields that have a column."""
        return tuple(each.field for each in self.headings if each.field)

    @property
    def constants(self) -> Mapping[str, str]:
        """Fields whose text the record entry states for the whole file."""
        return {name: str(value) for name, value in self.source.constants.items()} if self.source else {}


@dataclass(frozen=True)
class Written:
    """One table of a program as it stands on disk: its columns, builds, and what its instruments are called."""

    columns: Columns
    builds: frozenset[str]
    named: Mapping[str, Mapping[str, int]] = field(default_factory=dict)  # field -> id -> rows that name it


def written(program: Program, stream: Stream) -> tuple[Written, ...]:
    """The tables a stream has so far. Those that cannot be read are passed over: `check` tells of them."""
    found = []
    ids = [each.name for each in stream.fields if each.refers in {"tester", "tool"}]
    for source in program.records:
        if source.stream != stream.name or source.form != "long":
            continue
        columns = _columns(program, source, stream)
        if columns is None:
            continue
        frame = read_stream(program, [source], stream.fields).frame  # ids alone: no check, no trace file is asked
        named = {name: Counter(str(each) for each in frame[name].dropna()) for name in ids if name in frame}
        builds = (
            frozenset(str(each) for each in frame["engine"].dropna().unique()) if "engine" in frame else frozenset()
        )
        found.append(Written(columns, builds | {str(source.constants.get("engine", ""))} - {""}, named))
    return tuple(found)


def _columns(program: Program, source: RecordSource, stream: Stream) -> Columns | None:
    file = f"{Path(program.folder).name}/{source.file}"
    try:
        content = load(Path(program.folder) / source.file, file, source)
        known = known_headers(source, stream.fields)
        if isinstance(content, Decoded):
            table = lay_out(content.text, file, source, known)
        else:
            table = lay_out_cells(content, file, source, known)
    except Blocked:
        return None
    below = table.units if table.layout.units_row.value else ()
    source = settled(source, table.layout)
    return Columns(tuple(_headings(source, stream, table)), source, below, table.separator)


def _headings(source: RecordSource, stream: Stream, table: Table) -> Sequence[Heading]:
    own = {}
    for name, use in source.columns.items():
        with suppress(Misplaced):  # told by `check`
            own[place(table.header, use.at, source.file, "the table")] = name, use.unit
    fields = {each.name: each for each in stream.fields}
    headings = []
    for at, header in enumerate(table.header):
        name, bracket = parted(header)
        used, unit = own.get(at, ("", "")) if source.columns else (name if name in fields else "", "")
        what = fields.get(used)
        measured = what is not None and bool(what.dimension)
        headings.append(Heading(header, used, (unit or bracket or table.units[at]) if measured else ""))
    return headings


def choose(stream: Stream, tables: Sequence[Written], build: Build, phase: Phase, blank: Blank) -> Columns:
    """Columns of the empty table of one build and phase.

    Those of the table that holds this build and most of what is asked, the last of several; else those that all tables
    of the stream share; else every field of the stream under `field [unit]`, in the units most used in the program.
    What a measure rests on gets a column where that table, which may be of other work, has none.
    """
    chosen = _of_program(tables, build, phase, blank)
    return _all_fields(stream, tables, blank) if chosen is None else _with_needed(chosen, stream, tables, blank)


def _of_program(tables: Sequence[Written], build: Build, phase: Phase, blank: Blank) -> Columns | None:
    """Columns of one of the program's own tables."""
    fitting = [each for each in tables if _states_nothing_else(each.columns, build, phase)]
    own = [each for each in fitting if build.id in each.builds]
    alike = {_way(each.columns) for each in tables}
    if own:
        wanted = {name for row in blank.rows for name in row} | set(blank.once)
        best = max(range(len(own)), key=lambda at: (len(wanted & set(own[at].columns.fields)), at))
        return _of_other(own[best].columns)
    return _of_other(fitting[-1].columns) if fitting and len(alike) == 1 else None


def _all_fields(stream: Stream, tables: Sequence[Written], blank: Blank) -> Columns:
    return Columns(tuple(_heading(what, tables, blank) for what in stream.fields if what.name != "reading"))


def _heading(what: Field, tables: Sequence[Written], blank: Blank) -> Heading:
    """`field [unit]`, in the unit most used in the program."""
    unit = ""
    if what.dimension:
        used = Counter(
            each.unit for table in tables for each in table.columns.headings if each.field == what.name and each.unit
        )
        unit = min(used, key=lambda each: (-used[each], each)) if used else ""
        unit = unit or blank.units.get(what.name) or _usual_unit(what.dimension)
    return Heading(f"{what.name} [{unit}]" if unit else what.name, what.name, unit)


def _with_needed(columns: Columns, stream: Stream, tables: Sequence[Written], blank: Blank) -> Columns:
    """The columns with one for each field that is needed and has none; a constant gives way to what rows say each."""
    by_row = {name for table in blank.tables for name in (*table.ticks, *table.asked)} | {
        n for r in blank.rows for n in r
    }
    stated = {name for name in columns.constants if name not in by_row}
    lacking = [
        what for what in stream.fields
        if what.name in blank.needed and what.name not in columns.fields and what.name not in stated
    ]  # fmt: skip
    if not lacking:
        return columns
    more = [_heading(what, tables, blank) for what in lacking]
    source = columns.source
    if source is not None:
        names = {each.field for each in more}
        kept = {name: value for name, value in source.constants.items() if name not in names}
        uses = {each.field: ColumnUse(Address(each.header), each.unit) for each in more} if source.columns else {}
        source = replace(source, constants=kept, columns={**source.columns, **uses})
    below = (*columns.below, *("" for _ in more)) if columns.below else ()
    return replace(columns, headings=(*columns.headings, *more), source=source, below=below)


def in_units_of(columns: Columns, blank: Blank, stream: Stream) -> Blank:
    """The empty record with what is known of it in the units of its columns."""
    factors: dict[str, tuple[float, float]] = {}
    for what in stream.fields:
        own, other = blank.units.get(what.name, ""), columns.unit(what.name)
        if own and other and own != other and what.dimension:
            scale, offset = units.converter(own, what.dimension)
            try:
                theirs, begin = units.converter(other, what.dimension)
            except units.UnitError:  # a header of the user's, such as "bar", which `check` refuses: no number under it
                factors[what.name] = math.nan, math.nan
                continue
            factors[what.name] = scale / theirs, (offset - begin) / theirs

    def told(row: Mapping[str, str]) -> Mapping[str, str]:
        return {name: _scaled(text, *factors[name]) if name in factors else text for name, text in row.items()}

    tables = tuple(replace(table, rows=[told(row) for row in table.rows]) for table in blank.tables)
    return replace(blank, rows=[told(row) for row in blank.rows], tables=tables) if factors else blank


def _scaled(text: str, scale: float, offset: float) -> str:
    if math.isnan(scale):
        return ""
    try:
        return f"{float(text) * scale + offset:.6g}"
    except ValueError:
        return text  # a dash, for what is not to be filled in


def _usual_unit(dimension: str) -> str:
    return _UNITS.get(dimension) or units.DIMENSIONS[dimension].spellings[0]


def _of_other(columns: Columns) -> Columns:
    """Columns without what belongs to the other file alone: the lines above its header, its worksheet."""
    source = columns.source
    if source is None:
        return columns
    return replace(columns, source=replace(source, skip_rows=0, sheet="", apart=False))


def _states_nothing_else(columns: Columns, build: Build, phase: Phase) -> bool:
    """Whether what the record entry states for the whole file holds for this build and phase too."""
    stated = columns.constants
    told = {"engine": build.id, "phase": phase.id}
    return "cylinder" not in stated and all(stated.get(name, mine) == mine for name, mine in told.items())


def _way(columns: Columns) -> tuple[object, ...]:
    source = columns.source
    if source is None:
        return (columns.headings,)
    constants = tuple(
        sorted((name, text) for name, text in columns.constants.items() if name not in {"engine", "phase"})
    )
    return (
        columns.headings,
        columns.below,
        source.separator,
        source.decimal,
        source.date_order,
        source.encoding,
        constants,
    )


def instrument(tables: Sequence[Written], what: Field, build: Build, defined: Sequence[str]) -> str:
    """Id of the tester or tool a field most likely names: the build's so far, the program's so far, or the only one."""
    for among in ([each for each in tables if build.id in each.builds], tables):
        counted: Counter[str] = Counter()
        for each in among:
            counted.update({str(name): count for name, count in each.named.get(what.name, {}).items()})
        if counted:
            return min(counted, key=lambda name: (-counted[name], name))
    return defined[0] if len(defined) == 1 else ""


def is_text(source: RecordSource | None) -> bool:
    """Whether a record entry is of a text table, whose separator and marks can be kept."""
    ending = PurePosixPath(source.file).suffix.lower() if source else ""
    return ending not in {*WORKBOOKS, PARQUET}
