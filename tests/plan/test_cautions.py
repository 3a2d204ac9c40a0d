"""What is said before mixing, and what is not said without ground."""

from __future__ import annotations

from typing import Any

import pytest

from jartest.plan.cautions import HANDLING, FailedPair, MixItem, cautions_for, ions_of
from jartest.plan.grade import read_grade
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.water import MixWater

CALCIUM = make_product(
    name="Hopcal", kind="micronutrient", is_liquid=True, density_g_ml=1.3, grade=read_grade("Ca 10")
)
PHOSPHATE = make_product(
    name="Starter", kind="liquid fertiliser", density_g_ml=1.4, grade=read_grade("10-34-0")
)
AMS = make_product(name="Plain AMS", formulation="AMS")


def plain(name: str, **more: Any) -> ShelfProduct:
    return make_product(name=name, formulation=more.pop("formulation", "SC"), **more)


def items(*products: ShelfProduct, ml: float = 5.0) -> list[MixItem]:
    return [MixItem(product=p, ml=ml) for p in products]


def test_two_plain_products_in_known_water_raise_nothing() -> None:
    assert (
        cautions_for(items(plain("a"), plain("b")), mix_ml=946, water=MixWater(hardness_mg_l=50, ph=7)) == ()
    )


def test_a_label_that_forbids_a_partner_stops() -> None:
    found = cautions_for(items(plain("a", label=LabelNotes(not_with=("EC",))), plain("b", formulation="EC")))
    assert [(c.level, c.rule, c.products) for c in found] == [("stop", "do not mix with", ("a", "b"))]
    assert found[0].says == "The label of a forbids mixing with b (EC)."


def test_use_alone_and_no_adjuvant_stop() -> None:
    alone = plain("a", label=LabelNotes(alone=True))
    strict = plain("b", label=LabelNotes(no_adjuvant=True))
    wetter = make_product(name="wetter", formulation="NIS")
    rules = {c.rule for c in cautions_for(items(alone, strict, wetter)) if c.level == "stop"}
    assert rules == {"use alone", "no adjuvant"}
    assert cautions_for(items(alone)) == ()


def test_the_gravest_come_first() -> None:
    found = cautions_for(
        items(plain("a", contains=("acid",)), plain("b", contains=("alkali",), label=LabelNotes(alone=True)))
    )
    assert [c.level for c in found] == ["stop", "warning"]


@pytest.mark.parametrize(
    ("one", "other", "word"),
    [
        ("acid", "alkali", "vent the jar, do not seal it"),
        ("ammonium", "alkali", "ammonia gas"),
        ("copper", "phosphite", "copper into solution"),
        ("calcium", "phosphite", "drop out"),
    ],
)
def test_a_troublesome_pair_is_told_whichever_comes_first(one: Any, other: Any, word: str) -> None:
    pair = [plain("a", contains=(one,)), plain("b", contains=(other,))]
    for products in (pair, pair[::-1]):
        found = [c for c in cautions_for(items(*products)) if c.rule == f"{one} with {other}"]
        assert len(found) == 1
        assert word in found[0].says
        assert "no source" in found[0].source


def test_what_failed_in_this_shop_before_is_told_for_these_makers_only() -> None:
    a, b, other = plain("a", maker="Tarn"), plain("b", maker="Dale"), plain("b", maker="Fell")
    failed = [FailedPair(first=b.key, second=a.key, says="test 12, curdled after 5 min")]
    assert [c.rule for c in cautions_for(items(a, b), failed=failed)] == ["failed before"]
    assert cautions_for(items(a, other), failed=failed) == ()


