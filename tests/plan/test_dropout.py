"""What is said to drop out of a mixture: in words, at its own pH, and not where nothing does."""

from __future__ import annotations

import re
from typing import Any

import pytest

from jartest.plan.dropout import drop_outs, say_ratio
from jartest.plan.grade import read_grade
from jartest.plan.label_ions import ions_of, ions_of_water
from jartest.plan.mixture import Caution, MixItem
from jartest.plan.products import ShelfProduct, make_product
from jartest.plan.water import MixWater

AMS = make_product(name="Plain AMS", formulation="AMS")
AMS_G = 17 * 453.59237 / 378.5411784  # 17 lb per 100 gal, in a liter: 20.4 g
HARD = MixWater(hardness_mg_l=342, ph=7.5, bicarbonate_mg_l=300)  # CIPAC water D by hardness


def product(name: str, grade: str, formulation: str = "SP", **more: Any) -> ShelfProduct:
    return make_product(
        name=name, grade=read_grade(grade), formulation=formulation, kind="micronutrient", **more
    )


EPSOM = product("Epsom", "Mg 9.8, S 13")
MAP = product("Starter", "12-61-0")
MKP = product("Bloom", "0-52-34")
CALCIUM = product("Hopcal", "Ca 10", "SL", density_g_ml=1.3)


def told(
    *parts: tuple[ShelfProduct, float], water: MixWater | None = None, ml: float | None = 1000
) -> list[Caution]:
    return list(drop_outs([MixItem(product=p, g=g) for p, g in parts], mix_ml=ml, water=water or MixWater()))


def kinds(found: list[Caution]) -> list[str]:
    return [d.says.split(" (")[0] for d in found]


def test_words_grow_with_the_ratio() -> None:
    assert [say_ratio(r) for r in (0.5, 1, 2, 3.1, 30, 31, 1e15)] == [
        "within what dissolves",
        "within what dissolves",
        "about at its limit",
        "over what dissolves",
        "over what dissolves",
        "far over what dissolves",
        "far over what dissolves",
    ]


def test_epsom_salt_with_monoammonium_phosphate_is_told_though_the_label_does_not_part_the_nitrogen() -> None:
    (struvite,) = [d for d in told((EPSOM, 10), (MAP, 10), water=MixWater(mix_ph=7)) if "ammonium" in d.says]
    assert struvite.says == (
        "Magnesium ammonium phosphate (MgNH4PO4·6H2O) from Epsom and Starter is far over what dissolves at the "
        "mixture's pH 7. The nitrogen of Starter is taken as ammonium, because the label does not say. "
        "A warning, not a prediction."
    )
    assert struvite.level == "warning"
    # PHREEQC, of the whole salts: 141 (tests/plan/test_phreeqc.py).
    assert struvite.ratio == pytest.approx(141, rel=0.15)
    # 2 g/L of each: PHREEQC 5.35; it had been said to stay dissolved (0.84).
    (weak,) = [d for d in told((EPSOM, 2), (MAP, 2), water=MixWater(mix_ph=7)) if "ammonium" in d.says]
    assert weak.ratio == pytest.approx(5.35, rel=0.15)
    assert "is over what dissolves" in weak.says
    assert not [d for d in told((EPSOM, 10), (MKP, 10), water=MixWater(mix_ph=7)) if "ammonium" in d.says]


def test_the_curdling_sample_is_far_over() -> None:
    # Its amounts and water (samples/curdler), its pH as the sample's water; PHREEQC 3.85e4 for the amorphous solid.
    phosphate = product("Phosbound", "0-28-26", "SL", density_g_ml=1.4)
    calcium = product("Limewick", "Ca 12", "SL", density_g_ml=1.3)
    water = MixWater(hardness_mg_l=140, ph=7.4, mix_ph=7.4)
    (found,) = told((phosphate, 19 * 1.4), (calcium, 9.5 * 1.3), water=water, ml=946)
    assert found.ratio == pytest.approx(3.85e4, rel=0.15)
    assert "from Limewick, Phosbound and the water is far over what dissolves" in found.says


def test_no_power_of_ten_is_ever_shown() -> None:
    for ph in (3.0, 5.5, 7.0, 9.0, 10.5):
        for parts in ([(CALCIUM, 30), (MAP, 20)], [(product("Zinc", "Zn 35, S 17"), 5), (MKP, 20)]):
            for d in told(*parts, water=MixWater(hardness_mg_l=400, ph=8, bicarbonate_mg_l=400, mix_ph=ph)):
                assert not re.search(r"e[+-]\d|times", d.says), d.says


def test_ammonium_sulfate_as_conditioner_in_hard_water_raises_nothing() -> None:
    # PHREEQC: 0.32 of saturation in water of 342 mg/L (tests/plan/test_phreeqc.py); up to 900 mg/L it stays under.
    for hardness in (50, 342, 600, 900):
        assert told((AMS, AMS_G), water=MixWater(hardness_mg_l=hardness, ph=7.5, bicarbonate_mg_l=300)) == []


