"""Places as they are read."""

from __future__ import annotations

from sitegen.streams.surfaces.fields import RINGS

_HEIGHTS = {"top-reversal": "top reversal", "mid-stroke": "mid stroke", "bottom-reversal": "bottom reversal"}


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
