"""The table of units against the exact definitions, and pint as a second opinion."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest

from jartest.units import UNITS, Unit, read_carrier_rate, read_quantity, read_rate, unit_named

# 1 in = 2.54 cm, 1 US gal = 231 in3, 1 lb = 0.45359237 kg: NIST Handbook 44, App. C, sec. 4.
US = {
    "gal": "3785.411784",
    "qt": "946.352946",
    "pt": "473.176473",
    "cup": "236.5882365",
    "fl oz": "29.5735295625",
    "tbsp": "14.78676478125",
    "tsp": "4.92892159375",
    "lb": "453.59237",
    "oz": "28.349523125",
    "acre": "4046.8564224",  # international acre: NIST SP 811 App. B.9; World Factbook App. G prints it
}
# UK Weights and Measures Act 1985; NIST SP 811 App. B.9.
IMPERIAL = {"imp gal": "4546.09", "imp qt": "1136.5225", "imp pt": "568.26125", "imp fl oz": "28.4130625"}


@pytest.mark.parametrize(("name", "size"), [*US.items(), *IMPERIAL.items()])
def test_a_unit_has_its_exact_size(name: str, size: str) -> None:
    assert unit_named(name).factor == Fraction(size)


def test_a_us_gallon_is_231_cubic_inches() -> None:
    assert unit_named("gal").factor == 231 * Fraction("2.54") ** 3


@pytest.mark.parametrize(
    ("count", "small", "large"),
    # The unit grid of a US kitchen table (3 tsp = 1 tbsp and so on), seen second-hand.
    [
        (3, "tsp", "tbsp"),
        (2, "tbsp", "fl oz"),
        (8, "fl oz", "cup"),
        (16, "tbsp", "cup"),
        (96, "tsp", "pt"),
        (192, "tsp", "qt"),
        (256, "tbsp", "gal"),
        (768, "tsp", "gal"),
        (16, "oz", "lb"),
        (160, "imp fl oz", "imp gal"),
        (43560, "ft2", "acre"),
    ],
)
def test_so_many_of_the_small_make_the_large(count: int, small: str, large: str) -> None:
    assert count * unit_named(small).factor == unit_named(large).factor


def test_the_old_litre_is_not_used() -> None:
    # The litre of before 1964 gives 3.785306 L to the US gallon; a table that still prints it is wrong.
    assert abs(float(unit_named("gal").factor) - 3785.306) > 0.1


def test_a_thousand_square_feet_are_exact() -> None:
    thousand = read_quantity("1000 ft2", "area").size
    assert thousand == Fraction("92.90304")
    assert unit_named("acre").factor / thousand == Fraction("43.56")


# Computed from the exact definitions above; common extension tables print them rounded.
@pytest.mark.parametrize(
    ("text", "ml_per_m2"),
    [("1 gal/acre", 0.9353956), ("1 pt/acre", 0.1169245), ("1 fl oz/acre", 0.0073077783)],
)
def test_a_volume_per_acre_in_litres_per_hectare(text: str, ml_per_m2: float) -> None:
    rate = read_carrier_rate(text)
    assert rate.ml_per_m2 == pytest.approx(ml_per_m2, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "g_per_ha"), [("1 lb/acre", 1120.851), ("1 oz wt/acre", 70.053197), ("1 lb/gal", 119.826427)]
)
def test_a_weight_per_acre_or_gallon_in_metric(text: str, g_per_ha: float) -> None:
    rate = read_rate(text)
    assert rate.g is not None
    scale = 10_000 if rate.per == "area" else 1000
    assert rate.g / rate.per_size * scale == pytest.approx(g_per_ha, rel=1e-6)


REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
PINT_NAMES = {
    "mL": "milliliter", "cL": "centiliter", "hL": "hectoliter", "L": "liter", "tsp": "teaspoon", "tbsp": "tablespoon", "fl oz": "fluid_ounce",
    "cup": "cup", "pt": "pint", "qt": "quart", "gal": "gallon", "imp fl oz": "imperial_fluid_ounce",
    "imp pt": "imperial_pint", "imp qt": "imperial_quart", "imp gal": "imperial_gallon", "mg": "milligram",
    "g": "gram", "kg": "kilogram", "oz": "ounce", "lb": "pound", "ft2": "foot ** 2", "m2": "meter ** 2",
    "ha": "hectare",
}  # fmt: skip


@pytest.mark.parametrize("unit", [u for u in UNITS if u.name != "acre"], ids=lambda u: u.name)
def test_pint_agrees(unit: Unit) -> None:
    base = {"volume": "milliliter", "mass": "gram", "area": "meter ** 2"}[unit.kind]
    assert REGISTRY.Quantity(1.0, PINT_NAMES[unit.name]).to(base).magnitude == pytest.approx(
        float(unit.factor), rel=1e-12
    )


def test_pint_s_acre_is_the_survey_acre_four_parts_in_a_million_larger() -> None:
    # NIST SP 811 App. B.9, footnote: the survey foot was retired on 1 January 2023.
    survey = REGISTRY.Quantity(1.0, "acre").to("meter ** 2").magnitude
    assert survey / float(unit_named("acre").factor) - 1 == pytest.approx(4.0e-6, rel=0.01)
