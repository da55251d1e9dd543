"""Text never becomes markup or script: a payload in every text a user can write, and every page opened."""

from __future__ import annotations

import re
from pathlib import Path

from browser.opened import kinds_of, opened
from house import copied
from playwright.sync_api import Browser

from sitegen import cli

HIT = "window.hit=1"
# as YAML wants it in double quotes, and as a table wants it in double quotes
PAYLOAD = f"</script><script>{HIT}</script><img src=x onerror='{HIT}'>'\\\" onmouseover='{HIT}' {{{{7*7}}}}"
NAMES = "title|question|operator|cell|note|why|by|process|grade|skipped|fuel|version"
# deeper lines are the columns of a table, whose texts are headers
LINES = re.compile(rf"^(?P<key>[ -]{{0,6}}(?:{NAMES}): )(?P<text>[^{{}}#\n]+?)(?P<rest>\s+#.*)?$", re.MULTILINE)
FLOWS = re.compile(rf"(?P<key>[{{,] *(?:{NAMES}): )(?P<text>[^{{}},#\n\"]+)(?P<rest>)(?=[,}}])")
REMARK = f"</td><script>{HIT}</script><img src=x onerror='{HIT}'> onmouseover='{HIT}'"


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
            path.write_text("\n".join(rows) + "\n", encoding="utf-8")
            count += 1
    return programs, count


def test_no_text_of_a_user_is_ever_run(browser: Browser, tmp_path: Path) -> None:
    programs, count = poisoned(tmp_path)
    assert count > 40
    site = tmp_path / "site"
    assert cli.main(["publish", str(programs), "--to", str(site)]) == 0
    seen = 0
    with opened(browser) as found:
        earlier = [f"programs/pump-rings-2025/{name}.html" for name in ("index", "data", "a1/index", "a1/cylinder-1")]
        for path in [*kinds_of(site), *earlier]:
            page = found.page
            page.goto((site / path).as_uri())
            page.wait_for_selector("html[data-tables=ready]", state="attached")
            assert page.evaluate("() => window.hit === undefined"), path
            assert page.locator("img[src=x], [onmouseover], [onerror]").count() == 0, path
            assert page.locator("script:not([src]):not([type='application/json'])").count() == 0, path
            text = page.locator("body").inner_text()
            seen += HIT in text
            assert "49" not in re.findall(r"onmouseover='[^']*' (\S+)", text), path  # templates do not run it either
    assert seen >= 10  # the payloads are there, as text
    assert [line for line in found.said if "Content Security Policy" in line] == []  # nothing even tried
