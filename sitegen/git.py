"""What git holds, asked so that a repository of somebody else runs nothing on this machine.

A repository brings its own configuration, which may name commands: for the index, for filters and differences, for
pagers, for what is fetched from elsewhere. So only commands that read objects are used, none that looks at the working
tree, and what they would still obey is set aside. Whose repositories may be read at all git decides (`safe.directory`).
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

_READING = frozenset({"cat-file", "ls-tree", "rev-list", "rev-parse"})
_PATIENCE = 10  # s, for a git that hangs on a dead share
_SETTINGS = (
    "core.fsmonitor=false",
    f"core.hooksPath={os.devnull}",
    "protocol.allow=never",
    "safe.bareRepository=explicit",  # files of a programs folder that look like a repository are none
)
_ENVIRONMENT = {
    "GIT_ALLOW_PROTOCOL": "",  # outweighs what the repository allows
    "GIT_NO_LAZY_FETCH": "1",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_TERMINAL_PROMPT": "0",
}
_hung: set[str] = set()  # folders in which git did not answer: they are asked once


def git(folder: Path, *arguments: str, told: bytes = b"") -> bytes | None:
    """What a reading command of git says in a folder, given `told` to read.

    None without git, outside a repository, where git knows no such or did not answer in time.
    """
    if arguments[0] not in _READING:
        raise ValueError(f"git {arguments[0]} does more than read objects")
    command, where = shutil.which("git"), str(folder)
    if command is None or where in _hung:
        return None
    # the caller's own GIT_DIR or GIT_TRACE are not meant for the programs folder
    own = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    if ceiling := os.environ.get("GIT_CEILING_DIRECTORIES"):
        own["GIT_CEILING_DIRECTORIES"] = ceiling
    settings = [word for each in _SETTINGS for word in ("-c", each)]
    try:
        done = subprocess.run(  # noqa: S603 - no shell, and nothing of the user's in the command but the folder
            [command, "--no-pager", *settings, "-C", where, *arguments],
            capture_output=True,
            timeout=_PATIENCE,
            check=False,
            input=told,
            env={**own, **_ENVIRONMENT},
        )
    except subprocess.TimeoutExpired:
        _hung.add(where)
        return None
    except OSError:
        return None
    return done.stdout if done.returncode == 0 else None
