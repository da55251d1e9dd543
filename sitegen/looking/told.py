"""What is in a file, and the entry proposed for it, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.looking.propose import Proposal
from sitegen.looking.seen import Seen, SeenColumn
from sitegen.problems import counted, listed, shown

_MOST_COLUMNS = 60


def as_text(seen: Seen, proposal: Proposal | None, kind: str, place: str = "") -> str:
    """The report: how the file is written, its columns, and the entry to paste; `place` is where it belongs.

    `kind` is the kind of record asked for, "" none.
    """
    lines = [f"{seen.file}: what is in it", *_how(seen), *_columns(seen.columns)]
    if seen.refused:
        lines += ["", "No entry can be proposed:", *(f"  {shown(each, 400)}." for each in seen.refused)]
        return "\n".join(lines)
    if proposal is None:
        return "\n".join([*lines, "", "Say which kind of record it is (--as), and an entry is proposed for it."])
    lines += ["", f"Proposed entry of {kind}, {place}:", "", *proposal.lines]
    if proposal.unused:
        names = ", ".join(f'"{shown(each)}"' for each in proposal.unused[:_MOST_COLUMNS])
        lines += ["", f"Columns it leaves alone: {names}."]
    if proposal.may:
        lines += ["By their units some of them may be:", *_may(proposal)]
    if proposal.missing:
        lines += ["", f"It found no column for: {', '.join(proposal.missing)}."]
    if proposal.open:
        lines += ["", 'Only you know what stands for "?":', *(f"  {each}" for each in proposal.open)]
    return "\n".join(lines)


def _may(proposal: Proposal) -> list[str]:
    """Columns and the fields their units allow, a line for those of one kind."""
    alike: dict[str, list[str]] = {}
    for header, able in proposal.may.items():
        alike.setdefault(listed(able), []).append(f'"{shown(header)}"')
    return [f"  {', '.join(headers[:_MOST_COLUMNS])}: {able}" for able, headers in alike.items()]


def _how(seen: Seen) -> list[str]:
    layout = seen.layout
    parts = [layout.encoding.value, *([f"{layout.separator.value} between fields"] if seen.text else [])]
    lines = [f"  read as   {', '.join(parts)}"]
    if seen.numbers:
        lines.append(f"  numbers   {seen.numbers}")
    if seen.doubt:
        lines.append(f"            {seen.doubt}")
    if heads := [line for line in layout.heads.value if line]:
        rows = f"{layout.word} {heads[0]}" if len(heads) == 1 else f"{layout.word}s {heads[0]} to {heads[-1]}"
        above = f", {counted(seen.skip_rows, 'row')} above skipped" if seen.skip_rows else ""
        lines.append(f"  headers   {rows}{above}" + (", a row of units below" if layout.units_row.value else ""))
    elif not layout.heads.value:
        lines.append("  headers   none")
    if seen.date_order:
        open_ = f"day or month first: {seen.short_year or 'nothing in the file tells'}"
        told = open_ if seen.date_order == "?" else seen.date_order
        lines.append(f"  dates     {told}")
    lines.append(f"  rows      {seen.rows}")
    return [*lines, *(f"  note      {shown(note, 200)}" for note in seen.notes)]


def _columns(columns: Sequence[SeenColumn]) -> list[str]:
    rows = [
        (str(each.at + 1), shown(each.header, 40), shown(each.unit, 24), _kind(each), _samples(each))
        for each in columns[:_MOST_COLUMNS]
    ]
    titles = ("", "column", "unit", "holds", "such as")
    widths = [max(len(row[at]) for row in [titles, *rows]) for at in range(4)]
    lines = [
        "  " + "  ".join([*(cell.ljust(width) for cell, width in zip(row, widths, strict=False)), row[4]]).rstrip()
        for row in [titles, *rows]
    ]
    if len(columns) > _MOST_COLUMNS:
        lines.append(f"  and {len(columns) - _MOST_COLUMNS} more")
    odd = [
        f'  "{shown(each.header, 40)}": "{shown(each.odd[1], 40)}" in line {each.odd[0]} is not like the others'
        for each in columns
        if each.odd[0]
    ]
    return ["", *lines, *(["", *odd] if odd else [])]


def _kind(column: SeenColumn) -> str:
    if column.kind == "empty":
        return "nothing"
    if column.kind != "number":
        return f"{column.filled} {column.kind}s" if column.kind != "time of day" else f"{column.filled} times of day"
    rising = ", rising" if column.rises else ""
    return f"{column.filled} numbers, {column.low:g} to {column.high:g}{rising}"


def _samples(column: SeenColumn) -> str:
    return "  ".join(shown(each, 28) for each in column.samples)
