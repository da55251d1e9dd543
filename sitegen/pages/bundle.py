"""The script every page with charts loads: the compiled drawings and what paints them.

Compiling costs a second, so the drawings are kept in the user's cache folder under a name that holds their source
and the library versions; without a cache they are made each time. What compiles takes 150 MB and gives none of it back,
so it is a process of its own.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path

from sitegen import places
from sitegen.cache import cache_folder, keep, kept
from sitegen.regular import there

# Only what the drawings depend on may stand here: a change of any of these files means compiling anew.
_SOURCES = ("kinds.py", "styles.py", "compiled.py", "bundle.py")
_LIBRARIES = ("altair", "vl-convert-python")


def chart_script(cache: Path | None = None) -> bytes:
    """A classic script that sets `sitegenDrawings` and `sitegenPaint`.

    `cache` is the folder to keep the drawings in; by default the user's own.
    """
    path = _place(cache)
    drawings = kept(path)
    if drawings is None:
        drawings = _drawings()
        keep(path, drawings)
    painter = (places.theme() / "painter.js").read_bytes().replace(b"\r\n", b"\n")
    return drawings + painter


def _place(cache: Path | None) -> Path:
    folder = cache_folder() if cache is None else cache
    return folder / f"drawings-{_key()}.js"


_COMPILES = "import sys; from sitegen.pages import bundle; sys.stdout.buffer.write(bundle.compiled())"
_begun: list[subprocess.Popen[bytes]] = []  # processes that compile


@contextmanager
def ahead() -> Iterator[None]:
    """Have the drawings compiled, where they are not kept, while other things are done."""
    if not there(_place(None)):
        _begin()
    try:
        yield
    finally:
        while _begun:  # nobody asked for them
            _begun[-1].kill()
            _begun.pop().communicate()


def _begin() -> None:
    ours = os.pathsep.join(filter(None, sys.path))
    with suppress(OSError):
        _begun.append(subprocess.Popen(  # noqa: S603 - ourselves; -P: with no modules of the folder this is run in
            [sys.executable, "-P", "-c", _COMPILES], env={**os.environ, "PYTHONPATH": ours},
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        ))  # fmt: skip


def _apart() -> bytes:
    """The drawings as another process compiles them; empty where that does not come about, and this one has to."""
    if not _begun:
        _begin()
    if not _begun:
        return b""
    process = _begun.pop()
    made, _ = process.communicate()
    return made if process.returncode == 0 else b""


def _key() -> str:
    digest = hashlib.sha256()
    for source in _SOURCES:
        digest.update((Path(__file__).parent / source).read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()[:16]


def specifications() -> dict[str, dict[str, object]]:
    """The Vega specification of every kind, by name."""
    import vl_convert

    from sitegen.pages.kinds import drawings

    return {name: vl_convert.vegalite_to_vega(each) for name, each in sorted(drawings().items())}


def _drawings() -> bytes:
    return _apart() or compiled()


def compiled() -> bytes:
    """The drawings as a classic script."""
    from sitegen.pages.compiled import drawing

    parts = ",\n".join(f'"{name}":{drawing(spec)}' for name, spec in specifications().items())
    return f'window.sitegenDrawings=function(f){{"use strict";return {{\n{parts}}};}};\n'.encode()
