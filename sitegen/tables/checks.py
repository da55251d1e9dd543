"""Checks that readings of several streams share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sitegen.program.model import Meter, ReferenceOrifice, Tester, Tool
from sitegen.tables.ids import counted
from sitegen.tables.reading import Sheet

if TYPE_CHECKING:
    import pandas as pd

Instrument = Tester | Meter | Tool | ReferenceOrifice


def in_force(sheet: Sheet, name: str, instruments: Mapping[str, Instrument]) -> None:
    """Set aside readings dated outside every calibration of the instrument that field `name` says, or its own days.

    An instrument without calibrations on record, and a reading without a date, are not judged.
    """
    there(sheet, name, instruments)

    def lapsed(one: Instrument, day: str) -> bool:
        dated = () if isinstance(one, ReferenceOrifice) else one.calibrations
        return bool(dated) and not any(each.on <= day <= each.due for each in dated)

    def what(one: Instrument, day: str) -> str:
        return f"on {day} no calibration of {one.id} was in force"

    _judge(sheet, name, instruments, lapsed, "past-calibration", what, "a date between a calibration and its due date")


def there(sheet: Sheet, name: str, instruments: Mapping[str, Instrument]) -> None:
    """Set aside readings dated before the instrument was first there, or after it was withdrawn."""

    def absent(one: Instrument, day: str) -> bool:
        return day < one.since or (bool(one.until) and day > one.until)

    def what(one: Instrument, day: str) -> str:
        ends = f"first there on {one.since}" if day < one.since else f"withdrawn after {one.until}"
        return f"on {day} {one.id} was not there: {ends}"

    expected = "a day it was there, or another instrument"
    _judge(sheet, name, instruments, absent, "instrument-not-there", what, expected)


def _judge(
    sheet: Sheet,
    name: str,
    instruments: Mapping[str, Instrument],
    wrong: Callable[[Instrument, str], bool],
    code: str,
    what: Callable[[Instrument, str], str],
    expected: str,
) -> None:
    frame = sheet.frame
    pairs = list(zip(frame[name].tolist(), frame["date"].tolist(), strict=True))
    known = {
        (instrument, day): isinstance(day, str) and one is not None and wrong(one, day)
        for instrument, day in set(pairs) for one in (instruments.get(str(instrument)),)
    }  # fmt: skip
    mask = np.array([known[pair] for pair in pairs], dtype=bool)
    sheet.set_aside(mask, code, name, lambda at: what(instruments[str(pairs[at][0])], str(pairs[at][1])), expected)


def same_again(sheet: Sheet, state: pd.DataFrame, among: npt.ArrayLike, name: str, why: str) -> None:
    """Set aside each reading of `among` still in use whose row of `state` says the same as one before it.

    Empty says the same as empty. The reading set aside is the later one.
    """
    positions = np.flatnonzero(np.asarray(among, dtype=bool) & sheet.open)
    part = state.iloc[positions]
    twice = part.duplicated().to_numpy()
    if not twice.any():
        return
    group = part.groupby(list(part.columns), sort=False, dropna=False).ngroup().to_numpy()
    first = dict(zip(group[~twice].tolist(), positions[~twice].tolist(), strict=True))
    before = {at: first[number] for at, number in zip(positions[twice].tolist(), group[twice].tolist(), strict=True)}
    mask = np.zeros(len(state), dtype=bool)
    mask[positions[twice]] = True

    def what(at: int) -> str:
        file, row = sheet.place(before[at])
        place = f"{counted(file)} {row}"
        return f"{why} {place}" if file == sheet.place(at)[0] else f"{why} {place} of {file}"

    sheet.set_aside(mask, "repeat-unnumbered", name, what, "a repeat number of its own for each repeat")
