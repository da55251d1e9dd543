"""The record tables a program names: the files behind them, and how each is to be read."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from sitegen import units
from sitegen.problems import shown
from sitegen.program import patterns, words
from sitegen.program.addresses import address
from sitegen.program.convert import instance
from sitegen.program.files import SAID_BY_NAMES, WORKBOOKS, Claims, tell_pattern
from sitegen.program.model import ColumnUse, RecordSource, Words
from sitegen.program.node import Node

PARQUET = ".parquet"
_OF_TEXT = ("separator", "decimal", "thousands", "encoding")  # keys that say how a text table is written
_CONSTANT = frozenset(words.REFERS) - {"cylinder", "meter", "instrument"}


@dataclass(frozen=True)
class Entry:
    """A record entry of the program file."""

    stream: str
    node: Node
    words: tuple[Words, ...] = ()  # the general ones first


Known = Mapping[str, Collection[str] | None]  # kind of id -> those there are; None: not checked


def entries(root: Node, known: Known, general: Sequence[Words], absent: Collection[str] = ()) -> list[Entry]:
    """Every record entry of a program in the order written, logs among them, with its words: `general` ones first.

    Those of streams that are `absent` are not looked at.
    """
    return [
        Entry(stream, entry, (*general, *filter(None, [words.of(entry, known, stream)])))
        for stream, _ in root.entries("records")
        if stream not in absent
        for entry in root.get("records").items(stream)
    ]


def sources(entries: Sequence[Entry], claims: Claims, known: Known) -> tuple[RecordSource, ...]:
    """Every record table of a program in the order written; `logs.sources` reads logs."""
    return tuple(source for each in entries if each.stream != words.LOGS for source in _sources(each, claims, known))


def _sources(of: Entry, claims: Claims, known: Known) -> Iterator[RecordSource]:
    """A source for each file of an entry: what its name says is constant in it."""
    source = _source(of, known)
    for name in said_by_names(of.node):
        part = next((part for part in ("columns", "constants") if of.node.get(part).has(name)), "")
        if not part and name == "phase" and source.form == "sheet":
            part = "cells"
        if part:
            said_twice(of.node, name, of.node.get(part) if part == "cells" else of.node.get(part).get(name), part)
    for claim in claims[of.node.path]:
        constants = {**source.constants, **claim.given}
        yield replace(source, file=claim.file, stem=claim.stem, constants=constants, notes=claim.notes)


def said_by_names(entry: Node) -> tuple[str, ...]:
    """Fields that the names of an entry's files, or of its worksheets, say in braces."""
    said = {key: [name for name in SAID_BY_NAMES if f"{{{name}}}" in entry.text(key)] for key in ("files", "sheet")}
    for name in said["sheet"]:
        if name in said["files"]:
            said_twice(entry, name, entry.get("sheet"), "worksheets")
    return tuple(dict.fromkeys(said["files"] + said["sheet"]))


def said_twice(entry: Node, name: str, where: Node, part: str) -> None:
    """A problem of what is said in braces and by another part of an entry."""
    entry.problems.add(
        where.key_at,
        "given-twice",
        f'"{name}" is said in braces and by the {part}{entry.within}',
        expected="one of the two",
    )


def _source(of: Entry, known: Known) -> RecordSource:
    stream, entry = of.stream, of.node
    sheet = entry.text("sheet")
    if patterns.is_pattern(sheet):
        try:
            patterns.pattern(sheet, SAID_BY_NAMES)
        except patterns.PatternFault as fault:
            tell_pattern(entry.get("sheet"), fault)
    columns = {name: _column(node) for name, node in entry.entries("columns")}
    constants = {name: node.as_written() for name, node in entry.entries("constants")}
    for name, node in entry.entries("constants"):
        if name in _CONSTANT:
            kind = words.REFERS[name]
            home = "this program" if kind in words.OF_PROGRAM else "definitions.yaml"
            node.own_reference(known[kind], kind, home)
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
        file="",
        columns=columns,
        constants=constants,
        sheet_field=field_of_cells,
        sheet_unit=cells.text("unit"),
        sheet_phases={name: node.own_reference(known["phase"], "phase", "this program") for name, node in phases},
        words=of.words,
    )


def check_keys(entry: Node, of_rows: tuple[str, ...] = ()) -> None:
    """Keys that the form of the file leaves nothing to say for; the form is what the name ends in.

    `of_rows` are further ones that a Parquet file, which has no rows of headers, leaves nothing to say for.
    """
    ending = PurePosixPath(entry.text("files") or entry.text("file")).suffix.lower()
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
    _check_unit(node.get("unit"))
    return instance(ColumnUse, node, at=address(node))


def _check_unit(node: Node) -> None:
    if isinstance(node.value, str) and node.value:
        try:
            units.unit(node.value)
        except units.UnitError as error:
            node.add(
                error.code, f"{node.subject}: {error.what}", expected="a unit such as psig, mm or %", near=error.nearest
            )
