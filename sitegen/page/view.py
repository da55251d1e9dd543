"""What the content of a page may look at: one subject, its values, its readings and its links.

A section gets a `View` and returns blocks. Numbers are formatted by `words`; links are relative to the page the view
was made for, so the same section serves the home page and the program page.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Protocol, TypeVar, cast

from sitegen import reasons
from sitegen.page import words
from sitegen.page.addresses import Addresses, relative, slug
from sitegen.page.blocks import Cell
from sitegen.program.model import Build, Coating, Folder, Phase, Program, Restated, Standing
from sitegen.tables.rows import Recorded, rows_of
from sitegen.vocabulary import Change, Comparison, Key, Measure, Problem, Readings, Series, Value, Verdict

if TYPE_CHECKING:
    import pandas as pd


R = TypeVar("R", bound=Recorded)
T = TypeVar("T")
STATE = "seating"  # rule of the verdict that is the state of a cylinder


class Named(Protocol):
    """A build, a coating, a program: whatever goes by an id."""

    @property
    def id(self) -> str: ...


class Analysis(Protocol):
    """What is known about one program when its pages are made."""

    @property
    def program(self) -> Program: ...
    @property
    def readings(self) -> Mapping[str, Readings]: ...
    @property
    def values(self) -> Mapping[tuple[str, Key], Value]: ...
    @property
    def verdicts(self) -> Sequence[Verdict]: ...
    @property
    def comparisons(self) -> Sequence[Comparison]: ...
    @property
    def series(self) -> Sequence[Series]: ...
    @property
    def problems(self) -> Sequence[Problem]: ...
    @property
    def inputs(self) -> Mapping[str, str]: ...
    @property
    def results_id(self) -> str: ...
    @property
    def looks(self) -> int | None: ...
    @property
    def changes(self) -> Sequence[Change] | None: ...
    @property
    def restated(self) -> Sequence[Restated] | None: ...
    @property
    def taken(self) -> Sequence[Standing]: ...
    @property
    def days(self) -> Sequence[str]: ...
    @property
    def as_of(self) -> str: ...


class Desk:
    """One analysis with its values, verdicts and readings laid out by subject. Built once a program."""

    def __init__(self, analysis: Analysis) -> None:
        self.analysis = analysis
        self.program = analysis.program
        self._values: dict[tuple[str, str, int, str, str], list[Value]] = {}
        self._by_measure: dict[str, list[Value]] = {}
        self._by_engine: dict[tuple[str, str], list[Value]] = {}
        for (measure, key), value in analysis.values.items():
            self._values.setdefault((measure, key.engine, key.cylinder, key.phase, key.at), []).append(value)
            self._by_measure.setdefault(measure, []).append(value)
            self._by_engine.setdefault((measure, key.engine), []).append(value)
        self._verdicts: dict[str, list[Verdict]] = {}
        for verdict in analysis.verdicts:
            self._verdicts.setdefault(verdict.key.engine, []).append(verdict)
        self._series: dict[str, list[Series]] = {}
        for series in analysis.series:
            self._series.setdefault(series.key.engine, []).append(series)
        self._states = {
            (verdict.key.engine, verdict.key.cylinder): verdict
            for verdict in analysis.verdicts
            if verdict.rule == STATE and verdict.key.cylinder
        }
        self._once: dict[Hashable, object] = {}

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What a section works out once a program, under a key of its own."""
        if key not in self._once:
            self._once[key] = make()
        return cast("T", self._once[key])

    def value(self, measure: str, engine: str, cylinder: int, phase: str, at: str, coating: str) -> Value | None:
        found = self._values.get((measure, engine, cylinder, phase, at), [])
        return next((value for value in found if not coating or value.key.coating == coating), None)

    def of(self, measure: str, engine: str | None = None) -> Sequence[Value]:
        return self._by_measure.get(measure, []) if engine is None else self._by_engine.get((measure, engine), [])

    def verdicts(self, engine: str | None = None) -> Sequence[Verdict]:
        return self.analysis.verdicts if engine is None else self._verdicts.get(engine, [])

    def series(self, engine: str | None = None) -> Sequence[Series]:
        return self.analysis.series if engine is None else self._series.get(engine, [])

    def state(self, build: str, cylinder: int) -> Verdict | None:
        return self._states.get((build, cylinder))

    def rows(self, stream: str, build: str, cylinder: int) -> pd.DataFrame:
        """Readings of one stream for a build (cylinder 0: all of its cylinders), in the order of the record."""
        frame = self.analysis.readings[stream].frame
        if not build:
            return frame
        for name, wanted in (("engine", build), ("cylinder", cylinder)):
            if wanted:
                frame = frame[frame[name] == wanted] if name in frame else frame.iloc[0:0]
        return frame

    def tuples(self, stream: str, kind: type[R], build: str, cylinder: int) -> list[R]:
        """The same rows as tuples; laid out once, since pages ask for them phase by phase."""
        places = self.once((stream, kind), lambda: _by_place(rows_of(self.analysis.readings[stream].frame, kind)))
        return places.get((build, cylinder if build else 0), [])


