"""Amounts, volumes and rates as people type them, read by a closed table of exact factors.

What was typed is always echoed as it was understood (`read_as`): a gallon is a US gallon unless
"imp" is typed beside it, an ounce is a weight ounce and a fluid ounce is "fl oz".  Nothing outside
the table is taken, and nothing ambiguous is guessed.
"""

from jartest.units.rates import CarrierRate, Rate, read_carrier_rate, read_rate
from jartest.units.read import Amount, Quantity, read_amount, read_number, read_quantity, read_volume
from jartest.units.say import (
    say_amount,
    say_area,
    say_level_spoons,
    say_mass,
    say_measures,
    say_metric,
    say_number,
    say_volume,
)
from jartest.units.table import AREA_UNITS, MASS_UNITS, UNITS, VOLUME_UNITS, Unit, unit_named
from jartest.units.temperature import read_temperature, say_temperature

__all__ = [
    "AREA_UNITS",
    "MASS_UNITS",
    "UNITS",
    "VOLUME_UNITS",
    "Amount",
    "CarrierRate",
    "Quantity",
    "Rate",
    "Unit",
    "read_amount",
    "read_carrier_rate",
    "read_number",
    "read_quantity",
    "read_rate",
    "read_temperature",
    "read_volume",
    "say_amount",
    "say_area",
    "say_level_spoons",
    "say_mass",
    "say_measures",
    "say_metric",
    "say_number",
    "say_temperature",
    "say_volume",
    "unit_named",
]
