"""The list of what each version changed: complete, and read back as clauses."""

from __future__ import annotations

import tomllib
from importlib.metadata import version

import pytest
from house import ROOT

from sitegen import registry, releases
from sitegen.results.files import FORMAT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_this_version_is_listed_first() -> None:
    listed = [each.version for each in releases.releases()]
    assert listed[0] == PROJECT["version"] == version("sitegen")
    assert len(set(listed)) == len(listed)
    newest = releases.releases()[0]
    assert any(f"format {FORMAT}." in each for each in newest.formats)
    assert newest.results
    assert newest.pages


def test_every_raised_revision_is_listed_up_to_that_of_today() -> None:
    """From 2 on each revision of a step stands beside what it changed, once; none that the step has not reached."""
    listed = sorted(
        (step, to) for each in releases.releases() for moved in each.results for step, to in moved.steps.items()
    )
    ours = registry.methods()
    raised = sorted((step, to) for step, revision in ours.items() for to in range(2, revision + 1))
    assert [each for each in listed if each[0] in ours] == raised
    assert {step for moved in releases.releases()[0].results for step in moved.steps} <= set(ours)


TWO = (
    releases.Release("0.10.0", (releases.Moved("a", {"one": 3}), releases.Moved("b", {})), (), ()),
    releases.Release("0.9.0", (releases.Moved("c", {"one": 2, "two": 2}),), (), ()),
)
NOW = {"version": "0.10.0", "methods": {"one": 3, "two": 2}}


@pytest.mark.parametrize(
    ("by", "methods", "told"),
    [
        ("0.10.0", {"one": 3, "two": 2}, ""),
        ("0.10.0", {"one": 2, "two": 2}, "written by an earlier state of sitegen 0.10.0; changed since: a"),
        ("0.9.0", {"one": 2, "two": 2}, "written by sitegen 0.9.0, this is 0.10.0; changed since: a; b"),
        ("0.8.2", {"one": 1, "two": 1}, "written by sitegen 0.8.2, this is 0.10.0; changed since: a; c; b"),
        ("0.11.0", {"one": 4, "two": 2},
         "written by sitegen 0.11.0, this is 0.10.0; no change of results is listed between"),
        (None, "damaged", "written by sitegen of an unknown version, this is 0.10.0; changed since: a; c; b"),
    ],
)  # fmt: skip
def test_what_changed_since_follows_the_revisions(
    by: str | None, methods: object, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(releases, "releases", lambda: TWO)
    assert releases.told({"version": by, "methods": methods}, NOW) == told


def test_a_step_that_is_not_here_changed_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(releases, "releases", lambda: TWO)
    assert releases.revised({"methods": {"one": 3}}, {"methods": {"one": 3}}) == []
