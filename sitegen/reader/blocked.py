"""What stops a whole table: problems that travel up to the one place that collects them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sitegen.program.model import Where
from sitegen.vocabulary import Problem


class Blocked(Exception):  # noqa: N818 - an answer to the user, not a fault of ours
    """A table whose columns cannot be trusted. Carries what the user has to mend."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(*(problem.what for problem in problems))
        self.problems: Sequence[Problem] = problems


def refusal(
    file: str, line: int, code: str, what: str, expected: str = "", next_step: str = "", **more: Any
) -> Blocked:
    """A `Blocked` with one problem; `more` are further fields of it."""
    return Blocked(Problem(file, line, code=code, what=what, expected=expected, next_step=next_step, **more))


def entry_refusal(where: Where, code: str, what: str, expected: str = "", next_step: str = "") -> Blocked:
    """The same of what a record entry says."""
    return Blocked(Problem(where.file, where.line, where.column, code, what, expected, next_step=next_step))
