"""Jar to tank to jar, and rate to jar to rate, for every pair of units."""

from __future__ import annotations

import math
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.scaling import amount_in, rate_value, scaled
from jartest.units import AREA_UNITS, MASS_UNITS, VOLUME_UNITS, Rate, Unit, read_rate

AMOUNTS = VOLUME_UNITS + MASS_UNITS
POSITIVE = st.floats(min_value=1e-3, max_value=1e4)


def rate_of(value: float, unit: Unit, per: Unit) -> Rate:
    size = value * float(unit.factor)
    volume = unit.kind == "volume"
    return Rate(
        text="",
        ml=size if volume else None,
        g=None if volume else size,
        per="area" if per.kind == "area" else "mix",
        per_size=float(per.factor),
        read_as="",
        system=per.system,
    )


@pytest.mark.parametrize(
    ("unit", "per"),
    list(product(AMOUNTS, AREA_UNITS + VOLUME_UNITS)),
    ids=lambda u: u.name,
)
@given(
    value=POSITIVE,
    jar_ml=st.floats(min_value=100, max_value=20_000),
    ml_per_m2=st.floats(min_value=1, max_value=500),
)
@settings(max_examples=8)  # for each of some 290 pairs
def test_a_rate_comes_back_from_the_jar(
    unit: Unit, per: Unit, value: float, jar_ml: float, ml_per_m2: float
) -> None:
    in_jar = amount_in(rate_of(value, unit, per), jar_ml, ml_per_m2=ml_per_m2, tank_ml=math.nan)
    assert rate_value(in_jar, unit, jar_ml, per, ml_per_m2=ml_per_m2) == pytest.approx(value, rel=1e-12)


@given(amount=POSITIVE, jar_ml=POSITIVE, tank_ml=st.floats(min_value=1e4, max_value=1e7))
def test_an_amount_comes_back_from_the_tank(amount: float, jar_ml: float, tank_ml: float) -> None:
    there = scaled(amount, from_ml=jar_ml, to_ml=tank_ml)
    assert scaled(there, from_ml=tank_ml, to_ml=jar_ml) == pytest.approx(amount, rel=1e-12)


@given(amount=st.decimals(min_value="0.01", max_value=500, places=2), jar_ml=POSITIVE)
def test_a_rate_per_tank_puts_all_of_it_into_the_tank(amount: object, jar_ml: float) -> None:
    rate = read_rate(f"{amount} fl oz/tank")
    assert amount_in(rate, 7e5, ml_per_m2=None, tank_ml=7e5) == pytest.approx(rate.amount, rel=1e-12)
    assert amount_in(rate, jar_ml, ml_per_m2=None, tank_ml=7e5) == pytest.approx(
        rate.amount * jar_ml / 7e5, rel=1e-12
    )


def test_a_rate_per_area_needs_the_carrier_rate() -> None:
    with pytest.raises(BadEntry, match="carrier rate is needed too"):
        amount_in(read_rate("1 pt/acre"), 500, ml_per_m2=None, tank_ml=1000)
