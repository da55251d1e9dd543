"""Leak-down records to readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from sitegen.problems import counted
from sitegen.program.model import Program, RecordSource
from sitegen.reasons import APART
from sitegen.streams.leakdown.checks import temperature_states
from sitegen.streams.leakdown.doubts import gauges, references, supplies
from sitegen.streams.leakdown.fields import FIELDS, PATHS, Reading
from sitegen.streams.leakdown.protocol import ASKED, not_recorded, outside, unlike
from sitegen.tables.checks import in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import Readings

_ROUNDING = 1e-6  # %: what binary fractions leave of a sum of shares
_ROUNDED_PERCENT = 0.5  # per cent: a percent read off a gauge, or worked out, is rounded to whole ones


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all leak-down tables; see `tables.reading.read_stream`."""
    return read_stream(
        program,
        sources,
        FIELDS,
        (
            _subject,
            _figure,
            supplies,
            _agreed,
            _scaled,
            _shares,
            _calibrated,
            _repeats,
            gauges,
            references,
            _copied,
            _protocol,
        ),
    )


def _subject(program: Program, sheet: Sheet) -> None:
    """A reading is of one cylinder, whose crank position is known, or of a reference orifice."""
    del program
    cylinder, reference = sheet.frame["cylinder"].notna(), sheet.frame["reference"].notna()
    sheet.set_aside(
        cylinder & reference,
        "subject-twice",
        "reference",
        "a cylinder and a reference orifice are entered",
        "one of the two",
    )
    sheet.set_aside(
        ~cylinder & ~reference,
        "subject-missing",
        "cylinder",
        "nothing says which cylinder was read",
        "the number of the cylinder, or the reference orifice read instead",
    )
    sheet.set_aside(
        cylinder & sheet.frame["crank"].isna(),
        "crank-missing",
        "crank",
        "nothing says where the piston stood",
        "tdc, before-tdc, after-tdc or bdc",
    )


def _figure(program: Program, sheet: Sheet) -> None:
    """Something was read, and it can be what a leaking cylinder gives."""
    frame = sheet.frame
    pressure, supply = frame["pressure"], frame["supply"]
    sheet.set_aside(
        pressure.isna() & frame["percent"].isna(),
        "no-figure",
        "pressure",
        "neither pressure nor percent is entered",
        "what the cylinder gauge showed",
    )
    sheet.set_aside(
        pressure == 0,
        "zero-pressure",
        "pressure",
        "the cylinder gauge is entered as zero: a gauge not read, or an open valve",
        "a pressure above zero; an empty field where nothing was read",
    )
    classes = {name: tester.gauge_class for name, tester in program.definitions.testers.items()}
    excess = (pressure - supply).to_numpy(dtype=float)
    margin = frame["tester"].map(classes).to_numpy(dtype=float)

    def above(at: int) -> str:
        over, allowed = excess[at] / 1e3, margin[at] / 1e3
        return f"the cylinder gauge is {over:.3g} kPa above the supply, more than the gauge class of {allowed:.3g} kPa"

    sheet.set_aside(excess > margin, "above-supply", "pressure", above, "a cylinder pressure at or below the supply")


def _agreed(program: Program, sheet: Sheet) -> None:
    """A percent stated beside both pressures is what they give, within what the gauges can err and half a percent.

    A percent scale nobody states to be linear in pressure is not judged.
    """
    frame = sheet.frame
    testers = program.definitions.testers
    linear = {name: each.scale == "pressure" or each.percent_linear is True for name, each in testers.items()}
    classes = frame["tester"].map({name: each.gauge_class for name, each in testers.items()})
    given = 100 * (frame["supply"] - frame["pressure"]) / frame["supply"]
    allowed = _ROUNDED_PERCENT + 2 * 100 * classes / frame["supply"]
    judged = frame["tester"].map(linear).eq(True)

    def what(at: int) -> str:
        return f"{frame['percent'].iat[at]:.4g} % is stated, but the pressures give {given.iat[at]:.3g} %"

    off = (frame["percent"] - given).abs() > allowed
    sheet.set_aside(judged & off, "figures-contradict", "percent", what, "a percent that fits the gauges, or none")


def _scaled(program: Program, sheet: Sheet) -> None:
    """Per cent alone is worth something only where the tester says what its scale means; told once a tester and file.

    A scale stated not to be linear in pressure is accepted: it gives per cent, and no leak area.
    """
    frame = sheet.frame
    alone = frame["percent"].notna().to_numpy() & frame["pressure"].isna().to_numpy() & sheet.open
    stated = {name for name, each in program.definitions.testers.items() if each.percent_linear is not None}
    told: set[tuple[str, str]] = set()
    for at in np.flatnonzero(alone).tolist():
        tester = str(frame["tester"].iat[at])
        if tester in stated or (sheet.place(at)[0], tester) in told:
            continue
        told.add((sheet.place(at)[0], tester))
        sheet.tell(
            at,
            "percent-scale-missing",
            "percent",
            f"the tester {tester} shows per cent alone here, and nothing says what its scale means",
            "of the tester in definitions.yaml `scale: percent`, and `percent_linear: true` where its marks stand "
            "evenly from 0 % (no leak: cylinder at the supply pressure) to 100 % (no pressure left), else "
            "`percent_linear: false`, which gives no leak area",
            next_step="look at the scale, or ask its maker, and write both keys to the tester",
            level="error",
        )


