"""What is opened from a list on its own screen stays open at the next act, in a real browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest import tank
from jartest.exchange.answer import ask_about_test, receive
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.schedule import default_schedule
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.units import read_quantity
from jartest.verdict.limits import load_limits

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"

SLOW = 20_000  # ms; a measuring machine that is shared

pytestmark = pytest.mark.browser


def home(folder: Path) -> Recorder:
    store = Store.open(f"sqlite:///{folder / 'jartest.sqlite'}")
    return Recorder(store=store, photos=PhotoFiles(folder / "photos"), limits=load_limits())


@pytest.fixture(params=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    phone = request.param == "phone"
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
    page = context.new_page()
    page.set_default_timeout(20_000)
    yield page
    context.close()


def put_questions(tmp_path: Path, served: Any) -> None:
    """Two questions from outside that wait in the served app."""
    sender = home(tmp_path / "sender")
    here = home(served.home)
    for k, title in enumerate(("Copper alone", "Copper twice")):
        products = (Product(name="Bineguard Copper 20", amount_text="5 mL", amount_ml=5.0),)
        plan = TestPlan(title=title, products=products, schedule=default_schedule(1, (0.0,)))
        test = sender.start_test(plan, by="Sorrel", utc_offset_min=0)
        sender.finish_mixing(test.id, by="Sorrel")
        sender.take_look(test.id, slot="age-0", data=SAMPLE.read_bytes(), name="a.jpg", by="Sorrel")
        parcel = ask_about_test(
            sender.store, sender.photos, test.id, parcel_id=f"{k}" * 32, at=sender.now(), by="Sorrel", words="Can it go in?"
        )  # fmt: skip
        receive(here.store, parcel.data, at=here.now())
    for recorder in (sender, here):
        recorder.store.close()


def put_cards(served: Any) -> None:
    """Two tank cards in the served app, of tests that a person signed as a pass."""
    here = home(served.home)
    for title in ("Copper alone", "Copper twice"):
        product = make_product(name="Bineguard Copper", maker="Larkmill", formulation="SC")
        line = RecipeProduct(product=product, rate=read_product_rate("1 qt/100 gal", product))
        request = RecipeRequest(
            tank_volume=read_quantity("200 gal", "volume"),
            jar_volume=read_quantity("32 fl oz", "volume"),
            products=(line,),
            water=MixWater(source="yard well", hardness_mg_l=140.0, ph=7.2),
        )
        plan = tank.plan_of_recipe(make_recipe(request), TestPlan(title=title))
        test = tank.start_from_recipe(here, plan, by="Wren", utc_offset_min=0)
        here.add_product(test.id, 1, by="Wren")
        here.finish_mixing(test.id, by="Wren")
        seen = here.judge(test.id).id
        here.sign(
            test.id,
            word="pass",
            reason="as I saw it",
            by="Wren",
            expected_revision=1,
            expected_verdict=seen,
        )
        tank.make_card(here, test.id, by="Wren")
    here.store.close()


def test_a_question_opened_from_the_inbox_stays_open(tmp_path: Path, served: Any, page: Page) -> None:
    put_questions(tmp_path, served)
    page.goto(f"{served.url}/opinion")
    page.get_by_text("Open “Copper twice”").click()
    expect(page).to_have_url(re.compile(r"/opinion\?id="), timeout=SLOW)
    page.get_by_label("Who are you?").fill("Wren")  # the second act
    page.get_by_label("Who are you?").press("Enter")
    expect(page.get_by_text("Working as Wren")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("Copper twice").first).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("Open “Copper alone”")).to_have_count(0, timeout=SLOW)
    page.goto(page.url)  # the address is the question's own
    expect(page.get_by_text("Copper twice").first).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("Open “Copper alone”")).to_have_count(0, timeout=SLOW)

    page.get_by_text("All second opinions").click()
    expect(page).to_have_url(re.compile(r"/opinion$"), timeout=SLOW)
    expect(page.get_by_text("Open “Copper alone”")).to_be_visible(timeout=SLOW)


def test_a_card_opened_from_the_list_stays_open(served: Any, page: Page) -> None:
    put_cards(served)
    page.goto(f"{served.url}/card")
    page.get_by_text("Copper twice").click()
    tank_now = page.get_by_label("In the tank this time")
    tank_now.fill("50 gal")  # the second act
    tank_now.press("Enter")
    expect(page.get_by_text("A tank of 50 gal")).to_be_visible(timeout=SLOW)
    expect(page).to_have_url(re.compile(r"/card\?id="), timeout=SLOW)
    expect(page.get_by_text("Copper alone")).to_have_count(0, timeout=SLOW)

    if page.get_by_role("button", name="More", exact=True).is_visible():  # a phone's menu
        page.get_by_role("button", name="More", exact=True).click()
        page.get_by_test_id("stPopoverBody").get_by_text("Tank cards").click()
    else:
        page.locator(".st-key-menu-here-far").get_by_text("Tank cards").click()
    expect(page).to_have_url(re.compile(r"/card$"), timeout=SLOW)
    find = page.get_by_label("Find")
    find.fill("copper")
    find.press("Enter")
    expect(page.get_by_text("2 found, newest first")).to_be_visible(timeout=SLOW)
    page.go_back()
    expect(page.get_by_label("In the tank this time")).to_be_visible(timeout=SLOW)
