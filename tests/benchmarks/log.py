"""Time and memory to read, bin and integrate a run log: `python benchmarks/log.py`, from `tests`.

A log of thirteen channels is written into a new folder and read by `logs.read_log`, and the same bytes by two readers
of CSV, pandas' own and that of pyarrow (which uses every core), into a table that nothing is done with. Each runs in a
process of its own, which reads the file once to warm up and then again on the clock, the three in turn; the best of
the rounds counts, and the load of the machine is printed, for it counts too. Memory is the most a process held beyond
what it held with everything imported and the smallest of files read.

Budgets: 1.5 times the faster reader's time; twice the memory of the table; ten times the rows, ten times the time.

    --rows 1000000   --rounds 5   --tenfold (also a log of ten times the rows: some 900 MB of disk)
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CHANNELS = {  # name: header, unit, level
    "speed": ("n", "rpm", 1800.0),
    "torque": ("Md", "N m", 140.0),
    "blowby": ("Blow-by", "L/min actual", 18.2),
    "crankcase_pressure": ("p cc", "kPa gauge", 0.4),
    "oil_pressure": ("p oil", "bar gauge", 3.2),
    "oil_temperature": ("T oil", "degC", 92.0),
    "coolant_temperature": ("T coolant", "degC", 85.0),
    "intake_temperature": ("T in", "degC", 25.0),
    "ambient_pressure": ("p room", "kPa absolute", 100.2),
    "blowby_temperature": ("T blow-by", "degC", 40.0),
    "blowby_pressure": ("p blow-by", "kPa absolute", 100.4),
    "exhaust_temperature_1": ("T exh 1", "degC", 520.0),
    "exhaust_temperature_2": ("T exh 2", "degC", 518.0),
}
READERS = ("log", "pandas", "pyarrow")


def write(path: Path, rows: int) -> None:
    """Ten rows a second of noise about a level, two decimals each."""
    import numpy as np
    import pandas as pd

    rng = np.random.default_rng(20260401)
    for begin in range(0, rows, 200_000):
        count = min(200_000, rows - begin)
        columns = {"Time": np.round((begin + np.arange(count)) / 10, 1)}
        for header, _, level in CHANNELS.values():
            columns[header] = np.round(level * (1 + 0.01 * rng.standard_normal(count)), 2)
        pd.DataFrame(columns).to_csv(path, mode="a", header=not begin, index=False)


def read(reader: str, path: Path) -> None:
    """One reading."""
    if reader == "pandas":
        import pandas as pd

        pd.read_csv(path)
    elif reader == "pyarrow":
        from pyarrow import csv

        csv.read_csv(path)
    else:
        from sitegen.logs.reading import read_log
        from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where

        where = Where("bench/program.yaml", 1, 1)
        channels = tuple(
            LogChannel(name, Address(header), unit, where=where) for name, (header, unit, _) in CHANNELS.items()
        )
        source = LogSource(path.name, where, "B1", "run", channels, LogTime("elapsed", (Address("Time"),), "s"))
        found = read_log(source, path)
        if not found.usable or found.problems:
            raise SystemExit(str(found.problems))


def measure(reader: str, path: Path, small: Path) -> None:
    """In a process of its own: seconds on the clock and of the processors, and memory [bytes], as JSON."""
    read(reader, small)
    before = _held()
    begin, spent = time.perf_counter(), time.process_time()
    read(reader, path)
    taken = time.perf_counter() - begin, time.process_time() - spent
    print(json.dumps([*taken, max(_held() - before, 0)]))


def _held() -> int:
    """The most this process ever held [bytes]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def compare(path: Path, small: Path, rounds: int, readers: tuple[str, ...] = READERS) -> dict[str, list[float]]:
    """Best time, least processor time and most memory of each reader, taken in turn."""
    best: dict[str, list[float]] = {}
    for _ in range(rounds):
        for reader in readers:
            command = [sys.executable, __file__, "--measure", reader, str(path), str(small)]
            found = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
            own = best.setdefault(reader, found)
            best[reader] = [min(own[0], found[0]), min(own[1], found[1]), max(own[2], found[2])]
    return best


def main(rows: int, rounds: int, tenfold: bool) -> None:
    """Print the figures and their ratios to the budgets."""
    with tempfile.TemporaryDirectory() as folder:
        small, path, large = (Path(folder) / name for name in ("small.csv", "log.csv", "large.csv"))
        write(small, 100)
        write(path, rows)
        table = rows * (len(CHANNELS) + 1) * 8
        found = compare(path, small, rounds)
        print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB; load {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
        for reader, (clock, processor, memory) in found.items():
            print(f"{reader:8s} {clock:6.2f} s, {processor:5.2f} s of processors, {memory / 1e6:5.0f} MB")
        own, (pandas, arrow) = found["log"], (found[reader] for reader in READERS[1:])
        faster = min(pandas[0], arrow[0])
        print(f"time     {own[0] / faster:.2f} of the faster reader (budget 1.5), {own[0] / pandas[0]:.2f} of pandas")
        print(f"work     {own[1] / min(pandas[1], arrow[1]):.2f} of the processors' time of the thriftier reader")
        print(f"memory   {own[2] / table:.2f} of the table's {table / 1e6:.0f} MB (budget 2)")
        if tenfold:
            write(large, 10 * rows)
            more = compare(large, small, min(rounds, 2), ("log",))["log"]
            times, work = more[0] / own[0], more[1] / own[1]
            print(f"tenfold  {more[0]:.2f} s: {times:.1f} times (budget 10), {work:.1f} times the processors' time; "
                  f"{more[2] / 1e6:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--tenfold", action="store_true")
    parser.add_argument("--measure", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        measure(options.measure[0], Path(options.measure[1]), Path(options.measure[2]))
    else:
        main(options.rows, options.rounds, options.tenfold)
