"""Cautions at the size of a phone: what a name tells is confirmed by one tap, what nobody knows is put right."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

PHONE = {"width": 390, "height": 844}
THUMB_PX = 40  # Streamlit's own buttons are 40 px high

pytestmark = pytest.mark.browser


@pytest.fixture
def phone(chromium: Browser):
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    yield page
    context.close()


def settle(page: Page) -> None:
    """Wait until the app has answered."""
    expect(page.locator("[data-testid=stApp][data-test-script-state=running]")).to_have_count(0)


def type_in(page: Page, label: str, text: str) -> None:
    page.get_by_label(label, exact=True).fill(text)
    page.keyboard.press("Tab")
    settle(page)


def fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"


def test_the_pair_that_curdles_is_warned_of_and_confirmed_with_a_thumb(served, phone: Page) -> None:
    phone.goto(f"{served.url}/new")
    phone.get_by_label("Who are you?").fill("Wren")
    phone.keyboard.press("Enter")
    phone.get_by_role("button", name="Working as Wren").wait_for()
    phone.get_by_role("radio", name="Jar amounts").click()
    type_in(phone, "Product 1", "Phosbound 0-28-26")
    settle(phone)
    phone.get_by_role("button", name="More 1").tap()
    type_in(phone, "Formulation 1", "SL")
    phone.keyboard.press("Escape")
    type_in(phone, "Product 2", "Limewick Calcium 12")
    phone.get_by_role("button", name="More 2").tap()
    type_in(phone, "Formulation 2", "SL")
    phone.keyboard.press("Escape")
    warned = phone.get_by_text("Calcium phosphate").first
    warned.wait_for()
    phone.get_by_text("What is in them, by their names: right?").tap()
    right = phone.get_by_role("button", name="✓ That is right: micronutrient, calcium, grade Ca 12")
    right.scroll_into_view_if_needed()
    box = right.bounding_box()
    assert box is not None
    assert box["height"] >= THUMB_PX
    assert box["x"] + box["width"] <= PHONE["width"]
    fits(phone)
    right.tap()
    expect(right).to_have_count(0)
    warned.wait_for()  # the warning stays, and stands on a person's word now
    fits(phone)


def test_what_nobody_knows_is_said_and_put_right_with_a_thumb(served, phone: Page) -> None:
    phone.goto(f"{served.url}/new")
    phone.get_by_label("Who are you?").fill("Wren")
    phone.keyboard.press("Enter")
    phone.get_by_role("button", name="Working as Wren").wait_for()
    phone.get_by_role("radio", name="Tank recipe").click()
    type_in(phone, "Tank", "100 gal")
    type_in(phone, "Product 1", "Larkmill Mystery")
    type_in(phone, "Rate 1", "1 qt/100 gal")
    silent = phone.get_by_text("Cautions not checked for Larkmill Mystery")
    silent.first.wait_for()
    silent.first.tap()
    phone.get_by_role("button", name="Say what it holds").tap()
    mark = phone.get_by_role("button", name="lime sulfur or other sulfide")
    mark.scroll_into_view_if_needed()
    mark.tap()
    checked = phone.get_by_role("button", name="Checked: it holds these")
    checked.scroll_into_view_if_needed()
    fits(phone)
    checked.tap()
    expect(silent).to_have_count(0)
    phone.get_by_text("Water: not described yet").click()
    phone.get_by_label("pH of the finished mixture").fill("6")
    phone.keyboard.press("Tab")
    phone.get_by_text("The mixture has pH 6").wait_for()
    phone.get_by_text("The water is conditioned already").click()
    phone.get_by_label("With what").wait_for()
    fits(phone)
