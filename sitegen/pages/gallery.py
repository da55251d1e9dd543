"""Pictures and other files of a site, named by their content and collected while pages are made."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from sitegen.page.addresses import slug
from sitegen.page.words import number
from sitegen.pictures import Picture, PictureFault, picture

_UNITS = ((1e-4, 1e-6, "µm"), (1e-2, 1e-3, "mm"), (1.0, 1e-2, "cm"), (math.inf, 1.0, "m"))  # shorter than, unit, name


@dataclass(frozen=True)
class Scale:
    """Scale bar of a picture."""

    share: float  # % of the picture's width
    length: str  # "0.5 mm"


@dataclass(frozen=True)
class Hung:
    """A picture of the site with the paths of its two files."""

    picture: Picture
    small: str
    full: str


@dataclass
class Gallery:
    """Turns image files of a programs folder into files of the site; each is made once."""

    folder: str  # of the programs
    files: dict[str, bytes] = field(default_factory=dict)  # path in the site -> content
    _hung: dict[str, Hung | None] = field(default_factory=dict)

    def put(self, source: str) -> Hung | None:
        """The published picture of a file; None where it has gone or changed for the worse since it was checked."""
        if source not in self._hung:
            self._hung[source] = self._hang(source)
        return self._hung[source]

    def take(self, source: str) -> str:
        """Path in the site of any other file, taken along as it is; "" where it cannot be read any more."""
        try:
            content = (Path(self.folder) / source).read_bytes()
        except OSError:
            return ""
        name = PurePosixPath(source)
        digest = hashlib.sha256(content).hexdigest()[:12]
        path = f"assets/files/{slug(name.stem)[:60]}-{digest}{name.suffix.lower()}"
        self.files[path] = content
        return path

    def _hang(self, source: str) -> Hung | None:
        try:
            made = picture(Path(self.folder) / source)
        except PictureFault:
            return None
        hung = Hung(made, f"assets/images/{made.thumbnail_name}", f"assets/images/{made.full_name}")
        self.files[hung.small], self.files[hung.full] = made.thumbnail, made.full
        return hung


def scale_of(width: float | None) -> Scale | None:
    """Scale bar for a picture of this width [m]: a round length of about a quarter of it; None without a width.

    >>> scale_of(2.4e-3), [scale_of(each).length for each in (90e-6, 6e-3, 0.09)], scale_of(None)
    (Scale(share=20.83, length='0.5 mm'), ['20 µm', '1 mm', '2 cm'], None)
    """
    if width is None or not width > 0:
        return None
    target = width / 4
    ten = 10.0 ** math.floor(math.log10(target))
    length = max(step * ten for step in (1, 2, 5) if step * ten <= target * (1 + 1e-9))
    unit, name = next((unit, name) for below, unit, name in _UNITS if length < below * (1 - 1e-9))
    shown = length / unit
    return Scale(round(100 * length / width, 2), f"{number(shown, 0 if shown >= 1 else 1)} {name}")
