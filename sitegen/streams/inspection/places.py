"""Places as inspectors write them: the same place has one name, so that its pictures stand beside each other."""

from __future__ import annotations

import re

_ANGLE = re.compile(r"(\d{1,3}) ?(?:°|deg)")
_OPPOSITE = ("back of the gap", "opposite the gap")
_SIDES = ("thrust", "antithrust", "front", "rear")
_HEIGHTS = ("top reversal", "mid stroke", "bottom reversal")


def place_of(part: str, told: str) -> str:
    """One name for the place that free words say.

    >>> place_of("bore", "Thrust side, top reversal"), place_of("bore", "thrust, top-reversal")
    ('bore, thrust side, top reversal', 'bore, thrust side, top reversal')
    >>> place_of("top-ring", "back of the gap"), place_of("top-ring", "180 deg"), place_of("piston", "Crown ")
    ('top ring, 180° from the gap', 'top ring, 180° from the gap', 'piston, crown')
    """
    words = " ".join(told.casefold().replace("-", " ").split())
    where = words
    if part.endswith("-ring"):
        angle = _ANGLE.search(words)
        degrees = angle[1] if angle else "180" if any(each in words for each in _OPPOSITE) else ""
        where = f"{int(degrees)}° from the gap" if degrees else words
    side = next((each for each in _SIDES if re.search(rf"\b{each}\b", words)), "")
    height = next((each for each in _HEIGHTS if each in words), "")
    if part == "bore" and side and height:
        where = f"{side} side, {height}"
    return ", ".join(filter(None, (part.replace("-", " "), where)))
