"""Pictures and other files of a site, named by their content and collected while pages are made."""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from sitegen.page.addresses import slug
from sitegen.page.words import number
from sitegen.pictures import Picture, PictureFault, picture
from sitegen.regular import read_regular

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
    attached: bool = True  # whether other files are taken along
    files: dict[str, bytes] = field(default_factory=dict)  # path in the site -> content
    _hung: dict[str, Hung | None] = field(default_factory=dict)
    _asked: dict[tuple[str, str], str] = field(default_factory=dict)

    def asked(self) -> dict[tuple[str, str], str]:
        """Files put up or taken along since this was last called, and what the site calls them."""
        found, self._asked = self._asked, {}
        return found

    def again(self, way: str, source: str) -> str:
        """Put up or take along a file of a page that is kept; what the site calls it now."""
        return self.take(source) if way == "take" else _name(self.put(source))

    def put(self, source: str) -> Hung | None:
        """The published picture of a file; None where it has gone or changed for the worse since it was checked."""
        if source not in self._hung:
            self._hung[source] = self._hang(source)
        hung = self._hung[source]
        self._asked["put", source] = _name(hung)
        return hung

    def light(self, source: str) -> float | None:
        """How bright a picture is on the mean, as a share of white; None where it cannot be read."""
        hung = self.put(source)
        if hung is None:
            return None
        from PIL import Image  # slow to import, and most sites hold no pictures of one place

        with Image.open(io.BytesIO(self.files[hung.small])) as image:
            counts = image.convert("L").histogram()
        return sum(n * linear(code / 255) for code, n in enumerate(counts)) / sum(counts)

    def take(self, source: str) -> str:
        """Path in the site of any other file, taken along as it is; "" where it cannot be read any more."""
        self._asked["take", source] = ""
        if not self.attached:
            return ""
        try:
            content = read_regular(Path(self.folder) / source, Path(self.folder))
        except OSError:
            return ""
        name = PurePosixPath(source)
        digest = hashlib.sha256(content).hexdigest()[:12]
        path = f"assets/files/{slug(name.stem)[:60]}-{digest}{name.suffix.lower()}"
        self.files[path] = content
        self._asked["take", source] = path
        return path

    def _hang(self, source: str) -> Hung | None:
        try:
            made = picture(Path(self.folder) / source)
        except PictureFault:
            return None
        hung = Hung(made, f"assets/images/{made.thumbnail_name}", f"assets/images/{made.full_name}")
        self.files[hung.small], self.files[hung.full] = made.thumbnail, made.full
        return hung


def _name(hung: Hung | None) -> str:
    return "" if hung is None else f"{hung.small} {hung.full}"


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


# ---- whether pictures of one place compare --------------------------------------------------------------------------

MOST_SCALES = 4.0  # times as wide as the narrowest: beyond it nothing would be seen on the other at one scale
STOP = 2.0  # times as bright: one step of exposure, as cameras count it (common practice, no source)


def linear(code: float) -> float:
    """Light of an sRGB code value, both as shares of white (IEC 61966-2-1:1999, 5.2).

    >>> linear(1.0), round(linear(0.5), 4), round(linear(0.02), 6)
    (1.0, 0.214, 0.001548)
    """
    return code / 12.92 if code <= 0.04045 else ((code + 0.055) / 1.055) ** 2.4


def not_to_scale(widths: Sequence[float | None]) -> str:
    """Why pictures of these widths [m] cannot stand at one scale; "" where they can.

    >>> not_to_scale([1.8e-3, None]), not_to_scale([1.8e-3, 2.4e-3])
    ('in size: the width of a picture was not recorded', '')
    """
    known = [width for width in widths if width]
    if len(known) < len(widths):
        return "in size: the width of a picture was not recorded"
    least, most = min(known), max(known)
    if most <= MOST_SCALES * least:
        return ""
    return f"in size: one shows {number(1e3 * least)} mm, another {number(1e3 * most)} mm"


def not_alike_lit(lights: Sequence[float]) -> str:
    """Why pictures do not compare by how bright or dark they are; "" where they differ by less than a stop."""
    if len(lights) < 2 or max(lights) < STOP * min(lights):
        return ""
    times = number(max(lights) / max(min(lights), 1e-6), 1)
    return f"in brightness: one is {times} times as bright as another, by its light or by its surface"
