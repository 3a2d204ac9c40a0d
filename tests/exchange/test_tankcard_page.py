"""The tank card on paper: one page, every amount, a code that can be read back, and the word when it has lapsed."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from jartest.errors import BadEntry
from jartest.exchange.tankcard_pdf import tank_card_pdf
from jartest.plan.card_ground import Ground
from jartest.plan.card_state import CardState
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import LapseRules, TankCard, make_tank_card
from jartest.plan.water import MixWater
from jartest.units import read_quantity

HOLDS = CardState(lapsed=False, reasons=())
ADDRESS = "http://shop.example:8501/card?id=0123"


def card(products: int = 3, **more: object) -> TankCard:
    lines = []
    for n in range(products):
        product = make_product(
            name=f"Invented Product Number {n}", maker="Brackmoor & Söhne", formulation="SC"
        )
        lines.append(RecipeProduct(product=product, rate=read_product_rate("1 qt/100 gal", product)))
    request = RecipeRequest(
        tank_volume=read_quantity("200 gal", "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=tuple(lines),
    )
    made = make_tank_card(
        make_recipe(request),
        test_id="t",
        test_number=7,
        title="Invented mix",
        word="watch",
        condition="constant agitation",
        signed_by="Wren",
        signed_at=datetime(2026, 3, 14, 14, 0, tzinfo=UTC),
        rules=LapseRules(max_age_days=30),
    )
    return replace(made, **more)


def text(data: bytes) -> tuple[int, str]:
    pages = PdfReader(io.BytesIO(data)).pages
    return len(pages), " ".join(" ".join(p.extract_text() for p in pages).split())


def test_everything_the_crew_needs_stands_on_one_page() -> None:
    pages, said = text(tank_card_pdf(card(), HOLDS, address=ADDRESS))
    assert pages == 1
    # 1 qt/100 gal: 2 qt = 64 fl oz in 200 gal, 16 fl oz in 50 gal.
    assert "Invented Product Number 0 (Brackmoor & Söhne) SC 4 pt (1.893 L) 1 qt/100 gal" in said
    assert "1 pt (473 mL)" in said
    assert "◐ WATCH, only with: constant agitation" in said
    assert "Signed by Wren 2026-03-14 on jar test 7" in said
    assert "It lapses on 2026-04-13 at the latest" in said
    assert "The label is the law" in said
    assert "LAPSED" not in said


@pytest.mark.parametrize("products", [1, 10])
def test_a_long_recipe_and_a_lapsed_card_are_one_page_too(products: int) -> None:
    lapsed = CardState(lapsed=True, reasons=("The water is now from town; tested was the well.",) * 3)
    for state in (HOLDS, lapsed):
        pages, _ = text(tank_card_pdf(card(products), state, address=ADDRESS))
        assert pages == 1


def test_a_lapsed_card_says_so_before_all_else_and_prints_no_amounts() -> None:
    lapsed = CardState(lapsed=True, reasons=("The test is 31 days old, and 30 are allowed.",))
    _, said = text(tank_card_pdf(card(stand_s=600.0), lapsed, address=ADDRESS))
    assert said.startswith("✖ LAPSED: DO NOT MIX BY THIS CARD The test is 31 days old")
    for amount in (
        "fl oz",
        " pt ",
        "1.893 L",
        "Carrier in all",
        "Other fills",
        "agitator stops",
        "1 qt/100 gal",
    ):
        assert amount not in said
    assert "Invented Product Number 0" in said, "what it held for is still told"


def test_the_part_tank_on_the_screen_is_the_one_on_paper() -> None:
    part = 120 * 3785.411784  # US gallons in mL, exact: NIST Handbook 44, App. C
    _, said = text(tank_card_pdf(card(), HOLDS, address=ADDRESS, volume_ml=part))
    assert "A PART TANK of 120 gal" in said
    assert "A full tank" not in said
    # 1 qt/100 gal in 120 gal: 1.2 qt = 38.4 fl oz.
    assert "SC 2 pt 6.4 fl oz (1.136 L) 1 qt/100 gal" in said
    assert "100%: 200 gal" in said, "the full tank stands among the other fills"
    with pytest.raises(BadEntry, match="part tank"):
        tank_card_pdf(card(), HOLDS, address=ADDRESS, volume_ml=2 * part)


def test_the_head_stands_under_the_word_and_what_was_overruled_before_all_else() -> None:
    ground = Ground(
        word_age_s=1800.0,
        watched_s=1800.0,
        enough_s=1800.0,
        machine="fail",
        machine_says="Gel, jelly or slimy strings were seen.",
        reason="gone when warm",
        ran="not seen",
    )
    pages, said = text(tank_card_pdf(card(8, ground=ground), HOLDS, address=ADDRESS))
    assert pages == 1
    order = [
        "◐ WATCH to 30 min, only with: constant agitation",
        "✖ The machine said FAIL: Gel, jelly or slimy strings were seen.",
        "! Wren overruled it and signed WATCH: “gone when warm”.",
        "! Not poured: nobody saw how it runs",
        "! Longest look at the jar: 30 min.",
        "A full tank of 200 gal",
    ]
    places = [said.index(x) for x in order]
    assert places == sorted(places)


def test_a_pass_that_has_become_a_watch_says_so_on_paper() -> None:
    state = CardState(lapsed=False, reasons=(), notes=("Since it was signed its verdict has become WATCH.",))
    _, said = text(tank_card_pdf(card(), state, address=ADDRESS))
    assert "! Since it was signed its verdict has become WATCH." in said


def test_it_may_stand_as_long_as_the_water_of_the_day_allows() -> None:
    made = card(stand_s=600.0, stand_c=15.0)
    _, said = text(tank_card_pdf(made, HOLDS, address=ADDRESS, water=MixWater(temperature_c=19.0)))
    # 1.1375 and 1.0266 mPa s at 15 and 19 C: 9 min, rounded down.
    assert "If the agitator stops: no longer than 9 min." in said
    assert "no longer than 10 min" in text(tank_card_pdf(made, HOLDS, address=ADDRESS))[1]


def test_the_same_card_gives_the_same_bytes() -> None:
    assert tank_card_pdf(card(), HOLDS, address=ADDRESS) == tank_card_pdf(card(), HOLDS, address=ADDRESS)
