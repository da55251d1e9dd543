"""What the traces say, declared once. Lengths of heights in µm, as roughness is told."""

from __future__ import annotations

from sitegen.vocabulary import Measure

_FILTER = (
    "Filtered by the robust Gaussian of ISO 16610-31, which the grooves do not pull down, or where the index of traces "
    "asks for it by the two steps of ISO 13565-1, which is then said beside the value. A trace that the index says the "
    "instrument has filtered is not filtered again. A result of more than all heights lie apart (Rt) is refused."
)
_MEAN = "Mean over the traces of a place, with the interval of that mean from their scatter."
_SKEW = (
    "Mean over the traces of a place. It has no interval: the few deepest grooves make most of it, and its scatter is "
    "so uneven that an interval from five traces would hold in 89 to 94 % of cases instead of 95 (simulated)."
)
_ONE = "One trace has no interval. Compare only what was traced with the same tip, cutoffs and filter."
_21920 = "ISO 21920-2"
_13565_2 = (
    "ISO 13565-2; window of least slope over 40 %, line by least squares in it. Instruments that draw the secant of "
    "the window instead give another Rk: 2 % more on normal heights (exact), up to a tenth on honed ones"
)
_13565_3 = "ISO 13565-3, its two lines as the ends of the curve of two processes on the scale of normal probability"


def _height(
    name: str, title: str, what: str, formula: str, unit: str = "µm", source: str = _21920, *, skew: bool = False
) -> Measure:
    return Measure(
        id=f"bore.{name}",
        title=title,
        unit=unit,
        better="",
        method=f"{what} {_FILTER} {_SKEW if skew else _MEAN}",
        formula=formula,
        source=source,
        limits=_ONE,
        compare="ratio" if unit == "µm" and name != "rz" else "difference",
        interval="" if skew else "confidence",
        only_at="trace",
    )


_FLANKS = (
    "Of all angles: the mean. Several traces of a state at one angle: their mean; they have to lie apart, for along "
    "one line they err together. Flanks that wore too hide as much wear. Not all shapes of faces and wear were tried: "
    "crowns cut off, caps, flats with ramps down to 0.1 mm, with tilt and shift, roughness of 0.05 to 0.1 µm that goes "
    "together over 6 to 30 µm, also twice as rough where worn. "
)
_ERROR = (
    "least squares on the flanks; t interval from the roughness of the trace before about its own form, whose "
    "neighbouring points err together"
)
RA = _height("ra", "bore Ra", "Mean absolute height about the mean line.", "mean |z|")
RQ = _height("rq", "bore Rq", "Root mean square height about the mean line.", "√(mean z²)")
RZ = _height(
    "rz", "bore Rz", "Highest peak to deepest valley, mean over section lengths of one cutoff.", "mean (Rp + Rv)"
)
RT = _height(
    "rt", "bore Rt", "Highest peak to deepest valley over the whole evaluation length.", "max z − min z", skew=True
)
RSK = _height(
    "rsk", "bore Rsk", "Skewness: below zero where plateaus are cut by valleys.", "mean z³ / Rq³", "1", skew=True
)
RKU = _height("rku", "bore Rku", "Kurtosis: 3 for normal heights.", "mean z⁴ / Rq⁴", "1", skew=True)
RK = _height("rk", "bore Rk", "Depth of the core of the material-ratio curve.", "drop of the line over 0 to 100 %",
             source=_13565_2)  # fmt: skip
RPK = _height(
    "rpk", "bore Rpk", "Peaks above the core, as a triangle of the same area.", "2 · A1 / Mr1", source=_13565_2
)
RVK = _height("rvk", "bore Rvk", "Valleys below the core, as a triangle of the same area.", "2 · A2 / (100 − Mr2)",
              source=_13565_2)  # fmt: skip
MR1 = _height(
    "mr1", "bore Mr1", "Share of material at the upper end of the core.", "line at 0 % on the curve", "%", _13565_2
)
MR2 = _height("mr2", "bore Mr2", "Share of material at the lower end of the core.", "line at 100 % on the curve", "%",
              _13565_2)  # fmt: skip
