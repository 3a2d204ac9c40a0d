"""The jar cut from its photo for lists: it is the jar, it is small, and a photo without a jar is shown whole."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.strip import cut_strip
from jartest.imaging.values import Frame, Reading

DRAWN = draw_jar((Band(top_fraction=0.5, colour=(200, 30, 30)), Band(top_fraction=1, colour=(30, 30, 200))))


@pytest.fixture(params=[None, 400], ids=["as filed", "decoded smaller"])
def photo(request: pytest.FixtureRequest) -> Photo:
    return open_photo(DRAWN.jpeg(), longest_px=request.param)


def reading(photo: Photo, frame: Frame | None) -> Reading:
    return Reading(
        photo_sha256=photo.sha256,
        method="1",
        width_px=photo.width_px,
        height_px=photo.height_px,
        jar_found=frame is not None,
        jar=frame,
    )


def picture(jpeg: bytes) -> Image.Image:
    return Image.open(io.BytesIO(jpeg))


def test_the_strip_is_the_jar_upright_and_a_few_kilobytes(photo: Photo) -> None:
    jpeg = cut_strip(photo, reading(photo, DRAWN.frame))
    strip = picture(jpeg)
    assert strip.height == 128
    assert len(jpeg) < 8_000
    frame = DRAWN.frame
    tall, wide = frame.floor_px - frame.surface_px, frame.right_px - frame.left_px
    # air of 0.08 of the liquid's height on each side and below, twice that above
    assert strip.width / strip.height == pytest.approx((wide + 0.16 * tall) / (1.24 * tall), abs=0.03)
    pixels = np.asarray(strip.convert("RGB")).astype(int)
    middle = pixels[:, strip.width // 2]
    up, down = middle[int(128 * 0.35)], middle[int(128 * 0.75)]
    assert up[2] > up[0] + 50, "the upper half is blue"
    assert down[0] > down[2] + 50, "the lower half is red"


def test_a_photo_whose_jar_is_not_known_is_shown_whole(photo: Photo) -> None:
    lost = replace(DRAWN.frame, surface_px=float("nan"))
    for said in (None, reading(photo, None), reading(photo, lost)):
        strip = picture(cut_strip(photo, said))
        assert strip.width / strip.height == pytest.approx(photo.width_px / photo.height_px, rel=0.02)
