"""The record tables a program names: the files behind them, and how each is to be read."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from sitegen import units
from sitegen.problems import nearest, shown
from sitegen.program.convert import instance
from sitegen.program.inside import LONGEST, PathFault, file_inside, files_inside
from sitegen.program.model import ColumnUse, RecordSource
from sitegen.program.node import Node

WORKBOOKS = (".xlsx", ".xlsm")
PARQUET = ".parquet"

# What is wrong with a file named: code, what is expected, next step.
_PATH_FAULTS = {
    "path-not-plain": (
        "path-not-plain",
        "a path inside the program's folder with forward slashes, such as records/leakdown.csv",
        "",
    ),
    "outside-folder": (
        "path-leaves-folder",
        "a file inside the program's folder",
        "copy the file into the program's folder",
    ),
    "missing": ("missing-file", "a file inside the program's folder", ""),
    "empty": ("empty-file", "", "remove the entry"),
}
_OF_TEXT = ("separator", "decimal", "thousands", "encoding")  # keys that say how a text table is written
# Ids a constant may give: field -> kind of id. `definitions.yaml` or the program holds them.
_REFERS = {
    "engine": "build",
    "phase": "phase",
    "tester": "tester",
    "reference": "reference orifice",
    "tool_gap": "tool",
    "tool_mass": "tool",
    "tool_bore": "tool",
    "tool_tension": "tool",
    "laboratory": "laboratory",
}


@dataclass
class Files:
    """Files of one program's folder; each may be named once."""

    folder: Path
    named: dict[str, int] = field(default_factory=dict)  # resolved path -> line
    there: list[str] = field(default_factory=list)  # what the folder holds, looked up for the first missing file

    def take(self, node: Node) -> str:
        """The file a node names, from the program's folder; "" with a problem where it cannot be used."""
        name = node.own_text()
        if not name or not isinstance(node.value, str):
            return ""
        if len(name) > LONGEST:
            return ""  # the schema has told it
        try:
            found = file_inside(self.folder, name)
            size = found.stat().st_size
        except OSError as error:
            self._tell(node, name, PathFault("not-readable", "", (error.strerror or "it cannot be read").lower()))
            return ""
        except PathFault as fault:
            self._tell(node, name, fault)
            return ""
        if not size:
            self._tell(node, name, PathFault("empty", "is empty"))
            return ""
        line = self.named.setdefault(str(found).casefold(), node.at[0])
        if line != node.at[0]:
            node.add(
                "file-named-twice",
                f'{node.subject} is "{shown(name)}", which line {line} names already',
                next_step="remove one of the entries",
            )
            return ""
        return PurePosixPath(name).as_posix()

    def _tell(self, node: Node, name: str, fault: PathFault) -> None:
        code, expected, step = _PATH_FAULTS.get(fault.code, (fault.code, "", ""))
        said = f": {fault.reason}" if fault.reason else f", which {fault.what}"
        near = ""
        if fault.code == "missing":
            self.there = self.there or files_inside(self.folder)
            near = nearest(name, self.there)
        node.add(code, f'{node.subject} is "{shown(name)}"{said}', expected=expected, near=near, next_step=step)


def sources(
    root: Node, files: Files, known: Mapping[str, Collection[str] | None], absent: Collection[str] = ()
) -> tuple[RecordSource, ...]:
    """Every record table of a program in the order written; `known` has the ids by kind (None: not checked).

    Those of streams that are `absent` are not looked at.
    """
    return tuple(
        _source(stream, entry, files, known)
        for stream, _ in root.entries("records")
        if stream != "runlog" and stream not in absent  # `logs.sources` reads logs
        for entry in root.get("records").items(stream)
    )


def _source(stream: str, entry: Node, files: Files, known: Mapping[str, Collection[str] | None]) -> RecordSource:
    columns = {name: _column(node) for name, node in entry.entries("columns")}
    constants = {name: node.as_written() for name, node in entry.entries("constants")}
    for name, node in entry.entries("constants"):
        if name in _REFERS:
            kind = _REFERS[name]
            node.own_reference(known[kind], kind, "this program" if kind in {"build", "phase"} else "definitions.yaml")
        if name in columns:
            node.problems.add(
                node.key_at,
                "given-twice",
                f'"{shown(name)}" is a column and a constant{entry.within}',
                expected="one of the two",
            )
    cells = entry.get("cells")
    field_of_cells = cells.text("field")
    if field_of_cells and (field_of_cells in columns or field_of_cells in constants):
        cells.get("field").add(
            "given-twice",
            f'"{shown(field_of_cells)}" is in the cells and elsewhere{entry.within}',
            expected="one of the two",
        )
    if cells.value is not None:
        for part in ("columns", "constants"):
            if entry.get(part).has("phase"):
                entry.get(part).get("phase").add(
                    "given-twice",
                    f"the phase is given by the cells and by the {part}{entry.within}",
                    next_step="remove it",
                )
    _check_unit(cells.get("unit"))
    check_keys(entry)
    thousands, decimal = entry.text("thousands"), entry.text("decimal")
    if thousands and thousands == decimal:
        entry.get("thousands" if entry.has("thousands") else "decimal").add(
            "signs-clash", f'"{thousands}" parts thousands and decimals{entry.within}', expected="two different signs"
        )
    phases = cells.entries("phases")
    return instance(
        RecordSource,
        entry,
        stream=stream,
        file=files.take(entry.get("file")),
        columns=columns,
        constants=constants,
        sheet_field=field_of_cells,
        sheet_unit=cells.text("unit"),
        sheet_phases={name: node.own_reference(known["phase"], "phase", "this program") for name, node in phases},
    )


def check_keys(entry: Node, of_rows: tuple[str, ...] = ()) -> None:
    """Keys that the form of the file leaves nothing to say for; the form is what the name ends in.

    `of_rows` are further ones that a Parquet file, which has no rows of headers, leaves nothing to say for.
    """
    ending = PurePosixPath(entry.text("file")).suffix.lower()
    keys: tuple[str, ...]
    if ending in WORKBOOKS:
        keys, why = _OF_TEXT, "the cells of a workbook hold numbers, not their signs"
    elif ending == PARQUET:
        keys, why = (*_OF_TEXT, "skip_rows", "sheet", *of_rows), "the columns of a Parquet file have names and types"
    else:
        keys, why = ("sheet",), "only a workbook has worksheets"
    for key in keys:
        if entry.has(key):
            entry.get(key).add(
                "key-does-not-apply",
                f'"{key}" does not apply{entry.within}: {why}',
                expected="a key that applies" if key != "sheet" else "`sheet` beside a file that ends in .xlsx",
                next_step="remove it",
            )


def _column(node: Node) -> ColumnUse:
    if not isinstance(node.value, dict):
        return ColumnUse(node.own_text(), where=node.where)
    _check_unit(node.get("unit"))
    return instance(ColumnUse, node)


def _check_unit(node: Node) -> None:
    if isinstance(node.value, str) and node.value:
        try:
            units.unit(node.value)
        except units.UnitError as error:
            node.add(
                error.code, f"{node.subject}: {error.what}", expected="a unit such as psig, mm or %", near=error.nearest
            )
