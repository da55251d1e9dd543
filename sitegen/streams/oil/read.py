"""Oil records to readings: samples and what was done to the oil, from tables of either form."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from sitegen.methods import elements
from sitegen.problems import listed, nearest, shown
from sitegen.program.model import Program, RecordSource
from sitegen.reader.headers import parted
from sitegen.streams.oil.custody import OUT_OF_ORDER, WAS, custody_of
from sitegen.streams.oil.fields import CONDITION, CUSTODY, DRAIN, FIELDS, FILL, FILTER, SAMPLE, TOP_UP, Reading
from sitegen.streams.oil.samples import RANK, mass_of
from sitegen.tables.checks import same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import Problem, Readings

if TYPE_CHECKING:
    import pandas as pd

MARKED = ("concentration", "fuel", *elements.ALL)  # fields that may stand as a bound
# A laboratory's blank correction may take a report a little below zero: by no more than this [-], from memory.
BLANK = 2e-6
THOUSANDFOLD = 300.0  # times its neighbours: per cent entered for mg/kg is 10 000, g/kg 1 000
_SYMBOL = re.compile("[A-Z][a-z]?")


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all oil records; see `tables.reading.read_stream`."""
    checks = (_what, _told, _backwards, _elements, _amounts, _negative, _samples, _custody, _filled, _drained, _methods,
              _thousandfold)  # fmt: skip
    found = read_stream(program, sources, FIELDS, checks)
    strange = list(_strange(found))
    return replace(found, problems=tuple(sorted({*found.problems, *strange}))) if strange else found


def _strange(found: Readings) -> Iterator[Problem]:
    """A column that is headed like an element we do not know is not passed over in silence."""
    for file, facts in found.files.items():
        for header, field in facts["columns"].items():
            name, _ = parted(header)
            if field == "" and _SYMBOL.fullmatch(name):
                yield Problem(
                    file,
                    0,
                    0,
                    "unknown-element",
                    f'the column "{shown(header)}" is headed like an element, but is none an oil report is read for',
                    listed(elements.ALL),
                    nearest(name, elements.ALL),
                    "correct the header, or leave the column out",
                    header,
                    "warning",
                )


def _what(program: Program, sheet: Sheet) -> None:
    """What belongs to a sample is not entered for anything else, and the other way round."""
    del program
    frame = sheet.frame
    sample = frame["what"] == SAMPLE
    filtered = (frame["what"] == FILTER) & frame["metal"].notna()
    own = ("sample", "element", "concentration", "draw_point", "since_shutdown")
    for name in (*own, *elements.ALL, *CONDITION, *CUSTODY[:-1]):
        filled = frame[name].notna() & ~(filtered & (name == "element"))
        what = f'"{name}" is entered for what is no sample'
        sheet.set_aside(~sample & filled, "oil-not-of-sample", name, what, "an empty cell, or a sample")
    what = "metal is entered for what is no filter, or without its element"
    stray = frame["metal"].notna() & ~(filtered & frame["element"].notna())
    sheet.set_aside(stray, "metal-not-of-filter", "metal", what, "a filter, and the element")
    _named(sheet, sample)
    what = "a sample without an id, and without a date or hours that would make one"
    expected = "an id of the sample, or its date or running hours"
    sheet.set_aside(sample & frame["sample"].isna(), "sample-unnamed", "sample", what, expected)
    late = (frame["what"] == TOP_UP) & frame["hours"].isna() & frame["on_fill"].isna()
    what = "a top-up does not say at how many hours it was made"
    sheet.set_aside(late, "oil-hours-missing", "hours", what, "hours since the cold build, or on the fill")


def _backwards(program: Program, sheet: Sheet) -> None:
    """Running hours never fall from a phase to a later one."""
    frame, order = sheet.frame, {phase.id: phase.order for phase in program.phases}
    places = [
        at for at in np.flatnonzero(frame["hours"].notna() & sheet.open).tolist() if frame["phase"].iloc[at] in order
    ]
    most: dict[object, float] = {}  # hours of the phases before, by engine
    before: dict[int, float] = {}  # place -> hours it falls below
    own: dict[object, tuple[int, float]] = {}
    for at in sorted(places, key=lambda at: order[frame["phase"].iloc[at]]):
        engine, phase, hours = (frame[name].iloc[at] for name in ("engine", "phase", "hours"))
        if own.get(engine, (order[phase], 0.0))[0] != order[phase]:
            most[engine] = max(most.get(engine, 0.0), own[engine][1])
            own.pop(engine)
        if hours < most.get(engine, 0.0):
            before[at] = most[engine]
        else:
            own[engine] = order[phase], max(hours, own.get(engine, (0, 0.0))[1])
    mask = np.array([at in before for at in range(len(frame))], dtype=bool)

    def what(at: int) -> str:
        return f"{frame['hours'].iloc[at] / 3600:g} h come before the {before[at] / 3600:g} h of an earlier phase"

    sheet.set_aside(mask, "oil-hours-backwards", "hours", what, "running hours since the cold build, which never fall")


