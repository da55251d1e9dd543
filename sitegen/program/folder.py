"""A programs folder: its definitions, its programs, and everything that is wrong with them."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from sitegen.problems import Collector, errors, in_order, shown
from sitegen.program import build, definitions, mappings, reviews, schema, yamlfile
from sitegen.program.model import Definitions, Folder, Left, Program
from sitegen.program.node import Node, id_fault
from sitegen.program.yamlfile import Document
from sitegen.shelves import NONE, Shelves
from sitegen.vocabulary import Problem

DEFINITIONS = "definitions.yaml"
PROGRAM = "program.yaml"
_PROGRAM_ID = re.compile(r"[a-z0-9][a-z0-9-]*")


def load(
    path: Path | str,
    *,
    measures: Mapping[str, str] | None = None,
    streams: Collection[str] | None = None,
    comparable: Collection[str] | None = None,
    shelves: Shelves = NONE,
) -> tuple[Folder | None, list[Problem]]:
    """Read and check a programs folder, or the folder of one program with the definitions beside it.

    `measures` (id -> unit), `streams` and `comparable` (measures that can be compared) are the known ones; None leaves
    references to them unchecked. The problems are sorted. Programs with errors are told apart; the folder is None where
    what all of them share has one, or where there is no program. Nothing a file holds raises.
    """
    given = Path(path)
    home = given.resolve()
    if not home.is_dir():
        what = "there is no such folder" if not home.exists() else "this is not a folder"
        problem = Problem(
            shown(given), code="not-a-folder", what=what, expected="a programs folder, or the folder of one program"
        )
        return None, [problem]
    problems: list[Problem] = []
    misnamed: dict[str, list[Problem]] = {}
    try:
        alone = (home / PROGRAM).exists()
        folders = [home] if alone else _program_folders(home, misnamed)
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        return None, [Problem(shown(given), code="not-readable", what=f"the folder cannot be read: {reason}")]
    if alone:
        home = home.parent
    elif not folders and not misnamed:
        problems.append(
            Problem(
                shown(given.name or given),
                code="no-program",
                what="there is no program in this folder",
                expected=f"folders that hold a {PROGRAM}",
            )
        )
    shared, lender = _definitions(home, problems, shelves)
    stopped = shared is None or bool(errors(problems))
    made, left = [], [Left(name, tuple(found)) for name, found in misnamed.items()]
    for folder in folders:
        own: list[Problem] = []
        program = _program(folder, shared, lender, own, measures, streams, comparable, shelves)
        if program is None or errors(own):
            left.append(Left(folder.name, tuple(in_order(errors(own)))))
        else:
            made.append(program)
        problems += own
    circles = _circles(made)
    left += [Left(problem.file.partition("/")[0], (problem,)) for problem in circles]
    made = [each for each in made if each.id not in {each.id for each in left}]
    problems += circles
    problems += [problem for found in misnamed.values() for problem in found]
    if shared is None or stopped:
        return None, in_order(problems)
    made.sort(key=lambda each: each.id)
    left.sort(key=lambda each: each.id)
    return Folder(str(home), shared, tuple(made), tuple(left)), in_order(problems)


def _program_folders(home: Path, misnamed: dict[str, list[Problem]]) -> list[Path]:
    """Folders with a program file. Others are somebody's own, unless their file is named nearly right."""
    found = []
    for folder in sorted(home.iterdir()):
        if folder.name.startswith(".") or not folder.is_dir():
            continue
        try:
            there, names = (folder / PROGRAM).exists(), [each.name for each in folder.iterdir()]
        except OSError as error:
            reason = (error.strerror or "it cannot be read").lower()
            file, step = f"{shown(folder.name)}/{PROGRAM}", "see to the rights of the folder, or move it away"
            told = Problem(file, code="not-readable", what=f"its folder cannot be read: {reason}", next_step=step)
            misnamed[folder.name] = [told]
            continue
        if there:
            found.append(folder)
            continue
        wrong = [
            Problem(
                f"{shown(folder.name)}/{shown(name)}",
                code="file-name",
                what="the name of this file is not quite that of a program file",
                expected=PROGRAM,
                next_step="rename it",
            )
            for name in sorted(names)
            if name.casefold() in {"program.yaml", "program.yml", "program.yaml.txt"}
        ]
        misnamed |= {folder.name: wrong} if wrong else {}
    return found


def _circles(programs: Sequence[Program]) -> list[Problem]:
    """Programs that would lend their scatter to themselves by way of others: none of them could be worked out first."""
    lenders = {each.id: each.scatter_from for each in programs}
    found = []
    for program in programs:
        ways = [[program.id]]
        seen: set[str] = set()
        for way in ways:  # the shortest first
            for name in lenders.get(way[-1], ()):
                if name not in seen:
                    seen.add(name)
                    ways.append([*way, name])
        circle = next((way for way in ways[1:] if way[-1] == program.id), None)
        if circle:
            where = program.scatter_where
            told = ", which borrows it from ".join(f'"{name}"' for name in circle[1:])
            found.append(
                Problem(
                    where.file, where.line, where.column, "scatter-in-a-circle",
                    f"the scatter is borrowed from {told}: each would have to be worked out before the other",
                    "programs that do not borrow from each other in a circle", next_step="take one of them out",
                )
            )  # fmt: skip
    return found


def _definitions(home: Path, problems: list[Problem], shelves: Shelves) -> tuple[Definitions | None, Document | None]:
    """The definitions, and their document, which may lend mappings."""
    collector = Collector(DEFINITIONS)
    made = document = None
    if not (home / DEFINITIONS).exists():
        collector.add(
            (0, 0), "missing-file", "the file is not there", expected="coatings and engine types beside the programs"
        )
    else:
        document = yamlfile.read(home / DEFINITIONS, collector)
        if document is not None and schema.check(document, "definitions", collector, shelves):
            made = definitions.build(Node.root(document, collector))
    problems += collector.found
    return made, document


def _program(
    folder: Path,
    shared: Definitions | None,
    lender: Document | None,
    problems: list[Problem],
    measures: Mapping[str, str] | None,
    streams: Collection[str] | None,
    comparable: Collection[str] | None,
    shelves: Shelves,
) -> Program | None:
    collector = Collector(f"{shown(folder.name)}/{PROGRAM}")
    fault = id_fault(folder.name)
    if not fault and not _PROGRAM_ID.fullmatch(folder.name):
        fault = "is not made of small letters, digits and hyphens"
    if fault:
        collector.add(
            (0, 0),
            "reserved-name" if "reserved" in fault else "not-an-id",
            f'the folder name "{shown(folder.name)}", the id of the program, {fault}',
            next_step="rename the folder",
        )
    document = yamlfile.read(folder / PROGRAM, collector, folder.parent)
    document = document and mappings.expanded(document, collector, lender)
    made = None
    if document is not None and schema.check(document, "program", collector, shelves):
        made = build.build(document, folder, shared, collector, measures, streams, comparable)
    problems += collector.found
    if made is not None and not errors(collector.found):
        made = reviews.joined(made, folder, problems)
    return made
