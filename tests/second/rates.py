"""How often what is concluded about whole program folders is true, end to end.

    PYTHONPATH=tests python -m second.rates --programs 40

makes that many programs of every scenario, has them read and concluded from like any folder, and prints how often each
kind of statement holds. Values of one program share gauges and builds, so that errors are larger than counts suggest;
`--scenario NAME` makes one kind only, `--each` prints every scenario by itself.
"""

from __future__ import annotations

import argparse
import math
import tempfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from second.generator import CANDIDATE, LEAK, LEVEL, LOST, STILL, Scenario, Truth, criteria, drawn, write
from sitegen import registry, workflow
from sitegen.crossing.history import histories
from sitegen.results.run import Analysis
from sitegen.vocabulary import Comparison, Value, Verdict

SEED = 20310417
LARGE = Scenario("large leaks", level=0.70, start=1.4)

SCENARIOS = (
    Scenario("plain"),
    Scenario("no reference", reference=False, tester_occasion=0.0),
    Scenario("no reference, occasions", reference=False, tester_occasion=0.01),
    Scenario("no gauge error, t3", gauges=False, noise="t3"),
    Scenario("t3", noise="t3"),
    Scenario("laplace", noise="laplace", cylinders=5),
    Scenario("outliers", noise="outliers"),
    Scenario("builds t4", builds="t4", between_builds=0.12),
    Scenario("builds exponential", builds="exponential", between_builds=0.12),
    Scenario("builds lognormal", builds="lognormal", between_builds=0.12),
    Scenario("2+2 of six", design="2+2", cylinders=6, between_builds=0.12),
    Scenario("4+4 of eight", design="4+4", cylinders=8),
    Scenario("three coatings", design="3+3+2"),
    Scenario("mixed, balanced", design="mixed balanced", positions=0.05),
    Scenario("mixed, 6+2", design="mixed 6+2", positions=0.05),
    Scenario("mixed, three engines", design="mixed 3", positions=0.05),
    LARGE,
    replace(LARGE, name="large leaks, large orifice", orifice=1.0),
    replace(LARGE, name="large leaks, no reference", reference=False, tester_occasion=0.0),
    Scenario("small leaks", level=0.12, start=0.45),
    Scenario("slow", scale=25.0, late=False),
    Scenario("slow, engine occasions", scale=25.0, late=False, engine_occasion=0.02),
    replace(
        LARGE,
        name="large leaks, no reference, engine occasions",
        reference=False,
        tester_occasion=0.0,
        engine_occasion=0.02,
        noise_psi=0.05,
    ),
    Scenario("engine occasions", engine_occasion=0.02),
    Scenario("occasions of 2 %", tester_occasion=0.02),
    Scenario("better by a quarter", levels={CANDIDATE: 0.75}),
    Scenario("coarse, read once", noise_psi=0.4, repeats=1, cylinders=6),
)

ENDS = (0.2, 0.5, 0.8)  # mm²
BANDS = ("below 0.2", "0.2 to 0.5", "0.5 to 0.8", "above 0.8")

NOTHING = 1e-6  # mm²: less to lose is told as that
T = TypeVar("T")
Tally = Counter[tuple[str, str]]  # (what, outcome) -> how often


def concluded(write: Callable[[Path, np.random.Generator], T], seed: Sequence[int]) -> tuple[T, Analysis]:
    """The truth of one program that `write` puts into a folder, and what is concluded of it."""
    with tempfile.TemporaryDirectory() as name:
        truth = write(Path(name), np.random.default_rng(seed))
        examination = workflow.examine(Path(name))
        if examination.blocked:
            raise RuntimeError("\n".join(map(str, examination.problems)))
        (analysis,) = workflow.conclude(examination)
    return truth, analysis


