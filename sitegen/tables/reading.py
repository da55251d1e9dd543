"""A stream's record entries to its `Readings`: used by every stream, so that all are read and told alike.

What breaks a table blocks, and nothing of that table is read; a reading that cannot be used is set aside with its
reason and stays in the frame. For every table: rows = used + set aside. A row in which only stands what it is to be a
reading of is not yet taken: it is no reading, and only counted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from sitegen.program.model import Program, RecordSource
from sitegen.reader.blocked import Blocked
from sitegen.reader.decode import Decoded
from sitegen.reader.grid import Grid
from sitegen.reader.kinds import load
from sitegen.reader.table import lay_out, lay_out_cells, settled
from sitegen.tables import ids
from sitegen.tables.columns import Planner, expected, known_headers
from sitegen.tables.mapping import ASIDE, Part, readings
from sitegen.vocabulary import Field, Problem, Readings

if TYPE_CHECKING:
    import pandas as pd

Check = Callable[[Program, "Sheet"], None]
"""Sets readings of one stream aside; see `Sheet.set_aside`."""

Facts = dict[str, Any]  # what is said of a file: encoding, separator, rows, used, notes, columns ...
NOT_TAKEN = "not-taken"


@dataclass
class _Read:
    """One table as read."""

    file: str
    source: RecordSource
    part: Part
    facts: Facts
    copy_of: str = ""


class Sheet:
    """All readings of a stream while they are checked."""

    def __init__(self, frame: pd.DataFrame, parts: Sequence[tuple[Part, str]]) -> None:
        self.frame = frame
        self.use: npt.NDArray[np.object_] = np.full(len(frame), "", dtype=object)
        self.waits: npt.NDArray[np.bool_] = np.zeros(len(frame), dtype=bool)
        self._told: list[tuple[int, Problem]] = []
        self._files: list[str] = frame["file"].tolist()
        self._rows: list[int] = frame["row"].tolist()
        self._parts = parts
        self._starts = np.cumsum([0, *(len(part.lines) for part, _ in parts)])

    @property
    def problems(self) -> list[Problem]:
        """Warnings about readings; none about a row that is not yet taken."""
        return [problem for at, problem in self._told if not self.waits[at]]

    @property
    def open(self) -> npt.NDArray[np.bool_]:
        """Readings nothing speaks against so far."""
        return np.asarray(self.use == "", dtype=bool)

    def header(self, name: str, at: int) -> str:
        """Header of a field in the table a reading comes from."""
        which = int(np.searchsorted(self._starts, at, side="right")) - 1
        return self._parts[which][0].header(name, at - int(self._starts[which]))

    def place(self, at: int) -> tuple[str, int]:
        """File and line of a reading."""
        return self._files[at], self._rows[at]

    def set_aside(
        self,
        mask: npt.ArrayLike,
        code: str,
        name: str,
        what: str | Callable[[int], str],
        expected: str = "",
        near: str = "",
        *,
        told: bool = True,
    ) -> None:
        """Set aside the readings of `mask` that are still in use, each with a warning unless `told` is false."""
        for at in np.flatnonzero(np.asarray(mask, dtype=bool) & self.open).tolist():
            self.use[at] = code
            if told:
                self.tell(at, code, name, what if isinstance(what, str) else what(at), expected, near)

    def not_taken(self, at: int) -> None:
        """Say that a row announces a reading which was not yet taken."""
        self.use[at], self.waits[at] = NOT_TAKEN, True

    def tell(
        self,
        at: int,
        code: str,
        name: str,
        what: str,
        expected: str = "",
        near: str = "",
        *,
        next_step: str = ASIDE,
        level: Literal["error", "warning"] = "warning",
    ) -> None:
        """A warning about one reading, or an error where its table cannot be trusted for it."""
        self._told.append((
            at,
            Problem(
                *self.place(at),
                0,
                code,
                what,
                expected,
                near,
                next_step,
                self.header(name, at) if name else "",
                level,
            ),
        ))  # fmt: skip


def read_stream(
    program: Program, sources: Sequence[RecordSource], fields: Sequence[Field], checks: Sequence[Check] = ()
) -> Readings:
    """Read the tables of one stream.

    The frame has columns reading, file, row, use and then every field: numbers and integers float64 in the field's
    unit, nan where empty; ids, words, texts, yes-no ("yes", "no") and dates (ISO) as str, nan where empty.
    Problems of level "error" mean that a table, or the way it is announced, cannot be trusted.
    """
    problems: list[Problem] = []
    read: list[_Read] = []
    files: dict[str, Facts] = {}
    seen: dict[tuple[str, str], str] = {}  # a worksheet is no copy of another one of its workbook
    contents: dict[str, Decoded | Grid] = {}
    for source in sources:
        file = f"{Path(program.folder).name}/{PurePosixPath(source.file)}{source.ending}"
        facts: Facts = {
            "encoding": "",
            "separator": "",
            "decimal": source.decimal or ".",
            "rows": 0,
            "used": 0,
            "set_aside": 0,
            "not_taken": 0,
            "notes": [*source.notes],
            "columns": {},
            **({"file": f"{Path(program.folder).name}/{source.file}"} if source.apart else {}),
        }
        try:
            if file not in contents:
                contents[file] = load(Path(program.folder) / source.file, file, source)
            content = contents[file]
            one = _one(program, source, file, fields, content, facts)
            first = seen.setdefault((content.digest, source.sheet), file)
            one.copy_of = first if first != file else ""
            read.append(one)
        except Blocked as blocked:
            problems += blocked.problems
            facts["notes"] = [*facts["notes"], "not read: see the errors"]
        files[file] = _joined(files[file], facts) if file in files else facts
    shared = list(ids.same_stem(program, sources))
    problems += shared
    frame = _frame(read, fields)
    sheet = Sheet(frame, [(each.part, each.file) for each in read])
    _faults(sheet, read)
    problems += _copies(sheet, read)
    _required(sheet, fields)
    _objected(program, sheet)
    names = frame["reading"].tolist()
    problems += [] if shared else ids.twice(names, frame["file"].tolist(), frame["row"].tolist())
    problems += ids.objections(program, sources, names, whole=len(read) == len(sources))
    if len(frame):
        for check in checks:
            check(program, sheet)
    _waiting(sheet, read, fields)
    frame["use"] = _text(sheet.use)
    for name, part in frame.groupby("file", sort=False) if len(frame) else ():
        rows, used, waiting = len(part), int((part["use"] == "").sum()), int((part["use"] == NOT_TAKEN).sum())
        files[str(name)] |= {
            "rows": rows - waiting, "used": used, "set_aside": rows - used - waiting, "not_taken": waiting,
        }  # fmt: skip
    frame = frame[~sheet.waits].reset_index(drop=True)
    return Readings(frame, tuple(sorted({*problems, *sheet.problems})), files)


def _one(
    program: Program,
    source: RecordSource,
    file: str,
    fields: Sequence[Field],
    content: Decoded | Grid,
    facts: Facts,
) -> _Read:
    facts["encoding"] = content.encoding
    facts["notes"] += content.notes if isinstance(content, Decoded) else ()
    where = source.where
    if source.thousands and source.thousands == source.decimal:
        raise Blocked(
            Problem(
                where.file,
                where.line,
                where.column,
                "number-format",
                f'"{source.decimal}" is announced as decimal mark and as thousands mark',
                "two different marks",
            )
        )
    known = known_headers(source, fields)
    if isinstance(content, Decoded):
        table = lay_out(content.text, file, source, known)
    else:
        table = lay_out_cells(content, file, source, known)
    facts["separator"] = table.separator
    source = settled(source, table.layout)
    facts["decimal"] = source.decimal
    facts["notes"] += table.notes
    plan = Planner(source, fields, table, file).plan()
    facts["columns"] = dict(plan.columns)
    part = readings(table, plan, source, file)
    if part.empty_cells:
        facts["notes"].append(f"{part.empty_cells} empty cells: no reading was entered")
    wrong = list(ids.unknown(program, part, fields, file, source))
    if wrong:
        raise Blocked(*wrong)
    return _Read(file, source, part, facts)


def _joined(first: Facts, second: Facts) -> Facts:
    """Facts of a file that two record entries read."""
    notes = [*first["notes"], *(note for note in second["notes"] if note not in first["notes"])]
    columns = {name: first["columns"].get(name) or used for name, used in second["columns"].items()} or first["columns"]
    return {**first, **{k: v for k, v in second.items() if v}, "notes": notes, "columns": columns}


# ---- the frame ------------------------------------------------------------------------------------------------------


def _frame(read: Sequence[_Read], fields: Sequence[Field]) -> pd.DataFrame:
    import pandas as pd

    sizes = [len(each.part.lines) for each in read]
    columns: dict[str, object] = {
        "reading": _text([name for each in read for name in ids.of_readings(each.part, each.source, not each.copy_of)]),
        "file": _text([each.file for each, size in zip(read, sizes, strict=True) for _ in range(size)]),
        "row": np.concatenate([np.zeros(0, dtype=np.int64), *(each.part.lines for each in read)]),
        "use": _text([""] * sum(sizes)),
    }
    for what in fields:
        if what.name in columns:
            continue
        if what.kind in {"number", "bounded", "integer"}:
            arrays = [each.part.arrays.get(what.name, np.full(len(each.part.lines), np.nan)) for each in read]
            columns[what.name] = np.concatenate([np.zeros(0), *arrays])
            if what.kind == "bounded":
                blank = [np.full(size, "", dtype=object) for size in sizes]
                marks = [each.part.marks.get(what.name, none) for each, none in zip(read, blank, strict=True)]
                columns[f"{what.name}_mark"] = _text(np.concatenate([np.zeros(0, dtype=object), *marks]))
        else:
            texts = [
                each.part.arrays.get(what.name, np.full(len(each.part.lines), None, dtype=object)) for each in read
            ]
            columns[what.name] = _text(np.concatenate([np.zeros(0, dtype=object), *texts]))
    return pd.DataFrame(columns)


def _text(values: Any) -> Any:
    import pandas as pd

    # one storage, whether pyarrow is installed or not
    return pd.array(values, dtype=pd.StringDtype(storage="python", na_value=np.nan))


# ---- what sets readings aside in any stream -------------------------------------------------------------------------


def _faults(sheet: Sheet, read: Sequence[_Read]) -> None:
    start = 0
    for each in read:
        for fault in sorted(each.part.faults, key=lambda fault: fault.at):
            at = start + fault.at
            sheet.use[at] = sheet.use[at] or fault.code
            if fault.told and not each.copy_of:
                step = fault.next_step or ASIDE
                sheet.tell(at, fault.code, fault.field, fault.what, fault.expected, fault.nearest, next_step=step)
        start += len(each.part.lines)


def _copies(sheet: Sheet, read: Sequence[_Read]) -> list[Problem]:
    """A file that is a copy of another one counts once, whatever its record entry says of it."""
    start, problems = 0, []
    for each in read:
        end = start + len(each.part.lines)
        if each.copy_of and end > start:  # two tables nobody has filled in yet are no copies of each other
            sheet.use[start:end] = "same-file"
            problems.append(
                Problem(
                    each.file,
                    0,
                    0,
                    "same-file",
                    f"this file is the same, byte by byte, as {each.copy_of}; none of its "
                    f"{end - start} readings is used",
                    "a record of its own",
                    "",
                    "put the right file there, or take one of the two out of the records",
                    "",
                    "warning",
                )
            )
        start = end
    return problems


def _waiting(sheet: Sheet, read: Sequence[_Read], fields: Sequence[Field]) -> None:
    """Rows that a check set aside and that hold nothing but what is known beforehand wait for their reading.

    A row that a check lets pass says something by itself, and a cell that was not understood holds something.
    """
    found = [each.name for each in fields if not each.told_beforehand]
    judged = {"", "excluded", "same-file"}
    blank = {name: sheet.frame[name].isna().to_numpy() for name in found}
    start = 0
    for each in read:
        part, end = each.part, start + len(each.part.lines)
        asked = [name for name in found if name in part.headers]
        if asked and not part.phases:
            empty = np.all([blank[name][start:end] for name in asked], axis=0)
            for name in part.marks:  # "ND" and "-" are no numbers, but say something
                empty &= np.array([not mark for mark in part.marks[name].tolist()], dtype=bool)
            empty[[fault.at for fault in part.faults]] = False
            for at in (start + np.flatnonzero(empty)).tolist():
                if sheet.use[at] not in judged:
                    sheet.not_taken(at)
        start = end


def _required(sheet: Sheet, fields: Sequence[Field]) -> None:
    for each in fields:
        if each.required:
            what = f"nothing is entered for {each.title.lower()}"
            sheet.set_aside(sheet.frame[each.name].isna(), "required-empty", each.name, what, expected(each))


def _objected(program: Program, sheet: Sheet) -> None:
    names = {each.reading for each in program.exclusions}
    if names:
        sheet.set_aside(sheet.frame["reading"].isin(sorted(names)), "excluded", "", "", told=False)
