"""The marked picture: lines where they should be, words legible on a phone."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.overlay import draw_overlay, shrink
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Marks, Reading, Withheld

BANDS = (Band(top_fraction=0.3, colour=(120, 90, 60)), Band(top_fraction=1, colour=(200, 180, 130)))


@pytest.fixture(scope="module")
def case() -> tuple[Photo, Reading]:
    drawn = draw_jar(BANDS, width_px=960, height_px=1280)
    f = drawn.frame
    photo = open_photo(drawn.jpeg())
    marks = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
    return photo, read_photo(photo, marks=marks)


def opened(jpeg: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB")).astype(int)


def yellow(pixels: np.ndarray) -> np.ndarray:
    return (pixels[..., 0] > 180) & (pixels[..., 1] > 150) & (pixels[..., 2] < 110)


def test_floor_surface_and_boundary_are_drawn_at_their_rows(case: tuple[Photo, Reading]) -> None:
    photo, reading = case
    drawn = yellow(opened(draw_overlay(photo, reading, width_px=photo.width_px)))
    assert reading.jar is not None
    high = reading.jar.floor_px - reading.jar.surface_px
    boundary = reading.jar.floor_px - 0.3 * high
    per_row = drawn.sum(axis=1)
    for row, least in ((reading.jar.floor_px, 0.8), (reading.jar.surface_px, 0.5), (boundary, 0.4)):
        near = per_row[round(row) - 6 : round(row) + 7].max()
        assert near > least * (reading.jar.right_px - reading.jar.left_px)


def test_the_three_kinds_of_line_differ_in_black_and_white(case: tuple[Photo, Reading]) -> None:
    photo, reading = case
    drawn = yellow(opened(draw_overlay(photo, reading, width_px=photo.width_px)))
    assert reading.jar is not None
    high = reading.jar.floor_px - reading.jar.surface_px
    left, right = round(reading.jar.left_px) + 4, round(reading.jar.right_px) - 4

    def parts(row: float) -> int:
        lines = drawn[round(row) - 6 : round(row) + 7, left:right]
        line = lines.any(axis=0)
        return int((np.diff(line.astype(int)) == 1).sum() + line[0])

    counts = [
        parts(r) for r in (reading.jar.floor_px, reading.jar.surface_px, reading.jar.floor_px - 0.3 * high)
    ]
    assert counts[0] == 1
    assert 1 < counts[1] < counts[2]


def test_words_are_large_enough_on_a_phone_screen(case: tuple[Photo, Reading]) -> None:
    photo, reading = case
    width = 1080
    pixels = opened(draw_overlay(photo, reading, width_px=width))
    boxes = (pixels.max(axis=2) < 30).sum(axis=1) > 40  # rows crossed by the black box behind a word
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], boxes.astype(int), [0]]))))[::2]
    assert runs.max() * 390 / width >= 12  # CSS pixels: common practice, no source


def test_a_photo_without_a_jar_says_so(case: tuple[Photo, Reading]) -> None:
    photo, reading = case
    none = Reading(
        photo_sha256=photo.sha256,
        method=reading.method,
        width_px=photo.width_px,
        height_px=photo.height_px,
        jar_found=False,
    )
    before, after = opened(shrink(photo, 480)), opened(draw_overlay(photo, none, width_px=480))
    assert np.abs(before - after)[:40].mean() > 3
    assert np.abs(before - after)[120:].mean() < 1


def test_a_thumbnail_has_the_width_asked_for_and_is_never_enlarged(case: tuple[Photo, Reading]) -> None:
    photo, _ = case
    assert opened(shrink(photo, 200)).shape[1] == 200
    assert opened(shrink(photo, 5000)).shape[1] == photo.width_px


def test_a_withheld_line_is_drawn_dashed_where_it_may_be(case: tuple[Photo, Reading]) -> None:
    photo, reading = case
    assert reading.jar is not None
    row = reading.jar.floor_px
    lost = replace(reading, jar=replace(reading.jar, floor_px=math.nan), layers=())
    asked = replace(lost, withheld=(Withheld(line="floor", row_px=row, sigma_px=4.0, confidence=0.4),))
    wide = reading.jar.right_px - reading.jar.left_px
    share = []
    for told in (reading, asked, lost):
        drawn = yellow(opened(draw_overlay(photo, told, width_px=photo.width_px))).sum(axis=1)
        share.append(drawn[round(row) - 6 : round(row) + 7].max() / wide)
    assert share[0] > 0.8  # a line that is given is drawn through
    assert 0.3 < share[1] < 0.7
    assert share[2] < 0.1