def one(scenario: Scenario, number: int) -> Tally:
    """What one program's conclusions come to."""
    seed = [SEED, zlib.crc32(scenario.name.encode()), number]
    truth, analysis = concluded(lambda folder, rng: write(folder, scenario, rng), seed)
    found: Tally = Counter()
    for value in analysis.values.values():
        for what, so in _values(truth, value):
            found[what, _held(value, so)] += 1
    for row in analysis.comparisons:
        found.update(_compared(truth, row))
    found.update(_states(truth, analysis.verdicts))
    found.update(_answers(truth, analysis.verdicts))
    found.update(_next(truth, analysis))
    return found


def releases(scenario: Scenario, number: int) -> Tally:
    """Whether a coating that lies at its limit is ever released: at one look with all builds in, or at two looks."""
    seed = [SEED, zlib.crc32(scenario.name.encode()), number]
    count = len(drawn(scenario, np.random.default_rng(seed)).builds)
    found: Tally = Counter()
    for name, looks in (("one look", [count]), ("two looks", [count - 2, count])):
        rule = f"{{stated: 2031-01-01, release: [typical], stop: [], looks: {looks}}}"
        words = set()
        for upto in looks:
            with tempfile.TemporaryDirectory() as folder:
                write(Path(folder), scenario, np.random.default_rng(seed), upto, rule)
                (analysis,) = workflow.conclude(workflow.examine(Path(folder)))
            words |= {v.word for v in analysis.verdicts if v.rule == "decision" and v.key.coating == CANDIDATE}
        found[f"coating at its limit, {name}", "released" if "released" in words else "not released"] += 1
    return found


def _held(value: Value, so: float) -> str:
    if value.status not in {"ok", "below"} or (value.low is None and value.high is None):
        return "none"
    low = -math.inf if value.low is None else value.low
    high = math.inf if value.high is None else value.high
    return "holds" if low <= so <= high else "too high" if low > so else "too low"


def _values(truth: Truth, value: Value) -> Iterator[tuple[str, float]]:
    """What a value is to be held against, by name of the row."""
    key = value.key
    if not key.engine:
        return
    build, cylinder = truth.builds.index(key.engine), key.cylinder - 1
    check = truth.phases.index(key.phase) if key.phase else -1
    if value.measure == LEAK and not key.at:
        so = float(truth.area[build, cylinder, check])
        yield f"leak area, {BANDS[np.searchsorted(ENDS, so)]} mm²", so
    elif value.measure == "leakdown.change":
        before = truth.phases.index(key.at.removeprefix("vs:"))
        yield "change between checks", float(truth.curve[build, cylinder, check] - truth.curve[build, cylinder, before])
    elif value.measure == LOST:
        so = max(float(truth.to_lose[build, cylinder, check]), NOTHING)
        yield "leak still to lose", so
        if check == len(truth.phases) - 1:
            yield "leak still to lose at the last check", so
    elif value.measure == "seating.scale":
        yield "seating distance", float(truth.scale[build])
    elif value.measure == "seating.plateau":
        yield "leak when seated", float(truth.plateau[build, cylinder])
    elif value.measure == "seating.start":
        yield "leak at the start", float(truth.start[build, cylinder])


def _compared(truth: Truth, row: Comparison) -> Iterator[tuple[str, str]]:
    ratio = truth.ratio[row.coating]
    if row.verdict == "refused":
        yield f"comparison of {row.measure}", "refused"
        return
    alike = ratio == 1 or row.measure != LEAK
    if alike:
        yield f"false alarm, {row.measure}", "alarm" if row.verdict in {"better", "worse"} else "none"
    elif row.measure == LEAK:
        yield "difference there is, found", "found" if row.verdict == "better" else "not found"
    if row.measure == LEAK and row.low is not None and row.high is not None:
        inside = row.low <= ratio <= row.high
        yield "ratio of coatings", "holds" if inside else "too high" if row.low > ratio else "too low"


