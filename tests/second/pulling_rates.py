"""How often what is said of full-load pulls is true, end to end, of folders of `second.pulling`.

    PYTHONPATH=tests python -m second.pulling_rates --programs 60

Of each build: its gain of one oil over the other, by whole range and by the family of bands; of each program the words of
its criteria and the ratio of its coatings. A second a program.
"""  # noqa: E501 - the commands read better unbroken

from __future__ import annotations

import argparse
import zlib
from collections import Counter
from collections.abc import Iterator

from second.pulling import Scenario, write
from second.rates import Tally, _held, concluded, lines
from sitegen.results.run import Analysis

SEED = 20311103
AT = "oil L:over:oil K"
SCENARIOS = (
    Scenario("nothing, no scatter between days", of_days=0.0),
    Scenario("nothing, days of 0.3 %"),
    Scenario("nothing, days of 0.3 %, German, ABABAB", days="KLKLKL", german=True, drift=-0.004),
    Scenario("gain of 1.2 %", gain=0.012),
    Scenario("coatings alike, one oil", days="KKK"),
    Scenario("layered better by 2 %, one oil", days="KKK", better=0.02),
)


def one(scenario: Scenario, number: int) -> Tally:
    """What one program's conclusions come to."""
    seed = [SEED, zlib.crc32(scenario.name.encode()), number]
    _, analysis = concluded(lambda folder, rng: write(folder, scenario, rng), seed)
    return Counter(_told(scenario, analysis))


def _told(scenario: Scenario, analysis: Analysis) -> Iterator[tuple[str, str]]:
    bands: dict[str, bool] = {}
    for value in analysis.values.values():
        if value.measure != "power.gain" or value.low is None or value.high is None:
            continue
        outside = value.low > 0 or value.high < 0
        if value.key.at == AT:
            yield "gain of oils", _held(value, 100 * scenario.gain)
            yield "gain of oils told from none", "yes" if outside else "no"
        else:
            bands[value.key.engine] = bands.get(value.key.engine, False) or outside
    for any_band in bands.values():
        yield "gain told in any band", "yes" if any_band else "no"
    for verdict in analysis.verdicts:
        if verdict.rule.startswith("criterion"):
            yield f"{verdict.rule} {verdict.key.at or ''} {verdict.key.coating}".strip(), verdict.word
    for row in analysis.comparisons:
        if row.measure == "power.torque" and row.at in {"", "oil K"} and row.low is not None and row.high is not None:
            yield "coatings compared", "holds" if row.low <= 1 + scenario.better <= row.high else "misses"
            yield "coatings told apart", "yes" if row.low > 1 or row.high < 1 else "no"


def run(scenario: Scenario, programs: int) -> Tally:
    return sum((one(scenario, number) for number in range(programs)), Counter())


def main() -> None:
    """Print the table of each scenario."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--programs", type=int, default=60, help="of every scenario")
    programs = parser.parse_args().programs
    for scenario in SCENARIOS:
        print(f"\n{scenario.name}, {programs} programs", *lines(run(scenario, programs)), sep="\n", flush=True)


if __name__ == "__main__":
    main()
