"""What several tests need: the example programs, copied where they may be written to."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

ROOT = Path(__file__).parent.parent
PROGRAMS = ROOT / "programs"


def copied(to: Path) -> Path:
    """The example programs in a folder of their own."""
    return Path(shutil.copytree(PROGRAMS, to / "programs"))


def rows_of(path: Path) -> list[dict[str, str]]:
    """A result table as dictionaries."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
