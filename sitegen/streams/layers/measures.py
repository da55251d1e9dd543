"""What is concluded from records of layers."""

from __future__ import annotations

from sitegen.vocabulary import Measure

THICKNESS = Measure(
    id="layer.thickness",
    title="thickness of a layer before the run",
    unit="µm",
    better="",
    method="By ball crater or section. Of a ring measured itself at two places or more: from these. Else from two or "
    "more rings cut of its lot: their mean, with the scatter between rings and between places of a ring in the "
    "interval, since the ring that runs may be any of them. Else the nominal thickness with its tolerance, which no "
    "measurement confirms. The interval is of any one place of the face.",
    formula="crater: cap(D) − cap(d) of the ball, plus the same of a convex face; about (D² − d²)/8 · (2/b + 1/R)",
    source="geometry of spherical caps, the principle of EN 1071-2 and ISO 26423 (from memory); prediction interval: "
    "t half-widths between and within rings and the microscope's limit of error, in quadrature",
    limits="The interval takes rings and places as normally scattered, and held in 94 to 99 % of simulated lots of two "
    "to eight rings. Two rings alone make it some fifteen scatters wide on either side. The error "
    "of the ball's diameter is not in it.",
    interval="prediction",
    only_at="ring",
    of_coating=True,
)
