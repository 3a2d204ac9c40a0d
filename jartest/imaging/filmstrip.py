"""All looks of a jar as one picture: each cut to the jar's own frame, the boundaries joined from look to look."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image, ImageDraw

from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame, Reading

__all__ = ["Cut", "cut_frame", "draw_filmstrip", "film_row"]

LIQUID_PX = 150  # the liquid's height in every frame (our choice)
ABOVE_PX, BELOW_PX = 24, 10  # of the jar above the surface and below the floor (our choice)
_WIDEST_PX, _GAP_PX = 150, 8
_QUALITY = 80
_INK, _HALO = (255, 230, 0), (0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """One look cut to its jar: its pixels, and the rows in them at which one kind of layer ends, by that kind."""

    pixels: np.ndarray
    ends: tuple[tuple[str, float], ...]


def film_row(row_px: float, frame: Frame) -> float:
    """The row of the filmstrip on which a row of the photo lies, both with pixel centers at integers."""
    share = (row_px - frame.surface_px) / (frame.floor_px - frame.surface_px)
    return ABOVE_PX + share * LIQUID_PX


def cut_frame(photo: Photo, reading: Reading) -> Cut | None:
    """The jar of a photo, upright and with its liquid `LIQUID_PX` high; None where a line of it is not known."""
    frame = reading.jar
    if not reading.jar_found or frame is None:
        return None
    left, right, floor, surface = frame.left_px, frame.right_px, frame.floor_px, frame.surface_px
    if not all(map(math.isfinite, (left, right, floor, surface))) or right <= left or floor <= surface:
        return None
    scale = LIQUID_PX / (floor - surface)
    width = min(_WIDEST_PX, max(8, round((right - left) * scale)))
    height = ABOVE_PX + LIQUID_PX + BELOW_PX
    # First made small by areas, so that nothing flickers from look to look; then from each pixel of the strip
    # to the photo: the jar's axis stands upright, the surface comes to lie on row `ABOVE_PX`.
    held = photo.pixels.shape[1] / reading.width_px
    smaller = min(1.0, 1.5 * scale / held)
    source = cv2.resize(photo.pixels, None, fx=smaller, fy=smaller, interpolation=cv2.INTER_AREA)
    shrink = source.shape[1] / reading.width_px
    lean = math.tan(math.radians(frame.tilt_deg))
    across = (right - left) / width
    middle_row, middle_col = (floor + surface) / 2, (left + right) / 2
    rows, cols = np.mgrid[0:height, 0:width].astype(np.float64)
    at_row = surface + (rows - ABOVE_PX) / scale
    off = (cols - (width - 1) / 2) * across
    at_col = middle_col + off - lean * (at_row - middle_row)
    at_row = at_row + lean * off
    maps = [((m + 0.5) * shrink - 0.5).astype(np.float32) for m in (at_col, at_row)]
    small = cv2.remap(source, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    ends = tuple(
        (x.kind, film_row(x.top_px, frame))
        for x in reading.layers
        if math.isfinite(x.top_px) and abs(x.top_fraction - 1) > 1e-6
    )
    return Cut(pixels=np.asarray(small, np.uint8), ends=ends)


def draw_filmstrip(cuts: Sequence[Cut | None]) -> bytes:
    """The cuts side by side in the order given, as a JPEG; where a look has none its place stays grey.

    Each boundary is drawn at its row and joined to that of the same kind in the look before it.
    """
    blank = np.full((ABOVE_PX + LIQUID_PX + BELOW_PX, LIQUID_PX // 2, 3), 200, np.uint8)
    frames = [blank if c is None else c.pixels for c in cuts]
    lefts = [sum(f.shape[1] + _GAP_PX for f in frames[:n]) for n in range(len(frames))]
    width = sum(f.shape[1] for f in frames) + _GAP_PX * max(0, len(frames) - 1)
    picture = Image.new("RGB", (max(1, width), blank.shape[0]), (255, 255, 255))
    for left, frame in zip(lefts, frames, strict=True):
        picture.paste(Image.fromarray(frame), (left, 0))
    draw = ImageDraw.Draw(picture)
    for n, cut in enumerate(cuts):
        for kind, row in () if cut is None else cut.ends:
            right = lefts[n] + frames[n].shape[1] - 1
            _line(draw, (lefts[n], row), (right, row))
            before = cuts[n - 1] if n else None
            earlier = [y for k, y in before.ends if k == kind] if before is not None else []
            if earlier:
                _line(draw, (lefts[n - 1] + frames[n - 1].shape[1] - 1, earlier[0]), (lefts[n], row))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _line(draw: ImageDraw.ImageDraw, start: tuple[float, float], end: tuple[float, float]) -> None:
    draw.line([start, end], fill=_HALO, width=3)
    draw.line([start, end], fill=_INK, width=1)
