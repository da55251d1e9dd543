"""Where the files that travel with the package lie: in the wheel beside the code, in a checkout one level up."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parent


def _shipped(name: str) -> Path:
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def schemas() -> Path:
    """Folder of the JSON Schema files."""
    return _shipped("schemas")


def theme() -> Path:
    """Folder of the templates, style and scripts of the built-in theme."""
    return _shipped("theme")
