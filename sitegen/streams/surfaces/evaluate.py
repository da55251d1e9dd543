"""One trace, or a pair of them, through the mathematics: from metres to the units of the measures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitegen.methods import bore_wear, material_ratio, profile, profile_filters, ring_face, roughness, wear_rate
from sitegen.methods.material_ratio import Curve
from sitegen.methods.repeats import Difference, difference
from sitegen.methods.ring_face import Bounded
from sitegen.program.model import WearRule
from sitegen.streams.surfaces.fields import BY_INSTRUMENT, FILTERS, LINES, Reading
from sitegen.traces.reading import Trace
from sitegen.vocabulary import Refused

Floats = NDArray[np.float64]

MISSED = 1e-3  # share of its evaluation length a trace may lack, with one step; a convention of ours
CUTOFFS = 5  # an evaluation length has, where the index says no other (ISO 21920-3, default)
# parameters that no profile can have above its Rt, with those that rest on the same line
_HEIGHTS = {"rk": ("rpk", "rvk", "mr1", "mr2", "v0"), "rpk": (), "rvk": ("v0",), "rk_plain": (),
            "rpq": ("rvq", "rmq"), "rvq": ("rpq", "rmq")}  # fmt: skip
_ROUNDING = 1e-9
_RATIOS = np.concatenate([np.linspace(0, 2, 9), np.linspace(2.5, 97.5, 96), np.linspace(98, 99.5, 7)])  # % drawn


# m, median height off a straight line beyond which a unit is most likely wrong; wide, a convention of ours
HEIGHTS_OF = {"bore": (3e-9, 10e-6), "ring": (1e-9, 60e-6)}


@dataclass(frozen=True)
class Evaluated:
    """One bore trace evaluated."""

    values: Mapping[str, float]  # by the last part of the measure's id, in its unit
    refused: Mapping[str, str]  # the same, of those without a value -> why
    stated: Mapping[str, float]  # stated over computed
    curve: Curve
    spikes: int
    filter: str


@dataclass(frozen=True)
class Face:
    """One section across a ring face: lengths drawn [m], results in the units of their measures."""

    x: Floats
    before: Floats
    after: Floats
    begin: float
    end: float
    depth: Bounded
    area: Bounded
    width: Bounded | None  # None where the wear is too shallow for its edges to be told
    misfit: float  # um, of the flanks
    traces: int  # used
    left_out: bool  # whether one could not be


@dataclass(frozen=True)
class Rate:
    """Specific wear rate [1e-9 mm3/(N m)]."""

    rate: Bounded
    gas_share: float


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value


def evaluation_of(row: Reading) -> float | None:
    """Evaluation length [m] of a row of the index; None without a cutoff."""
    cutoff = _number(row.cutoff)
    if cutoff is None:
        return None
    return _number(row.evaluation) or CUTOFFS * cutoff


def filter_of(row: Reading) -> str:
    """Filter of the roughness that a row of the index asks for."""
    return row.filter if isinstance(row.filter, str) and row.filter else FILTERS[0]


def half_height(trace: Trace) -> float:
    """Height [m] beyond which half of a trace lies off its straight line."""
    known = np.isfinite(trace.z)
    x, z = trace.x[known], trace.z[known]
    return float(np.median(np.abs(z - profile.line(x, z))))


def is_plausible(trace: Trace, part: str) -> bool:
    """Whether a trace has heights such a part can have."""
    low, high = HEIGHTS_OF["bore" if part == "bore" else "ring"]
    return low <= half_height(trace) <= high


def is_short(span: float, length: float, step: float) -> bool:
    """Whether points from first to last over `span` are too few for an evaluation length, all [m].

    >>> is_short(9.996e-3, 10e-3, 4e-6), is_short(9.5e-3, 10e-3, 4e-6)
    (False, True)
    """
    return span < length * (1 - MISSED) - step


def bore(trace: Trace, row: Reading) -> Evaluated:
    """Roughness of one trace over its evaluation length, from the swept band where there is one.

    A trace that the instrument has filtered is taken as it stands.

    Raises Refused "cutoff-missing", "trace-short" and what `profile.even` raises.
    """
    cutoff, length = _number(row.cutoff), evaluation_of(row)
    if cutoff is None or length is None:
        raise Refused("cutoff-missing")
    whole = profile.even(trace.x, trace.z)
    begin = _number(row.swept_from) or 0.0
    part = whole.x - whole.x[0] >= begin - whole.step / 2
    z, x = whole.z[part], whole.x[part]
    if is_short((len(z) - 1) * whole.step, length, whole.step):
        raise Refused("trace-short")
    count = min(round(length / whole.step), len(z))
    lead = (len(z) - count) // 2  # the middle of what there is
    inside = slice(lead, lead + count)
    sections = max(round(length / cutoff), 1)
    name = filter_of(row)
    if name == BY_INSTRUMENT:
        rough = plain = z[inside] - z[inside].mean()
    else:
        flat = z - profile.line(x, z)
        mean_line = profile_filters.two_step if name == "two-step" else profile_filters.robust_gaussian
        rough = (flat - mean_line(flat, whole.step, cutoff))[inside]
        plain = (flat - profile_filters.gaussian(flat, whole.step, cutoff))[inside]
    curve = material_ratio.curve(rough - rough.mean())
    heights, core = roughness.heights(rough, sections), material_ratio.core(curve)
    values = {
        "ra": 1e6 * heights.ra, "rq": 1e6 * heights.rq, "rz": 1e6 * heights.rz, "rt": 1e6 * heights.rt,
        "rsk": heights.rsk, "rku": heights.rku, "rk": 1e6 * core.rk, "rpk": 1e6 * core.rpk, "rvk": 1e6 * core.rvk,
        "mr1": core.mr1, "mr2": core.mr2, "v0": core.oil_volume,
    }  # fmt: skip
    if name != BY_INSTRUMENT:
        values["rk_plain"] = 1e6 * material_ratio.core(material_ratio.curve(plain)).rk
    refused: dict[str, str] = {}
    try:
        chance = material_ratio.probability(rough)
        values |= {"rpq": 1e6 * chance.rpq, "rvq": 1e6 * chance.rvq, "rmq": chance.rmq}
    except Refused as why:  # not a surface of two lines: the other parameters stand
        refused = dict.fromkeys(("rpq", "rvq", "rmq"), why.code)
    for height, others in _HEIGHTS.items():
        if values.get(height, 0.0) > values["rt"] * (1 + _ROUNDING):
            refused |= dict.fromkeys((height, *others), "beyond-total-height")
    values = {each: value for each, value in values.items() if each not in refused}
    return Evaluated(
        values, refused, _stated(trace, row, plain, sections, curve), curve, whole.spikes, name
    )  # fmt: skip


def _stated(trace: Trace, row: Reading, plain: Floats, sections: int, curve: Curve) -> dict[str, float]:
    """Stated over computed, for what file or index state: Ra, Rz by the plain Gaussian, the Rk family by our filter.

    The line of the Rk family is the one the index says the instrument draws.
    """
    named = {name: _number(getattr(row, f"stated_{name}")) for name in ("ra", "rz", "rk", "rpk", "rvk")}
    named = {name: trace.stated.get(name) if value is None else value for name, value in named.items()}
    own, core = roughness.heights(plain, sections), material_ratio.core(curve, secant=row.stated_line == LINES[1])
    computed = {"ra": own.ra, "rz": own.rz, "rk": core.rk, "rpk": core.rpk, "rvk": core.rvk}
    return {name: value / computed[name] for name, value in named.items() if value is not None and computed[name] > 0}


def step(trace: Trace, unswept_to: float, swept_from: float) -> float:
    """How far [um] the swept band lies below the unswept one; raises Refused as `bore_wear.axial_step`."""
    whole = profile.even(trace.x, trace.z)
    return 1e6 * bore_wear.axial_step(whole.x - whole.x[0], whole.z, unswept_to, swept_from)


def valley_wear(before: Sequence[Evaluated], after: Sequence[Evaluated]) -> Difference:
    """Wear [um] by curves aligned on the valleys, from the scatter of the traces of both states.

    Raises Refused "grooves-worn-away" where too little of the valleys is left to lay curves on, and as
    `repeats.difference`.
    """
    left = bore_wear.valleys_left([each.curve for each in before], [each.curve for each in after])
    if left < bore_wear.LEAST_LEFT:
        raise Refused("grooves-worn-away")
    then, now = ([1e6 * bore_wear.above_valleys(each.curve) for each in side] for side in (before, after))
    return difference(now, then)


def mean_curve(evaluated: Sequence[Evaluated]) -> tuple[Floats, Floats]:
    """Ratio [%] and mean height [um] of the curves of a place, floors of the grooves at zero."""
    each = []
    for one in evaluated:
        heights = np.interp(_RATIOS, one.curve.ratio, one.curve.height)
        floor = np.interp(np.linspace(*bore_wear.VALLEYS, 101), one.curve.ratio, one.curve.height).mean()
        each.append(1e6 * (heights - floor))
    return _RATIOS, np.mean(each, axis=0)


def levelled(trace: Trace, row: Reading) -> tuple[Floats, Floats]:
    """Places from zero and heights [m] of a trace, its line taken off; that of the unswept band where there is one."""
    whole = profile.even(trace.x, trace.z)
    x = whole.x - whole.x[0]
    datum = _number(row.unswept_to)
    own = x <= datum if datum else np.ones(len(x), dtype=bool)
    slope = np.polyfit(x, whole.z, 1)[0]
    flat = whole.z - slope * x
    return x, flat - float(np.median(flat[own]))


def face(before: Sequence[Trace], after: Sequence[Trace], row: Reading) -> Face:
    """Wear of one section of a ring face, from the means of its traces before and after.

    A trace that cannot be used is left out where another of its state is left. Raises Refused "flank-missing" and as
    `ring_face.sections` and `profile.even`.
    """
    if filter_of(row) == BY_INSTRUMENT:
        raise Refused("wear-filtered-out")
    flank = _number(row.flank)
    if flank is None:
        raise Refused("flank-missing")
    one, other = _even(before), _even(after)
    found = ring_face.sections(one, other, flank)
    return Face(
        found.x, found.before, found.after, found.begin, found.end,
        _scaled(found.depth, 1e6), _scaled(found.area, 1e9),
        None if found.width is None else _scaled(found.width, 1e3),
        1e6 * found.misfit, len(one) + len(other), len(one) + len(other) < len(before) + len(after),
    )  # fmt: skip


def worn_past(before: Sequence[Trace], after: Trace, row: Reading, most: float) -> float | None:
    """Wear [um] of a section where it is more than `most` [um] for sure, else None. Quick where it is far from that."""
    try:
        one, other = _even(before)[0], _even([after])[0]
        if 1e6 * ring_face.roughly(one, other, row.flank) <= most:
            return None
        depth = face(before, [after], row).depth
    except Refused:
        return None  # told where the wear is worked out
    return depth.value if depth.low > most else None


def _even(traces: Sequence[Trace]) -> list[ring_face.Trace]:
    found, why = [], None
    for trace in traces:
        try:
            made = profile.even(trace.x, trace.z)
            found.append((made.x, made.z))
        except Refused as refusal:
            why = refusal
    if not found and why is not None:
        raise why
    return found


def _scaled(found: Bounded, turn: float) -> Bounded:
    return Bounded(turn * found.value, turn * found.low, turn * found.high, turn * found.se, found.df)


def volume(faces: Mapping[float, Face], bore_diameter: float) -> Bounded:
    """Worn volume [mm3] around the ring; raises Refused "few-angles"."""
    areas = {angle: _scaled(each.area, 1e-9) for angle, each in faces.items()}
    return _scaled(ring_face.around(areas, bore_diameter), 1e9)


def rate(worn: Bounded, *, tension: float, rule: WearRule | None, bore: float, width: float, distance: float) -> Rate:
    """Specific wear rate of a worn volume [mm3]; tension [N], bore and face width [m], distance [m].

    Raises Refused "load-not-stated" where the program file does not say what presses the ring.
    """
    if rule is None:
        raise Refused("load-not-stated")
    load = wear_rate.load(tension, rule.gas_pressure, rule.gas_balance, bore, width)
    turn = 1e9 * wear_rate.specific(1.0, load.whole, distance)
    return Rate(_scaled(worn, turn), load.gas_share)