V0 = _height("v0", "bore oil volume V0", "What the valleys below the core can hold.", "Rvk · (100 − Mr2) / 2000",
             "mm³/cm²", _13565_2)  # fmt: skip
RPQ = _height("rpq", "bore Rpq", "Scatter of the plateaus: standard deviation of their process.", "slope, plateau line",
              source=_13565_3)  # fmt: skip
RVQ = _height("rvq", "bore Rvq", "Scatter of the valleys: standard deviation of their process.", "slope, valley line",
              source=_13565_3)  # fmt: skip
RMQ = _height("rmq", "bore Rmq", "Share of material where plateaus pass into valleys.", "where both lines meet", "%",
              _13565_3)  # fmt: skip
RK_PLAIN = Measure(
    id="bore.rk_plain",
    title="bore Rk, plain Gaussian",
    unit="µm",
    better="",
    method="Rk after the plain Gaussian of ISO 16610-21, for comparison only: the grooves pull its mean line down, so "
    f"that Rk comes out too large. {_MEAN}",
    formula="as Rk",
    source="ISO 13565-2 on ISO 16610-21",
    limits="Not to be set against an Rk of another filter.",
    only_at="trace",
)
STATED = Measure(
    id="bore.stated_ratio",
    title="stated over computed result of a trace",
    unit="1",
    better="",
    method="Result the instrument states for a trace, over the same one computed here: Ra and Rz with the plain "
    "Gaussian, which instruments use for them, unless the instrument filtered the trace; the Rk family with the line "
    "that the index says the instrument draws (least squares, or the secant); the one farthest from 1 of a place.",
    formula="stated / computed",
    source="reading",
    limits="Far from 1: another filter or evaluation length, or the result of another trace.",
    interval="",
    only_at="trace",
)
WEAR_STEP = Measure(
    id="bore.wear_depth",
    title="bore wear at the reversal, from the step",
    unit="µm",
    better="less",
    grows=True,
    compare="difference",
    method="How much lower the swept band lies than the unswept band above it, on unfiltered traces levelled on the "
    "unswept band and the bore's own line. Mean over the traces of a place. Where the interval reaches zero, the wear "
    "is below its detection limit.",
    formula="height of the unswept band − height of the swept band",
    source="geometry; t interval of the mean over traces",
    limits="No wave filter may be put on such a trace: it removes the step. The unswept band has to be free of carbon. "
    "Intervals held in 95 % of simulated places, and wear was seen in 2 % of places without any.",
    only_at="trace",
)
WEAR_VALLEYS = Measure(
    id="bore.wear_valleys",
    title="bore wear, from curves aligned on the valleys",
    unit="µm",
    better="less",
    grows=True,
    compare="difference",
    method="Mean material-ratio curves before and after, laid over each other at the valleys, which wear does not "
    "reach; what the plateaus then lie lower is wear. At least five traces a state. Where the interval reaches zero, "
    "the wear is below its detection limit.",
    formula="mean over 0 to 85 % less mean over 92 to 97 % of the curve, before less after",
    source="scatter of unrelated traces: the interval of two means of repeats (t)",
    limits="On simulated honing single traces scatter by 0.21 µm in it, five a state by 0.09 µm. The traces of a place "
    "have to lie apart by more than the grooves are wide: along one line they repeat the same grooves and scatter too "
    "little. Intervals held in 95 to 96 % of simulated places, and wear was seen in 2 % of places without any. Wear "
    "that took most of the grooves is not told.",
    only_at="trace",
)
PLATEAU = Measure(
    id="bore.plateau",
    title="plateau formed",
    unit="%",
    better="more",
    compare="difference",
    method="How much of the first peak height Rpk is gone. 100 %: no peaks left above the core.",
    formula="100 · (1 − Rpk after / Rpk before)",
    source="ratio of two means; interval from the scatter of both on the logarithmic scale",
    limits="It says how far the peaks are gone, not that the plateau is a good one. Intervals held in 95 to 96 % of "
    "simulated places.",
    only_at="trace",
)
FACE_DEPTH = Measure(
    id="ring.face_wear",
    title="ring face wear, depth of the core",
    unit="µm",
    better="less",
    grows=True,
    compare="difference",
    method="Traces across the face before and after, laid over each other on the unworn flanks; how much lower the "
    "face then lies on the mean over the core of what is worn: the middle half of the stretch in which the mean over "
    "0.1 mm is above half its most. Wear is shown from 2¼ half-widths of the interval on, since that stretch is looked "
    "for where the traces differ most; below, only the upper limit is told.",
    formula="mean over the core of (before − after)",
    source=_ERROR,
    limits=f"{_FLANKS}In simulated sections of those the interval held in 94 to 100 %, and wear was seen in none of "
    "those without any. A crown cut off is 4 % deeper at its middle than on the mean of its core; narrower places, "
    "scratches among them, may be deeper.",
    only_at="ring",
)
FACE_AREA = Measure(
    id="ring.face_area",
    title="ring face wear, worn area",
    unit="µm·mm",
    better="less",
    grows=True,
    compare="difference",
    method="Area between the traces before and after, aligned on the unworn flanks, from flank to flank.",
    formula="∫ (before − after) dx",
    source=_ERROR,
    limits=f"{_FLANKS}In simulated sections of those the interval held in 94 to 99 %, and wear was seen in 1 to 2 % of "
    "those without any.",
    only_at="ring",
)
FACE_MISFIT = Measure(
    id="ring.flank_misfit",
    title="misfit of the flanks of a ring face",
    unit="µm",
    better="less",
    method="How far the unworn flanks of the traces before and after lie apart once they are laid over each other. "
    "Above 0.25 µm no wear is told.",
    formula="standard deviation of the difference on the flanks, a line taken off",
    source="standard deviation; the limit is a convention of ours",
    limits="It says nothing of wear: flanks that wore evenly lie on each other too.",
    interval="",
    only_at="trace",
)
FACE_VOLUME = Measure(
    id="ring.face_volume",
    title="ring face wear, volume",
    unit="mm³",
    better="less",
    grows=True,
    compare="difference",
    method="Worn areas at several angles from the gap, summed around the ring.",
    formula="R ∮ area dφ",
    source="trapezium rule around the ring; bounds: between two angles the area lies between theirs",
    limits="At least five angles: wear peaks at the ends of the gap. What lies nearer to the gap than the traces is "
    "taken to be worn as they are, at most as much more again as they are above the least.",
    interval="bounds",
    only_at="ring",
)
BAND = Measure(
    id="ring.contact_width",
    title="contact band of the ring face, from traces",
    unit="mm",
    better="",
    grows=True,
    compare="ratio",
    method="Axial width of the worn stretch: at either side a parabola through the slope of what is worn, from nine "
    "tenths of the depth of the core outwards, to where it meets zero. Not told where the wear is less than fifteen "
    "times its own standard error, or where a slope does not reach zero.",
    formula="distance of the two zeros",
    source=_ERROR,
    limits="Of all angles: the mean. A band that reaches a flank has no edge there. "
    "In simulated sections the interval held in 96 to 100 % on crowns cut off and caps, in 92 to 98 % on flats.",
    only_at="ring",
)
_LEFT_LIMITS = (
    "Wear is the depth of the core at each angle: narrower places, scratches among them, may be deeper, and so may the "
    "ring between the traces. Of a nominal thickness with a tolerance the interval is no better than the tolerance is "
    "kept. Below zero: so much of what lies beneath is gone."
)
_LEFT_SOURCE = "difference; half-widths of thickness and wear in quadrature"
LAYER_LEFT = Measure(
    id="ring.layer_left",
    title="running-in layer left on the ring face",
    unit="µm",
    better="more",
    grows=True,
    compare="difference",
    method="Thickness of the running-in layer before the run, less the wear of the top ring at that angle; of the "
    "whole ring, the mean over the angles traced. No number where the thickness has no error, or where the "
    "wear is more than all layers together.",
    formula="thickness − depth of the core",
    source=_LEFT_SOURCE,
    limits=f"{_LEFT_LIMITS} In comparisons the error of a thickness counts as shared by the rings of its lot.",
    interval="prediction",
    only_at="ring",
    of_coating=True,
)
LAYER_THINNEST = Measure(
    id="ring.layer_thinnest",
    title="running-in layer left where the ring face wore most",
    unit="µm",
    better="more",
    grows=True,
    compare="difference",
    method="The same at the angle where the wear is largest. It says whether the layer is left, through, or cannot be "
    "told: the word is that of the side of zero its interval lies on.",
    formula="thickness − depth of the core at the deepest angle",
    source=_LEFT_SOURCE,
    limits=_LEFT_LIMITS,
    interval="prediction",
    only_at="ring",
    of_coating=True,
)
LAYER_THROUGH = Measure(
    id="ring.layer_through",
    title="traced places of the ring face where the running-in layer is through",
    unit="%",
    better="less",
    method="Share of the angles traced where nothing is left of the running-in layer; its ends are the angles where "
    "that is sure, and those where it cannot be ruled out.",
    formula="100 · angles with nothing left / angles traced",
    source="count",
    limits="Of few angles, which are no sample of the face.",
    interval="bounds",
    only_at="ring",
    of_coating=True,
)
COATING_LEFT = Measure(
    id="ring.coating_left",
    title="coating left where the ring face wore most",
    unit="µm",
    better="more",
    compare="difference",
    grows=True,
    method="Thickness of all layers together before the run, less the wear at the angle where that is largest.",
    formula="Σ thickness − depth of the core at the deepest angle",
    source=f"{_LEFT_SOURCE}, those of the layers added",
    limits=_LEFT_LIMITS,
    interval="prediction",
    only_at="ring",
    of_coating=True,
)
NOMINAL_LEFT = Measure(
    id="ring.nominal_left",
    title="nominal thickness less the wear where the ring face wore most",
    unit="µm",
    better="more",
    method="Where nothing was measured and no tolerance is stated: nominal thickness of the running-in layer, or else "
    "of the coating, less the depth of the core at the angle where that is largest. Printed in whole micrometres.",
    formula="nominal thickness − depth of the core at the deepest angle",
    source="difference",
    limits="No measure of how near a ring is to wear-through: layers differ from ring to ring and around one, by "
    "microns (common practice, no source). Cut rings of the lot before the others run.",
    interval="",
    only_at="ring",
    of_coating=True,
)
RATE = Measure(
    id="ring.wear_rate",
    title="specific wear rate of the top ring face",
    unit="10⁻⁹ mm³/(N·m)",
    better="less",
    compare="ratio",
    method="Worn volume of the face over radial load and sliding distance. Load: what the tension presses all round, "
    "and the gas behind the ring less what presses back on the face.",
    formula="V / (F · s), F = 2π·Ft + gas pressure · (1 − balance) · face width · π · bore",
    source="definition of the specific wear rate; ring pressure from tangential force (exact)",
    limits="Gas pressure and balance are stated in the program file, and their error is not in the interval.",
    interval="bounds",
    only_at="ring",
)
RATE_GAS = Measure(
    id="ring.load_gas_share",
    title="share of gas in the load of the top ring",
    unit="%",
    better="",
    method="Share of the mean radial load of the specific wear rate that the gas behind the ring gives.",
    formula="gas load / (gas load + 2π·Ft)",
    source="as the load",
    interval="",
    only_at="ring",
)
ROUGHNESS = (RA, RQ, RZ, RT, RSK, RKU, RK, RPK, RVK, MR1, MR2, V0, RPQ, RVQ, RMQ)
