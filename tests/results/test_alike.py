"""One tolerance: what counts as the same result, what stays as committed, and results of earlier formats."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from sitegen import registry, workflow
from sitegen.results import alike, committed, files
from sitegen.results.run import Analysis
from sitegen.results.upgrade import UnknownFormatError, format_of, upgraded
from sitegen.workflow import Conclusion

FORMATS = Path(__file__).parent / "formats"
ROW = {"value": "0.4123", "low": "0.3912", "high": "0.4334", "se": "0.0108", "df": "71.3", "n": "4", "flags": ""}


@pytest.mark.parametrize(
    ("column", "value", "same"),
    [
        ("value", "0.4124", True),  # the last digit
        ("value", "0.4125", False),
        ("high", "0.4335", True),
        ("high", "inf", False),
        ("se", "0.0109", True),
        ("se", "0.0112", False),
        ("df", "71.4", True),
        ("df", "72.5", False),
        ("df", "", False),
        ("n", "5", False),  # a count is the same or it is not
        ("flags", "provisional", False),
    ],
)
def test_a_number_may_move_by_its_last_digit(column: str, value: str, same: bool) -> None:
    assert alike.differing("measures.csv", ROW, {**ROW, column: value}) == ([] if same else [column])


def test_the_last_digit_of_a_large_number_is_not_its_last_written_one() -> None:
    """A half-width of 30 400 km is known to hundreds: 2 611 700 and 2 611 800 are one last digit apart."""
    row = {"value": "2611700", "low": "2581300", "high": "2642100"}
    assert alike.differing("measures.csv", row, {**row, "value": "2611800"}) == []
    assert alike.differing("measures.csv", row, {**row, "value": "2612000"}) == ["value"]


@pytest.fixture(scope="module")
def analysis(concluded: dict[str, Conclusion]) -> Analysis:
    return concluded["pump-rings-2025"].analysis


def rendered(analysis: Analysis, methods: Mapping[str, int] | None = None) -> dict[str, bytes]:
    return files.render(analysis, registry.measures(), "0.1.0", methods or registry.methods())


def nudged(stored: Mapping[str, bytes], measure: str, steps: int) -> dict[str, bytes]:
    """The same results with one number some last digits higher, as another processor might have written them."""
    rows = alike.rows(stored["measures.csv"])
    row = next(row for row in rows if row["measure"] == measure and row["low"])
    decimals = len(row["value"].partition(".")[2])
    row["value"] = f"{float(row['value']) + steps * 10.0**-decimals:.{decimals}f}"
    text = io.StringIO()
    writer = csv.DictWriter(text, list(row), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sealed({**stored, "measures.csv": text.getvalue().encode()})


def sealed(stored: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files with the hashes their provenance gives of them."""
    facts = json.loads(stored["provenance.json"])
    facts["results"] = {name: hashlib.sha256(stored[name]).hexdigest() for name in files.TABLES}
    return {**stored, "provenance.json": (json.dumps(facts, indent=1, ensure_ascii=False) + "\n").encode()}


def test_what_is_stored_reads_back_as_it_was(analysis: Analysis) -> None:
    read = files.as_stored(analysis, rendered(analysis))
    assert read.values == analysis.values
    assert read.verdicts == analysis.verdicts
    assert read.comparisons == analysis.comparisons


def test_stored_results_stay_while_nothing_moved_by_more_than_its_last_digit(analysis: Analysis) -> None:
    fresh = rendered(analysis)
    assert files.still_good(nudged(fresh, "leakdown.area", 1), fresh)
    assert not files.still_good(nudged(fresh, "leakdown.area", 2), fresh)


def test_stored_results_do_not_stay_on_other_ground(analysis: Analysis) -> None:
    """Another input, revision of a method or newest record, bytes changed by hand: all is written anew."""
    fresh = rendered(analysis)
    assert files.still_good(fresh, fresh)
    for other in (
        rendered(replace(analysis, inputs={**analysis.inputs, "definitions.yaml": "0" * 64})),
        rendered(replace(analysis, days=("2031-01-01",))),
        rendered(analysis, {**registry.methods(), "seating": 1000}),
    ):
        assert not files.still_good(fresh, other)
    by_hand = {**fresh, "measures.csv": fresh["measures.csv"] + b"\n"}
    assert not files.still_good(by_hand, fresh)
    assert not files.still_good({}, fresh)


def test_pages_show_what_is_stored(analysis: Analysis, tmp_path: Path) -> None:
    """The analysis takes over the numbers of the files that stay, so that a page never differs from the table."""
    stored = nudged(rendered(analysis), "leakdown.area", 1)
    folder = tmp_path / "pump-rings-2025"
    (folder / "results").mkdir(parents=True)
    for name, content in stored.items():
        (folder / "results" / name).write_bytes(content)
    at_home = replace(analysis, program=replace(analysis.program, folder=str(folder)))
    kept = workflow._with_files(at_home, files.lying(at_home.program))
    assert dict(kept.files) == stored
    moved = [key for key, value in kept.values.items() if value != analysis.values[key]]
    assert [measure for measure, _ in moved] == ["leakdown.area"]


# ---- earlier formats ------------------------------------------------------------------------------------------------


def of_format(form: int) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((FORMATS / str(form)).iterdir())}


@pytest.mark.parametrize("form", [1, 2])
def test_results_of_earlier_formats_read_as_those_of_today(form: int) -> None:
    old = of_format(form)
    assert format_of(old) == form
    new = upgraded(old, files.FORMAT)
    assert format_of(new) == files.FORMAT
    for name, columns in (
        ("measures.csv", files.MEASURE_COLUMNS),
        ("comparisons.csv", files.COMPARISON_COLUMNS),
        ("verdicts.csv", files.VERDICT_COLUMNS),
    ):
        assert new[name].splitlines()[0].decode() == ",".join(columns)
    before, after = (alike.rows(each["verdicts.csv"]) for each in (old, new))
    assert [{name: row[name] for name in was} for was, row in zip(before, after, strict=True)] == before
    assert len(files.values(new["measures.csv"])) == len(alike.rows(old["measures.csv"])) > 20
    facts = json.loads(new["provenance.json"])
    assert (facts["as_of"], facts["methods"]) == ("", {})


def test_an_unknown_format_is_not_guessed_at() -> None:
    for form in (0, files.FORMAT + 1):
        old = of_format(2)
        old["provenance.json"] = json.dumps({"format": form}).encode()
        with pytest.raises(UnknownFormatError):
            upgraded(old, files.FORMAT)


def test_changes_are_told_over_a_change_of_format(analysis: Analysis, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same numbers with the digits that format 2 kept are no change; another word is one."""
    old = of_format(2)
    before = alike.rows(old["verdicts.csv"])
    rule = next(row["rule"] for row in before if row["word"] == "holds" and row["rule"].startswith("criterion"))
    old["verdicts.csv"] = old["verdicts.csv"].replace(b",holds,", b",fails,", 1)
    monkeypatch.setattr(committed, "contents", lambda _, names: [old.get(name.rpartition("/")[2]) for name in names])
    kept = {name: content for name, content in old.items() if name != "provenance.json"}
    fresh = dict(upgraded({**old, **kept}, files.FORMAT))
    fresh["verdicts.csv"] = fresh["verdicts.csv"].replace(b",fails,", b",holds,", 1)
    found = committed.changes(analysis.program, fresh)
    assert found is not None
    assert [(each.what, each.before, each.after) for each in found] == [(rule, "fails", "holds")]
