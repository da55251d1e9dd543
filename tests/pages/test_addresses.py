"""File names and links that work on every file system and from every folder."""

from __future__ import annotations

import posixpath
import re

from hypothesis import given
from hypothesis import strategies as st

from sitegen.page.addresses import relative, slug, slugs

STEP = st.from_regex(r"[a-z0-9-]{1,3}", fullmatch=True)
PATH = st.lists(STEP, min_size=1, max_size=4).map(lambda steps: "/".join(steps) + ".html")


@given(PATH, PATH)
def test_a_relative_link_leads_where_it_should(target: str, page: str) -> None:
    link = relative(target, page)
    assert posixpath.normpath(posixpath.join(posixpath.dirname(page), link)) == target
    assert relative(f"{target}#x", page) in {f"{link}#x", "#x"}


@given(st.text())
def test_any_id_makes_a_plain_name(text: str) -> None:
    assert re.fullmatch(r"[a-z0-9-]+", slug(text))
    # Reserved device names of Microsoft, "Naming Files, Paths, and Namespaces".
    assert slug(text) not in {"con", "prn", "aux", "nul", "com1", "lpt9"}


@given(st.lists(st.text(max_size=4), unique=True, max_size=12))
def test_no_two_ids_share_a_name(ids: list[str]) -> None:
    names = slugs(ids, taken=("index",))
    assert len({*names.values(), "index"}) == len(ids) + 1
