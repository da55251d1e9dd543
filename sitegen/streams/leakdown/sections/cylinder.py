"""What leak-down and seating say on the page of a cylinder. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from sitegen.streams.leakdown.fields import PATHS
from sitegen.streams.leakdown.history import (
    Point,
    checked_phases,
    distance,
    last,
    limit_row,
    line,
    mean_row,
    mm2,
    phase_rows,
    range_of,
    thin_row,
)
from sitegen.streams.leakdown.measures import (
    AREA,
    CHANGE,
    CRANKCASE,
    SUPPLY_RATIO,
)
from sitegen.streams.leakdown.seating import FALL_RULE, LEVEL_RULE, TO_LOSE_RULE
from sitegen.streams.leakdown.sections.shared import (
    CURVE_CAPTION,
    floor_of,
    lose_text,
    plan_of,
    strip_of,
)
from sitegen.vocabulary import (
    Block,
    Cell,
    Column,
    Figure,
    Panel,
    Plans,
    Row,
    Table,
    Text,
    Value,
)


def cylinder_history(view: Any) -> Sequence[Block]:
    """The history of one cylinder with every reading, its neighbours in grey, the gap floor and the limit."""
    build, number = view.the_build, view.cylinder
    coating = build.coating_of(number)
    points = line(view, build, number)
    strong = [mean_row(view, p, f"cylinder {number}", coating, text=mm2(view, p.value.value or 0.0)) for p in points]
    others = [place.cylinder for place in build.places if place.cylinder != number]
    thin: list[dict[str, Any]] = []
    for other in others:
        drawn = [thin_row(view, p, f"cylinder {other}") for p in line(view, build, other)]
        thin += drawn
    if thin:
        label = f"cyl. {', '.join(str(each) for each in others)}"
        ends = [rows for rows in ([r for r in thin if r["line"] == f"cylinder {o}"] for o in others) if rows]
        middle = sorted(ends, key=lambda rows: rows[-1]["value"])[len(ends) // 2][-1]
        thin = [{**row, "label": label} if row is middle else row for row in thin]
    floor = floor_of(view, build, number)
    band = []
    if floor is not None and floor.low is not None and floor.high is not None:
        band = [{"low": floor.low, "high": floor.high, "label": "end gaps alone"}]
    data = {
        "phases": phase_rows(view, (build,)),
        "means": strong,
        "thin": thin,
        "readings": _reading_rows(view, coating),
        "limits": [limit_row(view)],
        "band": band,
    }
    panel = Panel("", data, coating=coating, label=f"Leak area of {build.id} cylinder {number} by phase")
    caption = (
        f"{CURVE_CAPTION} Bars: 95 % intervals. Small rings: single readings. Crossed: left out, at the value the "
        f"check would "
        "have had with it. Grey: the other cylinders. Band: what the end gaps alone would leak."
    )
    table = Table(
        name=f"history-{build.id}-{number}",
        columns=(
            Column("Phase"),
            Column("Distance"),
            Column("Leak area", "mm²", numeric=True),
            Column("Readings", numeric=True),
        ),
        rows=[
            Row(
                (
                    Cell(view.program.phase(p.phase).title),
                    Cell(distance(view, build, view.program.phase(p.phase))),
                    Cell(view.text(p.value)),
                    Cell(str(p.value.n)),
                )
            )
            for p in points
        ],
    )
    reading = _history_reading(view, points, others)
    return (Figure(f"history-{build.id}-cylinder-{number}", "history", (panel,), reading, caption, table),)


def _reading_rows(view: Any, coating: str) -> list[dict[str, Any]]:
    """Single readings as areas in proportion to the check's mean per cent; those left out where the check would lie."""
    places = {phase.id: x for x, phase in enumerate(checked_phases(view))}
    rows = []
    for series in view.series("leakdown.readings"):
        for row in series.frame.itertuples(index=False):
            if row.phase in places:
                tip = f"reading {row.reading}: {mm2(view, row.area)} mm²"
                rows.append({"x": places[row.phase], "value": row.area, "coating": coating, "tip": tip})
    for value in view.values(CRANKCASE.id, engine=view.the_build, cylinder=view.cylinder):
        if value.status == "excluded" and value.value is not None and value.key.phase in places:
            reading = value.key.at.removeprefix("with:")
            tip = (
                f"{reading}, left out: {view.why(value.reason)}. With it the check would read "
                f"{mm2(view, value.value)} mm²"
            )
            rows.append(
                {
                    "x": places[value.key.phase],
                    "value": value.value,
                    "crossed": True,
                    "coating": coating,
                    "label": "left out",
                    "tip": tip,
                }
            )
    return rows


