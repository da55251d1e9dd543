"""Records of pulls to readings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitegen.program.model import Program, RecordSource
from sitegen.streams.pulls.fields import AS_READ, FIELDS, word_of
from sitegen.streams.pulls.in_logs import InLogs
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings

_FAR = 0.35  # share by which the torque of one speed may lie off the median of its pull; common practice, no source


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all records of pulls; see `tables.reading.read_stream`."""
    logs = InLogs()
    checks = (_whole, _running, _standards, _instruments, _again, _one_day, _plausible, logs.read)
    return logs.put_in(read_stream(program, sources, FIELDS, checks))


def _whole(program: Program, sheet: Sheet) -> None:
    """Torque at a speed of a pull, or the log that holds it; not both."""
    del program
    log = sheet.frame["log"].notna()
    for name in ("pull", "speed", "torque"):
        sheet.set_aside(~log & sheet.frame[name].isna(), "required-empty", name, f"nothing is entered for {name}",
                        f"{name}, or the log that holds it")  # fmt: skip
    both = log & (sheet.frame["speed"].notna() | sheet.frame["torque"].notna())
    sheet.set_aside(both, "pull-both-ways", "log", "a log is named and a torque or speed entered as well",
                    "one of the two")  # fmt: skip


def _running(program: Program, sheet: Sheet) -> None:
    still = [phase.id for phase in program.phases if not phase.fires]
    expected = "a phase in which the engine runs"
    mask = sheet.frame["phase"].isin(still)
    sheet.set_aside(mask, "not-in-run", "phase", "the engine stands in this phase", expected)


def _standards(program: Program, sheet: Sheet) -> None:
    """What the bench has corrected is in the standard of the program, or cannot stand beside the others."""
    named, own = sheet.frame["corrected_to"], program.power.standard
    other = named.notna() & (named != AS_READ) & (named != word_of(own))
    what = f"the bench has corrected to another standard than the program's ({own or 'none'})"
    expected = f"torque as read{f', or corrected to {own}' if own else ''}: two standards never stand in one chart"
    sheet.set_aside(other, "another-standard", "corrected_to", what, expected)


def _instruments(program: Program, sheet: Sheet) -> None:
    tools = program.definitions.tools
    fitting(sheet, "instrument", tools, ("torque-cell",))
    in_force(sheet, "instrument", tools)


def _again(program: Program, sheet: Sheet) -> None:
    del program
    log = sheet.frame["log"].notna().to_numpy()
    state = ["engine", "phase", "date", "pull"]
    why = "the same speed of the same pull was read already, in"
    same_again(sheet, sheet.frame[[*state, "speed"]], sheet.open & ~log, "speed", why)
    why = "the same pulls of the same log are spoken of already, in"
    same_again(sheet, sheet.frame[[*state, "log"]].fillna({"pull": 0}), sheet.open & log, "log", why)


def _one_day(program: Program, sheet: Sheet) -> None:
    """One variant a day: two of them on one day share it, and tell nothing that days do not mix."""
    del program
    frame = sheet.frame
    variants = frame["variant"].fillna("")
    days = frame.assign(variant=variants)[sheet.open].groupby(["engine", "phase", "date"])["variant"].nunique()
    mixed = {place for place, count in days.items() if count > 1}
    places = zip(frame["engine"], frame["phase"], frame["date"], strict=True)
    mask = np.array([place in mixed for place in places], dtype=bool)
    what = "two variants were pulled on this day: what the day does to both is not told from what the change does"
    sheet.set_aside(mask, "two-variants-a-day", "variant", what, "one variant a day, on alternating days")


def _plausible(program: Program, sheet: Sheet) -> None:
    """Tell a torque far off the others of its pull: most often a slip of the pen."""
    del program
    frame = sheet.frame[sheet.open & sheet.frame["log"].isna().to_numpy()]
    for _, pull in frame.groupby(["engine", "phase", "date", "pull"], sort=False):
        middle = float(pull["torque"].median())
        for at in pull.index[(pull["torque"] - middle).abs() > _FAR * middle].tolist():
            sheet.tell(at, "torque-off-its-pull", "torque", f"{pull['torque'][at]:.4g} N m, the pull has {middle:.4g} "
                       "N m in its middle", "a torque like those beside it",
                       next_step="correct it, or leave it in")  # fmt: skip
