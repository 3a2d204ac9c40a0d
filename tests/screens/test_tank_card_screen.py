"""The tank card by AppTest: for the crew without a name, for a part tank, and the word when it has lapsed."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta, timezone
from typing import Any

import pytest
from pypdf import PdfReader
from streamlit.testing.v1 import AppTest

from jartest import tank
from jartest.field.files import Offer
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.model import JarTest, TestPlan
from jartest.records.tank_model import KeptCard
from jartest.units import read_quantity

Open = Callable[..., AppTest]
Offered = Callable[[AppTest], dict[str, Offer]]
LAPSED = "✖ LAPSED: DO NOT MIX BY THIS CARD"


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text, without the signs that keep markup away."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def field(app: AppTest, label: str) -> Any:
    (found,) = [f for f in (*app.text_input, *app.number_input) if f.label == label]
    return found


def button(app: AppTest, label: str) -> Any:
    return next(b for b in app.button if b.label == label)


def signed(
    recorder: Recorder,
    word: Any,
    *,
    recipe: bool = True,
    signs: Sequence[str] = (),
    offset_min: int = 0,
) -> JarTest:
    """A signed test of two products, mixed by the recipe, on a person's word."""
    lines = []
    for name, code, rate in (("Hopcal *12*", "SC", "1 qt/100 gal"), ("Velvetine", "EC", "0.25 % v/v")):
        product = make_product(name=name, maker="Larkmill", formulation=code)
        lines.append(RecipeProduct(product=product, rate=read_product_rate(rate, product)))
    request = RecipeRequest(
        tank_volume=read_quantity("200 gal", "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=tuple(lines),
        water=MixWater(source="yard well", hardness_mg_l=140.0, ph=7.2, temperature_c=20.0),
    )
    plan = tank.plan_of_recipe(make_recipe(request), TestPlan(title="Invented mix"))
    plan = plan if recipe else replace(plan, recipe=None)
    test = tank.start_from_recipe(recorder, plan, by="Wren", utc_offset_min=offset_min)
    for n in (1, 2):
        recorder.add_product(test.id, n, by="Wren")
    recorder.finish_mixing(test.id, by="Wren")
    if signs:
        recorder.observe(test.id, by="Wren", signs=signs)
    seen = recorder.judge(test.id).id
    recorder.sign(
        test.id,
        word=word,
        reason="as I saw it",
        by="Wren",
        expected_revision=1,
        expected_verdict=seen,
    )
    return test


@pytest.fixture
def card(kept: Recorder) -> KeptCard:
    return tank.make_card(kept, signed(kept, "pass").id, by="Wren")


def test_a_signed_watch_makes_its_card_with_its_condition(kept: Recorder, screen: Open) -> None:
    test = signed(kept, "watch")
    app = screen("test", id=test.id)
    condition = field(app, "On condition of (needed for a watch)")
    assert condition.value == "constant agitation"
    condition.set_value("")
    button(app, "Make the tank card").click().run()
    assert "A watch makes a tank card only with its condition" in words(app)
    assert kept.store.cards() == ()
    field(app, "On condition of (needed for a watch)").set_value("agitator never off")
    button(app, "Make the tank card").click().run()
    assert kept.store.cards()[0].card.condition == "agitator never off"


@pytest.mark.parametrize(
    ("word", "recipe", "says"),
    [
        ("fail", True, "only a signed pass, or a watch with its condition, makes one"),
        ("pass", False, "the amounts were typed for the jar alone"),
    ],
)
def test_the_test_s_screen_says_why_there_is_no_card(
    kept: Recorder, screen: Open, word: str, recipe: bool, says: str
) -> None:
    app = screen("test", id=signed(kept, word, recipe=recipe).id)
    assert says in words(app)
    assert not [b for b in app.button if b.label == "Make the tank card"]


def test_the_crew_reads_it_without_a_name_and_for_a_part_tank(screen: Open, card: KeptCard) -> None:
    app = screen("card", name="", id=card.id)
    said = words(app)
    assert "● PASS" in said
    assert "**Hopcal *12* (Larkmill)** SC" in said
    # 1 qt/100 gal in 200 gal: 2 qt = 64 fl oz; 0.25 % of 200 gal: 0.5 gal = 64 fl oz.
    assert "#### 2 · 4 pt (1.893 L)" in said
    assert "yard well, 140 mg/L hardness" in said
    assert "! The machine said NO VERDICT" in said
    assert "Wren overruled it and signed PASS: “as I saw it”." in said
    assert "**Not poured: nobody saw how it runs" in said
    assert "**No readable look at the jar after mixing" in said
    field(app, "In the tank this time").set_value("50 gal").run()
    assert "#### 2 · 1 pt (473 mL)" in words(app)
    field(app, "In the tank this time").set_value("201 gal").run()
    assert "is not between nothing and the tank's" in words(app)
    field(app, "In the tank this time").set_value("a bit").run()
    assert len(app.error) == 1


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Maker of 1", "Stonecrop", "Hopcal *12* is now from Stonecrop; tested was that of Larkmill."),
        ("Rate of 1", "2 qt/100 gal", "Hopcal *12* (Larkmill) would be 2 times as strong as tested."),
        ("Its temperature", "45 F", "The water is now at 7 °C (45 °F); tested was 20 °C (68 °F)."),
        ("Its pH", "9,1", "The water now has pH 9.1; tested was 7.2."),
        (
            "Conditioned with",
            "citric acid",
            "The water is now conditioned with citric acid; tested was not conditioned.",
        ),
        ("Water from", "town", "The water is now from town; tested was yard well."),
        (
            "Its hardness",
            "20 grains",
            "The water is now very hard (342.4 mg/L); tested was hard.",
        ),  # 17.118 mg/L a grain: NIST HB 44, App. C
    ],
)
def test_what_is_different_today_ends_it_at_once_and_for_everybody_with_one_tap(
    kept: Recorder, screen: Open, card: KeptCard, label: str, typed: str, says: str
) -> None:
    app = screen("card", id=card.id)
    assert LAPSED not in words(app)
    field(app, label).set_value(typed).run()
    assert LAPSED in words(app)
    assert says in words(app)
    assert LAPSED not in words(screen("card", name="", id=card.id))
    button(app, "Keep for everybody that it has lapsed").click().run()
    other = words(screen("card", name="", id=card.id))
    assert LAPSED in other
    assert f"Wren wrote on {kept.now():%Y-%m-%d}: {says}" in other


