"""What leak-down and seating say on the page of a cylinder. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from sitegen.page import words
from sitegen.page.axes import about
from sitegen.page.blocks import (
    Beside,
    Block,
    Cell,
    ChartRow,
    Column,
    Figure,
    Panel,
    Plans,
    Row,
    Strip,
    Table,
    Text,
)
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.leakdown.checks import condition, temperature_states
from sitegen.streams.leakdown.fields import PATHS, Reading
from sitegen.streams.leakdown.history import (
    Point,
    area,
    area_text,
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
    PATH,
    READ,
    SUPPLY_RATIO,
    TO_LOSE,
    TO_LOSE_MOST,
)
from sitegen.streams.leakdown.protocol import outside
from sitegen.streams.leakdown.seating import FROM_BLOWBY
from sitegen.streams.leakdown.sections.shared import (
    ABOVE,
    SMALL,
    floor_of,
    state_after,
    strips_of,
    why_open,
)
from sitegen.streams.leakdown.shares import beside_rings
from sitegen.streams.leakdown.states import APART_RULE, BETWEEN_RULE, FALL_RULE, LEVEL_RULE, TO_LOSE_RULE
from sitegen.tables.rows import given
from sitegen.vocabulary import Value, Verdict


class Single(NamedTuple):
    """A single reading as an area, as its step worked it out."""

    reading: str
    phase: str
    area: float  # mm²


def _singles(view: View) -> list[Single]:
    """Single readings of this cylinder that are in the value of a check, as areas."""

    def found() -> list[Single]:
        frames = [each.frame for each in view.series("leakdown.readings")]
        columns = ([frame[name].tolist() for name in Single._fields] for frame in frames)
        return [Single(*row) for own in columns for row in zip(*own, strict=True)]

    return view.the_desk.once(("singles", view.the_build.id, view.cylinder), found)


def cylinder_history(view: View) -> Sequence[Block]:
    """The history of one cylinder with every reading, its neighbours in grey, the gap floor and the limit."""
    build, number = view.the_build, view.cylinder
    coating = build.coating_of(number)
    points = line(view, build, number)
    strong = [mean_row(view, p, f"cylinder {number}", coating, text=mm2(p.value.value or 0.0)) for p in points]
    others = [place.cylinder for place in build.places if place.cylinder != number]
    thin: list[ChartRow] = []
    ends: list[tuple[float, ChartRow]] = []
    for other in others:
        own = line(view, build, other)
        thin += _thin(view, other)
        ends += [(own[-1].value.value or 0.0, thin[-1])] if own else []
    if thin:
        label = f"cyl. {', '.join(str(each) for each in others)}"
        middle = sorted(ends, key=lambda end: end[0])[len(ends) // 2][1]
        thin = [{**row, "label": label} if row is middle else row for row in thin]
    floor = floor_of(view, build, number)
    band: list[ChartRow] = []
    if floor is not None and floor.low is not None and floor.high is not None:
        band = [{"low": floor.low, "high": floor.high, "label": "end gaps alone"}]
    data: dict[str, Sequence[ChartRow]] = {
        "phases": phase_rows(view, (build,)),
        "means": strong,
        "thin": thin,
        "readings": _reading_rows(view, coating),
        "limits": [limit_row(view)],
        "band": band,
    }
    label = f"Leak area of {build.id} cylinder {number} by phase"
    panel = Panel("", data, label=label, axis="Leak area to the crankcase, mm²")
    caption = (
        "Phases evenly spaced. Bars: 95\u00a0% intervals. Small rings: single readings; crossed: left out, at the "
        "value the check would have had. Open: not yet to rely on. Dotted: up to the first check after a start."
    )
    table = Table(
        name=f"history-{build.id}-{number}",
        columns=(
            Column("Phase"),
            Column("Distance"),
            Column("Leak area", "mm²", numeric=True, measure=CRANKCASE.id),
            Column("Readings", numeric=True),
        ),
        rows=[
            Row(
                (
                    Cell(view.program.phase(p.phase).title),
                    Cell(distance(view, build, view.program.phase(p.phase))),
                    Cell(area_text(view, p.value)),
                    Cell(str(p.value.n)),
                )
            )
            for p in points
        ],
    )
    reading = _history_reading(view, points, others)
    name = f"history-{build.id}-cylinder-{number}"
    return (Figure(name, "history", (panel,), reading, caption, table, measure=CRANKCASE.id),)


def _thin(view: View, cylinder: int) -> Sequence[ChartRow]:
    """The faint line of a neighbour, which stands on the pages of all others of its build."""
    build = view.the_build
    return view.the_desk.once(
        ("thin", build.id, cylinder),
        lambda: [thin_row(view, each, f"cylinder {cylinder}") for each in line(view, build, cylinder)],
    )


def _reading_rows(view: View, coating: str) -> list[ChartRow]:
    """Single readings as areas in proportion to the check's mean per cent; those left out where the check would lie."""
    places = {phase.id: x for x, phase in enumerate(checked_phases(view))}
    rows: list[ChartRow] = []
    own = f"cylinder {view.cylinder}"  # hidden together with its line
    for row in _singles(view):
        if row.phase in places:
            tip = f"reading {row.reading}: {mm2(row.area)} mm²"
            rows.append({"x": places[row.phase], "value": row.area, "coating": coating, "tip": tip, "series": own})
    for value in view.values(CRANKCASE.id, engine=view.the_build, cylinder=view.cylinder):
        if value.status == "excluded" and value.value is not None and value.key.phase in places:
            reading = value.key.at.removeprefix("with:")
            tip = f"{reading}, left out: {view.why(value.reason)}. With it the check would read {mm2(value.value)} mm²"
            rows.append(
                {
                    "x": places[value.key.phase],
                    "value": value.value,
                    "crossed": True,
                    "coating": coating,
                    "label": "left out",
                    "tip": tip,
                    "series": own,
                }
            )
    return rows


