"""Rows of tables as HTML. They are most of a site, and templates take ten times as long over them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from markupsafe import Markup, escape

from sitegen.page.blocks import Cell, Column, Row, Table


def rows(
    table: Table, some: Sequence[Row], drawn: int | None, cell: Callable[[Cell], str], id: Callable[[str], str]
) -> Markup:
    """Some rows of a table; `drawn` is the column of its strips, `cell` prints what is more than text."""
    opened = [_opened(table, n, column, n == drawn) for n, column in enumerate(table.columns)]
    closed = ["</th>", *["</td>"] * (len(opened) - 1)]
    told: list[str] = []
    for row in some:
        told.append(f'<tr id="{id(row.anchor)}"' if row.anchor else "<tr")
        told.append(' class="here">' if row.here else ">")
        for begin, each, end in zip(opened, row.cells, closed, strict=True):
            told += begin, escape(each.text) if each.plain else cell(each), end
        told.append("</tr>\n")
    return Markup("".join(told))  # noqa: S704 - of escaped texts and of what templates printed


def _opened(table: Table, n: int, column: Column, drawn: bool) -> str:
    """The tag that a cell of a column begins with: the first of a row is its heading."""
    shown = "draw" if drawn and n else "n" if column.numeric else ""
    name = f' class="{shown}"' if shown else ""
    if n == 0:
        return f'<th scope="row"{name}>'
    unit = f", {column.unit}" if column.unit not in {"", "1"} else ""
    return f'<td{name}{f" data-column={chr(34)}{escape(column.title + unit)}{chr(34)}" if table.stack else ""}>'
