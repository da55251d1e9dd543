"""Every reason the results can give, by code. Codes go to the results; the wording stays here.

A reason is one clause that can follow "because", in plain words, without a final stop.
"""

from __future__ import annotations

# Why a reading is set aside or left out (`use` of Readings).
READING: dict[str, str] = {
    "excluded": "an objection to it was accepted",
    "above-supply": "the cylinder gauge stands above the supply by more than its class",
    "band-not-of-ring": "a contact band is entered for a part that has no ring face",
    "cell-error": "a cell of it holds an error of the workbook",
    "crank-missing": "nothing says where the piston stood",
    "grade-not-on-scale": "its grade is none of the program's scale",
    "formula-not-calculated": "a formula in it was never calculated",
    "no-figure": "no figure was entered",
    "no-such-date": "its date is not a day of the calendar",
    "not-a-date": "its date cannot be read",
    "not-a-number": "something in it is not a number",
    "not-finite": "something in it is not a finite number",
    "not-whole": "a count in it is not a whole number",
    "outside-limits": "something in it lies outside what is possible",
    "overflow": "an instrument entered an overflow mark",
    "past-calibration": "no calibration of its instrument was in force that day",
    "repeat-unnumbered": "the same state was read before, without another repeat number",
    "required-empty": "something needed is not entered",
    "ring-missing": "nothing says which ring was measured",
    "same-file": "its file is a copy of another one",
    "shares-above-100": "the shares of its leak add up to more than all of it",
    "short-row": "its row has fewer fields than the header",
    "subject-missing": "nothing says which cylinder was read",
    "subject-twice": "a cylinder and a reference orifice are entered together",
    "unknown-word": "a word in it is none of those agreed",
    "wrong-tool": "the tool named cannot have read it",
    "zero-pressure": "a cylinder gauge at zero is one not read, or an open valve",
}

