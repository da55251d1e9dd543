"""Profiles through our mathematics and through what others wrote: a reference profile and two libraries.

tests/surfaces/files/profile_sine_nist.xml: generated sine of 8000 points 0.5 um apart and its unfiltered parameters,
from the surface metrology algorithm testing system of the National Institute of Standards and Technology (work of the
United States government, not under copyright). PyPI `surfalize` (GPL) and `SurfaceTopography` (MIT) are used in
tests only.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from simulate import surfaces

from sitegen.methods import material_ratio, profile_filters, roughness

Floats = NDArray[np.float64]

SINE = Path(__file__).parents[1] / "surfaces" / "files" / "profile_sine_nist.xml"
STEP = 2.0  # um


def honed(wear: float) -> Floats:
    """A simulated bore [um], levelled."""
    z = surfaces.bore(np.random.RandomState(3), 4.8, wear, reversal=False)
    x = np.arange(len(z))
    return np.asarray(z - np.polyval(np.polyfit(x, z, 1), x), dtype=np.float64)


NORMAL = np.random.default_rng(6).standard_normal(9000)
PROFILES = {"fresh": honed(0.0), "run": honed(0.6), "normal": NORMAL - NORMAL.mean()}


def test_reference_sine_has_its_stated_parameters() -> None:
    text = SINE.read_text(encoding="utf-8")
    found = re.search(r"<DATA_POINT_VALUES>(.*?)</DATA_POINT_VALUES>", text, re.DOTALL)
    assert found is not None
    z = np.array(found.group(1).split(), dtype=np.float64)
    stated = {name: float(re.search(rf"<{name}>([-\d.]+)</{name}>", text).group(1))  # type: ignore[union-attr]
              for name in ("PA", "PQ", "PSK", "PKU", "Pt")}  # fmt: skip
    assert stated == {"PA": 0.63663, "PQ": 0.70711, "PSK": 0, "PKU": 1.49998, "Pt": 2}
    ours = roughness.heights(z)
    assert (ours.ra, ours.rq, ours.rsk, ours.rku, ours.rt) == pytest.approx(
        tuple(stated[name] for name in ("PA", "PQ", "PSK", "PKU", "Pt")), abs=6e-6
    )
    assert ours.rz == pytest.approx(2)  # every section holds a whole wave


@pytest.mark.parametrize("name", PROFILES)
def test_heights_and_rk_family_are_those_of_surfalize(name: str) -> None:
    profiles = pytest.importorskip("surfalize.profile")
    z = PROFILES[name]
    theirs = profiles.Profile(z, STEP)
    heights, core = roughness.heights(z), material_ratio.core(material_ratio.curve(z))
    for parameter in ("Ra", "Rq", "Rz", "Rt", "Rsk", "Rku"):
        assert getattr(heights, parameter.lower()) == pytest.approx(getattr(theirs, parameter)(), rel=1e-9), parameter
    # its curve has 10 000 classes, areas end at the class next to the line: per mille in Rk, a per cent in areas. On
    # the run bore the windows from 25.5 % and from 29.5 % fall by 0.1501 and 0.1502 um: which of them counts as the one
    # of least slope turns on how a quantile is read, and moves Rk by 3 %
    flat = name == "run"
    assert core.rk == pytest.approx(theirs.Rk(), rel=0.04 if flat else 3e-3)
    assert (core.rpk, core.rvk) == pytest.approx((theirs.Rpk(), theirs.Rvk()), rel=0.05 if flat else 0.015)
    assert (core.mr1, core.mr2) == pytest.approx((theirs.Rmr1(), theirs.Rmr2()), abs=1.5 if flat else 0.1)


@pytest.mark.parametrize("name", PROFILES)
def test_gaussian_mean_line_is_that_of_surfalize(name: str) -> None:
    filters, profiles = pytest.importorskip("surfalize.filter"), pytest.importorskip("surfalize.profile")
    z = PROFILES[name]
    theirs = filters.GaussianFilter(800.0, "lowpass").apply(profiles.Profile(z, STEP)).data
    ours = profile_filters.gaussian(z, STEP, 800.0)
    middle = slice(400, -400)  # the ends are treated otherwise: mirrored there, weights scaled up here
    # its kernel ends at four standard deviations
    assert np.abs(ours - theirs)[middle].max() < 2e-4 * np.ptp(z)


@pytest.mark.parametrize("name", PROFILES)
def test_material_ratio_curve_is_that_of_surfacetopography(name: str) -> None:
    topography = pytest.importorskip("SurfaceTopography")
    z = PROFILES[name]
    scan = topography.UniformLineScan(z, STEP * len(z))
    # there the straight line between two points counts, so it is laid between ours before the curve is taken
    places = np.arange(0, len(z) - 1, 0.04)
    curve = material_ratio.curve(np.interp(places, np.arange(len(z)), z))
    levels = np.quantile(z, [0.02, 0.1, 0.3, 0.5, 0.8, 0.95])
    ours = np.interp(-levels, -curve.height, curve.ratio)
    assert ours == pytest.approx(100 * scan.bearing_area()(levels), abs=0.05)
