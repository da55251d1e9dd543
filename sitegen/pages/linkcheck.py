"""Dead links, dead anchors and ids given twice fail the build."""

from __future__ import annotations

import json
import posixpath
import re
from collections.abc import Mapping
from functools import lru_cache
from urllib.parse import unquote

# Our templates write attributes in double quotes and escape quotes in text, so a pattern sees every one of them.
# Patterns that begin with fixed text are found five times as fast, and a site has megabytes: see `_spaced`.
_LINKS = re.compile(r' href="([^"]*)"'), re.compile(r' src="([^"]*)"')
# Notes may lead out of the site; they say so. No page of ours writes this, and text cannot: its quotes are escaped.
OUTWARD = "external noreferrer"
_OUTWARD = re.compile(rf'<a rel="{OUTWARD}" href="(?i:https?://|mailto:)[^"]*"')
_OUTSIDE = re.compile(r"[a-z][a-z0-9+.-]*:|//", re.IGNORECASE)
_SCHEME = re.compile(r"[a-z][a-z0-9+.-]*:")
_LATER = re.compile(rb"sitegenRows\((.*)\);\n", re.DOTALL)  # rows of a page, which stand there when asked for
_ID = re.compile(r' id="([^"]*)"')


class DeadLinkError(ValueError):
    """A link of a page that leads nowhere: a fault of ours or of a theme, never of the data."""


def check(files: Mapping[str, bytes]) -> None:
    """Raise DeadLinkError naming every broken link and doubled id of the site (path -> content)."""
    ids: dict[str, set[str]] = {}
    links: list[tuple[str, list[str]]] = []  # no text is kept: together those of a large site weigh three times as much
    faults: list[str] = []
    for path, content in files.items():
        if not path.endswith(".html"):
            continue
        text = _spaced(content.decode())
        links.append((path, _led_to(text)))
        found = _ID.findall(text)
        ids[path] = set(found)
        if len(ids[path]) != len(found):
            doubled = sorted({each for each in found if found.count(each) > 1})
            faults.append(f"{path}: id {doubled[0]!r} is given more than once")
    for rows in map(_LATER.fullmatch, files.values()):
        if rows:
            later = json.loads(rows[1])
            links.append((later["page"], _led_to(_spaced(later["rows"]))))
    for path, own in links:
        told = [_fault(path, link.replace("&amp;", "&"), files, ids) for link in own]
        faults.extend(f"{path}: {fault}" for fault in told if fault)
    if faults:
        raise DeadLinkError("\n".join(faults))


def _led_to(text: str) -> list[str]:
    """Links of a text, each once, but for those that lead out of the site and say so."""
    inward = _OUTWARD.sub("<a", text)
    return [*dict.fromkeys(link for each in _LINKS for link in each.findall(inward))]


def _spaced(text: str) -> str:
    """With a space before every attribute."""
    return text.replace("\n", " ").replace("\t", " ").replace("\r", " ")


def unlinked(path: str, content: bytes, files: Mapping[str, bytes]) -> bytes:
    """A page of an earlier site: links to anchors that went lead to the page, those to files that went lead nowhere."""
    if rows := _LATER.fullmatch(content):
        told = json.loads(rows[1])
        made = unlinked(told["page"], told["rows"].encode(), files).decode()
        return (
            content if made == told["rows"] else content.replace(rows[1], json.dumps({**told, "rows": made}).encode())
        )
    ids: dict[str, set[str]] = {}

    def kept(link: re.Match[str]) -> str:
        target, mark, fragment = link[1].partition("#")
        there = _there(posixpath.dirname(path), target) if target else path
        if mark and there.endswith(".html") and there in files and there not in ids:
            ids[there] = set(_ID.findall(_spaced(files[there].decode())))
        fault = "" if _OUTSIDE.match(link[1]) else _fault(path, link[1].replace("&amp;", "&"), files, ids)
        return link[0] if not fault else link[0].replace(f"{mark}{fragment}", "") if there in files else ""

    text = content.decode()
    for each in _LINKS:
        text = each.sub(kept, text)
    return text.encode()


@lru_cache(maxsize=4096)  # pages of one folder lead to the same places
def _there(folder: str, target: str) -> str:
    return posixpath.normpath(posixpath.join(folder, unquote(target)))


def _fault(page: str, link: str, files: Mapping[str, bytes], ids: Mapping[str, set[str]]) -> str:
    if link == "data:,":  # the icon that keeps a browser from asking for one
        return ""
    if _SCHEME.match(link) or link.startswith("//"):
        return f"link {link!r} leads out of the site"
    target, _, fragment = link.partition("#")
    path = _there(posixpath.dirname(page), target) if target else page
    if path not in files:
        return f"link {link!r} leads to no file"
    if fragment and path.endswith(".html") and fragment not in ids.get(path, set()):
        return f"link {link!r} leads to no anchor"
    return ""
