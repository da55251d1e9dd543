"""Pictures from outside, opened with care and made into what a page may show.

Nothing of the file itself reaches the site: its pixels are decoded and encoded anew, so that no metadata (place, time,
device, author, text) travels along; what a colour profile says of them is worked into the pixels first. A picture is
refused before it is decoded where its header promises more than we take; whatever a decoder trips over is told as
damage, never raised further.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sitegen.cache import cache_folder, keep, kept
from sitegen.regular import open_regular

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from PIL.Image import Image
    from PIL.ImageCms import ImageCmsTransform

MOST_BYTES = 100_000_000  # of a file
MOST_PIXELS = 50_000_000  # a scanning camera's frame
MOST_ROOM = 4 * MOST_PIXELS  # bytes that decoding and turning it into grey or colour may take: one copy of the largest
MOST_SIDE = 30_000  # pixels
MOST_PROFILE = 4_000_000  # bytes of a colour profile; those of printing presses, the largest, have about 2 MB
THUMBNAIL = (600, 800)  # pixels, widest and highest
LOSSLESS_PIXELS = 4_000_000  # above it a picture that came without loss is published as JPEG after all
FORMATS = ("PNG", "JPEG", "TIFF")
_BAND = 250_000  # pixels worked on at a time
_MADE = 4  # of the way pictures are made: count up when it changes

_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"  # how files begin

# Pillow's names. Everything else is turned into one of the two that a page can show.
_GREY = frozenset({"1", "L"})
_LOSSY = frozenset({"JPEG", "MPO"})
_WIDE = frozenset({"I", "F", "I;16", "I;16L", "I;16B", "I;16N"})


class PictureFault(Exception):  # noqa: N818 - an answer for the user, not a fault of ours
    """Why a picture cannot be shown, as a code and a clause that goes on after its name."""

    def __init__(self, code: str, what: str, expected: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.expected = expected


@dataclass(frozen=True)
class Picture:
    """A picture as it is published."""

    full: bytes  # PNG or JPEG
    full_name: str  # hash of the content and ending
    thumbnail: bytes  # JPEG
    thumbnail_name: str
    width: int  # pixels, of the full picture
    height: int
    thumbnail_width: int
    thumbnail_height: int
    notes: tuple[str, ...] = ()  # what was done to it that a reader should know


def check(path: Path) -> None:
    """Raise PictureFault unless the file is a picture we can show, decoded to its last row."""
    content = _content(path)
    if _taken_up(content) is None:
        _decoded(content)


def picture(path: Path) -> Picture:
    """The picture in a file, as it is published; made once and kept by the hash of the file. Raises PictureFault.

    The same file gives the same bytes with the same version of the imaging library.
    """
    content = _content(path)
    before = _taken_up(content)
    if before is not None:
        return before
    made = _made(content)
    sizes = (made.width, made.height, made.thumbnail_width, made.thumbnail_height)
    head = json.dumps({"size": len(made.full), "sizes": sizes, "notes": made.notes}).encode()
    keep(_place(content), head + b"\n" + made.full + made.thumbnail)
    return made


# ---- the file -------------------------------------------------------------------------------------------------------


def _content(path: Path) -> bytes:
    try:
        with open_regular(Path(os.path.realpath(path))) as file:  # that no link leads out, `inside` has seen to
            size = os.fstat(file.fileno()).st_size
            if size > MOST_BYTES:
                raise PictureFault(
                    "image-too-large",
                    f"is a file of {size / 1e6:.0f} MB",
                    f"at most {MOST_BYTES / 1e6:.0f} MB",
                )
            return file.read(MOST_BYTES)
    except OSError as error:
        raise PictureFault("image-not-readable", f"cannot be read: {(error.strerror or 'unknown').lower()}") from error


def _place(content: bytes) -> Path:
    return cache_folder() / "pictures" / f"{hashlib.sha256(content).hexdigest()[:32]}-{_maker()}"


@cache
def _maker() -> str:
    return f"{_MADE}-{version('pillow')}"


def _taken_up(content: bytes) -> Picture | None:
    found = kept(_place(content))
    if found is None:
        return None
    head, _, data = found.partition(b"\n")
    try:
        facts: dict[str, Any] = json.loads(head)
        size, sizes, notes = int(facts["size"]), tuple(map(int, facts["sizes"])), tuple(map(str, facts["notes"]))
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    full, thumbnail = data[:size], data[size:]
    whole = 0 < size < len(data) and thumbnail.startswith(_JPEG) and full.startswith((_PNG, _JPEG))
    return _named(full, thumbnail, sizes, notes) if whole and len(sizes) == 4 and min(sizes) > 0 else None


def _named(full: bytes, thumbnail: bytes, sizes: Sequence[int], notes: tuple[str, ...]) -> Picture:
    """The names are those of the contents, never what somebody says they are."""
    ending = "png" if full.startswith(_PNG) else "jpg"
    width, height, small_width, small_height = sizes
    return Picture(
        full, f"{_hash(full)}.{ending}", thumbnail, f"{_hash(thumbnail)}.jpg",
        width, height, small_width, small_height, notes,
    )  # fmt: skip


# ---- from bytes to pixels -------------------------------------------------------------------------------------------


def _decoded(content: bytes) -> tuple[Image, bool, tuple[str, ...]]:
    """The first picture of a file, upright, in grey or colour of 8 bits; whether it came without loss; notes."""
    from PIL import Image, UnidentifiedImageError

    # What the library only warns of is either decided here by our own limits or part of metadata that is dropped.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            opened = Image.open(io.BytesIO(content), formats=FORMATS)
        except Image.DecompressionBombError as error:
            raise _too_many() from error
        except UnidentifiedImageError as error:
            raise PictureFault("image-of-no-kind", "is not an image", "a PNG, JPEG or TIFF file") from error
        except Exception as error:  # a decoder may raise anything on bytes made to harm it
            raise _damaged(error) from error
        with opened:
            width, height = opened.size
            if width * height > MOST_PIXELS or max(width, height) > MOST_SIDE:
                raise _too_many(width, height)
            try:
                made, lossless, notes = _upright(opened)
            except PictureFault:
                raise
            except Exception as error:
                raise _damaged(error) from error
    more = ("the first of several pictures in its file",) if _has_more(content) else ()
    return made, lossless, (*notes, *more)


def _too_many(width: int = 0, height: int = 0) -> PictureFault:
    size = f"has {width} × {height} pixels" if width else "has too many pixels"
    return PictureFault("image-too-large", size, f"at most {MOST_PIXELS / 1e6:.0f} million, and {MOST_SIDE} on a side")


def _damaged(error: Exception) -> PictureFault:
    cut = "truncated" in str(error).lower() or isinstance(error, EOFError)
    return PictureFault("image-damaged", "is cut short" if cut else "is damaged", "a whole PNG, JPEG or TIFF file")


def _upright(opened: Image) -> tuple[Image, bool, tuple[str, ...]]:
    from PIL import Image, ImageOps

    lossless = opened.format not in _LOSSY
    white_is_zero = opened.format == "TIFF" and _tag(opened, 262) == 0
    halved = _halved(opened)
    opened.load()
    orientation = _orientation(opened)
    _look_for_room(opened, orientation, 0, opened.size)  # a PNG may say so after its pixels
    made, notes = _eight_bits(opened, white_is_zero)
    if orientation:
        turned = Image.new("1", (1, 1)).getexif()
        turned[0x0112] = orientation
        made.info["exif"] = turned.tobytes()
        made = ImageOps.exif_transpose(made)
    made.info = {}  # what the file said besides its pixels stays behind; a copy would take as much again
    return made, lossless, (*halved, *notes)


# ---- room for it ----------------------------------------------------------------------------------------------------


def _halved(opened: Any) -> tuple[str, ...]:
    """See that there is room to decode it; a JPEG too large for that is decoded at half its size, which is told."""
    early = opened.format != "PNG" or "exif" in opened.info  # else to ask would decode it
    orientation, beside, size = _orientation(opened) if early else 0, _beside(opened), opened.size
    half = opened.format in _LOSSY and _room(opened, orientation) + beside > MOST_ROOM
    if half:
        opened.draft(opened.mode, tuple(side // 2 for side in size))
    _look_for_room(opened, orientation, beside, size)
    return ("shown at half its width and height, for it is large",) if half else ()


def _look_for_room(opened: Image, orientation: int, beside: int, size: tuple[int, int]) -> None:
    """Raise PictureFault where decoding a picture, of that size in its file, would take too much."""
    room = _room(opened, orientation) + beside
    if room > MOST_ROOM:
        most = size[0] * size[1] * MOST_ROOM / room / 1e6
        plain = f"{MOST_PIXELS / 1e6:.0f} million of plain grey or colour, stored upright"
        raise PictureFault(
            "image-too-large", f"has {size[0]} × {size[1]} pixels", f"at most {most:.0f} million of its kind ({plain})"
        )


def _room(opened: Any, orientation: int) -> int:
    """Bytes it takes to decode a picture and to turn it into grey or colour of 8 bits."""
    pixels: int = opened.width * opened.height
    each = 1 if opened.mode in {"1", "L", "P"} else 2 if opened.mode.startswith("I;16") else 4
    solid = not opened.has_transparency_data
    made = 1 if opened.mode in _WIDE or (opened.mode in _GREY and solid) else 4
    made = 0 if opened.mode in {"L", "RGB"} and solid else made
    turned = (made or each) if orientation else 0
    return pixels * (each + made + turned)


def _beside(opened: Any) -> int:
    """Bytes a decoder takes beside the pixels."""
    if opened.format in _LOSSY and _in_parts(opened):  # the coefficients of the whole picture, of 16 bits
        dense = max((across * down for _, across, down, _ in opened.layer), default=1)
        share = sum(across * down for _, across, down, _ in opened.layer) / dense
        return int(2 * opened.width * opened.height * share)
    if opened.format == "TIFF" and opened.info.get("compression") != "raw":  # a strip or tile
        width, height = _tag(opened, 322) or opened.width, _tag(opened, 323) or _tag(opened, 278) or opened.height
        bits = sum(each if isinstance(each, int) else 8 for each in _tag(opened, 258) or (8,))
        strip: int = min(width, 2 * opened.width) * min(height, 2 * opened.height) * max(bits, 8) // 8
        return strip
    return 0


def _in_parts(opened: Any) -> bool:
    """Whether a JPEG holds its components, or their detail, one after the other: then it is read whole before it is
    decoded. Its first scan says so (ITU-T T.81, B.2.3: the count of components stands after the length)."""
    if opened.info.get("progressive"):
        return True
    place = opened.fp.tell()
    try:
        opened.fp.seek(0)
        content = opened.fp.read()
    finally:
        opened.fp.seek(place)
    at = 2
    while (at := content.find(b"\xff", at)) >= 0 and at + 4 < len(content):
        marker = content[at + 1]
        if marker == 0xDA:
            return bool(content[at + 4] < opened.layers)
        at += 1 if marker == 0xFF else 2 + int.from_bytes(content[at + 2 : at + 4]) if 0xC0 <= marker < 0xFF else 2
    return True


# ---- grey or colour of 8 bits ---------------------------------------------------------------------------------------


def _orientation(opened: Image) -> int:
    """How the camera was held, as the file says it: 2 to 8, or 0 where the picture stands as it is."""
    try:
        said: Any = opened.getexif().get(0x0112)
    except Exception:  # metadata can be broken where the pixels are whole
        return 0
    return int(said) if said in range(2, 9) else 0


def _tag(opened: Any, number: int) -> Any:
    return opened.tag_v2.get(number)


def _has_more(content: bytes) -> bool:
    """True where a second picture follows. They are not counted: a file can hold any number of them."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
            opened.seek(1)
    except Exception:  # no second one, or none that can be found
        return False
    return True


