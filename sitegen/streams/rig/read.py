"""Records of the rig to readings: a row of a table is a specimen, and the strokes of its file follow it as rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sitegen.problems import shown
from sitegen.program.inside import PathFault, file_inside, nearest_inside
from sitegen.program.model import Program, RecordSource
from sitegen.reader.blocked import Blocked
from sitegen.streams.rig.fields import CONDITIONS, FIELDS
from sitegen.streams.rig.forces import Forces, Section, read_forces
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import Written, given, rows_of
from sitegen.vocabulary import Problem, Readings

if TYPE_CHECKING:
    import pandas as pd

_SAME = 0.02  # share by which a condition above forces may differ from that of the row; a convention of ours
_FORCES = ("forward", "force", "magnitude")
_TITLES = {each.name: each.title.lower() for each in FIELDS}
_WORN = ("scar_volume", "mass_loss")


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all records of the rig; see `tables.reading.read_stream`.

    A row that names a file of forces is followed by rows of the strokes in it, put together where they are many, with
    the conditions that hold for them. A file that cannot be read sets its row aside with a warning of its own.
    """
    files = _Files()
    checks = (_kept_apart, _load, files.read, files.conditions, _something)
    found = read_stream(program, sources, FIELDS, checks)
    none = found.frame["remark"].where(np.zeros(len(found.frame), dtype=bool))
    found = replace(found, frame=found.frame.assign(engine=none, phase=none))  # a specimen is in none
    return replace(
        found, frame=files.expanded(found.frame), files={**found.files, **files.facts},
        problems=tuple(sorted({*found.problems, *files.problems})), inputs=dict(sorted(files.inputs.items())),
    )  # fmt: skip


def _kept_apart(program: Program, sheet: Sheet) -> None:
    """A row is a specimen with its file, or holds strokes; dry and oil exclude each other."""
    del program
    frame = sheet.frame
    both = frame["forces"].notna() & frame[list(_FORCES)].notna().any(axis=1)
    sheet.set_aside(both, "rig-forces-twice", "forces", "forces are entered, and a file of forces is named",
                    "one of them")  # fmt: skip
    wet = (frame["dry"] == "yes") & frame["oil"].notna()
    sheet.set_aside(wet, "rig-dry-with-oil", "oil", "it is said to be dry, and an oil is named", "one of them")
    neither = (frame["dry"] != "yes") & frame["oil"].isna()
    sheet.set_aside(neither, "rig-condition-missing", "oil", "nothing is entered for oil",
                    "the id of the oil, or dry: yes (ASTM G181 asks for it)")  # fmt: skip


def _load(program: Program, sheet: Sheet) -> None:
    del program
    sheet.set_aside(sheet.frame["load"] == 0, "rig-no-load", "load", "the load is entered as zero",
                    "a load above zero: friction is force over load")  # fmt: skip


