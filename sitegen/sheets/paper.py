"""Streams on paper: what is known printed, room for the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sitegen.declarations import Blank, PaperTable, Stream
from sitegen.sheets.columns import Columns
from sitegen.sheets.contexts import Blankspace, Cell, Grid, Heading, Row, Sheet
from sitegen.vocabulary import Field

LOCAL = "Local codes, licensed practice, the site's rules and its competent person come first."
_PRINTED = {"degC": "°C", "degF": "°F", "deg": "°", "um": "µm", "N m": "N·m", "mm2": "mm²"}
_WIDE = {"remark", "place", "honing", "image"}
_FEW = 4  # words that can be ticked in a cell
_BESIDE = 3  # columns of a second table that still find room beside the first
_ACROSS = 10  # columns to write in side by side
_ASKED_ONCE = {"date", "operator"}


def unit_on_paper(unit: str) -> str:
    """A unit as it is printed.

    >>> unit_on_paper("degC"), unit_on_paper("psig")
    ('°C', 'psig')
    """
    return _PRINTED.get(unit, unit)


def cautions(*told: Sequence[str]) -> tuple[str, ...]:
    """Cautions of several kinds of work, each once, with what comes before all of them first."""
    own = dict.fromkeys(each for several in told for each in several if not each.startswith("Local codes"))
    return (LOCAL, *own)


def blank_of(stream: Stream, rows: Sequence[Mapping[str, str]]) -> Blank:
    """The empty record of a stream that does not say how it is filled in: a row a cylinder, every field asked for."""
    fields = [each for each in stream.fields if each.name not in {"reading", "engine", "phase"}]
    by_cylinder = any(each.refers == "cylinder" for each in fields)
    once = [each.name for each in fields if each.name in _ASKED_ONCE or each.refers in {"tester", "tool"}]
    return Blank(rows=rows if by_cylinder else [{}], once=tuple(once))


def sheet(
    stream: Stream, blank: Blank, columns: Columns, running: str, facts: Sequence[str], known: Mapping[str, str]
) -> Sheet:
    """The sheet of one stream. Only what has a column, or is stated for the whole file, is asked for.

    `known` has the text of fields that is the same in every row; `running` is repeated above each table.
    """
    fields = {each.name: each for each in stream.fields}
    tables = [
        table
        for table in blank.tables or _from_fields(blank, fields)
        if all(name in columns.fields for name in table.ticks)  # else a line could not say what it is about
    ]
    has = set(columns.fields)
    asked = [name for name in blank.once if name in fields]
    always = has | set(columns.constants) | _ASKED_ONCE  # paper has a day and a name, whatever the table has
    return Sheet(
        anchor=stream.name,
        title=stream.title[:1].upper() + stream.title[1:],
        facts=facts,
        cautions=cautions(stream.cautions, blank.cautions),
        steps=blank.steps,
        asked=[
            *(_once(fields[name], columns, known, blank.beside.get(name, "")) for name in asked if name in always),
            Blankspace("Typed in by"),
        ],
        grids=[_grid(table, fields, columns, running, blank.beside) for table in _joined(tables, has)],
    )


def not_asked(stream: Stream, blank: Blank, columns: Columns) -> tuple[str, ...]:
    """What the stream would ask for and the program's table has no column for: for who writes the program file."""
    fields = {each.name: each for each in stream.fields}
    always = {*columns.fields, *columns.constants, *_ASKED_ONCE}
    wanted = [*blank.once, *(name for table in blank.tables or _from_fields(blank, fields) for name in table.asked)]
    return tuple(dict.fromkeys(fields[name].title.lower() for name in wanted if name in fields and name not in always))


