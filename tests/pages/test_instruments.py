"""The page of instruments: what it counts, what it says is due or off, and that it is made for blinded reviewers."""

from __future__ import annotations

import csv
import html
import re
from pathlib import Path

from house import Published, plain

from sitegen.cli import main

DATED = "      - {on: 2026-01-12, due: 2027-01-12}\n"
HEADER = "Build,Check,Cyl,Supply,Gauge,Crank,Day,With"


def cells(page: str, table: str) -> list[list[str]]:
    """Texts of the cells of a table, with single blanks."""
    body = page.split(f'id="{table}"')[1].split("</table>")[0].split("<tbody>")[1]
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL) for row in body.split("</tr>") if "<t" in row]
    return [[_text(cell) for cell in row] for row in rows]


def _text(piece: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", piece)).split())


def lead(page: str) -> str:
    return _text(page.split('class="lead-in">')[1].split("</p>")[0])


def published(to: Path, testers: str, rows: tuple[str, ...] = ("B1,cold-build,1,80,72,tdc,2026-05-04,T1",)) -> str:
    """The page of the plain program with these calibrations of T1, and with these readings."""
    programs, site = plain(to), to / "site"
    (programs / "pump" / "records" / "leakdown.csv").write_text("\n".join([HEADER, *rows, ""]), "utf-8")
    change(programs / "definitions.yaml", DATED, testers)
    columns = "        pressure: {header: Gauge, unit: psig}\n"
    change(programs / "pump" / "program.yaml", columns, f"{columns}        crank: Crank\n        date: Day\n")
    assert main(["publish", str(programs), "--to", str(site)]) == 0
    return (site / "programs" / "pump" / "instruments.html").read_text("utf-8")


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert text.count(old) == 1, (path, old)
    path.write_text(text.replace(old, new), "utf-8")


def test_readings_are_counted_as_their_files_hold_them(examples: Published) -> None:
    """Of the smaller example, all of whose readings count; the files are counted without the package."""
    home = examples.programs / "pump-rings-2025" / "records"
    rows = [row for path in home.glob("leakdown-*.csv") for row in csv.reader(path.read_text("utf-8").splitlines())]
    named = {name: sum(name in row for row in rows) for name in ("T1", "R1")}
    assert min(named.values()) > 30
    page = (examples.site / "programs" / "pump-rings-2025" / "instruments.html").read_text("utf-8")
    told = {row[0].rpartition(" ")[2]: row for row in cells(page, "instruments")}
    assert {name: int(told[name][2]) for name in named} == named
    assert "10 March to 24 September 2025" in told["T1"][3]


def test_what_was_found_off_stands_first(examples: Published) -> None:
    page = (examples.site / "programs" / "pump-rings-2026" / "instruments.html").read_text("utf-8")
    told = r"Found off: balance-1 \(analytical balance\)\. Calibrations: T1 due on 12 January 2027, in \d+ days\."
    assert re.search(told, lead(page))
    ((name, found, readings, does),) = cells(page, "found-off")
    assert name == "analytical balance balance-1"
    assert found == (
        "+1.3 mg at 20.0000 g as found, allowed ±0.5 mg found so on 23 November 2026; last good check 20 April 2026"
    )
    assert readings.startswith("60 readings of four builds 29 April to 16 November 2026")
    assert "intervals reach further" in does
    data = (examples.site / "programs" / "pump-rings-2026" / "data.html").read_text("utf-8")
    assert lead(page) in _text(data.split('id="instruments"')[1].split("</section>")[0])
    assert 'href="instruments.html"' in data


def test_overdue_unknown_and_not_recorded(tmp_path: Path) -> None:
    dated = """\
      - {on: 2026-01-12, due: 2026-06-01}
      - {on: 2026-05-20, due: 2026-06-10, note: nobody wrote down what it showed}
"""
    page = published(tmp_path, dated, (
        "B1,cold-build,1,80,72,tdc,2026-05-04,T1", "B1,pulls,1,80,74,tdc,2026-05-30,T1",
    ))  # fmt: skip
    ((name, told, calibrated, used),) = cells(page, "instruments-to-know")
    assert (name, used) == ("cell tester T1", "2 readings")
    assert told == (
        "Due on 10 June 2026, in eleven days; unknown since it was first there: as found not recorded on 20 May 2026 "
        "(one reading)"
    )
    assert calibrated == "20 May 2026 next due 10 June 2026"
    assert lead(page) == "The records name one instrument. Calibrations: T1 due on 10 June 2026, in eleven days."


def test_nothing_to_see_to(tmp_path: Path) -> None:
    page = published(tmp_path, "      - {on: 2026-01-12, due: 2027-01-12, checks: [{at: 80 psig, found: 80.1 psig}]}\n")
    assert lead(page) == "The records name one instrument. No calibration is due."
    assert "leaves nothing open" in page
    assert 'id="found-off"' not in page
    assert cells(page, "calibration-points") == [
        ["cell tester T1", "12 January 2026", "551.6 kPa", "552.3 kPa +0.7 kPa", "–", "±1.7 kPa"]
    ]
    ((named, so),) = cells(page, "instruments-not-named")
    assert (named, so) == ("analytical balance balance-1", "never used in this program")


def test_both_gauges_found_off_alike(tmp_path: Path) -> None:
    """Each checked by itself, with the same error: said once, of both."""
    off = [f"{{gauge: {gauge}, at: 80 psig, found: 81 psig, left: 80 psig}}" for gauge in ("supply", "cylinder")]
    good = DATED.replace("}", ", checks: [{at: 80 psig, found: 80 psig}]}")
    page = published(tmp_path, f"{good}      - {{on: 2026-06-01, due: 2027-06-01, checks: [{', '.join(off)}]}}\n")
    ((name, found, readings, _),) = cells(page, "found-off")
    assert name == "cell tester T1"
    assert found.startswith("+6.9 kPa at 551.6 kPa as found, allowed ±1.7 kPa found so on 1 June 2026; last good check")
    assert readings == "one reading of one build 4 May 2026"


def test_no_reading_no_instrument(tmp_path: Path) -> None:
    page = published(tmp_path, DATED, ())
    assert lead(page) == "No record names an instrument yet."
    assert len(cells(page, "instruments-not-named")) == 2


def test_blinded_reviewers_get_it_too(tmp_path: Path) -> None:
    """Instruments tell no coatings; a remark that names one is withheld."""
    programs, site = plain(tmp_path), tmp_path / "site"
    named = "certificate: nitrided 4, note: with the nitrided rings"
    change(programs / "definitions.yaml", DATED, DATED.replace("}", f", {named}}}"))
    assert main(["publish", str(programs), "--to", str(site), "--blind"]) == 0
    page = (site / "programs" / "pump" / "instruments.html").read_text("utf-8")
    assert "nitrided" not in page
    assert page.count("text withheld") == 2
