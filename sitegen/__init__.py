"""Static report sites for multi-engine piston-ring coating test programs.

As a library: `findings(folder)` gives measures, comparisons and verdicts as data frames.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sitegen.library import Findings, InputError, findings

__all__ = ["Findings", "InputError", "findings"]


def __getattr__(name: str) -> object:
    """What the library gives, once it is asked for: the command starts without it."""
    if name in __all__:
        return getattr(import_module("sitegen.library"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
