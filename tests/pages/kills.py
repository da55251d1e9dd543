"""Writers killed in the middle of writing, on a disk that is made slow so that the kill lands there.

`PYTHONPATH=tests python -m pages.kills --kills 300` kills publish, sheets and the cache so often each, and prints how
many kills fell inside writing, how many files were torn, how often the folder was partly new, and how often it did not
heal.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from sitegen.cache import keep, kept
from sitegen.publish import JOURNAL, MANIFEST, publish, unfinished
from sitegen.sheets.build import Sheets
from sitegen.sheets.folder import lay
from sitegen.writing import LOCK, STAGING

PAGES, TABLES, KEPT = 12, ("measures.csv", "verdicts.csv", "provenance.json"), 6
SLOW = ("write", "replace", "link", "fsync", "mkdir", "unlink", "rmdir")
PAUSE = 0.0015  # s, that each of these calls takes longer

Files = dict[str, bytes]


# ---- what is written -------------------------------------------------------------------------------------------------


def site(turn: int) -> Files:
    """A state of a site: every page loads an asset with the turn in its name."""
    word = f"state {turn}\n".encode()
    files = {f"assets/report-{turn}.css": b"/* " + word + b"*/" * 2000}
    for n in range(PAGES):
        files[f"programs/p/page-{n}.html"] = b"<html>" + word * 400 + b"</html>" + str(n).encode()
    if turn % 2:
        files["programs/p/now-and-then.html"] = b"<html>" + word * 10
    return files


def tables(turn: int) -> Files:
    """The results that belong to it."""
    return {name: f"{name} of state {turn}\n".encode() * 500 for name in TABLES}


def sheets(turn: int) -> Sheets:
    """Field sheets; a table of the same name always has the same content."""
    head = b'<html><meta name="generator" content="sitegen sheets">'
    pages = {f"B{n}/sheet.html": head + f"state {turn}\n".encode() * 400 for n in range(PAGES)}
    return Sheets(
        pages, {f"B{n}/{turn % 3}-leakdown.csv": f"table {turn % 3}\n".encode() * 200 for n in range(4)}, PAGES
    )


def entry(turn: int, n: int) -> bytes:
    """Something worth keeping."""
    return f"entry {n} of state {turn}\n".encode() * 2000


def write(kind: str, folder: Path, turn: int) -> None:
    """Bring a folder to a state."""
    if kind == "publish":
        publish(site(turn), folder / "site", {folder / "p" / "results": tables(turn)})
    elif kind == "sheets":
        lay(sheets(turn), folder / "sheets")
    else:
        for n in range(KEPT):
            keep(folder / "cache" / "kept" / str(n), entry(turn, n))


# ---- the writer that is killed --------------------------------------------------------------------------------------


def mother(folder: str) -> None:
    """For each line "kind turn" fork a writer on a slow disk, which says its process, its begin and its end."""
    for line in sys.stdin:
        kind, turn = line.split()
        child = os.fork()
        if child:
            os.waitpid(child, 0)
            print("gone", flush=True)
            continue
        print(f"{os.getpid()}", flush=True)
        for name in SLOW:
            setattr(os, name, _slow(getattr(os, name)))
        write(kind, Path(folder), int(turn))
        _SAY(1, b"done\n")
        os._exit(0)


_SAY = os.write
_began: list[bool] = []


def _slow(call: Callable[..., object]) -> Callable[..., object]:
    def slowly(*given: object, **named: object) -> object:
        if not _began:
            _began.append(True)
            _SAY(1, b"began\n")
        time.sleep(PAUSE)
        return call(*given, **named)

    return slowly


@contextlib.contextmanager
def writer(folder: Path) -> Iterator[Callable[[str, int, float], tuple[bool, float]]]:
    """Gives what has a state written, killed after some time [s]: whether it was done, and how long it took."""
    pipe = subprocess.PIPE
    tests = str(Path(__file__).parents[1])
    told = f"import sys; sys.path.insert(0, {tests!r}); from pages import kills; kills.mother({str(folder)!r})"
    command = [sys.executable, "-c", told]
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, bufsize=1, start_new_session=True) as own:
        assert own.stdin is not None
        assert own.stdout is not None
        into, out = own.stdin, own.stdout

        def killed(kind: str, turn: int, after: float) -> tuple[bool, float]:
            into.write(f"{kind} {turn}\n")
            child = int(out.readline())
            assert out.readline() == "began\n"
            began = time.monotonic()
            if after:
                time.sleep(after)
                with contextlib.suppress(ProcessLookupError):  # it was done sooner than the first one
                    os.kill(child, signal.SIGKILL)
            said = [out.readline()]
            while said[-1] != "gone\n":
                said.append(out.readline())
            return "done\n" in said, time.monotonic() - began

        try:
            yield killed
        finally:
            os.killpg(own.pid, signal.SIGKILL)


# ---- what lies there after it ---------------------------------------------------------------------------------------

OWN = (LOCK, JOURNAL, MANIFEST)


def lying(folder: Path) -> Files:
    """What a reader finds."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in OWN and STAGING not in str(path) and not path.name.startswith(".new-")
    }


