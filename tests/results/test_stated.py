"""What was set beforehand and changed once readings were in, told from the history of the program file."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from house import Analysed, plain

from sitegen import registry, unchanged, workflow
from sitegen.cli import main
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Beside, Table
from sitegen.page.view import Desk, View
from sitegen.program.model import Restated
from sitegen.results import stated
from sitegen.results.run import gather
from sitegen.streams.leakdown.sections.cylinder import cylinder_state

HEADER = "Build,Check,Cyl,Supply,Gauge,Day"
ROWS = [f"B1,cold-build,{n},80,72.{n},2026-03-0{n}" for n in range(1, 5)]
ROWS += [f"B2,pulls,{n},80,75.{n},2026-05-0{n}" for n in range(1, 5)]


def git(folder: Path, *words: str, day: str = "2027-01-01") -> None:
    who = ("-c", "user.name=N", "-c", "user.email=n@example.invalid", "-c", "core.autocrlf=false")
    env = {"GIT_AUTHOR_DATE": f"{day}T12:00:00", "GIT_COMMITTER_DATE": f"{day}T12:00:00", "PATH": "/usr/bin:/bin"}
    command = shutil.which("git") or "git"
    subprocess.run([command, "-C", str(folder), *who, *words], check=True, capture_output=True, env=env)


def commit(folder: Path, day: str) -> None:
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", day, day=day)


def file_of(programs: Path) -> Path:
    return programs / "pump" / "program.yaml"


def edit(programs: Path, old: str, new: str) -> None:
    text = file_of(programs).read_text(encoding="utf-8")
    assert text.count(old) == 1
    file_of(programs).write_text(text.replace(old, new), encoding="utf-8")


def enter(programs: Path, count: int) -> None:
    table = programs / "pump" / "records" / "leakdown.csv"
    table.write_text("\n".join([HEADER, *ROWS[:count]]) + "\n", encoding="utf-8")


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    """A program without a reading yet, committed."""
    made = plain(tmp_path)
    edit(
        made,
        "        pressure: {header: Gauge, unit: psig}",
        "        pressure: {header: Gauge, unit: psig}\n        date: Day",
    )
    edit(made, "constants: {tester: T1}", "constants: {tester: T1, crank: tdc}")
    enter(made, 0)
    git(tmp_path, "init", "-q", "-b", "main")
    commit(tmp_path, "2027-01-01")
    return made


def found(programs: Path) -> list[Restated] | None:
    folder, problems = workflow.programs(programs)
    assert folder is not None, problems
    assert folder.programs, problems
    (program,) = folder.programs
    units = {name: measure.unit for name, measure in registry.measures().items()}
    told = stated.restated(program, gather(program, registry.STREAMS).readings, units)
    return None if told is None else list(told)


def told(programs: Path) -> list[tuple[str, str, int, int]] | None:
    every = found(programs)
    return None if every is None else [(each.what, each.until, each.readings, each.of) for each in every]


def published(programs: Path) -> tuple[str, str]:
    """Text of the home page and of the program's page, blanks evened out."""
    site = programs.parent / "site"
    assert main(["publish", str(programs), "--to", str(site)]) == 0
    pages = (site / "index.html", site / "programs" / "pump" / "index.html")
    home, page = (" ".join(each.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ").split()) for each in pages)
    return home, page


def sheet_of(programs: Path) -> str:
    """Text of the decision sheet as published last, tags and double blanks taken out."""
    page = (programs.parent / "site" / "programs" / "pump" / "decision.html").read_text("utf-8")
    return " ".join(re.sub("<[^>]+>", " ", page).replace("\N{NO-BREAK SPACE}", " ").split())


def test_a_change_before_the_first_reading_is_nobodys_business(programs: Path, tmp_path: Path) -> None:
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.40 mm2")
    enter(programs, 4)  # limit and first readings in one commit: which came first is not known
    commit(tmp_path, "2027-01-10")
    assert told(programs) == []


def test_a_limit_moved_after_readings_came_in_is_told_for_as_long_as_it_is_true(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.40 mm2")
    assert told(programs) == [("criterion:level", "", 4, 4)]  # before it is committed
    commit(tmp_path, "2027-02-12")
    assert told(programs) == [("criterion:level", "2027-02-12", 4, 4)]
    enter(programs, 8)
    commit(tmp_path, "2027-03-10")
    assert told(programs) == [("criterion:level", "2027-02-12", 4, 8)]
    home, page = published(programs)
    assert "It was at most 0.35 mm² until 12 February 2027, when 4 of 8 readings were in." in page
    assert "changed after readings had come in" in home
    assert (
        "1 Leak area after the pulls was at most 0.35 mm² until 12 February 2027, when 4 of 8 readings were in"
        in sheet_of(programs)
    )  # beside the criterion, on the page that is signed
    edit(programs, "at_most: 0.40 mm2", "at_most: 0.35 mm2")  # taking it back does not undo it
    commit(tmp_path, "2027-03-20")
    assert told(programs) == [("criterion:level", "2027-02-12", 4, 8), ("criterion:level", "2027-03-20", 8, 8)]


def test_the_primary_comparison_the_seating_limits_and_criteria_themselves(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "primary: {measure: leakdown.crankcase, phase: pulls}",
         "primary: {measure: leakdown.crankcase, phase: cold-build}")  # fmt: skip
    edit(programs, "{to_lose: 0.03 mm2, level: 0.35 mm2}", "{to_lose: 0.05 mm2, level: 0.45 mm2, fit_through: pulls}")
    edit(
        programs, "    - id: level\n      title: Leak area after the pulls", "    - id: floor\n      title: Leak of all"
    )
    enter(programs, 6)
    commit(tmp_path, "2027-02-12")
    what = ["primary", "to_lose", "level", "fit_through", "criterion:level", "criterion:floor"]
    assert told(programs) == [(each, "2027-02-12", 4, 6) for each in what]
    _, page = published(programs)
    until = "until 12 February 2027, when 4 of 6 readings were in."
    for sentence in (
        f"The primary comparison was the leak area to the crankcase after four pulls {until}",
        f"The leak area that counts as seated was at most 0.35 mm² {until}",
        f"The leak a seated cylinder may have to lose was at most 0.03 mm² {until}",
        f"The fit of seating had no last phase set {until}",
        "The criterion “Leak area after the pulls” (at most 0.35 mm²) was taken out on 12 February 2027",
        "It was first written down on 12 February 2027, when 4 of 6 readings were in.",
    ):
        assert sentence in page
    sheet = sheet_of(programs)
    assert "1 Leak of all was first written down on 12 February 2027, when 4 of 6 readings were in" in sheet
    assert f"The primary comparison was the leak area to the crankcase after four pulls {until}" in sheet


def test_the_rule_of_decision(programs: Path, tmp_path: Path) -> None:
    """Written down late, changed later; what only spells out what holds anyway is no change."""
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "\nseating:", "\ndecide: {stated: 2026-04-01}\n\nseating:")
    commit(tmp_path, "2027-02-12")
    edit(programs, "{stated: 2026-04-01}", "{stated: 2026-01-12, release: [level], stop: []}")
    commit(tmp_path, "2027-02-13")
    enter(programs, 6)
    commit(tmp_path, "2027-02-20")
    edit(programs, "stop: []}", "stop: [level], looks: [2]}")
    commit(tmp_path, "2027-03-12")
    assert told(programs) == [("decide", "2027-02-12", 4, 6), ("decide", "2027-03-12", 6, 6)]
    home, page = published(programs)
    assert "The rule was first written down on 12 February 2027, when 4 of 6 readings were in." in page
    assert (
        "The rule stopped on a failure of the end rules and allowed a release only with all builds in until "
        "12 March 2027, when all readings were in." in page
    )
    assert "the rule or the primary comparison were first written down or changed after readings had come in." in home
    edit(programs, "stated: 2026-01-12, release", "stated: 2026-05-01, release")
    home, page = published(programs)
    said = "after 4 of 6 dated records had come in (until 4 March 2026)"
    assert f"The rule, stated 1 May 2026, {said}: released when every criterion holds" in page
    assert f"The rule of decision was stated {said}." in home


def test_wording_and_spelling_of_units_are_no_change(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "title: Leak area after the pulls", "title: Leak after the pulls")
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.0035 cm2")
    edit(programs, "primary: {measure: leakdown.crankcase, phase: pulls}",
         "primary: {phase: pulls, measure: leakdown.crankcase}   # as agreed")  # fmt: skip
    commit(tmp_path, "2027-02-12")
    assert told(programs) == []


def test_rows_put_between_others_and_a_renamed_file_are_still_found(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "level: 0.35 mm2", "level: 0.40 mm2")
    commit(tmp_path, "2027-02-12")
    table = programs / "pump" / "records" / "leakdown.csv"
    table.unlink()
    renamed = table.with_name("gauges.csv")
    renamed.write_text("\r\n".join([HEADER, ROWS[5], ROWS[0], ROWS[6], *ROWS[1:4]]) + "\r\n", encoding="utf-8")
    edit(programs, "records/leakdown.csv", "records/gauges.csv")
    assert told(programs) == [("level", "2027-02-12", 4, 6)]


def test_what_was_stated_for_the_first_time_was_not_changed(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "\nseating:", "\ndecide: {stated: 2026-04-01}\n\nseating:")
    commit(tmp_path, "2027-02-12")
    home, _ = published(programs)
    assert "the rule or the primary comparison were first written down after readings had come in." in home
    assert "changed" not in home


def test_a_reading_that_was_corrected_later_was_in(programs: Path, tmp_path: Path) -> None:
    """Not so one whose pressure was filled into a row that stood there beforehand."""
    table = programs / "pump" / "records" / "leakdown.csv"
    empty = ROWS[3].replace("72.4", "")
    table.write_text("\n".join([HEADER, *ROWS[:3], empty]) + "\n", encoding="utf-8")
    commit(tmp_path, "2027-01-10")
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.40 mm2")
    commit(tmp_path, "2027-02-12")
    corrected = ROWS[1].replace("72.2", "71.9")
    table.write_text("\n".join([HEADER, ROWS[0], corrected, *ROWS[2:5]]) + "\n", encoding="utf-8")
    assert told(programs) == [("criterion:level", "2027-02-12", 3, 5)]
    commit(tmp_path, "2027-03-12")
    _, page = published(programs)
    assert "when 3 of 5 readings were in" in page
    assert "were in.." not in page


def test_readings_of_several_worksheets_are_counted(programs: Path, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for name, rows in {"B1": ROWS[:4], "B2": ROWS[4:]}.items():
        sheet = book.create_sheet(name)
        for line in [HEADER, *rows]:
            sheet.append([float(cell) if cell.replace(".", "").isdigit() else cell for cell in line.split(",")])
    book.remove(book.worksheets[0])
    book.save(programs / "pump" / "records" / "leakdown.xlsx")
    edit(programs, "file: records/leakdown.csv", 'file: records/leakdown.xlsx\n      sheet: "{engine}"')
    edit(programs, "        engine: Build\n", "")
    commit(tmp_path, "2027-01-10")
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.40 mm2")
    commit(tmp_path, "2027-02-12")
    assert told(programs) == [("criterion:level", "2027-02-12", 8, 8)]


def test_a_merge_counts_from_when_it_came_in(programs: Path, tmp_path: Path) -> None:
    """The limit was changed beside, before the readings, and merged after them."""
    git(tmp_path, "switch", "-q", "-c", "beside")
    edit(programs, "level: 0.35 mm2", "level: 0.40 mm2")
    commit(tmp_path, "2027-01-05")
    git(tmp_path, "switch", "-q", "main")
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    git(tmp_path, "merge", "-q", "--no-edit", "beside", day="2027-01-20")
    assert told(programs) == [("level", "2027-01-20", 4, 4)]


def test_states_this_version_cannot_read_are_passed_over(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    whole = file_of(programs).read_text(encoding="utf-8")
    for broken in (whole.replace("criteria:", "criteria: ["), "seating: [1, {a: b}]\n", "", "compare: \x00"):
        file_of(programs).write_text(broken, encoding="utf-8")
        commit(tmp_path, "2027-01-12")
    file_of(programs).write_text(whole.replace("at_most: 0.35", "at_most: 0.41"), encoding="utf-8")
    commit(tmp_path, "2027-02-12")
    assert told(programs) == [("criterion:level", "2027-02-12", 4, 4)]


def test_the_history_of_an_invented_program_is_no_evidence(programs: Path, tmp_path: Path) -> None:
    """All of it was written down at once, its days too: the page says so once, and counts nothing by commits."""
    edit(programs, "\ncompare:", "\ninvented: true\ncompare:")
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    edit(programs, "at_most: 0.35 mm2", "at_most: 0.40 mm2")
    commit(tmp_path, "2027-02-12")
    home, page = published(programs)
    assert "readings were in" not in page
    assert "The dates of this invented program are part of the invention" in page
    assert "changed after readings had come in" not in home


def test_without_a_whole_history_the_page_says_so(
    programs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    assert "holds no whole history" not in published(programs)[1]
    assert "holds no whole history" not in sheet_of(programs)
    git(tmp_path, "clone", "-q", "--depth", "1", tmp_path.as_uri(), str(tmp_path / "cut"))
    cut = tmp_path / "cut" / "programs"
    assert told(cut) is None
    assert "holds no whole history" in published(cut)[1]
    assert "holds no whole history" in sheet_of(cut)
    monkeypatch.setattr("shutil.which", lambda _: None)
    assert told(programs) is None


def test_a_program_never_committed_has_no_history(programs: Path, tmp_path: Path) -> None:
    shutil.rmtree(tmp_path / ".git")
    git(tmp_path, "init", "-q")
    (tmp_path / "other").write_text("x", encoding="utf-8")
    git(tmp_path, "add", "other")
    git(tmp_path, "commit", "-q", "-m", "other")
    assert told(programs) is None


def test_criteria_stated_after_the_newest_record_say_so(programs: Path) -> None:
    enter(programs, 8)
    edit(programs, "stated: 2026-01-12", "stated: 2026-06-30")
    home, page = published(programs)
    said = "after all 8 dated records had come in (until 4 May 2026)"
    assert f"Criteria, stated 30 June 2026, {said}" in page
    assert f"The criteria were stated {said}." in home
    assert f"Stated 30 June 2026, {said}." in sheet_of(programs)
    edit(programs, "stated: 2026-06-30", "stated: 2026-05-01")  # on the day itself: which came first is not known
    home, page = published(programs)
    assert "Criteria, stated 1 May 2026, after 4 of 8 dated records had come in (until 4 March 2026)" in page
    edit(programs, "stated: 2026-05-01", "stated: 2026-03-01")
    home, page = published(programs)
    assert "Criteria, stated 1 March 2026." in page
    assert "The criteria were stated" not in home


def test_a_new_commit_of_the_program_file_is_asked_about_anew(programs: Path, tmp_path: Path) -> None:
    enter(programs, 4)
    commit(tmp_path, "2027-01-10")
    before = unchanged.question(programs, tmp_path / "site", None)
    edit(programs, "at_most: 0.35", "at_most: 0.41")
    commit(tmp_path, "2027-01-12")
    edit(programs, "at_most: 0.41", "at_most: 0.35")
    commit(tmp_path, "2027-01-13")
    after = unchanged.question(programs, tmp_path / "site", None)
    assert before is not None
    assert after is not None
    assert before.depends_on != after.depends_on


def test_the_page_of_a_cylinder_says_which_of_its_limits_was_changed_late(analysed: Analysed) -> None:
    known = analysed.examination.folder
    assert known is not None
    analysis = next(each.analysis for each in analysed.conclusions if each.analysis.program.id == "pump-rings-2025")
    changed = replace(analysis, restated=(Restated("level", 0.4, 0.35, "", 3, 9),))
    build = analysis.program.builds[0]
    for of, notes in ((changed, ["changed late", ""]), (analysis, ["", ""])):
        measures = registry.measures([analysis.program])
        view = View(known, measures, Addresses.of(known), "programs/pump-rings-2025/index.html", Desk(of), build, 1)
        (beside,) = (each for each in cylinder_state(view) if isinstance(each, Beside))
        table = next(each for each in beside.blocks if isinstance(each, Table) and each.name.startswith("why-"))
        assert [row.cells[1].note for row in table.rows][:2] == notes
