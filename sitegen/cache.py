"""What is slow to make and safe to lose: kept in the user's cache folder, under names that say what it depends on."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import tempfile
from pathlib import Path


def cache_folder() -> Path:
    """Where this user's caches lie: SITEGEN_CACHE, else the system's usual place."""
    own = os.environ.get("SITEGEN_CACHE")
    if own:
        return Path(own)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "sitegen"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "sitegen"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "sitegen"


# A kept file ends with the hash of what stands before it, so that half a file is never taken for a whole one.


def kept(path: Path) -> bytes | None:
    """What was kept under a path; None where there is nothing whole."""
    try:
        content, _, digest = path.read_bytes().rpartition(b"\n//")
    except OSError:
        return None
    return content if hashlib.sha256(content).hexdigest().encode() == digest else None


def keep(path: Path, content: bytes) -> None:
    """Keep some bytes, where the disk lets us."""
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".new-")
        with os.fdopen(handle, "wb") as file:
            file.write(content + b"\n//" + hashlib.sha256(content).hexdigest().encode())
        Path(temporary).replace(path)
