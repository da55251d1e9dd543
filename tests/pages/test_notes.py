"""Notes in Markdown do no harm: text never becomes markup or script, and a link leads somewhere or is told."""

from __future__ import annotations

import hashlib
import io
import re
import shutil
from pathlib import Path

import pytest
from house import PROGRAMS
from PIL import Image

from sitegen import cli
from sitegen.pages import linkcheck
from sitegen.pages.notes import as_html
from sitegen.vocabulary import Problem
from sitegen.workflow import examine


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[a](javascript:alert(1))",
        "[a](JaVaScRiPt:alert(1))",
        "[a](javascript&colon;alert(1))",
        "[a](java\tscript:alert(1))",
        "[a](<java\\script:alert(1)>)",
        "[a](data:text/html,<script>)",
        "[a](vbscript:x)",
        "[a](file:///etc/passwd)",
        "[a](//elsewhere)",
        "![a](https://example.org/x.png)",
        "![a](javascript:alert(1))",
        "[![a](javascript:alert(1))](javascript:alert(1))",
        "![[a](javascript:alert(1))](javascript:alert(1))",
        "<javascript:alert(1)>",
        '[a](https://example.org "\\" onmouseover=\\"alert(1)")',
        "[a]: javascript:alert(1)\n\n[a]",
        "| a |\n|---|\n| <b onclick=x> [a](javascript:x) |",
        "```html\n<script>\n```",
    ],
)
def test_nothing_harmful_gets_through(text: str) -> None:
    html = str(as_html(text))
    for part in (
        "<script",
        "<img",
        "<b ",
        'href="java',
        'href="data',
        'href="vb',
        'href="file',
        'href="//',
        '" onmouse',
    ):
        assert part not in html, html
    assert set(re.findall(r'href="([^"]*)"', html)) <= {"https://example.org"}


def test_what_is_meant_gets_through() -> None:
    html = str(as_html("# T\n\n## A\n\n- *one* `two`\n\n[w](https://example.org) [m](mailto:a@example.org)\n", "T"))
    assert "<h1" not in html
    assert "<h3>A</h3>" in html
    assert '<a rel="external noreferrer" href="https://example.org">w</a>' in html
    assert '<a rel="external noreferrer" href="mailto:a@example.org">m</a>' in html
    assert "<em>one</em>" in html


@pytest.mark.parametrize(
    "text",
    ["[a *b* c](nowhere.pdf)", "[a](two%20words.pdf)", '[a](x.pdf "said")', "<ftp://example.org>", "![a](b.jpg)"],
)
def test_what_leads_nowhere_is_printed_as_it_was_written(text: str) -> None:
    bare = re.sub(r"<[^>]+>", "", str(as_html(text)).replace("<em>", "*").replace("</em>", "*"))
    assert bare.strip().replace("&quot;", '"').replace("&lt;", "<").replace("&gt;", ">") == text.replace("%20", " ")


