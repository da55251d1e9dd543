"""Notes written in Markdown, as HTML that can do no harm.

HTML in the notes is printed as text. A link leads to a web page, to mail, to a file of the program's folder, which is
then published beside the pages, or to a page of the site by its subject (`build:B3`). What leads nowhere is told as a
warning by `check` and `publish`, and printed as it was written; the rest of the notes stands.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import unquote

from markupsafe import Markup, escape

from sitegen.page import words
from sitegen.page.addresses import Addresses, relative, slug
from sitegen.pages.linkcheck import OUTWARD
from sitegen.pictures import PictureFault
from sitegen.pictures import check as check_picture
from sitegen.problems import nearest, shown
from sitegen.program.inside import PathFault, file_inside, nearest_inside
from sitegen.program.model import Folder, Program
from sitegen.regular import open_regular
from sitegen.vocabulary import Problem

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.token import Token

    from sitegen.pages.frame import Site
    from sitegen.pages.gallery import Gallery

CODE = "notes-"  # what the code of every problem in notes begins with
SUBJECTS = ("build", "cylinder", "coating", "program", "measure")
PICTURES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff"})
# Published byte by byte, so nothing that a browser would run is among them.
FILES = frozenset(
    {".pdf", ".csv", ".tsv", ".txt", ".md", ".xlsx", ".ods", ".docx", ".odt", ".parquet", ".yaml", ".zip"}
)
MOST_BYTES = 50_000_000  # of a file published beside the pages
MOST_NOTES = 200_000  # bytes of notes; the parser takes some seconds for the worst of that length
_RESULTS = "results"  # written anew by the very publish that would take them along
_OUTSIDE = re.compile(r"(https?://|mailto:)", re.IGNORECASE)
_SCHEME = re.compile(r"([a-z][a-z0-9+.-]*):", re.IGNORECASE)
_EXPECTED = "a web address, a mail address, a file of the program's folder, or build:, cylinder:, coating:, measure:"
_DEEPER = 1  # the notes stand in a section of the page: what is an h2 in them is an h3 there


@dataclass(frozen=True)
class Around:
    """What the links of a program's notes may lead to."""

    program: Program
    addresses: Addresses
    measures: Collection[str]


