"""Bins of logs while nobody looks at them: those of the logs looked at last stay in memory, others lie in a file.

A long log has tens of megabytes of bins, and steps look at one build after the other. The file has no name and is gone
with the process; what cannot be written stays in memory. Numbers come back bit for bit.
"""

from __future__ import annotations

import mmap
import tempfile
import threading
import weakref
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from sitegen.memory import give_back

if TYPE_CHECKING:
    import pandas as pd

MOST = 16 << 20  # bytes of bins in memory, until which nothing is put aside
LEAST = 1 << 20  # of one log, below which its bins stay where they are
_LOCK = threading.RLock()
_recent: dict[int, weakref.ref[Held]] = {}  # those in memory, the one looked at last at the end


class Held:
    """The bins of one log."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._frame = frame
        arrays = [frame[name].to_numpy() for name in frame.columns]
        self._own = list({_place(each): each for each in arrays}.values())  # least and most may be the means
        places = {_place(each): n for n, each in enumerate(self._own)}
        self._layout = [(name, places[_place(each)]) for name, each in zip(frame.columns, arrays, strict=True)]
        self._file: mmap.mmap | None = None
        self._begin = 0
        self.size = sum(each.nbytes for each in self._own)
        plain = all(each.dtype == np.float64 for each in self._own)
        self._apart = plain and self.size >= LEAST and frame.index.equals(type(frame.index)(range(len(frame))))

    def __reduce__(self) -> tuple[Callable[..., Held], tuple[object, ...]]:
        return (_taken_over, (self._layout, self._own)) if self._apart else (Held, (self._frame,))

    @property
    def frame(self) -> pd.DataFrame:
        """The bins as a table."""
        if self._apart:
            _looked_at(self)
        return self._frame

    @property
    def written(self) -> bool:
        """Whether the bins lie in a file."""
        return self._file is not None

    def write(self, file: mmap.mmap, begin: int) -> None:
        """Take the bins from a file where they stand from now on."""
        import pandas as pd

        rows = len(self._frame)
        held = np.frombuffer(file, np.float64, rows * len(self._own), begin).reshape(len(self._own), rows)
        self._file, self._begin, self._own = file, begin, list(held)
        self._frame = pd.DataFrame({name: held[n] for name, n in self._layout}, copy=False)

    def bytes(self) -> Sequence[memoryview]:
        """What is to be written."""
        return [np.ascontiguousarray(each).data for each in self._own]

    def rest(self) -> None:
        """Let the memory go that the file stands for: it is read again where somebody looks."""
        if self._file is not None and hasattr(mmap, "MADV_DONTNEED"):
            self._file.madvise(mmap.MADV_DONTNEED, self._begin, self.size)


def _taken_over(layout: Sequence[tuple[str, int]], own: Sequence[npt.NDArray[np.float64]]) -> Held:
    """The bins of a log that another process has read, as if it was looked at here."""
    import pandas as pd

    held = Held(pd.DataFrame({name: own[place] for name, place in layout}, copy=False))
    _looked_at(held)
    return held


def _place(array: npt.NDArray[np.float64]) -> tuple[int, tuple[int, ...]]:
    return array.__array_interface__["data"][0], array.strides


def _looked_at(held: Held) -> None:
    """Remember that somebody looks; where that is too much in all, put aside what nobody looked at for longest."""
    with _LOCK:
        _recent.pop(id(held), None)
        own = {key: one for key, each in _recent.items() if (one := each()) is not None}
        _recent.clear()
        total = held.size + sum(each.size for each in own.values())
        rested = []
        if total > MOST:
            for key, each in [*own.items()]:
                if total <= MOST // 2:
                    break
                total -= each.size
                rested.append(own.pop(key))
        _recent.update((key, weakref.ref(each)) for key, each in own.items())
        _recent[id(held)] = weakref.ref(held)
        _put_aside(rested)


def _put_aside(rested: Sequence[Held]) -> None:
    """Together, since each file takes a descriptor."""
    new = [each for each in rested if not each.written]
    begins, end = [], 0
    try:
        with tempfile.TemporaryFile(prefix="sitegen-") as file:
            for each in new:
                end += -end % mmap.PAGESIZE
                begins.append(end)
                file.seek(end)
                for part in each.bytes():
                    file.write(part)
                end += each.size
            if new:
                file.flush()
                mapped = mmap.mmap(file.fileno(), end, access=mmap.ACCESS_READ)
                for each, begin in zip(new, begins, strict=True):
                    each.write(mapped, begin)
    except OSError:
        return  # no room for it on the disk: it stays in memory
    for each in rested:
        each.rest()
    if new:
        give_back()
