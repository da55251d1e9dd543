"""Traces of simulated bores and ring faces before and after, with known wear.

A bore: plateaus of fine roughness crossed by honing grooves, on a waviness of its own in every trace, since none is
taken twice at the same spot. Running cuts the peaks off at a level: what the plateaus lose on the mean is the wear.
At the top reversal a band above stays unswept, and the swept one lies lower by the wear. A ring face: a barrel whose
crown is cut off by wear, deeper toward the ends of the gap.

The instrument: stylus on a straight datum, every trace tilted and shifted in height.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulate import inspection, sheets
from simulate.engine import Chance, CylinderTruth

Floats = npt.NDArray[np.float64]

STEP = 2.0  # um, between points
CUTOFF = 0.8  # mm
LENGTH = {"top-reversal": 5.8, "mid-stroke": 4.8}  # mm
UNSWEPT, SWEPT = 1.4, 1.8  # mm along a trace at the reversal: end of the unswept band, beginning of the swept one
PLACES = (("thrust", "top-reversal"), ("thrust", "mid-stroke"), ("antithrust", "mid-stroke"))
SHARE = {PLACES[0]: 1.0, PLACES[1]: 0.35, PLACES[2]: 0.25}  # of the wear at the reversal
REPEATS = 5
TITLED = "titled"  # titles above, a micro sign in ISO 8859-1, line ends of CR alone, heights whose unit the index says
ANGLES = (20, 90, 180, 270, 340)  # degrees from the gap
FACE = inspection.FACE  # mm
FLANK = 0.15  # mm, unworn at either edge
SPOILT = ("B4", 2, "teardown", PLACES[1], 3)  # a speck of dust under the stylus
MISSTATED = ("B1", 3, "teardown", PLACES[2], 4)  # its Ra was written beside the wrong trace


@dataclass(frozen=True)
class Traced:
    """How the parts of a build were traced."""

    cylinders: Sequence[int]
    form: str  # "keyed": pairs of key and value above heights in nm; "titled": as `TITLED` says


@dataclass(frozen=True)
class Line:
    """One row of an index of traces."""

    trace: str
    phase: str
    cylinder: int
    part: str
    side: str = ""
    height: str = ""
    angle: int | None = None
    repeat: int = 1
    reversal: bool = False


@dataclass(frozen=True)
class SurfaceTruth:
    """What is known of one cylinder."""

    step: float  # um, of the swept band below the unswept one at the top reversal
    wear: Mapping[tuple[str, str], float]  # side and height -> um of mean plateau height lost
    depth: Mapping[int, float]  # angle from the gap -> um, of the crown of the top ring


def truth_of(seed: int, build: str, truth: CylinderTruth, hours: float) -> SurfaceTruth:
    """Wear of bore and top ring of one cylinder at teardown."""
    chance = Chance(seed, build, truth.cylinder, "surfaces")
    step = (0.4 + 0.02 * hours) * chance.spread(0.06)
    crown = sheets.wear_of(truth, hours)["top"]
    depth = {angle: crown * (1 + 0.5 * math.exp(-min(angle, 360 - angle) / 25)) for angle in ANGLES}
    return SurfaceTruth(step, {place: share * step for place, share in SHARE.items()}, depth)


# ---- surfaces -------------------------------------------------------------------------------------------------------


def bore(random: np.random.RandomState, length: float, wear: float, *, reversal: bool) -> Floats:
    """Heights [um] of a bore every STEP over `length` [mm]; the part that was swept has lost `wear` [um]."""
    count = round(length * 1000 / STEP)
    x = STEP * np.arange(count)  # um
    fine = _smoothed(random.standard_normal(count), 8.0)
    plateau = 0.25 * fine / fine.std()
    finer = _smoothed(random.standard_normal(count), 6.0)
    # peaks are cut to a finer face, at a level that lowers the plateaus by the wear; grooves keep their floor
    cut = _level(plateau, wear) + 0.05 * finer / finer.std()
    valleys = np.zeros(count)
    at = 0.0
    while at < x[-1]:
        at += 45 + random.exponential(70)
        half, depth = 6 + 9 * random.random_sample(), 1.6 + random.exponential(1.1)
        near = np.abs(x - at) < half
        valleys[near] = np.minimum(valleys[near], -depth * (1 - np.abs(x[near] - at) / half))
    fresh = plateau + valleys
    swept = np.ones(count) if not reversal else np.clip((x / 1000 - UNSWEPT) / (SWEPT - UNSWEPT), 0, 1)
    surface = fresh if wear == 0 else (1 - swept) * fresh + swept * np.minimum(fresh, cut)
    waviness = 0.15 * np.sin(2 * np.pi * (x / 2500 + random.random_sample()))
    # set level by hand before each trace, as well as that goes
    tilt = 0.3 * (2 * random.random_sample() - 1)  # um a mm
    return np.asarray(surface + waviness + tilt * x / 1000 + 0.1 * random.standard_normal())


def _level(fresh: Floats, wear: float) -> float:
    """Level [um] above which cutting takes `wear` off the mean."""
    low, high = float(fresh.min()) - 3 * wear - 1, float(fresh.max())
    for _ in range(60):
        middle = (low + high) / 2
        lost = float((fresh - np.minimum(fresh, middle)).mean())
        low, high = (middle, high) if lost > wear else (low, middle)
    return (low + high) / 2


def face(random: np.random.RandomState, depth: float) -> tuple[Floats, Floats]:
    """Places [mm] across a ring face and heights [um]: a barrel whose crown is worn by `depth` [um]."""
    x = np.arange(0, FACE, STEP / 1000)
    barrel = -((x - FACE / 2) ** 2) / (2 * inspection.BARREL) * 1000
    rough = _smoothed(random.standard_normal(len(x)), 6.0)
    worn = np.minimum(barrel + 0.03 * rough / rough.std(), -depth + 0.01 * random.standard_normal(len(x)))
    heights = barrel + 0.03 * rough / rough.std() if depth == 0 else worn
    tilt = 2.0 * (2 * random.random_sample() - 1)
    return x, heights + tilt * x + 4 * random.standard_normal()


def _smoothed(noise: Floats, width: float) -> Floats:
    """Noise over a Gaussian of so many points [um / STEP]."""
    reach = np.arange(-30, 31)
    weights = np.exp(-0.5 * (reach * STEP / width) ** 2)
    return np.asarray(np.convolve(noise, weights / weights.sum(), mode="same"))


# ---- files ----------------------------------------------------------------------------------------------------------


def lines_of(build: str, how: Traced, phases: Sequence[str]) -> Iterator[Line]:
    """Every trace of a build, in the order of the index."""
    for cylinder in how.cylinders:
        for phase in phases:
            state = {"cold-build": "new", "teardown": "run"}[phase]
            for side, height in PLACES:
                for repeat in range(1, REPEATS + 1):
                    short = f"{side[0]}{'r' if height == 'top-reversal' else 'm'}{repeat}"
                    ending = "txt" if how.form == "keyed" else "asc"
                    name = f"traces/{build.lower()}/{cylinder}-{state}-{short}.{ending}"
                    yield Line(name, phase, cylinder, "bore", side, height, None, repeat, height == "top-reversal")
            for angle in ANGLES:
                name = f"traces/{build.lower()}/{cylinder}-{state}-ring-{angle}.csv"
                yield Line(name, phase, cylinder, "top-ring", angle=angle)


def files_of(
    seed: int, build: str, truths: Sequence[CylinderTruth], hours: float, dates: Mapping[str, str], how: Traced
) -> dict[str, bytes]:
    """The traces of a build, by path below the program's folder."""
    files: dict[str, bytes] = {}
    known = {truth.cylinder: truth_of(seed, build, truth, hours) for truth in truths}
    rows = list(lines_of(build, how, list(dates)))
    for row in rows:
        random = np.random.RandomState(int(Chance(seed, build, row.trace).between(0, 2**31)))
        worn = row.phase == "teardown"
        if row.part == "bore":
            place = (row.side, row.height)
            wear = known[row.cylinder].wear[place] if worn else 0.0
            z = bore(random, LENGTH[row.height], wear, reversal=row.reversal)
            here = (build, row.cylinder, row.phase, place, row.repeat)
            if here == SPOILT:
                z[1200:1203] += 60.0
            files[row.trace] = _bore_file(z, row, how.form, 2.1 if here == MISSTATED else 1.0)
        else:
            depth = known[row.cylinder].depth[row.angle or 0] if worn else 0.0
            x, z = face(random, depth)
            files[row.trace] = _ring_file(x, z)
    return files


