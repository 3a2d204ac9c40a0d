"""Bytes to a photo: refused early and in words, decoded once, upright, never changed again."""

from __future__ import annotations

import hashlib
import io
import math
import struct
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from importlib.util import find_spec

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from jartest.errors import BadPhoto

__all__ = ["MAX_BYTES", "MAX_PIXELS", "MIN_SIDE_PX", "Photo", "open_photo", "open_to_read", "use_one_thread"]

MAX_BYTES = 40_000_000  # several times a phone's largest JPEG; the upload route has the same limit
MAX_PIXELS = 60_000_000  # above every common phone's full size (50 megapixels)
MIN_SIDE_PX = 64  # below this no jar has enough rows to read

_READ_PX = 1000  # the longer side that a reading needs at least: that of the pictures its figures were got on
_SHRINKS = {  # RGB without EXIF turning, at a half, a quarter and an eighth; JPEG decodes these directly
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
}
_EXIF_IFD, _ORIENTATION = 0x8769, 0x0112  # EXIF 2.32 (CIPA DC-008), tags of the primary and EXIF IFD
_TAKEN_AT, _TAKEN_OFFSET = 0x9003, 0x9011  # DateTimeOriginal, OffsetTimeOriginal
_FOCAL_35MM, _WIDTH, _HEIGHT = (
    0xA405,
    0xA002,
    0xA003,
)  # FocalLengthIn35mmFilm, PixelXDimension, PixelYDimension
_DIAGONAL_35MM = math.hypot(36, 24)  # of the frame of 35 mm film: ISO 1007
_MEDIA = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "HEIF": "image/heic"}
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A decoded photo: `pixels` are (rows, columns, RGB), upright and read-only.

    `width_px` and `height_px` are those of the file; `shrunk` is how many of its pixels one of `pixels`
    stands for, across and down.  `exif_taken_at` is aware where the camera wrote its offset from UTC,
    naive where it did not.  `focal_px` is the focal length in pixels of the file, from what the camera
    wrote; NaN where it wrote none.
    """

    sha256: str
    pixels: Pixels
    width_px: int
    height_px: int
    media_type: str
    orientation: int
    exif_taken_at: datetime | None
    shrunk: int = 1
    focal_px: float = math.nan

    def as_decoded(self) -> Photo:
        """The same as if its file held just the pixels that were decoded."""
        height, width = self.pixels.shape[:2]
        return replace(self, width_px=width, height_px=height, shrunk=1, focal_px=self.focal_px / self.shrunk)


def open_to_read(data: bytes, name: str = "") -> Photo:
    """The photo in these bytes as `open_photo` gives it, decoded no larger than a reading needs."""
    return open_photo(data, name, longest_px=_READ_PX)


def open_photo(data: bytes, name: str = "", *, longest_px: int | None = None) -> Photo:
    """The photo in these bytes, decoded once and turned upright.

    Parameters
    ----------
    data : bytes
        A JPEG or PNG file; HEIC where the optional reader is installed.
    name : str
        Its name, for the message alone; what the file is, its bytes decide.
    longest_px : int or None
        How long the longer side need be at least; a larger photo comes in at a half, quarter or eighth.

    Raises
    ------
    BadPhoto
        Empty, too large, not an image of these kinds, truncated, damaged or too small.

    Notes
    -----
    Pillow reads the header first, so that a file that would unfold to billions of pixels is refused
    before a pixel is decoded; OpenCV then decodes.  Colour profiles are not applied: colours of a
    wide-gamut camera are read as if they were sRGB.
    """
    called = f"“{name}”" if name else "the file"
    if not data:
        raise BadPhoto(f"{called} is empty (0 bytes); take or choose the photo again.")
    if len(data) > MAX_BYTES:
        raise BadPhoto(
            f"{called} has {len(data) / 1e6:.1f} MB, more than the {MAX_BYTES / 1e6:.0f} MB that are read;"
            " send it in a smaller size."
        )
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS:
        return _open_heic(data, called)
    header = _header(data, called)
    kind = header.format or ""
    _check_size(header.size, called)
    if not (_png_is_whole(data) if kind == "PNG" else _jpeg_is_whole(data)):
        raise BadPhoto(f"{called} is a {kind} picture that breaks off before its end; send it again whole.")
    exif = header.getexif()
    shrunk = (
        1
        if longest_px is None
        else max((k for k in _SHRINKS if max(header.size) >= k * longest_px), default=1)
    )
    how = _SHRINKS.get(shrunk, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    if decoded is None:
        raise BadPhoto(f"{called} is a damaged {kind} picture that cannot be decoded; take it again.")
    orientation = int(exif.get(_ORIENTATION, 1) or 1)
    photo = _photo(data, np.asarray(decoded, np.uint8), _MEDIA[kind], orientation, exif)
    if shrunk == 1:
        return photo
    width, height = header.size if photo.orientation <= 4 else header.size[::-1]
    return replace(photo, width_px=width, height_px=height, shrunk=shrunk, focal_px=photo.focal_px * shrunk)


def _photo(data: bytes, pixels: Pixels, media: str, orientation: int, exif: Image.Exif) -> Photo:
    orientation = orientation if 1 <= orientation <= 8 else 1
    upright = np.ascontiguousarray(_upright(pixels, orientation))
    upright.setflags(write=False)
    return Photo(
        sha256=hashlib.sha256(data).hexdigest(),
        pixels=upright,
        width_px=upright.shape[1],
        height_px=upright.shape[0],
        media_type=media,
        orientation=orientation,
        exif_taken_at=_taken_at(exif),
        focal_px=_focal_px(exif, upright.shape[1], upright.shape[0]),
    )


def _header(data: bytes, called: str) -> Image.Image:
    try:
        return Image.open(io.BytesIO(data), formats=["JPEG", "PNG"])
    except Image.DecompressionBombError as bomb:
        raise BadPhoto(
            f"{called} would unfold to far more than {MAX_PIXELS / 1e6:.0f} megapixels and is refused;"
            " send an ordinary photo."
        ) from bomb
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, struct.error) as cause:
        raise BadPhoto(f"{called} is not a JPEG or PNG picture that can be read; choose a photo.") from cause


def _check_size(size: tuple[int, int], called: str) -> None:
    width, height = size
    if width * height > MAX_PIXELS:
        raise BadPhoto(
            f"{called} has {width} x {height} pixels, more than the {MAX_PIXELS / 1e6:.0f} megapixels"
            " that are read; send it in a smaller size."
        )
    if min(width, height) < MIN_SIDE_PX:
        raise BadPhoto(
            f"{called} has {width} x {height} pixels; both sides need at least {MIN_SIDE_PX},"
            " so send the photo in its full size."
        )


def _jpeg_is_whole(data: bytes) -> bool:
    """True when the first picture of the file has its end marker.

    OpenCV fills a truncated JPEG with grey and says nothing.  The marker is sought from the start of
    the scan on, because a thumbnail in the header has one of its own.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == 0xDA:  # start of scan: ITU-T T.81, table B.1
            return data.endswith(b"\xff\xd9") or data.find(b"\xff\xd9", at) >= 0
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _png_is_whole(data: bytes) -> bool:
    try:
        with Image.open(io.BytesIO(data), formats=["PNG"]) as again:
            again.verify()  # walks the chunks and their checksums
    except (OSError, SyntaxError, ValueError, struct.error):
        return False
    return data.rfind(b"IEND") >= 0


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    """The pixels turned and mirrored as the EXIF orientation asks (CIPA DC-008, 4.6.4)."""
    flips = {
        1: pixels,
        2: pixels[:, ::-1],
        3: pixels[::-1, ::-1],
        4: pixels[::-1],
        5: pixels.transpose(1, 0, 2),
        6: pixels.transpose(1, 0, 2)[:, ::-1],
        7: pixels.transpose(1, 0, 2)[::-1, ::-1],
        8: pixels.transpose(1, 0, 2)[::-1],
    }
    return flips[orientation]


