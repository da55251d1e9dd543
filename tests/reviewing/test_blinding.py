"""A site for reviewers who are not to know the coatings: no byte names one, and the numbers are those of results."""

from __future__ import annotations

import html
import json
import re
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import pytest
import yaml
from house import Analysed, Published, fewer, plain
from PIL import Image

from sitegen import blinding, workflow
from sitegen.cli import main
from sitegen.program.covered import uncovered
from sitegen.shelves import digest
from sitegen.vocabulary import Key

OWN = {"graded"}  # words of the pages themselves that also are names: inspectors grade


def told_by(programs: Path) -> set[str]:
    """Names of coatings as the files of a folder hold them: ids, titles, lots, processes, layers, their sources."""
    found: set[str] = set()
    for name, own in yaml.safe_load((programs / "definitions.yaml").read_text("utf-8"))["coatings"].items():
        found |= {name, own["title"], own.get("process", ""), *(layer.get("process", "") for layer in _layers(own))}
    for path in programs.glob("*/program.yaml"):
        program = yaml.safe_load(path.read_text("utf-8"))
        for build in program["builds"]:
            found |= {ring["lot"] for ring in build["rings"].values() if "lot" in ring}
        for source in program.get("oil", {}).get("sources", []):
            found |= {source["id"], source["title"]} if "coating" in source else set()
    return {each for each in found if each and each not in {"chromium", "chromium nitride"}} | {"chromium nitride"}


def _layers(coating: Mapping[str, object]) -> list[dict[str, str]]:
    layers = coating.get("layers", {})
    assert isinstance(layers, dict)
    return list(layers.values())


def texts(site: Path) -> Iterator[tuple[str, str]]:
    """Every file with its name: as it is, and as a browser or a script reads it."""
    for path in sorted(each for each in site.rglob("*") if each.is_file()):
        if path.suffix in {".png", ".jpg"}:
            continue
        text = f"{path.relative_to(site).as_posix()}\n{path.read_text('utf-8')}"
        unescaped = re.sub(r"\\u([0-9a-f]{4})", lambda code: chr(int(code[1], 16)), text)
        yield path.name, text.lower()
        yield path.name, html.unescape(unquote(unescaped)).lower()


def names_in(site: Path, names: set[str]) -> set[tuple[str, str]]:
    wanted = {each: re.compile(rf"(?<![a-z0-9]){re.escape(each.lower())}(?![a-z0-9])") for each in names}
    return {(file, each) for file, text in texts(site) for each, name in wanted.items() if name.search(text)}


# ---- the examples ---------------------------------------------------------------------------------------------------


def test_no_byte_of_the_examples_names_a_coating(blind: Published, examples: Published) -> None:
    names = told_by(blind.programs) | {"nitrided", "nitriding", "crn"}
    assert len(names) >= 18
    assert names_in(blind.site, names) == set()
    assert {name for _, name in names_in(examples.site, names)} >= {"nitrided", "hard-crn", "G-017", "N-187"}
    assert len(list(blind.site.rglob("rows/review-readings*.js"))) >= 3  # read by no page at first, and searched
    assert not (blind.site / "coatings").exists()
    assert not list(blind.site.rglob("decision.html")) + list(blind.site.rglob("plan.html"))
    assert not list(blind.site.rglob("*.csv")) + list(blind.site.rglob("datapackage.json"))


def test_pictures_of_it_hold_no_more_than_their_pixels(blind: Published) -> None:
    pictures = [*blind.site.rglob("*.png"), *blind.site.rglob("*.jpg")]
    assert pictures
    for path in pictures:
        with Image.open(path) as image:
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi", "srgb", "gamma"}
            assert not image.getexif()


def test_one_ink_and_one_point_for_all(blind: Published, examples: Published) -> None:
    def looks(site: Path) -> set[str]:
        pages = "".join(path.read_text("utf-8") for path in site.rglob("*.html"))
        return set(re.findall(r'class="[^"]*\bcoating-(\d)', pages))

    assert looks(blind.site) == {"1"}
    assert looks(examples.site) > {"0"}