def _eight_bits(opened: Image, white_is_zero: bool) -> tuple[Image, tuple[str, ...]]:
    """What was decoded as a browser takes a picture without a profile: grey or sRGB, on white where it is transparent.

    Deep grey is spread over the range anyway, so a profile says nothing about it. A profile that is broken, or of
    another kind of picture, is left alone and told.
    """
    if opened.mode in _WIDE:
        return _stretched(opened, white_is_zero), ("grey values spread from the darkest to the lightest",)
    if opened.info.get("icc_profile"):
        try:
            return _in_srgb(opened), ()
        except Exception:  # whatever the library trips over in a profile, the pixels are whole
            return _solid(opened), ("its colour profile cannot be used, so colours may be off",)
    return _solid(opened), ()


def _in_srgb(opened: Image) -> Image:
    """The same picture with its colours by its profile. Raises what the library raises where that cannot be used."""
    from PIL import Image, ImageCms

    profile = opened.info["icc_profile"]
    if len(profile) > MOST_PROFILE:
        raise ValueError("too large to be one")
    mode = _colours(opened.crop((0, 0, 1, 1))).mode
    turning = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), mode, "RGB",
        # grey goes through once a level, so without the shortcut that is rough in the dark
        flags=ImageCms.Flags.NOOPTIMIZE if mode == "L" else ImageCms.Flags.NONE,
    )  # fmt: skip
    if mode == "L":
        levels = Image.frombytes("L", (256, 1), bytes(range(256)))
        table = list(_turned(levels, turning).convert("L").tobytes())
        return _solid(opened, lambda band: band.point(table))
    if opened.mode == "RGB" and not opened.has_transparency_data:
        ImageCms.applyTransform(opened, turning, inPlace=True)
        return opened
    return _solid(opened, lambda band: _turned(band, turning))


