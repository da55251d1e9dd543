"""What the traces say on the pages. Formats what the steps concluded; computes nothing but what is drawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sitegen.streams.surfaces import measures
from sitegen.streams.surfaces.fields import RINGS
from sitegen.vocabulary import Block, Cell, Column, Figure, Measure, Panel, Row, Section, Series, Table, Text, Value

_SHOWN = (measures.RK, measures.RPK, measures.RVK, measures.MR2, measures.RA, measures.RZ)
_ALL = (*measures.ROUGHNESS, measures.RK_PLAIN)
_HEIGHTS = {"top-reversal": "top reversal", "mid-stroke": "mid stroke", "bottom-reversal": "bottom reversal"}
_WEAR = (measures.WEAR_STEP, measures.WEAR_VALLEYS, measures.PLATEAU)
FILTER = "robust Gaussian, ISO 16610-31"


def place_title(at: str) -> str:
    """A place as it is read.

    >>> place_title("thrust/top-reversal"), place_title("top/90-deg"), place_title("top")
    ('thrust side, top reversal', 'top ring, 90° from the gap', 'top ring, mean of all angles')
    """
    one, _, other = at.partition("/")
    if one in RINGS.values():
        where = f"{other.removesuffix('-deg')}° from the gap" if other else "mean of all angles"
        return f"{one} ring, {where}"
    return f"{one} side, {_HEIGHTS.get(other, other)}"


def _traced(view: Any) -> list[Any]:
    return [phase for phase in view.phases if view.records("surfaces", phase=phase.id, used=True)]


def _places(view: Any, bore: bool) -> list[str]:
    """Places of this cylinder in the order of the record."""
    found: dict[str, None] = {}
    for row in view.records("surfaces", used=True):
        if (row.part == "bore") == bore:
            at = f"{row.side}/{row.height}" if bore else f"{RINGS[row.part]}/{_degrees(row.angle):.0f}-deg"
            found[at] = None
    return list(found)


def _degrees(angle: float) -> float:
    return angle * 57.29577951308232


# ---- a cylinder -----------------------------------------------------------------------------------------------------


def cylinder_surfaces(view: Any) -> Sequence[Block]:
    """Bore and ring face of one cylinder, before and after: numbers, traces, curves."""
    phases = _traced(view)
    if not phases:
        return _left_out(view)
    blocks: list[Block] = []
    bores, rings = _places(view, bore=True), _places(view, bore=False)
    if bores:
        blocks.append(_wear_table(view, phases, bores))
        blocks += _traces(view, phases, bores)
        blocks += _curves(view, phases, bores)
        blocks.append(_roughness_table(view, phases, bores))
    if rings:
        blocks += _faces(view, phases, rings)
    return [*blocks, *_left_out(view)]


def _wear_table(view: Any, phases: Sequence[Any], places: Sequence[str]) -> Table:
    rows = []
    for phase in phases[1:]:
        for at in places:
            values = [view.value(each.id, phase.id, at) for each in _WEAR]
            cells = [Cell(view.words.sentence(place_title(at)), note="" if len(phases) == 2 else phase.title)]
            rows.append(Row((*cells, *(_cell(view, value) for value in values))))
    columns = (
        Column("Place in the bore"), Column("Wear, from the step", "µm", numeric=True, measure=measures.WEAR_STEP.id),
        Column("Wear, valleys aligned", "µm", numeric=True, measure=measures.WEAR_VALLEYS.id),
        Column("Plateau formed", "%", numeric=True, measure=measures.PLATEAU.id),
    )  # fmt: skip
    note = (
        "95 % intervals from the scatter of the traces of a place. “Below” says what these traces could have shown at "
        "all."
    )
    return Table(
        f"bore-wear-{view.the_build.id}-{view.cylinder}", columns, rows, _wear_reading(view, phases), note=note
    )


def _cell(view: Any, value: Value | None) -> Cell:
    if value is None:
        return Cell(view.words.DASH)
    note = view.why(value.reason) if value.status == "refused" else ""
    return Cell(view.text(value), note=view.words.sentence(note) if note else "")


def _wear_reading(view: Any, phases: Sequence[Any]) -> str:
    """The wear at the reversal and whether the peaks are gone, in one sentence."""
    words = view.words
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
        told.append(
            f"{words.with_unit(_span(view, gone, 0), '%')} of the first peak height {'was' if told else 'is'} gone"
        )
    return f"{words.sentence('; '.join(told))}." if told else ""


def _roughness_table(view: Any, phases: Sequence[Any], places: Sequence[str]) -> Table:
    """Every parameter at every place and state."""
    rows = []
    for at in places:
        for phase in phases:
            values = [view.value(each.id, phase.id, at) for each in _ALL]
            known = next((value for value in values if value is not None), None)
            if known is None:
                continue
            rows.append(
                Row(
                    (
                        Cell(view.words.sentence(place_title(at)), note=_care(view, values)),
                        Cell(phase.title),
                        Cell(str(known.n) if known.status == "ok" else view.words.DASH),
                        *(Cell(view.text(value)) for value in values),
                    )
                )
            )
    columns = (
        Column("Place"), Column("State"), Column("Traces", numeric=True),
        *(Column(_short(each), each.unit if each.unit != "1" else "", numeric=True, measure=each.id) for each in _ALL),
    )  # fmt: skip
    name = f"bore-roughness-{view.the_build.id}-{view.cylinder}"
    note = (
        f"{_conditions(view, 'bore')} The one column headed plain Gaussian is for comparison with instruments that "
        "have no other filter."
    )
    return Table(name, columns, rows, note=note, wide=True)


def _short(measure: Measure) -> str:
    return measure.title.removeprefix("bore ").removeprefix("oil volume ")


def _care(view: Any, values: Iterable[Value | None]) -> str:
    found = {flag for value in values if value is not None for flag in value.flags}
    found |= {value.reason for value in values if value is not None and value.status == "refused"}
    return view.words.sentence("; ".join(str(view.why(code)) for code in sorted(found))) if found else ""


def _conditions(view: Any, part: str) -> str:
    """Filter, cutoffs, tip and instrument, as the traces were taken and evaluated."""
    words = view.words
    rows = [row for row in view.records("surfaces", used=True) if (row.part == "bore") == (part == "bore")]
    if not rows:
        return ""

    def each(name: str, unit: str, scale: float, digits: int) -> str:
        found = sorted({getattr(row, name) for row in rows if getattr(row, name) == getattr(row, name)})
        if not found:
            return "not stated"
        return str(words.with_unit(words.listed([words.number(scale * one, digits) for one in found]), unit))

    tools = sorted({str(row.instrument) for row in rows if isinstance(row.instrument, str)})
    titles = [view.folder.definitions.tools[tool].title for tool in tools if tool in view.folder.definitions.tools]
    instrument = f" Traced with: {words.listed(titles)}." if titles else ""
    tip = f"Tip radius {each('tip', 'µm', 1e6, 1)}"
    if part != "bore":
        return f"{tip}; unfiltered.{instrument}"
    cutoffs = f"λc {each('cutoff', 'mm', 1e3, 1)}, λs {each('cutoff_short', 'µm', 1e6, 1)}"
    return f"Filter: {FILTER}; {cutoffs}. {tip}.{instrument}"


def _traces(view: Any, phases: Sequence[Any], places: Sequence[str]) -> list[Block]:
    """The first trace of each place, before in grey, after in the coating's colour."""
    series = _by_place(view, "surface.trace")
    panels, shown, of = [], 0, 0
    coating = view.the_build.coating_of(view.cylinder)
    for at in places:
        path: list[dict[str, Any]] = []
        for number, phase in enumerate(phases):
            each = series.get((phase.id, at))
            if each is None:
                continue
            shown, of = shown + len(each.frame), of + int(each.frame["of"].iloc[0])
            path += [
                {"at": round(x, 3), "value": round(z, 2), "line": phase.id, "grey": number == 0, "series": phase.title}
                for x, z in zip(each.frame["x"].tolist(), each.frame["z"].tolist(), strict=True)
            ]
        if not path:
            continue
        title = view.words.sentence(place_title(at))
        end = max(row["at"] for row in path)
        data = {"path": path, "bands": _unswept(view, at)}
        panels.append(
            Panel(title, data, {"from": 0.0, "to": end}, coating, note="µm", label=f"Traces, {place_title(at)}")
        )
    if not panels:
        return []
    states = " and ".join(phase.title for phase in (phases[0], phases[-1]) if len(phases) > 1) or phases[0].title
    caption = (
        f"One trace of each place at {states}, over mm, levelled; not the same spot twice, so that grooves differ. "
        f"Unfiltered. {view.words.number(shown)} of {view.words.number(of)} points drawn, extremes kept."
    )
    return [Figure(f"bore-traces-{view.the_build.id}-{view.cylinder}", "curves", panels, "", caption, one_scale=False)]


