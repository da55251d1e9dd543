"""Readings that another unit, or another scale, would explain: asked about before they make a value.

A reading is never converted on a guess. What is asked is answered in the header of the column or in the program file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.methods import leakdown as method
from sitegen.program.model import Program
from sitegen.streams.leakdown.checks import reference_rows
from sitegen.streams.leakdown.fields import Reading
from sitegen.streams.leakdown.testers import airs_of, factor_of
from sitegen.tables.reading import Sheet
from sitegen.tables.rows import rows_of
from sitegen.units import unit
from sitegen.vocabulary import Refused

_PSI, _BAR, _KPA, _MPA = (unit(name).scale for name in ("psi", "bar", "kPa", "MPa"))
_Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class _Rereading:
    """A pressure [Pa] as it would be had its unit been another one."""

    told: str
    again: Callable[[_Array], _Array]


def _scaled(told: str, by: float) -> _Rereading:
    return _Rereading(told, lambda pressure: pressure * by)


_REREADINGS = (
    _scaled("the numbers were psi, not kPa", _PSI / _KPA),
    _scaled("the numbers were kPa, not psi", _KPA / _PSI),
    _scaled("the numbers were bar, not kPa", _BAR / _KPA),
    _scaled("the numbers were kPa, not bar", _KPA / _BAR),
    _scaled("the numbers were bar, not psi", _BAR / _PSI),
    _scaled("the numbers were psi, not bar", _PSI / _BAR),
    _scaled("the numbers were MPa, not bar", _MPA / _BAR),
    _scaled("the numbers were bar, not MPa", _BAR / _MPA),
    _Rereading("the numbers were absolute, not gauge", lambda pressure: pressure - method.STANDARD_AMBIENT),
    _Rereading("the numbers were gauge, not absolute", lambda pressure: pressure + method.STANDARD_AMBIENT),
)


def supplies(program: Program, sheet: Sheet) -> None:
    """Set aside readings whose supply lies off the program's, where it would lie on it in another unit."""
    rule = program.leakdown
    supply = sheet.frame["supply"].to_numpy(dtype=float)

    def on(pressure: _Array) -> npt.NDArray[np.bool_]:
        wanted = (rule.supply, *rule.other_supplies)
        return np.asarray(np.min([np.abs(pressure - each) for each in wanted], axis=0) <= rule.supply_band)

    why = np.full(len(supply), "", dtype=object)
    for each in _REREADINGS:
        why[~on(supply) & on(each.again(supply)) & (why == "")] = each.told

    def what(at: int) -> str:
        return (
            f"the supply is {supply[at] / 1e3:.4g} kPa gauge where the program says {rule.supply / 1e3:.4g}; it would "
            f"be right if {why[at]}"
        )

    sheet.set_aside(
        why != "", "unit-doubtful", "supply", what,
        "the unit the gauge shows; a second supply that is meant stands under `leakdown: other_supplies`",
    )  # fmt: skip


def gauges(program: Program, sheet: Sheet) -> None:
    """Tell where cylinder pressures are all so small a part of the supply that another unit is likelier."""
    del program
    frame = sheet.frame
    held = sheet.open & frame["cylinder"].notna().to_numpy() & frame["pressure"].notna().to_numpy()
    of_supply = (frame["pressure"] / frame["supply"]).to_numpy(dtype=float)
    files = frame["file"].tolist()
    by_file: dict[str, list[int]] = {}
    for at in np.flatnonzero(held).tolist():
        by_file.setdefault(files[at], []).append(at)
    for read in by_file.values():
        if len(read) < _ENOUGH:
            continue
        shares = of_supply[read]
        for told, by in (("psi, not kPa", _PSI / _KPA), ("bar, not psi", _BAR / _PSI), ("bar, not kPa", _BAR / _KPA)):
            if np.all(shares < _SMALL) and np.all((shares * by > _LIKELY) & (shares * by <= 1)):
                sheet.tell(
                    read[0], "unit-doubtful", "pressure",
                    f"all {len(read)} cylinder pressures of this file are at most {100 * np.max(shares):.2g} % of the "
                    f"supply, as if the numbers were {told}",
                    "the unit the cylinder gauge shows", next_step="correct the unit in the header, or leave it",
                )  # fmt: skip
                break


_ENOUGH = 4  # readings of a file; below it one broken ring could make all of them
_SMALL, _LIKELY = 0.3, 0.3  # shares of the supply: an engine that holds less in every cylinder does not run


def references(program: Program, sheet: Sheet) -> None:
    """Tell where a reference orifice shows that a tester's readings are not what they are taken for."""
    rows = reference_rows(row for at, row in enumerate(rows_of(sheet.frame, Reading)) if not sheet.use[at])
    for tester in dict.fromkeys(row.tester for row in rows):
        own = [row for row in rows if row.tester == tester]
        try:
            factor, bore, _ = factor_of(program, tester, own, airs_of(program, tester, own))
        except Refused:
            continue  # told where the scale stands
        if method.judged(factor, bore) != "tester or unit":
            continue
        at = next(at for at, reading in enumerate(sheet.frame["reading"]) if reading == own[0].reading)
        near = [each.told for each in _REREADINGS if _mends(program, tester, own, each)]
        if program.definitions.testers[tester].scale == "percent":
            near.append("the per cent were what is kept, not what is lost")
        sheet.tell(
            at, "tester-or-unit", "pressure",
            f"by the reference orifice the tester {tester} would pass {factor.factor:.2g} times the air of its bore, "
            f"which no tester does; nothing read with it is worked out",
            f"a scale between {method.POSSIBLE[0]:g} and {method.POSSIBLE[1]:g}",
            f"it would be, if of the cylinder column {near[0]}" if near else "",
            next_step="look at the units of both columns, the bore of the orifice, and the tester",
        )  # fmt: skip


def _mends(program: Program, tester: str, rows: list[Reading], how: _Rereading) -> bool:
    airs = airs_of(program, tester, rows)
    again = [replace(air, cylinder=float(how.again(np.array(air.cylinder)))) for air in airs]
    try:
        factor, _, _ = factor_of(program, tester, rows, again)
    except Refused:
        return False
    return method.PLAIN[0] <= factor.factor <= method.PLAIN[1]
