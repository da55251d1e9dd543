"""Images an inspection names: inside the program's folder, and pictures indeed. What is not is taken out and told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from sitegen.pictures import PictureFault, check
from sitegen.problems import shown
from sitegen.program.inside import PathFault, file_inside
from sitegen.program.model import Program
from sitegen.tables.reading import Sheet

_FOLDER = "a PNG, JPEG or TIFF file inside the program's folder, such as images/b1-top.png"


def located(folder: Path, name: str) -> Path:
    """The file an image name of a record means. Raises PictureFault where it is none of the program's folder."""
    try:
        return file_inside(folder, name)
    except PathFault as fault:
        raise PictureFault(f"image-{fault.code}", fault.what, _FOLDER) from fault


def check_images(program: Program, sheet: Sheet) -> None:
    """Take images that cannot be shown out of their rows, each with a warning; the row keeps its numbers."""
    folder = Path(program.folder)
    answers: dict[str, PictureFault | None] = {}
    for at, name in _named(sheet):
        if name not in answers:
            answers[name] = _answer(folder, name)
        fault = answers[name]
        if fault is not None:
            what = f'the image "{shown(name)}" {fault.what}, and is not shown; the rest of the row is used'
            sheet.tell(at, fault.code, "image", what, fault.expected)
            sheet.frame.loc[sheet.frame.index[at], "image"] = np.nan


def _named(sheet: Sheet) -> Iterator[tuple[int, str]]:
    column = sheet.frame["image"]
    for at in np.flatnonzero(column.notna().to_numpy(dtype=bool) & sheet.open).tolist():
        yield at, str(column.iat[at])


def _answer(folder: Path, name: str) -> PictureFault | None:
    try:
        check(located(folder, name))
    except PictureFault as fault:
        return fault
    return None
