"""One folder read, and what may never happen."""

from __future__ import annotations

import io
import resource
import signal
import tempfile
import time
import traceback
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from fuzz import markup
from fuzz.breaking import Broken, case
from sitegen import workflow
from sitegen.cli import main

MOST_SECONDS = 10.0  # of the processor, for each command
MOST_MEMORY = 256  # MB more than the process had


class TooLong(BaseException):
    """The time is up."""


@dataclass(frozen=True)
class Outcome:
    """What became of a folder."""

    kind: str
    status: int
    analysed: bool
    seconds: float  # of the slowest command
    memory: float  # MB
    wrong: str = ""  # "" where nothing is wrong


def one(seed: int) -> tuple[int, Outcome]:
    """The case of a seed; every twentieth is published, of those with harmful texts every twelfth."""
    broken = case(seed)
    return seed, tried(broken, publish=seed // 10 % (12 if broken.kind == "texts" else 20) == 0)


def tried(broken: Broken, *, publish: bool = False) -> Outcome:
    """`check` of the folder and what it would conclude, or `publish` and `sheets` of it."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "programs"
        for name, content in broken.files.items():
            path = home / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        return _told(broken, home, publish)


def _told(broken: Broken, home: Path, publish: bool) -> Outcome:
    said = io.StringIO()
    before = _fresh_peak()
    status, analysed, wrong = 3, False, ""
    begun: list[float] = []  # of each command, by the clock of the processor

    def up(*_: object) -> None:
        raise TooLong

    def command() -> None:
        begun.append(time.process_time())
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)

    held = signal.signal(signal.SIGPROF, up)
    try:
        with redirect_stdout(said), redirect_stderr(said):
            command()
            examination = workflow.examine(home)
            wrong = _lost(broken, examination)
            analysed = not examination.blocked
            if publish:
                command()
                status = main(["publish", str(home), "--to", str(home.parent / "site")])
                command()
                wrong = wrong or _sheets(home)
            else:
                status = 1 if examination.blocked else 0
                if analysed:
                    workflow.conclude(examination)
        if publish and (status == 0) != analysed:
            wrong = wrong or f"status {status}, though check {'passes' if analysed else 'refuses'}"
    except SystemExit as ended:
        status = int(ended.code or 0)
    except TooLong:
        wrong = f"more than {MOST_SECONDS:g} s"
    except Exception:
        wrong = traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, held)
    seconds = max(end - begin for begin, end in pairwise([*begun, time.process_time()]))
    memory = _peak() - before
    if status not in {0, 1, 2} or "Traceback" in said.getvalue():
        wrong = wrong or f"status {status}: {said.getvalue()[-3000:]}"
    if memory > MOST_MEMORY:
        wrong = wrong or f"{memory:.0f} MB"
    if publish and status in {0, 1}:
        harm = markup.of_site(home.parent / "site") + [
            each for path in home.rglob("results/*.csv") for each in markup.formulas(path)
        ]
        wrong = wrong or (f"not a text any more: {harm[:5]}" if harm else "")
    return Outcome(broken.kind, status, analysed, seconds, memory, wrong)


def _sheets(home: Path) -> str:
    """Field sheets of the first program: what is wrong with how they ended."""
    for path in sorted(home.glob("*/program.yaml"))[:1]:
        ended = main(["sheets", "--to", str(home.parent / "site" / "printed"), "--", str(path.parent)])
        return "" if ended in {0, 1} else f"sheets: status {ended}"
    return ""


def _lost(broken: Broken, examination: workflow.Examination) -> str:
    """What is wrong with the rows of the table: read, set aside and not yet taken are all there are."""
    for each in examination.evidence:
        for readings in each.readings.values():
            facts = readings.files.get(broken.table)
            if facts is None or examination.blocked:
                continue
            if facts["used"] + facts["set_aside"] != facts["rows"]:
                return f"{facts} do not add up"
            found = facts["rows"] + facts.get("not_taken", 0)
            if broken.rows is not None and found != broken.rows:
                return f"{broken.rows} rows in the file, {found} accounted for"
    return ""


def _fresh_peak() -> float:
    """Memory now [MB], from which the peak is counted anew."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")
    return _peak()


def _peak() -> float:
    """Most memory so far [MB]."""
    try:
        told = Path("/proc/self/status").read_text()
        return int(told.split("VmHWM:")[1].split()[0]) / 1024
    except (OSError, IndexError):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