def index_of(build: str, dates: Mapping[str, str], how: Traced) -> bytes:
    """The index of the traces of a build."""
    return _index(build, list(lines_of(build, how, list(dates))), dates, units=how.form == TITLED)


def _bore_file(z: Floats, row: Line, form: str, off: float) -> bytes:
    if form == TITLED:
        head = ["Bore trace", f"{row.side} side", f"spacing\t{STEP:g} µm", "height"]
        return "\r".join([*head, *(f"{1000 * each:.0f}" for each in z), ""]).encode("iso-8859-1")
    head = [
        f"place: {row.side}, {row.height}", f"points: {len(z)}", f"spacing: {STEP:g} um", "tip radius: 2 um",
        f"Ra: {off * ra(z[round(1000 * SWEPT / STEP) :] if row.reversal else z):.3f} um", "", "z [nm]",
    ]  # fmt: skip
    return "\n".join([*head, *(f"{1000 * each:.0f}" for each in z), ""]).encode()


def _ring_file(x: Floats, z: Floats) -> bytes:
    flags = np.ones(len(x), dtype=int)
    flags[::97] = 0  # the probe lost the face there
    rows = (f"{1000 * a:.0f};{b:.2f};{flag}" for a, b, flag in zip(x, np.where(flags == 1, z, 0.0), flags, strict=True))
    return "\r\n".join(["x;z;valid", "[um];[um];[1/0]", *rows, ""]).encode()


def ra(z: Floats) -> float:
    """Ra [um] as the instrument writes it: Gaussian of CUTOFF, the ends left out by a cutoff each."""
    reach = round(CUTOFF * 1000 / STEP)
    alpha = math.sqrt(math.log(2) / math.pi)
    weights = np.exp(-np.pi * (np.arange(-reach, reach + 1) * STEP / (alpha * CUTOFF * 1000)) ** 2)
    mean = np.convolve(z, weights / weights.sum(), mode="valid")
    return float(np.abs(z[reach : len(z) - reach] - mean).mean())


def _index(build: str, rows: Sequence[Line], dates: Mapping[str, str], *, units: bool) -> bytes:
    head = "engine,trace,phase,cylinder,part,side,height,angle [deg],repeat,"
    head += "unswept_to [mm],swept_from [mm],flank [mm],date" + (",z_unit" if units else "")
    lines = [head]
    for row in rows:
        bands = (f"{UNSWEPT}", f"{SWEPT}") if row.reversal else ("", "")
        angle = "" if row.angle is None else str(row.angle)
        flank = f"{FLANK}" if row.part != "bore" else ""
        cells = (build, row.trace, row.phase, row.cylinder, row.part, row.side, row.height, angle, row.repeat, *bands,
                 flank, dates[row.phase], *(("nm" if row.part == "bore" else "",) if units else ()))  # fmt: skip
        lines.append(",".join(map(str, cells)))
    return ("\n".join(lines) + "\n").encode()
