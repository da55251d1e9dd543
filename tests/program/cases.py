"""Refused example folders: each an accepted one and what is done to it, with the whole expected report.

A case is a file `tests/refused/<name>.yaml`:

    base: plain                     # the folder of tests/accepted it is made from
    change:                         # edits of its files, as in a unified diff
      pump/program.yaml: |
        @@ 46                       (the line of the base the block begins at)
             block: K11
        -    number: 1
        +    nmuber: 1
    write: {pump/notes.md: text}    # files written anew
    rename: {old: new}              # files or folders, before all else
    remove: [definitions.yaml]
    encode: {pump/program.yaml: utf-16}
    report: |                       # what is said about the folder, to the letter
      ...

What is changed must stand in the base exactly so, or the case is refused itself: no base moves under a case unnoticed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import yaml

TESTS = Path(__file__).parent.parent
ACCEPTED = sorted((TESTS / "accepted").iterdir())
REFUSED = sorted((TESTS / "refused").glob("*.yaml"))
KEYS = {"base", "rename", "remove", "change", "write", "encode", "report"}


@dataclass(frozen=True)
class Case:
    files: dict[str, bytes]
    report: str

    def laid(self, folder: Path) -> Path:
        """The folder, with the files of the case in it."""
        for name, content in self.files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        return folder


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder by its name in it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def read(path: Path) -> Case:
    """A case from its file."""
    said = yaml.safe_load(path.read_text(encoding="utf-8"))
    assert set(said) <= KEYS, set(said) - KEYS
    files = files_of(TESTS / "accepted" / said["base"])
    assert files
    for old, new in said.get("rename", {}).items():
        moved = {name: name.replace(old, new, 1) for name in files if name == old or name.startswith(f"{old}/")}
        assert moved, f"nothing is called {old}"
        files = {moved.get(name, name): content for name, content in files.items()}
    for name in said.get("remove", ()):
        del files[name]
    for name, edits in said.get("change", {}).items():
        files[name] = changed(files[name].decode("utf-8"), edits).encode("utf-8")
    for name, text in said.get("write", {}).items():
        assert files.get(name) != text.encode("utf-8"), f"{name} is so already"
        files[name] = text.encode("utf-8")
    for name, encoding in said.get("encode", {}).items():
        files[name] = files[name].decode("utf-8").encode(encoding)
    return Case(files, said["report"])


def changed(text: str, edits: str) -> str:
    """The text with blocks of a diff carried out: ` ` as it stands, `-` taken out, `+` put in.

    Raises:
        AssertionError: what is to stand there or to be taken out does not stand there.

    """
    lines, out, at = text.split("\n"), [], 0
    assert edits.startswith("@@ "), "a block begins with @@ and its line"
    for block in re.split(r"^@@ ", edits, flags=re.MULTILINE)[1:]:
        head, *marked = block.removesuffix("\n").split("\n")
        begin = int(head) - 1
        assert begin >= at, f"line {head} comes too late"
        out += lines[at:begin]
        at = begin
        for line in marked:
            mark, rest = line[:1] or " ", line[1:]
            assert mark in " -+", line
            if mark != "+":
                assert lines[at] == rest, f"line {at + 1} is {lines[at]!r}, not {rest!r}"
                at += 1
            if mark != "-":
                out.append(rest)
    done = "\n".join(out + lines[at:])
    assert done != text, "nothing is changed"
    return done
