"""Builds and cylinders on a program page: a row a build, a cell a cylinder, and what each stream tells of a build."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from sitegen.crossing.subjects import EXPOSURE
from sitegen.declarations import OfBuild, Stream
from sitegen.page import words
from sitegen.page.blocks import MARKS, Block, Cell, Column, Row, Table, Text, Under
from sitegen.page.counts import MANY
from sitegen.page.view import STATE, View
from sitegen.pages import plans
from sitegen.pages.marks import tone_of
from sitegen.program.model import Build

ANCHOR, TITLE = "builds", "Builds and cylinders"
CANNOT, EARLIER = "cannot tell", f"{STATE}, earlier assembly"
_BOX: dict[str, Literal["solid", "dashed", "boxed"]] = {"": "solid", "yet": "dashed", "no": "boxed"}  # by tone


def blocks(view: View, streams: Sequence[Stream]) -> list[Block]:
    """The section of a program page; nothing before anything is built."""
    builds = view.program.builds
    if not builds:
        return []
    told = {each: [each.cell(view.of_build(build)) for build in builds] for each in _columns(streams)}
    told = {each: cells for each, cells in told.items() if any(cell.text not in {"", words.DASH} for cell in cells)}
    most = max(len(build.places) for build in builds)
    measure = view.measures.get(view.program.primary_measure)
    heads = [Column("Build"), *(Column(f"Cylinder {n}" if n == 1 else str(n)) for n in range(1, most + 1))]
    heads += [Column(each.title, each.unit, numeric=True, measure=each.measure) for each in told]
    places = _places(view)
    rows = [
        Row(
            (
                Cell(build.id, href=view.href_engine(build), coating=build.coatings[0],
                     note="; ".join(filter(None, (_held(view, build), _before_refit(view, build))))),
                *(_cylinder(view, build, at, places) for at in range(most)),
                *(cells[n] for cells in told.values()),
                _run(view, build),
            )
        )
        for n, build in enumerate(builds)
    ]  # fmt: skip
    what = f"Cells: latest {measure.title}, {measure.unit}, and state. " if measure is not None else ""
    what += "Worn, used and made: over the distance run. " if told else ""
    note = f"{what}{MARKS if view.verdicts(STATE) else ''}".strip()
    table = Table(
        "builds", (*heads, Column("Run", "km", numeric=True)), rows, plans.states_sentence(view), note=note, stack=True
    )
    if len(builds) <= MANY:
        return [table]
    links = [cell for build in builds for cell in (Cell(build.id, href=view.href_engine(build)), Cell(" "))]
    return [table, Under("all-builds", f"All {len(builds)} builds by name", [Text(links)])]


def _held(view: View, build: Build) -> str:
    return "" if view.folder.blind else words.listed(map(view.coating_title, build.coatings))


def _columns(streams: Sequence[Stream]) -> list[OfBuild]:
    return sorted((each for stream in streams for each in stream.of_build), key=lambda each: each.order)


def _places(view: View) -> int:
    """Decimals [-] of all cells: as many as the widest interval justifies."""
    found = [
        words.decimals_for((value.high - value.low) / 2)
        for build in view.program.builds
        for place in build.places
        if (value := plans.latest(view, view.program.primary_measure, build, place.cylinder)) is not None
        and value.low is not None
        and value.high is not None
        and value.low < value.high < math.inf
    ]
    return max(0, min(found, default=2))


def _cylinder(view: View, build: Build, at: int, places: int) -> Cell:
    if at >= len(build.places):
        return Cell("")
    place = build.places[at]
    value = plans.latest(view, view.program.primary_measure, build, place.cylinder)
    state = view.state(build, place.cylinder)
    word = state.word if state else ""
    text = words.DASH
    if value is not None:
        below = value.status == "below" or value.value is None
        text = (
            words.value_text(value, interval=False).replace("below ", "<")
            if below
            else words.number(value.value, places)
        )
    href = view.href_cylinder(build, place.cylinder)
    return Cell(text, href, note=word, coating=place.coating, box=_BOX[tone_of(word or CANNOT)])


def _before_refit(view: View, build: Build) -> str:
    """What was told before its rings were last refitted of cylinders of which nothing is told since; else ""."""
    open_ = [p.cylinder for p in build.places if (state := view.state(build, p.cylinder)) and state.word == CANNOT]
    found: dict[str, int] = {}
    for cylinder in open_:
        before = view.verdicts(EARLIER, engine=build, cylinder=cylinder)
        if before and before[-1].word != CANNOT:
            found[before[-1].word] = found.get(before[-1].word, 0) + 1
    whole = len(build.places)
    told = words.listed(f"{'all' if n == whole else words.count(n)} {word}" for word, n in found.items())
    return f"{told} before the refit" if told else ""


def _run(view: View, build: Build) -> Cell:
    """How far a build ran [km], and what is due or will not be run."""
    found = [value.value or 0.0 for value in view.values(EXPOSURE, engine=build, cylinder=0)]
    return Cell(words.number(max(found), 0) if found else words.DASH, note=_left(view, build))


def _left(view: View, build: Build) -> str:
    """What is due, or what will not be run."""
    due = [each for each in build.departures if each.kind == "due"]
    if due:
        return f"{view.program.phase(due[0].phase).title} due"
    skipped = [each for each in build.departures if each.kind == "skipped"]
    return f"{view.program.phase(skipped[0].phase).title} not run" if skipped else ""