class LinkFault(Exception):  # noqa: N818 - an answer for the user, not a fault of ours
    """Why a link leads nowhere, as a code and a clause that goes on after the link."""

    def __init__(self, code: str, what: str, expected: str = "", near: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.expected = expected
        self.near = near


@dataclass(frozen=True)
class Target:
    """Where a link leads: exactly one of the first three."""

    outside: str = ""  # as written
    page: str = ""  # path in the site, with its anchor
    file: str = ""  # from the program's folder
    picture: bool = False
    fragment: str = ""  # of a file, with its hash sign


# ---- the notes of a program -----------------------------------------------------------------------------------------


def printed(site: Site, program: Program) -> str:
    """What the program's notes are about, a line, and the notes as they stand on its page; both empty for none."""
    if not program.notes:
        return "\n"
    around = Around(program, site.addresses, site.measures.keys())
    printer = _Printer(around, site.addresses.programs[program.id], site.gallery)
    return f"{escape(about(program))}\n{as_html(_read(program), program.title, printer)}"


def about(program: Program) -> str:
    """What the notes are about: their headings, else their first line; "" where there are none."""
    if not program.notes:
        return ""
    tokens = _parser().parse(_read(program))
    lines = [(before.type, "".join(each.content for each in token.children or () if each.type == "text"))
             for before, token in pairwise(tokens) if token.type == "inline"]  # fmt: skip
    heads = [text for kind, text in lines if kind == "heading_open" and text not in {"", program.title}]
    first = next((text for _, text in lines if text not in {"", program.title}), "")
    return words.sentence(words.listed(f"{text[:1].lower()}{text[1:]}" for text in heads)) or first


def problems(folder: Folder, program: Program, measures: Collection[str]) -> list[Problem]:
    """Every link and picture of the program's notes that leads nowhere, as warnings with file and line.

    Notes that cannot be read, or are too long, are an error.
    """
    if not program.notes:
        return []
    around = Around(program, Addresses.of(folder), measures)
    file = f"{shown(program.id)}/{program.notes}"
    found = []
    try:
        if len(_content(program)) > MOST_NOTES:
            what, expected = "the notes are too long", f"at most {MOST_NOTES // 1000} kB"
            return [Problem(file, 0, 0, f"{CODE}too-large", what, expected)]
        _content(program).decode("utf-8-sig")
    except OSError as fault:
        what = f"the notes cannot be read: {(fault.strerror or 'unknown').lower()}"
        return [Problem(file, 0, 0, f"{CODE}not-readable", what, next_step="see to the name and rights of the file")]
    except UnicodeDecodeError as fault:
        line = len(_content(program)[: fault.start].splitlines()) or 1
        what = "the notes hold bytes that are not UTF-8, and are shown without them"
        found.append(Problem(file, line, 0, f"{CODE}not-utf-8", what, "text saved as UTF-8", level="warning"))
    text = _read(program)
    for line, token in _links(_parser().parse(text)):
        link = _written(token)
        try:
            _target(link, around, picture=token.type == "image")
        except LinkFault as fault:
            kind = "picture" if token.type == "image" else "link"
            what = f'the {kind} "{shown(unquote(link))}" of the notes {fault.what}, and is printed as text'
            code, mend = f"{CODE}{fault.code}", "correct the link, or remove it"
            found.append(Problem(file, line, 0, code, what, fault.expected, fault.near, mend, level="warning"))
    return found


def _content(program: Program) -> bytes:
    folder = Path(program.folder)
    with open_regular(folder / program.notes, folder) as file:
        return file.read(MOST_NOTES + 1)


def _read(program: Program) -> str:
    return _content(program).decode("utf-8-sig", errors="replace")


# ---- where a link leads ---------------------------------------------------------------------------------------------


def _target(link: str, around: Around, *, picture: bool) -> Target:
    """Raises LinkFault where a link leads nowhere."""
    if _OUTSIDE.match(link):
        if picture:
            raise LinkFault("picture-outside", "lies outside", "a PNG, JPEG or TIFF file of the program's folder")
        return Target(outside=link)
    scheme = _SCHEME.match(link)
    if scheme is not None and scheme[1].lower() in SUBJECTS and not picture:
        return Target(page=_page(scheme[1].lower(), unquote(link[scheme.end() :]), around))
    if scheme is not None:
        raise LinkFault("link-of-no-kind", "is of no kind that is followed", _EXPECTED)
    path, mark, fragment = link.partition("#")
    if not path:
        raise LinkFault("link-to-anchor", "leads to a place of a page by its anchor", _EXPECTED)
    return _file(unquote(path), mark + fragment, around.program, picture=picture)


def _page(kind: str, name: str, around: Around) -> str:
    """The page of a subject, such as `B3` or `B3/2`."""
    pages: dict[str, str]
    own, addresses = around.program.id, around.addresses
    if kind == "build":
        pages = {build: path for (program, build), path in addresses.engines.items() if program == own}
    elif kind == "cylinder":
        pages = {f"{build}/{n}": path for (program, build, n), path in addresses.cylinders.items() if program == own}
    elif kind == "coating":
        pages = dict(addresses.coatings)
    elif kind == "program":
        pages = dict(addresses.programs)
    else:
        pages = {measure: f"{addresses.methods}#{slug(measure)}" for measure in around.measures}
    if name not in pages:
        form = "a build and a number, such as cylinder:B3/2" if kind == "cylinder" else f"the id of a {kind}"
        raise LinkFault("unknown-subject", f"names no {kind} there is", form, nearest(name, pages))
    return pages[name]


def _file(name: str, fragment: str, program: Program, *, picture: bool) -> Target:
    folder = Path(program.folder)
    expected = "a file inside the program's folder, with forward slashes, such as images/b1-top.jpg"
    try:
        found = file_inside(folder, name)
    except PathFault as fault:
        near = nearest_inside(folder, name) if fault.code == "missing" else ""
        raise LinkFault(fault.code, fault.what, expected, near) from fault
    plain = PurePosixPath(name)
    if any(part.startswith(".") for part in plain.parts):
        raise LinkFault("hidden-file", "is a hidden file", expected)
    if plain.parts[0] == _RESULTS:
        raise LinkFault("result-file", "is a result, which this publish may change", "the pages, which show them")
    ending = plain.suffix.lower()
    if picture or ending in PICTURES:
        try:
            check_picture(found)
        except PictureFault as fault:
            raise LinkFault(fault.code, fault.what, fault.expected) from fault
        return Target(file=plain.as_posix(), picture=True)
    if ending not in FILES:
        kinds = ", ".join(sorted(each[1:] for each in FILES | PICTURES))
        raise LinkFault("file-of-no-kind", "is of a kind that is not published", f"a file that ends in {kinds}")
    try:
        size = found.stat().st_size
    except OSError as error:
        raise LinkFault("not-readable", "cannot be read", expected) from error
    if size > MOST_BYTES:
        raise LinkFault("file-too-large", f"has {size / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB")
    return Target(file=plain.as_posix(), fragment=fragment)


# ---- Markdown -------------------------------------------------------------------------------------------------------


def as_html(text: str, title: str = "", printer: _Printer | None = None) -> Markup:
    """Markdown as HTML. A first heading that repeats the title of the page is left out.

    >>> print(as_html("# A <b>\\n\\nSee [that](javascript:x), [this](mailto:a@example.org) and `<i>`."), end="")
    <h3>A &lt;b&gt;</h3>
    <p>See [that](javascript:x), <a rel="external noreferrer" href="mailto:a@example.org">this</a> and <code>&lt;i&gt;</code>.</p>
    """  # noqa: E501 - one line of output
    parser = _parser()
    tokens = parser.parse(text)
    if len(tokens) > 2 and tokens[0].type == "heading_open" and tokens[1].content.strip() == title:
        tokens = tokens[3:]
    for token in tokens:
        _deeper(token)
        if token.children:
            token.children = list(_followed(token.children, printer or _Printer()))
    # markdown-it escapes all text itself once HTML is off, and every link and picture has passed through _followed
    return Markup(parser.renderer.render(tokens, parser.options, {}))  # noqa: S704


def _parser() -> MarkdownIt:
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.validateLink = lambda url: bool(url)  # type: ignore[method-assign] # we look at each ourselves, with its line
    return parser


def _deeper(token: Token) -> None:
    if token.type in {"heading_open", "heading_close"}:
        token.tag = f"h{min(max(int(token.tag[1:]) + _DEEPER, 3), 6)}"


def _links(tokens: Sequence[Token]) -> Iterator[tuple[int, Token]]:
    """Every link and picture with its line, in the order written."""
    line = 1
    for token in tokens:
        if token.map:
            line = token.map[0] + 1
        at = line
        for child in token.children or ():
            if child.type in {"softbreak", "hardbreak"}:
                at += 1
            if child.type in {"link_open", "image"}:
                yield at, child


def _written(token: Token) -> str:
    return str(token.attrGet("src" if token.type == "image" else "href") or "")


class _Printer:
    """Prints the links of notes; without a program only those that lead outside."""

    def __init__(self, around: Around | None = None, page: str = "", gallery: Gallery | None = None) -> None:
        self._around = around
        self._page = page
        self._gallery = gallery

    def link(self, token: Token) -> dict[str, str | int | float] | None:
        """Attributes of a link that leads somewhere; None of one that does not."""
        target = self._target(token)
        if target is None:
            return None
        kept = {name: text for name, text in token.attrs.items() if name == "title"}
        if target.outside:
            return {"rel": OUTWARD, "href": target.outside, **kept}
        path = target.page or self._published(target)
        return {"href": relative(path, self._page) + target.fragment, **kept} if path else None

    def picture(self, token: Token) -> tuple[str, dict[str, str | int | float]] | None:
        """Link to the whole picture, and attributes of the small one."""
        target = self._target(token)
        hung = self._gallery.put(self._source(target)) if target is not None and self._gallery is not None else None
        if hung is None:
            return None
        kept = {name: text for name, text in token.attrs.items() if name in {"alt", "title"}}
        size = {"width": hung.picture.thumbnail_width, "height": hung.picture.thumbnail_height}
        small, full = (relative(path, self._page) for path in (hung.small, hung.full))
        return full, {"src": small, **size, "loading": "lazy", "decoding": "async", **kept}

    def _target(self, token: Token) -> Target | None:
        link, picture = _written(token), token.type == "image"
        if self._around is None:
            return Target(outside=link) if _OUTSIDE.match(link) and not picture else None
        try:
            return _target(link, self._around, picture=picture)
        except LinkFault:
            return None

    def _published(self, target: Target) -> str:
        """Path in the site of a file that is published because of this link; "" where it went away meanwhile."""
        if self._gallery is None:
            return ""
        if not target.picture:
            return self._gallery.take(self._source(target))
        hung = self._gallery.put(self._source(target))
        return hung.full if hung is not None else ""

    def _source(self, target: Target) -> str:
        return f"{self._around.program.id}/{target.file}" if self._around is not None else target.file


def _followed(children: Sequence[Token], printer: _Printer) -> Iterator[Token]:
    """The same text with links that lead somewhere; the others as they were written."""
    ends: list[str | None] = []  # what closes each link that is open; None: a link indeed
    for token in children:
        if token.type == "link_open":
            attributes = printer.link(token)
            if attributes is not None:
                token.attrs = attributes
                ends.append(None)
                yield token
            elif token.info == "auto":
                ends.append(">")
                yield _text("<")
            else:
                ends.append(f"]({unquote(_written(token))}{_title(token)})")
                yield _text("[")
        elif token.type == "link_close":
            end = ends.pop()
            yield token if end is None else _text(end)
        elif token.type == "image":
            yield from _pictured(token, printer, inside_link=None in ends)
        else:
            yield token


def _pictured(token: Token, printer: _Printer, *, inside_link: bool) -> Iterator[Token]:
    from markdown_it.token import Token as Made

    shown_as = printer.picture(token)
    if shown_as is None:
        yield _text(f"![{token.content}]({unquote(_written(token))}{_title(token)})")
        return
    full, token.attrs = shown_as
    if inside_link:
        yield token
        return
    yield Made("link_open", "a", 1, attrs={"href": full})
    yield token
    yield Made("link_close", "a", -1)


def _text(content: str) -> Token:
    from markdown_it.token import Token as Made

    return Made("text", "", 0, content=content)


def _title(token: Token) -> str:
    title = token.attrGet("title")
    return f' "{title}"' if title else ""
