"""A phone out of reach of the shop for a night: its photos wait there, and come in once each at their true times."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser, expect

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"
PHOTOS, NIGHT_H = 20, 9
pytestmark = pytest.mark.browser


def test_twenty_photos_of_a_night_without_a_line_come_in_once_each_at_their_true_times(
    served: Any, chromium: Browser, figures: Callable[[str], None]
) -> None:
    began = datetime.now(UTC) - timedelta(hours=NIGHT_H + 1)
    store = Store.open(f"sqlite:///{served.home / 'jartest.sqlite'}")
    then = [began]
    recorder = Recorder(
        store=store, photos=PhotoFiles(served.home / "photos"), limits=load_limits(), clock=lambda: then[0]
    )
    ages = tuple(slot_at_age(3600.0 * (1 + NIGHT_H * n / PHOTOS)) for n in range(PHOTOS))
    plan = TestPlan(title="A night", products=(Product(name="Bineguard Copper 20"),), schedule=ages)
    jar = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(jar.id, by="Wren")
    url = f"{served.url}{link_path(Access(served.home), jar)}"
    photos = [SAMPLE.read_bytes() + b"night %d" % n for n in range(PHOTOS)]
    taken = [began + timedelta(hours=1 + NIGHT_H * n / PHOTOS) for n in range(PHOTOS)]

    phone = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = phone.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{url}?pocket")
    page.get_by_label("Your name").fill("Teal")
    page.wait_for_selector("body[data-ready]")
    served.stop()  # nothing answers where the shop was
    for n, (at, data) in enumerate(zip(taken, photos, strict=True)):
        if n in (7, 14):  # the phone closes the page, and opens it again without a line
            page.close()
            page = phone.new_page()
            page.set_default_timeout(60_000)
            page.goto(f"{url}?pocket")
        page.clock.set_fixed_time(at)
        page.locator("#p").set_input_files({"name": "image.jpg", "mimeType": "image/jpeg", "buffer": data})
        expect(page.locator("#count")).to_have_text(f"{n + 1}", timeout=30_000)
    assert recorder.case(jar.id).looks == ()
    page.clock.set_fixed_time(datetime.now(UTC))
    served.start()
    expect(page.locator("#count")).to_have_text("0", timeout=240_000)
    phone.close()

    def looks() -> list[Any]:
        return sorted(recorder.case(jar.id).looks, key=lambda x: x.taken_at)

    kept = looks()
    assert [x.photo.sha256 for x in kept] == [hashlib.sha256(p).hexdigest() for p in photos]
    off = [abs((x.taken_at - at).total_seconds()) for x, at in zip(kept, taken, strict=True)]
    # The phone's clock stands still in this test while twenty photos are read; a real one goes on.
    assert max(off) < 240
    assert [x.slot for x in kept] == [s.key for s in ages]
    assert all(recorder.case(jar.id).latest_reading(x.id) is not None for x in kept)

    # An answer that was lost on the way: the phone sends the same photo again.
    for data in photos[:3]:
        form = {"by": "Teal", "slot": "", "ago_s": "60"}
        files = {"photo": ("image.jpg", data, "image/jpeg")}
        assert (
            httpx.post(url, data=form, files=files, headers={"Accept": "application/json"}).status_code == 201
        )
    assert [(x.id, x.taken_at) for x in looks()] == [(x.id, x.taken_at) for x in kept]
    figures(
        f"offline phone: {len(kept)} of {PHOTOS} photos of {NIGHT_H} h in, once each, "
        f"times off by {max(off):.0f} s at most; 3 sent again, none kept twice"
    )
    store.close()
