"""Edits of a programs folder, as people make them between two publishes, and what follows with and without shelves.

`PYTHONPATH=tests python -m results.edits --edits 60` edits a copy of both examples at random; every so often it goes
back to how a file was, since what was kept for it must be found right then.
"""

from __future__ import annotations

import argparse
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from random import Random

from house import copied

from sitegen import workflow
from sitegen.problems import as_text
from sitegen.results import files
from sitegen.shelves import NONE, Shelves

Edit = Callable[[Path, Random], str]
NUMBER = re.compile(r"(?<![\w.])\d+\.?\d*(?![\w.])")


def told(programs: Path, theme: Path | None, shelves: Shelves) -> tuple[str, Mapping[str, bytes]]:
    """Problems, and every file of the results and of the site; no file where something is broken."""
    found = workflow.examine(programs, shelves=shelves)
    said = as_text(found.problems) if found.problems else ""
    if found.blocked:
        return said, {}
    rendered = workflow.render(found, theme, None)
    results = {
        f"{each.analysis.program.id}/results/{name}": content
        for each in rendered.conclusions
        for name, content in each.files.items()
    }
    return said, {**rendered.site, **results}


def differences(programs: Path, theme: Path | None, shelf: Path) -> list[str]:
    """Files that are not the same with what is kept in a folder and without; "problems" where those are not."""
    kept, anew = (told(programs, theme, each) for each in (Shelves(shelf), NONE))
    names = {name for name in {**kept[1], **anew[1]} if kept[1].get(name) != anew[1].get(name)}
    return sorted(names | ({"problems"} if kept[0] != anew[0] else set()))


def put_results(programs: Path) -> None:
    """Write the results as a publish does: the next run finds them lying there."""
    found = workflow.examine(programs)
    if not found.blocked:
        for each in workflow.with_files(workflow.conclude(found)):
            for name, content in each.files.items():
                path = Path(each.analysis.program.folder) / files.FOLDER / name
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(content)


# ---- edits ----------------------------------------------------------------------------------------------------------


def _texts(programs: Path, folder: str) -> list[Path]:
    return sorted(path for path in programs.glob(f"*/{folder}/*") if path.suffix in {".csv", ".tsv", ".txt"})


def _in_line(path: Path, random: Random, change: Callable[[str], str]) -> str:
    raw = path.read_bytes()
    lines = raw.decode("latin-1").split("\n")  # every byte stays what it is
    at = random.randrange(min(3, len(lines) - 1), len(lines))
    lines[at] = change(lines[at])
    path.write_bytes("\n".join(lines).encode("latin-1"))
    return f"{path.name}:{at + 1}"


def cell(programs: Path, random: Random) -> str:
    """One number of one table is another one."""
    path = random.choice(_texts(programs, "records"))

    def change(line: str) -> str:
        found = list(NUMBER.finditer(line))
        if not found:
            return line
        one = random.choice(found)
        return line[: one.start()] + f"{float(one[0]) * random.choice((1.01, 0.97, 1.2)):.6g}" + line[one.end() :]

    return "cell " + _in_line(path, random, change)


def row_gone(programs: Path, random: Random) -> str:
    """A row is taken out of a table."""
    path = random.choice(_texts(programs, "records"))
    raw = path.read_bytes().split(b"\n")
    at = random.randrange(min(3, len(raw) - 1), len(raw))
    path.write_bytes(b"\n".join(raw[:at] + raw[at + 1 :]))
    return f"row gone {path.name}:{at + 1}"


def log_or_trace(programs: Path, random: Random) -> str:
    """One number of a log or a trace is another one."""
    some = _texts(programs, "logs") + _texts(programs, "traces") + _texts(programs, "surfaces")
    if not some:
        return cell(programs, random)
    return "log or trace " + _in_line(
        random.choice(some), random, lambda line: NUMBER.sub(lambda one: f"{float(one[0]) * 1.001:.6g}", line, count=1)
    )


def objection(programs: Path, random: Random) -> str:
    """A reading is left out on objection."""
    path = random.choice(_texts(programs, "records"))
    file = path.parent.parent / "program.yaml"
    text = file.read_text()
    rows = len(path.read_text(encoding="latin-1").splitlines())
    reading = f"{path.stem}:{random.randint(2, max(2, rows))}"
    own = f'  - {{reading: "{reading}", why: doubtful, by: A. B., on: 2026-03-01}}\n'
    if "\nexclusions:\n" in text:
        text = text.replace("\nexclusions:\n", f"\nexclusions:\n{own}", 1)
    else:
        text += f"\nexclusions:\n{own}"
    file.write_text(text)
    return f"objection {reading}"


