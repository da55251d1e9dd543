"""Checks that readings of several streams share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sitegen.program.model import Meter, ReferenceOrifice, Tester, Tool
from sitegen.tables.ids import counted
from sitegen.tables.reading import Sheet

if TYPE_CHECKING:
    import pandas as pd

Instrument = Tester | Meter | Tool | ReferenceOrifice


LAPSED, ABSENT = "past-calibration", "instrument-not-there"
_EXPECTED = {
    LAPSED: "a date between a calibration and its due date",
    ABSENT: "a day it was there, or another instrument",
}


def wrong_day(one: Instrument, day: str) -> tuple[str, str, str] | None:
    """Why an instrument cannot have read right on a day: code, what, what was expected; None where nothing says so.

    An instrument without calibrations on record is not judged by them.
    """
    code, what = ABSENT, f"on {day} {one.id} was not there: "
    if day < one.since:
        return code, f"{what}first there on {one.since}", _EXPECTED[code]
    if one.until and day > one.until:
        return code, f"{what}withdrawn after {one.until}", _EXPECTED[code]
    dated = () if isinstance(one, ReferenceOrifice) else one.calibrations
    if dated and not any(each.on <= day <= each.due for each in dated):
        return LAPSED, f"on {day} no calibration of {one.id} was in force", _EXPECTED[LAPSED]
    return None


def in_force(
    sheet: Sheet, name: str, instruments: Mapping[str, Instrument], codes: Sequence[str] = (ABSENT, LAPSED)
) -> None:
    """Set aside readings on a day that is wrong for the instrument that field `name` says; see `wrong_day`.

    A reading without a date is not judged.
    """
    frame = sheet.frame
    pairs = list(zip(frame[name].tolist(), frame["date"].tolist(), strict=True))
    wrong = {
        (instrument, day): wrong_day(one, day)
        for instrument, day in set(pairs)
        if isinstance(day, str) and (one := instruments.get(str(instrument))) is not None
    }
    for code in codes:
        told = [found if (found := wrong.get(pair)) is not None and found[0] == code else None for pair in pairs]
        what = [each[1] if each else "" for each in told]
        sheet.set_aside([each is not None for each in told], code, name, what.__getitem__, _EXPECTED[code])


def fitting(
    sheet: Sheet, name: str, tools: Mapping[str, Tool], kinds: Sequence[str],
    what: str = "the tool named cannot have read this",
) -> None:  # fmt: skip
    """Set aside readings whose tool, as field `name` says, is of none of these kinds."""
    known = [tool.id for tool in tools.values() if tool.kind in kinds]
    named = sheet.frame[name]
    expected = f"a tool of kind {' or '.join(kinds)}: {', '.join(known) or 'none is defined'}"
    sheet.set_aside(named.notna() & ~named.isin(known), "wrong-tool", name, what, expected)


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
