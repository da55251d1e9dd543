"""Field sheets onto a disk. A table that somebody may have filled in is never written over."""

from __future__ import annotations

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

    def ours(name: str, content: bytes) -> bool:  # entries to paste hold nothing of the user's
        return name in sheets.pages and (not name.endswith(".html") or _OURS in content[:2000])

    return Laid(*put({**sheets.pages, **sheets.tables}, to, ours))
