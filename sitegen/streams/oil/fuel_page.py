"""Fuel in the oil, on the page of a build: what was found, what it does to the consumption, what viscosity hints."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from sitegen.methods.oil_ledger import Z
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.streams.oil.lost import FUEL_IN, HINT
from sitegen.streams.oil.measures import CONSUMPTION, FUEL_HINT, READ
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Value

FUEL = READ["fuel"]


class _InSample:
    """A row of the series of fuel; shares and errors in %, masses in kg."""

    fill: int
    phase: str
    share: float
    error: float
    mass: float  # of fuel, in the engine before the sample was drawn
    after: float


def fuel(view: View) -> list[Block]:
    """A row a sample that tells or hints of fuel; nothing where none does."""
    build = view.the_build
    rows = []
    for phase in view.phases:
        found = {v.key.at: v for v in view.values(FUEL.id, engine=build, phase=phase.id)}
        hints = {v.key.at: v for v in view.values(FUEL_HINT.id, engine=build, phase=phase.id)}
        for at in sorted({*found, *hints}, key=lambda each: each or "~"):
            value = found.get(at)
            other = value is not None and "fuel-hint" in value.flags
            rows.append(
                Row((Cell(phase.title, note=at.replace("-", " ")),
                     view.cell(value, "no chromatography" if other else ""), Cell(_about(hints.get(at)))))
            )  # fmt: skip
    if not rows:
        return []
    columns = (Column("Sample"), Column("Fuel", "%", numeric=True, measure=FUEL.id),
               Column("Hint of the viscosity", "%", numeric=True, measure=FUEL_HINT.id))  # fmt: skip
    note = "Only fuel found by chromatography is taken off the oil lost. A hint holds if nothing else thinned the oil."
    text = " ".join([*_most(view), *_boiled(view), *_unknown(view)])
    return [Table(f"oil-fuel-{build.id}", columns, rows, text, caption="Fuel in the oil", note=note)]


def _about(hint: Value | None) -> str:
    """A hint with no more digits than it is worth."""
    return words.DASH if hint is None or hint.value is None else f"about {words.number(hint.value, 1)}"


def _most(view: View) -> Iterator[str]:
    """The most fuel that was found, and the most that the viscosity hints of."""
    every = view.values(FUEL.id, engine=view.the_build)
    found = [v for v in every if v.value is not None and "fuel-hint" not in v.flags]
    if found:
        most = max(found, key=lambda v: v.value or 0.0)
        if (most.value or 0.0) > 0:
            yield f"The oil held up to {view.text(most, unit=True)} of fuel ({_title(view, most)})."
        else:
            yield "No fuel was found in the oil."
    hints = [v for v in view.values(FUEL_HINT.id, engine=view.the_build) if (v.value or 0.0) >= HINT]
    if hints:
        most = max(hints, key=lambda v: v.value or 0.0)
        about = words.with_unit(_about(most), "%")
        yield f"Its viscosity hints of {about} ({_title(view, most)}), if nothing else thinned it."


def _title(view: View, value: Value) -> str:
    return str(view.program.phase(value.key.phase).title)


def _boiled(view: View) -> Iterator[str]:
    """Fuel that went between two samples of a fill: by weight alone it would pass for oil."""
    for each in view.series(FUEL_IN):
        for old, new in pairwise(rows_of(each.frame, _InSample)):
            gone, scatter = 1e3 * (old.after - new.mass), math.hypot(old.error, new.error)
            share, next_share, phase, next_phase = old.share, new.share, old.phase, new.phase
            seen = HINT if math.isnan(scatter) else Z * scatter
            if old.fill != new.fill or share - next_share <= seen or gone <= 0:
                continue
            ends = words.with_unit(f"{words.number(share, 1)} to {words.number(next_share, 1)}", "%")
            between = f"Between {view.program.phase(str(phase)).title} and {view.program.phase(str(next_phase)).title}"
            if not math.isnan(gone):  # it is where the fuel is not known of the whole fill
                boiled = words.with_unit(words.number(gone, 0), "g")
                yield (
                    f"{between} fuel fell from {ends}: at least {boiled} boiled off, which is not counted as oil lost. "
                    "By weight alone it would be."
                )
            else:
                yield f"{between} fuel fell from {ends}: what of it boiled off passes for oil in the masses."


def _unknown(view: View) -> Iterator[str]:
    """Fills whose fuel is not known of every sample."""
    phases = [_title(view, v) for v in view.values(CONSUMPTION.id, engine=view.the_build) if "fuel-unknown" in v.flags]
    if phases:
        yield (
            f"On the fill drained after {words.listed(phases)} chromatography did not tell the fuel of every sample: "
            "it is taken for oil there, and the engine seems to use too little."
        )


def apparent_note(view: View, value: Value, by_weight: Value | None) -> str:
    """What stands below a consumption: the same with fuel taken for oil, or why it has no interval."""
    notes: list[str] = []
    if by_weight is not None and by_weight.value is not None:
        notes.append(f"{view.text(by_weight)} with fuel taken for oil")
    if "fuel-unknown" in value.flags:
        notes.append("fuel taken for oil")
    if "fuel-error-unknown" in value.flags:
        notes.append("no interval: how well fuel is found is not stated")
    return ", ".join(notes)


def told(value: Value | None) -> bool:
    """True where a consumption is told from none, or is known without an interval."""
    if value is None:
        return False
    if "fuel-error-unknown" in value.flags:
        return (value.value or 0.0) > 0
    return value.low is not None and value.low > 0
