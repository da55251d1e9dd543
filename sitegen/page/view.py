"""What the content of a page may look at: one subject, its values, its readings and its links.

A section gets a `View` and returns blocks. Numbers are formatted by `words`; links are relative to the page the view
was made for, so the same section serves the home page and the program page.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from collections.abc import Callable, Hashable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Protocol, TypeVar, cast

from sitegen import reasons
from sitegen.page import counts, words
from sitegen.page.addresses import Addresses, relative, slug
from sitegen.page.blocks import Cell
from sitegen.program.calibrated import Doubt
from sitegen.program.doubted import Doubted
from sitegen.program.model import Build, Coating, Effect, Folder, Phase, Program, Restated, Reviewed, Standing
from sitegen.shelves import NONE, Shelves, digest, key_of
from sitegen.tables.rows import Recorded, given, rows_of
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
    def written(self) -> str: ...
    @property
    def restated(self) -> Sequence[Restated] | None: ...
    @property
    def doubted(self) -> Sequence[Doubted]: ...
    @property
    def taken(self) -> Sequence[Standing]: ...
    @property
    def reviewed(self) -> Sequence[Reviewed]: ...
    @property
    def effects(self) -> Sequence[Effect]: ...
    @property
    def stand(self) -> str: ...
    @property
    def days(self) -> Sequence[str]: ...
    @property
    def files(self) -> Mapping[str, bytes]: ...
    @property
    def digests(self) -> Mapping[str, Mapping[str, str]]: ...
    @property
    def as_of(self) -> str: ...


class Asked(NamedTuple):
    """A part of an analysis that a page looked at; "" for the build: at that of all builds."""

    what: Literal[
        "values", "count", "places", "statuses", "codes", "verdicts", "comparisons", "curves", "readings", "present",
        "aside", "days", "days by build", "doubted", "problems", "git", "stand", "all",
    ]  # fmt: skip
    name: str = ""  # of the measure, the stream, the rule ("": every) or the curve; or what git is asked for
    build: str = ""
    cylinder: int = -1  # 0: what belongs to none of them; -1: of all


_OTHERWISE = frozenset({"problems", "git", "all"})  # what does not follow from the stand of an analysis


class _Laid:
    """Results laid out by subject, each kind when somebody first asks for it."""

    def __init__(self, analysis: Analysis) -> None:
        self._analysis = analysis
        self._recorded: dict[str, tuple[dict[str, Sequence[Any]], dict[tuple[str, float], list[int]]]] = {}
        self._by_cylinder: dict[tuple[str, str | None, int], list[Value]] = {}
        self._statuses: dict[tuple[str, str], dict[str, tuple[bool, str]]] = {}
        self._uses: dict[str, dict[str, list[tuple[str, int]]]] = {}

    @cached_property
    def values(self) -> Mapping[tuple[str, str, int, str, str], list[Value]]:
        """By measure, build, cylinder, phase and place."""
        found: dict[tuple[str, str, int, str, str], list[Value]] = {}
        for (measure, key), value in self._analysis.values.items():
            found.setdefault((measure, key.engine, key.cylinder, key.phase, key.at), []).append(value)
        return found

    @cached_property
    def _by_build(self) -> Mapping[tuple[str, str | None], list[Value]]:
        found: dict[tuple[str, str | None], list[Value]] = {}
        for (measure, key), value in self._analysis.values.items():
            found.setdefault((measure, None), []).append(value)
            found.setdefault((measure, key.engine), []).append(value)
        return found

    def of(self, measure: str, build: str | None = None, cylinder: int = -1) -> Sequence[Value]:
        """Of one measure, of a build or of all."""
        own = self._by_build.get((measure, build), [])
        if cylinder < 0:
            return own
        where = measure, build, cylinder
        if where not in self._by_cylinder:
            self._by_cylinder[where] = [value for value in own if value.key.cylinder == cylinder]
        return self._by_cylinder[where]

    def statuses(self, measure: str, build: str) -> Mapping[str, tuple[bool, str]]:
        """By phase: whether a build has a value of a measure there, and why there is none, where one was refused."""
        if (measure, build) not in self._statuses:
            found = self._statuses.setdefault((measure, build), {})
            for value in self.of(measure, build):
                known, why = found.get(value.key.phase, (False, ""))
                why = why or (value.reason if value.status == "refused" else "")
                found[value.key.phase] = known or value.status in {"ok", "below"}, why
        return self._statuses[measure, build]

    def cells(self, stream: str, build: str, cylinder: int) -> list[tuple[str, list[object]]]:
        """What was recorded of one cylinder, by column."""
        if stream not in self._recorded:
            readings, found = self._analysis.readings[stream], dict[tuple[str, float], list[int]]()
            columns = {name: readings.cells(name) for name in readings.names}
            for place, where in enumerate(zip(columns["engine"], columns.get("cylinder", ()), strict=False)):
                found.setdefault(where, []).append(place)
            self._recorded[stream] = columns, found
        columns, found = self._recorded[stream]
        places = found.get((build, cylinder), ())
        return [(name, [column[place] for place in places]) for name, column in columns.items()]

    def uses(self, stream: str) -> Mapping[str, list[tuple[str, int]]]:
        """Use and cylinder of each reading, by build."""
        if stream not in self._uses:
            found = self._uses.setdefault(stream, {})
            engines, uses, numbers = map(self._analysis.readings[stream].cells, ("engine", "use", "cylinder"))
            for engine, use, number in zip(engines, uses, numbers or [0] * len(engines), strict=False):
                found.setdefault(str(engine), []).append((use, int(number) if given(number) else 0))
        return self._uses[stream]

    @cached_property
    def places(self) -> Mapping[str, frozenset[str]]:
        """By measure, places inside a phase of which there is a value."""
        found: dict[str, set[str]] = {}
        for measure, key in self._analysis.values:
            found.setdefault(measure, set()).add(key.at)
        return {measure: frozenset(own) for measure, own in found.items()}

    @cached_property
    def present(self) -> Mapping[str, Mapping[tuple[str, str, str], Mapping[int, bool]]]:
        """By build: cylinders with a reading, by build, phase and stream; True where one of them counts."""
        found: dict[str, dict[tuple[str, str, str], dict[int, bool]]] = {}
        for stream, readings in self._analysis.readings.items():
            engines, phases, uses = (readings.cells(name) for name in ("engine", "phase", "use"))
            numbers = readings.cells("cylinder") or [0] * len(engines)
            for engine, phase, number, use in zip(engines, phases, numbers, uses, strict=False):
                if given(number) or use == "":  # of an event, no cylinder is the whole engine
                    where = str(engine), str(phase), stream
                    cylinders = found.setdefault(where[0], {}).setdefault(where, {})
                    place = int(number) if given(number) else 0
                    cylinders[place] = cylinders.get(place, False) or use == ""
        return found

    @cached_property
    def files_used(self) -> tuple[int, int]:
        """Record files with at least one reading that counts, and record files in all."""
        files = [tally for readings in self._analysis.readings.values() for tally in readings.tally.values()]
        return sum(1 for tally in files if tally["used"]), len(files)

    @cached_property
    def verdicts(self) -> Mapping[str, list[Verdict]]:
        """By build."""
        found: dict[str, list[Verdict]] = {}
        for verdict in self._analysis.verdicts:
            found.setdefault(verdict.key.engine, []).append(verdict)
        return found

    @cached_property
    def series(self) -> Mapping[str, list[Series]]:
        """By build."""
        found: dict[str, list[Series]] = {}
        for series in self._analysis.series:
            found.setdefault(series.key.engine, []).append(series)
        return found

    @cached_property
    def states(self) -> Mapping[tuple[str, int], Verdict]:
        """By build and cylinder."""
        return {
            (verdict.key.engine, verdict.key.cylinder): verdict
            for verdict in self._analysis.verdicts
            if verdict.rule == STATE and verdict.key.cylinder
        }


def mark(program: str, of: int = 0) -> str:
    """What stands for something of a program until pages are filled; 0: the short name of its results."""
    # private use area of Unicode: no text of a user's means anything by it
    return chr(0xE000 + of) + hashlib.sha256(program.encode()).hexdigest()[:6]


class Desk:
    """One analysis with its values, verdicts and readings laid out by subject. Built once a program.

    It is the only way from a page to the analysis, and notes what was asked for: a page is what it was for as long as
    all of that is. Whoever takes the analysis itself has asked for everything.
    """

    def __init__(self, analysis: Analysis) -> None:
        self._analysis = analysis
        self._laid = _Laid(analysis)
        self.program = analysis.program
        self._rows: dict[Hashable, Mapping[tuple[str, int], list[Any]]] = {}
        self._once: dict[Hashable, tuple[object, frozenset[Asked]]] = {}
        self._asked: set[Asked] = set()
        self._stands: dict[Asked, str] = {}
        self._taken_up = 0
        self._shelves = NONE

    def seen(self, program: Program) -> Desk:
        """The same desk, the program seen another way."""
        other = copy(self)
        other.program, other._once, other._asked = program, {}, set()
        return other

    # ---- what was asked for ----

    def asked(self) -> frozenset[Asked]:
        """What was asked for since this was last called."""
        found, self._asked = frozenset(self._asked), set()
        return found

    @property
    def analysis(self) -> Analysis:
        self._asked.add(Asked("all"))
        return self._analysis

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What a section works out once a program, under a key of its own."""
        if key not in self._once:
            before, self._asked = self._asked, set()
            made = make()
            self._once[key] = made, frozenset(self._asked)
            self._asked |= before
        made, asked = cast("tuple[T, frozenset[Asked]]", self._once[key])
        self._asked |= asked
        return made

    # ---- the parts ----

    @property
    def streams(self) -> Sequence[str]:
        """Kinds of record there are; with what was recorded they have nothing to do."""
        return tuple(self._analysis.readings)

    @property
    def results(self) -> str:
        """Stands for the short name of the state of the results, "" where they have none; see `filled`."""
        return self._mark(0) if self._analysis.results_id else ""

    @property
    def as_of(self) -> str:
        """Stands for the day of the newest record, "" where none is dated; see `filled`."""
        self._asked.add(Asked("stand"))
        return self._mark(1) if self._analysis.as_of else ""

    @property
    def day(self) -> str:
        """The same for the ISO date."""
        return self._mark(2) if self.as_of else ""

    @property
    def notes(self) -> tuple[str, str]:
        """Stand for the notes of the program and for what they are about: else every word of them moves its page."""
        return self._mark(3), self._mark(4)

    def filled(self) -> dict[str, str]:
        """What is printed for what stands on every page: else every reading would move every page."""
        own = self._analysis
        day = words.day(own.as_of) if own.as_of else ""
        return {self._mark(0): own.results_id, self._mark(1): day, self._mark(2): own.as_of}

    def _mark(self, of: int) -> str:
        return mark(self.program.id, of)

    @property
    def files_used(self) -> tuple[int, int]:
        """Record files with at least one reading that counts, and record files in all."""
        self._asked.add(Asked("stand"))
        return self._laid.files_used

    @property
    def restated(self) -> Sequence[Restated] | None:
        """What was set beforehand and changed late; None where no history is known."""
        self._asked.add(Asked("git", "restated"))
        return self._analysis.restated

    @property
    def looks(self) -> int | None:
        """How often the primary comparison was looked at before all builds were in; None where that is not known."""
        self._asked.add(Asked("git", "looks"))
        return self._analysis.looks

    @property
    def changes(self) -> Sequence[Change] | None:
        """What moved since the last commit of the results; None where there is nothing to compare with."""
        self._asked.add(Asked("git", "changes"))
        return self._analysis.changes

    @property
    def written(self) -> str:
        """Where something moved: that another version wrote what git holds, and what it changed, a clause."""
        self._asked.add(Asked("git", "written"))
        return self._analysis.written

    @property
    def taken(self) -> Sequence[Standing]:
        """Decisions, and what moved since they were taken."""
        self._asked.add(Asked("git", "taken"))
        return self._analysis.taken

    @property
    def doubted(self) -> Sequence[Doubted]:
        """Instruments that were found off, and what that does."""
        self._asked.add(Asked("doubted", build=EVERY))
        return self._analysis.doubted

    def doubted_of(self, build: str) -> Sequence[tuple[Doubt, int]]:
        """Instruments that were found off, each with the readings of a build that are in doubt for it."""
        self._asked.add(Asked("doubted", build=build))
        return [(each.doubt, each.builds[build]) for each in self._analysis.doubted if build in each.builds]

    @property
    def problems(self) -> Sequence[Problem]:
        self._asked.add(Asked("problems"))
        return self._analysis.problems

    @property
    def comparisons(self) -> Sequence[Comparison]:
        """Coatings set against the reference, the primary first."""
        self._asked.add(Asked("comparisons"))
        return self._analysis.comparisons

    @property
    def days(self) -> Sequence[str]:
        """ISO date of each dated record that is used, in order."""
        self._asked.add(Asked("days"))
        return self._analysis.days

    @property
    def newest(self) -> str:
        """ISO date of the newest record; "" where none is dated."""
        self._asked.add(Asked("days"))
        return self._analysis.as_of

    @property
    def not_used(self) -> str:
        """How many readings are not used, as a clause; see `counts.not_used`."""
        self._asked.add(Asked("aside"))
        return counts.not_used(self._analysis.readings.values())

    @property
    def days_by_build(self) -> Mapping[str, Sequence[str]]:
        """ISO dates of the records of each build that are used."""
        self._asked.add(Asked("days by build"))
        found: dict[str, dict[tuple[str, str], None]] = {}
        for stream, readings in self._analysis.readings.items():
            columns = (readings.cells(name) for name in ("engine", "date", "use"))
            for engine, day, use in zip(*columns, strict=False):
                if use == "" and given(engine) and given(day):
                    found.setdefault(str(engine), {})[stream, str(day)[:10]] = None
        return {build: [day for _, day in own] for build, own in found.items()}

    def present(self, build: str = "") -> Mapping[tuple[str, str, str], Mapping[int, bool]]:
        """Cylinders with a reading, by build, phase and stream, of one build or all; True where one of them counts."""
        self._asked.add(Asked("present", build=build or EVERY))
        own = self._laid.present
        return own.get(build, {}) if build else {where: each for of in own.values() for where, each in of.items()}

    def statuses(self, measure: str, build: str) -> Mapping[str, tuple[bool, str]]:
        """By phase: whether a build has a value of a measure there, and why there is none, where one was refused."""
        self._asked.add(Asked("statuses", measure, build))
        return self._laid.statuses(measure, build)

    @property
    def codes(self) -> Counter[str]:
        """How often each code of a reason or a flag occurs."""
        self._asked.add(Asked("codes"))
        own = self._analysis
        met: Counter[str] = Counter()
        for readings in own.readings.values():
            met.update(readings.cells("use"))
        for value in own.values.values():
            met.update({value.reason, *value.flags})
        for comparison in own.comparisons:
            met.update({comparison.reason, *comparison.flags})
        met.update(verdict.reason for verdict in own.verdicts)
        return met

    @property
    def recorded(self) -> bool:
        """Whether anything was recorded at all."""
        self._asked.add(Asked("stand"))
        return any(readings.cells("file") for readings in self._analysis.readings.values())

    @property
    def stand(self) -> str:
        """Hash of all the results follow from."""
        return self._analysis.stand

    def value(self, measure: str, engine: str, cylinder: int, phase: str, at: str, coating: str) -> Value | None:
        self._asked.add(Asked("values", measure, engine, cylinder))
        for value in self._laid.values.get((measure, engine, cylinder, phase, at), ()):
            if not coating or value.key.coating == coating:
                return value
        return None

    def of(self, measure: str, engine: str | None = None, cylinder: int = -1) -> Sequence[Value]:
        self._asked.add(Asked("values", measure, EVERY if engine is None else engine, cylinder))
        return self._laid.of(measure, engine, cylinder)

    def count(self, measure: str) -> tuple[int, int]:
        """How many values of a measure there are, and in how many places there is none."""
        self._asked.add(Asked("count", measure))
        own = self._laid.of(measure)
        return (
            sum(value.status in {"ok", "below"} for value in own),
            sum(value.status in {"refused", "missing"} for value in own),
        )

    def places(self, measure: str, engine: str | None = None, cylinder: int = -1) -> frozenset[str]:
        """Places inside a phase of which there is a value of a measure, in any build or in one."""
        self._asked.add(Asked("places", measure, EVERY if engine is None else engine, cylinder))
        if engine is None:
            return self._laid.places.get(measure, frozenset())
        return frozenset(value.key.at for value in self._laid.of(measure, engine, cylinder))

    def verdicts(self, rule: str = "", engine: str | None = None, cylinder: int = -1) -> Sequence[Verdict]:
        self._asked.add(Asked("verdicts", rule, EVERY if engine is None else engine, cylinder))
        own = self._analysis.verdicts if engine is None else self._laid.verdicts.get(engine, [])
        return [each for each in own if rule in {"", each.rule} and cylinder in {-1, each.key.cylinder}]

    def series(self, id: str, engine: str | None = None, cylinder: int = -1) -> Sequence[Series]:
        self._asked.add(Asked("curves", id, EVERY if engine is None else engine, cylinder))
        own = self._analysis.series if engine is None else self._laid.series.get(engine, [])
        return [each for each in own if each.id == id and cylinder in {-1, each.key.cylinder}]

    def state(self, build: str, cylinder: int) -> Verdict | None:
        self._asked.add(Asked("verdicts", STATE, build, cylinder))
        return self._laid.states.get((build, cylinder))

    def of_record(
        self, stream: str, build: str, about: tuple[object, ...], make: Callable[[Readings], T],
        pack: Callable[[T], bytes], unpack: Callable[[bytes], T],
    ) -> T:  # fmt: skip
        """What `make` gives, which is about nothing but what a build recorded in a stream, and `about`.

        It lies on the shelves, so that logs and traces are read again only where they are others.
        """
        self._asked.add(Asked("readings", stream, build))
        readings, recorded = self._analysis.readings[stream], self._analysis.digests.get(stream, {}).get(build)
        if recorded is None:
            return make(readings)
        key = key_of("page", "of record", stream, build, recorded, about)
        return self._shelves.kept(key, lambda: make(readings), pack, unpack)

    def frame(self, stream: str) -> pd.DataFrame:
        """Readings of one stream, in the order of the record."""
        self._asked.add(Asked("readings", stream, EVERY))
        return self._analysis.readings[stream].frame

    def uses(self, stream: str, build: str) -> Sequence[tuple[str, int]]:
        """Of each reading of a build its use and its cylinder, 0 where it is of none, in the order of the record."""
        self._asked.add(Asked("readings", stream, build))
        return self._laid.uses(stream).get(build, [])

    def tuples(self, stream: str, kind: type[R], build: str, cylinder: int) -> list[R]:
        """The same rows as tuples; laid out once, since pages ask for them phase by phase."""
        self._asked.add(Asked("readings", stream, build or EVERY, cylinder if build and cylinder else -1))
        if (stream, kind) not in self._rows:
            self._rows[stream, kind] = _by_place(rows_of(self._analysis.readings[stream].frame, kind))
        return self._rows[stream, kind].get((build, cylinder if build else 0), [])

    def take_up(self, shelves: Shelves) -> None:
        """What answers rest on, where that was reckoned for the same results: else all of them are looked at."""
        self._shelves = shelves
        kept = shelves.find(self._key, lambda told: {Asked(*asked): sha for *asked, sha in json.loads(told)})
        self._stands |= kept or {}
        self._taken_up = len(self._stands)

    def keep(self, shelves: Shelves) -> None:
        """Put it there, for the next time."""
        if shelves.open and len(self._stands) > self._taken_up:
            own = {asked: sha for asked, sha in self._stands.items() if asked.what not in _OTHERWISE}
            shelves.put(self._key, own, lambda own: json.dumps([[*asked, sha] for asked, sha in own.items()]).encode())

    @property
    def _key(self) -> str:
        return key_of("stands", self._analysis.stand)

    def stand_of(self, asked: Asked) -> str:
        """Hash of what an answer rests on today."""
        if asked not in self._stands:
            self._stands[asked] = digest(self._answer(asked))
        return self._stands[asked]

    def _answer(self, asked: Asked) -> object:
        own, every = self._analysis, asked.build == EVERY
        match asked.what:
            case "values":
                return self._laid.of(asked.name, None if every else asked.build, asked.cylinder)
            case "count":
                return self.count(asked.name)
            case "places":
                return self.places(asked.name, None if every else asked.build, asked.cylinder)
            case "verdicts":
                return self.verdicts(asked.name, None if every else asked.build, asked.cylinder)
            case "curves":
                return self.series(asked.name, None if every else asked.build, asked.cylinder)
            case "readings":
                if asked.cylinder > 0:  # its rows; logs and traces are of the whole build
                    return self._laid.cells(asked.name, asked.build, asked.cylinder)
                return own.digests.get(asked.name, {}).get("" if every else asked.build, "")
            case "statuses":
                return self.statuses(asked.name, asked.build)
            case "codes":
                return sorted(self.codes.items())
            case "comparisons":
                return own.comparisons
            case "present":
                return list(self.present("" if every else asked.build).items())
            case "aside":
                return self.not_used
            case "days":
                return own.days
            case "days by build":
                return self.days_by_build
            case "doubted":
                return own.doubted if every else self.doubted_of(asked.build)
            case "problems":
                return own.problems
            case "git":
                return getattr(own, asked.name)
            case "stand":
                return bool(own.as_of), self.recorded, self.files_used
            case "all":
                return (
                    own.stand, [each.problems for each in own.readings.values()], own.problems, own.looks,
                    own.changes, own.written, own.taken, own.reviewed, own.effects, own.restated,
                )  # fmt: skip


