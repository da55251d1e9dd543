"""Every key explained: described, with an example that fits it, found by its name, told apart from no key."""

from __future__ import annotations

import pytest
from jsonschema import Draft202012Validator

from sitegen import registry, units
from sitegen.cli import main
from sitegen.problems import Collector
from sitegen.program import keys
from sitegen.program.keys import KeyPlace
from sitegen.program.yamlfile import parse

PLACES = keys.places()


def test_every_key_is_described() -> None:
    assert len(PLACES) > 1000
    for place in PLACES:
        assert place.meaning.endswith((".", "?", ")")), place
        assert place.allowed, place


def test_every_example_fits_its_key() -> None:
    measures = registry.measures()
    for place in PLACES:
        Draft202012Validator(place.rule).validate(place.example)
        if isinstance(place.rule.get("dimension"), str) and isinstance(place.example, str):
            assert units.parse(place.example, place.rule["dimension"]) > 0, place
        if place.rule.get("format") == "measure":
            assert place.example in measures, place
        if "string" in place.rule["type"] if "type" in place.rule else False:
            assert {"examples", "enum", "const"} & set(place.rule), place.shown


def test_lines_of_an_example_read_back_as_the_value_in_its_place() -> None:
    for place in PLACES:
        if place.path[-1] == "-":
            continue
        problems = Collector("p")
        document = parse("\n".join(place.as_yaml()).encode(), problems)
        assert document is not None, place
        assert problems.found == [], place
        found = document.data
        for step in place.sample:
            found = found[0] if step == "-" else found[step]
        assert found == place.example, place


def test_a_key_is_found_by_its_name_and_by_keys_above_it() -> None:
    whole = keys.explain("testers.percent_linear")
    assert keys.explain("percent_linear") == keys.explain("testers > percent_linear") == whole
    assert whole.splitlines()[0] == "definitions.yaml: testers > <leak-down tester> > percent_linear"
    assert "stand evenly from 0 % (no leak) to 100 %" in " ".join(whole.split())
    assert "  allowed: true or false" in whole
    assert whole.endswith("  example:\n    testers:\n      T1:\n        percent_linear: true")


def test_default_units_and_what_must_be_there_are_told() -> None:
    assert "left out: pressure" in keys.explain("testers.scale")
    orifice = keys.explain("testers.orifice")
    assert "allowed: a length with its unit" in orifice
    assert "units: mm, um, m, km, in, thou" in orifice
    assert "left out: no, it must be there" in orifice


def test_what_stands_above_may_leave_keys_out() -> None:
    assert "criteria > list > at" in keys.explain("criteria.at")
    assert "records > leakdown > columns > supply" in keys.explain("leakdown.columns.supply")
    assert keys.explain("columns.supply").startswith("program.yaml: records > leakdown > columns > supply\n")


def test_places_with_the_same_meaning_are_explained_together() -> None:
    said = keys.explain("separator")
    assert said.count("allowed:") == 1
    assert said.count("program.yaml: records > ") == len(registry.STREAMS)


def test_a_name_of_many_keys_lists_them() -> None:
    said = keys.explain("title")
    assert "definitions.yaml: meters > <flow meter> > title" in said
    assert "example" not in said
    assert "definitions.yaml" not in keys.explain("phases.title")


def test_a_channel_of_a_cylinder_is_found_by_its_number() -> None:
    assert keys.explain("exhaust_temperature_3") == keys.explain("exhaust_temperature_N")
    with pytest.raises(keys.UnknownKeyError):
        keys.explain("exhaust_temperature_25")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("percent_liner", 'no file of a program has a key "percent_liner". Nearest: percent_linear.'),
        ("testers.percent_liner", "Nearest: percent_linear."),
        ("tools.orifice", "of that name are definitions.yaml: testers > <leak-down tester> > orifice"),
        ("qwertz", 'no file of a program has a key "qwertz".'),
        ("", 'no file of a program has a key "".'),
        ("<coating>", "no file of a program has a key"),
        (".", "no file of a program has a key"),
        ("x" * 10_000, "no file of a program has a key"),
    ],
)
def test_an_unknown_key_is_wrong_use_and_the_nearest_is_named(
    name: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["key", name]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err) < 300


def test_a_key_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["key", "fit_through"]) == 0
    out, err = capsys.readouterr()
    assert out == keys.explain("fit_through") + "\n"
    assert err == ""


def test_a_pattern_is_never_a_name_of_the_users_own() -> None:
    own: list[KeyPlace] = [place for place in PLACES if place.path[-1].startswith("<")]
    assert own
    assert not any(place.fits([place.path[-1]]) for place in own)
