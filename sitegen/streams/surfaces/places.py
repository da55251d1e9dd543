"""Places as they are read, and as others wrote them: a picture of the inspection belongs beside the traces there."""

from __future__ import annotations

import re

from sitegen.streams.surfaces.fields import HEIGHTS, RINGS, SIDES

_HEIGHTS = {"top-reversal": "top reversal", "mid-stroke": "mid stroke", "bottom-reversal": "bottom reversal"}
_ANGLE = re.compile(r"(\d{1,3}) ?(?:°|deg)")
_OPPOSITE = ("back of the gap", "opposite the gap")


def place_title(at: str) -> str:
    """A place as it is read.

    >>> place_title("thrust/top-reversal"), place_title("top/90-deg"), place_title("top")
    ('thrust side, top reversal', 'top ring, 90° from the gap', 'top ring, mean of all angles')
    """
    one, _, other = at.partition("/")
    if one in RINGS.values():
        where = f"{other.removesuffix('-deg')}° from the gap" if other else "mean of all angles"
        return f"{one} ring, {where}"
    return f"{one} side, {_HEIGHTS.get(other, other)}"


def place_told(part: str, told: str) -> str:
    """The place that free words of an inspection name, as keys say it; "" where they name none.

    >>> place_told("bore", "Thrust side, top reversal"), place_told("bore", "antithrust, mid-stroke")
    ('thrust/top-reversal', 'antithrust/mid-stroke')
    >>> place_told("top-ring", "back of the gap"), place_told("second-ring", "60° from the gap"), place_told("bore", "")
    ('top/180-deg', 'second/60-deg', '')
    """
    words = " ".join(told.casefold().replace("-", " ").split())
    if part in RINGS:
        angle = _ANGLE.search(words)
        where = angle[1] if angle else "180" if any(each in words for each in _OPPOSITE) else ""
        return f"{RINGS[part]}/{int(where)}-deg" if where else ""
    side = next((each for each in SIDES if re.search(rf"\b{each}\b", words)), "")
    height = next((each for each in HEIGHTS if each.replace("-", " ") in words), "")
    return f"{side}/{height}" if part == "bore" and side and height else ""
