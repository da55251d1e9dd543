"""What pages hold most of, rows of tables and small discs, as HTML: templates take two to three times as long."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from sitegen.page.addresses import Link
from sitegen.page.blocks import Cell, Column, Row, Table

if TYPE_CHECKING:
    from sitegen.pages.setting import PlacedDisc


def headings(table: Table, drawn: int | None, how: Callable[[str], Link | None]) -> Markup:
    """Headings of the columns of a table; `drawn` is that of its strips, `how` where a measure is explained."""
    told: list[str] = []
    for n, column in enumerate(table.columns):
        unit, link = _text(_unit(column)), how(column.measure)
        title = _text(column.title)
        told.append('<th scope="col"')
        if column.numeric:
            told.append(' class="n"')
        if drawn is not None and n == drawn + 1:
            told.append(' style="padding-left:1rem"')
        if unit:
            told.append(f' data-unit="{unit}"')
        if column.group:
            told.append(f' data-group="{_text(column.group)}"')
        if link is not None:
            title = f'<a class="to-method" href="{_text(link.href)}" title="How it is worked out">{title}</a>'
        told.append(f">{title}")
        if unit:
            told.append(f'<br><span class="unit">{unit}</span>')
        told.append("</th>")
    return _safe(told)


def rows(
    table: Table, some: Sequence[Row], drawn: int | None, cell: Callable[[Cell], str], id: Callable[[str], str]
) -> Markup:
    """Some rows of a table; `cell` prints what is more than text."""
    opened = [_opened(table, n, column, n == drawn) for n, column in enumerate(table.columns)]
    closed = ["</th>", *["</td>"] * (len(opened) - 1)]
    told: list[str] = []
    for row in some:
        told.append(f'<tr id="{id(row.anchor)}"' if row.anchor else "<tr")
        told.append(' class="here">' if row.here else ">")
        for begin, each, end in zip(opened, row.cells, closed, strict=True):
            told += begin, _text(each.text) if each.plain else cell(each), end
        told.append("</tr>\n")
    return _safe(told)


def _opened(table: Table, n: int, column: Column, drawn: bool) -> str:
    """The tag that a cell of a column begins with: the first of a row is its heading."""
    shown = "draw" if drawn and n else "n" if column.numeric else ""
    name = f' class="{shown}"' if shown else ""
    if n == 0:
        return f'<th scope="row"{name}>'
    unit = _unit(column)
    said = _text(f"{column.title}, {unit}" if unit else column.title)
    return f'<td{name} data-column="{said}">' if table.stack else f"<td{name}>"


@lru_cache(maxsize=16384)  # the same texts stand on the pages of a cylinder, its neighbours, its build
def _text(text: str) -> str:
    return str(escape(text))


def _unit(column: Column) -> str:
    return "" if column.unit == "1" else column.unit


def small_discs(discs: Sequence[PlacedDisc], tint: Callable[[str], str]) -> Markup:
    """Cylinders of a small plan, each leading to its page; `tint` is the class of the colour of a coating."""
    told: list[str] = []
    for each in discs:
        label, x, y = _text(each.label), each.x, each.y
        href = _text(each.disc.href)
        told.append(f'<a href="{href}" aria-label="{label}">\n' if href else f'<g role="img" aria-label="{label}">\n')
        if each.me:
            told.append(f'<circle class="me" cx="{x}" cy="{y}" r="{each.radius + 2}"/>')
        told.append(f'<circle class="hit thinly" cx="{x}" cy="{y}" r="{each.radius}"/>\n')
        if each.filled:
            full = " full" if each.me else ""
            told.append(f'<circle class="fill {tint(each.coating)}{full}" cx="{x}" cy="{y}" r="{each.filled}"/>')
        own = " ink b" if each.me else ""
        told.append(f'<text class="m{own}" x="{x}" y="{each.word_y}">{_text(each.disc.text)}</text>\n\n')
        told.append("</a>\n" if href else "</g>\n")
    return _safe(told)


def _safe(told: Sequence[str]) -> Markup:
    return Markup("".join(told))  # noqa: S704 - of escaped texts and of what templates printed