def _history_reading(view: View, points: Sequence[Point], others: Sequence[int]) -> str:
    fired = [point for point in points if not point.cold]
    if len(fired) < 2:
        return "Too few checks after the first start to tell a history." + _only_apart(view)
    first, end = fired[0], fired[-1]
    a, b = first.value.value or 0.0, end.value.value or 0.0
    start, finish = (view.program.phase(point.phase).title for point in (first, end))
    went = "fell" if b < a else "rose"
    sentence = f"Leak area {went} from {area(a)} at {start} to {area(b)} at {finish}."
    ends = [last(line(view, view.the_build, other)) for other in others]
    level = [point.value.value or 0.0 for point in ends if point is not None and point.phase == end.phase]
    if level:
        sentence += f" Its neighbours end at {range_of(level)}."
    change = next(iter(view.values(CHANGE.id, engine=view.the_build, cylinder=view.cylinder, phase=end.phase)), None)
    if change is not None and change.status == "ok" and change.low is not None and change.high is not None:
        if change.low <= 0 <= change.high:
            sentence += " The last change is within the scatter between occasions."
        else:
            moved = words.with_unit(words.judged(change.value, change.low, change.high, 0.0), "mm²")
            sentence += f" The last change, {moved}, is beyond the scatter between occasions."
    return sentence + _only_apart(view)


def _only_apart(view: View) -> str:
    """Checks of which every reading stands in another condition than the program's."""
    titles = []
    for phase in checked_phases(view):
        found = view.values(CRANKCASE.id, engine=view.the_build, cylinder=view.cylinder, phase=phase.id)
        places = {value.key.at for value in found if value.status in {"ok", "below"}}
        if places and "" not in places:
            titles.append(phase.title)
    return f" At {words.listed(titles)} it was read in another condition only." if titles else ""


def cylinder_state(view: View) -> Sequence[Block]:
    """The state with the interval that decides on one axis, and the rules it rests on."""
    build, number = view.the_build, view.cylinder
    state = view.state()
    if state is None:
        return ()
    found = {rule.rule: rule for rule in view.verdicts(engine=build, cylinder=number)}
    rows = [_rule_row(view, found[rule], state.reason) for rule in _RULES if rule in found]
    columns = (Column("Rule of the state"), Column("Limit", numeric=True), Column("Found", numeric=True),
               Column("Answer"))  # fmt: skip
    note = _why_note(view, state, found)
    level = found.get(LEVEL_RULE)
    told = filter(None, (_state_reading(view, found), *_with_oil(view)))
    blocks: list[Block] = [Text((Cell(each),), "reading") for each in told]
    rules = Table(f"why-{build.id}-{number}", columns, rows, note=note, stack=True)
    if level is None or level.found is None:
        return [*blocks, rules if rows else Text((Cell(note),), "note")]
    return [*blocks, Beside(f"state-{build.id}-{number}", (_strips(view, level), rules), halves=True)]