def _unswept(view: Any, at: str) -> list[dict[str, Any]]:
    """The band above the reversal that no ring ever swept."""
    for row in view.records("surfaces", used=True):
        if row.part == "bore" and f"{row.side}/{row.height}" == at and row.unswept_to == row.unswept_to:
            return [{"at": 0.0, "to": 1e3 * float(row.unswept_to), "label": "never swept"}]
    return []


def _curves(view: Any, phases: Sequence[Any], places: Sequence[str]) -> list[Block]:
    """Mean material-ratio curves, laid over each other at the valleys."""
    series = _by_place(view, "surface.curve")
    panels = []
    coating = view.the_build.coating_of(view.cylinder)
    for at in places:
        path = [
            {"at": round(ratio, 2), "value": round(z, 3), "line": phase.id, "grey": number == 0, "series": phase.title}
            for number, phase in enumerate(phases)
            if (phase.id, at) in series
            for ratio, z in zip(*(series[phase.id, at].frame[name].tolist() for name in ("ratio", "z")), strict=True)
        ]
        if path:
            title = view.words.sentence(place_title(at))
            panels.append(
                Panel(title, {"path": path}, {"from": 0.0, "to": 100.0}, coating, note="µm",
                      label=f"Material-ratio curves, {place_title(at)}")
            )  # fmt: skip
    if not panels:
        return []
    caption = (
        "Height over the share of material in %, mean of the traces of a place, laid over each other where the valleys "
        f"are (92 to 99 %), which wear does not reach. Filter: {FILTER}."
    )
    name = f"bore-curves-{view.the_build.id}-{view.cylinder}"
    return [Figure(name, "curves", panels, _curve_reading(view, phases), caption)]


