"""Photos: recognised by content, whole, and without the place where they were taken.

Pillow is the second route: it wrote the invented photos and reads back what is kept of them.
"""

import datetime as dt
import io
import struct
import zlib
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps, PngImagePlugin

from vibetrend.errors import ReadError
from vibetrend.ingest.photo import LARGEST_PHOTO, SMALL_SIDE, checked, thumbnail
from vibetrend.ingest.phototags import without_location

GPS, EXIF, TAKEN, ORIENTATION, MAKER = 0x8825, 0x8769, 0x9003, 0x0112, 0x010F
PLACE = {1: "N", 2: (54.0, 19.0, 22.5), 3: "E", 4: (10.0, 8.0, 4.25), 27: b"ASCII\0\0\0GPS"}
XMP = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description exif:GPSLatitude="54,19.375N" '
    'xmp:Rating="3"><exif:GPSLongitude>10,8.0708E</exif:GPSLongitude></rdf:Description>'
    "</x:xmpmeta>"
)


def tags(*, located: bool = True) -> Image.Exif:
    found = Image.Exif()
    found[ORIENTATION], found[MAKER] = 6, "An Example Maker"
    found.get_ifd(EXIF)[TAKEN] = "2026:05:01 10:11:12"
    if located:
        found.get_ifd(GPS).update(PLACE)
    return found


def photo(kind: str = "JPEG", size: tuple[int, int] = (80, 60), **options: Any) -> bytes:
    pixels = np.random.default_rng(1).integers(0, 255, (size[1], size[0], 3), dtype=np.uint8)
    target = io.BytesIO()
    Image.fromarray(pixels).save(target, kind, **({"exif": tags()} | options))
    return target.getvalue()


def opened(content: bytes) -> Image.Image:
    with Image.open(io.BytesIO(content)) as image:
        image.load()
        return image


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "AVIF"])
def test_the_place_is_gone_and_all_else_stays(kind: str) -> None:
    content = photo(kind)
    assert opened(content).getexif().get_ifd(GPS)[2] == (54.0, 19.0, 22.5)
    kept = checked(content, name="rim")
    assert (kept.media_type, kept.located) == (f"image/{kind.lower()}", True)
    assert kept.taken == dt.date(2026, 5, 1)
    assert len(kept.content) == len(content)
    before, after = opened(content), opened(kept.content)
    assert after.getexif().get_ifd(GPS) == {}
    assert GPS not in after.getexif()
    assert after.getexif()[ORIENTATION] == 6
    assert after.getexif()[MAKER] == "An Example Maker"
    assert after.getexif().get_ifd(EXIF) == before.getexif().get_ifd(EXIF)
    np.testing.assert_array_equal(np.asarray(after), np.asarray(before))
    assert b"GPS" not in kept.content.replace(b"GPSI", b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "AVIF"])
def test_a_photo_without_a_place_stays_as_it_is(kind: str) -> None:
    content = photo(kind, exif=tags(located=False))
    kept = checked(content, name="rim")
    assert (kept.content, kept.located) == (content, False)


def test_the_place_may_be_kept() -> None:
    content = photo()
    kept = checked(content, name="rim", keep_location=True)
    assert (kept.content, kept.located) == (content, False)


def big_endian() -> bytes:
    """Exif as some cameras write it: the most significant byte first, two directories."""
    first, gps, second = 8, 8 + 2 + 3 * 12 + 4, 0
    values = gps + 2 + 2 * 12 + 4
    second = values + 24
    head = struct.pack(">2sHI", b"MM", 42, first)
    one = struct.pack(
        ">H HHIHH HHII HHI4s I",
        3, ORIENTATION, 3, 1, 6, 0, GPS, 4, 1, gps, 0x8298, 2, 4, b"abc\0", second,
    )  # fmt: skip
    place = struct.pack(">H HHI4s HHII I", 2, 1, 2, 2, b"N\0\0\0", 2, 5, 3, values, 0)
    latitude = struct.pack(">6I", 54, 1, 19, 1, 225, 10)
    two = struct.pack(">H HHIHH I", 1, ORIENTATION, 3, 1, 1, 0, 0)
    return head + one + place + latitude + two


def test_exif_with_the_most_significant_byte_first() -> None:
    content = photo(exif=b"Exif\0\0" + big_endian())
    assert opened(content).getexif().get_ifd(GPS)[2] == (54.0, 19.0, 22.5)
    after = opened(without_location(content)).getexif()
    assert dict(after) == {ORIENTATION: 6, 0x8298: "abc"}
    # The next directory is still found where the one before it says.
    assert struct.pack(">HH", 1, ORIENTATION) in without_location(content)