def whole(kind: str, folder: Path, turn: int, before: int) -> Counter[str]:
    """What is to be said of a folder whose writer was killed on the way from a state to another."""
    found: Counter[str] = Counter()
    if kind == "publish":
        found += _of_publish(folder, turn, before)
    elif kind == "sheets":
        there = lying(folder / "sheets")
        states = [sheets(each) for each in range(turn + 1)]
        for path, content in there.items():
            own = {{**each.pages, **each.tables}.get(path) for each in states}
            found["torn"] += content not in own and path != "B0/0-leakdown.csv"
        found["torn"] += there.get("B0/0-leakdown.csv") != b"filled in"
        new = sum(there.get(path) == content for path, content in sheets(turn).pages.items())
        found["partly new"] += 0 < new < PAGES
    else:
        for n in range(KEPT):
            found["torn"] += kept(folder / "cache" / "kept" / str(n)) not in {entry(turn, n), entry(before, n)}
    return found


def _of_publish(folder: Path, turn: int, before: int) -> Counter[str]:
    found: Counter[str] = Counter()
    old, new = site(before), site(turn)
    there, results = lying(folder / "site"), lying(folder / "p" / "results")
    for path, content in there.items():
        retiring = path.startswith("assets/")
        found["torn"] += content not in {old.get(path), new.get(path)} and not retiring
    found["torn"] += sum(path not in there for path in old.keys() & new.keys())
    pages = {path for path in new if path.endswith(".html")}
    turns = {there[path].split(b"state ")[1].split(b"\n")[0].decode() for path in pages & there.keys()}
    found["asset gone"] += sum(f"assets/report-{each}.css" not in there for each in turns)
    found["torn"] += sum(results[name] not in {tables(before)[name], tables(turn)[name]} for name in TABLES)
    state = "new" if results == tables(turn) else "as they were" if results == tables(before) else "new in part"
    changed = {path for path in old.keys() | new.keys() if path.endswith(".html")}
    as_new = sum(there.get(path) == new.get(path) for path in changed)
    of_site = "new" if as_new == len(changed) else "as it was" if not as_new else "new in part"
    found["partly new"] += "new in part" in {state, of_site}
    said = unfinished(folder / "p" / "results")
    if said:
        found["told"] += 1
        true = f"they are {state}, and" in said and (f"is {of_site}" in said or "is new in part" in said)
        found["told wrongly"] += not true
    else:
        found["not told"] += state != of_site.replace("it was", "they were")
    return found


def left_over(folder: Path) -> list[str]:
    """Names of ours that nobody will ask for."""
    names = [path.name for path in folder.rglob(".*") if path.name != MANIFEST]
    return [name for name in names if not name.startswith(".new-")]  # of the cache: they go after a day


def healed(kind: str, folder: Path, turn: int) -> bool:
    """Whether the next writer brings all of it to the new state."""
    write(kind, folder, turn)
    if kind == "publish":
        publish(site(turn), folder / "site", {folder / "p" / "results": tables(turn)})
        right = lying(folder / "site") == site(turn) and lying(folder / "p" / "results") == tables(turn)
    elif kind == "sheets":
        there = lying(folder / "sheets")
        right = all(there.get(path) == content for path, content in sheets(turn).pages.items())
    else:
        right = all(kept(folder / "cache" / "kept" / str(n)) == entry(turn, n) for n in range(KEPT))
    return right and not left_over(folder)


def kill(kind: str, folder: Path, times: int, seed: int = 20260112) -> Counter[str]:
    """Kill a writer so often, at random moments of its writing; what was found is counted."""
    dice = random.Random(seed)  # noqa: S311 - moments, not secrets
    found: Counter[str] = Counter()
    os.environ["SITEGEN_CACHE"] = str(folder / "cache")
    write(kind, folder, 0)
    if kind == "sheets":
        (folder / "sheets" / "B0" / "0-leakdown.csv").write_bytes(b"filled in")
    with writer(folder) as killed:
        killed(kind, 1, 0.0)
        done, long = killed(kind, 2, 0.0)  # how long writing takes here, once all folders are there
        assert done
        before = 2
        for turn in range(3, 3 + times):
            done, _ = killed(kind, turn, dice.uniform(0.0, 0.9 * long))
            found["kills"] += 1
            found["inside writing"] += not done
            long *= 0.8 if done else 1.02  # a machine is not always as busy
            found += whole(kind, folder, turn, before)
            if turn % 3:  # now and then the next one takes up what two left
                found["not healed"] += not healed(kind, folder, turn)
            else:
                write(kind, folder, turn)
            before = turn
    return found


def main() -> None:
    """Print the counts of each kind of writer."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=300)
    times = parser.parse_args().kills
    for kind in ("publish", "sheets", "cache"):
        with tempfile.TemporaryDirectory() as folder:
            print(kind, json.dumps(kill(kind, Path(folder), times)), flush=True)


if __name__ == "__main__":
    main()