EVERY = "*"  # all builds; no id of a build is that


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
        return self.the_desk.program

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
            for value in self.desk.of(measure, build, -1 if cylinder is None else cylinder)
            if (phase is None or value.key.phase == phase)
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
            for verdict in self.the_desk.verdicts(rule, build, -1 if cylinder is None else cylinder)
            if (coating is None or verdict.key.coating == coating) and (phase is None or verdict.key.phase == phase)
        ]

    @property
    def comparisons(self) -> Sequence[Comparison]:
        """Coatings set against the reference, the primary first."""
        return self.the_desk.comparisons

    def state(self, engine: Build | str | None = None, cylinder: int | None = None) -> Verdict | None:
        """The state of a cylinder (seated, still seating, not seated ...), where one was concluded."""
        if self.desk is None:
            return None
        build = (self.build.id if self.build else "") if engine is None else _id(engine)
        return self.desk.state(build, self.cylinder if cylinder is None else cylinder)

    # ---- what was recorded ----

    def records(self, stream: str, kind: type[R], *, phase: str = "", used: bool = False) -> list[R]:
        """Readings of this subject row by row, in the order of the record; `kind` declares the fields looked at."""
        if self.desk is None:
            raise LookupError("this view is of the whole folder")
        rows = self.desk.tuples(stream, kind, self.build.id if self.build else "", self.cylinder if self.build else 0)
        return [row for row in rows if (not phase or row.phase == phase) and (not used or row.use == "")]

    def series(self, id: str) -> list[Series]:
        """Curves of this subject by id."""
        return [*self.the_desk.series(id, None if self.build is None else self.build.id, self.cylinder or -1)]

    @property
    def problems(self) -> Sequence[Problem]:
        return self.the_desk.problems

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
        link = link and not self.folder.blind
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