_LIES = {"met": "lies within", "not met": "lies above", "cannot tell": "reaches across"}


def _state_reading(view: View, rules: Mapping[str, Verdict]) -> str:
    """What it leaks, the interval that decides against the limit, and what is left to lose."""
    level, to_lose = rules.get(LEVEL_RULE), rules.get(TO_LOSE_RULE)
    if level is None or level.found is None:
        return ""
    limit = view.program.seating.level
    leak, _, ends = words.judged(level.found, level.low, level.high, limit).partition(" (")
    phase = view.program.phase(level.key.phase)
    still = phase.kind in {"static-check", "teardown"} or phase.title[:1].isdecimal()  # "at 40 h", "after four pulls"
    when = f"{'at' if still else 'after'} {phase.title}"
    told = f"It leaks {words.with_unit(leak, 'mm²')} {when}."
    allowed = f"the limit of {words.with_unit(words.stated(limit), 'mm²')}"
    if ends:
        told += f" The interval that decides its state, {ends.rstrip(')')}, {_LIES[level.word]} {allowed}."
    else:
        told += f" That {_LIES[level.word]} {allowed}; it has no interval."
    if to_lose is not None and to_lose.found is not None:
        most = words.with_unit(words.stated(view.program.seating.to_lose), "mm²")
        told += f" Still to lose is {_to_lose_found(view, to_lose)}, where {most} is allowed."
    return told


def _strips(view: View, level: Verdict) -> Table:
    """The interval by the readings alone, the one that decides, and the neighbours, on one axis with the limit."""
    build, number = view.the_build, view.cylinder
    phase = view.program.phase(level.key.phase)
    own = view.value(CRANKCASE.id, phase.id)
    others: dict[str, list[tuple[int, float]]] = {}
    for place in build.places:
        value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
        if place.cylinder != number and value is not None and value.value is not None:
            others.setdefault(place.coating, []).append((place.cylinder, value.value))
    limit, coating = view.program.seating.level, build.coating_of(number)
    shown: list[tuple[str, float, float, float, bool]] = []
    for name, found in (("By its readings", own), ("The one for its state", level)):
        middle = None if found is None else found.value if isinstance(found, Value) else found.found
        if found is not None and middle is not None and found.low is not None and found.high is not None:
            shown.append((name, middle, found.low, found.high, found is level and level.word == "cannot tell"))
    if len(shown) == 2 and shown[0][2:4] == shown[1][2:4]:
        shown = [("Its interval", *shown[1][1:])]  # nothing was added to what the readings say
    every = [end for _, middle, low, high, _ in shown for end in (middle, low, high) if math.isfinite(end)]
    axis = about([*every, *(leak for found in others.values() for _, leak in found)], 1, limit)
    rows = []
    for name, middle, low, high, hollow in shown:
        text = words.judged(middle, low, high, limit)
        strip = Strip(axis.place(low), axis.place(middle), axis.place(high), hollow, coating, f"{name}: {text} mm²")
        rows.append(Row((Cell(name, note=text, strong=name != "By its readings"), Cell("", strip=strip))))
    for other, beside in others.items():
        noun = f"{words.plural(len(beside), 'Cylinder')} {words.numbers_listed([n for n, _ in beside])}"
        text = words.from_to(mm2(min(leak for _, leak in beside)), mm2(max(leak for _, leak in beside)))
        places = [axis.place(leak) for _, leak in beside]
        strip = Strip(None, None, None, False, other, f"{noun}: {text} mm²", places)
        named = other if len(build.coatings) > 1 else ""
        rows.append(Row((Cell(noun, note=text, coating=named), Cell("", strip=strip))))
    columns = (Column(f"Leak area, {phase.title}", "mm²"), Column(""))
    note = ""
    if len(shown) == 2:
        note = (
            "The wider one decides: it also holds how far one occasion lies from the next."
            if shown[1][3] - shown[1][2] > shown[0][3] - shown[0][2]
            else ""
        )
    return Table(f"intervals-{build.id}-{number}", columns, rows, note=note, stack=True, axis=axis)