def _history_reading(view: Any, points: Sequence[Point], others: Sequence[int]) -> str:
    fired = [point for point in points if not point.cold]
    if len(fired) < 2:
        return "Too few checks after the first start to tell a history."
    first, end = fired[0], fired[-1]
    a, b = first.value.value or 0.0, end.value.value or 0.0
    start, finish = (view.program.phase(point.phase).title for point in (first, end))
    went = "fell" if b < a else "rose"
    sentence = f"Leak area {went} from {mm2(view, a)} mm² at {start} to {mm2(view, b)} mm² at {finish}."
    ends = [last(line(view, view.the_build, other)) for other in others]
    level = [point.value.value or 0.0 for point in ends if point is not None and point.phase == end.phase]
    if level:
        sentence += f" Its neighbours end at {range_of(view, level)} mm²."
    change = next(iter(view.values(CHANGE.id, engine=view.the_build, cylinder=view.cylinder, phase=end.phase)), None)
    if change is not None and change.status == "ok" and change.low is not None and change.high is not None:
        if change.low <= 0 <= change.high:
            sentence += " The last change is within the scatter between occasions."
        else:
            sentence += (
                f" The last change, {view.words.signed(change.value, 2)} mm², is beyond the scatter between occasions."
            )
    return sentence


def cylinder_place(view: Any) -> Sequence[Block]:
    """Where the cylinder sits, and why it has its state."""
    build, number = view.the_build, view.cylinder
    blocks: list[Block] = [Plans((plan_of(view, build, me=number),))]
    state = view.state()
    if state is None:
        return blocks
    found = {rule.rule: rule for rule in view.verdicts(engine=build, cylinder=number)}
    rows = [_rule_row(view, found[rule]) for rule in _RULES if rule in found]
    columns = (Column("Rule of the program"), Column("Limit", numeric=True), Column("Found", numeric=True), Column(""))
    blocks.append(
        Table(f"why-{build.id}-{number}", columns, rows, caption=f"Why “{state.word}”", note=_why_note(view, state))
    )
    return blocks


_RULES = {
    LEVEL_RULE: "Leak area, mm²",
    TO_LOSE_RULE: "Leak still to lose, mm²",
    FALL_RULE: "Fall since the check before, mm²",
}


def _rule_row(view: Any, rule: Any) -> Row:
    seating = view.program.seating
    limit = {LEVEL_RULE: mm2(view, seating.level), TO_LOSE_RULE: mm2(view, seating.to_lose), FALL_RULE: "0"}[rule.rule]
    measure, _, at = rule.deciding.partition("@")
    value = view.value(measure, rule.key.phase, at, engine=rule.key.engine, cylinder=rule.key.cylinder)
    if rule.rule == FALL_RULE and value is not None and value.value is not None:
        value = replace(value, value=-value.value, low=_negative(value.high), high=_negative(value.low))
    found = lose_text(view, value) if value is not None else view.words.DASH
    return Row((Cell(_RULES[rule.rule]), Cell(f"≤ {limit}"), Cell(found), Cell(rule.word, word=True)))


def _negative(end: float | None) -> float | None:
    return None if end is None else -end


def _why_note(view: Any, state: Any) -> str:
    phase = view.program.phase(state.key.phase).title
    reason = (
        f" It {'is' if state.word == 'cannot tell' else 'counts as'} “{state.word}” because {view.why(state.reason)}."
        if state.reason
        else ""
    )
    return f"Judged at {phase}.{reason}"


def cylinder_neighbours(view: Any) -> Sequence[Block]:
    """The strip of block plans by phase with this cylinder ringed."""
    build, number = view.the_build, view.cylinder
    top = max((p.value.value or 0 for place in build.places for p in line(view, build, place.cylinder)), default=0)
    strip = [strip_of(view, build, phase, top, number) for phase in checked_phases(view)]
    strip = [plan for plan in strip if any(disc.share is not None for disc in plan.discs)]
    return (Plans(strip, _rank_sentence(view), "Area of each disc: leak area. Values in mm².", small=True),)


