"""What changed with each version, from `releases.yaml`; and by which version results were written, where by another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

MOST = 5  # changes named in a clause


@dataclass(frozen=True)
class Moved:
    """A change that moves results."""

    says: str
    steps: Mapping[str, int]  # the revision each step was raised to; empty where no step was: what is read, say


@dataclass(frozen=True)
class Release:
    """A version."""

    version: str
    results: tuple[Moved, ...]
    formats: tuple[str, ...]
    pages: tuple[str, ...]


@cache
def releases() -> tuple[Release, ...]:
    """Every version that is listed, the newest first."""
    import yaml

    listed = yaml.safe_load(Path(__file__).with_name("releases.yaml").read_text(encoding="utf-8"))
    return tuple(
        Release(
            each["version"],
            tuple(Moved(moved["says"], moved.get("steps", {})) for moved in each["results"]),
            tuple(each["formats"]),
            tuple(each["pages"]),
        )
        for each in listed
    )


def revised(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """What was changed in steps that have since been revised.

    `before` and `now` are as provenance.json: `version`, and under `methods` the revision of each step.
    """
    old, new = _methods(before), _methods(now)
    return [
        moved.says
        for release in releases()
        for moved in release.results
        if any(old.get(step, 0) < revision <= new.get(step, 0) for step, revision in moved.steps.items())
    ]


def by(before: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    """By which other version, or which state of this one, results were written, as a clause; "" by this one."""
    old, new = before.get("version"), now["version"]
    if old != new:
        return f"written by sitegen {old or 'of an unknown version'}, this is {new}"
    return f"written by an earlier state of sitegen {new}" if revised(before, now) else ""


def told(before: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    """The same with what was changed for results since; "" where this version wrote them."""
    clause = by(before, now)
    later = [each for each in releases() if _order(before.get("version")) < _order(each.version)]
    found = revised(before, now) + [each.says for one in later for each in one.results if not each.steps]
    more = f"; and {len(found) - MOST} more, on the methods page" if len(found) > MOST else ""
    since = f"changed since: {'; '.join(found[:MOST])}{more}" if found else "no change of results is listed between"
    return f"{clause}; {since}" if clause else ""


def _methods(provenance: Mapping[str, Any]) -> dict[str, int]:
    methods = provenance.get("methods")
    known = methods.items() if isinstance(methods, dict) else ()
    return {name: revision for name, revision in known if isinstance(revision, int)}


def _order(version: object) -> tuple[int, ...]:
    return tuple(int(part) if part.isdigit() else 0 for part in str(version).split("."))