def _turned(image: Image, turning: ImageCmsTransform) -> Image:
    from PIL import ImageCms

    made = ImageCms.applyTransform(image, turning)
    if made is None:  # only where it is asked to work in place
        raise ValueError("nothing was made")
    return made


def _solid(opened: Image, turned: Callable[[Image], Image] | None = None) -> Image:
    """The picture in grey or colour, its colours turned where asked; band by band, so that no copy but it is needed."""
    from PIL import Image

    if opened.mode in {"L", "RGB"} and not opened.has_transparency_data and turned is None:
        return opened
    mode = "L" if opened.mode in _GREY and not opened.has_transparency_data else "RGB"
    made = Image.new(mode, opened.size)
    for box in _bands(opened):
        band = opened.crop(box)
        colours = _colours(band) if turned is None else turned(_colours(band))
        if opened.has_transparency_data:
            seen = Image.merge("RGBA", (*colours.convert("RGB").split(), band.convert("RGBA").getchannel("A")))
            colours = Image.alpha_composite(Image.new("RGBA", seen.size, "white"), seen)
        made.paste(colours.convert(mode), box)
    return made


def _colours(band: Image) -> Image:
    """Without palette and transparency, in a model that colour profiles are made for."""
    if band.mode in {"L", "RGB", "CMYK"}:
        return band
    return band.convert("L" if band.mode in {"1", "LA", "La"} else "RGB")


