"""Texture and colour against published figures."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.feature import graycomatrix, graycoprops

from jartest.imaging.texture import texture_figures

# Haralick, Shanmugam, Dinstein (1973), IEEE Trans. SMC-3, figure 3: the 4 x 4 example; the figures below
# are means over its four printed matrices, computed by hand from their counts.
EXAMPLE = np.array([[0, 0, 1, 1], [0, 0, 1, 1], [0, 2, 2, 2], [2, 2, 3, 3]], np.uint8)
MATRICES = {  # counts as printed, 0, 90, 45 and 135 degrees
    24.0: (
        [[4, 2, 1, 0], [2, 4, 0, 0], [1, 0, 6, 1], [0, 0, 1, 2]],
        [[6, 0, 2, 0], [0, 4, 2, 0], [2, 2, 2, 2], [0, 0, 2, 0]],
    ),
    18.0: (
        [[4, 1, 0, 0], [1, 2, 2, 0], [0, 2, 4, 1], [0, 0, 1, 0]],
        [[2, 1, 3, 0], [1, 2, 1, 0], [3, 1, 0, 2], [0, 0, 2, 0]],
    ),
}


def test_haralicks_example_gives_the_figures_of_his_printed_matrices() -> None:
    p = [np.array(m) / total for total, pair in MATRICES.items() for m in pair]
    i, j = np.mgrid[:4, :4]
    got = texture_figures(EXAMPLE, 4)
    assert got["contrast"] == pytest.approx(np.mean([(m * (i - j) ** 2).sum() for m in p]), abs=1e-9)
    assert got["dissimilarity"] == pytest.approx(np.mean([(m * abs(i - j)).sum() for m in p]), abs=1e-9)
    assert got["asm"] == pytest.approx(np.mean([(m**2).sum() for m in p]), abs=1e-9)
    assert got["homogeneity"] == pytest.approx(np.mean([(m / (1 + (i - j) ** 2)).sum() for m in p]), abs=1e-9)
    entropy = np.mean([-(m[m > 0] * np.log(m[m > 0])).sum() for m in p])
    assert got["entropy"] == pytest.approx(entropy, abs=1e-9)
    assert got["contrast"] == pytest.approx((0.583333 + 1.0 + 0.444444 + 1.777778) / 4, abs=1e-5)
    assert got["correlation"] == pytest.approx((0.719533 + 0.485714 + 0.735294 + 0.162791) / 4, abs=1e-5)


def test_texture_is_that_of_scikit_image() -> None:
    levels = np.sort(np.random.default_rng(5).integers(0, 32, (90, 23)).astype(np.uint8), axis=0)
    angles = [0, np.pi / 4, np.pi / 2, 3 * np.pi / 4]
    matrix = graycomatrix(levels, [1], angles, levels=32, symmetric=True, normed=True)
    for name, value in texture_figures(levels).items():
        theirs = graycoprops(matrix, "ASM" if name == "asm" else name).mean()
        assert value == pytest.approx(theirs, rel=1e-12)


def test_a_region_of_one_row_has_no_texture() -> None:
    assert all(np.isnan(v) for v in texture_figures(EXAMPLE[:1], 4).values())


# Published sRGB to CIELAB (D65, 2 degrees) values, as in several test files citing Lindbloom's calculator.
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 0, 0), (53.2408, 80.0925, 67.2032)),
        ((0, 255, 0), (87.7347, -86.1827, 83.1793)),
        ((0, 0, 255), (32.2970, 79.1875, -107.8602)),
        ((128, 128, 128), (53.5850, 0, 0)),
        ((100, 150, 200), (60.5072, -2.7871, -30.9306)),
        ((138, 90, 43), (42.599, 15.0398, 34.5152)),
    ],
)
def test_the_colours_that_the_layers_are_given_in_are_cielab(
    rgb: tuple[int, int, int], lab: tuple[float, float, float]
) -> None:
    got = cv2.cvtColor(np.array([[rgb]], np.float32) / 255, cv2.COLOR_RGB2LAB)[0, 0]
    assert got == pytest.approx(lab, abs=0.3)  # OpenCV interpolates its tables: 0.26 at most was seen
