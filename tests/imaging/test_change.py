"""Change since an earlier photo: CIEDE2000 on its published table, light allowed for, and what is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jartest.imaging.change import Change, HeightChange, change_since, colour_difference, say_change
from jartest.imaging.drawn import Band, Drawn, draw_jar
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Marks, Reading

SAMPLES = Path(__file__).resolve().parents[2] / "samples"

# Sharma, Wu and Dalal (2005), Color Res. Appl. 30, 21-30, Table 1 (read second hand in a public test file
# that cites it): L*, a*, b* of both colours, and the difference.
SHARMA_WU_DALAL = np.array(
    [
        (50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425),
        (50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615),
        (50.0, 2.8361, -74.02, 50.0, 0.0, -82.7485, 3.4412),
        (50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0),
        (50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669),
        (50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0009, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.001, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0011, 7.2195),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0012, 7.2195),
        (50.0, -0.001, 2.49, 50.0, 0.0009, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.001, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.0011, -2.49, 4.7461),
        (50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065),
        (50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492),
        (50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977),
        (50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.903),
        (50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535),
        (50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0),
        (50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2592, 0.335, 1.0),
        (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
        (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.263),
        (61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731),
        (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
        (22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373),
        (36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
        (90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441),
        (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
        (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
        (2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082),
    ]
)


def test_the_colour_difference_is_that_of_the_published_table() -> None:
    assert len(SHARMA_WU_DALAL) == 34
    found = colour_difference(SHARMA_WU_DALAL[:, :3], SHARMA_WU_DALAL[:, 3:6])
    np.testing.assert_allclose(found, SHARMA_WU_DALAL[:, 6], atol=1e-4)
    both_ways = colour_difference(SHARMA_WU_DALAL[:, 3:6], SHARMA_WU_DALAL[:, :3])
    np.testing.assert_allclose(both_ways, found, atol=1e-4)
    # CIE76 of the first pair is 4.0011 (arithmetic): another formula would show.
    assert found[0] == pytest.approx(2.0425, abs=1e-4)


MILKY, TEA = (200, 180, 130), (170, 130, 80)


def drawn(colour: tuple[int, int, int] = MILKY, **kw: Any) -> Drawn:
    return draw_jar((Band(top_fraction=1, colour=colour),), **kw)


def lit(picture: np.ndarray, gain: tuple[float, float, float]) -> np.ndarray:
    """The picture taken in another light: linear sRGB (IEC 61966-2-1) times a factor for each channel."""
    x = picture / 255.0
    linear = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4) * np.array(gain)
    y = np.clip(linear, 0, 1)
    y = np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)
    return np.rint(255 * y).astype(np.uint8)


def shot(d: Drawn, gain: tuple[float, float, float] = (1, 1, 1)) -> tuple[Photo, Reading]:
    photo = replace(open_photo(d.jpeg()), pixels=lit(d.pixels, gain))
    f = d.frame
    marks = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
    return photo, read_photo(photo, marks=marks)


def changed(first: tuple[Photo, Reading], now: tuple[Photo, Reading]) -> Change:
    return change_since(*first, *now)


@pytest.mark.parametrize(
    "gain", [(1, 1, 1), (0.6, 0.6, 0.6), (1.2, 1.2, 1.2), (1.0, 0.85, 0.65), (0.7, 0.75, 0.9)]
)
def test_another_light_on_the_same_contents_is_no_change(gain: tuple[float, float, float]) -> None:
    c = changed(shot(drawn()), shot(drawn(seed=1), gain))
    assert c.why_not == ""
    assert c.colour <= 2 * c.colour_sigma
    assert c.light_ratio == pytest.approx(float(np.mean(gain)), rel=0.05)
    assert "no change beyond the doubt" in say_change(c)[0]
    assert "no change beyond the doubt" in say_change(c)[1]


@pytest.mark.parametrize("gain", [(1, 1, 1), (0.7, 0.7, 0.7), (0.8, 0.9, 0.75)])
def test_another_colour_is_told_in_any_light(gain: tuple[float, float, float]) -> None:
    c = changed(shot(drawn()), shot(drawn(TEA, seed=1), gain))
    # What was drawn, in the shade of the drawing's middle: 1 - 0.25 x^2 over |x| < 0.7 has the median 0.97.
    lab = [_lab_of(np.array(x) * 0.97) for x in (MILKY, TEA)]
    want = float(colour_difference(lab[0], lab[1]))
    assert want > 10
    assert c.colour == pytest.approx(want, abs=max(2 * c.colour_sigma, 0.05 * want))
    assert "Color: changed by" in say_change(c)[0]


def _lab_of(rgb: np.ndarray) -> np.ndarray:
    from skimage.color import rgb2lab

    return np.asarray(rgb2lab(rgb[None, None] / 255.0)[0, 0])


def test_the_band_that_changed_most_is_told_by_its_height() -> None:
    settled = draw_jar((Band(top_fraction=0.3, colour=(120, 90, 60)), Band(top_fraction=1, colour=MILKY)))
    c = changed(shot(drawn()), shot(settled))
    assert c.most_at_fraction < 0.3
    assert c.colour_most > c.colour
    heights = {h.what: h for h in c.heights}
    assert heights["settled"].change_fraction == pytest.approx(0.3, abs=0.02)
    assert any(x.startswith("Settled: ") and x.endswith("height more.") for x in say_change(c))


def test_lumps_make_it_rougher() -> None:
    c = changed(shot(drawn()), shot(drawn(lumps=250, seed=2)))
    assert c.texture_ratio > 1.5
    assert c.texture_ratio - 1 > 2 * c.texture_sigma_ratio
    assert "times as rough as it was" in say_change(c)[1]


def test_another_backdrop_is_not_comparable() -> None:
    first, (photo, reading) = shot(drawn()), shot(drawn(seed=1))
    other = photo.pixels.copy()
    other[:, : round(reading.jar.left_px)] = np.clip(other[:, : round(reading.jar.left_px)] * 0.6, 0, 255)  # type: ignore[union-attr]
    c = changed(first, (replace(photo, pixels=other), reading))
    assert "the backdrop beside the jar differs" in c.why_not
    assert math.isnan(c.colour)
    assert math.isnan(c.texture_ratio)
    assert say_change(c)[0].startswith("Color and texture: not comparable, because the backdrop")


def test_what_cannot_be_compared_says_why() -> None:
    photo, reading = shot(drawn())
    dark = changed((photo, reading), shot(drawn(), (0.3, 0.3, 0.3)))
    assert "far darker" in dark.why_not
    burnt = replace(photo, pixels=np.full_like(photo.pixels, 255))
    assert "burnt out" in changed((photo, reading), (burnt, reading)).why_not
    flagged = replace(reading, flags=("blur",))
    assert "flagged “blur”" in changed((photo, reading), (photo, flagged)).why_not
    lost = replace(reading, jar=replace(reading.jar, surface_px=math.nan), settled_fraction=math.nan)  # type: ignore[type-var]
    c = changed((photo, reading), (photo, lost))
    assert "lines are not known" in c.why_not
    assert any(x.startswith("Settled: not comparable, because") for x in say_change(c))


def series(name: str, *minutes: int) -> list[tuple[Photo, Reading]]:
    out = []
    for minute in minutes:
        path = SAMPLES / name / f"{name}-{minute:04}min.jpg"
        truth = json.loads(path.with_suffix(".json").read_text("utf-8"))
        marks = Marks(
            left_px=truth["jar_px"]["left"][0],
            right_px=truth["jar_px"]["right"][0],
            floor_px=truth["layers"][0]["front_bottom_px"][1],
            surface_px=truth["layers"][-1]["front_top_px"][1],
        )
        photo = open_photo(path.read_bytes())
        out.append((photo, read_photo(photo, marks=marks)))
    return out


def test_a_rendered_jar_that_stays_mixed_shows_no_change_for_a_day() -> None:
    first, *later = series("stable", 0, 30, 120, 1440)
    for now in later:
        c = changed(first, now)
        assert c.colour <= 2 * c.colour_sigma
        assert say_change(c) == tuple(x for x in say_change(c) if "no change beyond the doubt" in x)


def test_a_rendered_jar_that_curdles_changes_in_colour_and_texture_though_the_camera_took_it_lighter() -> (
    None
):
    c = changed(*series("curdler", 0, 5))
    assert c.light_ratio > 1.3  # the camera opened up for the darker jar
    assert c.colour > 10
    assert c.texture_ratio > 3


def test_a_small_change_of_height_is_not_spoken_of() -> None:
    c = Change(heights=(HeightChange(what="clear", change_fraction=0.01, sigma_fraction=0.006),), why_not="x")
    assert say_change(c) == ("Color and texture: not comparable, because x.",)
