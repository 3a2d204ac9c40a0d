"""What people type: taken as meant, echoed, or refused in one sentence."""

from __future__ import annotations

import contextlib
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadUnit
from jartest.units import (
    UNITS,
    Unit,
    read_amount,
    read_carrier_rate,
    read_quantity,
    read_rate,
    read_volume,
    say_amount,
    say_area,
    say_level_spoons,
    say_mass,
    say_number,
    say_volume,
)

TSP = 4.92892159375  # mL, exact: NIST Handbook 44, App. C


@pytest.mark.parametrize(
    ("text", "ml"),
    [
        ("5 mL", 5.0),
        ("5ml", 5.0),
        ("1 tsp", TSP),
        ("1½ tsp", 1.5 * TSP),
        ("1 1/2 tsp", 1.5 * TSP),
        ("½ tsp", 0.5 * TSP),
        ("1-1/2 tsp", 1.5 * TSP),
        ("0.5 fl oz", 3 * TSP),
        (".5 fl. oz.", 3 * TSP),
        ("1,5 mL", 1.5),
        ("0,125 mL", 0.125),
        ("2 US gal", 7570.823568),
        ("2 gal (US)", 7570.823568),
        ("1 Imp. gal", 4546.09),
        ("1 UK gallon", 4546.09),
        ("3 cc", 3.0),
    ],
)
def test_a_volume_is_read_as_typed(text: str, ml: float) -> None:
    amount = read_amount(text)
    assert (amount.ml, amount.g) == (pytest.approx(ml, rel=1e-15), None)


@pytest.mark.parametrize(
    ("text", "g"), [("12 g", 12.0), ("1/2 oz", 14.1747615625), ("2 lbs", 907.18474), ("3#", 1360.77711)]
)
def test_a_weight_is_read_as_typed(text: str, g: float) -> None:
    amount = read_amount(text)
    assert (amount.ml, amount.g) == (None, pytest.approx(g, rel=1e-15))


def test_what_was_typed_is_echoed_with_its_unit_spelled_out() -> None:
    assert read_amount("1/2 oz").read_as == "0.5 oz by weight = 14.2 g"
    assert read_amount("4 fl oz").read_as == "4 US fl oz = 118 mL"
    assert read_amount("1 imp gal").read_as == "1 imperial gal = 4.546 L"
    assert read_rate("3 fl oz/1000 ft2").read_as == "3 US fl oz per 1000 ft2 = 9.55 L per ha"
    assert read_rate("0.25 %").read_as == "0.25 % by volume = 2.5 mL per L"
    assert read_carrier_rate("20 gal/A").read_as == "20 US gal per acre = 187.1 L per ha"


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_every_spelling_of_the_table_is_taken(unit: Unit) -> None:
    for spelling in unit.spellings:
        assert read_quantity(f"2 {spelling}", unit.kind).unit is unit


BAD = [
    "", "5", "mL", "0 mL", "0.0 g", "-3 mL", "−3 mL", "-1/2 oz", "nan mL", "NaN g", "inf mL", "1e9 mL", "1E3 g",
    "1/0 mL", "1.5.2 mL", "1,500 mL", "1.000,5 mL", "999999999 mL", "2000 gal", "0.0000001 mL", "5 furlong",
    "5 ac", "3 T", "3 t", "2 tons", "5 fl oz/acre", "five mL", "5 mL 3", "5 %",
]  # fmt: skip


@pytest.mark.parametrize("text", BAD)
def test_an_amount_that_cannot_be_taken_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(BadUnit) as refused:
        read_amount(text)
    said = str(refused.value)
    assert said.endswith(".")
    assert "\n" not in said
    assert text.strip()[:3].replace("−", "-").lower() in said.replace("−", "-").lower()


@pytest.mark.parametrize(
    "text",
    [
        "3 oz", "3 fl oz per", "1 pt/a", "2 lb/100", "5 %w/w", "120 % v/v", "2 gal/gal", "nan lb/acre", "0 g/ha",
        "-2 lb/100 gal", "1e9 lb/acre", "4 oz per M", "2 lb per acre / tank", "2 acre/gal", "/acre", "1,000 g/ha",
    ],
)  # fmt: skip
def test_a_rate_that_cannot_be_taken_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(BadUnit, match=r"\.$"):
        read_rate(text)


def test_a_comma_that_may_mean_a_thousand_is_asked_about() -> None:
    with pytest.raises(BadUnit, match=r"may mean a thousand or a decimal: type 1500 or 1\.500"):
        read_volume("1,500 mL")


def test_a_thousand_square_feet_may_carry_its_comma() -> None:
    assert read_rate("3 fl oz per 1,000 sq ft").per_size == pytest.approx(92.90304, rel=1e-15)


