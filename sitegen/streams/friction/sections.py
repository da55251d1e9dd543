"""What engine friction says on the pages of a build and of the program: what days can show first. Computes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from sitegen.declarations import Section
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Build, Phase
from sitegen.streams.friction.fields import COAST, Reading
from sitegen.streams.friction.measures import BETWEEN, CHANGE, MEASURES, SMALLEST
from sitegen.streams.friction.steps import speed_of
from sitegen.tables.rows import rows_of
from sitegen.vocabulary import Value

OVER = ":over:"
_LOAD = (
    "An engine that is driven or runs down still pumps its gas and bears no gas load on its rings: this orders builds "
    "and is not their friction under load."
)
_MIXED = "Friction belongs to the whole engine: where it holds several coatings, it says nothing about any."
_HOW = {"motored": "when driven", COAST: "by run down"}


class _Run:
    """One run at one speed, of the curve."""

    __slots__ = ()
    day: str
    run: float
    speed: float  # rpm
    fmep: float  # kPa
    off: float  # %, the mean of all runs at its speed


def engine_friction(view: View) -> Sequence[Block]:
    """Each phase and method: what days can show, friction at each speed, changes of variants, the runs themselves."""
    blocks: list[Block] = []
    for phase in view.phases:
        for way, measure in MEASURES.items():
            levels = view.values(measure.id, engine=view.the_build, phase=phase.id)
            if levels:
                blocks += _phase(view, phase, way, levels)
    return blocks


def _phase(view: View, phase: Phase, way: str, levels: Sequence[Value]) -> list[Block]:
    name = f"{view.the_build.id}-{phase.id}-{way}"
    changes = [
        value for value in view.values(CHANGE.id, engine=view.the_build, phase=phase.id)
        if value.key.at.startswith(f"{way},")
    ]  # fmt: skip
    told = " ".join([*_can(view, way), *_change_told(view, phase, changes), *_level_told(view, way, levels)])
    return [
        Text((Cell(told),), "reading"),
        _table(view, phase, way, name, levels, changes),
        *_figure(view, phase, way, name),
        Text((Cell(" ".join(_notes(view, phase, way, levels))),), "note"),
    ]


def _can(view: View, way: str) -> list[str]:
    """What planned days tell two builds apart by."""
    least = view.value(BETWEEN.id, at=way, engine="")
    if least is None or least.value is None:
        return []
    days = words.sentence(words.counted(least.n, "day"))
    size = words.with_unit(words.number(least.value, 1), "%")
    return [f"{days} each tell two builds {size} apart four times in five."]


def _variant(text: str) -> str:
    return "the unnamed variant" if text in {"", "-"} else text


def _pair(at: str) -> tuple[str, str]:
    """Both variants of a change, the other one first: "motored,oil B:over:oil A,1500-rpm"."""
    other, _, first = at.partition(",")[2].partition(OVER)
    return _variant(other), _variant(first.rpartition(",")[0] if first.endswith("-rpm") else first)


def _change_told(view: View, phase: Phase, changes: Sequence[Value]) -> list[str]:
    """The smallest change before the change found."""
    whole = next((value for value in changes if not value.key.at.endswith("-rpm")), None)
    if whole is None:
        return []
    other, first = _pair(whole.key.at)
    if whole.value is None or whole.low is None or whole.high is None:
        return [f"No change from {first} to {other} is told: {view.why(whole.reason)}."]
    least = view.value(SMALLEST.id, phase.id, whole.key.at, engine=view.the_build)
    can = ""
    if least is not None and least.value is not None:
        days = words.sentence(words.counted(whole.n, "day"))
        can = f"{days} in turn find a change of {words.number(least.value, 1)} % four times in five. "
    if whole.low > 0 or whole.high < 0:
        size = words.with_interval(abs(whole.value), *sorted((abs(whole.low), abs(whole.high))))
        side = "more" if whole.value > 0 else "less"
        return [f"{can}Friction is {words.with_unit(size, '%')} {side} with {other} than with {first}."]
    found = words.with_unit(words.with_interval(whole.value, whole.low, whole.high), "%")
    return [f"{can}No change from {first} to {other} is told from none: {found}."]


def _level_told(view: View, way: str, levels: Sequence[Value]) -> list[str]:
    whole = [value for value in levels if value.key.at == ""]
    if not whole:
        return []
    value = whole[0]
    if value.status != "ok":
        return [f"No friction {_HOW[way]} is told: {view.why(value.reason)}."]
    none = ""
    if value.low is None:
        none = "; one day has no interval" if value.n == 1 else "; its days have no scatter to tell an interval by"
    return [f"Friction {_HOW[way]} is {view.text(value, unit=True)} over {words.counted(value.n, 'day')}{none}."]


def _variants(levels: Sequence[Value]) -> list[str]:
    """Variants that were told apart; one without a name where there was none."""
    found = {value.key.at.rpartition(",")[0] if value.key.at.endswith("-rpm") else value.key.at for value in levels}
    return sorted(found)


def _table(view: View, phase: Phase, way: str, name: str, levels: Sequence[Value], changes: Sequence[Value]) -> Table:
    """Friction of each variant over all speeds and at each, and the change there."""
    measure, variants = MEASURES[way], _variants(levels)
    whole = next((value.key.at for value in changes if not value.key.at.endswith("-rpm")), "")
    rows = []
    for speed in ("", *(speed_of(each) for each in view.program.friction.speeds)):
        cells = [Cell(speed.replace("-rpm", " rpm") or "all speeds")]
        for variant in variants:
            at = ",".join(filter(None, (variant, speed)))
            cells.append(view.cell(view.value(measure.id, phase.id, at, engine=view.the_build)))
        if whole:
            at = ",".join(filter(None, (whole, speed)))
            cells.append(view.cell(view.value(CHANGE.id, phase.id, at, engine=view.the_build)))
        rows.append(Row(cells))
    heads = [Column("Speed")]
    heads += [
        Column("Mean effective pressure", "kPa", numeric=True, measure=measure.id, group=_variant(each) if each else "")
        for each in variants
    ]
    if whole:
        other, first = _pair(whole)
        heads.append(Column(f"{other} over {first}", "%", numeric=True, measure=CHANGE.id))
    degrees = words.number((view.program.friction.oil_temperature or 0.0) - 273.15, 0)
    note = f"Means of days with the oil at {degrees} °C; 95 % intervals over days."
    if whole and len(rows) > 2:
        note += " Changes at a speed share their error among the speeds."
    return Table(f"friction-{name}", heads, rows, note=note, wide=True)


def _figure(view: View, phase: Phase, way: str, name: str) -> list[Block]:
    """Every run over speed, off the mean of all runs there: how days lie apart."""
    frames = [each.frame for each in view.series("friction.runs") if each.key.phase == phase.id]
    runs = [row for frame in frames for row in rows_of(frame[frame["method"] == way], _Run)]
    speeds = sorted({row.speed for row in runs})
    if len(speeds) < 2:
        return []
    build = view.the_build
    path: list[ChartRow] = [
        {"at": row.speed, "value": row.off, "line": f"{row.day}/{row.run}", "grey": False, "series": words.day(row.day)}
        for row in runs
    ]
    panel = Panel(
        "", {"path": path, "levels": [{"value": 0.0}]}, {"from": speeds[0], "to": speeds[-1]},
        build.coatings[0] if len(build.coatings) == 1 else "",
        label="Every run, off the mean of all runs", axis="Off the mean of all runs, %", along="Speed, rpm",
    )  # fmt: skip
    columns = (
        Column("Day"), Column("Run", numeric=True), Column("Speed", "rpm", numeric=True),
        Column("Mean effective pressure", "kPa", numeric=True), Column("Off the mean", "%", numeric=True),
    )  # fmt: skip
    rows = [
        Row([Cell(words.day(row.day)), Cell(f"{row.run:.0f}"), Cell(words.number(row.speed, 0)),
             Cell(words.number(row.fmep, 1)), Cell(words.signed(row.off, 1))])
        for row in runs
    ]  # fmt: skip
    figure = f"friction-runs-{name}"
    caption = "Every run that is used, off the mean of all at its speed; the runs of one day make one number."
    return [
        Figure(figure, "curves", (panel,), "", caption, Table(figure, columns, rows), MEASURES[way].id, layout="wide")
    ]


def _notes(view: View, phase: Phase, way: str, levels: Sequence[Value]) -> list[str]:
    """What was left out and what the interval lacks, and what such friction is not."""
    notes = [_LOAD]
    aside = Counter(
        row.use for row in view.records("friction", Reading, phase=phase.id) if row.use and row.method == way
    )
    for code, count in sorted(aside.items()):
        notes.append(f"Left out, {words.counted(count, 'reading')}: {view.why(code)}.")
    flags = {flag for value in levels for flag in value.flags}
    notes += [
        f"{words.sentence(view.why(flag))}."
        for flag in ("runs-left-out", "inertia-error-unknown", "torque-error-unknown")
        if flag in flags
    ]
    if len(view.the_build.coatings) > 1:
        notes.append(_MIXED)
    return notes


def program_friction(view: View) -> Sequence[Block]:
    """The builds beside each other, by method; and that one build each tells no coatings apart."""
    blocks: list[Block] = []
    for way, measure in MEASURES.items():
        found = [
            (build, value)
            for build in view.builds
            for value in view.values(measure.id, engine=build)
            if value.status == "ok" and not value.key.at.endswith("-rpm")
        ]
        if found:
            blocks += _builds(view, way, found)
    if blocks:
        blocks.append(Text((Cell(_LOAD),), "note"))
    return blocks


def _builds(view: View, way: str, found: Sequence[tuple[Build, Value]]) -> list[Block]:
    pure = {build.id: build.coatings[0] for build, _ in found if len(build.coatings) == 1}
    counts = Counter(pure.values())
    once = [coating for coating, count in counts.items() if count == 1]
    told = _can(view, way)
    many = len({build.id for build, _ in found})
    done = "ran down" if way == COAST else "were driven" if many > 1 else "was driven"
    told.append(f"{words.sentence(words.counted(many, 'build'))} {done}.")
    if len(counts) > 1 and once:
        named = words.listed([view.coating_title(each) for each in once])
        each = " each" if len(once) > 1 else ""
        told.append(
            f"Of {named} there is one build{each}: what it does and what its coating does cannot be told apart."
        )
    rows = []
    for build, value in found:
        coatings = [view.coating_cell(build.coatings[0])] if len(build.coatings) == 1 else [Cell("several")]
        variant = f", {_variant(value.key.at)}" if value.key.at else ""
        rows.append(Row([
            Cell(build.title, href=view.href_engine(build, "friction")), *coatings,
            Cell(view.program.phase(value.key.phase).title + variant), view.cell(value), Cell(str(value.n)),
        ]))  # fmt: skip
    columns = (
        Column("Build"), Column("Coating"), Column("Phase"),
        Column("Mean effective pressure", "kPa", numeric=True, measure=MEASURES[way].id), Column("Days", numeric=True),
    )  # fmt: skip
    return [
        Text((Cell(" ".join(told)),), "reading"),
        Table(f"friction-by-build-{way}", columns, rows, note="Means over all speeds; 95 % intervals over days."),
    ]


SECTIONS = (
    Section("friction", "Engine friction", 47, "engine", engine_friction, place="rest"),
    Section("friction-by-build", "Engine friction", 47, "program", program_friction, place="rest"),
)
