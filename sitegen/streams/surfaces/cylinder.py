"""What the traces of one cylinder say on its page: ring sections in a row, the bore's parameters once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from sitegen.methods.bore_wear import VALLEYS
from sitegen.page import words
from sitegen.page.blocks import (
    Block,
    Cell,
    ChartRow,
    Column,
    Datum,
    Figure,
    Panel,
    Row,
    Table,
    Text,
    Under,
    number_of,
)
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.surfaces import measures
from sitegen.streams.surfaces.fields import BY_INSTRUMENT, LINES, RINGS, Reading
from sitegen.streams.surfaces.left import THICKNESS
from sitegen.streams.surfaces.places import place_title
from sitegen.vocabulary import Measure, Series, Value

ALL = (*measures.ROUGHNESS, measures.RK_PLAIN, measures.STATED)
WEAR = (measures.WEAR_STEP, measures.WEAR_VALLEYS, measures.PLATEAU)
FILTERS = {"robust-gaussian": "robust Gaussian, ISO 16610-31", "two-step": "two steps, ISO 13565-1",
           BY_INSTRUMENT: "the instrument’s own, not filtered again"}  # fmt: skip
FROM_GAP = "wear.face_from_gap"  # of the build sheet
MASS_LOSS = "wear.mass_loss"  # the same
BY_EYE = "inspection.band_width"  # of the inspection
RING = {
    measures.FACE_DEPTH: "Wear of the core",
    measures.BAND: "Contact band",
    measures.FACE_MISFIT: "Flanks apart",
    measures.FACE_AREA: "Worn area",
    measures.FACE_VOLUME: "Worn volume",
    measures.LAYER_THINNEST: "Running-in layer left, least",
    measures.COATING_LEFT: "Coating left, least",
    measures.RATE: "Specific wear rate",
    measures.RATE_GAS: "Gas in the load",
}
_OF_ANGLE = RING | {measures.LAYER_LEFT: "Running-in layer left"}
_AT_ANGLE = (measures.FACE_DEPTH, measures.BAND, measures.FACE_AREA, measures.FACE_MISFIT, measures.LAYER_LEFT)


def traced(view: View) -> list[Phase]:
    """Phases with a trace of this subject, in plan order."""
    return [phase for phase in view.phases if view.records("surfaces", Reading, phase=phase.id, used=True)]


def places_of(view: View, bore: bool) -> list[str]:
    """Places of this cylinder in the order of the record."""
    found: dict[str, None] = {}
    for row in view.records("surfaces", Reading, used=True):
        if (row.part == "bore") == bore:
            at = f"{row.side}/{row.height}" if bore else f"{RINGS[row.part]}/{row.angle * 57.29577951308232:.0f}-deg"
            found[at] = None
    return list(found)


# ---- the bore -------------------------------------------------------------------------------------------------------

SHOWN = (measures.RK, measures.RPK, measures.RVK, measures.RA)  # the others are folded


def cylinder_bore(view: View) -> Sequence[Block]:
    """The bore, before and after: its wear in a sentence, one trace, its parameters once with places as columns."""
    phases, places = traced(view), places_of(view, bore=True)
    if not places:
        return ()
    name = f"{view.the_build.id}-{view.cylinder}"
    blocks: list[Block] = [Text((Cell(_wear_reading(view, phases)),), "reading")]
    at = _leading(view, phases, places)
    lines = _by_place(view, "surface.trace")
    if panels := _trace_panel(view, phases, at, lines):
        drawn = [phase for phase in phases if (phase.id, at) in lines]
        caption = (
            f"Grey: {drawn[0].title}; coloured: {drawn[-1].title}. Levelled, unfiltered, not the same spot twice, so "
            "that grooves differ."
            if len(drawn) > 1
            else f"Traced at {drawn[0].title} only. Levelled, unfiltered."
        )
        blocks.append(Figure(f"bore-trace-{name}", "curves", panels, caption=caption,
                             layout="wide"))  # fmt: skip
    wear = [_row(view, phases, places, measures.WEAR_STEP, "Wear", measures.WEAR_VALLEYS)]
    rows = [*wear, *(_row(view, phases, places, each) for each in SHOWN)]
    columns = _columns(view, phases, places)
    blocks.append(Table(f"bore-{name}", columns, [row for row in rows if row is not None], wide=True))
    more = [_row(view, phases, places, each) for each in ALL if each not in SHOWN]
    others = [row for row in (*(_row(view, phases, places, each) for each in WEAR), *more) if row is not None]
    if others:
        summary = f"{words.sentence(words.counted(len(others), 'more parameter'))}, how they were worked out"
        note = f"{conditions(view, 'bore')} {_cared(view, phases, places)}".strip()
        blocks.append(Under(f"more-of-bore-{name}", summary, (
            Table(f"bore-parameters-{name}", columns, [_counts(view, phases, places), *others], note=note, wide=True),
        )))  # fmt: skip
    return blocks


def cylinder_traces(view: View) -> Sequence[Block]:
    """The traces of the other places, all material-ratio curves, and the traces to be looked at."""
    phases, places = traced(view), places_of(view, bore=True)
    lines, curves = _by_place(view, "surface.trace"), _by_place(view, "surface.curve")
    blocks: list[Block] = []
    name = f"{view.the_build.id}-{view.cylinder}"
    panels = [panel for at in places if at != _leading(view, phases, places)
              for panel in _trace_panel(view, phases, at, lines)]  # fmt: skip
    panels += [panel for at in places for panel in _curve_panel(view, phases, at, curves)]
    if panels:
        window = words.with_unit(words.from_to(*(f"{each:.0f}" for each in VALLEYS)), "%")
        caption = (
            "Traces: one of each state; extremes are kept of what is drawn. Curves: mean of the traces of the place, "
            f"laid over each other where the valleys are ({window}), which wear ought not to reach."
        )
        reading = _curve_reading(view, phases) or "Traced once: curves are compared when a place is traced again."
        blocks.append(Figure(f"bore-traces-{name}", "curves", panels, reading, caption,
                             one_scale=False))  # fmt: skip
    return [*blocks, *_left_out(view)]


def _leading(view: View, phases: Sequence[Phase], places: Sequence[str]) -> str:
    """The place whose trace is shown: where wear is read from a step, else the first."""
    if not places:
        return ""
    for at in places:
        steps = [view.value(measures.WEAR_STEP.id, phase.id, at) for phase in phases]
        if any(step is not None and step.status in {"ok", "below"} for step in steps):
            return at
    return places[0]


def _columns(view: View, phases: Sequence[Phase], places: Sequence[str]) -> tuple[Column, ...]:
    return (
        Column("Parameter"),
        *(Column(words.sentence(phase.title), numeric=True, group=words.sentence(place_title(at)))
          for at in places for phase in _states(view, phases, at)),
    )  # fmt: skip


def _states(view: View, phases: Sequence[Phase], at: str) -> list[Phase]:
    """Phases in which a place was traced."""
    return [phase for phase in phases if any(view.value(each.id, phase.id, at) is not None for each in (*ALL, *WEAR))]


def _row(
    view: View, phases: Sequence[Phase], places: Sequence[str], measure: Measure, title: str = "",
    instead: Measure | None = None,
) -> Row | None:  # fmt: skip
    """A parameter at every place and state; `instead`: what stands where it has no number. None: nowhere a number."""
    cells = []
    for at in places:
        for phase in _states(view, phases, at):
            value = view.value(measure.id, phase.id, at)
            if instead is not None and (value is None or value.value is None):
                value = view.value(instead.id, phase.id, at) or value
            cells.append(Cell(words.DASH) if value is None or value.status == "refused" else Cell(view.text(value)))
    if all(cell.text == words.DASH for cell in cells):
        return None
    told = title or {measures.STATED.id: "Stated over computed"}.get(measure.id, short(measure))
    unit = f", {measure.unit}" if measure.unit != "1" else ""
    return Row((Cell(f"{words.sentence(told)}{unit}", href=view.href_methods(measure.id)), *cells))


def _counts(view: View, phases: Sequence[Phase], places: Sequence[str]) -> Row:
    """How many traces each column rests on."""
    counts = [next((v.n for each in ALL if (v := view.value(each.id, phase.id, at)) is not None), 0)
              for at in places for phase in _states(view, phases, at)]  # fmt: skip
    return Row((Cell("Traces"), *(Cell(str(count)) for count in counts)))


def _cared(view: View, phases: Sequence[Phase], places: Sequence[str]) -> str:
    """With what care to read the columns, and why some hold no number."""
    told: dict[str, list[str]] = {}
    for at in places:
        for phase in _states(view, phases, at):
            for code in _care(view.value(each.id, phase.id, at) for each in (*ALL, *WEAR)):
                told.setdefault(code, []).append(f"{place_title(at)} at {phase.title}")
    return " ".join(f"{words.sentence(words.listed(dict.fromkeys(where)))}: {view.why(code)}."
                    for code, where in told.items())  # fmt: skip


def _trace_panel(view: View, phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series]) -> list[Panel]:
    path = _path(phases, at, series, "x", (3, 2))
    if not path:
        return []
    data = {"path": path, "bands": _unswept(view, at)}
    ends: dict[str, Datum] = {"from": 0.0, "to": max(number_of(row["at"]) for row in path), "unit": "µm", "along": "mm"}
    coating = view.the_build.coating_of(view.cylinder)
    title, label = f"Trace, {place_title(at)}", f"Traces, {place_title(at)}"
    return [Panel(title, data, ends, coating, label=label, axis="Height, µm", along="Along the trace, mm")]


def _path(
    phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series], along: str, digits: tuple[int, int]
) -> list[ChartRow]:
    """Heights of a place over a column, a line a state; of several the first is grey."""
    drawn = [phase for phase in phases if (phase.id, at) in series]
    return [
        {"at": round(x, digits[0]), "value": round(z, digits[1]), "line": phase.id,
         "grey": number == 0 and len(drawn) > 1, "series": phase.title}
        for number, phase in enumerate(drawn)
        for x, z in zip(*(series[phase.id, at].frame[name].tolist() for name in (along, "z")), strict=True)
    ]  # fmt: skip


def _curve_panel(view: View, phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series]) -> list[Panel]:
    path = _path(phases, at, series, "ratio", (2, 3))
    if not path:
        return []
    coating = view.the_build.coating_of(view.cylinder)
    title, label = f"Material-ratio curve, {place_title(at)}", f"Material-ratio curves, {place_title(at)}"
    ends: dict[str, Datum] = {"from": 0.0, "to": 100.0, "unit": "µm", "along": "%"}
    return [Panel(title, {"path": path}, ends, coating, label=label, axis="Height, µm", along="Share of material, %")]


# ---- wear of the bore -----------------------------------------------------------------------------------------------


def _cell(view: View, value: Value | None) -> Cell:
    if value is None:
        return Cell(words.DASH)
    note = view.why(value.reason) if value.status == "refused" else ""
    return Cell(view.text(value), note=words.sentence(note) if note else "")


def _wear_reading(view: View, phases: Sequence[Phase]) -> str:
    """The wear at the reversal and whether the peaks are gone, in one sentence."""
    if len(phases) < 2:
        return f"Traced at {phases[0].title} only: wear shows when the same places are traced again."
    last = phases[-1]
    told = []
    for value in view.values(measures.WEAR_STEP.id, engine=view.the_build, cylinder=view.cylinder, phase=last.id):
        where = place_title(value.key.at)
        if value.value is not None:
            told.append(f"at {last.title} the bore had worn by {view.text(value, unit=True)} on the {where}")
        elif value.status == "below":
            limit = words.with_unit(words.number(value.high, 2), "µm")
            told.append(f"at {last.title} bore wear on the {where} lay below {limit}, the least these traces can show")
    gone = [
        value.value
        for value in view.values(measures.PLATEAU.id, engine=view.the_build, cylinder=view.cylinder, phase=last.id)
        if value.value is not None
    ]
    if gone:
        told.append(f"{words.with_unit(span(gone, 0), '%')} of the first peak height {'was' if told else 'is'} gone")
    return f"{words.sentence('; '.join(told))}." if told else ""


def short(measure: Measure) -> str:
    """Symbol of a parameter, where it has one."""
    return measure.title.removeprefix("bore ").removeprefix("oil volume ")


def _care(values: Iterable[Value | None]) -> list[str]:
    known = [value for value in values if value is not None]
    found = {flag for value in known for flag in value.flags}
    return sorted(found | {value.reason for value in known if value.status == "refused"})


def conditions(view: View, part: str) -> str:
    """Filter, cutoffs, tip and instrument, as the traces were taken and evaluated."""
    rows = [row for row in view.records("surfaces", Reading, used=True) if (row.part == "bore") == (part == "bore")]
    if not rows:
        return ""

    def each(name: str, unit: str, scale: float, digits: int) -> str:
        found = sorted({getattr(row, name) for row in rows if getattr(row, name) == getattr(row, name)})
        if not found:
            return "not stated"
        return words.with_unit(words.listed([words.number(scale * one, digits) for one in found]), unit)

    tools = sorted({str(row.instrument) for row in rows if isinstance(row.instrument, str)})
    titles = [view.folder.definitions.tools[tool].title for tool in tools if tool in view.folder.definitions.tools]
    instrument = f" Traced with: {words.listed(titles)}." if titles else ""
    tip = f"Tip radius {each('tip', 'µm', 1e6, 1)}"
    if part != "bore":
        return f"{tip}; unfiltered.{instrument}"
    cutoffs = f"λc {each('cutoff', 'mm', 1e3, 1)}, λs {each('cutoff_short', 'µm', 1e6, 1)}"
    chosen = {row.filter if isinstance(row.filter, str) and row.filter else "robust-gaussian" for row in rows}
    line = " Stated results of the Rk family are held against the secant, as the instrument draws it."
    stated = line if any(row.stated_line == LINES[1] for row in rows) else ""
    if chosen == {BY_INSTRUMENT}:
        filtered = f"by the instrument, before the trace was saved, with its own cutoffs {cutoffs}; not filtered again"
    else:
        told = words.listed([told for name, told in FILTERS.items() if name in chosen])
        filtered = f"{told}; {cutoffs}"
    return f"Filter: {filtered}. {tip}.{instrument}{stated}"


def _unswept(view: View, at: str) -> list[ChartRow]:
    """The band above the reversal that no ring ever swept."""
    for row in view.records("surfaces", Reading, used=True):
        if row.part == "bore" and f"{row.side}/{row.height}" == at and row.unswept_to == row.unswept_to:
            return [{"at": 0.0, "to": 1e3 * float(row.unswept_to), "label": "never swept"}]
    return []


def _curve_reading(view: View, phases: Sequence[Phase]) -> str:
    sides = [
        [
            value.value
            for value in view.values(measures.RK.id, engine=view.the_build, cylinder=view.cylinder, phase=phase.id)
            if value.value is not None
        ]
        for phase in (phases[0], phases[-1])
    ]
    if len(phases) < 2 or not all(sides):
        return ""
    first, last = (words.with_unit(span(side, 2), "µm") for side in sides)
    return f"The core of the surface, Rk, was {first} at {phases[0].title} and {last} at {phases[-1].title}."


def span(values: Sequence[float], digits: int) -> str:
    """From the least to the most of some numbers."""
    low, high = (words.number(each, digits) for each in (min(values), max(values)))
    return words.from_to(low, high)


def _by_place(view: View, name: str) -> dict[tuple[str, str], Series]:
    return {(each.key.phase, each.key.at): each for each in view.series(name)}


# ---- the ring face --------------------------------------------------------------------------------------------------


def cylinder_ring(view: View) -> Sequence[Block]:
    """Sections across the ring face in a row, each with its angle and depth, on common axes."""
    phases, places = traced(view), places_of(view, bore=False)
    if not places:
        return ()
    if len(phases) < 2:
        return [Text((Cell(f"The ring face was traced at {phases[0].title} only."),), "reading")]
    last, series = phases[-1], _by_place(view, "surface.face")
    name = f"{view.the_build.id}-{view.cylinder}"
    blocks: list[Block] = []
    if reading := _face_reading(view, last):
        blocks.append(Text((Cell(reading),), "reading"))
    blocks += [Text((Cell(told),), "reading") for told in (_two_bands(view, last), layer_reading(view, last)) if told]
    panels = _face_panels(view, last, [at for at in places if (last.id, at) in series], series)
    if panels:
        caption = (
            "Grey before, coloured after, laid over each other on the unworn flanks. "
            "Shaded: contact band. The number is the wear of its core."
        )
        at_angle = [each for each in _AT_ANGLE if any(view.value(each.id, last.id, at) is not None for at in places)]
        rows = [
            Row((Cell(words.sentence(place_title(at))),
                 *(_cell(view, view.value(each.id, last.id, at)) for each in at_angle)))
            for at in places
        ]  # fmt: skip
        columns = (Column("Ring and angle"), *(Column(_OF_ANGLE[each], each.unit, True) for each in at_angle))
        table = Table(f"ring-sections-data-{name}", columns, rows)
        blocks.append(Figure(f"ring-sections-{name}", "curves", panels, "", caption, table,
                             measure=measures.FACE_DEPTH.id, layout="row"))  # fmt: skip
    return blocks


def _face_panels(
    view: View, last: Phase, places: Sequence[str], series: Mapping[tuple[str, str], Series]
) -> list[Panel]:
    """A panel an angle; all on the same axes."""
    frames = {at: series[last.id, at].frame for at in places}
    if not frames:
        return []
    ends: dict[str, Datum] = {
        "small": True, "unit": "µm", "along": "mm", "from": 0.0,
        "to": max(float(frame["x"].max()) for frame in frames.values()),
        "least": min(float(frame["z"].min()) for frame in frames.values()),
        "most": max(float(frame["z"].max()) for frame in frames.values()),
    }  # fmt: skip
    coating = view.the_build.coating_of(view.cylinder)
    one = len({at.partition("/")[0] for at in places}) == 1
    panels = []
    for at, frame in frames.items():
        path: list[ChartRow] = [
            {
                "at": round(x, 3),
                "value": round(z, 2),
                "line": state,
                "grey": state == "before",
                "series": state,
                "coating": coating,
            }
            for x, z, state in zip(frame["x"].tolist(), frame["z"].tolist(), frame["state"].tolist(), strict=True)
        ]  # fmt: skip
        begin, end = float(frame["begin"].iloc[0]), float(frame["end"].iloc[0])
        bands: list[ChartRow] = [{"at": begin, "to": end}] if end > begin else []
        ring, _, angle = at.partition("/")
        title = f"{angle.removesuffix('-deg')}°" if one else f"{words.sentence(ring)}, {angle.removesuffix('-deg')}°"
        depth = view.value(measures.FACE_DEPTH.id, last.id, at)
        note = view.text(depth, unit=True) if depth is not None and depth.value is not None else ""
        label = f"Face of the {place_title(at)}, before and after"
        panels.append(Panel(title, {"path": path, "bands": bands}, ends, note=note, label=label,
                            axis="Height, µm", along="Across, mm"))  # fmt: skip
    return panels


def cylinder_ring_wear(view: View) -> Sequence[Block]:
    """The wear rate of the ring and every number of its face."""
    phases, places = traced(view), places_of(view, bore=False)
    if not places or len(phases) < 2:
        return ()
    last = phases[-1]
    rows = []
    shown = (MASS_LOSS, *(one.id for one in RING), FROM_GAP)
    for at in [*places, *dict.fromkeys(at.partition("/")[0] for at in places)]:
        values = [view.value(each, last.id, at) for each in shown]
        if any(value is not None for value in values[1:-1]):
            rows.append(Row((Cell(words.sentence(place_title(at))), *(_cell(view, value) for value in values))))
    note = (
        f"Intervals from the roughness of the face as it was made. {conditions(view, 'ring')} The gap opening is a "
        "second reading, blind below about 3 µm; the mass lost, of the whole ring, is the lead measure where the ring "
        "was weighed."
    )
    name = f"{view.the_build.id}-{view.cylinder}"
    return [Table(f"ring-wear-{name}", ring_columns("Ring and angle"), rows, _rate_reading(view, last), note=note,
                  wide=True)] if rows else []  # fmt: skip


def _rate_reading(view: View, last: Phase) -> str:
    """How far the face wore, and the specific wear rate with how much of the load was gas."""
    depth = view.value(measures.FACE_DEPTH.id, last.id, "top")
    worn = f"The face of the top ring wore {view.text(depth, unit=True)}" if depth is not None and depth.value else ""
    rate, gas = (view.value(each.id, last.id, "top") for each in (measures.RATE, measures.RATE_GAS))
    if rate is None or rate.value is None:
        why = f", because {view.why(rate.reason)}" if rate is not None and rate.reason else ""
        return f"{worn}{'; no' if worn else 'No'} specific wear rate of the top ring{why}."
    share = (
        f"; {view.text(gas, unit=True)} of its load is the gas pressure assumed"
        if gas is not None and gas.value
        else ""
    )
    return f"{f'{worn},' if worn else 'The top ring wore'} at {view.text(rate, unit=True)}{share}."


def band_by_trace(view: View) -> Cell | None:
    """The contact band of the top ring by its traces."""
    phases = traced(view)
    own = view.value(measures.BAND.id, phases[-1].id, "top") if phases else None
    return Cell(view.text(own, unit=True)) if own is not None and own.value else None


def _two_bands(view: View, last: Phase) -> str:
    """The contact band by trace and by eye: what each measures, how far apart they are, and which one is used."""
    trace, eye = view.value(measures.BAND.id, last.id, "top"), view.value(BY_EYE, last.id, "top-ring")
    if trace is None or eye is None or not trace.value or not eye.value:
        return ""
    seen = words.with_unit(words.number(eye.value, 2), "mm")
    apart = eye.value - trace.value
    share = words.percent(abs(apart), trace.value)
    gap = words.with_unit(words.number(abs(apart), 2), "mm")
    told = f"the eye reads {gap} ({share}) {'less' if apart < 0 else 'more'}" if float(f"{apart:.2f}") else "both agree"
    return (
        f"Its contact band is {view.text(trace, unit=True)} by trace, where the face left its unworn shape, and {seen} "
        f"by eye, where it shines: {told}. Cylinders are compared in the one by eye, which needs no trace."
    )


def ring_columns(first: str, shown: Iterable[Measure] = tuple(RING)) -> tuple[Column, ...]:
    """Columns of the numbers of a ring face, with what gap and balance say beside them."""
    return (
        Column(first),
        Column("Mass lost", "mg", numeric=True, measure=MASS_LOSS),
        *(Column(RING[each], each.unit, numeric=True, measure=each.id) for each in shown),
        Column("Wear by the gap", "µm", numeric=True, measure=FROM_GAP),
    )


def _face_reading(view: View, last: Phase) -> str:
    depth = view.value(measures.FACE_DEPTH.id, last.id, "top")
    if depth is None or depth.value is None:
        return ""
    at_angle = [
        value
        for value in view.values(measures.FACE_DEPTH.id, engine=view.the_build, cylinder=view.cylinder, phase=last.id)
        if value.value is not None and value.key.at.startswith("top/")
    ]
    told = f"The face wore {view.text(depth, unit=True)}"
    if len(at_angle) > 1:
        most = max(at_angle, key=lambda value: value.value or 0.0)
        where = place_title(most.key.at).removeprefix("top ring, ")
        told += (
            f" as the mean of {words.counted(len(at_angle), 'angle')}, {view.text(most, unit=True)} at most, {where}"
        )
    return f"{told}."


def layer_reading(view: View, last: Phase) -> str:
    """How much of the running-in layer is left, where it is through, and what that rests on."""
    mean, least, coating, nominal = (
        view.value(each.id, last.id, "top")
        for each in (measures.LAYER_LEFT, measures.LAYER_THINNEST, measures.COATING_LEFT, measures.NOMINAL_LEFT)
    )
    lead = least or coating
    what = "running-in layer" if least else "coating"
    if lead is None:
        return ""
    if lead.value is None:
        told = f"What is left of the {what} of the top ring is not told: {view.why(lead.reason)}."
        if nominal is not None and nominal.value is not None:
            about = words.with_unit(words.number(nominal.value, 0), "µm")
            told += f" The nominal thickness less the most worn is about {about}, which no measurement confirms."
        return told
    if mean is None:
        return f"Of the coating of the top ring {_left(view, coating)} where it wore most. {_rests_on(view, lead)}"
    several = f"{_left(view, mean)} on the mean of {words.counted(mean.n, 'angle')} and " if mean.n > 1 else ""
    told = f"Of the running-in layer of the top ring {several}{_left(view, least)} where it wore most: "
    return f"{told}{_where_through(view, last)}. {_rests_on(view, lead)}"


def _left(view: View, value: Value | None) -> str:
    if value is None or value.value is None or value.low is None or value.high is None:
        return "nothing is known"
    if value.value >= 0:
        return f"{view.text(value, unit=True)} is left"
    beyond = replace(value, value=-value.value, low=-value.high, high=-value.low)
    return f"nothing is left, the face lying {view.text(beyond, unit=True)} below its end,"


def _where_through(view: View, last: Phase) -> str:
    """Angles at which the layer is through, and those at which that cannot be told."""
    found = view.values(measures.LAYER_LEFT.id, engine=view.the_build, cylinder=view.cylinder, phase=last.id)
    places = [each for each in found if each.key.at.startswith("top/") and each.low is not None]
    gone = [each for each in places if each.high is not None and each.high < 0]
    open_ = [each for each in places if each not in gone and each.low is not None and each.low <= 0]
    if not gone and not open_:
        return "it is left at every angle traced"
    parts = [f"it is through at {_angles(gone)}"] if gone else []
    parts += [f"whether it is through at {_angles(open_)} cannot be told"] if open_ else []
    count = len(places)
    most = words.counted(len(gone) + len(open_), "angle") if len(gone) + len(open_) != count else "all angles"
    return f"{', and '.join(parts)} (at least {words.count(len(gone))}, at most {most} of {count} traced)"


def _angles(places: Sequence[Value]) -> str:
    return words.listed([place_title(each.key.at).removeprefix("top ring, ") for each in places])


def _rests_on(view: View, value: Value) -> str:
    """Where the thickness comes from, in a sentence."""
    layer = view.folder.definitions.coatings[view.the_build.coating_of(view.cylinder)].layers[0]
    found = view.value(THICKNESS, "", f"top/{layer.name}")
    if "thickness-not-confirmed" in value.flags:
        one = "; one ring of the lot was cut, which tells no scatter" if "one-ring-cut" in value.flags else ""
        return f"No measurement confirms the thickness: it is nominal with its tolerance{one}."
    if "own-ring" in value.flags:
        return "The thickness was measured on this ring."
    rings = f"{words.counted(found.n, 'ring')} cut of its lot" if found is not None else "rings of its lot"
    return f"The thickness is that of {rings}; its interval holds how much rings of a lot differ."


def _left_out(view: View) -> list[Block]:
    """Traces that were set aside, each with its reason, and those to be looked at."""
    rows = [
        Row(
            (
                Cell(str(row.trace)),
                Cell("left out", word=True, note=words.sentence(view.why(row.use))),
            ),
            here=True,
            anchor=f"reading-{row.reading}",
        )
        for row in view.records("surfaces", Reading)
        if row.use not in {"", "not-taken"}
    ]
    for series in view.series("surface.care"):
        for trace, what in zip(series.frame["trace"].tolist(), series.frame["what"].tolist(), strict=True):
            rows.append(Row((Cell(str(trace)), Cell(_told(view, what)))))
    if not rows:
        return []
    columns = (Column("Trace"), Column("To be looked at"))
    verb = words.plural(len(rows), "is", "are")
    reading = words.sentence(f"{words.counted(len(rows), 'trace')} {verb} left out or to be looked at.")
    return [Table(f"traces-left-out-{view.the_build.id}-{view.cylinder}", columns, rows, reading)]


def _told(view: View, what: str) -> str:
    """What is to be looked at in a trace, in words."""
    code, *more = what.split(":")
    told = words.sentence(view.why(code))
    if more:
        name, ratio = more
        told += f": stated {name} is {words.number(float(ratio), 2)} times ours"
    return f"{told}."
