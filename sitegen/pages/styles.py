"""How a coating looks: colour, point shape and dash, fixed for ever by its place in definitions.yaml.

Colour alone never tells coatings apart (WCAG 2.2, 1.4.1): each of the eight has its own shape and dash too, and past
eight the shapes and dashes move on against the colours, so that 64 combinations differ.
"""

from __future__ import annotations

from dataclasses import dataclass

# Outlines in a box from -1 to 1, as SVG paths: the same for charts, keys and exported figures.
SHAPES = (
    "M0.95,0A0.95,0.95,0,1,1,-0.95,0A0.95,0.95,0,1,1,0.95,0Z",  # circle
    "M-0.85,-0.85L0.85,-0.85L0.85,0.85L-0.85,0.85Z",  # square
    "M0,-1.1L1.08,0.8L-1.08,0.8Z",  # triangle
    "M0,-1.25L1.1,0L0,1.25L-1.1,0Z",  # diamond
    "M0,1.1L1.08,-0.8L-1.08,-0.8Z",  # triangle upside down
    "M-0.4,-1.1L0.4,-1.1L0.4,-0.4L1.1,-0.4L1.1,0.4L0.4,0.4L0.4,1.1L-0.4,1.1L-0.4,0.4L-1.1,0.4L-1.1,-0.4L-0.4,-0.4Z",
    "M-1.1,-0.95L0,-0.2L1.1,-0.95L1.1,0.95L0,0.2L-1.1,0.95Z",  # bow tie
    "M0,-1.25L0.32,-0.42L1.19,-0.39L0.51,0.17L0.74,1.01L0,0.52L-0.74,1.01L-0.51,0.17L-1.19,-0.39L-0.32,-0.42Z",  # star
)
DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (7, 3),
    (8, 2.5, 1.5, 2.5),
    (3.5, 2),
    (13, 3),
    (6, 2, 1.5, 2, 1.5, 2),
    (10, 2, 4, 2),
    (16, 3, 3, 3),
)
# Light and dark paper; both kept at 3:1 or better against their paper and apart from each other (checked by a test).
COLOURS = (
    ("#4f5459", "#b3b8bd"),
    ("#2a5db0", "#86b0f5"),
    ("#b8480f", "#f3986a"),
    ("#17754a", "#62c493"),
    ("#8238a0", "#cd96e6"),
    ("#8a6d00", "#dcbb4e"),
    ("#b3204f", "#f27a9f"),
    ("#5c3d22", "#b08a66"),
)


@dataclass(frozen=True)
class Style:
    """Look of one coating."""

    colour: int  # index of the CSS variable --coating-<n>
    shape: str  # SVG path in a box from -1 to 1
    dash: tuple[float, ...]
    symbol: int  # number of the drawing that holds this shape and dash


def style_number(order: int) -> tuple[int, int, int]:
    """Indices of colour, shape and dash for a coating's place in the list.

    >>> style_number(0), style_number(2), style_number(8), style_number(9)
    ((0, 0, 0), (2, 2, 2), (0, 1, 1), (1, 2, 2))
    """
    turn, place = divmod(order, 8)
    return place, (place + turn) % 8, (place + turn) % 8


def style(order: int) -> Style:
    """Look of the coating at place `order` of definitions.yaml."""
    colour, shape, dash = style_number(order)
    return Style(colour, SHAPES[shape], DASHES[dash], shape)
