"""The whole site as a mapping from path to bytes. The same input gives the same bytes anywhere, any day."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from sitegen import places
from sitegen.declarations import Stream
from sitegen.page.addresses import Addresses, slug
from sitegen.page.view import Analysis, Desk
from sitegen.pages import left, linkcheck, sheet
from sitegen.pages.bundle import chart_script
from sitegen.pages.contexts import AnyPage, Assets, Foot, Part, PartsPage
from sitegen.pages.frame import Site, Stood
from sitegen.pages.gallery import Gallery
from sitegen.pages.marks import tone, tone_of
from sitegen.pages.press import Press, Print, Task, filling, last, noted, tasks, tasks_of
from sitegen.pages.setting import Setter
from sitegen.pages.styles import COLOURS, SHAPES, style
from sitegen.program.model import Folder, Program
from sitegen.regular import read_regular
from sitegen.shelves import NONE, Shelves
from sitegen.vocabulary import Measure

if TYPE_CHECKING:
    from jinja2 import Environment

    from sitegen.crossing.history import History
    from sitegen.crossing.planning import Planning


@dataclass
class Told:
    """What became of the pages of a site."""

    made: Sequence[str] = ()  # printed, and not taken from the shelves
    stood: Mapping[str, Stood] = field(default_factory=dict)  # by program with errors whose pages stay


def build_site(
    folder: Folder,
    analyses: Iterable[Analysis],
    streams: Sequence[Stream],
    measures: Mapping[str, Measure] | Iterable[Measure],
    theme_dir: Path | None = None,
    histories: Mapping[str, Sequence[History]] | None = None,
    planned: Mapping[str, Planning] | None = None,
    results: Mapping[str, Mapping[str, bytes]] | None = None,
    sheets: bool = False,
    shelves: Shelves = NONE,
    helpers: Helpers | None = None,
    before: Mapping[str, bytes] | None = None,
    told: Told | None = None,
    processes: int = 1,
) -> dict[str, bytes]:
    """Every file of the site: path from its root, with forward slashes, to content.

    `histories` holds what is known of each coating over all programs, `planned` the plans of the programs,
    `results` the files of each program's results folder: their tables go with the pages. With `sheets`, the decision
    sheet of each program stands once more in the folder `sheets`, as one file that can be sent.
    Of programs with errors the pages stay that `before`, the site there was, holds. `told` learns what became of pages.
    `theme_dir` is a folder whose templates/,
    report.css, report.js and tables.js replace ours, file by file.
    Raises ThemeError for a theme folder that cannot be used, linkcheck.DeadLinkError for a link that leads nowhere and
    charts.ChartError for rows no chart can draw.
    """
    press, site, files, print_page = _set_up(
        folder, analyses, streams, measures, theme_dir, histories, planned or {}, results, shelves
    )
    addresses = site.addresses
    stayed = {each: left.lying(each, addresses, before or {}, sheets) for each in folder.left}
    site.stood.update({each.id: left.stood(each, addresses, own) for each, own in stayed.items() if own})
    kept: dict[str, bytes] = {}
    made: list[str] = []
    for program, task in noted(site):
        about, _, notes = press.page(task).decode().partition("\n")
        site.noted[program.id] = notes, about
    ordered = list(tasks(site, press))
    if helpers is not None and shelves.open:
        _share(ordered, press, helpers)
    elif processes > 1:
        press.share(ordered, processes)
    pages = {task.path: press.page(task) for task in ordered}
    pages[addresses.methods] = press.page(last(site, press))
    for desk in site.desks.values():
        desk.keep(shelves)
    for each, lying in stayed.items():
        if lying:
            kept |= left.noticed(each, site.stood[each.id], lying)
        else:
            made.append(addresses.programs[each.id])
            pages[made[-1]] = print_page(left.page(site, each))
    if sheets:
        style = files[site.assets["report.css"]].decode()
        pages |= {page.path: print_page(page) for page in (sheet.page(site, own, style) for own in folder.programs)}
    marks = {mark: text for desk in site.desks.values() for mark, text in desk.filled().items()}
    for name, text in site.noted.items():
        marks |= zip(site.desks[name].notes, text, strict=True)
    fill = filling(marks)
    for path in pages:
        files[path], *later = _LATER.split(fill(pages[path]))
        pages[path] = b""  # all of them twice would be most of the memory that many builds take
        files |= {name.decode(): rows for name, rows in zip(later[::2], later[1::2], strict=True)}
    for name, own in site.results.items():
        files |= {site.addresses.result(name, file): own[file] for file in own if file != "provenance.json"}
    files.update(site.gallery.files)
    files = left.mended({**kept, **files}, kept)
    if told is not None:
        was = {*press.made, *made}
        told.made, told.stood = tuple(path for path in pages if path in was), site.stood
    linkcheck.check(files)
    return files


def alone(folder: Folder, about: Sequence[Program], heading: str, reading: str, parts: Sequence[Part]) -> bytes:
    """A page of these parts as a file of its own, with its style in it; it draws no charts and leads nowhere."""
    mark = "invented" if any(each.invented for each in about) else ""
    page = PartsPage(
        setter=Setter(folder.definitions.coatings, "", Gallery(folder.path), lambda _: None),
        path="", title=heading, crumbs=(), others=(), previous=None, next=None,
        assets=Assets("", "", "", inline=_style(None).decode()), foot=Foot(bool(mark), mark=mark),
        heading=heading, reading=reading, parts=parts,
    )  # fmt: skip
    return _printer(None)(page)


class Helpers(Protocol):
    """Others who make pages of builds: they lie on the shelves when what `pages` returned is called and returns."""

    def pages(self, builds: Mapping[str, Sequence[str]]) -> Callable[[], None]: ...


def _share(ordered: Sequence[Task], press: Press, helpers: Helpers) -> None:
    """Have helpers make the pages of builds that are not kept, and make the others here meanwhile."""
    wanted: dict[str, dict[str, None]] = {}
    for task in ordered:
        if task.build and press.kept(task) is None:
            wanted.setdefault(task.asks[0], {})[task.build] = None
            press.made.append(task.path)
    wait = helpers.pages({program: [*builds] for program, builds in wanted.items()})
    for task in ordered:
        if not task.build:
            press.ahead(task)
    wait()


def keep_pages(
    folder: Folder,
    analysis: Analysis,
    builds: Sequence[str],
    streams: Sequence[Stream],
    measures: Mapping[str, Measure],
    theme_dir: Path | None,
    planned: Sequence[str],
    shelves: Shelves,
) -> None:
    """Put the pages of some builds of a program on the shelves; `planned` are the programs with a plan.

    Raises what `build_site` does.
    """
    plans: dict[str, Any] = dict.fromkeys(planned)  # such a page asks but whether there is one
    press, site, _, _ = _set_up(folder, [analysis], streams, measures, theme_dir, None, plans, None, shelves)
    own = next(each for each in folder.programs if each.id == analysis.program.id)
    for task in tasks_of(site, own, [build for build in own.builds if build.id in builds], shelves.open):
        press.ahead(task)


def _set_up(
    folder: Folder,
    analyses: Iterable[Analysis],
    streams: Sequence[Stream],
    measures: Mapping[str, Measure] | Iterable[Measure],
    theme_dir: Path | None,
    histories: Mapping[str, Sequence[History]] | None,
    plans: Mapping[str, Planning],
    results: Mapping[str, Mapping[str, bytes]] | None,
    shelves: Shelves,
) -> tuple[Press, Site, dict[str, bytes], Print]:
    """What prints pages, what they are made from, the assets, and how one page is printed."""
    check_theme(theme_dir)
    known = measures if isinstance(measures, Mapping) else {measure.id: measure for measure in measures}
    by_program = {analysis.program.id: Desk(analysis) for analysis in analyses}
    for desk in by_program.values() if shelves.open else ():
        desk.take_up(shelves)
    files, assets = _assets(theme_dir)
    site = Site(
        folder=folder,
        desks={each.id: by_program[each.id] for each in folder.programs if each.id in by_program},
        streams=sorted(streams, key=lambda stream: stream.order),
        measures=known,
        addresses=Addresses.of(folder),
        assets=assets,
        gallery=Gallery(folder.path, attached=not folder.blind),
        histories=histories or {},
        plans=plans,
        results=results or {},
    )
    print_page = _printer(theme_dir)
    own = _templates(theme_dir)
    press = Press(print_page, shelves, own, assets, site.addresses, known, [*site.plans], folder.blind)
    return press, site, files, print_page


# ---- templates ------------------------------------------------------------------------------------------------------


# Rows that a page shows later travel behind it: text cannot look like this, since pages escape it.
_LATER = re.compile(rb"<!--rows (.*?)-->\n")


def _printer(theme_dir: Path | None) -> Print:
    templates = environment(theme_dir)

    def print_page(page: AnyPage | str) -> bytes:
        if isinstance(page, str):
            return _PER_CENT.sub(_OF_IT, page).encode()
        with theirs(theme_dir):
            text = templates.get_template(page.template).render(page=page, setter=page.setter).strip()
            later = [f"<!--rows {path}-->\n{rows}" for path, rows in page.setter.later.items()]
            return _PER_CENT.sub(_OF_IT, "".join([text, "\n", *later])).encode()

    return print_page


class ThemeError(Exception):
    """Something in a user's theme folder that the user can mend, as a sentence with file and line."""


