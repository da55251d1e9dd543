"""The two scripts every page with charts loads: the compiled drawings and the drawing library.

Both are made when the site is published. Making them costs a second or two, so they are kept in the user's cache
folder under a name that holds the drawings' source and the library versions; without a cache they are made each time.
"""

from __future__ import annotations

import hashlib
import json
from importlib.metadata import version
from pathlib import Path

from sitegen.cache import cache_folder, keep, kept

# Only what the drawings depend on may stand here: a change of any of these files means compiling anew.
_SOURCES = ("kinds.py", "styles.py", "bundle.py")
_LIBRARIES = ("altair", "vl-convert-python")
# `vegaEmbed` is all that is needed; the function around it keeps 2 500 names of the library out of the page.
_HEAD, _TAIL = "(function(){", "})();\n"


def chart_scripts(cache: Path | None = None) -> tuple[bytes, bytes]:
    """Drawings and library, as two classic scripts that set `sitegenCharts` and `sitegenEmbed`.

    `cache` is the folder to keep them in; by default the user's own.
    """
    folder = cache_folder() if cache is None else cache
    key = _key()
    names = (f"drawings-{key}.js", f"library-{key}.js")
    before = [kept(folder / name) for name in names]
    if before[0] is not None and before[1] is not None:
        return before[0], before[1]
    made = (_drawings(), _library())
    for name, content in zip(names, made, strict=True):
        keep(folder / name, content)
    return made


def _key() -> str:
    digest = hashlib.sha256()
    for source in _SOURCES:
        digest.update((Path(__file__).parent / source).read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()[:16]


def _drawings() -> bytes:
    import vl_convert

    from sitegen.pages.kinds import drawings

    compiled = {name: vl_convert.vegalite_to_vega(drawing) for name, drawing in drawings().items()}
    text = json.dumps(compiled, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return f"window.sitegenCharts={text};\n".encode()


def _library() -> bytes:
    import vl_convert

    bundle = vl_convert.javascript_bundle(snippet="window.sitegenEmbed = vegaEmbed;")
    return (_HEAD + bundle + _TAIL).encode()