def test_chelated_iron_with_phosphate_in_hard_water_raises_nothing_of_iron_and_plain_iron_does() -> None:
    chelated, plain = product("Ironwick EDTA", "Fe 13"), product("Ironwick", "Fe 20, S 11.5")
    marked = product("Ironhold", "Fe 13", contains=("chelate",))
    for water in (HARD, MixWater(hardness_mg_l=342, ph=7.5, bicarbonate_mg_l=300, mix_ph=6)):
        for iron in (chelated, marked):
            assert not [
                d
                for d in told((iron, 1), (MKP, 2), water=water)
                if "iron" in d.says.casefold() or "Rust" in d.says
            ]
    found = kinds(told((plain, 1), (MKP, 2), water=MixWater(hardness_mg_l=342, mix_ph=6)))
    assert "Iron phosphate" in found
    assert "Rust" in found


def test_a_chelate_whose_edta_goes_to_another_metal_is_reckoned_again() -> None:
    # EDTA holds iron far more firmly than manganese: what was chelated manganese is free, and the iron is held.
    manganese, iron = product("Manganese EDTA", "Mn 5"), product("Iron", "Fe 20")
    alone = told((manganese, 2), (MKP, 20), water=MixWater(mix_ph=7.5))
    assert "Manganese phosphate" not in kinds(alone)
    both = told((manganese, 2), (iron, 0.5), (MKP, 20), water=MixWater(mix_ph=7.5))
    assert "Manganese phosphate" in kinds(both)


def test_the_mixture_s_own_ph_is_used_before_the_water_s() -> None:
    acid, neutral = (told((CALCIUM, 5), (MKP, 2), water=MixWater(ph=8.5, mix_ph=ph)) for ph in (4.0, 7.0))
    assert acid == []
    (found,) = neutral
    assert "at the mixture's pH 7" in found.says


def test_without_the_mixture_s_ph_phosphate_is_told_over_the_span_and_asks_for_it() -> None:
    (found,) = told((CALCIUM, 5), (MKP, 2), water=MixWater(ph=7.4))
    assert "is about at its limit at pH 5 and far over what dissolves at pH 8" in found.says
    assert found.says.endswith("the mixture's pH is not noted: measure it. A warning, not a prediction.")
    acid = product("Acidic", "0-30-0", contains=("acid",))
    (wider,) = told((CALCIUM, 20), (acid, 20))
    assert "at pH 3" in wider.says


def test_where_nothing_moves_it_the_water_s_ph_is_taken_and_that_is_said() -> None:
    lime = product("Hopcal", "Ca 10", "SL", density_g_ml=1.3)
    (found,) = told((lime, 5), water=MixWater(ph=8.3, bicarbonate_mg_l=400))
    assert found.says.startswith(
        "Calcium carbonate (CaCO3) from Hopcal and the water is far over what dissolves"
    )
    assert "at the water's pH 8.3; the mixture's is not noted" in found.says


def test_well_water_by_itself_raises_nothing_until_the_mixture_is_alkaline() -> None:
    wetter = make_product(name="Wetter", formulation="NIS")
    water = {"hardness_mg_l": 300.0, "ph": 7.8, "bicarbonate_mg_l": 300.0}
    assert told((wetter, 1), water=MixWater(**water)) == []
    (found,) = told((wetter, 1), water=MixWater(**water, mix_ph=9.5))
    assert found.says.startswith("Calcium carbonate (CaCO3) from the water is far over")


def test_plain_metals_without_a_known_ph_ask_for_it() -> None:
    (found,) = told((product("Zinc", "Zn 35, S 17"), 1), water=HARD)
    assert (found.level, found.ratio) == ("note", None)
    assert found.says.endswith("measure the pH of the finished mixture and enter it.")
    assert told((product("Zinc EDTA", "Zn 9"), 1), water=HARD) == []


@pytest.mark.parametrize(
    ("one", "other", "ph", "kind"),
    [
        ("Ca 10", "12-0-0-26S", 7, "Gypsum"),
        ("Ca 10", "10-34-0", 7, "Calcium phosphate"),
        ("Mg 5", "0-34-20", 7, "Magnesium phosphate"),
        ("Zn 10", "10-34-0", 7, "Zinc phosphate"),
        ("Fe 6", "10-34-0", 5, "Iron phosphate"),
        ("Mn 5", "10-34-0", 7, "Manganese phosphate"),
        ("Cu 5", "10-34-0", 6, "Copper phosphate"),
        ("Zn 10", "B 10", 8, "Zinc borate"),
        ("Ca 10", "B 10", 9.5, "Calcium borate"),
        ("Mg 10", "K2O 20", 11, "Magnesium hydroxide"),
        ("Zn 10", "K2O 20", 9, "Zinc hydroxide"),
        ("Cu 5", "K2O 20", 8, "Copper hydroxide"),
        ("Mn 5", "K2O 20", 10, "Manganese hydroxide"),
    ],
)
def test_a_nutrient_pair_is_told_by_its_amounts_and_not_by_its_names(
    one: str, other: str, ph: float, kind: str
) -> None:
    first, second = product("One", one, "SL"), product("Other", other, "SL")
    found = told((first, 20), (second, 20), water=MixWater(mix_ph=ph))
    (hit,) = [d for d in found if d.says.startswith(kind)]
    assert "One" in hit.products
    assert hit.ratio is not None
    assert hit.ratio > 1
    assert hit.source.startswith("log K ")
    assert kind not in kinds(told((first, 1e-6), (second, 1e-6), water=MixWater(mix_ph=ph)))


