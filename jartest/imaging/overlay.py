"""A reading drawn on its photo, in lines that differ without colour, with words."""

from __future__ import annotations

import io
import math

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from jartest.imaging.held import DOUBTED
from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame, Reading

__all__ = ["draw_overlay", "shrink"]

_QUALITY = 88
_DASH = {
    "wall": (4, 8),
    "floor": (1, 0),
    "surface": (24, 8),
    "boundary": (12, 6),
    "other": (3, 5),
    "withheld": (14, 14),
}  # drawn and left out, px at 1080
_INK, _HALO = (255, 230, 0), (0, 0, 0)


def shrink(photo: Photo, width_px: int) -> bytes:
    """The photo as a JPEG of this width; never larger than it is."""
    return _jpeg(_reduced(photo, width_px))


def draw_overlay(photo: Photo, reading: Reading, *, width_px: int = 1080) -> bytes:
    """The photo as a JPEG with walls, floor, surface, layer boundaries and lumps drawn and named.

    Lines differ by their dashes and each has its word, so that nothing depends on colour; letters
    are a twenty-fifth of the width, which is legible on a screen of 390 px.  Where the lines are in doubt,
    those found in this photo are drawn dotted beside the carried ones.  Lines that the reading does not go
    by are drawn in long dashes, with a question mark.
    """
    picture = _reduced(photo, width_px)
    draw = ImageDraw.Draw(picture)
    scale = picture.width / photo.width_px
    letter = max(11.0, picture.width / 25)
    font = ImageFont.load_default(size=letter)
    if not reading.jar_found or reading.jar is None:
        _word(draw, (picture.width * 0.03, picture.width * 0.03), "no jar found", font)
        return _jpeg(picture)
    frame = reading.jar
    for lump in reading.lumps:
        r = max(2.0, lump.diameter_px * scale / 2)
        x, y = lump.col_px * scale, lump.row_px * scale
        draw.ellipse((x - r, y - r, x + r, y + r), outline=_HALO, width=3)
        draw.ellipse((x - r, y - r, x + r, y + r), outline=_INK, width=1)
    other = reading.jar_proposed if DOUBTED in reading.flags else None
    _walls(draw, frame, scale, picture, _DASH["wall"])
    if other is not None:
        _walls(draw, other, scale, picture, _DASH["other"])
    used: list[float] = []
    for row, word, kind in _levels(reading, frame, other):
        _level(draw, other if other and kind == "other" else frame, row, kind, scale)
        x = (frame.right_px if math.isfinite(frame.right_px) else photo.width_px * 0.7) * scale
        y = _free(row * scale, used, letter * 1.25)
        _word(draw, (min(x + 6, picture.width * 0.99), y), word, font, right=picture.width)
    return _jpeg(picture)


def _reduced(photo: Photo, width_px: int) -> Image.Image:
    width = min(width_px, photo.width_px)
    height = max(1, round(photo.height_px * width / photo.width_px))
    small = cv2.resize(photo.pixels, (width, height), interpolation=cv2.INTER_AREA)
    return Image.fromarray(np.asarray(small, np.uint8))


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _levels(reading: Reading, frame: Frame, other: Frame | None) -> list[tuple[float, str, str]]:
    """Rows to draw with their words, from the top down."""
    rows: list[tuple[float, str, str]] = []
    carried = "" if other is None else ", carried"
    for line, row in (("floor", frame.floor_px), ("surface", frame.surface_px)):
        if math.isfinite(row):
            rows.append((row, f"{line}{carried}", line))
    for line, row in () if other is None else (("floor", other.floor_px), ("surface", other.surface_px)):
        if math.isfinite(row):
            rows.append((row, f"{line}, found", "other"))
    second = " here" if math.isfinite(frame.floor_px + frame.surface_px) else ""
    rows += [
        (w.row_px, f"{w.line}{second}?", "withheld") for w in reading.withheld if math.isfinite(w.row_px)
    ]
    if math.isfinite(frame.floor_px + frame.surface_px):
        high = frame.floor_px - frame.surface_px
        for layer in reading.layers:
            if math.isfinite(layer.top_fraction) and abs(layer.top_fraction - 1) > 1e-6:
                word = f"{layer.kind} to {layer.top_fraction * 100:.0f} %"
                row = layer.top_px  # the fraction is of the true height, which perspective sees otherwise
                known = math.isfinite(row)
                rows.append((row if known else frame.floor_px - layer.top_fraction * high, word, "boundary"))
    return sorted(rows)


def _walls(
    draw: ImageDraw.ImageDraw, frame: Frame, scale: float, picture: Image.Image, dash: tuple[int, int]
) -> None:
    top = frame.surface_px if math.isfinite(frame.surface_px) else 0.15 * picture.height / scale
    low = frame.floor_px if math.isfinite(frame.floor_px) else 0.85 * picture.height / scale
    lean = math.tan(math.radians(frame.tilt_deg))
    for col in (frame.left_px, frame.right_px):
        if math.isfinite(col):
            half = lean * (low - top) / 2
            ends = ((col + half) * scale, top * scale), ((col - half) * scale, low * scale)
            _dashed(draw, *ends, dash, picture.width)


def _level(draw: ImageDraw.ImageDraw, frame: Frame, row: float, kind: str, scale: float) -> None:
    left = frame.left_px if math.isfinite(frame.left_px) else 0.0
    right = frame.right_px if math.isfinite(frame.right_px) else draw.im.size[0] / scale
    lean = math.tan(math.radians(frame.tilt_deg)) * (right - left) / 2
    ends = (left * scale, (row - lean) * scale), (right * scale, (row + lean) * scale)
    _dashed(draw, *ends, _DASH[kind], draw.im.size[0])


def _dashed(
    draw: ImageDraw.ImageDraw,
    start: tuple[float, float],
    end: tuple[float, float],
    dash: tuple[int, int],
    width_px: int,
) -> None:
    unit = width_px / 1080
    drawn, left_out = dash[0] * unit * 2, dash[1] * unit * 2
    length = math.dist(start, end)
    if length == 0:
        return
    step = drawn + left_out if left_out else length
    thick = max(2, round(3 * unit))
    at = 0.0
    while at < length:
        a, b = at / length, min(1.0, (at + (drawn if left_out else length)) / length)
        line = [
            (start[0] + (end[0] - start[0]) * a, start[1] + (end[1] - start[1]) * a),
            (start[0] + (end[0] - start[0]) * b, start[1] + (end[1] - start[1]) * b),
        ]
        draw.line(line, fill=_HALO, width=thick + 2)
        draw.line(line, fill=_INK, width=thick)
        at += step


def _free(y: float, used: list[float], step: float) -> float:
    """The place nearest below `y` that no word before has taken; keeps it taken."""
    while any(abs(y - u) < step for u in used):
        y += step / 4
    used.append(y)
    return y


def _word(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    word: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    right: int | None = None,
) -> None:
    x, y = at
    box = draw.textbbox((0, 0), word, font=font)
    if right is not None and x + box[2] > right - 4:
        x = right - 4 - box[2]
    y -= (box[3] - box[1]) / 2 if right is not None else 0
    draw.rectangle((x - 3, y + box[1] - 3, x + box[2] + 3, y + box[3] + 3), fill=_HALO)
    draw.text((x, y), word, fill=(255, 255, 255), font=font)
