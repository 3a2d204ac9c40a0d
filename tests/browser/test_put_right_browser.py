"""A reading put right by a thumb on a phone of 390 px: boundaries, names, foam and lumps; both readings kept."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import KeptReading, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

PHOTO = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"
TRUTH = json.loads(PHOTO.with_suffix(".json").read_text("utf-8"))

pytestmark = pytest.mark.browser


@pytest.fixture
def jar(served: Any) -> Iterator[tuple[Recorder, str]]:
    """A recorder over the served app's folder, and a test with one look in it."""
    recorder = Recorder(
        store=Store.open(f"sqlite:///{served.home / 'jartest.sqlite'}"),
        photos=PhotoFiles(served.home / "photos"),
        limits=load_limits(),
    )
    plan = TestPlan(
        title="Sulphur", products=(Product(name="Chalkwing Sulfur 80"),), schedule=(slot_at_age(0.0),)
    )
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(test.id, by="Wren")
    recorder.take_look(test.id, slot="age-0", data=PHOTO.read_bytes(), name="a.jpg", by="Wren")
    yield recorder, test.id
    recorder.store.close()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Callable[[], Page]]:
    """Opens windows of a phone's size, with touch."""
    contexts = []

    def open_one() -> Page:
        context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        return page

    yield open_one
    for context in contexts:
        context.close()


def thumb(page: Page, grip: Locator, *, down_px: float = 0, right_px: float = 0) -> None:
    """Drag a grip with one finger; it must be large enough for a thumb, and the lens must show the place."""
    grip.scroll_into_view_if_needed()
    box = grip.bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44, "a gloved thumb needs 44 px"
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    finger = page.context.new_cdp_session(page)
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for k in range(1, 7):
        at = {"x": x + right_px * k / 6, "y": y + down_px * k / 6}
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [at]})
    expect(page.locator(".lens")).to_be_visible()
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator(".lens")).to_be_hidden()


def value(grip: Locator) -> int:
    return int(grip.get_attribute("aria-valuenow") or -1)


def drag_to(page: Page, grip: Locator, row: float, *, height_px: int) -> None:
    """Drag a boundary's grip to a row of the photo, and the last of the way with the arrow keys."""
    scale = page.locator(".photo").evaluate("e => e.clientHeight") / height_px
    thumb(page, grip, down_px=(row - value(grip)) * scale)
    for _ in range(60):
        if abs(value(grip) - row) <= 1:
            return
        grip.press("ArrowDown" if value(grip) < row else "ArrowUp")
    raise AssertionError(f"the boundary stands at {value(grip)}, not at {row:.0f}")


def part(page: Page, name: str) -> None:
    button = page.get_by_role("button", name=name, exact=True)
    button.tap()
    expect(button).to_have_attribute("aria-pressed", "true")


def keep(page: Page, label: str, recorder: Recorder, test_id: str, count: int) -> KeptReading:
    """Say that it is right, and wait until the reading made from it is kept and shown."""
    page.get_by_role("button", name=label).tap()
    page.get_by_text(f"All {count} readings of this photo").wait_for(state="attached")
    kept = recorder.case(test_id).readings
    assert len(kept) == count
    return kept[-1]


ROW = TRUTH["layers"][0]["front_top_px"][1]  # where the settled solids end


