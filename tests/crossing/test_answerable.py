"""A criterion that no record could ever answer is an error, with what exists."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from house import Analysed, fewer

from sitegen import registry, workflow
from sitegen.crossing import answerable

CRITERION = """
    - id: tried
      title: Tried
      measure: {measure}
      scope: every cylinder
      coatings: [hard-crn]
      at_most: {limit}
"""


def faults(tmp_path: Path, measure: str, limit: str, *more: str) -> list[str]:
    """What the check says of one more criterion at its line."""
    programs = fewer(tmp_path)
    path = programs / "pump-rings-2025" / "program.yaml"
    own = CRITERION.format(measure=measure, limit=limit).rstrip() + "".join(f"\n      {line}" for line in more)
    text = path.read_text(encoding="utf-8")
    assert text.count("\n  list:") == 1
    path.write_text(text.replace("\n  list:", f"\n  list:{own}"), encoding="utf-8")
    line = next(n for n, each in enumerate(path.read_text("utf-8").splitlines(), 1) if "- id: tried" in each)
    found = [each for each in workflow.examine(programs).problems if each.level == "error"]
    assert all((each.file, each.line) == ("pump-rings-2025/program.yaml", line) for each in found), found
    return [f"{each.code}: {each.what}. Expected {each.expected}. Nearest {each.nearest}." for each in found]


@pytest.mark.parametrize(
    ("measure", "limit", "more", "said"),
    [
        ("wear.mass_loss", "9 mg", ("phase: teardown",), "criterion-at: criterion \"tried\" does not say where: "
         "wear.mass_loss has no value for a whole phase. Expected at: top, second or oil. Nearest ."),
        ("wear.mass_loss", "9 mg", ("phase: teardown", "at: topp"), "criterion-at: criterion \"tried\" asks for "
         "wear.mass_loss at \"topp\", where there is none. Expected top, second or oil. Nearest top."),
        ("wear.mass_loss", "9 mg", ("phase: run-in-60", "at: top"), "criterion-phase: criterion \"tried\" asks for "
         "wear.mass_loss at run-in-60, whose records do not hold it. Expected cold-build or teardown. Nearest ."),
        ("seating.scale", "3 km", ("phase: pulls", "at: a1"), "criterion-phase: criterion \"tried\" asks for "
         "seating.scale at pulls, but it belongs to a whole seating curve. Expected no phase, and the assembly in at, "
         "such as a1. Nearest ."),
        ("seating.scale", "3 km", ("at: a7",), "criterion-at: criterion \"tried\" asks for seating.scale at \"a7\", "
         "where there is none. Expected a1. Nearest ."),
        ("hours.whole_slope", "9 % per 100 h", ("phase: durability",), "criterion-phase: criterion \"tried\" asks for "
         "hours.whole_slope at durability, but it belongs to all hours of a build. Expected no phase. Nearest ."),
        ("leakdown.crankcase", "0.4 mm2", (), "criterion-phase: criterion \"tried\" does not say at which phase "
         "leakdown.crankcase is judged. Expected a phase. Nearest ."),
        ("inspection.band_width", "1 mm", ("phase: teardown",), "criterion-at: criterion \"tried\" does not say where: "
         "inspection.band_width has no value for a whole phase. Expected at, with the inspected place as "
         "results/measures.csv names it. Nearest ."),
    ],
)  # fmt: skip
def test_what_exists_is_said(tmp_path: Path, measure: str, limit: str, more: tuple[str, ...], said: str) -> None:
    assert faults(tmp_path, measure, limit, *more) == [said]


@pytest.mark.parametrize(
    ("measure", "limit", "more"),
    [
        ("wear.mass_loss", "9 mg", ("phase: teardown", "at: top")),
        ("seating.scale", "3 km", ("at: a1",)),
        ("seating.to_lose", "0.1 mm2", ("phase: run-in-60",)),
        ("leakdown.crankcase", "0.4 mm2", ("phase: pulls", "at: wet")),
        ("oil.iron", "90 mg/kg", ("phase: durability",)),
        ("hours.whole_slope", "9 % per 100 h", ()),
        ("oil.hours_rate", "25 g/h", ()),
    ],
)
def test_what_can_be_answered_passes(tmp_path: Path, measure: str, limit: str, more: tuple[str, ...]) -> None:
    assert faults(tmp_path, measure, limit, *more) == []


def test_every_result_of_the_examples_could_be_asked_for(analysed: Analysed) -> None:
    """What measures say of their places, and what is taken for the phases they can have, holds for every value."""
    measures = registry.measures()
    steps = [step for stream in registry.STREAMS for step in stream.steps]
    tried: Counter[str] = Counter()
    for conclusion in analysed.conclusions:
        analysis = conclusion.analysis
        for (name, key), value in analysis.values.items():
            if value.status == "missing" or (value.status == "refused" and not key.at):
                continue  # of a whole phase: there is no place of which it could be said
            measure = measures[name]
            tried[measure.only_at] += 1
            assert key.at or not measure.only_at, (name, key)
            places = answerable.places(analysis.program, measure)
            assert not places or key.at.partition("/")[0] in places, (name, key)
            assert bool(key.phase) != (measure.only_at == "assembly" or measure.to_the_end) or not measure.compare, (
                name,
                key,
            )
            needed = answerable.streams_of(name, steps)
            if key.phase and needed:
                assert answerable.holds(analysis.program, key.phase, needed, analysis.readings), (name, key)
    assert set(tried) >= {"", "ring", "assembly", "source of metal", "element", "inspected place", "trace"}