def _stretched(opened: Image, white_is_zero: bool) -> Image:
    """More than 8 bits of grey: few cameras fill 16, so the values are spread over what a screen can show."""
    import numpy as np
    from PIL import Image

    def of(box: tuple[int, int, int, int]) -> npt.NDArray[np.float64]:
        values = np.asarray(opened.crop(box)).astype(np.float64)
        values[~np.isfinite(values)] = 0.0
        return values

    ends = [(float(values.min()), float(values.max())) for values in map(of, _bands(opened))]
    low, high = min(low for low, _ in ends), max(high for _, high in ends)
    made = Image.new("L", opened.size)
    for box in _bands(opened):
        share = (of(box) - low) / (high - low) if high > low else np.full((box[3] - box[1], box[2]), 0.5)
        made.paste(Image.fromarray(np.rint(255 * (1.0 - share if white_is_zero else share)).astype(np.uint8)), box)
    return made


def _bands(opened: Image) -> list[tuple[int, int, int, int]]:
    """A picture in boxes of about a million pixels: what is worked out for each takes no room for all."""
    rows = max(_BAND // opened.width, 1)
    return [(0, at, opened.width, min(at + rows, opened.height)) for at in range(0, opened.height, rows)]


# ---- from pixels to files -------------------------------------------------------------------------------------------


def _made(content: bytes) -> Picture:
    from PIL import Image

    decoded, lossless, notes = _decoded(content)
    share = min(*(most / side for most, side in zip(THUMBNAIL, decoded.size, strict=True)), 1.0)
    size = tuple(max(round(side * share), 1) for side in decoded.size)
    small = decoded.resize((size[0], size[1]), Image.Resampling.LANCZOS, reducing_gap=2.0)
    exact = lossless and decoded.width * decoded.height <= LOSSLESS_PIXELS
    full = _png(decoded) if exact else _jpeg(decoded, 92)
    return _named(full, _jpeg(small, 82), (decoded.width, decoded.height, small.width, small.height), notes)


def _png(image: Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG", compress_level=6)
    return out.getvalue()


def _jpeg(image: Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, subsampling=0, progressive=False, optimize=False)
    return out.getvalue()


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]
