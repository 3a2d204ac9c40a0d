"""The filmstrip against drawn jars of known truth: every boundary on its row, and joined from look to look."""

from __future__ import annotations

import io
import itertools

import numpy as np
import pytest
from PIL import Image

from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.filmstrip import ABOVE_PX, LIQUID_PX, Cut, cut_frame, draw_filmstrip, film_row
from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Marks

BEDS = (0.12, 0.22, 0.34)  # of the liquid's height, settled in three looks
BED, LIQUID = (120, 90, 60), (200, 180, 130)


@pytest.fixture(scope="module")
def series() -> list[tuple[Cut, Frame, float]]:
    """Each look's cut, its true frame, and the true row of the bed's upper end in the photo."""
    made = []
    for n, bed in enumerate(BEDS):
        bands = (Band(top_fraction=bed, colour=BED), Band(top_fraction=1, colour=LIQUID))
        drawn = draw_jar(bands, width_px=600 + 180 * n, height_px=800 + 240 * n)  # nearer from look to look
        f, photo = drawn.frame, open_photo(drawn.jpeg())
        marks = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
        cut = cut_frame(photo, read_photo(photo, marks=marks))
        assert cut is not None
        made.append((cut, f, f.floor_px - bed * (f.floor_px - f.surface_px)))
    return made


def edge_row(cut: Cut) -> float:
    """The row on which the middle of the jar turns from liquid to bed, to a fraction of a row."""
    middle = cut.pixels.shape[1] // 2
    said = cut.pixels[ABOVE_PX + 20 : ABOVE_PX + LIQUID_PX - 5, middle - 3 : middle + 4].mean(axis=(1, 2))
    half = (said[:20].mean() + said[-5:].mean()) / 2
    at = int(np.flatnonzero(said < half)[0])
    return ABOVE_PX + 20 + at - 1 + float((said[at - 1] - half) / (said[at - 1] - said[at]))


def test_floor_and_surface_lie_on_the_same_rows_in_every_look(series: list[tuple[Cut, Frame, float]]) -> None:
    for cut, frame, _ in series:
        assert film_row(frame.surface_px, frame) == ABOVE_PX
        assert film_row(frame.floor_px, frame) == ABOVE_PX + LIQUID_PX
        assert cut.pixels.shape[0] == series[0][0].pixels.shape[0]


def test_a_boundary_and_its_line_lie_within_one_row_of_truth(
    series: list[tuple[Cut, Frame, float]],
) -> None:
    for cut, frame, true_px in series:
        (read,) = [row for kind, row in cut.ends if kind == "settled"]
        assert edge_row(cut) == pytest.approx(film_row(true_px, frame), abs=1.0)
        assert read == pytest.approx(film_row(true_px, frame), abs=1.0)


def test_the_boundaries_are_joined_across_the_gaps(series: list[tuple[Cut, Frame, float]]) -> None:
    cuts = [cut for cut, _, _ in series]
    pixels = np.asarray(Image.open(io.BytesIO(draw_filmstrip(cuts))).convert("RGB")).astype(int)
    right = -1
    for one, following in itertools.pairwise(cuts):
        right += one.pixels.shape[1]
        gap = pixels[:, right + 4]  # half way between the two
        ends = [dict(c.ends)["settled"] for c in (one, following)]
        lit = np.flatnonzero(gap[:, 2] < 140)  # the line on the white of the gap
        assert lit.min() - 1 <= sum(ends) / 2 <= lit.max() + 1
        right += 8


def test_a_look_without_a_jar_keeps_its_place() -> None:
    pixels = np.asarray(Image.open(io.BytesIO(draw_filmstrip([None, None]))).convert("RGB"))
    assert pixels.shape[1] == 2 * (LIQUID_PX // 2) + 8