MOSTLY = 0.9  # share of the air past the rings from which the other paths are not worth a table
_RULES = {LEVEL_RULE: "Leak area, mm²", TO_LOSE_RULE: "Leak still to lose, mm²"}


def _rule_row(view: View, rule: Verdict, told: str) -> Row:
    """A rule with its limit and the interval that decides; why there is none, where the note does not tell."""
    seating = view.program.seating
    limit = mm2(seating.level if rule.rule == LEVEL_RULE else seating.to_lose)
    found = words.judged(rule.found, rule.low, rule.high, rule.limit or 0.0)
    if rule.rule == TO_LOSE_RULE:
        found = _to_lose_found(view, rule)
    because = ""
    if rule.found is None and rule.reason and rule.reason != told:
        because = why_open(view, view.the_build, rule.reason, [view.cylinder])
    what = "level" if rule.rule == LEVEL_RULE else "to_lose"
    late = "changed late" if any(each.what == what for each in view.the_desk.restated or ()) else ""
    return Row(
        (
            Cell(_RULES[rule.rule]),
            Cell(f"≤\u00a0{limit}", note=late),
            Cell(found, note=because),
            Cell(rule.word, word=True),
        )
    )


def _to_lose_found(view: View, rule: Verdict) -> str:
    if rule.high is not None and rule.high < min(SMALL, view.program.seating.to_lose):
        return f"below {words.number(SMALL, 3)}"  # all of it is as good as nothing
    return words.judged(rule.found, rule.low, rule.high, rule.limit or 0.0)


def _why_note(view: View, state: Verdict, rules: Mapping[str, Verdict]) -> str:
    """When the state was judged, why it is what it is, and what is certain all the same."""
    note = f"Judged at {view.program.phase(state.key.phase).title}." if state.key.phase else ""
    if any("not-as-planned" in value.flags for value in view.values(TO_LOSE.id, engine=view.the_build)):
        note += " A run before it was not run as planned."
    if any(FROM_BLOWBY in value.flags for value in view.values(TO_LOSE.id, engine=view.the_build)):
        note += f" For the leak still to lose, {view.why(FROM_BLOWBY)}."
    by_two = _by_two_checks(view, rules)
    if not by_two and FALL_RULE in rules and (fall := rules[FALL_RULE]).found is not None:
        went = "fell" if fall.found >= 0 else "rose"
        low, high = sorted(abs(end) if end is not None else 0.0 for end in (fall.low, fall.high))
        moved = words.with_unit(words.judged(abs(fall.found), low, high, 0.0), "mm²")
        clear = fall.low is not None and fall.high is not None and (fall.low > 0 or fall.high < 0)
        note += (
            f" Since the check before, the leak area {went} by {moved}."
            if clear
            else " Since the check before, the leak area changed by no more than occasions differ by."
        )
    if state.word not in {"cannot tell", ABOVE}:
        return f"{note} It counts as “{state.word}” because {view.why(state.reason)}.{by_two}"
    why = why_open(view, view.the_build, state.reason, [view.cylinder])
    if state.word == ABOVE:
        note += f" The leak area is above its limit, so that it is certainly not seated; it may still fall: {why}."
    else:
        note += f" It cannot be told: {why}.{by_two}"
    if state.word != ABOVE and LEVEL_RULE in rules and rules[LEVEL_RULE].word == "not met":
        note += " The leak area is above its limit, in which other paths than the rings may share."
    before = [state_after(view, view.the_build, view.cylinder, each) for each in view.the_build.assemblies[:-1]]
    if told := [each.word for each in before if each is not None and each.word != "cannot tell"]:
        note += f" Before its rings were refitted it was {told[-1]}."
    return note.strip()


def _by_two_checks(view: View, rules: Mapping[str, Verdict]) -> str:
    """How a state was told without a curve."""
    to_lose, apart, between = (rules.get(rule) for rule in (TO_LOSE_RULE, APART_RULE, BETWEEN_RULE))
    if to_lose is None or apart is None or between is None or not to_lose.deciding.startswith(TO_LOSE_MOST.id):
        return ""
    earlier = view.program.phase(to_lose.deciding.partition("@vs:")[2]).title
    far = words.number(apart.found or 0.0, 0)
    low, high = (words.signed(end or 0.0, 2) for end in (between.low, between.high))
    return (
        f" No curve tells its leak still to lose, but two checks do: since {earlier}, {far} seating distances before, "
        f"the leak area changed by no more than scatter ({words.with_unit(f'{low} to {high}', 'mm²')}), so that hardly "
        "any is left to lose."
    )


