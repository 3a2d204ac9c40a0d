"""Amounts in the measures of a filling station: gallons, pints, pounds and their ounces, never 36.7 fl oz."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.units import say_measures, unit_named

FL_OZ, OZ = 29.5735295625, 28.349523125  # exact: NIST Handbook 44, App. C


@pytest.mark.parametrize(
    ("fl_oz", "said"),
    [
        (36.7, "2 pt 4.7 fl oz (1.085 L)"),
        (200.0, "1 gal 72 fl oz (5.915 L)"),
        (64.0, "4 pt (1.893 L)"),
        (16.0, "1 pt (473 mL)"),
        (15.9, "15.9 fl oz (470 mL)"),
        (127.99, "1 gal (3.785 L)"),
        (31.97, "2 pt (945 mL)"),
        (256.0, "2 gal (7.571 L)"),
        (0.25, "1.5 tsp (7.39 mL)"),
    ],
)
def test_a_volume_in_gallons_or_pints_and_fluid_ounces(fl_oz: float, said: str) -> None:
    assert say_measures(ml=fl_oz * FL_OZ) == said


@pytest.mark.parametrize(
    ("oz", "said"),
    [
        (100.0, "6 lb 4 oz (2.835 kg)"),
        (64.0, "4 lb (1.814 kg)"),
        (15.0, "15 oz (425 g)"),
        (15.96, "16 oz (452 g)"),
        (50.3, "3 lb 2.3 oz (1.426 kg)"),
        (330.4, "20 lb 10 oz (9.367 kg)"),
    ],
)
def test_a_weight_in_pounds_and_ounces(oz: float, said: str) -> None:
    assert say_measures(g=oz * OZ) == said


def test_what_was_not_written_is_said() -> None:
    assert say_measures() == "not written"


@given(st.floats(0.2, 40_000.0), st.booleans())
def test_the_measures_add_up_to_the_amount_within_half_a_percent(size: float, liquid: bool) -> None:
    said = say_measures(ml=size) if liquid else say_measures(g=size)
    parts = re.findall(r"([\d.]+) (gal|pt|fl oz|tsp|lb|oz)", said.split(" (")[0])
    assert sum(float(n) * float(unit_named(u).factor) for n, u in parts) == pytest.approx(size, rel=0.005)
    assert float(parts[-1][0]) > 0