@contextmanager
def theirs(theme_dir: Path | None) -> Iterator[None]:
    """What goes wrong in a template of the user's is a ThemeError; in one of ours it is a fault of ours."""
    import traceback

    from jinja2 import TemplateError

    try:
        yield
    except Exception as problem:
        frames = traceback.extract_tb(problem.__traceback__)
        own = theme_dir is not None and any(Path(each.filename).is_relative_to(theme_dir) for each in frames)
        if theme_dir is None or not (own or isinstance(problem, TemplateError)):
            raise
        raise ThemeError(told(problem)) from problem


def _templates(theme_dir: Path | None) -> list[str]:
    """The user's own templates; ours are part of the code."""
    own = theme_dir / "templates" if theme_dir is not None else None
    return (
        [f"{path.name} {hashlib.sha256(_theirs(path)).hexdigest()}" for path in sorted(own.glob("*.html"))]
        if own is not None and own.is_dir()
        else []
    )


def _theirs(path: Path) -> bytes:
    """A file of the user's theme, which is text in UTF-8."""
    try:
        content = read_regular(path, path.parent)
        content.decode()
    except OSError as problem:
        raise ThemeError(f"{path} cannot be read: {problem.strerror or problem}.") from problem
    except UnicodeDecodeError as problem:
        line = problem.object[: problem.start].count(b"\n") + 1
        raise ThemeError(f"{path}:{line}: this is not UTF-8. Save the file as UTF-8.") from problem
    return content


