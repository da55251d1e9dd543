"""The program as a task sees it: what a result is kept under covers this and nothing else.

Readers and steps see no wording and no places in the program file, the pages of a build no notes of the others. So a
note or a title moves nothing that does not show it, and nothing can rest on what its key leaves out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

from sitegen.program.model import Build, Definitions, InstrumentRule, Program, Where
from sitegen.vocabulary import Problem


def by_steps(program: Program) -> Program:
    """Without wording, places in its file, and how its records are written."""
    return replace(
        _unworded(program), folder="", records=(), logs=(), exclusions=(), accepted=(), review=None,
        reviews=(), decisions=(), passed_over=(), instruments=InstrumentRule(),
        criteria=_unplaced(program.criteria), decide=_unplaced(program.decide), definitions=_wordless(program),
    )  # fmt: skip


def _wordless(program: Program) -> Definitions:
    """Definitions without the words of files, which record entries hold."""
    return replace(program.definitions, words={})


def by_readers(program: Program) -> tuple[Program, list[Where]]:
    """Without wording and rules, and the places its numbers stand for: line 1 is the first of them."""
    places: list[Where] = []

    def numbered(where: Where) -> Where:
        places.append(where)
        return Where(where.file, len(places))

    seen = replace(
        _unworded(program), definitions=_wordless(program), accepted=(), review=None, reviews=(), criteria=(),
        decide=None, decisions=(), ties=(),
        also=(), covariates=(), lent=(), instruments=InstrumentRule(),
        records=_placing(program.records, numbered), logs=_placing(program.logs, numbered),
        exclusions=_placing(program.exclusions, numbered),
        passed_over=tuple(Problem(each.file) for each in program.passed_over),
    )  # fmt: skip
    return seen, places


def by_pages(program: Program) -> Program:
    """Without places in its file, and without the notes of builds."""
    unplaced: Program = _unplaced(program)
    return replace(
        unplaced,
        words=(),
        reviews=(),
        decisions=(),
        passed_over=(),
        builds=tuple(_unnoted(each) for each in program.builds),
    )


def by_pages_of(seen: Program, build: Build) -> Program:
    """The program as `by_pages` gives it, with the notes of one build."""
    return replace(seen, builds=tuple(build if each.id == build.id else each for each in seen.builds))


def placed(problem: Problem, places: Sequence[Where]) -> Problem:
    """A problem of a reader, at the place in the program file, or in the definitions, that its number stands for."""
    where = places[problem.line - 1] if 0 < problem.line <= len(places) else Where("")
    return replace(problem, line=where.line, column=where.column) if problem.file == where.file else problem


def _unworded(program: Program) -> Program:
    return replace(
        program, title="", question="", notes="", words=(), version="", not_primary="", where=Where(program.where.file),
        scatter_where=Where(""),
        builds=tuple(replace(_unnoted(build), title="") for build in program.builds),
    )  # fmt: skip


def _unnoted(build: Build) -> Build:
    return replace(
        build, note="",
        assemblies=tuple(replace(each, note="") for each in build.assemblies),
        departures=tuple(replace(each, why="") for each in build.departures),
        ended=build.ended and replace(build.ended, cause=build.ended.cause and "known"),
    )  # fmt: skip


def _unplaced(of: Any) -> Any:
    return _placing(of, lambda _: Where(""))


_PLACELESS = frozenset({str, int, float, bool, type(None)})  # most of what a program holds


def _placing(of: Any, put: Callable[[Where], Where]) -> Any:
    """The same with every place in a file put another way."""
    if type(of) in _PLACELESS:
        return of
    if isinstance(of, Where):
        return put(of)
    if isinstance(of, tuple) and type(of) is tuple:
        return tuple(_placing(each, put) for each in of)
    if isinstance(of, dict):
        return {key: _placing(each, put) for key, each in of.items()}
    if is_dataclass(of) and not isinstance(of, type):
        old = {each.name: getattr(of, each.name) for each in fields(of)}
        new = {name: _placing(each, put) for name, each in old.items()}
        return replace(of, **new) if any(new[name] is not old[name] for name in old) else of
    return of
