"""A jar on a tailgate, in a real browser of a phone's size: from the photo to the parcel in four taps."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from jartest.exchange.incoming import read_incoming
from jartest.exchange.manifest import Question

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"

pytestmark = pytest.mark.browser


def test_a_photo_becomes_a_question_in_four_taps_by_somebody_who_was_never_here(
    served, chromium: Browser, record_property: object
) -> None:
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, accept_downloads=True
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{served.url}/photo")
    page.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(SAMPLE)
    expect(page.locator("[class*=st-key-chip-]").first).to_be_visible()
    picture = page.get_by_alt_text("with the measurements drawn on it").first
    expect(picture).to_be_visible()
    question = page.get_by_label("What is in it, in one line")
    expect(question).to_be_visible()
    # The question stands under the picture, above the figures and the lines to drag.
    asked, lines = question.bounding_box(), page.get_by_role("button", name="Lines are right").bounding_box()
    assert asked is not None
    assert lines is not None
    assert asked["y"] < lines["y"]

    taps = 0
    who = page.get_by_label("Who are you?")
    who.tap()
    taps += 1
    who.press_sequentially("Wren")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Working as Wren")).to_be_visible()
    question.tap()
    taps += 1
    question.press_sequentially("lumpy after the zinc, stirs out")
    page.get_by_role("button", name="Make the question").tap()
    taps += 1
    with page.expect_download() as got:
        page.get_by_role("button", name="Send or save the question").tap()
        taps += 1
    assert callable(record_property)
    record_property("taps after the photo, of somebody whose name is not known yet", taps)
    assert taps <= 4
    said = read_incoming(Path(got.value.path()).read_bytes()).said
    assert isinstance(said, Question)
    assert (said.asked_by, said.case.test.plan.title, said.loose) == (
        "Wren",
        "lumpy after the zinc, stirs out",
        True,
    )
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"
    context.close()


def test_the_question_goes_into_the_phone_s_own_sheet_for_sending(served, chromium: Browser) -> None:
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    context.add_init_script(
        "navigator.canShare = (what) => what.files.length === 1;"
        "navigator.share = async (what) => { window.sent = [what.files[0].name, what.files[0].type, await what.files[0].text()]; };"
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{served.url}/photo")
    page.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(SAMPLE)
    page.get_by_label("Who are you?").fill("Wren")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Working as Wren")).to_be_visible()
    page.get_by_label("What is in it, in one line").fill("copper and zinc")
    page.get_by_label("The water, if known").fill("pond by the gate")
    page.get_by_role("button", name="Make the question").tap()
    page.get_by_role("button", name="Send or save the question").tap()
    page.wait_for_function("window.sent")
    name, kind, text = page.evaluate("window.sent")
    assert (name.endswith(".html"), kind) == (True, "text/html")
    said = read_incoming(text.encode()).said
    assert isinstance(said, Question)
    plan = said.case.test.plan
    assert (said.asked_by, plan.title, plan.water.source, plan.jar.name) == (
        "Wren",
        "copper and zinc",
        "pond by the gate",
        "",
    )
    context.close()
