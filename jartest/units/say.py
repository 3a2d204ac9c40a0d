"""Numbers, volumes, weights and areas in the words of the shop, metric and US side by side."""

from __future__ import annotations

import math
from fractions import Fraction

from jartest.units.table import Kind, unit_named

__all__ = [
    "say_amount",
    "say_area",
    "say_level_spoons",
    "say_mass",
    "say_measures",
    "say_metric",
    "say_number",
    "say_volume",
]


def say_number(x: float) -> str:
    """A number as people write it: four figures, no exponent, no trailing zeros."""
    if not math.isfinite(x):
        return "not known"
    if x == 0:
        return "0"
    places = max(0, 3 - math.floor(math.log10(abs(x))))
    said = f"{x:.{min(places, 9)}f}"
    return said.rstrip("0").rstrip(".") if "." in said else said


def _rough(x: float) -> str:
    """A number to three figures."""
    if x == 0 or not math.isfinite(x):
        return say_number(x)
    return say_number(float(f"{x:.3g}"))


def _metric_volume(ml: float) -> str:
    return f"{_rough(ml)} mL" if ml < 1000 else f"{say_number(ml / 1000)} L"


def _metric_mass(g: float) -> str:
    return f"{_rough(g)} g" if g < 1000 else f"{say_number(g / 1000)} kg"


def _metric_area(m2: float) -> str:
    return f"{say_number(m2)} m2" if m2 < 10_000 else f"{say_number(m2 / 10_000)} ha"


_METRIC = {"volume": _metric_volume, "mass": _metric_mass, "area": _metric_area}


def say_metric(kind: Kind, size: float) -> str:
    """A size in mL, g or m2 in metric words alone."""
    return _METRIC[kind](size)


def _us(size: float, *names: str) -> str:
    """`size` in the largest of the units named, small to large, of which there is at least one."""
    unit = unit_named(names[0])
    for name in names[1:]:
        if size >= 0.999 * float(unit_named(name).factor):
            unit = unit_named(name)
    return f"{_rough(size / float(unit.factor))} {unit.name}"


def say_volume(ml: float, *, us_first: bool = False) -> str:
    """A volume in metric and US words: `7.39 mL (1.5 tsp)`; `us_first` turns the two round."""
    us = _us(ml, "tsp", "fl oz") if ml < 3785 else _us(ml, "gal")
    return _both(_metric_volume(ml), us, us_first)


def say_mass(g: float, *, us_first: bool = False) -> str:
    """A weight in metric and US words: `28.3 g (1 oz)`."""
    return _both(_metric_mass(g), _us(g, "oz", "lb"), us_first)


def say_area(m2: float, *, us_first: bool = False) -> str:
    """An area in metric and US words: `92.9 m2 (1000 ft2)`."""
    return _both(_metric_area(m2), _us(m2, "ft2", "acre"), us_first)


def _both(metric: str, us: str, us_first: bool) -> str:
    return f"{us} ({metric})" if us_first else f"{metric} ({us})"


def say_amount(*, ml: float | None = None, g: float | None = None, us_first: bool = False) -> str:
    """A volume or a weight, whichever is set; `not written` where neither is."""
    if ml is not None:
        return say_volume(ml, us_first=us_first)
    if g is not None:
        return say_mass(g, us_first=us_first)
    return "not written"


def say_measures(*, ml: float | None = None, g: float | None = None) -> str:
    """An amount in the measures that stand at a filling station, metric beside: `2 pt 4.7 fl oz (1.085 L)`.

    Gallons and whole fluid ounces, pints and fluid ounces, pounds and ounces; below a pint or a pound as
    `say_amount` has it.  What is left out by rounding is less than half a percent.
    """
    if ml is not None and ml >= _size("gal") * 0.9999:
        return f"{_whole_and_rest(ml, 'gal', 'fl oz', places=0)} ({_metric_volume(ml)})"
    if ml is not None and ml >= _size("pt") * 0.9999:
        return f"{_whole_and_rest(ml, 'pt', 'fl oz', places=1)} ({_metric_volume(ml)})"
    if ml is None and g is not None and g >= _size("lb") * 0.9999:
        places = 1 if g < 10 * _size("lb") else 0
        return f"{_whole_and_rest(g, 'lb', 'oz', places=places)} ({_metric_mass(g)})"
    return say_amount(ml=ml, g=g, us_first=True)


def _size(unit: str) -> float:
    return float(unit_named(unit).factor)


def _whole_and_rest(size: float, large: str, small: str, *, places: int) -> str:
    """`size` in whole large units and what is left in small ones, rounded first so that nothing is left of a whole."""
    each = round(_size(large) / _size(small))
    small_units = round(size / _size(small), places)
    whole, rest = divmod(small_units, each)
    said = [f"{whole:.0f} {large}"] + ([f"{say_number(round(rest, places))} {small}"] if rest else [])
    return " ".join(said)


def say_level_spoons(ml: float) -> str:
    """The nearest level spoons to an eighth of a teaspoon, with how far off they are, for a liquid."""
    tsp = float(unit_named("tsp").factor)
    eighths = round(ml / tsp * 8)
    if eighths == 0:
        return "too little for a spoon: use a syringe"
    if eighths > 8 * 24:
        return "too much for spoons: use a measuring cup"
    tablespoons, rest = divmod(eighths, 24)
    whole, part = divmod(rest, 8)
    said = [f"{tablespoons} tbsp"] if tablespoons else []
    if whole or part:
        fraction = str(Fraction(part, 8)) if part else ""
        said.append(" ".join(p for p in (str(whole) if whole else "", fraction, "tsp") if p))
    off = eighths * tsp / 8 / ml - 1
    return f"{' + '.join(said)} level ({off:+.0%})"
