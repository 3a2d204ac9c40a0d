"""The card of an overruled FAIL in a real browser, at the size of a desk and of a phone."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from jartest import tank
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.units import read_quantity
from jartest.verdict.limits import load_limits

SLOW = 30_000  # ms; a measuring machine that is shared

pytestmark = pytest.mark.browser


@pytest.fixture(params=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    phone = request.param == "phone"
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
    page = context.new_page()
    page.set_default_timeout(SLOW)
    yield page
    context.close()


def put_overruled(home: Path) -> str:
    """The id of a card in this data folder: the machine said FAIL because of a gel, and Wren signed WATCH over it."""
    here = Recorder(
        store=Store.open(f"sqlite:///{home / 'jartest.sqlite'}"),
        photos=PhotoFiles(home / "photos"),
        limits=load_limits(),
    )
    product = make_product(name="Bineguard Copper", maker="Larkmill", formulation="SC")
    request = RecipeRequest(
        tank_volume=read_quantity("200 gal", "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=(RecipeProduct(product=product, rate=read_product_rate("1 qt/100 gal", product)),),
        water=MixWater(source="yard well", temperature_c=20.0),
    )
    plan = tank.plan_of_recipe(make_recipe(request), TestPlan(title="Copper for the hops"))
    test = tank.start_from_recipe(here, plan, by="Wren", utc_offset_min=0)
    here.add_product(test.id, 1, by="Wren")
    here.finish_mixing(test.id, by="Wren")
    here.observe(test.id, by="Wren", signs=["gel"])
    seen = here.judge(test.id).id
    here.sign(
        test.id,
        word="watch",
        reason="gone when warm",
        by="Wren",
        expected_revision=1,
        expected_verdict=seen,
    )
    kept = tank.make_card(here, test.id, by="Wren", condition="constant agitation")
    here.store.close()
    return kept.id


def test_an_overruled_fail_is_read_before_any_amount_on_screen_and_on_paper(
    served: Any, page: Page, tmp_path: Path
) -> None:
    card_id = put_overruled(served.home)
    page.goto(f"{served.url}/card?id={card_id}")
    over = page.locator("[class*=st-key-chip-fail-overruled]")
    expect(over).to_contain_text("✖ The machine said FAIL", timeout=SLOW)
    expect(over).to_contain_text("Wren overruled it and signed WATCH: “gone when warm”")
    for line in ("Not poured: nobody saw how it runs", "No readable look at the jar after mixing"):
        expect(page.get_by_text(line)).to_be_visible()
    amount = page.get_by_role("heading", name=re.compile(r"· 4 pt \(1\.893 L\)"))
    expect(amount).to_be_visible()

    places = [x.bounding_box() for x in (over, page.get_by_text("No readable look at the jar"), amount)]
    tops = [place["y"] for place in places if place]
    assert tops == sorted(tops)
    assert len(tops) == 3
    # Its word cannot be missed, and nothing is cut off at either size.
    box, wide = over.bounding_box(), page.viewport_size
    assert box is not None
    assert wide is not None
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= wide["width"]
    assert box["y"] + box["height"] < wide["height"], "it is seen without scrolling"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    background = over.evaluate("e => getComputedStyle(e).backgroundColor")
    assert background == "rgb(140, 16, 16)"  # the plate of a fail, look.css

    # Another water today ends it, and paper then has no amounts.
    typed = page.get_by_label("In the tank this time")
    typed.fill("50 gal")
    typed.press("Enter")
    page.get_by_role("heading", name=re.compile(r"· 1 pt \(473 mL\)")).wait_for()
    part = printed(page, "Print: this part tank as PDF", tmp_path / "part.pdf")
    assert "A PART TANK of 50 gal" in part
    assert "✖ The machine said FAIL" in part
    page.get_by_text("Is something different today?").click()
    warmth = page.get_by_label("Its temperature")
    warmth.fill("45 F")
    warmth.press("Enter")
    page.get_by_text("The water is now at 7 °C (45 °F); tested was 20 °C (68 °F).").first.wait_for()
    lapsed = printed(page, "Print: the card as PDF", tmp_path / "lapsed.pdf")
    assert lapsed.startswith("✖ LAPSED: DO NOT MIX BY THIS CARD")
    assert " pt " not in lapsed


def printed(page: Page, button: str, path: Path) -> str:
    """What the page says that this button saves."""
    with page.expect_download() as saved:
        page.get_by_text(button).click()
    saved.value.save_as(path)
    pages = PdfReader(io.BytesIO(path.read_bytes())).pages
    return " ".join(" ".join(p.extract_text() for p in pages).split())
