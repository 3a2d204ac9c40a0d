"""From a tank recipe to the jar and on to the crew's card, on a real store with real photos; and all that may not be."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest import tank
from jartest.errors import BadEntry, Conflict, NotFound
from jartest.imaging.values import Marks
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.schedule import default_schedule
from jartest.plan.tankcard import LapseRules
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.done import departures_of
from jartest.records.model import Case, JarTest, Product, TestPlan
from jartest.records.tank_model import KeptCard, ShelfEntry
from jartest.trend import CurvePoint, growths
from jartest.units import read_carrier_rate, read_quantity

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
FIVE = (
    ("Evenspread S", "Larkmill", "NIS", "8 fl oz/100 gal"),
    ("Velvetine Oil 83", "Larkmill", "EC", "0.25 % v/v"),
    ("Nettlesap Boron 10", "Brackmoor", "SL", "1 pt/acre"),
    ("Bineguard Copper 20", "Brackmoor", "SC", "1.5 qt/acre"),
    ("Chalkwing Sulfur 80", "Larkmill", "WG", "2 lb/100 gal"),
)


def request(*changes: tuple[str, dict[str, Any]], **more: Any) -> RecipeRequest:
    """A recipe of five invented products; each change is a name with what differs in its product."""
    products = []
    for name, maker, code, rate in FIVE:
        product = make_product(name=name, maker=maker, formulation=code)
        for who, what in changes:
            product = replace(product, **what) if who == name else product
        products.append(RecipeProduct(product=product, rate=read_product_rate(rate, product)))
    said = {
        "tank_volume": read_quantity("200 gal", "volume"),
        "carrier_rate": read_carrier_rate("40 gal/acre"),
        "jar_volume": read_quantity("32 fl oz", "volume"),
        "products": tuple(products),
    }
    return RecipeRequest(**said | more)


def start(recorder: Recorder, wanted: RecipeRequest, by_hand: list[int] | None = None) -> JarTest:
    frame = TestPlan(title="", schedule=default_schedule(0, (0.0, 1800.0)))
    plan = tank.plan_of_recipe(make_recipe(wanted, by_hand=by_hand), frame)
    return tank.start_from_recipe(recorder, plan, by="Wren", utc_offset_min=-420)


def mix(recorder: Recorder, test: JarTest, clock: Any, order: tuple[int, ...] = (1, 2, 3, 4, 5)) -> None:
    for n in order:
        recorder.add_product(test.id, n, by="Wren", out_of_order=True)
        clock.go_on(seconds=60)
    recorder.finish_mixing(test.id, by="Wren")


def look(recorder: Recorder, test: JarTest, slot: str, minute: int) -> None:
    name = f"stable-{minute:04}min"
    folder = SAMPLES / "stable"
    truth = json.loads((folder / f"{name}.json").read_text("utf-8"))
    taken = recorder.take_look(
        test.id, slot=slot, data=(folder / f"{name}.jpg").read_bytes(), name=name, by="Wren"
    )
    marks = Marks(
        left_px=truth["jar_px"]["left"][0],
        right_px=truth["jar_px"]["right"][0],
        floor_px=truth["layers"][0]["front_bottom_px"][1],
        surface_px=truth["layers"][-1]["front_top_px"][1],
    )
    recorder.set_lines(taken.look.id, marks, by="Wren")


def sign(recorder: Recorder, test: JarTest, word: Any, reason: str = "as I saw it") -> Case:
    seen = recorder.judge(test.id).id
    recorder.sign(
        test.id,
        word=word,
        reason=reason,
        by="Wren",
        expected_revision=recorder.case(test.id).test.revision,
        expected_verdict=seen,
    )
    return recorder.case(test.id)


@pytest.fixture
def passed(recorder: Recorder, clock: Any) -> JarTest:
    """A test mixed as advised, looked at twice, and signed as a pass."""
    test = start(recorder, request())
    mix(recorder, test, clock)
    look(recorder, test, "age-0", 0)
    clock.go_on(minutes=30)
    look(recorder, test, "age-1800", 30)
    recorder.observe(test.id, by="Wren", signs=["smooth"], remix="fully")
    sign(recorder, test, "pass")
    return test


@pytest.fixture
def kept(recorder: Recorder, passed: JarTest) -> KeptCard:
    return tank.make_card(recorder, passed.id, by="Wren")


# ----------------------------------------------------------------------- recipe
def test_a_recipe_is_kept_with_its_plan_and_comes_back_as_it_was(recorder: Recorder) -> None:
    wanted = request(basis="finished", jar_capacity_ml=1000.0)
    test = recorder.case(start(recorder, wanted).id).test
    assert test.plan.recipe == wanted
    recipe = tank.recipe_of(recorder, test.plan)
    assert recipe is not None
    assert recipe == make_recipe(wanted)
    # Cautions and order are reckoned anew; the amounts that were shown are kept beside them.
    assert [(p.amount_ml, p.amount_g) for p in test.plan.products] == [
        (line.jar_ml, line.jar_g) for line in recipe.lines
    ]
    assert test.plan.products[0].name == "Chalkwing Sulfur 80"
    assert test.plan.jar.volume_ml == pytest.approx(946.352946)  # 1 US quart: NIST Handbook 44, App. C


def test_the_order_by_hand_is_kept_beside_the_advised_one(recorder: Recorder, clock: Any) -> None:
    advised = make_recipe(request()).order.products
    by_hand = [advised[1], advised[0], *advised[2:]]
    test = start(recorder, request(), by_hand)
    assert [p.name for p in test.plan.products][:2] == ["Bineguard Copper 20", "Chalkwing Sulfur 80"]
    mix(recorder, test, clock)
    said = departures_of(recorder.case(test.id))
    assert said == ("Bineguard Copper 20 (Brackmoor) was advised as addition 2 and went in as addition 1.",)


def test_ticks_out_of_order_are_told_and_those_to_come_are_not(recorder: Recorder) -> None:
    test = start(recorder, request())
    recorder.add_product(test.id, 2, by="Wren", out_of_order=True)
    assert departures_of(recorder.case(test.id)) == ()  # the only one in is the first of those in
    recorder.add_product(test.id, 1, by="Wren")
    assert departures_of(recorder.case(test.id)) == (
        "Bineguard Copper 20 (Brackmoor) was advised as addition 2 and went in as addition 1.",
    )


def test_a_product_that_is_in_the_jar_keeps_its_place_in_the_plan(recorder: Recorder) -> None:
    test = start(recorder, request())
    recorder.add_product(test.id, 1, by="Wren")
    turned = replace(test.plan, products=tuple(reversed(test.plan.products)))
    with pytest.raises(BadEntry, match="Chalkwing Sulfur 80 is in the jar as number 1 already"):
        recorder.change_plan(test.id, turned, by="Wren", expected_revision=1)
    assert recorder.case(test.id).test.revision == 1


def test_two_products_that_failed_alone_are_told_before_the_next_mixing(
    recorder: Recorder, clock: Any
) -> None:
    pair = tuple(
        Product(name=n, maker=m, amount_ml=5.0, amount_text="5 mL")
        for n, m in (("Bineguard Copper 20", "Brackmoor"), ("Nettlesap Boron 10", "Brackmoor"))
    )
    two = recorder.start_test(TestPlan(title="Two", products=pair), by="Wren", utc_offset_min=0)
    recorder.observe(two.id, by="Wren", signs=["gel"], text="curds at once")
    sign(recorder, two, "fail")
    recipe = tank.recipe_of(recorder, start(recorder, request()).plan)
    assert recipe is not None
    (before,) = [c for c in recipe.cautions if c.rule == "failed before"]
    assert before.says == (
        "Bineguard Copper 20 (Brackmoor) and Nettlesap Boron 10 (Brackmoor) failed together before: "
        "once in a jar of the two alone, the last signed by 2026-03-14."
    )


def test_a_stop_keeps_after_which_addition_it_was(recorder: Recorder) -> None:
    test = start(recorder, request())
    for n in (1, 2, 3):
        recorder.add_product(test.id, n, by="Wren")
    stop = recorder.stop_test(test.id, by="Wren", note="curdled at once")
    assert (stop.kind, stop.position, stop.note) == ("stopped", 3, "curdled at once")
    assert recorder.case(test.id).events[-1] == stop


# ------------------------------------------------------------------------ shelf
def on_shelf(recorder: Recorder, name: str) -> ShelfEntry:
    return next(e for e in recorder.store.shelf_products() if e.product.name == name)


def test_new_products_of_a_recipe_stand_on_the_shelf_once(recorder: Recorder) -> None:
    start(recorder, request())
    start(recorder, request())
    assert sorted(e.product.said for e in recorder.store.shelf_products()) == sorted(
        f"{name} ({maker})" for name, maker, *_ in FIVE
    )


def test_the_same_name_of_two_makers_is_two_products(recorder: Recorder) -> None:
    start(recorder, request())
    start(recorder, request(("Bineguard Copper 20", {"maker": "Stonecrop"})))
    makers = {
        e.product.maker for e in recorder.store.shelf_products() if e.product.name == "Bineguard Copper 20"
    }
    assert makers == {"Brackmoor", "Stonecrop"}


def test_a_product_comes_back_from_the_store_with_all_its_label_says(recorder: Recorder) -> None:
    label = LabelNotes(
        before=("EC",), not_with=("oil", "Hopcal"), own_step=True, ph_min=5.0, order_text="first"
    )
    product = replace(
        make_product(name="Bineguard", maker="Brackmoor", formulation="SC", density_g_ml=1.21),
        label=label,
        contains=("copper",),
    )
    entry = tank.save_product(recorder, product, by="Wren")
    assert recorder.store.shelf_products() == (entry,)
    changed = tank.save_product(recorder, replace(product, maker="Stonecrop"), by="Teal", before=entry)
    assert recorder.store.shelf_history(entry.id) == (entry, changed)


def test_two_people_who_change_a_product_lose_nothing(recorder: Recorder) -> None:
    entry = tank.save_product(recorder, ShelfProduct(name="Hopcal"), by="Wren")
    tank.save_product(recorder, ShelfProduct(name="Hopcal", lot="7"), by="Teal", before=entry)
    with pytest.raises(Conflict, match="Teal changed Hopcal while you were editing"):
        tank.save_product(recorder, ShelfProduct(name="Hopcal", lot="8"), by="Wren", before=entry)
    assert on_shelf(recorder, "Hopcal").product.lot == "7"


def test_a_second_product_of_the_same_name_and_maker_is_refused(recorder: Recorder) -> None:
    tank.save_product(recorder, ShelfProduct(name="Hopcal", maker="Larkmill"), by="Wren")
    with pytest.raises(Conflict, match="is on the shelf already"):
        tank.save_product(recorder, ShelfProduct(name="hopcal ", maker="LARKMILL"), by="Wren")


def test_a_product_in_a_running_test_cannot_be_taken_off_the_shelf(recorder: Recorder) -> None:
    test = start(recorder, request())
    entry = on_shelf(recorder, "Velvetine Oil 83")
    with pytest.raises(BadEntry, match=r"is in use in test 1, which is running: sign or stop it first\."):
        tank.retire(recorder, entry, by="Wren")
    recorder.stop_test(test.id, by="Wren", note="")
    said = tank.retire(recorder, entry, by="Wren")
    assert "earlier tests keep what they hold of it" in said
    assert on_shelf(recorder, "Velvetine Oil 83").retired
    recipe = recorder.case(test.id).test.plan.recipe
    assert recipe is not None
    assert "Velvetine Oil 83" in {p.product.name for p in recipe.products}


def test_a_product_taken_off_while_somebody_typed_is_said_and_starts_nothing(recorder: Recorder) -> None:
    first = start(recorder, request())
    recorder.stop_test(first.id, by="Wren", note="")
    tank.retire(recorder, on_shelf(recorder, "Evenspread S"), by="Teal")
    with pytest.raises(Conflict, match=r"Evenspread S .* was taken off the shelf by Teal: bring it back"):
        start(recorder, request())
    assert recorder.count() == 1
    tank.bring_back(recorder, on_shelf(recorder, "Evenspread S"), by="Wren")
    assert start(recorder, request()).number == 2


def test_a_shelf_file_is_taken_line_by_line_and_each_refusal_is_named(recorder: Recorder) -> None:
    tank.save_product(recorder, make_product(name="Hopcal", maker="Larkmill", formulation="SC"), by="Wren")
    tank.save_product(recorder, make_product(name="Even", maker="Larkmill", formulation="NIS"), by="Wren")
    text = (
        "name,maker,formulation\n"
        "Hopcal,Larkmill,EC\n"  # changed
        "Even,Larkmill,NIS\n"  # as it was
        "Bine,Brackmoor,ME\n"  # ambiguous
        ",Brackmoor,SC\n"  # no name
        "Nettle,Brackmoor,SL\n"  # new
    )
    taken = tank.read_shelf(recorder, text, by="Wren")
    assert [p.name for p in taken.added] == ["Nettle"]
    assert [p.name for p in taken.changed] == ["Hopcal"]
    assert taken.same == 1
    assert [(r.line, r.name) for r in taken.refused] == [(4, "Bine"), (5, "")]
    assert "microcapsules on many US labels" in taken.refused[0].says
    assert on_shelf(recorder, "Hopcal").product.formulation == "EC"


# -------------------------------------------------------------------- tank card
def test_a_signed_pass_makes_a_card_with_amounts_order_signer_and_test(
    recorder: Recorder, passed: JarTest, kept: KeptCard
) -> None:
    card = kept.card
    assert recorder.store.card(kept.id) == kept
    assert (card.word, card.signed_by, card.test_number) == ("pass", "Wren", 1)
    assert [line.name for line in card.lines] == [p.name for p in passed.plan.products]
    # 2 lb/100 gal in 200 gal is 4 lb; 1 lb = 453.59237 g exact: NIST Handbook 44, App. C.
    assert card.lines[0].tank_g == pytest.approx(4 * 453.59237)
    assert (
        card.stand_says
        == "In 30 min of standing no photo of the jar showed anything part; beyond that nothing is known."
    )
    assert card.stand_s is None
    assert tank.card_now(recorder, kept).reasons == ()


def test_a_test_has_one_card(recorder: Recorder, passed: JarTest, kept: KeptCard) -> None:
    assert tank.make_card(recorder, passed.id, by="Teal") == kept
    assert recorder.store.cards() == (kept,)


def test_the_card_stirs_after_the_last_dry_product_as_it_really_went_in(
    recorder: Recorder, clock: Any
) -> None:
    test = start(recorder, request())
    mix(recorder, test, clock, order=(2, 1, 3, 4, 5))  # the copper before the dry sulfur
    look(recorder, test, "age-0", 0)
    sign(recorder, test, "watch")
    card = tank.make_card(recorder, test.id, by="Wren", condition="constant agitation").card
    said = [step.split(":")[0] for step in card.steps]
    dry = said.index("Chalkwing Sulfur 80 (Larkmill)")
    assert said[dry - 1] == "Bineguard Copper 20 (Brackmoor)"
    assert said[dry + 1] == "agitate until everything dry is dispersed, a few minutes"
    assert len([s for s in said if s.startswith("agitate until everything dry")]) == 1


def test_the_card_has_the_order_in_which_the_jar_was_mixed(recorder: Recorder, clock: Any) -> None:
    test = start(recorder, request())
    mix(recorder, test, clock, order=(1, 2, 3, 5, 4))
    look(recorder, test, "age-0", 0)
    sign(recorder, test, "watch")
    card = tank.make_card(recorder, test.id, by="Wren", condition="constant agitation").card
    assert [line.name for line in card.lines][3:] == ["Evenspread S", "Velvetine Oil 83"]
    assert "moved here; advised as addition 5" in card.lines[3].reason
    assert card.agitation == "constant agitation"


def test_a_watch_without_its_condition_makes_no_card(recorder: Recorder, clock: Any) -> None:
    test = start(recorder, request())
    mix(recorder, test, clock)
    sign(recorder, test, "watch")
    with pytest.raises(BadEntry, match="A watch makes a tank card only with its condition"):
        tank.make_card(recorder, test.id, by="Wren")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        ("unsigned", "is not signed"),
        ("fail", "has the verdict 'fail'"),
        ("machine fail", "has the verdict 'fail'"),
        ("stopped", "was stopped because something went wrong"),
        ("heat", "heat was seen"),
        ("half mixed", "4 of 5 products were ticked in and mixing was never done"),
        ("jar amounts", "has amounts for the jar alone"),
        ("label", "forbids mixing with"),
    ],
)
def test_what_did_not_hold_can_never_make_a_card(
    recorder: Recorder, clock: Any, spoil: str, says: str
) -> None:
    wanted = request()
    if spoil == "label":
        wanted = request(("Nettlesap Boron 10", {"label": LabelNotes(not_with=("EC",))}))
    test = start(recorder, wanted)
    if spoil == "jar amounts":
        plan = TestPlan(title="Jar alone", products=(Product(name="Hopcal", amount_ml=5.0),))
        test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
        mix(recorder, test, clock, order=(1,))
    elif spoil == "half mixed":
        for n in (1, 2, 3, 4):
            recorder.add_product(test.id, n, by="Wren")
    else:
        mix(recorder, test, clock)
    if spoil == "stopped":
        recorder.stop_test(test.id, by="Wren", note="curds")
    if spoil in ("heat", "machine fail"):
        recorder.observe(test.id, by="Wren", signs=["heat"] if spoil == "heat" else ["gel"])
    if spoil == "machine fail":
        sign(recorder, test, "fail", "")
    elif spoil != "unsigned":
        sign(recorder, test, "fail" if spoil == "fail" else "pass")
    with pytest.raises(BadEntry, match=says):
        tank.make_card(recorder, test.id, by="Wren", condition="constant agitation")
    assert recorder.store.cards() == ()


def test_a_verdict_that_was_overruled_is_the_first_thing_on_the_card(recorder: Recorder, clock: Any) -> None:
    test = start(recorder, request())
    mix(recorder, test, clock)
    recorder.observe(test.id, by="Wren", signs=["gel"])
    sign(recorder, test, "watch", "the gel was in the cold concentrate, gone when warm")
    card = tank.make_card(recorder, test.id, by="Wren", condition="constant agitation").card
    assert card.head() == (
        "The machine said FAIL: Written: gel, jelly or slimy strings: fails whatever the photo says.",
        "Wren overruled it and signed WATCH: “the gel was in the cold concentrate, gone when warm”.",
        "Not poured: nobody saw how it runs, and a gel cannot be seen in a photo.",
        "No readable look at the jar after mixing: how long it holds is not known.",
    )
    assert card.rules.max_age_days == 30


def test_the_card_knows_how_the_jar_was_watched_and_how_it_ran(recorder: Recorder, clock: Any) -> None:
    test = start(recorder, request())
    mix(recorder, test, clock)
    clock.go_on(minutes=31)
    look(recorder, test, "age-1800", 30)
    recorder.observe(test.id, by="Wren", signs=["smooth"], remix="fully")
    clock.go_on(minutes=1)
    recorder.observe(test.id, by="Wren", screen_pour="clean", screen_mesh=20)
    case = sign(recorder, test, "pass")
    ground = tank.ground_of(recorder, case)
    assert (ground.ran, ground.mesh, ground.watched_s) == ("not counted", 20, 31 * 60)
    recorder.observe(test.id, by="Wren", screen_pour="clean", screen_mesh=200)
    recorder.observe(test.id, by="Wren", screen_pour="rinses off", screen_mesh=50)
    assert tank.ground_of(recorder, recorder.case(test.id)).ran == "residue rinses off"
    kept = tank.make_card(recorder, test.id, by="Wren")
    assert recorder.store.card(kept.id).card == kept.card
    assert kept.card.ground is not None
    assert kept.card.ground.ran == "residue rinses off"
    assert kept.card.rules.max_age_days == 30


def test_a_card_keeps_the_temperature_that_its_time_is_for(recorder: Recorder, clock: Any) -> None:
    test = start(recorder, request(water=MixWater(temperature_c=12.0)))
    mix(recorder, test, clock)
    sign(recorder, test, "pass")
    kept = tank.make_card(recorder, test.id, by="Wren", tank_c=18.0)
    assert (kept.card.water.temperature_c, kept.card.stand_c) == (12.0, 18.0)
    assert recorder.store.card(kept.id).card == kept.card


def lapse_reasons(recorder: Recorder, kept: KeptCard) -> tuple[str, ...]:
    state = tank.card_now(recorder, kept)
    assert state.lapsed == bool(state.reasons)
    return state.reasons


def test_another_maker_on_the_shelf_ends_the_card(recorder: Recorder, kept: KeptCard) -> None:
    entry = on_shelf(recorder, "Bineguard Copper 20")
    tank.save_product(recorder, replace(entry.product, maker="Stonecrop"), by="Wren", before=entry)
    assert lapse_reasons(recorder, kept) == (
        "Bineguard Copper 20 is now from Stonecrop; tested was that of Brackmoor.",
    )


def test_a_second_maker_beside_the_tested_one_leaves_the_card_standing(
    recorder: Recorder, kept: KeptCard
) -> None:
    other = replace(on_shelf(recorder, "Bineguard Copper 20").product, maker="Stonecrop")
    tank.save_product(recorder, other, by="Wren")
    assert lapse_reasons(recorder, kept) == ()


def test_age_ends_the_card(recorder: Recorder, passed: JarTest, clock: Any) -> None:
    kept = tank.make_card(recorder, passed.id, by="Wren", rules=LapseRules(max_age_days=30))
    clock.go_on(days=29)
    assert lapse_reasons(recorder, kept) == ()
    clock.go_on(days=2)
    assert lapse_reasons(recorder, kept) == ("The test is 31 days old, and 30 are allowed.",)


def test_a_stronger_rate_and_another_water_end_the_card_for_that_mix(
    recorder: Recorder, passed: JarTest, kept: KeptCard
) -> None:
    now = tank.as_on_shelf(recorder, recorder.case(passed.id), kept)
    copper = next(p for p in now.products if p.product.name == "Bineguard Copper 20")
    stronger = replace(copper, rate=read_product_rate("3 qt/acre", copper.product))
    today = replace(now, products=tuple(stronger if p is copper else p for p in now.products))
    assert tank.card_now(recorder, kept, today).reasons == (
        "Bineguard Copper 20 (Brackmoor) would be 2 times as strong as tested.",
    )
    assert tank.card_now(recorder, kept, now).reasons == ()


def test_a_later_verdict_that_turns_ends_the_card(
    recorder: Recorder, passed: JarTest, kept: KeptCard
) -> None:
    recorder.give_opinion(passed.id, word="fail", reason="gelled overnight", by="Teal", saw_machine=True)
    assert lapse_reasons(recorder, kept) == ("The verdict of test 1 is now fail.",)


def test_an_observation_after_the_signature_ends_the_card(
    recorder: Recorder, passed: JarTest, kept: KeptCard, clock: Any
) -> None:
    clock.go_on(hours=12)
    recorder.observe(passed.id, by="Teal", signs=["gel"], text="gelled overnight")
    assert lapse_reasons(recorder, kept) == ("The verdict of test 1 is now fail.",)
    recorder.give_opinion(passed.id, word="watch", reason="stirs out", by="Teal")
    clock.go_on(minutes=1)
    assert lapse_reasons(recorder, kept) == ()


def test_what_somebody_wrote_ends_the_card_for_good(recorder: Recorder, kept: KeptCard) -> None:
    with pytest.raises(BadEntry, match="A card ends for a reason"):
        tank.end_card(recorder, kept, [" "], by="Teal")
    tank.end_card(recorder, kept, ["The well ran dry, town water now."], by="Teal")
    again = recorder.store.card(kept.id)
    assert lapse_reasons(recorder, again) == ("Teal wrote on 2026-03-14: The well ran dry, town water now.",)


def test_an_unknown_card_is_said(recorder: Recorder) -> None:
    with pytest.raises(NotFound, match="There is no tank card 'nothing'"):
        recorder.store.card("nothing")


def test_taking_the_samples_away_takes_their_cards_along(recorder: Recorder, clock: Any) -> None:
    frame = TestPlan(title="Sample", schedule=default_schedule(0, (0.0,)))
    plan = tank.plan_of_recipe(make_recipe(request()), frame)
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0, sample=True)
    mix(recorder, test, clock)
    sign(recorder, test, "pass")
    kept = tank.make_card(recorder, test.id, by="Wren")
    assert kept.card.title == "SAMPLE, INVENTED: Sample"
    tank.end_card(recorder, kept, ["tried out"], by="Wren")
    assert recorder.remove_samples() == 1
    assert recorder.store.cards() == ()


def test_the_standing_time_is_said_with_its_range_and_its_assumption() -> None:
    points = [
        CurvePoint(
            age_s=t,
            settled_fraction=1 - t / 6000 if t else 0.0,
            settled_sigma_fraction=0.004,
            clear_fraction=0.0,
            clear_sigma_fraction=0.004,
            top_layer_fraction=0.0,
            top_layer_sigma_fraction=0.004,
            column_mm=100.0,
            column_sigma_mm=5.0,
        )
        for t in (0.0, 300.0, 900.0, 1800.0)
    ]
    # The front falls 100 mm in 6000 s, one mm a minute; 5 % of 30 in are 38.1 mm: 38 min, and never more at the cautious end.
    (said,) = tank.say_standing(growths(points), 30.0)
    assert said.startswith(
        "By the falling front, in 30 in (76 cm): 31 min at the cautious end (best value 38 min, at most 42 min) until 5%"
    )
    assert "as fast in the tank as in the jar" in said
    assert "in water as warm as the jar's" in said
    (warm,) = tank.say_standing(growths(points), 30.0, jar_c=10.0, tank_c=20.0)
    assert (
        "24 min at the cautious end (best value 29 min, at most 33 min)" in warm
    )  # 1.0016 over 1.306 mPa s, see tests/trend
    with pytest.raises(BadEntry, match="scale"):
        tank.say_standing(growths([replace(p, column_mm=math.nan) for p in points]), 30.0)


def test_a_tank_whose_looks_do_not_tell_stands_for_no_stated_time() -> None:
    # Both looks stand on the plateau: the card said 505 min, the truth is 6 min.
    points = [
        CurvePoint(
            age_s=t,
            settled_fraction=0.0,
            settled_sigma_fraction=0.004,
            clear_fraction=0.85 if t else 0.0,
            clear_sigma_fraction=0.004,
            top_layer_fraction=0.0,
            top_layer_sigma_fraction=0.004,
            column_mm=150.0,
            column_sigma_mm=0.0,
        )
        for t in (0.0, 1800.0, 86400.0)
    ]
    (said,) = tank.say_standing(growths(points), 36.0)
    assert said.startswith("By the clear liquid, in 36 in (91 cm): not known.")
    assert "less than about 11 min: keep it moving" in said  # 45.72 mm at 127.5 mm in 30 min
    floating = [replace(p, top_layer_fraction=0.03 * p.age_s / 1800) for p in points[:2]]
    *_, counts = tank.say_standing(growths([*floating, replace(points[2], top_layer_fraction=0.1)]), 36.0)
    assert counts == "For the tank what parts first counts: that is not known."
