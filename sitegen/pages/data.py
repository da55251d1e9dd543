"""The data page of a program: what was left out and why comes first, then what was read."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from sitegen import reasons
from sitegen.declarations import Stream
from sitegen.page import counts, words
from sitegen.page.blocks import Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.pages import instruments, operators
from sitegen.pages.contexts import Part, PartsPage
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, parts_page
from sitegen.pages.notes import CODE
from sitegen.program.model import Program
from sitegen.vocabulary import Problem

MOST_NAMED = 12  # columns of a file
_DAY = re.compile(r"\b(?:19|20)\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])\b")


def page(site: Site, program: Program) -> PartsPage:
    """The data page of one program."""
    path = site.addresses.data[program.id]
    view = site.view(path, program.id)
    setter = site.setter(path)
    total, used = _totals(view)
    parts = [
        Part(setter.id("left-out"), "What was left out, and why", [_left_out(site, view)]),
        Part(setter.id("streams"), "What was read", [_by_stream(site, view)]),
    ]
    if blocks := instruments.in_short(site, view):
        parts.append(Part(setter.id("instruments"), "Instruments", blocks))
    parts += site.parts(view, setter, "data", "main")
    if program.id in site.results:
        parts.append(Part(setter.id("results"), "The results as tables", [_results(site, view)]))
    rest = [_files(view, stream, setter.id(f"files-{stream.name}")) for stream in _read(site, view)]
    if program.builds:
        rest.append(folded(Part(setter.id("engines"), "By build", [_by_engine(site, view)])))
    reading = (
        f"{words.number(used, 0)} of {words.number(total, 0)} readings are used." if total else "No reading is in yet."
    )
    return parts_page(site, program, path, "Data", setter, reading, parts, rest)


def _totals(view: View) -> tuple[int, int]:
    frames = [readings.frame for readings in view.analysis.readings.values()]
    return sum(len(frame) for frame in frames), sum(int((frame["use"] == "").sum()) for frame in frames)


# ---- what was left out ----------------------------------------------------------------------------------------------


def _left_out(site: Site, view: View) -> Table:
    problems = list(view.problems)
    told: set[int] = set()
    rows: list[tuple[tuple[str, int, int], Row]] = []
    for stream in site.streams:
        readings = view.analysis.readings.get(stream.name)
        if readings is None or readings.frame.empty:
            continue
        frame = readings.frame
        aside = frame[frame["use"] != ""]
        for at, record in enumerate(aside.to_dict("records")):
            own = [
                (i, each)
                for i, each in enumerate(problems)
                if each.line == _row(record) and _same_file(each.file, str(record["file"]))
            ]
            told.update(i for i, _ in own)
            said = "; ".join(dict.fromkeys(_said(each) for _, each in own))
            rows.append(
                (
                    (str(record["file"]), _row(record), at),
                    Row(
                        [
                            Cell(_where(view, record), href=_href(view, record)),
                            Cell(*_why(view, record)),
                            Cell(said),
                            _place(str(record["file"]), _row(record)),
                        ]
                    ),
                )
            )
    kept_apart: set[tuple[str, int]] = set()
    for i, each in enumerate(problems):
        if i not in told:
            about = Cell(each.column_name and f"column {each.column_name}")
            why = Cell("printed as text" if each.code.startswith(CODE) else each.code.replace("-", " "))
            if each.code == reasons.APART:
                kept_apart.add((each.file, each.line))
                why = Cell("kept apart", note=view.why(each.code))
                if (told_of := _record(view, each)) is not None:
                    about = Cell(_where(view, told_of), href=_href(view, told_of))
            rows.append(
                (
                    (each.file, each.line, i),
                    Row([about, why, Cell(_said(each)), _place(each.file, each.line)]),
                )
            )
    columns = [Column("About"), Column("Why"), Column("What the check says"), Column("Where it stands")]
    ordered = [row for _, row in sorted(rows, key=lambda each: each[0])]
    total, _ = _totals(view)
    not_used = counts.not_used(view.analysis.readings.values())
    reading = (
        ("Every reading is used." if total else "No reading is in yet.")
        if not not_used
        else words.sentence(
            f"{not_used}, of {words.number(total, 0)}. Each stays in its file, and a cylinder’s page shows it crossed."
        )
    )
    if apart := len(kept_apart):
        reading += (
            f" {words.sentence(words.count(apart))} {'is' if apart == 1 else 'are'} kept apart, in another condition "
            "than the program's, and in no curve."
        )
    return Table("set-aside", columns, ordered, reading, stack=True)


def _place(file: str, line: int) -> Cell:
    return Cell(file, note=f"row {line}" if line else "")


def _record(view: View, problem: Problem) -> dict[object, object] | None:
    """The reading a problem tells of; None where no stream has one there."""
    for readings in view.analysis.readings.values():
        frame = readings.frame
        if len(frame):
            own = frame[(frame["file"] == problem.file) & (frame["row"] == problem.line)]
            if len(own):
                return dict(own.to_dict("records")[0])
    return None


def _row(record: dict[object, object]) -> int:
    row = record.get("row")
    return int(row) if isinstance(row, int | float) and row == row else 0


def _same_file(one: str, other: str) -> bool:
    return one == other or one.endswith(f"/{other}") or other.endswith(f"/{one}")


def _said(problem: Problem) -> str:
    parts = [problem.what, f"expected {problem.expected}" if problem.expected else "", problem.next_step]
    told = "; ".join(part for part in parts if part)
    return _DAY.sub(lambda day: words.day(day[0]), told)  # a check speaks as files do, a page as all pages


def _why(view: View, record: dict[object, object]) -> tuple[str, str, bool, str]:
    """Text, link, word and note of the reason a reading is not used."""
    code, reading = str(record["use"]), str(record["reading"])
    objection = next((each for each in view.program.exclusions if each.reading == reading), None)
    clause = view.why(code)
    if objection is not None:
        who = ", ".join(part for part in (objection.by, words.day(objection.on) if objection.on else "") if part)
        return objection.why, "", False, f"objection accepted{f' ({who})' if who else ''}"
    return clause, "", False, "" if code in reasons.CATALOGUE else code


def _where(view: View, record: dict[object, object]) -> str:
    engine = record.get("engine")
    number = _number(record)
    phase = record.get("phase")
    titles = {each.id: each.title for each in view.program.phases}
    parts = [
        str(engine) if isinstance(engine, str) else "",
        f"cylinder {number}" if number else "",
        titles.get(str(phase), "") if isinstance(phase, str) else "",
    ]
    return ", ".join(part for part in parts if part)


def _number(record: dict[object, object]) -> int:
    number = record.get("cylinder")
    return int(number) if isinstance(number, int | float) and number == number else 0


def _href(view: View, record: dict[object, object]) -> str:
    where = (view.program.id, str(record.get("engine")), _number(record))
    return view.href(view.addresses.cylinders[where]) if where in view.addresses.cylinders else ""


# ---- what was read --------------------------------------------------------------------------------------------------


def _read(site: Site, view: View) -> list[Stream]:
    """Streams of which a file is named."""
    return [
        each for each in site.streams if each.name in view.analysis.readings and view.analysis.readings[each.name].files
    ]


def _counts(view: View, stream: Stream) -> tuple[int, int, int, int, int, int]:
    """Files of a stream and its rows: all, used, set aside, left out on objection, not taken. A log is one row."""
    readings = view.analysis.readings[stream.name]
    use = readings.frame["use"].tolist() if "use" in readings.frame else []
    waiting = sum(_whole(facts.get("not_taken")) for facts in readings.files.values())
    used, objected = use.count(""), use.count(counts.OBJECTED)
    return len(readings.tally), len(use) + waiting, used, len(use) - used - objected, objected, waiting


def _samples(view: View, stream: Stream) -> str:
    """Samples of logs that are used: "204 834 of 204 834 samples"; "" where a row of a file is one reading."""
    readings = view.analysis.readings[stream.name]
    rows, used = (sum(_whole(facts.get(name)) for facts in readings.files.values()) for name in ("rows", "used"))
    return "" if rows == len(readings.frame) else f"{words.number(used, 0)} of {words.number(rows, 0)} samples"


def _whole(number: object) -> int:
    return number if isinstance(number, int) else 0


def _by_stream(site: Site, view: View) -> Table:
    """Files, rows, what is used of them and what not, a row a stream."""
    streams = _read(site, view)
    counted = [_counts(view, stream) for stream in streams]
    rows = [
        Row(
            [
                Cell(words.sentence(stream.title), href=f"#files-{stream.name}", note=_samples(view, stream)),
                *(Cell(words.number(n, 0)) for n in each),
            ]
        )
        for stream, each in zip(streams, counted, strict=True)
    ]
    if not rows:
        return Table("by-stream", _STREAM_COLUMNS, rows, "No record file is named in the program file.")
    total = [sum(column) for column in zip(*counted, strict=True)]
    rows.append(Row([Cell("All", strong=True), *(Cell(words.number(n, 0), strong=True) for n in total)]))
    files = [tally for stream in streams for tally in view.analysis.readings[stream.name].tally.values()]
    used = sum(1 for tally in files if tally["used"])
    give = words.plural(1 if 1 in {used, len(files)} else used, "gives", "give")
    reading = words.sentence(f"{words.share(used, len(files), 'record file')} {give} readings that are used.")
    reading = f"Invented records. {reading}" if view.program.invented else reading
    note = "Rows = used + set aside + left out on objection + not taken"
    note += (
        "; a run log counts as one row, whatever its samples." if any(_samples(view, each) for each in streams) else "."
    )
    return Table("by-stream", _STREAM_COLUMNS, rows, reading, note=note)


_STREAM_COLUMNS = (
    Column("Stream"), Column("Files", numeric=True), Column("Rows", numeric=True), Column("Used", numeric=True),
    Column("Set aside", numeric=True), Column("Left out on objection", numeric=True), Column("Not taken", numeric=True),
)  # fmt: skip
_RESULTS = {
    "measures.csv": "every value with its interval, by build, cylinder, phase and measure",
    "comparisons.csv": "coatings against the reference, the primary comparison first",
    "verdicts.csv": "states of cylinders and answers to criteria, with the limit and the interval that decided",
    "datapackage.json": "for other programs: what columns and measures are, with units and hashes (Data Package)",
}


def _results(site: Site, view: View) -> Table:
    """The result files, which lie beside this page."""
    own = site.results[view.program.id]
    rows = [
        Row([
            Cell(name, href=view.href(site.addresses.result(view.program.id, name))),
            Cell(what),
            Cell(words.number(max(0, own[name].count(b"\n") - 1), 0) if name.endswith(".csv") else words.DASH),
        ])
        for name, what in _RESULTS.items() if name in own
    ]  # fmt: skip
    reading = "The numbers of these pages, as they lie in the results folder of the program."
    return Table("result-files", (Column("File"), Column("What it holds"), Column("Rows", numeric=True)), rows, reading)


def _files(view: View, stream: Stream, anchor: str) -> Part:
    """The files of a stream, folded behind how many rows of them are used."""
    rows = []
    hashes = dict(view.analysis.inputs)
    for file, facts in sorted(view.analysis.readings[stream.name].files.items()):
        hashed = next(
            (digest for name, digest in hashes.items() if _same_file(name, file) or file.startswith(f"{name}:")), ""
        )
        rows.append(
            Row(
                [
                    Cell(file, note=f"sha256 {hashed[:12]}" if hashed else ""),
                    Cell(_of_rows(facts), note=_not_taken(facts)),
                    Cell(", ".join(_form(facts.get("encoding", ""), facts.get("separator", ""))), note=_notes(facts)),
                    _not_used(facts),
                ]
            )
        )
    count, every, used, *_ = _counts(view, stream)
    samples = _samples(view, stream)
    sheets = f"{words.counted(len(rows), 'table')} of " if len(rows) > count else ""
    said = f"{sheets}{words.counted(count, 'file')}, {words.number(used, 0)} of {words.number(every, 0)} rows used"
    said += f", {samples}." if samples else "."
    columns = [
        Column("File"),
        Column("Samples used" if samples else "Rows used", "", True),
        Column("Read as"),
        Column("Columns not used"),
    ]
    table = Table(f"record-files-{stream.name}", columns, rows, wide=True)
    return Part(anchor, f"Files, {stream.title}", [table], words.sentence(said))


def _of_rows(facts: Mapping[str, object]) -> str:
    """ "2\u202f366 of 2\u202f366": rows used, of those a file holds."""
    used, rows = (words.number(float(str(facts.get(name, 0))), 0) for name in ("used", "rows"))
    return f"{used} of {rows}"


def _not_taken(facts: Mapping[str, object]) -> str:
    """How many rows of a file wait for their reading; "" none."""
    count = facts.get("not_taken", 0)
    return f"{words.number(count, 0)} more prepared, not filled in yet" if count else ""


def _notes(facts: Mapping[str, object]) -> str:
    """What the reader of a file remarked, besides what is told as a warning."""
    notes = facts.get("notes")
    return "; ".join(map(str, notes)) if isinstance(notes, list | tuple) else ""


def _not_used(facts: Mapping[str, object]) -> Cell:
    """Headers of the columns of a file that are read for nothing; of many the first, and the others behind a count."""
    columns = facts.get("columns")
    if not isinstance(columns, Mapping) or not columns:  # a file that could not be read
        return Cell(words.DASH)
    names = [str(name) for name, used in columns.items() if not used]
    more = len(names) - MOST_NAMED
    if more <= 1:
        return Cell(words.listed(names) or "none")
    return Cell(", ".join(names[:MOST_NAMED]), folded=(f"{more} more", ", ".join(names[MOST_NAMED:])))


_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "space"}


def _form(encoding: object, separator: object) -> Iterator[str]:
    if encoding:
        yield str(encoding)
    if separator:
        yield f"{_SEPARATORS.get(str(separator), str(separator))} between fields"


def _by_engine(site: Site, view: View) -> Table:
    streams = [stream for stream in site.streams if stream.name in view.analysis.readings]
    rows = []
    for build in view.program.builds:
        uses = {each.title: [use for use, _ in view.the_desk.uses(each.name, build.id)] for each in streams}
        told = [
            f"{title} {len(own)}" if own.count("") == len(own) else f"{title} {own.count('')} of {len(own)}"
            for title, own in uses.items()
            if own
        ]
        every = [use for own in uses.values() for use in own]
        rows.append(Row((Cell(build.id, href=view.href_engine(build)), Cell(str(every.count(""))),
                         Cell(str(len(every))), Cell(", ".join(told) or words.DASH))))  # fmt: skip
    columns = (
        Column("Build"), Column("Used", numeric=True), Column("Recorded", numeric=True), Column("By kind of record"),
    )  # fmt: skip
    note = operators.of_program(view)
    return Table("by-engine", columns, rows, "Readings used, of those recorded.", note=note)
