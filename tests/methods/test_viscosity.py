"""Viscosity index against the examples of ASTM D2270 and another implementation of it."""

from __future__ import annotations

import pytest

from sitegen.methods.viscosity import viscosity_index
from sitegen.vocabulary import Refused


@pytest.mark.parametrize(("at_40", "at_100", "index"), [(73.30, 8.86, 92), (22.83, 5.05, 156)])
def test_examples_of_the_standard(at_40: float, at_100: float, index: int) -> None:
    # ASTM D2270: the worked examples of procedure A and of procedure B
    assert round(viscosity_index(at_40, at_100)) == index


def test_by_definition_of_the_index() -> None:
    # D2270 table 1 at 100 degC 10.0: L 147.7 has the index 0, H 82.87 the index 100
    assert viscosity_index(147.7, 10.0) == pytest.approx(0.0, abs=1e-9)
    assert viscosity_index(82.87, 10.0) == pytest.approx(100.0, abs=1e-9)


def test_the_table_ends_where_the_equations_begin() -> None:
    # both give L and H at 70: the index must not jump there by more than the rounding of the table allows
    below, above = viscosity_index(2500.0, 70.0), viscosity_index(2500.0, 70.000001)
    assert below == pytest.approx(above, abs=0.05)


@pytest.mark.parametrize("at_100", [2.0, 2.05, 3.33, 7.77, 14.3, 19.95, 33.3, 55.5, 69.9, 70.1, 90.0, 400.0])
def test_against_another_implementation(at_100: float) -> None:
    # the library `chemicals` (viscosity_index), from which the table was taken: what is checked is our reading of it
    # and both procedures, between its rows and beyond its end
    chemicals = pytest.importorskip("chemicals")
    for ratio in (2.5, 5.0, 9.0, 14.0, 20.0):
        wanted = float(chemicals.viscosity_index(ratio * at_100 * 1e-6, at_100 * 1e-6))
        assert viscosity_index(ratio * at_100, at_100) == pytest.approx(wanted, abs=1e-6)


def test_refusals() -> None:
    with pytest.raises(Refused, match="viscosity-too-low"):
        viscosity_index(7.0, 1.99)
    with pytest.raises(Refused, match="viscosities-reversed"):
        viscosity_index(8.0, 9.0)
