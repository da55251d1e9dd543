"""How often what is concluded of oil and of run logs is true, end to end, of folders of `second.running`.

    PYTHONPATH=tests python -m second.running_rates --programs 20

Of a level of blow-by, which has no interval, the row tells how far it lies from the flow without its wander.
"""

from __future__ import annotations

import argparse
import zlib
from collections import Counter
from collections.abc import Iterator

from second.rates import Tally, _held, concluded, lines
from second.running import Engine, Scenario, write
from sitegen.results.run import Analysis
from sitegen.vocabulary import Value

SEED = 20310611
SCENARIOS = (
    Scenario("wander of 5 s"),
    Scenario("wander of 20 s, filled to the mark", wander=20.0, second=0.0),
    Scenario("wander of 300 s, less oil", wander=300.0, second=4.8),
    Scenario("evaporated, nothing to lose", droplets=False, drop=0.0),
)
NEAR = 0.01  # of a level


def one(scenario: Scenario, number: int) -> Tally:
    """What one program's conclusions come to."""
    seed = [SEED, zlib.crc32(scenario.name.encode()), number]
    engines, analysis = concluded(lambda folder, rng: write(folder, scenario, rng), seed)
    found: Tally = Counter()
    for value in analysis.values.values():
        if value.key.engine:
            found.update(_told(engines[value.key.engine], value, scenario))
    found.update(_words(analysis))
    return found


def _told(engine: Engine, value: Value, scenario: Scenario) -> Iterator[tuple[str, str]]:
    key, name = value.key, value.key.engine
    if value.measure == "oil.consumption":
        yield f"oil lost, {key.phase} fill", _held(value, engine.lost[key.phase == "endurance"])
    elif value.measure == "wear.iron_mass" and key.phase in {"third", "endurance"}:
        made = [0.0, *(engine.metal[f"{name}-{n}"] for n in (1, 2, 3))]
        if key.at == "total":
            yield "metal made in all", _held(value, made[1 if key.phase == "third" else 3])
        elif not key.at or key.at == "sample-1":
            yield (
                "metal made since the sample before",
                _held(value, made[3] - made[2] if not key.at else made[2] - made[1]),
            )
    elif value.measure == "blowby.scale":
        drop = "" if scenario.drop else ", nothing to lose"
        told = _held(value, engine.scale if scenario.drop else -1.0)
        yield f"seating distance by blow-by{drop}", value.reason if told == "none" else told
    elif value.measure == "blowby.level" and value.value is not None:
        off = abs(value.value / engine.points[key.phase, key.at] - 1)
        yield (
            "level of blow-by",
            f"within {100 * NEAR:g} %" if off <= NEAR else "within 3 %" if off <= 0.03 else "beyond",
        )


def _words(analysis: Analysis) -> Iterator[tuple[str, str]]:
    for each in analysis.verdicts:
        if each.rule == "channel" and each.key.at == "blowby":
            yield f"meter, logged {'every minute' if each.key.phase == 'endurance' else 'every second'}", each.word
        elif each.rule == "run as planned":
            yield f"run as planned{', with a hole' * (each.key.phase == 'second')}", each.word


def run(scenario: Scenario, programs: int) -> Tally:
    return sum((one(scenario, number) for number in range(programs)), Counter())


def main() -> None:
    """Print the table of each scenario."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--programs", type=int, default=20, help="of every scenario")
    programs = parser.parse_args().programs
    total: Tally = Counter()
    for scenario in SCENARIOS:
        found = run(scenario, programs)
        total += found
        print(f"\n{scenario.name}, {programs} programs", *lines(found), sep="\n", flush=True)
    print("\nall", *lines(total), sep="\n", flush=True)


if __name__ == "__main__":
    main()
