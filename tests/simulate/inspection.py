"""What inspectors see on simulated parts at teardown, and drawn micrographs of what they see.

The contact band is the chord that wear cuts off a barrel face: w = 2 sqrt(2 R d) of radius R and depth d.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from simulate import sheets
from simulate.engine import Chance, CylinderTruth, steps

BARREL = 40.0  # mm, radius of the top ring's face: drops 4.5 um to its edges
FACE = sheets.HEIGHT["top"]  # mm
SIZE = (900, 600)  # px
RING_PLACES = ("back of the gap", "60° from the gap")
BORE_PLACES = ("thrust side, top reversal", "antithrust side, mid stroke")

Pixels = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Inspected:
    """How the parts of a build were looked at."""

    inspectors: Sequence[str]
    best: int = 1  # of the grades 1 to 5
    pictures: Mapping[int, Sequence[str]] = field(default_factory=dict)  # cylinder -> endings: ring, then bore
    scuffed: Mapping[tuple[int, str], str] = field(default_factory=dict)  # cylinder and place -> word
    # cylinder and place of a bore -> width [mm] that was written down of its picture at the cold build, if any
    before: Mapping[tuple[int, str], float | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Seen:
    """One line of an inspection record."""

    engine: str
    phase: str
    cylinder: int
    part: str
    place: str
    inspector: str
    date: str
    band_share: float | None = None  # %
    band_width: float | None = None  # mm
    grade: int | None = None
    scuffing: str = ""
    spalling: str = ""
    sticking: str = ""
    deposits: str = ""
    image: str = ""
    image_width: float | None = None  # mm
    caption: str = ""
    remark: str = ""


def band_of(face_wear: float) -> float:
    """Width [mm] of the contact band of a barrel face worn by so much [um]."""
    return min(2 * math.sqrt(2 * BARREL * face_wear / 1000), FACE)


def image_name(build: str, cylinder: int, place: str, ending: str) -> str:
    """File of a picture, from the program's folder."""
    short = {"back of the gap": "ring", BORE_PLACES[0]: "thrust", BORE_PLACES[1]: "antithrust"}[place]
    return f"images/{build.lower()}-{cylinder}-{short}.{ending}"


def rows_of(
    seed: int, build: str, cylinders: Sequence[CylinderTruth], hours: float, date: str, how: Inspected
) -> list[Seen]:
    """All lines of a build: each inspector looks at every place, the pictures belong to the first."""
    chance = Chance(seed, build, "inspection")
    eye = {name: Chance(seed, name, "eye").normal(0.25) for name in how.inspectors}
    rows: list[Seen] = []
    for truth in cylinders:
        wear = sheets.wear_of(truth, hours)["top"]
        for part, places in (("top-ring", RING_PLACES), ("bore", BORE_PLACES)):
            for place in places:
                word = how.scuffed.get((truth.cylinder, place), "none")
                true_band = band_of(wear) * chance.spread(0.04)
                state = 1.5 + chance.normal(0.6) + {"none": 0.0, "light": 1.2, "marked": 2.4}[word]
                for nth, inspector in enumerate(how.inspectors):
                    grade = min(max(round(state + eye[inspector] + chance.normal(0.35)), 1), 5)
                    band = steps(true_band + chance.normal(0.012), 0.01) if part == "top-ring" else None
                    carbon = chance.between(0, 1) < 0.3
                    rows.append(
                        Seen(
                            build, "teardown", truth.cylinder, part, place, inspector, date,
                            band_share=None if band is None else round(100 * band / FACE),
                            band_width=band,
                            grade=grade if how.best == 1 else 6 - grade,
                            scuffing=word, spalling="none", sticking="none" if part == "top-ring" else "",
                            deposits="light" if carbon and part == "top-ring" else "none",
                            **(_picture(build, truth.cylinder, place, band, how) if nth == 0 else {}),
                        )
                    )  # fmt: skip
    return rows


def before_running(build: str, date: str, how: Inspected) -> list[Seen]:
    """Bores photographed as they were honed, where they are photographed again at teardown; nothing is graded."""
    return [
        Seen(
            build, "cold-build", cylinder, "bore", place, how.inspectors[0], date,
            image=image_name(build, cylinder, place, "jpg").replace(".jpg", "-new.jpg"), image_width=width,
            caption=f"Bore, {place}. As honed.",
        )
        for (cylinder, place), width in how.before.items()
    ]  # fmt: skip


def _picture(build: str, cylinder: int, place: str, band: float | None, how: Inspected) -> dict[str, Any]:
    endings = how.pictures.get(cylinder, ())
    pictured = (RING_PLACES[0], *BORE_PLACES)
    if place not in pictured or pictured.index(place) >= len(endings):
        return {}
    ring = place == RING_PLACES[0]
    caption = f"Top ring face, {place}. Band {band:.2f} mm." if ring else f"Bore, {place}. Honing grooves visible."
    return {
        "image": image_name(build, cylinder, place, endings[pictured.index(place)]),
        "image_width": 1.8 if ring else 2.4,
        "caption": caption,
    }


