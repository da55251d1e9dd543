"""Programs with errors: their pages as they lie there, with a notice, or one page that lists the errors.

Nothing is concluded from such a program. Its pages are taken as bytes from the site there was before; the notice stands
between two marks, so that it is never put twice, and goes when the pages are made anew.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape

from sitegen.page import words
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.pages.contexts import PartsPage
from sitegen.pages.frame import Site, Stood, crumbs, window_title
from sitegen.pages.linkcheck import unlinked
from sitegen.pages.sheet import FOLDER
from sitegen.problems import shown
from sitegen.program.model import Left
from sitegen.vocabulary import Problem

MOST_ROWS = 100  # errors on the page of a program
_NOTICE = re.compile(rb"<!--as it was-->.*?<!--/as it was-->", re.DOTALL)
_BEGINS = re.compile(rb"<main\b[^>]*>|<body\b[^>]*>")
_DAY = re.compile(rb'\sdata-as-of="(\d{4}-\d\d-\d\d)"')
_ASSET = re.compile(rb"assets/[\w./-]+")


def lying(left: Left, addresses: Addresses, before: Mapping[str, bytes], sheets: bool) -> dict[str, bytes]:
    """Files of a program in a site there was before, with what its pages load; empty where it was not published."""
    home = addresses.programs[left.id]
    base = home.removesuffix("index.html")
    if home not in before or f"{base}data.html" not in before:  # a page that lists errors stands alone
        return {}
    found = {path: content for path, content in before.items() if path.startswith(base)}
    sheet = f"{FOLDER}/{base.split('/')[1]}.html"
    found |= {sheet: before[sheet]} if sheets and sheet in before else {}
    loaded = {name.decode() for content in found.values() for name in _ASSET.findall(content)}
    return {**found, **{name: before[name] for name in sorted(loaded) if name in before}}


def open_site(before: Mapping[str, bytes]) -> bool:
    """Whether a site shows coatings: a blind one has no pages that an open one could keep."""
    return any(path.startswith("coatings/") for path in before)


def stood(left: Left, addresses: Addresses, files: Mapping[str, bytes]) -> Stood:
    """How many pages these are, and of which day they speak."""
    found = _DAY.search(files[addresses.programs[left.id]])
    return Stood(found[1].decode() if found else "", sum(path.endswith(".html") for path in files))


def noticed(left: Left, stood: Stood, files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The same files, with the notice on each page."""
    text = f"{shown(left.id)} has {_errors(left)}. {_mended(left)} its pages stay as they were{_until(stood)}."
    told = f'<!--as it was--><p class="caution">{escape(text)}</p><!--/as it was-->'.encode()
    return {path: _marked(content, told) if path.endswith(".html") else content for path, content in files.items()}


def _marked(content: bytes, told: bytes) -> bytes:
    plain = _NOTICE.sub(b"", content)
    begins = list(_BEGINS.finditer(plain))
    place = begins[-1].end() if begins else 0
    return plain[:place] + told + plain[place:]


def mended(files: dict[str, bytes], kept: Mapping[str, bytes]) -> dict[str, bytes]:
    """A whole site; links of the pages as they were that lead nowhere now are none any more."""
    return files | {
        path: unlinked(path, kept[path], files) for path in kept if path.endswith(".html") or "/rows/" in path
    }


def sentences(site: Site, page: str) -> list[Block]:
    """For a page about several programs: which are left out, and why."""
    view = site.view(page)
    told: list[Block] = []
    for each in site.folder.left:
        pages = f"Its pages stay as they were{_until(site.stood[each.id])}" if each.id in site.stood else ""
        pages = pages or f"Its page lists {words.plural(len(each.errors), 'it', 'them')}"
        text = f" has {_errors(each)} and is left out here. {pages}."
        told.append(Text([Cell(each.id, href=view.href_program(each.id)), Cell(text)], "caution"))
    return told


def page(site: Site, left: Left) -> PartsPage:
    """The page of a program that was never published: its errors."""
    path = site.addresses.programs[left.id]
    setter = site.setter(path)
    rows = [
        Row([Cell(_place(each)), Cell(_what(each)), Cell(each.expected), Cell(_next(each))]) for each in left.errors
    ]
    columns = Column("Place"), Column("What is wrong"), Column("Expected"), Column("Next")
    more = len(rows) - MOST_ROWS
    note = f"And {words.counted(more, 'further error')}, which sitegen check lists." if more > 0 else ""
    table = Table("errors", columns, rows[:MOST_ROWS], note=note, stack=True)
    parts = site.shows("errors", setter.id("errors"), "Errors", [table])
    return PartsPage(
        setter=setter,
        path=path,
        title=window_title(left.id),
        crumbs=crumbs(site, path, [(left.id, path)]),
        others=site.others(path),
        previous=None,
        next=None,
        assets=site.links(path, parts),
        foot=site.foot(path),
        heading=left.id,
        reading=f"{words.sentence(_errors(left))}. {_mended(left)} nothing is concluded from its records, and none of "
        "its pages is made.",
        parts=parts,
    )


def _errors(left: Left) -> str:
    return words.counted(len(left.errors), "error")


def _mended(left: Left) -> str:
    return f"Until {words.plural(len(left.errors), 'it is', 'they are')} mended"


def _until(stood: Stood) -> str:
    return f", with records until {words.day(stood.day)}" if stood.day else ""


def _place(problem: Problem) -> str:
    place = ":".join([shown(problem.file), *(str(n) for n in (problem.line, problem.column) if n)])
    return f'{place}, column "{shown(problem.column_name)}"' if problem.column_name else place


def _what(problem: Problem) -> str:
    return words.sentence(shown(problem.what, 2000))


def _next(problem: Problem) -> str:
    near = f"nearest: {shown(problem.nearest)}" if problem.nearest else ""
    return words.sentence("; ".join(filter(None, (near, problem.next_step))))
