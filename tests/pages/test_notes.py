"""Notes in Markdown do no harm: text never becomes markup or script."""

from __future__ import annotations

import pytest

from sitegen.pages.notes import as_html


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[a](javascript:alert(1))",
        "[a](JaVaScRiPt:alert(1))",
        "[a](data:text/html,<script>)",
        "[a](vbscript:x)",
        "[a](file:///etc/passwd)",
        "[a](//elsewhere)",
        "![a](https://example.org/x.png)",
        "<javascript:alert(1)>",
        '[a](https://example.org "\\" onmouseover=\\"alert(1)")',
        "[a]: javascript:alert(1)\n\n[a]",
        "| a |\n|---|\n| <b onclick=x> |",
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


def test_what_is_meant_gets_through() -> None:
    html = str(as_html("# T\n\n## A\n\n- *one* `two`\n\n[w](https://example.org) [m](mailto:a@example.org)\n", "T"))
    assert "<h1" not in html
    assert "<h3>A</h3>" in html
    assert '<a href="https://example.org">w</a>' in html
    assert '<a href="mailto:a@example.org">m</a>' in html
    assert "<em>one</em>" in html