def numbers(path: Path) -> list[str]:
    page = re.sub(
        r"<script.*?</script>|<footer.*|<[^>]+>", " ", path.read_text("utf-8").partition("<main")[2], flags=re.S
    )
    return re.findall(r"\d[\d.]*", html.unescape(page))


def test_the_numbers_of_cylinders_are_those_of_the_open_site(blind: Published, examples: Published) -> None:
    pages = sorted(blind.site.rglob("cylinder-*.html"))
    assert len(pages) == 52
    for path in pages:
        mine, open_ = numbers(path), numbers(examples.site / path.relative_to(blind.site))
        assert len(mine) > 200
        strange = [each for each in set(mine) if mine.count(each) > open_.count(each)]
        # where an engine holds several coatings the open page tells neighbours apart by them: "2 and 4", "1 and 3"
        assert len(strange) <= (4 if "2025" in path.as_posix() else 0), (path, strange)
        assert len(mine) > 0.85 * len(open_), path


def test_it_names_the_same_results_and_writes_none(blind: Published, examples: Published) -> None:
    for program in ("pump-rings-2025", "pump-rings-2026"):
        pages = [
            (site / "programs" / program / "index.html").read_text("utf-8") for site in (blind.site, examples.site)
        ]
        found = [re.findall(r"results ([0-9a-f]{7})", page) for page in pages]
        assert set(found[0]) == set(found[1])
        assert len(set(found[0])) == 1
        assert "Changed since the last commit" not in pages[0]
    assert "no results were written" in blind.out


def test_results_that_are_not_there_are_not_made(tmp_path: Path) -> None:
    programs = plain(tmp_path)
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--blind"]) == 0
    assert not (programs / "pump" / "results").exists()


# ---- who shares a coating -------------------------------------------------------------------------------------------


def _swapped(conclusion: workflow.Conclusion) -> workflow.Conclusion:
    """The same results of cylinders, had other cylinders shared a coating."""
    analysis = conclusion.analysis
    program = analysis.program
    other = {"nitrided": "hard-crn", "hard-crn": "nitrided"}

    def turned(engine: str, cylinder: int, coating: str) -> str:
        return other[coating] if engine == "A1" and cylinder in {1, 2} else coating

    def key(of: Key) -> Key:
        return of._replace(coating=turned(of.engine, of.cylinder, of.coating)) if of.cylinder else of

    builds = tuple(
        replace(build, places=tuple(replace(p, coating=turned(build.id, p.cylinder, p.coating)) for p in build.places))
        for build in program.builds
    )
    assert builds[0] != program.builds[0]
    values = {(name, key(of)): replace(each, key=key(of)) for (name, of), each in analysis.values.items()}
    return replace(
        conclusion,
        analysis=analysis.but(
            program=replace(program, builds=builds),
            values=dict(sorted(values.items(), key=lambda each: each[0][1].coating)),
            verdicts=tuple(replace(each, key=key(each.key)) for each in analysis.verdicts),
            series=tuple(each.but(key=key(each.key)) for each in analysis.series),
        ),
    )  # fmt: skip


def test_nothing_shows_which_cylinders_of_an_engine_share_a_coating(analysed: Analysed) -> None:
    """The same blinded program and values, in the same order, whichever cylinders share one."""
    folder = analysed.examination.folder
    assert folder is not None
    one = next(each for each in analysed.conclusions if each.analysis.program.id == "pump-rings-2025")
    seen = []
    for each in (one, _swapped(one)):
        alone = replace(folder, programs=[each.analysis.program])
        blind, (analysis,), _ = blinding.blinded(alone, [each.analysis])
        told = sorted(map(digest, analysis.values.values()))
        cylinders = [of for of in analysis.values.values() if of.key.cylinder]
        order = [(of.key.engine, of.key.cylinder) for of in cylinders]
        assert order == sorted(order)
        assert {of.key.coating for of in analysis.values.values()} == {"", blinding.COVERED.id}
        series = [(one.id, one.key, one.frame) for one in analysis.series]
        assert len(series) > 40
        seen.append((digest(blind.programs), told, digest(analysis.verdicts), digest(series)))
    assert seen[0] == seen[1]


