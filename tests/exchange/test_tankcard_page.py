"""The tank card on paper: one page, every amount, a code that can be read back, and the word when it has lapsed."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from jartest.exchange.tankcard_pdf import tank_card_pdf
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import CardState, LapseRules, TankCard, make_tank_card
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
    assert "Invented Product Number 0 (Brackmoor & Söhne) SC 64 fl oz (1.893 L) 1 qt/100 gal" in said
    assert "16 fl oz (473 mL)" in said
    assert "◐ WATCH, only with: constant agitation" in said
    assert "Signed by Wren 2026-03-14 on jar test 7" in said
    assert "Good until 2026-04-13 at most" in said
    assert "The label is the law" in said
    assert "LAPSED" not in said


@pytest.mark.parametrize("products", [1, 10])
def test_a_long_recipe_and_a_lapsed_card_are_one_page_too(products: int) -> None:
    lapsed = CardState(lapsed=True, reasons=("The water is now from town; tested was the well.",) * 3)
    for state in (HOLDS, lapsed):
        pages, _ = text(tank_card_pdf(card(products), state, address=ADDRESS))
        assert pages == 1


def test_a_lapsed_card_says_so_before_all_else_and_gives_no_part_tanks() -> None:
    lapsed = CardState(lapsed=True, reasons=("The test is 31 days old, and 30 are allowed.",))
    _, said = text(tank_card_pdf(card(), lapsed, address=ADDRESS))
    assert said.startswith("✖ LAPSED: DO NOT MIX BY THIS CARD The test is 31 days old")
    assert "A part tank" not in said


def test_the_same_card_gives_the_same_bytes() -> None:
    assert tank_card_pdf(card(), HOLDS, address=ADDRESS) == tank_card_pdf(card(), HOLDS, address=ADDRESS)
