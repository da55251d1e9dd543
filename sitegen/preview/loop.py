"""Makes the site anew whenever a file changes, until it is told to stop."""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from sitegen import problems, workflow
from sitegen.preview.server import LOOPBACK, Board, Server
from sitegen.preview.watching import Stamp, stamp
from sitegen.problems import counted
from sitegen.progress import Line
from sitegen.shelves import NONE, Shelves, of_user

_PAUSE = 0.05  # s between two looks at the files
_SETTLE = 0.05  # s a file has to stay as it is: editors write in several steps


def preview(folder: Path, theme: Path | None, port: int, ready: Callable[[int], None] | None = None) -> None:
    """Serve the site of `folder` until interrupted (KeyboardInterrupt). Writes no file.

    `ready` is told the port once it answers. Raises server.PortTaken.
    """
    board = Board()
    server = Server(board, port)
    print(f"Preview at http://{LOOPBACK}:{server.port}/ for this machine only. Ctrl-C stops it.")
    print("Nothing is written: results and the site are written by sitegen publish.", flush=True)
    server.start()
    if ready is not None:
        ready(server.port)
    made: Stamp | None = None
    try:
        kept = Shelves(of_user().folder, memory=True)
        while True:
            now = _settled(folder, theme) if made is None or stamp(folder, theme) != made else made
            if now != made:
                made = now
                _make(folder, theme, board, kept)
                kept.tidy()
            time.sleep(_PAUSE)
    finally:
        server.stop()


def _settled(folder: Path, theme: Path | None) -> Stamp:
    """The stamp of the files once nobody writes them any more."""
    before = stamp(folder, theme)
    while True:
        time.sleep(_SETTLE)
        now = stamp(folder, theme)
        if now == before:
            return now
        before = now


def _make(folder: Path, theme: Path | None, board: Board, kept: Shelves = NONE) -> None:
    from sitegen.pages.site import ThemeError

    began = time.monotonic()
    try:
        with Line(sys.stderr) as tell:
            examination = workflow.examine(folder, tell, kept)
            before = board.shown.site
            stopped = workflow.nothing_stands(examination, before)
            if not stopped:
                rendered = workflow.render(examination, theme, tell, before=before)
    except ThemeError as problem:
        _complain(board, "The theme has a mistake", str(problem))
        return
    except Exception:  # whatever it is, the person at the browser has to see it, and the next change may mend it
        traceback.print_exc()
        fault = traceback.format_exc(limit=0).strip()
        _complain(board, "This is a fault in sitegen, not in your files", fault)
        return
    text = problems.as_text(examination.problems) if examination.problems else ""
    wrong = len(problems.errors(examination.problems))
    heading = f"{counted(wrong, 'error')} in the files" if wrong else ""
    if stopped:
        _complain(board, heading, text)
        return
    stood = [*rendered.told.stood]
    if stood:
        heading += f"; {' and '.join(stood)} {'are as they last were' if stood[1:] else 'is as it last was'}"
    board.show(rendered.site, heading, text if wrong else "")
    if text:
        print(text, file=sys.stderr)
    pages = sum(name.endswith(".html") for name in rendered.site)
    print(f"Made {pages} pages in {time.monotonic() - began:.1f} s.", flush=True)


def _complain(board: Board, heading: str, text: str) -> None:
    last = "; the pages are as they last were" if board.shown.site else ""
    board.complain(heading + last, text)
    print(f"{text}\n{heading}{last}.", file=sys.stderr, flush=True)
