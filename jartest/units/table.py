"""The closed table of units, each with its exact factor and every word people may type for it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from jartest.errors import BadUnit

__all__ = ["AREA_UNITS", "MASS_UNITS", "UNITS", "VOLUME_UNITS", "Kind", "System", "Unit", "unit_named"]

Kind = Literal["volume", "mass", "area"]
System = Literal["metric", "US", "imperial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit people may type: `factor` is its exact size in mL, g or m2."""

    name: str
    says: str
    kind: Kind
    system: System
    factor: Fraction
    spellings: tuple[str, ...]


def _unit(
    name: str, says: str, kind: Kind, system: System, factor: Fraction | int | str, *spellings: str
) -> Unit:
    return Unit(
        name=name, says=says, kind=kind, system=system, factor=Fraction(factor), spellings=(name, *spellings)
    )


_GALLON_ML = Fraction("3785.411784")  # 231 in³ at 1 in = 2.54 cm, exact: NIST Handbook 44, App. C
_IMP_GALLON_ML = Fraction("4546.09")  # exact: UK Weights and Measures Act 1985; NIST SP 811 App. B.9
_POUND_G = Fraction("453.59237")  # exact: NIST Handbook 44, App. C
_FOOT2_M2 = Fraction("0.3048") ** 2  # international foot, exact: NIST SP 811 App. B.9
_ACRE_M2 = 43560 * _FOOT2_M2  # international acre; the survey acre is 4 ppm larger: NIST SP 811 App. B.9

# A word that another unit also goes by is left out on purpose (t, T, a, c, m, M).
VOLUME_UNITS = (
    _unit(
        "mL",
        "mL",
        "volume",
        "metric",
        1,
        "ml",
        "milliliter",
        "milliliters",
        "millilitre",
        "millilitres",
        "cc",
        "cm3",
    ),
    _unit("cL", "cL", "volume", "metric", 10, "cl", "centiliter", "centiliters", "centilitre", "centilitres"),
    _unit(
        "hL",
        "hL",
        "volume",
        "metric",
        100_000,
        "hl",
        "hectoliter",
        "hectoliters",
        "hectolitre",
        "hectolitres",
    ),
    _unit("L", "L", "volume", "metric", 1000, "l", "lt", "ltr", "liter", "liters", "litre", "litres"),
    _unit("tsp", "US tsp", "volume", "US", _GALLON_ML / 768, "teaspoon", "teaspoons", "tsps"),
    _unit("tbsp", "US tbsp", "volume", "US", _GALLON_ML / 256, "tablespoon", "tablespoons", "tbs", "tbsps"),
    _unit(
        "fl oz",
        "US fl oz",
        "volume",
        "US",
        _GALLON_ML / 128,
        "floz",
        "fl ozs",
        "fluid oz",
        "fluid ounce",
        "fluid ounces",
        "fl ounce",
        "fl ounces",
        "oz fl",
    ),
    _unit("cup", "US cup", "volume", "US", _GALLON_ML / 16, "cups"),
    _unit("pt", "US pt", "volume", "US", _GALLON_ML / 8, "pint", "pints", "pts"),
    _unit("qt", "US qt", "volume", "US", _GALLON_ML / 4, "quart", "quarts", "qts"),
    _unit("gal", "US gal", "volume", "US", _GALLON_ML, "gallon", "gallons", "gals"),
    _unit(
        "imp fl oz",
        "imperial fl oz",
        "volume",
        "imperial",
        _IMP_GALLON_ML / 160,
        "imp floz",
        "imp fluid oz",
        "imp fluid ounce",
        "imp fluid ounces",
    ),
    _unit("imp pt", "imperial pt", "volume", "imperial", _IMP_GALLON_ML / 8, "imp pint", "imp pints"),
    _unit("imp qt", "imperial qt", "volume", "imperial", _IMP_GALLON_ML / 4, "imp quart", "imp quarts"),
    _unit("imp gal", "imperial gal", "volume", "imperial", _IMP_GALLON_ML, "imp gallon", "imp gallons"),
)
MASS_UNITS = (
    _unit("mg", "mg", "mass", "metric", Fraction(1, 1000), "milligram", "milligrams"),
    _unit("g", "g", "mass", "metric", 1, "gm", "gms", "gram", "grams", "gramme", "grammes"),
    _unit("kg", "kg", "mass", "metric", 1000, "kgs", "kilo", "kilos", "kilogram", "kilograms"),
    _unit(
        "oz",
        "oz by weight",
        "mass",
        "US",
        _POUND_G / 16,
        "ozs",
        "ounce",
        "ounces",
        "oz wt",
        "wt oz",
        "oz av",
        "dry oz",
        "oz dry",
        "weight oz",
    ),
    _unit("lb", "lb", "mass", "US", _POUND_G, "lbs", "pound", "pounds", "#"),
)
AREA_UNITS = (
    _unit(
        "ft2",
        "ft2",
        "area",
        "US",
        _FOOT2_M2,
        "sq ft",
        "sqft",
        "square foot",
        "square feet",
        "sf",
        "ft 2",
        "feet2",
        "ft^2",
    ),
    _unit("acre", "acre", "area", "US", _ACRE_M2, "acres", "ac", "A"),
    _unit(
        "m2",
        "m2",
        "area",
        "metric",
        1,
        "sq m",
        "sqm",
        "square meter",
        "square meters",
        "square metre",
        "square metres",
        "m^2",
    ),
    _unit("ha", "ha", "area", "metric", 10_000, "hectare", "hectares"),
)
UNITS = VOLUME_UNITS + MASS_UNITS + AREA_UNITS


def unit_named(name: str) -> Unit:
    """The unit whose own name this is.

    Raises
    ------
    BadUnit
        If the table has no such unit.
    """
    for unit in UNITS:
        if unit.name == name:
            return unit
    msg = f"{name!r} is not a known unit: take one of {', '.join(u.name for u in UNITS)}."
    raise BadUnit(msg)
