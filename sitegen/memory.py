"""Memory that was freed, handed back to the system.

The C library keeps what is freed for what comes next. After a long log that is tens of megabytes, in pieces that the
next log does not fit into.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from contextlib import suppress
from functools import cache


@cache
def _trim() -> Callable[[int], int] | None:
    """What glibc has for it; None where another library is in its place, which needs no telling or cannot be told."""
    with suppress(OSError, AttributeError, TypeError):  # TypeError: there is no library of ourselves, as on Windows
        found: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
        return found
    return None


def give_back() -> None:
    """Hand back what is free: after a large piece of work, since it takes some milliseconds."""
    trim = _trim()
    if trim is not None:
        trim(0)
