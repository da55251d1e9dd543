"""What pulls say on the page of a build: what the days can show first, then what they show. Computes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sitegen.declarations import Section
from sitegen.methods.pulls import covers
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text, number_of
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.pulls.fields import RPM, Reading
from sitegen.streams.pulls.measures import DRIFT, GAIN, OBSERVED, SMALLEST, TORQUE
from sitegen.streams.pulls.steps import place_of
from sitegen.tables.rows import given
from sitegen.vocabulary import Value

if TYPE_CHECKING:
    import pandas as pd

OVER = ":over:"
NOT_COVERED = "band-not-covered"  # reason
_POINTS = 60  # drawn of one pull at most
_SHOWN = (("at", 0), ("value", 1))


def engine_pulls(view: View) -> Sequence[Block]:
    """Each phase with pulls: the sentence, torque and gain by band, the pulls themselves, what is not in them."""
    blocks: list[Block] = []
    for phase in view.phases:
        if view.records("pulls", Reading, phase=phase.id, used=True):
            blocks += _phase(view, phase)
    return blocks


def _phase(view: View, phase: Phase) -> list[Block]:
    build, name = view.the_build, f"{view.the_build.id}-{phase.id}"
    levels = view.values(TORQUE.id, engine=build, phase=phase.id)
    gains = view.values(GAIN.id, engine=build, phase=phase.id)
    told = [*_gain_told(view, phase, gains), *_level_told(view, levels)]
    table = _table(view, phase, name, levels, gains)
    short = _not_run_through(view, phase)
    notes = [*_short_told(view, phase, short), *_notes(view, phase, levels, short)]
    return [
        Text((Cell(" ".join(told)),), "reading"),
        *([table] if table else []),
        *_figure(view, phase, name),
        *([Text((Cell(" ".join(notes)),), "note")] if notes else []),
    ]


def _variant(text: str) -> str:
    return "the unnamed variant" if text in {"", "-"} else text


def _gain_told(view: View, phase: Phase, gains: Sequence[Value]) -> list[str]:
    """The smallest gain before the gain found."""
    whole = next((value for value in gains if "," not in value.key.at), None)
    if whole is None:
        return []
    other, _, first = whole.key.at.partition(OVER)
    pair = f"{_variant(other)} over {_variant(first)}"
    if whole.value is None or whole.low is None or whole.high is None:
        return [f"No gain of {pair} is told: {view.why(whole.reason)}."]
    least = view.value(SMALLEST.id, phase.id, whole.key.at, engine=view.the_build)
    days = words.counted(whole.n, "day")
    can = ""
    if least is not None and least.value is not None:
        can = f"{words.sentence(days)} in turn find a gain of {words.number(least.value, 1)} % four times in five. "
    found = words.with_interval(whole.value, whole.low, whole.high)
    if whole.low > 0 or whole.high < 0:
        side = "more" if whole.value > 0 else "less"
        gain = words.with_interval(abs(whole.value), *sorted((abs(whole.low), abs(whole.high))))
        size = words.with_unit(gain, "%")
        return [f"{can}Torque is {size} {side} with {_variant(other)} than with {_variant(first)}."]
    return [f"{can}No gain of {pair} is told from none: {words.with_unit(found, '%')}."]


def _level_told(view: View, levels: Sequence[Value]) -> list[str]:
    whole = [value for value in levels if value.key.at == "" and value.status == "ok"]
    if not whole:
        refused = next((value for value in levels if value.status == "refused"), None)
        if refused is None or refused.reason == NOT_COVERED:
            return [f"No torque over all bands is told: {view.why(NOT_COVERED)}."] if refused is not None else []
        return [f"As observed only: {view.why(refused.reason)}."]
    value = whole[0]
    standard = view.program.power.standard
    days = words.counted(value.n, "day")
    one = "; its days have no scatter to tell an interval by" if value.low is None else ""
    by = f"by {standard}" if standard else "as observed, in an engine that no air changes"
    return [f"Full-load torque {view.text(value, unit=True)} {by}, {days}{one}."]


def _band(value: Value) -> str:
    """The band of a level; "" of all of them."""
    at = value.key.at.rpartition(",")[2]
    return at if at.endswith("-rpm") else ""


def _bands(levels: Sequence[Value]) -> list[str]:
    """Places of bands, the slowest first."""
    found = {value.key.at.rpartition(",")[2] for value in levels if value.key.at.endswith("-rpm")}
    return sorted(found, key=lambda at: float(at.partition("-")[0]))


def _table(view: View, phase: Phase, name: str, levels: Sequence[Value], gains: Sequence[Value]) -> Table | None:
    """Torque of each variant by band, and the gain in it."""
    variants = list(dict.fromkeys(value.key.at.partition(",")[0] for value in levels if not _plain(value)))
    bands = ["", *_bands(levels)]
    at_gain = next((value.key.at for value in gains if "," not in value.key.at), "")

    def place(variant: str, band: str) -> str:
        return ",".join(filter(None, (variant, band)))

    rows = []
    for band in bands:
        cells = [Cell(_named(band) if band else "all bands")]
        for variant in variants or [""]:
            observed = view.value(OBSERVED.id, phase.id, place(variant, band), engine=view.the_build)
            own = view.value(TORQUE.id, phase.id, place(variant, band), engine=view.the_build)
            cells += [Cell(view.text(observed, interval=False)), view.cell(own)]
        if at_gain:
            gain = view.value(GAIN.id, phase.id, f"{at_gain},{band}" if band else at_gain, engine=view.the_build)
            cells.append(view.cell(gain))
        rows.append(Row(cells))
    heads = [Column("Speed")]
    for variant in variants or [""]:
        group = _variant(variant) if variant else ""
        heads += [
            Column("As observed", "N·m", numeric=True, measure=OBSERVED.id, group=group),
            Column(
                "At reference air" if view.program.power.standard else "Compared",
                "N·m",
                numeric=True,
                measure=TORQUE.id,
                group=group,
            ),
        ]
    if at_gain:
        other, _, first = at_gain.partition(OVER)
        heads.append(Column(f"{_variant(other)} over {_variant(first)}", "%", numeric=True, measure=GAIN.id))
    note = "Means of days, the first pull of each apart; 95 % intervals over days."
    if at_gain and len(bands) > 1:
        note += " Gains of bands share their error among the bands."
    return Table(f"pulls-{name}", heads, rows, note=note, wide=True)


def _plain(value: Value) -> bool:
    """True of a level that is of no named variant."""
    return value.key.at == "" or (value.key.at.endswith("-rpm") and "," not in value.key.at)


def _figure(view: View, phase: Phase, name: str) -> list[Block]:
    """Every pull over speed; the first of a day grey."""
    frames = [each.frame for each in view.series("power.pulls") if each.key.phase == phase.id]
    if not frames:
        return []
    frame = frames[0]
    build = view.the_build
    coating = build.coatings[0] if len(build.coatings) == 1 else ""
    path: list[ChartRow] = []
    for day, of_day in frame.groupby("day", sort=False):
        for pull, own in of_day.groupby("pull", sort=False):
            path += _line(str(day), str(pull), own)
    if len(path) < 2:
        return []
    bands: list[ChartRow] = [
        {"at": band.low / RPM, "to": band.high / RPM, "label": "", "minor": True}
        for n, band in enumerate(view.program.power.bands)
        if n % 2 == 0
    ]
    air = bool(frame["corrected"].all())
    speeds, torques = frame["speed"], frame["torque"]
    panel = Panel(
        "",
        {"path": path, "bands": bands},
        {"from": float(speeds.min()), "to": float(speeds.max()), "least": 0.98 * float(torques.min())},
        coating,
        label="Torque over speed, every pull",
        axis="Full-load torque, N·m",
        along="Speed, rpm",
    )
    left = "" if air else " Pulls without their correction are drawn as read."
    reference = " at reference air" if air and view.program.power.standard else ""
    caption = f"Every pull{reference}; grey: the first of a day, in no mean.{left}"
    columns = (Column("Pull"), Column("Speed", "rpm", numeric=True), Column("Full-load torque", "N·m", numeric=True))
    rows = [
        Row([Cell(str(row["series"])), *(Cell(words.number(number_of(row[at]), places)) for at, places in _SHOWN)])
        for row in path
    ]
    figure = f"pulls-over-speed-{name}"
    table = Table(figure, columns, rows)
    return [Figure(figure, "curves", (panel,), "", caption, table, TORQUE.id, layout="wide")]


def _line(day: str, pull: str, own: pd.DataFrame) -> list[ChartRow]:
    """One pull, thinned."""
    step = max(1, len(own) // _POINTS)
    columns = (own[name].iloc[::step].tolist() for name in ("speed", "torque", "first"))
    named = f"{words.day(day)}, pull {pull}"
    return [
        {"at": float(speed), "value": float(torque), "line": f"{day}/{pull}", "grey": bool(first), "series": named}
        for speed, torque, first in zip(*columns, strict=True)
    ]


def _pulls(view: View, phase: Phase) -> list[list[float]]:
    """Speeds [rad/s] of each pull that counts."""
    found: dict[tuple[str, float], list[float]] = {}
    for row in view.records("pulls", Reading, phase=phase.id, used=True):
        if given(row.speed):
            found.setdefault((row.date, row.pull), []).append(row.speed)
    return list(found.values())


def _not_run_through(view: View, phase: Phase) -> dict[str, tuple[int, int]]:
    """By place of a band, "" all of them: how many pulls do not run through it, of how many; where any does not."""
    bands, pulls = view.program.power.bands, _pulls(view, phase)
    asked = {place_of((band.low, band.high)): (band.low, band.high) for band in bands}
    asked |= {"": (bands[0].low, bands[-1].high)} if bands else {}
    short = {at: sum(not covers(speeds, *band) for speeds in pulls) for at, band in asked.items()}
    return {at: (count, len(pulls)) for at, count in short.items() if count}


def _short_told(view: View, phase: Phase, short: Mapping[str, tuple[int, int]]) -> list[str]:
    """Which bands no pull runs through, or not every one, and how far the pulls reach."""
    bands = [at for at in short if at]
    none = [_named(at) for at in bands if short[at][0] == short[at][1]]
    some = [f"{_named(at)}: {words.count(short[at][0])}" for at in bands if short[at][0] < short[at][1]]
    speeds = _pulls(view, phase)
    if not short or not speeds:
        return []
    reach = [words.number(end / RPM, 0) for end in (min(map(min, speeds)), max(map(max, speeds)))]
    told = []
    if none:
        told.append(f"No pull runs through {words.listed(none)}: they reach from {reach[0]} to {reach[1]} rpm.")
    if some:
        told.append(f"Of {words.counted(len(speeds), 'pull')} some do not run through a band and are not in its mean: "
                    f"{'; '.join(some)}.")  # fmt: skip
    if "" in short and short[""][0] == short[""][1]:
        told.append("So there is no torque over all bands." if told else
                    f"No pull runs through all bands: they reach from {reach[0]} to {reach[1]} rpm.")  # fmt: skip
    return told


def _named(at: str) -> str:
    """A band by its place: "1 200\u20131 500 rpm"."""
    ends = at.removesuffix("-rpm").split("-")
    return words.with_unit("\u2013".join(words.number(float(each), 0) for each in ends), "rpm")


def _notes(view: View, phase: Phase, levels: Sequence[Value], short: Mapping[str, object]) -> list[str]:
    """What was left out, the drift, and that a mixed engine says nothing about a coating."""
    notes = []
    if any("pulls-not-corrected" in value.flags and _band(value) not in short for value in levels):
        notes.append("Pulls whose air or inertia was not recorded are not in the means.")
    drift = view.value(DRIFT.id, phase.id, engine=view.the_build)
    if drift is not None and drift.value is not None and drift.low is not None and drift.high is not None:
        told = drift.low > 0 or drift.high < 0
        size = words.with_unit(words.with_interval(drift.value, drift.low, drift.high), "%")
        notes.append(f"From pull to pull torque {'drifted by' if told else 'did not drift beyond'} {size}.")
    wheres = {str(row.inlet_at) for row in view.records("pulls", Reading, phase=phase.id) if given(row.inlet_at)}
    if wheres:
        notes.append(f"Inlet temperature taken at: {words.listed(sorted(wheres))}.")
    notes += _from_logs(view, phase)
    if len(view.the_build.coatings) > 1:
        notes.append("Torque belongs to the whole engine: where it holds several coatings, it says nothing about any.")
    return notes


def _from_logs(view: View, phase: Phase) -> list[str]:
    """Which pulls were found in logs, and which were broken off there."""
    rows = [row for row in view.records("pulls", Reading, phase=phase.id) if given(row.log) and given(row.speed)]
    told = []
    for date in sorted({row.date for row in rows}):
        found = {row.pull for row in rows if row.date == date and row.use == ""}
        off = sum(row.date == date and row.use != "" for row in rows)
        logs = words.listed(sorted({str(row.log).rpartition("/")[2] for row in rows if row.date == date}))
        more = f"; {words.counted(off, 'sweep')} more {'is' if off == 1 else 'are'} left out" if off else ""
        pulls = words.sentence(words.counted(len(found), "pull"))
        told.append(
            f"{pulls} of {words.day(date)} {'was' if len(found) == 1 else 'were'} found in the log {logs}{more}."
        )
    return told


SECTIONS = (Section("pulls", "Power pulls", 46, "engine", engine_pulls, place="rest"),)
