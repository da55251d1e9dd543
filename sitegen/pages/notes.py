"""Notes written in Markdown, as HTML that can do no harm.

HTML in the notes is printed as text. Links lead to web pages, mail or the same page; others are printed as written.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from sitegen.program.model import Program

if TYPE_CHECKING:
    from markdown_it.token import Token

_ALLOWED = re.compile(r"(https?://|mailto:)", re.IGNORECASE)
_DEEPER = 1  # the notes stand in a section of the page: what is an h2 in them is an h3 there


def of_program(program: Program) -> Markup:
    """The program's notes; empty where there are none."""
    if not program.notes:
        return Markup("")
    text = (Path(program.folder) / program.notes).read_text(encoding="utf-8-sig", errors="replace")
    return as_html(text, program.title)


def as_html(text: str, title: str = "") -> Markup:
    """Markdown as HTML. A first heading that repeats the title of the page is left out.

    >>> print(as_html("# A <b>\\n\\nSee [that](javascript:x), [this](https://example.org) and `<i>`."), end="")
    <h3>A &lt;b&gt;</h3>
    <p>See [that](javascript:x), <a href="https://example.org">this</a> and <code>&lt;i&gt;</code>.</p>
    """
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False}).enable("table").disable("image")
    parser.validateLink = lambda url: bool(_ALLOWED.match(url))  # type: ignore[method-assign]
    tokens = parser.parse(text)
    if len(tokens) > 2 and tokens[0].type == "heading_open" and tokens[1].content.strip() == title:
        tokens = tokens[3:]
    for token in tokens:
        _deeper(token)
    # markdown-it escapes all text itself once HTML is off
    return Markup(parser.renderer.render(tokens, parser.options, {}))  # noqa: S704


def _deeper(token: Token) -> None:
    if token.type in {"heading_open", "heading_close"}:
        token.tag = f"h{min(max(int(token.tag[1:]) + _DEEPER, 3), 6)}"
