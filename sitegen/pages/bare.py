"""Blocks for blinded reviewers: without the columns that name coatings, or hold nothing once these are not shown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sitegen.page import words
from sitegen.page.blocks import Beside, Figure, Row, Table, Under

_NAMED = frozenset({"Coating", "Coatings"})  # titles of columns


def bare(blocks: Iterable[Any]) -> list[Any]:
    """The same blocks, each of its kind."""
    return [_bare(block) for block in blocks]


def _bare(block: Any) -> Any:
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Figure) and block.table is not None:
        return replace(block, table=_table(block.table))
    if isinstance(block, Beside | Under):
        return replace(block, blocks=tuple(bare(block.blocks)))
    return block


def _table(table: Table) -> Table:
    kept = [n for n, column in enumerate(table.columns) if column.title not in _NAMED and not _empty(table, n)]
    axis = table.axis
    if axis is not None:
        axis = replace(axis, column=kept.index(axis.column))
    return replace(
        table, axis=axis, columns=[table.columns[n] for n in kept],
        rows=[Row([row.cells[n] for n in kept], row.here, row.anchor) for row in table.rows],
    )  # fmt: skip


def _empty(table: Table, n: int) -> bool:
    """Whether nothing stands in a column but dashes."""
    cells = [row.cells[n] for row in table.rows]
    nothing = (each.text in {"", words.DASH} and not (each.strip or each.note or each.box) for each in cells)
    return bool(cells) and all(nothing)
