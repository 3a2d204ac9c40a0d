"""Rates as people type them in the field: read by exact fractions, asked about, or refused in words.

Sizes: 1 in = 2.54 cm, 1 US gal = 231 in3, 1 lb = 453.59237 g, 1 ft = 0.3048 m (NIST Handbook 44, App. C);
each expected rate is worked out from these alone.  The notations are common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from jartest.errors import BadUnit
from jartest.plan.grade import read_grade
from jartest.plan.products import make_product
from jartest.plan.scaling import read_product_rate
from jartest.units import read_amount, read_carrier_rate, read_quantity, read_rate

F = Fraction
GAL = 231 * F("2.54") ** 3  # mL
QT, PT, FL_OZ, TSP, TBSP = GAL / 4, GAL / 8, GAL / 128, GAL / 768, GAL / 256
LB = F("453.59237")  # g
OZ = LB / 16
FT2 = F("0.3048") ** 2  # m2
ACRE, M, HA = 43560 * FT2, 1000 * FT2, F(10_000)
L = F(1000)  # mL

# text: (unit of product, amount, what it is per in m2 or mL)
READ: dict[str, tuple[str, Fraction, Fraction]] = {
    "1 pt/A": ("mL", PT, ACRE),
    "1pt/A": ("mL", PT, ACRE),
    "1 pt/ac": ("mL", PT, ACRE),
    "1 pt. per A.": ("mL", PT, ACRE),
    "1.5 pts/acre": ("mL", F("1.5") * PT, ACRE),
    "1½ pt/A": ("mL", F("1.5") * PT, ACRE),
    "1-1/2 pt/A": ("mL", F("1.5") * PT, ACRE),
    "1 1/2 pints per acre": ("mL", F("1.5") * PT, ACRE),
    "1 pt 4 fl oz/A": ("mL", PT + 4 * FL_OZ, ACRE),
    "1 pt, 4 fl oz per acre": ("mL", PT + 4 * FL_OZ, ACRE),
    "1 qt + 1 pt/A": ("mL", QT + PT, ACRE),
    "2 lb 8 oz/A": ("g", 2 * LB + 8 * OZ, ACRE),
    "2 lb and 4 oz per 100 gal": ("g", 2 * LB + 4 * OZ, 100 * GAL),
    "2#/A": ("g", 2 * LB, ACRE),
    "2 lbs/A": ("g", 2 * LB, ACRE),
    "8 oz wt/A": ("g", 8 * OZ, ACRE),
    "8 fl. oz./A": ("mL", 8 * FL_OZ, ACRE),
    "8 fl-oz/A": ("mL", 8 * FL_OZ, ACRE),
    "5 GPA": ("mL", 5 * GAL, ACRE),
    "5 gpa": ("mL", 5 * GAL, ACRE),
    "2.5 G.P.A.": ("mL", F("2.5") * GAL, ACRE),
    "3 fl oz/1000": ("mL", 3 * FL_OZ, M),
    "1 lb/1000": ("g", LB, M),
    "3 fl oz/1,000 sq. ft.": ("mL", 3 * FL_OZ, M),
    "3 fl oz per thousand square feet": ("mL", 3 * FL_OZ, M),
    "3 fl oz/1000 sqft": ("mL", 3 * FL_OZ, M),
    "1 tsp/100 sq ft": ("mL", TSP, 100 * FT2),
    "2 fl oz/gal": ("mL", 2 * FL_OZ, GAL),
    "2 oz wt/gal": ("g", 2 * OZ, GAL),
    "2 tsp per gallon": ("mL", 2 * TSP, GAL),
    "1 tbsp/gal": ("mL", TBSP, GAL),
    "1 tablespoon per gallon": ("mL", TBSP, GAL),
    "1 teaspoon per gallon": ("mL", TSP, GAL),
    "5 mL/L": ("mL", F(5), L),
    "5 ml per litre": ("mL", F(5), L),
    "2 g/L": ("g", F(2), L),
    "2 g/m2": ("g", F(2), F(1)),
    "2 g/m²": ("g", F(2), F(1)),
    "2 g per sq m": ("g", F(2), F(1)),
    "150 mL/hl": ("mL", F(150), 100 * L),
    "200 g/hL": ("g", F(200), 100 * L),
    "3 cl/L": ("mL", F(30), L),
    "1 hl/ha": ("mL", 100 * L, HA),
    "1.5 L ha-1": ("mL", F(1500), HA),
    "2 kg ha⁻¹": ("g", F(2000), HA),
    "1500 ml/ha": ("mL", F(1500), HA),
    "1,5 L/ha": ("mL", F(1500), HA),
    "1:100": ("mL", F(1), F(100)),
    "1:1,000": ("mL", F(1), F(1000)),
    "1 : 200 v/v": ("mL", F(1), F(200)),
    "0.25 % vol/vol": ("mL", F(1), F(400)),
    "0.25% v/v": ("mL", F(1), F(400)),
    "0.25 percent v/v": ("mL", F(1), F(400)),
    "1/4 % (v/v)": ("mL", F(1), F(400)),
    "0.5% by volume": ("mL", F(1), F(200)),
    "2 % w/v": ("g", F(2), F(100)),
    "200 ppm v/v": ("mL", F(200), F(10**6)),
    "200 ppm w/v": ("g", F(200), F(10**6)),
    "200 mg/L": ("g", F("0.2"), L),
    "200 ppm ai at 10 %": ("g", F(2000), F(10**6)),
    "100 ppm N of 20-10-20": ("g", F(500), F(10**6)),
    "2 lb in 100 gallons": ("g", 2 * LB, 100 * GAL),
    "1 qt in 100 gal": ("mL", QT, 100 * GAL),
    "1 pt per hundred gallons": ("mL", PT, 100 * GAL),
    "2 lb/100 imp gal": ("g", 2 * LB, 100 * F("4546.09")),  # UK Weights and Measures Act 1985
    "0.5 lb ai/A at 50 %": ("g", LB, ACRE),
    "0.5 lb a.i./acre (50 %)": ("g", LB, ACRE),
    "1 lb active per acre at 4 lb/gal": ("mL", GAL / 4, ACRE),
    "1 lb ae/A of 4 lb ae/gal": ("mL", GAL / 4, ACRE),
    "240 g ai/ha at 480 g/L": ("mL", F(500), HA),
    "1 lb N/1000 sq ft of 28-0-0": ("g", LB / F("0.28"), M),
    "1 lb of nitrogen per acre at 28 %": ("g", LB / F("0.28"), ACRE),
    "1 lb P2O5/A of 10-34-0": ("g", LB / F("0.34"), ACRE),
    "2 packets of 8 oz wt/A": ("g", LB, ACRE),
    "2 packets/A of 8 oz wt": ("g", LB, ACRE),
    "2 8-oz wt packets per acre": ("g", LB, ACRE),
    "1 pouch (1.5 lb)/100 gal": ("g", F("1.5") * LB, 100 * GAL),
    "3 bags/A (10 oz wt each)": ("g", 30 * OZ, ACRE),
    "1 gal/acre": ("mL", GAL, ACRE),
    "4 fl oz/5 gal": ("mL", 4 * FL_OZ, 5 * GAL),
}  # fmt: skip

# text: words of the question or refusal
ASKED = {
    "1-2 pt/A": ("a range", "'1 pt/A' or '2 pt/A'"),
    "1 – 2 pt/A": ("a range", "'1 pt/A' or '2 pt/A'"),
    "1 to 2 pt/A": ("a range", "'1 pt/A' or '2 pt/A'"),
    "1 pt to 2 pt/A": ("a range", "'1 pt/A' or '2 pt/A'"),
    "1/2-3/4 lb/100 gal": ("a range", "'1/2 lb/100 gal' or '3/4 lb/100 gal'"),
    "0.25-0.5 % v/v": ("a range", "'0.25 % v/v' or '0.5 % v/v'"),
    "20-30 GPA": ("a range", "'20 gal/acre' or '30 gal/acre'"),
    "up to 2 pt/A": ("up to", "'2 pt/A'"),
    "2 pt/A max": ("max", "'2 pt/A'"),
    "about 2 pt/A": ("about", "'2 pt/A'"),
    "3 fl oz/M": ("M may be a thousand square feet", "1000 ft2"),
    "3 fl oz per M": ("M may be a thousand square feet", "1000 ft2"),
    "1 pt/a": ("acre and for are", "type acre"),
    "3 T/gal": ("teaspoon, tablespoon", "tsp"),
    "5 mL/1000": ("without a unit", "1000 ft2"),
    "2 lb/100": ("without a unit", "100 gal"),
    "0.5 lb ai/A": ("counts active ingredient", "'0.5 lb ai/A at 50 %'"),
    "1 lb N/1000 sq ft": ("counts N", "'1 lb N/1000 sq ft of 28-0-0'"),
    "1 lb K/A": ("labels guarantee K2O", "'2 lb K2O/acre'"),
    "1 lb N/A of 0-0-50": ("counts N", "of 28-0-0"),
    "200 ppm": ("the product or its active ingredient", "'200 mg/L'"),
    "200 ppm ai": ("counts active ingredient", "at 50 %"),
    "2 packets/A": ("counts packets", "'2 packets of 8 oz wt/acre'"),
    "1 pt 4 oz/A": ("adds ounces to a volume", "'1 pt 4 fl oz'"),
    "1,500 mL/ha": ("thousand or a decimal", "1500 or 1.500"),
}  # fmt: skip
REFUSED = {
    "2 galons/A": ("not known", "'gallons'"),
    "2 quats/A": ("not known", "'quarts'"),
    "3 smidgens/acre": ("smidgens", "mL"),
    "3 fl oz": ("per what", "3 fl oz/1000 ft2"),
    "1 pt": ("per what", "0.25 % v/v"),
    "1 pt/A in 20 gal": ("twice per what", "'1 pt/A'"),
    "2 lb per acre per year": ("twice per what", "'2 lb per acre'"),
    "2 pt/galon": ("not known", "'gallon'"),
    "2 % w/w": ("by volume", "20 g/L"),
    "100:1": ("more product than mix", "'1:100'"),
    "0:100": ("not more than zero", "above zero"),
    "120 % v/v": ("no room", "check"),
    "0.5 lb ai/A at 150 %": ("more than 100 %", "label"),
    "1 lb 2 pt/A": ("do not make one", "2 lb 8 oz"),
    "1 pt 2 qt/A": ("do not make one", "1 pt 4 fl oz"),
    "two pints per acre": ("no number", "5 mL"),
    "-2 pt/A": ("not more than zero", "above zero"),
    "1e3 mL/ha": ("no number", "in full"),
}  # fmt: skip


def test_the_table_is_as_long_as_it_says() -> None:
    assert len(READ) + len(ASKED) + len(REFUSED) >= 80


@pytest.mark.parametrize("text", READ)
def test_a_rate_of_the_field_is_read_exactly_and_echoed(text: str) -> None:
    unit, amount, per = READ[text]
    rate = read_rate(text)
    assert (rate.ml is not None, rate.g is not None) == (unit == "mL", unit == "g")
    # A float holds 53 bits: two of them and their quotient, against the exact fraction.
    assert rate.amount / rate.per_size == pytest.approx(float(amount / per), rel=4e-16)
    assert " per " in rate.read_as or " = " in rate.read_as
    assert rate.text == text


@pytest.mark.parametrize("text", [*ASKED, *REFUSED])
def test_what_stays_open_is_asked_and_what_cannot_be_is_refused_with_what_would_be_taken(text: str) -> None:
    why, nearest = (ASKED | REFUSED)[text]
    with pytest.raises(BadUnit) as refused:
        read_rate(text)
    said = str(refused.value)
    assert why in said
    assert nearest in said
    assert said.endswith(".")
    assert "\n" not in said


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 pt 4 fl oz/A", "1 US pt 4 US fl oz per acre"),
        ("3 fl oz/1000", "3 US fl oz per 1000 ft2"),
        ("1:100", "1 part by volume to 100 = 10 mL per L"),
        ("20 GPA", "20 US gal per acre"),
        ("150 mL/hl", "150 mL per hL = 1.5 mL per L"),
        ("0.5 lb ai/A at 50 %", "0.5 lb of active ingredient in product with 50 % per acre = 1.121 kg per ha"),
        ("2 packets of 8 oz wt/A", "2 packets of 8 oz by weight per acre = 1.121 kg per ha"),
        ("200 ppm v/v", "200 ppm by volume = 0.2 mL per L"),
    ],
)  # fmt: skip
def test_a_rate_is_echoed_as_it_was_understood(text: str, says: str) -> None:
    assert says in read_rate(text).read_as


def test_an_ounce_and_a_spoon_depend_on_the_product() -> None:
    liquid, powder = make_product(name="Ember", formulation="EC"), make_product(name="Dust", formulation="WP")
    for rate in ("3 oz/A", "3 oz/gal", "3 oz/1000"):
        with pytest.raises(BadUnit, match="may be fluid ounces or weight"):
            read_product_rate(rate, liquid)
        with pytest.raises(BadUnit, match="may be fluid ounces or weight"):
            read_product_rate(rate, make_product(name="Rowan"))
        assert read_product_rate(rate, powder).g is not None
    for rate in ("2 tsp/gal", "1:100", "200 ppm v/v"):
        assert read_product_rate(rate, liquid).ml is not None
        with pytest.raises(BadUnit, match="dry products are weighed"):
            read_product_rate(rate, powder)


def test_a_nutrient_is_reckoned_by_the_product_s_own_grade() -> None:
    solution = make_product(name="Larkmill Solution", grade=read_grade("28-0-0"))
    rate = read_product_rate("1 lb N/1000 ft2", solution)
    assert rate.amount / rate.per_size == pytest.approx(float(LB / F("0.28") / M), rel=4e-16)
    named = read_product_rate("1 lb N/1000 ft2", make_product(name="Larkmill 28-0-0"))
    assert named.amount == rate.amount
    with pytest.raises(BadUnit, match="give the product its grade"):
        read_product_rate("1 lb N/1000 ft2", make_product(name="Larkmill Solution"))


def test_carrier_rates_of_the_field() -> None:
    for text, volume, area in (
        ("20 GPA", 20 * GAL, ACRE), ("20 gal/A", 20 * GAL, ACRE), ("2 gal/1000", 2 * GAL, M),
        ("2 hl/ha", 200 * L, HA), ("200 L ha-1", 200 * L, HA), ("1 qt/100 sq ft", QT, 100 * FT2),
    ):  # fmt: skip
        assert read_carrier_rate(text).ml_per_m2 == pytest.approx(float(volume / area), rel=4e-16)
    with pytest.raises(BadUnit, match="'20 gal/acre' or '30 gal/acre'"):
        read_carrier_rate("20-30 GPA")
    with pytest.raises(BadUnit, match="M may be a thousand square feet"):
        read_carrier_rate("2 gal/M")


def test_amounts_for_the_jar_hold_two_units_and_ask_for_one_end() -> None:
    assert read_quantity("1 pt 4 fl oz", "volume").size == PT + 4 * FL_OZ
    assert read_amount("1 tbsp 1 tsp").read_as == "1 US tbsp 1 US tsp = 19.7 mL"
    with pytest.raises(BadUnit, match="'5 mL' or '10 mL'"):
        read_amount("5-10 mL")