def test_an_ounce_of_a_liquid_is_a_question() -> None:
    with pytest.raises(BadUnit, match="may be fluid ounces or weight: type fl oz, or oz wt"):
        read_rate("3 oz/acre", liquid=True)
    assert read_rate("3 oz wt/acre", liquid=True).g is not None
    assert read_rate("3 fl oz/acre", liquid=True).ml is not None


def test_a_dry_product_by_volume_is_refused_with_the_reason() -> None:
    # New England Vegetable Management Guide: 2 to 6 level tablespoons per ounce, a threefold spread.
    with pytest.raises(BadUnit, match="a spoon can be threefold wrong"):
        read_amount("2 tbsp", liquid=False)
    with pytest.raises(BadUnit, match="dry products are weighed"):
        read_rate("0.25 % v/v", liquid=False)


def test_per_a_hundred_gallons_says_which_gallon() -> None:
    us, imperial = read_rate("2 lb/100 gal"), read_rate("2 lb/100 imp gal")
    assert "US gal" in us.read_as
    assert "imperial gal" in imperial.read_as
    # An imperial gallon is 1.200950 US gallons: NIST table of units.
    assert imperial.per_size / us.per_size == pytest.approx(1.200950, rel=1e-6)


def test_an_area_per_tank_is_a_carrier_rate_too() -> None:
    rate = read_carrier_rate("5 acres/tank")
    assert (rate.ml_per_m2, rate.m2_per_tank) == (None, pytest.approx(20234.282112, rel=1e-12))


@pytest.mark.parametrize("text", ["2 lb/ha", "5 mL/mL", "20 gal", "0 gal/acre", "1e9 gal/acre", "20 gal/A/A"])
def test_a_carrier_rate_that_cannot_be_taken_is_refused(text: str) -> None:
    with pytest.raises(BadUnit):
        read_carrier_rate(text)


@given(text=st.text(max_size=30))
def test_whatever_is_typed_is_read_or_refused_never_anything_else(text: str) -> None:
    for read in (read_amount, read_rate, read_carrier_rate, read_volume):
        with contextlib.suppress(BadUnit):
            read(text)


@given(
    number=st.one_of(
        st.decimals(min_value="0.01", max_value=900, places=2),
        st.fractions(min_value="1/16", max_value=90, max_denominator=16),
    ),
    unit=st.sampled_from([u for u in UNITS if u.kind != "area" and u.name != "gal" and u.name != "imp gal"]),
)
def test_a_number_is_read_exactly(number: Decimal | Fraction, unit: Unit) -> None:
    quantity = read_quantity(f"{number} {unit.name}", unit.kind)
    assert quantity.value == number
    assert quantity.size == Fraction(number) * unit.factor


@pytest.mark.parametrize(
    ("ml", "said"),
    [
        (2.365882365, "2.37 mL (0.48 tsp)"),
        (29.5735295625, "29.6 mL (1 fl oz)"),
        (946.352946, "946 mL (32 fl oz)"),
        (757082.3568, "757.1 L (200 gal)"),
    ],
)
def test_a_volume_is_said_in_metric_and_us(ml: float, said: str) -> None:
    assert say_volume(ml) == said


def test_weight_area_and_us_first() -> None:
    assert say_mass(28.349523125) == "28.3 g (1 oz)"
    assert say_mass(907.18474, us_first=True) == "2 lb (907 g)"
    assert say_area(92.90304) == "92.9 m2 (1000 ft2)"
    assert say_area(4046.8564224, us_first=True) == "1 acre (4047 m2)"


def test_level_spoons_say_how_far_off_they_are() -> None:
    assert say_level_spoons(0.96 * TSP) == "1 tsp level (+4%)"  # 1 pt per 100 gal: Missouri G7510
    assert say_level_spoons(4.5 * TSP) == "1 tbsp + 1 1/2 tsp level (+0%)"
    assert say_level_spoons(0.1) == "too little for a spoon: use a syringe"


@given(x=st.floats(min_value=1e-4, max_value=1e7))
def test_a_number_is_said_to_four_figures_without_an_exponent(x: float) -> None:
    said = say_number(x)
    assert "e" not in said
    assert float(said) == pytest.approx(x, rel=5.1e-4)


def test_what_is_not_a_number_is_said_to_be_not_known() -> None:
    assert say_number(float("nan")) == "not known"
    assert "not known" in say_volume(float("nan"))


@pytest.mark.parametrize("x", [1.7976931348623157e308, 1e100, 5e-324])
def test_a_figure_beyond_all_measure_is_said_and_stops_nothing(x: float) -> None:
    assert say_amount(ml=x)
    assert say_amount(g=x, us_first=True)
    assert say_area(x)