def gaps_alone(view: View) -> Cell | None:
    """What the ring gaps of this cylinder alone would leak."""
    floor = floor_of(view, view.the_build, view.cylinder)
    return Cell(view.text(floor, unit=True)) if floor is not None and floor.value is not None else None


def past_the_rings(view: View) -> Cell | None:
    """How much of the air went past the rings at the last check."""
    state = view.state()
    if state is None or not state.key.phase:
        return None
    whole, ring = (view.value(each.id, state.key.phase) for each in (AREA, CRANKCASE))
    if whole is None or ring is None or not whole.value or ring.value is None or "path-unknown" in ring.flags:
        return None
    return Cell(f"{words.percent(ring.value, whole.value)} of the air")


def cylinder_neighbours(view: View) -> Sequence[Block]:
    """The strip of block plans by phase with this cylinder ringed."""
    build, number = view.the_build, view.cylinder
    if len(build.places) < 2:
        return ()

    strip = [replace(plan, me=number) for plan in strips_of(view, build)]
    return (Plans(strip, _rank_sentence(view), "Area of each disc: leak area. Values in mm².", small=True),)


def _rank_sentence(view: View) -> str:
    """At how many checks this cylinder stands apart from its neighbours, beyond the intervals of both."""
    build, number = view.the_build, view.cylinder
    above = below = seen = 0
    for phase in checked_phases(view):
        values = [view.value(CRANKCASE.id, phase.id, engine=build, cylinder=p.cylinder) for p in build.places]
        bounds = {
            value.key.cylinder: (value.low, value.high)
            for value in values
            if value is not None and value.status == "ok" and value.low is not None and value.high is not None
        }
        others = [ends for cylinder, ends in bounds.items() if cylinder != number]
        if number not in bounds or not others:
            continue
        seen += 1
        low, high = bounds[number]
        above += low > max(end for _, end in others)
        below += high < min(end for end, _ in others)
    if not seen:
        return ""
    of = f"of {words.counted(seen, 'check')}"
    if above:
        return f"At {words.count(above)} {of} it leaks more than every neighbour, beyond their intervals."
    if below:
        return f"At {words.count(below)} {of} it leaks less than every neighbour, beyond their intervals."
    return f"At none {of} does it stand apart from its neighbours by more than their intervals."


def cylinder_paths(view: View) -> Sequence[Block]:
    """Where the air went: a table where other paths than the rings took a tenth or more, else one sentence."""
    build, number = view.the_build, view.cylinder
    rows: list[Row] = []
    told: list[tuple[Phase, Value, Value, float | None]] = []
    for phase in checked_phases(view):
        whole, ring = view.value(AREA.id, phase.id), view.value(CRANKCASE.id, phase.id)
        if whole is None or ring is None or not whole.value or ring.value is None:
            continue
        by_path = [(path, view.value(PATH.id, phase.id, path)) for path in PATHS]
        shares = [
            f"{path} {words.percent(each.value, 100)}" for path, each in by_path if each is not None and each.value
        ]
        unknown = "path-unknown" in ring.flags
        # both areas are stored rounded: a share in tenths has to be those tenths again
        share = None if unknown else round(ring.value / whole.value, 2)
        told.append((phase, whole, ring, share))
        where = "not recorded" if unknown else words.listed(shares) if shares else "from the flow out of the crankcase"
        rows.append(Row((Cell(phase.title), Cell(area_text(view, whole)), Cell(area_text(view, ring)), Cell(where))))
    blocks: list[Block] = []
    known = [(phase, whole, ring, share) for phase, whole, ring, share in told if share is not None]
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
        if worst[3] >= MOSTLY and len(known) == len(told):
            least = words.percent(worst[3], 1.0)
            blocks.append(Text((Cell(f"At every check at least {least} of the air went past the rings."),)))
        else:
            columns = (
                Column("Phase"), Column("Leak area, all paths", "mm²", numeric=True, measure=AREA.id),
                Column("To the crankcase", "mm²", numeric=True, measure=CRANKCASE.id),
                Column("Share of the air", measure=PATH.id),
            )  # fmt: skip
            reading = _path_reading(view, told)
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
            Text(
                (
                    Cell(
                        f"At {view.program.phase(kind.key.phase).title} the leak area at the higher of two supply "
                        f"pressures was {view.text(ratio)} times that at the lower; a hole gives 1, a thin slit more. "
                        f"{says}"
                    ),
                )
            )
        )
    return blocks


