"""Record entries that mean several worksheets of a workbook: one source for each, as their names say.

What names say is known once the workbook is opened, so this is done after the program file is read and before records.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from sitegen.problems import listed, shown
from sitegen.program import patterns, words
from sitegen.program.files import SAID_BY_NAMES, WORKBOOKS
from sitegen.program.model import Program, RecordSource
from sitegen.reader.blocked import Blocked
from sitegen.reader.decode import taken
from sitegen.reader.kinds import PACKED_LIMIT
from sitegen.vocabulary import Problem


def expanded(program: Program) -> tuple[Program, list[Problem]]:
    """The program with a source for each worksheet that its record entries mean, and what is wrong with them.

    Worksheets that an entry does not mean are noted with its first. Of a workbook read in several worksheets each
    source is `apart`.
    """
    problems: list[Problem] = []
    made: list[RecordSource] = []
    for source in program.records:
        if patterns.is_pattern(source.sheet):
            try:
                made += _each(program, source)
            except Blocked as blocked:
                problems += blocked.problems
        else:
            made.append(source)
    problems += _twice(made)
    count = Counter(source.file for source in made)
    records = [replace(each, apart=True) if each.sheet and count[each.file] > 1 else each for each in made]
    return (program if records == list(program.records) else replace(program, records=tuple(records))), problems


def _each(program: Program, source: RecordSource) -> list[RecordSource]:
    ids = {"engine": [build.id for build in program.builds], "phase": [phase.id for phase in program.phases]}
    known = {name: words.names(source.words, name, ids[name]) for name in SAID_BY_NAMES}
    meant = patterns.pattern(source.sheet, SAID_BY_NAMES)
    found, others = [], []
    names = _worksheets(program, source)
    for name, filled in names:
        try:
            said = meant.fit(name, known) if filled else None
        except patterns.PatternFault as fault:
            what = f'the worksheet "{shown(name)}" of {shown(source.file)} {fault.what}'
            raise Blocked(_problem(source, "pattern", what, fault.expected)) from None
        if said is None or isinstance(said, patterns.Unknown):
            others.append(name)
        else:
            found.append(replace(source, sheet=name, constants={**source.constants, **said}))
    if not found:
        what = (
            f'no worksheet of {shown(source.file)} fits "{shown(source.sheet)}": it has {listed(n for n, _ in names)}'
        )
        every = [each for name in meant.fields for each in dict.fromkeys(known[name].values())]
        raise Blocked(_problem(source, "no-worksheet-fits", what, f"one named after {listed(every)}"))
    if others:
        note = f"worksheets not read: {', '.join(shown(each) for each in others)}"
        found[0] = replace(found[0], notes=(*found[0].notes, note))
    return found


def _worksheets(program: Program, source: RecordSource) -> list[tuple[str, bool]]:
    """Names of the worksheets of a workbook, and whether something is in them. Raises `Blocked`."""
    from sitegen.reader.workbook import worksheets

    file = f"{Path(program.folder).name}/{source.file}"
    if not source.file.casefold().endswith(WORKBOOKS):
        return []
    data = taken(Path(program.folder) / source.file, file, lambda stream: stream.read(), PACKED_LIMIT)
    return worksheets(data, file)


def _twice(sources: list[RecordSource]) -> Iterator[Problem]:
    """Worksheets that two entries mean, one by its name and one by a pattern."""
    first: dict[tuple[str, str], RecordSource] = {}
    for source in sources:
        before = first.setdefault((source.file, source.sheet), source)
        if before.where != source.where and source.sheet:
            what = f'the worksheet "{shown(source.sheet)}" of {shown(source.file)} is taken'
            what += f" by the entry of line {before.where.line} already"
            yield _problem(source, "sheet-named-twice", what, "one entry a worksheet", "remove one of the two")


def _problem(source: RecordSource, code: str, what: str, expected: str, next_step: str = "") -> Problem:
    where = source.where
    return Problem(where.file, where.line, where.column, code, what, expected, "", next_step)