def test_a_value_of_rings_that_share_a_coating_says_why_it_is_not_there(blind: Published) -> None:
    page = (blind.site / "programs" / "pump-rings-2025" / "a1" / "index.html").read_text("utf-8")
    assert "it is of the rings of one coating together, which blinded reviewers are not shown" in page


# ---- names in every text of a program -------------------------------------------------------------------------------


def _replaced(path: Path, *pairs: tuple[str, str]) -> None:
    text = path.read_text("utf-8")
    for old, new in pairs:
        assert old in text, (path, old)
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def wordy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A program that names its coatings in remarks, captions, titles, notes, headers and names of files."""
    programs = fewer(tmp_path_factory.mktemp("wordy"))
    home = programs / "pump-rings-2025"
    shutil.rmtree(home / "results")
    (home / "records" / "leakdown-a1.csv").rename(home / "records" / "leakdown-hard-crn.csv")
    (home / "images" / "a1-2-ring.jpg").rename(home / "images" / "h022.jpg")
    (home / "images" / "order.csv").write_text("lot\nH-022\n", encoding="utf-8")
    _replaced(
        home / "program.yaml",
        ("leakdown-a1.csv", "leakdown-hard-crn.csv"), ("title: Pump rings 2025", "title: Hard against nitrided, 2025"),
        ("title: cold build", "title: cold build of lot N187"),
        ("    cell: south", "    cell: south\n    title: the one with NITRIDED rings\n    note: ring 2 is of H 022"),
        ("title: bores and crankshaft", "title: bores and nitrided crankshaft"),
        ("notes: notes.md", "notes: notes.md\nreview: {causes: {odd: 'ring of N-187', gauge: gauge}, blinded: true}"),
    )  # fmt: skip
    _replaced(
        programs / "definitions.yaml", ("title: cell tester, 0.040 in", "title: tester for hard chromium-nitride")
    )
    _replaced(
        home / "records" / "inspection-a1.csv",
        ("images/a1-2-ring.jpg", "images/h022.jpg"),
        ("Top ring face, back of the gap. Band 0.33", "Hard-CrN, band 0.33"),
        ("light,,,,2025-03-21,\n", "light,,,,2025-03-21,looks like \\u004e-187 & H\N{NON-BREAKING HYPHEN}022\n"),
    )  # fmt: skip
    _replaced(
        home / "records" / "leakdown-hard-crn.csv", ("80.0,75.3,", "80.0,85.3,"), ("operator,remark", "operator,H-022")
    )
    _replaced(home / "notes.md", ("## Caution", "[the order](images/order.csv)\n\n## Caution"))
    return programs


@pytest.fixture(scope="module")
def wordy_site(wordy: Path) -> Path:
    site = wordy.parent / "blind"
    assert main(["publish", str(wordy), "--to", str(site), "--blind"]) == 0
    return site


def test_names_are_found_in_every_text(wordy: Path, wordy_site: Path) -> None:
    others = {"h022", "n187", "h 022", "H\N{NON-BREAKING HYPHEN}022", "hard", "nitrided", "crn"}
    assert names_in(wordy_site, told_by(wordy) | others) == set()
    home = (wordy_site / "programs" / "pump-rings-2025" / "index.html").read_text("utf-8")
    assert "<title>pump-rings-2025</title>" in home  # in place of a title that names them
    assert not (wordy_site / "assets" / "files").exists()
    page = (wordy_site / "programs" / "pump-rings-2025" / "a1" / "cylinder-2.html").read_text("utf-8")
    assert blinding.WITHHELD in page
    assert page.count("<img") == 2  # a picture stays, whatever its file is called


def test_what_is_left_of_the_texts_is_shown(wordy_site: Path) -> None:
    data = (wordy_site / "programs" / "pump-rings-2025" / "data.html").read_text("utf-8")
    assert "leakdown-a2.csv" in data
    assert re.search(r"table-[0-9a-f]{8}", data)
    review = (wordy_site / "programs" / "pump-rings-2025" / "review.html").read_text("utf-8")
    assert '"gauge":"gauge"' in review.replace(" ", "")


def test_a_review_made_on_the_blind_site_is_read(wordy: Path, wordy_site: Path, tmp_path: Path) -> None:
    """Readings whose table is named after a coating are found again, and the results are those of the open site."""
    programs = Path(shutil.copytree(wordy, tmp_path / "programs"))
    page = (wordy_site / "programs" / "pump-rings-2025" / "review.html").read_text("utf-8")
    found = re.search(r"<script type=\"application/json\"[^>]*>(.*?)</script>", page, flags=re.S)
    assert found
    subjects = json.loads(found[1])
    (script,) = subjects["readings"]
    told = (wordy_site / "programs" / "pump-rings-2025" / script).read_text("utf-8")
    groups = json.loads(told.removeprefix("sitegenReadings(").removesuffix(");\n"))["places"]["place.a1.2"]
    reading = next(name for _, own in groups for name, _ in own if name.startswith("table-"))
    folder = programs / "pump-rings-2025" / "reviews"
    folder.mkdir()
    (folder / "one.yaml").write_text(
        f'format: 1\nprogram: "pump-rings-2025"\nreviewer: "M. S."\non: "2026-06-01"\n'
        f'results: "{subjects["results"]}"\nitems:\n'
        f'  - {{"reading": "{reading}", "says": "objects", "cause": "gauge", "why": "of the hard ones?"}}\n',
        encoding="utf-8",
    )
    examination = workflow.examine(programs)
    assert [each for each in examination.problems if each.code.startswith("review")] == []
    assert examination.folder is not None
    program = examination.folder.programs[0]
    item = program.reviews[0].items[0]
    assert item.reading.startswith("leakdown-hard-crn:")
    assert uncovered(program, item.reading) == item.reading
    assert uncovered(program, "leakdown-a2:5") == "leakdown-a2:5"
    site, open_ = tmp_path / "blind", tmp_path / "open"
    for to, more in ((site, ["--blind"]), (open_, [])):
        assert main(["publish", str(programs), "--to", str(to), *more]) == 0
    pages = [(to / "programs" / "pump-rings-2025" / "review.html").read_text("utf-8") for to in (site, open_)]
    assert reading in pages[0]
    assert item.reading not in pages[0]
    assert "of the hard ones?" not in pages[0]
    assert item.reading in pages[1]
    assert f'"results":"{subjects["results"]}"' in pages[1].replace(" ", "")
    assert names_in(site, told_by(programs) | {"hard"}) == set()


def test_notes_that_name_none_stay_without_their_files(tmp_path: Path) -> None:
    programs = plain(tmp_path)
    home = programs / "pump"
    (home / "notes.md").write_text("Rings were washed, see [the order](order.csv).\n", encoding="utf-8")
    (home / "order.csv").write_text("lot\nN-204\n", encoding="utf-8")
    with (home / "program.yaml").open("a", encoding="utf-8") as file:
        file.write("\nnotes: notes.md\n")
    sites = [tmp_path / "blind", tmp_path / "open"]
    for to, more in zip(sites, (["--blind"], []), strict=True):
        assert main(["publish", str(programs), "--to", str(to), *more]) == 0
        page = (to / "programs" / "pump" / "index.html").read_text("utf-8")
        assert "Rings were washed" in page
        assert "the order" in page
    assert names_in(sites[0], {"N-204", "order.csv"}) <= {("index.html", "order.csv")}
    assert [(to / "assets" / "files").exists() for to in sites] == [False, True]


# ---- refused, and beside open sites ---------------------------------------------------------------------------------


def test_an_id_that_names_a_coating_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = plain(tmp_path)
    _replaced(programs / "pump" / "program.yaml", ("id: B2", "id: N-204"))
    site = tmp_path / "site"
    assert main(["publish", str(programs), "--to", str(site), "--blind", "--format", "json"]) == 1
    said = capsys.readouterr()
    assert json.loads(said.out) == {"format": 1, "published": False}
    assert 'index.html: "N-204"' in said.err
    assert "rename what says it. Nothing was written." in said.err
    assert not site.exists()


def test_a_theme_that_names_a_coating_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = plain(tmp_path)
    theme = tmp_path / "theme"
    theme.mkdir()
    (theme / "report.css").write_text("/* the nitrided ones grey */", encoding="utf-8")
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--theme", str(theme), "--blind"]) == 1
    assert '.css: "nitrided"' in capsys.readouterr().err
    (theme / "report.css").write_text("p { color: black }", encoding="utf-8")
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--theme", str(theme), "--blind"]) == 0


def test_ordinary_words_do_not_stop_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Coatings called plain, Cr, 7 and A, a lot like an assembly: pages keep words and ids of their own."""
    programs = plain(tmp_path)
    _replaced(
        programs / "definitions.yaml",
        ("nitrided: {title: nitrided", "plain: {title: A"),
        ("graded-crn: {title: graded chromium nitride", "Cr: {title: '7'"),
    )  # fmt: skip
    _replaced(
        programs / "pump" / "program.yaml",
        ("nitrided", "plain"), ("graded-crn", "Cr"), ("title: four pulls", "title: pulls of the plain ones"),
        ("title: cold build", "title: a cold build"), ("lot: N-204", "lot: A-1"),
    )  # fmt: skip
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--blind"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"not searched for: (.*?);|not searched for: (.*?)\. Open", said)
    page = (tmp_path / "site" / "programs" / "pump" / "index.html").read_text("utf-8")
    assert "plain ones" not in page
    assert "a cold build" in page


