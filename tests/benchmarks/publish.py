"""How long a publish takes beside a plain generator of static pages: `python benchmarks/publish.py`, from `tests`.

A large invented program (40 builds of 4 cylinders, 206 pages) is published into a new folder, and once more unchanged.
The yardstick is the least a generator of static sites has
to do with as much text: every published page is written as Markdown, its headings, paragraphs and tables cell by cell
as long as ours, and turned into HTML files by markdown-it-py with a frame around each. Every run is a process of its
own with all its imports; the ways take turns, so that the load of the machine meets them all; medians are compared.

With more than one worker, every round also publishes with one, and a calculation that shares nothing is timed in so
many processes at once: where two "processors" are one core, that is the most that can be gained.

Printed: seconds of processor and clock of each way, their ratios to the yardstick of the same run, peak memory, and the
weight of the pages. Budgets: whole publish 1.0, unchanged 0.25, HTML and data of one page 300 kB. Compiled modules and
drawings of an earlier publish are there in all ways, as they are on a machine in use.

    --rounds 5   --builds 40   --cylinders 4   --workers 1   --folder DIR (your own programs folder, copied)
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
BUDGETS = {"whole": 1.0, "unchanged": 0.25}
CALCULATION = """
import json, time
rows = [{"a": n, "b": str(n), "c": [n, n + 1]} for n in range(20_000)]
for _ in range(20):
    sorted(json.loads(json.dumps(rows)), key=lambda row: row["b"])
"""

YARDSTICK = """
import sys
from pathlib import Path
from markdown_it import MarkdownIt

source, target = Path(sys.argv[1]), Path(sys.argv[2])
parser = MarkdownIt("commonmark").enable("table")
for file in sorted(source.rglob("*.md")):
    to = target / file.relative_to(source).with_suffix(".html")
    to.parent.mkdir(parents=True, exist_ok=True)
    main = parser.render(file.read_text(encoding="utf-8"))
    page = f"<!doctype html><html lang=en><title>{file.stem}</title><main>{main}</main></html>"
    to.write_text(page, encoding="utf-8")
