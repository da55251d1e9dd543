"""What every page of a site shares: the folder, the analyses, addresses, assets, and the running head and foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from sitegen.declarations import Section, Stream
from sitegen.page import words
from sitegen.page.addresses import Addresses, Link, relative
from sitegen.page.blocks import Block, Figure, Plans
from sitegen.page.counts import MANY
from sitegen.page.due import DueList, due
from sitegen.page.view import Desk, View
from sitegen.pages.bare import bare
from sitegen.pages.contexts import Around, Assets, Foot, Part, PartsPage
from sitegen.pages.folding import folded
from sitegen.pages.gallery import Gallery
from sitegen.pages.setting import Setter, inside, measures_of
from sitegen.program.model import Build, Coating, Folder, Program
from sitegen.vocabulary import Measure

if TYPE_CHECKING:
    from sitegen.crossing.history import History
    from sitegen.crossing.planning import Planning

PAGE_TITLE_JOINER = " · "


@dataclass(frozen=True)
class Stood:
    """Pages of a program with errors that stay as they were."""

    day: str  # ISO date of the newest record they speak of; "" where they say none
    pages: int


@dataclass(frozen=True)
class Site:
    """All that pages are made from."""

    folder: Folder
    desks: Mapping[str, Desk]  # by program, in the order of the folder
    streams: Sequence[Stream]
    measures: Mapping[str, Measure]
    addresses: Addresses
    assets: Mapping[str, str]  # "report.css" -> path with its hash
    gallery: Gallery
    histories: Mapping[str, Sequence[History]]  # by coating
    plans: Mapping[str, Planning]  # by program
    results: Mapping[str, Mapping[str, bytes]] = field(default_factory=dict)  # by program: files of its results
    noted: dict[str, tuple[str, str]] = field(default_factory=dict)  # by program: its notes, what they are about; HTML
    stood: dict[str, Stood] = field(default_factory=dict)  # by program with errors: its pages that stay
    # measure -> page kinds and section titles that showed it so far, in the order met
    shown: dict[str, dict[tuple[str, str], None]] = field(default_factory=dict)

    def view(
        self,
        page: str,
        program: str = "",
        build: Build | None = None,
        cylinder: int = 0,
        coating: Coating | None = None,
    ) -> View:
        desk = self.desks[program] if program else None
        return View(self.folder, self.measures, self.addresses, page, desk, build, cylinder, coating)

    def setter(self, page: str) -> Setter:
        return Setter(self.folder.definitions.coatings, page, self.gallery, self.method)

    def method(self, measure: str) -> Link | None:
        """The name of a measure and where the site says how it is worked out; None for one it does not know."""
        known = self.measures.get(measure)
        return Link(known.title, self.addresses.method(measure)) if known is not None else None

    def links(self, page: str, parts: Sequence[Part] = (), blocks: Sequence[Block] = ()) -> Assets:
        """Assets of a page with these parts, and blocks outside of any: charts only where it draws some."""
        every = inside([*blocks, *(block for part in parts for block in part.blocks)])

        def to(name: str) -> str:
            return relative(self.assets[name], page)

        always = to("report.css"), to("report.js"), to("tables.js")
        charts = any(isinstance(block, Figure) for block in every)
        return Assets(*always, to("drawings.js") if charts else "", to("saving.js"))

    def marking(self, page: str) -> Assets:
        """Assets of the page of review."""
        return replace(self.links(page), marking=relative(self.assets["marking.js"], page))

    def sections(self, page: str, place: str) -> list[Section]:
        """Sections of all streams for a page kind and place, in order."""
        found = [
            (section.order, stream.order, section.anchor, section)
            for stream in self.streams
            for section in stream.sections
            if section.page == page and section.place == place
        ]
        return [section for *_, section in sorted(found, key=lambda each: each[:3])]

    def parts(self, view: View, setter: Setter, page: str, place: str, skip: Sequence[str] = ()) -> list[Part]:
        """What the streams have to say; a section without blocks is not there at all."""
        parts = []
        for section in self.sections(page, place):
            if section.anchor in skip:
                continue
            blocks = self.seen(section.build(view))
            if blocks:
                part = Part(setter.id(section.anchor), section.title, blocks, more=section.more)
                parts.append(folded(part) if place == "rest" else part)
                for measure in measures_of(blocks):
                    self.shown.setdefault(measure, {})[page, section.title] = None
        return parts

    def shows(self, page: str, anchor: str, title: str, blocks: Sequence[Block]) -> list[Part]:
        """A part that belongs to no stream, and which measures it shows; nothing without blocks."""
        blocks = self.seen(blocks)
        for measure in measures_of(blocks):
            self.shown.setdefault(measure, {})[page, title] = None
        return [Part(anchor, title, blocks)] if blocks else []

    def seen(self, blocks: Sequence[Block]) -> Sequence[Block]:
        """What of these blocks is shown on this site."""
        return bare(blocks) if self.folder.blind else blocks

    def foot(self, page: str, program: Program | None = None, about: Sequence[Program] = ()) -> Foot:
        """The foot of a page of one program, or of one `about` several."""
        if program is None:
            invented = [each for each in about if each.invented]
            mark = "" if not invented else "invented" if len(invented) == len(about) else "partly invented"
            others = [f"{each.title}: {self._stand(each)}" for each in about]
            source = " ".join(filter(None, (words.sentence(f"{mark} data.") if mark else "", "; ".join(others))))
            return Foot(bool(invented), mark=mark, source=source, others=others, blind=self.folder.blind)
        used, of = self.desks[program.id].files_used
        mark = "invented" if program.invented else ""
        return Foot(
            invented=program.invented,
            program=program.id,
            results=self.desks[program.id].results,
            files=f"{words.share(used, of, 'record file')} used" if of else "",
            left_out=relative(f"{self.addresses.data[program.id]}#left-out", page),
            as_of=self.as_of(program),
            day=self.desks[program.id].day,
            mark=mark,
            source=f"{'Invented data. ' if mark else ''}{program.title}: {self._stand(program)}",
            blind=self.folder.blind,
        )

    def as_of(self, program: Program) -> str:
        """As of which day its pages speak: that of the newest record."""
        day = self.desks[program.id].as_of
        return f"records until {day}" if day else "no dated record"

    def due(self) -> DueList:
        """What is due over all programs: the same list on every page, and in a check."""
        return due(self.folder, [self.desks[program.id].newest for program in self.folder.programs])

    def _stand(self, program: Program) -> str:
        results = self.desks[program.id].results
        invented = ", invented" if program.invented else ""
        return f"{self.as_of(program)}{f', results {results}' if results else ''}{invented}"

    def others(self, page: str, program: Program | None = None, place: str = "") -> list[Link]:
        """The other pages a reader may want next; without an address where it is this page.

        `place` is where the page of review goes through what this page is about.
        """
        own = [] if self.folder.blind else [("Coatings", f"{self.addresses.home}#coatings")]
        own.append(("Methods", self.addresses.methods))
        if program is not None:
            own += [("Plan", self.addresses.plans[program.id])] if program.id in self.plans else []
            own += [("Data", self.addresses.data[program.id]), ("Instruments", self.addresses.instruments[program.id])]
            own += [] if self.folder.blind else [("Decision sheet", self.addresses.sheets[program.id])]
            review = self.addresses.reviews[program.id]
            own.append(("Review", review if page == review or not place else f"{review}#{place}"))
        return [Link(text, _href(target, page)) for text, target in own]

    def around(self, page: str, program: Program, build: Build | None = None) -> list[Around]:
        """The cylinders of the build this page is of, and the builds of the program."""
        found = []
        if build is not None:
            cylinders = [(str(each.cylinder), self.addresses.cylinders[program.id, build.id, each.cylinder])
                         for each in build.places]  # fmt: skip
            found.append((f"Cylinders of {build.id}", cylinders))
        builds = [(each.id, self.addresses.engines[program.id, each.id]) for each in program.builds]
        if len(builds) > MANY:  # those nearest to this one, and the way to all
            place = [each.id for each in program.builds].index(build.id) if build is not None else 0
            begin = max(0, min(place - MANY // 4, len(builds) - MANY // 2))
            every = (f"all {len(builds)}", f"{self.addresses.programs[program.id]}#all-builds")
            builds = [*builds[begin : begin + MANY // 2], every]
        found.append(("Builds", builds))
        return [Around(title, [Link(text, _href(to, page)) for text, to in links]) for title, links in found if links]


def _href(target: str, page: str) -> str:
    return "" if target == page else relative(target, page)


def shows_plan(parts: Sequence[Part]) -> bool:
    """True where one of the parts already is a block plan, so that the page need not add its own."""
    return any(isinstance(block, Plans) and not block.small for part in parts for block in part.blocks)


def crumbs(site: Site, page: str, trail: Sequence[tuple[str, str]]) -> list[Link]:
    """The way from the first page to this one; the last step is this page."""
    return [Link(text, _href(target, page)) for text, target in [("All programs", site.addresses.home), *trail]]


def window_title(*steps: str) -> str:
    """Title of the browser's window, the special before the general."""
    return PAGE_TITLE_JOINER.join(dict.fromkeys(step for step in steps if step))


def parts_page(
    site: Site, program: Program, path: str, name: str, setter: Setter, reading: str, parts: Sequence[Part],
    rest: Sequence[Part] = (),
) -> PartsPage:  # fmt: skip
    """A page of one program that is its parts."""
    return PartsPage(
        setter=setter,
        path=path,
        title=window_title(name, program.title),
        crumbs=crumbs(site, path, [(program.title, site.addresses.programs[program.id]), (name, path)]),
        others=site.others(path, program),
        previous=None,
        next=None,
        assets=site.links(path, parts),
        foot=site.foot(path, program),
        heading=f"{name} of {program.title}",
        reading=reading,
        parts=parts,
        rest=rest,
    )


def engine_types(program: Program) -> str:
    """The engines of a program in a few words."""
    types = list(dict.fromkeys(build.engine_type.id for build in program.builds))
    builds = words.counted(len(program.builds), "build")
    if len(types) == 1 and program.builds:
        return f"{builds} of one engine type, {program.builds[0].engine_type.title}"
    return f"{builds} of {words.count(len(types))} engine types"
