"""Readings put together by check: what one tester read on one cylinder in one condition.

Steps and pages ask here which readings make a value, so that both mean the same.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sitegen.methods import leakdown as method
from sitegen.program.model import Program, Tester
from sitegen.streams.leakdown.fields import PATHS, Reading
from sitegen.streams.leakdown.protocol import outside
from sitegen.tables.rows import given
from sitegen.vocabulary import Refused


@dataclass(frozen=True)
class Air:
    """Gauge pressures of one reading and what the flow depends on besides. SI."""

    supply: float  # Pa gauge
    cylinder: float  # Pa gauge; nan where a percent scale cannot be turned into a pressure
    ambient: float  # Pa abs
    supply_temperature: float  # K
    cylinder_temperature: float  # K

    def ratio(self) -> float:
        """Leak area over the tester's orifice area [-]."""
        return float(
            method.area_ratio(
                self.supply, self.cylinder, self.ambient, self.supply_temperature, self.cylinder_temperature
            )
        )


@dataclass(frozen=True)
class Check:
    """The readings that make one value, in the order they were taken."""

    engine: str
    cylinder: int
    phase: str
    at: str  # "" the program's condition; else what differs: "wet", "metal-below", "tester:T2"
    tester: str
    other_tester: bool  # not the tester most of this build's readings were taken with
    readings: tuple[str, ...]
    airs: tuple[Air, ...]
    percents: tuple[float, ...]
    shares: tuple[dict[str, float], ...]  # recorded shares by path [%], one a reading that has any
    crankcase_flows: tuple[float, ...]  # m3/s, of readings that have one
    assumed: frozenset[str]  # flags: what had to be assumed


def air_of(row: Reading, tester: Tester) -> Air:
    """Pressures and temperatures of one reading; `row` has the stream's fields as attributes."""
    cylinder = row.pressure
    if not given(cylinder) and tester.percent_linear:
        cylinder = float(method.cylinder_from_percent(row.supply, row.percent))
    supply_temperature = method.REFERENCE_TEMPERATURE if not given(row.air_temperature) else float(row.air_temperature)
    at_rest = given(row.reference)  # a reference orifice has the temperature of the air, not of the engine
    return Air(
        supply=float(row.supply),
        cylinder=float(cylinder),
        ambient=method.STANDARD_AMBIENT if not given(row.ambient) else float(row.ambient),
        supply_temperature=supply_temperature,
        cylinder_temperature=supply_temperature
        if at_rest or not given(row.metal_temperature)
        else float(row.metal_temperature),
    )


def reference_rows(rows: Iterable[Reading]) -> list[Reading]:
    """Used readings of a reference orifice in the cylinder's place."""
    return [row for row in rows if row.use == "" and given(row.reference)]


def checks(program: Program, rows: Iterable[Reading]) -> Iterator[Check]:
    """Used readings of cylinders by build, cylinder, phase and condition, in the order of the record.

    `rows` are the readings of the stream as `tables.rows.rows_in` gives them.
    """
    kept = [row for row in rows if row.use == "" and given(row.cylinder) and not given(row.reference)]
    states = temperature_states(program, kept)
    testers: dict[str, list[str]] = {}
    for row in kept:
        testers.setdefault(row.engine, []).append(row.tester)
    main = {engine: _commonest(names) for engine, names in testers.items()}
    groups: dict[tuple[str, int, str, str, str], list[Reading]] = {}
    for row in kept:
        at = condition(program, states[row.engine, row.phase], row)
        groups.setdefault((row.engine, int(row.cylinder), row.phase, at, row.tester), []).append(row)
    for (engine, cylinder, phase, at, tester), rows in groups.items():
        other = tester != main[engine]
        # Beside the build's own tester another one is kept apart; alone at a check it stands in, flagged.
        beside = other and (engine, cylinder, phase, at, main[engine]) in groups
        place = ",".join(part for part in (at, f"tester:{tester}" if beside else "") if part)
        state = states[engine, phase]
        yield _check(program.definitions.testers[tester], rows, place, other, warm=state == "warm")


def temperature_states(program: Program, rows: Iterable[Reading]) -> dict[tuple[str, str], str]:
    """Temperature state of each build's phases: as the program states it, else that of most readings."""
    stated = {phase.id: phase.condition for phase in program.phases}
    seen: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        seen.setdefault((row.engine, row.phase), []).append(row.condition if isinstance(row.condition, str) else "")
    return {where: stated[where[1]] or _commonest(name for name in names) for where, names in seen.items()}


