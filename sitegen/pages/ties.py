"""Whether two measures the program ties together agree within engines: small panels, an engine each."""

from __future__ import annotations

from sitegen.page import words
from sitegen.page.blocks import Block, Cell, ChartRow, Column, Figure, Panel, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages import odd
from sitegen.program.model import Subject, Tie
from sitegen.vocabulary import Value

ANCHOR = "ties"
TITLE = "Do the measures agree?"
AGREEMENT, CHANCE, LEAST = "tie.agreement", "tie.p", "tie.least_p"
ALPHA = 0.05


def blocks(view: View) -> list[Block]:
    """A figure for each tie the program states; none: nothing.

    Where a cylinder is odd in both measures, it makes the tie or breaks it: then a sentence stands for the figure.
    """
    return [_of_odd(view, tie) or _figure(view, tie) for tie in view.program.ties]


def in_short(view: View) -> str:
    """How many of the ties are shown; "" where none is stated or none could be looked at."""
    told = [(tie, view.value(AGREEMENT, at=tie.id, engine="")) for tie in view.program.ties]
    known = [(tie, value.value) for tie, value in told if value is not None and value.value is not None]
    if not known:
        return ""
    shown = 0
    for tie, agreement in known:
        chance = view.value(CHANCE, at=tie.id, engine="")
        agrees = (agreement > 0) == (tie.agree == "alike")
        shown += agrees and chance is not None and chance.value is not None and chance.value <= ALPHA
    many = len(view.program.ties)
    if not shown:
        return {1: "The expected tie does not show.", 2: "Neither expected tie shows."}.get(
            many, f"None of {words.counted(many, 'expected tie')} shows."
        )
    shows = words.plural(shown, "shows", "show")
    return f"{words.sentence(words.share(shown, many, 'expected tie'))} {shows}."


def _of_odd(view: View, tie: Tie) -> Text | None:
    found = odd.tells(view, (tie.first.measure, tie.second.measure))
    if not found:
        return None
    lead = f"Expected: {_lower(tie.title)}. {_reading(view, tie)} {words.listed(odd.name(each) for each in found)} "
    cells = [
        Cell(lead + f"{words.plural(len(found), 'is', 'are')} odd in both: see "),
        Cell("odd cylinders", href=f"#{odd.ANCHOR}"),
        Cell("."),
    ]
    return Text(cells)


def _figure(view: View, tie: Tie) -> Figure:
    first, second = _known(view, tie.first), _known(view, tie.second)
    panels: list[Panel] = []
    rows: list[Row] = []
    for build in view.program.builds:
        both = [
            (place, first[build.id, place.cylinder], second[build.id, place.cylinder])
            for place in build.places
            if (build.id, place.cylinder) in first and (build.id, place.cylinder) in second
        ]
        points: list[ChartRow] = []
        for place, one, other in both:
            tip = f"cylinder {place.cylinder}: {view.text(one, unit=True)}, {view.text(other, unit=True)}"
            points.append(
                {"at": one.value, "value": other.value, "low": other.low, "high": other.high,
                 "coating": place.coating, "label": str(place.cylinder), "tip": tip}
            )  # fmt: skip
            cells = (
                Cell(f"{build.id} cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder),
                     coating=place.coating),
                Cell(view.text(one)), Cell(view.text(other)),
            )  # fmt: skip
            rows.append(Row(cells))
        if len(both) > 1:
            panels.append(
                Panel(
                    build.id,
                    {"points": points},
                    _ends([one for _, one, _ in both]),
                    label=f"Expected: {_lower(tie.title)}, {build.id}",
                    axis=_said(view, tie.second),
                    along=_said(view, tie.first),
                )
            )
    across, upright = (view.measures[each.measure] for each in (tie.first, tie.second))
    columns = (
        Column("Cylinder"), Column(words.sentence(across.title), across.unit, True, across.id),
        Column(words.sentence(upright.title), upright.unit, True, upright.id),
    )  # fmt: skip
    table = Table(f"tie-{tie.id}-values", columns, rows)
    caption = (
        f"Expected: {_lower(tie.title)}. Upright: {_said(view, tie.second)}; across: {_said(view, tie.first)}. "
        "Numbers: cylinders. Only the order within an engine counts."
    )
    return Figure(f"tie-{tie.id}", "curves", panels, _reading(view, tie), caption, table, AGREEMENT)


def _known(view: View, subject: Subject) -> dict[tuple[str, int], Value]:
    return {
        (value.key.engine, value.key.cylinder): value
        for value in view.values(subject.measure, phase=subject.phase, at=subject.at)
        if value.key.cylinder and value.status == "ok" and value.value is not None
    }


def _ends(values: list[Value]) -> dict[str, float]:
    known = [value.value for value in values if value.value is not None]
    low, high = min(known), max(known)
    room = 0.08 * (high - low) or abs(high) * 0.1 or 1.0
    return {"from": low - room if low - room > 0 or low < 0 else 0.0, "to": high + room}


def _said(view: View, subject: Subject) -> str:
    measure = view.measures[subject.measure]
    phase = f" at {view.program.phase(subject.phase).title}" if subject.phase else ""
    unit = f", {measure.unit}" if measure.unit != "1" else ""
    return f"{measure.title}{phase}{unit}"


def _reading(view: View, tie: Tie) -> str:
    """What the ranks say, and what they could have said at all."""
    value = view.value(AGREEMENT, at=tie.id, engine="")
    if value is None:
        return ""
    if value.value is None:
        return f"Whether {_lower(tie.title)} cannot be told, because {view.why(value.reason)}."
    chance, least = (view.value(each, at=tie.id, engine="") for each in (CHANCE, LEAST))
    p, best = (each.value if each is not None and each.value is not None else 1.0 for each in (chance, least))
    tau = value.value if tie.agree == "alike" else -value.value
    order = "the same" if value.value > 0 else "the opposite"
    agreed = "as expected" if tau > 0 else "against what was expected"
    pair = f"{_sentence(view, tie.first)} and {view.measures[tie.second.measure].title}"
    found = f"τ {words.number(value.value, 2)}, {words.counted(value.n, 'cylinder')}"
    lead = f"{pair} put the cylinders of an engine in {order} order more often than not ({found}), {agreed}"
    if value.value == 0:
        lead = f"{pair} put the cylinders of an engine in no common order ({words.counted(value.n, 'cylinder')})"
    if best > ALPHA:
        return f"{lead}; so few cylinders cannot show it: even perfect agreement comes by chance in {_share(best)}."
    if p > ALPHA:
        return f"{lead}; but chance alone does as much in {_share(p)}, so that no tie is shown."
    return f"{lead}; chance alone does as much in only {_share(p)}."


def _share(p: float) -> str:
    """A probability as cases, which reads aloud."""
    if p < 0.001:
        return f"fewer than 1 of {words.number(1000, 0)} cases"
    if p < 0.095:
        return f"{words.number(1000 * p, 0)} of {words.number(1000, 0)} cases"
    return f"{words.number(100 * p, 0)} of 100 cases"


def _sentence(view: View, subject: Subject) -> str:
    return words.sentence(view.measures[subject.measure].title)


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