"""


class AsMarkdown(HTMLParser):
    """The headings, paragraphs, lists and tables of a page as Markdown, cell by cell."""

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[str] = []
        self.cells = 0
        self._text: list[str] = []
        self._row: list[str] = []
        self._rows: list[list[str]] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002 - its signature
        if tag in {"script", "style", "title", "svg"}:
            self._silent += 1
        elif tag == "table":
            self._flush("")
            self._rows = []
        elif tag == "tr":
            self._row = []
        elif tag in {"td", "th"}:
            self._text = []
        elif tag in {"h1", "h2", "h3", "p", "dt", "dd"}:
            self._flush("")

    def handle_endtag(self, tag: str) -> None:
        if tag in {"script", "style", "title", "svg"}:
            self._silent -= 1
        elif tag in {"td", "th"}:
            self._row.append(self._taken().replace("|", "/"))
            self.cells += 1
        elif tag == "tr":
            self._rows.append(self._row)
        elif tag == "table" and self._rows:
            lines = ["| " + " | ".join(cells) + " |" for cells in self._rows]
            lines.insert(1, "|" + " --- |" * len(self._rows[0]))
            self.blocks.append("\n".join(lines))
        elif tag in {"h1", "h2", "h3"}:
            self._flush("#" * int(tag[1]) + " ")
        elif tag in {"p", "dt", "dd", "nav", "button"}:
            self._flush("")

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self._text.append(data)

    def _taken(self) -> str:
        text = " ".join("".join(self._text).split())
        self._text = []
        return text

    def _flush(self, before: str) -> None:
        if text := self._taken():
            self.blocks.append(before + text)


@dataclass(frozen=True)
class Run:
    """One process, start to end."""

    clock: float  # s
    processor: float  # s, of the process and its copies
    memory: float  # MB, peak of the process


def run(*command: str | Path, work: Path) -> Run:
    """Run a command to its end. Raises subprocess.CalledProcessError where it fails."""
    environment = {name: text for name, text in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment |= {
        "PYTHONPATH": str(TESTS.parent),
        "PYTHONPYCACHEPREFIX": str(work / "compiled"),  # modules are compiled once, as they are where one works
        "SITEGEN_CACHE": str(work / "cache"),
    }
    program = (
        "import resource, subprocess, sys; p = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL);"
        "u = resource.getrusage(resource.RUSAGE_CHILDREN);"
        "print(p.returncode, u.ru_utime + u.ru_stime, u.ru_maxrss)"
    )
    before = time.perf_counter()
    told = subprocess.run(
        [sys.executable, "-S", "-c", program, *map(str, command)],
        capture_output=True,
        text=True,
        env=environment,
        check=True,
    )
    clock = time.perf_counter() - before
    status, processor, memory = told.stdout.split()
    if status != "0":
        raise subprocess.CalledProcessError(int(status), [str(each) for each in command], told.stdout, told.stderr)
    per = 1024 if sys.platform != "darwin" else 1024**2
    return Run(clock, float(processor), float(memory) / per)


def publish(folder: Path, site: Path, workers: int, work: Path) -> Run:
    """One publish."""
    return run(sys.executable, "-m", "sitegen", "publish", folder, "--to", site, "--workers", str(workers), work=work)


def fresh(cache: Path, first: Path) -> None:
    """A cache as it is after publishing something else: compiled drawings, nothing of this publish."""
    shutil.rmtree(cache, ignore_errors=True)
    shutil.copytree(first, cache, ignore=shutil.ignore_patterns("publishes", "work"))


def median(runs: Sequence[Run]) -> Run:
    """Median of each figure."""
    return Run(*(statistics.median(getattr(each, what) for each in runs) for what in ("clock", "processor", "memory")))


def at_most(processes: int) -> float:
    """How many times as much so many processes do of one calculation in the time that one takes for it."""

    def taken(count: int) -> float:
        before = time.perf_counter()
        for each in [subprocess.Popen([sys.executable, "-S", "-c", CALCULATION]) for _ in range(count)]:
            each.wait()
        return time.perf_counter() - before

    return processes * min(taken(1) for _ in range(3)) / min(taken(processes) for _ in range(3))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--builds", type=int, default=40)
    parser.add_argument("--cylinders", type=int, default=4)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        folder = work / "programs"
        if given.folder:
            shutil.copytree(given.folder, folder)
        else:
            sys.path.insert(0, str(TESTS))
            from simulate.programs import write_large

            write_large(folder, given.builds, given.cylinders)
        measure(folder, work, given.rounds, given.workers)


def measure(folder: Path, work: Path, rounds: int, workers: int) -> None:
    """Publish in turns with the yardstick and print the medians."""
    first, cache, site = work / "first", work / "cache", work / "site"
    publish(folder, site, workers, work)
    shutil.copytree(cache, first)
    pages = sorted(site.rglob("*.html"))
    cells = 0
    for page in pages:
        text = AsMarkdown()
        text.feed(page.read_text(encoding="utf-8"))
        cells += text.cells
        to = work / "markdown" / page.relative_to(site).with_suffix(".md")
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_text("\n\n".join(text.blocks) + "\n", encoding="utf-8")

    taken: dict[str, list[Run]] = {"yardstick": [], "whole": [], "unchanged": []}
    taken |= {"by one": []} if workers > 1 else {}
    for n in range(rounds):
        taken["yardstick"].append(run(sys.executable, "-c", YARDSTICK, work / "markdown", work / f"md-{n}", work=work))
        if workers > 1:
            fresh(cache, first)
            taken["by one"].append(publish(folder, work / f"one-{n}", 1, work))
        fresh(cache, first)
        taken["whole"].append(publish(folder, work / f"site-{n}", workers, work))
        taken["unchanged"].append(publish(folder, work / f"site-{n}", workers, work))

    load = ", ".join(f"{each:.1f}" for each in os.getloadavg()) if hasattr(os, "getloadavg") else "not known"
    print(f"{len(pages)} pages, {cells} cells of tables, median of {rounds}, {workers} worker(s), load {load}")
    print(f"{'':12}{'clock':>9}{'processor':>11}{'memory':>9}{'ratio':>8}{'processor':>11}{'budget':>8}")
    middle = {way: median(runs) for way, runs in taken.items()}
    yard = middle["yardstick"]
    for way, each in middle.items():
        budget = f"{BUDGETS[way]:8.2f}" if way in BUDGETS else ""
        print(
            f"{way:12}{each.clock:7.2f} s{each.processor:9.2f} s{each.memory:6.0f} MB"
            f"{each.clock / yard.clock:8.2f}{each.processor / yard.processor:11.2f}{budget}"
        )
    if workers > 1:
        gain = middle["by one"].clock / middle["whole"].clock
        print(f"{workers} workers: {gain:.2f} times as fast as one; at most {at_most(workers):.2f} on this machine now")
    sizes = sorted(page.stat().st_size for page in pages)
    markdown = sum(each.stat().st_size for each in (work / "markdown").rglob("*.md"))
    heaviest = max(pages, key=lambda page: page.stat().st_size)
    middling = sizes[len(sizes) // 2] / 1e3
    print(f"Markdown {markdown / 1e6:.1f} MB; HTML and data {sum(sizes) / 1e6:.1f} MB, a page {middling:.0f} kB")
    print(f"heaviest page {heaviest.relative_to(site).as_posix()}: {sizes[-1] / 1e3:.0f} kB of 300 kB")


if __name__ == "__main__":
    main()
