"""Problems as values: collected, sorted, and told as text or as JSON.

A problem is something the user can mend (`vocabulary.Problem`). Errors block, warnings fail only `--strict`.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Literal

from sitegen.vocabulary import Problem

FORMAT = 1  # of the JSON report
SHOWN_PER_FILE = 100  # lines of the text report; the JSON report holds all
ONE_BY_ONE = 3  # problems of one file that say the same, up to which each has its line
_MOST_LINES = 12
MOST_NAMES = 500  # names compared with one that is not known
LONGEST = 80  # characters of the user's own text quoted in a message


def shown(text: object, longest: int = LONGEST) -> str:
    """The user's own text as it may stand in a message: on one line, without control characters, shortened.

    >>> shown("a\\tb")
    'a\\\\tb'
    """
    said = str(text)
    cut = said if len(said) <= longest else said[: longest - 3] + "..."
    return "".join(each if each.isprintable() else each.encode("unicode_escape").decode("ascii") for each in cut)


def nearest(name: str, allowed: Iterable[str]) -> str:
    """The allowed name most like `name`; "" where none is near, or where there are too many to compare with.

    >>> nearest("titel", ["title", "question"])
    'title'
    """
    names = sorted(set(allowed))
    if not name or len(name) > LONGEST or len(names) > MOST_NAMES:
        return ""
    lowered = {each.casefold(): each for each in names}
    found = difflib.get_close_matches(name.casefold(), sorted(lowered), n=1, cutoff=0.6)
    return lowered[found[0]] if found else ""


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names in a sentence, in the order given.

    >>> listed(["a", "b", "c"])
    'a, b or c'
    """
    all_names = [shown(each) for each in names]
    if not all_names:
        return "nothing"
    if len(all_names) > most:
        return ", ".join(all_names[:most]) + f" (and {len(all_names) - most} more)"
    return all_names[0] if len(all_names) == 1 else ", ".join(all_names[:-1]) + " or " + all_names[-1]


class Elsewhere(tuple[int, int]):
    """Line and column of a place in another file than the one that is read."""

    file: str

    @classmethod
    def of(cls, file: str, at: tuple[int, int]) -> Elsewhere:
        made = cls(at)
        made.file = file
        return made


@dataclass
class Collector:
    """Gathers the problems of one file while it is read."""

    file: str
    found: list[Problem] = field(default_factory=list)

    def add(
        self,
        at: tuple[int, int],
        code: str,
        what: str,
        *,
        expected: str = "",
        nearest: str = "",
        next_step: str = "",
        level: Literal["error", "warning"] = "error",
    ) -> None:
        """Add a problem at (line, column), both from 1; (0, 0) for the whole file."""
        line, column = at
        file = at.file if isinstance(at, Elsewhere) else self.file
        self.found.append(
            Problem(file, line, column, code, what, expected, nearest, next_step, level=level),
        )


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Each problem once, by file, line and column."""
    return sorted(set(problems))


def errors(problems: Iterable[Problem]) -> list[Problem]:
    """Those that block."""
    return [each for each in problems if each.level == "error"]


def counted(count: int, noun: str) -> str:
    """A count with its noun.

    >>> counted(1, "error"), counted(0, "warning")
    ('1 error', '0 warnings')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def summary(problems: Sequence[Problem]) -> str:
    """Closing line: how many errors and warnings."""
    if not problems:
        return "No problems."
    bad = len(errors(problems))
    return f"{counted(bad, 'error')}, {counted(len(problems) - bad, 'warning')}."


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else text + "."


def line_of(problem: Problem) -> str:
    """One problem on one line: `file:line:column: what. Expected ... Nearest: ... Next: ...`."""
    place = problem.file
    if problem.line:
        place += f":{problem.line}"
        if problem.column:
            place += f":{problem.column}"
    said = [f"{place}:"]
    if problem.level == "warning":
        said.append("warning:")
    if problem.column_name:
        said.append(f'column "{problem.column_name}":')
    said.append(_sentence(problem.what))
    if problem.expected:
        said.append(_sentence(f"Expected {problem.expected}"))
    if problem.nearest:
        said.append(_sentence(f"Nearest: {problem.nearest}"))
    if problem.next_step:
        said.append(_sentence(f"Next: {problem.next_step}"))
    return shown(" ".join(said), longest=2000)


def as_text(problems: Iterable[Problem]) -> str:
    """Report for a terminal: errors, then warnings, then a line of counts.

    Of one file at most `SHOWN_PER_FILE` lines a level are shown, and how many more there are. What is said alike of
    more than `ONE_BY_ONE` rows of a file is said once, with the lines it holds of.
    """
    ordered = in_order(problems)
    lines: list[str] = []
    for level in ("error", "warning"):
        of_level = [each for each in ordered if each.level == level]
        for file in dict.fromkeys(each.file for each in of_level):
            said = _said_alike([each for each in of_level if each.file == file])
            lines += [_line_of_all(alike) for alike in said[:SHOWN_PER_FILE]]
            if further := sum(len(alike) for alike in said[SHOWN_PER_FILE:]):
                lines.append(f"{shown(file)}: and {counted(further, 'further ' + level)}.")
    return "\n".join([*lines, summary(ordered)])


def _said_alike(of_file: Sequence[Problem]) -> list[list[Problem]]:
    """Problems of one file by what is said of them, in the order of the first; few alike stay apart."""
    groups: dict[Problem, list[Problem]] = {}
    for each in of_file:
        groups.setdefault(replace(each, line=0, column=0), []).append(each)
    said: list[list[Problem]] = []
    for group in groups.values():
        rows = len({each.line for each in group})
        said += [group] if rows > ONE_BY_ONE and rows == len(group) else [[each] for each in group]
    place = {id(each): at for at, each in enumerate(of_file)}
    return sorted(said, key=lambda alike: place[id(alike[0])])


def _line_of_all(alike: Sequence[Problem]) -> str:
    first, *others = alike
    if not others:
        return line_of(first)
    rows = ", ".join(str(each.line) for each in others[:_MOST_LINES])
    more = f" and {len(others) - _MOST_LINES} more" if len(others) > _MOST_LINES else ""
    return f"{line_of(first)} The same in {counted(len(others), 'further line')}: {rows}{more}."


def as_json(problems: Iterable[Problem], **more: object) -> str:
    """Report for other programs: format version, counts and every problem, and what else is said."""
    ordered = in_order(problems)
    bad = len(errors(ordered))
    report = {
        "format": FORMAT,
        "counts": {"errors": bad, "warnings": len(ordered) - bad},
        "problems": [asdict(each) for each in ordered],
        **more,
    }
    return json.dumps(report, indent=2, ensure_ascii=True)