def _states(truth: Truth, verdicts: Iterable[Verdict]) -> Iterator[tuple[str, str]]:
    for each in verdicts:
        if each.rule != "seating":
            continue
        build, cylinder = truth.builds.index(each.key.engine), each.key.cylinder - 1
        check = truth.phases.index(each.key.phase)
        level = truth.curve[build, cylinder, check] <= LEVEL * truth.scenario.level
        still = truth.to_lose[build, cylinder, check] <= STILL
        right = {
            "seated": level and still,
            "still seating": not still,
            "not seated": not level,
            "above the limit": not level,
            "cannot tell": True,
        }
        yield f'said "{each.word}"', "right" if right[each.word] else "wrong"


def _answers(truth: Truth, verdicts: Iterable[Verdict]) -> Iterator[tuple[str, str]]:
    stated = criteria(truth)
    for each in verdicts:
        if not each.rule.startswith("criterion:") or each.key.engine:
            continue
        name = each.rule.removeprefix("criterion:")
        if name == "below":
            if truth.ratio[CANDIDATE] == 1:
                yield "criterion below the reference, coatings alike", each.word
            continue
        scope, _, so = stated[name]
        if so is None:
            yield f"criterion mean of builds at the {name}", each.word
        else:
            wrong = {"holds": not so, "fails": so}.get(each.word, False)
            kind = "limit kept by a hair" if so else "limit broken by a hair"
            yield f"criterion {scope}, {kind}", "wrong" if wrong else each.word


def _next(truth: Truth, analysis: Any) -> Iterator[tuple[str, str]]:
    found = histories([analysis], registry.measures([analysis.program]))
    for coating, each in found.items():
        for history in each:
            if history.subject.measure == LEAK and history.low is not None and history.high is not None:
                so = truth.next_build[coating]
                yield "next build", "holds" if history.low <= so <= history.high else "misses"


# ---- the table ------------------------------------------------------------------------------------------------------


def lines(found: Tally) -> Iterator[str]:
    """The table: a row a kind of statement, with shares of what it came to."""
    rows: dict[str, Counter[str]] = {}
    for (what, outcome), count in found.items():
        rows.setdefault(what, Counter())[outcome] += count
    for what in sorted(rows):
        known = {outcome: count for outcome, count in rows[what].items() if outcome != "none" or "alarm" in what}
        number = sum(known.values())
        told = ", ".join(
            f"{outcome} {count} ({100 * count / number:.1f} %)"
            for outcome, count in sorted(known.items(), key=lambda pair: -pair[1])
        )
        yield f"{what:52}{number:8}  {told}"


def run(
    scenarios: Iterable[Scenario], programs: int, workers: int = 1, told: Callable[[Scenario, int], Tally] = one
) -> dict[str, Tally]:
    """Tallies by scenario."""
    found: dict[str, Tally] = {}
    for scenario in scenarios:
        if workers == 1:
            made: Iterable[Tally] = (told(scenario, number) for number in range(programs))
            found[scenario.name] = sum(made, Counter())
        else:
            with ProcessPoolExecutor(workers) as pool:
                found[scenario.name] = sum(pool.map(told, [scenario] * programs, range(programs)), Counter())
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--programs", type=int, default=40, help="of every scenario")
    parser.add_argument("--scenario", action="append", help="only this one; may be given again")
    parser.add_argument("--each", action="store_true", help="print every scenario by itself, too")
    parser.add_argument("--releases", action="store_true", help="how often a coating at its limit is released")
    parser.add_argument("--workers", type=int, default=1)
    given = parser.parse_args()
    total: Tally = Counter()
    for scenario in SCENARIOS:
        if given.scenario and scenario.name not in given.scenario:
            continue
        found = run([scenario], given.programs, given.workers, releases if given.releases else one)[scenario.name]
        total += found
        if given.each:
            print(f"\n{scenario.name}, {given.programs} programs", *lines(found), sep="\n", flush=True)
    print("\nall scenarios", *lines(total), sep="\n", flush=True)


if __name__ == "__main__":
    main()