def _curve_reading(view: Any, phases: Sequence[Any]) -> str:
    words = view.words
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
    first, last = (words.with_unit(_span(view, side, 2), "µm") for side in sides)
    went = "fell" if max(sides[1]) < min(sides[0]) else "rose" if min(sides[1]) > max(sides[0]) else "went"
    return f"The core of the surface, Rk, {went} from {first} at {phases[0].title} to {last} at {phases[-1].title}."


def _span(view: Any, values: Sequence[float], digits: int) -> str:
    low, high = (view.words.number(each, digits) for each in (min(values), max(values)))
    return str(view.words.from_to(low, high))


def _by_place(view: Any, name: str) -> dict[tuple[str, str], Series]:
    return {(each.key.phase, each.key.at): each for each in view.series(name)}


def _faces(view: Any, phases: Sequence[Any], places: Sequence[str]) -> list[Block]:
    """Sections across the ring face, and the numbers of each angle."""
    if len(phases) < 2:
        return [Text((Cell(f"The ring face was traced at {phases[0].title} only."),), "note")]
    last = phases[-1]
    coating = view.the_build.coating_of(view.cylinder)
    series = _by_place(view, "surface.face")
    panels = []
    for at in places:
        each = series.get((last.id, at))
        if each is None:
            continue
        frame = each.frame
        path = [
            {"at": round(x, 3), "value": round(z, 2), "line": state, "grey": state == "before", "series": state}
            for x, z, state in zip(frame["x"].tolist(), frame["z"].tolist(), frame["state"].tolist(), strict=True)
        ]
        begin, end = float(frame["begin"].iloc[0]), float(frame["end"].iloc[0])
        bands = [{"at": begin, "to": end, "label": "contact band"}] if end > begin else []
        title = view.words.sentence(place_title(at))
        panels.append(
            Panel(title, {"path": path, "bands": bands}, {"from": 0.0, "to": float(frame["x"].max())}, coating,
                  note="µm", label=f"Face of the {place_title(at)}, before and after")
        )  # fmt: skip
    blocks: list[Block] = []
    name = f"{view.the_build.id}-{view.cylinder}"
    if panels:
        caption = (
            "Sections across the face, over mm, before in grey and after, laid over each other on the unworn flanks. "
            "Shaded: contact band."
        )
        blocks.append(Figure(f"ring-face-{name}", "curves", panels, _face_reading(view, last), caption))
    rows = []
    for at in [*places, *dict.fromkeys(at.partition("/")[0] for at in places)]:
        values = [view.value(each, last.id, at) for each in (*(one.id for one in _RING), FROM_GAP)]
        if any(value is not None for value in values[:-1]):
            rows.append(Row((Cell(view.words.sentence(place_title(at))), *(_cell(view, value) for value in values))))
    columns = (
        Column("Ring and angle"),
        *(Column(title, each.unit, numeric=True, measure=each.id) for each, title in _RING.items()),
        Column("Wear by the gap", "µm", numeric=True, measure=FROM_GAP),
    )
    note = (
        f"Bounds from how the flanks fit. {_conditions(view, 'ring')} The gap opening is a second reading, "
        "blind below about 3 µm."
    )
    blocks.append(Table(f"ring-wear-{name}", columns, rows, "" if panels else _face_reading(view, last), note=note,
                        wide=True))  # fmt: skip
    return blocks


