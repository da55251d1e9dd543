"""How often what is concluded over the hours of long runs is true, end to end, of folders of `second.hours`.

PYTHONPATH=tests python -m second.hours_rates --programs 20
"""

from __future__ import annotations

import argparse
import zlib
from collections import Counter
from collections.abc import Iterator

from second.hours import Engine, Scenario, write
from second.rates import Tally, _held, concluded, lines
from sitegen.vocabulary import Value

SEED = 20310719
SCENARIOS = (
    Scenario("an hour"),
    Scenario("heavy tails", tails="t4"),
    Scenario("a quarter and three hours", holds=(0.25, 3.0)),
    Scenario("three hours, 300 h", hours=300, holds=(3.0,)),
    Scenario("no wander", wanders=0.0),
    Scenario("warm by day", daily=0.03),
    Scenario("nights", hours=128, night=8),
    Scenario("oil changed", hours=200, swapped=0.5),
    Scenario("odd rows, rows lost", odd=0.01, lost=0.01),
    Scenario("40 h", hours=40),
)


def one(scenario: Scenario, number: int) -> Tally:
    """What one program's conclusions come to."""
    seed = [SEED, zlib.crc32(scenario.name.encode()), number]
    engines, analysis = concluded(lambda folder, rng: write(folder, scenario, rng), seed)
    found: Tally = Counter()
    for value in analysis.values.values():
        if value.key.engine:
            found.update(_told(engines[value.key.engine], value))
    return found


def _told(engine: Engine, value: Value) -> Iterator[tuple[str, str]]:
    if value.measure == "hours.blowby_slope":
        held = _held(value, engine.drift)
        yield "slope of blow-by", value.reason if held == "none" else held
        if held != "none" and value.low is not None and value.high is not None:
            sure = value.low > 0 or value.high < 0
            right = sure and (value.low > 0) == (engine.drift > 0)
            yield "direction of the slope", "told, right" if right else "told, wrong" if sure else "not told"
    elif value.measure == "hours.blowby_least" and value.value is not None:
        yield "least slope", "below 12" if value.value < 12 else "above 12"


def main() -> None:
    """Print the table of each scenario."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--programs", type=int, default=20, help="of every scenario")
    parser.add_argument("--scenario", choices=[each.name for each in SCENARIOS], help="this kind only")
    asked = parser.parse_args()
    chosen = [each for each in SCENARIOS if asked.scenario in {None, each.name}]
    total: Tally = Counter()
    for scenario in chosen:
        found = sum((one(scenario, number) for number in range(asked.programs)), Counter())
        total += found
        print(f"\n{scenario.name}, {asked.programs} programs", *lines(found), sep="\n", flush=True)
    print("\nall", *lines(total), sep="\n", flush=True)


if __name__ == "__main__":
    main()
