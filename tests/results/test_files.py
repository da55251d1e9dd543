"""The committed files: the same bytes anywhere, stale when an input changed, compared within their rounding."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest
from house import ROOT, Published, copied, fewer, rows_of

from sitegen.cli import main
from sitegen.results.files import MEASURE_COLUMNS, VERDICT_COLUMNS
from sitegen.unchanged import answered, question

RESULTS = ("measures.csv", "verdicts.csv", "provenance.json")


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def publish(programs: Path, site: Path, *more: str, **environment: str) -> None:
    command = [sys.executable, "-m", "sitegen", "publish", str(programs), "--to", str(site), *more]
    subprocess.run(command, check=True, capture_output=True, env={**os.environ, **environment}, cwd=programs)


def test_committed_results_are_those_of_the_committed_data(examples: Published) -> None:
    for program in ("pump-rings-2025", "pump-rings-2026"):
        for name in RESULTS:
            committed = ROOT / "programs" / program / "results" / name
            made = examples.programs / program / "results" / name
            assert made.read_bytes() == committed.read_bytes(), f"{program}/{name}"


def test_same_bytes_from_another_folder_time_zone_locale_hash_seed_and_worker_count(
    tmp_path: Path, examples: Published
) -> None:
    """The other: published in the process of the tests, by one worker, with whatever seed the interpreter drew."""
    other = tmp_path / "elsewhere" / "b c"
    publish(copied(other), other / "site", "--workers", "2", PYTHONHASHSEED="77", TZ="Asia/Tokyo", LC_ALL="C")
    for one, again in ((examples.programs, other / "programs"), (examples.site, other / "site")):
        before, after = tree(one), tree(again)
        assert before
        assert before.keys() == after.keys()
        assert [name for name in before if before[name] != after[name]] == []


def test_publishing_again_changes_no_byte(tmp_path: Path) -> None:
    """Neither where a note says that nothing changed, nor the whole way without one."""
    programs, site = fewer(tmp_path), tmp_path / "site"
    assert main(["publish", str(programs), "--to", str(site)]) == 0
    before = tree(tmp_path)
    asked = question(programs, site, None)
    assert asked is not None
    assert answered(asked) is not None
    for note in (True, False):
        if not note:
            asked.note.unlink()
        assert main(["publish", str(programs), "--to", str(site)]) == 0
        assert tree(tmp_path) == before


def test_rows_are_unique_sorted_and_plain(tmp_path: Path) -> None:
    del tmp_path
    folder = ROOT / "programs" / "pump-rings-2026" / "results"
    rows = rows_of(folder / "measures.csv")
    assert tuple(rows[0]) == MEASURE_COLUMNS
    keys = [tuple(row[c] for c in ("engine", "cylinder", "coating", "phase", "measure", "at")) for row in rows]
    assert len(set(keys)) == len(keys)
    order = [(row["engine"], int(row["cylinder"] or 0), row["measure"], row["at"]) for row in rows]
    assert order == sorted(order)
    numbers = [row[c] for row in rows for c in ("value", "low", "high", "se", "df", "se_common")]
    assert not [text for text in numbers if "e" in text or "nan" in text]
    assert tuple(rows_of(folder / "verdicts.csv")[0]) == VERDICT_COLUMNS


def test_no_clock_no_path_in_the_files() -> None:
    for path in (ROOT / "programs").rglob("results/*"):
        content = path.read_bytes()
        assert b"\r" not in content
        assert str(ROOT).encode() not in content


def test_check_says_when_results_are_stale(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    assert main(["check", str(programs)]) == 0
    assert "stale" not in capsys.readouterr().out
    table = programs / "pump-rings-2025" / "records" / "leakdown-a1.csv"
    table.write_bytes(table.read_bytes() + b"\n")
    assert main(["check", str(programs)]) == 0
    said = capsys.readouterr().out
    assert "pump-rings-2025/results: warning" in said
    assert "stale: pump-rings-2025/records/leakdown-a1.csv has changed" in said
    assert main(["check", "--strict", str(programs)]) == 1


def written_by(programs: Path, version: str, **revisions: int) -> None:
    """Have the results say that another version wrote them, with these revisions of steps."""
    path = programs / "pump-rings-2025" / "results" / "provenance.json"
    stored = json.loads(path.read_text(encoding="utf-8"))
    methods = {**stored["methods"], **{name.replace("_", "-"): to for name, to in revisions.items()}}
    path.write_text(json.dumps({**stored, "version": version, "methods": methods}), encoding="utf-8")


def test_check_says_by_which_version_and_what_it_changed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Results of another version are stale where a step was revised since, and no others."""
    programs = fewer(tmp_path)
    changed = "leak areas and blow-by levels hold the limits of error of barometer and thermometer"
    written_by(programs, "0.0.9")
    assert main(["check", str(programs)]) == 0
    assert "stale" not in capsys.readouterr().out
    written_by(programs, "0.0.9", leak_areas=2)
    assert main(["check", str(programs)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"stale: written by sitegen 0.0.9, this is {version('sitegen')}; changed since: {changed}" in said
    written_by(programs, version("sitegen"), leak_areas=1)
    assert main(["check", str(programs)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"stale: written by an earlier state of sitegen {version('sitegen')}; changed since: leak areas hold" in said
    assert f"; {changed}" in said


def test_a_number_of_another_version_is_told_with_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    written_by(programs, "0.0.9")
    path = programs / "pump-rings-2025" / "results" / "verdicts.csv"
    path.write_bytes(path.read_bytes().replace(b",seated,", b",cannot tell,", 1))
    assert main(["check", "--recompute", str(programs)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert f"a fresh run gives 'seated' (written by sitegen 0.0.9, this is {version('sitegen')})" in said


def test_older_and_newer_formats_get_different_sentences(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = fewer(tmp_path)
    path = programs / "pump-rings-2025" / "results" / "provenance.json"
    for form, word in ((0, "older"), (99, "newer")):
        path.write_text(json.dumps({**json.loads(path.read_text()), "format": form}))
        assert main(["check", str(programs)]) == 0
        assert f"{word} format {form}" in capsys.readouterr().out


def test_recompute_accepts_what_follows_and_names_what_does_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    programs = fewer(tmp_path)
    assert main(["check", "--recompute", str(programs)]) == 0
    path = programs / "pump-rings-2025" / "results" / "measures.csv"
    rows = rows_of(path)
    target = next(row for row in rows if row["measure"] == "leakdown.crankcase" and row["value"])
    old = target["value"]
    path.write_text(path.read_text().replace(f",leakdown.crankcase,{old},", f",leakdown.crankcase,9{old},", 1))
    capsys.readouterr()
    assert main(["check", "--recompute", str(programs)]) == 1
    said = capsys.readouterr().out
    assert f"value is '9{old}', a fresh run gives '{old}'" in said
    assert "was changed by hand" in said
