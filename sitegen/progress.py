"""What is being done just now, on one line of a terminal; silent where nobody watches."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from typing import TextIO

Tell = Callable[[str], None]


def untold(text: str) -> None:
    """Say nothing: for those who only want the outcome."""


class Line:
    """One line that is written over; nothing is written where the stream is no terminal."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._on = stream.isatty()
        self._said = ""

    def __call__(self, text: str) -> None:
        """Put `text` in the place of what stands there; "" clears it."""
        if not self._on:
            return
        shown = text[: max(shutil.get_terminal_size().columns - 1, 10)]
        self._stream.write("\r" + shown.ljust(len(self._said)) + ("" if shown else "\r"))
        self._stream.flush()
        self._said = shown

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_: object) -> None:
        self("")
