"""What the rig says on the pages of a program and of a coating: what it can show first, then what it shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sitegen.declarations import Section
from sitegen.methods.rig import CHANCE, CORRELATION
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text, number_of
from sitegen.page.view import View
from sitegen.streams.rig.fields import Reading
from sitegen.streams.rig.measures import (
    BAND,
    MU,
    MU_LEVEL,
    MU_RATIO,
    MU_SMALLEST,
    RAW,
    RUN_IN,
    WEAR,
    WEAR_LEVEL,
    WEAR_RATIO,
    WEAR_SMALLEST,
)
from sitegen.vocabulary import Key, Value

AGREEMENT, P, LEAST_P, ON_RIG, IN_ENGINE = (  # of a crossing step: no stream imports one
    "bench.agreement", "bench.p", "bench.least_p", "bench.rig", "bench.engine",
)  # fmt: skip
_FRICTION, _WEAR = (MU_LEVEL, MU_RATIO, MU_SMALLEST), (WEAR_LEVEL, WEAR_RATIO, WEAR_SMALLEST)
_NO_CLAIM = "ASTM G181, which asks for the conditions, claims no correlation of a bench to an engine."
_CLASSES = {"mid": "mid-stroke", "reversal": "reversal", "any": "strokes of no class named"}
_UNITS = {"N": "N", "Hz": "Hz", "C": "°C", "mm": "mm"}
_ENOUGH = 0.05
_SERIES = 0.95
_TINY = 1e-9
_POINTS = (("at", 0), ("value", 4))


def of_program(view: View) -> Sequence[Block]:
    """The series: the sentence, coatings by place, specimens, curves, map, and engines beside it."""
    if view.folder.blind or not view.records("rig", Reading, used=True):
        return []  # all of it is of a coating
    told = list(_told(view))
    blocks: list[Block] = [Text((Cell(" ".join(told)),), "reading")]
    blocks += [table for table in (_coatings(view, _FRICTION, "friction"), _coatings(view, _WEAR, "wear")) if table]
    blocks += [block for pair in view.program.rig.against for block in _pair(view, pair.id, pair.title)]
    blocks += _curves(view)
    blocks += [table for table in (_map(view), _specimens(view)) if table]
    notes = list(_notes(view))
    return [*blocks, Text((Cell(" ".join([*notes, _NO_CLAIM])),), "note")]


def of_coating(view: View) -> Sequence[Block]:
    """Levels and ratios of one coating in one program."""
    coating = view.the_coating.id
    rows = []
    for (level, ratio, _), what in ((_FRICTION, "friction coefficient"), (_WEAR, "wear, µm³/(N·m)")):
        for value in _ordered(view.values(level.id)):
            if value.key.coating == coating and value.status == "ok":
                over = _find(view, ratio.id, coating, value.key.at)
                rows.append(Row([Cell(what), Cell(place(value.key.at)), view.cell(value), view.cell(over),
                                 Cell(str(value.n))]))  # fmt: skip
    if not rows:
        return []
    columns = [Column("On the rig"), Column("Conditions"), Column("Mean", numeric=True),
               Column("Over the reference’s", "1", numeric=True), Column("Specimens", numeric=True)]  # fmt: skip
    first = _ordered([value for value in view.values(MU_LEVEL.id) if value.key.coating == coating])
    reading = _NO_CLAIM
    if first and first[0].value is not None:
        over = _find(view, MU_RATIO.id, coating, first[0].key.at)
        told = f"{view.text(first[0])}, the reference"
        if over is not None:
            told = f"{view.text(over)} of the reference’s"
            if over.low is not None and over.high is not None and over.low <= 1 <= over.high:
                told = f"not told from the reference’s, ratio {view.text(over)}"
        specimens, where = words.counted(first[0].n, "specimen"), place(first[0].key.at).partition(",")[0]
        reading = f"Friction at {where} {told}, {specimens}. {_NO_CLAIM}"
    return [Table(f"rig-{view.program.id}", columns, rows, reading, wide=True)]


# ---- words ----------------------------------------------------------------------------------------------------------


def place(at: str) -> str:
    """A place in words.

    >>> place("80-N/10-Hz/110-C/8-mm/gas-40/mid").replace(chr(160), " ")
    'mid-stroke, 80 N, 10 Hz, 110 °C, 8 mm, gas-40'
    """
    parts = at.split("/")
    where = _CLASSES.get(parts[-1], "") if len(parts) > 5 else ""
    told = []
    for part in parts[:4]:
        number, _, unit = part.rpartition("-")
        told.append(words.with_unit(number, _UNITS.get(unit, unit)) if number else part)
    return ", ".join(filter(None, [where, *told, *parts[4:5]]))


def _title(view: View, coating: str) -> str:
    return view.coating_title(coating)


def _find(view: View, measure: str, coating: str, at: str) -> Value | None:
    return next((each for each in view.values(measure) if each.key == Key(coating=coating, at=at)), None)


def _ordered(values: Sequence[Value]) -> list[Value]:
    """Where most specimens are first, mid-stroke before reversal, then by load."""

    def load(at: str) -> float:
        number = at.partition("-")[0]
        return float(number) if number.replace(".", "").isdigit() else 0.0

    most: dict[str, int] = {}
    for value in values:
        most[value.key.at] = max(most.get(value.key.at, 0), value.n)
    return sorted(values, key=lambda each: (
        -most[each.key.at], each.key.at.rpartition("/")[2] == "reversal", load(each.key.at), each.key.at,
    ))  # fmt: skip


def _told(view: View) -> Iterator[str]:
    """What the specimens can show and show, the first place of friction and of wear."""
    for (level, ratio, smallest), what in ((_FRICTION, "friction"), (_WEAR, "wear")):
        ratios = _ordered(view.values(ratio.id))
        levels = [value for value in view.values(level.id) if value.value is not None]
        if not ratios:
            if levels:
                yield f"{words.sentence(what)} on the rig is of no coating beside the reference: nothing to compare."
            continue
        at = ratios[0].key.at
        least = [each for each in view.values(smallest.id) if each.key.at == at and each.value is not None]
        ranked = [each for each in ratios if each.key.at == at and each.value is not None]
        where = f" ({place(at).partition(',')[0]})" if what == "friction" else ""
        if least:
            worst = max(least, key=lambda each: each.value or 0.0)
            size = worst.value or 1.0
            yield (
                f"{words.sentence(words.counted(worst.n, 'specimen'))} show {what} ratios from "
                f"{words.number(size, 2)} on. "
                f"Ratios so far from 1, upwards or down to {words.number(1 / size, 2)}, are found four times in five."
            )
        told = [_one(view, each, what) for each in ranked]
        yield f"{words.sentence(words.listed(told))}{where}."


def _one(view: View, value: Value, what: str) -> str:
    """A ratio as a clause; where it may be one, no difference is told."""
    title, reference = _title(view, value.key.coating), _title(view, view.program.reference)
    if value.value is None or value.low is None or value.high is None:
        return (
            f"{what} with {title} is {words.number(value.value or 0.0, 2)} of that with {reference}, without an "
            f"interval, since {view.why('one-specimen')}"
        )
    size = words.with_interval(value.value, value.low, value.high)
    if value.low <= 1 <= value.high:
        return f"no difference in {what} is told between {title} and {reference}, ratio {size}"
    return f"{what} with {title} is {size} of that with {reference}"


def _notes(view: View) -> Iterator[str]:
    flags = sorted({flag for measure in (MU_RATIO, WEAR_RATIO, MU) for value in view.values(measure.id)
                    for flag in value.flags if flag.startswith("rig-")})  # fmt: skip
    for flag in flags:
        yield f"Of some specimens: {view.why(flag)}."
    count = sum(value.low is not None for ratio in (MU_RATIO, WEAR_RATIO) for value in view.values(ratio.id))
    if count > 1:
        chance = 1 - _SERIES**count
        yield (
            f"Each of these {count} ratios has its own 95 % interval: were all coatings alike, one or more would miss "
            f"1 in up to {words.number(100 * chance, 0)} of 100 such series."
        )


# ---- tables ---------------------------------------------------------------------------------------------------------


def _coatings(view: View, of: Sequence[object], what: str) -> Table | None:
    level, ratio, smallest = _FRICTION if of is _FRICTION else _WEAR
    order = {name: n for n, name in enumerate((view.program.reference, *view.program.candidates))}
    own = sorted(view.values(level.id), key=lambda value: order.get(value.key.coating, len(order)))
    levels = [value for value in _ordered(own) if value.value is not None]
    if not levels:
        return None
    rows = []
    for value in levels:
        coating, at = value.key.coating, value.key.at
        over = _find(view, ratio.id, coating, at)
        rows.append(Row([Cell(place(at)), view.coating_cell(coating), Cell(str(value.n)), view.cell(value),
                         view.cell(_find(view, smallest.id, coating, at)), view.cell(over)]))  # fmt: skip
    unit = view.measures[level.id].unit
    columns = [
        Column("Conditions"), Column("Coating"), Column("Specimens", numeric=True),
        Column("Mean", "" if unit == "1" else unit, numeric=True, measure=level.id),
        Column("Smallest ratio found four times in five", numeric=True, measure=smallest.id),
        Column("Over the reference’s", numeric=True, measure=ratio.id),
    ]  # fmt: skip
    return Table(f"rig-{what}", columns, rows, caption=f"{words.sentence(what)} by coating", wide=True,
                 note="Means and ratios with 95 % intervals over specimens; of one there is none.")  # fmt: skip


def _specimens(view: View) -> Table | None:
    rows = []
    raws = {value.key: value for value in view.values(RAW.id)}
    folds = {value.key: value for value in view.values(RUN_IN.id)}
    for value in sorted(view.values(MU.id), key=_by_name):
        name, _, at = value.key.at.partition("/")
        raw = raws.get(value.key)
        note = f"as read {view.text(raw, interval=False)}" if raw is not None else ""
        cell = view.cell(value)
        told = Cell(cell.text, note="; ".join(filter(None, [cell.note, note])))
        fold = folds.get(value.key)
        none = fold is not None and fold.reason == "no-change-beyond-scatter"
        rows.append(Row([Cell(name), view.coating_cell(value.key.coating), Cell(place(at)), told,
                         Cell("none seen") if none else view.cell(fold)]))  # fmt: skip
    if not rows and not view.values(WEAR.id):
        return None
    for value in sorted(view.values(WEAR.id), key=_by_name):
        name, _, at = value.key.at.partition("/")
        cell = view.cell(value)
        text = words.with_unit(cell.text, "µm³/(N·m)") if value.value is not None else cell.text
        rows.append(Row([Cell(name), view.coating_cell(value.key.coating), Cell(f"wear, {place(at)}"),
                         Cell(text, note=cell.note), Cell(words.DASH)]))  # fmt: skip
    columns = [Column("Specimen"), Column("Coating"), Column("Conditions"),
               Column("Friction coefficient, or wear", numeric=True, measure=MU.id),
               Column("Running-in, time constant", "s", numeric=True, measure=RUN_IN.id)]  # fmt: skip
    return Table("rig-specimens", columns, rows, caption="Specimens", wide=True,
                 note="95 % intervals over the strokes of one specimen: they are not those of a coating.")  # fmt: skip


def _by_name(value: Value) -> tuple[int, str]:
    """S2 before S10."""
    name = value.key.at.partition("/")[0]
    return len(name), value.key.at


def _map(view: View) -> Table | None:
    values = [value for value in view.values(BAND.id) if value.value is not None]
    if not values:
        return None
    values.sort(key=lambda value: (value.key.at.rpartition("/")[2] != "mid", float(value.key.at.partition("-to-")[0])))
    coatings = [name for name in (view.program.reference, *view.program.candidates)
                if any(value.key.coating == name for value in values)]  # fmt: skip
    rows = []
    for at in dict.fromkeys(value.key.at for value in values):
        band, _, where = at.partition("/")
        low, _, high = band.removesuffix("-m").partition("-to-")
        cells = [Cell(_CLASSES.get(where, where)), Cell(words.from_to(_small(low), _small(high)))]
        cells += [view.cell(_find(view, BAND.id, name, at)) for name in coatings]
        rows.append(Row(cells))
    columns = [Column("Where"), Column("ηU/p", "pm"),
               *(Column(_title(view, name), numeric=True, measure=BAND.id) for name in coatings)]  # fmt: skip
    return Table("rig-map", columns, rows, caption="Friction by lubrication", wide=True,
                 note="Only what stands in one row is set beside each other: the same band of ηU/p.")  # fmt: skip


def _small(metres: str) -> str:
    return words.number(1e12 * float(metres), words.decimals_alone(1e12 * float(metres), 2))


# ---- bench and engine -----------------------------------------------------------------------------------------------


def _pair(view: View, name: str, title: str) -> list[Block]:
    found = next((each for each in view.values(AGREEMENT) if each.key.at == name), None)
    if found is None:
        return []
    reading = _agreed(view, found, name)
    rows = []
    for value in view.values(ON_RIG):
        if value.key.at == name:
            engine = _find(view, IN_ENGINE, value.key.coating, name)
            rows.append(Row([view.coating_cell(value.key.coating), Cell(view.text(value, interval=False)),
                             Cell(str(value.n)), Cell(view.text(engine, interval=False)),
                             Cell(str(engine.n) if engine is not None else words.DASH)]))  # fmt: skip
    if not rows:
        return [Text((Cell(f"{title}: {reading}"),))]
    columns = [
        Column("Coating"), Column("Rig, over the reference’s", numeric=True, measure=ON_RIG),
        Column("Specimens", numeric=True),
        Column("Engine, over the reference’s", numeric=True, measure=IN_ENGINE), Column("Builds", numeric=True),
    ]  # fmt: skip
    return [Table(f"rig-against-{name}", columns, rows, reading, caption=title, wide=True)]


def _agreed(view: View, found: Value, name: str) -> str:
    """What the order of so few coatings can say, first; then what it says."""
    if found.value is None:
        return f"Bench and engine are not compared: {view.why(found.reason)}."
    p, least = (next((v.value for v in view.values(each) if v.key.at == name and v.value is not None), 1.0)
                for each in (P, LEAST_P))  # fmt: skip
    coatings, n = words.sentence(words.counted(found.n, "coating")), found.n
    order = (
        "in the same order" if found.value > 1 - _TINY
        else "in the opposite order" if found.value < _TINY - 1
        else "in orders that differ in part"
    )  # fmt: skip
    here = f"On the rig and in engines they stand {order} (p {words.number(p, 3)})"
    if least > _ENOUGH:
        return (
            f"{coatings} cannot show that bench and engine agree: even the same order throughout has a p of "
            f"{words.number(least, 3)}. {here}, which shows neither agreement nor disagreement."
        )
    if p <= _ENOUGH and found.value > 0:
        return f"{coatings}: {here[0].lower()}{here[1:]}, which shows that both order them alike."
    if p <= _ENOUGH:
        return f"{coatings}: {here[0].lower()}{here[1:]}: the rig orders them against the engine."
    power = CHANCE.get(n)
    could = (
        f" Were the true correlation {CORRELATION}, so many coatings would show it in {100 * power:.0f} of 100 cases."
        if power else ""
    )  # fmt: skip
    return f"{coatings}: {here[0].lower()}{here[1:]}, which does not show agreement, and is no disagreement.{could}"


# ---- curves ---------------------------------------------------------------------------------------------------------


def _curves(view: View) -> list[Block]:
    frames = [each.frame for each in view.series("rig.curves")]
    if not frames:
        return []
    frame = frames[0]
    first = next((value.key.at for value in _ordered(view.values(MU_LEVEL.id))), str(frame["place"].iloc[0]))
    own = frame[frame["place"] == first]
    panels = []
    rows = []
    for coating, of in own.groupby("coating", sort=False):
        path: list[ChartRow] = [
            {"at": float(at), "value": float(mu), "line": str(name), "grey": False, "series": str(name)}
            for name, at, mu in zip(of["specimen"], of["time"], of["mu"], strict=True)
        ]
        panels.append(Panel(
            _title(view, str(coating)), {"path": path},
            {"from": 0.0, "to": float(own["time"].max()), "least": float(own["mu"].min()),
             "most": float(own["mu"].max())}, str(coating),
            label=f"Friction coefficient over time, specimens with {_title(view, str(coating))}",
            axis="Friction coefficient", along="Time, min",
        ))  # fmt: skip
        rows += [
            Row([Cell(str(row["series"])), Cell(_title(view, str(coating))),
                 *(Cell(words.number(number_of(row[at]), places)) for at, places in _POINTS)])
            for row in path
        ]  # fmt: skip
    columns = (Column("Specimen"), Column("Coating"), Column("Time", "min", numeric=True),
               Column("Friction coefficient", numeric=True))  # fmt: skip
    table = Table("rig-over-time", columns, rows)
    caption = f"Specimens, {place(first)}; points are means of strokes."
    return [Figure("rig-over-time", "curves", panels, "", caption, table, MU.id)]


SECTIONS = (
    Section("rig", "Bench rig", 64, "program", of_program, place="rest"),
    Section("rig", "Bench rig", 64, "coating", of_coating, place="rest"),
)
