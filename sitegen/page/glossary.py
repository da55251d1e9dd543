"""The words that pages use in a sense of their own, each once: the methods page prints them, pages write them so."""

from __future__ import annotations

from collections.abc import Mapping

from sitegen.reasons import ANSWER

WORDS: Mapping[str, str] = {
    "build": "one assembly of one engine, from its cold build to its teardown; the same engine built again is another "
    "build. Comparisons count builds, not cylinders.",
    "lot": "the set of rings a coating came in.",
    "by lot": "of who gets which coating: drawn, not chosen.",
    "candidate": "a coating that is to be decided about; the reference is the one it is compared with.",
    "holding both": "of a build: some of its cylinders hold the candidate, others the reference.",
    "tester": "what reads the leak of a cylinder: an orifice between two gauges.",
    "occasion": "one setting-up of a tester for a check; readings differ more between occasions than within one.",
    "blow-by": "the gas that passes all the rings of a running engine into its crankcase.",
    "leak area": "the sharp hole that would leak as much; “to the crankcase” is the share that passes the rings.",
    "end gaps alone": "what a perfectly seated set of rings would still leak through its end gaps; less than that no "
    "seating can reach.",
    "leak still to lose": "how much leak area the curve of a cylinder has yet to fall before it is level.",
    "seating distance": "the sliding distance over which the leak still to lose falls to 37\u00a0% of what it was.",
    "seated": "leak area within its limit and next to nothing still to lose, by the interval that decides.",
    "still seating": f"not seated, and still falling: {ANSWER['leak-still-to-lose']}; or {ANSWER['last-fall']}.",
    "above the limit": "not seated, by the leak area; whether that still falls cannot be told.",
    "cannot tell": "the interval that decides reaches across its limit, or something it needs is missing; no verdict.",
    "reference point": "a speed and torque that a run comes back to, so that blow-by is read alike each time.",
    "results": "the letters and figures behind it name the results a page was made from; they change with any of them.",
    "run on": "neither released nor stopped: the program goes on for that coating.",
    "contact band": "the bright stretch of a ring's face that touched the bore: its width, by eye or by traces.",
    "bounds": "limits of error of what was read with, or of what was not measured; nothing inside is likelier.",
    "scatter": "how far values lie apart for no known cause, as a standard deviation.",
    "at worst": "at the upper limit of what the scatter may be, which few builds tell poorly.",
    "primary": "what was named beforehand to be compared: one measure after one phase, with a row for each candidate, "
    "which share its error of 5\u00a0%.",
    "exploratory": "a comparison nobody named beforehand; widened, since many are looked at.",
    "set aside": "of a reading: not used by a rule that is the same for all; it stays in its file and, crossed, on the "
    "pages.",
    "left out on objection": "of a reading: not used since somebody gave a reason and a name; it stays, crossed.",
    "odd": "of a cylinder: farther from the others of its engine, in all measures together, than chance explains.",
}
