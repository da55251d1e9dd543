"""Names of trace files that are not there yet: what a list of traces to take proposes, and the reader knows again."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

FOLDER, ENDING = "traces", ".txt"


def proposed(engine: str, phase: str, cylinder: int, part: str, place: str, repeat: str) -> str:
    """Trace file of one place, from the program's folder; `place` is side and height, or an angle [deg].

    >>> proposed("B3", "teardown", 2, "bore", "thrust top-reversal", "1")
    'traces/b3/teardown-2-bore-thrust-top-reversal-1.txt'
    """
    said = f"{phase}-{cylinder}-{part}-{place}-{repeat}"
    return f"{FOLDER}/{_plain(engine)}/{_plain(said)}{ENDING}"


def is_proposed(trace: str, engine: str, phase: str, cylinder: int, part: str, place: str, repeat: str) -> bool:
    """Whether a trace has the name that was proposed for its place; its ending is the instrument's own."""
    own = PurePosixPath(proposed(engine, phase, cylinder, part, place, repeat))
    return PurePosixPath(trace).with_suffix("") == own.with_suffix("")


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
