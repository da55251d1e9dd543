"""A new program onto the disk: every file made first, nothing overwritten, then all of them written."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sitegen import places, registry
from sitegen.problems import Collector, shown
from sitegen.program import definitions, yamlfile
from sitegen.program.folder import DEFINITIONS, PROGRAM
from sitegen.program.model import Definitions
from sitegen.program.node import Node, id_fault
from sitegen.program.schema import check as fits_schema
from sitegen.starting import texts
from sitegen.starting.answers import NEEDED, Answers, Around
from sitegen.writing import CannotPublish, change

SCHEMAS = "schemas"
_PAGE = "# Every key\n"  # begins the page of every key, by which a copy of it is known
_PROGRAM_ID = re.compile("[a-z0-9][a-z0-9-]*")


class CannotStart(Exception):  # noqa: N818 - an answer to the user, not a fault
    """Nothing can be written there; says why."""


@dataclass(frozen=True)
class Begun:
    """What a start wrote, and what it left to the user."""

    written: tuple[str, ...]  # from where the command was run, as the user would name them
    remarks: tuple[str, ...] = ()


def around(folder: Path) -> Around:
    """What a new program in `folder` comes into. Raises `CannotStart`."""
    home = folder.absolute()
    name = home.name
    fault = id_fault(name)
    if fault or not _PROGRAM_ID.fullmatch(name):
        said = fault or "is not made of small letters, digits and hyphens"
        raise CannotStart(f'{shown(folder)}: the folder name "{shown(name)}", the id of the program, {said}.')
    if (home / PROGRAM).exists():
        raise CannotStart(f"{shown(folder)}: there is a {PROGRAM} in it already. Nothing was changed.")
    if home.exists() and not home.is_dir():
        raise CannotStart(f"{shown(folder)}: this is not a folder.")
    if (home.parent / PROGRAM).exists():
        raise CannotStart(f"{shown(folder)}: its parent is a program itself. Give a folder beside it.")
    streams = {each.name: each.title for each in registry.STREAMS}
    if NEEDED not in streams:
        raise CannotStart(f"The answer of a new program rests on {NEEDED}, which this version does not read.")
    return Around(name, _known(home.parent), streams)


def _known(home: Path) -> Definitions | None:
    """The definitions of the programs folder; None where it has none. Raises `CannotStart` where they are broken."""
    path = home / DEFINITIONS
    if not path.exists():
        return None
    problems = Collector(DEFINITIONS)
    document = yamlfile.read(path, problems)
    made = None
    if document is not None and fits_schema(document, "definitions", problems):
        made = definitions.build(Node.root(document, problems))
    if problems.found or made is None:
        from sitegen.problems import as_text

        raise CannotStart(as_text(problems.found) + "\nMend definitions.yaml first, then start again.")
    return made


def begin(folder: Path, answers: Answers) -> Begun:
    """Write a new program into `folder` and what goes with it beside it.

    Raises `CannotStart`, with nothing written, where something would be overwritten or is missing.
    """
    there = around(folder).definitions
    if there is not None and (block := texts.to_add(answers)):
        raise CannotStart(
            f"{DEFINITIONS} is there and is not touched. Add this to it, each under its own heading, "
            f"then start again:\n\n{block}\n\nNothing was written."
        )
    home = folder.absolute()
    files = dict(_files(home, answers, there is None))
    standing = [path for path in files if path.exists() or path.is_symlink()]
    if standing:
        names = ", ".join(sorted(shown(_told(path, folder)) for path in standing))
        raise CannotStart(f"{names}: already there, and nothing is overwritten. Nothing was written.")
    few = " ".join(texts.few_checks(answers.phases))
    remarks = [few + ("" if few.endswith(".") else " (under `seating` in program.yaml).")] if few else []
    files |= {path: content for path, content in _beside(home, remarks) if not path.exists()}
    _write(files)
    return Begun(tuple(_told(path, folder) for path in files), tuple(remarks))


def _write(files: Mapping[Path, str]) -> None:
    """Write all of them or nothing. Raises `CannotStart`, which says what lies there then."""
    top = Path(os.path.commonpath([path.parent for path in files]))
    try:
        with change(lambda _: None, patience=0) as work:
            tree = work.open(top, make=True)
            for path, content in files.items():
                place = path.relative_to(top).as_posix()
                work.put(tree, place, content.encode("utf-8"), new=not tree.there(place))
    except CannotPublish as problem:
        raise CannotStart(str(problem)) from None


def _told(path: Path, folder: Path) -> str:
    """A path as the user would name it, from where `folder` was named."""
    top = folder if folder.is_absolute() else None
    if top is not None:
        return path.as_posix()
    return (path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path).as_posix()


def _files(home: Path, answers: Answers, with_definitions: bool) -> Iterator[tuple[Path, str]]:
    """Files that must not be there yet."""
    streams = registry.STREAMS
    if with_definitions:
        yield home.parent / DEFINITIONS, texts.definitions(answers, f"{SCHEMAS}/definitions.schema.json")
    yield home / PROGRAM, texts.program(answers, streams, f"../{SCHEMAS}/program.schema.json")
    yield home / "notes.md", texts.notes(answers)
    for each in streams:
        if each.name in answers.records and each.fields:
            yield home / texts.table_name(each.name), texts.table(each, answers)


def _beside(home: Path, remarks: list[str]) -> Iterator[tuple[Path, str]]:
    """Files of the programs folder and of the repository, which may be there; what they lack becomes a remark."""
    programs = home.parent
    attributes = programs / ".gitattributes"
    if attributes.exists() and "records/** -text" not in _text_of(attributes):
        remarks.append(f"{attributes.name} is there and is not touched. Add to it:\n\n{texts.GIT_ATTRIBUTES}")
    yield attributes, texts.GIT_ATTRIBUTES
    top = next((each for each in (programs, *programs.parents) if (each / ".git").exists()), None)
    if top is None:
        top = programs
        remarks.append(
            f"No git repository was found around {programs.name}. Make one there (git init), or move "
            ".pre-commit-config.yaml to the top of yours and correct the folder in it."
        )
    inside = programs.relative_to(top).as_posix()
    config = top / ".pre-commit-config.yaml"
    if config.exists() and "sitegen check" not in _text_of(config):
        remarks.append(
            f"{config.name} is there and is not touched. Add to its `hooks` of a local repo:\n\n{texts.hook(inside)}"
        )
    yield config, texts.pre_commit(inside)
    for source in _copied():
        own = programs / SCHEMAS / source.name
        content = source.read_text(encoding="utf-8")
        if own.exists() and _text_of(own) != content:
            remarks.append(
                f"{SCHEMAS}/{source.name} is of another version of sitegen. `sitegen start --schemas "
                f"{shown(programs.name)}` brings the copies up to date; checks use sitegen's own in any case."
            )
        yield own, content


def _copied() -> list[Path]:
    """What a programs folder gets a copy of: the schemas, for editors, and the page of every key."""
    return sorted([*places.schemas().glob("*.json"), places.schemas() / "README.md"])


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""


def refresh(programs: Path) -> Begun:
    """Bring the copies of the schemas in a programs folder up to date: they are sitegen's, and hold nothing of yours.

    Raises `CannotStart` where a file of that name is not one of them, or the disk does not let us.
    """
    if not programs.is_dir():
        raise CannotStart(f"{shown(programs)}: there is no such folder.")
    changed: dict[Path, str] = {}
    for source in _copied():
        own, content = programs / SCHEMAS / source.name, source.read_text(encoding="utf-8")
        said = _text_of(own) if own.exists() else ""
        if said and f'"$id": "{source.name}"' not in said and not said.startswith(_PAGE):
            raise CannotStart(f"{shown(own)}: this is no file of sitegen, and is not touched. Nothing was written.")
        if said != content:
            changed[own.absolute()] = content
    if changed:
        _write(changed)
    return Begun(tuple((programs / SCHEMAS / own.name).as_posix() for own in changed))


def summary(begun: Begun, folder: Path) -> Sequence[str]:
    """What is said at the end, a line each."""
    programs = folder.parent.as_posix()
    lines = [f"wrote {each}" for each in begun.written]
    lines += ["", *(line for remark in begun.remarks for line in (*remark.splitlines(), ""))] if begun.remarks else [""]
    return [
        *lines,
        f"Next: fill in the tables in {(folder / 'records').as_posix()}, then",
        f"  sitegen check {programs}",
        f"  sitegen publish {programs} --to site",
    ]
