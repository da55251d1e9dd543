"""Records of engine friction to readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from sitegen import reasons
from sitegen.methods import friction as method
from sitegen.page import words
from sitegen.problems import shown
from sitegen.program.inside import PathFault, file_inside, nearest_inside
from sitegen.program.model import Program, RecordSource
from sitegen.reader.blocked import Blocked
from sitegen.streams.friction.fields import COAST, FIELDS, MOTORED, RPM, Reading
from sitegen.streams.friction.rundown import RunDown, read_run_down
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Problem, Readings, Refused

_FAR = 0.35  # share by which one torque may lie off the median at its speed; common practice, no source


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all tables, with the run downs they name under `traces`; see `tables.reading.read_stream`."""
    files = _Files()
    checks = (_running, _whole, _oil, _states, _instruments, _speeds, _again, _one_day, _signs, _plausible)
    found = read_stream(program, sources, FIELDS, (*checks, files.read, files.look))
    kept = set(found.frame["reading"][found.frame["use"] == ""].tolist())
    return replace(
        found,
        problems=tuple(sorted({*found.problems, *files.problems})),
        traces={name: trace for name, trace in files.found.items() if name in kept},
        inputs=dict(sorted(files.inputs.items())),
    )


def again(program: Program, readings: Readings, engine: str) -> Readings:
    """The run downs of one build, as `read` gave them."""
    folder = Path(program.folder)
    frame = readings.frame[(readings.frame["engine"] == engine) & (readings.frame["use"] == "")]
    traces = {
        row.reading: read_run_down(file_inside(folder, str(row.run_down)), f"{folder.name}/{row.run_down}", row)
        for row in rows_of(frame, Reading)
        if row.reading in readings.traces
    }
    return Readings(readings.frame, traces=traces)


def _running(program: Program, sheet: Sheet) -> None:
    apart = [phase.id for phase in program.phases if phase.kind == "teardown"]
    sheet.set_aside(sheet.frame["phase"].isin(apart), "not-in-run", "phase", "the engine is apart in this phase",
                    "a phase in which it turns")  # fmt: skip


def _whole(program: Program, sheet: Sheet) -> None:
    """A driven run has a speed and a torque, a run down its file, and neither what belongs to the other."""
    del program
    frame = sheet.frame
    driven, down = frame["method"] == MOTORED, frame["method"] == COAST
    for name, mask, expected in (
        ("torque", driven & (frame["torque"].isna() | frame["speed"].isna()), "speed and torque of a driven run"),
        ("run_down", down & frame["run_down"].isna(), "the file of the run down"),
        ("run_down", driven & frame["run_down"].notna(), "no file of a run down beside a torque"),
        ("torque", down & (frame["torque"].notna() | frame["speed"].notna()), "no torque of a run down: it has none"),
    ):
        sheet.set_aside(mask, "friction-not-whole", name, "the row does not say what belongs to its method", expected)


def _oil(program: Program, sheet: Sheet) -> None:
    """Oil off its temperature is another oil: 1 K is worth about 1 % of hydrodynamic friction."""
    rule = program.friction
    if rule.oil_temperature is None:
        return
    wanted, band = rule.oil_temperature, rule.oil_band
    off = (sheet.frame["oil_temperature"] - wanted).abs() > band + 1e-9
    degrees = sheet.frame["oil_temperature"].tolist()

    def what(at: int) -> str:
        return f"the oil was at {words.number(degrees[at] - 273.15, 1)} °C"

    expected = f"{words.number(wanted - 273.15, 1)} ± {words.number(band, 1)} °C, as the program states"
    sheet.set_aside(off, "oil-off-temperature", "oil_temperature", what, expected)
    other = sheet.frame["oil"].notna() & ~sheet.frame["oil"].isin(list(program.definitions.oils))
    known = ", ".join(program.definitions.oils) or "none is defined"
    sheet.set_aside(
        other, "unknown-word", "oil", "no oil of this id is defined", f"an oil of definitions.yaml: {known}"
    )
    oils = {build.id: build.oil for build in program.builds}
    own = sheet.frame["engine"].map(oils)
    odd = sheet.frame["oil"].notna() & sheet.frame["variant"].isna() & (own != "") & (sheet.frame["oil"] != own)
    sheet.set_aside(odd, "another-state", "oil", "it is another oil than that of the build",
                    "the oil of the build, or a variant of its own")  # fmt: skip


