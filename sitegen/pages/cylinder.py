"""The page of one cylinder: its state and why, its history, pictures, ring and bore; the rest folded."""

from __future__ import annotations

from dataclasses import replace

from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Beside, Block, Cell, Fact, Facts, Figure, Plans, Text
from sitegen.page.view import View
from sitegen.pages import criteria, odd, plans
from sitegen.pages.contexts import CylinderPage, Part
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.program.model import Build, Program

STATE, HISTORY = "state", "history"  # anchors of the sections that open the page


def page(site: Site, program: Program, build: Build, cylinder: int) -> CylinderPage:
    """The page of one cylinder of a build."""
    path = site.addresses.cylinders[program.id, build.id, cylinder]
    view = site.view(path, program.id, build, cylinder)
    setter = site.setter(path)
    parts = site.parts(view, setter, "cylinder", "main")
    first = parts.pop(0) if parts and parts[0].anchor == STATE else None
    if first is not None and (beside := criteria.beside_state(view)):
        lead, *others = first.blocks
        if isinstance(lead, Text):
            first = replace(first, blocks=[replace(lead, cells=(*lead.cells, Cell(f" {beside}"))), *others])
    facts = _facts(site, view)
    if facts is not None:
        parts = _with_facts(parts, facts)
    rest: list[Part] = []
    for said, leads in ((_odd(site, view), odd.is_odd(view)), (_criteria(site, view), criteria.fails(view))):
        named = [replace(part, anchor=setter.id(part.anchor)) for part in said]
        if leads:
            parts[:0] = named
        else:
            rest += map(folded, named)
    rest += site.parts(view, setter, "cylinder", "rest")
    if first is None:
        drawn = Plans([plans.plan_of(view, build, me=cylinder)])
        first = Part(setter.id("place"), "Where it sits", [drawn])
    own = next(place for place in build.places if place.cylinder == cylinder)
    state = view.state(build, cylinder)
    trail = [
        (program.title, site.addresses.programs[program.id]),
        (build.id, site.addresses.engines[program.id, build.id]),
        (f"Cylinder {cylinder}", path),
    ]
    order = view.the_desk.once("order of cylinders", lambda: _order(program))
    here = order.index((build.id, cylinder))
    return CylinderPage(
        setter=setter,
        path=path,
        title=window_title(f"{build.id} cylinder {cylinder}", program.title),
        crumbs=crumbs(site, path, trail),
        others=site.others(path, program, site.addresses.place(program.id, build.id, cylinder)),
        around=site.around(path, program, build),
        previous=_link(view, build, order, here - 1),
        next=_link(view, build, order, here + 1),
        assets=site.links(path, [first, *parts, *rest]),
        foot=site.foot(path, program),
        heading=f"{build.id} cylinder {cylinder}",
        state=state.word if state else "",
        meta=[
            *([view.coating_cell(own.coating)] if not view.folder.blind else []),
            *([Cell(f"lot {own.lot}")] if own.lot else []),
            Cell(f"block {build.block}, build {build.number}"),
            Cell(words.sentence(site.as_of(program))),
        ],
        first=first,
        parts=parts,
        rest=rest,
    )


def _order(program: Program) -> list[tuple[str, int]]:
    return [(build.id, place.cylinder) for build in program.builds for place in build.places]


def _link(view: View, build: Build, order: list[tuple[str, int]], place: int) -> Link | None:
    if not 0 <= place < len(order):
        return None
    other, number = order[place]
    text = f"cylinder {number}" if other == build.id else f"{other} cylinder {number}"
    return Link(text, view.href_cylinder(other, number))


def _facts(site: Site, view: View) -> Facts | None:
    """What the streams know of this cylinder beside its neighbours; None where they know nothing."""
    read = [stream for stream in site.streams if stream.name in view.the_desk.streams]
    every = sorted((fact.order, fact.title, fact) for stream in read for fact in stream.of_cylinder)
    told = [Fact(fact.title, [cell]) for *_, fact in every if (cell := fact.cell(view)) is not None]
    return Facts("beside-its-neighbours", "Beside its neighbours", told) if told else None


def _with_facts(parts: list[Part], facts: Facts) -> list[Part]:
    """The facts beside the first figure of the history, or on their own where there is none."""
    made: list[Part] = []
    for part in parts:
        blocks: list[Block] = list(part.blocks)
        if part.anchor == HISTORY and blocks and isinstance(blocks[0], Figure):
            figure = blocks[0]
            beside = Beside(f"{figure.name}-and-facts", (replace(figure, reading=""), facts))
            blocks[:1] = [*([Text([Cell(figure.reading)], "reading")] if figure.reading else []), beside]
        made.append(replace(part, blocks=blocks))
    if not any(isinstance(block, Beside) for part in made for block in part.blocks):
        made.insert(0, Part("facts", facts.title, [facts]))
    return made


def _odd(site: Site, view: View) -> list[Part]:
    return site.shows("cylinder", odd.ANCHOR, "Odd or not", odd.of_cylinder(view))


def _criteria(site: Site, view: View) -> list[Part]:
    judged = criteria.of_cylinder(view)
    return site.shows("cylinder", "criteria", "Criteria", [judged] if judged is not None else [])
