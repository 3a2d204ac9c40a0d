"""The tank card: only from a signed pass or watch, and lapsed in words when its ground is gone."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from jartest.errors import BadEntry
from jartest.plan.card_ground import Ground
from jartest.plan.card_state import card_state
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import LapseRules, TankCard, make_tank_card, part_amounts, part_steps
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
        "Dust (Fell): 6 lb 4 oz (2.835 kg)",
        "agitate until everything dry is dispersed, a few minutes",
        "Ember (Tarn): 1 gal 72 fl oz (5.915 L)",
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


def test_a_pass_that_has_become_a_watch_says_so_on_its_card() -> None:
    (note,) = card_state(card(), now=SIGNED, standing_word="watch").notes
    assert note.startswith("Since it was signed its verdict has become WATCH")
    assert card_state(card("watch", "stirring"), now=SIGNED, standing_word="watch").notes == ()
    assert card_state(card(), now=SIGNED, standing_word="pass").notes == ()


# ------------------------------------------------------------------------- head
def ground(**more: Any) -> Ground:
    """A jar watched for 30 min and poured clean through 100 mesh, which the machine passed."""
    said: dict[str, Any] = {
        "word_age_s": 1800.0,
        "watched_s": 1800.0,
        "enough_s": 1800.0,
        "machine": "pass",
        "machine_says": "",
        "reason": "",
        "ran": "strained",
        "mesh": 100,
    }
    return Ground(**said | more)


POURED, LONGEST = (
    "Poured clean through 100 mesh.",
    "Longest look at the jar: 30 min. Beyond that nothing is known.",
)
# What was wrong: none of it stood at the head, and each of these cards held for 365 days.
# Word signed, what the jar showed, what the head says now, and for how many days it holds.
HEADS: list[tuple[str, dict[str, Any], tuple[str, ...], float]] = [
    ("pass", {}, (POURED, LONGEST), 365),
    ("watch", {"machine": "watch"}, (POURED, LONGEST), 365),
    (
        "watch",
        {"machine": "fail", "machine_says": "Gel was seen.", "reason": "gone when warm"},
        (
            "The machine said FAIL: Gel was seen.",
            "J. Moor overruled it and signed WATCH: “gone when warm”.",
            POURED,
            LONGEST,
        ),
        30,
    ),
    (
        "pass",
        {"machine": "", "machine_says": "Invert it first.", "reason": "as I saw it"},
        (
            "The machine said NO VERDICT: Invert it first.",
            "J. Moor overruled it and signed PASS: “as I saw it”.",
            POURED,
            LONGEST,
        ),
        30,
    ),
    (
        "watch",
        {"machine": "pass", "reason": "I do not trust it"},
        ("J. Moor signed WATCH where the machine said PASS: “I do not trust it”.", POURED, LONGEST),
        365,
    ),
    (
        "pass",
        {"ran": "like water", "mesh": None},
        (
            "Not strained: it ran like water, and nobody poured it through a strainer as fine as the sprayer's.",
            LONGEST,
        ),
        30,
    ),
    (
        "watch",
        {"machine": "watch", "ran": "not seen", "mesh": None},
        ("Not poured: nobody saw how it runs, and a gel cannot be seen in a photo.", LONGEST),
        30,
    ),
    (
        "watch",
        {"machine": "watch", "ran": "not counted", "mesh": 20},
        (
            "Not strained as the sprayer does: poured clean through 20 mesh, too coarse, of unknown mesh or too early.",
            LONGEST,
        ),
        30,
    ),
    (
        "watch",
        {"machine": "watch", "ran": "residue rinses off", "mesh": 50},
        ("Poured through 50 mesh: it left residue on the strainer that rinses off.", LONGEST),
        30,
    ),
    (
        "watch",
        {"machine": "watch", "watched_s": 359.0, "word_age_s": 359.0},
        (POURED, "Longest look at the jar: 5 min. Beyond that nothing is known."),
        30,
    ),
    (
        "watch",
        {"machine": "watch", "watched_s": None, "word_age_s": None},
        (POURED, "No readable look at the jar after mixing: how long it holds is not known."),
        30,
    ),
]


@pytest.mark.parametrize(("word", "showed", "head", "days"), HEADS)
def test_the_head_says_what_a_crew_must_not_miss_and_its_life_is_shorter_then(
    word: str, showed: dict[str, Any], head: tuple[str, ...], days: float
) -> None:
    made = card(word, "constant agitation", ground=ground(**showed))
    assert made.head() == head
    assert made.to_json()["head"] == list(head)
    assert (made.lapses_at - SIGNED).days == days
    assert made.overruled is head[0].startswith("The machine said")


def test_the_shop_sets_another_life() -> None:
    weak = ground(machine="fail", reason="I say so")
    assert card(ground=weak, rules=LapseRules(max_age_days=7)).rules.max_age_days == 7
    assert card(ground=weak, rules=LapseRules(max_age_days=90)).rules.max_age_days == 90


def test_a_card_from_before_the_head_was_kept_says_that_it_lacks_it() -> None:
    assert card().head() == (
        "How long the jar was watched and how it ran is not on this card: look at its jar test.",
    )
    assert card().word_age_s is None


def test_the_word_holds_to_the_age_it_was_given_for() -> None:
    assert card(ground=ground(word_age_s=1500.0)).word_age_s == 1500.0
    assert card(ground=ground(word_age_s=None)).word_age_s == 1800.0


# ------------------------------------------------------------------ temperature
def test_the_temperature_stands_on_the_water_line_and_another_one_lapses_it() -> None:
    made = card(asked=request(water=replace(WELL, temperature_c=20.0)))
    assert "pH 7.2, 20 °C (68 °F)." in made.holds_for()
    assert reasons(made, request(water=replace(WELL, temperature_c=24.9))) == ()
    assert reasons(made, request(water=WELL)) == ()
    (cold,) = reasons(made, request(water=replace(WELL, temperature_c=8.0)))
    assert cold == "The water is now at 8 °C (46 °F); tested was 20 °C (68 °F)."
    wide = card(
        asked=request(water=replace(WELL, temperature_c=20.0)), rules=LapseRules(temperature_step_c=15.0)
    )
    assert reasons(wide, request(water=replace(WELL, temperature_c=8.0))) == ()


def test_in_warmer_water_it_may_stand_less_long() -> None:
    made = card(stand_s=600.0, stand_c=15.0)
    # 1.1375 and 0.890 mPa s at 15 and 25 C: see tests/trend/test_standing_time.py.
    assert made.stand_in(replace(WELL, temperature_c=25.0)) == pytest.approx(600 * 0.890 / 1.1375, rel=0.002)
    assert made.stand_in(WELL) == 600.0
    assert card(stand_s=600.0).stand_in(replace(WELL, temperature_c=25.0)) == 600.0
    assert card().stand_in(replace(WELL, temperature_c=25.0)) is None


# ---------------------------------------------------------------------- helpers
@pytest.mark.parametrize(
    ("kind", "helps"),
    [
        ("compatibility agent", True),
        ("water conditioner", True),
        ("pH adjuster", True),
        ("surfactant", False),
    ],
)
def test_what_helps_the_others_lapses_it_by_less_as_well_as_by_more(kind: Any, helps: bool) -> None:
    helper = make_product(name="Ease", maker="Tarn", formulation="SL", kind=kind)
    made = card(asked=request(EC, WP, helper))
    assert reasons(made, request(EC, WP, helper)) == ()

    def at(rate: str) -> RecipeRequest:
        asked = request(EC, WP, helper)
        less = replace(asked.products[2], rate=read_product_rate(rate, helper))
        return replace(asked, products=(*asked.products[:2], less))

    (more,) = reasons(made, at("4 fl oz/1000 ft2"))
    assert more == "Ease (Tarn) would be 2 times as strong as tested."
    assert reasons(made, at("1 fl oz/1000 ft2")) == (
        ("Ease (Tarn) would be 0.5 times as strong as tested, and the mixture was tested with its help.",)
        if helps
        else ()
    )


# ---------------------------------------------------------------------- amounts
def test_amounts_stand_in_measures_that_a_crew_has() -> None:
    # 2 fl oz/1000 ft2 at 2 gal/1000 ft2 in 36.7 gal: 36.7 fl oz.
    made = card(asked=request(EC, tank="36.7 gal"))
    assert made.steps[1] == "Ember (Tarn): 2 pt 4.7 fl oz (1.085 L)"
    full = card()
    assert [says for line, says in part_steps(full, full.tank_ml) if line] == [
        "6 lb 4 oz (2.835 kg)",
        "1 gal 72 fl oz (5.915 L)",
    ]
