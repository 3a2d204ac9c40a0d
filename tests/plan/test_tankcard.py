"""The tank card: only from a signed pass or watch, and lapsed in words when its ground is gone."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from jartest.errors import BadEntry
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import LapseRules, TankCard, card_state, make_tank_card, part_amounts
from jartest.plan.water import MixWater
from jartest.units import read_carrier_rate, read_quantity

SIGNED = datetime(2026, 3, 14, 14, 5, tzinfo=UTC)
EC = make_product(name="Ember", maker="Tarn", formulation="EC", lot="A1")
WP = make_product(name="Dust", maker="Fell", formulation="WP")
WELL = MixWater(source="yard well", hardness_mg_l=140, ph=7.2)


def request(*products: ShelfProduct, rate: str = "2 fl oz/1000 ft2", **more: Any) -> RecipeRequest:
    chosen = products or (EC, WP)
    return RecipeRequest(
        tank_volume=read_quantity(more.pop("tank", "200 gal"), "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        carrier_rate=read_carrier_rate(more.pop("carrier", "2 gal/1000 ft2")),
        basis="finished",
        products=tuple(
            RecipeProduct(product=p, rate=read_product_rate(rate if p.liquid else "1 oz/1000 ft2", p))
            for p in chosen
        ),
        water=more.pop("water", WELL),
        **more,
    )


def card(
    word: str = "pass", condition: str = "", asked: RecipeRequest | None = None, **more: Any
) -> TankCard:
    more = {"signed_by": "J. Moor", "signed_at": SIGNED} | more
    return make_tank_card(
        make_recipe(asked or request()),
        test_id="ab" * 16,
        test_number=12,
        title="Copper for the hops",
        word=word,
        condition=condition,
        **more,
    )


def reasons(
    made: TankCard, today: RecipeRequest | None = None, after: float = 1, **more: Any
) -> tuple[str, ...]:
    state = card_state(made, now=SIGNED + timedelta(days=after), today=today, **more)
    assert state.lapsed is bool(state.reasons)
    return state.reasons


@pytest.mark.parametrize("word", ["fail", "", "maybe"])
def test_nothing_but_a_pass_or_a_watch_makes_a_card(word: str) -> None:
    with pytest.raises(BadEntry, match="only a signed pass or watch makes a tank card"):
        card(word, "constant agitation")


def test_a_watch_needs_its_condition_which_becomes_the_agitation() -> None:
    with pytest.raises(BadEntry, match="only with its condition"):
        card("watch")
    assert card("watch", "constant agitation").agitation == "constant agitation"


def test_an_unsigned_test_makes_no_card() -> None:
    with pytest.raises(BadEntry, match="is not signed"):
        card(signed_by=" ")
    with pytest.raises(BadEntry, match="no zone"):
        card(signed_at=SIGNED.replace(tzinfo=None))


def test_what_a_label_forbids_makes_no_card_whatever_the_jar_said() -> None:
    strict = replace(EC, label=LabelNotes(alone=True))
    with pytest.raises(BadEntry, match="says to use it alone"):
        card(asked=request(strict, WP))
    first = [replace(p, label=LabelNotes(first=True)) for p in (EC, WP)]
    with pytest.raises(BadEntry, match="cannot all be followed"):
        card(asked=request(*first))


def test_a_card_says_amounts_order_makers_and_ground() -> None:
    made = card(stand_s=1200.0)
    assert made.steps == (
        "half to three quarters full of water, agitator running",
        "Dust (Fell): 6.25 lb (2.835 kg)",
        "agitate until everything dry is dispersed, a few minutes",
        "Ember (Tarn): 1.56 gal (5.915 L)",
        "fill to the mark and keep agitating",
    )
    assert made.holds_for() == (
        "Holds for exactly Dust (Fell), Ember (Tarn), at these rates or weaker, in this order and with "
        "yard well, 140 mg/L hardness, pH 7.2."
    )
    assert any("The label is the law" in c for c in made.cautions)
    said = json.loads(json.dumps(made.to_json(), allow_nan=False))
    assert (said["test_number"], said["signed_by"], said["stand_s"]) == (12, "J. Moor", 1200.0)
    assert said["lapses_at"] == "2027-03-14T14:05:00+00:00"


def test_a_part_tank_keeps_the_proportion() -> None:
    made = card()
    for line, ml, g in part_amounts(made, made.tank_ml / 4):
        assert (ml, g) == (
            None if line.tank_ml is None else pytest.approx(line.tank_ml / 4),
            None if line.tank_g is None else pytest.approx(line.tank_g / 4),
        )
    with pytest.raises(BadEntry, match="part tank"):
        part_amounts(made, made.tank_ml * 1.1)


def test_a_card_holds_for_what_was_tested() -> None:
    assert reasons(card(), request()) == ()
    assert reasons(card(), request(WP, EC)) == ()
    assert reasons(card(), request(replace(EC, name="EMBER", maker=" tarn"), WP)) == ()


def test_a_weaker_mix_and_another_tank_of_the_same_proportion_hold() -> None:
    assert reasons(card(), request(rate="1 fl oz/1000 ft2")) == ()
    assert reasons(card(), request(tank="50 gal")) == ()


def test_another_maker_lapses_it() -> None:
    assert reasons(card(), request(replace(EC, maker="Fell"), WP)) == (
        "Ember is now from Fell; tested was that of Tarn.",
    )


def test_a_new_lot_lapses_it_only_where_the_shop_wants_so() -> None:
    new_lot = request(replace(EC, lot="B2"), WP)
    assert reasons(card(), new_lot) == ()
    strict = card(rules=LapseRules(lot_matters=True))
    assert reasons(strict, new_lot) == ("Ember is now of lot B2; tested was lot A1.",)
    assert "Ember (Tarn) lot A1" in strict.holds_for()


def test_a_product_more_or_less_lapses_it() -> None:
    extra = make_product(name="Wet", formulation="NIS")
    assert reasons(card(), request(EC, WP, extra)) == ("Wet was not in the tested mixture.",)
    assert reasons(card(), request(EC)) == ("Dust (Fell) was in the tested mixture and is left out now.",)


def test_another_formulation_lapses_it() -> None:
    assert reasons(card(), request(replace(EC, formulation="EW"), WP)) == ("Ember is now EW; tested was EC.",)


def test_a_stronger_mix_lapses_it() -> None:
    assert reasons(card(), request(rate="3 fl oz/1000 ft2")) == (
        "Ember (Tarn) would be 1.5 times as strong as tested.",
    )
    stronger = reasons(card(), request(carrier="1 gal/1000 ft2"))
    assert len(stronger) == 2
    assert all("2 times as strong" in r for r in stronger)


@pytest.mark.parametrize(
    ("water", "word"),
    [
        (MixWater(source="pond"), "from pond"),
        (MixWater(source="yard well", hardness_mg_l=40), "now soft"),
        (MixWater(source="yard well", hardness_mg_l=150, ph=8.6), "pH 8.6"),
        (
            MixWater(source="yard well", conditioner="citric acid"),
            "now conditioned with citric acid; tested was",
        ),
    ],
)
def test_other_water_lapses_it(water: MixWater, word: str) -> None:
    (reason,) = reasons(card(), request(water=water))
    assert word in reason


def test_the_conditioner_stands_on_the_card_and_leaving_it_out_lapses_it() -> None:
    conditioned = card(asked=request(water=replace(WELL, conditioner="Citric acid")))
    assert "conditioned with Citric acid" in conditioned.holds_for()
    assert reasons(conditioned, request(water=replace(WELL, conditioner=" citric ACID "))) == ()
    (reason,) = reasons(conditioned, request(water=WELL))
    assert reason == "The water is now not conditioned; tested was conditioned with Citric acid."


def test_age_lapses_it_on_the_day() -> None:
    made = card(rules=LapseRules(max_age_days=30))
    assert reasons(made, after=29.99) == ()
    assert reasons(made, after=30) == ("The test is 30 days old, and 30 are allowed.",)


def test_a_verdict_overruled_later_lapses_it() -> None:
    assert reasons(card(), standing_word="fail") == ("The verdict of test 12 is now fail.",)
    assert reasons(card(), standing_word="watch") == ()