def test_calcium_with_phosphate_is_warned_of_with_its_ratio() -> None:
    found = [
        c
        for c in cautions_for(items(CALCIUM, PHOSPHATE), mix_ml=956, water=MixWater(ph=7))
        if c.rule == "may drop out"
    ]
    hydrogen = next(c for c in found if c.says.startswith("CaHPO4"))
    # By hand: Ca 5 x 1.3 x 0.10 / 40.078 / 0.956 and P 5 x 1.4 x 0.34 / 70.972 / 0.956 mol/L; HPO4 is
    # 1 / (1 + 10^(7.198 - 7)) of it at pH 7 (the other forms are below a ten-thousandth); Ksp 1e-7.
    calcium, phosphorus = 0.65 / 40.078 / 0.956, 2.38 / 70.972 / 0.956
    assert hydrogen.ratio == pytest.approx(calcium * phosphorus / (1 + 10**0.198) / 1e-7, rel=1e-3)
    assert "at pH 7, activity ignored" in hydrogen.says
    assert "with activity by Davies" in hydrogen.says
    assert "A warning, not a prediction" in hydrogen.says


def test_without_a_ph_the_span_is_said_and_not_one_figure() -> None:
    says = next(
        c.says for c in cautions_for(items(CALCIUM, PHOSPHATE), mix_ml=956) if c.says.startswith("CaHPO4")
    )
    assert "at pH 5 to 8, pH not measured" in says


def test_without_a_density_it_is_said_that_nothing_can_be_reckoned() -> None:
    unknown = make_product(name="Hopcal", kind="micronutrient", is_liquid=True, grade=read_grade("Ca 10"))
    found = [c for c in cautions_for(items(unknown, PHOSPHATE), mix_ml=956) if c.rule == "may drop out"]
    assert found
    assert all(c.ratio is None for c in found)
    assert all("cannot be reckoned" in c.says for c in found)


@pytest.mark.parametrize(
    ("grade", "partner", "salt"),
    [
        ("Ca 10", "12-0-0-26S", "CaSO4·2H2O"),
        ("Ca 10", "10-34-0", "Ca3(PO4)2"),
        ("Mg 5", "10-34-0", "Mg3(PO4)2"),
        ("Zn 10", "10-34-0", "Zn3(PO4)2"),
        ("Fe 6", "10-34-0", "FePO4·2H2O"),
    ],
)
def test_a_nutrient_pair_is_told_from_grades_and_amounts(grade: str, partner: str, salt: str) -> None:
    metal = make_product(
        name="Metal", kind="micronutrient", is_liquid=True, density_g_ml=1.3, grade=read_grade(grade)
    )
    other = make_product(name="Other", kind="liquid fertiliser", density_g_ml=1.3, grade=read_grade(partner))
    found = [
        c
        for c in cautions_for(items(metal, other, ml=40), mix_ml=956, water=MixWater(ph=7))
        if c.says.startswith(salt)
    ]
    (told,) = found
    assert set(told.products) == {"Metal", "Other"}
    assert told.ratio is not None
    assert told.ratio > 1
    assert told.source.startswith("Ksp ")
    weak = cautions_for(items(metal, other, ml=1e-9), mix_ml=956, water=MixWater(ph=7))
    assert not [c for c in weak if c.says.startswith(salt)]  # by the amounts, not by the names alone


@pytest.mark.parametrize(("nutrient", "name"), [("Mn", "manganese"), ("Cu", "copper")])
def test_a_metal_that_our_table_has_no_salt_of_is_told_without_a_ratio(nutrient: str, name: str) -> None:
    metal = make_product(
        name="Metal",
        kind="micronutrient",
        is_liquid=True,
        density_g_ml=1.3,
        grade=read_grade(f"{nutrient} 5"),
    )
    (told,) = [c for c in cautions_for(items(metal, PHOSPHATE), mix_ml=956) if c.rule == "may drop out"]
    assert told.says == (
        f"The {name} of Metal may drop out with the phosphate of Starter; our table holds no solubility product of it, "
        "so how likely is not reckoned."
    )
    assert told.ratio is None
    assert cautions_for(items(metal, plain("a")), mix_ml=956) == ()


