"""What traces can show at all: by their own repeats, beside what a balance shows."""

from __future__ import annotations

import math

import pytest

from sitegen.streams.surfaces.smallest import by_repeats
from sitegen.vocabulary import Key, Value
from sitegen.workflow import Conclusion

T_4 = 2.776  # Student, 4 degrees of freedom, two-sided 95 %: any table


def test_least_wear_by_repeats_is_the_half_width_of_the_middle_place() -> None:
    """Wear of 0.5 um known to a standard error of 0.1 um on 4 degrees of freedom is told from none above 0.278 um."""
    values = [
        Value("bore.wear_depth", Key("B1", n, "c", "end", "thrust/top-reversal"), 0.5, se=se, df=4.0, high=1.0)
        for n, se in enumerate((0.05, 0.1, 0.3), start=1)
    ]
    values.append(Value("bore.wear_depth", Key("B1", 4, "c", "end", "thrust/top-reversal"), status="refused"))
    (found,) = by_repeats(None, values)  # type: ignore[arg-type] # the program is not asked
    assert found.value == pytest.approx(T_4 * 0.1, rel=1e-3)
    assert "0.14 to 0.83\u00a0µm over three places" in found.because
    (alike,) = by_repeats(None, values[1:2] * 2)  # type: ignore[arg-type]
    assert ": 0.28\u00a0µm over two places" in alike.because  # no range of two equal numbers


def test_places_below_detection_count_and_means_around_the_ring_do_not() -> None:
    values = [
        Value("ring.face_wear", Key("B1", 1, "c", "end", "top/20-deg"), 1.0, 0.9, 1.1),
        Value("ring.face_wear", Key("B1", 1, "c", "end", "top"), 1.0, 0.2, 1.8),
        Value("bore.wear_valleys", Key("B1", 1, "c", "end", "thrust/mid-stroke"), se=0.2, df=4.0, high=0.7,
              status="below"),
    ]  # fmt: skip
    found = {each.measure: each.value for each in by_repeats(None, values)}  # type: ignore[arg-type]
    # wear of a face is shown from 2.25 half-widths on
    assert found == pytest.approx({"ring.face_wear": 2.25 * 0.1, "bore.wear_valleys": T_4 * 0.2}, rel=1e-3)
    assert list(by_repeats(None, ())) == []  # type: ignore[arg-type]


def test_the_examples_see_what_was_worn_in_them(concluded: dict[str, Conclusion]) -> None:
    """Simulated bores lost 1.2 um at the reversal, ring faces 0.8 um and more: both are above what is told from none.

    Five traces a state scatter by 0.13 um in aligned curves by our own note on unrelated traces, so the half-width of
    8 degrees of freedom lies about 0.3 um: within a factor of two.
    """
    analysis = concluded["pump-rings-2026"].analysis
    found = {each.measure: each.value for each in by_repeats(analysis.program, analysis.values.values())}
    assert 0.05 < found["bore.wear_depth"] < 1.2
    assert abs(math.log(found["bore.wear_valleys"] / 0.3)) < math.log(2)
    assert found["ring.face_wear"] < 0.1


def test_planned_traces_are_held_against_those_present(concluded: dict[str, Conclusion]) -> None:
    program = concluded["pump-rings-2026"].analysis.program
    planned = {(b.id, p.id, c) for b, p, s in program.planned() if s == "surfaces"
               for c in program.planned_cylinders(b, s)}  # fmt: skip
    assert planned == {(b, p, c) for b, both in (("B1", (1, 3)), ("B4", (1, 2))) for c in both
                       for p in ("cold-build", "teardown")}  # fmt: skip
    for build, phase, cylinder in planned:
        places = [key for name, key in concluded["pump-rings-2026"].analysis.values
                  if name == "bore.rk" and key[:2] == (build, cylinder) and key.phase == phase]  # fmt: skip
        assert len(places) == 3