@dataclass(frozen=True)
class View:
    """One subject of one page: a folder, a program, a build, a cylinder or a coating within a program."""

    folder: Folder
    measures: Mapping[str, Measure]
    addresses: Addresses
    page: str  # path of the page the links start from
    desk: Desk | None = None
    build: Build | None = None
    cylinder: int = 0
    coating: Coating | None = None

    # ---- subject ----

    @property
    def analysis(self) -> Analysis:
        return self.the_desk.analysis

    @property
    def the_desk(self) -> Desk:
        if self.desk is None:
            raise LookupError("this view is of the whole folder")
        return self.desk

    @property
    def program(self) -> Program:
        return self.analysis.program

    @property
    def the_build(self) -> Build:
        """The build of an engine or cylinder page."""
        if self.build is None:
            raise LookupError("this view is of no single build")
        return self.build

    @property
    def the_coating(self) -> Coating:
        """The coating of a coating page."""
        if self.coating is None:
            raise LookupError("this view is of no single coating")
        return self.coating

    @cached_property
    def phases(self) -> tuple[Phase, ...]:
        """Phases of the build, or of the program, in plan order."""
        return self.program.phases if self.build is None else self.program.phases_of(self.build)

    def of_build(self, build: Build | str) -> View:
        """The same page, looking at one build."""
        return replace(self, build=self._build(build), cylinder=0)

    def of_cylinder(self, build: Build | str, cylinder: int) -> View:
        """The same page, looking at one cylinder."""
        return replace(self, build=self._build(build), cylinder=cylinder)

    @property
    def builds(self) -> tuple[Build, ...]:
        """Builds looked at: the one, those that hold the coating, or all."""
        if self.build is not None:
            return (self.build,)
        if self.coating is not None:
            return tuple(build for build in self.program.builds if self.coating.id in build.coatings)
        return self.program.builds

    # ---- what was concluded ----

    def measure(self, measure: str) -> Measure:
        return self.measures[measure]

    def value(
        self,
        measure: str,
        phase: str = "",
        at: str = "",
        *,
        engine: Build | str | None = None,
        cylinder: int | None = None,
        coating: str = "",
    ) -> Value | None:
        """The value of a measure for this subject; `engine` ("" for the program) and `cylinder` look at another."""
        if self.desk is None:
            return None
        build = (self.build.id if self.build else "") if engine is None else _id(engine)
        number = self.cylinder if cylinder is None else cylinder
        return self.desk.value(measure, build, number, phase, at, coating)

    def values(
        self,
        measure: str,
        *,
        engine: Build | str | None = None,
        cylinder: int | None = None,
        phase: str | None = None,
        at: str | None = None,
        coating: str | None = None,
    ) -> list[Value]:
        """All values of a measure, narrowed by what is given; without narrowing those of the whole program."""
        if self.desk is None:
            return []
        build = None if engine is None else _id(engine)
        return [
            value
            for value in self.desk.of(measure, build)
            if (cylinder is None or value.key.cylinder == cylinder)
            and (phase is None or value.key.phase == phase)
            and (at is None or value.key.at == at)
            and (coating is None or value.key.coating == coating)
        ]

    def verdicts(
        self,
        rule: str = "",
        *,
        engine: Build | str | None = None,
        cylinder: int | None = None,
        coating: str | None = None,
        phase: str | None = None,
    ) -> list[Verdict]:
        """Verdicts of the program, narrowed by what is given."""
        build = None if engine is None else _id(engine)
        return [
            verdict
            for verdict in self.the_desk.verdicts(build)
            if (not rule or verdict.rule == rule)
            and (cylinder is None or verdict.key.cylinder == cylinder)
            and (coating is None or verdict.key.coating == coating)
            and (phase is None or verdict.key.phase == phase)
        ]

    @property
    def comparisons(self) -> Sequence[Comparison]:
        """Coatings set against the reference, the primary first."""
        return self.the_desk.analysis.comparisons

    def state(self, engine: Build | str | None = None, cylinder: int | None = None) -> Verdict | None:
        """The state of a cylinder (seated, still seating, not seated ...), where one was concluded."""
        if self.desk is None:
            return None
        build = (self.build.id if self.build else "") if engine is None else _id(engine)
        return self.desk.state(build, self.cylinder if cylinder is None else cylinder)

    # ---- what was recorded ----

    def readings(
        self,
        stream: str,
        *,
        engine: Build | str | None = None,
        cylinder: int | None = None,
        phase: str = "",
        used: bool = False,
    ) -> pd.DataFrame:
        """Readings of a stream for this subject, in the order of the record; `used`: only those that count."""
        if self.desk is None:
            raise LookupError("this view is of the whole folder")
        build = (self.build.id if self.build else "") if engine is None else _id(engine)
        number = (self.cylinder if cylinder is None else cylinder) if build else 0
        frame = self.desk.rows(stream, build, number)
        if phase:
            frame = frame[frame["phase"] == phase]
        return frame[frame["use"] == ""] if used else frame

    def records(self, stream: str, kind: type[R], *, phase: str = "", used: bool = False) -> list[R]:
        """Readings of this subject row by row, in the order of the record; `kind` declares the fields looked at."""
        if self.desk is None:
            raise LookupError("this view is of the whole folder")
        rows = self.desk.tuples(stream, kind, self.build.id if self.build else "", self.cylinder if self.build else 0)
        return [row for row in rows if (not phase or row.phase == phase) and (not used or row.use == "")]

    def series(self, id: str) -> list[Series]:
        """Curves of this subject by id."""
        return [
            each
            for each in self.the_desk.series(None if self.build is None else self.build.id)
            if each.id == id and (not self.cylinder or each.key.cylinder == self.cylinder)
        ]

    @property
    def problems(self) -> Sequence[Problem]:
        return self.analysis.problems

    # ---- links ----

    def href(self, target: str) -> str:
        """Link from this page to a path of the site."""
        return relative(target, self.page)

    def href_program(self, program: Program | str | None = None, anchor: str = "") -> str:
        target = self.addresses.programs[self.program.id if program is None else _id(program)]
        return self.href(f"{target}#{anchor}" if anchor else target)

    def href_engine(self, build: Build | str | None = None, anchor: str = "") -> str:
        target = self.addresses.engines[self.program.id, self.the_build.id if build is None else _id(build)]
        return self.href(f"{target}#{anchor}" if anchor else target)

    def href_cylinder(self, build: Build | str | None = None, cylinder: int | None = None, anchor: str = "") -> str:
        owner = self.the_build.id if build is None else _id(build)
        target = self.addresses.cylinders[self.program.id, owner, self.cylinder if cylinder is None else cylinder]
        return self.href(f"{target}#{anchor}" if anchor else target)

    def href_coating(self, coating: Coating | str) -> str:
        return self.href(self.addresses.coatings[_id(coating)])

    def href_methods(self, measure: str = "") -> str:
        return self.href(f"{self.addresses.methods}#{slug(measure)}" if measure else self.addresses.methods)

    def href_data(self, anchor: str = "") -> str:
        target = self.addresses.data[self.program.id]
        return self.href(f"{target}#{anchor}" if anchor else target)

    # ---- words ----

    def text(self, value: Value | None, *, interval: bool = True, unit: bool = False) -> str:
        """A value as printed, by its interval, with its unit when asked."""
        printed = words.value_text(value, interval=interval)
        if unit and value is not None and value.status in {"ok", "below"}:
            return words.with_unit(printed, self.measures[value.measure].unit)
        return printed

    def among(self, value: Value | None) -> Cell | None:
        """A value of a cylinder with those of the others of its build: "3.3 ± 1.0 mg, the others 2.9 to 3.2"."""
        if value is None or value.value is None:
            return None
        key = value.key
        beside = [each.value for each in self.values(value.measure, engine=key.engine, phase=key.phase, at=key.at)
                  if each.key.cylinder != key.cylinder and each.value is not None]  # fmt: skip
        told = self.text(value, unit=True)
        if not beside:
            return Cell(told)
        places = words.decimals_for(((value.high or 0.0) - (value.low or 0.0)) / 2) if value.low is not None else None
        low, high = (words.number(each, places) for each in (min(beside), max(beside)))
        return Cell(told, note=f"the {words.plural(len(beside), 'other')} {words.from_to(low, high)}")

    def cell(self, value: Value | None, note: str = "") -> Cell:
        """A value in a table; where there is no answer the reason stands in place of the note."""
        none = value is not None and value.status == "refused"
        return Cell(self.text(value), note=self.why(value.reason) if value is not None and none else note)

    def why(self, code: str) -> str:
        """The clause of a reason or flag code."""
        return reasons.CATALOGUE.get(code, code.replace("-", " "))

    def coating_title(self, coating: str) -> str:
        return self.folder.definitions.coatings[coating].title

    def coating_cell(self, coating: str, *, link: bool = True) -> Cell:
        """The coating's key and name, linked to its page."""
        return Cell(self.coating_title(coating), href=self.href_coating(coating) if link else "", coating=coating)

    def _build(self, build: Build | str) -> Build:
        return self.program.build(build) if isinstance(build, str) else build


def _by_place(rows: Sequence[R]) -> dict[tuple[str, int], list[R]]:
    """Rows by build and cylinder (0: all of the build), in their order; all of them under ("", 0)."""
    places: dict[tuple[str, int], list[R]] = {("", 0): list(rows)}
    for row in rows:
        engine: object = row.engine
        number: object = getattr(row, "cylinder", math.nan)  # some streams belong to whole engines
        if isinstance(engine, str):  # nan where it is missing
            places.setdefault((engine, 0), []).append(row)
            if isinstance(number, int | float) and not math.isnan(number):
                places.setdefault((engine, int(number)), []).append(row)
    return places


def _id(subject: Named | str) -> str:
    return subject if isinstance(subject, str) else subject.id
