"""Signing and a tick taken back in a real browser, desktop and phone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.settings import open_recorder, read_settings

SIZES = {"desktop": (1280, 900), "phone": (390, 844)}

pytestmark = pytest.mark.browser


@pytest.fixture
def shop(served: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Recorder]:
    """The records that the app serves, to put some in and to see what was kept."""
    monkeypatch.setenv("JARTEST_HOME", str(served.home))
    recorder = open_recorder(read_settings())
    yield recorder
    recorder.store.close()


@pytest.fixture
def opened(chromium: Browser, served: Any) -> Iterator[Callable[[str, JarTest, str], Page]]:
    """Opens a test in a window of this size, as somebody."""
    contexts = []

    def open_one(size: str, test: JarTest, name: str) -> Page:
        width, height = SIZES[size]
        context = chromium.new_context(
            viewport={"width": width, "height": height}, has_touch=size == "phone", is_mobile=size == "phone"
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto(f"{served.url}/test?id={test.id}")
        page.get_by_label("Who are you?").fill(name)
        page.keyboard.press("Enter")
        page.get_by_role("button", name=f"Working as {name}").wait_for()
        settle(page)
        return page

    yield open_one
    for context in contexts:
        context.close()


def settle(page: Page) -> None:
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    page.wait_for_function("!document.querySelector('[data-stale=true]')")


def start(shop: Recorder) -> JarTest:
    products = tuple(Product(name=n) for n in ("Bineguard Copper 20", "Nettlesap Boron 10", "Hopcal 12"))
    return shop.start_test(TestPlan(title="Copper + boron", products=products), by="Wren", utc_offset_min=0)


@pytest.mark.parametrize("size", SIZES)
def test_the_chosen_word_is_the_word_signed(
    size: str, shop: Recorder, opened: Callable[[str, JarTest, str], Page]
) -> None:
    test = start(shop)
    shop.observe(test.id, by="Teal", signs=["gel"])
    shop.give_opinion(test.id, word="fail", reason="slimy strings", by="Teal")
    page = opened(size, test, "Wren")
    page.get_by_text("Decide before it is due").click()
    expect(page.locator("[class*=st-key-chip-][class*=machine]")).to_contain_text("✖ FAIL")
    expect(page.get_by_role("button", name="Sign: first choose your verdict")).to_be_disabled()
    page.get_by_text("◐ watch", exact=True).click()
    button = page.get_by_role("button", name="Sign: WATCH, as Wren")
    expect(button).to_be_enabled()
    page.get_by_text("Wren and Teal do not agree").wait_for()
    button.click()
    page.get_by_text("write one sentence why").wait_for()
    page.get_by_label("Why, in a sentence").fill("it stirs out with a paddle")
    button.click()  # straight from the field: what stands in it is what is signed
    page.get_by_text("Signed by Wren, ").wait_for()
    case = shop.case(test.id)
    assert case.signature is not None
    assert (case.signature.word, case.signature.reason) == ("watch", "it stirs out with a paddle")
    page.get_by_text("◐ WATCH (the machine: ✖ FAIL). “it stirs out with a paddle”").wait_for()
    expect(page.locator("[class*=st-key-chip-][class*=person]")).to_contain_text("◐ WATCH")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"


def test_the_second_of_two_windows_reads_who_signed_what(
    shop: Recorder, opened: Callable[[str, JarTest, str], Page]
) -> None:
    test = start(shop)
    one, two = opened("desktop", test, "Wren"), opened("phone", test, "Teal")
    for page, word, why in ((one, "◐ watch", "stirs out"), (two, "✖ fail", "gel on the spoon")):
        page.get_by_text("Decide before it is due").click()
        page.get_by_text(word, exact=True).click()
        page.get_by_label("Why, in a sentence").fill(why)
        page.keyboard.press("Tab")
        settle(page)
    one.get_by_role("button", name="Sign: WATCH, as Wren").click()
    one.get_by_text("Signed by Wren, ").wait_for()
    late = two.get_by_role("button", name="Sign: FAIL, as Teal")
    if late.count():  # where the window has not found out by itself yet
        late.click()
    two.get_by_text("You had chosen ✖ FAIL. It was not kept: Wren signed first").wait_for()
    two.get_by_role("button", name="Keep beside it: FAIL, as Teal").click()
    two.get_by_text("Wren and Teal do not agree").wait_for()
    case = shop.case(test.id)
    assert [(s.by, s.word) for s in case.signatures] == [("Wren", "watch")]
    assert (case.opinions[-1].by, case.opinions[-1].reason) == ("Teal", "gel on the spoon")


@pytest.mark.parametrize("size", SIZES)
def test_an_addition_is_taken_back_and_out_of_order_is_asked(
    size: str, shop: Recorder, opened: Callable[[str, JarTest, str], Page]
) -> None:
    test = start(shop)
    page = opened(size, test, "Wren")
    page.get_by_role("button", name="Add 1 ·").click()
    undo = page.get_by_role("button", name="Undo")
    undo.wait_for()
    box = undo.bounding_box()
    assert box is not None
    assert box["height"] >= 44, "a gloved thumb needs 44 px"
    undo.click()
    page.get_by_role("button", name="Add 1 ·").wait_for()
    assert shop.case(test.id).additions == ()

    settle(page)
    page.get_by_role("button", name="Add 2 ·").click()
    page.get_by_text("Bineguard Copper 20 comes before Nettlesap Boron 10 and is not ticked").wait_for()
    assert shop.case(test.id).additions == ()
    page.get_by_role("button", name="Yes, it went in now").click()
    undo.wait_for()
    assert [e.position for e in shop.case(test.id).additions] == [2]

    settle(page)
    page.get_by_role("button", name="Mixing done, start the clock").click()
    page.get_by_text("Not ticked: 1 · Bineguard Copper 20, 3 · Hopcal 12.").wait_for()
    assert shop.case(test.id).mixed_at is None
    page.get_by_role("button", name="Left out: start the clock").click()
    page.get_by_text("In the jar: 1 of 3 products ticked").click()
    page.wait_for_timeout(10_000)  # until a tick counts as meant
    page.get_by_role("button", name="Ticked, but it did not go in?").click()
    page.get_by_test_id("stPopoverBody").get_by_text("2 · Nettlesap Boron 10").click()
    page.get_by_role("button", name="Nettlesap Boron 10 did not go in").click()
    page.get_by_text("In the jar: 0 of 3 products ticked").wait_for()
    assert shop.case(test.id).left_out == frozenset({2})
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"
