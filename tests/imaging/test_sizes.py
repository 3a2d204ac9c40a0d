"""Layers in millimetres and millilitres, against hand reckoning."""

from __future__ import annotations

import math

import pytest

from jartest.imaging.sizes import column_mm, fill, layer_sizes
from jartest.imaging.values import Frame, Layer, Reading
from jartest.plan.jars import Filling, JarShape


def reading(mm_per_px: float = 0.25, sigma: float = 0.0) -> Reading:
    return Reading(
        photo_sha256="0" * 64,
        method="test",
        width_px=600,
        height_px=800,
        jar_found=True,
        jar=Frame(left_px=100, right_px=400, floor_px=700, surface_px=300),
        mm_per_px=mm_per_px,
        mm_per_px_sigma=sigma,
        layers=(
            Layer(kind="settled", bottom_fraction=0, top_fraction=0.2, top_sigma_fraction=0.01),
            Layer(kind="body", bottom_fraction=0.2, top_fraction=1, top_sigma_fraction=0.004),
        ),
    )


def test_fractions_become_millimetres_of_the_column() -> None:
    assert column_mm(reading(sigma=0.005)) == (100, 2.0)
    settled, body = layer_sizes(reading())
    assert (settled.bottom_mm, settled.top_mm, body.top_mm) == (0, 20, 100)
    assert settled.top_sigma_mm == pytest.approx(1.0)
    assert math.isnan(settled.volume_ml)


def test_a_straight_jar_makes_them_millilitres() -> None:
    settled, body = layer_sizes(reading(), JarShape(name="j", inner_diameter_mm=80))
    # pi / 4 * 80^2 = 5026.5 mm2; 20 mm of it are 100.5 mL, and 1 mm of doubt is 5.03 mL
    assert settled.volume_ml == pytest.approx(100.53, abs=0.01)
    assert settled.volume_sigma_ml == pytest.approx(5.027, abs=0.01)
    assert body.volume_ml == pytest.approx(402.12, abs=0.01)
    assert body.volume_sigma_ml == pytest.approx(math.hypot(5.027, 2.011), abs=0.01)


def test_the_scale_s_doubt_moves_all_ends_together() -> None:
    settled, _ = layer_sizes(reading(sigma=0.005), JarShape(name="j", inner_diameter_mm=80))
    assert settled.top_sigma_mm == pytest.approx(math.hypot(1.0, 0.02 * 20))
    assert settled.volume_sigma_ml == pytest.approx(math.hypot(5.027, 0.02 * 100.53), abs=0.01)


def test_a_calibrated_jar_says_what_it_holds_and_nothing_above_its_last_filling() -> None:
    fillings = (Filling(height_mm=20, volume_ml=80), Filling(height_mm=90, volume_ml=430))
    settled, body = layer_sizes(reading(), JarShape(name="j", inner_diameter_mm=80, fillings=fillings))
    assert settled.volume_ml == pytest.approx(80)
    assert math.isnan(body.volume_ml)
    assert math.isnan(body.volume_sigma_ml)
    assert body.top_mm == 100


def test_without_a_scale_there_are_no_sizes() -> None:
    assert layer_sizes(reading(math.nan, math.nan), JarShape(name="j", inner_diameter_mm=80)) == ()
    assert all(math.isnan(x) for x in column_mm(reading(math.nan, math.nan)))


def test_the_planned_volume_is_held_against_the_photo_s() -> None:
    """By hand: 100 mm in a straight jar of 80 mm are pi / 4 * 80^2 * 100 = 502.7 mL."""
    jar = JarShape(name="j", inner_diameter_mm=80)
    got = fill(reading(sigma=0.0025), 935.0, jar)
    assert got is not None
    assert got.seen_ml == pytest.approx(502.65, abs=0.01)
    assert 20 < got.sigma_ml < 40  # 5 % for a shape that is not known
    assert got.differs
    assert "31.6 fl oz (935 mL)" in got.says
    assert "check the floor and surface lines" in got.says
    same = fill(reading(sigma=0.0025), 520.0, jar)
    assert same is not None
    assert not same.differs
    assert "check" not in same.says


def test_a_calibrated_jar_differs_sooner_and_says_nothing_over_its_last_filling() -> None:
    jar = JarShape(
        name="j", inner_diameter_mm=80, fillings=(Filling(height_mm=20, volume_ml=80), Filling(height_mm=120, volume_ml=580))
    )  # fmt: skip
    got = fill(reading(), 540.0, jar)
    straight = fill(reading(), 540.0, JarShape(name="j", inner_diameter_mm=80))
    assert got is not None
    assert straight is not None
    assert got.seen_ml == pytest.approx(480)  # 80 mL and 80 of 100 mm of 500 mL
    assert got.sigma_ml < straight.sigma_ml
    assert got.differs
    assert fill(reading(0.35), 500.0, jar) is None  # 140 mm: above what was filled
    assert fill(reading(math.nan, math.nan), 500.0, jar) is None


def test_by_the_card_s_scale_alone_the_jar_is_as_wide_as_it_looks_and_the_doubt_is_larger() -> None:
    """By hand: half 300 columns, 1200 to the eye, fill 7.125 degrees; r is 0.25 * 150 * 0.9923 / 0.8760 = 42.48 mm,

    inside 40.36 mm, and 100 mm of that 511.6 mL.
    """
    got = fill(reading(sigma=0.0025), 560.0)
    assert got is not None
    assert got.seen_ml == pytest.approx(511.6, abs=0.5)
    assert got.sigma_ml > 0.1 * got.seen_ml
    assert not got.differs
