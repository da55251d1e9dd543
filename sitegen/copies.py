"""Work shared with copies of this process, which have in memory all that it has.

Nothing has to be handed over but what was made: a copy (fork) begins with every reading, value and template that was
there, takes the next thing to do until none is left, and puts what it made into a file without a name. Whoever dies on
the way has therefore cost time and nothing else: what is not there in the end is done by whoever asked, with the same
bytes and the same messages, and what goes wrong is told by whoever asked.
"""

from __future__ import annotations

import gc
import importlib
import os
import pickle
import signal
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, suppress
from typing import IO, Any, NoReturn, TypeVar

T = TypeVar("T")
R = TypeVar("R")
MOST = 4  # processes by default: beyond that what only one can do is waited for
_HEAVY = ("pandas", "scipy.special")
_TOKEN = 4  # bytes of the number of a thing to do


def processes() -> int:
    """How many processes help on this machine: its processors, one where a process cannot be copied."""
    if not _can_be_copied():
        return 1
    return min(len(os.sched_getaffinity(0)), MOST)


def _can_be_copied() -> bool:
    """Whether this process may be copied: with threads of its own, what they hold would be held for ever in the copy.

    Elsewhere than on Linux, libraries of the system do not bear it.
    """
    return sys.platform == "linux" and threading.active_count() == 1


def shared(work: Callable[[T], R], of: Sequence[T], processes: int) -> list[R]:
    """What `work` gives of each, in order; what takes longest should come first. Raises whatever `work` raises.

    What is made has to bear being pickled; it travels between copies of one process only. What `work` leaves in
    memory beside that is there for what was done here alone.
    """
    copies = min(processes, len(of)) - 1
    if copies < 1 or not _can_be_copied():
        return [work(each) for each in of]
    for name in _HEAVY:
        importlib.import_module(name)  # else every copy would load it
    made: dict[int, R] = {}
    with ExitStack() as stack:
        gc.freeze()  # else looking for garbage would touch, and so copy, all of the memory
        stack.callback(gc.unfreeze)
        try:
            waiting = _waiting(len(of), stack)
            others = [_Copy(lambda place: work(of[place]), waiting, stack) for _ in range(copies)]
        except OSError:  # nowhere to put anything
            return [work(each) for each in of]
        for place in _next(waiting):
            made[place] = work(of[place])
        for other in others:
            made.update(other.made())
    return [made[place] if place in made else work(each) for place, each in enumerate(of)]


def _waiting(count: int, stack: ExitStack) -> IO[bytes]:
    """The numbers of what is to be done, for whoever takes the next one first."""
    numbers = stack.enter_context(tempfile.TemporaryFile(buffering=0))  # noqa: SIM115 - the stack closes it
    numbers.write(b"".join(place.to_bytes(_TOKEN, "big") for place in range(count)))
    numbers.seek(0)  # copies share the place up to which it is read
    return numbers


def _next(waiting: IO[bytes]) -> Iterator[int]:
    while token := waiting.read(_TOKEN):
        yield int.from_bytes(token, "big")


class _Copy:
    """A copy of this process at work."""

    def __init__(self, work: Callable[[int], object], waiting: IO[bytes], stack: ExitStack) -> None:
        self._file = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115 - the stack closes it
        asked = os.getpid()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of idle threads of numerical libraries
            try:
                self._id = os.fork()
            except OSError:  # no more processes or memory: the others do it
                self._id = -1
        if self._id == 0:
            _work(work, waiting, self._file, asked)
        self._over = self._id < 0
        stack.callback(self._end)

    def made(self) -> Iterator[tuple[int, Any]]:
        """What it made, by number, once it is done."""
        if not self._over:
            os.waitpid(self._id, 0)
            self._over = True
        self._file.seek(0)
        with suppress(EOFError, pickle.UnpicklingError):  # to its end, or to where it died
            while True:
                yield pickle.load(self._file)  # noqa: S301 - a file without a name, written by our own copy

    def _end(self) -> None:
        if not self._over:
            with suppress(OSError):
                os.kill(self._id, signal.SIGKILL)
                os.waitpid(self._id, 0)


def _work(work: Callable[[int], object], waiting: IO[bytes], file: IO[bytes], asked: int) -> NoReturn:
    """The life of a copy."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # of a terminal: whoever asked decides
        for place in _next(waiting):
            if os.getppid() != asked:  # nobody is there any more
                break
            whole = file.tell()
            try:
                pickle.dump((place, work(place)), file, protocol=pickle.HIGHEST_PROTOCOL)
            except Exception:  # told by whoever asked, who does it once more
                file.seek(whole)
                file.truncate()
        file.flush()
    finally:
        os._exit(0)  # nothing of what the process it is a copy of would do at its end
