"""Metal made and oil lost by an engine: what was in the sump, what went in and out, by mass.

Over any stretch of running, W = M2·c2 + sum(drawn·c) + sum(drained·c) - M1·c1 - sum(filled·c_fresh) + lost·c_lost:
linear in the concentrations, so that errors and bounds of each sample travel with its own coefficient. Lost oil carries
no metal where it evaporates and all of it where it leaves as droplets: three cases bound what cannot be known.

Fuel in the oil. What is weighed is oil with the fuel in it, and what a laboratory reports is a share of that mixture:
the metal in a sump, a sample or a drain is mixture times content, fuel or not. But the oil lost is the oil alone,
M1(1 - f1) + added - sum(drawn(1 - f)) - M2(1 - f2), and where it left as droplets each kilogram of oil took 1/(1 - f)
kg of the mixture with it, hence content/(1 - f). Fuel that boils off takes no metal along.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from sitegen.vocabulary import Refused

Case = Literal["evaporated", "mean", "end"]
CASES: tuple[Case, ...] = ("evaporated", "mean", "end")
LEFT_LIMIT = 0.5  # limit of error of what a drain leaves, as a share of it; from memory (5 to 15 % of the charge)
LEFT_SCATTER = 0.1  # of what one drain leaves beside the next, as a share of it; from memory
# The same where the truth lies anywhere within the limit of what is stated: so much wider that 95 % of intervals hold
# whether what stays is fixed by the engine or a share of the oil. Were it fixed, 1.09 would do: the mean of
# 2 Phi(1.96 k / (1 + u)) - 1 over u from -0.5 to 0.5 is then 0.951.
_SCATTER = 1.14 * LEFT_SCATTER
FILLED, ADDED, LOST, DRAWN = "fresh oil filled", "fresh oil topped up", "lost with droplets", "drawn with samples"
FUEL = "fuel taken up"
DRAINED, START, END = "drained", "in the engine at the start", "in the engine at the end"
FILTERS = "held by filters"
TERMS = (START, FILLED, ADDED, FUEL, LOST, DRAWN, DRAINED, FILTERS, END)  # of a balance, in the order told
OUT = frozenset({"sample", "drain"})  # kinds of move by which oil leaves
Z = 1.959963984540054  # 97.5 % point of the normal distribution


@dataclass(frozen=True)
class Content:
    """One element in one sample [mg/kg]. A bound has no value: it lies anywhere from `low` to `high`."""

    value: float | None
    low: float = 0.0
    high: float = 0.0
    se: float = 0.0  # independent part
    se_common: float = 0.0  # part shared by all samples of `common`
    common: str = ""
    known: bool = True  # False: no precision is stated, so no interval follows


@dataclass(frozen=True)
class Fuel:
    """Fuel in what was drawn or drained, as a share of its mass [-], by the sample that tells it."""

    sample: str
    share: float
    se: float = 0.0
    half: float = 0.0  # of a report of less than a limit: it lies anywhere within share ± half
    known: bool = True  # False: no precision is stated, so no interval follows


@dataclass(frozen=True)
class Move:
    """Something done to the oil, in the order it was done."""

    kind: Literal["fill", "top-up", "sample", "drain"]
    mass: float  # kg
    hours: float  # running time [h]
    sample: str = ""  # id, of a sample
    fuel: Fuel | None = None  # in what left; None: not known

    @property
    def oil(self) -> float:
        """What of it is oil [kg]."""
        return self.mass * (1.0 - self.fuel.share) if self.fuel is not None else self.mass


@dataclass(frozen=True)
class Fill:
    """The life of one fill: its moves, the oil in the engine before each, and what it lost."""

    moves: tuple[Move, ...]
    begin: float  # kg in the engine after filling, old oil included
    left_before: float  # kg of old oil in it
    lost: float | None  # kg over the fill, of oil alone where `fuelled`; None: not drained and weighed yet
    lost_se: float
    hours: float  # from fill to drain, or to the last move [h]
    at: tuple[float, ...] = ()  # kg in the engine before each move
    stays: float = 0.0  # kg of it that its drain left
    fuelled: bool = False  # what fuel is in all that left is known, and not counted as oil
    fuel_before: float = 0.0  # share of fuel in what it began with [-], brought by old oil
    fuel_se: float = 0.0  # part of `lost_se` that fuel brings [kg]
    half: float = 0.0  # kg by which `lost` may lie off besides: reports of fuel of less than a limit
    sure: bool = True  # False: how well the fuel is known is not stated

    @property
    def apparent(self) -> float | None:
        """What it lost if fuel is taken for oil [kg]."""
        if self.lost is None:
            return None
        into, out = _in_and_out(self.moves, self.begin, 0.0, fuelled=False)
        return into - out - self.stays


def fills(moves: Sequence[Move], left: float | None, mass_error: float) -> list[Fill]:
    """Fills of an engine, one after the other.

    Parameters: moves in their order, the first a fill; left: share of the charge that a drain leaves [-], None where
    not stated; mass_error: standard uncertainty of each mass, as a share of it [-].

    The charge is the largest fill. What a drain leaves stands in galleries and cooler and clings to walls, so it is of
    the engine: the same before a smaller fill as before a larger one (common practice, no source).

    Returns: what each fill lost, its uncertainty [kg] of the masses and of what drains left. What one drain left is the
    same as what the next leaves but for a tenth of it (from memory), so it hardly counts from the second fill on. Fuel
    is taken off where it is known of all that left the fill, and of the old oil in it; else it counts as oil. Reports
    of one laboratory may err alike or each for itself: the wider of both.

    Refuses: `no-fill` where the first move is none; `fill-without-drain` where a fill follows on one that was not
    drained; `drained-too-much` where more left than was in.
    """
    if not moves or moves[0].kind != "fill":
        raise Refused("no-fill")
    groups: list[list[Move]] = []
    for move in moves:
        if move.kind == "fill":
            groups.append([])
        groups[-1].append(move)
    for group in groups[:-1]:
        if not _drained(group):
            raise Refused("fill-without-drain")
    charge = max(group[0].mass for group in groups)
    stays = [(left or 0.0) * charge if _drained(group) else 0.0 for group in groups]
    made = _filled(groups, stays, mass_error)
    for fill in made:
        into, out = _in_and_out(fill.moves, fill.begin, fill.fuel_before, fuelled=fill.fuelled)
        weighing = mass_error * math.sqrt(sum(move.mass**2 for move in fill.moves))
        slack = Z * math.hypot(weighing, fill.fuel_se) + fill.half + (LEFT_LIMIT + 1.0) * fill.stays
        if fill.lost is not None and (
            fill.lost < -slack or out > into * (1 + 3 * mass_error) + 3 * fill.fuel_se + fill.half
        ):
            raise Refused("drained-too-much")
    return made


def _drained(group: Sequence[Move]) -> bool:
    return any(move.kind == "drain" for move in group)


def _in_and_out(moves: Sequence[Move], begin: float, fuel: float, *, fuelled: bool) -> tuple[float, float]:
    """What came in and what left [kg], of oil alone where its fuel is known; begin: with a share of `fuel` [-]."""
    into = begin * (1.0 - fuel) + sum(move.mass for move in moves if move.kind == "top-up")
    return into, sum(move.oil if fuelled else move.mass for move in moves if move.kind in OUT)


def _filled(groups: Sequence[Sequence[Move]], stays: Sequence[float], mass_error: float) -> list[Fill]:
    """Fills from their moves and what each drain left [kg]."""
    made: list[Fill] = []
    old, charge = 0.0, max(group[0].mass for group in groups)
    before: Fuel | None = Fuel("", 0.0)  # in the old oil
    for number, (group, stay) in enumerate(zip(groups, stays, strict=True)):
        begin = old + group[0].mass
        left = [move for move in group if move.kind in OUT]
        fuelled = _drained(group) and before is not None and all(move.fuel is not None for move in left)
        fuel = old * before.share / begin if fuelled and before is not None and begin > 0 else 0.0
        into, out = _in_and_out(group, begin, fuel, fuelled=fuelled)
        last = left[-1].fuel if fuelled else None
        remains = stay * (1.0 - last.share) if last is not None else stay
        lost = into - out - remains if _drained(group) else None
        drained = [
            sum(move.mass for move in each if move.kind == "drain") for each in groups[max(number - 1, 0) : number + 1]
        ]
        # were it a share of what was in at the drain, or of the oil filled, more would stay of more oil
        fresh = [each[0].mass for each in groups[max(number - 1, 0) : number + 1]]
        more = stay / (charge or 1.0) * max(abs(each[-1] - each[0]) for each in (drained, fresh))
        old_error = (
            LEFT_LIMIT / math.sqrt(3) * stay if number == 0 else math.hypot(math.sqrt(2) * _SCATTER * stay, more)
        )
        fuel_se, half, sure = _fuel_errors(left, stay, old, before) if fuelled else (0.0, 0.0, True)
        weighing = mass_error * math.sqrt(sum(move.mass**2 for move in group))
        lost_se = math.hypot(weighing, old_error, fuel_se)
        hours = group[-1].hours - group[0].hours
        inside = _inside(group, begin, lost or 0.0, hours, fuel, fuelled=fuelled)
        made.append(
            Fill(
                tuple(group), begin, old, lost, lost_se, hours, inside, stay, fuelled, fuel, fuel_se, half, sure
            )
        )  # fmt: skip
        old = stay
        before = next((move.fuel for move in reversed(left) if move.kind == "drain"), None) if stay else Fuel("", 0.0)
    return made


def _fuel_errors(left: Sequence[Move], stay: float, old: float, before: Fuel | None) -> tuple[float, float, bool]:
    """Error of the oil lost by that of its fuel, the bounds it may lie within besides [kg], and whether both are known.

    Parameters: what left the fill, each with its fuel; what its drain left and the old oil it began with [kg]; the
    fuel in that old oil.
    """
    parts = [(move.fuel, move.mass) for move in left]
    parts += [(left[-1].fuel, stay), (before, -old)]
    oil: dict[Fuel, float] = {}
    for fuel, mass in parts:
        if fuel is not None and mass:
            oil[fuel] = oil.get(fuel, 0.0) + mass
    errors = [mass * fuel.se for fuel, mass in oil.items()]
    half = sum(abs(mass) * fuel.half for fuel, mass in oil.items())
    return max(math.hypot(*errors), abs(sum(errors))), half, all(fuel.known for fuel in oil)


def _shifted(found: Sequence[Fill], mass_error: float) -> Iterator[list[Fill]]:
    """The fills with one source of error after the other moved by its standard uncertainty.

    Sources: each mass; the share that drains leave, alike for all of them; what each drain leaves beside it.
    """
    groups = [fill.moves for fill in found]
    stays = [fill.stays for fill in found]
    for number, group in enumerate(groups):
        for place, move in enumerate(group):
            if mass_error * move.mass > 0:
                moved = (*group[:place], replace(move, mass=move.mass * (1 + mass_error)), *group[place + 1 :])
                yield _filled([*groups[:number], moved, *groups[number + 1 :]], stays, mass_error)
    if any(stays):
        yield _filled(groups, [stay * (1 + LEFT_LIMIT / math.sqrt(3)) for stay in stays], mass_error)
    for number, stay in enumerate(stays):
        if stay > 0:
            other = [*stays[:number], stay * (1 + _SCATTER), *stays[number + 1 :]]
            yield _filled(groups, other, mass_error)


def _fuel_moved(found: Sequence[Fill], mass_error: float) -> Iterator[list[Fill]]:
    """The fills with the fuel of one sample after the other more by its standard uncertainty, or up to its bound."""
    stays = [fill.stays for fill in found]
    for fuel in dict.fromkeys(move.fuel for fill in found if fill.fuelled for move in fill.moves):
        if fuel is not None and fuel.se + fuel.half > 0:
            other = replace(fuel, share=fuel.share + math.hypot(fuel.se, fuel.half))
            groups = [
                [replace(move, fuel=other) if move.fuel == fuel else move for move in fill.moves] for fill in found
            ]
            yield _filled(groups, stays, mass_error)


def _inside(
    group: Sequence[Move], begin: float, lost: float, hours: float, fuel: float, *, fuelled: bool
) -> tuple[float, ...]:
    """Oil in the engine before each move, with the fuel in it [kg]: what a fill lost, it lost evenly over its hours."""
    inside, now, before = [], begin * (1.0 - fuel), group[0].hours
    for place, move in enumerate(group):
        now -= lost * (move.hours - before) / hours if hours > 0 else 0.0
        fuel = move.fuel.share if fuelled and move.fuel is not None else fuel
        inside.append(now / (1.0 - fuel))
        before = move.hours
        if place:
            now += move.mass if move.kind == "top-up" else -(move.oil if fuelled else move.mass)
    return tuple(inside)


@dataclass(frozen=True)
class Term:
    """One term of a balance [mg]: oil in the engine, drawn, filled or lost, times what it holds."""

    what: str
    oil: float  # kg
    metal: float  # mg, signed as it enters the sum


@dataclass(frozen=True)
class Balance:
    """Metal made over a stretch: the three cases [mg], and an interval that holds them all."""

    cases: Mapping[Case, float]
    low: float | None  # None: no precision is stated
    high: float | None
    se: float  # independent part, of laboratory and masses [mg]
    se_common: float
    common: str
    terms: tuple[Term, ...]  # of the case of droplets at the mean; they add up to it
    hours: float
    bounded: bool  # rests on a bound
    lost_known: bool
    samples: int


@dataclass
class _Sum:
    """A linear form in the concentrations."""

    constant: float = 0.0
    fresh: float = 0.0  # coefficient of what fresh oil holds [kg]
    of: dict[str, float] = field(default_factory=dict)  # sample -> coefficient [kg]

    def total(self, guess: Mapping[str, float]) -> float:
        """Its value [mg] at these concentrations [mg/kg]."""
        return self.constant + sum(mass * guess[sample] for sample, mass in self.of.items())

    def add(self, sample: str, mass: float, fresh: float) -> None:
        if sample:
            self.of[sample] = self.of.get(sample, 0.0) + mass
        else:
            self.constant += mass * fresh
            self.fresh += mass


def balance(
    found: Sequence[Fill],
    contents: Mapping[str, Content],
    fresh: float,
    first: str,
    last: str,
    mass_error: float,
    *,
    fresh_se: float = 0.0,
    retained: Sequence[tuple[float, float]] = (),
) -> Balance:
    """Metal made from the sample `first` ("" the first fill) to the sample `last` [mg].

    Parameters: fills of the engine; contents by sample [mg/kg]; fresh oil [mg/kg]; mass_error [-]; fresh_se: standard
    uncertainty of what fresh oil holds [mg/kg], one and the same for all of it; retained: what filters taken out at a
    running time [h] were found to hold [mg].

    The sum runs over the stretches between neighbouring samples that hold the element, each in its own case of lost
    oil; what one stretch ends with the next begins with. Errors of masses travel by moving each in turn (GUM, JCGM
    100:2008, 5.1.3 note 2), those of fuel too, alike or each for itself, whichever is wider. Refuses: `no-sample` where
    `last` holds no such element.
    """
    guess = {
        name: each.value if each.value is not None else (each.low + each.high) / 2 for name, each in contents.items()
    }
    walked = _with_filters(_walk(found, guess, fresh, first, last), retained)
    masses = dict.fromkeys(CASES, 0.0)  # squares of errors [mg2]
    for other in _shifted(found[: walked.fills], mass_error):
        sums = _walk(other, guess, fresh, first, last).sums
        for case in CASES:
            masses[case] += (sums[case].total(guess) - walked.sums[case].total(guess)) ** 2
    reached = found[: walked.fills]
    fuels = [_walk(other, guess, fresh, first, last).sums for other in _fuel_moved(reached, mass_error)]
    for case in CASES:
        masses[case] += (walked.sums[case].fresh * fresh_se) ** 2
        moved = [sums[case].total(guess) - walked.sums[case].total(guess) for sums in fuels]
        masses[case] += max(math.fsum(each**2 for each in moved), math.fsum(moved) ** 2)
    return _result(walked, contents, masses, sure=all(fill.sure for fill in reached))


def _with_filters(walked: _Walk, retained: Sequence[tuple[float, float]]) -> _Walk:
    """The same with what the filters taken out over the stretch held."""
    metal = math.fsum(held for hours, held in retained if walked.begun < hours <= walked.ended)
    if metal == 0:
        return walked
    for form in walked.sums.values():
        form.constant += metal
    return replace(walked, terms={**walked.terms, FILTERS: (0.0, metal)})


@dataclass(frozen=True)
class _Walk:
    """A balance before its errors."""

    sums: Mapping[Case, _Sum]
    terms: Mapping[str, Sequence[float]]  # what -> oil [kg], metal [mg]
    hours: float
    lost_known: bool
    fills: int  # how many it reaches into
    begun: float  # running time [h]
    ended: float


def _walk(found: Sequence[Fill], guess: Mapping[str, float], fresh: float, first: str, last: str) -> _Walk:
    """From move to move, from the sample `first` to the sample `last`; see `balance`."""
    sums: dict[Case, _Sum] = {case: _Sum() for case in CASES}
    terms: dict[str, list[float]] = {}
    here, started, lost_known = "", first == "", True
    begun = found[0].moves[0].hours if found else 0.0

    def content(sample: str) -> float:
        return guess[sample] if sample else fresh

    def term(what: str, oil: float, metal: float) -> None:
        known = terms.setdefault(what, [0.0, 0.0])
        known[0] += oil
        known[1] += metal

    def end(forms: Mapping[Case, _Sum], sign: float, what: str, oil: float, sample: str) -> None:
        for form in forms.values():
            form.add(sample, sign * oil, fresh)
        term(what, oil, sign * oil * content(sample))

    for number, fill in enumerate(found):
        opened = fill.moves[0].hours
        if started:  # old oil in it carries on what it held: counted in and out, it is in no term
            end(sums, -1.0, FILLED, fill.moves[0].mass, "")
        rate = (fill.lost or 0.0) / fill.hours if fill.hours > 0 else 0.0
        since, rich, level = opened, _rich(fill), fill.begin
        for place, move in enumerate(fill.moves):
            inside, lost = fill.at[place], rate * (move.hours - since)
            if started and move.kind == "top-up":
                end(sums, -1.0, ADDED, move.mass, "")
            level += move.mass if move.kind == "top-up" else 0.0
            if move.kind == "sample" and move.sample not in guess and started:
                end(sums, 1.0, DRAWN, move.mass, here)  # not known: taken as in the one before
            if move.kind == "drain" and started:
                gone = lost * rich.get(here, 1.0)
                for case in ("mean", "end"):
                    sums[case].add(here, gone, fresh)
                term(LOST, gone, gone * content(here))
                end(sums, 1.0, DRAINED, move.mass, here)
                if fill.fuelled:
                    term(FUEL, inside - level + gone, 0.0)
            if move.kind == "drain":
                since, level = move.hours, inside - move.mass
            if move.kind != "sample" or move.sample not in guess:
                level -= move.mass if move.kind == "sample" else 0.0
                continue
            sample = move.sample
            if started:
                lost_known = lost_known and (fill.lost is not None or move.hours <= opened)
                sums["end"].add(sample, lost * rich.get(sample, 1.0), fresh)
                began = rich.get(here, 1.0 / (1.0 - fill.fuel_before))
                ends = [(name, share / 2 * began) for name, share in _mixed(here, fill)]
                for name, share in [*ends, (sample, 0.5 * rich.get(sample, 1.0))]:
                    sums["mean"].add(name, share * lost, fresh)
                    term(LOST, share * lost, share * lost * content(name))
                    level -= share * lost
                if fill.fuelled:
                    term(FUEL, inside - level, 0.0)
            if sample == last and started:
                end(sums, 1.0, END, inside, sample)
                return _Walk(sums, terms, move.hours - begun, lost_known, number + 1, begun, move.hours)
            if started:
                end(sums, 1.0, DRAWN, move.mass, sample)
            here, since, level = sample, move.hours, inside - move.mass
            if sample == first:
                started, begun = True, move.hours
                end(sums, -1.0, START, inside - move.mass, sample)
    raise Refused("no-sample")


def _rich(fill: Fill) -> dict[str, float]:
    """Mixture that a kilogram of oil takes along as droplets, by the sample that tells its fuel [kg]."""
    if not fill.fuelled:
        return {}
    return {move.sample: 1.0 / (1.0 - move.fuel.share) for move in fill.moves if move.sample and move.fuel is not None}


def _mixed(here: str, fill: Fill) -> list[tuple[str, float]]:
    """What the oil held after the sample before: the same, or after a change of oil what was left of it, in fresh."""
    if not here or any(move.sample == here for move in fill.moves):
        return [(here, 1.0)]
    share = fill.left_before / fill.begin
    return [(here, share), ("", 1 - share)]


def _result(walked: _Walk, contents: Mapping[str, Content], masses: Mapping[Case, float], *, sure: bool) -> Balance:
    cases: dict[Case, float] = {}
    lows, highs, errors, commons = [], [], [], []
    names: set[str] = set()
    known, bounded = sure, False
    for case, form in walked.sums.items():
        least = most = middle = form.constant
        own = masses[case]
        groups: dict[str, float] = {}
        for sample, mass in form.of.items():
            if abs(mass) < 1e-12:
                continue
            each = contents[sample]
            ends = (mass * each.low, mass * each.high) if each.value is None else (mass * each.value,) * 2
            least, most = least + min(ends), most + max(ends)
            middle += (ends[0] + ends[1]) / 2
            own += (mass * each.se) ** 2
            if each.common:
                groups[each.common] = groups.get(each.common, 0.0) + mass * each.se_common
            known = known and each.known
            bounded = bounded or each.value is None
        names |= set(groups)
        common = math.sqrt(sum(part**2 for part in groups.values()))
        half = Z * math.hypot(math.sqrt(own), common)
        cases[case] = middle
        lows.append(least - half)
        highs.append(most + half)
        errors.append(math.sqrt(own))
        commons.append(common)
    return Balance(
        cases,
        min(lows) if known else None,
        max(highs) if known else None,
        max(errors),
        max(commons),
        next(iter(names)) if len(names) == 1 else "",
        tuple(Term(what, oil, metal) for what, (oil, metal) in walked.terms.items() if oil or metal),
        walked.hours,
        bounded,
        walked.lost_known,
        len(walked.sums["mean"].of),
    )


def adding_up(terms: Sequence[float], decimals: int, to: float | None = None) -> list[float]:
    """The terms rounded so that they add up in the last digit shown: to their sum, or to the total shown for it.

    The method of largest remainders: those that lie nearest to the next step take it. Each stays within a step of what
    it is where `to` lies within rounding of the sum.

    >>> adding_up([1.4, 1.4, 1.4], 0)
    [2.0, 1.0, 1.0]
    """
    step = 10.0**decimals
    scaled = [term * step for term in terms]
    down = [math.floor(each + 1e-9) for each in scaled]
    missing = round(sum(scaled) if to is None else to * step) - sum(down)
    order = sorted(range(len(terms)), key=lambda place: (down[place] - scaled[place], place))
    for turn in range(abs(missing)):
        down[order[turn % len(order)] if missing > 0 else order[-1 - turn % len(order)]] += 1 if missing > 0 else -1
    return [each / step + 0.0 for each in down]
