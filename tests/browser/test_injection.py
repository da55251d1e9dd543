"""Text never becomes markup or script: a payload in every text a user can write, and every page opened."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from browser.opened import kinds_of, opened
from house import copied, plain
from playwright.sync_api import Browser, Page

from sitegen import cli

HIT = "window.hit=1"
# as YAML wants it in double quotes, and as a table wants it in double quotes
PAYLOAD = f"</script><script>{HIT}</script><img src=x onerror='{HIT}'>'\\\" onmouseover='{HIT}' {{{{7*7}}}}"
NAMES = "title|question|operator|cell|block|note|why|by|process|grade|skipped|fuel|version"
# deeper lines are the columns of a table, whose texts are headers
LINES = re.compile(rf"^(?P<key>[ -]{{0,6}}(?:{NAMES}): )(?P<text>[^{{}}#\n]+?)(?P<rest>\s+#.*)?$", re.MULTILINE)
FLOWS = re.compile(rf"(?P<key>[{{,] *(?:{NAMES}): )(?P<text>[^{{}},#\n\"]+)(?P<rest>)(?=[,}}])")
REMARK = f"</td><script>{HIT}</script><img src=x onerror='{HIT}'> onmouseover='{HIT}'"
NAMED = ("leakdown-a1", "a1-pulls", "H-022", "A1-run-in-10")  # shown with the next after them
IN_NAME = f"<img src=x onerror='{HIT}'>"  # of a file, a column or a lot


def poisoned(to: Path) -> tuple[Path, int]:
    """The example programs with a payload in their texts; how many texts took one."""
    programs = copied(to)
    count = 0
    for path in [programs / "definitions.yaml", *programs.glob("*/program.yaml")]:
        text = path.read_text(encoding="utf-8")

        def put(found: re.Match[str]) -> str:
            nonlocal count
            count += 1
            words = found["text"].strip().strip('"')
            return f'{found["key"]}"{words} {PAYLOAD}"{found["rest"] or ""}'

        path.write_text(FLOWS.sub(put, LINES.sub(put, text)), encoding="utf-8")
    for path in programs.glob("*/notes.md"):
        path.write_text(f"{path.read_text(encoding='utf-8')}\n\n{PAYLOAD}\n\n[a](javascript:{HIT})\n", encoding="utf-8")
        count += 1
    for path in [*programs.glob("*/records/leakdown-a*.csv"), *programs.glob("*/records/inspection-*.csv")]:
        rows = path.read_text(encoding="utf-8").splitlines()
        if rows[0].endswith(",remark"):
            rows[1:] = [f"{row.rsplit(',', 1)[0]},{REMARK}" for row in rows[1:]]
            path.write_text("\n".join(rows).replace(". Band", f". {IN_NAME} Band") + "\n", encoding="utf-8")  # captions
            count += 1
    return programs, count + renamed(programs)


def renamed(programs: Path) -> int:
    """Files, columns, channels, lots and samples with a payload in their names; how many of them."""
    changes = {  # in a program file, and in the tables it names
        "Cylinder gauge": f"Cylinder gauge {IN_NAME}",
        "Brake torque": f"Brake torque {IN_NAME}",
        "H-022": f"H-022 {IN_NAME}",
        "A1-run-in-10,A1": f"A1-run-in-10 {IN_NAME},A1",  # a sample
    }
    moved = {
        "leakdown-a1.csv",
        "inspection-a1.csv",
        "a1-pulls.csv",
        "oil-samples.csv",
        "leakdown-b2.csv",
        "a1-1-ring.jpg",
    }
    found = set()
    for path in [*programs.glob("*/program.yaml"), *programs.glob("*/records/*.csv"), *programs.glob("*/logs/*.csv")]:
        text = path.read_bytes()
        for old, new in changes.items():
            found |= {old} if old.encode() in text else set()
            text = text.replace(old.encode(), new.encode())
        for name in moved:
            stem, ending = name.split(".")
            found |= {name} if name.encode() in text else set()
            text = text.replace(name.encode(), f"{stem}{IN_NAME}.{ending}".encode())
        path.write_bytes(text)
    for path in [each for each in programs.rglob("*") if each.name in moved]:
        path.rename(path.with_name(f"{path.stem}{IN_NAME}{path.suffix}"))
    return len(found)


def unharmed(page: Page) -> None:
    """No script ran, no element and no attribute of the payload came to be."""
    assert page.evaluate("() => window.hit === undefined"), page.url
    assert page.locator("img[src=x], [onmouseover], [onerror]").count() == 0, page.url
    assert page.locator("script:not([src]):not([type='application/json'])").count() == 0, page.url


def test_no_text_of_a_user_is_ever_run(browser: Browser, tmp_path: Path) -> None:
    programs, count = poisoned(tmp_path)
    assert count > 60
    site = tmp_path / "site"
    assert cli.main(["publish", str(programs), "--to", str(site)]) == 0
    seen, named = 0, set[str]()
    with opened(browser) as found:
        earlier = [f"programs/pump-rings-2025/{name}.html" for name in ("index", "data", "a1/index", "a1/cylinder-1")]
        for path in [*kinds_of(site), *earlier]:
            page = found.page
            page.goto((site / path).as_uri())
            page.wait_for_selector("html[data-tables=ready]", state="attached")
            unharmed(page)
            text = page.locator("body").inner_text()
            seen += HIT in text
            whole = (page.locator("body").text_content() or "").replace(" <img", "<img")
            named |= {name for name in NAMED if f"{name}{IN_NAME}" in whole}
            assert "49" not in re.findall(r"onmouseover='[^']*' (\S+)", text), path  # templates do not run it either
    assert seen >= 10  # the payloads are there, as text
    assert named == {*NAMED}
    assert [line for line in found.said if "Content Security Policy" in line] == []  # nothing even tried


def test_nor_where_it_is_no_id_and_on_sheets(browser: Browser, tmp_path: Path) -> None:
    """The page that lists the errors of a program quotes them; sheets are printed from the rest."""
    programs = plain(tmp_path)
    shutil.copytree(programs / "pump", programs / "beside")  # else nothing is published
    path = programs / "pump" / "program.yaml"
    text = LINES.sub(
        lambda found: f'{found["key"]}"{found["text"].strip()} {PAYLOAD}"', path.read_text(encoding="utf-8")
    )
    path.write_text(text, encoding="utf-8")
    assert cli.main(["sheets", str(programs / "pump"), "--to", str(tmp_path / "sheets")]) == 0
    path.write_text(text.replace("id: B2\n", f'id: "B2{PAYLOAD}"\n'), encoding="utf-8")
    assert cli.main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 1
    made = [*(tmp_path / "sheets").rglob("*.html"), tmp_path / "site" / "programs" / "pump" / "index.html"]
    assert len(made) > 4
    with opened(browser) as found:
        seen = 0
        for each in made:
            found.page.goto(each.as_uri())
            unharmed(found.page)
            seen += HIT in (found.page.locator("body").text_content() or "")
        assert seen > 2
        assert HIT in (found.page.locator("main").text_content() or "")  # the errors