def _rank_sentence(view: Any) -> str:
    """In how many phases this cylinder leaked most of its engine."""
    build, number = view.the_build, view.cylinder
    most = least = seen = 0
    for phase in checked_phases(view):
        values = {
            p.cylinder: view.value(CRANKCASE.id, phase.id, engine=build, cylinder=p.cylinder) for p in build.places
        }
        known = {c: v.value for c, v in values.items() if v is not None and v.status == "ok" and v.value is not None}
        if number not in known or len(known) < 2:
            continue
        seen += 1
        most += known[number] == max(known.values())
        least += known[number] == min(known.values())
    if not seen:
        return ""
    word = view.words.count
    if most == least == 0:
        return (
            f"Cylinder {number} was neither the largest nor the smallest leak of {build.id} at any of {word(seen)} "
            f"checks."
        )
    return (
        f"Of {word(seen)} checks, cylinder {number} had the largest leak of {build.id} at {_number_of(view, most)} "
        f"and the smallest at "
        f"{_number_of(view, least)}."
    )


def _number_of(view: Any, count: int) -> str:
    return "none" if count == 0 else str(view.words.count(count))


def cylinder_paths(view: Any) -> Sequence[Block]:
    """Where the air went: a table where other paths than the rings took a tenth or more, else one sentence."""
    build, number = view.the_build, view.cylinder
    rows: list[Row] = []
    told: list[tuple[Any, Value, Value, float | None]] = []
    for phase in checked_phases(view):
        area, ring = view.value(AREA.id, phase.id), view.value(CRANKCASE.id, phase.id)
        if area is None or ring is None or not area.value or ring.value is None:
            continue
        records = view.records("leakdown", phase=phase.id, used=True)
        shares = [f"{path} {told_share}" for path in PATHS if (told_share := _mean_share(view, records, path))]
        unknown = "path-unknown" in ring.flags
        share = None if unknown else ring.value / area.value
        told.append((phase, area, ring, share))
        where = (
            "not recorded" if unknown else view.words.listed(shares) if shares else "from the flow out of the crankcase"
        )
        rows.append(Row((Cell(phase.title), Cell(view.text(area)), Cell(view.text(ring)), Cell(where))))
    blocks: list[Block] = []
    known = [(phase, area, ring, share) for phase, area, ring, share in told if share is not None]
    if told and not known:
        blocks.append(
            Text(
                (
                    Cell(
                        f"Where the air went was not recorded for {build.id}: valves or gasket may share in these "
                        f"areas."
                    ),
                )
            )
        )
    elif known:
        worst = min(known, key=lambda each: each[3])
        if worst[3] >= 0.9 and len(known) == len(told):
            percent = view.words.percent(min(each[3] for each in known), 1.0)
            blocks.append(
                Text((Cell(f"At every check at least {percent} of the air went past the rings to the crankcase."),))
            )
        else:
            columns = (
                Column("Phase"), Column("Leak area, all paths", "mm²", numeric=True),
                Column("To the crankcase", "mm²", numeric=True),
                Column("Share of the air"),
            )  # fmt: skip
            unknown_at = [phase.title for phase, _, _, share in told if share is None]
            reading = _path_reading(view, *worst, unknown_at)
            blocks.append(Table(f"paths-{build.id}-{number}", columns, rows, reading, wide=True))
    for kind in view.verdicts("kind of leak", engine=build, cylinder=number):
        ratio = view.value(SUPPLY_RATIO.id, kind.key.phase, kind.key.at)
        not_a_hole = ratio is not None and ratio.low is not None and ratio.low > 1
        says = {
            "slit": "That is how a slit leaks, such as a ring face.",
            "hole": "That is how a hole leaks, not a ring face.",
            "cannot tell": "Neither a slit alone nor a hole alone explains that."
            if not_a_hole
            else "Slit and hole both fit that.",
        }[kind.word]
        blocks.append(
            Text((Cell(f"At {view.program.phase(kind.key.phase).title} the leak area at the higher supply pressure was "
                       f"{view.text(ratio)} times that at the lower. {says}"),))
        )  # fmt: skip
    return blocks


