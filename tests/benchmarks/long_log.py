"""Time and memory to read a log of 300 hours: `python benchmarks/long_log.py`, from `tests`.

A log at ten rows a second with a time and thirty channels (10.8 million rows, some 2.3 GB) is written into a new folder,
which is taken away again, and read by `logs.read_log`; the same bytes by two readers of CSV, pandas' own and that of
pyarrow, piece by piece as well, and nothing is done with what they read. Each runs in a process of its own, in turn; the
best of the rounds counts. Memory is the most a process ever held, with everything imported.

Budgets: 600 MB; 1.3 times the faster bare reader's time; the figure of the runs 300 kB, with the highest and the lowest
sample of every channel in it.

    --hours 300   --rounds 1   --folder DIR (where the log is written)   --keep (leave it there; one of that length is used again)
"""  # noqa: E501 - the options read better unbroken

from __future__ import annotations

import argparse
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sitegen.logs.reading import LogFile

RATE = 10  # rows a second
MOST_MEMORY, MOST_TIME, MOST_FIGURE = 600e6, 1.3, 300e3
PIECE = 1 << 22  # bytes, of the bare readers, as of ours
FIXED: dict[str, tuple[str, str, float]] = {  # name: header, unit, level
    "speed": ("n", "rpm", 1800.0),
    "torque": ("Md", "N m", 140.0),
    "blowby": ("Blow-by", "L/min actual", 18.2),
    "blowby_2": ("Blow-by 2", "L/min actual", 18.4),
    "crankcase_pressure": ("p cc", "kPa gauge", 0.4),
    "oil_pressure": ("p oil", "bar gauge", 3.2),
    "oil_temperature": ("T oil", "degC", 92.0),
    "coolant_temperature": ("T coolant", "degC", 85.0),
    "intake_temperature": ("T in", "degC", 25.0),
    "ambient_pressure": ("p room", "kPa absolute", 100.2),
    "blowby_temperature": ("T blow-by", "degC", 40.0),
    "blowby_pressure": ("p blow-by", "kPa absolute", 100.4),
}
CHANNELS = (
    FIXED
    | {f"exhaust_temperature_{n}": (f"T exh {n}", "degC", 520.0 + n) for n in range(1, 7)}
    | {f"peak_pressure_{n}": (f"p max {n}", "bar absolute", 95.0 + n) for n in range(1, 7)}
    | {f"own-{n}": (f"Bearing {n}", "degC", 70.0 + n) for n in range(1, 7)}
)
READERS = ("log", "pandas", "pyarrow")


def write(path: Path, hours: float) -> None:
    """Noise of 1 % about a level, two decimals; each channel once, in an hour of its own, far above and far below."""
    import numpy as np
    import pyarrow as pa
    from pyarrow import csv

    rng = np.random.default_rng(20261130)
    rows = round(hours * 3600 * RATE)
    spikes = {name: rng.integers(0, rows, 2) for name in CHANNELS}
    part = 36_000
    with path.open("wb") as stream:
        for begin in range(0, rows, part):
            count = min(part, rows - begin)
            columns = {"Time": np.round((begin + np.arange(count)) / RATE, 1)}
            for name, (header, _, level) in CHANNELS.items():
                values = level * (1 + 0.01 * rng.standard_normal(count))
                for at, times in zip(spikes[name].tolist(), (1.06, 0.7), strict=True):
                    if begin <= at < begin + count:
                        values[at - begin] = level * times
                columns[header] = np.round(values, 2)
            csv.write_csv(pa.table(columns), stream, csv.WriteOptions(include_header=not begin, quoting_style="none"))


