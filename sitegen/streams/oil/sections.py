"""What the oil says on the pages. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise

from sitegen.declarations import OfBuild, Section, Unusual
from sitegen.methods import closure, elements
from sitegen.methods.oil_ledger import ADDED, FILLED, START, TERMS, adding_up
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Datum, Figure, Panel, Row, Table, Text, number_of
from sitegen.page.view import View
from sitegen.program.model import Build
from sitegen.streams.oil import custody_page
from sitegen.streams.oil.fields import DRAIN, FILL, SAMPLE, TOP_UP, Reading
from sitegen.streams.oil.fuel_page import apparent_note, fuel, told
from sitegen.streams.oil.measures import (
    APPARENT,
    CONCENTRATION,
    CONSUMPTION,
    DEPTH,
    EXPECTED,
    FROM,
    INDEX,
    MASS,
    MISLEADS,
    NEXT,
    PER_HOUR,
    PER_KM,
    READ,
    RUN_IN,
    SHOWN,
    SPECIFIC,
    THICKER,
    WEIGHED,
)
from sitegen.streams.oil.samples import MG_KG, mass_of
from sitegen.streams.oil.steps import AT_LEAST, CONDITION, LEDGER, TIMES, TOTAL
from sitegen.tables.rows import Written
from sitegen.vocabulary import Value, numbers

CUSTODY = "Samples, from the sump to the laboratory"
DRAWN = 2  # metals told and drawn first on the page of a build
HIDES = 0.5  # share of what a sample holds that fresh oil brings: from here on concentration is no sign of wear
PARTICLES = (
    "The laboratory's method reads particles above a few micrometres low, so flakes of the run-in are missed; the "
    "metal made is the least there was."
)
NOT_LISTED = "What is not on the list of parts is put down to those that are"
UNLISTED = "closure.not_listed"  # weighed rings that lost mass and are no source: a measure of what crosses streams
SHARED = (
    "Oil belongs to the whole engine. Where an engine holds more than one coating, metal and oil consumption belong to "
    "the engine and say nothing about a coating."
)


# ---- engine ---------------------------------------------------------------------------------------------------------


def engine_oil(view: View) -> Sequence[Block]:
    """The ledger that adds up, metal over the phases, what was drawn, the parts, consumption and condition."""
    rows = view.records("oil", Reading)
    if not rows:
        return ()
    build = view.the_build
    totals = _totals(view, build)
    blocks: list[Block] = []
    if totals:
        blocks.append(Text((Cell(f"{_reading(view, totals)} {_used(view)}".rstrip()),), "reading"))
        blocks += [*_figure(view, totals), *_ledger(view, totals), *_sources(view)]
        blocks += [Text((Cell(text),), "note") for text in _hidden(view)]
    if not any(_told(value) for value in totals.values()):
        blocks += _over_hours(view)
    blocks += [*_stretches(view, totals), *_samples(view, rows), *_consumption(view), *fuel(view), *_condition(view)]
    if len(build.coatings) > 1:
        blocks.append(Text((Cell(SHARED),), "note"))
    return blocks


def _totals(view: View, build: Build) -> dict[str, Value]:
    """Metal made up to the last sample, of the metals it is known of, the most first."""
    order = {phase.id: phase.order for phase in view.phases}
    found: dict[str, Value] = {}
    for symbol, measure in MASS.items():
        own = [v for v in view.values(measure.id, engine=build, at=TOTAL) if v.key.phase in order]
        if own:
            found[symbol] = max(own, key=lambda v: order[v.key.phase])
    return found


def _told(value: Value | None) -> bool:
    """True where a metal is told from none."""
    return value is not None and value.value is not None and (value.low is None or value.low > 0)


def _reading(view: View, totals: Mapping[str, Value]) -> str:
    sure = [(symbol, value) for symbol, value in totals.items() if _told(value)]
    if not sure:
        return _untold(view, totals) or "No metal of wear is told from what fresh oil brings."
    sure.sort(key=lambda pair: -(pair[1].value or 0.0))
    named = words.listed(f"{view.text(value, unit=True)} of {elements.name(symbol)}" for symbol, value in sure[:DRAWN])
    text = f"Up to the last sample the engine made {named}."
    symbol, value = sure[0]
    share = view.value(RUN_IN.id, value.key.phase, symbol, cylinder=0)
    if share is not None and share.value is not None:
        part = words.with_unit(words.within(share.value, share.low, share.high), "%")
        text += f" Of the {elements.name(symbol)}, the run-in made {part}."
    return f"{text} {_untold(view, totals)}".rstrip()


def _untold(view: View, totals: Mapping[str, Value]) -> str:
    """Metals whose balance cannot be made, with the reason, and the most the samples hold of them."""
    by_reason: dict[str, list[str]] = {}
    for symbol, value in totals.items():
        if value.status == "refused" and value.reason:
            by_reason.setdefault(value.reason, []).append(symbol)
    said = []
    for reason, symbols in by_reason.items():
        held = {s: max(numbers(view.values(CONCENTRATION[s].id, engine=view.the_build)), default=0.0) for s in symbols}
        most = max(symbols, key=lambda symbol: held[symbol])
        names = words.listed([elements.name(symbol) for symbol in symbols])
        text = f"How much of {names} wear made cannot be told: {view.why(reason)}."
        if held[most] > 0:
            found = words.with_unit(words.number(held[most], 0 if held[most] >= _WHOLE else 1), "mg/kg")
            text += f" The samples hold up to {found} of {elements.name(most)}."
        said.append(text)
    return " ".join(said)


_WHOLE = 10.0  # mg/kg from which no decimal is told


def _hidden(view: View) -> list[str]:
    """An element that the fresh oil brings most of, told so that nobody takes it for wear."""
    oil = view.program.definitions.oils.get(view.the_build.oil)
    if oil is None:
        return []
    said = []
    for symbol in MASS:
        held = numbers(view.values(CONCENTRATION[symbol].id, engine=view.the_build))
        brought = oil.fresh.get(symbol, 0.0) * MG_KG
        if held and brought > 10 and brought > HIDES * max(held):
            most = words.with_unit(words.number(max(held), 0), "mg/kg")
            fresh = words.with_unit(words.number(brought, 0), "mg/kg")
            name = elements.name(symbol).capitalize()
            said.append(f"{name} cannot be read as wear: of up to {most} in the samples, fresh oil brings {fresh}.")
    return said


MADE = "Metal made since the first fill, mg"


def _figure(view: View, totals: Mapping[str, Value]) -> list[Block]:
    """The metals that most was made of, over the phases, with changes of oil and top-ups between them."""
    build = view.the_build
    places, labels = _axis(view)
    coating = build.coatings[0] if len(build.coatings) == 1 else ""
    chosen = sorted((s for s, v in totals.items() if _told(v)), key=lambda s: -(totals[s].value or 0.0))[:DRAWN]
    means: list[ChartRow] = []
    for symbol in chosen:
        drawn: list[tuple[float, ChartRow]] = []
        for value in view.values(MASS[symbol].id, engine=build, at=TOTAL):
            if value.key.phase not in places or value.value is None:
                continue
            place = places[value.key.phase]
            row: ChartRow = {
                "line": symbol,
                "x": place,
                "value": value.value,
                "low": value.low,
                "high": value.high,
                "open": bool(value.flags),
                "tip": f"{view.program.phase(value.key.phase).title}: {view.text(value, unit=True)}",
            }
            drawn.append((place, row))
        rows = [row for _, row in sorted(drawn, key=lambda each: each[0])]
        means += [*rows[:-1], *({**row, "label": elements.name(symbol)} for row in rows[-1:])]
    if not means:
        return []
    data = {"phases": labels, "means": means}
    panel = Panel("", data, {"unit": "mg"}, coating, label="Metal made, by phase", axis=MADE)
    why = "drawn late or elsewhere, analysed late, or resting on a bound"
    open_ = f" Open: {why}." if any(row["open"] for row in means) else ""
    falls = [number_of(a["value"]) <= number_of(b["high"] or b["value"]) for a, b in pairwise(means)
             if a["line"] == b["line"] and number_of(b["value"]) < number_of(a["value"])]  # fmt: skip
    within = f": {'no' if all(falls) else 'not every'} line falls by more than they allow" if falls else ""
    caption = f"Up to each sample, with its bounds{within}.{open_}"
    return [Figure(f"metal-made-{build.id}", "slope", (panel,), "", caption, measure=MASS["Fe"].id)]


FEWEST_DRAWN = 3  # samples: two make no course


def _over_hours(view: View) -> list[Block]:
    """What the samples hold of the metals there is most of, over the running time: all there is without a balance."""
    build = view.the_build
    times = [
        (float(hours), str(phase), str(at))
        for each in view.series(TIMES)
        for hours, phase, at in zip(each.frame["hours"], each.frame["phase"], each.frame["at"], strict=True)
    ]
    if len({hours for hours, _, _ in times}) < FEWEST_DRAWN:
        return []
    courses: dict[str, list[tuple[float, Value]]] = {}
    for symbol in MASS:
        found = [(hours, view.value(CONCENTRATION[symbol].id, phase, at, cylinder=0)) for hours, phase, at in times]
        known = [(hours, value) for hours, value in found if value is not None and value.status in {"ok", "below"}]
        if len(numbers(value for _, value in known)) >= FEWEST_DRAWN:
            courses[symbol] = known
    most = sorted(courses, key=lambda symbol: -max(numbers(value for _, value in courses[symbol])))[:DRAWN]
    panels = [_course(view, symbol, courses[symbol]) for symbol in most]
    if not panels:
        return []
    below = any(value.status == "below" for symbol in most for _, value in courses[symbol])
    caption = f"As reported, with the laboratory's scatter.{' Open: less than the point.' if below else ''}"
    name = f"oil-over-hours-{build.id}"
    return [Figure(name, "curves", panels, caption=f"{caption} {MISLEADS}",
                   measure=CONCENTRATION[most[0]].id, one_scale=False)]  # fmt: skip


def _course(view: View, symbol: str, course: Sequence[tuple[float, Value]]) -> Panel:
    """Samples of one metal in the order drawn; their line is broken where the hours begin anew: a new fill."""
    path: list[ChartRow] = []
    points: list[ChartRow] = []
    fill, before = 0, 0.0
    for hours, value in course:
        fill, before = fill + (hours < before), hours
        held = value.high if value.value is None else value.value
        tip = f"{words.with_unit(words.number(hours, 1), 'h')}: {view.text(value, unit=True)}"
        own = value.value is not None
        points.append({"at": hours, "value": held, "low": value.low if own else None,
                       "high": value.high if own else None, "open": not own, "tip": tip})  # fmt: skip
        path.append({"at": hours, "value": held, "line": f"{symbol} {fill}"})
    name = elements.name(symbol).capitalize()
    ends: dict[str, Datum] = {"least": 0.0, "from": 0.0, "to": max(hours for hours, _ in course), "along": "h"}
    return Panel(name, {"path": path, "points": points}, ends, label=f"{name} in the oil over the running time",
                 axis=f"{name}, mg/kg", along="Running time, h")  # fmt: skip


def _axis(view: View) -> tuple[dict[str, float], list[ChartRow]]:
    """Places of the sampled phases along the axis, with what was done to the oil before each."""
    done: dict[str, list[str]] = {}
    density = _density(view)
    order = {phase.id: phase.order for phase in view.phases}
    used = [row for row in view.records("oil", Reading, used=True) if row.phase in order]
    drains = [order[row.phase] for row in used if row.what == DRAIN]
    for row in used:
        if row.what == TOP_UP:
            kilos = words.with_unit(words.number(mass_of(row, density), 2), "kg")
            done.setdefault(row.phase, []).append(f"+{kilos}")
        elif row.what == FILL:
            changed = any(place < order[row.phase] for place in drains)
            done.setdefault(row.phase, []).append("new oil" if changed else "oil filled")
    places: dict[str, float] = {}
    labels: list[ChartRow] = []
    for phase in view.phases:
        if phase.id in done:  # one place for all of a phase: on a telephone two would lie over each other
            told = sorted(done[phase.id], key=lambda said: said.startswith("+"))
            labels.append({"x": len(labels), "label": ", ".join(told)})
        if "oil" in phase.records and any(row.what == SAMPLE for row in view.records("oil", Reading, phase=phase.id)):
            places[phase.id] = len(labels)
            labels.append({"x": len(labels), "label": phase.title})
    return places, labels


def _density(view: View) -> float | None:
    oils = view.program.definitions.oils
    return oils[view.the_build.oil].density if view.the_build.oil in oils else None


_INTO = (START, FILLED, ADDED)  # terms of oil that came in
_CLOSED = 1e-3  # kg: what came in and what is accounted for agree so far where no old oil is in between
_DECIMALS_MORE = 1  # shown of a term beyond those of the total's interval


def _ledger(view: View, totals: Mapping[str, Value]) -> list[Block]:
    """The balance term by term: rounded so that each column adds up in the last digit shown."""
    build = view.the_build
    chosen = [symbol for symbol, value in totals.items() if value.value is not None and value.low is not None]
    terms = {each.key.at: each.frame for each in view.series(LEDGER)}
    cases = {each.key.at: each.frame for each in view.series(f"{LEDGER}-cases")}
    chosen = [symbol for symbol in chosen if symbol in terms and symbol in cases]
    if not chosen:
        return []
    what = [name for name in TERMS if any(name in terms[symbol]["what"].tolist() for symbol in chosen)]
    shown: dict[str, dict[str, str]] = {}
    for symbol in chosen:
        value = totals[symbol]
        half = ((value.high or 0.0) - (value.low or 0.0)) / 2
        digits = max(words.decimals_for(half) + _DECIMALS_MORE, 0)
        frame = terms[symbol]
        cut = adding_up(frame["metal"].tolist(), digits, round(value.value or 0.0, digits))
        shown[symbol] = {name: words.number(part, digits) for name, part in zip(frame["what"], cut, strict=True)}
        shown[symbol]["made"] = words.number(round(value.value or 0.0, digits), digits)
        shown[symbol] |= {
            name: words.number(part, digits)
            for name, part in zip(cases[symbol]["what"], cases[symbol]["metal"], strict=True)
        }
    first = terms[chosen[0]]
    signed = [mass if name in _INTO else -mass for name, mass in zip(first["what"], first["oil"], strict=True)]
    cut = adding_up(signed, 3, 0.0 if abs(sum(signed)) < _CLOSED else None)
    oil = {name: abs(mass) for name, mass in zip(first["what"], cut, strict=True)}
    rows = [
        Row((Cell(words.sentence(name)), Cell(words.number(oil[name], 3) if oil.get(name) else words.DASH),
             *(Cell(shown[symbol].get(name, words.DASH)) for symbol in chosen)))
        for name in what
    ]  # fmt: skip
    rows.append(Row((Cell("Metal made: the sum"), Cell(""), *(Cell(shown[s]["made"]) for s in chosen)), here=True))
    for case, title in (
        ("evaporated", "If all the lost oil evaporated"),
        ("end", "If it left as droplets that held what the oil held at the end of each stretch"),
    ):
        rows.append(Row((Cell(title), Cell(""), *(Cell(shown[s][case]) for s in chosen))))
    spans = (words.span(totals[s].low, totals[s].high) for s in chosen)
    rows.append(Row((Cell("With laboratory and masses"), Cell(""), *(Cell(span) for span in spans))))
    columns = (
        Column("Up to the last sample"), Column("Oil", "kg", numeric=True),
        *(Column(symbol, "mg", numeric=True, measure=MASS[symbol].id) for symbol in chosen),
    )  # fmt: skip
    note = f"Lost oil is taken as droplets at the mean of both ends of each stretch. {PARTICLES}"
    bounded = [
        f"at most {words.with_unit(words.number(value.high, 1), 'mg')} of {elements.name(symbol)}"
        for symbol, value in totals.items()
        if value.status == "below" and value.high is not None
    ]
    if bounded:
        note += f" Not in the table, since reports of less than a limit leave bounds alone: {words.listed(bounded)}."
    caption = "The balance of metal"
    return [Table(f"oil-ledger-{build.id}", columns, rows, caption=caption, note=note, wide=True)]


def _sources(view: View) -> list[Block]:
    build = view.the_build
    every = [value for value in view.values(FROM.id, engine=build) if value.key.at]
    found = [value for value in every if value.status != "refused"]
    strange = _without_common(view, every)
    if not found:
        return [Text((Cell(strange),))] if strange else []
    titles = {source.id: source.title for source in view.program.oil.sources}

    def named(at: str) -> str:
        return words.listed([titles[each] for each in at.split("+")], "or")

    found.sort(key=lambda value: -(value.value or 0.0))
    depths = {v.key.at or _face(view, build): v for v in view.values(DEPTH.id, engine=build)}
    rows = [
        Row((Cell(words.sentence(named(v.key.at))), view.cell(v),
             view.cell(depths.get(v.key.at))))
        for v in found
    ]  # fmt: skip
    columns = (Column("Part"), Column("Metal", "mg", numeric=True, measure=FROM.id),
               Column("Mean wear of its surface", "µm", numeric=True, measure=DEPTH.id))  # fmt: skip
    sure = [value for value in found if _told(value)]
    text = _largest(found, sure, named) if sure else ""
    text = text or "No part is told from none."
    swaps = [
        pair for each in view.series("oil-swaps") for pair in zip(each.frame["out"], each.frame["into"], strict=True)
    ]
    if swaps:
        said = words.listed(f"{titles[into]} in place of {titles[out]}" for out, into in swaps)
        text += f" As well would fit: {said}."
    together = [value.key.at for value in found if "+" in value.key.at]
    note = "Parts named together hold the same metals and cannot be told apart. " if together else ""
    note += " ".join(filter(None, (strange, _not_listed(view, [build]))))
    return [Table(f"oil-sources-{build.id}", columns, rows, text, caption="Where it came from", note=note)]


def _without_common(view: View, values: Sequence[Value]) -> str:
    """Sources none of whose elements was told in the oil: named, since nothing could be put down to them."""
    names = [value.key.at for value in values if value.reason == "no-common-element"]
    told = [
        f"{source.title} ({words.listed(list(source.elements))})"
        for source in view.program.oil.sources
        if source.id in names
    ]
    if not told:
        return ""
    was = words.plural(len(told), "it holds", "they hold")
    return f"Nothing can be put down to {words.listed(told)}: no metal that {was} was told in the oil."


def _largest(found: Sequence[Value], sure: Sequence[Value], named: Callable[[str], str]) -> str:
    """The part that gave most, with those whose intervals reach into its own: more than one of them may have."""
    first = sure[0]
    rivals = [
        value for value in found
        if value is not first and value.high is not None and first.low is not None and value.high > first.low
    ]  # fmt: skip
    text = f"The largest share of the metal is put down to {named(first.key.at)}"
    if not rivals:
        return f"{text}."
    others = words.listed([named(value.key.at) for value in rivals])
    return f"{text}, together with {others}: which of them gave most cannot be told."


def _face(view: View, build: Build) -> str:
    """The source that stands for the ring faces of a build of one coating; "" none."""
    own = [s for s in view.program.oil.sources if s.coating in build.coatings and s.surface and s.density]
    return str(own[0].id) if len(own) == 1 else ""


def _stretches(view: View, totals: Mapping[str, Value]) -> list[Block]:
    """Metal made between samples, and per hour."""
    build = view.the_build
    rows = []
    chosen = [symbol for symbol, value in totals.items() if _told(value)]
    for phase in view.phases:
        own = {symbol: view.values(MASS[symbol].id, engine=build, phase=phase.id) for symbol in chosen}
        for at in dict.fromkeys(v.key.at for values in own.values() for v in values if v.key.at != TOTAL):
            cells = []
            for symbol in chosen:
                value = next((v for v in own[symbol] if v.key.at == at), None)
                rates = [view.value(m.id, phase.id, f"{symbol}:{at}" if at else symbol, cylinder=0)
                         for m in (PER_HOUR, PER_KM)]  # fmt: skip
                told = [view.text(r, interval=False, unit=True) for r in rates if r is not None and _told(r)]
                cells.append(view.cell(value, ", ".join(told)))
            rows.append(Row((Cell(phase.title, note=_since(view, at)), *cells)))
    if not rows:
        return []
    columns = (Column("Since the sample before"),
               *(Column(symbol, "mg", numeric=True, measure=MASS[symbol].id) for symbol in chosen))  # fmt: skip
    note = "Second line: by the hour and by the distance slid, where some was surely made. "
    note += "A stretch that no sample ends is counted with the next."
    return [Table(f"metal-by-phase-{build.id}", columns, rows, caption="Metal made by phase", note=note, wide=True)]


def _since(view: View, at: str) -> str:
    if not at.startswith("since:"):
        return at.replace("-", " ")
    phase = at.removeprefix("since:")
    return "since the fill" if phase == "fill" else f"since {view.program.phase(phase).title}"


def _samples(view: View, rows: Sequence[Reading]) -> list[Block]:
    """Planned against drawn: late, misplaced, missing and left-out samples marked."""
    build, rule = view.the_build, view.program.oil
    symbols = [s for s, m in CONCENTRATION.items() if view.values(m.id, engine=build) and (s in MASS or s == "Si")]
    made, odd, missing = [], [], []
    planned_rows = 0
    for phase in view.phases:
        own: dict[str, list[Reading]] = {}
        for row in rows:
            if row.what == SAMPLE and row.phase == phase.id:
                own.setdefault(str(row.sample), []).append(row)
        if not own and "oil" in phase.records:
            due = build.is_due(phase.id)
            missing += [] if due else [phase.title]
            made.append(Row((Cell(phase.title), Cell("to come" if due else "missing", word=True), Cell(""),
                             *(Cell("") for _ in symbols))))  # fmt: skip
        planned_rows += max(len(own), 1) if "oil" in phase.records else 0
        for number, (name, parts) in enumerate(own.items()):
            at = "" if number + 1 == len(own) else f"sample-{number + 1}"
            left_out = all(each.use for each in parts)
            values = [None if left_out else view.value(CONCENTRATION[s].id, phase.id, at, cylinder=0) for s in symbols]
            flags = sorted({f for v in values if v is not None for f in v.flags if f.startswith("drawn")})
            odd += [f"{phase.title}, {flag.replace('-', ' ')}" for flag in flags]
            notes = [flag.replace("-", " ") for flag in flags] + ["left out"] * left_out
            first = parts[0]
            minutes = words.DASH if _none(first.since_shutdown) else words.number(first.since_shutdown / 60, 0)
            place = words.DASH if _none(first.draw_point) else str(first.draw_point).replace("-", " ")
            cells = [Cell(_content(view, v)) for v in values]
            made.append(
                Row((Cell(phase.title, note=name), Cell(minutes, note=", ".join(notes)), Cell(place), *cells),
                    here=bool(notes))
            )  # fmt: skip
    if not made:
        return []
    columns = (Column("Sample"), Column("Since shutdown", "min", numeric=True), Column("Drawn at"),
               *(Column(s, "mg/kg", numeric=True, measure=CONCENTRATION[s].id) for s in symbols))  # fmt: skip
    more = len(made) - planned_rows
    drawn = sum(row.cells[1].text not in {"missing", "to come"} for row in made) - more
    was = "was" if 1 in {drawn, planned_rows} else "were"
    text = f"{words.sentence(words.share(drawn, planned_rows, 'planned sample'))} {was} drawn"
    text += f"; {words.count(more)} more {words.plural(more, 'was', 'were')} not planned" if more else ""
    if not planned_rows:
        text = (
            f"{words.sentence(words.counted(more, 'sample'))} {words.plural(more, 'was', 'were')} drawn, none planned"
        )
    text += f"; missing: {words.listed(missing)}" if missing else ""
    text += f"; not as planned: {words.listed(odd)}." if odd else "."
    planned = []
    if rule.minutes is not None:
        ends = words.span(rule.minutes[0] / 60, rule.minutes[1] / 60, 0)
        planned.append(f"{words.with_unit(ends, 'min')} after shutdown")
    if rule.draw_point:
        planned.append(f"at the {rule.draw_point.replace('-', ' ')}")
    note = f"Planned: {', '.join(planned)}. " if planned else ""
    note += f"{_laboratory(view)} Below: less than the laboratory detects, or as it reported."
    name = f"oil-samples-{build.id}"
    return [
        Table(name, columns, made, text, caption="Planned and drawn" if planned_rows else "Drawn", note=note, wide=True)
    ]


def _content(view: View, value: Value | None) -> str:
    """What a report says of an element."""
    if value is None:
        return words.DASH
    said = {"not-measured": "not measured", "no-detection-limit": "not detected"}
    return said.get(value.reason) or view.text(value, interval=False)


def _laboratory(view: View) -> str:
    """Which laboratory, and whether its samples were analysed together."""
    used = [row for row in view.records("oil", Reading, used=True) if row.what == SAMPLE and not _none(row.laboratory)]
    if not used:
        return "No laboratory is named."
    known = view.program.definitions.laboratories
    titles = words.listed(dict.fromkeys(known[str(row.laboratory)].title for row in used))
    batches = {row.batch for row in used if not _none(row.batch)}
    how = "all samples of the build in one batch, so that what the batch shares leaves the differences"
    if len(batches) != 1 or any(_none(row.batch) for row in used):
        how = "not in one batch, so that each sample scatters as from day to day"
    return f"{words.sentence(titles)}; {how}."


def _none(value: Written) -> bool:
    return value is None or value != value


def _in_order(view: View, values: Sequence[Value]) -> list[Value]:
    order = {phase.id: phase.order for phase in view.program.phases}
    return sorted(values, key=lambda value: order[value.key.phase])


def _consumption(view: View) -> list[Block]:
    build = view.the_build
    found = _in_order(view, view.values(CONSUMPTION.id, engine=build))
    if not found:
        return []
    rows = []
    for value in found:
        phase = view.program.phase(value.key.phase).title
        by_energy, by_weight = (view.value(m.id, value.key.phase, cylinder=0) for m in (SPECIFIC, APPARENT))
        note = view.why(value.reason) if value.reason else apparent_note(view, value, by_weight)
        unsure = value.status == "ok" and not told(value)
        used, relative = ("cannot tell" if unsure else view.text(each) for each in (value, by_energy))
        rows.append(Row((Cell(f"drained after {phase}" if value.status == "ok" else phase),
                         Cell(used, note=note), Cell(relative))))  # fmt: skip
    columns = (Column("Fill"), Column("Oil consumption", "g/h", numeric=True, measure=CONSUMPTION.id),
               Column("By energy", "g/kWh", numeric=True, measure=SPECIFIC.id))  # fmt: skip
    return [Table(f"oil-consumption-{build.id}", columns, rows, caption="Oil consumption")]


def _used(view: View) -> str:
    """What the engine used of its oil, or that it ran too short a time to tell."""
    found = _in_order(view, [v for v in view.values(CONSUMPTION.id, engine=view.the_build) if v.status == "ok"])
    used = [
        f"{view.text(value, unit=True)} on the fill drained after {view.program.phase(value.key.phase).title}"
        for value in found
        if told(value)
    ]
    if used:
        return f"Oil used: {words.listed(used)}."
    return "Oil consumption is too small to tell from none in so short a time." if found else ""


def unusual(view: View) -> Iterator[Unusual]:
    """Limits of the oil that fail, samples not drawn as planned, consumption that cannot be told."""
    build, titles = view.the_build, {phase.id: phase.title for phase in view.phases}
    failing = [v for v in view.verdicts(CONDITION, engine=build) if v.word == "fails"]
    for name in dict.fromkeys(verdict.key.at for verdict in failing):
        yield Unusual(f"Oil beyond its limit: {name.replace('_', ' ')}", "oil", 16)
    odd: dict[str, dict[str, None]] = {}
    for measure in CONCENTRATION.values():
        for value in view.values(measure.id, engine=build):
            for flag in value.flags:
                if flag.startswith("drawn") and value.key.phase in titles:
                    odd.setdefault(flag, {})[titles[value.key.phase]] = None
    for flag, phases in odd.items():
        yield Unusual(f"Oil sample {flag.replace('-', ' ')}", "oil", 31, f": {words.listed(phases)}")
    yield from custody_page.unusual(view)
    found = [v for v in view.values(CONSUMPTION.id, engine=build) if v.status == "ok"]
    if found and not any(told(v) for v in found):
        yield Unusual("Oil consumption cannot be told", "oil", 60)


def _condition(view: View) -> list[Block]:
    """Condition of the oil at the last sample that tells it, beside its limits."""
    build = view.the_build
    verdicts = {(v.key.phase, v.key.at): v for v in view.verdicts(CONDITION, engine=build)}
    oil = view.program.definitions.oils.get(build.oil)
    rows = []
    for measure in (INDEX, THICKER, *READ.values()):
        own = [v for phase in view.phases for v in view.values(measure.id, engine=build, phase=phase.id, at="")]
        own = [v for v in own if v.value is not None]
        if not own:
            continue
        last = own[-1]
        name = next((key for key, each in READ.items() if each is measure), "")
        name = "viscosity_change" if measure is THICKER else name
        verdict = verdicts.get((last.key.phase, name))
        limit = oil.limits.get(name) if oil is not None else None
        share = measure is THICKER or measure.unit == "%"
        shown = words.DASH
        if limit is not None:
            most = words.with_unit(words.number(100 * limit if share else limit, 1), measure.unit)
            shown = f"{'at least' if name in AT_LEAST else 'at most'} {most}"
        rows.append(Row((Cell(words.sentence(measure.title), note=f"after {view.program.phase(last.key.phase).title}"),
                         Cell(view.text(last, unit=True)), Cell(shown),
                         Cell(verdict.word if verdict else words.DASH, word=verdict is not None))))  # fmt: skip
    if not rows:
        return []
    failing = [row.cells[0].text.lower() for row in rows if row.cells[3].text == "fails"]
    held = any(row.cells[3].text == "holds" for row in rows)
    text = f"Beyond its limit: {words.listed(failing)}." if failing else "Every limit of the oil holds." if held else ""
    columns = (Column("Oil at the last sample"), Column("Found", numeric=True), Column("Limit", numeric=True),
               Column("Holds"))  # fmt: skip
    return [Table(f"oil-condition-{build.id}", columns, rows, text, caption="Condition of the oil")]


# ---- program and coating ----------------------------------------------------------------------------------------


def _of_iron(made: Sequence[float]) -> str:
    """Iron made by each build, where nothing is put down to ring faces."""
    if not made:
        return ""
    least, most = (words.number(each, 0) for each in (min(made), max(made)))
    amount = f"{words.from_to(least, most)} mg" if least != most else f"{least} mg"
    return f"{words.sentence(words.counted(len(made), 'build'))} made {amount} of iron up to the last sample."


def by_build(view: View) -> Sequence[Block]:
    """Metal and consumption of every build, and what oil can show beside the balance."""
    rows = []
    irons: list[float] = []
    mixed = False
    told: dict[tuple[str, str], list[tuple[float, float]]] = {}  # wear, half its interval
    for build in view.builds:
        totals = _totals(view, build)
        if not totals:
            continue
        mixed = mixed or len(build.coatings) > 1
        last = _sure(view, build)
        phase = next(iter(totals.values())).key.phase
        iron, chromium = (totals.get(symbol) for symbol in ("Fe", "Cr"))
        irons += [iron.value] if iron is not None and iron.value is not None else []
        faces = next(iter(view.values(DEPTH.id, engine=build, at="")), None)
        share = next(iter(view.values(RUN_IN.id, engine=build, at="Fe")), None)
        if faces is not None and faces.value is not None and len(build.coatings) == 1:
            half = ((faces.high or 0.0) - (faces.low or 0.0)) / 2
            told.setdefault((faces.key.phase, build.coatings[0]), []).append((faces.value, half))
        rows.append(
            Row((Cell(build.id, href=view.href_engine(build, "oil")),
                 Cell(words.listed(view.coating_title(coating) for coating in build.coatings)),
                 Cell(view.program.phase(phase).title), view.cell(iron), view.cell(chromium),
                 view.cell(faces), view.cell(share), Cell(view.text(last) if last is not None else "cannot tell")))
        )  # fmt: skip
    if not rows:
        return ()
    columns = (
        Column("Build"), Column("Coatings"), Column("Up to"),
        Column("Iron made", "mg", numeric=True, measure=MASS["Fe"].id),
        Column("Chromium made", "mg", numeric=True, measure=MASS["Cr"].id),
        Column("Ring faces, mean wear", "µm", numeric=True, measure=DEPTH.id),
        Column("Iron: by the run-in", "%", numeric=True, measure=RUN_IN.id),
        Column("Oil consumption", "g/h", numeric=True, measure=CONSUMPTION.id),
    )  # fmt: skip
    name = "oil-by-build" if view.coating is None else f"{view.program.id}-oil-by-build"
    text = "" if mixed else _by_coating(view, told) or _of_iron(irons)
    note = SHARED if mixed else (
        "Builds that ran to different phases do not compare. Coatings hold different shares of chromium, so that "
        f"chromium alone does not rank them; the wear of the faces allows for it. {PARTICLES}"
    )  # fmt: skip
    blocks: list[Block] = [
        Table(name, columns, rows, text or (SHARED if mixed else ""), note="" if mixed and not text else note)
    ]
    if view.coating is not None:
        return [*blocks, *_next(view)]
    return [*blocks, *_reach(view)]


def _by_coating(view: View, told: Mapping[tuple[str, str], Sequence[tuple[float, float]]]) -> str:
    """Wear of the ring faces by coating, where builds ran as far."""
    far = [phase.id for phase in view.program.phases if any(phase.id == key[0] for key in told)]
    if not far:
        return ""
    clauses = []
    for (phase, coating), worn in told.items():
        if phase != far[-1]:
            continue
        ends = [words.number(end, 1) for end in (min(v for v, _ in worn), max(v for v, _ in worn))]
        near = f"±{words.number(max(half for _, half in worn), 1)}"
        mean = words.with_unit(words.from_to(*ends), "µm")
        clauses.append(f"{view.coating_title(coating)} {mean} ({near})")
    return (
        f"By the metal in it, ring faces wore up to {view.program.phase(far[-1]).title}: {words.listed(clauses)}. "
        f"{_not_listed(view, view.builds)}"
    )


def _not_listed(view: View, builds: Sequence[Build]) -> str:
    """What the list of parts leaves out: rings by what the balance says they lost, and parts that nobody named."""
    sources = view.program.oil.sources
    rings: dict[str, list[Value]] = {}
    for value in view.values(UNLISTED):
        if any(value.key.engine == build.id and view.values(FROM.id, engine=build) for build in builds):
            rings.setdefault(value.key.at, []).append(value)
    text = f"{NOT_LISTED}."
    if rings:
        lost = words.listed(f"{ring} rings, {_lost(view, values)}" for ring, values in rings.items())
        fed = [source.title for source in sources if source.elements.get("Fe", 0.0) > 0]
        text += f" Weighed and not on it: {lost}."
        text += f" Rings are iron or steel, so what they gave is in {words.listed(fed)}." if fed else ""
    usual = closure.unnamed([source.title for source in sources])
    return f"{text} Nor does it name {words.listed(usual, 'or')}." if usual else text


def _lost(view: View, values: Sequence[Value]) -> str:
    if len(values) == 1:
        return f"{words.with_unit(view.text(values[0]), 'mg')} by the balance"
    known = numbers(values)
    least, most = (words.number(end, 0) for end in (min(known), max(known)))
    return f"{words.with_unit(words.from_to(least, most), 'mg')} a build by the balance"


def _reach(view: View) -> list[Block]:
    """The least wear of each part that oil shows, beside what is expected and what the balance shows."""
    shown = sorted(view.values(SHOWN.id, engine=""), key=lambda value: value.key.at.split(":"))
    rows: list[Row] = []
    blind: list[str] = []
    dark: list[str] = []
    # blind, dark: what weighing shows in the place of oil, and what neither is known to show
    for source in view.program.oil.sources:
        beside = [view.value(measure.id, at=source.id) for measure in (EXPECTED, WEIGHED)]
        expected, weighed = (None if value is None else value.value for value in beside)
        told = [words.DASH if number is None else words.number(number, 2) for number in (expected, weighed)]
        for value in shown:
            part, _, *by = value.key.at.split(":")
            if part != source.id:
                continue
            least = value.value
            shows = "no metal of its own" if least is None else f"{words.number(least, 2)} by {by[0]}"
            if least is None or (expected is not None and expected < least):
                can = weighed is not None and expected is not None and expected >= weighed
                (blind if can else dark).append(source.title)
            rows.append(Row((Cell(words.sentence(source.title)), Cell(shows), *map(Cell, told))))
    if not rows:
        return []
    said = []
    if blind:
        said.append(f"Oil cannot show the wear expected of {words.listed(blind)} by itself; weighing the rings can.")
    if dark:
        said.append(f"Neither oil nor a single weighing can show the wear expected of {words.listed(dark)}.")
    if not said:
        said.append(
            "Oil can show the wear expected of every ring face, though only as the sum of all rings of an engine."
        )
    text = " ".join(dict.fromkeys(said))
    columns = (Column("Part"),
               Column("Least wear that oil shows, all rings alike", "µm", numeric=True, measure=SHOWN.id),
               Column("Expected", "µm", numeric=True, measure=EXPECTED.id),
               Column("Least wear the balance shows, one ring", "µm", numeric=True, measure=WEIGHED.id))  # fmt: skip
    note = (
        "Oil: 1.96 times the laboratory's scatter of the difference of two samples, near what fresh oil holds; only "
        "metals that no other part of the engine gives. Balance: twice its limit of error, spread over the running "
        "face."
    )
    return [Table("oil-reach", columns, rows, text, caption="What oil can and cannot show", note=note)]


def _next(view: View) -> list[Block]:
    """Where the metal of the next build may lie, by phase: points and range, and from three builds on a prediction."""
    rows, few = [], False
    for symbol in MASS:
        for phase in view.program.phases:
            value = view.value(NEXT.id, phase.id, symbol, engine="", cylinder=0, coating=view.the_coating.id)
            own = view.values(MASS[symbol].id, phase=phase.id, at=TOTAL, coating=view.the_coating.id)
            if phase.kind == "run" or not any(_told(v) for v in own):
                continue
            points = sorted(numbers(own))
            shown = words.DASH
            if value is not None and value.value is not None and value.high is not None:
                up = f"up to {words.number(value.high, 1)}"
                shown = words.span(value.low, value.high) if (value.low or 0.0) > 0 else up
            few = few or shown == words.DASH
            rows.append(Row((Cell(elements.name(symbol).capitalize()), Cell(phase.title),
                             Cell(", ".join(words.number(point, 1) for point in points)),
                             Cell(shown))))  # fmt: skip
    if not rows:
        return []
    columns = (Column("Metal"), Column("Up to"), Column("Builds so far", "mg", numeric=True),
               Column("Next build", "mg", numeric=True, measure=NEXT.id))  # fmt: skip
    note = "Next build: 95\u00a0% prediction. Few builds give a wide one; tolerance intervals need fifteen."
    note += " Fewer than three do not say." if few else ""
    name = f"{view.program.id}-oil-next-build"
    return [Table(name, columns, rows, caption="What is usual for this coating", note=note)]


def _sure(view: View, build: Build) -> Value | None:
    """The latest consumption that is told from none."""
    used = _in_order(view, [v for v in view.values(CONSUMPTION.id, engine=build) if v.value is not None])
    return used[-1] if used and told(used[-1]) else None


def used_of_build(view: View) -> Cell:
    """Oil consumption of a build, the latest that is told from none."""
    sure = _sure(view, view.the_build)
    return Cell(view.text(sure, interval=False) if sure is not None else words.DASH)


def iron_of_build(view: View) -> Cell:
    """Iron made by a build until its last sample."""
    iron = _totals(view, view.the_build).get("Fe")
    return Cell(view.text(iron, interval=False) if iron is not None else words.DASH)


SECTIONS = (
    Section("oil", "Oil", 51, "engine", engine_oil, "half", "Balance of each metal, parts, samples, condition"),
    Section("custody", CUSTODY, 52, "engine", custody_page.of_build, "rest"),
    Section("oil-kept", "Oil samples past their day", 50, "data", custody_page.over),
    Section("oil", "Oil", 46, "program", by_build, place="rest"),
    Section("oil", "Oil", 30, "coating", by_build, place="rest"),
)
OF_BUILD = (
    OfBuild("Oil used", "g/h", 40, used_of_build, CONSUMPTION.id),
    OfBuild("Iron", "mg", 41, iron_of_build, MASS["Fe"].id),
)
