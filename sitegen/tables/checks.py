"""Checks that readings of several streams share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sitegen.program.model import Calibration
from sitegen.tables.ids import counted
from sitegen.tables.reading import Sheet

if TYPE_CHECKING:
    import pandas as pd


def in_force(sheet: Sheet, name: str, calibrations: Mapping[str, Sequence[Calibration]]) -> None:
    """Set aside readings dated outside every calibration of the instrument that field `name` says.

    An instrument without calibrations on record, and a reading without a date, are not judged.
    """
    frame = sheet.frame
    known: dict[tuple[object, object], bool] = {}

    def lapsed(instrument: object, date: object) -> bool:
        dated = calibrations.get(str(instrument), ())
        return bool(dated) and isinstance(date, str) and not any(each.on <= date <= each.due for each in dated)

    pairs = list(zip(frame[name].tolist(), frame["date"].tolist(), strict=True))
    for pair in set(pairs):
        known[pair] = lapsed(*pair)
    mask = np.array([known[pair] for pair in pairs], dtype=bool)

    def what(at: int) -> str:
        return f"on {frame['date'].iat[at]} no calibration of {frame[name].iat[at]} was in force"

    sheet.set_aside(mask, "past-calibration", name, what, "a date between a calibration and its due date")


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
