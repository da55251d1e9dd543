"""Patterns of names against every way to fill in their braces, tried one by one."""

from __future__ import annotations

import re
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.program.patterns import PatternFault, Unknown, pattern
from sitegen.program.words import names

FIELDS = ("engine", "phase")
IDS = {"engine": ["B1", "B1-2", "B2"], "phase": ["cold-build", "run", "run-2"]}
KNOWN = {field: names((), field, ids) for field, ids in IDS.items()}
LITERAL = st.text("b1-_r.", max_size=3)


@given(st.lists(st.one_of(st.sampled_from(["{engine}", "{phase}", "*"]), LITERAL), min_size=1, max_size=6), st.data())
def test_every_way_to_read_a_name_is_found(pieces: list[str], data: st.DataObject) -> None:
    text = "".join(pieces)
    if any(text.count(f"{{{field}}}") > 1 for field in FIELDS):
        return
    meant = pattern(text, FIELDS)
    name = text.replace("*", data.draw(st.text("b1-_r", max_size=3)))
    for field, ids in IDS.items():
        name = name.replace(f"{{{field}}}", data.draw(st.sampled_from(ids)))
    ways = set()
    for chosen in product(*(IDS[field] for field in meant.fields)):
        filled = text
        for field, said in zip(meant.fields, chosen, strict=True):
            filled = filled.replace(f"{{{field}}}", said)
        if re.fullmatch("[^/]*".join(map(re.escape, filled.split("*"))), name, re.IGNORECASE):
            ways.add(chosen)
    if len(ways) > 1:
        with pytest.raises(PatternFault, match="two ways"):
            meant.fit(name, KNOWN)
    else:
        found = meant.fit(name, KNOWN)
        assert isinstance(found, dict)
        assert {tuple(found[field] for field in meant.fields)} == ways


def test_what_fits_what_nearly_fits_and_what_does_not() -> None:
    meant = pattern("logs/{engine}_{phase}_*.csv", FIELDS)
    known = {**KNOWN, "phase": names([{"phase": {"dauerlauf": "run", "öl lauf": "run-2"}}], "phase", IDS["phase"])}
    assert meant.fit("logs/B1_run_.csv", known) == {"engine": "B1", "phase": "run"}
    assert meant.fit("logs/b1-2_DAUERLAUF_a_b.CSV", known) == {"engine": "B1-2", "phase": "run"}
    assert meant.fit("logs/B2_O\u0308l  Lauf_3.csv", known) == {
        "engine": "B2",
        "phase": "run-2",
    }
    assert meant.fit("logs/B1_Dauerlaufe_1.csv", known) == Unknown("phase", "Dauerlaufe", "run")
    assert meant.fit("logs/C7_run_1.csv", known) == Unknown("engine", "C7", "")
    for other in ("logs/B1_run.csv", "logs/x/B1_run_1.csv", "B1_run_1.csv", "logs/B1_run_1.csv.bak", "logs/readme.txt"):
        assert meant.fit(other, known) is None, other


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("{engne}.csv", "has {engne}, which no name says"),
        ("{engine.csv", 'has a "{" alone'),
        ("engine}.csv", 'has a "}" alone'),
        ("{engine}{engine}.csv", "has {engine} twice"),
        ("{}.csv", "has {}, which no name says"),
    ],
)
def test_what_is_no_pattern(text: str, what: str) -> None:
    with pytest.raises(PatternFault) as told:
        pattern(text, FIELDS)
    assert told.value.what == what


def test_many_stars_take_no_longer_than_in_proportion() -> None:
    meant = pattern("*".join("a" for _ in range(40)), FIELDS)
    assert meant.fit("a" * 199 + "b", KNOWN) is None
