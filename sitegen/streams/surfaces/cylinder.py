"""What the traces of one cylinder say on its page: place by place, picture beside traces beside numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sitegen.methods.bore_wear import VALLEYS
from sitegen.page import words
from sitegen.page.blocks import (
    Beside,
    Block,
    Cell,
    ChartRow,
    Column,
    Datum,
    Figure,
    Image,
    Images,
    Panel,
    Row,
    Table,
    Text,
    number_of,
)
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.surfaces import measures
from sitegen.streams.surfaces.fields import BY_INSTRUMENT, RINGS, Reading
from sitegen.streams.surfaces.left import THICKNESS
from sitegen.streams.surfaces.places import place_title, place_told
from sitegen.tables.rows import Recorded, Written
from sitegen.vocabulary import Measure, Series, Value

ALL = (*measures.ROUGHNESS, measures.RK_PLAIN, measures.STATED)
WEAR = (measures.WEAR_STEP, measures.WEAR_VALLEYS, measures.PLATEAU)
FILTERS = {"robust-gaussian": "robust Gaussian, ISO 16610-31", "two-step": "two steps, ISO 13565-1",
           BY_INSTRUMENT: "the instrument’s own, not filtered again"}  # fmt: skip
FROM_GAP = "wear.face_from_gap"  # of the build sheet
MASS_LOSS = "wear.mass_loss"  # the same
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
_LAYER_LEFT = "Running-in layer left"
_AT_ANGLE = (measures.FACE_DEPTH, measures.BAND, measures.FACE_AREA, measures.FACE_MISFIT)


class Picture(Recorded):
    """What is asked of a picture of the inspection."""

    __slots__ = ()
    part: Written
    place: Written
    image: Written
    image_width: float
    caption: Written


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


def cylinder_surfaces(view: View) -> Sequence[Block]:
    """Bore and ring face of one cylinder, before and after: pictures, traces, numbers."""
    phases = traced(view)
    if not phases:
        return _left_out(view)
    blocks: list[Block] = []
    bores, rings = places_of(view, bore=True), places_of(view, bore=False)
    pictures = _pictures(view)
    if bores:
        blocks.append(_wear_table(view, phases, bores))
        blocks += _bore_places(view, phases, bores, pictures)
    if rings:
        blocks += _faces(view, phases, rings, pictures)
    return [*blocks, *_left_out(view)]


def _pictures(view: View) -> dict[str, list[Image]]:
    """Pictures of the inspection that are of a traced place, by place."""
    found: dict[str, list[Image]] = {}
    for row in view.records("inspection", Picture, used=True):
        if not (isinstance(row.image, str) and isinstance(row.place, str) and isinstance(row.part, str)):
            continue
        at = place_told(row.part, row.place)
        phase = view.program.phase(row.phase)
        caption = row.caption if isinstance(row.caption, str) else f"{words.sentence(place_title(at))}."
        width = float(row.image_width) if row.image_width == row.image_width else None
        told = f"{words.sentence(row.place)}, {view.the_build.id} cylinder {view.cylinder} at {phase.title}"
        image = Image(f"{view.program.id}/{row.image}", f"{caption} At {phase.title}.", told, width)
        if at and image not in found.setdefault(at, []):
            found[at].append(image)
    return {at: images for at, images in found.items() if images}


# ---- the bore -------------------------------------------------------------------------------------------------------


def _bore_places(
    view: View, phases: Sequence[Phase], places: Sequence[str], pictures: dict[str, list[Image]]
) -> list[Block]:
    """Each place of the bore: its picture, its traces and curves before in grey and after, its parameters."""
    lines, curves = _by_place(view, "surface.trace"), _by_place(view, "surface.curve")
    blocks: list[Block] = []
    if reading := _curve_reading(view, phases):
        blocks.append(Text((Cell(reading),), "reading"))
    for at in places:
        name = f"{view.the_build.id}-{view.cylinder}-{at.replace('/', '-')}"
        parts: list[Figure | Table | Images] = []
        if at in pictures:
            parts.append(Images(f"bore-pictures-{name}", pictures[at]))
        panels = [*_trace_panel(view, phases, at, lines), *_curve_panel(view, phases, at, curves)]
        if panels:
            parts.append(Figure(f"bore-traces-{name}", "curves", panels, one_scale=False))
        parts.append(_parameters(view, phases, at, f"bore-parameters-{name}"))
        blocks.append(Beside(f"bore-{name}", words.sentence(place_title(at)), parts))
    window = words.with_unit(words.from_to(*(f"{each:.0f}" for each in VALLEYS)), "%")
    note = (
        "Traces: one of each state, levelled, unfiltered, not the same spot twice, so that grooves differ; extremes "
        "are kept of what is drawn. Curves: mean of the traces of the place, laid over each other where the valleys "
        f"are ({window}), which wear ought not to reach. {conditions(view, 'bore')} Plain Gaussian: for comparison "
        "with instruments that have no other filter."
    )
    return [*blocks, Text((Cell(note),), "note")]


def _trace_panel(view: View, phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series]) -> list[Panel]:
    path = _path(phases, at, series, "x", (3, 2))
    if not path:
        return []
    data = {"path": path, "bands": _unswept(view, at)}
    ends: dict[str, Datum] = {"from": 0.0, "to": max(number_of(row["at"]) for row in path), "unit": "µm", "along": "mm"}
    coating = view.the_build.coating_of(view.cylinder)
    return [
        Panel(
            "Height along the trace",
            data,
            ends,
            coating,
            label=f"Traces, {place_title(at)}",
            axis="Height, µm",
            along="Along the trace, mm",
        )
    ]


def _path(
    phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series], along: str, digits: tuple[int, int]
) -> list[ChartRow]:
    """Heights of a place over a column, a line a state; the first is grey."""
    return [
        {"at": round(x, digits[0]), "value": round(z, digits[1]), "line": phase.id, "grey": number == 0,
         "series": phase.title}
        for number, phase in enumerate(phases)
        if (phase.id, at) in series
        for x, z in zip(*(series[phase.id, at].frame[name].tolist() for name in (along, "z")), strict=True)
    ]  # fmt: skip


def _curve_panel(view: View, phases: Sequence[Phase], at: str, series: dict[tuple[str, str], Series]) -> list[Panel]:
    path = _path(phases, at, series, "ratio", (2, 3))
    if not path:
        return []
    coating = view.the_build.coating_of(view.cylinder)
    title, label = "Height over share of material", f"Material-ratio curves, {place_title(at)}"
    ends: dict[str, Datum] = {"from": 0.0, "to": 100.0, "unit": "µm", "along": "%"}
    return [Panel(title, {"path": path}, ends, coating, label=label, axis="Height, µm", along="Share of material, %")]


def _parameters(view: View, phases: Sequence[Phase], at: str, name: str) -> Table:
    """Every parameter of a place, a column a state."""
    states = [phase for phase in phases if any(view.value(each.id, phase.id, at) is not None for each in ALL)]
    rows = []
    for measure in ALL:
        values = [view.value(measure.id, phase.id, at) for phase in states]
        if any(value is not None and value.status == "ok" for value in values):
            unit = f", {measure.unit}" if measure.unit != "1" else ""
            title = "Stated over computed" if measure is measures.STATED else short(measure)
            first = Cell(f"{title}{unit}", href=view.href_methods(measure.id))
            rows.append(Row((first, *(Cell(view.text(value)) for value in values))))
    if rows:
        counts = [next((v.n for each in ALL if (v := view.value(each.id, p.id, at)) is not None), 0) for p in states]
        rows.insert(0, Row((Cell("Traces"), *(Cell(str(count)) for count in counts))))
    told = []
    for phase in states:
        care = _care(view, [view.value(each.id, phase.id, at) for each in ALL])
        told += [f"At {phase.title}: {care}."] if care else []
    columns = (Column("Parameter"), *(Column(words.sentence(phase.title), numeric=True) for phase in states))
    return Table(name, columns, rows, note=" ".join(told))


# ---- wear of the bore -----------------------------------------------------------------------------------------------


def _wear_table(view: View, phases: Sequence[Phase], places: Sequence[str]) -> Table:
    rows, below = [], False
    for phase in phases[1:]:
        for at in places:
            values = [view.value(each.id, phase.id, at) for each in WEAR]
            below = below or any(value is not None and value.status == "below" for value in values)
            cells = [Cell(words.sentence(place_title(at)), note="" if len(phases) == 2 else phase.title)]
            rows.append(Row((*cells, *(_cell(view, value) for value in values))))
    columns = (
        Column("Place in the bore"), Column("Wear, from the step", "µm", numeric=True, measure=measures.WEAR_STEP.id),
        Column("Wear, valleys aligned", "µm", numeric=True, measure=measures.WEAR_VALLEYS.id),
        Column("Plateau formed", "%", numeric=True, measure=measures.PLATEAU.id),
    )  # fmt: skip
    note = "95\u00a0% intervals from the scatter of the traces of a place."
    note += " “Below” says what these traces could have shown at all." if below else ""
    return Table(
        f"bore-wear-{view.the_build.id}-{view.cylinder}", columns, rows, _wear_reading(view, phases), note=note
    )


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


def _care(view: View, values: Iterable[Value | None]) -> str:
    found = {flag for value in values if value is not None for flag in value.flags}
    found |= {value.reason for value in values if value is not None and value.status == "refused"}
    return "; ".join(view.why(code) for code in sorted(found))


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
    filters = words.listed([told for name, told in FILTERS.items() if name in chosen])
    return f"Filter: {filters}; {cutoffs}. {tip}.{instrument}"


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


def _faces(view: View, phases: Sequence[Phase], places: Sequence[str], pictures: dict[str, list[Image]]) -> list[Block]:
    """Sections across the ring face: beside the picture where there is one, then the others, and all numbers."""
    if len(phases) < 2:
        return [Text((Cell(f"The ring face was traced at {phases[0].title} only."),), "note")]
    last = phases[-1]
    series = _by_place(view, "surface.face")
    name = f"{view.the_build.id}-{view.cylinder}"
    panels = {
        at: _face_panel(
            view,
            at,
            series[last.id, at],
            "Section across the face" if at in pictures else words.sentence(place_title(at)),
        )
        for at in places
        if (last.id, at) in series
    }
    blocks: list[Block] = []
    reading = _face_reading(view, last)
    if panels:
        blocks.append(Text((Cell(reading),), "reading"))
    if layer := layer_reading(view, last):
        blocks.append(Text((Cell(layer),), "reading"))
    for at in [at for at in panels if at in pictures]:
        own = f"{name}-{at.replace('/', '-')}"
        rows = [
            Row((Cell(f"{RING[each]}, {each.unit}", href=view.href_methods(each.id)),
                 _cell(view, view.value(each.id, last.id, at))))
            for each in _AT_ANGLE
        ]  # fmt: skip
        if left := view.value(measures.LAYER_LEFT.id, last.id, at):
            rows.append(Row((Cell(f"{_LAYER_LEFT}, µm", href=view.href_methods(left.measure)), _cell(view, left))))
        numbers = Table(
            f"ring-numbers-{own}",
            (Column("Of this section"), Column(words.sentence(last.title), numeric=True)),
            rows,
        )
        blocks.append(
            Beside(
                f"ring-{own}",
                words.sentence(place_title(at)),
                (
                    Images(f"ring-pictures-{own}", pictures[at]),
                    Figure(f"ring-section-{own}", "curves", (panels.pop(at),)),
                    numbers,
                ),
            )
        )
    if panels:
        caption = (
            "Sections across the face, over mm, before in grey and after, laid over each other on the unworn flanks. "
            "Shaded: contact band."
        )
        blocks.append(Figure(f"ring-face-{name}", "curves", list(panels.values()), "", caption))
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
    return [*blocks, Table(f"ring-wear-{name}", ring_columns("Ring and angle"), rows,
                           "" if series else reading, note=note, wide=True)]  # fmt: skip


def ring_columns(first: str, shown: Iterable[Measure] = tuple(RING)) -> tuple[Column, ...]:
    """Columns of the numbers of a ring face, with what gap and balance say beside them."""
    return (
        Column(first),
        Column("Mass lost", "mg", numeric=True, measure=MASS_LOSS),
        *(Column(RING[each], each.unit, numeric=True, measure=each.id) for each in shown),
        Column("Wear by the gap", "µm", numeric=True, measure=FROM_GAP),
    )


def _face_panel(view: View, at: str, series: Series, title: str) -> Panel:
    frame = series.frame
    path: list[ChartRow] = [
        {"at": round(x, 3), "value": round(z, 2), "line": state, "grey": state == "before", "series": state}
        for x, z, state in zip(frame["x"].tolist(), frame["z"].tolist(), frame["state"].tolist(), strict=True)
    ]
    begin, end = float(frame["begin"].iloc[0]), float(frame["end"].iloc[0])
    bands: list[ChartRow] = [{"at": begin, "to": end, "label": "contact band"}] if end > begin else []
    ends: dict[str, Datum] = {"from": 0.0, "to": float(frame["x"].max()), "unit": "µm", "along": "mm"}
    coating = view.the_build.coating_of(view.cylinder)
    label = f"Face of the {place_title(at)}, before and after"
    return Panel(
        title, {"path": path, "bands": bands}, ends, coating, label=label, axis="Height, µm", along="Along the face, mm"
    )


def _face_reading(view: View, last: Phase) -> str:
    band = view.value(measures.BAND.id, last.id, "top")
    depth = view.value(measures.FACE_DEPTH.id, last.id, "top")
    if depth is None or depth.value is None:
        return ""
    at_angle = [
        value
        for value in view.values(measures.FACE_DEPTH.id, engine=view.the_build, cylinder=view.cylinder, phase=last.id)
        if value.value is not None and value.key.at.startswith("top/")
    ]
    told = f"At {last.title} the core of the worn band of the top ring had worn by {view.text(depth, unit=True)}"
    if len(at_angle) > 1:
        most = max(at_angle, key=lambda value: value.value or 0.0)
        where = place_title(most.key.at).removeprefix("top ring, ")
        told += f", the mean of {words.counted(len(at_angle), 'angle')}; most {where}, by {view.text(most, unit=True)}"
    if band is not None and band.value is not None:
        told += f". The contact band is {view.text(band, unit=True)} wide"
    lost = view.value(MASS_LOSS, last.id, "top")
    if lost is not None and lost.value is not None:
        told += f". By the balance the whole ring lost {view.text(lost, unit=True)}, the lead measure of its wear"
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
    return [Table(f"traces-left-out-{view.the_build.id}-{view.cylinder}", columns, rows)]


def _told(view: View, what: str) -> str:
    """What is to be looked at in a trace, in words."""
    code, *more = what.split(":")
    told = words.sentence(view.why(code))
    if more:
        name, ratio = more
        told += f": stated {name} is {words.number(float(ratio), 2)} times ours"
    return f"{told}."