def test_open_and_blind_pages_are_not_mixed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither by what is kept, nor in a folder: the same folder turns from blind to open, and not back."""
    programs = plain(tmp_path)
    site, other = tmp_path / "site", tmp_path / "other"

    def publish(to: Path, *more: str) -> int:
        return main(["publish", str(programs), "--to", str(to), *more])

    def files(of: Path) -> dict[str, bytes]:
        return {p.relative_to(of).as_posix(): p.read_bytes() for p in of.rglob("*") if p.is_file() and p.name[0] != "."}

    assert publish(site, "--blind") == 0
    blind = files(site)
    assert publish(site, "--blind") == 0
    assert "No page made anew" in capsys.readouterr().out
    assert publish(other) == 0
    capsys.readouterr()
    assert publish(site, "--blind") == 0  # whose numbers are those of the results that lie there now
    assert "pump/results/comparisons.csv" in capsys.readouterr().out
    assert files(site) == blind
    fresh = tmp_path / "fresh"
    assert publish(fresh, "--blind", "--no-cache") == 0
    assert files(fresh) == blind
    assert publish(site) == 0
    assert {name: own for name, own in files(site).items() if name.endswith(".html")} == {
        name: own for name, own in files(other).items() if name.endswith(".html")
    }
    capsys.readouterr()
    assert publish(site, "--blind") == 1
    assert "this site names the coatings" in capsys.readouterr().err
    assert publish(tmp_path / "third", "--blind", "--sheet") == 2


def test_a_program_with_errors_is_not_published_blind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs = plain(tmp_path)
    _replaced(programs / "pump" / "program.yaml", ("phase: pulls", "phase: pul"))
    assert main(["publish", str(programs), "--to", str(tmp_path / "site"), "--blind"]) == 1
    assert "Nothing was written." in capsys.readouterr().err
    assert not (tmp_path / "site").exists()
