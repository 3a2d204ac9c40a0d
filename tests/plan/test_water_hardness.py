"""Hardness in its units and classes."""

from __future__ import annotations

import math

import pytest

from jartest.errors import BadUnit
from jartest.plan.label_ions import ions_of_water
from jartest.plan.water import (
    HARDNESS_UNITS,
    UNNAMED_CONDITIONER,
    MixWater,
    hardness_class,
    hardness_from_ions,
    read_hardness,
)


@pytest.mark.parametrize(
    ("unit", "mg_l"),
    # Grain: 64.79891 mg per US gallon; degrees by their definitions; computed.
    [("grains/gal", 17.118061), ("°dH", 17.848), ("°Clark", 14.254), ("°f", 10.0), ("mg/L", 1.0)],
)
def test_a_unit_of_hardness_in_mg_per_litre(unit: str, mg_l: float) -> None:
    assert HARDNESS_UNITS[unit] == pytest.approx(mg_l, rel=3e-5)


@pytest.mark.parametrize(
    ("text", "mg_l"),
    [("342 mg/L", 342.0), ("342 ppm", 342.0), ("20 grains", 342.36), ("20 gpg", 342.36), ("12 °dH", 214.18),
     ("12 dH", 214.18), ("3.42 mmol/L", 342.3), ("1,5 °f", 15.0)],
)  # fmt: skip
def test_hardness_is_read_as_typed(text: str, mg_l: float) -> None:
    assert read_hardness(text).mg_l == pytest.approx(mg_l, rel=1e-4)


@pytest.mark.parametrize(
    "text", ["", "342", "hard", "-5 grains", "0 mg/L", "nan mg/L", "1e9 mg/L", "5 stones", "99999 mg/L"]
)
def test_hardness_that_cannot_be_taken_is_refused(text: str) -> None:
    with pytest.raises(BadUnit, match=r"\.$"):
        read_hardness(text)


@pytest.mark.parametrize(
    ("mg_l", "usgs", "vermont"),
    # USGS after Durfor and Becker 1964 (60, 120, 180); Vermont Department of Health (75, 150, 300).
    [
        (20, "soft", "soft"),
        (60, "soft", "soft"),
        (70, "moderately hard", "soft"),
        (140, "hard", "moderately hard"),
        (200, "very hard", "hard"),
        (342, "very hard", "very hard"),
    ],
)
def test_agencies_cut_differently(mg_l: float, usgs: str, vermont: str) -> None:
    assert hardness_class(mg_l) == usgs
    assert hardness_class(mg_l, "Vermont") == vermont


def test_hardness_that_was_not_measured_has_no_class() -> None:
    assert hardness_class(math.nan) == "not measured"


def test_hardness_from_calcium_and_magnesium() -> None:
    # Standard Methods 2340 B: 2.497 Ca + 4.118 Mg; WHO standard hard water (342 mg/L) as a check on it:
    # 0.304 g CaCl2 (110.98 g/mol) and 0.139 g MgCl2.6H2O (203.30 g/mol) per litre, computed 342.6.
    calcium = 304 / 110.98 * 40.078
    magnesium = 139 / 203.30 * 24.305
    assert hardness_from_ions(calcium_mg_l=calcium, magnesium_mg_l=magnesium) == pytest.approx(342.6, abs=0.2)


def test_the_standard_hard_waters_come_out_by_their_recipes() -> None:
    # CIPAC MT 18 (value from memory): 68.5 mL of 0.04 mol/L calcium (4.000 g CaCO3 per liter) and 17.0 mL of
    # magnesium (1.613 g MgO per liter) to 1 L is water D, 342 mg/L; molar masses 100.087 and 40.304 g/mol.
    calcium, magnesium = 68.5 * 4.000 / 100.087, 17.0 * 1.613 / 40.304  # mmol/L
    assert read_hardness(f"{calcium + magnesium:.4f} mmol/L").mg_l == pytest.approx(342.3, abs=0.3)
    assert hardness_from_ions(
        calcium_mg_l=40.078 * calcium, magnesium_mg_l=24.305 * magnesium
    ) == pytest.approx(342.3, abs=0.3)
    # A hardness alone is parted as in that water, and in WHO's, made from 0.304 g CaCl2 and 0.139 g MgCl2.6H2O.
    ions = ions_of_water(MixWater(hardness_mg_l=342.3))
    assert ions["Ca"] == pytest.approx(calcium / 1000, rel=0.005)
    assert ions["Mg"] == pytest.approx(magnesium / 1000, rel=0.01)
    assert ions["Ca"] == pytest.approx(0.304 / 110.98, rel=0.005)
    assert ions["Mg"] == pytest.approx(0.139 / 203.30, rel=0.005)
    # Water A of the same method: 20 mg/L (value from memory).
    assert hardness_class(read_hardness("20 mg/L").mg_l) == "soft"


@pytest.mark.parametrize(
    "bad",
    [
        {"ph": 15.0},
        {"ph": math.nan},
        {"mix_ph": -1.0},
        {"hardness_mg_l": -1.0},
        {"temperature_c": 90.0},
        {"bicarbonate_mg_l": 20_000.0},
    ],
)
def test_water_that_no_tap_gives_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(BadUnit):
        MixWater(**bad)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "word", ["", " ", "none", "None", " NO ", "no.", "n/a", "-", "nothing", "no conditioner", "0"]
)
def test_no_conditioner_is_no_conditioner_however_it_is_written(word: str) -> None:
    assert MixWater(conditioner=word).conditioner == ""


@pytest.mark.parametrize(
    ("word", "kept"),
    [
        ("AMS", "AMS"),
        ("  citric   acid ", "citric acid"),
        ("yes", UNNAMED_CONDITIONER),
        ("Nonesuch softener", "Nonesuch softener"),
    ],
)
def test_a_conditioner_keeps_its_name(word: str, kept: str) -> None:
    assert MixWater(conditioner=word).conditioner == kept