def _shares(program: Program, sheet: Sheet) -> None:
    """The air cannot go further than all of it."""
    del program
    total = sheet.frame[[f"to_{path}" for path in PATHS]].sum(axis=1)

    def what(at: int) -> str:
        return f"the shares add up to {total.iat[at]:.4g} %"

    sheet.set_aside(total > 100 + _ROUNDING, "shares-above-100", "to_crankcase", what, "at most 100 %")


def _calibrated(program: Program, sheet: Sheet) -> None:
    in_force(sheet, "tester", program.definitions.testers)
    in_force(sheet, "reference", program.definitions.reference_orifices)


def _repeats(program: Program, sheet: Sheet) -> None:
    """Readings of one state need repeat numbers; reading the gauge once more is no repeat.

    Supply pressures count as the same within the program's band; reference orifices are read anew each day.
    """
    frame, rule = sheet.frame, program.leakdown
    off = frame["supply"] - rule.supply
    step = 2 * max(rule.supply_band, 1.0)
    supply = np.where(off.abs() <= rule.supply_band, 0.0, np.round(off / step))
    state = frame[["engine", "phase", "tester", "repeat"]].assign(supply=supply)
    of_cylinder = frame[["cylinder", "condition", "crank", "crank_angle"]].assign(oil=frame["oil"].fillna("dry"))
    of_orifice = frame[["reference", "date"]]
    cylinder = frame["reference"].isna()
    again = ", without another repeat number, in"
    same = f"the same cylinder was read in the same state{again}"
    same_again(sheet, state.join(of_cylinder), cylinder, "repeat", same)
    same = f"the same reference orifice was read{again}"
    same_again(sheet, state.join(of_orifice), ~cylinder, "repeat", same)


_LEAVE = "correct the record, or leave it apart"


def _protocol(program: Program, sheet: Sheet) -> None:
    """Readings outside the protocol are told one by one: they stay in use, in another condition.

    What the protocol asks for and was not recorded is told once a file and field, and changes nothing.
    """
    rule, open_ = program.leakdown, sheet.open
    places = [
        (at, row)
        for at, row in enumerate(rows_of(sheet.frame, Reading))
        if open_[at] and given(row.cylinder) and not given(row.reference)
    ]
    states = temperature_states(program, [row for _, row in places])
    missing: dict[tuple[str, str], list[int]] = {}
    for at, row in places:
        state = states[row.engine, row.phase]
        for each in outside(rule, state, row):
            what = f"{each.what}: kept apart from the curve, in another condition"
            sheet.tell(at, APART, each.field, what, each.expected, next_step=_LEAVE)
        for name in not_recorded(rule, state, row):
            missing.setdefault((row.file, name), []).append(at)
    for (_, name), found in missing.items():
        phases = dict.fromkeys(str(sheet.frame["phase"].iat[at]) for at in found)
        what = (
            f"the program asks {ASKED[name]}, which {counted(len(found), 'reading')} of this file from here "
            f"on ({', '.join(phases)}) {'does' if len(found) == 1 else 'do'} not say; they stay in their curve"
        )
        sheet.tell(found[0], "protocol-not-recorded", name, what, next_step="enter it where it is known")
    for at, name, clause in _unlike(program, places):
        what = f"{clause}, unlike at other readings of this build; nothing tells them apart"
        expected = f"`{name}` under `leakdown` in the program file, which keeps other readings apart"
        sheet.tell(at, "protocol-mixed", name, what, expected, next_step="state it, or take the reading again")


def _unlike(program: Program, places: Sequence[tuple[int, Reading]]) -> Iterator[tuple[int, str, str]]:
    """The first reading of each file, build and field that was taken otherwise than others of its build."""
    at_of = {id(row): at for at, row in places}
    told = set()
    for row, name, clause in unlike(program.leakdown, [row for _, row in places]):
        where = (row.file, row.engine, name)
        if where not in told:
            told.add(where)
            yield at_of[id(row)], name, clause


ALIKE, DISTINCT = 8, 4  # cylinders at checks that read alike, and different figures among them, to look copied


def _copied(program: Program, sheet: Sheet) -> None:
    """Warn of whole checks of one build whose figures are those of another, in the same order; nothing is set aside.

    Told are checks that agree in all cylinders, eight of them or more together: of fewer, coarse gauges give the same
    now and then.
    """
    frame = sheet.frame
    cells: dict[str, dict[str, dict[int, list[tuple[float, float]]]]] = {}
    first: dict[str, int] = {}
    columns = (frame[name].tolist() for name in ("engine", "phase", "cylinder", "pressure", "percent"))
    for at, (engine, phase, cylinder, pressure, percent) in enumerate(zip(*columns, strict=True)):
        if cylinder == cylinder and isinstance(engine, str) and isinstance(phase, str):
            figure = (pressure if pressure == pressure else 0.0, percent if percent == percent else 0.0)
            cells.setdefault(engine, {}).setdefault(phase, {}).setdefault(int(cylinder), []).append(figure)
            first.setdefault(engine, at)
    order = [phase.id for phase in program.phases]
    engines = list(cells)
    for which, engine in enumerate(engines):
        for other in engines[:which]:
            same = [phase for phase in cells[engine] if cells[engine][phase] == cells[other].get(phase)]
            alike = [tuple(figures) for phase in same for figures in cells[engine][phase].values()]
            if len(alike) >= ALIKE and len(set(alike)) >= DISTINCT:
                named = ", ".join(sorted(same, key=order.index))
                file, row = sheet.place(first[other])
                sheet.tell(
                    first[engine],
                    "copied-readings",
                    "engine",
                    f"{engine} reads what {other} reads, figure by figure, at {named}; {other} is in {file}:{row}",
                    "readings of its own",
                    next_step="look whether one table was copied from the other; the readings stay in use",
                )
                break
