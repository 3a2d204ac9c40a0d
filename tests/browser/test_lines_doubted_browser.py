"""Lines carried over that the photo contradicts, settled by one tap, on a desk and on a phone of 390 px."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest.imaging.values import Marks
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

SETTLER = Path(__file__).resolve().parents[2] / "samples" / "settler"
DRAGGED = 37.0  # rows, as it happened

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
def doubted(served: Any) -> Iterator[tuple[Recorder, str]]:
    """A test whose first floor was dragged too high, and a second look that carries it."""
    recorder = Recorder(
        store=Store.open(f"sqlite:///{served.home / 'jartest.sqlite'}"),
        photos=PhotoFiles(served.home / "photos"),
        limits=load_limits(),
    )
    plan = TestPlan(
        title="Sulfur",
        products=(Product(name="Chalkwing Sulfur 80"),),
        schedule=(slot_at_age(0.0), slot_at_age(86400.0)),
        jar=JarUsed(name="quart jar, shouldered", inner_diameter_mm=86.0),
    )
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(test.id, by="Wren")
    truth = json.loads((SETTLER / "settler-0000min.json").read_text("utf-8"))
    right = Marks(
        left_px=truth["jar_px"]["left"][0],
        right_px=truth["jar_px"]["right"][0],
        floor_px=truth["layers"][0]["front_bottom_px"][1],
        surface_px=truth["layers"][-1]["front_top_px"][1],
    )
    for slot, name in (("age-0", "settler-0000min"), ("age-86400", "settler-1440min")):
        data = (SETTLER / f"{name}.jpg").read_bytes()
        taken = recorder.take_look(test.id, slot=slot, data=data, name=f"{name}.jpg", by="Wren")
        if slot == "age-0":
            recorder.set_lines(taken.look.id, replace(right, floor_px=right.floor_px - DRAGGED), by="Wren")
    yield recorder, test.id
    recorder.store.close()


def test_a_carried_frame_in_doubt_is_settled_by_one_tap(
    served: Any, doubted: tuple[Recorder, str], page: Page
) -> None:
    recorder, test_id = doubted
    page.goto(f"{served.url}/test?id={test_id}")
    page.get_by_label("Who are you?").fill("Teal")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Working as Teal")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("Which lines lie on the jar?")).to_be_visible(timeout=SLOW)
    expect(page.get_by_text("of the liquid's height lower")).to_be_visible(timeout=SLOW)
    plate = page.locator("[class*=st-key-chip-][class*=look-]")
    expect(plate).to_contain_text("NO VERDICT", timeout=SLOW)
    found = page.get_by_role("button", name="The found lines are right")
    box = found.bounding_box()
    assert box is not None
    assert box["height"] >= 48, "a gloved thumb needs room"
    found.click()  # the one tap

    expect(plate).to_contain_text("FAIL", timeout=SLOW)
    expect(page.get_by_text("Which lines lie on the jar?")).to_have_count(0, timeout=SLOW)
    expect(page.get_by_text("Lines set by hand by Teal")).to_be_visible(timeout=SLOW)
    case = recorder.case(test_id)
    made = [r for r in case.readings if r.look_id == case.looks[-1].id]
    assert [r.origin for r in made] == ["carried", "set"]
    truth = json.loads((SETTLER / "settler-1440min.json").read_text("utf-8"))
    bed = truth["layers"][0]["top_mm"] / truth["content_height_mm"]
    assert made[-1].reading.settled_fraction == pytest.approx(bed, abs=0.02)

    # The plan has a full quart in the jar, the photo little more than half of it.
    expect(page.get_by_text("but the plan has 32 fl oz")).to_be_visible(timeout=SLOW)
