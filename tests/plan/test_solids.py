"""What could settle, against the arithmetic done by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.plan.formulations import FORMULATIONS
from jartest.plan.solids import PACKING, InJar, possible_bed
from jartest.units import read_rate

GALLON_ML = 3785.411784  # exact: NIST Handbook 44, App. C
POUND_G = 453.59237  # exact: NIST Handbook 44, App. C


def powder(lb_per_100_gal: float, *, formulation: str = "WG", jar_ml: float = 946.0, **more: object) -> InJar:
    grams = lb_per_100_gal * POUND_G / (100 * GALLON_ML) * jar_ml
    return InJar(name="Chalkwing", formulation=formulation, g=grams, **more)  # type: ignore[arg-type]


def test_2_to_6_lb_of_powder_in_100_gal_all_fallen_out_is_about_one_percent_of_the_column() -> None:
    # By hand, solids of 2 g/mL that fill 0.15 to 0.3 of their bed: 2.4 g/L / 2 / 0.3 = 4.0 mL/L = 0.4 %, and
    # 7.2 g/L / 2 / 0.24 = 1.5 %: the range of the powder's density lies on both sides.
    two, six = (possible_bed([powder(lb)], 946.0) for lb in (2, 6))
    assert two.low_fraction < 0.004 < two.high_fraction
    assert six.low_fraction < 0.015 < six.high_fraction
    # 2.397 g/L / (2.7 x 0.30) and / (1.3 x 0.15), in mL a liter.
    assert two.low_fraction == pytest.approx(2.396 / (2.7 * 0.30) / 1000, rel=1e-3)
    assert two.high_fraction == pytest.approx(2.396 / (1.3 * 0.15) / 1000, rel=1e-3)
    assert six.low_fraction == pytest.approx(3 * two.low_fraction)
    assert read_rate("2 lb/100 gal").g == pytest.approx(2 * POUND_G)


def test_sulfur_is_heavier_than_most() -> None:
    plain, sulfur = (possible_bed([powder(4, contains=tags)], 946.0) for tags in ((), ("sulphur",)))
    # Sulfur 2.07 g/mL (CRC Handbook, value from memory): 4.79 g/L / 2.07 / 0.3 lies in both ranges.
    for bed in (plain, sulfur):
        assert bed.low_fraction < 4.793 / 2.07 / 0.3 / 1000 < bed.high_fraction
    assert sulfur.high_fraction < plain.high_fraction


def test_a_suspension_holds_two_to_six_tenths_of_a_gram_in_a_milliliter() -> None:
    bed = possible_bed([InJar(name="Bineguard", formulation="SC", ml=9.5)], 946.0)
    assert bed.low_fraction == pytest.approx(9.5 * 0.2 / (2.7 * 0.3) / 946)
    assert bed.high_fraction == pytest.approx(9.5 * 0.6 / (1.3 * 0.15) / 946)
    weighed = possible_bed([InJar(name="Bineguard", formulation="SC", g=9.5)], 946.0)
    assert weighed.low_fraction < bed.low_fraction
    assert weighed.high_fraction == pytest.approx(bed.high_fraction)


@pytest.mark.parametrize("code", ["SL", "SP", "SG", "EC", "AMS", "NIS", "UAN"])
def test_what_dissolves_or_floats_makes_no_bed(code: str) -> None:
    bed = possible_bed([InJar(name="Nettlesap", formulation=code, ml=5.0, g=5.0)], 946.0)
    assert not bed.known
    assert bed.says() == "Nothing in this mixture settles by itself, so the plain limits stand."


@pytest.mark.parametrize(
    "product",
    [
        InJar(name="Chalkwing", formulation="WG"),  # no amount
        InJar(name="Chalkwing", formulation="WG", ml=5.0),  # a powder by volume
        InJar(name="Chalkwing", g=5.0),  # no formulation
        InJar(name="Chalkwing", formulation="XX", g=5.0),
        InJar(name="Chalkwing", formulation="dust of some sort", g=5.0),
        InJar(name="Chalkwing", formulation="OF", ml=5.0),
    ],
)
def test_what_cannot_be_told_is_said(product: InJar) -> None:
    bed = possible_bed([product], 946.0)
    assert not bed.known
    assert "not known" in bed.says()
    assert "Chalkwing" in bed.says()
    with_powder = possible_bed([product, powder(2)], 946.0)
    assert with_powder.known
    assert "Chalkwing not counted" in with_powder.says()


def test_a_surfactant_without_a_code_makes_no_bed() -> None:
    assert possible_bed([InJar(name="Evenspread", kind="surfactant", ml=1.0)], 946.0).not_told == ()


@given(
    codes=st.lists(st.sampled_from(sorted(FORMULATIONS)), max_size=5),
    ml=st.floats(0.1, 200),
    jar_ml=st.floats(100, 4000),
)
def test_the_least_bed_is_never_more_than_the_most(codes: list[str], ml: float, jar_ml: float) -> None:
    bed = possible_bed([InJar(name=c, formulation=c, ml=ml, g=ml) for c in codes], jar_ml)
    assert 0 <= bed.low_fraction <= bed.high_fraction <= 1
    assert bed.known == bool(bed.of)


@given(lb=st.floats(0.1, 50), jar_ml=st.floats(100, 4000))
def test_the_same_rate_makes_the_same_bed_in_any_jar(lb: float, jar_ml: float) -> None:
    here = possible_bed([powder(lb, jar_ml=jar_ml)], jar_ml)
    there = possible_bed([powder(lb)], 946.0)
    assert here.low_fraction == pytest.approx(there.low_fraction)


def test_a_looser_bed_is_thicker() -> None:
    low, high = PACKING
    loose = possible_bed([powder(2)], 946.0, (low / 2, high / 2))
    assert loose.low_fraction == pytest.approx(2 * possible_bed([powder(2)], 946.0).low_fraction)
