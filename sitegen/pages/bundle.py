"""The script every page with charts loads: the compiled drawings and what paints them.

Compiling costs a second, so the drawings are kept in the user's cache folder under a name that holds their source
and the library versions; without a cache they are made each time.
"""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path

from sitegen import places
from sitegen.cache import cache_folder, keep, kept

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


def there() -> bool:
    """Whether the drawings seem to lie in the user's cache folder."""
    return _place(None).is_file()


def _place(cache: Path | None) -> Path:
    folder = cache_folder() if cache is None else cache
    return folder / f"drawings-{_key()}.js"


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
    from sitegen.pages.compiled import drawing

    parts = ",\n".join(f'"{name}":{drawing(spec)}' for name, spec in specifications().items())
    return f'window.sitegenDrawings=function(f){{"use strict";return {{\n{parts}}};}};\n'.encode()
