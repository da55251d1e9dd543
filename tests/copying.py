"""What copies of a process do, tried in a process of its own, since one with threads is not copied.

`python copying.py CASE [FOLDER]` prints JSON; `test_copies.py` says what it should be.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from sitegen import copies, workflow
from sitegen.pages import press
from sitegen.results import run
from sitegen.shelves import NONE, Shelves

ASKED = os.getpid()


def slow_square(number: int) -> tuple[int, int]:
    """With who worked it out."""
    time.sleep(0.01)
    return number**2, os.getpid()


def in_order() -> Any:
    made = copies.shared(slow_square, range(200), 3)
    return [square for square, _ in made], len({who for _, who in made}), _children()


def dies() -> Any:
    """One that is killed in its second piece of work, and what it had done stays."""
    done = []

    def work(number: int) -> int:
        done.append(number)
        if os.getpid() != ASKED and len(done) == 2:
            os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(0.005)
        return number

    return copies.shared(work, range(60), 3), _children()


def raises() -> Any:
    """Only in a copy, so that what it leaves is done here; then everywhere."""

    def of_copies(number: int) -> int:
        if os.getpid() != ASKED:
            raise ValueError(number)
        return number

    def everywhere(number: int) -> int:
        if number == 5:
            raise ValueError("five")
        return number

    made = copies.shared(of_copies, range(20), 2)
    try:
        copies.shared(everywhere, range(20), 2)
    except ValueError as told:
        return made, str(told), _children()
    return made, "", _children()


def cannot_travel() -> Any:
    """What cannot be pickled is made here; what came before and after it in the same copy arrives."""
    done = []

    def work(number: int) -> Any:
        done.append(number)
        time.sleep(0.01)
        return (lambda: number) if number % 7 == 0 else number

    made = copies.shared(work, range(140), 2)
    return [each() if callable(each) else each for each in made], len(done) < 140


def with_a_thread() -> Any:
    thread = threading.Thread(target=time.sleep, args=(2,), daemon=True)
    thread.start()
    return copies.processes(), sorted({who == ASKED for _, who in copies.shared(slow_square, range(10), 4)})


def nowhere() -> Any:
    """No temporary file can be made, and then one that can hold nothing."""

    def none(*_: Any, **__: Any) -> NoReturn:
        raise FileNotFoundError(2, "No usable temporary directory found")

    real, tempfile.TemporaryFile = tempfile.TemporaryFile, none
    alone = [square for square, _ in copies.shared(slow_square, range(20), 2)]
    tempfile.TemporaryFile = real
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, resource.RLIM_INFINITY))
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    full = copies.shared(lambda number: bytes(1000) * number, range(20), 2)
    return alone == [number**2 for number in range(20)], full == [bytes(1000) * n for n in range(20)], _children()


def stopped() -> Any:
    """By the keyboard: no copy is left at work."""
    copies.shared(slow_square, range(4), 2)  # libraries are loaded: Python may lose what interrupts that
    signal.signal(signal.SIGALRM, signal.default_int_handler)
    signal.setitimer(signal.ITIMER_REAL, 1.0)
    try:
        copies.shared(time.sleep, [0.1] * 200, 3)
    except KeyboardInterrupt:
        return "stopped", _children()
    return "went on", _children()


def publishes(folder: str) -> Any:
    """A programs folder by one process and by three: the same bytes, each piece of work done once; with and without
    a cache, and where the first copy of each kind is killed.
    """
    programs, found = Path(folder), {}
    alone = _made(programs, NONE, 1)
    done = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - to the end of this process
    shared = copies.shared

    def noted(kill: bool) -> Callable[..., Any]:
        def way(work: Callable[[Any], Any], of: Sequence[Any], processes: int) -> Any:
            def once(each: Any) -> Any:
                os.write(done.fileno(), b".")
                if kill and os.getpid() != ASKED:
                    os.kill(os.getpid(), signal.SIGKILL)
                return work(each)

            asked.append(len(of))
            return shared(once, of, processes)

        return way

    for name, kept, kill in (("cache", True, False), ("no cache", False, False), ("killed", False, True)):
        asked: list[int] = []
        run.shared = press.shared = noted(kill)  # type: ignore[attr-defined]
        done.truncate(0)
        done.seek(0)
        with tempfile.TemporaryDirectory() as cache:
            same = _made(programs, Shelves(Path(cache)) if kept else NONE, 3) == alone
        done.seek(0)
        found[name] = same, len(done.read()) - sum(asked), sum(asked) > 20
    return found


def _made(programs: Path, kept: Shelves, processes: int) -> Any:
    rendered = workflow.render(workflow.examine(programs, shelves=kept, processes=processes), None)
    return rendered.site, *(each.files for each in rendered.conclusions), sorted(rendered.told.made)


def _children() -> bool:
    """Whether any copy is left."""
    try:
        os.waitpid(-1, os.WNOHANG)
    except ChildProcessError:
        return False
    return True


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]](*sys.argv[2:])))