def test_a_weaker_rate_and_the_same_in_other_letters_leave_it_standing(screen: Open, card: KeptCard) -> None:
    app = screen("card", id=card.id)
    field(app, "Rate of 1").set_value("1 pt/100 gal")
    field(app, "Maker of 1").set_value(" LARKMILL ")
    app.run()
    assert LAPSED not in words(app)


def test_a_rate_that_cannot_be_read_is_a_sentence_and_changes_nothing(screen: Open, card: KeptCard) -> None:
    app = screen("card", id=card.id)
    field(app, "Rate of 1").set_value("loads").run()
    assert len(app.error) == 1
    assert LAPSED not in words(app)


def test_the_list_says_which_have_lapsed(kept: Recorder, screen: Open, card: KeptCard) -> None:
    assert "**● PASS**" in words(screen("card"))
    tank.end_card(kept, card, ["The well ran dry."], by="Teal")
    app = screen("card")
    assert "✖ **LAPSED**" in words(app)
    field(app, "Find").set_value("velvetine").run()
    assert "1 found" in words(app)
    field(app, "Find").set_value("nothing of it").run()
    assert "0 found" in words(app)


def test_a_card_that_is_not_there_is_said(screen: Open) -> None:
    assert "There is no tank card 'nosuch'" in words(screen("card", id="nosuch"))


def test_the_list_tells_the_time_of_the_card_itself(kept: Recorder, screen: Open) -> None:
    """Was wrong: the list went by the clock of whoever looked, the card by the test's."""
    made = tank.make_card(kept, signed(kept, "pass", offset_min=-420).id, by="Wren")
    local = made.card.signed_at.astimezone(timezone(timedelta(minutes=-420)))
    said = f"{local:%b} {local.day}, {local:%Y %H:%M}"
    assert said in words(screen("card"))
    assert said in words(screen("card", name="", id=made.id))


# ------------------------------------------------------------------------- head
def test_an_overruled_fail_stands_at_the_head_and_in_the_list(kept: Recorder, screen: Open) -> None:
    """What was wrong: it stood as the first of the cautions at the foot, and the card held for 365 days."""
    test = signed(kept, "watch", signs=["gel"])
    app = screen("test", id=test.id)
    assert field(app, "It lapses after days").value == 30
    assert "30 days unless you set it" in words(app)
    assert "The machine said FAIL" in words(app)
    button(app, "Make the tank card").click().run()
    made = kept.store.cards()[0]
    assert made.card.rules.max_age_days == 30
    said = words(screen("card", name="", id=made.id))
    places = [
        said.index(x)
        for x in (
            "◐ WATCH: only with constant agitation",
            "✖ The machine said FAIL: Written: gel",
            "Not poured: nobody saw how it runs",
            "No readable look at the jar after mixing",
            "Agitation:",
            "#### A tank of 200 gal",
        )
    ]
    assert places == sorted(places)
    assert "Wren overruled it and signed WATCH: “as I saw it”." in said
    assert "overruled: read its head" in words(screen("card"))


def test_what_next_follows_the_signed_word(kept: Recorder, screen: Open) -> None:
    """What was wrong: “do not put this mixture in a tank” stood over the offer of its tank card."""
    overruled = words(screen("test", id=signed(kept, "watch", signs=["gel"]).id))
    assert "Do not put this mixture in a tank." not in overruled
    assert "Only with constant agitation" in overruled
    assert "The machine's FAIL stands beside what was signed" in overruled
    failed = words(screen("test", id=signed(kept, "fail").id))
    assert "Do not put this mixture in a tank." in failed
    passed = words(screen("test", id=signed(kept, "pass").id))
    assert "Do not put this mixture in a tank." not in passed
    assert "Only with constant agitation" not in passed


# ------------------------------------------------------------------------ paper
def test_the_part_tank_on_the_screen_is_what_is_printed(
    screen: Open, card: KeptCard, offered: Offered
) -> None:
    app = screen("card", name="", id=card.id)
    assert "A full tank of 200 gal" in printed(offered(app)["Print: the card as PDF"])
    field(app, "In the tank this time").set_value("50 gal").run()
    part = printed(offered(app)["Print: this part tank as PDF"])
    assert "A PART TANK of 50 gal" in part
    assert "1 pt (473 mL)" in part


def test_a_lapsed_card_prints_no_amounts_whatever_is_typed(
    kept: Recorder, screen: Open, card: KeptCard, offered: Offered
) -> None:
    tank.end_card(kept, card, ["The well ran dry."], by="Teal")
    app = screen("card", name="", id=card.id)
    assert not [f for f in app.text_input if f.label == "In the tank this time"]
    said = printed(offered(app)["Print: the card as PDF"])
    assert "LAPSED" in said
    assert " pt " not in said
    assert "fl oz" not in said


def printed(offer: Offer) -> str:
    data = offer.make()
    assert isinstance(data, bytes)
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(data)).pages).split())
