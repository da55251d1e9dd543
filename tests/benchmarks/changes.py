"""What a change costs beside a whole publish: `python -m benchmarks.changes`, from `tests`.

A copy of both examples (or `--folder DIR`) is published whole with nothing kept, then after one change each: a note, a
record of inspection, one of oil, one reading of leak-down; then unchanged, and checked unchanged. Every run is a
process of its own with all its imports. `preview` makes the site in one process, as `sitegen preview` does, after a
note and after a reading: seconds from the start of the making to the pages. Ratios are of processor seconds of one run,
medians of `--rounds`; the load of the machine is printed, and the budgets beside them.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.publish import TESTS, Run, median, publish, run

BUDGETS = {
    "note": 0.12, "inspection": 0.15, "oil": 0.15, "leak reading": 0.3, "unchanged": 0.15, "check unchanged": 0.3,
}  # fmt: skip


def _append(path: Path, text: str) -> None:
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")


def _digit(path: Path, row: int) -> None:
    """The last digit of the last number with decimals of a row is another one."""
    lines = path.read_text(encoding="utf-8").split("\n")
    found = list(re.finditer(r"\d\.\d", lines[row]))[-1]
    at = found.end() - 1
    lines[row] = f"{lines[row][:at]}{(int(lines[row][at]) + 1) % 10}{lines[row][at + 1 :]}"
    path.write_text("\n".join(lines), encoding="utf-8")


def changes(programs: Path) -> dict[str, Callable[[int], None]]:
    """What is changed in the newest program of a folder, by name; called with the number of the round."""
    own = max(each.parent for each in programs.glob("*/program.yaml"))

    def first(kind: str) -> Path:
        return sorted(own.glob(f"records/*{kind}*.csv"))[0]

    return {
        "note": lambda n: _append(own / "notes.md", f"\nRound {n}.\n"),
        "inspection": lambda _: _digit(first("inspection"), 2),
        "oil": lambda _: _digit(first("oil-samples"), 2),
        "leak reading": lambda _: _digit(first("leakdown"), 2),
    }


def in_one_process(programs: Path, kept: Path, rounds: int) -> dict[str, float]:
    """Seconds of the clock that a preview takes from a change to the site in memory."""
    sys.path.insert(0, str(TESTS.parent))
    from sitegen import workflow
    from sitegen.shelves import Shelves

    shelves = Shelves(kept, memory=True)

    def made() -> float:
        before = time.perf_counter()
        workflow.render(workflow.examine(programs, shelves=shelves), None)
        shelves.tidy()
        return time.perf_counter() - before

    made()
    ways = changes(programs)
    taken: dict[str, list[float]] = {"note": [], "leak reading": []}
    for n in range(rounds):
        for name, own in taken.items():
            ways[name](n + 100)
            own.append(made())
    return {name: statistics.median(own) for name, own in taken.items()}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path, default=TESTS.parent / "programs")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        programs, site = work / "programs", work / "site"
        shutil.copytree(given.folder, programs)
        taken: dict[str, list[Run]] = {"whole": []}
        check = (sys.executable, "-m", "sitegen", "check", programs)
        publish(programs, site, 1, work)  # compiled modules, drawings and pictures are there
        for n in range(given.rounds):
            shutil.rmtree(work / "cache" / "work", ignore_errors=True)
            shutil.rmtree(work / "cache" / "publishes", ignore_errors=True)
            taken["whole"].append(publish(programs, site, 1, work))
            for what, change in changes(programs).items():
                change(n)
                taken.setdefault(what, []).append(publish(programs, site, 1, work))
            taken.setdefault("unchanged", []).append(publish(programs, site, 1, work))
            run(*check, work=work)
            taken.setdefault("check unchanged", []).append(run(*check, work=work))
        print(f"load {', '.join(f'{each:.1f}' for each in os.getloadavg())}")
        whole = median(taken["whole"])
        print(f"{'':16}{'clock':>9}{'processor':>11}{'memory':>9}{'ratio':>8}{'budget':>8}")
        for what, own in taken.items():
            each = median(own)
            absolute = what.endswith("unchanged")
            told = f"{each.processor if absolute else each.processor / whole.processor:8.2f}"
            budget = f"{BUDGETS[what]:8.2f}{' s' if absolute else ''}" if what in BUDGETS else ""
            print(f"{what:16}{each.clock:7.2f} s{each.processor:9.2f} s{each.memory:6.0f} MB{told}{budget}")
        for what, seconds in in_one_process(programs, work / "preview", given.rounds).items():
            print(f"preview, {what}: {seconds:.2f} s of clock")


if __name__ == "__main__":
    main()
