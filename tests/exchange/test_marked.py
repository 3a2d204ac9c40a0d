"""Marks drawn on a photo stand where they were set."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from jartest.exchange.marked import draw_marks


def grey(wide: int, high: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (wide, high), (128, 128, 128)).save(out, "JPEG", quality=95)
    return out.getvalue()


@pytest.mark.parametrize("place", [(0.5, 0.25), (0.2, 0.8), (0.9, 0.5)])
def test_a_mark_is_drawn_round_its_place_and_nowhere_else(place: tuple[float, float]) -> None:
    plain, across, down = grey(400, 300), *place
    with Image.open(io.BytesIO(draw_marks(plain, [(3, across, down)]))) as picture:
        changed = np.abs(np.asarray(picture.convert("L"), float) - 128) > 30
    rows, cols = np.nonzero(changed)
    assert abs(rows.min() + rows.max() - 2 * down * 299) <= 4
    assert abs(cols.min() + cols.max() - 2 * across * 399) <= 4
    assert rows.max() - rows.min() < 40


def test_a_photo_without_marks_stays_as_it_is() -> None:
    with Image.open(io.BytesIO(draw_marks(grey(90, 80), []))) as picture:
        assert picture.size == (90, 80)
        assert np.abs(np.asarray(picture, float) - 128).max() < 6
