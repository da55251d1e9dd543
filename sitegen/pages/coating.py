"""The page of one coating over all programs of the folder: against the reference, its criteria, its next build."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sitegen.declarations import Stream
from sitegen.page import words
from sitegen.page.addresses import Link
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages import comparing, history, left, stated
from sitegen.pages.contexts import Chapter, CoatingPage, Fact, Part
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.pages.setting import Setter
from sitegen.program.model import Build, Coating, Layer
from sitegen.vocabulary import Value


def page(site: Site, coating: Coating) -> CoatingPage:
    """The page of one coating."""
    path = site.addresses.coatings[coating.id]
    setter = site.setter(path)
    held = [each for each in site.folder.programs if any(coating.id in build.coatings for build in each.builds)]
    views = [site.view(path, program.id, coating=coating) for program in held]

    def part(anchor: str, title: str, blocks: Sequence[Block]) -> list[Part]:
        return site.shows("coating", setter.id(anchor), title, blocks)

    parts = part("left-out", "Programs left out", left.sentences(site, path))
    parts += part(comparing.ANCHOR, "Against the reference", _compared(views))
    parts += part("criteria", "Criteria", _criteria(views))
    known = history.blocks(site.view(path), coating.id, site.histories.get(coating.id, ()))
    parts += part(history.ANCHOR, history.TITLE, known)
    chapters = [_chapter(site, setter, view) for view in views]
    builds = sum(len(view.builds) for view in views)
    coatings = list(site.folder.definitions.coatings.values())
    place = coatings.index(coating)
    view = site.view(path)
    before = coatings[place - 1] if place else None
    after = coatings[place + 1] if place + 1 < len(coatings) else None
    used = f"{words.counted(builds, 'build')} in {words.counted(len(held), 'program')}." if builds else "Not built yet."
    return CoatingPage(
        setter=setter,
        path=path,
        title=window_title(words.sentence(coating.title)),
        crumbs=crumbs(site, path, [("Coatings", f"{site.addresses.home}#coatings"), (coating.title, path)]),
        others=site.others(path),
        previous=Link(before.title, view.href_coating(before)) if before else None,
        next=Link(after.title, view.href_coating(after)) if after else None,
        assets=site.links(path, [*parts, *(one for each in chapters for one in (each.part, *each.rest))]),
        foot=site.foot(path, about=held),
        heading=Cell(words.sentence(coating.title), coating=coating.id),
        reading=words.sentence(used),
        facts=_facts(coating),
        parts=parts,
        chapters=chapters,
    )


def _chapter(site: Site, setter: Setter, view: View) -> Chapter:
    """One program under one heading: its builds, the rest folded with its result."""
    tables = [table for stream in site.streams if not _tells(stream) and (table := _recorded(view, stream)) is not None]
    part = Part(setter.id(view.program.id), view.program.title, [_builds(view), *tables])
    return Chapter(part, site.parts(view, setter, "coating", "rest"))


def _compared(views: Sequence[View]) -> list[Block]:
    """The comparison with the reference, a table a program; of the reference itself, where it is set against others."""
    blocks: list[Block] = []
    for view in views:
        program = view.program
        if view.the_coating.id == program.reference:
            others = words.listed(view.coating_title(each) for each in program.candidates)
            verb = words.plural(len(program.candidates), "is", "are")
            text = f"In {program.title} this is the reference, against which {others} {verb} set: "
            cells = [Cell(text), Cell("coatings compared", href=view.href_program(anchor=comparing.ANCHOR)), Cell(".")]
            blocks += [Text(cells, "reading")] if others and view.comparisons else []
        else:
            blocks += _of(view, comparing.table(view, [view.the_coating.id]), len(views))
    return blocks


def _criteria(views: Sequence[View]) -> list[Block]:
    found = [(view, stated.criteria_table(view, [view.the_coating.id])) for view in views]
    return [block for view, table in found if table is not None for block in _of(view, [table], len(views))]


def _of(view: View, blocks: Sequence[Block], programs: int) -> list[Block]:
    """Blocks of one of several programs carry its name."""
    return [replace(each, caption=view.program.title) if programs > 1 and isinstance(each, Table) else each
            for each in blocks]  # fmt: skip


def _tells(stream: Stream) -> bool:
    """True where the stream has its own say on coating pages."""
    return any(section.page == "coating" for section in stream.sections)


def _facts(coating: Coating) -> list[Fact]:
    facts = [
        ("Process", coating.process),
        ("Layers, the outermost first", "; ".join(map(_layer, coating.layers))),
        ("Hardness", words.with_unit(words.number(coating.hardness_hv, 0), "HV") if coating.hardness_hv else ""),
        ("Thickness", words.with_unit(f"{coating.thickness * 1e6:g}", "µm") if coating.thickness else ""),
        ("Shown in oil by", words.listed(coating.tracers)),
    ]
    return [Fact(term, [Cell(text)]) for term, text in facts if text]


def _layer(layer: Layer) -> str:
    """A layer in words: name, nominal thickness with its tolerance, what it is."""
    thickness = "" if layer.thickness is None else f"{1e6 * layer.thickness:.4g}"
    if layer.tolerance is not None:
        thickness += f"\u00a0± {1e6 * layer.tolerance:.3g}"
    return ", ".join(filter(None, [layer.title, words.with_unit(thickness, "µm") if thickness else "", layer.process]))


def _cylinders(build: Build, coating: str) -> list[int]:
    return [place.cylinder for place in build.places if place.coating == coating]


def _builds(view: View) -> Table:
    coating = view.coating.id if view.coating else ""
    rows = []
    for build in view.builds:
        cylinders = _cylinders(build, coating)
        lots = words.listed(
            dict.fromkeys(place.lot for place in build.places if place.coating == coating and place.lot)
        )
        counts: dict[str, int] = {}
        for cylinder in cylinders:
            state = view.state(build, cylinder)
            word = state.word if state else "no verdict"
            counts[word] = counts.get(word, 0) + 1
        told = sum(n for word, n in counts.items() if word not in {"cannot tell", "no verdict"})
        others = [
            f"{n} {'undecided' if word == 'cannot tell' else word}" for word, n in counts.items() if word != "seated"
        ]
        states = Cell(f"{counts.get('seated', 0)} of {told}" if told else words.DASH, note=", ".join(others))
        rows.append(
            Row([Cell(build.id, href=view.href_engine(build)), Cell(f"{build.block}, build {build.number}"), Cell(lots),
                 Cell(words.numbers_listed(cylinders)), states])
        )  # fmt: skip
    columns = [Column("Build"), Column("Block"), Column("Lot"), Column("Cylinders"),
               Column("Seated at the last check, of those told")]  # fmt: skip
    return Table(f"builds-{view.program.id}", columns, rows)


def _recorded(view: View, stream: Stream) -> Table | None:
    """The latest values of what a stream records, as the range over the coating's cylinders of each build."""
    coating = view.coating.id if view.coating else ""
    shown = [
        m
        for m in (stream.recorded if stream.of_coatings else ())
        if any(v.status == "ok" and v.key.cylinder and v.key.coating == coating for v in view.values(m, at=""))
    ]
    if not shown:
        return None
    rows = []
    for build in view.builds:
        cells = [Cell(build.id, href=view.href_engine(build))]
        for measure in shown:
            found, phase = _latest(view, measure, build, _cylinders(build, coating))
            cells.append(Cell(_range(found), note=phase))
        rows.append(Row(cells))
    columns = [Column("Build"), *(Column(view.measures[m].title, view.measures[m].unit, True, m) for m in shown)]
    return Table(
        f"{stream.name}-{view.program.id}",
        columns,
        rows,
        caption=words.sentence(stream.title),
        note="Least and most of the cylinders with this coating, in the latest phase that has numbers.",
        wide=True,
    )


def _latest(view: View, measure: str, build: Build, cylinders: list[int]) -> tuple[list[Value], str]:
    for phase in reversed(view.program.phases):
        found = [
            value
            for cylinder in cylinders
            if (value := view.value(measure, phase.id, engine=build, cylinder=cylinder)) is not None
            and value.status == "ok"
        ]
        if found:
            return found, phase.title
    return [], ""


def _range(found: list[Value]) -> str:
    numbers = sorted((value.value, value) for value in found if value.value is not None)
    if not numbers:
        return words.DASH
    low, high = (words.value_text(value, interval=False) for _, value in (numbers[0], numbers[-1]))
    return words.from_to(low, high)