THEMED = (
    "report.css",
    "report.js",
    "tables.js",
    "marking.js",
    "saving.js",
    "sheets.css",
)  # what a theme folder may replace


def check_theme(theme_dir: Path | None) -> None:
    """Raises ThemeError where a user's theme folder is not there or replaces nothing."""
    if theme_dir is None:
        return
    if not theme_dir.is_dir():
        raise ThemeError(f"{theme_dir}: there is no such folder. Expected a theme folder.")
    if not (theme_dir / "templates").is_dir() and not any((theme_dir / name).is_file() for name in THEMED):
        raise ThemeError(f"{theme_dir}: nothing in it replaces the theme. Expected templates/ or {', '.join(THEMED)}.")
    ours = {path.name for path in (places.theme() / "templates").glob("*.html")}
    strange = sorted(path.name for path in (theme_dir / "templates").glob("*.html") if path.name not in ours)
    if strange and not any((theme_dir / "templates" / name).is_file() for name in ours):
        raise ThemeError(
            f"{theme_dir / 'templates' / strange[0]}: no page uses this template. Expected {', '.join(sorted(ours))}."
        )


def told(problem: Exception) -> str:
    """Where a template went wrong and how, from the innermost line of a template."""
    import traceback

    line, name = getattr(problem, "lineno", None), getattr(problem, "filename", None)
    if line is None:
        frames = [each for each in traceback.extract_tb(problem.__traceback__) if each.filename.endswith(".html")]
        if frames:
            line, name = frames[-1].lineno, frames[-1].filename
    where = f"{name}:{line}: " if name and line else ""
    return f"{where}{getattr(problem, 'message', None) or problem}"