def _states(program: Program, sheet: Sheet) -> None:
    """Plugs and throttle are as the program states, else as the first row says: another state pumps another amount."""
    for name, stated in (("plugs", program.friction.plugs), ("throttle", program.friction.throttle)):
        column = sheet.frame[name]
        said = column[sheet.open & column.notna().to_numpy()]
        usual = stated or (str(said.iloc[0]) if len(said) else "")
        sheet.set_aside(column.notna() & (column != usual), "another-state", name,
                        f"{name} {'were' if name == 'plugs' else 'was'} not {usual}",
                        f"{name} {usual}, as {'the program states' if stated else 'in the first row'}")  # fmt: skip


def _instruments(program: Program, sheet: Sheet) -> None:
    tools = program.definitions.tools
    fitting(sheet, "instrument", tools, ("torque-cell",), "the tool named reads no torque")
    in_force(sheet, "instrument", tools)


def _speeds(program: Program, sheet: Sheet) -> None:
    rule = program.friction
    if not rule.speeds:
        return
    speed = sheet.frame["speed"].to_numpy(dtype=float)
    with np.errstate(invalid="ignore"):
        off = np.min([np.abs(speed - each) for each in rule.speeds], axis=0) > rule.speed_band * (1 + 1e-9)
    expected = f"{words.listed([f'{each / RPM:.0f}' for each in rule.speeds], 'or')} rpm within "
    sheet.set_aside(off & (sheet.frame["method"] == MOTORED).to_numpy(), "off-speed", "speed",
                    lambda at: f"{speed[at] / RPM:.0f} rpm is none of the speeds of the program",
                    f"{expected}{rule.speed_band / RPM:.0f} rpm")  # fmt: skip


def _again(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["engine", "phase", "method", "date", "run", "speed"]]
    same_again(sheet, state, sheet.open, "run", "the same run, at the same speed, was read already in")


def _one_day(program: Program, sheet: Sheet) -> None:
    """One variant a day: two of them on one day share it, and tell nothing that days do not mix."""
    del program
    frame = sheet.frame
    variants = frame["variant"].fillna("")
    days = frame.assign(variant=variants)[sheet.open].groupby(["engine", "phase", "date"])["variant"].nunique()
    mixed = {place for place, count in days.items() if count > 1}
    places = zip(frame["engine"], frame["phase"], frame["date"], strict=True)
    what = "two variants were run on this day: what the day does to both is not told from what the change does"
    sheet.set_aside([place in mixed for place in places], "two-variants-a-day", "variant", what,
                    "one variant a day, on alternating days")  # fmt: skip


def _signs(program: Program, sheet: Sheet) -> None:
    """A bench may write torque that drives below zero, but then all of it."""
    del program
    frame = sheet.frame[sheet.open & (sheet.frame["method"] == MOTORED).to_numpy()]
    for _, own in frame.groupby("file", sort=False):
        below = own["torque"] < 0
        odd = own.index[below if below.sum() * 2 < len(own) else ~below]
        mask = sheet.frame.index.isin(odd)
        sheet.set_aside(mask, "torque-turned", "torque", "its sign is not that of the other torques of the file",
                        "one sign for torque that drives the engine")  # fmt: skip