def test_one_product_is_not_held_against_itself() -> None:
    both = product("Both", "0-10-0 + 5 Ca", "SL")
    assert told((both, 50), water=MixWater(mix_ph=7)) == []


def test_without_an_amount_it_is_said_that_nothing_can_be_reckoned() -> None:
    parts = [MixItem(product=CALCIUM), MixItem(product=MKP, g=5)]
    (found,) = drop_outs(parts, mix_ml=1000, water=MixWater())
    assert (found.level, found.ratio) == ("warning", None)
    assert found.says == (
        "Calcium phosphate (CaHPO4·2H2O) may drop out of Bloom and Hopcal; how likely cannot be calculated: "
        "an amount or a density is missing."
    )
    assert [d.ratio for d in told((CALCIUM, 5), (MKP, 5), ml=None)] == [None]


def test_what_is_in_suspension_is_not_taken_as_dissolved() -> None:
    copper = product("Bineguard Copper", "Cu 40", "WG")
    (found,) = told((copper, 2), (MKP, 5), water=MixWater(mix_ph=6))
    assert found.level == "note"
    assert "Bineguard Copper is not a solution, and how much of it dissolves is not known" in found.says
    assert told((product("Chalkwing Sulfur", "S 80", "WG"), 5), (CALCIUM, 20), water=MixWater(mix_ph=6)) == []


def test_a_mixture_too_salty_to_reckon_is_told_as_that() -> None:
    (found,) = told((AMS, 150), (CALCIUM, 20), water=MixWater(mix_ph=7))
    assert found.ratio is None
    assert found.level == "warning"
    assert found.says.endswith("the mixture is too salty to calculate how likely.")


def test_phosphite_and_thiosulfate_are_no_phosphate_and_no_sulfate() -> None:
    phosphite = product("Phosbound", "0-28-26", "SL", contains=("phosphite",))
    thiosulfate = product("Thio", "12-0-0-26S", "ATS")
    assert ions_of(phosphite, 10, 1000).keys() == {"K"}
    assert "SO4" not in ions_of(thiosulfate, 10, 1000)


def test_the_ions_of_ammonium_sulfate_need_no_grade() -> None:
    ions = ions_of(AMS, 132.14, 1000)  # one mole in a liter
    assert ions["SO4"] == pytest.approx(1.0, rel=1e-3)
    assert ions["NH4"] == pytest.approx(2.0, rel=1e-3)


def test_the_ions_of_salts_come_out_by_their_formulas() -> None:
    # MKP, KH2PO4 136.09 g/mol: 52.15 % P2O5 and 34.61 % K2O; MAP, NH4H2PO4 115.03: 12.18 % N, 61.70 % P2O5.
    potassium = ions_of(product("p", "P2O5 52.15, K2O 34.61"), 136.09, 1000)
    assert potassium == {"K": pytest.approx(1, rel=1e-3), "PO4": pytest.approx(1, rel=1e-3)}
    ammonium = ions_of(product("a", "12.18-61.70-0"), 115.03, 1000)
    assert ammonium == {"NH4": pytest.approx(1, rel=1e-3), "PO4": pytest.approx(1, rel=1e-3)}
    # A blend of mostly urea is not all ammonium: no more than two of it for each phosphate.
    blend = ions_of(product("b", "20-20-20"), 100, 1000)
    assert blend["NH4"] == pytest.approx(2 * blend["PO4"])


def test_the_ions_of_the_water() -> None:
    # CIPAC MT 18 water D: 342 mg/L, Ca to Mg 4:1: 2.734e-3 mol/L of calcium (computed from its recipe).
    assert ions_of_water(MixWater(hardness_mg_l=342))["Ca"] == pytest.approx(2.734e-3, rel=1e-3)
    # At pH 8.3 all but 2 % is bicarbonate, 61.017 g/mol; at pH 6.352 as much again is carbonic acid.
    assert ions_of_water(MixWater(bicarbonate_mg_l=61.017, ph=8.3))["CO3"] == pytest.approx(1.02e-3, rel=0.01)
    assert ions_of_water(MixWater(bicarbonate_mg_l=61.017, ph=6.352))["CO3"] == pytest.approx(2e-3, rel=1e-3)
    assert ions_of_water(MixWater(source="pond", ph=7)) == {}
