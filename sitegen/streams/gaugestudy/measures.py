"""What a gauge study concludes, declared once. All scatters are of the logarithm of the leak area, as per cent."""

from __future__ import annotations

from sitegen.methods.gauge_study import MANY
from sitegen.vocabulary import Measure

_SOURCE = (
    "two-way analysis of variance, objects and operators random (the measurement-systems handbook of the vehicle "
    "trade); limits: chi squared, of sums and differences modified large-sample (R. K. Burdick, C. M. Borror and D. C. "
    "Montgomery, Design and analysis of gauge R&R studies, 2005, from memory)"
)
_BALANCED = (
    "Every operator reads every object equally often, each time set up anew. P, O, I, E: mean squares of objects, "
    "operators, interaction and repeats of ln(area); p objects, o operators, r repeats."
)
_FEW = f"Below {MANY} operators nothing but repeats is told: of two the upper limit is 5 to 29 times the estimate."
_NEGATIVE = "A variance that comes out negative is given as 0, and said to be."


def _scatter(name: str, title: str, formula: str, limits: str) -> Measure:
    return Measure(f"gauge.{name}", title, "%", "less", _BALANCED, formula, _SOURCE, limits)


REPEAT = _scatter(
    "repeat", "scatter of repeats in a gauge study", "√E",
    "Of all objects together; a leak standard has no dead centre to be found anew. The scatter of the cylinders alone "
    "goes into leak areas.",
)  # fmt: skip
CYLINDERS = Measure(
    "gauge.repeat_cylinders",
    "scatter of repeats of the cylinders in a gauge study",
    "%",
    "less",
    "Repeats of one cylinder by one operator about their mean, pooled. Taken together with the repeats of the "
    "program's own checks, unless the two differ beyond chance (F test, 5 %).",
    "square root of the pooled relative variance",
    "one-way analysis of variance; limits: chi squared",
    "None where no cylinder was read in the study.",
)
OPERATOR = _scatter("operator", "scatter of operators", "√((O − I)/(p·r))", f"{_FEW} {_NEGATIVE}")
INTERACTION = _scatter(
    "interaction", "scatter of operators from object to object", "√((I − E)/r)", f"{_FEW} {_NEGATIVE}"
)
GAUGE = _scatter(
    "scatter", "scatter of one reading by any operator", "√((O + (p − 1)·I + p·(r − 1)·E)/(p·r))",
    f"{_FEW} What a day does, and what a tester does alike to all of its readings, is not in it.",
)  # fmt: skip
PARTS = _scatter(
    "objects", "scatter between the objects read", "√((P − I)/(o·r))",
    f"Of the objects that were chosen, not of engines to come. {_NEGATIVE}",
)  # fmt: skip
SHARE = _scatter(
    "share", "scatter of the gauge as a share of the study’s", "gauge / √(gauge² + objects²)",
    "Hangs on the objects: of seated cylinders, which are alike, it is large with any gauge. No mark to pass is set.",
)  # fmt: skip
CATEGORIES = Measure(
    "gauge.categories",
    "groups of objects the gauge tells apart",
    "1",
    "more",
    f"{_BALANCED} How many groups of such objects it can tell apart.",
    "1.41 · objects / gauge",
    f"{_SOURCE}; limits of a ratio: those of both, on the logarithm (G. Y. Zou and A. Donner, Statistics in Medicine "
    "27 (2008) 1693, from memory)",
    "A truth of 4.4 reads 2.2 to 11 with 10 objects, 3 operators and 3 repeats, and 1.4 to 17 with 4 objects and 2 "
    "repeats, in nine studies of ten. So no mark to pass is set.",
)
TOLERANCE = Measure(
    "gauge.tolerance",
    "six scatters of the gauge as a share of the tolerance",
    "%",
    "less",
    "Held against the leak areas that the program states as allowed (`leakdown: allowed`).",
    "6 · gauge / ln(most allowed / least allowed)",
    "the measurement-systems handbook of the vehicle trade; the logarithm is our own step",
    "None where the program states no allowed leak areas. No mark to pass is set.",
)
BETWEEN = Measure(
    "gauge.testers",
    "leak area by the second tester over that by the first, less one",
    "%",
    "",
    "Where the same operators read the same objects with two testers: one difference an operator and one an object, "
    "and of the two t intervals the wider. Testers are those there are, none drawn from many.",
    "mean of ln(area by second / area by first)",
    "Student's t; in simulations the wider interval held 95 to 99 times in a hundred",
    "Each area by the nominal orifice of its tester: what reference orifices say of their scales is not taken off.",
)
OTHER = Measure(
    "gauge.other_operator",
    "what another operator can move a leak area",
    "%",
    "less",
    "Half-width of what an operator does to a reading, alike at all cylinders and at one, where any operator may have "
    "read it. From the newest study of a tester with three operators or more.",
    "t(o − 1) · √(operators² + interaction²)",
    "Student's t on the degrees of freedom of the operators, the fewer ones: in simulations intervals of a reading "
    "with it held 95 to 99.7 times in a hundred",
    "Supposes that the operators of the study stand for those of the program.",
    interval="",
)
