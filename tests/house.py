"""What several tests need: the example programs, copied where they may be written to; what a run makes only once."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import pytest
from _pytest.mark.structures import ParameterSet

from sitegen.workflow import Conclusion, Examination

ROOT = Path(__file__).parent.parent
PROGRAMS = ROOT / "programs"
PATIENCE = 600  # s, for what takes ten: other machines are slow, and busy


def copied(to: Path) -> Path:
    """The example programs in a folder of their own."""
    return Path(shutil.copytree(PROGRAMS, to / "programs"))


def fewer(to: Path) -> Path:
    """The smallest of the example programs alone, in a folder of its own: three builds, a sixth of the work of two."""
    others = shutil.ignore_patterns("pump-rings-2026", "pump-rings-hours")
    return Path(shutil.copytree(PROGRAMS, to / "programs", ignore=others))


def plain(to: Path) -> Path:
    """A program of two builds with a single reading, in a folder of its own: for what no reading bears on."""
    return Path(shutil.copytree(ROOT / "tests" / "accepted" / "plain", to / "programs"))


def spoiled(programs: Path) -> str:
    """Set one reading of `fewer` aside: its pressure is above the supply. The place it is told at is returned."""
    table = programs / "pump-rings-2025" / "records" / "leakdown-a2.csv"
    text = table.read_text(encoding="utf-8")
    assert text.split("\n")[2].count(",80.0,66.9,") == text.count(",80.0,66.9,") == 1
    table.write_text(text.replace(",80.0,66.9,", ",80.0,86.9,"), encoding="utf-8")
    return "pump-rings-2025/records/leakdown-a2.csv:3"


@dataclass(frozen=True)
class Published:
    """The example programs published from a copy. Nobody writes to it."""

    programs: Path
    site: Path
    out: str
    err: str


@dataclass(frozen=True)
class Analysed:
    """The example programs as they lie in the repository: read, and concluded from."""

    examination: Examination
    conclusions: tuple[Conclusion, ...]


def of_the_run(factory: pytest.TempPathFactory) -> Path:
    """The temporary folder the workers of a run have in common."""
    base = factory.getbasetemp()
    return base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base


T = TypeVar("T")


def one_of(cases: Iterable[T], tried: Callable[[T], object], name: Callable[[T], str] = str) -> list[ParameterSet]:
    """Cases of a simulated table as parameters: the one every run tries, the others for `--tables`."""
    every = list(cases)
    assert sum(bool(tried(case)) for case in every) == 1
    return [pytest.param(case, id=name(case), marks=() if tried(case) else pytest.mark.table) for case in every]


def once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """A folder made once a run: the first worker to ask fills it, the others wait. Nobody writes to it afterwards.

    Raises:
        TimeoutError: another worker neither finished the folder nor gave it up.

    """
    base = of_the_run(factory)
    folder, lock, done = (base / f"{name}{ending}" for ending in ("", ".lock", ".done"))
    latest = time.monotonic() + PATIENCE
    while not done.exists():
        try:
            lock.touch(exist_ok=False)
        except FileExistsError:
            if time.monotonic() > latest:
                raise TimeoutError(f"{name} was not made within {PATIENCE} s") from None
            time.sleep(0.05)
            continue
        try:
            if not done.exists():
                shutil.rmtree(folder, ignore_errors=True)
                folder.mkdir()
                make(folder)
                done.touch()
        finally:
            lock.unlink()  # where it could not be made, the next worker tries and tells why
    return folder


def git(folder: Path, *words: str) -> None:
    """A command of git in a folder, by nobody in particular."""
    who = ("-c", "user.name=N", "-c", "user.email=n@example.invalid", "-c", "core.autocrlf=false")
    command = [shutil.which("git") or "git", "-C", str(folder), *who, *words]
    subprocess.run(command, check=True, capture_output=True)


def rows_of(path: Path) -> list[dict[str, str]]:
    """A result table as dictionaries."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
