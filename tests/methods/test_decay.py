"""Pressure decay against exact figures, against an integrator that knows nothing of it, and by coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fluids.compressible import is_critical_flow
from scipy.integrate import solve_ivp
from simulate import decay as simulated
from simulate import flow

from sitegen.methods import decay as method
from sitegen.methods.leakdown import mass_flux
from sitegen.vocabulary import Refused

PSI = 6894.757293168361
STANDARD = 101_325.0


@pytest.mark.parametrize(("exponent", "seconds"), [(1.0, 70.76), (1.4, 63.08)])
def test_a_tank_that_empties(exponent: float, seconds: float) -> None:
    """5 m³ through 10 cm² at 333 K from 40 to 2 bar: exact in closed form, worked out twice by hand."""
    u = method.fall(np.array([2e5]), 40e5, STANDARD, 333.0, exponent)
    assert float(u[0]) * 5 / 10e-4 == pytest.approx(seconds, abs=0.005)


def test_fifty_millilitres_behind_half_a_square_millimetre() -> None:
    """80 psig, 293.15 K, 0.25 s: 42.94 psig, exact; time constant 0.50 s; choked above 13.1 psig."""
    start = STANDARD + 80 * PSI
    after = 0.25 * 0.5e-6 / 50e-6
    p = STANDARD + np.linspace(42.5, 43.5, 1001) * PSI
    u = method.fall(p, start, STANDARD, 293.15, 1.0)
    found = float(np.interp(-after, -u[::1], (p - STANDARD) / PSI))
    assert found == pytest.approx(42.94, abs=0.005)
    constant = 50e-6 / (0.5e-6 * 0.0404184 * 287 * math.sqrt(293.15))
    assert constant == pytest.approx(0.5035, abs=1e-4)
    onset = (method.onset(STANDARD) - STANDARD) / PSI
    assert onset == pytest.approx(13.12, abs=0.01)
    assert is_critical_flow(STANDARD + (onset + 0.1) * PSI, STANDARD, 1.4)
    assert not is_critical_flow(STANDARD + (onset - 0.1) * PSI, STANDARD, 1.4)


def integrated(times: np.ndarray, start: float, exponent: float, warm: float = 293.15) -> np.ndarray:
    """Pressures [Pa abs] of 50 mL behind 0.5 mm² by scipy's solve_ivp."""

    def slope(_: float, p: np.ndarray) -> np.ndarray:
        now = warm * (p / start) ** ((exponent - 1) / exponent)
        return np.asarray(-exponent * 287.0 * now * 0.5e-6 * mass_flux(p, STANDARD, now) / 50e-6)

    found = solve_ivp(slope, (0, float(times[-1])), [start], t_eval=times, rtol=1e-10, atol=1e-4)
    return np.asarray(found.y[0])


@pytest.mark.parametrize("exponent", [1.0, 1.2, 1.4])
@pytest.mark.parametrize("gauge", [80.0, 20.0, 8.0])
def test_choked_and_below_agree_with_an_integrator(gauge: float, exponent: float) -> None:
    times = np.linspace(0, 1.5, 151)
    start = STANDARD + gauge * PSI
    p = integrated(times, start, exponent)
    open_ = (p > STANDARD + 0.3 * PSI) & (times > 0)  # after that it is empty
    u = method.fall(p, start, STANDARD, 293.15, exponent)
    assert u[open_] / times[open_] == pytest.approx(0.5e-6 / 50e-6, rel=2e-5)
    assert sum(open_) > 10
    assert p[open_][-1] < method.onset(STANDARD)


@pytest.mark.parametrize("gauge", [80.0, 10.0])
@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_the_area_comes_back(gauge: float, exponent: float) -> None:
    times = np.arange(0, 1.5, 0.0025)
    p = integrated(times, STANDARD + gauge * PSI, exponent)
    found = method.rate(method.curve(times, p - STANDARD, STANDARD), 293.15, exponent)
    assert found.value * 50e-6 == pytest.approx(0.5e-6, rel=1e-4)
    assert found.bend == pytest.approx(1.0, abs=1e-3)


def test_isothermal_is_up_to_a_third_too_large() -> None:
    times = np.arange(0, 1.5, 0.01)
    curve = method.curve(times, integrated(times, STANDARD + 80 * PSI, 1.4) - STANDARD, STANDARD)
    ratio = method.rate(curve, 293.15, 1.0).value / method.rate(curve, 293.15, 1.4).value
    assert ratio == pytest.approx(1.34, abs=0.02)


def _sampled(rate: float, seconds: float = 1.5) -> tuple[np.ndarray, np.ndarray]:
    times = np.arange(0, seconds, 1 / rate)
    return times, integrated(times, STANDARD + 80 * PSI, 1.0) - STANDARD