def test_a_reading_is_put_right_by_thumb_and_both_are_kept(
    served: Any, jar: tuple[Recorder, str], phone: Callable[[], Page]
) -> None:
    recorder, test_id = jar
    first = recorder.case(test_id).readings[-1]
    page = phone()
    page.goto(f"{served.url}/test?id={test_id}")
    page.get_by_label("Who are you?").fill("Teal")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Working as Teal").wait_for()

    page.get_by_role("button", name="Put it right by hand").tap()

    # Layers: take all boundaries out, add one, drag it to the true place, name what lies above it.
    part(page, "Layers")
    for _ in first.reading.layers[1:]:
        page.get_by_role("button", name=re.compile("^Take out boundary")).first.tap()
    expect(page.locator(".row-grips .grip")).to_have_count(0)
    page.get_by_role("button", name="Add a boundary").tap()
    grip = page.locator(".row-grips .grip")
    expect(grip).to_have_count(1)
    drag_to(page, grip, ROW, height_px=first.reading.height_px)
    page.get_by_label("Highest layer").select_option("clear")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"
    set_layers = keep(page, "Layers are right", recorder, test_id, 2)
    assert set_layers.origin == "set"
    assert set_layers.by == "Teal"
    assert "set by hand" in set_layers.reading.flags
    assert set_layers.marks is not None
    assert set_layers.marks.boundaries_px == pytest.approx((ROW,), abs=1.5)
    assert set_layers.marks.kinds == (None, "clear")
    true = TRUTH["layers"][0]["top_mm"] / TRUTH["layers"][-1]["top_mm"]
    assert set_layers.reading.layers[0].top_fraction == pytest.approx(true, abs=0.03)
    assert set_layers.reading.clear_fraction == pytest.approx(1 - true, abs=0.03)

    # Lumps: two taps on the photo, the second moved by its grip, and one too many taken out again.
    page.get_by_role("button", name="Put it right by hand").tap()
    part(page, "Lumps")
    expect(page.locator(".ring.marked")).to_have_count(0)
    photo = page.locator(".photo")
    photo.scroll_into_view_if_needed()
    box = photo.bounding_box()
    assert box is not None
    for across, down in ((0.45, 0.6), (0.55, 0.7), (0.5, 0.5)):
        photo.tap(position={"x": across * box["width"], "y": down * box["height"]})
    expect(page.locator(".ring.marked")).to_have_count(3)
    page.get_by_role("button", name="Take it out").tap()
    expect(page.locator(".ring.marked")).to_have_count(2)
    before = value(page.locator(".grip[data-lump=col]"))
    thumb(page, page.locator(".grip[data-lump=col]"), right_px=-20)
    assert value(page.locator(".grip[data-lump=col]")) < before - 5
    page.get_by_role("button", name="Larger").tap()
    lumps = keep(page, "Lumps are marked", recorder, test_id, 3)
    assert lumps.marks is not None
    assert len(lumps.marks.lumps) == 2
    assert lumps.marks.boundaries_px == set_layers.marks.boundaries_px, "what was set before stays set"
    low, high = (m.diameter_px for m in lumps.marks.lumps)
    assert high == pytest.approx(1.25 * low)
    assert lumps.marks.lumps[0].row_px == pytest.approx(0.6 * first.reading.height_px, rel=0.02)
    assert lumps.verdict.word in ("watch", "fail")
    assert any(r.rule == "marked lumps" for r in lumps.verdict.reasons)
    page.get_by_text("2 lumps marked by hand that the reading missed").first.wait_for(state="attached")

    # Nothing is overwritten, and the shop sees what was put right.
    case = recorder.case(test_id)
    assert [r.origin for r in case.readings] == ["found", "set", "set"]
    assert case.readings[0] == first
    (counted,) = recorder.history().corrected()
    assert (counted.looks, counted.corrected) == (1, 1)
    assert counted.counts["lump marked"] == (1, 2)
    page.goto(f"{served.url}/history")
    page.get_by_text("How good are we").tap()
    page.get_by_text("put 1 right").wait_for()


def test_a_layer_called_foam_moves_the_surface_under_it(served: Any, phone: Callable[[], Page]) -> None:
    page = phone()
    page.goto(f"{served.url}/photo")
    chooser = page.locator("[data-testid=stFileUploader] input[type=file]").first
    chooser.set_input_files(PHOTO)
    grip = page.locator(".grip[data-line=surface]")
    expect(grip).to_have_attribute("aria-valuenow", re.compile(r"^\d{2,}$"))
    before = value(grip)
    part(page, "Layers")
    page.get_by_role("button", name="Add a boundary").tap()
    page.get_by_label("Highest layer").select_option("foam")
    page.get_by_role("button", name="Layers are right").tap()
    expect(page.locator("table").first).to_contain_text(re.compile(r"Foam[^%]*[1-9]"))
    part(page, "Jar")
    expect(grip).not_to_have_attribute("aria-valuenow", str(before))
    surface = value(grip)
    assert surface > before + 10, "the surface did not go down to where the foam begins"
    page.get_by_role("button", name="Put back").tap()
    assert value(grip) == surface
