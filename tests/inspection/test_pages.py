"""Inspections on published pages: pictures as files without metadata, and text that stays text whatever it says."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from house import PROGRAMS
from PIL import ExifTags, Image

from sitegen import registry
from sitegen.cli import main
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Images, Table, Text
from sitegen.page.view import Desk, View
from sitegen.pages.gallery import Gallery, scale_of
from sitegen.program.model import Folder
from sitegen.streams.inspection.sections import cylinder_inspection, engine_inspection
from sitegen.workflow import Conclusion

WRITTEN = "WRITTEN-9137"
NASTY = {
    "place": '"><img src=x onerror=hit()>',
    "inspector": "=cmd|'/c hit'!A1 & <b onclick=hit()>O'Neil",
    "caption": "</figcaption></figure><script>hit()</script>{{ 7*7 }}",
    "remark": "<svg/onload=hit()> javascript:hit() &lt;b&gt; ]]>",
}
FILE = 'images/"><svg onload=hit()> a#b?c%2e.png' if os.name != "nt" else "images/odd '&;#b%2e.png"
TEARDOWN = "pump-rings-2025/records/inspection-a1.csv"
PAGE = Path("programs/pump-rings-2025/a1/cylinder-1.html")


@dataclass
class Made:
    programs: Path
    site: Path
    said: str


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The program of 2025 with rows and pictures that would harm careless pages, published."""
    work = tmp_path_factory.mktemp("inspection")
    programs = work / "programs"
    shutil.copytree(PROGRAMS / "pump-rings-2025", programs / "pump-rings-2025")
    shutil.copy(PROGRAMS / "definitions.yaml", programs)
    images = programs / "pump-rings-2025" / "images"
    exif = Image.Exif()
    exif[ExifTags.Base.Artist] = WRITTEN
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = WRITTEN
    Image.new("RGB", (1400, 900), (90, 90, 120)).save(images / "phone.jpg", exif=exif)
    Image.new("L", (30, 90), 90).save(programs / "pump-rings-2025" / FILE, "PNG")
    (images / "page.png").write_text("<html><script>hit()</script></html>")
    path = programs / TEARDOWN
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    plain = {**rows[0], "image": "", "caption": "", "band_share [%]": "", "band_width [mm]": ""}
    rows.append({**plain, **NASTY, "image": FILE, "image_width [mm]": "1.2"})
    rows.append({**plain, "place": "crown", "image": "images/phone.jpg", "image_width [mm]": ""})
    rows.append({**plain, "place": "skirt", "image": "images/page.png", "image_width [mm]": "3"})
    rows.append({**plain, "place": "land", "image": "../../definitions.yaml", "image_width [mm]": "3"})
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    out = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(out):
        assert main(["publish", str(programs), "--to", str(work / "site")]) == 0
        patch.setenv("SITEGEN_CACHE", str(work / "no cache yet"))
        assert main(["publish", str(programs), "--to", str(work / "again")]) == 0
    return Made(programs, work / "site", out.getvalue())


@dataclass
class Seen(HTMLParser):
    """Elements with their attributes, and the text a reader sees."""

    elements: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    text: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def parsed(path: Path) -> Seen:
    seen = Seen()
    seen.feed(path.read_text(encoding="utf-8"))
    seen.close()
    return seen


def pictures(made: Made) -> list[Path]:
    return sorted((made.site / "assets" / "images").iterdir())


def test_what_cannot_be_shown_is_named_with_file_row_and_column(made: Made) -> None:
    said = [line for line in made.said.splitlines() if line.startswith(TEARDOWN)]
    assert len(said) == 4  # two publishes
    assert made.said.count("; 2 images are not shown, see the data pages.") == 2
    assert re.match(rf'{TEARDOWN}:\d+: warning: column "image": the image "images/page.png" is not an image', said[0])
    assert '"../../definitions.yaml" leaves the program\'s folder' in said[1]
    data = "".join(parsed(made.site / "programs/pump-rings-2025/data.html").text)
    assert 'the image "images/page.png" is not an image' in data


def test_text_never_becomes_markup(made: Made) -> None:
    pages = sorted(made.site.rglob("*.html"))
    found = 0
    for path in pages:
        seen = parsed(path)
        for _, attributes in seen.elements:
            assert not [name for name in attributes if name.startswith("on")], path
            for name in ("href", "src"):
                assert not (attributes.get(name) or "").lower().startswith(("javascript", "x"))
        for script in seen.of("script"):
            assert script.get("src") or script.get("type") == "application/json"
        found += "".join(seen.text).count("hit()")
    assert found >= 4
    text = "".join(parsed(made.site / PAGE).text)
    for said in NASTY.values():
        assert said in text
    assert {image["alt"] for image in parsed(made.site / PAGE).of("img") if NASTY["place"] in (image["alt"] or "")}


