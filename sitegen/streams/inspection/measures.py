"""What the inspection stream concludes, declared once."""

from __future__ import annotations

from sitegen.vocabulary import Measure

BAND_SHARE = Measure(
    id="inspection.band_share",
    title="contact band, share of the face width",
    unit="%",
    better="",
    compare="difference",
    method="Share of the axial width of a ring's face that carries contact marks. Mean over the places looked at, "
    "each the mean of its inspectors.",
    formula="100 · width of the contact marks / width of the face, mean over places",
    source="reading",
    limits="A new face with a profile starts with a narrow band and widens it as it wears in: neither wide nor narrow "
    "is good as such. It says nothing of the circumference; a place not looked at does not count. No interval: few "
    "places are looked at, and they are chosen.",
    interval="",
    only_at="inspected place",
)
BAND_WIDTH = Measure(
    id="inspection.band_width",
    title="contact band, width",
    unit="mm",
    better="",
    compare="ratio",
    odd="less",
    method="Axial width of the contact marks on a ring's face. Mean over the places looked at, each the mean of its "
    "inspectors.",
    formula="mean over places",
    source="reading",
    limits="As for the share; the edge of a band is a matter of light and eye. No interval.",
    interval="",
    only_at="inspected place",
)
GRADE = Measure(
    id="inspection.grade",
    title="grade by eye",
    unit="1",
    better="",
    method="Grade of a part on the program's own scale: mean over inspectors, each the mean of the places graded.",
    formula="mean over inspectors",
    source="the scale stands in the program file, with the grade that is best",
    limits="A scale of one program: grades of two programs do not compare. Steps of a scale are not equal amounts of "
    "wear. No difference between coatings is concluded from grades. No interval; how far inspectors agree is told "
    "apart.",
    interval="",
    only_at="inspected place",
)
AGREEMENT = Measure(
    id="inspection.agreement",
    title="agreement of two inspectors",
    unit="1",
    better="more",
    method="Cohen's weighted kappa of the grades two inspectors gave the same places, over all cylinders of the "
    "program: 1 when every grade is the same, 0 when they agree no more than chance would make them.",
    formula="κ = (p_o − p_e) / (1 − p_e), each pair weighted by 1 − |difference| / length of the scale",
    source="J. Cohen, Psychological Bulletin 70 (1968) 213, with linear weights (Cicchetti and Allison 1971); "
    "interval from the large-sample standard error of Fleiss, Cohen and Everitt, Psychological Bulletin 72 (1969) 323",
    limits="Needs eight places both graded. The interval is rough below some fifty places, and takes the places of "
    "one cylinder as independent, which they are not quite. Where nearly all parts have one grade, kappa is low "
    "although the inspectors hardly differ. It says whether they agree, not whether they are right.",
)