FROM_GAP = "wear.face_from_gap"  # of the build sheet
_RING = {
    measures.FACE_DEPTH: "Deepest wear",
    measures.BAND: "Contact band",
    measures.FACE_AREA: "Worn area",
    measures.FACE_VOLUME: "Worn volume",
    measures.COATING_LEFT: "Coating left",
    measures.RATE: "Specific wear rate",
    measures.RATE_GAS: "Gas in the load",
}


def _face_reading(view: Any, last: Any) -> str:
    words = view.words
    band = view.value(measures.BAND.id, last.id, "top")
    depth = view.value(measures.FACE_DEPTH.id, last.id, "top")
    left = view.value(measures.COATING_LEFT.id, last.id, "top")
    if left is not None and "worn-through" in left.flags:
        return f"At {last.title} the coating of the top ring is worn through where it wore deepest."
    if depth is None or depth.value is None:
        return ""
    told = f"At {last.title} the face of the top ring had worn by {view.text(depth, unit=True)} where it was deepest"
    if band is not None and band.value is not None:
        told += f", over a contact band {view.text(band, unit=True)} wide"
    if left is not None and left.value is not None:
        told += f"; {words.with_unit(words.number(left.value, 1), 'µm')} of coating are left, from the stated thickness"
    return f"{told}."


def _left_out(view: Any) -> list[Block]:
    """Traces that were set aside, each with its reason."""
    rows = [
        Row(
            (
                Cell(str(row.trace)),
                Cell("left out", word=True, note=view.words.sentence(view.why(row.use))),
            ),
            here=True,
            anchor=f"reading-{row.reading}",
        )
        for row in view.records("surfaces")
        if row.use != ""
    ]
    if not rows:
        return []
    columns = (Column("Trace"), Column("Use"))
    return [Table(f"traces-left-out-{view.the_build.id}-{view.cylinder}", columns, rows)]


# ---- a build --------------------------------------------------------------------------------------------------------


def engine_surfaces(view: Any) -> Sequence[Block]:
    """All cylinders and places of a build by parameter, at the last state; sorted in the browser."""
    phases = _traced(view)
    if not phases:
        return ()
    last = phases[-1]
    shown = (*_WEAR, *_SHOWN)
    rows, rings = [], []
    for place in view.the_build.places:
        one = view.of_cylinder(view.the_build, place.cylinder)
        link = view.href_cylinder(view.the_build, place.cylinder, "surfaces")
        name = Cell(f"cylinder {place.cylinder}", href=link, coating=place.coating)
        for at in _places(one, bore=True):
            values = [one.value(each.id, last.id, at) for each in shown]
            rows.append(Row((name, Cell(place_title(at)), *(_short_cell(view, value) for value in values))))
        values = [one.value(each, last.id, "top") for each in (*(other.id for other in _RING), FROM_GAP)]
        if any(value is not None for value in values[:-1]):
            rings.append(Row((name, *(_short_cell(view, value) for value in values))))
    blocks: list[Block] = []
    if rows:
        columns = (
            Column("Cylinder"), Column("Place in the bore"),
            *(Column(_heading(each), each.unit if each.unit != "1" else "", numeric=True, measure=each.id)
              for each in shown),
        )  # fmt: skip
        note = f"At {last.title}. {_conditions(view, 'bore')}"
        table = f"surfaces-{view.the_build.id}"
        blocks.append(Table(table, columns, rows, _engine_reading(view, last), note=note, wide=True))
    if rings:
        columns = (
            Column("Cylinder"),
            *(Column(title, each.unit, numeric=True, measure=each.id) for each, title in _RING.items()),
            Column("Wear by the gap", "µm", numeric=True, measure=FROM_GAP),
        )
        note = f"At {last.title}, means over the angles; bounds from how the flanks fit."
        blocks.append(Table(f"ring-faces-{view.the_build.id}", columns, rings, note=note, wide=True))
    return blocks


