"""Pictures from outside: what is shown, what is refused, and that nothing but pixels travels on."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms, PngImagePlugin, TiffImagePlugin

from sitegen import pictures
from sitegen.pictures import Picture, PictureFault, check, picture

SECRET = b"SECRET-9137"


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))


def gradient(width: int = 60, height: int = 40) -> Image.Image:
    """Dark to the left, light to the right."""
    return Image.fromarray(np.tile(np.linspace(0, 255, width).astype(np.uint8), (height, 1)))


def saved(image: Image.Image, form: str, **how: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, form, **how)
    return out.getvalue()


def put(folder: Path, content: bytes, name: str = "picture") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def opened(content: bytes) -> Image.Image:
    with Image.open(io.BytesIO(content)) as image:
        image.load()
        return image


def refused(path: Path) -> PictureFault:
    with pytest.raises(PictureFault) as told:
        check(path)
    with pytest.raises(PictureFault) as again:
        picture(path)
    assert again.value.code == told.value.code
    return told.value


# ---- what is shown --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("form", "ending"), [("PNG", "png"), ("TIFF", "png"), ("JPEG", "jpg")])
def test_the_three_formats(tmp_path: Path, form: str, ending: str) -> None:
    made = picture(put(tmp_path, saved(gradient(), form)))
    assert made.full_name.endswith(f".{ending}")
    assert (made.width, made.height, made.notes) == (60, 40, ())
    apart = np.asarray(opened(made.full)).astype(int) - np.asarray(gradient()).astype(int)
    assert np.abs(apart).max() <= (0 if ending == "png" else 6)
    assert opened(made.thumbnail).size == (60, 40)  # never made larger


def test_the_content_decides_not_the_name(tmp_path: Path) -> None:
    assert picture(put(tmp_path, saved(gradient(), "PNG"), "photo.tif")).full_name.endswith(".png")
    assert refused(put(tmp_path, b"<svg xmlns='http://www.w3.org/2000/svg'/>", "photo.png")).code == "image-of-no-kind"


def test_thumbnails_keep_their_proportions(tmp_path: Path) -> None:
    made = picture(put(tmp_path, saved(gradient(1200, 300), "PNG")))
    assert (made.thumbnail_width, made.thumbnail_height) == (600, 150)
    tall = picture(put(tmp_path, saved(gradient(100, 4000), "PNG")))
    assert (tall.thumbnail_width, tall.thumbnail_height) == (20, 800)


def test_the_same_file_gives_the_same_bytes_with_and_without_cache(tmp_path: Path) -> None:
    path = put(tmp_path, saved(gradient(), "TIFF"))
    first = picture(path)
    assert list((tmp_path / "cache" / "pictures").iterdir())
    assert picture(path) == first  # from the cache
    for kept in (tmp_path / "cache" / "pictures").iterdir():
        kept.write_bytes(kept.read_bytes()[:-9])  # half a file is none
    assert picture(path) == first
    (tmp_path / "cache" / "pictures").rename(tmp_path / "away")
    assert picture(path) == first


@pytest.mark.parametrize(
    ("dtype", "top"), [(np.uint16, 4095), (np.uint16, 65535), (np.int32, 100_000), (np.float32, 1)]
)
def test_deep_grey_is_spread_over_what_a_screen_shows(tmp_path: Path, dtype: Any, top: float) -> None:
    values = np.tile(np.linspace(0, top, 60).astype(dtype), (40, 1))
    made = picture(put(tmp_path, saved(Image.fromarray(values), "TIFF")))
    shown = np.asarray(opened(made.full))
    assert (shown.min(), shown.max()) == (0, 255)  # a shift by 8 bits would leave 12-bit data at 15 of 255
    assert np.abs(shown.astype(int) - np.asarray(gradient()).astype(int)).max() <= 1
    assert made.notes == ("grey values spread from the darkest to the lightest",)


def test_deep_grey_of_one_value_and_of_no_number(tmp_path: Path) -> None:
    even = picture(put(tmp_path, saved(Image.fromarray(np.full((40, 60), 700, np.uint16)), "TIFF")))
    assert set(np.asarray(opened(even.full)).ravel()) == {128}
    values = np.tile(np.linspace(0, 1, 60).astype(np.float32), (40, 1))
    values[0, 0], values[0, 1] = np.nan, np.inf
    assert np.asarray(opened(picture(put(tmp_path, saved(Image.fromarray(values), "TIFF"))).full)).max() == 255


def test_white_is_zero_is_turned_round(tmp_path: Path) -> None:
    # TIFF 6.0, tag 262 PhotometricInterpretation: 0 WhiteIsZero
    values = np.tile(np.linspace(0, 4095, 60).astype(np.uint16), (40, 1))
    content = bytearray(saved(Image.fromarray(values), "TIFF"))
    at = content.index(struct.pack("<HHI", 262, 3, 1)) + 8
    content[at : at + 2] = struct.pack("<H", 0)
    shown = np.asarray(opened(picture(put(tmp_path, bytes(content))).full))
    assert (shown[0, 0], shown[0, -1]) == (255, 0)


def test_the_first_of_several_is_shown_and_said(tmp_path: Path) -> None:
    second = Image.new("L", (60, 40), 7)
    made = picture(put(tmp_path, saved(gradient(), "TIFF", save_all=True, append_images=[second])))
    assert np.array_equal(np.asarray(opened(made.full)), np.asarray(gradient()))
    assert made.notes == ("the first of several pictures in its file",)


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "PNG"])
@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_orientation_is_applied(tmp_path: Path, form: str, orientation: int) -> None:
    # EXIF 2.3, tag 0x0112: 3 upside down, 6 row 0 is the right side, 8 row 0 is the left side
    exif = Image.Exif()
    exif[0x0112] = orientation
    made = picture(put(tmp_path, saved(gradient(), form, exif=exif)))
    shown = np.asarray(opened(made.full)).astype(int)
    assert shown.shape == ((40, 60) if orientation == 3 else (60, 40))
    top, bottom, left, right = shown[0].mean(), shown[-1].mean(), shown[:, 0].mean(), shown[:, -1].mean()
    dark = {3: right, 6: top, 8: bottom}[orientation]
    assert dark == min(top, bottom, left, right)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "YCbCr", "F"])
def test_every_colour_model_becomes_grey_or_colour(tmp_path: Path, mode: str) -> None:
    image = Image.fromarray(np.full((9, 9), 300, np.uint16)) if mode == "I;16" else gradient(9, 9).convert(mode)
    form = "JPEG" if mode in {"CMYK", "YCbCr"} else "TIFF" if mode in {"F", "I;16"} else "PNG"
    made = picture(put(tmp_path, saved(image, form)))
    assert opened(made.full).mode in {"L", "RGB"}


def test_what_is_transparent_stands_on_white(tmp_path: Path) -> None:
    made = picture(put(tmp_path, saved(Image.new("RGBA", (9, 9), (0, 0, 0, 0)), "PNG")))
    assert opened(made.full).getpixel((4, 4)) == (255, 255, 255)


# ---- nothing but pixels ---------------------------------------------------------------------------------------------


def _with_everything(form: str) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Artist] = SECRET.decode()
    exif[ExifTags.Base.ImageDescription] = SECRET.decode()
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = SECRET.decode()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.UserComment] = SECRET.decode()
    how: dict[str, Any] = {"exif": exif, "icc_profile": b"\0" * 40 + SECRET}
    if form == "JPEG":
        how |= {"comment": SECRET}
    if form == "PNG":
        text = PngImagePlugin.PngInfo()
        text.add_text("Author", SECRET.decode())
        text.add_itxt("Comment", SECRET.decode(), zip=False)
        how |= {"pnginfo": text}
    if form == "TIFF":
        tags = TiffImagePlugin.ImageFileDirectory_v2()
        tags[270], tags[315], tags[700] = SECRET.decode(), SECRET.decode(), SECRET
        how = {"tiffinfo": tags, "icc_profile": b"\0" * 40 + SECRET}
    return saved(gradient(), form, **how) + SECRET  # and something behind the end


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF"])
def test_metadata_stays_behind(tmp_path: Path, form: str) -> None:
    content = _with_everything(form)
    assert content.count(SECRET) >= 4
    made = picture(put(tmp_path, content))
    for data in (made.full, made.thumbnail):
        assert SECRET not in data
        image = opened(data)
        assert dict(image.getexif()) == {}
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert not getattr(image, "text", {})
        segments = _segments(data)
        assert segments <= {"IHDR", "IDAT", "IEND", "APP0", "other"}


def _segments(data: bytes) -> set[str]:
    """Chunks of a PNG; application and comment segments of a JPEG (all else of it is `other`)."""
    found, at = set(), 8
    if data.startswith(b"\x89PNG"):
        while at < len(data):
            (length,) = struct.unpack(">I", data[at : at + 4])
            found.add(data[at + 4 : at + 8].decode())
            at += 12 + length
        return found
    at = 2
    while data[at] == 0xFF and data[at + 1] != 0xDA:
        marker = data[at + 1]
        found.add(f"APP{marker - 0xE0}" if 0xE0 <= marker <= 0xEF else "COM" if marker == 0xFE else "other")
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    return found


# ---- what is refused ------------------------------------------------------------------------------------------------


def png_of(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG whose header promises so many grey pixels."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(data)) + chunk(b"IEND", b"")


def tiff_of(width: int, height: int) -> bytes:
    """A TIFF of a few bytes whose header promises so many grey pixels in one strip."""
    entries = [(256, 4, width), (257, 4, height), (258, 3, 8), (259, 3, 1), (262, 3, 1), (273, 4, 8), (277, 3, 1),
               (278, 4, height), (279, 4, width * height & 0xFFFFFFFF)]  # fmt: skip
    body = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + body + struct.pack("<I", 0)


@pytest.mark.parametrize(
    "content",
    [png_of(40_000, 40_000), png_of(2_000_000_000, 2_000_000_000), png_of(8000, 8000), png_of(31_000, 1),
     tiff_of(60_000, 60_000), tiff_of(8000, 8000), tiff_of(0x7FFFFFFF, 0x7FFFFFFF)],
    ids=["png", "png-huge", "png-64-million", "png-long", "tiff", "tiff-64-million", "tiff-huge"],
)  # fmt: skip
def test_bombs_are_refused_before_they_are_decoded(
    tmp_path: Path, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr(pictures, "_upright", never)
    assert refused(put(tmp_path, content)).code == "image-too-large"


def test_no_more_is_unpacked_than_the_header_promises(tmp_path: Path) -> None:
    """The header promises 3 × 3 pixels, the data hold 100 million zeros: nothing of them is taken."""
    made = picture(put(tmp_path, png_of(3, 3, b"\0" * 100_000_000)))
    assert (made.width, made.height) == (3, 3)


def turned(image: Image.Image, form: str) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    return saved(image, form, exif=exif.tobytes())


ROOM = 60 * 40 * 4  # bytes: one copy in colour
COLOUR = gradient().convert("RGB")
DEEP = Image.fromarray(np.full((40, 60), 7, np.uint16))
OF_SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
KINDS: dict[str, tuple[bytes, int]] = {  # bytes a pixel they take
    "colour": (saved(COLOUR, "PNG"), 4),
    "colour by a profile": (saved(COLOUR, "PNG", icc_profile=OF_SRGB), 4),
    "transparent": (saved(COLOUR.convert("RGBA"), "PNG"), 8),
    "palette": (saved(COLOUR.convert("P"), "PNG"), 5),
    "grey": (saved(gradient(), "PNG"), 1),
    "a transparent grey": (saved(gradient(), "PNG", transparency=3), 5),
    "deep grey, packed": (saved(DEEP, "TIFF", compression="tiff_adobe_deflate"), 5),
    "inks": (saved(COLOUR.convert("CMYK"), "TIFF"), 8),
    "turned, as is told before the pixels": (turned(COLOUR, "PNG"), 8),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_what_takes_too_much_room_to_decode_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    content, each = KINDS[kind]
    monkeypatch.setattr(pictures, "MOST_ROOM", 60 * 40 * each)
    check(put(tmp_path, content))
    monkeypatch.setattr(pictures, "MOST_ROOM", 60 * 40 * each - 1)
    told = refused(put(tmp_path, content))
    assert (told.code, told.what) == ("image-too-large", "has 60 × 40 pixels")
    assert told.expected.startswith("at most 0 million of its kind")


LARGE: dict[str, bytes] = {  # each takes more than one copy, and at half its size less
    "inks": saved(COLOUR.convert("CMYK"), "JPEG"),
    "turned": turned(COLOUR.rotate(90, expand=True), "JPEG"),
    "in steps": saved(COLOUR, "JPEG", progressive=True),
}


@pytest.mark.parametrize("kind", LARGE)
def test_a_jpeg_that_takes_too_much_room_is_shown_at_half_its_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    assert picture(put(tmp_path, LARGE[kind])).notes == ()
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "another"))
    monkeypatch.setattr(pictures, "MOST_ROOM", ROOM)
    made = picture(put(tmp_path, LARGE[kind]))
    assert (made.width, made.height) == (30, 20)
    assert made.notes == ("shown at half its width and height, for it is large",)
    apart = np.asarray(opened(made.full).convert("L")).astype(int) - np.asarray(gradient(30, 20)).astype(int)
    assert np.abs(apart).max() <= 12


def test_a_jpeg_in_steps_of_dense_colours_is_too_large_at_half_its_size_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three components of 16 bits a pixel are held while it is decoded, at whatever size: ITU-T T.81, K.8."""
    monkeypatch.setattr(pictures, "MOST_ROOM", ROOM)
    told = refused(put(tmp_path, saved(COLOUR, "JPEG", progressive=True, subsampling=0)))
    assert (told.code, told.what) == ("image-too-large", "has 60 × 40 pixels")


