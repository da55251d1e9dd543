"""YAML as far as a program file needs it, with the position of every key and value.

A restricted reading: mappings, lists, text, whole and decimal numbers, true, false, null. Dates, times and codes stay
the text they are; anchors, aliases, tags, duplicate keys and second documents are refused. Everything is bounded (size,
depth), so that no file can keep the program busy.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from sitegen.problems import Collector, Elsewhere, shown
from sitegen.regular import NotRegularError, open_regular

MOST_BYTES = 2_000_000
MOST_DEPTH = 32

Path = tuple[str | int, ...]
Position = tuple[int, int]  # line, column, both from 1

# At most 15 digits: more would not survive as a number, and stays text.
_WHOLE = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,14})")
_DECIMAL = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,14})?\.[0-9]{1,15}")
_WORDS: Mapping[str, bool | None] = {"true": True, "false": False, "null": None, "~": None, "": None}
_BARRED = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Document:
    """A file as plain values, and where each of them stands."""

    file: str
    data: Any
    values: Mapping[Path, Position]
    keys: Mapping[Path, Position]
    texts: Mapping[Path, str]  # scalars as written
    lent: Mapping[Path, tuple[Document, Path]] = field(default_factory=dict)  # what is written elsewhere, and where

    def home(self, path: Path) -> tuple[Document, Path]:
        """The document a path is written in, and the path there."""
        for end in range(len(path), 0, -1) if self.lent else ():
            if path[:end] in self.lent:
                lender, begin = self.lent[path[:end]]
                return lender.home((*begin, *path[end:]))
        return self, path

    def at(self, path: Path) -> Position:
        """Position of the value, else of the nearest thing around it."""
        home, path = self.home(path)
        while path and path not in home.values:
            path = path[:-1]
        return self._of(home, home.values.get(path, (1, 1)))

    def key_at(self, path: Path) -> Position:
        """Position of the key of a value; of the value itself in a list."""
        home, own = self.home(path)
        return self._of(home, home.keys[own]) if own in home.keys else self.at(path)

    def text(self, path: Path) -> str | None:
        """A single value as written; None where it is none."""
        home, own = self.home(path)
        return home.texts.get(own)

    def _of(self, home: Document, at: Position) -> Position:
        return at if home.file == self.file else Elsewhere.of(home.file, at)


def read(path: FilePath, problems: Collector, within: FilePath | None = None) -> Document | None:
    """The document in a file; None when it cannot be read at all. Problems are added with their position.

    A link may lead to a file inside the folder `within`, where it is left out the file's own.
    """
    try:
        with open_regular(path, within or path.parent) as opened:
            raw = opened.read(MOST_BYTES + 1)
    except (NotRegularError, IsADirectoryError) as error:
        why = error.strerror if isinstance(error, NotRegularError) else "it is a folder"
        problems.add((0, 0), "not-a-file", f"this is not a plain file: {why}", expected="a text file")
        return None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        problems.add((0, 0), "not-readable", f"the file cannot be read: {reason.lower()}")
        return None
    return parse(raw, problems)


def parse(raw: bytes, problems: Collector) -> Document | None:
    """The document in the bytes of a file; see `read`."""
    if len(raw) > MOST_BYTES:
        _too_large(problems)
        return None
    text = _decoded(raw, problems)
    if text is None:
        return None
    reader = _Reader(problems)
    try:
        loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
        data = reader.document(yaml.parse(text, Loader=loader))
    except yaml.MarkedYAMLError as error:
        _syntax(error, text, problems)
        return None
    except (yaml.YAMLError, ValueError) as error:  # without the C parser some escapes end here
        problems.add((0, 0), "not-yaml", f"the file is not YAML: {shown(error)}")
        return None
    except _TooDeepError:
        return None
    return Document(problems.file, data, reader.values, reader.keys, reader.texts) if data is not None else None


def _too_large(problems: Collector) -> None:
    problems.add(
        (0, 0),
        "too-large",
        "the file is too large for a program file",
        expected=f"at most {MOST_BYTES // 1_000_000} MB",
        next_step="move measured data into record tables",
    )


def _decoded(raw: bytes, problems: Collector) -> str | None:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf")):
        kind = "UTF-8 with a byte-order mark" if raw.startswith(b"\xef") else "UTF-16"
        problems.add(
            (1, 1),
            "byte-order-mark",
            f"the file is {kind}",
            expected="plain UTF-8",
            next_step="save it as UTF-8 without a byte-order mark",
        )
        return None
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8")
        problems.add(
            _position_after(before),
            "not-utf-8",
            f"byte {raw[error.start]:#04x} is not UTF-8",
            expected="plain UTF-8",
            next_step="save the file as UTF-8",
        )
        return None
    barred = _BARRED.search(text)
    if barred:
        problems.add(
            _position_after(text[: barred.start()]),
            "control-character",
            f"the character {barred[0]!a} may not stand in a program file",
            next_step="remove it",
        )
        return None
    if not text.strip():
        problems.add((0, 0), "empty-file", "the file is empty", expected="a mapping of keys to values")
        return None
    return text


def _position_after(text: str) -> Position:
    line = text.count("\n")
    return line + 1, len(text) - (text.rfind("\n") + 1) + 1


def _syntax(error: yaml.MarkedYAMLError, text: str, problems: Collector) -> None:
    mark = error.problem_mark or error.context_mark
    at = (mark.line + 1, mark.column + 1) if mark else (0, 0)
    lines = text.split("\n")
    line = lines[mark.line] if mark and mark.line < len(lines) else ""
    if "\t" in line[: len(line) - len(line.lstrip())]:
        at = (at[0], line.index("\t") + 1)
        problems.add(
            at, "tab", "the line is indented with a tab", expected="spaces", next_step="replace tabs by spaces"
        )
        return
    said = shown(error.problem or "it cannot be understood")
    if "nesting depth" in said:  # the C parser has a bound of its own
        problems.add(at, "too-deep", f"more than {MOST_DEPTH} levels are nested here", next_step="flatten them")
        return
    context = f" {shown(error.context)}" if error.context else ""
    began = error.context_mark
    if context and began and mark and began.line != mark.line:
        context += f" that begins in line {began.line + 1}"
    problems.add(
        at,
        "not-yaml",
        f"the file is not YAML here{context}: {said}",
        next_step="check the indentation, quotes and brackets of this line and the one before",
    )


class _TooDeepError(Exception):
    """Stops reading; the problem is already noted."""


@dataclass
class _Open:
    """A mapping or list being filled."""

    made: dict[str, Any] | list[Any]
    path: Path
    key: str | None = None  # of a mapping: the key read, whose value is to come
    ignored: bool = False  # the value belongs to a key that was refused


class _Reader:
    """Builds plain values from the parser's events without recursion."""

    def __init__(self, problems: Collector) -> None:
        self.problems = problems
        self.values: dict[Path, Position] = {}
        self.keys: dict[Path, Position] = {}
        self.texts: dict[Path, str] = {}
        self._stack: list[_Open] = []
        self._root: Any = None
        self._skip = 0  # depth inside something refused
        self._skips_key = False  # ... which is a key, whose value is to come
        self._unsure = False  # a value is not known, so what follows from it cannot be checked

    def document(self, events: Iterator[Any]) -> Any:
        documents = 0
        root_at: Position = (1, 1)
        for event in events:
            at = (event.start_mark.line + 1, event.start_mark.column + 1)
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self.problems.add(at, "second-document", "a second document starts here", expected="one a file")
                    self._unsure = True
                    break
                continue
            if not isinstance(event, yaml.NodeEvent | yaml.CollectionEndEvent):
                continue
            if documents == 1 and not self._stack and not self._skip and isinstance(event, yaml.NodeEvent):
                root_at = at
            self._take(event, at)
        if not isinstance(self._root, dict):
            self.problems.add(
                root_at,
                "not-a-mapping",
                "the file does not hold keys with values",
                expected="lines such as title: Pump rings",
            )
            return None
        return None if self._unsure else self._root

    def _take(self, event: Any, at: Position) -> None:
        if isinstance(event, yaml.CollectionEndEvent):
            self._end()
            return
        starts = isinstance(event, yaml.CollectionStartEvent)
        if len(self._stack) + self._skip >= MOST_DEPTH and starts:
            self.problems.add(
                at, "too-deep", f"more than {MOST_DEPTH} levels are nested here", next_step="flatten them"
            )
            raise _TooDeepError
        if self._skip:
            self._skip += starts
            return
        self._refuse_extras(event, at)
        within = self._stack[-1] if self._stack else None
        if within is not None and isinstance(within.made, dict) and within.key is None:
            self._key(event, at, within)
            return
        self._value(event, at, within)

    def _refuse_extras(self, event: Any, at: Position) -> None:
        if isinstance(event, yaml.AliasEvent):
            name = shown(event.anchor)
            self._unsure = True
            self.problems.add(
                at,
                "alias",
                f"the alias *{name} is not allowed",
                expected="plain values",
                next_step="write the value out",
            )
        elif event.anchor is not None:
            self.problems.add(at, "anchor", f"the anchor &{shown(event.anchor)} is not allowed", next_step="remove it")
        if getattr(event, "tag", None) is not None and event.tag != "!":
            self.problems.add(at, "tag", f"the tag {shown(event.tag)} is not allowed", next_step="remove it")

    def _key(self, event: Any, at: Position, within: _Open) -> None:
        if not isinstance(event, yaml.ScalarEvent):
            if isinstance(event, yaml.AliasEvent):
                within.key, within.ignored = "", True
            else:
                self.problems.add(at, "key-not-plain", "a key is a list or a mapping", expected="plain text as a key")
                self._skip, self._skips_key = 1, True
            return
        name = event.value
        path = (*within.path, name)
        within.key, within.ignored = name, name in within.made
        if within.ignored:
            first = self.keys[path][0]
            self.problems.add(
                at,
                "duplicate-key",
                f'the key "{shown(name)}" is here a second time; it stands in line {first} already',
                next_step="keep one of them",
            )
        else:
            self.keys[path] = at

    def _value(self, event: Any, at: Position, within: _Open | None) -> None:
        if within is not None and within.ignored:
            if isinstance(event, yaml.CollectionStartEvent):
                self._skip, self._skips_key = 1, False
            else:
                within.key, within.ignored = None, False
            return
        path: Path = ()
        if within is not None:
            path = (*within.path, within.key if within.key is not None else len(within.made))
        self.values[path] = at
        made: Any
        if isinstance(event, yaml.ScalarEvent):
            made = _scalar(event.value) if event.implicit[0] else event.value
            self.texts[path] = event.value
        else:
            made = (
                {}
                if isinstance(event, yaml.MappingStartEvent)
                else []
                if isinstance(event, yaml.SequenceStartEvent)
                else None
            )
        if within is None:
            self._root = made
        elif isinstance(within.made, dict):
            within.made[str(within.key)] = made
            within.key = None
        else:
            within.made.append(made)
        if isinstance(event, yaml.CollectionStartEvent):
            self._stack.append(_Open(made, path))

    def _end(self) -> None:
        if not self._skip:
            self._stack.pop()
            return
        self._skip -= 1
        if not self._skip:
            within = self._stack[-1]
            if self._skips_key:
                within.key, within.ignored = "", True
            else:
                within.key, within.ignored = None, False


def _scalar(text: str) -> str | int | float | bool | None:
    """Plain text as the value it stands for; anything not whole, decimal, true, false or null stays text."""
    if text in _WORDS:
        return _WORDS[text]
    if _WHOLE.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        return float(text)
    return text
