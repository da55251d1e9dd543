"""How a word of state is set: what must not be missed is bold, what is not told yet is italic, the rest is plain."""

from __future__ import annotations

from typing import Literal

from sitegen.page.blocks import Cell

Tone = Literal["no", "yet", ""]

TONES: dict[str, Tone] = {
    "not seated": "no",
    "above the limit": "no",
    "fails": "no",
    "not met": "no",
    "missing": "no",
    "do not close": "no",
    "stopped": "no",
    "still seating": "no",
    "cannot tell": "yet",
    "cannot tell yet": "yet",
    "unverified": "yet",
    "not decided here": "yet",
    "open": "yet",
    "to come": "yet",
}


def tone(cell: Cell) -> Tone:
    """Tone of a word of state in a cell; "" for any other cell."""
    return tone_of(cell.state or cell.text) if cell.word else ""


def tone_of(word: str) -> Tone:
    """Tone of a word of state, also of one that goes on ("to come, 7 December").

    >>> tone_of("fails"), tone_of("to come, 7 December"), tone_of("seated"), tone_of("3 of 4 cylinders")
    ('no', 'yet', '', '')
    """
    return TONES.get(word) or TONES.get(word.partition(",")[0], "")
