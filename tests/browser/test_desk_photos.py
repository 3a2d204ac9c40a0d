"""The desk in a real browser: photos picked on the test screen whatever happens meanwhile, and the clocks."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.settings import Settings, open_recorder

SERIES = sorted((Path(__file__).resolve().parents[2] / "samples" / "settler").glob("*.jpg"))
SIZES = {"desktop": (1280, 900), "phone": (390, 844)}

pytestmark = pytest.mark.browser


class Bench:
    """The served app, a recorder of our own over its data folder, and windows on it."""

    def __init__(self, served: Any, chromium: Browser) -> None:
        self.served, self._chromium, self._contexts = served, chromium, []
        home = served.home
        self.recorder: Recorder = open_recorder(
            Settings(home=home, database_url=f"sqlite:///{home / 'jartest.sqlite'}")
        )

    def jar(self, *ages: float, mixed_ago_s: float = 0.0) -> JarTest:
        plan = TestPlan(
            title="Copper + boron",
            products=(Product(name="Bineguard Copper 20"), Product(name="Nettlesap Boron 10")),
            schedule=tuple(slot_at_age(a) for a in ages),
        )
        usual = self.recorder
        then = usual.now() - timedelta(seconds=mixed_ago_s)
        early = Recorder(store=usual.store, photos=usual.photos, limits=usual.limits, clock=lambda: then)
        test = early.start_test(plan, by="Wren", utc_offset_min=0)
        early.finish_mixing(test.id, by="Wren")
        return test

    def window(self, test: JarTest, size: str = "desktop", *, name: str = "Wren") -> Page:
        width, height = SIZES[size]
        touch = size == "phone"
        context = self._chromium.new_context(
            viewport={"width": width, "height": height}, has_touch=touch, is_mobile=touch
        )
        self._contexts.append(context)
        if name:
            context.add_init_script(f"localStorage.setItem('jartest.name', {json.dumps(name)})")
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.goto(f"{self.served.url}/test?id={test.id}")
        page.locator("input.photos").wait_for(state="attached")
        if name:
            page.get_by_role("button", name=f"Working as {name}").wait_for()
        return page

    def close(self) -> None:
        for context in self._contexts:
            context.close()
        self.recorder.store.close()


@pytest.fixture
def bench(served_to_all: Any, chromium: Browser) -> Iterator[Bench]:
    one = Bench(served_to_all, chromium)
    yield one
    one.close()


def small(n: int, exif: str = "", offset: str = "") -> dict[str, Any]:
    """A small photo, no other one like it, with this time in it."""
    out, said = io.BytesIO(), Image.Exif()
    if exif:
        said.get_ifd(0x8769)[0x9003] = exif  # DateTimeOriginal, EXIF 2.32 table 8
    if offset:
        said.get_ifd(0x8769)[0x9011] = offset  # OffsetTimeOriginal
    Image.new("RGB", (320, 400), (90 + n, 120, 60)).save(out, "JPEG", exif=said, comment=b"%d" % n)
    return {"name": f"photo-{n}.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def kept(page: Page) -> Any:
    return page.locator(".sent li.kept")


@pytest.mark.parametrize(("size", "count"), [("desktop", 12), ("phone", 6)])
def test_of_photos_picked_back_to_back_none_is_lost(bench: Bench, size: str, count: int) -> None:
    jar = bench.jar(0.0, 300.0)
    page = bench.window(jar, size)
    for n in range(count):  # each pick falls into the redraws that the ones before it cause
        page.locator("input.photos").set_input_files(small(n))
        page.wait_for_timeout(37 * (n % 5))
    all_kept = "Object.values(window.jartestPhotos)[0].items.every(i => i.state === 'kept')"
    page.wait_for_function(all_kept, timeout=120_000)
    looks = bench.recorder.case(jar.id).looks
    assert sorted(x.photo.original_name for x in looks) == sorted(f"photo-{n}.jpg" for n in range(count))
    page.get_by_role("radio", name=re.compile("extra look")).first.wait_for()


def test_a_photo_picked_while_the_server_is_gone_waits_and_is_sent_when_it_is_back(bench: Bench) -> None:
    jar = bench.jar(0.0, 300.0)
    page = bench.window(jar)
    bench.served.stop()
    page.locator("input.photos").set_input_files(SERIES[0])
    page.get_by_text("the server does not answer. The photo waits here").wait_for()
    assert page.evaluate(
        "() => { const e = new Event('beforeunload', {cancelable: true}); window.dispatchEvent(e); return e.defaultPrevented; }"
    ), "a window with a photo that waits must not close without a word"
    bench.served.start()
    page.get_by_text("Received and kept: 0 min.").wait_for()
    assert [x.slot for x in bench.recorder.case(jar.id).looks] == ["age-0"]


def test_a_photo_picked_before_anybody_is_named_waits_for_the_name(bench: Bench) -> None:
    jar = bench.jar(0.0)
    page = bench.window(jar, name="")
    page.locator("input.photos").set_input_files(SERIES[0])
    page.get_by_text("Write your name above; the photo waits here until then.").wait_for()
    assert not bench.recorder.case(jar.id).looks
    page.get_by_label("Who are you?").fill("Wren")
    page.keyboard.press("Enter")
    page.get_by_text("Received and kept: 0 min.").wait_for()
    assert [x.by for x in bench.recorder.case(jar.id).looks] == ["Wren"]


def test_several_at_once_go_to_their_looks_by_their_own_time_with_the_receive_time_beside(
    bench: Bench,
) -> None:
    jar = bench.jar(0.0, 300.0, 900.0, mixed_ago_s=1200.0)
    begun = bench.recorder.case(jar.id).mixed_at
    assert begun is not None
    page = bench.window(jar)
    at = [begun + timedelta(seconds=s) for s in (910, 10, 320)]
    files = [small(n, f"{t:%Y:%m:%d %H:%M:%S}", "+00:00") for n, t in enumerate(at)]
    assert page.locator("input.photos").evaluate("e => e.multiple")
    page.locator("input.photos").set_input_files(files)
    expect(kept(page)).to_have_count(3)
    looks = sorted(bench.recorder.case(jar.id).looks, key=lambda x: x.taken_at)
    assert [(x.slot, x.photo.original_name) for x in looks] == [
        ("age-0", "photo-1.jpg"),
        ("age-300", "photo-2.jpg"),
        ("age-900", "photo-0.jpg"),
    ]
    page.get_by_text("The photo's own clock is 20 min off ours").wait_for()
    page.get_by_role("radio", name=re.compile(r"\b0 min$")).click()
    page.get_by_text(re.compile(r"^0 min · .*, received .*")).wait_for()


def test_what_is_no_photo_is_said_and_does_not_hold_up_the_next(bench: Bench) -> None:
    jar = bench.jar(0.0)
    page = bench.window(jar)
    page.locator("input.photos").set_input_files(
        [
            {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"no picture at all"},
            small(1),
        ]
    )
    page.get_by_text("not a JPEG or PNG").wait_for()
    expect(kept(page)).to_have_count(1)
    assert len(bench.recorder.case(jar.id).looks) == 1


def test_a_file_dialogue_left_open_over_a_redraw_still_gives_its_photo(bench: Bench) -> None:
    jar = bench.jar(0.0)
    page = bench.window(jar)
    with page.expect_file_chooser() as opening:
        page.locator("input.photos").click()
    page.get_by_text("What do you see?").click()
    page.get_by_text("Lumps or flakes").click()  # the whole screen is drawn anew meanwhile
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    opening.value.set_files(SERIES[0])
    page.get_by_text("Received and kept: 0 min.").wait_for()


def test_the_screen_follows_each_look_that_a_phone_sends(bench: Bench) -> None:
    jar = bench.jar(0.0, 300.0)
    page = bench.window(jar)
    for n, slot, says in ((0, "age-0", "0 min"), (1, "age-300", "5 min")):
        data = SERIES[n].read_bytes()
        bench.recorder.take_look(jar.id, slot=slot, data=data, name=SERIES[n].name, by="Teal")
        page.get_by_alt_text(f"Photo of the look {says}", exact=False).wait_for(timeout=25_000)


def test_the_webcam_s_picture_is_sent_the_same_way(bench: Bench) -> None:
    jar = bench.jar(0.0)
    page = bench.window(jar)
    page.get_by_role("button", name="webcam").click()
    page.wait_for_function(
        """() => [...document.querySelectorAll('*')].some(e => e.shadowRoot?.querySelector('video')?.videoWidth)
                 || document.querySelector('video')?.videoWidth"""
    )
    page.get_by_role("button", name="Take the picture").click()
    expect(kept(page)).to_have_count(1)
    (look,) = bench.recorder.case(jar.id).looks
    assert look.photo.width_px >= 640


# ------------------------------------------------------------------------- the clocks
_WATCHED = """
const now = Date.now.bind(Date); window.ahead = 0; Date.now = () => now() + window.ahead;
window.tones = 0;
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (...at) { window.tones += 1; return start.apply(this, at); };
"""


def test_the_bench_shows_at_a_glance_what_is_due_and_sounds_after_one_tap_without_a_reload(
    bench: Bench,
) -> None:
    for one in bench.recorder.running():
        bench.recorder.stop_test(one.test.id, by="Wren", note="of another test")
    coming = bench.jar(1200.0, mixed_ago_s=600.0)
    late = bench.jar(300.0, 900.0, 1800.0, mixed_ago_s=1100.0)
    soon = bench.jar(60.0, mixed_ago_s=20.0)
    due = bench.jar(0.0, mixed_ago_s=5.0)
    page = bench.window(due)
    page.add_init_script(_WATCHED)
    page.goto(bench.served.url)
    tiles = page.locator(".count")
    expect(tiles).to_have_count(4)
    page.get_by_text("1 due · ▲ 1 late · – 1 missed").wait_for()
    numbers = [int(x.split(" ")[0]) for x in page.locator(".st-key-board a").all_inner_texts()]
    assert numbers == [due.number, late.number, soon.number, coming.number]
    expect(tiles.nth(1)).to_contain_text("LATE")
    page.get_by_text("Missed: 5 min").wait_for()
    loaded = page.evaluate("performance.timeOrigin")

    page.get_by_role("button", name="Sound is off").click()
    page.get_by_role("button", name="Sound is on").wait_for()
    assert page.evaluate("window.tones") == 3, "the tap is answered by the sound itself"
    page.wait_for_function("window.tones >= 6", timeout=60_000)  # another jar's tile than the one tapped
    expect(page.get_by_text("DUE NOW")).to_have_count(2)

    # Somebody sets this device's clock an hour ahead: the countdown is by the server's clock, soon again.
    left = tiles.nth(3).locator(".big")
    expect(left).to_have_text(re.compile(r"^[789]:\d\d$"))
    page.evaluate("window.ahead = 3600e3")
    page.wait_for_timeout(1500)  # a tick or two by the wrong clock
    expect(left).to_have_text(re.compile(r"^[6789]:\d\d$"))
    assert page.evaluate("performance.timeOrigin") == loaded
    page.get_by_role("link", name=f"{late.number} · ").click()
    page.get_by_text("15 min look").wait_for()
