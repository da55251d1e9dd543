"""What a program set beforehand and changed once readings were in, by the history of its file in git.

Limits, the comparison that counts and the criteria are worth what they were before the data. Each state of the program
file is set against the one before it, and readings count as in where their lines were in git before the change, if with
another number in a cell that was corrected since: dates of commits may be wrong, their order is not.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

from sitegen.git import git
from sitegen.problems import Collector
from sitegen.program import build, mappings, schema, yamlfile
from sitegen.program.folder import PROGRAM
from sitegen.program.model import EVERY, Criterion, DecisionRule, Program, Restated, Subject, Where
from sitegen.results.committed import contents, whole_history
from sitegen.shelves import NONE, Shelves, key_of
from sitegen.vocabulary import Readings

MOST_STATES = 200  # commits of a program file that are looked at
NOT_TEXT = frozenset({".xlsx", ".parquet"})
KEYS = ("compare", "criteria", "decide", "seating")  # of the program file: where these stay, nothing was stated anew
Stated = Criterion | DecisionRule | Subject | float | str


def restated(
    program: Program, readings: Mapping[str, Readings], measures: Mapping[str, str], shelves: Shelves = NONE
) -> tuple[Restated, ...] | None:
    """What was set anew after readings had come in, the oldest first; `measures` gives the unit of each.

    None where no history is known: outside a repository, in one cut off by its clone, or before the first commit.
    """
    states = _states(program) if whole_history(program) else []
    if not states:
        return None
    units = tuple(sorted(measures.items()))
    own = [(commit, day, _once(text, program.folder, units, shelves)) for commit, day, text in states]
    known = [(commit, day, said) for commit, day, said in own if said is not None]
    known.append(("", "", _of(program)))
    today: _Today | None = None
    found = []
    for (_, _, before), (commit, day, after) in pairwise(known):
        changed = [what for what in {**before, **after} if _bare(before.get(what)) != _bare(after.get(what))]
        if not changed:
            continue
        today = today or _Today.of(program, readings)
        count, at_least = today.in_git(f"{commit}^" if commit else "HEAD")
        if count or at_least:
            found += [
                Restated(what, before.get(what), after.get(what), day, count, today.count, at_least) for what in changed
            ]
    return tuple(found)


# ---- states of the program file -------------------------------------------------------------------------------------


def _states(program: Program) -> list[tuple[str, str, bytes]]:
    """Commit, its day and the file, the oldest first: one for each way its statements stood on the main line."""
    asked = ("--first-parent", f"--max-count={MOST_STATES}", "--format=%H %as", "HEAD", "--", f"./{PROGRAM}")
    listed = (git(Path(program.folder), "rev-list", *asked) or b"").decode().splitlines()
    commits = [line.split(" ") for line in listed if not line.startswith("commit ")][::-1]
    held = contents(program, [f"{commit}:./{PROGRAM}" for commit, _ in commits])
    states: list[tuple[str, str, bytes]] = []
    last: list[bytes] = []
    for (commit, day), content in zip(commits, held, strict=True):
        if content is None:  # taken out, and perhaps put back later
            continue
        own = [*_part(content).values()]
        if own != last:
            states.append((commit, day, content))
        last = own
    return states


def _part(content: bytes) -> dict[int, bytes]:
    """The lines of a program file that state something beforehand, as written, by their number."""
    kept, own = {}, False
    for number, line in enumerate(content.splitlines(), start=1):
        if line[:1].strip() and not line.startswith(b"#"):
            own = line.partition(b":")[0].decode("utf-8", "replace").strip("\"'") in KEYS
        if own:
            kept[number] = line
    return kept


def _once(
    content: bytes, folder: str, units: tuple[tuple[str, str], ...], shelves: Shelves
) -> Mapping[str, Stated] | None:
    """What a state of the file sets beforehand, read once: what git holds never changes."""
    if not shelves.open:
        return _said(content, folder, units)
    key = key_of("stated", hashlib.sha256(content).hexdigest(), Path(folder).name, units)
    kept = shelves.find(key, _unpacked)
    if kept is None:
        kept = (_said(content, folder, units),)
        shelves.put(key, kept, _packed)
    return kept[0]


_KINDS: dict[str, Any] = {kind.__name__: kind for kind in (Criterion, DecisionRule, Subject)}


def _packed(kept: tuple[Mapping[str, Stated] | None]) -> bytes:
    told: Mapping[str, object] | None = kept[0] and {
        what: each if isinstance(each, float | int | str) else [type(each).__name__, asdict(each)]
        for what, each in kept[0].items()
    }
    return json.dumps(told, separators=(",", ":")).encode()


def _unpacked(content: bytes) -> tuple[Mapping[str, Stated] | None]:
    told = json.loads(content)
    return (told and {what: _again(each) for what, each in told.items()},)


def _again(told: Any) -> Stated:
    if not isinstance(told, list):
        return cast("Stated", told)
    kind, own = told
    own |= {"where": Where(**own["where"])} if "where" in own else {}
    made: Stated = _KINDS[kind](**{name: tuple(each) if isinstance(each, list) else each for name, each in own.items()})
    return made


@lru_cache(maxsize=64)
def _said(content: bytes, folder: str, units: tuple[tuple[str, str], ...]) -> Mapping[str, Stated] | None:
    """What a state of the file sets beforehand; None where this version cannot read it."""
    problems = Collector(PROGRAM)
    document = yamlfile.parse(content, problems)
    document = document and mappings.expanded(document, Collector(PROGRAM))  # what definitions lent then is not known
    if document is None or not schema.check(document, "program", problems) or problems.found:
        return None
    said = _of(build.build(document, Path(folder), None, problems, dict(units)))
    own = _part(content)  # elsewhere it may name files that are no longer there
    return None if any(each.line in own for each in problems.found) else said


def _of(program: Program) -> dict[str, Stated]:
    said: dict[str, Stated] = {
        "primary": Subject(program.primary_measure, program.primary_phase, program.primary_at),
        "to_lose": _even(program.seating.to_lose),
        "level": _even(program.seating.level),
        "fit_through": program.seating.fit_through,
    }
    for each in program.criteria:
        limit = None if each.limit is None else _even(each.limit)
        said[f"criterion:{each.id}"] = replace(each, limit=limit, coatings=tuple(sorted(each.coatings)))
    if program.decide is not None:
        said["decide"] = _rule(program.decide, program.criteria)
    return said


def _rule(rule: DecisionRule, criteria: Sequence[Criterion]) -> DecisionRule:
    """What counts of the rule: not its day; a criterion more is told once, as a criterion."""
    ends = {each.id for each in criteria if each.end_rule} & set(rule.release)
    release = EVERY if len(rule.release) == len(criteria) else tuple(sorted(rule.release))
    stop = EVERY if set(rule.stop) == ends else tuple(sorted(rule.stop))
    return DecisionRule(Where(""), "", release, stop, rule.looks)


def _bare(said: Stated | None) -> Stated | None:
    """What counts of it: a title may be worded anew."""
    return replace(said, title="") if isinstance(said, Criterion) else said


def _even(number: float) -> float:
    """A limit without what another spelling of its unit leaves in its last digits."""
    return float(f"{number:.10g}")


# ---- readings -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Today:
    """The readings as they lie in their files now."""

    program: Program
    lines: Mapping[str, Sequence[int]]  # file, relative to the program's folder -> line of each reading

    @classmethod
    def of(cls, program: Program, readings: Mapping[str, Readings]) -> _Today:
        lines: dict[str, list[int]] = {}
        own = re.compile(rf"^{re.escape(Path(program.folder).name)}/")
        for each in readings.values():
            for part, row in zip(map(str, each.cells("file")), each.cells("row"), strict=False):
                file = str(each.files.get(part, {}).get("file", part))  # a worksheet has its name behind its file's
                lines.setdefault(own.sub("", file), []).append(int(row) if row == row else 0)
        return cls(program, lines)

    @property
    def count(self) -> int:
        return sum(map(len, self.lines.values()))

    def in_git(self, commit: str) -> tuple[int, bool]:
        """How many of them a commit held already; True: there may have been more."""
        listed = git(Path(self.program.folder), "ls-tree", "-r", "-z", commit, "./") or b""
        blobs = dict(_listed(listed))
        same, changed = 0, []
        for file, rows in self.lines.items():
            path = Path(self.program.folder) / file
            content = path.read_bytes() if path.is_file() else b""
            if blobs.get(file) == hashlib.sha1(b"blob %d\0" % len(content) + content).hexdigest():  # noqa: S324
                same += len(rows)
            else:
                changed.append((file, rows, content))
        moved = [name for name in blobs if name.startswith("records/") and name not in self.lines]
        asked = [*dict.fromkeys([*(file for file, _, _ in changed if file in blobs), *moved])]
        texts = [name for name in asked if Path(name).suffix.lower() not in NOT_TEXT]
        held: Counter[bytes] = Counter()
        for then in contents(self.program, [blobs[name] for name in texts]):
            held += Counter(map(bytes.strip, (then or b"").splitlines()))
        at_least = False
        edited: list[tuple[bytes, int]] = []
        for file, rows, content in changed:
            if Path(file).suffix.lower() in NOT_TEXT:
                at_least = at_least or file in blobs
                continue
            own = [line.strip() for line in content.splitlines()]
            for row, times in Counter(rows).items():
                if 0 < row <= len(own) and own[row - 1] and held[own[row - 1]] > 0:
                    held[own[row - 1]] -= 1
                    same += times
                elif 0 < row <= len(own):
                    edited.append((own[row - 1], times))
        return same + _corrected(edited, held), at_least


def _corrected(lines: Sequence[tuple[bytes, int]], held: Counter[bytes]) -> int:
    """Readings of lines that were in but for one cell, which was not empty: an empty one was filled in since."""
    if not lines:
        return 0
    before = Counter(masked for line, times in held.items() for masked in _masked(line) for _ in range(times))
    count = 0
    for line, times in lines:
        found = next((masked for masked in _masked(line) if before[masked] > 0), None)
        if found is not None:
            before[found] -= 1
            count += times
    return count


def _masked(line: bytes) -> Iterator[tuple[bytes, ...]]:
    """A line with one cell taken out that holds something, for each of them."""
    between = next((mark for mark in (b";", b"\t", b"|") if mark in line), b",")
    cells = line.split(between)
    for n, cell in enumerate(cells):
        if cell.strip() and len(cells) > 1:
            yield (*cells[:n], b"\0", *cells[n + 1 :])


def _listed(tree: bytes) -> Iterator[tuple[str, str]]:
    """Path and blob of each file of a tree as git lists it."""
    for entry in tree.split(b"\0"):
        facts, _, path = entry.partition(b"\t")
        if path:
            yield path.decode("utf-8", "surrogateescape"), facts.split(b" ")[2].decode()
