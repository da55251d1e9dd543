"""Time from navigation to the first chart, and page weights: `python benchmarks/first_chart.py`, from `tests`.

The examples are published into a new folder and opened from there in Chromium (on the PATH or in SITEGEN_CHROMIUM),
each page in a fresh context with nothing cached, as by a double click on a file while the browser is open: it is given
a second to open its own window first. The page itself notes the time after the frame that shows its first chart.
Budgets: 0.3 s on a machine of two cores, HTML and data of a page 300 kB. The load of the machine is printed: it counts.

    --rounds 7   --settle 1.0 (s; 0: the browser's own window is still opening)
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from sitegen.cli import main

PROGRAMS = Path(__file__).parents[2] / "programs"
PAGES = ("programs/pump-rings-2026/index.html", "programs/pump-rings-2026/b6/index.html",
         "programs/pump-rings-2026/b6/cylinder-2.html")  # fmt: skip
FLAGS = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"]


def measure(site: Path, rounds: int, settle: float) -> None:
    """Print the median, least and most of each page."""
    browser_path = os.environ.get("SITEGEN_CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path, args=FLAGS)
        for path in PAGES:
            times = []
            for _ in range(rounds):
                context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
                page = context.new_page()
                page.wait_for_timeout(1000 * settle)
                page.goto((site / path).as_uri())
                page.wait_for_selector("html[data-first-chart]", state="attached")
                times.append(float(page.evaluate("() => document.documentElement.dataset.firstChart")))
                context.close()
            weight = (site / path).stat().st_size / 1000
            middle = statistics.median(times)
            load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
            print(f"{path:48s} {middle:5.0f} ms ({min(times):.0f} to {max(times):.0f}), {weight:.0f} kB {load}")
        browser.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--settle", type=float, default=1.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        programs = shutil.copytree(PROGRAMS, Path(folder) / "programs")
        if main(["publish", str(programs), "--to", str(Path(folder) / "site")]) == 0:
            measure(Path(folder) / "site", options.rounds, options.settle)
