"""Files a text of the program names: inside the program's folder and nowhere else."""

from __future__ import annotations

import os
from pathlib import Path, PurePosixPath

from sitegen.problems import MOST_NAMES, nearest

LONGEST = 200  # characters of a name


class PathFault(Exception):  # noqa: N818 - an answer for the user, not a fault of ours
    """Why a name is none of the program's folder, as a code and a clause that goes on after the name."""

    def __init__(self, code: str, what: str, reason: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.reason = reason  # of the system, where it refuses to read


def file_inside(folder: Path, name: str) -> Path:
    """The plain file that a name with forward slashes means. Raises PathFault where it is none of this folder.

    Links are followed before the question is asked, so that none leads out.
    """
    plain = name.isprintable() and len(name) <= LONGEST and "\\" not in name and not name.startswith("/")
    if not plain or (len(name) > 1 and name[1] == ":"):
        raise PathFault("path-not-plain", "is not written from the program's folder")
    path = folder / name
    try:
        home, found = folder.resolve(), path.resolve()
        upwards = ".." in PurePosixPath(name).parts
        if upwards or not found.is_relative_to(home):
            how = "" if upwards else " through a link"
            raise PathFault("outside-folder", f"leaves the program's folder{how}")
        if not found.exists():
            raise PathFault("missing", "is not there")
        if not found.is_file():
            raise PathFault("not-a-file", "is not a plain file")
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: a loop of links
        reason = (error.strerror if isinstance(error, OSError) else "") or "it cannot be followed"
        raise PathFault("not-readable", f"cannot be read: {reason.lower()}", reason.lower()) from error
    return found


def nearest_inside(folder: Path, name: str) -> str:
    """The file of the folder whose name is nearest to this one; "" where none is near."""
    return nearest(name, files_inside(folder))


def files_as_deep(folder: Path, below: str, deep: int) -> list[str]:
    """Files `deep` folders down from the folder named `below`, from `folder`, with forward slashes and in order.

    What is hidden or locked by an office program is passed over, and results. Raises PathFault where `below` is no
    folder of this one.
    """
    if below.startswith("/") or "\\" in below or ":" in below or ".." in PurePosixPath(below).parts:
        raise PathFault("path-not-plain", "is not written from the program's folder")
    there: list[str] = []
    begin = folder / below
    for parent, folders, files in os.walk(begin):
        here = Path(parent).relative_to(folder)
        down = len(here.parts) - len(PurePosixPath(below).parts)
        folders[:] = [
            each for each in folders if down < deep and not each.startswith(".") and (here / each) != Path("results")
        ]
        if down == deep:
            there += [(here / each).as_posix() for each in files if not each.startswith((".", "~$"))]
    return sorted(there)


def files_inside(folder: Path) -> list[str]:
    """Files of the folder, from it and with forward slashes; of very many the first. Hidden folders are passed over."""
    there: list[str] = []
    for parent, folders, files in os.walk(folder):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        there += [(Path(parent) / each).relative_to(folder).as_posix() for each in files]
        if len(there) > MOST_NAMES:
            break
    return there