def _check(tester: Tester, rows: Sequence[Reading], at: str, other: bool, *, warm: bool) -> Check:
    first = rows[0]
    assumed = set()
    if any(not given(row.ambient) for row in rows):
        assumed.add("ambient-assumed")
    if any(
        not given(row.metal_temperature) and (warm if not given(row.condition) else row.condition == "warm")
        for row in rows
    ):
        assumed.add("temperature-assumed")
    shares = []
    for row in rows:
        told = {path: float(getattr(row, f"to_{path}")) for path in PATHS if given(getattr(row, f"to_{path}"))}
        if told:
            shares.append(told)
    return Check(
        engine=first.engine,
        cylinder=int(first.cylinder),
        phase=first.phase,
        at=at,
        tester=tester.id,
        other_tester=other,
        readings=tuple(row.reading for row in rows),
        airs=tuple(air_of(row, tester) for row in rows),
        percents=tuple(
            float(row.percent) if not given(row.pressure) else float(method.percent(row.supply, row.pressure))
            for row in rows
        ),
        shares=tuple(shares),
        crankcase_flows=tuple(float(row.crankcase_flow) for row in rows if given(row.crankcase_flow)),
        assumed=frozenset(assumed),
    )


def _commonest(names: Iterable[str]) -> str:
    counted = Counter(names)
    return min(counted, key=lambda name: (-counted[name], name))


def condition(program: Program, state: str, row: Reading) -> str:
    """What sets a reading apart from the program's condition; "" where nothing does."""
    rule = program.leakdown
    apart = []
    # in doubt, a reading stays in the condition that stood on the gauge: `shadow.AS_READ`
    off = getattr(row, "supply_as_read", row.supply) - rule.supply
    if abs(off) > rule.supply_band:  # readings of one second supply pressure belong together: binned by the band
        step = 2 * max(rule.supply_band, 1.0)
        apart.append(f"supply:{(rule.supply + step * round(off / step)) / 1000:.0f}-kpa")
    oil = row.oil if isinstance(row.oil, str) else "dry"
    if oil != rule.oil:
        apart.append(oil)
    if isinstance(row.condition, str) and state and row.condition != state:
        apart.append(row.condition)
    if given(row.crank) and row.crank != "tdc":
        angle = "" if not given(row.crank_angle) else f":{math.degrees(abs(row.crank_angle)):.0f}-deg"
        apart.append(f"{row.crank}{angle}")
    apart += [each.at for each in outside(rule, state, row)]
    return ",".join(apart)


@dataclass(frozen=True)
class Share:
    """How much of a leak went to the crankcase."""

    share: float  # [-]
    bound: bool = False  # the crankcase itself was not given: at most this much


def share_to_crankcase(check: Check, area: float) -> Share:
    """Share of a check's leak of this area [m2] that went to the crankcase, mean of the readings that say.

    Refuses: `path-unknown`.
    """
    if check.crankcase_flows:
        cylinder, ambient, air_temperature, temperature = (
            sum(getattr(air, name) for air in check.airs) / len(check.airs)
            for name in ("cylinder", "ambient", "supply_temperature", "cylinder_temperature")
        )
        # the meter reads at ambient pressure and air temperature; the leak is worked out at 100 kPa, 20 °C
        to_reference = (ambient / method.REFERENCE_PRESSURE) * (method.REFERENCE_TEMPERATURE / air_temperature)
        flow = sum(check.crankcase_flows) / len(check.crankcase_flows) * to_reference
        total = float(method.leak_flow(area, cylinder, ambient, temperature))
        return Share(method.crankcase_share_of_flow(flow, total))
    told = [_share(shares) for shares in check.shares if "crankcase" in shares]
    if told:
        return Share(sum(told) / len(told))
    elsewhere = [sum(shares.values()) / 100 for shares in check.shares]
    if not elsewhere:
        raise Refused("path-unknown")
    return Share(max(1 - sum(elsewhere) / len(elsewhere), 0.0), bound=True)


NEARLY_ALL = 90.0  # %: shares that add up to this much were meant to add up to all of it


def _share(shares: Mapping[str, float]) -> float:
    """Share of the crankcase [-]; of the sum where the paths given were meant to make up the whole."""
    total = sum(shares.values())
    return shares["crankcase"] / (total if len(shares) > 1 and total >= NEARLY_ALL else 100)
