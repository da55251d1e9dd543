"""`python -m fuzz --cases 20000`: that many broken folders, and a table by kind of what became of them."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections import defaultdict
from contextlib import suppress
from multiprocessing import get_context

from fuzz.trial import Outcome, one


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m fuzz", description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    found: dict[str, list[tuple[int, Outcome]]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as cache:
        os.environ["SITEGEN_CACHE"] = cache
        # where it is stopped, the table tells what was tried until then
        with suppress(KeyboardInterrupt), get_context("spawn").Pool(asked.processes, maxtasksperchild=500) as pool:
            for done, (seed, outcome) in enumerate(
                pool.imap_unordered(one, range(asked.first, asked.first + asked.cases), 5), start=1
            ):
                found[outcome.kind].append((seed, outcome))
                if outcome.wrong:
                    print(f"seed {seed}, {outcome.kind}: {outcome.wrong}", flush=True)
                if done % 500 == 0:
                    print(f"{done} of {asked.cases}", file=sys.stderr, flush=True)
    heads = ("kind", "cases", "analysed", "exit 0", "1", "2", "wrong", "slowest s", "most MB")
    print("{:<14}{:>7}{:>10}{:>8}{:>7}{:>5}{:>7}{:>11}{:>9}".format(*heads))
    for kind, outcomes in sorted(found.items()):
        each = [outcome for _, outcome in outcomes]
        exits = [sum(last.status == status for last in each) for status in (0, 1, 2)]
        print(
            f"{kind:<14}{len(each):>7}{sum(last.analysed for last in each):>10}{exits[0]:>8}{exits[1]:>7}{exits[2]:>5}"
            f"{sum(bool(last.wrong) for last in each):>7}{max(last.seconds for last in each):>11.2f}"
            f"{max(last.memory for last in each):>9.0f}"
        )
    return int(any(outcome.wrong for outcomes in found.values() for _, outcome in outcomes))


if __name__ == "__main__":
    sys.exit(main())
