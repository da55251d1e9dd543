"""The words that pages use in a sense of their own, each once: the methods page prints them, pages write them so."""

from __future__ import annotations

from collections.abc import Mapping

WORDS: Mapping[str, str] = {
    "build": "one assembly of one engine, from its cold build to its teardown; the same engine built again is another "
    "build. Comparisons count builds, not cylinders.",
    "lot": "the set of rings a coating came in; also, who gets which coating, where it was allotted by lot.",
    "leak area": "the sharp hole that would leak as much; “to the crankcase” is the share that passes the rings.",
    "end gaps alone": "what a perfectly seated set of rings would still leak through its end gaps; less than that no "
    "seating can reach.",
    "leak still to lose": "how much leak area the curve of a cylinder has yet to fall before it is level.",
    "seating distance": "the sliding distance over which the leak still to lose falls to 37\u00a0% of what it was.",
    "seated": "leak area within its limit and next to nothing still to lose, by the interval that decides.",
    "still seating": "the leak still falls by more than the program allows a seated cylinder.",
    "cannot tell": "the interval that decides reaches across its limit, or something it needs is missing; no verdict.",
    "reference point": "a speed and torque that a run comes back to, so that blow-by is read alike each time.",
    "contact band": "the bright stretch of a ring's face that touched the bore: its width, by eye or by traces.",
    "bounds": "limits of error of what was read with, or of what was not measured; nothing inside is likelier.",
    "scatter": "how far values lie apart for no known cause, as a standard deviation.",
    "at worst": "at the upper limit of what the scatter may be, which few builds tell poorly.",
    "primary": "the one comparison that was named beforehand; it alone keeps its error of 5\u00a0% for itself.",
    "exploratory": "a comparison nobody named beforehand; widened, since many are looked at.",
    "set aside": "of a reading: not used by a rule that is the same for all; it stays in its file and, crossed, on the "
    "pages.",
    "left out on objection": "of a reading: not used since somebody gave a reason and a name; it stays, crossed.",
    "odd": "of a cylinder: farther from the others of its engine, in all measures together, than chance explains.",
}
