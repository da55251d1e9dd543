"""Fuel in the oil: worked by hand, against a printed chart and in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sitegen.methods import fuel_dilution
from sitegen.methods import oil_ledger as method
from sitegen.methods.oil_ledger import Content, Fuel, Move
from sitegen.vocabulary import Refused

HALF, END = Fuel("s", 0.03), Fuel("b", 0.04)
WORKED = (  # the masses of test_oil_ledger.WORKED, 3 % of fuel in the sample and 4 % in the end
    Move("fill", 4.0, 0.0),
    Move("sample", 0.0, 0.0, "a", Fuel("a", 0.0)),
    Move("sample", 0.1, 50.0, "s", HALF),
    Move("top-up", 0.3, 50.0),
    Move("sample", 0.0, 100.0, "b", END),
    Move("drain", 3.9, 100.0, "", END),
)
INTO = {method.START, method.FILLED, method.ADDED, method.FUEL}


def exactly(value: float) -> Content:
    return Content(value, value, value)


def with_fuel(se: float = 0.0, half: float = 0.0, *, known: bool = True) -> tuple[Move, ...]:
    """The worked moves with what is known of the fuel of sample and end."""
    return tuple(
        replace(move, fuel=replace(move.fuel, se=se, half=half, known=known))
        if move.fuel is not None and move.fuel.share
        else move
        for move in WORKED
    )


def test_oil_lost_with_fuel_in_it() -> None:
    # by hand: 4.0 + 0.3 - 0.10 (1 - 0.03) - 3.9 (1 - 0.04) = 0.459 kg; the masses alone say 0.30
    (fill,) = method.fills(WORKED, None, 0.0)
    assert fill.fuelled
    assert fill.lost == pytest.approx(0.459, abs=1e-12)
    assert fill.apparent == pytest.approx(0.300, abs=1e-12)


def test_metal_leaves_with_the_mixture() -> None:
    # by hand: in sump and samples mixture times content, as without fuel: 31.2 mg where the oil evaporated. As droplets
    # 0.2295 kg of oil left in each half with the metal that a kilogram of oil carries, 12, 15/0.97 and 20/0.96 mg:
    # 0.2295 (12 + 2 x 15.4639 + 20.8333)/2 = 7.3166 mg more, at the ends 0.2295 (15.4639 + 20.8333) = 8.3302
    known = {"a": exactly(12.0), "s": exactly(15.0), "b": exactly(20.0)}
    found = method.balance(method.fills(WORKED, None, 0.0), known, 1.0, "a", "b", 0.0)
    assert found.cases == pytest.approx({"evaporated": 31.2, "mean": 38.5166, "end": 39.5302}, abs=5e-5)
    # the oil closes: what came in with the fuel is what left and what is there
    assert sum(term.oil if term.what in INTO else -term.oil for term in found.terms) == pytest.approx(0.0, abs=1e-12)
    assert sum(term.metal for term in found.terms) == pytest.approx(38.5166, abs=5e-5)


def test_no_fuel_is_the_balance_without() -> None:
    known = {"a": exactly(12.0), "s": exactly(15.0), "b": exactly(20.0)}
    none = [replace(move, fuel=Fuel(move.sample, 0.0) if move.kind != "fill" else None) for move in WORKED]
    bare = [replace(move, fuel=None) for move in WORKED]
    with_, without = (method.balance(method.fills(m, None, 0.01), known, 1.0, "a", "b", 0.01) for m in (none, bare))
    assert with_.cases == pytest.approx(without.cases)
    assert (with_.low, with_.high) == pytest.approx((without.low, without.high))


def test_fuel_that_boils_off_is_no_oil_lost() -> None:
    # closed form: 4 kg with 5 % of fuel at 10 h are 3.8 kg of oil; the fuel gone at 20 h, 3.8 kg are drained, none lost
    moves = (
        Move("fill", 3.8, 0.0),
        Move("sample", 0.0, 10.0, "a", Fuel("a", 0.05)),
        Move("sample", 0.0, 20.0, "b", Fuel("b", 0.0)),
        Move("drain", 3.8, 20.0, "", Fuel("b", 0.0)),
    )
    (fill,) = method.fills(moves, None, 0.0)
    assert fill.lost == pytest.approx(0.0, abs=1e-12)
    assert fill.at[1] == pytest.approx(4.0)  # 0.2 kg more than 10 h later: by weight the second half lost them
    # 76 mg in it all along: 19 mg/kg become 20 without any wear
    found = method.balance([fill], {"a": exactly(19.0), "b": exactly(20.0)}, 0.0, "a", "b", 0.0)
    assert found.cases == pytest.approx(dict.fromkeys(method.CASES, 0.0), abs=1e-9)


@pytest.mark.parametrize("gap", ["sample", "drain"])
def test_fuel_not_known_of_all_that_left_counts_as_oil(gap: str) -> None:
    bare = [replace(move, fuel=None) if move.kind == gap and move.mass else move for move in WORKED]
    (fill,) = method.fills(bare, None, 0.0)
    assert not fill.fuelled
    assert fill.lost == fill.apparent == pytest.approx(0.3, abs=1e-12)


def test_errors_of_fuel_alike_or_each_for_itself() -> None:
    # by hand: 0.1 kg at 0.003, 3.9 kg at 0.003: alike 0.012 kg, each for itself 0.011704; the wider counts
    (fill,) = method.fills(with_fuel(0.003), None, 0.0)
    assert fill.lost_se == pytest.approx(0.012, abs=1e-9)


def test_less_than_a_limit_enters_as_bounds() -> None:
    # less than 1 %: half a per cent either way of 4.0 kg is 0.02 kg, and no error besides
    (fill,) = method.fills(with_fuel(half=0.005), None, 0.0)
    assert (fill.half, fill.lost_se) == pytest.approx((0.02, 0.0), abs=1e-12)


def test_without_a_stated_precision_there_is_no_interval() -> None:
    found = method.fills(with_fuel(known=False), None, 0.0)
    assert not found[0].sure
    known = {"a": exactly(12.0), "s": exactly(15.0), "b": exactly(20.0)}
    assert method.balance(found, known, 1.0, "a", "b", 0.0).low is None


def test_old_oil_brings_its_fuel_along() -> None:
    # by hand: a tenth of 4 kg stays with 5 % of fuel: 0.38 kg of oil. 0.38 + 3.6 - 3.6 x 0.98 - 0.4 x 0.98 = 0.06 kg
    first, second = Fuel("a", 0.05), Fuel("b", 0.02)
    moves = (
        Move("fill", 4.0, 0.0),
        Move("sample", 0.0, 10.0, "a", first),
        Move("drain", 3.6, 10.0, "", first),
        Move("fill", 3.6, 10.0),
        Move("sample", 0.0, 20.0, "b", second),
        Move("drain", 3.6, 20.0, "", second),
    )
    one, two = method.fills(moves, 0.1, 0.0)
    assert one.lost == pytest.approx(4.0 - 4.0 * 0.95)
    assert two.lost == pytest.approx(0.06)
    unknown = [replace(move, fuel=None) if move.fuel == first else move for move in moves]
    assert not any(fill.fuelled for fill in method.fills(unknown, 0.1, 0.0))


def test_more_may_leave_than_came_in_where_it_is_fuel() -> None:
    fuel = Fuel("b", 0.08)
    moves = [Move("fill", 4.0, 0.0), Move("sample", 0.0, 9.0, "b", fuel), Move("drain", 4.3, 9.0, "", fuel)]
    (fill,) = method.fills(moves, None, 0.0)
    assert fill.lost == pytest.approx(4.0 - 4.3 * 0.92)
    with pytest.raises(Refused, match="drained-too-much"):
        method.fills([replace(move, fuel=None) for move in moves], None, 0.0)


# ---- what a viscosity hints ------------------------------------------------------------------------------------------


def test_the_mixture_rule_and_a_printed_chart_disagree() -> None:
    """160 mm²/s with 3 % of 3 mm²/s by mass: 130.9 by the rule; a printed chart for fuel dilution says 137.

    The rule reads the chart's 137 as 2.3 %: a hint is no better than that, and enters no balance.
    """
    assert fuel_dilution.mixed(160.0, 3.0, 0.03) == pytest.approx(130.9, abs=0.05)
    assert fuel_dilution.hinted(160.0, 137.0, 3.0) == pytest.approx(0.023, abs=0.0005)


def test_the_rule_at_its_ends_and_back() -> None:
    assert fuel_dilution.mixed(160.0, 3.0, 0.0) == pytest.approx(160.0)
    assert fuel_dilution.mixed(160.0, 3.0, 1.0) == pytest.approx(3.0)
    # textbook form of the rule: 14.534 ln(ln(v + 0.8)) + 10.975; of e - 0.8 mm²/s the inner logarithm is one
    assert fuel_dilution.blending_number(math.e - 0.8) == pytest.approx(10.975)
    for share in (0.005, 0.02, 0.1, 0.4):
        assert fuel_dilution.hinted(132.0, fuel_dilution.mixed(132.0, 2.5, share), 2.5) == pytest.approx(share)


def test_the_rule_is_near_the_walther_mean_of_the_ends() -> None:
    """ASTM D7152 mixes ln(ln(v + 0.7)) in proportion (from memory): within 1 % of the rule up to 10 % of fuel."""
    for share in (0.01, 0.03, 0.1):
        ends = [math.log(math.log(each + 0.7)) for each in (160.0, 3.0)]
        other = math.exp(math.exp((1 - share) * ends[0] + share * ends[1])) - 0.7
        assert fuel_dilution.mixed(160.0, 3.0, share) == pytest.approx(other, rel=0.01)


def test_a_thicker_oil_hints_of_nothing() -> None:
    assert fuel_dilution.hinted(132.0, 140.0, 3.0) < 0
    with pytest.raises(Refused, match="fuel-not-thinner"):
        fuel_dilution.hinted(2.0, 1.9, 3.0)