def _named(sheet: Sheet, sample: pd.Series[bool]) -> None:
    """A sample without an id gets one of its build, its day and its hours, which all rows of it share."""
    frame = sheet.frame
    for at in np.flatnonzero(sample & frame["sample"].isna()).tolist():
        day, hours, on_fill = (frame[name].iloc[at] for name in ("date", "hours", "on_fill"))
        when = [str(day)] if given(day) else []
        when += [f"{float(each) / 3600:g}h" for each in (hours, on_fill) if given(each)][:1]
        if when:
            frame.loc[frame.index[at], "sample"] = "-".join([str(frame["engine"].iloc[at]), *when])


def _told(program: Program, sheet: Sheet) -> None:
    """A sample of which nothing is told was not drawn: neither a figure, nor a mark, nor how it was drawn."""
    del program
    frame = sheet.frame
    marks = [frame[f"{name}_mark"] != "" for name in MARKED]
    told = [*CUSTODY[:-2], "concentration", *elements.ALL, *CONDITION, "particles", "mass", "volume", "since_shutdown"]
    nothing = ~(frame[told].notna().any(axis=1) | np.logical_or.reduce(marks))
    what = "nothing is told of the sample"
    sheet.set_aside((frame["what"] == SAMPLE) & nothing, "no-figure", "", what, "what was found, or its mass")


def _elements(program: Program, sheet: Sheet) -> None:
    """A row for each element names the element and its concentration."""
    del program
    frame = sheet.frame
    said = frame["concentration"].notna() | (frame["concentration_mark"] != "")
    named = frame["element"].notna()
    expected = "an element with its concentration, <1, ND or -"
    what = "a concentration without its element"
    sheet.set_aside(said & ~named, "element-missing", "element", what, expected)
    held = frame[list(elements.ALL)].notna().any(axis=1)
    sheet.set_aside(
        named & held, "element-missing", "element", "elements stand in columns of their own as well", "one of the two"
    )


def _amounts(program: Program, sheet: Sheet) -> None:
    """An amount is a mass, or a volume whose density is known; what was done to the oil has one."""
    frame = sheet.frame
    both = frame["mass"].notna() & frame["volume"].notna()
    sheet.set_aside(both, "oil-amount-twice", "volume", "mass and volume are both entered", "one of the two")
    known = {
        build.id
        for build in program.builds
        if build.oil in program.definitions.oils and program.definitions.oils[build.oil].density
    }
    loose = frame["volume"].notna() & frame["density"].isna() & ~frame["engine"].isin(sorted(known))
    what = "a volume whose density is neither entered nor given for the oil of the build"
    sheet.set_aside(loose, "oil-density-missing", "volume", what, "a mass, or the density as well")
    done = frame["what"].isin([FILL, TOP_UP, DRAIN, FILTER])
    none = done & frame["mass"].isna() & frame["volume"].isna() & frame["metal"].isna()
    what = "nothing says how much oil it was"
    sheet.set_aside(none, "oil-amount-missing", "mass", what, "a mass, or a volume")


def _negative(program: Program, sheet: Sheet) -> None:
    """A concentration below zero by more than a blank correction makes it."""
    for name in ("concentration", *elements.ALL):
        limits = _blank(program, sheet, name)
        values = sheet.frame[name].to_numpy()
        with np.errstate(invalid="ignore"):
            low = values < -limits
        what = "a concentration further below zero than a blank correction takes it"
        sheet.set_aside(low, "negative-concentration", name, what, "zero or more; < and the limit; ND; or -")


