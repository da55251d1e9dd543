"""What the pages say of oil is true where intervals overlap and where no balance can be made."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

import pytest
from house import ROOT

from sitegen.cli import main
from sitegen.streams.oil.sections import _largest
from sitegen.vocabulary import Key, Value


def share(at: str, value: float | None, low: float | None, high: float) -> Value:
    key = Key("B3", 0, "", "run", at)
    return Value("wear.from_source", key, value, low, high, status="below" if value is None else "ok")


def said(*found: Value) -> str:
    return _largest(found, [each for each in found if each.value is not None], lambda at: at)


def test_the_largest_share_names_whatever_may_be_larger() -> None:
    """11.1 (5.8 to 16.4) mg is not shown to be more than 10.6 (5.6 to 15.7), nor than at most 7."""
    faces, bores = share("ring faces", 11.1, 5.8, 16.4), share("bores", 10.6, 5.6, 15.7)
    start = "The largest share of the metal is put down to "
    assert said(faces, bores) == f"{start}ring faces, together with bores: which of them gave most cannot be told."
    assert said(faces, share("pistons", None, None, 7.0)).startswith(f"{start}ring faces, together with pistons")
    assert said(faces, share("bores", 3.0, 1.0, 5.0), share("pistons", None, None, 2.0)) == f"{start}ring faces."


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of a build whose program does not say what its fresh oil holds."""
    home = tmp_path_factory.mktemp("untold") / "oil"
    shutil.copytree(ROOT / "tests" / "accepted" / "oil", home)
    path = home / "definitions.yaml"
    kept = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.strip().startswith("fresh")]
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    assert main(["publish", str(home), "--to", str(home.parent / "site")]) == 0
    texts = [each.read_text(encoding="utf-8") for each in (home.parent / "site").rglob("b1/index.html")]
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", texts[0])))


def test_a_balance_that_cannot_be_made_says_why(page: str) -> None:
    assert "No metal of wear is told from what fresh oil brings" not in page
    assert "wear made cannot be told: the program file does not say how much of it the fresh oil holds." in page
    assert re.search(r"The samples hold up to [0-9.]+ mg/kg of iron\.", page.replace("\u00a0", " "))
    assert "Metal made since the first fill, up to each sample" not in page  # no empty drawing


@pytest.mark.parametrize(
    ("added", "said"),
    [
        ("{Sn: 90 %}", "Nothing can be put down to plating (Sn): no metal that it holds was told in the oil."),
        ("{Sn: 60 %, Fe: 40 %}", ""),
    ],
)
def test_a_source_without_a_metal_of_those_found_is_named(added: str, said: str, tmp_path: Path) -> None:
    home = tmp_path / "oil"
    shutil.copytree(ROOT / "tests" / "accepted" / "oil", home)
    path = home / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count("  sources:\n") == 1
    entry = f"  sources:\n    - {{id: plating, title: plating, elements: {added}}}\n"
    path.write_text(text.replace("  sources:\n", entry), encoding="utf-8")
    assert main(["publish", str(home), "--to", str(tmp_path / "site")]) == 0
    pages = [each.read_text(encoding="utf-8") for each in (tmp_path / "site").rglob("b*/index.html")]
    told = [re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", each))) for each in pages]
    assert any(said in each for each in told)
    assert any("Nothing can be put down" in each for each in told) == bool(said)


@pytest.mark.parametrize(
    ("planned", "said"),
    [(", oil]", "The planned sample was drawn"), ("]", "One sample was drawn, none planned")],
)
def test_only_what_is_planned_is_called_planned(tmp_path: Path, planned: str, said: str) -> None:
    home = tmp_path / "oil"
    shutil.copytree(ROOT / "tests" / "accepted" / "oil", home)
    path = home / "pump" / "program.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count("records: [leakdown, oil]") == 1
    path.write_text(text.replace("records: [leakdown, oil]", f"records: [leakdown{planned}"), encoding="utf-8")
    assert main(["publish", str(home), "--to", str(tmp_path / "site")]) == 0
    pages = " ".join(each.read_text(encoding="utf-8") for each in (tmp_path / "site").rglob("b1/index.html"))
    found = re.findall(r"[A-Z][a-z ]*samples? (?:was|were) drawn[a-z, ]*", pages)
    assert found == [said]