def _with_oil(view: View) -> list[str]:
    """What a check read with oil added, beside the same check dry."""
    told: list[str] = []
    for wet in view.values(CRANKCASE.id, engine=view.the_build, cylinder=view.cylinder, at="wet"):
        dry = view.value(CRANKCASE.id, wet.key.phase)
        if dry is None or dry.value is None or dry.low is None or wet.value is None or wet.high is None:
            continue
        title = view.program.phase(wet.key.phase).title
        text = f"With oil added at {title} it read {area(wet.value)} instead of {area(dry.value)}."
        if wet.high < dry.low:
            text += " Oil seals rings, not valves: what it closed leaked past the rings (common practice, no source)."
        told.append(text)
    return told


def _path_reading(view: View, told: Sequence[tuple[Phase, Value, Value, float | None]]) -> str:
    """How much of the air went past the rings, at the first check that says and at the last."""
    known = [(phase, whole, ring, share) for phase, whole, ring, share in told if share is not None]
    unknown = [phase.title for phase, _, _, share in told if share is None]
    gap = f" At {words.listed(unknown)} the path was not recorded." if unknown else ""
    worst = min(known, key=lambda each: each[3])
    if worst[3] >= MOSTLY:
        return f"Where the path was recorded, nearly all of the air went past the rings.{gap}"
    (first, _, _, before), (end, whole, ring, after) = known[0], known[-1]
    percent = words.percent
    sentence = (
        f"Not all of this leak is the rings': {percent(1 - before, 1.0)} of the air went elsewhere at {first.title}, "
        f"{percent(1 - after, 1.0)} at {end.title}, where it is {area(whole.value or 0.0)} in all and "
        f"{area(ring.value or 0.0)} past the rings."
    )
    (least, most), (low, high) = (
        beside_rings(whole, share, _shares_told(view, phase)) for phase, whole, _, share in (known[0], known[-1])
    )
    if low > most:
        sentence += " It grows: a valve, a gasket or a plug wants looking at."
    elif after >= MOSTLY and high < least:
        sentence += " It went away with running, as a valve does that beds in; the total alone would look like seating."
    return sentence + gap


def _shares_told(view: View, phase: Phase) -> list[float]:
    """Share of the air past the rings [-] by each reading that says, of those in the value of a check."""
    counted = {row.reading for row in _singles(view)}
    own = [row for row in view.records("leakdown", Reading) if row.phase == phase.id and row.reading in counted]
    return [row.to_crankcase / 100 for row in own if given(row.to_crankcase)]


