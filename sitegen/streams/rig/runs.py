"""Readings put together: the strokes of one specimen under one set of conditions and of one class, and what wore."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from sitegen.methods import rig as method
from sitegen.methods.rig import Floats
from sitegen.streams.rig.fields import BACK, CONDITIONS, FORWARD, Reading
from sitegen.tables.rows import given
from sitegen.vocabulary import Refused

DRY, UNCLASSED = "dry", "any"
_DIGITS = 2  # of a condition that only a column says
_ZERO_CELSIUS = 273.15


@dataclass(frozen=True)
class Run:
    """Strokes of one specimen."""

    specimen: str
    coating: str
    condition: str  # "80-N/10-Hz/110-C/8-mm/gas-40"
    stroke_class: str
    rows: Sequence[Reading]  # by time

    @property
    def of_coatings(self) -> str:
        """Place of what its coating has under these conditions."""
        return f"{self.condition}/{self.stroke_class}"

    @property
    def at(self) -> str:
        return f"{self.specimen}/{self.of_coatings}"

    @property
    def first(self) -> Reading:
        return self.rows[0]


def is_strokes(row: Reading) -> bool:
    """Whether a row holds forces itself."""
    return any(given(each) for each in (row.forward, row.back, row.force, row.magnitude))


def condition_of(rows: Sequence[Reading]) -> str:
    """Conditions as a place; what varies from row to row, as a column of loads does, to two digits."""
    load, frequency, temperature, stroke = (
        _nominal([getattr(row, name) for row in rows]) for name in ("load", "frequency", "temperature", "stroke")
    )
    oil = DRY if rows[0].dry == "yes" else str(rows[0].oil)
    return f"{load:.4g}-N/{frequency:.4g}-Hz/{temperature - _ZERO_CELSIUS:.0f}-C/{1e3 * stroke:.4g}-mm/{oil}"


def _nominal(values: Sequence[float]) -> float:
    middle = median(values)
    if min(values) == max(values):
        return middle
    return float(f"{middle:.{_DIGITS}g}")


def runs(rows: Iterable[Reading]) -> list[Run]:
    """Every run, in the order of the records."""
    sections: dict[Hashable, list[Reading]] = {}
    for row in rows:
        if row.use == "" and is_strokes(row):
            parent = row.reading.rpartition("/")[0]
            exact = (row.row,) if parent else tuple(getattr(row, name) for name in CONDITIONS)
            where = str(row.stroke_class) if given(row.stroke_class) else UNCLASSED
            key = (row.specimen, row.coating, where, parent, row.oil if given(row.oil) else DRY, *exact)
            sections.setdefault(key, []).append(row)
    found: dict[tuple[str, str, str, str], list[Reading]] = {}
    for own in sections.values():
        where = str(own[0].stroke_class) if given(own[0].stroke_class) else UNCLASSED
        found.setdefault((own[0].specimen, own[0].coating, condition_of(own), where), []).extend(own)
    return [
        Run(specimen, coating, condition, where, sorted(own, key=time_of))
        for (specimen, coating, condition, where), own in found.items()
    ]


def time_of(row: Reading) -> float:
    """Time of a row [s], by its strokes where it says none."""
    return row.time if given(row.time) else row.count / (2 * row.frequency)


def coefficients(run: Run) -> tuple[Floats, Floats]:
    """Times [s] since the first and coefficients [-] of a run.

    Refuses: `rig-one-way`, `offset-not-known`, `offset-above-friction`.
    """
    loads = np.array([row.load for row in run.rows])
    times = np.array([time_of(row) for row in run.rows])
    both = np.array([given(row.forward) and given(row.back) for row in run.rows])
    if both.any():
        own = [row for row, kept in zip(run.rows, both, strict=True) if kept]
        forward, back = (np.array([getattr(row, name) for row in own]) for name in (FORWARD, BACK))
        return _since(times[both]), method.coefficient(forward, back, loads[both])
    if all(given(row.force) for row in run.rows):
        return _paired(run.rows)
    magnitudes = np.array([row.magnitude for row in run.rows])
    if not np.isfinite(magnitudes).all():
        raise Refused("rig-one-way")
    zeros = {row.zero for row in run.rows if given(row.zero)}
    offset = max(zeros, key=abs) if zeros else None
    return _since(times), method.from_magnitude(magnitudes, loads, offset)


def _paired(rows: Sequence[Reading]) -> tuple[Floats, Floats]:
    """Each stroke forward with the next one back."""
    pairs: list[tuple[Reading, Reading]] = []
    waiting: Reading | None = None
    for row in rows:
        if row.way == FORWARD:
            waiting = row
        elif row.way == BACK and waiting is not None:
            pairs.append((waiting, row))
            waiting = None
    if not pairs:
        raise Refused("rig-one-way")
    forward, back, loads = (
        np.array(each) for each in zip(*((a.force, b.force, a.load) for a, b in pairs), strict=True)
    )
    return _since(np.array([time_of(row) for row, _ in pairs])), method.coefficient(forward, back, loads)


def _since(times: Floats) -> Floats:
    return np.asarray(times - times[0], dtype=float)


def raw(run: Run) -> float:
    """Mean magnitude over load [-] of what was read."""
    found = []
    for row in run.rows:
        each = [abs(value) for value in (row.forward, row.back, row.force, row.magnitude) if given(value)]
        found.append(math.fsum(each) / len(each) / row.load)
    return math.fsum(found) / len(found)


def specific_wear(row: Reading) -> float:
    """Specific wear [m3/(N m)] of the specimen of a row.

    Refuses: `rig-no-sliding`, `rig-no-density`, `rig-wear-steps` where its conditions changed, `rig-wear-none` where
    nothing is seen to have worn.
    """
    if not all(given(getattr(row, name)) for name in ("load", "stroke", "frequency")):
        raise Refused("rig-wear-steps")
    if not given(row.sliding):
        raise Refused("rig-no-sliding")
    if given(row.scar_volume):
        volume = row.scar_volume
    elif given(row.density):
        volume = row.mass_loss / row.density
    else:
        raise Refused("rig-no-density")
    if volume <= 0:
        raise Refused("rig-wear-none")
    return method.wear_rate(volume, row.load, 2 * row.stroke * row.frequency * row.sliding)