def test_a_transparent_level_of_grey_is_white(tmp_path: Path) -> None:
    """PNG, 3rd edition, 11.3.1.1 tRNS: samples of that level are transparent."""
    image = Image.fromarray(np.array([[3, 9], [9, 9]], dtype=np.uint8))
    shown = opened(picture(put(tmp_path, saved(image, "PNG", transparency=3))).full)
    assert np.asarray(shown.convert("L")).tolist() == [[255, 9], [9, 9]]


def test_text_that_swells_is_damage(tmp_path: Path) -> None:
    swelling = zlib.compress(b"a" * 80_000_000)
    body = b"Comment\0\0" + swelling
    chunk = struct.pack(">I", len(body)) + b"zTXt" + body + struct.pack(">I", zlib.crc32(b"zTXt" + body))
    content = saved(gradient(), "PNG")
    assert refused(put(tmp_path, content[:33] + chunk + content[33:])).code == "image-damaged"


def test_a_file_too_large_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "large.tif"
    with path.open("wb") as file:
        file.truncate(pictures.MOST_BYTES + 1)
    told = refused(path)
    assert (told.code, told.expected) == ("image-too-large", "at most 100 MB")


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF"])
def test_what_is_cut_short_is_refused(tmp_path: Path, form: str) -> None:
    noise = np.random.RandomState(3).randint(0, 255, (200, 300)).astype(np.uint8)
    content = saved(Image.fromarray(noise), form, **({"compression": "tiff_lzw"} if form == "TIFF" else {}))
    for share in (0.3, 0.6, 0.9):
        assert refused(put(tmp_path, content[: int(len(content) * share)])).code in {
            "image-damaged",
            "image-of-no-kind",
        }
    told = refused(put(tmp_path, content[: len(content) // 2]))
    assert told.what.startswith("is ")


@pytest.mark.parametrize(
    "content",
    [b"", b"no image", b"GIF89a" + bytes(40), b"\x89PNG\r\n\x1a\n", b"II*\0\xff\xff\xff\x7f", b"\xff\xd8\xff\xe0"],
)
def test_what_is_no_image_is_said_to_be_none(tmp_path: Path, content: bytes) -> None:
    assert refused(put(tmp_path, content)).code in {"image-of-no-kind", "image-damaged"}


def test_a_gif_is_not_taken(tmp_path: Path) -> None:
    assert refused(put(tmp_path, saved(gradient(), "GIF"))).code == "image-of-no-kind"


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(["PNG", "JPEG", "TIFF"]), st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 255)), max_size=8)
)
def test_any_bytes_are_shown_or_refused(tmp_path: Path, form: str, changes: list[tuple[int, int]]) -> None:
    content = bytearray(_with_everything(form))
    for at, value in changes:
        content[at % len(content)] = value
    try:
        made = picture(put(tmp_path, bytes(content)))
    except PictureFault:
        return
    assert isinstance(made, Picture)
    assert SECRET not in made.full + made.thumbnail


