"""The page of one build."""

from __future__ import annotations

from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Cell, Plans
from sitegen.page.view import View
from sitegen.pages import closure, odd, plans
from sitegen.pages.contexts import EnginePage, Fact, Part
from sitegen.pages.frame import Site, crumbs, shows_plan, window_title
from sitegen.program.model import Build, Program


def page(site: Site, program: Program, build: Build) -> EnginePage:
    """The page of one build."""
    path = site.addresses.engines[program.id, build.id]
    view = site.view(path, program.id, build)
    setter = site.setter(path)
    setter.id("build")
    parts = site.parts(view, setter, "engine", "main")
    parts[1:1] = site.shows("engine", setter.id(odd.ANCHOR), odd.TITLE, odd.of_engine(view))
    parts += site.shows("engine", setter.id(closure.ANCHOR), closure.TITLE, closure.engine(view))
    side = site.parts(view, setter, "engine", "side")
    rest = site.parts(view, setter, "engine", "rest")
    if not shows_plan([*parts, *side]):
        drawn = [plans.plan_of(view, build, linked=False)]
        block = Plans(drawn, plans.states_sentence(view), plans.caption(view))
        parts.insert(0, Part(setter.id("plan"), "Where it stands", [block]))
    place = program.builds.index(build)
    before = program.builds[place - 1] if place else None
    after = program.builds[place + 1] if place + 1 < len(program.builds) else None
    title = build.title if build.title and build.title != build.id else ""
    return EnginePage(
        setter=setter,
        path=path,
        title=window_title(build.id, program.title),
        crumbs=crumbs(site, path, [(program.title, site.addresses.programs[program.id]), (build.id, path)]),
        others=site.others(path, program),
        around=site.around(path, program, build),
        previous=Link(before.id, view.href_engine(before)) if before else None,
        next=Link(after.id, view.href_engine(after)) if after else None,
        assets=site.links(path, [*parts, *side, *rest]),
        foot=site.foot(path, program),
        heading=f"{build.id}: {title}" if title else f"Build {build.id}",
        meta=[
            *(view.coating_cell(coating) for coating in build.coatings),
            Cell(f"build {build.number} of block {build.block}"),
            Cell(build.engine_type.title),
        ],
        first=parts[0] if parts else None,
        side=side,
        facts=_facts(view, build),
        parts=parts[1:],
        rest=rest,
    )


def _facts(view: View, build: Build) -> list[Fact]:
    program, kind = view.program, build.engine_type
    facts: list[tuple[str, list[Cell]]] = [
        ("Block", [Cell(f"{build.block}, its {_ordinal(build.number)} build")]),
        ("Engine", [Cell(kind.title)]),
        ("Bore × stroke", [Cell(words.with_unit(f"{kind.bore * 1e3:.1f} × {kind.stroke * 1e3:.1f}", "mm"))]),
        ("Firing order", [Cell("-".join(map(str, kind.firing_order)))] if kind.firing_order else []),
        ("Oil", [Cell(view.folder.definitions.oils[build.oil].title)] if build.oil else []),
        ("Operator", [Cell(build.operator)] if build.operator else []),
        ("Cell", [Cell(build.cell)] if build.cell else []),
        ("Rings", _rings(view, build)),
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
    return [Fact(term, cells) for term, cells in facts if cells]


def _rings(view: View, build: Build) -> list[Cell]:
    """Coating and lot with the cylinders that hold them."""
    groups: dict[tuple[str, str], list[int]] = {}
    for place in build.places:
        groups.setdefault((place.coating, place.lot), []).append(place.cylinder)
    cells = []
    for (coating, lot), cylinders in groups.items():
        where = (
            "all cylinders" if len(cylinders) == len(build.places) else f"cylinders {words.numbers_listed(cylinders)}"
        )
        cells.append(
            Cell(view.coating_title(coating), href=view.href_coating(coating), coating=coating,
                 note=f"{f'lot {lot}, ' if lot else ''}{where}")
        )  # fmt: skip
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
