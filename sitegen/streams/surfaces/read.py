"""Index tables and the traces they name to readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from sitegen.problems import shown
from sitegen.program.calibrated import Doubt
from sitegen.program.inside import PathFault, file_inside, nearest_inside
from sitegen.program.model import Program, RecordSource
from sitegen.reader.blocked import Blocked
from sitegen.streams.surfaces import evaluate
from sitegen.streams.surfaces.evaluate import evaluation_of, is_short
from sitegen.streams.surfaces.fields import FIELDS, RINGS, STATED, Reading
from sitegen.streams.surfaces.naming import is_proposed
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import Written, given, rows_of
from sitegen.tables.shadows import gain
from sitegen.traces.points import Asked
from sitegen.traces.reading import Trace, read_trace
from sitegen.vocabulary import Later, Problem, Readings


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all indexes, with the traces they name under `traces`; see `tables.reading.read_stream`.

    A trace that cannot be read is set aside with a warning of its own file and line; the others stay. One that is not
    there under the name a list of traces to take proposes is not yet taken.
    """
    traces = _Traces()
    found = read_stream(
        program, sources, FIELDS,
        (_places, _instruments, _calibrated, _repeats, traces.read, traces.look, traces.look_through),
    )  # fmt: skip
    kept = set(found.frame["reading"][found.frame["use"] == ""].tolist())
    return replace(
        found,
        problems=tuple(sorted({*found.problems, *traces.problems})),
        traces={name: trace for name, trace in traces.found.items() if name in kept},
        inputs=dict(sorted(traces.inputs.items())),
    )


def again(program: Program, readings: Readings, engine: str) -> Readings:
    """The traces of one build, as `read` gave them."""
    folder = Path(program.folder)
    frame = readings.frame[(readings.frame["engine"] == engine) & (readings.frame["use"] == "")]
    traces = {
        row.reading: read_trace(file_inside(folder, row.trace), f"{folder.name}/{row.trace}", _asked(row))
        for row in rows_of(frame, Reading)
        if row.reading in readings.traces
    }
    return Readings(readings.frame, traces=traces)


def shadow(program: Program, readings: Readings, doubt: Doubt, rows: Sequence[int]) -> Readings:
    """Heights of these traces, and what the instrument made of them, over the gain found on its roughness standard."""
    del program
    names = {str(readings.cells("reading")[n]) for n in rows}
    factor = gain(doubt)
    frame = readings.frame.copy()
    for name in STATED:
        frame.loc[frame.index[list(rows)], f"stated_{name}"] /= factor

    def trace(name: str) -> object:
        own = readings.traces[name]
        if name not in names or not isinstance(own, Trace):
            return own
        return replace(own, z=own.z / factor, stated={key: each / factor for key, each in own.stated.items()})

    traces = Later(readings.traces, trace) if readings.traces else {}
    return readings.but(frame=frame, rows=None, columns=None, traces=traces)


def _asked(row: Reading) -> Asked:
    return Asked(
        _text(row.x), _text(row.z), _text(row.valid), _text(row.x_unit), _text(row.z_unit),
        step=row.step if given(row.step) else None, sheet=_text(row.sheet),
        section=int(row.section) if given(row.section) else None,
    )  # fmt: skip


def _places(program: Program, sheet: Sheet) -> None:
    """A trace of a bore says where in the bore, one of a ring at which angle."""
    del program
    frame = sheet.frame
    bore = frame["part"] == "bore"
    where = frame["side"].isna() | frame["height"].isna()
    sheet.set_aside(
        bore & where, "place-missing", "side", "nothing says where in the bore the trace was taken", "side and height"
    )
    ring = frame["part"].isin(list(RINGS))
    sheet.set_aside(
        ring & frame["angle"].isna(), "place-missing", "angle", "nothing says at which angle from the gap", "an angle"
    )
    edges = frame["unswept_to"].notna() & frame["swept_from"].notna() & (frame["unswept_to"] > frame["swept_from"])
    sheet.set_aside(
        edges, "bands-overlap", "swept_from", "the swept band begins before the unswept one ends", "bands apart"
    )