def test_a_hundred_samples_a_second_are_enough_and_fifty_are_not() -> None:
    method.curve(*_sampled(100), STANDARD)
    with pytest.raises(Refused) as told:
        method.curve(*_sampled(50), STANDARD)
    assert told.value.code == "sampled-too-coarsely"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda t, p: (t[:10], p[:10]), "few-samples"),
        (lambda t, p: (t - 9.0, p), "decay-short"),
        (lambda t, p: (t, 2 * p[0] - p), "pressure-rises"),
        (lambda t, p: (t, np.where(t > 0.2, p + 60e3, p)), "pressure-rises"),
        (lambda t, p: (t, np.full_like(p, 4e5) + 300 * np.sin(1e3 * t)), "pressure-holds"),
    ],
)  # fmt: skip
def test_a_curve_that_cannot_be_used_is_refused(change: object, code: str) -> None:
    times, gauge = change(*_sampled(100))  # type: ignore[operator]
    with pytest.raises(Refused) as told:
        method.curve(times, gauge, STANDARD)
    assert told.value.code == code


def test_samples_before_the_valve_was_closed_are_not_used() -> None:
    times, gauge = _sampled(100)
    early = np.concatenate([np.full(20, gauge[0]), gauge])
    found = method.curve(np.concatenate([np.arange(-0.2, -0.001, 0.01)[:20], times]), early, STANDARD)
    assert method.rate(found, 293.15, 1.0).value * 50e-6 == pytest.approx(0.5e-6, rel=1e-4)


def test_the_simulator_is_an_integrator_of_its_own() -> None:
    """Without warm walls its gas is adiabatic, with very warm ones isothermal: closed forms of both."""
    times = [n / 100 for n in range(40)]
    for walls, exponent, rel in ((0.0, 1.4, 1e-6), (200.0, 1.0, 2e-3)):
        closed = simulated.Closed(flow.Leak(0.5e-6), 50e-6, STANDARD + 80 * PSI, walls=walls)
        p = np.array(list(simulated.pressures(closed, times)))
        u = method.fall(p, closed.start, STANDARD, 293.15, exponent)
        late = (u[-1] - u[10]) / (times[-1] - times[10])  # the walls take a moment
        assert late * 50e-6 == pytest.approx(0.5e-6, rel=rel)


# ---- coverage -------------------------------------------------------------------------------------------------------


def coverage(draws: int, walls: tuple[float, float], slit: float = 0.0, seed: int = 3) -> tuple[float, float]:
    """How often the ends of a decay hold the area, and those the isothermal formula alone would give (±5 %).

    Drawn: area, volume, walls [W/K], noise and its step. Of a slit (a share of the area at the start) the truth is its
    mean over time down to half of the pressure.
    """
    chance = np.random.default_rng(seed)
    kept = alone = 0
    for _ in range(draws):
        area, volume = 1e-6 * float(chance.uniform(0.15, 0.8)), 1e-6 * float(chance.uniform(50, 120))
        start = STANDARD + float(chance.uniform(60, 95)) * PSI
        leak = flow.Leak((1 - slit) * area, slit * area, start)
        closed = simulated.Closed(leak, volume, start, walls=float(chance.uniform(*walls)))
        constant = volume / (area * 0.0404184 * 287 * math.sqrt(293.15))
        times = np.arange(0, 1.6 * constant, constant / 60)
        p = np.array(list(simulated.pressures(closed, times.tolist(), min(constant / 120, 2e-3))))
        read = 100 * np.round((p - STANDARD + chance.normal(0, 250, len(p))) / 100)
        half = p - STANDARD > method.LEFT * (p[0] - STANDARD)
        truth = float(np.mean([leak.area(float(each)) for each in p[half]]))
        curve = method.curve(times, read, STANDARD)
        found = [method.rate(curve, 293.15, exponent) for exponent in (method.ADIABATIC, method.ISOTHERMAL)]
        least, most = (each.value * volume for each in found)
        reach = 2 * found[1].se / found[1].value
        kept += least * math.exp(-reach) <= truth <= most * method.LATE * math.exp(reach)
        alone += abs(most / truth - 1) < 0.05
    return kept / draws, alone / draws


@pytest.mark.parametrize(
    ("walls", "slit"), [((0.0, 0.05), 0.0), ((0.05, 1.0), 0.0), ((1.0, 30.0), 0.0), ((0.05, 1.0), 0.5)]
)
def test_the_ends_hold_the_area(walls: tuple[float, float], slit: float) -> None:
    kept, alone = coverage(60, walls, slit)
    assert kept >= 0.95
    assert alone < 0.5 or walls[1] > 1  # the isothermal figure alone is right only where the walls are


def main() -> None:
    """`python -m methods.test_decay`, from `tests`: how often the ends hold, at length (two minutes)."""
    for walls, slit in (
        ((0.0, 0.05), 0.0),
        ((0.05, 1.0), 0.0),
        ((1.0, 30.0), 0.0),
        ((0.05, 1.0), 0.5),
        ((0.0, 0.05), 0.5),
    ):
        kept, alone = coverage(1000, walls, slit)
        print(f"walls {walls} W/K, slit {slit}: {100 * kept:.1f} %; isothermal alone within 5 %: {100 * alone:.0f} %")


if __name__ == "__main__":
    main()
