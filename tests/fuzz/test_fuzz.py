"""Broken folders: a message or a result, in bounded time and memory, and every row accounted for."""

from __future__ import annotations

import os
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pytest

from fuzz import markup, texts
from fuzz.breaking import MAKERS, Broken, case
from fuzz.corpus import CORPUS
from fuzz.folders import Files, base, with_records
from fuzz.trial import tried
from sitegen import units
from sitegen.program import channels
from sitegen.reader.find import kind_of
from sitegen.reader.headers import parted
from sitegen.reader.numbers import PLAIN, dates, numbers
from sitegen.reader.pieces import blanks_to_tabs
from sitegen.reader.stamps import instants
from sitegen.reader.workbook import clean
from sitegen.traces.lines import _SAYS, _is_header
from sitegen.traces.points import unit_of

EACH = 30  # cases of each maker


@pytest.mark.parametrize("maker", range(len(MAKERS)))
def test_nothing_breaks_it(maker: int) -> None:
    """The seeds of a maker; a wrong one is tried again by `tried(case(seed))`."""
    outcomes = {seed: tried(case(seed)) for seed in range(maker, EACH * len(MAKERS), len(MAKERS))}
    assert {seed: each.wrong for seed, each in outcomes.items() if each.wrong} == {}


LATER = {  # seeds of long runs that once broke it
    4298: "a coating whose id is empty",
    8602: "a grade of 1e300, set aside, on the page of its cylinder",
    10105: "a Parquet log whose names of columns are no text",
    417178: "a source of metal without its elements",
    904490: "a row of nothing but a hard space",
    1019681: "a row of a worksheet with a control character, of which it holds none",
    1003138: "a coating that is a whole number written as a float",
}


@pytest.mark.parametrize("seed", LATER)
def test_what_long_runs_found(seed: int) -> None:
    assert tried(case(seed), publish=True).wrong == ""


@pytest.mark.parametrize("place", dict.fromkeys(texts.PLACES), ids=lambda place: place.__name__)
def test_a_text_stays_a_text(place: Callable[[Random, Files], Files]) -> None:
    """On every page, sheet and table of a program with such texts in a dozen places."""
    random = Random(place.__name__)  # noqa: S311
    files = texts.example(random) if place is texts.cells else base("plain")
    for _ in range(1 if place in {texts.folder, texts.ids, texts.anywhere} else 12):
        files = place(random, files)
    assert tried(Broken("texts", files), publish=True).wrong == ""


@pytest.mark.parametrize(
    "page",
    [
        f"<p><{texts.TAG}></p>", "<p onmouseover='x'>", "<a href='\njavascript:x'>", "<script>x</script>",
        f"<p x{texts.TAG}>", f"<!-- {texts.TAG} -->", "<iframe srcdoc='x'>", "<svg/onload=x>",
    ],
)  # fmt: skip
def test_what_is_no_text_is_seen(page: str) -> None:
    assert markup.of_page(page)


def test_what_is_ours_is_not_mistaken_for_it() -> None:
    ours = f'<script src="a.js"></script><script type="application/json">{{"a": "{texts.TAG}"}}</script>'
    assert markup.of_page(f'{ours}<p title="{texts.TAG}">&lt;{texts.TAG}&gt;<a href="#{texts.TAG}">on</a></p>') == []


def test_about_half_of_the_cases_are_analysed() -> None:
    """Else it is the first refusal alone that is tried."""
    found = Counter(tried(case(seed)).analysed for seed in range(40))
    assert 12 <= found[True] <= 36


@pytest.mark.parametrize("name", CORPUS)
def test_what_once_broke_it(name: str) -> None:
    assert tried(CORPUS[name][1]()).wrong == ""


def test_a_header_whose_unit_is_none_is_printed() -> None:
    """Limits of the cells of the empty table were sought in it."""
    table = b'engine,phase,what,since_shutdown [mi"n]\nB1,pulls,sample,3\n'
    files = with_records({**base("oil"), "pump/records/a.csv": table}, "oil", {"file": "records/a.csv"})
    outcome = tried(Broken("table csv", files), publish=True)
    assert (outcome.status, outcome.wrong) == (1, "")


@pytest.mark.parametrize("where", ["pump/records/leakdown.csv", "pump/program.yaml", "definitions.yaml"])
@pytest.mark.parametrize("what", ["pipe", "zero", "outside", "loop"])
def test_only_plain_files_are_opened(what: str, where: str, plain: Path) -> None:
    path = plain / where
    content = path.read_bytes()
    path.unlink()
    if what == "pipe":
        os.mkfifo(path)
    elif what == "zero":
        path.symlink_to("/dev/zero")
    elif what == "outside":
        (plain.parent / "elsewhere").write_bytes(content)
        path.symlink_to(plain.parent / "elsewhere")
    else:
        path.symlink_to(path)
    from sitegen.cli import main

    assert main(["check", str(plain)]) in {1, 2}


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    from house import plain as made

    return made(tmp_path)


def _cells(read: Callable[..., object]) -> Callable[[str], object]:
    return lambda text: read(np.array([text], dtype=object))


def _quantity(text: str) -> None:
    with pytest.raises(units.UnitError):
        units.parse(text, "length")


PATTERNS: dict[str, Callable[[str], object]] = {
    "a number": _cells(numbers),
    "a number with groups": _cells(lambda cells: numbers(cells, ",", ".")),
    "a date": _cells(lambda cells: dates(cells, "day first")),
    "a stamp": _cells(instants),
    "a plain number": PLAIN.fullmatch,
    "a header": parted,
    "what a cell holds": kind_of,
    "a unit": units.is_unit,
    "a quantity": _quantity,
    "a reference": channels._REFERENCE.search,
    "keys of a trace": lambda text: _SAYS.search(text),
    "headers of a trace": lambda text: _is_header(text),
    "the unit of a trace": lambda text: unit_of(text),
    "fields of a log": lambda text: blanks_to_tabs(text.encode()),
    "a cell of a workbook": clean,
}
HARD = ["7", " ", "(", "[", ";", "-", "1,", ".5", "1 ", "((,", "\u00a0", "_x000D_", "a:", "1:", "in ", "=+"]


@pytest.mark.parametrize("name", PATTERNS)
def test_patterns_take_a_time_in_proportion(name: str) -> None:
    """Ten times as long takes some ten times as long; what tried each way of cutting it took a hundred times."""
    for hard in HARD:
        for end in ("x", ")", ""):
            started = time.process_time()
            PATTERNS[name](hard * (300_000 // len(hard)) + end)
            assert time.process_time() - started < 1.5, (hard, end)