def _path_reading(view: Any, phase: Any, area: Value, ring: Value, share: float, unknown: Sequence[str]) -> str:
    gap = f" At {view.words.listed(unknown)} it was not recorded." if unknown else ""
    if share >= 0.9:
        return f"Where the path was recorded, nearly all of the air went past the rings.{gap}"
    return (
        f"Not all of this leak is the rings': at {phase.title} it was {mm2(view, area.value or 0.0)} mm² in all, of "
        f"which "
        f"{mm2(view, ring.value or 0.0)} mm² went to the crankcase. A valve, a gasket or a plug wants looking "
        f"at.{gap and ' The path' + gap[3:]}"
    )


def _mean_share(view: Any, records: Sequence[Any], path: str) -> str:
    shares = [share for row in records if not pd.isna(share := getattr(row, f"to_{path}"))]
    mean = sum(shares) / len(shares) if shares else 0.0
    return f"{view.words.number(mean, 0)} %" if mean > 0 else ""


def cylinder_readings(view: Any) -> Sequence[Block]:
    """Every reading of the cylinder, used or not, with where it stands in the record."""
    build, number = view.the_build, view.cylinder
    order = {phase.id: phase.order for phase in view.program.phases}
    records = sorted(view.records("leakdown"), key=lambda row: (order[row.phase], row.file, row.row))
    rows = []
    for row in records:
        out = row.use != ""
        with_it = view.value(CRANKCASE.id, row.phase, f"with:{row.reading}") if out else None
        state = _why_out(view, row) if out else "used"
        if with_it is not None and with_it.value is not None:
            state += f" With it: {mm2(view, with_it.value)} mm²."
        repeat = "" if pd.isna(row.repeat) else f", {int(row.repeat)}"
        rows.append(
            Row(
                (
                    Cell(f"{view.program.phase(row.phase).title}{repeat}"),
                    Cell(_number(view, row.supply, 1e3)),
                    Cell(_number(view, row.pressure, 1e3)),
                    Cell(_percent(view, row)),
                    Cell(
                        "" if pd.isna(row.metal_temperature) else view.words.number(row.metal_temperature - 273.15, 0)
                    ),
                    Cell("" if pd.isna(row.oil) else row.oil),
                    Cell(row.tester),
                    Cell("left out" if out else "used", word=out, note=state if out else ""),
                    Cell(f"{row.file.rpartition('/')[2]}, line {row.row}"),
                ),
                here=out,
                anchor=f"reading-{row.reading}",
            )
        )
    columns = (
        Column("Phase, repeat"), Column("Supply", "kPa gauge", numeric=True),
        Column("Cylinder", "kPa gauge", numeric=True),
        Column("Leak", "%", numeric=True), Column("Metal", "°C", numeric=True), Column("Oil"), Column("Tester"),
        Column("Use"),
        Column("From"),
    )  # fmt: skip
    left = sum(row.here for row in rows)
    total = view.words.counted(len(rows), "reading")
    reading = (
        f"{view.words.sentence(total)}, all used."
        if not left
        else f"{view.words.sentence(total)}; {view.words.count(left)} left out, with the reason beside it."
    )
    note = (
        "To object to a reading, name its file and line under “exclusions” in the program file, with why, by whom "
        "and when; it stays visible here."
    )
    return (Table(f"readings-{build.id}-{number}", columns, rows, reading, note=note, wide=True),)


def _why_out(view: Any, row: Any) -> str:
    """Why a reading is left out, in the words of the objection where there is one."""
    for objection in view.program.exclusions:
        if objection.reading == row.reading and row.use == "excluded":
            when = f", {view.words.day(objection.on)}" if objection.on else ""
            by = f" ({objection.by}{when})" if objection.by else ""
            return f"{view.words.sentence(objection.why)}{by}."
    return f"{view.words.sentence(view.why(row.use))}."


def _number(view: Any, value: float, scale: float) -> str:
    return "" if pd.isna(value) else str(view.words.number(value / scale, 1))


def _percent(view: Any, row: Any) -> str:
    if not pd.isna(row.percent):
        return str(view.words.number(row.percent, 1))
    if pd.isna(row.supply) or pd.isna(row.pressure) or not row.supply:
        return ""
    return str(view.words.number(100 * (row.supply - row.pressure) / row.supply, 1))