def _instruments(program: Program, sheet: Sheet) -> None:
    fitting(sheet, "instrument", program.definitions.tools, ("profilometer",), "the tool named traces no surface")


def _calibrated(program: Program, sheet: Sheet) -> None:
    in_force(sheet, "instrument", program.definitions.tools)


def _repeats(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["engine", "cylinder", "phase", "part", "side", "height", "angle", "repeat"]]
    why = "the same place was traced, without another repeat number, in"
    same_again(sheet, state, sheet.open, "repeat", why)


class _Traces:
    """Reads the files of the rows still in use; a check of `read_stream`."""

    def __init__(self) -> None:
        self.found: dict[str, Trace] = {}  # by reading
        self.inputs: dict[str, str] = {}
        self.problems: list[Problem] = []

    def read(self, program: Program, sheet: Sheet) -> None:
        folder = Path(program.folder)
        seen: dict[tuple[str, tuple[str, int, str]], int] = {}  # digest and part of the file -> first row
        rows = rows_of(sheet.frame, Reading)
        for at in np.flatnonzero(sheet.open).tolist():
            row = rows[at]
            name = row.trace
            try:
                path = file_inside(folder, name)
            except PathFault as fault:
                if fault.code == "missing" and _is_proposed(sheet, at, name) and not _under_other_ending(folder / name):
                    sheet.not_taken(at)
                    continue
                what = f'the trace "{shown(name)}" {fault.what}'
                near = nearest_inside(folder, name) if fault.code == "missing" else ""
                sheet.set_aside(_only(sheet, at), f"trace-{fault.code}", "trace", what,
                                "a trace file inside the program's folder", near)  # fmt: skip
                continue
            file = f"{folder.name}/{name}"
            try:
                trace = read_trace(path, file, _asked(row))
            except Blocked as blocked:
                self._set_aside(sheet, at, blocked.problems)
                continue
            self.inputs[file] = trace.digest
            first = seen.setdefault((trace.digest, trace.part), at)
            if first != at:
                before = rows[first].trace
                sheet.set_aside(_only(sheet, at), "same-file", "trace",
                                f'"{shown(name)}" is the same as "{shown(before)}"', "its own trace")  # fmt: skip
                continue
            self.found[row.reading] = trace
            self.problems += trace.doubts

    def look(self, program: Program, sheet: Sheet) -> None:
        """Tell what a trace that was read cannot be evaluated for. It stays: it may serve for something else."""
        del program
        rows = rows_of(sheet.frame, Reading)
        for at in np.flatnonzero(sheet.open).tolist():
            row = rows[at]
            trace = self.found.get(row.reading)
            if trace is None:
                continue
            self._plausible(sheet, at, row.part, trace)
            if row.part != "bore":
                if math.isnan(row.flank):
                    self._tell(sheet, at, "flank-missing", "flank", "nothing says how wide the unworn flanks are: no "
                               "wear is told from this trace", "a width, such as 0.15 mm")  # fmt: skip
                continue
            length = evaluation_of(row)
            if length is None:
                self._tell(sheet, at, "cutoff-missing", "cutoff", "nothing says the cutoff: no roughness is told from "
                           "this trace", "a cutoff, such as 0.8 mm")  # fmt: skip
                continue
            begin = 0.0 if math.isnan(row.swept_from) else row.swept_from
            if is_short(trace.length - begin, length, trace.step):
                swept = " from the swept band on" if begin else ""
                self._tell(sheet, at, "trace-short", "trace", f"{1e3 * (trace.length - begin):.3g} mm{swept} are "
                           f"shorter than the evaluation length of {1e3 * length:.3g} mm: no roughness is told from it",
                           "a longer trace, or a shorter cutoff or evaluation length")  # fmt: skip

    def look_through(self, program: Program, sheet: Sheet) -> None:
        """Tell a ring face that wore by more than all layers of its coating are thick: something is stated wrongly."""
        rows = rows_of(sheet.frame, Reading)
        order = {phase.id: phase.order for phase in program.phases}
        faces: dict[tuple[str, float, float], list[int]] = {}
        for at in np.flatnonzero(sheet.open & (sheet.frame["part"] == "top-ring").to_numpy()).tolist():
            if rows[at].reading in self.found and given(rows[at].flank):
                faces.setdefault((rows[at].engine, rows[at].cylinder, rows[at].angle), []).append(at)
        for (engine, cylinder, _), places in faces.items():
            coating = program.definitions.coatings.get(program.build(engine).coating_of(int(cylinder)))
            if coating is None or coating.nominal is None:
                continue
            most = 1e6 * (coating.nominal + sum(layer.tolerance or 0.0 for layer in coating.layers))
            first = min((rows[at].phase for at in places), key=lambda phase: order[phase])
            before = [self.found[rows[at].reading] for at in places if rows[at].phase == first]
            for at in places:
                row = rows[at]
                worn = None if row.phase == first else evaluate.worn_past(before, self.found[row.reading], row, most)
                if worn is not None:
                    self._tell(sheet, at, "worn-past-layers", "trace", f"the face wore by {worn:.3g} µm, more than all "
                               f"layers of {coating.id} together ({most:.3g} µm): nothing is told of what is left",
                               "another thickness in definitions.yaml, another trace or another unit of z")  # fmt: skip

    def _plausible(self, sheet: Sheet, at: int, part: str, trace: Trace) -> None:
        """Tell heights no such part has: most often those of another unit."""
        if not evaluate.is_plausible(trace, part):
            height = evaluate.half_height(trace)
            low, high = evaluate.HEIGHTS_OF["bore" if part == "bore" else "ring"]
            shares = {1e-3: "a thousandth of that", 1e3: "a thousand times that"}
            fits = next(
                (f"; {word} would be plausible" for share, word in shares.items() if low <= share * height <= high), ""
            )
            self._tell(sheet, at, "heights-not-plausible", "trace", f"half of its heights lie more than "
                       f"{1e6 * height:.3g} µm off a straight line{fits}",
                       f"{1e6 * low:.3g} to {1e6 * high:.3g} µm on such a part, or another unit of z")  # fmt: skip

    def _tell(self, sheet: Sheet, at: int, code: str, name: str, what: str, expected: str) -> None:
        """A warning about a row that stays in use."""
        step = "complete the record, or do without"
        told = Problem(*sheet.place(at), 0, code, what, expected, "", step, sheet.header(name, at), "warning")
        self.problems.append(told)

    def _set_aside(self, sheet: Sheet, at: int, problems: Iterable[Problem]) -> None:
        """The row is set aside; what is told is about the trace file."""
        first = next(iter(problems))
        sheet.set_aside(_only(sheet, at), "trace-not-usable", "trace", "", told=False)
        self.problems.append(replace(first, level="warning"))


def _is_proposed(sheet: Sheet, at: int, name: str) -> bool:
    """Whether the trace has the name that a list of traces to take proposes for its place."""
    columns = ["engine", "phase", "cylinder", "part", "side", "height", "angle", "repeat"]
    engine, phase, cylinder, part, side, height, angle, repeat = sheet.frame[columns].iloc[at].tolist()
    place = f"{side} {height}" if part == "bore" else f"{math.degrees(angle):.0f}"
    number = f"{repeat:.0f}" if given(repeat) else ""
    return is_proposed(name, str(engine), str(phase), int(cylinder), str(part), place, number)


def _under_other_ending(path: Path) -> bool:
    """Whether a trace that is not there is there with another ending."""
    try:
        return any(each.stem == path.stem for each in path.parent.iterdir())
    except OSError:
        return False


def _only(sheet: Sheet, at: int) -> np.ndarray:
    mask = np.zeros(len(sheet.frame), dtype=bool)
    mask[at] = True
    return mask


def _text(cell: Written) -> str:
    return cell if isinstance(cell, str) else ""
