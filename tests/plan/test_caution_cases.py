"""The cautions, case by case: what was silent or wrong, and what is said now."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from jartest.errors import BadEntry
from jartest.plan.cautions import Caution, MixItem, cautions_for
from jartest.plan.grade import read_grade
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import make_tank_card
from jartest.plan.water import MixWater
from jartest.units import read_quantity

PLAIN = MixWater(source="yard well", hardness_mg_l=60.0, ph=7.0)


def named(name: str, code: str = "SL", **more: Any) -> ShelfProduct:
    """A product as somebody types it: a name and a formulation, nothing marked, nothing checked."""
    return make_product(name=name, formulation=code, **more)


def checked(name: str, *marks: Any, code: str = "SC", **more: Any) -> ShelfProduct:
    return make_product(name=name, formulation=code, contains=marks, checked=True, **more)


def found(products: tuple[ShelfProduct, ...], water: MixWater = PLAIN) -> tuple[Caution, ...]:
    return cautions_for([MixItem(product=p, ml=5.0) for p in products], mix_ml=946.0, water=water)


def said(products: tuple[ShelfProduct, ...], water: MixWater = PLAIN) -> list[tuple[str, str]]:
    return [(c.level, c.rule) for c in found(products, water)]


WEAK = checked("Salt", "weak-acid salt", code="SL")
LIVE = checked("Alive", "live organisms", kind="biological")

# What raised nothing before, and what it raises now: level and rule.
SPOKEN = (
    ("lime sulfur with acid", (named("Lime Sulfur 29"), named("Citric acid", "SP")), PLAIN, "stop", "sulfide with acid"),
    ("another sulfide with acid", (checked("Poly", "sulfide"), checked("Sour", "acid")), PLAIN, "stop", "sulfide with acid"),
    ("lime sulfur with an acid phosphite", (named("Lime Sulfur"), named("Potassium phosphite 0-28-26")), PLAIN,
     "warning", "sulfide with phosphite"),
    ("lime sulfur in a mixture of pH 7", (named("Lime Sulfur"),), MixWater(mix_ph=7.0), "stop", "sulfide by pH"),
    ("lime sulfur with oil", (named("Lime Sulfur"), named("Velvetine Oil 83", "EC")), PLAIN, "warning", "oil with sulphur"),
    ("hypochlorite with acid", (named("Shed Bleach"), named("Vinegar")), PLAIN, "stop", "hypochlorite with acid"),
    ("hypochlorite with ammonium", (named("Shed Bleach"), named("Plain AMS", "AMS")), PLAIN,
     "stop", "hypochlorite with ammonium"),
    ("hypochlorite with a nitrogen solution", (named("Shed Bleach"), named("UAN 32-0-0", "UAN")), PLAIN,
     "stop", "hypochlorite with ammonium"),
    ("borate with a soluble bag", (named("Nettlesap Boron 10"), named("Hopmite", "WSP")), PLAIN,
     "warning", "borate with sealed bag"),
    ("calcium with borate, pH 9", (checked("Cal", "calcium"), checked("Bor", "borate")), MixWater(mix_ph=9.0),
     "warning", "calcium with borate"),
    ("calcium with borate, pH not noted", (checked("Cal", "calcium"), checked("Bor", "borate")), MixWater(ph=7.0),
     "note", "calcium with borate"),
    ("silicate with acid", (named("Potassium silicate"), named("Citric acid", "SP")), PLAIN, "warning", "silicate with acid"),
    ("silicate with calcium", (named("Potassium silicate"), named("Limewick Calcium 12")), PLAIN,
     "warning", "silicate with calcium"),
    ("silicate with a metal", (named("Potassium silicate"), named("Zinc Sulfate 36", "SP")), PLAIN,
     "warning", "silicate with metal salt"),
    ("silicate in hard water", (named("Potassium silicate"),), MixWater(hardness_mg_l=200.0), "warning", "hard water"),
    ("live organisms with copper", (LIVE, named("Bineguard Copper 20", "SC")), PLAIN, "warning", "live organisms with copper"),
    ("live organisms with hypochlorite", (LIVE, named("Shed Bleach")), PLAIN, "warning", "live organisms with hypochlorite"),
    ("live organisms in town water", (LIVE,), MixWater(source="town water", ph=7.0), "warning", "chlorine in the water"),
    ("live organisms at pH 9", (LIVE,), MixWater(source="yard well", ph=9.0), "warning", "pH"),
    ("live organisms in a mixture of pH 4", (LIVE,), MixWater(source="yard well", ph=7.0, mix_ph=4.0), "warning", "pH"),
    ("live organisms with acid", (LIVE, named("Citric acid", "SP")), PLAIN, "warning", "live organisms with acid"),
    ("bicarbonate with weak acids", (WEAK,), MixWater(hardness_mg_l=50.0, bicarbonate_mg_l=500.0),
     "warning", "bicarbonate"),
    ("copper in a mixture of pH 5", (checked("Cop", "copper"),), MixWater(ph=7.5, mix_ph=5.0), "warning", "copper by pH"),
    ("calcium and phosphate by their names", (named("Cal-hop Calcium"), named("Root Phosphate")), PLAIN,
     "warning", "calcium with phosphate"),
    ("a metal and phosphate by their names", (named("Zinc of the Bend"), named("Root Phosphate")), PLAIN,
     "warning", "metal salt with phosphate"),
    ("nothing known", (named("Larkmill Mystery", "SC"),), PLAIN, "note", "not checked"),
    ("known by the name alone", (named("Bineguard Copper 20", "SC"),), PLAIN, "note", "by its name"),
)  # fmt: skip


@pytest.mark.parametrize(("case", "products", "water", "level", "rule"), SPOKEN, ids=[c[0] for c in SPOKEN])
def test_what_was_silent_speaks(
    case: str, products: tuple[ShelfProduct, ...], water: MixWater, level: str, rule: str
) -> None:
    for turned in (products, products[::-1]):
        told = [c for c in found(turned, water) if (c.level, c.rule) == (level, rule)]
        assert len(told) == 1, (case, said(turned, water))
        assert told[0].source
        assert set(told[0].products) == {p.said for p in products}


# What rang before, or would ring by a careless rule, and is no trouble.
SILENT = (
    ("none is no conditioner, soft water", (WEAK,), MixWater(hardness_mg_l=50.0, ph=7.0, conditioner="none")),
    ("low bicarbonate", (WEAK,), MixWater(hardness_mg_l=50.0, ph=7.0, bicarbonate_mg_l=200.0)),
    ("calcium with borate, mixture of pH 6", (checked("Cal", "calcium"), checked("Bor", "borate")),
     MixWater(ph=8.5, mix_ph=6.0)),
    ("a chelate with phosphate", (checked("Iron EDTA", "chelate", code="SL"), checked("Root", "phosphate")), PLAIN),
    ("one product that holds calcium and borate", (checked("CaB", "calcium", "borate"),), MixWater(mix_ph=9.0)),
    ("copper at pH 7", (checked("Cop", "copper"),), PLAIN),
    ("live organisms in well water", (LIVE,), PLAIN),
    ("live organisms whose own label bears it",
     (checked("Alive", kind="biological", label=LabelNotes(ph_min=4, ph_max=9)),), MixWater(source="well", ph=8.5)),
    ("lime sulfur at its own pH", (checked("Lime Sulfur", "sulfide"),), MixWater(ph=7.0, mix_ph=10.5)),
    ("two products that were checked and hold nothing", (checked("a"), checked("b")), PLAIN),
    ("a surfactant's type says enough", (named("Evenspread", "NIS"),), PLAIN),
)  # fmt: skip


@pytest.mark.parametrize(("case", "products", "water"), SILENT, ids=[c[0] for c in SILENT])
def test_what_is_no_trouble_is_silent(case: str, products: tuple[ShelfProduct, ...], water: MixWater) -> None:
    assert said(products, water) == [], case


def test_the_curdling_sample_s_own_pair_raises_its_caution_by_the_names_alone() -> None:
    pair = (named("Phosbound 0-28-26", maker="Greyfen"), named("Limewick Calcium 12", maker="Brackmoor"))
    told = [c for c in found(pair) if c.level == "warning"]
    assert told
    assert any("hosphate" in c.says and {p.said for p in pair} <= set(c.products) for c in told)
    by_name = [c for c in found(pair) if c.rule == "by its name"]
    assert {c.products[0] for c in by_name} == {p.said for p in pair}
    assert "grade Ca 12, by “Calcium 12” in its name" in by_name[1].says


def test_the_two_that_must_never_meet_are_told_without_lesser_things_beside() -> None:
    assert said((checked("Lime Sulfur", "sulfide"), checked("Sour", "acid"))) == [
        ("stop", "sulfide with acid")
    ]


def test_hydrogen_sulfide_and_chlorine_name_the_gas_and_a_source() -> None:
    gas = found((checked("Lime", "sulfide"), checked("Sour", "acid")))[0]
    assert "hydrogen sulfide" in gas.says
    assert "1038" in gas.source
    chlorine = found((checked("Bleach", "hypochlorite"), checked("Sour", "acid")))[0]
    assert "chlorine gas" in chlorine.says
    assert "Chlorine Institute" in chlorine.source


@pytest.mark.parametrize(
    ("word", "conditioned"), [("", False), ("none", False), ("No", False), ("AMS", True), ("yes", True)]
)
def test_a_conditioner_is_a_yes_or_no_with_a_name(word: str, conditioned: bool) -> None:
    rules = said((WEAK,), MixWater(hardness_mg_l=300.0, ph=7.0, conditioner=word))
    assert (("warning", "hard water") not in rules) == conditioned


def test_nothing_known_is_said_once_for_all_and_names_each() -> None:
    told = [
        c
        for c in found((named("Alder", "SC"), named("Birch", "EC"), checked("Cedar")))
        if c.rule == "not checked"
    ]
    (one,) = told
    assert one.products == ("Alder", "Birch")
    assert one.says.startswith("Cautions not checked for Alder and Birch:")


def test_ions_that_are_reckoned_with_decide_over_the_marks() -> None:
    # 1e-7 mL of each in a quart can drop out of nothing; without amounts the marks alone speak.
    calcium = make_product(
        name="Cal", formulation="SL", density_g_ml=1.3, grade=read_grade("Ca 10"), checked=True
    )
    phosphate = make_product(
        name="Phos", formulation="SL", density_g_ml=1.4, grade=read_grade("0-28-26"), checked=True
    )
    traces = [MixItem(product=p, ml=1e-7) for p in (calcium, phosphate)]
    assert [c for c in cautions_for(traces, mix_ml=946.0, water=PLAIN) if c.level != "note"] == []
    marked = checked("Marked", "calcium", code="SL")
    unknown = cautions_for([MixItem(product=marked), MixItem(product=phosphate)], water=PLAIN)
    assert "calcium with phosphate" in [c.rule for c in unknown if c.level == "warning"]


def test_the_mixture_s_own_ph_stands_above_the_water_s() -> None:
    lover = checked("Acid lover", label=LabelNotes(ph_min=5, ph_max=6.5))
    assert said((lover,), MixWater(ph=7.5, mix_ph=6.0)) == []
    (told,) = found((lover,), MixWater(ph=6.0, mix_ph=7.5))
    assert told.says == "The label of Acid lover wants a pH from 5 to 6.5, and the mixture has 7.5."


def test_no_card_is_made_of_what_gives_off_a_gas_that_kills() -> None:
    lines = [(named("Old Lime Sulfur"), "1 gal/100 gal"), (named("Citric acid", "SP"), "1 lb/100 gal")]
    request = RecipeRequest(
        tank_volume=read_quantity("100 gal", "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=tuple(RecipeProduct(product=p, rate=read_product_rate(r, p)) for p, r in lines),
    )
    with pytest.raises(
        BadEntry, match="No tank card can be made of this mixture: Old Lime Sulfur with Citric acid"
    ):
        make_tank_card(
            make_recipe(request),
            test_id="0" * 32,
            test_number=1,
            title="x",
            word="pass",
            condition="",
            signed_by="Wren",
            signed_at=datetime(2026, 3, 14, tzinfo=UTC),
        )
