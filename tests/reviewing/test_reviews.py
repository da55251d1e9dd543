"""Reviews beside a program: what is read of them, what is told, what they do, and when they are stale."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

import pytest
from house import git, plain

from sitegen import workflow
from sitegen.cli import main
from sitegen.pages.review import _numbers
from sitegen.problems import as_text
from sitegen.vocabulary import Field

HEADER = "Build,Check,Cyl,Repeat,Supply,Gauge"
RULE = """
review:
  causes: {gauge: the gauge stuck, warm: not at its temperature}
  blinded: true
  knows: [K. L.]
"""
CONSTANTS = "constants: {tester: T1, crank: tdc, approached: running-direction, locked: 'yes'}"


def commit(folder: Path) -> None:
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", "state")


def enter(programs: Path, last: float = 75.0) -> None:
    rows = [
        f"{build},pulls,{n},{repeat},80,{last if (build, n, repeat) == ('B2', 2, 3) else 77 - n + 0.2 * repeat}"
        for build in ("B1", "B2")
        for n in range(1, 5)
        for repeat in (1, 2, 3)
    ]
    (programs / "pump" / "records" / "leakdown.csv").write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")


SUSPECT = "leakdown:19"  # line of B2 cylinder 2, third repeat


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    made = plain(tmp_path)
    path = made / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8").replace("constants: {tester: T1}", CONSTANTS)
    path.write_text(text.replace("cylinder: Cyl", "cylinder: Cyl\n        repeat: Repeat") + RULE, encoding="utf-8")
    git(tmp_path, "init", "-q", "-b", "main")
    (tmp_path / ".gitignore").write_text("site/\n", encoding="utf-8")
    enter(made, 60.0)
    published(made)
    commit(tmp_path)
    return made


def published(programs: Path) -> str:
    """Text of the page of review, blanks evened out."""
    assert main(["publish", str(programs), "--to", str(programs.parent / "site")]) == 0
    page = (programs.parent / "site" / "programs" / "pump" / "review.html").read_text(encoding="utf-8")
    page = re.sub(r'<script type="application/json".*?</script>', " ", page, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\N{NO-BREAK SPACE}", " ").split())


def results(programs: Path) -> str:
    page = (programs.parent / "site" / "programs" / "pump" / "index.html").read_text(encoding="utf-8")
    found = re.search(r"results ([0-9a-f]{7})", page)
    assert found
    return found[1]


def review(programs: Path, items: str, name: str = "2026-06-01-m-s", reviewer: str = "M. S.", of: str = "") -> Path:
    folder = programs / "pump" / "reviews"
    folder.mkdir(exist_ok=True)
    path = folder / f"{name}.yaml"
    path.write_text(
        f'format: 1\nprogram: "pump"\nreviewer: "{reviewer}"\non: "2026-06-01"\n'
        f'results: "{of or results(programs)}"\nitems:\n{items}',
        encoding="utf-8",
    )
    return path


def told(programs: Path) -> list[str]:
    return as_text(workflow.examine(programs).problems).splitlines()[:-1]


OBJECTS = f'  - {{"reading": "{SUSPECT}", "says": "objects", "cause": "gauge", "why": "it jumped"}}\n'
AGREES = '  - {"build": "B2", "cylinder": 2, "says": "agrees"}\n'


def test_a_review_is_shown_and_changes_nothing(programs: Path) -> None:
    before = results(programs)
    review(programs, AGREES + OBJECTS)
    assert told(programs) == []
    page = published(programs)
    assert results(programs) == before
    assert "One of eight cylinders is reviewed." in page
    assert "B2 cylinder 2 cannot tell M. S.: agrees 1" in page
    assert f"{SUSPECT} B2 cylinder 2 M. S. the gauge stuck: it jumped not accepted: used" in page
    assert "One objection is not accepted: the readings count as before." in page


def test_what_an_objection_does_is_what_leaving_the_reading_out_does(programs: Path) -> None:
    """The numbers told beside the objection are those of the results once it is accepted."""
    review(programs, OBJECTS)
    page = published(programs)
    effect = re.search(r"leak area to the crankcase \(B2 cylinder 2, four pulls\): (\S+) \([^)]*\) → (\S+) \(", page)
    assert effect
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        file.write("\nexclusions:\n  - {review: 2026-06-01-m-s, by: K. L., on: 2026-06-02}\n")
    page = published(programs)
    rows = (programs / "pump" / "results" / "measures.csv").read_text(encoding="utf-8").splitlines()
    (row,) = [each for each in rows if each.startswith("B2,2,graded-crn,pulls,,leakdown.crankcase,")]
    assert row.split(",")[6] == effect[2]
    assert "accepted: left out" in page
    assert f"crankcase (B2 cylinder 2, four pulls): {effect[2]}" in page  # and back, were it used again
    data = (programs.parent / "site" / "programs" / "pump" / "data.html").read_text(encoding="utf-8")
    assert "the gauge stuck: it jumped" in html.unescape(data)
    assert "M. S., accepted by K. L." in html.unescape(data)


def test_only_the_readings_named_are_accepted(programs: Path) -> None:
    review(programs, OBJECTS + '  - {"reading": "leakdown:5", "says": "objects"}\n')
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        file.write('\nexclusions:\n  - {review: 2026-06-01-m-s, readings: ["leakdown:5"], on: 2026-06-02}\n')
    (program,) = workflow.programs(programs)[0].programs  # type: ignore[union-attr]
    assert [each.reading for each in program.exclusions] == ["leakdown:5"]
    assert program.exclusions[0].why == "objected to in review"


def test_two_reviewers_who_disagree(programs: Path) -> None:
    review(programs, AGREES + OBJECTS)
    review(programs, '  - {"build": "B2", "cylinder": 2, "says": "objects", "why": "still falling"}\n'
           f'  - {{"reading": "{SUSPECT}", "says": "agrees"}}\n', "2026-06-03-r-t", "R. T.")  # fmt: skip
    page = published(programs)
    assert "B2 cylinder 2 – M. S.: agrees; R. T.: objects (still falling)" in page
    assert f"B2 cylinder 2 {SUSPECT} M. S.: objects (it jumped); R. T.: agrees" in page


def test_a_review_goes_stale_by_what_it_is_about(programs: Path) -> None:
    """A row of B2 cylinder 2 is corrected: what was said of it was said of other numbers; of B1 nothing moved."""
    review(programs, AGREES + '  - {"build": "B1", "cylinder": 4, "says": "agrees"}\n')
    commit(programs.parent)
    enter(programs, 75.6)
    page = published(programs)
    moved = re.search(r"B2 cylinder 2 \S+(?: \S+)* M\. S\.: agrees – M\. S\.: (\S+) results? since", page)
    assert moved
    assert "of what it is about" in page


def test_results_that_git_does_not_hold(programs: Path) -> None:
    review(programs, AGREES, of="0123456789ab")
    (said,) = told(programs)
    assert 'warning: the review is of results "0123456789ab", which git does not hold' in said
    assert "not known, git holds no results 0123456789ab" in published(programs)


@pytest.mark.parametrize(
    ("items", "said"),
    [
        ('  - {"build": "B9", "says": "agrees"}\n', 'there is no build "B9"'),
        ('  - {"build": "B2", "cylinder": 7, "says": "agrees"}\n', "B2 has no cylinder 7"),
        ('  - {"says": "agrees"}\n', "nothing says what it is about"),
        ('  - {"reading": "leakdown:99", "says": "objects"}\n', 'there is no reading "leakdown:99"'),
        (f'  - {{"reading": "{SUSPECT}", "says": "objects", "cause": "gauges"}}\n', 'there is no cause "gauges"'),
        ('  - {"build": "B2", "says": "likes"}\n', "says"),
        ('  - {"build": "B2", "says": "agrees", "mood": 1}\n', "mood"),
        ("  - [1, 2]\n", "items"),
        ("  - {\n", "YAML"),
    ],
)
def test_what_is_wrong_is_told_with_its_line_and_stops_nothing(programs: Path, items: str, said: str) -> None:
    review(programs, items)
    found = told(programs)
    assert any(said in line for line in found), found
    assert all(line.startswith("pump/reviews/2026-06-01-m-s.yaml:") and ": warning: " in line for line in found)
    assert "Review of Pump rings" in published(programs)


def test_of_another_program_twice_and_by_somebody_who_knows(programs: Path) -> None:
    path = review(programs, AGREES)
    shutil.copy(path, path.with_name("copy.yaml"))
    other = review(programs, AGREES, "other")
    other.write_text(other.read_text(encoding="utf-8").replace('"pump"', '"fans"'), encoding="utf-8")
    review(programs, AGREES, "knows", "K. L.")
    found = "\n".join(told(programs))
    assert 'this is a review of "fans"' in found
    assert "this is the review 2026-06-01-m-s.yaml once more: it is counted once" in found
    assert "K. L. knows the coatings, and reviews of this program are blinded" in found


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("{review: 2026-06-01-m-t}", 'there is no review "2026-06-01-m-t"'),
        ('{review: 2026-06-01-m-s, readings: ["leakdown:5"]}', 'has no objection to a reading "leakdown:5"'),
        ("{review: 2026-06-01-m-s, why: so}", '"why" does not apply'),
        ("{why: so}", 'the key "reading" is missing'),
    ],
)
def test_objections_accepted_wrongly_are_errors(programs: Path, entry: str, said: str) -> None:
    review(programs, OBJECTS)
    with (programs / "pump" / "program.yaml").open("a", encoding="utf-8") as file:
        file.write(f"\nexclusions:\n  - {entry}\n")
    found = workflow.examine(programs)
    assert found.blocked
    assert said in as_text(found.problems)


def test_markup_in_remarks_stays_text(programs: Path) -> None:
    review(
        programs, '  - {"build": "B2", "cylinder": 2, "says": "open question", "why": "<script>alert(1)</script>"}\n'
    )
    published(programs)
    page = (programs.parent / "site" / "programs" / "pump" / "review.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_numbers_stand_in_the_unit_of_their_file() -> None:
    percent = Field("percent", "Leak", "number", "%", "ratio")
    supply = Field("supply", "Supply", "number", "Pa", "gauge pressure")
    told = [(percent, 5.0), (supply, 551_581.0), (supply, float("nan"))]
    written = {("a.csv", "percent"): "%", ("a.csv", "supply"): "psig"}
    said = [text.replace("\N{NO-BREAK SPACE}", " ") for text in _numbers(iter(told), "a.csv", written)]
    assert said == ["leak 5 %", "supply 80 psig"]
    assert next(_numbers(iter(told[1:]), "b.csv", written)).replace("\N{NO-BREAK SPACE}", " ") == "supply 551.6 kPa"


def test_a_mass_keeps_its_digits_where_no_balance_is_named(programs: Path) -> None:
    """A ring loses some ten milligrams of forty grams: rounded to four digits nothing would be left of it."""
    folder = programs / "pump"
    rows = "engine,phase,cylinder,ring,mass [g]\nB1,cold-build,1,top,41.2516\nB1,teardown,1,top,41.2202\n"
    (folder / "records" / "rings.csv").write_text(rows, encoding="utf-8")
    path = folder / "program.yaml"
    entry = "records:\n  buildsheet:\n    - file: records/rings.csv\n"
    path.write_text(path.read_text(encoding="utf-8").replace("records:\n  leakdown", f"{entry}  leakdown"), "utf-8")
    published(programs)
    measures = (folder / "results" / "measures.csv").read_text(encoding="utf-8").splitlines()
    found = {row.split(",")[5]: row.split(",")[6] for row in measures if ",top," in row and row.startswith("B1,1,")}
    assert found["wear.mass_loss"] == "31.4"
    assert "41.2516" in [row.split(",")[6] for row in measures if "buildsheet.mass" in row]