_PER_CENT, _OF_IT = (
    re.compile(r" %(?<=\d %)"),  # the text first: looked for many times faster
    "\N{NO-BREAK SPACE}%",
)  # a number and its sign are never parted, whoever wrote them


def environment(theme_dir: Path | None) -> Environment:
    """The templates, a user's before ours: autoescape on, undefined is an error."""
    return _environment(theme_dir, tuple(_templates(theme_dir)))


@lru_cache(maxsize=2)  # a preview prints with the same templates again and again
def _environment(theme_dir: Path | None, own: tuple[str, ...]) -> Environment:
    del own  # a template more of the user's stands before one of ours that was loaded
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    folders = [places.theme() / "templates"]
    if theme_dir is not None:
        folders.insert(0, theme_dir / "templates")
    environment = Environment(
        loader=FileSystemLoader(folders),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "tone": tone,
        "word_tone": tone_of,
        "slug": slug,
        "unit": lambda unit: "" if unit == "1" else unit,
    }
    environment.globals["key_symbols"] = [style(order) for order in range(len(SHAPES))]
    environment.policies["json.dumps_kwargs"] = {"sort_keys": True, "separators": (",", ":"), "allow_nan": False}
    return environment


# ---- assets ---------------------------------------------------------------------------------------------------------


def _assets(theme_dir: Path | None) -> tuple[dict[str, bytes], dict[str, str]]:
    """Asset files by their path, and that path by plain name. The name holds a hash, so no browser shows an old one."""
    style = _style(theme_dir)
    contents = {
        "report.css": style,
        "report.js": themed("report.js", theme_dir),
        "tables.js": themed("tables.js", theme_dir),
        "drawings.js": chart_script(),
        "marking.js": themed("marking.js", theme_dir),
        "saving.js": f"window.sitegenStyle={json.dumps(style.decode())};\n".encode() + themed("saving.js", theme_dir),
    }
    files, paths = {}, {}
    for name, content in contents.items():
        stem, _, ending = name.rpartition(".")
        path = f"assets/{stem}-{hashlib.sha256(content).hexdigest()[:12]}.{ending}"
        files[path], paths[name] = content, path
    return files, paths


def _style(theme_dir: Path | None) -> bytes:
    return themed("report.css", theme_dir).replace(b"/* coating colours */", _colours().encode())


def themed(name: str, theme_dir: Path | None) -> bytes:
    """A file of the theme, the user's where there is one, with LF line ends."""
    own = theme_dir / name if theme_dir is not None else None
    content = _theirs(own) if own is not None and own.is_file() else (places.theme() / name).read_bytes()
    return re.sub(rb"\r\n?", b"\n", content)


def _colours() -> str:
    """The coatings' colours as CSS variables for both papers."""
    light = "".join(f" --coating-{n}: {colour};" for n, (colour, _) in enumerate(COLOURS))
    dark = "".join(f" --coating-{n}: {colour};" for n, (_, colour) in enumerate(COLOURS))
    return f":root {{{light} }}\n@media screen and (prefers-color-scheme: dark) {{ :root {{{dark} }} }}\n" + "".join(
        f".coating-{n} {{ --c: var(--coating-{n}); }}\n" for n in range(len(COLOURS))
    )