def lines_above(programs: Path, random: Random) -> str:
    """Everything in the program file stands some lines further down."""
    file = random.choice(sorted(programs.glob("*/program.yaml")))
    file.write_text("# a remark\n" * random.randint(1, 3) + file.read_text())
    return f"lines above {file.parent.name}"


def wording(programs: Path, random: Random) -> str:
    """A title, a question or a note is worded anew."""
    file = random.choice(sorted(programs.glob("*/program.yaml")))
    text = file.read_text()
    spots = list(re.finditer(r"(?m)^\s*(?:- )?(?:title|question|note|why): *([^\n{}\"#]+)$", text))
    one = random.choice(spots)
    file.write_text(text[: one.end(1)].rstrip() + " anew" + text[one.end(1) :])
    return f"wording {file.parent.name}: {one[0].strip()}"


def notes(programs: Path, random: Random) -> str:
    """The notes of a program say more."""
    some = sorted(programs.glob("*/notes.md")) or sorted(programs.glob("*/program.yaml"))
    file = random.choice(some)
    file.write_text(file.read_text() + f"\n# More {random.randint(0, 99)}\n")
    return f"notes {file.parent.name}"


def definitions(programs: Path, random: Random) -> str:
    """A title among the definitions is another one."""
    file = programs / "definitions.yaml"
    text = file.read_text()
    spots = list(re.finditer(r"title: *([\w ,]+)", text))
    one = random.choice(spots)
    file.write_text(text[: one.end(1)] + " too" + text[one.end(1) :])
    return f"definitions: {one[0]}"


def file_gone(programs: Path, random: Random) -> str:
    """A picture, a trace or a log is no longer there."""
    some = sorted(p for kind in ("images", "traces", "surfaces") for p in programs.glob(f"*/{kind}/*") if p.is_file())
    if not some:
        return notes(programs, random)
    path = random.choice(some)
    path.unlink()
    return f"gone {path.name}"


def picture(programs: Path, random: Random) -> str:
    """A picture shows what another one does."""
    some = sorted(programs.glob("*/images/*.*"))
    if len(some) < 2:
        return notes(programs, random)
    one, other = random.sample(some, 2)
    one.write_bytes(other.read_bytes())
    return f"picture {one.name} as {other.name}"


def misspelt(programs: Path, random: Random) -> str:
    """A key of the program file is misspelt."""
    file = random.choice(sorted(programs.glob("*/program.yaml")))
    file.write_text(file.read_text().replace("\ncompare:", "\ncompaer:", 1))
    return f"misspelt {file.parent.name}"


EDITS: tuple[Edit, ...] = (
    cell, cell, cell, row_gone, log_or_trace, objection, objection, lines_above, wording, notes, definitions, file_gone,
    picture, misspelt,
)  # fmt: skip


def edited(programs: Path, seed: int, count: int, edits: tuple[Edit, ...] = EDITS) -> Iterator[str]:
    """Edit a folder so many times, each at random; a third of the time go back to how everything was."""
    random = Random(seed)  # noqa: S311
    with tempfile.TemporaryDirectory() as held:
        first = Path(held) / "first"
        shutil.copytree(programs, first)
        for _ in range(count):
            if random.random() < 0.15:
                shutil.rmtree(programs)
                shutil.copytree(first, programs)
                yield "as it was"
            else:
                yield random.choice(edits)(programs, random)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--edits", type=int, default=20)
    asked.add_argument("--seed", type=int, default=1)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as held:
        programs, shelf = copied(Path(held)), Path(held) / "shelf"
        bad = 0
        for number, what in enumerate(edited(programs, options.seed, options.edits), start=1):
            if number % 3 == 0:
                put_results(programs)
            differ = differences(programs, None, shelf)
            bad += bool(differ)
            print(f"{number:3} {what}: {', '.join(differ[:6]) or 'the same'}", flush=True)
        print(f"{options.edits} edits, {bad} with a difference")


if __name__ == "__main__":
    main()
