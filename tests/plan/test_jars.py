"""Jars: what they hold at which height, and entries that are no jar's, refused in words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.jars import (
    Filling,
    JarShape,
    fillings_from_rows,
    make_jar,
    read_fillings,
    say_filled,
    say_fillings,
)
from jartest.units import read_volume

STRAIGHT = JarShape(name="straight", inner_diameter_mm=80.0)


def cone(height: float, bottom: float = 33.0, top: float = 46.0, high: float = 130.0) -> float:
    """Volume in mL of a frustum of a cone up to this height: pi h (r1^2 + r1 r2 + r2^2) / 3, Euclid XII.10 and after."""
    r = bottom + (top - bottom) * height / high
    return math.pi * height * (bottom**2 + bottom * r + r**2) / 3000


def tapered(steps: int) -> JarShape:
    heights = [130.0 * (i + 1) / steps for i in range(steps)]
    return make_jar(
        name="tapered",
        inner_diameter_mm=79.0,
        volume_ml=500,
        fillings=[Filling(height_mm=h, volume_ml=cone(h)) for h in heights],
    )


def test_a_straight_jar_holds_a_cylinder() -> None:
    # pi / 4 * 80^2 * 100 mm = 502,655 mm3 = 502.7 mL
    assert STRAIGHT.volume_to(100) == pytest.approx(502.6548, rel=1e-6)
    assert STRAIGHT.volume_to(0) == 0


def test_a_tapered_jar_calibrated_at_six_heights_is_within_a_few_drops_of_its_cone() -> None:
    jar = tapered(6)
    # straight lines between fillings 21.7 mm apart: at most 2 pi r r' dh^2 / 8 = 2 pi 46 (0.1) 21.7^2 / 8 mm3 = 1.7 mL
    for height in (10, 33, 60, 97, 130):
        assert jar.volume_to(height) == pytest.approx(cone(height), abs=1.7)
    # the cylinder of its middle is far off below, where the jar is narrow
    plain = JarShape(name="plain", inner_diameter_mm=79.0)
    assert abs(plain.volume_to(33) / cone(33) - 1) > 0.1


def test_at_a_filling_the_jar_holds_that_filling_and_above_the_last_nothing_is_known() -> None:
    jar = tapered(4)
    for f in jar.fillings:
        assert jar.volume_to(f.height_mm) == pytest.approx(f.volume_ml)
    assert math.isnan(jar.volume_to(131))
    assert math.isnan(jar.volume_to(-1))
    assert math.isnan(jar.volume_to(math.nan))


@given(st.floats(0, 129), st.floats(0, 129))
def test_volume_never_falls_with_height(a: float, b: float) -> None:
    jar = tapered(5)
    low, high = sorted((a, b))
    assert jar.volume_to(low) <= jar.volume_to(high) + 1e-9


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"name": "  "}, "has no name"),
        ({"name": "x" * 81}, "80 letters, not 81"),
        ({"inner_diameter_mm": 0}, "diameter of 0 mm is not from 10 to 500 mm"),
        ({"inner_diameter_mm": -80}, "diameter of -80 mm is not from"),
        ({"inner_diameter_mm": math.nan}, "is not from 10 to 500 mm"),
        ({"inner_diameter_mm": 3.4}, "is not from 10 to 500 mm"),
        ({"wall_mm": 0}, "wall of 0 mm is not from"),
        ({"wall_mm": -2}, "wall of -2 mm is not from"),
        ({"wall_mm": 40}, "wall of 40 mm is not from"),
        ({"volume_ml": 0}, "volume of 0 mL is not from"),
        ({"fillings": [(50, 250)]}, "One filling can't show"),
        ({"fillings": [(40, 200), (40, 250)]}, "250 mL at 40 mm stands no higher"),
        ({"fillings": [(42, 200), (40, 250)]}, "volumes and heights must rise together"),
        ({"fillings": [(40, 200), (50, 200)]}, "holds no more"),
        ({"fillings": [(0, 0), (50, 250)]}, "volume of 0 mL"),
        ({"fillings": [(-3, 10), (50, 250)]}, "height of -3 mm"),
        ({"fillings": [(40, 200), (41, 900)]}, "From 40 to 41 mm the fillings make the jar"),
        ({"fillings": [(i + 1.0, 5.0 * (i + 1)) for i in range(41)]}, "40 are enough"),
    ],
)
def test_an_entry_that_is_no_jar_s_is_refused_in_a_sentence(more: dict[str, object], says: str) -> None:
    fillings = [Filling(height_mm=h, volume_ml=v) for h, v in more.get("fillings", [])]  # type: ignore[attr-defined]
    entry = {"name": "quart", "inner_diameter_mm": 80.0, "volume_ml": 946.0} | more | {"fillings": fillings}
    with pytest.raises(BadEntry) as caught:
        make_jar(**entry)  # type: ignore[arg-type]
    assert says in str(caught.value)
    assert str(caught.value).endswith(".")


def test_fillings_are_read_as_people_write_them_and_put_in_order() -> None:
    read = read_fillings("500 mL at 98.5 mm\n\n 8 fl oz: 4,7 cm\n750 mL = 148")
    assert [(round(f.volume_ml, 1), f.height_mm) for f in read] == [(500, 98.5), (236.6, 47.0), (750, 148)]
    jar = make_jar(name="quart", inner_diameter_mm=80, volume_ml=946, fillings=read)
    assert [f.height_mm for f in jar.fillings] == [47.0, 98.5, 148]
    assert read_fillings(say_fillings(jar.fillings))[1:] == jar.fillings[1:]
    assert read_fillings("  \n") == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("250 mL", "Line 1 of the fillings"),
        ("250 at 40 mm", "Line 1 of the fillings"),
        ("100 mL at 20 mm\nhalf full", "Line 2 of the fillings, “half full”"),
        ("0 mL at 20 mm", "not more than zero"),
        ("250 g at 40 mm", "Line 1 of the fillings"),
        ("250 mL at 812 px", "write it as 250 mL at 44.5 mm"),
        ("250 mL at 0 mm", "not more than zero"),
    ],
)
def test_a_line_that_cannot_be_read_is_named(text: str, says: str) -> None:
    with pytest.raises(BadEntry) as caught:
        read_fillings(text)
    assert says in str(caught.value)


def test_rows_of_one_photo_become_heights() -> None:
    read = fillings_from_rows("250 mL at 800\n500 mL: 612.5 px", floor_px=975, mm_per_px=0.28)
    assert [f.height_mm for f in read] == pytest.approx([49.0, 101.5])
    with pytest.raises(BadEntry, match="rows count from the top"):
        fillings_from_rows("250 mL at 990", floor_px=975, mm_per_px=0.28)
    with pytest.raises(BadEntry, match="can't be used"):
        fillings_from_rows("250 mL at 800", floor_px=975, mm_per_px=0)
    with pytest.raises(BadEntry, match="write it as 250 mL at 812"):
        fillings_from_rows("250 mL at 44 mm", floor_px=975, mm_per_px=0.28)


@given(st.floats(5, 20_000))
def test_what_a_jar_is_filled_to_is_typed_again_as_the_same_volume(volume_ml: float) -> None:
    assert read_volume(say_filled(volume_ml)) == pytest.approx(volume_ml, rel=1e-6)


def test_a_jar_s_volume_is_said_in_the_unit_in_which_it_is_round() -> None:
    assert say_filled(946.352946) == "32 fl oz"
    assert say_filled(500) == "500 mL"