# Why a value or a verdict is refused, missing or not to be relied on.
ANSWER: dict[str, str] = {
    "no-reading": "no usable reading was taken",
    "to-come": "the phase is still to come",
    "no-share": "no share of the air was found to go to the crankcase",
    "below-detection": "the pressure drop lies within the class of the gauges",
    "no-reference-reading": "no reference orifice was read on this tester",
    "percent-scale-unknown": "the tester shows per cent only and its scale is not stated to be linear in pressure",
    "cylinders-missing": "not every cylinder of the build with this coating has a value",
    "no-fired-check": "no check was taken after the first start",
    "scale-open-below": "the leak had settled before the first check, so the distance has no lower end",
    "scale-open-above": "no end of the seating is in sight, so the distance has no upper end",
    "no-gap": "the end gap of a compression ring was not measured",
    "no-land": "the land below a compression ring was not measured",
    "no-bore": "the bore was not measured",
    "land-wider-than-bore": "the land is stated to be wider than the bore",
    "no-radial-thickness": "the radial thickness of the ring was not measured",
    "few-reference-occasions": "the reference orifice was read on fewer than three occasions",
    "reference-below-detection": "a reading of the reference orifice lies within the class of the gauges",
    "not-repeated": "no check was repeated",
    "gauges-disagree": "the cylinder gauge stands above the supply by more than both gauges can err",
    "cylinder-at-ambient": "the cylinder gauge shows no pressure",
    "crankcase-flow-exceeds-leak": "the crankcase passed more air than the cylinder lost",
    "occasion-scatter-unknown": "nothing tells how far readings scatter from one occasion to the next",
    "few-cylinders": "a shared curve needs two cylinders",
    "few-checks": "a curve needs four checks after the first start",
    "few-residual-df": "too few readings are left over once the curve is drawn",
    "few-points": "there are too few points for a curve",
    "level-not-positive": "a level is not above zero",
    "reading-missing": "a check of this cylinder is missing",
    "own-scale": "this cylinder seats on another scale than the others of its engine",
    "no-common-scale": "the cylinders of this engine share no scale",
    "curve-does-not-fit": "the checks scatter about the curve by more than those of the other engines",
    "no-change-beyond-scatter": "the levels change by no more than their scatter explains",
    "scale-at-bound": "the levels follow a straight line, which has no scale",
    "scale-open": "any scale fits, from the shortest to the longest",
    "fit-not-converged": "the fit did not converge",
    "assuming-the-curve": "three checks draw the curve but cannot test it",
    "both-limits-hold": "the leak still to lose and the leak area are both within their limits",
    "leak-still-to-lose": "the leak still to lose exceeds the amount allowed",
    "leak-grows": "the leak area grows along its curve",
    "no-distance": "the distance between two checks is not known: a phase between them has no schedule",
    "no-longer-falls": "the leak area is above its limit and hardly any leak is still to lose",
    "leak-grew": "the leak area is above its limit and grew since the check before",
    "last-fall": "the leak area is above its limit and fell beyond scatter since the check before",
    "level-undecided": "the interval of the leak area reaches across its limit",
    "seated-path-unknown": "both are within their limits even with what other paths may share in the leak",
    "check-not-in-fit": "the check is not part of the seating curve",
    "no-grade-scale": "the program file states no scale of grades",
    "no-grade": "no grade was given",
    "few-common-places": "two inspectors graded fewer than eight places in common",
    "one-grade-only": "both inspectors gave every place the same one grade, so that chance alone agrees",
    "to-lose-undecided": "the interval of the leak still to lose reaches across the amount allowed",
    "coating-without-value": "one of the coatings has no value",
    "build-and-coating": "each coating was run in one build only, so that build and coating cannot be told apart",
    "block-and-coating": "each coating was run on one block only, so that block and coating cannot be told apart",
    "position-and-coating": "the coatings sat on the same cylinders in every engine, so that position and coating "
    "cannot be told apart",
    "one-block": "only one block ran both coatings, so that nothing tells how far such a difference scatters",
    "few-cylinders-mixed": "too few cylinders are left over once engines and positions are allowed for",
    "one-build": "a coating has values from one build only",
    "no-repeat": "nothing was repeated, so that nothing tells how far the values scatter",
    "covariate-and-coating": "a covariate goes along with the coating, so that they cannot be told apart",
    "covariates-take-all": "nothing is left over to tell the scatter once the covariates are allowed for",
    "mixed-in-engine": "a build holds more than one coating",
    "one-cylinder-a-build": "no build has values of two cylinders",
    "no-scatter": "the cylinders of each build all read the same",
}

# With what care a value is to be taken (`flags`).
FLAGS: dict[str, str] = {
    "from-schedule": "the distance comes from the planned schedule, not from a run log",
    "path-unknown": "what went to the crankcase was not recorded, so valves or gasket may share in it",
    "other-tester": "it was read with another tester than the rest of the build",
    "no-reference-orifice": "no reference orifice was read on this tester, so its scale is the nominal one",
    "repeats-disagree": "its repeats differ by more than repeats do, and nothing tells which of them is wrong",
    "few-reference-readings": "the reference orifice was read on fewer than three occasions on this tester, so its "
    "scale is the nominal one",
    "no-repeats": "no check was repeated, so the scatter between repeats is not in the interval",
    "ambient-assumed": "ambient pressure was not recorded; the standard 101.325 kPa was taken",
    "temperature-assumed": "the metal temperature of a warm check was not recorded; that of the air was taken, with "
    "which a warm engine reads about 6 % too little",
    "no-tool": "the measuring tool was not recorded, so there is no interval",
    "order-one-sided": "one coating always or nearly always came first, so that whatever changed from build to build "
    "may share in the difference",
    "whole-builds-left-out": "builds that hold only one of the two coatings were left out",
    "unpaired-builds-left-out": "builds on blocks that ran only one of the two coatings were left out",
    "shared-block-left-out": "the one block that ran both coatings was left out",
    "blocks-used-again": "some builds were made on the same block, which the interval does not allow for",
}

# Set aside for a reason that leaves the number itself readable: shown with the value the check would have had with it.
RESTORABLE = frozenset({"excluded", "past-calibration"})

CATALOGUE: dict[str, str] = {**READING, **ANSWER, **FLAGS}
