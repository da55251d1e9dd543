"""`python -m simulate`, from the `tests` folder: the example tables, the truth, a large folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from simulate import hours, programs


def main() -> None:
    """Do what the arguments say."""
    parser = argparse.ArgumentParser(prog="python -m simulate", description="Record tables with a known truth.")
    parser.add_argument("folder", nargs="?", default="../programs", type=Path, help="programs folder (%(default)s)")
    parser.add_argument("--seed", default=programs.SEED, type=int, help="%(default)s made the committed tables")
    parser.add_argument("--truth", action="store_true", help="print the truth and write nothing")
    parser.add_argument("--large", nargs=2, type=int, metavar=("BUILDS", "CYLINDERS"), help="a large folder instead")
    given = parser.parse_args()
    if given.truth:
        truth, _ = programs.example(given.seed)
        print(f"{programs.table_of(truth)}\n\n{hours.table_of(given.seed)}")
    elif given.large:
        builds, cylinders = given.large
        programs.write_large(given.folder, builds, cylinders, given.seed)
    else:
        programs.write(given.folder, given.seed)
        _, files = hours.example(given.seed)
        programs.save(given.folder, {**files, **hours.run_logs(given.seed)})


if __name__ == "__main__":
    main()
