"""What the leak-down stream concludes, declared once."""

from __future__ import annotations

from sitegen.vocabulary import Measure

# measures of others, named by their ids: no stream imports another
KM = "exposure.km"
FLOOR = "gaps.floor"
OTHER_OPERATOR = "gauge.other_operator"
OPERATOR_SCATTER = "gauge.operator"
STUDY_REPEATS = "gauge.repeat_cylinders"

PERCENT = Measure(
    id="leakdown.percent",
    title="leak",
    unit="%",
    better="less",
    operators="leakdown.operators",
    compare="ratio",
    method="Drop between the two gauges as a share of the supply, mean of the repeats. Kept as read.",
    formula="100 · (supply − cylinder) / supply, both gauge pressures",
    source="FAA AC 43.13-1B, chapter 8 (differential compression test)",
    limits="Belongs to one tester at one supply pressure and ambient; two testers read the same cylinder differently.",
    interval="",
)
READ = Measure(
    id="leakdown.reading",
    title="leak by one reading",
    unit="%",
    better="less",
    method="Leak of every single reading, left out or not: as read off a percent scale, else from both gauges.",
    formula=PERCENT.formula,
    source=PERCENT.source,
    limits=PERCENT.limits,
    interval="",
)
PATH = Measure(
    id="leakdown.path",
    title="share of the air by path",
    unit="%",
    better="",
    method="Share of the leak that went by one path, mean of the readings of a check that say so, each condition by "
    "itself. Kept as recorded.",
    formula="mean of the readings",
    source="reading",
    limits="Told by ear, hand or a flow. Each path has the mean of its own readings, so that paths need not add up.",
    interval="",
    only_at="path",
)
AREA = Measure(
    id="leakdown.area",
    title="leak area",
    unit="mm²",
    better="less",
    operators="leakdown.operators",
    compare="ratio",
    method="Area of the sharp orifice that would leak as much as the cylinder, by all paths together. The tester's "
    "orifice and the ambient pressure are taken out; a reference orifice read on the tester corrects its scale.",
    formula="tester orifice · f(supply, cylinder) / f(cylinder, ambient), f the ideal-gas flow through an orifice",
    source="isentropic flow of an ideal gas through two orifices in series (exact); onset of choking 0.5283",
    limits="Not comparable across supply pressures or temperatures: a slit of a few µm is laminar. Near the supply "
    "pressure the gauge class decides: a drop inside it reads as below detection. The interval holds the gauges, the "
    "repeats, the bore of the orifice that the scale rests on, and what an occasion does to the tester (1.96 times 2 % "
    "where no reference orifice was read on three occasions; common practice, no source), barometer and thermometer at "
    "their limits, where the definitions state them, and what another operator does, where a gauge study tells it. "
    "What an occasion does to the engine beyond that is in changes and in what decides a state or a criterion.",
)
CRANKCASE = Measure(
    id="leakdown.crankcase",
    title="leak area to the crankcase",
    unit="mm²",
    better="less",
    operators="leakdown.operators",
    compare="ratio",
    offered=True,
    shared="leakdown.gauge",
    odd="more",
    occasion="leakdown.moved",
    method="The share of the leak area that went past the rings, from the recorded path or the flow out of the sealed "
    "crankcase.",
    formula="leak area · share to the crankcase",
    source="definition",
    limits="Where no path was recorded it is the whole leak and is marked path unknown: valves and gasket may share "
    "in it. The share is taken as recorded, without an error of its own.",
)
BUILD = Measure(
    id="leakdown.build",
    title="mean leak area to the crankcase of a build",
    unit="mm²",
    better="less",
    method="Mean over the cylinders of a build that hold one coating. A build counts once, however many cylinders it "
    "has.",
    formula="mean of the cylinders",
    source="definition",
    limits="No interval: the scatter that matters is between builds. Given only where every such cylinder has a value.",
    interval="",
)
GAUGE = Measure(
    id="leakdown.gauge",
    title="what the gauges alone can move the leak area to the crankcase",
    unit="mm²",
    better="less",
    method="Half-width of the area between the bounds of the two gauges. A gauge errs alike at every check, so this "
    "part shows in no scatter and does not average out. Where the scale rests on a reference orifice the same error is "
    "in its reading: the two are taken together, and the sign is negative where the orifice's share is the larger.",
    formula="half of A(drop + 1.553 limits) − A(drop − 1.553 limits), with the scale that goes with each",
    source="95 points in a hundred of the difference of two independent rectangular errors (exact)",
    limits="Supposes that the gauges stay within their class.",
    interval="bounds",
)
MOVED = Measure(
    id="leakdown.moved",
    title="what one occasion can move the leak area to the crankcase beyond the tester's part",
    unit="mm²",
    better="less",
    method="Half-width of what a day and a set-up do to the leak areas of an engine, alike in all of its cylinders, "
    "beyond what it does to the tester, which the area's own interval holds. A limit is not meant for one occasion, so "
    "this part widens the interval that decides a state or a criterion.",
    formula="√((t · scatter of engine means about their curves in the other builds)² − (tester's part)²) · A",
    source="Student's t on the degrees of freedom of that scatter",
    limits="None where no other build tells the scatter, or where it is no more than the tester's.",
    interval="bounds",
)
CHANGE = Measure(
    id="leakdown.change",
    title="change of leak area",
    unit="mm²",
    better="less",
    compare="difference",
    method="Difference to the check before, in the same temperature state and assembly. A change counts only beyond "
    "the scatter between occasions.",
    formula="A(check) − A(check before); its error holds repeats, gauges and twice the scatter between occasions",
    source="propagation of independent errors; common errors of one tester cancel",
    limits="Without a measured scatter between occasions there is no interval.",
)
REFERENCE = Measure(
    id="leakdown.reference",
    title="tester scale",
    unit="1",
    better="",
    method="True area of the reference orifice over the area the tester makes of it, mean over all occasions.",
    formula="exp(mean of ln(reference area / area read))",
    source="definition",
    limits="Supposes that leak and reference orifice have the same discharge coefficient, and gauges that err alike at "
    "the orifice and at a cylinder. Used where it tells the scale better than the tester's own bore, which is settled "
    "once for a tester; else it is a check of the tester. An orifice as large as the large leaks tells most. Refused "
    "as tester or unit where its whole interval, gauges included, lies outside 0.7 to 1.4 (common practice, no "
    "source).",
)
REFERENCE_GAUGE = Measure(
    id="leakdown.reference_gauge",
    title="what the gauges alone can move a tester's scale",
    unit="1",
    better="less",
    method="Half-width of the tester scale between the bounds of the two gauges, as at the reference orifice.",
    formula="half of F(drop − 1.553 limits) − F(drop + 1.553 limits)",
    source="95 points in a hundred of the difference of two independent rectangular errors (exact)",
    limits="Supposes that the gauges stay within their class.",
    interval="bounds",
)
OCCASION = Measure(
    id="leakdown.occasion",
    title="scatter between occasions",
    unit="%",
    better="less",
    method="How much the same reference orifice reads differently from one occasion to the next, as a standard "
    "deviation.",
    formula="standard deviation of ln(area read) over occasions, repeats of one occasion averaged first",
    source="one-way analysis of variance",
    limits="What the engine adds (piston tilt, metal temperature) is not in it. At least three occasions.",
    interval="",
)
REPEAT = Measure(
    id="leakdown.repeat",
    title="scatter between repeats",
    unit="%",
    better="less",
    method="How much repeats of one check differ, pooled over all cylinders and checks, as a standard deviation; with "
    "those of the cylinders of gauge studies, unless these differ from them beyond chance (F test, 5 %).",
    formula="square root of the pooled relative variance",
    source="one-way analysis of variance",
    limits="A repeat means pressure off, engine turned over twice, dead centre found again.",
    interval="",
)
BY_OPERATOR = Measure(
    id="leakdown.other_operator",
    title="what another operator can move a leak area read with a tester",
    unit="%",
    better="less",
    method="As the newest gauge study of the tester says; in the interval of every leak area read with it, where "
    "several operators read with it in this program.",
    formula="see what another operator can move a leak area",
    source="gauge study",
    limits="Not given without a gauge study of three operators, nor where one operator took all readings: what he does "
    "is then alike in all of them.",
    interval="",
)
APART = Measure(
    id="leakdown.operators",
    title="what operators may put into a difference of builds",
    unit="%",
    better="less",
    method="Given for a phase at which operator and build cannot be told apart, since no chain of operators who read "
    "more than one build links all builds. A difference of leak areas between builds may then hold this much, on "
    "either side, of the operators alone.",
    formula="2 · √2 · upper limit of the scatter of operators",
    source="rank of builds and operators together, below builds + operators − 1 (exact); the factor is two scatters of "
    "a difference of two operators",
    limits="No figure without a gauge study of three operators.",
    interval="",
)
SUPPLY_RATIO = Measure(
    id="leakdown.supply_ratio",
    title="leak area at the higher of two supply pressures over that at the lower",
    unit="1",
    better="",
    method="Tells a slit from a hole: a thin slit is laminar and its area grows with the supply pressure, a hole's "
    "does not.",
    formula="A(higher supply) / A(lower supply)",
    source="laminar flow between parallel plates against orifice flow",
    limits="Says what kind of leak it is, not where.",
)
UNEXPLAINED = Measure(
    id="leakdown.unexplained",
    title="leak the ring gaps do not explain",
    unit="mm²",
    better="less",
    compare="difference",
    shared="leakdown.gauge",
    method="Leak area to the crankcase less the leak of the end gaps alone.",
    formula="A(crankcase) − A(end gaps alone)",
    source="difference",
    limits="Holds face contact, flanks, bore distortion and plug; not all of it can be seated away. The floor "
    "supposes a discharge coefficient of 0.86; the area is on the scale of the reference orifice, whose own is not "
    "known, and the interval of the floor reaches to where both are the same.",
)
RESIDUAL = Measure(
    id="seating.residual",
    title="scatter of the engine mean about its seating curve",
    unit="%",
    better="less",
    method="How far the mean of an engine's cylinders lies from its own best seating curve, as a standard deviation.",
    formula="square root of the weighted residual sum of squares over checks − 3",
    source="least squares",
    limits="On few degrees of freedom in one engine; pooled over the engines of a program it decides about intervals.",
    interval="",
    only_at="assembly",
)
ELSEWHERE = Measure(
    id="seating.elsewhere",
    title="that scatter in the other builds",
    unit="%",
    better="less",
    method="The same scatter pooled over the other builds of the program: what a seating curve of this build is held "
    "against.",
    formula="root mean square weighted by degrees of freedom",
    source="pooled variance",
    limits="Supposes that occasions scatter alike in all builds; a build that scatters more is refused a curve.",
    interval="",
)
OWN_RESIDUAL = Measure(
    id="seating.own_residual",
    title="scatter of cylinders beside their engine's mean",
    unit="%",
    better="less",
    method="How far single cylinders lie from the mean of their engine's curves, as a standard deviation.",
    formula="square root of the weighted residual sum of squares of the contrasts over their degrees of freedom",
    source="least squares",
    limits="Free of what an occasion does to all cylinders of an engine.",
    interval="",
    only_at="assembly",
)
OWN_ELSEWHERE = Measure(
    id="seating.own_elsewhere",
    title="that scatter beside the mean in the other builds",
    unit="%",
    better="less",
    method="The same pooled over the other builds: what shows a cylinder that seats over a distance of its own.",
    formula="root mean square weighted by degrees of freedom",
    source="pooled variance",
    limits="Without it four checks hardly show such a cylinder.",
    interval="",
)
SCALE = Measure(
    id="seating.scale",
    title="seating distance",
    unit="km",
    better="less",
    compare="ratio",
    offered=True,
    method="Sliding distance over which the leak still to lose falls to 37 %, one for all cylinders of an assembly.",
    formula="A(x) = P + (S − P) · exp(−x / x_s), least squares with weights 1/level²",
    source="variable projection; 95 % interval by the F cut on the engine-mean curve",
    limits="Only a model. No number unless four fired checks fix it; the first, unfired reading lies on another curve.",
    only_at="assembly",
    fit="seating",
)
START = Measure(
    id="seating.start",
    title="leak area at the start of seating",
    unit="mm²",
    better="",
    operators="leakdown.operators",
    compare="ratio",
    method="Where the seating curve begins, carried back to no distance.",
    formula="S of the seating curve",
    source=SCALE.source,
    limits="Not the cold-build reading: assembly oil seals there.",
    only_at="assembly",
    fit="seating",
)
PLATEAU = Measure(
    id="seating.plateau",
    title="leak area when seated",
    unit="mm²",
    better="less",
    operators="leakdown.operators",
    compare="ratio",
    method="Where the seating curve levels off.",
    formula="P of the seating curve",
    source=SCALE.source,
    limits=SCALE.limits,
    only_at="assembly",
    fit="seating",
)
TO_LOSE = Measure(
    id="seating.to_lose",
    title="leak still to lose",
    unit="mm²",
    better="less",
    operators="leakdown.operators",
    compare="difference",
    offered=True,
    method="How much leak area the seating curve still has to lose at a check.",
    formula="(S − P) · exp(−x / x_s)",
    source=SCALE.source,
    limits="Says nothing about how high the plateau lies; the level criterion does. A cylinder that seats slower than "
    "its neighbours can hide among four checks; in simulations of that case the interval held the truth in 92 of 100.",
    fit="seating",
)
SCALE_MOST = Measure(
    id="seating.scale_most",
    title="longest seating distance to reckon with",
    unit="km",
    better="less",
    method="How long the seating distance of a coating in a build may be at most, for a cylinder whose leak still to "
    "lose no curve tells. From the curve of the same rings, else from the engine's blow-by, else from the curve "
    "before the rings were refitted, else from three or more other builds of the program with that coating.",
    formula="curve: the larger of its upper limit and 1.3 · x_s; blow-by: its upper limit; builds: exp(m + max(t(0.95, "
    "n − 1) · s · √(1 + 1/n), ln 1.3)), m and s of ln x_s",
    source="prediction limit: G. J. Hahn and W. Q. Meeker, Statistical intervals (1991); 1.3: common practice, no "
    "source",
    limits="Supposes that rings fitted anew seat at most 1.3 times slower than before, and that builds with one "
    "coating seat alike. Of other builds, the first rings count.",
    interval="bounds",
    only_at="assembly",
)
TO_LOSE_MOST = Measure(
    id="seating.to_lose_most",
    title="leak still to lose at most, by two checks",
    unit="mm²",
    better="less",
    method="Where no curve tells whether a cylinder is seated: how much it may still have to lose at the later of two "
    "checks after the first start, read alike with one tester, between which the leak did not change beyond scatter. "
    "What falls between them is exp(k) − 1 times what is left after them.",
    formula="U / (exp(k) − 1); U upper limit of the fall between the checks, k their distance over the longest seating "
    "distance to reckon with, four times as long for a cylinder that was seen to keep off the common distance",
    source="exact for an approach like exp(−x / x_s)",
    limits="Given only for checks six such distances apart (k ≥ 6). In simulations with 1.01 times the allowed leak "
    "left, “seated” came out in at most 2 of 100 cylinders, also where one seats four times slower than its "
    "neighbours, which is as good as unseen in few checks; at k = 3 in 73. A leak that falls as one over the distance "
    "has no scale: where the allowed leak was a thirtieth of the first, it passed in 90 of 100, where a tenth, in "
    "none. Two late checks do not tell how fast the leak fell.",
    interval="bounds",
)
