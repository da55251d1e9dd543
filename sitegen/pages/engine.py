"""The page of one build."""

from __future__ import annotations

from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Block, Cell, Column, Figure, Plans, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages import closure, hours, odd, plans, unusual
from sitegen.pages.contexts import EnginePage, Half, Part
from sitegen.pages.folding import folded
from sitegen.pages.frame import Site, crumbs, shows_plan, window_title
from sitegen.program.model import Build, Program


def page(site: Site, program: Program, build: Build) -> EnginePage:
    """The page of one build."""
    path = site.addresses.engines[program.id, build.id]
    view = site.view(path, program.id, build)
    setter = site.setter(path)
    parts = site.parts(view, setter, "engine", "main")
    side = site.parts(view, setter, "engine", "side")
    halves = [_half(part) for part in site.parts(view, setter, "engine", "half")]
    rest = site.parts(view, setter, "engine", "rest")
    rest += map(folded, site.shows("engine", setter.id(hours.ANCHOR), hours.TITLE, hours.engine(view)))
    rest += map(folded, site.shows("engine", setter.id(closure.ANCHOR), closure.TITLE, closure.engine(view)))
    rest.append(folded(Part(setter.id(unusual.BUILD), "Build", _facts(view, build))))
    if not shows_plan(parts[:1]):
        block = Plans([plans.plan_of(view, build, linked=False)], caption=plans.caption(view))
        parts.insert(0, Part(setter.id("plan"), "Where it stands", [block]))
    strip = site.shows("engine", odd.ANCHOR, odd.TITLE, odd.of_engine(view))
    shown = [part.anchor for part in (*parts, *side, *strip, *rest)] + [half.anchor for half in halves]
    for own in ("rest", "streams", "unusual", odd.ANCHOR):
        setter.id(own)
    main, states = plans.heading(view, build)
    place = program.builds.index(build)
    before = program.builds[place - 1] if place else None
    after = program.builds[place + 1] if place + 1 < len(program.builds) else None
    title = f", {build.title}" if build.title and build.title != build.id else ""
    return EnginePage(
        setter=setter,
        path=path,
        title=window_title(build.id, program.title),
        crumbs=crumbs(site, path, [(program.title, site.addresses.programs[program.id]), (build.id, path)]),
        others=site.others(path, program, site.addresses.place(program.id, build.id)),
        around=site.around(path, program, build),
        previous=Link(before.id, view.href_engine(before)) if before else None,
        next=Link(after.id, view.href_engine(after)) if after else None,
        assets=site.links(path, [*parts, *side, *strip, *rest], [b for h in halves for b in (*h.shown, *h.folded)]),
        foot=site.foot(path, program),
        heading=f"Build {build.id}{title}: {main}",
        states=states,
        meta=[*_meta(view, build), Cell(words.sentence(site.as_of(program)))],
        first=parts[0],
        side=side,
        crowded=len(build.places) > ROOMY,
        unusual=unusual.lines(view, site.streams, shown),
        odd=strip,
        parts=parts[1:],
        halves=halves,
        rest=rest,
    )


ROOMY = 4  # cylinders of a block plan that leaves most of the first screen to the chart beside it


def _half(part: Part) -> Half:
    """Sentences, beside them the first block where that can be seen at a glance, the rest folded."""
    blocks = list(part.blocks)
    first = next((n for n, block in enumerate(blocks) if not isinstance(block, Text)), len(blocks))
    seen = [each for each in blocks[first : first + 1]
            if isinstance(each, Figure) or (isinstance(each, Table) and each.axis)]  # fmt: skip
    return Half(part.anchor, part.title, blocks[:first], seen, part.more or "More", blocks[first + len(seen) :])


def _meta(view: View, build: Build) -> list[Cell]:
    """What is in the build and where it ran: coatings with their lots, block, engine, operator, cell."""
    where = ", ".join(part for part in (build.operator, f"cell {build.cell}" if build.cell else "") if part)
    built = f"block {build.block}, {_ordinal(build.number)} build, {build.engine_type.title}"
    return [*_rings(view, build), Cell(built), *([Cell(where)] if where else [])]


def _facts(view: View, build: Build) -> list[Block]:
    program, kind = view.program, build.engine_type
    bore = words.with_unit(f"{kind.bore * 1e3:.1f} × {kind.stroke * 1e3:.1f}", "mm")
    firing = "-".join(map(str, kind.firing_order)) if kind.firing_order else ""
    oil = view.folder.definitions.oils[build.oil].title if build.oil else ""
    facts: list[tuple[str, list[Cell]]] = [
        ("Bore × stroke", [Cell(bore)]),
        ("Firing order", [Cell(firing)] if firing else []),
        ("Oil", [Cell(oil)] if oil else []),
    ]
    if len(build.assemblies) > 1:
        for each in build.assemblies:
            reach = f"{program.phase(each.first).title} to {program.phase(each.last).title}"
            facts.append((f"Assembly {each.id}", [Cell(reach, note=each.note)]))
    for departure in build.departures:
        phase = program.phase(departure.phase).title
        if departure.kind == "due":
            when = f"to come, {words.day(departure.due)}" if departure.due else "to come"
            facts.append((words.sentence(phase), [Cell(when, word=True, note=departure.why)]))
        else:
            facts.append((words.sentence(phase), [Cell("not run", note=departure.why)]))
    if build.note:
        facts.append(("Note", [Cell(build.note)]))
    parts = (f"bore × stroke {bore}", f"firing order {firing}" if firing else "", oil)
    rows = [Row((Cell(term), cell)) for term, cells in facts for cell in cells]
    result = f"{', '.join(filter(None, parts))}."
    return [Text((Cell(result),), "reading"), Table(f"build-{build.id}", (Column("Of the build"), Column("")), rows)]


def _rings(view: View, build: Build) -> list[Cell]:
    """Coating and lot with the cylinders that hold them."""
    if view.folder.blind:
        return []
    groups: dict[tuple[str, str], list[int]] = {}
    for place in build.places:
        groups.setdefault((place.coating, place.lot), []).append(place.cylinder)
    cells = []
    for (coating, lot), cylinders in groups.items():
        of = f"{words.plural(len(cylinders), 'cylinder')} {words.numbers_listed(cylinders)}"
        where = [f"lot {lot}"] if lot else []
        where += [of] if len(cylinders) < len(build.places) else []
        cells.append(view.coating_cell(coating))
        cells += [Cell(", ".join(where))] if where else []
    return cells


def _ordinal(n: int) -> str:
    """Place in a row, in words up to the third.

    >>> _ordinal(1), _ordinal(4), _ordinal(21), _ordinal(12)
    ('first', '4th', '21st', '12th')
    """
    if n <= 3:
        return ("", "first", "second", "third")[n]
    ending = "th" if n % 100 in {11, 12, 13} else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"