@dataclass
class _Files:
    """Reads the files of forces of the rows still in use."""

    found: dict[str, Forces] = field(default_factory=dict)  # by reading
    facts: dict[str, Mapping[str, object]] = field(default_factory=dict)
    inputs: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def read(self, program: Program, sheet: Sheet) -> None:
        folder = Path(program.folder)
        seen: dict[str, str] = {}
        for at, row in enumerate(rows_of(sheet.frame, _Row)):
            if not sheet.open[at] or not isinstance(row.forces, str):
                continue
            try:
                path = file_inside(folder, row.forces)
            except PathFault as fault:
                what = f'the file of forces "{shown(row.forces)}" {fault.what}'
                near = nearest_inside(folder, row.forces) if fault.code == "missing" else ""
                sheet.set_aside(_only(sheet, at), "rig-forces-missing", "forces", what,
                                "a file inside the program's folder", near)  # fmt: skip
                continue
            file = f"{folder.name}/{row.forces}"
            try:
                forces = read_forces(path, file)
            except Blocked as blocked:
                sheet.set_aside(_only(sheet, at), "rig-forces-not-usable", "forces", "", told=False)
                self.problems.append(replace(next(iter(blocked.problems)), level="warning"))
                continue
            self.inputs[file] = forces.digest
            if forces.digest in seen:
                sheet.set_aside(_only(sheet, at), "same-file", "forces",
                                f'"{shown(row.forces)}" is the same as "{shown(seen[forces.digest])}"',
                                "its own forces")  # fmt: skip
                continue
            seen[forces.digest] = row.forces
            if forces.specimen and " ".join(forces.specimen.casefold().split()) != row.specimen.casefold():
                sheet.set_aside(_only(sheet, at), "rig-other-specimen", "forces",
                                f'"{shown(row.forces)}" is of the specimen "{shown(forces.specimen)}"',
                                "the forces of this specimen")  # fmt: skip
                continue
            if not self._agrees(sheet, at, row, forces):
                continue
            self.found[row.reading] = forces
            self._tell(file, forces)

    def _agrees(self, sheet: Sheet, at: int, row: _Row, forces: Forces) -> bool:
        """Whether what the row says of conditions is what stands above the only section of its file."""
        if len({tuple(sorted(each.said.items())) for each in forces.sections}) > 1:
            return True  # load steps: the file knows better
        for name in CONDITIONS:
            own, above = getattr(row, name), forces.sections[0].said.get(name)
            if given(own) and above is not None and abs(own - above) > _SAME * abs(above):
                sheet.set_aside(_only(sheet, at), "rig-conditions-differ", name,
                                f"the {_TITLES[name]} of the row is not that above its forces in {row.forces}",
                                "the same in both")  # fmt: skip
                return False
        return True

    def _tell(self, file: str, forces: Forces) -> None:
        together = max(each.together for each in forces.sections)
        rows = sum(len(each.rows) for each in forces.sections)
        notes = [f"{forces.rows} rows of strokes in {len(forces.sections)} sections and classes"]
        notes += [f"up to {together} rows put together into one"] if together > 1 else []
        notes += [f"{forces.bad} rows without a number or its other way not used"] if forces.bad else []
        self.facts[file] = {
            "encoding": forces.encoding, "separator": "", "decimal": "", "rows": rows, "used": rows, "set_aside": 0,
            "not_taken": 0, "notes": notes, "columns": {},
        }  # fmt: skip

    def conditions(self, program: Program, sheet: Sheet) -> None:
        """Load, stroke, frequency and temperature of every stroke are known, from the row or from above its forces."""
        del program
        rows = rows_of(sheet.frame, _Row)
        for at in np.flatnonzero(sheet.open).tolist():
            row = rows[at]
            forces = self.found.get(row.reading)
            for name in CONDITIONS:
                said = forces is not None and all(_says(each, name) for each in forces.sections)
                if given(getattr(row, name)) or said:
                    continue
                what = f"nothing is entered for {_TITLES[name]}"
                if forces is not None:
                    what = f"neither the row nor its forces in {row.forces} say a {_TITLES[name]} above zero"
                sheet.set_aside(_only(sheet, at), "rig-condition-missing", name, what,
                                f"a {_TITLES[name]} with its unit (ASTM G181 asks for it)")  # fmt: skip
                self.found.pop(row.reading, None)
                break

    def expanded(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The frame with the rows of strokes below the rows that name their files; what was measured stays above."""
        import pandas as pd

        parents = {row.reading: (at, row) for at, row in enumerate(rows_of(frame, _Row)) if row.reading in self.found}
        parts = [frame]
        for reading, (at, row) in parents.items():
            if row.use:
                continue
            made: list[dict[str, float | str]] = []
            for section in self.found[reading].sections:
                made += _strokes(row, section, len(made))
            own = pd.DataFrame({name: [frame[name].iloc[at]] * len(made) for name in frame.columns})
            for name in {name for each in made for name in each}:
                own[name] = [each.get(name, np.nan) for each in made]
            for name in (*_WORN, "sliding"):
                own[name] = np.nan
            parts.append(own.astype(frame.dtypes.to_dict()))
        return pd.concat(parts, ignore_index=True) if len(parts) > 1 else frame


class _Row:
    """Of a row what its file of forces is held against."""

    __slots__ = ()
    reading: str
    file: str
    use: str
    specimen: str
    forces: Written
    load: float
    stroke: float
    frequency: float
    temperature: float


def _strokes(row: _Row, section: Section, before: int) -> list[dict[str, float | str]]:
    folder = row.file.partition("/")[0]
    same: dict[str, float | str] = {"file": f"{folder}/{row.forces}", "forces": np.nan, **section.said}
    if section.stroke_class:
        same["stroke_class"] = section.stroke_class
    same["row"] = section.line
    return [
        {**same, **{name: value for name, value in each.items() if name not in CONDITIONS or name not in same},
         "reading": f"{row.reading}/{before + n}"}
        for n, each in enumerate(section.rows, start=1)
    ]  # fmt: skip


def _says(section: Section, name: str) -> bool:
    """Whether a section says a condition; of a load or a speed of nothing nothing can be told."""
    return min((each.get(name, 0.0) for each in section.rows), default=0.0) > 0 or section.said.get(name, 0.0) > 0


def _something(program: Program, sheet: Sheet) -> None:
    """A row holds forces, names them, or says what wore."""
    del program
    frame = sheet.frame
    none = frame[["forces", *_FORCES, "back", *_WORN]].isna().all(axis=1)
    sheet.set_aside(none, "rig-nothing", "forces", "neither forces nor wear are entered",
                    "a file of forces, forces both ways, or a wear volume")  # fmt: skip
    strokes = frame["forces"].isna() & frame[list(_FORCES)].notna().any(axis=1)
    untimed = strokes & frame["time"].isna() & frame["count"].isna()
    sheet.set_aside(untimed, "rig-no-time", "time", "nothing says when these strokes were run",
                    "a time or a number of strokes")  # fmt: skip


def _only(sheet: Sheet, at: int) -> np.ndarray:
    mask = np.zeros(len(sheet.frame), dtype=bool)
    mask[at] = True
    return mask