def _blank(program: Program, sheet: Sheet, name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How far below zero a report may lie: the limit of detection where it is known."""
    laboratories = program.definitions.laboratories
    symbols = sheet.frame["element"] if name == "concentration" else [name] * len(sheet.frame)
    pairs = zip(sheet.frame["laboratory"], symbols, strict=True)
    limits = [
        laboratories[lab].detection.get(symbol, BLANK) if isinstance(lab, str) and lab in laboratories else BLANK
        for lab, symbol in pairs
    ]
    return np.array(limits, dtype=np.float64)


def _samples(program: Program, sheet: Sheet) -> None:
    """Two samples with one id: rows that say one id and another build, phase or hour, or the same element again.

    The engine's row and the laboratory's may each say what the other does not.
    """
    del program
    frame = sheet.frame
    first: dict[object, list[object]] = {}
    mask = np.zeros(len(frame), dtype=bool)
    place = ("engine", "phase", "hours", "on_fill", "laboratory", "date")
    for at, (name, *where) in enumerate(zip(frame["sample"], *(frame[each] for each in place), strict=True)):
        if sheet.use[at] or not isinstance(name, str):
            continue
        own = [each if given(each) else None for each in where]
        known = first.setdefault(name, own)
        mask[at] = any(a is not None and b is not None and a != b for a, b in zip(known, own, strict=True))
        if not mask[at]:
            first[name] = [a if a is not None else b for a, b in zip(known, own, strict=True)]
    what = "another sample bears the same id"
    sheet.set_aside(mask, "sample-twice", "sample", what, "an id of its own for each sample")
    again = frame[["sample", "element"]]
    found = frame[["concentration", *elements.ALL, *CONDITION]].notna().any(axis=1)
    found |= np.logical_or.reduce([frame[f"{name}_mark"] != "" for name in MARKED])
    for rows in (found, ~found):  # once as it was drawn, and once as it was analysed
        same_again(sheet, again, (frame["what"] == SAMPLE) & rows, "sample", "the same sample is entered before, in")


def _custody(program: Program, sheet: Sheet) -> None:
    """Days of a sample that contradict each other are told, each where it stands; the sample is used all the same."""
    del program
    own: dict[object, list[tuple[int, Reading]]] = {}
    for at, row in enumerate(rows_of(sheet.frame, Reading)):
        if not sheet.use[at] and row.what == SAMPLE and given(row.sample):
            own.setdefault(row.sample, []).append((at, row))
    for name, rows in own.items():
        found = custody_of(row for _, row in rows)
        for late, early in found.disorder():
            at = next(at for at, row in rows if given(getattr(row, late)))
            ends = [f"{WAS[each]} {'on ' * (each != 'retained_until')}{getattr(found, each)}" for each in (late, early)]
            what = f"sample {name} was {ends[0]}, before it was {ends[1]}"
            expected = f"a day from {getattr(found, early)} on"
            step = "correct the day that is wrong; the sample is used as it stands"
            sheet.tell(at, OUT_OF_ORDER, late, what, expected, next_step=step)


def _filled(program: Program, sheet: Sheet) -> None:
    """Whatever is done with oil needs oil in the engine: a fill in its phase or one before.

    What a sample holds is worth knowing without it; only metal made and oil consumed rest on the fill.
    """
    order = {phase.id: phase.order for phase in program.phases}
    frame = sheet.frame
    fills: dict[object, int] = {}
    for at, (engine, phase, what) in enumerate(zip(frame["engine"], frame["phase"], frame["what"], strict=True)):
        if not sheet.use[at] and what == FILL:
            fills[engine] = min(fills.get(engine, order[phase]), order[phase])
    rows = zip(frame["engine"], frame["phase"], frame["what"], strict=True)
    mask = [
        what != FILL and phase in order and order[phase] < fills.get(engine, len(order) + 1)
        for engine, phase, what in rows
    ]
    none = np.array(mask, dtype=bool)
    sample = (frame["what"] == SAMPLE).to_numpy()
    what = "the engine was not filled before: no fill is on record"
    sheet.set_aside(none & ~sample, "no-fill", "what", what, "a row of the fill, with its mass")
    bare = np.flatnonzero(none & sample & sheet.open).tolist()
    if bare:
        engines = listed(dict.fromkeys(str(frame["engine"].iloc[at]) for at in bare))
        what = f"no fill of {engines} with oil is on record before: concentrations are used, a balance is not made"
        sheet.tell(
            bare[0], "oil-not-filled", "what", what, "a row of the fill, with its mass, for metal and consumption",
            next_step="record the fill, or do without a balance",
        )  # fmt: skip


def _drained(program: Program, sheet: Sheet) -> None:
    """More oil than was in the engine since its fill cannot have left it."""
    order = {phase.id: phase.order for phase in program.phases}
    frame = sheet.frame
    charge: dict[object, float] = {}  # the largest fill so far: what a drain leaves is a share of it
    held, out, once = dict[object, float](), dict[object, float](), set[object]()
    fuel = dict[object, float]()  # share of what is in the engine that is fuel, by whatever method it was found
    too_much: dict[int, tuple[float, float]] = {}
    rows = [(at, row) for at, row in enumerate(rows_of(frame, Reading)) if not sheet.use[at] and row.phase in order]
    for at, row in sorted(rows, key=lambda pair: _when(pair[1], order)):
        build = next((each for each in program.builds if each.id == row.engine), None)
        oil = program.definitions.oils.get(build.oil) if build is not None else None
        mass = mass_of(row, oil.density if oil is not None else None)
        if row.what == FILL:
            held[row.engine] = mass + (program.oil.left_after_drain or 0.0) * charge.get(row.engine, 0.0)
            out[row.engine], charge[row.engine] = 0.0, max(mass, charge.get(row.engine, 0.0))
            fuel[row.engine] = 0.0
        elif row.what == TOP_UP and row.engine in held:
            held[row.engine] += mass
        if row.what in {FILL, TOP_UP} or row.engine not in held:
            continue  # no fill, no balance
        if row.what == SAMPLE and given(row.fuel):
            fuel[row.engine] = float(row.fuel) / 100
        mass *= 1.0 - fuel.get(row.engine, 0.0)
        if row.what != SAMPLE or row.sample not in once:
            once |= {row.sample} if row.what == SAMPLE else set()
            before = held.get(row.engine, 0.0) - out.get(row.engine, 0.0)
            if out.get(row.engine, 0.0) + mass > held.get(row.engine, 0.0) * (1 + 3 * program.oil.mass_error) + 1e-9:
                too_much[at] = (mass, before)
            else:
                out[row.engine] = out.get(row.engine, 0.0) + mass
    mask = np.array([at in too_much for at in range(len(frame))], dtype=bool)

    def what(at: int) -> str:
        mass, before = too_much[at]
        return f"{mass:.4g} kg left the engine, and no more than {before:.4g} kg were in it"

    expected = "at most what was filled and topped up, less what was drawn and drained before"
    sheet.set_aside(mask, "drained-too-much", "mass", what, expected)


def _when(row: Reading, order: Mapping[str, int]) -> tuple[int, int, float, int]:
    """Order of what was done: by phase, a fill at its beginning, and all else without hours at its end."""
    for hours in (row.hours, row.on_fill):
        if given(hours):
            return order[row.phase], 1, float(hours), RANK[row.what]
    return order[row.phase], 0 if row.what == FILL else 2, 0.0, RANK[row.what]


def _methods(program: Program, sheet: Sheet) -> None:
    """One series of a build, one method: the two see particles of different size."""
    laboratories = program.definitions.laboratories
    frame = sheet.frame
    first: dict[object, str] = {}
    mask = np.zeros(len(frame), dtype=bool)
    for at, (engine, lab, what) in enumerate(zip(frame["engine"], frame["laboratory"], frame["what"], strict=True)):
        if what == SAMPLE and not sheet.use[at] and isinstance(lab, str) and lab in laboratories:
            method = laboratories[lab].method
            mask[at] = first.setdefault(engine, method) != method
    what = "measured by another method than the samples of this build before: the two are never one series"
    sheet.set_aside(mask, "other-method", "laboratory", what, "a laboratory with the same method")


def _thousandfold(program: Program, sheet: Sheet) -> None:
    """A value far off all others of its element is told, and kept: per cent, or another unit, for mg/kg?"""
    del program
    frame = sheet.frame
    for name in ("concentration", *elements.ALL):
        symbols = frame["element"] if name == "concentration" else [name] * len(frame)
        numbers = frame[name].to_numpy()
        groups: dict[object, list[int]] = {}
        for at, (symbol, value) in enumerate(zip(symbols, frame[name], strict=True)):
            if given(value) and value > 0 and not sheet.use[at]:
                groups.setdefault(symbol, []).append(at)
        for symbol, places in groups.items():
            values = {at: float(numbers[at]) for at in places}
            for at, value in values.items():
                others = [other for place, other in values.items() if place != at]
                if len(others) < 3 or value <= THOUSANDFOLD * median(others):
                    continue
                what = (
                    f"{symbol} is {value / median(others):.3g} times what the other samples hold: per cent for mg/kg?"
                )
                sheet.tell(at, "thousandfold", name, what, "mg/kg as in the others; it is used as it stands")
