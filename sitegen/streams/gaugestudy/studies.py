"""Readings put together by study and tester: what was read by whom. Steps, checks and pages ask here alike."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from sitegen.methods import gauge_study as method
from sitegen.methods import leakdown
from sitegen.program.model import Program, Tester
from sitegen.streams.gaugestudy.fields import Reading
from sitegen.tables.rows import given
from sitegen.vocabulary import Refused


@dataclass(frozen=True, order=True)
class Thing:
    """What was read: a cylinder of a build, a reference orifice or a leak standard."""

    kind: str  # "cylinder", "reference" or "standard"
    name: str  # of the build, the orifice or the standard
    cylinder: int = 0

    @property
    def told(self) -> str:
        """As printed: "B2 cylinder 3", "R1"."""
        return f"{self.name} cylinder {self.cylinder}" if self.cylinder else self.name


@dataclass(frozen=True)
class Study:
    """The readings of one study that were taken with one tester, in the order of the record."""

    name: str
    tester: str
    rows: tuple[Reading, ...]

    @property
    def at(self) -> str:
        """Place of its values."""
        return f"{self.name}/{self.tester}"

    @property
    def things(self) -> list[Thing]:
        """What was read, each once."""
        return list(dict.fromkeys(map(thing, self.rows)))

    @property
    def operators(self) -> list[str]:
        """Who read, each once."""
        return list(dict.fromkeys(row.operator for row in self.rows))

    @property
    def day(self) -> str:
        """Of its last reading; "" where none is dated."""
        return max((row.date for row in self.rows if isinstance(row.date, str)), default="")

    @property
    def places(self) -> list[tuple[Thing, str]]:
        """Object and operator of each reading."""
        return [(thing(row), row.operator) for row in self.rows]

    @property
    def short_of(self) -> int:
        """How many readings are missing to a balanced study."""
        return method.short_of(self.places)


def thing(row: Reading) -> Thing:
    """What a reading is of."""
    if given(row.standard):
        return Thing("standard", str(row.standard))
    if given(row.reference):
        return Thing("reference", str(row.reference))
    return Thing("cylinder", str(row.engine), int(row.cylinder))


def studies(rows: Iterable[Reading]) -> list[Study]:
    """Every study by tester, from the readings in use."""
    groups: dict[tuple[str, str], list[Reading]] = {}
    for row in rows:
        if row.use == "":
            groups.setdefault((row.study, row.tester), []).append(row)
    return [Study(*where, tuple(own)) for where, own in groups.items()]


def cylinder_gauge(row: Reading, tester: Tester) -> float:
    """Cylinder gauge pressure [Pa gauge]; nan where a percent scale cannot be turned into one."""
    if given(row.pressure) or not tester.percent_linear:
        return row.pressure
    return float(leakdown.cylinder_from_percent(row.supply, row.percent))


def area_of(program: Program, row: Reading) -> float:
    """Leak area [m²] by the nominal orifice of the tester, at one temperature throughout.

    Refuses: `percent-scale-unknown`, `below-detection` where there is no drop, `cylinder-at-ambient`.
    """
    tester = program.definitions.testers[row.tester]
    cylinder = cylinder_gauge(row, tester)
    if not given(cylinder):
        raise Refused("percent-scale-unknown")
    if cylinder >= row.supply:
        raise Refused("below-detection")
    if cylinder <= 0:
        raise Refused("cylinder-at-ambient")
    ambient = row.ambient if given(row.ambient) else leakdown.STANDARD_AMBIENT
    return float(leakdown.area_ratio(row.supply, cylinder, ambient)) * leakdown.orifice_area(tester.orifice)


def split_by_coating(program: Program, study: Study) -> bool:
    """Whether each operator read cylinders of one coating only, and not all of them the same."""
    builds = {build.id: build for build in program.builds}  # a step may look at some of them alone
    seen: dict[Hashable, set[str]] = {}
    for row in study.rows:
        what = thing(row)
        if what.kind == "cylinder" and what.name in builds:
            coating = builds[what.name].coating_of(what.cylinder)
            seen.setdefault(row.operator, set()).add(coating)
    every = set().union(*seen.values())
    return len(every) > 1 and all(len(each) == 1 for each in seen.values())


def order_told(study: Study) -> str:
    """Flag of what is wrong with the order of a study; "" where each operator had an order of his own.

    Not random: two operators took the objects in one and the same order, or the repeats of every object followed each
    other at once.
    """
    if not all(given(row.order) for row in study.rows):
        return "order-not-recorded"
    by_operator: dict[str, list[Thing]] = {}
    for row in sorted(study.rows, key=lambda row: row.order):
        by_operator.setdefault(row.operator, []).append(thing(row))
    orders = list(by_operator.values())
    runs = all(_in_runs(each) for each in orders)
    alike = len({tuple(each) for each in orders}) < len(orders)
    return "order-not-random" if runs or alike else ""


def _in_runs(order: Sequence[Thing]) -> bool:
    """Whether all repeats of each object follow each other."""
    changes = sum(a != b for a, b in pairwise(order))
    return changes == len(set(order)) - 1


def blind_told(study: Study) -> str:
    """Flag of a study that was not blind, or does not say so."""
    said = {row.blind for row in study.rows if isinstance(row.blind, str)}
    if "no" in said:
        return "not-blind"
    return "" if all(given(row.blind) for row in study.rows) else "blind-not-recorded"
