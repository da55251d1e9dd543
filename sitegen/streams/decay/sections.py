"""What pressure decays say on the page of a build and of a cylinder, beside leak-down. Computes nothing."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.declarations import OfCylinder, Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, number_of
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.decay.measures import AREA, BY_GAS, CONSTANT, OVER, RATE, TO_LEAST
from sitegen.streams.decay.steps import LEAKDOWN
from sitegen.vocabulary import Value, numbers

_POINTS = 25  # drawn of one decay at most
_ENDS = ("isothermal", "adiabatic")


def engine_decay(view: View) -> Sequence[Block]:
    """A sentence, a table and the curves of each check with decays, the newest first."""
    blocks: list[Block] = []
    for phase in reversed(view.phases):
        if view.values(RATE.id, engine=view.the_build, phase=phase.id):
            blocks += [_table(view, phase), *_figure(view, phase)]
    return blocks


def overlaps(value: Value) -> bool:
    """Whether both intervals overlap: one lies in that of their quotient."""
    return value.low is not None and value.high is not None and value.low <= 1 <= value.high


def _reading(view: View, phase: Phase) -> str:
    """How the areas lie, and whether leak-down has them too."""
    areas = [v for v in view.values(AREA.id, engine=view.the_build, phase=phase.id, at="") if v.value is not None]
    beside = view.values(OVER.id, engine=view.the_build, phase=phase.id, at="")
    title = words.sentence(phase.title)
    if not areas:
        refused = next(iter(view.values(AREA.id, engine=view.the_build, phase=phase.id)), None)
        return f"{title}: no area by pressure decay: {view.why(refused.reason)}." if refused is not None else ""
    low, high = (min(v.low or 0.0 for v in areas), max(v.high or 0.0 for v in areas))
    told = f"{title}: leak area by pressure decay {words.with_unit(words.span(low, high, 2), 'mm²')}"
    if not beside:
        return f"{told}, with no leak-down beside it."
    apart = [value.key.cylinder for value in beside if not overlaps(value)]
    if not apart:
        whole = words.share(len(beside), len(beside), "cylinder")
        return f"{told}; at {whole} the interval overlaps that of leak-down."
    cylinders = f"{words.plural(len(apart), 'cylinder')} {words.numbers_listed(apart)}"
    return f"{told}; at {cylinders} it lies apart from that of leak-down."


def _table(view: View, phase: Phase) -> Table:
    build = view.the_build
    areas = view.values(AREA.id, engine=build, phase=phase.id)
    by_volume = any(value.value is None for value in areas)  # what is left where the volume is not known
    columns = (
        Column("Cylinder"), Column("Isothermal", "mm²", numeric=True, measure=BY_GAS.id, group="By decay"),
        Column("Adiabatic", "mm²", numeric=True, measure=BY_GAS.id, group="By decay"),
        Column("With their errors", "mm²", numeric=True, measure=AREA.id, group="By decay"),
        Column("By leak-down", "mm²", numeric=True, measure=LEAKDOWN if LEAKDOWN in view.measures else ""),
        Column("Intervals"), Column("Over the tightest", numeric=True, measure=TO_LEAST.id),
        *((Column("Area over volume", "mm²/L", numeric=True, measure=RATE.id),) if by_volume else ()),
    )  # fmt: skip
    rows = []
    for place in build.places:
        number = place.cylinder
        for at in sorted({v.key.at for v in view.values(RATE.id, engine=build, phase=phase.id, cylinder=number)}):
            area, rate, least = (view.value(each.id, phase.id, at, cylinder=number) for each in (AREA, RATE, TO_LEAST))
            gases = [view.value(BY_GAS.id, phase.id, ",".join(filter(None, (name, at))), cylinder=number)
                     for name in _ENDS]  # fmt: skip
            leak = view.value(LEAKDOWN, phase.id, cylinder=number) if at == "" else None
            over = view.value(OVER.id, phase.id, at, cylinder=number)
            named = f"cylinder {number}{', ' + at.replace(',', ', ') if at else ''}"
            word = words.DASH if over is None else "overlap" if overlaps(over) else "apart"
            rows.append(Row((
                Cell(named, href=view.href_cylinder(build, number), coating=place.coating),
                *(view.cell(value) for value in gases), _ends(view, area), view.cell(leak), Cell(word),
                *(view.cell(value) for value in ((least, rate) if by_volume else (least,))),
            )))  # fmt: skip
    name = f"decay-{build.id}-{phase.id}"
    return Table(name, columns, rows, _reading(view, phase), note=_note(view, phase), wide=True)


def _ends(view: View, area: Value | None) -> Cell:
    """From the least to the most: the middle of two kinds of gas is no estimate."""
    if area is None or area.value is None or area.low is None or area.high is None:
        return view.cell(area)
    return Cell(words.span(area.low, area.high, words.decimals_for((area.high - area.low) / 2)))


def _note(view: View, phase: Phase) -> str:
    values = view.values(RATE.id, engine=view.the_build, phase=phase.id)
    flags = frozenset().union(*(value.flags for value in values))
    told = [
        "Isothermal and adiabatic: how much heat the walls give the gas is not known, and the truth lies between. By "
        "all paths, as the leak-down area is."
    ]
    constants = numbers(view.values(CONSTANT.id, engine=view.the_build, phase=phase.id))
    if constants:
        told.append(f"Time constants {words.with_unit(words.span(min(constants), max(constants), 2), 's')}.")
    told += [f"{words.sentence(view.why(code))}." for code in sorted(flags) if code != "ambient-assumed"]
    return " ".join(told)


def _figure(view: View, phase: Phase) -> list[Block]:
    """Pressure over time as it was read."""
    frames = [each.frame for each in view.series("decay.curves") if each.key.phase == phase.id]
    if not frames:
        return []
    path: list[ChartRow] = []
    for (cylinder, repeat), own in frames[0].groupby(["cylinder", "repeat"], sort=False):
        step = max(1, len(own) // _POINTS)
        path += [
            {"at": float(time), "value": float(pressure), "line": f"{cylinder}/{repeat}", "grey": False,
             "series": f"cylinder {cylinder}"}
            for time, pressure in zip(own["time"].iloc[::step], own["pressure"].iloc[::step], strict=True)
        ]  # fmt: skip
    build = view.the_build
    coating = build.coatings[0] if len(build.coatings) == 1 else ""
    times = [number_of(row["at"]) for row in path]
    pressures = [number_of(row["value"]) for row in path]
    signals = {"from": min(times), "to": max(times), "least": min(0.0, *pressures)}
    panel = Panel("", {"path": path, "bands": []}, signals, coating, label="Pressure over time, every decay",
                  axis="Pressure, kPa gauge", along="Time since the supply was closed, s")  # fmt: skip
    name = f"decay-curves-{build.id}-{phase.id}"
    columns = (Column("Cylinder"), Column("Time", "s", numeric=True), Column("Pressure", "kPa", numeric=True))
    shown = ((str(row["series"]), number_of(row["at"]), number_of(row["value"])) for row in path)
    rows = [Row((Cell(who), Cell(words.number(at, 3)), Cell(words.number(value, 1)))) for who, at, value in shown]
    caption = f"Every decay, {phase.title}, as read."
    return [Figure(name, "curves", (panel,), "", caption, Table(name, columns, rows), AREA.id, layout="wide")]


def of_cylinder(view: View) -> Cell | None:
    """Its newest area by decay, and whether leak-down has it too."""
    for phase in reversed(view.phases):
        area = view.value(AREA.id, phase.id)
        if area is not None and area.value is not None and area.low is not None and area.high is not None:
            over = view.value(OVER.id, phase.id)
            note = "no leak-down beside it" if over is None else (
                "its interval and that of leak-down overlap" if overlaps(over) else
                "its interval and that of leak-down lie apart"
            )  # fmt: skip
            places = words.decimals_for((area.high - area.low) / 2)
            return Cell(words.with_unit(words.span(area.low, area.high, places), "mm²"), note=note)
    return None


SECTIONS = (Section("decay", "Pressure decay", 15, "engine", engine_decay, place="rest"),)
OF_CYLINDER = (OfCylinder("Leak by decay, all paths", 32, of_cylinder),)