# ---- colour profiles ------------------------------------------------------------------------------------------------

# Colours of the sRGB primaries seen in the profiles' D50 white: IEC 61966-2-1, adapted as in ICC.1:2010 annex E
# (Bradford); the digits as widely tabulated, from memory.
SRGB = {"r": (0.4360747, 0.2225045, 0.0139322), "g": (0.3850649, 0.7168786, 0.0971045),
        "b": (0.1430804, 0.0606169, 0.7141733)}  # fmt: skip
D50 = (0.9642, 1.0, 0.8249)


def profile(space: str, gamma: float, primaries: Mapping[str, tuple[float, ...]] | None = None) -> bytes:
    """A display profile, laid out by ICC.1:2001-04: header 6.1, tag table 6.2, curveType 6.5.3, XYZType 6.5.22."""

    def fixed(*numbers: float) -> bytes:  # s15Fixed16Number
        return b"".join(struct.pack(">i", round(65536 * number)) for number in numbers)

    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(256 * gamma)) + bytes(2)
    tags = {b"wtpt": b"XYZ " + bytes(4) + fixed(*D50), b"cprt": b"text" + bytes(4) + b"none\0\0\0\0",
            b"desc": b"desc" + bytes(4) + struct.pack(">I", 2) + b"x\0" + bytes(79 + 3)}  # fmt: skip
    if space == "GRAY":
        tags[b"kTRC"] = curve
    for name, colour in (primaries or {}).items():
        tags[f"{name}XYZ".encode()] = b"XYZ " + bytes(4) + fixed(*colour)
        tags[f"{name}TRC".encode()] = curve
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for tag, content in tags.items():
        whole = content + bytes(-len(content) % 4)
        table += tag + struct.pack(">II", at + len(body), len(content))
        body += whole
    head = struct.pack(">I4s", at + len(body), b"none") + b"\x02\x40\0\0" + b"mntr" + space.encode() + b"XYZ "
    head += bytes(12) + b"acsp" + bytes(28) + fixed(*D50) + bytes(48)
    assert len(head) == 128
    return head + struct.pack(">I", len(tags)) + table + body