def read(reader: str, path: Path) -> LogFile | None:
    """One reading, piece by piece."""
    if reader == "pandas":
        import pandas as pd

        for _ in pd.read_csv(path, chunksize=PIECE // 200):
            pass
        return None
    if reader == "pyarrow":
        from pyarrow import csv

        for _ in csv.open_csv(path, csv.ReadOptions(block_size=PIECE)):
            pass
        return None
    from sitegen.logs.reading import read_log
    from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where

    where = Where("bench/program.yaml", 1, 1)
    channels = tuple(
        LogChannel(name, Address(header), unit, where=where, drawn=header if name.startswith("own") else "")
        for name, (header, unit, _) in CHANNELS.items()
    )
    source = LogSource(path.name, where, "B1", "run", channels, LogTime("elapsed", (Address("Time"),), "s"))
    found = read_log(source, path)
    if not found.usable or found.problems:
        raise SystemExit(str(found.problems))
    return found


def figures(path: Path) -> tuple[dict[str, int], int]:
    """Bytes of the numbers that the figures of the run draw, as pages hold them, and how many extremes are lost."""
    from sitegen.logs.join import join
    from sitegen.pages.charts import columns, packed
    from sitegen.streams.runlog.drawing import FINE, SHOWN, coarse, line, thinned

    found = read("log", path)
    log = None if found is None else join([found])[0]
    if log is None:
        raise SystemExit("the log was not joined")
    size, lost = {"the run": 0, "other channels": 0}, 0
    for channel in log.channels:
        most = FINE if channel in SHOWN else coarse(len(log.channels) - len(SHOWN))
        points, known = thinned(log, channel, most), log.facts[channel]
        ends = float(points.low.min()), float(points.high.max())
        lost += sum(not math.isclose(*each) for each in zip(ends, (known.low, known.high), strict=True))
        rows = columns(line([log], channel, most).path, 0)
        size["the run" if channel in SHOWN else "other channels"] += len(json.dumps(packed({"data": {"path": rows}})))
    return size, lost


def measure(reader: str, path: Path, small: Path) -> None:
    """In a process of its own: seconds on the clock and of the processors, and memory [bytes], as JSON."""
    read(reader, small)
    begin, spent = time.perf_counter(), time.process_time()
    read(reader, path)
    taken = time.perf_counter() - begin, time.process_time() - spent
    print(json.dumps([*taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024]))


def compare(path: Path, small: Path, rounds: int) -> dict[str, list[float]]:
    """Best time, least processor time and most memory of each reader, taken in turn."""
    best: dict[str, list[float]] = {}
    for _ in range(rounds):
        for reader in READERS:
            command = [sys.executable, __file__, "--measure", reader, str(path), str(small)]
            found = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
            own = best.setdefault(reader, found)
            best[reader] = [min(own[0], found[0]), min(own[1], found[1]), max(own[2], found[2])]
    return best


def main(hours: float, rounds: int, folder: Path) -> None:
    """Print the figures beside their budgets."""
    small, path = folder / "small.csv", folder / f"log-{hours:g}.csv"
    write(small, 0.01)
    if not path.exists():
        begin = time.perf_counter()
        write(path, hours)
        print(f"written in {time.perf_counter() - begin:.0f} s")
    found = compare(path, small, rounds)
    size = path.stat().st_size
    print(f"{hours:g} h, {size / 1e6:.0f} MB; load {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    for reader, (clock, processor, memory) in found.items():
        print(f"{reader:8s} {clock:7.1f} s, {processor:6.1f} s of processors, {memory / 1e6:5.0f} MB")
    own, bare = found["log"], [found[reader] for reader in READERS[1:]]
    print(f"time     {own[0] / min(each[0] for each in bare):.2f} of the faster reader (budget {MOST_TIME})")
    print(f"work     {own[1] / min(each[1] for each in bare):.2f} of the processors' time of the thriftier reader")
    print(f"memory   {own[2] / 1e6:.0f} MB (budget {MOST_MEMORY / 1e6:.0f})")
    drawn, lost = figures(path)
    told = ", ".join(f"{name} {each / 1e3:.0f} kB" for name, each in drawn.items())
    print(f"figures  {told} (budget {MOST_FIGURE / 1e3:.0f}); {lost} of the extremes lost")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=300.0)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--measure", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        measure(options.measure[0], Path(options.measure[1]), Path(options.measure[2]))
    elif options.keep and options.folder:
        options.folder.mkdir(exist_ok=True)
        main(options.hours, options.rounds, options.folder)
    else:
        with tempfile.TemporaryDirectory(dir=options.folder) as made:
            main(options.hours, options.rounds, Path(made))
