"""Glances: a jar that moved and a picture that went dark are told, a jar that settles is not."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from jartest.errors import BadPhoto
from jartest.imaging.glance import glance_at, went_wrong

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
SERIES = ("creamer", "curdler", "settler", "stable")


def pictures(name: str) -> list[np.ndarray]:
    return [cv2.imread(str(p)) for p in sorted((SAMPLES / name).glob("*.jpg"))]


def jpeg(pixels: np.ndarray, quality: int = 90) -> bytes:
    return cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


@pytest.mark.parametrize("name", SERIES)
def test_a_jar_moved_by_a_tenth_of_the_picture_is_told(name: str) -> None:
    before = pictures(name)[0]
    moved = np.roll(before, before.shape[1] // 10, axis=1)
    assert went_wrong(glance_at(jpeg(before)), glance_at(jpeg(moved))) == "the jar or the camera moved"


@pytest.mark.parametrize("name", SERIES)
def test_a_jar_that_settles_is_not_though_the_light_and_the_noise_change(name: str) -> None:
    chance = np.random.default_rng(5)
    for first, later in zip(pictures(name), pictures(name)[1:], strict=False):
        # A fifteenth of the way from one look to the next: 20 s of 5 min, the shortest time between two.
        after = cv2.addWeighted(first, 14 / 15, later, 1 / 15, 0).astype(float)
        after = np.clip(after * 0.9 + chance.normal(0, 4, after.shape), 0, 255).astype(np.uint8)
        assert went_wrong(glance_at(jpeg(first)), glance_at(jpeg(after, 80))) == ""


def test_a_picture_that_went_dark_is_told_once_and_light_again_is_no_move() -> None:
    light = pictures("stable")[0]
    dark = (light * 0.1).astype(np.uint8)
    was, now = glance_at(jpeg(light)), glance_at(jpeg(dark))
    assert went_wrong(was, now) == "the picture went dark"
    assert went_wrong(None, now) == "the picture went dark"
    assert went_wrong(now, now) == ""
    assert went_wrong(now, was) == ""


def test_what_is_no_picture_is_said() -> None:
    with pytest.raises(BadPhoto):
        glance_at(b"nothing")