def srgb(linear: float) -> float:
    """Level [0..255] of a linear intensity [0..1]: IEC 61966-2-1, the transfer function of sRGB."""
    return 255 * (12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055)


COLOURS = np.array(
    [[[250, 20, 10], [10, 240, 30], [30, 20, 220], [128, 128, 128], [0, 0, 0], [255, 255, 255]]], np.uint8
)


@pytest.mark.parametrize("form", ["PNG", "TIFF"])
def test_red_and_blue_exchanged_by_a_profile_are_exchanged_in_the_picture(tmp_path: Path, form: str) -> None:
    """The profile calls red what sRGB calls blue: the published numbers are the same ones, first and last exchanged."""
    swapped = {"r": SRGB["b"], "g": SRGB["g"], "b": SRGB["r"]}
    content = saved(Image.fromarray(COLOURS), form, icc_profile=profile("RGB ", 2.2, swapped))
    made = picture(put(tmp_path, content))
    shown = np.asarray(opened(made.full)).astype(int)
    assert np.abs(shown - COLOURS[:, :, ::-1].astype(int)).max() <= 8  # power 2.2 against the curve of sRGB
    assert "icc_profile" not in opened(made.full).info
    assert made.notes == ()


def test_half_the_light_is_188_of_255(tmp_path: Path) -> None:
    """Levels in proportion to light: half the light (128 of 255) is 188 in sRGB, by IEC 61966-2-1."""
    content = saved(Image.fromarray(COLOURS), "PNG", icc_profile=profile("RGB ", 1.0, SRGB))
    shown = np.asarray(opened(picture(put(tmp_path, content)).full)).astype(float)
    expected = np.vectorize(srgb)(COLOURS / 255.0)
    assert round(srgb(128 / 255)) == 188
    assert np.abs(shown - expected).max() <= 1.5


