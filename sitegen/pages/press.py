"""Pages as bytes: printed, or as kept on the shelves where all they show is what it was.

Desks note what a page asks of the analyses, and it stays for as long as each of these answers does. The pages of a
build and its cylinders see the program without the notes of other builds, all other pages the whole folder.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any

from sitegen.copies import shared
from sitegen.page.addresses import Addresses
from sitegen.page.view import Asked
from sitegen.pages import (
    coating,
    cylinder,
    data,
    engine,
    home,
    instruments,
    methods,
    notes,
    plan,
    program,
    review,
    sheet,
)
from sitegen.pages.contexts import AnyPage
from sitegen.pages.frame import Site, Stood
from sitegen.program.model import Build, Coating, Folder, Program
from sitegen.program.seen import by_pages, by_pages_of
from sitegen.regular import hashes_of, opened, unchanged
from sitegen.shelves import Shelves, digest, key_of

Print = Callable[[AnyPage | str], bytes]
_WORTH_WHILE = 8  # pages: fewer are made before they are shared


@dataclass(frozen=True)
class Task:
    """One page to be made: `make(site, *of)`."""

    path: str
    site: Site  # as the page sees it
    make: Callable[..., AnyPage | str]
    of: tuple[object, ...]
    rests_on: tuple[object, ...]  # what its key covers beside what it asks for
    asks: tuple[str, ...] = ()  # programs whose desks note what it asks for
    build: str = ""  # whose page it is


@dataclass(frozen=True)
class _Page:
    """A page as it is kept."""

    content: bytes
    asked: Mapping[tuple[str, Asked], str]  # of which program -> hash of the answer
    files: Mapping[str, str]  # file from the programs folder -> sha256: notes
    hung: Mapping[tuple[str, str], str]  # (put or take, source) -> what the site calls it
    shown: Iterable[tuple[str, str, str]]  # measure, page kind, title


def tasks(site: Site, press: Press) -> Iterator[Task]:
    """Every page of the site but the last, in order."""
    at, folder, asks = site.addresses, site.folder, tuple(site.desks)
    every, of_programs = press.everything(site), press.of_folder(replace(folder, left=()))
    yield Task(at.home, site, home.page, (), every, asks)
    stands = [desk.stand for desk in site.desks.values()]
    for each in folder.definitions.coatings.values() if not folder.blind else ():
        known = partial(_history, site, each)
        of_history = press.stand_of(known, "history", each.id, of_programs, stands)
        yield Task(at.coatings[each.id], site, coating.page, (each,), (*every, of_history), asks)
    for own in folder.programs:
        whole = (of_programs, own.id, at, [*site.plans])
        there = [bool(each) for each in site.noted[own.id]]
        known = partial(_planned, site, own)
        of_plan = press.stand_of(known, "plan", own.id, of_programs, site.desks[own.id].stand)
        yield Task(at.programs[own.id], site, program.page, (own,), (*whole, there, of_plan), asks)
        if not folder.blind:
            yield Task(at.sheets[own.id], site, sheet.page, (own,), whole, asks)
        yield Task(at.data[own.id], site, data.page, (own,), whole, asks)
        yield Task(at.instruments[own.id], site, instruments.page, (own,), whole, asks)
        yield Task(at.reviews[own.id], site, review.page, (own,), whole, asks)
        if own.id in site.plans:
            yield Task(at.plans[own.id], site, plan.page, (own,), (*whole, of_plan), asks)
        yield from tasks_of(site, own, own.builds, press.keyed)


def _history(site: Site, of: Coating) -> object:
    return site.histories.get(of.id, ())


def _planned(site: Site, own: Program) -> object:
    plan = site.plans.get(own.id)
    return None if plan is None else [getattr(plan, each.name) for each in fields(plan) if each.name != "program"]


def noted(site: Site) -> Iterator[tuple[Program, Task]]:
    """The notes of each program, which its page is filled with: they change most often, and nothing rests on them."""
    for own in site.folder.programs:
        nowhere = [each for each in site.desks[own.id].problems if each.code.startswith(notes.CODE)]
        rests_on = "notes", own.id, own.title, own.notes, nowhere
        yield own, Task(site.addresses.programs[own.id], site, notes.printed, (own,), rests_on)


def last(site: Site, press: Press) -> Task:
    """The page of methods, which says what the others show."""
    shown = [(measure, list(where)) for measure, where in site.shown.items()]
    return Task(site.addresses.methods, site, methods.page, (), (*press.everything(site), shown), tuple(site.desks))


def tasks_of(site: Site, own: Program, builds: Iterable[Build], keyed: bool) -> Iterator[Task]:
    """The pages of some builds and of their cylinders, which see the site as far as it is that of their build."""
    at, seen = site.addresses, by_pages(own)
    plans: Mapping[str, Any] = dict.fromkeys([own.id] if own.id in site.plans else [])  # such a page asks but whether
    addresses = at.of_program(own.id)
    shared = replace(site.folder, programs=[seen], left=())
    about = digest((_nowhere(shared), addresses, [*plans])) if keyed else ""
    for build in builds:
        alone = by_pages_of(seen, build)
        of_build = replace(
            site, folder=replace(shared, programs=[alone]), desks={own.id: site.desks[own.id].seen(alone)},
            histories={}, plans=plans, addresses=addresses,
        )  # fmt: skip
        ground = (about, digest(build) if keyed else "", own.id)
        yield Task(at.engines[own.id, build.id], of_build, engine.page, (alone, build), ground, (own.id,), build.id)
        for place in build.places:
            path = at.cylinders[own.id, build.id, place.cylinder]
            yield Task(path, of_build, cylinder.page, (alone, build, place.cylinder), ground, (own.id,), build.id)


def _nowhere(folder: Folder) -> Folder:
    """The same folder at no place of this machine."""
    return replace(folder, path="", programs=[replace(each, folder="") for each in folder.programs])


class Press:
    """Prints pages, or takes them as kept; `made` are those that were printed."""

    def __init__(self, print_page: Print, shelves: Shelves, *base: object) -> None:
        self._print, self._shelves = print_page, shelves
        self._base = digest(base) if shelves.open else ""
        self._ahead: dict[str, _Page] = {}  # by path
        self._folder: tuple[Folder, str] | None = None
        self.made: list[str] = []

    @property
    def keyed(self) -> bool:
        """Whether pages are kept, so that tasks need what their keys cover."""
        return self._shelves.open

    def everything(self, site: Site) -> tuple[str, dict[str, Stood], Addresses, list[str]]:
        """What pages of the whole folder rest on."""
        return self.of_folder(site.folder), dict(site.stood), site.addresses, [*site.plans]

    def of_folder(self, folder: Folder) -> str:
        """Hash of a folder wherever it lies; it takes as long as a page does, and is asked for again and again."""
        if not self._shelves.open:
            return ""
        if self._folder is None or self._folder[0] != folder:
            self._folder = folder, digest(_nowhere(folder))
        return self._folder[1]

    def stand_of(self, make: Callable[[], object], *rests_on: object) -> str:
        """Hash of what a page shows and no desk knows; it is made where it was not for the same ground."""
        if not self._shelves.open:
            return ""
        key = key_of("stand", self._base, *rests_on)
        return self._shelves.kept(
            key, lambda: digest(make()), lambda own: json.dumps(own).encode(), lambda told: str(json.loads(told))
        )

    def page(self, task: Task) -> bytes:
        """The page of a task, with marks for what is filled in last; `shown` of its site learns what it shows."""
        found = self._ahead.pop(task.path, None) or self.kept(task)
        if found is None:
            self.made.append(task.path)
            found = self._made(task)
        for measure, kind, title in found.shown:
            task.site.shown.setdefault(measure, {})[kind, title] = None
        return found.content

    def ahead(self, task: Task) -> None:
        """Put the page of a task on the shelves, where `page` will find it."""
        if self.kept(task) is None:
            self.made.append(task.path)
            self._made(task)

    def share(self, ordered: Iterable[Task], processes: int) -> None:
        """Have processes make the pages that are not kept, those of one build together, where that is worth while."""
        groups: dict[tuple[str, ...], list[Task]] = {}
        for task in ordered:
            kept = self.kept(task)
            if kept is not None:
                self._ahead[task.path] = kept
            else:
                groups.setdefault((*task.asks, task.build) if task.build else (task.path,), []).append(task)
        own = sorted(groups.values(), key=lambda group: bool(group[0].build))  # pages of a whole program take longest
        if sum(map(len, own)) < _WORTH_WHILE:
            return
        for group, pages in zip(own, shared(self._of_group, own, processes), strict=True):
            for task, (page, files) in zip(group, pages, strict=True):
                for (name, asked), stand in page.asked.items():
                    task.site.desks[name].learn(asked, stand)
                task.site.gallery.files |= files
                self._ahead[task.path] = page
                self.made.append(task.path)

    def _of_group(self, group: Sequence[Task]) -> list[tuple[_Page, dict[str, bytes]]]:
        """Pages with the files that go with them."""
        made = []
        for task in group:
            page, files = self._made(task), task.site.gallery.files
            names = [each for name in page.hung.values() for each in (name, *name.split(" "))]
            made.append((page, {name: files[name] for name in names if name in files}))
        return made

    def kept(self, task: Task) -> _Page | None:
        """The page where all it shows is what it was."""
        if not self._shelves.open:
            return None
        found = self._shelves.find(self._key(task), _unpacked)
        return found if found is not None and self._holds(task, found) else None

    def _key(self, task: Task) -> str:
        return key_of("page", task.path, self._base, *task.rests_on)

    def _holds(self, task: Task, page: _Page) -> bool:
        site = task.site
        return (
            all(site.desks[program].stand_of(asked) == sha for (program, asked), sha in page.asked.items())
            and unchanged(page.files, Path(site.folder.path))
            and all(site.gallery.again(*source) == name for source, name in page.hung.items())
        )

    def _made(self, task: Task) -> _Page:
        site = task.site if task.make is methods.page else replace(task.site, shown={})  # it says what the others show
        desks = {program: site.desks[program] for program in task.asks}
        site.gallery.asked()
        for desk in desks.values():
            desk.asked()
        with opened() as files:
            content = self._print(task.make(site, *task.of))
        hung, shown = site.gallery.asked(), [(what, *each) for what, where in site.shown.items() for each in where]
        if not self._shelves.open:
            return _Page(content, {}, {}, hung, shown)
        asked = {name: desk.asked() for name, desk in desks.items()}
        page = _Page(
            content,
            {(name, each): desks[name].stand_of(each) for name, own in asked.items() for each in own},
            hashes_of(files, Path(site.folder.path)),
            hung,
            shown,
        )
        self._shelves.put(self._key(task), page, _packed)
        return page


def _packed(page: _Page) -> bytes:
    told = [
        [[program, *asked, sha] for (program, asked), sha in sorted(page.asked.items())], page.files,
        [[*source, name] for source, name in page.hung.items()], list(page.shown), page.content.decode(),
    ]  # fmt: skip
    return json.dumps(told, separators=(",", ":")).encode()


def _unpacked(content: bytes) -> _Page:
    asked, files, hung, shown, text = json.loads(content)
    return _Page(
        text.encode(), {(program, Asked(*each)): sha for program, *each, sha in asked}, files,
        {(way, source): name for way, source, name in hung}, [tuple(each) for each in shown],
    )  # fmt: skip


# as `page.view.mark` makes them, in text and in data for scripts
_MARKS = re.compile(rb"\xee\x80[\x80-\x84][0-9a-f]{6}"), re.compile(rb"\\ue00[0-4][0-9a-f]{6}")


def filling(marks: Mapping[str, str]) -> Callable[[bytes], bytes]:
    """What puts into a page what its marks stand for."""
    texts = {mark.encode(): text.encode() for mark, text in marks.items()}
    texts |= {json.dumps(mark)[1:-1].encode(): json.dumps(text)[1:-1].encode() for mark, text in marks.items()}

    def filled(content: bytes) -> bytes:
        for each in _MARKS:
            content = each.sub(lambda found: texts.get(found[0], found[0]), content)
        return content

    return filled