def heic(*, exif: bytes = b"", xmp: bytes = b"") -> bytes:
    """The boxes of a HEIC file around tags, without a picture."""

    def box(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I", 8 + len(content)) + name + content

    return box(b"ftyp", b"heic\0\0\0\0mif1heic") + box(b"mdat", exif + xmp + bytes(50))


def test_heic_is_kept_without_its_place_but_not_shown() -> None:
    content = heic(exif=b"\0\0\0\x06Exif\0\0" + big_endian(), xmp=XMP.encode())
    kept = checked(content, name="rim.heic")
    assert (kept.media_type, kept.has_small) == ("image/heic", False)
    assert len(kept.content) == len(content)
    for part in (struct.pack(">2I", 54, 1), b"54,19", b"10,8"):
        assert part in content
        assert part not in kept.content
    assert b'xmp:Rating="3"' in kept.content
    with pytest.raises(ReadError, match="HEIC"):
        thumbnail(kept.content)
    with pytest.raises(ReadError, match="cut short"):
        checked(content[:-10], name="rim.heic")


def test_places_in_xmp_and_in_an_appended_film() -> None:
    film = b"....moov\xa9xyz\0\x12+54.3229+010.1345/"
    content = photo(exif=tags(located=False), xmp=XMP.encode()) + film
    kept = without_location(content)
    assert b"00,00.000N" in kept
    assert b"+00.0000+000.0000/" in kept
    assert b'xmp:Rating="3"' in kept
    np.testing.assert_array_equal(np.asarray(opened(kept)), np.asarray(opened(content)))


@pytest.mark.parametrize("packed", [False, True])
def test_texts_of_a_png(packed: bool) -> None:
    info = PngImagePlugin.PngInfo()
    info.add_itxt("XML:com.adobe.xmp", XMP, zip=packed)
    profile = b"\nexif\n%8d\n" % len(big_endian()) + big_endian().hex().encode()
    info.add_text("Raw profile type exif", profile.decode(), zip=packed)
    info.add_text("Comment", "nothing of a place", zip=packed)
    content = photo("PNG", exif=None, pnginfo=info)
    after = opened(without_location(content))  # Pillow checks every checksum
    assert "00,00.000N" in str(after.info["XML:com.adobe.xmp"])
    assert "54,19" not in str(after.info["XML:com.adobe.xmp"])
    left = bytes.fromhex("".join(str(after.info["Raw profile type exif"]).split("\n")[3:]))
    assert struct.pack(">6I", 54, 1, 19, 1, 225, 10) not in left
    assert len(left) == len(big_endian())
    assert after.info["Comment"] == "nothing of a place"


def test_odd_chunks_of_a_png_stay() -> None:
    content = photo("PNG", exif=None)
    broken = b"zTXtRaw profile type exif\0\0no zlib"
    chunk = struct.pack(">I", len(broken) - 4) + broken + struct.pack(">I", zlib.crc32(broken))
    odd = content[:33] + chunk + content[33:] + b"\0\0\xff\xffcut"
    assert without_location(odd) == odd


@pytest.mark.parametrize("size", [(2000, 1000), (1000, 2000), (80, 60)])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_small_picture_is_upright_and_without_tags(kind: str, size: tuple[int, int]) -> None:
    small = opened(thumbnail(photo(kind, size)))
    assert small.format == "JPEG"
    assert max(small.size) == min(SMALL_SIDE, max(size))
    assert (small.width > small.height) == (size[0] < size[1])  # orientation 6: on its side
    assert dict(small.getexif()) == {}


def test_a_picture_is_as_large_as_asked_for_and_never_larger_than_the_photo() -> None:
    assert opened(thumbnail(photo(size=(2000, 1000)), side=1200)).size == (600, 1200)
    assert opened(thumbnail(photo(size=(80, 60)), side=1200)).size == (60, 80)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_turned_as_pillow_does(orientation: int) -> None:
    turned = Image.Exif()
    turned[ORIENTATION] = orientation
    quarters = np.kron([[0, 90], [160, 250]], np.ones((32, 48))).astype(np.uint8)
    target = io.BytesIO()
    Image.fromarray(quarters).save(target, "PNG", exif=turned)
    expected = np.asarray(ImageOps.exif_transpose(opened(target.getvalue())), float)
    small = np.asarray(opened(thumbnail(target.getvalue())).convert("L"), float)
    assert small.shape == expected.shape
    assert np.abs(small - expected).mean() < 5  # of 255: what JPEG does to edges


def test_what_can_be_seen_through_is_white() -> None:
    target = io.BytesIO()
    Image.new("RGBA", (40, 40), (255, 0, 0, 0)).save(target, "PNG")
    assert opened(thumbnail(target.getvalue())).getpixel((20, 20)) == (255, 255, 255)


def bomb() -> bytes:
    target = io.BytesIO()
    Image.new("1", (16_000, 16_000)).save(target, "PNG")
    return target.getvalue()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"a table,1,2\n" * 20, "no photo"),
        (b"\0\0\0\x18ftypqt  \0\0\0\0qt  ", "no photo"),  # a film
        (photo()[:2000], "cut short"),
        (photo("PNG")[:4000], "cut short"),
        (b"\xff\xd8\xff" + bytes(100), "damaged"),
        (b"\xff\xd8\xff" + bytes(LARGEST_PHOTO), "larger than 40 MB, the most"),
        (bomb(), "more pixels"),
        (photo("AVIF").replace(b"iloc", b"ilox"), "damaged"),  # its library has errors of its own
    ],
    ids=["empty", "text", "film", "cut JPEG", "cut PNG", "no JPEG", "large", "bomb", "AVIF"],
)
def test_what_is_no_photo_is_one_plain_error(content: bytes, said: str) -> None:
    with pytest.raises(ReadError, match=f"^rim.jpg: .*{said}"):
        checked(content, name="rim.jpg")


@pytest.mark.parametrize("seed", range(4))
def test_damaged_tags_never_raise(seed: int) -> None:
    """Bytes of the tags changed at random: an answer or a ReadError, no other error."""
    rng = np.random.default_rng(seed)
    good = photo(size=(20, 20), xmp=XMP.encode())
    for _ in range(150):
        bad = bytearray(good)
        for place in rng.integers(20, 400, size=6):
            bad[place] = rng.integers(0, 256)
        assert len(without_location(bytes(bad))) == len(bad)
        try:
            checked(bytes(bad), name="rim")
            thumbnail(bytes(bad))
        except ReadError:
            pass