@pytest.mark.parametrize("mode", ["L", "LA", "1"])
def test_a_profile_of_grey(tmp_path: Path, mode: str) -> None:
    content = saved(gradient().convert(mode), "PNG", icc_profile=profile("GRAY", 1.0))
    shown = np.asarray(opened(picture(put(tmp_path, content)).full).convert("L")).astype(float)
    before = np.asarray(gradient().convert(mode).convert("L")) / 255.0
    assert np.abs(shown - np.vectorize(srgb)(before)).max() <= 1.5


def test_what_is_transparent_stays_so_under_a_profile(tmp_path: Path) -> None:
    image = Image.new("RGBA", (9, 9), (128, 128, 128, 255))
    image.putpixel((4, 4), (128, 128, 128, 0))
    shown = opened(picture(put(tmp_path, saved(image, "PNG", icc_profile=profile("RGB ", 1.0, SRGB)))).full)
    assert shown.getpixel((4, 4)) == (255, 255, 255)
    assert shown.getpixel((0, 0)) == pytest.approx((188, 188, 188), abs=1)


def test_the_profile_of_srgb_changes_nothing(tmp_path: Path) -> None:
    own = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    shown = np.asarray(opened(picture(put(tmp_path, saved(Image.fromarray(COLOURS), "PNG", icc_profile=own))).full))
    assert np.abs(shown.astype(int) - COLOURS.astype(int)).max() <= 1