def test_one_product_is_not_warned_of_against_itself() -> None:
    both = make_product(
        name="Both", kind="liquid fertiliser", density_g_ml=1.3, grade=read_grade("0-10-0 + 5 Ca")
    )
    assert cautions_for(items(both, plain("a")), mix_ml=956, water=MixWater(ph=7)) == ()


def test_ammonium_sulphate_in_hard_water_agrees_with_the_worked_example() -> None:
    # 17 lb per 100 gal in a litre of CIPAC water D (342 mg/L as CaCO3): ratio computed 13.4 with 2.734e-3 M Ca
    # (a fifth of the hardness being magnesium); here all hardness is counted as calcium, so 5/4 of it.
    grams = 17 * 453.59237 / 378.5411784
    found = cautions_for(
        [MixItem(product=AMS, g=grams)], mix_ml=1000, water=MixWater(hardness_mg_l=342, ph=7)
    )
    gypsum = next(c for c in found if c.says.startswith("CaSO4"))
    assert gypsum.ratio == pytest.approx(13.4 * 5 / 4, rel=0.01)
    assert gypsum.products == ("Plain AMS", "the water")


def test_the_ions_of_ammonium_sulphate_need_no_grade() -> None:
    ions = ions_of(MixItem(product=AMS, g=132.14), 1000)  # one mole in a litre
    assert ions["SO4"] == pytest.approx(1.0, rel=1e-3)
    assert ions["NH4"] == pytest.approx(2.0, rel=1e-3)


def test_magnesium_ammonium_phosphate_needs_all_three() -> None:
    magnesium = make_product(
        name="Mag", kind="micronutrient", is_liquid=True, density_g_ml=1.3, grade=read_grade("Mg 5")
    )
    with_ammonium = make_product(
        name="Am", kind="liquid fertiliser", density_g_ml=1.3, grade=read_grade("N 10, NH4-N 10, P2O5 30")
    )

    def struvite(*products: ShelfProduct) -> bool:
        return any(
            c.says.startswith("MgNH4PO4")
            for c in cautions_for(items(*products), mix_ml=956, water=MixWater(ph=8))
        )

    assert struvite(magnesium, with_ammonium)
    assert not struvite(magnesium, PHOSPHATE)


def test_hard_water_with_a_weak_acid_salt_is_warned_of_unless_conditioned() -> None:
    salt = plain("salt", formulation="SL", contains=("weak-acid salt",))
    hard = MixWater(hardness_mg_l=200, ph=7)
    assert [c.level for c in cautions_for(items(salt), water=hard) if c.rule == "hard water"] == ["warning"]
    conditioned = cautions_for([*items(salt), MixItem(product=AMS, g=1.0)], water=hard)
    assert [c for c in conditioned if c.rule == "hard water"] == []
    assert [c.level for c in cautions_for(items(salt)) if c.rule == "hard water"] == ["note"]
    assert cautions_for(items(salt), water=MixWater(hardness_mg_l=50)) == ()


def test_ph_is_held_against_the_label() -> None:
    acid = plain("acid lover", label=LabelNotes(ph_min=5, ph_max=6.5))
    assert [c.level for c in cautions_for(items(acid), water=MixWater(ph=7.5))] == ["warning"]
    assert cautions_for(items(acid), water=MixWater(ph=6)) == ()
    assert [c.level for c in cautions_for(items(acid))] == ["note"]


def test_alkaline_water_with_a_fungicide_names_its_example_s_source() -> None:
    found = cautions_for(items(plain("f", kind="fungicide")), water=MixWater(ph=8.5))
    assert "captan half-life 32 h at pH 5, 10 min at pH 8" in found[0].source


def test_the_usual_cautions_are_there() -> None:
    said = " ".join(HANDLING)
    for word in (
        "label is the law",
        "protective equipment",
        "never holds food",
        "vent",
        "small plot",
        "Dispose",
    ):
        assert word in said
