"""The files that record entries name, one by one or by a pattern; each may be named once, or each worksheet of it.

A file that an entry names alone is taken out of the patterns that fit it too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from sitegen.problems import listed, nearest, shown
from sitegen.program import patterns, words
from sitegen.program.inside import LONGEST, PathFault, file_inside, files_as_deep, files_inside
from sitegen.program.model import Words
from sitegen.program.node import Node
from sitegen.program.yamlfile import Path as Place

WORKBOOKS = (".xlsx", ".xlsm")
SAID_BY_NAMES = ("engine", "phase")  # fields that names of files and of worksheets may say
_MOST_TOLD = 3  # names of files told one by one

# What is wrong with a file named: code, what is expected, next step.
_PATH_FAULTS = {
    "path-not-plain": (
        "path-not-plain",
        "a path inside the program's folder with forward slashes, such as records/leakdown.csv",
        "",
    ),
    "outside-folder": (
        "path-leaves-folder",
        "a file inside the program's folder",
        "copy the file into the program's folder",
    ),
    "missing": ("missing-file", "a file inside the program's folder", ""),
    "empty": ("empty-file", "", "remove the entry"),
}


@dataclass(frozen=True)
class Claim:
    """A file of a record entry, with what its name says."""

    file: str  # from the program's folder; "" where it cannot be used
    stem: str = ""  # its name without its ending, from the first folder that differs within the entry
    given: patterns.Given = field(default_factory=dict)
    notes: tuple[str, ...] = ()


Claims = Mapping[Place, tuple[Claim, ...]]  # path of the entry -> its files, in order of their names


@dataclass
class Files:
    """Files of one program's folder."""

    folder: Path
    _named: dict[str, list[tuple[str, Node]]] = field(default_factory=dict)  # resolved path -> worksheet, what names it
    _there: list[str] = field(default_factory=list)  # what the folder holds, looked up for the first missing file

    def claims(self, entries: Iterable[tuple[Node, Sequence[Words]]], ids: Mapping[str, Collection[str]]) -> Claims:
        """The files of every record entry, given with its words; `ids` by field are what names may say."""
        found: dict[Place, tuple[Claim, ...]] = {}
        beside: dict[Place, list[str]] = {}
        of_patterns = []
        for entry, levels in entries:
            if entry.has("files"):
                of_patterns.append((entry, levels))
            else:
                alone = self.take(entry.get("file"), _worksheet(entry))
                found[entry.path] = (Claim(alone, PurePosixPath(alone).stem),)
        for entry, levels in of_patterns:
            known = {name: words.names(levels, name, ids[name]) for name in SAID_BY_NAMES}
            found[entry.path], beside[entry.path] = self._fitting(entry.get("files"), _worksheet(entry), known)
        taken = {claim.file for claims in found.values() for claim in claims}
        for place, names in beside.items():
            others = [name for name in names if name not in taken]
            if others and found[place]:
                first, *rest = found[place]
                found[place] = (replace(first, notes=(*first.notes, _note(others))), *rest)
        return found

    def take(self, node: Node, sheet: str = "") -> str:
        """The file a node names, from the program's folder; "" with a problem where it cannot be used."""
        name = node.own_text()
        if not name or not isinstance(node.value, str) or len(name) > LONGEST:
            return ""  # the schema has told it
        return self._taken(node, name, sheet)

    def _fitting(self, node: Node, sheet: str, known: patterns.Names) -> tuple[tuple[Claim, ...], list[str]]:
        """Every file that the pattern of a node fits, and the other files of the same folders."""
        text = node.own_text()
        if not text or not isinstance(node.value, str) or len(text) > LONGEST:
            return (), []  # the schema has told it
        try:
            meant = patterns.pattern(text, SAID_BY_NAMES)
        except patterns.PatternFault as fault:
            tell_pattern(node, fault)
            return (), []
        folders = text.split("/")[:-1]
        plain = next((at for at, part in enumerate(folders) if patterns.is_pattern(part)), len(folders))
        try:
            names = files_as_deep(self.folder, "/".join(folders[:plain]), len(folders) - plain)
        except PathFault as fault:
            self._tell(node, text, fault)
            return (), []
        fitting: list[Claim] = []
        others: list[str] = []
        aside: list[str] = []  # with an entry of their own
        told = False
        for name in names:
            alone = self._alone(name, sheet)
            try:
                said = meant.fit(name, known)
            except patterns.PatternFault as fault:
                if alone is None:
                    what = f"{node.subject} fits {shown(name)}, which {fault.what}"
                    node.add("pattern", what, expected=fault.expected)
                    told = True
                continue
            if alone is not None:
                aside += [f"{shown(name)}, which line {alone.at[0]} names"] if said is not None else []
            elif isinstance(said, patterns.Unknown):
                self._unknown(node, name, said, known)
                told = True
            elif said is None:
                others.append(name)
            else:
                told = True
                taken = self._taken(node, name, sheet)
                stem = "/".join((*taken.split("/")[plain:-1], PurePosixPath(taken).stem))
                fitting += [Claim(taken, stem, said)] if taken else []
        if not told:
            wanted = f"files in {'/'.join(folders) or 'the folder'}"
            wanted = f"a pattern that fits {listed(names[:_MOST_TOLD])}" if names else wanted
            fits = f"no file but {aside[0]} by itself" if aside else "no file"
            wanted = "a pattern that fits other files too" if aside else wanted
            node.add("no-file-fits", f'{node.subject} is "{shown(text)}", which fits {fits}', expected=wanted)
        if fitting and aside:
            note = f"`files` fits {_few(aside)} by itself: read as said there, not by `files`"
            fitting[0] = replace(fitting[0], notes=(note,))
        return tuple(fitting), others

    def _alone(self, name: str, sheet: str) -> Node | None:
        """What names a file by itself, as the `file` of an entry; None where nothing does."""
        try:
            named = self._named.get(_key(file_inside(self.folder, name)), [])
        except (OSError, PathFault):
            return None  # told where the file is taken
        return next((by for own, by in named if by.path[-1] == "file" and _same_part(own, sheet)), None)

    def _unknown(self, node: Node, name: str, said: patterns.Unknown, known: patterns.Names) -> None:
        kind = words.REFERS[said.field]
        node.add(
            f"unknown-{kind}",
            f'{node.subject} fits {shown(name)}, but "{shown(said.text)}" is no {kind} of this program',
            expected=listed(dict.fromkeys(known[said.field].values())),
            near=said.near,
            next_step=f"write `{words.line(said.field, [said.text])}` in the entry, or rename the file",
        )

    def _taken(self, node: Node, name: str, sheet: str) -> str:
        try:
            found = file_inside(self.folder, name)
            size = found.stat().st_size
        except OSError as error:
            self._tell(node, name, PathFault("not-readable", "", (error.strerror or "it cannot be read").lower()))
            return ""
        except PathFault as fault:
            self._tell(node, name, fault)
            return ""
        if not size:
            self._tell(node, name, PathFault("empty", "is empty"))
            return ""
        before = self._named.setdefault(_key(found), [])
        other = next((by for own, by in before if _same_part(own, sheet)), None)
        before.append((sheet, node))
        if other is not None:
            part = f'the worksheet "{shown(sheet)}" of ' if sheet and any(own for own, _ in before[:-1]) else ""
            node.add(
                "file-named-twice",
                f'{node.subject} is {part}"{shown(name)}", which line {other.at[0]} names already',
                next_step="remove one of the entries"
                + (", or name the worksheet of each" if not sheet and name.casefold().endswith(WORKBOOKS) else ""),
            )
            return ""
        return PurePosixPath(name).as_posix()

    def _tell(self, node: Node, name: str, fault: PathFault) -> None:
        code, expected, step = _PATH_FAULTS.get(fault.code, (fault.code, "", ""))
        said = f": {fault.reason}" if fault.reason else f", which {fault.what}"
        near = ""
        if fault.code == "missing":
            self._there = self._there or files_inside(self.folder)
            near = nearest(name, self._there)
        node.add(code, f'{node.subject} is "{shown(name)}"{said}', expected=expected, near=near, next_step=step)


def tell_pattern(node: Node, fault: patterns.PatternFault) -> None:
    """A problem of a text that is no pattern."""
    what = f'{node.subject} is "{shown(node.own_text())}", which {fault.what}'
    node.add("pattern", what, expected=fault.expected, near=fault.near)


def _worksheet(entry: Node) -> str:
    """The worksheet an entry takes; "" where it takes the whole file, as a run log does."""
    return "" if entry.has("channels") else entry.text("sheet")


def _key(found: Path) -> str:
    return str(found).casefold()


def _same_part(one: str, other: str) -> bool:
    """Whether two names of worksheets of one file mean the same: where none is named, the only one is meant."""
    return one == other or not one or not other


def _few(names: Sequence[str]) -> str:
    return "; ".join(names[:_MOST_TOLD]) + (f"; and {len(names) - _MOST_TOLD} more" if len(names) > _MOST_TOLD else "")


def _note(others: Sequence[str]) -> str:
    named = ", ".join(shown(each) for each in others[:_MOST_TOLD])
    more = f" and {len(others) - _MOST_TOLD} more" if len(others) > _MOST_TOLD else ""
    does = "does not fit `files` and is" if len(others) == 1 else "do not fit `files` and are"
    return f"{named}{more} {does} not read"