def _heading(measure: Measure) -> str:
    return {
        measures.WEAR_STEP.id: "Wear, from the step",
        measures.WEAR_VALLEYS.id: "Wear, valleys aligned",
        measures.PLATEAU.id: "Plateau formed",
    }.get(measure.id, _short(measure))


def _short_cell(view: Any, value: Value | None) -> Cell:
    return Cell(view.words.DASH if value is None or value.status == "refused" else view.text(value))


def _engine_reading(view: Any, last: Any) -> str:
    words = view.words
    known = [
        value
        for value in view.values(measures.WEAR_STEP.id, engine=view.the_build, phase=last.id)
        if value.value is not None
    ]
    places = view.the_build.places
    traced = [one.cylinder for one in places if _places(view.of_cylinder(view.the_build, one.cylinder), bore=True)]
    noun, verb = ("Cylinder", "was") if len(traced) == 1 else ("Cylinders", "were")
    of = f"{noun} {words.numbers_listed(traced)} of {len(places)} {verb} traced"
    if not known:
        return f"{of}."
    span = words.with_unit(_span(view, [value.value for value in known], 2), "µm")
    return f"{of}; at {last.title} bores had worn by {span} at the top reversal."


# ---- a coating ------------------------------------------------------------------------------------------------------


def coating_surfaces(view: Any) -> Sequence[Block]:
    """Dots by build: plateau, bore wear and ring face wear of the cylinders with this coating."""
    coating = view.coating.id
    panels = []
    rows: list[Row] = []
    for measure in (measures.PLATEAU, measures.WEAR_STEP, measures.FACE_DEPTH, measures.BAND):
        lines: list[dict[str, Any]] = []
        dots: list[dict[str, Any]] = []
        for build in view.builds:
            values = [
                value
                for value in view.values(measure.id, engine=build, coating=coating)
                if value.value is not None and (measure.id.startswith("bore.") or value.key.at == "top")
            ]
            if not values:
                continue
            y = len(lines)
            lines.append({"y": y, "label": build.id})
            for value in values:
                where = f"{build.id} cylinder {value.key.cylinder}, {place_title(value.key.at)}"
                tip = f"{where}: {view.text(value, unit=True)}"
                dots.append({"y": y, "value": value.value, "coating": coating, "tip": tip})
                rows.append(
                    Row(
                        (
                            Cell(build.id, href=view.href_engine(build, "surfaces")),
                            Cell(str(value.key.cylinder)),
                            Cell(view.words.sentence(place_title(value.key.at))),
                            Cell(view.words.sentence(measure.title)),
                            Cell(view.text(value)),
                            Cell(measure.unit),
                        )
                    )
                )
        if dots:
            title = view.words.sentence(measure.title)
            panels.append(
                Panel(title, {"lines": lines, "dots": dots}, coating=coating, note=measure.unit,
                      label=f"{title} by build")
            )  # fmt: skip
    if not panels:
        return ()
    columns = (
        Column("Build"), Column("Cylinder", numeric=True), Column("Place"), Column("Measure"),
        Column("Value", numeric=True), Column("Unit"),
    )  # fmt: skip
    table = Table(f"{view.program.id}-surfaces", columns, rows)
    builds = view.words.counted(len({row.cells[0].text for row in rows}), "build")
    reading = f"Traced in {builds}: a dot a cylinder and place."
    caption = (
        "Places of a bore wear differently: compare like with like. Builds that ran other distances do not compare."
    )
    name = f"{view.program.id}-surfaces-by-build"
    return (Figure(name, "dots", panels, reading, caption, table, one_scale=False),)


SECTIONS = (
    Section("surfaces", "Surfaces", 49, "engine", engine_surfaces),
    Section("surfaces", "Surfaces", 35, "cylinder", cylinder_surfaces),
    Section("surfaces", "Surfaces", 25, "coating", coating_surfaces),
)