# ---- links into the program's folder and the site -------------------------------------------------------------------


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A program of the examples, with files that its notes may name."""
    shutil.copytree(PROGRAMS, tmp_path / "programs", ignore=shutil.ignore_patterns("pump-rings-2026"))
    program = tmp_path / "programs" / "pump-rings-2025"
    (program / "papers").mkdir()
    (program / "papers" / "Order No. 7 (copy).pdf").write_bytes(b"%PDF-1.4 order")
    (program / "papers" / "ring.exe").write_bytes(b"MZ")
    (program / "papers" / "page.html").write_bytes(b"<script>alert(1)</script>")
    (program / "papers" / "torn.jpg").write_bytes(b"\xff\xd8\xff\xe0 torn")
    (program / ".secret.txt").write_bytes(b"not for anybody")
    (tmp_path / "programs" / "beside.txt").write_bytes(b"beside")
    (program / "papers" / "way-out.txt").symlink_to(tmp_path / "programs" / "beside.txt")
    return program


def write(program: Path, text: str) -> None:
    (program / "notes.md").write_text(text, encoding="utf-8")


def told(program: Path) -> list[Problem]:
    """What is wrong with the notes; nothing else is in this program."""
    found = examine(program)
    assert not found.blocked
    assert all(each.file == "pump-rings-2025/notes.md" and each.level == "warning" for each in found.problems)
    return list(found.problems)


def published(program: Path, capsys: pytest.CaptureFixture[str]) -> tuple[Path, str]:
    """The site, and the notes on the program page."""
    site = program.parents[1] / "site"
    assert cli.main(["publish", str(program.parent), "--to", str(site)]) == 0
    capsys.readouterr()
    page = (site / "programs" / "pump-rings-2025" / "index.html").read_text(encoding="utf-8")
    return site, page[page.index(' id="notes"') :]


def test_a_file_is_published_beside_the_site_and_linked(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = "papers/Order No. 7 (copy).pdf"
    write(home, f"See [the order](<{name}#page=2>) and [again]({name.replace(' ', '%20')}).")
    assert told(home) == []
    site, notes = published(home, capsys)
    digest = hashlib.sha256(b"%PDF-1.4 order").hexdigest()[:12]
    path = f"assets/files/order-no-7-copy-{digest}.pdf"
    assert (site / path).read_bytes() == b"%PDF-1.4 order"
    assert f'<a href="../../{path}#page=2">the order</a>' in notes
    assert f'<a href="../../{path}">again</a>' in notes


def test_a_picture_is_shown_small_and_opens_whole_without_its_metadata(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    exif = Image.Exif()
    exif[0x013B] = "SECRET-9137"  # EXIF 2.3, tag 315 Artist
    out = io.BytesIO()
    Image.new("RGB", (1200, 300), "teal").save(out, "JPEG", exif=exif)
    (home / "images" / "bench.jpg").write_bytes(out.getvalue())
    write(home, '![the bench](images/bench.jpg "at night")\n\n[it](images/bench.jpg), [![b](images/bench.jpg)](x.pdf)')
    site, notes = published(home, capsys)
    image = re.search(r'<a href="([^"]+)"><img ([^>]+)></a>', notes)
    assert image is not None
    for said in ('alt="the bench"', 'title="at night"', 'width="600"', 'height="150"', 'loading="lazy"'):
        assert said in image[2]
    whole = (site / "programs" / "pump-rings-2025" / image[1]).resolve()
    with Image.open(whole) as shown:
        assert shown.size == (1200, 300)
    assert f'<a href="{image[1]}">it</a>' in notes
    assert not any(b"SECRET-9137" in file.read_bytes() for file in site.rglob("*") if file.is_file())


def test_pages_are_linked_by_their_subject(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(
        home,
        "[b](build:A2) [c](cylinder:A2/3) [s](coating:nitrided) [p](program:pump-rings-2025) "
        "[m](measure:leakdown.area) <build:A1>",
    )
    assert told(home) == []
    _, notes = published(home, capsys)
    assert re.findall(r'<a href="([^"]+)">', notes)[:6] == [
        "a2/index.html", "a2/cylinder-3.html", "../../coatings/nitrided.html", "index.html",
        "../../methods.html#leakdown-area", "a1/index.html",
    ]  # fmt: skip


FAULTS = {
    "[x](nowhere.pdf)": ("missing", "is not there"),
    "[x](records/leakdown-a9.csv)": ("missing", "is not there"),
    "[x](../beside.txt)": ("outside-folder", "leaves the program's folder"),
    "[x](papers/way-out.txt)": ("outside-folder", "through a link"),
    "[x](/etc/passwd)": ("path-not-plain", "not written from"),
    "[x](//elsewhere/x.pdf)": ("path-not-plain", "not written from"),
    "[x](papers%5Corder.pdf)": ("path-not-plain", "not written from"),
    "[x](papers)": ("not-a-file", "not a plain file"),
    "[x](.secret.txt)": ("hidden-file", "hidden"),
    "[x](papers/ring.exe)": ("file-of-no-kind", "not published"),
    "[x](papers/page.html)": ("file-of-no-kind", "not published"),
    "[x](results/measures.csv)": ("result-file", "may change"),
    "[x](papers/torn.jpg)": ("image-", "is "),
    "![x](papers/torn.jpg)": ("image-", "is "),
    "![x](records/leakdown-a1.csv)": ("image-of-no-kind", "is not an image"),
    "![x](https://example.org/x.png)": ("picture-outside", "outside"),
    "[x](javascript:alert)": ("link-of-no-kind", "no kind"),
    "[x](C:/order.pdf)": ("link-of-no-kind", "no kind"),
    "[x](#leak)": ("link-to-anchor", "anchor"),
    "[x](build:B9)": ("unknown-subject", "no build"),
    "[x](cylinder:A1/9)": ("unknown-subject", "no cylinder"),
    "[x](measure:leakdown.aera)": ("unknown-subject", "no measure"),
}


def test_each_link_that_leads_nowhere_is_told_with_its_line(home: Path) -> None:
    table = "\n\n| a |\n|---|\n| b |\n| [x](lost.pdf) |\n"
    write(home, "# Notes\n\nfirst line\nof two " + "\n\n".join(FAULTS) + table)
    found = told(home)
    assert [each.line for each in found] == [4 + 2 * i for i in range(len(FAULTS))] + [7 + 2 * len(FAULTS)]
    for each, (code, what) in zip(found, FAULTS.values(), strict=False):
        assert each.code.startswith(f"notes-{code}"), each
        assert what in each.what
        assert each.next_step
    near = {each.line: each.nearest for each in found if each.nearest}
    assert any(name.startswith("records/leakdown-a") for name in near.values())
    assert "leakdown.area" in near.values()


def test_what_leads_nowhere_is_on_the_data_page_and_breaks_nothing(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(home, "\n\n".join(FAULTS))
    site = home.parents[1] / "site"
    assert cli.main(["publish", str(home.parent), "--to", str(site)]) == 0
    assert f"{len(FAULTS)} links of notes lead nowhere" in capsys.readouterr().out
    assert cli.main(["check", str(home.parent), "--strict"]) == 1
    notes = (site / "programs" / "pump-rings-2025" / "index.html").read_text(encoding="utf-8")
    notes = notes[notes.index(' id="notes"') : notes.index("</section>", notes.index(' id="notes"'))]
    assert "<a " not in notes
    assert "<img" not in notes
    data = (site / "programs" / "pump-rings-2025" / "data.html").read_text(encoding="utf-8")
    assert "nowhere.pdf" in data
    assert "Every reading is used." in data
    assert not list(site.rglob("*beside*"))


def test_notes_that_are_not_utf_8(home: Path) -> None:
    (home / "notes.md").write_bytes("one\ntwo\nB\u00fcchse".encode("latin-1"))
    (found,) = told(home)
    assert (found.code, found.line) == ("notes-not-utf-8", 3)


def test_a_link_outwards_is_let_through_from_notes_only() -> None:
    linkcheck.check({"a.html": b'<a rel="external noreferrer" href="https://example.org/">x</a>'})
    for strange in (b'<a href="https://example.org/">', b'<a rel="external noreferrer" href="javascript:x">'):
        with pytest.raises(linkcheck.DeadLinkError):
            linkcheck.check({"a.html": strange})