# ---- pictures -------------------------------------------------------------------------------------------------------


def pictures_of(seed: int, rows: Sequence[Seen], wear: Mapping[int, float]) -> dict[str, bytes]:
    """The pictures the lines name, drawn; `wear` [um] of the top ring by cylinder."""
    files = {}
    for row in rows:
        if not row.image:
            continue
        # its sequence for a seed is frozen, unlike that of newer generators
        place = row.image.replace("-new.", ".")  # the same grooves, before and after
        random = np.random.RandomState(int(Chance(seed, row.engine, place).between(0, 2**31)))
        ending = row.image.rpartition(".")[2]
        size = SIZE if ending != "tif" else (SIZE[0] // 2, SIZE[1] // 2)
        if row.part == "top-ring":
            pixels = ring_face(random, size, row.band_width or 0.0, row.image_width or 1.0)
        else:
            new = row.phase == "cold-build"
            pixels = bore_wall(random, size, 0.0 if new else wear[row.cylinder], row.scuffing or "none")
            if new:  # by a smaller camera
                pixels = pixels.reshape(size[1] // 2, 2, size[0] // 2, 2).mean(axis=(1, 3))
        files[row.image] = encoded(pixels, ending)
    return files


def _noise(random: np.random.RandomState, size: tuple[int, int], across: int, along: int) -> Pixels:
    """Grain [-1, 1] drawn out over so many pixels across and along the picture's width."""
    width, height = size
    coarse = random.random_sample((height // along + 2, width // across + 2))
    image = Image.fromarray((255 * coarse).astype(np.uint8)).resize(size, Image.Resampling.BICUBIC)
    return np.asarray(image, dtype=np.float64) / 127.5 - 1


def ring_face(random: np.random.RandomState, size: tuple[int, int], band: float, width: float) -> Pixels:
    """Grey values [0, 1] of a ring face, axial direction upright: turning marks, and a polished band scratched across.

    `band` [mm] and `width` of the picture [mm].
    """
    columns, lines = size
    height = np.abs(np.arange(lines) - lines / 2)[:, None] * width / columns  # mm from the middle of the face
    edge = height + 0.012 * _noise(random, size, 40, 200)
    polished = 1 / (1 + np.exp((edge - band / 2) / 0.006))
    turned = 0.42 + 0.055 * _noise(random, size, 120, 3) + 0.02 * _noise(random, size, 2, 2)
    scratched = 0.66 + 0.045 * _noise(random, size, 2, 60) + 0.015 * _noise(random, size, 3, 3)
    pixels: Pixels = turned * (1 - polished) + scratched * polished
    return pixels


def bore_wall(random: np.random.RandomState, size: tuple[int, int], wear: float, scuffing: str) -> Pixels:
    """Grey values [0, 1] of a honed bore: plateaus crossed by grooves at 30 degrees to either side of the horizontal.

    The more the ring wore [um], the fainter the grooves; scuffing smears upright streaks over them.
    """
    columns, lines = size
    down, right = np.mgrid[0:lines, 0:columns].astype(np.float64)
    pixels: Pixels = 0.60 + 0.03 * _noise(random, size, 5, 40) + 0.02 * _noise(random, size, 2, 2)
    depth = 0.34 / (1 + 0.25 * wear)
    for slope in (1, -1):
        angle = math.radians(60) * slope
        place = right * math.sin(angle) - down * math.cos(angle)
        low, high = float(place.min()), float(place.max())
        for _ in range(34):
            middle = low + (high - low) * random.random_sample()
            half = 0.8 + 3.2 * random.random_sample() ** 3
            strength = depth * (0.35 + 0.65 * random.random_sample())
            pixels -= strength * np.exp(-(((place - middle) / half) ** 2))
    if scuffing != "none":
        share = {"light": 0.25, "marked": 0.6}[scuffing]
        streak = np.clip(_noise(random, size, 8, 220) - 1 + 2 * share, 0, 1)
        pixels = pixels * (1 - 0.7 * streak) + (0.72 + 0.08 * _noise(random, size, 2, 90)) * 0.7 * streak
    return pixels


def encoded(pixels: Pixels, ending: str) -> bytes:
    """A picture as a camera's file: 8 bits of grey, or for tif 12 of 16 bits, the last three empty."""
    out = io.BytesIO()
    if ending == "tif":
        Image.fromarray((8 * np.rint(511 * np.clip(pixels, 0, 1))).astype(np.uint16)).save(
            out,
            "TIFF",
            compression="tiff_adobe_deflate",
            tiffinfo={317: 2},  # 317: predictor, by horizontal differences
        )
        return out.getvalue()
    grey = Image.fromarray(np.rint(255 * np.clip(pixels, 0, 1)).astype(np.uint8))
    grey = grey.filter(ImageFilter.GaussianBlur(0.8))
    if ending == "png":
        grey.point(lambda value: value // 8 * 8).save(out, "PNG", optimize=True)
    else:
        grey.save(out, "JPEG", quality=72)
    return out.getvalue()
