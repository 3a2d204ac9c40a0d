"""Photos on their way out: small enough for mail or whole, and never with the place where they were taken."""

from __future__ import annotations

import math
import struct

from PIL import Image

from jartest.errors import BadPhoto
from jartest.imaging.overlay import shrink
from jartest.imaging.photo import MIN_SIDE_PX, open_photo

__all__ = ["small_photo", "whole_photo"]

_EOI, _SOS = 0xD9, 0xDA  # ITU-T T.81, table B.1
_RESTARTS = range(0xD0, 0xD8)
# Application segments without which colours are read wrongly: JFIF, ICC profile, Adobe transform.
_KEPT_APPS = {0xE0, 0xE2, 0xEE}
_APPS_AND_COMMENT = {*range(0xE0, 0xF0), 0xFE}
_ORIENTATION = 0x0112  # EXIF 2.32 (CIPA DC-008)
# Chunks that make the picture and its colours: PNG specification, third edition, section 11.
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT"}


def small_photo(data: bytes, side_px: int) -> bytes:
    """The photo as an upright JPEG whose longer side has `side_px`; nothing but pixels is left.

    Raises
    ------
    BadPhoto
        If the bytes are no photo.
    """
    photo = open_photo(data)
    shorter, longer = sorted((photo.width_px, photo.height_px))
    scale = min(1.0, max(side_px / longer, MIN_SIDE_PX / shorter))
    return shrink(photo, math.ceil(photo.width_px * scale))


def whole_photo(data: bytes) -> bytes:
    """The photo with every pixel as it was, and without what was written beside them but how to turn it.

    A HEIC photo is encoded anew as JPEG in its full size.  What follows the first picture of a file
    (a clip, a second exposure) is left behind, because it may hold the place again.

    Raises
    ------
    BadPhoto
        If the bytes are no photo.
    """
    photo = open_photo(data)
    if photo.media_type == "image/jpeg":
        return _bare_jpeg(data, photo.orientation)
    if photo.media_type == "image/png" and photo.orientation == 1:
        return _bare_png(data)
    return shrink(photo, photo.width_px)


def _bare_jpeg(data: bytes, orientation: int) -> bytes:
    out = [data[:2]]
    if orientation != 1:
        exif = Image.Exif()
        exif[_ORIENTATION] = orientation
        said = exif.tobytes()
        out.append(b"\xff\xe1" + struct.pack(">H", len(said) + 2) + said)
    at = 2
    while at + 2 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == _EOI:
            return b"".join([*out, b"\xff\xd9"])
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == _SOS:
            end = _end_of_scan(data, end)
        # E2 holds colour profiles, and lists of further pictures.
        profile = marker != 0xE2 or data[at + 4 : at + 16] == b"ICC_PROFILE\0"
        if marker not in _APPS_AND_COMMENT or (marker in _KEPT_APPS and profile):
            out.append(data[at:end])
        at = end
    raise BadPhoto("A photo breaks off before its end; send it in the usual size instead of whole.")


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the entropy-coded data that start at `at` end: at the next marker that is no restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        if data[at + 1] != 0 and data[at + 1] not in _RESTARTS:
            return at
        at += 2


def _bare_png(data: bytes) -> bytes:
    out, at = [data[:8]], 8
    while at + 12 <= len(data):
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        kind = data[at + 4 : at + 8]
        if kind in _PNG_KEPT:
            out.append(data[at:end])
        if kind == b"IEND":
            break
        at = end
    return b"".join(out)
