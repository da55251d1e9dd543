"""Files and the programs they belong to: one file asked for by itself, and record entries that lack their columns."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sitegen.declarations import Stream
from sitegen.looking import profile, propose, seen, told
from sitegen.problems import Collector
from sitegen.program import build, definitions, mappings, schema, yamlfile
from sitegen.program.folder import DEFINITIONS, PROGRAM
from sitegen.program.inside import files_inside
from sitegen.program.model import Definitions, Program
from sitegen.program.node import Node
from sitegen.reader.blocked import Blocked
from sitegen.reader.headers import parted
from sitegen.regular import there

_OURS = 0.5  # share of headers that are fields of the stream from which a table needs no `columns`


@dataclass(frozen=True)
class Entry:
    """A record entry as it stands in a program file."""

    stream: str
    file: str  # from the program's folder
    sheet: str
    line: int
    mapped: bool  # it says which column is what


def report(path: Path, kind: str, streams: Sequence[Stream], sheet: str = "") -> tuple[str, bool]:
    """What is in the file at `path`, and the entry proposed for it as a record of `kind` ("" none asked for).

    Returns: the text, and whether what is in the file keeps any entry from being proposed. The program whose folder
    holds the file gives the ids. Raises `Blocked` where the file cannot be read.
    """
    home = _home(path)
    program = program_of(home) if home is not None else None
    name = path.absolute().relative_to(home).as_posix() if home is not None else path.name
    file = f"{home.name}/{name}" if home is not None else path.as_posix()
    of_traces = any(each.name == kind and any(what.name == "trace" for what in each.fields) for each in streams)
    may_be = (of_traces or not kind) and not _names_traces(path, file, sheet)
    if may_be and (said := profile.report(path, file, name, sheet, sure=not kind)):
        return said, False
    found = seen.look(path, file, sheet)
    where = f"to be pasted into `records` of {home.name}/{PROGRAM}" if home is not None else "of a program file"
    return told.as_text(found, _proposal(found, kind, streams, program, name), kind, where), bool(found.refused)


def _names_traces(path: Path, file: str, sheet: str) -> bool:
    """Whether a file is a table of traces and no trace: it has a column of texts."""
    try:
        return any(column.kind == "text" for column in seen.look(path, file, sheet).columns)
    except Blocked:
        return False


def unmapped(folder: Path, streams: Sequence[Stream]) -> list[str]:
    """A report for each record entry of a programs folder, or of one program, that does not say its columns.

    Entries whose headers are the fields of their stream need none, and files that cannot be read are told elsewhere.
    """
    homes = [folder] if there(folder / PROGRAM) else sorted(each.parent for each in folder.glob(f"*/{PROGRAM}"))
    said = []
    for home in homes:
        program = program_of(home)
        for entry in entries(home):
            if entry.mapped:
                continue
            try:
                found = seen.look(home / entry.file, f"{home.resolve().name}/{entry.file}", entry.sheet)
            except Blocked:
                continue
            if found.rows and not _is_ours(found, entry.stream, streams):
                proposal = _proposal(found, entry.stream, streams, program, entry.file)
                where = f"in place of the one in line {entry.line} of {home.resolve().name}/{PROGRAM}"
                said.append(told.as_text(found, proposal, entry.stream, where))
    return said


def _proposal(
    found: seen.Seen, kind: str, streams: Sequence[Stream], program: Program | None, name: str
) -> propose.Proposal | None:
    stream = next((each for each in streams if each.name == kind), None)
    if stream is None or found.refused:
        return None
    return (
        propose.table(found, kind, stream.fields, program, name) if stream.fields else propose.log(found, program, name)
    )


def _is_ours(found: seen.Seen, kind: str, streams: Sequence[Stream]) -> bool:
    fields = {each.name for stream in streams if stream.name == kind for each in stream.fields}
    names = [parted(column.header)[0] for column in found.columns]
    return bool(fields) and sum(name in fields for name in names) >= _OURS * max(len(names), 1)


def _home(path: Path) -> Path | None:
    """The folder of the program a file lies in."""
    return next((each for each in path.absolute().parents if there(each / PROGRAM)), None)


def entries(home: Path) -> list[Entry]:
    """The record entries of a program file, as far as it can be read."""
    document = yamlfile.read(home / PROGRAM, Collector(PROGRAM))
    if document is None or not isinstance(document.data, dict):
        return []
    shared = yamlfile.read(home.resolve().parent / DEFINITIONS, Collector(DEFINITIONS))
    document = mappings.expanded(document, Collector(PROGRAM), shared)
    records = document.data.get("records")
    made = []
    for stream, listed in records.items() if isinstance(records, dict) else ():
        for number, entry in enumerate(listed if isinstance(listed, list) else ()):
            file = _first(home, entry) if isinstance(entry, dict) else ""
            if file:
                line = document.at(("records", stream, number))[0]
                mapped = "channels" in entry or "columns" in entry
                sheet = entry.get("sheet")
                made.append(Entry(stream, file, sheet if isinstance(sheet, str) else "", line, mapped))
    return made


def _first(home: Path, entry: Mapping[str, object]) -> str:
    """The file an entry names, or the first one that may fit its pattern; "" none."""
    file, files = entry.get("file"), entry.get("files")
    if isinstance(file, str) or not isinstance(files, str):
        return file if isinstance(file, str) else ""
    wanted = re.compile("".join("[^/]*" if each[:1] in "*{" else re.escape(each) for each in _HOLES.split(files)))
    return next((name for name in sorted(files_inside(home)) if wanted.fullmatch(name)), "")


_HOLES = re.compile(r"(\*|\{[a-z]*\})")


def program_of(home: Path) -> Program | None:
    """A program without its records: its builds, phases and definitions; None where its file is broken besides."""
    problems = Collector(PROGRAM)
    document = yamlfile.read(home / PROGRAM, problems)
    if document is None or not isinstance(document.data, dict):
        return None
    bare: Mapping[str, object] = {key: value for key, value in document.data.items() if key not in {"records", "notes"}}
    document = replace(document, data=bare)
    if not schema.check(document, "program", problems):
        return None
    return build.build(document, home.resolve(), _definitions(home.resolve().parent), problems)


def _definitions(folder: Path) -> Definitions | None:
    problems = Collector(DEFINITIONS)
    document = yamlfile.read(folder / DEFINITIONS, problems)
    if document is None or not schema.check(document, "definitions", problems):
        return None
    return definitions.build(Node.root(document, problems))
