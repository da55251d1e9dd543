"""Colours by the numbers of WCAG 2.2: relative luminance, contrast ratio, 1.4.1 and 1.4.11."""

from __future__ import annotations

import itertools
import re

import pytest

from sitegen import places
from sitegen.pages.styles import COLOURS, DASHES, SHAPES, style


def linear(channel: int) -> float:
    share = channel / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (linear(int(colour[i : i + 2], 16)) for i in (1, 3, 5))
    return red, green, blue


def contrast(one: str, other: str) -> float:
    lights = sorted(
        sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), channels(each), strict=True)) for each in (one, other)
    )
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(colour: str) -> tuple[float, float, float]:
    """CIE 1976 L*a*b* of an sRGB colour (IEC 61966-2-1 matrix, D65 white)."""
    red, green, blue = channels(colour)
    x = (0.4124564 * red + 0.3575761 * green + 0.1804375 * blue) / 0.95047
    y = 0.2126729 * red + 0.7151522 * green + 0.0721750 * blue
    z = (0.0193339 * red + 0.1191920 * green + 0.9503041 * blue) / 1.08883
    fx, fy, fz = (t ** (1 / 3) if t > 0.008856 else 7.787 * t + 16 / 116 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def inks() -> dict[str, dict[str, str]]:
    css = (places.theme() / "report.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{([^}]*--paper[^}]*)\}", css)
    return {
        mode: dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", text)) for mode, text in (("light", light), ("dark", dark))
    }


def test_contrast_formula_against_a_known_pair() -> None:
    # The grey #767676 is the lightest that passes 4.5:1 on white; 4.54 (common knowledge of the trade, from memory).
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_every_coating_stands_out_from_its_paper(mode: str) -> None:
    paper = inks()[mode]["paper"]
    for pair in COLOURS:
        assert contrast(pair[mode == "dark"], paper) >= 3, pair


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_text_contrast(mode: str) -> None:
    colours = inks()[mode]
    for ink in ("ink", "soft", "accent"):
        for paper in ("paper", "faint"):
            assert contrast(colours[ink], colours[paper]) >= 4.5, (ink, paper)


@pytest.mark.parametrize("mode", [0, 1])
def test_coating_colours_differ_from_each_other(mode: int) -> None:
    for one, other in itertools.combinations([pair[mode] for pair in COLOURS], 2):
        distance = sum((a - b) ** 2 for a, b in zip(lab(one), lab(other), strict=True)) ** 0.5
        assert distance >= 18, (one, other)  # a just noticeable difference is about 2.3


def test_no_two_coatings_look_alike() -> None:
    looks = [style(order) for order in range(64)]
    assert len(set(looks)) == 64
    first = looks[:8]
    assert (
        len({each.shape for each in first})
        == len({each.dash for each in first})
        == len({each.colour for each in first})
        == 8
    )
    assert len(set(SHAPES)) == len(set(DASHES)) == len(COLOURS) == 8
