"""Field sheets onto a disk. A table that somebody may have filled in is never written over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sitegen.publish import put
from sitegen.sheets.build import Sheets

_OURS = b'<meta name="generator" content="sitegen sheets">'


@dataclass(frozen=True)
class Laid:
    """What was done to a folder; paths from its root."""

    written: tuple[str, ...]
    left: tuple[str, ...]  # there already with other content: filled in, or somebody else's


def lay(sheets: Sheets, to: Path) -> Laid:
    """Write the sheets into a folder; made when it is not there.

    A page of ours is made anew; any other file that is there already with other content is left as it is. Raises
    publish.CannotPublish where the disk does not let us.
    """
    left = [name for name, content in sheets.tables.items() if _holds_other(to / name, content)]
    left += [name for name, content in sheets.pages.items() if _strange(to / name, content)]
    files: Mapping[str, bytes] = {
        name: content for name, content in {**sheets.pages, **sheets.tables}.items() if name not in left
    }
    written: list[str] = []
    for folder in sorted({name.rpartition("/")[0] for name in files}):
        own = {name.rpartition("/")[2]: content for name, content in files.items() if name.rpartition("/")[0] == folder}
        written += [f"{folder}/{name}".lstrip("/") for name in put(own, to / folder)]
    return Laid(tuple(sorted(written)), tuple(sorted(left)))


def _holds_other(path: Path, content: bytes) -> bool:
    try:
        return path.read_bytes() != content
    except OSError:
        return False  # not there, or not to be read: writing it says why


def _strange(path: Path, content: bytes) -> bool:
    """Whether a page would replace a file that is none of ours. Entries to paste hold nothing of the user's."""
    return path.suffix == ".html" and _holds_other(path, content) and _OURS not in path.read_bytes()[:2000]
