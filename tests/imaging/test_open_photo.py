"""A photo is refused early and in words, or decoded once, upright and read-only."""

from __future__ import annotations

import io
import math
import struct
import zlib
from datetime import timedelta

import numpy as np
import pytest
from PIL import Image

from jartest.errors import BadPhoto
from jartest.imaging.photo import MAX_BYTES, open_photo, open_to_read


def picture(width: int = 120, height: int = 90) -> Image.Image:
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[: height // 2, : width // 2] = (220, 40, 30)
    pixels[height // 2 :, width // 2 :] = (30, 60, 200)
    return Image.fromarray(pixels)


def saved(image: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"),
        (b"not a picture at all", "not a JPEG or PNG"),
        (b"%PDF-1.7 and more", "not a JPEG or PNG"),
        (b"\xff\xd8\xff", "not a JPEG or PNG"),
        (saved(picture())[:-40], "breaks off"),
        (saved(picture(), "PNG")[:-40], "breaks off"),
        (saved(picture(), "GIF"), "not a JPEG or PNG"),
        (saved(picture(), "TIFF"), "not a JPEG or PNG"),
        (saved(picture(40, 30)), "at least 64"),
        (b"\0" * (MAX_BYTES + 1), "MB"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 200, "HEIC"),
    ],
)
def test_bytes_that_are_no_photo_are_refused_in_one_sentence(data: bytes, word: str) -> None:
    with pytest.raises(BadPhoto, match=word) as caught:
        open_photo(data, "jar.jpg")
    assert "jar.jpg" in str(caught.value)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


def test_a_small_file_that_unfolds_to_gigapixels_is_refused_before_it_is_decoded() -> None:
    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 50_000, 50_000, 8, 2, 0, 0, 0))
    bomb = b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    with pytest.raises(BadPhoto, match="megapixels"):
        open_photo(bomb)


def test_a_wrong_name_does_not_matter_and_the_bytes_decide() -> None:
    assert open_photo(saved(picture(), "PNG"), "jar.jpg").media_type == "image/png"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_exif_orientation_comes_out_upright(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # Pillow's transpositions, inverse of each orientation
    stored = picture()
    if orientation > 1:
        stored = stored.transpose(Image.Transpose(undo[orientation]))
    photo = open_photo(saved(stored, quality=95, exif=exif))
    assert (photo.width_px, photo.height_px) == (120, 90)
    assert photo.orientation == orientation
    assert np.abs(photo.pixels[10:35, 10:50].astype(int) - (220, 40, 30)).mean() < 8
    assert np.abs(photo.pixels[55:80, 70:110].astype(int) - (30, 60, 200)).mean() < 8


@pytest.mark.parametrize(("kind", "orientation"), [("JPEG", 1), ("JPEG", 6), ("PNG", 1)])
def test_a_large_photo_is_decoded_no_larger_than_a_reading_needs(kind: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    large = picture().resize((2040, 1530))
    photo = open_to_read(saved(large, kind, exif=exif))
    assert (photo.width_px, photo.height_px) == ((2040, 1530) if orientation == 1 else (1530, 2040))
    assert photo.shrunk == 2
    assert sorted(photo.pixels.shape[:2]) == [765, 1020]
    assert open_to_read(saved(picture().resize((1900, 1400)), kind)).shrunk == 1


def test_pixels_are_rgb_and_cannot_be_written() -> None:
    photo = open_photo(saved(picture(), "PNG"))
    assert tuple(photo.pixels[5, 5]) == (220, 40, 30)
    with pytest.raises(ValueError, match="read-only"):
        photo.pixels[0, 0] = 0


def test_the_time_taken_is_aware_only_where_the_camera_wrote_its_offset() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:05:04 09:30:00"
    naive = open_photo(saved(picture(), exif=exif)).exif_taken_at
    assert naive is not None
    assert naive.tzinfo is None
    exif.get_ifd(0x8769)[0x9011] = "+02:00"
    aware = open_photo(saved(picture(), exif=exif)).exif_taken_at
    assert aware is not None
    assert aware.utcoffset() == timedelta(hours=2)
    assert open_photo(saved(picture())).exif_taken_at is None


@pytest.mark.parametrize(
    ("film_mm", "sides", "share"),
    [
        (26, None, 26 / 43.2666),  # the diagonal of 36 x 24 mm (ISO 1007) is 43.27 mm: CIPA DCG-001
        (26, "same", 26 / 43.2666),
        (26, "cut", math.nan),
        (0, None, math.nan),
        (5000, None, math.nan),
        (None, None, math.nan),
    ],
)
def test_the_focal_length_is_taken_from_what_the_camera_wrote(
    film_mm: int | None, sides: str | None, share: float
) -> None:
    exif = Image.Exif()
    details = exif.get_ifd(0x8769)
    if film_mm is not None:
        details[0xA405] = film_mm
    width, height = picture().size
    if sides is not None:
        details[0xA002], details[0xA003] = (2 * width, 2 * height) if sides == "same" else (3 * width, height)
    photo = open_photo(saved(picture(), exif=exif))
    diagonal = math.hypot(photo.width_px, photo.height_px)
    assert photo.focal_px == pytest.approx(share * diagonal, rel=1e-4, nan_ok=True)


def test_grey_and_transparent_pictures_come_out_in_three_channels() -> None:
    for mode in ("L", "RGBA", "P"):
        assert open_photo(saved(picture().convert(mode), "PNG")).pixels.shape == (90, 120, 3)