def _plausible(program: Program, sheet: Sheet) -> None:
    """Tell a torque far off the others of its build at its speed: most often a slip of the pen."""
    rule = program.friction
    frame = sheet.frame[sheet.open & (sheet.frame["method"] == MOTORED).to_numpy()]
    if frame.empty or not rule.speeds:
        return
    near = np.argmin([np.abs(frame["speed"].to_numpy() - each) for each in rule.speeds], axis=0)
    for _, own in frame.assign(near=near).groupby(["engine", "phase", "near"], sort=False):
        middle = float(own["torque"].abs().median())
        for at in own.index[(own["torque"].abs() - middle).abs() > _FAR * middle].tolist():
            sheet.tell(at, "torque-off-its-speed", "torque", f"{own['torque'][at]:.4g} N m, at this speed {middle:.4g} "
                       "N m are usual in this build", "a torque like those beside it",
                       next_step="correct it, or leave it in")  # fmt: skip


class _Files:
    """Reads the files of the run downs still in use; two checks of `read_stream`."""

    def __init__(self) -> None:
        self.found: dict[str, RunDown] = {}  # by reading
        self.inputs: dict[str, str] = {}
        self.problems: list[Problem] = []

    def read(self, program: Program, sheet: Sheet) -> None:
        folder = Path(program.folder)
        rows = rows_of(sheet.frame, Reading)
        seen: dict[str, int] = {}  # digest -> first row
        for at in np.flatnonzero(sheet.open & (sheet.frame["method"] == COAST).to_numpy()).tolist():
            name = str(rows[at].run_down)
            file = f"{folder.name}/{name}"
            try:
                run_down = read_run_down(file_inside(folder, name), file, rows[at])
            except PathFault as fault:
                near = nearest_inside(folder, name) if fault.code == "missing" else ""
                self._aside(sheet, at, f"trace-{fault.code}", f'the file "{shown(name)}" {fault.what}',
                            "a file inside the program's folder", near)  # fmt: skip
                continue
            except Blocked as blocked:
                self._aside(sheet, at, "trace-not-usable")
                self.problems += (replace(each, level="warning") for each in blocked.problems)
                continue
            self.inputs[file] = run_down.digest
            first = seen.setdefault(run_down.digest, at)
            if first != at:
                before = shown(str(rows[first].run_down))
                self._aside(sheet, at, "same-file", f'"{shown(name)}" is the same as "{before}"', "a file of its own")
                continue
            self.found[rows[at].reading] = run_down

    def look(self, program: Program, sheet: Sheet) -> None:
        """Tell what a run down cannot say; one that says nothing at any speed of the program is set aside."""
        rule = program.friction
        rows = rows_of(sheet.frame, Reading)
        for at in np.flatnonzero(sheet.open & (sheet.frame["method"] == COAST).to_numpy()).tolist():
            run_down = self.found[rows[at].reading]
            faults: dict[str, list[float]] = {}
            for speed in rule.speeds:
                try:
                    method.deceleration(run_down.time, run_down.speed, speed, rule.window)
                except Refused as why:
                    faults.setdefault(why.code, []).append(speed)
            for n, (code, speeds) in enumerate(faults.items()):
                told = f"{reasons.READING[code]} at {_listed(speeds)} rpm"
                if sum(map(len, faults.values())) == len(rule.speeds) and not n:
                    self._aside(sheet, at, code, told, _expected(rule.window))
                else:
                    sheet.tell(at, code, "run_down", told, _expected(rule.window),
                               next_step="run it down again, or leave it at the other speeds")  # fmt: skip

    def _aside(self, sheet: Sheet, at: int, code: str, what: str = "", expected: str = "", near: str = "") -> None:
        mask = np.zeros(len(sheet.frame), dtype=bool)
        mask[at] = True
        sheet.set_aside(mask, code, "run_down", what, expected, near, told=bool(what))


def _listed(speeds: Iterable[float]) -> str:
    return words.listed([f"{each / RPM:.0f}" for each in speeds])


def _expected(window: float) -> str:
    return (
        f"a speed that falls all the way from {window / RPM:.0f} rpm above each speed of the program to as much below, "
        f"sampled {method.LEAST_RATE:.0f} times a second or more"
    )
