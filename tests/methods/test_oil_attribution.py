"""Where metal came from: another solver, conditions worked by hand, theory of linear regression, simulated coverage.

`PYTHONPATH=tests python -m methods.oil_coverage --draws 10000` is the full check. Seeds are fixed.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from methods import oil_coverage as cover

from sitegen.methods import oil_attribution as method
from sitegen.vocabulary import Refused

DRAWS = 200
Given = dict[str, tuple[float, float]]


def by_name(found: method.Attribution) -> dict[str, method.Share]:
    return {"+".join(share.sources): share for share in found.shares}


def refusal(masses: Given, sources: dict[str, dict[str, float]]) -> str:
    with pytest.raises(Refused) as told:
        method.attribute(masses, sources)
    return told.value.code


def test_two_parts_by_hand() -> None:
    # 4 mg Cr, 21 mg Fe; ring 80 % Cr, shaft 95 % Fe and 5 % Cr... 21/0.95 = 22.1053; (4 - 0.05 x 22.1053)/0.8 = 3.6184
    found = method.attribute(
        {"Cr": (4.0, 0.5), "Fe": (21.0, 2.0)}, {"ring": {"Cr": 0.8}, "shaft": {"Fe": 0.95, "Cr": 0.05}}
    )
    shares = by_name(found)
    assert shares["ring"].mass == pytest.approx(3.61842, abs=1e-5)
    assert shares["shaft"].mass == pytest.approx(22.10526, abs=1e-5)
    assert found.misfit == pytest.approx(0.0, abs=1e-9)


def test_a_part_that_would_be_negative_gives_nothing() -> None:
    # conditions of Kuhn and Tucker by hand: b = (1, 10), columns (0.8, 0) and (0.2, 1), equal weights. Free: x1 = -1.25
    # At x1 = 0: x2 = (0.2 + 10)/1.04 = 9.80769; rest (1 - 1.96154, 0.19231), gradient of x1 -0.8 x -0.96154 > 0
    found = method.attribute(
        {"Cr": (1.0, 1.0), "Fe": (10.0, 1.0)}, {"ring": {"Cr": 0.8}, "shaft": {"Cr": 0.2, "Fe": 1.0}}
    )
    shares = by_name(found)
    assert shares["ring"].mass == 0.0
    assert shares["shaft"].mass == pytest.approx(9.80769, abs=1e-5)
    assert found.misfit == pytest.approx(0.96154**2 + 0.19231**2, abs=1e-4)
    assert found.left_over == pytest.approx({"Cr": -0.96154, "Fe": 0.19231}, abs=1e-5)


def test_against_another_solver() -> None:
    # scipy.optimize.lsq_linear: a trust-region method, where ours is an active-set method
    from scipy.optimize import lsq_linear

    rng = np.random.default_rng(64)
    names = ["Cr", "Fe", "Al", "Si", "Cu", "Pb"]
    for _ in range(20):
        shares = rng.uniform(0, 1, (6, 4)) * (rng.uniform(size=(6, 4)) < 0.7)
        shares += 0.05 * np.eye(6, 4)
        b, se = rng.normal(5, 5, 6), rng.uniform(0.3, 2, 6)
        wanted = lsq_linear(shares / se[:, None], b / se, bounds=(0, np.inf), method="bvls", tol=1e-14)
        sources = {f"p{j}": {name: float(shares[i, j]) for i, name in enumerate(names)} for j in range(4)}
        found = method.attribute({n: (float(b[i]), float(se[i])) for i, n in enumerate(names)}, sources)
        assert found.misfit == pytest.approx(2 * wanted.cost, rel=1e-9)
        got = by_name(found)
        for part, mass in zip(sources, wanted.x, strict=True):
            if part in got:  # else it is in a group
                assert got[part].mass == pytest.approx(mass, abs=1e-7)


def test_an_interval_away_from_zero_is_that_of_linear_regression() -> None:
    # where no bound is near, the profile is the usual interval, 1.96 sqrt of the diagonal of the inverse of A'A
    columns = np.array([[0.8, 0.1, 0.0], [0.1, 0.9, 0.1], [0.0, 0.1, 0.7], [0.2, 0.0, 0.3]])
    se = np.array([0.2, 0.4, 0.3, 0.2])
    made = columns @ np.array([50.0, 60.0, 70.0]) + np.array([0.1, -0.2, 0.2, 0.1])
    names = ("Cr", "Fe", "Al", "Si")
    sources = {f"p{j}": {name: float(columns[i, j]) for i, name in enumerate(names)} for j in range(3)}
    found = method.attribute({n: (float(made[i]), float(se[i])) for i, n in enumerate(names)}, sources)
    scaled = columns / se[:, None]
    center = np.linalg.lstsq(scaled, made / se, rcond=None)[0]
    half = 1.959964 * np.sqrt(np.diag(np.linalg.inv(scaled.T @ scaled)))
    for share, mid, wide in zip(found.shares, center, half, strict=True):
        assert (share.low, share.mass, share.high) == pytest.approx((mid - wide, mid, mid + wide), abs=1e-5)


def test_alike_parts_are_one_group() -> None:
    found = method.attribute(
        {"Fe": (30.0, 1.0), "Cr": (4.0, 0.5)}, {"liner": {"Fe": 0.94}, "shaft": {"Fe": 0.97}, "ring": {"Cr": 0.8}}
    )
    assert [share.sources for share in found.shares] == [("liner", "shaft"), ("ring",)]
    # by hand: 30 mg of iron is between 30/0.97 of one and 30/0.94 of the other, give or take 1.96 mg of it
    assert found.shares[0].low == pytest.approx((30 - 1.96) / 0.97, abs=0.01)
    assert found.shares[0].high == pytest.approx((30 + 1.96) / 0.94, abs=0.01)


def test_what_fits_as_well_is_shown() -> None:
    # chromium could be of the ring or of the pin, which holds a little iron besides that nothing can tell
    found = method.attribute(
        {"Cr": (4.0, 0.5), "Fe": (20.0, 0.5)},
        {"ring": {"Cr": 0.8}, "pin": {"Cr": 0.8, "Fe": 0.3}, "shaft": {"Fe": 0.95}},
    )
    assert set(found.swaps) & {("ring", "pin"), ("pin", "ring")}
    shares = by_name(found)
    assert shares["ring"].low == shares["pin"].low == 0.0
    far = method.attribute({"Cr": (4.0, 0.05), "Fe": (0.0, 0.05)}, {"ring": {"Cr": 0.8}, "pin": {"Cr": 0.8, "Fe": 0.3}})
    assert far.swaps == ()
    assert by_name(far)["pin"].high < 0.5


def test_refusals() -> None:
    ring = {"ring": {"Cr": 0.8}}
    assert refusal({"Cr": (4.0, 0.5)}, ring) == "few-elements"
    assert refusal({"Cr": (4.0, 0.5), "Fe": (1.0, 0.0)}, ring) == "few-elements"
    assert refusal({"Cr": (4.0, 0.5), "Fe": (1.0, 0.5)}, {}) == "no-sources"
    assert refusal({"Al": (4.0, 0.5), "Fe": (1.0, 0.5)}, ring) == "no-sources"
    many = {f"p{n}": {"Cr": 0.1 + n / 20} for n in range(13)}
    assert refusal({"Cr": (4.0, 0.5), "Fe": (1.0, 0.5)}, many) == "too-many-sources"


@pytest.mark.parametrize("made", cover.MADE, ids=["none at zero", "some at zero"])
def test_printed_intervals_hold(made: dict[str, float]) -> None:
    least = cover.NOMINAL - 3 * math.sqrt(cover.NOMINAL * (1 - cover.NOMINAL) / DRAWS)
    assert min(cover.sources(made, DRAWS).values()) >= least


def test_a_report_of_less_than_a_limit_holds_parts_down() -> None:
    """By hand: 10 mg of copper are 16.1 mg of a bearing with 8 % of tin, unless tin is known to be below 0.4 mg.

    Then at most 5 mg of it, and the rest of the copper comes from the part without tin.
    """
    sources = {"bearing": {"Cu": 0.62, "Sn": 0.08}, "cooler": {"Cu": 1.0}}
    masses = {"Cu": (10.0, 0.1), "Fe": (1.0, 0.1)}
    free = method.attribute(masses, {**sources, "bore": {"Fe": 1.0}})
    held = method.attribute(masses, {**sources, "bore": {"Fe": 1.0}}, {"Sn": (-1.0, 0.4, 0.001)})
    most = {"+".join(share.sources): share.high for share in held.shares}
    assert max(share.high for share in free.shares) > 16.0
    assert most["bearing"] == pytest.approx(0.4 / 0.08, rel=0.05)
    assert most["cooler"] == pytest.approx(10.0, rel=0.05)


def test_bounds_against_a_general_minimiser() -> None:
    """Reference: scipy.optimize.minimize on the misfit as it is defined, without slacks."""
    from scipy.optimize import minimize

    sources = {"a": {"Fe": 0.9, "Cr": 0.1}, "b": {"Cr": 0.7, "Sn": 0.3}, "c": {"Cu": 0.8, "Sn": 0.2}}
    masses = {"Fe": (9.0, 0.5), "Cr": (4.0, 0.4), "Cu": (6.0, 0.5)}
    low, high, se = 0.5, 1.2, 0.2

    def misfit(x: Any) -> float:
        made = {s: sum(x[n] * part.get(s, 0.0) for n, part in enumerate(sources.values())) for s in (*masses, "Sn")}
        beyond = max(low - made["Sn"], made["Sn"] - high, 0.0) / se
        return float(sum(((made[s] - m) / e) ** 2 for s, (m, e) in masses.items()) + beyond**2)

    starts = [minimize(misfit, [k, k, k], bounds=[(0, None)] * 3, tol=1e-12) for k in (1.0, 5.0, 10.0)]
    best = min(starts, key=lambda each: each.fun)
    found = method.attribute(masses, sources, {"Sn": (low, high, se)})
    assert found.misfit == pytest.approx(best.fun, rel=1e-3)
    assert [share.mass for share in found.shares] == pytest.approx(best.x.tolist(), rel=0.02)
