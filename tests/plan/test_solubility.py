"""Worked saturation examples, against the solubility products that each states and against our own table."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.plan.chemistry import (
    CHARGES,
    SALTS,
    Salt,
    davies_gamma,
    ion_product,
    ionic_strength,
    molar_solubility,
    phosphate_forms,
    salt_named,
    saturation_ratio,
)

GYPSUM = salt_named("CaSO4·2H2O")


def salt(ksp: float, **ions: int) -> Salt:
    return Salt(formula="", ions=tuple(ions.items()), ksp=ksp, source="the example's own")


def test_half_and_half_calcium_chloride_and_sodium_sulphate_do_not_drop_out() -> None:
    # Chemistry problem set (50 mL 0.0010 M CaCl2 + 50 mL 0.010 M Na2SO4, Ksp 2.4e-5): Q = 2.5e-6.
    mix = {"Ca": 5.0e-4, "SO4": 5.0e-3}
    assert ion_product(GYPSUM, mix) == pytest.approx(2.5e-6)
    assert saturation_ratio(salt(2.4e-5, Ca=1, SO4=1), mix) < 1
    assert saturation_ratio(GYPSUM, mix) < 1  # and not by our own table either


def test_tricalcium_phosphate_s_solubility() -> None:
    # Homework text: Ksp 2.07e-33 = 108 s^5 gives s = 1.139e-7 mol/L.
    s = molar_solubility(salt(2.07e-33, Ca=3, PO4=2))
    assert s == pytest.approx(1.139e-7, rel=5e-4)
    assert (3 * s, 2 * s) == (pytest.approx(3.417e-7, rel=5e-4), pytest.approx(2.278e-7, rel=5e-4))
    ours = salt_named("Ca3(PO4)2")
    assert molar_solubility(ours) == pytest.approx((ours.ksp / 108) ** 0.2, rel=1e-12)


def test_barium_sulphate_stays_dissolved() -> None:
    # Study text: 8.2e-7 M Ba, 5.7e-6 M SO4, Ksp 1.1e-10: Q = 4.67e-12.
    barite = salt(1.1e-10, Ba=1, SO4=1)
    mix = {"Ba": 8.2e-7, "SO4": 5.7e-6}
    assert ion_product(barite, mix) == pytest.approx(4.67e-12, rel=1e-3)
    assert saturation_ratio(barite, mix) < 1


def test_silver_chloride_drops_out() -> None:
    # OpenStax Chemistry (value from memory): equal volumes of 2.0e-4 M, Ksp 1.6e-10.
    mix = {"Ag": 1.0e-4, "Cl": 1.0e-4}
    assert ion_product(salt(1.6e-10, Ag=1, Cl=1), mix) == pytest.approx(1.0e-8)
    assert saturation_ratio(salt(1.6e-10, Ag=1, Cl=1), mix) > 1


def test_calcium_oxalate_begins_to_form() -> None:
    # OpenStax Chemistry (value from memory): 2.2e-3 M Ca, Ksp 1.96e-8: at 8.9e-6 M oxalate.
    oxalate = salt(1.96e-8, Ca=1, C2O4=1)
    assert saturation_ratio(oxalate, {"Ca": 2.2e-3, "C2O4": 8.9e-6}) == pytest.approx(1, rel=0.01)


def test_magnesium_hydroxide_in_sea_water() -> None:
    # OpenStax Chemistry (value from memory): 0.0537 M Mg, Ksp 8.9e-12: at 1.3e-5 M OH, pH 9.11.
    brucite = salt(8.9e-12, Mg=1, OH=2)
    hydroxide = 10 ** (9.11 - 14)
    assert hydroxide == pytest.approx(1.3e-5, rel=0.01)
    assert saturation_ratio(brucite, {"Mg": 0.0537, "OH": hydroxide}) == pytest.approx(1, rel=0.02)


def test_gypsum_in_pure_water_shows_what_an_ideal_ratio_is_worth() -> None:
    # By our own table (Ksp 3.14e-5): 5.60e-3 M, 0.965 g/L; measured is about 2.4 to 2.6 g/L (value from memory).
    s = molar_solubility(GYPSUM)
    assert s == pytest.approx(5.60e-3, rel=1e-3)
    assert s * 172.17 == pytest.approx(0.965, rel=1e-3)


def test_hard_water_with_ammonium_sulphate_ideal_and_by_davies() -> None:
    # CIPAC water D (2.734e-3 M Ca) with 17 lb ammonium sulphate per 100 gal (0.1542 M): computed 13.4 and about 1.1.
    mix = {"Ca": 2.734e-3, "SO4": 0.1542, "NH4": 0.3084}
    assert saturation_ratio(GYPSUM, mix) == pytest.approx(13.4, abs=0.05)
    assert ionic_strength({"SO4": 0.1542, "NH4": 0.3084}) == pytest.approx(0.4626, rel=1e-6)
    assert davies_gamma(2, 0.4626) == pytest.approx(0.29, abs=0.005)
    assert saturation_ratio(GYPSUM, mix, davies=True) == pytest.approx(1.1, abs=0.05)


@pytest.mark.parametrize(("ph", "ratio"), [(5, 1.9), (6, 17.9), (7, 116), (8, 259)])
def test_calcium_phosphate_against_ph(ph: float, ratio: float) -> None:
    # 3.0e-3 M Ca, 0.010 M total phosphate, pKa 2.148, 7.198, 12.35, CaHPO4 Ksp 1e-7: computed.
    mix = {"Ca": 3.0e-3} | phosphate_forms(0.010, ph)
    assert saturation_ratio(salt_named("CaHPO4"), mix) == pytest.approx(ratio, rel=0.01)


def test_every_salt_of_the_table_is_neutral_and_names_its_source() -> None:
    for s in SALTS:
        assert sum(CHARGES[ion] * count for ion, count in s.ions) == 0, s.formula
        assert s.source
        assert 0 < s.ksp < 1


def test_the_handbooks_disagree_and_ours_lies_between_them() -> None:
    # Ca3(PO4)2: Waste Management Practices 2.0e-29, Kelter et al. 1.3e-32, CRC 2.07e-33 (second-hand).
    assert 2.07e-33 <= salt_named("Ca3(PO4)2").ksp <= 2.0e-29


def test_beyond_its_range_davies_is_not_a_number() -> None:
    assert math.isnan(davies_gamma(2, 0.51))
    assert davies_gamma(2, 0.0) == 1.0


@given(ph=st.floats(min_value=0, max_value=14), total=st.floats(min_value=1e-6, max_value=1))
def test_the_forms_of_phosphate_never_exceed_the_whole(ph: float, total: float) -> None:
    forms = phosphate_forms(total, ph)
    assert all(v >= 0 for v in forms.values())
    assert sum(forms.values()) <= total * (1 + 1e-9)


@given(strength=st.floats(min_value=1e-6, max_value=0.3))
def test_activity_never_raises_an_ion_product_in_this_range(strength: float) -> None:
    # Davies' curve falls up to about 0.3 mol/L and then turns.
    assert davies_gamma(2, strength) < davies_gamma(1, strength) < 1