def cylinder_readings(view: View) -> Sequence[Block]:
    """Every reading of the cylinder: in the value of its check, beside it, or left out, with where it stands."""
    build, number = view.the_build, view.cylinder
    order = {phase.id: phase.order for phase in view.program.phases}
    records = sorted(
        view.records("leakdown", Reading), key=lambda row: (order.get(row.phase, len(order)), row.file, row.row)
    )
    titles = {phase.id: phase.title for phase in view.program.phases}
    counted = {row.reading for row in _singles(view)}
    read = view.values(READ.id, engine=build, cylinder=number)
    leaks = {each.key.at: words.number(each.value, 1) for each in read if each.value is not None}
    rows = []
    inside = beside = 0
    states = temperature_states(view.program, _kept(view.of_build(build).records("leakdown", Reading)))
    for row in records:
        use, note = _use(view, row, row.reading in counted, states)
        inside += use == USED
        beside += use == BESIDE
        remark = "" if not given(row.remark) else f"“{row.remark}”"
        repeat = "" if not given(row.repeat) else f", {int(row.repeat)}"
        metal = "" if not given(row.metal_temperature) else words.number(row.metal_temperature - 273.15, 0)
        rows.append(
            Row(
                (
                    Cell(f"{titles.get(row.phase, 'no phase')}{repeat}".replace(" ", "\u00a0")),
                    Cell(_number(row.supply, 1e3)),
                    Cell(_number(row.pressure, 1e3)),
                    Cell(leaks.get(f"reading:{row.reading}", "")),
                    Cell(metal),
                    Cell(row.tester),
                    Cell(words.day(row.date) if isinstance(row.date, str) else ""),
                    Cell(use, word=row.use != "", note=" ".join(part for part in (note, remark) if part)),
                    Cell(row.reading),
                ),
                here=row.use != "",
                anchor=f"reading-{row.reading}",
            )
        )
    columns = (
        Column("Phase, repeat"), Column("Supply", "kPa gauge", numeric=True),
        Column("Cylinder", "kPa gauge", numeric=True), Column("Leak", "%", numeric=True, measure=READ.id),
        Column("Metal", "°C", numeric=True), Column("Tester"), Column("Date"), Column("Use"),
        Column("Reading, file:line"),
    )  # fmt: skip
    left = sum(row.here for row in rows)
    without = len(rows) - left - inside - beside
    parts = [f"{words.count(inside) if inside < len(rows) else 'all'} in the values above"]
    parts += [f"{words.count(beside)} beside them, in another condition"] if beside else []
    parts += [f"{words.count(without)} without a leak area, with the reason beside it"] if without else []
    parts += [f"{words.count(left)} left out, with the reason beside it"] if left else []
    reading = f"{words.sentence(words.counted(len(rows), 'reading'))}: {words.listed(parts)}."
    note = (
        "Who doubts a reading leaves it out on objection: its name in the last column, why, who and which day, under "
        f"“exclusions” in {view.program.id}/program.yaml (README, “Your own program”). It stays here, crossed."
    )
    note = note if any(row.use == "" for row in records) else ""
    return (Table(f"readings-{build.id}-{number}", columns, rows, reading, note=note, wide=True),)


USED, BESIDE = "used", "beside the value"


def _kept(rows: Sequence[Reading]) -> list[Reading]:
    return [row for row in rows if row.use == "" and given(row.cylinder) and not given(row.reference)]


def _use(view: View, row: Reading, counted: bool, states: Mapping[tuple[str, str], str]) -> tuple[str, str]:
    """Whether a reading is in the value of its check, beside it, without a value, or left out, and why."""
    if row.use != "":
        with_it = view.value(CRANKCASE.id, row.phase, f"with:{row.reading}")
        told = f" With it the check reads {area(with_it.value)}." if with_it is not None and with_it.value else ""
        return "left out", _why_out(view, row) + told
    if counted:
        return USED, ""
    rule, state = view.program.leakdown, states[row.engine, row.phase]
    parts = []
    if (oil := "dry" if not given(row.oil) else str(row.oil)) != rule.oil:
        parts.append("oil added" if oil == "wet" else "no oil added")
    parts += ["another supply pressure"] if abs(row.supply - rule.supply) > rule.supply_band else []
    parts += [f"read {row.condition}"] if isinstance(row.condition, str) and state and row.condition != state else []
    parts += ["not at top dead centre"] if isinstance(row.crank, str) and row.crank != "tdc" else []
    parts += [f"{each.what}, where the program asks for {each.expected}" for each in outside(rule, state, row)]
    at = condition(view.program, state, row)
    beside = ",".join(part for part in (at, f"tester:{row.tester}") if part)
    if view.value(CRANKCASE.id, row.phase, beside) is not None:
        parts.append("another tester")
    if parts:
        return BESIDE, words.sentence(f"{words.listed(parts)}.")
    value = view.value(CRANKCASE.id, row.phase)
    if value is not None and value.status == "below":
        return USED, words.sentence(f"{view.why(value.reason)}.")
    return "no leak area", words.sentence(f"{view.why(value.reason if value is not None else 'no-reading')}.")


def _why_out(view: View, row: Reading) -> str:
    """Why a reading is left out, in the words of the objection where there is one."""
    for objection in view.program.exclusions:
        if objection.reading == row.reading and row.use == "excluded":
            when = f", {words.day(objection.on)}" if objection.on else ""
            by = f" ({objection.by}{when})" if objection.by else ""
            return f"{words.sentence(objection.why)}{by}."
    return f"{words.sentence(view.why(row.use))}."


def _number(value: float, scale: float) -> str:
    return "" if not given(value) else words.number(value / scale, 1)
