"""The lowest versions `pyproject.toml` allows, as constraints for pip: `python tests/lowest.py`, from the top.

Needs nothing installed. DEVELOPERS.md says what to do with them.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[1] / "pyproject.toml"


def lowest(project: dict[str, Any]) -> list[str]:
    """A line a package, "numpy==2.0": every requirement of the project table, its extras included, at its lower bound.

    Raises ValueError where a requirement does not state one lower bound and nothing else, or another one elsewhere.
    """
    found: dict[str, str] = {}
    for requirement in [
        *project["dependencies"],
        *(each for of in project["optional-dependencies"].values() for each in of),
    ]:
        match = re.fullmatch(r"([A-Za-z0-9._-]+)>=([0-9]+(?:\.[0-9]+)*)", requirement)
        if match is None:
            raise ValueError(f"{requirement}: a lower bound, and nothing else")
        if found.setdefault(match[1], match[2]) != match[2]:
            raise ValueError(f"{requirement}: {found[match[1]]} elsewhere")
    return [f"{name}=={version}" for name, version in sorted(found.items())]


if __name__ == "__main__":
    print("\n".join(lowest(tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"])))
