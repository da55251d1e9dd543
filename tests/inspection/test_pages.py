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
from house import PROGRAMS, Published
from PIL import ExifTags, Image

from sitegen import registry
from sitegen.cli import main
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Images, Table, Text
from sitegen.page.view import Desk, View
from sitegen.pages.gallery import Gallery, linear, not_alike_lit, scale_of
from sitegen.program.model import Folder
from sitegen.streams.inspection.sections import cylinder_inspection, cylinder_pictures, engine_inspection
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
    (table,) = cylinder_inspection(view)
    pair, images = cylinder_pictures(view)
    assert isinstance(table, Table)
    assert isinstance(pair, Images)
    assert isinstance(images, Images)
    assert (pair.place, len(pair.images)) == ("Bore, antithrust side, mid stroke: cold build and teardown", 2)
    assert re.fullmatch(
        "At teardown the contact band of cylinder 2 covers 2\\d\\s% of the width of the top ring’s face; "
        "its neighbours’ bands cover 5\\d to 5\\d\\s%.",
        table.reading,
    )
    assert (len(table.rows), len(images.images)) == (8, 2)
    _, *agreements = engine_inspection(replace(view, cylinder=0))
    told = ["".join(cell.text for cell in block.cells) for block in agreements if isinstance(block, Text)]
    (agree,) = told  # of inspectors who graded this build
    assert "from 64 places" in agree


def test_examples_show_a_place_before_and_after_and_say_where_it_does_not_compare(examples: Published) -> None:
    """B1: both 2.4 mm wide. B6: the width of the first was not written down."""
    site = examples.site / "programs" / "pump-rings-2026"
    for page, told in (("b1/cylinder-1.html", ""), ("b6/cylinder-2.html", "the width of a picture was not recorded")):
        text = (site / page).read_text(encoding="utf-8")
        (together,) = re.findall(r'<div id="[^"]*" class="pictures together">(.*?)</div>', text, re.DOTALL)
        assert together.count("<img") == 2
        assert together.index("As honed") < together.index("Honing grooves visible")
        assert "width:50" not in together
        said = " ".join("".join(parsed_text(text)).split())
        assert (f"Not comparable in size: {told}." if told else "") in said
        assert told or "Not comparable" not in said
        assert ".. " not in said


def _widths(site: Path, cylinder: int) -> tuple[str, str]:
    """The page of a cylinder as text, and the styles of its pictures in the rows that stand for one place."""
    page = (site / f"programs/pump-rings-2025/a1/cylinder-{cylinder}.html").read_text(encoding="utf-8")
    together = "".join(re.findall(r'<div id="[^"]*" class="pictures together">(.*?)</div>', page, re.DOTALL))
    return " ".join("".join(parsed_text(page)).split()), together


def parsed_text(page: str) -> list[str]:
    seen = Seen()
    seen.feed(page)
    return seen.text


def test_one_place_over_the_phases_stands_side_by_side_at_one_scale_or_says_why_not(tmp_path: Path) -> None:
    """By hand: 1.2 mm beside 2.4 mm is half as wide; sRGB code 188 is half the light of white (IEC 61966-2-1)."""
    programs = tmp_path / "programs"
    shutil.copytree(PROGRAMS / "pump-rings-2025", programs / "pump-rings-2025")
    shutil.copy(PROGRAMS / "definitions.yaml", programs)
    images = programs / "pump-rings-2025" / "images"
    for name, code in (("before", 200), ("after", 190), ("dark", 60), ("odd", 195)):
        Image.new("L", (400, 300), code).save(images / f"{name}.png")
    path = programs / TEARDOWN
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    plain = {**rows[0], "part": "bore", "image": "", "caption": "", "band_share [%]": "", "band_width [mm]": ""}

    def add(cylinder: str, phase: str, place: str, image: str, width: str) -> None:
        rows.append({**plain, "cylinder": cylinder, "phase": phase, "place": place, "image": f"images/{image}.png",
                     "image_width [mm]": width})  # fmt: skip

    add("1", "teardown", "Thrust side, top reversal", "after", "1.2")
    add("1", "cold-build", "thrust, top-reversal", "before", "2.4")
    add("2", "teardown", "thrust side, mid stroke", "dark", "2.4")
    add("2", "cold-build", "thrust side, mid stroke", "before", "")
    add("3", "teardown", "thrust side, mid stroke", "after", "0.4")
    add("3", "cold-build", "thrust side, mid stroke", "odd", "2.4")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 0
    said, together = _widths(tmp_path / "site", 1)
    assert "Bore, thrust side, top reversal: cold build and teardown" in said
    assert together.count("<img") == 2
    assert re.findall(r"width:50.0%", together) == ["width:50.0%"]  # the narrower field of view, and no other
    assert together.index("Cold build") < together.index("Teardown")
    assert "Not comparable" not in said
    said, together = _widths(tmp_path / "site", 2)
    assert "Not comparable in size: the width of a picture was not recorded." in said
    assert re.search(
        r"Not comparable in brightness: one is 12\.\d times as bright as another", said
    )  # 0.578 over 0.045
    said, together = _widths(tmp_path / "site", 3)
    assert "Not comparable in size: one shows 0.400 mm, another 2.40 mm." in said
    assert "brightness" not in said
    for page in (tmp_path / "site").rglob("cylinder-*.html"):
        shown = [image["src"] for image in parsed(page).of("img")]
        assert len(shown) == len(set(shown)), page  # no picture twice


@pytest.mark.parametrize(("lights", "told"), [((0.5, 0.26), False), ((0.5, 0.24), True), ((0.5,), False), ((), False)])
def test_pictures_more_than_a_stop_apart_are_not_compared_by_light(lights: tuple[float, ...], told: bool) -> None:
    assert bool(not_alike_lit(lights)) is told


def test_light_is_what_srgb_code_values_stand_for() -> None:
    """IEC 61966-2-1:1999: code 188 of 255 is half the light of white, 118 a fifth (18 % grey card; from memory)."""
    assert linear(188 / 255) == pytest.approx(0.5, abs=0.005)
    assert linear(118 / 255) == pytest.approx(0.18, abs=0.003)
