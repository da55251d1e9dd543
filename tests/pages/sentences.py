"""Every computed sentence in one file that can be read aloud: of both examples, and of records of none, one and two.

`PYTHONPATH=tests python -m pages.sentences` writes `sentences.txt` anew; `test_sentences.py` holds pages against it.
A sentence that differs from one above it in its numbers alone stands once.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from html.parser import HTMLParser
from pathlib import Path

from house import copied, fewer

from sitegen.cli import main
from sitegen.page import words

FILE = Path(__file__).with_name("sentences.txt")
SIZES = (0, 1, 2)  # builds, and cylinders of each, that anything is recorded of
_BLOCKS = frozenset({"p", "h1", "h2", "h3", "summary", "figcaption", "caption", "li", "dd", "dt", "th", "small", "div",
                     "section", "table", "figure", "details", "td", "tr", "noscript"})  # fmt: skip
_KEPT = frozenset({"p", "h1", "h2", "summary", "figcaption", "caption", "li", "dd", "th", "small"})
_OUT = frozenset({"script", "style", "svg", "nav", "footer", "tbody", "button", "fieldset", "noscript"})
_VOID = frozenset({"br", "img", "input", "meta", "link", "path", "use", "hr"})
_NUMBER = re.compile(r"−?\d[\d.\u202f]*|\b[AB]\d\b")
_MOVES = re.compile(r"\b(results )?[0-9a-f]{7}\b")  # names of the results: they move with every reading


class _Sentences(HTMLParser):
    """What a page says in words, not what its tables and drawings hold; notes in cells are said too."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._open: list[str] = []
        self._text: list[str] = []

    def handle_starttag(self, tag: str, _: object) -> None:
        if tag in _BLOCKS:
            self._flush()
        if tag == "br":
            self._text.append(", ")
        if tag not in _VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in _BLOCKS:
            self._flush()
        while self._open and tag in self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        kept = [each for each in self._open if each in _BLOCKS]
        note = "small" in self._open
        if kept and kept[-1] in _KEPT and (note or not _OUT & set(self._open)):
            self._text.append(data)

    def _flush(self) -> None:
        text = " ".join("".join(self._text).split(" ")).strip()
        self._text.clear()
        if len(re.findall(r"[^\W\d]{2,}", text)) > 1 and not text.startswith("sha256"):
            self.said.append(re.sub(r"[ \n\t]+", " ", _MOVES.sub("#", text)))


def of_page(html: str) -> list[str]:
    """The sentences of a page in their order."""
    reader = _Sentences()
    reader.feed(html)
    return reader.said


def trimmed(to: Path, size: int) -> Path:
    """The smaller example with records of so many builds, and of so many cylinders of each; all rows of engines."""
    programs = fewer(to)
    own = programs / "pump-rings-2025"
    for path in own.glob("records/*.csv"):
        head, *rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
        columns = head.strip().split(",")
        kept = [row for row in rows if _within(dict(zip(columns, row.split(","), strict=False)), size)]
        path.write_text("".join([head, *kept]), encoding="utf-8")
    told = (own / "program.yaml").read_text(encoding="utf-8")
    told = re.sub(rf"    - file: logs/a[^0-{size}].*?(?=    - file|^\S|\Z)", "", told, flags=re.DOTALL | re.MULTILINE)
    (own / "program.yaml").write_text(
        told if "file: logs/" in told else told.replace("  runlog:\n", ""), encoding="utf-8"
    )
    return programs


def _within(row: dict[str, str], size: int) -> bool:
    return int(row["engine"][1:]) <= size and row.get("cylinder", "") in {"", *map(str, range(1, size + 1))}


def published(programs: Path, to: Path) -> Path:
    """The site of some programs."""
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        status = main(["publish", str(programs), "--to", str(to)])
    assert status == 0, said.getvalue()
    return to


def lines(sites: Iterable[tuple[str, Path]]) -> Iterator[str]:
    """The file, line by line: a heading a page, and below it what no page before it said."""
    yield "# Written by `PYTHONPATH=tests python -m pages.sentences`: each sentence once, as it is first met."
    seen: set[str] = set()
    for title, site in sites:
        pages = sorted(site.rglob("*.html"), key=lambda page: (len(page.relative_to(site).parts), str(page)))
        for page in pages:
            name = page.relative_to(site).as_posix()
            new = []
            for text in of_page(page.read_text(encoding="utf-8")):
                form = _NUMBER.sub("#", text)
                if form not in seen:
                    seen.add(form)
                    new.append(text)
            if new and name != "methods.html":  # not computed
                yield ""
                yield f"## {title}: {name}"
                yield from new


def text(examples: Path, folder: Path) -> str:
    """The whole file, from the published examples; what is published beside them lies in a folder."""
    sites = [("Examples", examples)]
    for size in SIZES:
        own = folder / f"of-{size}"
        own.mkdir()
        title = f"Records of {words.counted(size, 'build')}, {words.counted(size, 'cylinder')} of each"
        sites.append((title, published(trimmed(own, size), own / "site")))
    return "\n".join(lines(sites)) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        here = Path(made)
        FILE.write_text(text(published(copied(here), here / "site"), here), encoding="utf-8")
    sys.stdout.write(f"{FILE}\n")
