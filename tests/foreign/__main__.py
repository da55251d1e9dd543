"""`python -m foreign`: a table of files as other people write them, what `look` says, what is read and what is told."""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import yaml

from foreign.cases import CASES
from foreign.trying import Case, Found, tried


def _proposed(case: Case, found: Found) -> str:
    """What `look` states, and how much it asks."""
    if not case.look:
        return ""
    if not found.proposed:
        if row := re.search(r"^  (trace,.*)\n  (.*)$", found.said, re.MULTILINE):
            cells = zip(row[1].split(","), row[2].split(","), strict=True)
            return "a trace; ? " + ", ".join(name for name, cell in cells if cell == "?")
        lines = [line.strip() for line in found.said.splitlines() if line.strip()]
        at = next((n for n, line in enumerate(lines) if line.startswith("No entry")), -1)
        return f"no entry: {lines[at + 1].rstrip('.')}"
    ((entry,),) = yaml.safe_load(found.proposed).values()
    uses = entry.get("channels") or entry.get("columns") or {}
    headers = {name: use.get("header", "?") if isinstance(use, dict) else use for name, use in uses.items()}
    stated = [name for name, header in headers.items() if header != "?"]
    flat = yaml.safe_dump(entry, default_style='"')
    return f"{', '.join(stated) or 'nothing'}; {flat.count(chr(34) + '?' + chr(34))} ?"


def _read(case: Case, found: Found) -> str:
    if not case.entry:
        return "no place for it"
    tally = found.tally()
    if case.refused and not tally["used"]:
        return "refused"
    what = "points" if found.readings.traces else "rows"
    words = {"set_aside": "set aside", "nothing": "without a reading"}
    rest = "".join(f", {tally[key]} {word}" for key, word in words.items() if tally[key])
    return f"{tally['used']} of {case.rows} {what}{rest}"


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m foreign", description=__doc__)
    parser.add_argument("--kind", default="", help="of record: those cases alone")
    asked = parser.parse_args(arguments)
    print("| case | look states; leaves open | read | told |\n|---|---|---|---|")
    for case in CASES:
        if asked.kind in {"", case.kind}:
            with tempfile.TemporaryDirectory() as folder:
                found = tried(case, Path(folder) / "programs")
            told = ", ".join(f"{code} ({n})" if n > 1 else code for code, n in Counter(found.told).items())
            print(f"| {case.name} | {_proposed(case, found)} | {_read(case, found)} | {told} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