def _joined(tables: Sequence[PaperTable], has: set[str]) -> list[PaperTable]:
    """Tables with those of a few columns about the same subjects as the first beside it: a page less."""
    found = list(tables[:1])
    for table in tables[1:]:
        first, more = found[0], tuple(name for name in table.asked if name in has)
        subjects = {tuple(row.get(name) for name in table.known) for row in table.rows}
        about = {tuple(row.get(name) for name in table.known) for row in first.rows}
        if not table.known or len(more) > _BESIDE or not subjects <= about:
            found.append(table)
        elif more:
            rows = [
                row if any(name in row for name in table.known) else {**dict.fromkeys(more, "–"), **row}
                for row in first.rows
                if row  # the free line goes: what is read once more has its room in the remark
            ]
            last = tuple(name for name in first.asked if name == "remark")
            asked = (*(name for name in first.asked if name not in last), *more, *last)
            found[0] = replace(first, title=f"{first.title}. {table.title}", asked=asked, rows=rows)
    return found


def _from_fields(blank: Blank, fields: Mapping[str, Field]) -> tuple[PaperTable, ...]:
    """Tables that ask for every field, no wider than paper is."""
    shown = tuple(name for name in fields if any(name in row for row in blank.rows))
    hidden = {"reading", "engine", "phase", *blank.once, *shown}
    asked = [name for name in fields if name not in hidden]
    return tuple(
        PaperTable("", shown, tuple(asked[at : at + _ACROSS]), blank.rows) for at in range(0, len(asked), _ACROSS)
    )


def _once(what: Field, columns: Columns, known: Mapping[str, str], beside: str) -> Blankspace:
    text = columns.constants.get(what.name) or known.get(what.name, "")
    unit = "" if text else unit_on_paper(columns.unit(what.name))
    return Blankspace(what.title, "; ".join(filter(None, (unit, beside))), text, () if text else _words(what))


def _words(what: Field) -> tuple[str, ...]:
    words = ("yes", "no") if what.kind == "yes-no" else what.words
    return tuple(_said(word) for word in words) if len(words) <= _FEW else ()


def _said(word: str) -> str:
    """A word as it is printed: the reader takes blanks for hyphens."""
    return word.replace("-", " ")


def _known(what: Field, row: Mapping[str, str]) -> str:
    text = row.get(what.name, "")
    return _said(text) if what.kind == "word" else text


def told_apart(rows: Sequence[Mapping[str, str]], columns: Columns) -> list[Mapping[str, str]]:
    """Rows with what has a column. One whose subject has none goes, and one that then says the same as another."""
    has = {*columns.fields, *columns.constants}
    kept: list[Mapping[str, str]] = []
    for row in rows:
        own = {name: text for name, text in row.items() if name in has}
        subject = next(iter(row), "")
        if (subject and subject not in has) or (len(own) < len(row) and own in kept):
            continue
        kept.append(own)
    return kept


def _grid(
    table: PaperTable, fields: Mapping[str, Field], columns: Columns, running: str, beside: Mapping[str, str]
) -> Grid:
    has = set(columns.fields)
    prepared = told_apart(table.rows, columns)
    head = [name for name in table.known if any(name in row for row in prepared)]
    asked = [name for name in table.asked if name in has]
    headings = [Heading(fields[name].title, unit_on_paper(columns.unit(name)), width="narrow") for name in head]
    ticks = {name: tuple(_said(word) for word in table.ticks.get(name, ())) or _words(fields[name]) for name in asked}
    for name in asked:
        words = ticks[name]
        headings.append(
            Heading(
                fields[name].title,
                unit_on_paper(columns.unit(name)),
                beside.get(name, "") or ("" if words else ", ".join(_said(word) for word in fields[name].words)),
                "wide" if name in _WIDE or len(words) > _FEW else "usual",
            )
        )
    rows, before = [], None
    for row in prepared:
        first = next((row[name] for name in head if name in row), "")
        cells = [Cell(_known(fields[name], row), strong=True) for name in head]
        cells += [Cell(_known(fields[name], row), () if row.get(name) else ticks[name]) for name in asked]
        rows.append(Row(cells, parted=first != before))
        before = first
    return Grid(table.title, running, headings, rows, tall=any(len(words) > _FEW for words in ticks.values()))