def _taken_at(exif: Image.Exif) -> datetime | None:
    details = exif.get_ifd(_EXIF_IFD)
    try:
        taken = datetime.strptime(str(details.get(_TAKEN_AT, "")).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    try:
        offset = datetime.strptime(str(details.get(_TAKEN_OFFSET, "")).strip("\0 "), "%z").utcoffset()
    except ValueError:
        return taken
    return taken.replace(tzinfo=timezone(offset or timedelta()))


def _focal_px(exif: Image.Exif, width_px: int, height_px: int) -> float:
    """Focal length in pixels from its equivalent on 35 mm film; NaN where none is written or the photo was cut.

    Equivalent by the diagonal (CIPA DCG-001); a photo whose sides stand to each other otherwise than those
    that the camera wrote has been cut, and its diagonal says nothing.
    """
    details = exif.get_ifd(_EXIF_IFD)
    try:
        film_mm, *sides = (float(details.get(tag, 0) or 0) for tag in (_FOCAL_35MM, _WIDTH, _HEIGHT))
    except (TypeError, ValueError, ZeroDivisionError):
        return math.nan
    if not 8 <= film_mm <= 600:  # shorter and longer lenses are on no phone
        return math.nan
    if min(sides) > 0:
        then, now = max(sides) / min(sides), max(width_px, height_px) / min(width_px, height_px)
        if abs(then / now - 1) > 0.02:
            return math.nan
    return film_mm / _DIAGONAL_35MM * math.hypot(width_px, height_px)


def _open_heic(data: bytes, called: str) -> Photo:
    if find_spec("pillow_heif") is None:
        raise BadPhoto(
            f"{called} is a HEIC picture, which can't be opened here: set the camera to save JPEG, and take it again."
        )
    import pillow_heif

    try:
        heif = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
        _check_size(heif.size, called)
        picture = heif.to_pillow()
    except (OSError, ValueError, RuntimeError, SyntaxError) as cause:
        if isinstance(cause, BadPhoto):
            raise
        raise BadPhoto(
            f"{called} is a damaged HEIC picture that cannot be decoded; take it again."
        ) from cause
    exif = picture.getexif()
    pixels = np.asarray(ImageOps.exif_transpose(picture).convert("RGB"), np.uint8)
    return _photo(data, pixels, "image/heic", 1, exif)


def use_one_thread() -> None:
    """Keep OpenCV to one thread in this process, for when several processes read photos side by side."""
    cv2.setNumThreads(1)
