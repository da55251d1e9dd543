"""What changed in the files of a program between two states, and each change put in by itself."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path, PurePosixPath
from typing import Any, Literal

import yaml

from sitegen.changing.states import lay
from sitegen.page.words import listed
from sitegen.problems import Collector, counted, shown
from sitegen.program import yamlfile
from sitegen.program.folder import DEFINITIONS, PROGRAM

Kind = Literal["method", "calibration", "definitions", "program file", "objection", "records", "file"]
MOST_LINES = 20_000  # of a table that is compared line by line
MOST_TOLD = 3  # rows or keys named
_TEXTS = (".csv", ".tsv", ".txt", ".dat", ".md")
_Path = tuple[str, ...]


@dataclass(frozen=True)
class Cause:
    """One change of the files, in words and as something to be put in."""

    kind: Kind
    what: str  # "records/leakdown-b1.csv: 1 row changed (line 14)"
    file: str  # from the programs folder
    at: _Path = ()  # of a YAML file: what is taken over; () the whole file

    def put(self, work: Path, goal: Path) -> None:
        """Take the change over from the folder `goal` into the folder `work`."""
        into, source = work / self.file, goal / self.file
        if not self.at:
            into.unlink(missing_ok=True)
            if source.exists():
                into.parent.mkdir(parents=True, exist_ok=True)
                lay(source, into, goal)
            return
        held, wanted = _document(into) or {}, _document(source) or {}
        made = _taken_over(held, wanted, self.at)
        into.unlink(missing_ok=True)
        into.write_text(yaml.safe_dump(made, allow_unicode=True, sort_keys=False, width=1000), encoding="utf-8")


def causes(old: Path, new: Path, program: str, inputs: Iterable[str]) -> list[Cause]:
    """Changes between two programs folders in the files a program rests on, in the order they are put in.

    What is new in shared definitions goes first, then records, then the program file that names them; files that are
    gone go last.
    """
    changed = sorted({name for name in inputs if _bytes(old / name) != _bytes(new / name)})
    ours = f"{program}/{PROGRAM}"
    found = [*_definitions(old, new)] if DEFINITIONS in changed else []
    files = [name for name in changed if name not in {DEFINITIONS, ours}]
    made = [Cause(_kind(name), f"{_short(name, program)}: {_rows(old / name, new / name)}", name) for name in files]
    found += [each for each in made if (new / each.file).exists()]
    if ours in changed:
        found += _program(old / ours, new / ours, ours)
    return [*found, *(each for each in made if not (new / each.file).exists())]


def _kind(name: str) -> Kind:
    return "records" if PurePosixPath(name).suffix.lower() != ".md" else "file"


def _short(name: str, program: str) -> str:
    return name.removeprefix(f"{program}/")


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


# ---- rows -----------------------------------------------------------------------------------------------------------


def _rows(old: Path, new: Path) -> str:
    """How the rows of a record file changed, with the first lines by number in the newer file."""
    if not old.exists():
        return "new"
    if not new.exists():
        return "gone"
    if new.suffix.lower() not in _TEXTS:
        return "changed"
    before, after = (path.read_bytes().splitlines() for path in (old, new))
    if max(len(before), len(after)) > MOST_LINES:
        grown = len(after) - len(before)
        return f"changed, {counted(abs(grown), 'row')} {'more' if grown > 0 else 'fewer'}" if grown else "changed"
    if before == after:
        return "line ends changed"
    added, gone, altered = list[int](), list[int](), list[int]()
    for tag, a, b, c, d in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        both = min(b - a, d - c) if tag == "replace" else 0
        altered += range(c + 1, c + 1 + both)
        added += range(c + 1 + both, d + 1) if tag in {"insert", "replace"} else []
        gone += range(a + 1 + both, b + 1) if tag in {"delete", "replace"} else []
    said = [
        f"{counted(len(lines), 'row')} {how} ({_lines(lines)}{where})"
        for lines, how, where in ((altered, "changed", ""), (added, "added", ""), (gone, "gone", " before"))
        if lines
    ]
    return listed(said)


def _lines(lines: Sequence[int]) -> str:
    if len(lines) > MOST_TOLD and lines[-1] - lines[0] == len(lines) - 1:
        return f"lines {lines[0]} to {lines[-1]}"
    more = f" and {len(lines) - MOST_TOLD} more" if len(lines) > MOST_TOLD else ""
    return f"line{'s' * (len(lines) > 1)} {', '.join(map(str, lines[:MOST_TOLD]))}{more}"


# ---- YAML -----------------------------------------------------------------------------------------------------------


def _document(path: Path) -> dict[str, Any] | None:
    """The mapping in a YAML file; None where it holds none that can be read."""
    document = yamlfile.read(path, Collector(path.name)) if path.is_file() else None
    return document.data if document is not None and isinstance(document.data, dict) else None


def _taken_over(held: dict[str, Any], wanted: Mapping[str, Any], at: _Path) -> dict[str, Any]:
    """A mapping with what stands at a place in another one; without it where that has nothing there."""
    made = copy.deepcopy(held)
    inner, source = made, wanted
    for key in at[:-1]:
        if not isinstance(inner.get(key), dict):
            inner[key] = {}
        inner = inner[key]
        below = source.get(key)
        source = below if isinstance(below, dict) else {}
    if at[-1] in source:
        inner[at[-1]] = source[at[-1]]
    else:
        inner.pop(at[-1], None)
    return made


def _definitions(old: Path, new: Path) -> Iterator[Cause]:
    """Changes of shared definitions by what they are about; calibrations apart."""
    before, after = (_document(each / DEFINITIONS) for each in (old, new))
    if before is None or after is None:
        yield Cause("definitions", f"{DEFINITIONS}: changed", DEFINITIONS)
        return
    for group in dict.fromkeys([*after, *before]):
        was, now = before.get(group), after.get(group)
        if was == now:
            continue
        if not isinstance(was, dict) or not isinstance(now, dict):
            yield Cause("definitions", f"{DEFINITIONS}: {group} {_how(was, now)}", DEFINITIONS, (group,))
            continue
        for name in dict.fromkeys([*now, *was]):
            yield from _definition(group, str(name), was.get(name), now.get(name))


CALIBRATIONS = "calibrations"


def _definition(group: str, name: str, was: object, now: object) -> Iterator[Cause]:
    if was == now:
        return
    title = f"{shown(name)} of {group}"
    if not isinstance(was, dict) or not isinstance(now, dict):
        yield Cause("definitions", f"{DEFINITIONS}: {title} {_how(was, now)}", DEFINITIONS, (group, name))
        return
    for key in dict.fromkeys([*now, *was]):
        if was.get(key) == now.get(key):
            continue
        told = _moved(was.get(key), now.get(key), str(key))
        kind: Kind = "calibration" if key == CALIBRATIONS else "definitions"
        yield Cause(kind, f"{DEFINITIONS}: {title}, {told}", DEFINITIONS, (group, name, str(key)))


def _program(old: Path, new: Path, file: str) -> Iterator[Cause]:
    """Changes of a program file by its keys; objections apart."""
    before, after = _document(old), _document(new)
    if before is None or after is None:
        yield Cause("program file", f"{PROGRAM}: {'new' if not old.exists() else 'changed'}", file)
        return
    for key in dict.fromkeys([*before, *after]):
        was, now = before.get(key), after.get(key)
        if was == now:
            continue
        if key == "exclusions":
            yield Cause("objection", f"{PROGRAM}: {_objections(was, now)}", file, (key,))
        else:
            yield Cause("program file", f"{PROGRAM}: {_moved(was, now, str(key))}", file, (str(key),))


def _objections(was: object, now: object) -> str:
    """Which readings are objected to anew, which no longer, and of which the objection reads otherwise."""
    lists = [
        [each for each in every if isinstance(each, dict)] if isinstance(every, list) else [] for every in (was, now)
    ]
    said = []
    for key, noun in (("reading", "reading"), ("review", "review")):
        old, new = ({str(each[key]): each for each in own if key in each} for own in lists)
        how_many = (
            ([name for name in new if name not in old], "objected to" if key == "reading" else "accepted"),
            (
                [name for name in old if name not in new],
                f"no longer {'objected to' if key == 'reading' else 'accepted'}",
            ),
            ([name for name in new if name in old and new[name] != old[name]], "taken in other words"),
        )
        said += [
            f"{counted(len(names), noun)} {how} ({listed([shown(name) for name in names[:MOST_TOLD]])}"
            f"{f' and {len(names) - MOST_TOLD} more' if len(names) > MOST_TOLD else ''})"
            for names, how in how_many
            if names
        ]
    return listed(said) or "objections in another order"


def _how(was: object, now: object) -> str:
    return "new" if was is None else "gone" if now is None else "changed"


def _moved(was: object, now: object, name: str) -> str:
    """What changed below a key: the first places, with a text of one line before and after."""
    places = list(_places(was, now, name))
    told = "; ".join(places[:MOST_TOLD])
    return f"{told}; and {len(places) - MOST_TOLD} more" if len(places) > MOST_TOLD else told


def _places(was: object, now: object, name: str) -> Iterator[str]:
    if was == now:
        return
    if isinstance(was, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*was, *now]):
            yield from _places(was.get(key), now.get(key), f"{name}.{key}")
    elif isinstance(was, list) and isinstance(now, list):
        yield from _items(was, now, name)
    elif was is None or now is None or isinstance(was, dict | list) or isinstance(now, dict | list):
        yield f"{name} {_how(was, now)}"
    else:
        yield f"{name} {shown(str(was))} → {shown(str(now))}"


def _items(was: list[Any], now: list[Any], name: str) -> Iterator[str]:
    """Entries of a list: by their ids where they have them, else by their places."""
    old, new = ({_item(each, n): each for n, each in enumerate(every, 1)} for every in (was, now))
    found = False
    for key in dict.fromkeys([*old, *new]):
        for told in _places(old.get(key), new.get(key), f"{name} {shown(key)}"):
            found = True
            yield told
    if not found:
        yield f"{name} in another order"


def _item(entry: object, number: int) -> str:
    if isinstance(entry, dict):
        name = entry.get("id", entry.get("file", entry.get("on")))
        if isinstance(name, str | int):
            return str(name)
    return str(number)
