"""The jar alone, cut from its photo and made small, for lists."""

from __future__ import annotations

import io
import math

import cv2
import numpy as np
from PIL import Image

from jartest.imaging.photo import Photo
from jartest.imaging.values import Reading

__all__ = ["cut_strip"]

_TALL_PX = 128  # shown at half of it, so that it is sharp on a phone (our choice)
_QUALITY = 72
_AIR = 0.08  # of the liquid's height that is kept around the jar (our choice)


def cut_strip(photo: Photo, reading: Reading | None) -> bytes:
    """The jar of a photo as a small JPEG; the whole photo where no jar is known in it."""
    box = None if reading is None else _box(photo, reading)
    pixels = photo.pixels if box is None else photo.pixels[box[0] : box[1], box[2] : box[3]]
    height, width = pixels.shape[:2]
    scale = min(_TALL_PX / height, 1.0)
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    out = io.BytesIO()
    Image.fromarray(np.asarray(small, np.uint8)).save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _box(photo: Photo, reading: Reading) -> tuple[int, int, int, int] | None:
    """First and last row and column of the jar in the photo as it was decoded; None where one is not known."""
    jar = reading.jar
    if not reading.jar_found or jar is None:
        return None
    sides = (jar.left_px, jar.right_px, jar.floor_px, jar.surface_px)
    if not all(map(math.isfinite, sides)) or jar.right_px <= jar.left_px or jar.floor_px <= jar.surface_px:
        return None
    rows, cols = photo.pixels.shape[:2]
    scale = cols / reading.width_px
    air = _AIR * (jar.floor_px - jar.surface_px)
    top, bottom = (round((x) * scale) for x in (jar.surface_px - 2 * air, jar.floor_px + air))
    left, right = (round(x * scale) for x in (jar.left_px - air, jar.right_px + air))
    box = max(top, 0), min(bottom, rows), max(left, 0), min(right, cols)
    return box if box[1] - box[0] > 8 and box[3] - box[2] > 8 else None