def test_result_tables_hold_no_formula(made: Made) -> None:
    with (made.programs / "pump-rings-2025" / "results" / "measures.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "@", "+", "\t"))]


def test_names_of_published_files_are_ours(made: Made) -> None:
    names = [path.name for path in pictures(made)]
    assert names
    assert all(re.fullmatch(r"[0-9a-f]{16}\.(png|jpg)", name) for name in names)
    links = {image["src"] for path in made.site.rglob("*.html") for image in parsed(path).of("img")}
    links |= {
        a["href"] for path in made.site.rglob("*.html") for a in parsed(path).of("a") if "images/" in str(a["href"])
    }
    assert {str(link).rpartition("/")[2] for link in links} == set(names)


def test_no_metadata_is_published(made: Made) -> None:
    for path in made.site.rglob("*"):
        if path.is_file():
            assert WRITTEN.encode() not in path.read_bytes(), path
    for path in pictures(made):
        with Image.open(path) as image:
            assert dict(image.getexif()) == {}
            assert "icc_profile" not in image.info


def test_the_same_bytes_again_without_a_cache(made: Made) -> None:
    again = made.site.parent / "again"
    files = {path.relative_to(made.site): path.read_bytes() for path in made.site.rglob("*") if path.is_file()}
    assert files == {path.relative_to(again): path.read_bytes() for path in again.rglob("*") if path.is_file()}


def test_pictures_are_lazy_sized_told_and_open_whole(made: Made) -> None:
    seen = parsed(made.site / PAGE)
    images = seen.of("img")
    assert len(images) == 3  # the committed one, the nasty one, the phone's
    for image in images:
        assert image["loading"] == "lazy"
        with Image.open((made.site / PAGE).parent / str(image["src"])) as small:
            assert (str(small.width), str(small.height)) == (image["width"], image["height"])
            assert small.width <= 600
        assert "A1 cylinder 1 at teardown" in str(image["alt"])
    whole = [a for a in seen.of("a") if "images/" in str(a.get("href"))]
    sizes = set()
    for a in whole:
        with Image.open((made.site / PAGE).parent / str(a["href"])) as full:
            sizes.add(full.size)
    assert sizes == {(900, 600), (30, 90), (1400, 900)}
    bars = [span for span in seen.of("span") if span.get("class") == "bar"]
    assert len(bars) == 2  # the phone's has no width, so no bar
    text = "".join(seen.text)
    assert "0.2 mm" in text
    assert "Without a bar the scale was not recorded." in text


@pytest.mark.parametrize(
    ("width", "length", "share"),
    [(1.0, "20 cm", 20), (8e-3, "2 mm", 25), (4.1e-3, "1 mm", 24.39), (1.8e-3, "0.2 mm", 11.11), (3e-4, "50 µm", 16.67),
     (4e-4, "0.1 mm", 25), (2e-5, "5 µm", 25), (2e-6, "0.5 µm", 25)],
)  # fmt: skip
def test_scale_bars_are_round_and_to_scale(width: float, length: str, share: float) -> None:
    # by hand: the bar's length over the picture's width
    found = scale_of(width)
    assert found is not None
    assert (found.length, found.share) == (length, share)


def test_no_width_no_bar() -> None:
    assert scale_of(None) is scale_of(float("nan")) is None


def test_a_picture_that_went_away_is_told_not_raised(tmp_path: Path) -> None:
    gallery = Gallery(str(tmp_path))
    assert gallery.put("program/images/gone.png") is None
    assert gallery.files == {}


def test_examples_show_the_narrow_band(concluded: dict[str, Conclusion]) -> None:
    analysis = concluded["pump-rings-2026"].analysis
    program = analysis.program
    folder = Folder(str(PROGRAMS), program.definitions, (program,))
    view = View(
        folder, registry.measures(), Addresses.of(folder), "index.html", Desk(analysis),
        program.build("B6"), 2,
    )  # fmt: skip
    table, images = cylinder_inspection(view)
    assert isinstance(table, Table)
    assert isinstance(images, Images)
    assert re.fullmatch(
        "At teardown the contact band of cylinder 2 covers 2\\d\\s% of the width of the top ring’s face; "
        "its neighbours’ bands cover 5\\d to 5\\d\\s%.",
        table.reading,
    )
    assert (len(table.rows), len(images.images)) == (8, 3)
    _, *agreements = engine_inspection(replace(view, cylinder=0))
    told = ["".join(cell.text for cell in block.cells) for block in agreements if isinstance(block, Text)]
    assert len(told) == 2
    assert "from 64 places" in told[1]
