"""A photo with a reviewer's marks drawn on it: a ring with a number, black on white, told apart without colour."""

from __future__ import annotations

import io
from collections.abc import Sequence
from importlib import resources

from PIL import Image, ImageDraw, ImageFont

__all__ = ["draw_marks"]

_QUALITY = 88


def draw_marks(jpeg: bytes, marks: Sequence[tuple[int, float, float]]) -> bytes:
    """The JPEG with each mark (number, across, down, as fractions from the top left corner) drawn on it."""
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as opened:
        picture = opened.convert("RGB")
    draw = ImageDraw.Draw(picture)
    radius = max(10.0, min(picture.size) / 28)
    with resources.as_file(resources.files("jartest.exchange") / "fonts" / "DejaVuSans-Bold.ttf") as path:
        font = ImageFont.truetype(io.BytesIO(path.read_bytes()), radius * 1.1)
    for number, across, down in marks:
        x, y = across * (picture.width - 1), down * (picture.height - 1)
        box = (x - radius, y - radius, x + radius, y + radius)
        draw.ellipse(box, fill=(255, 255, 255), outline=(0, 0, 0), width=max(2, round(radius / 6)))
        draw.text((x, y), str(number), fill=(0, 0, 0), font=font, anchor="mm")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()
