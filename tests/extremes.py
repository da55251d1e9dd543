"""Programs at the edges of what may be written: many engines, many cylinders, long names, next to nothing.

`python -m extremes FOLDER SHAPE`, from `tests`, writes one of them, `python -m extremes FOLDER builds 400` one of so
many builds.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path

from simulate.programs import write_large

LONG = 120  # characters of a title
PROGRAM = "large/program.yaml"


def _change(folder: Path, file: str, change: Callable[[str], str]) -> None:
    path = folder / file
    old = path.read_text(encoding="utf-8")
    new = change(old)
    assert new != old, f"{file}: nothing to change"
    path.write_text(new, encoding="utf-8")


def twelve_coatings(folder: Path) -> None:
    """Twelve coatings, each built once."""
    write_large(folder, 12, 1)
    more = "".join(f"  layer-{n:02d}: {{title: layer {n:02d}}}\n" for n in range(3, 13))
    _change(folder, "definitions.yaml", lambda text: text.replace("engine_types:\n", f"{more}engine_types:\n"))
    names = ["nitrided", "graded-crn", *(f"layer-{n:02d}" for n in range(3, 13))]

    def allotted(text: str) -> str:
        for number in range(1, 13):
            own = re.compile(rf"(id: L{number:03d},.*coating: )[a-z-]+")
            text = own.sub(rf"\g<1>{names[number % 12]}", text)
        return text.replace("candidates: [graded-crn]", f"candidates: [{', '.join(names[1:])}]")

    _change(folder, PROGRAM, allotted)


def long_names(folder: Path) -> None:
    """Titles of 120 characters, with spaces and without; ids as long as they may be."""
    write_large(folder, 4, 4)
    unbroken, words = "w" * LONG, ("long words " * LONG)[:LONG].strip()
    _change(
        folder, "definitions.yaml",
        lambda text: text.replace("title: nitrided", f"title: {unbroken}")
        .replace("title: graded chromium nitride", f"title: {words}")
        .replace("title: engine with 4 cylinders", f"title: {unbroken}")
        .replace("title: cell tester, 0.040 in", f"title: {unbroken}"),
    )  # fmt: skip
    _change(
        folder, PROGRAM,
        lambda text: text.replace("title: Large", f"title: {unbroken}")
        .replace("title: four pulls", f"title: {words}")
        .replace("title: 40 h", f"title: {unbroken}")
        .replace("title: Leak area after the pulls, every graded cylinder", f"title: {unbroken}"),
    )  # fmt: skip
    for path in folder.rglob("*"):
        if path.suffix in {".csv", ".yaml"}:
            text = path.read_text(encoding="utf-8")
            path.write_text(re.sub(r"\bL00(\d)\b", rf"L00\1-{'n' * 35}", text), encoding="utf-8")


def no_data(folder: Path) -> None:
    """Builds and headers of tables, and not one reading."""
    write_large(folder, 2, 4)
    for path in (folder / "large" / "records").iterdir():
        path.write_text(path.read_text(encoding="utf-8").partition("\n")[0] + "\n", encoding="utf-8")


def hundred_notes(folder: Path) -> None:
    """A hundred notes, some of them with what is wide."""
    write_large(folder, 2, 4)
    wide = "| " + " | ".join(f"column {n}" for n in range(14)) + " |\n" + "|---" * 14 + "|\n" + "| 1234.5 " * 14 + "|\n"
    notes = (f"## Note {n}\n\n{'A word and another. ' * 12}\n\n{wide if n % 20 == 1 else ''}\n" for n in range(1, 101))
    _change(folder, PROGRAM, lambda text: text.replace("phases:", "notes: notes.md\nphases:", 1))
    (folder / "large" / "notes.md").write_text("\n".join([*notes, "w" * 200, ""]), encoding="utf-8")


SHAPES: dict[str, Callable[[Path], object]] = {
    "four-of-seven-cylinders": lambda folder: write_large(folder, 4, 7),
    "two-of-twelve-cylinders": lambda folder: write_large(folder, 2, 12),
    "thirty-builds": lambda folder: write_large(folder, 30, 1),
    "one-build": lambda folder: write_large(folder, 1, 4),
    "twelve-coatings": twelve_coatings,
    "long-names": long_names,
    "no-data": no_data,
    "hundred-notes": hundred_notes,
}


def main() -> None:
    """Write what is asked for."""
    folder, shape, *builds = sys.argv[1:]
    if shape == "builds":
        write_large(Path(folder), int(builds[0]), 4)
    else:
        SHAPES[shape](Path(folder))


if __name__ == "__main__":
    main()
