"""What is said before mixing, and what is not said without ground."""

from __future__ import annotations

from typing import Any

import pytest

from jartest.plan.cautions import HANDLING, FailedPair, MixItem, cautions_for
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
    return make_product(name=name, formulation=more.pop("formulation", "SC"), checked=True, **more)


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


def test_what_may_drop_out_stands_among_the_cautions() -> None:
    found = cautions_for(items(CALCIUM, PHOSPHATE), mix_ml=956, water=MixWater(mix_ph=7))
    (told,) = [c for c in found if c.rule == "may drop out"]
    assert told.products == ("Hopcal", "Starter")
    assert told.ratio is not None
    assert told.source.startswith("log K ")


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