@pytest.mark.parametrize(
    "broken",
    [b"x", b"\0" * 200, profile("RGB ", 1.0, SRGB)[:200], profile("GRAY", 1.0), profile("RGB ", 1.0)],
    ids=["short", "zeros", "cut", "of-grey", "without-colours"],
)
@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF"])
def test_a_profile_that_cannot_be_used_is_told_and_the_pixels_stay(tmp_path: Path, form: str, broken: bytes) -> None:
    plain, with_it = (
        picture(put(tmp_path, saved(Image.fromarray(COLOURS), form, **how), name))
        for name, how in (("a", {}), ("b", {"icc_profile": broken}))
    )
    assert with_it.full == plain.full
    assert with_it.notes == ("its colour profile cannot be used, so colours may be off",)


def test_a_profile_of_another_kind_than_the_picture_is_left_alone(tmp_path: Path) -> None:
    inks = Image.fromarray(COLOURS).convert("CMYK")
    plain = picture(put(tmp_path, saved(inks, "JPEG"), "a"))
    with_it = picture(put(tmp_path, saved(inks, "JPEG", icc_profile=profile("RGB ", 1.0, SRGB)), "b"))
    assert with_it.full == plain.full


def test_a_profile_too_large_to_be_one_is_not_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("opened")

    monkeypatch.setattr(ImageCms, "ImageCmsProfile", never)
    content = saved(Image.fromarray(COLOURS), "TIFF", icc_profile=b"\0" * (pictures.MOST_PROFILE + 1))
    assert picture(put(tmp_path, content)).notes == ("its colour profile cannot be used, so colours may be off",)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 600), st.integers(0, 255)), max_size=6))
def test_any_profile_is_used_or_left_alone(tmp_path: Path, changes: list[tuple[int, int]]) -> None:
    made = bytearray(profile("RGB ", 1.0, SRGB))
    for at, value in changes:
        made[at % len(made)] = value
    shown = picture(put(tmp_path, saved(Image.fromarray(COLOURS), "PNG", icc_profile=bytes(made))))
    assert (shown.width, shown.height) == (6, 1)
