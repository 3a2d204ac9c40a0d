"""A floor that the photo does not tell: one question, one tap, a verdict; on a desk and on a phone of 390 px."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest.imaging.values import Withheld
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import KeptReading, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo

PHOTO = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-1440min.jpg"
SLOW = 20_000  # ms; a measuring machine that is shared

pytestmark = pytest.mark.browser


@pytest.fixture(params=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    phone = request.param == "phone"
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
    page = context.new_page()
    page.set_default_timeout(20_000)
    yield page
    context.close()


@pytest.fixture
def withheld(served: Any) -> Iterator[tuple[Recorder, str, float]]:
    """A test whose one look was read without its floor, which the finder had too little confidence in."""
    recorder = Recorder(
        store=Store.open(f"sqlite:///{served.home / 'jartest.sqlite'}"),
        photos=PhotoFiles(served.home / "photos"),
        limits=load_limits(),
    )
    plan = TestPlan(
        title="Sulfur", products=(Product(name="Chalkwing Sulfur 80"),), schedule=(slot_at_age(86400.0),)
    )
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(test.id, by="Wren")
    taken = recorder.take_look(test.id, slot="age-86400", data=PHOTO.read_bytes(), name=PHOTO.name, by="Wren")
    frame = taken.reading.reading.jar
    assert frame is not None
    unsure = replace(
        taken.reading.reading,
        jar=replace(frame, floor_px=math.nan),
        flags=("floor unsure",),
        layers=(),
        settled_fraction=math.nan,
        withheld=(Withheld(line="floor", row_px=frame.floor_px, sigma_px=5.0, confidence=0.45),),
    )
    recorder.store.add_reading(
        KeptReading(
            id=recorder.fresh_id(),
            look_id=taken.look.id,
            at=recorder.now(),
            by="Wren",
            origin="found",
            found=unsure.jar,
            marks=None,
            reading=unsure,
            verdict=judge_photo(unsure, recorder.limits),
        )
    )
    recorder.judge(test.id)
    yield recorder, test.id, frame.floor_px
    recorder.store.close()


def test_a_withheld_floor_is_taken_by_one_tap(
    served: Any, withheld: tuple[Recorder, str, float], page: Page
) -> None:
    recorder, test_id, floor_px = withheld
    page.goto(f"{served.url}/test?id={test_id}")
    page.get_by_label("Who are you?").fill("Teal")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Working as Teal")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("Is the dashed line marked “floor?” the inner floor of the jar?")).to_be_visible(
        timeout=SLOW
    )
    plate = page.locator("[class*=st-key-chip-][class*=look-]")
    expect(plate).to_contain_text("NO VERDICT", timeout=SLOW)
    yes = page.get_by_role("button", name="Yes", exact=True)
    box = yes.bounding_box()
    assert box is not None
    assert box["height"] >= 48, "a gloved thumb needs room"
    yes.click()  # the one tap

    expect(plate).to_contain_text("FAIL", timeout=SLOW)
    expect(page.get_by_text("Is the dashed line")).to_have_count(0, timeout=SLOW)
    expect(page.get_by_text("Lines set by hand by Teal")).to_be_visible(timeout=SLOW)
    last = recorder.case(test_id).readings[-1]
    assert (last.origin, last.by) == ("set", "Teal")
    assert last.marks is not None
    assert last.marks.floor_px == floor_px
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"


def test_no_opens_the_lines_to_set(served: Any, withheld: tuple[Recorder, str, float], page: Page) -> None:
    recorder, test_id, _ = withheld
    page.goto(f"{served.url}/test?id={test_id}")
    page.get_by_label("Who are you?").fill("Teal")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="No, I'll set it").click()
    expect(page.get_by_text("Drag the lines to where they belong")).to_be_visible(timeout=SLOW)
    expect(page.get_by_role("button", name="Lines are right")).to_be_visible(timeout=SLOW)
    assert len(recorder.case(test_id).readings) == 2, "nothing was set by saying no"
