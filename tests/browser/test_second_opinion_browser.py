"""A second opinion in a real browser: a photo tapped to mark it, a verdict given blind, then all shown."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest.exchange.answer import ask_about_test, receive
from jartest.exchange.parcel import Parcel
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"
REASON = "SENDERS OWN REASON"
# HTML is refused with the parcel (test_parcel_hostile.py); this is what else a page might take for its own.
HOSTILE = """&lt;img src=x onerror="document.title='it ran'"> < script >document.title='it ran'< 5 [a](javascript:x) **b**"""

pytestmark = pytest.mark.browser


def home(folder: Path) -> Recorder:
    store = Store.open(f"sqlite:///{folder / 'jartest.sqlite'}")
    return Recorder(store=store, photos=PhotoFiles(folder / "photos"), limits=load_limits())


@pytest.fixture
def asked(tmp_path: Path, served) -> tuple[Parcel, list[str]]:
    """A question that waits in the served app, and what would tell what its sender and the program think."""
    sender = home(tmp_path / "sender")
    products = (Product(name="Bineguard Copper 20", amount_text="5 mL", amount_ml=5.0),)
    plan = TestPlan(
        title="Copper alone", products=products, schedule=default_schedule(1, (0.0,)), notes=HOSTILE
    )
    test = sender.start_test(plan, by="Sorrel", utc_offset_min=0)
    sender.finish_mixing(test.id, by="Sorrel")
    sender.take_look(test.id, slot="age-0", data=SAMPLE.read_bytes(), name="a.jpg", by="Sorrel")
    sender.give_opinion(test.id, word="fail", reason=REASON, by="Sorrel")
    parcel = ask_about_test(
        sender.store, sender.photos, test.id, parcel_id="a" * 32, at=sender.now(), by="Sorrel", words="Can this go in?"
    )  # fmt: skip
    case = sender.case(test.id)
    secrets = [REASON, "the program, where it was asked"]
    secrets += [r.says for v in case.verdicts for r in v.verdict.reasons]
    sender.store.close()
    here = home(served.home)
    receive(here.store, parcel.data, at=here.now())
    here.store.close()
    return parcel, secrets


@pytest.fixture(params=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    phone = request.param == "phone"
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
    page = context.new_page()
    page.set_default_timeout(20_000)
    yield page
    context.close()


def test_a_reviewer_marks_the_photo_and_judges_blind(served, asked, page: Page) -> None:
    frames: list[bytes | str] = []
    page.on("websocket", lambda ws: ws.on("framereceived", lambda frame: frames.append(frame)))
    page.goto(f"{served.url}/opinion?id={asked[0].said.id}")
    page.get_by_label("Who are you?").fill("Wren")
    page.get_by_label("Who are you?").press("Enter")
    expect(page.get_by_text("Working as Wren")).to_be_visible()

    expect(page.get_by_text(HOSTILE)).to_be_visible()  # as it was written, and nothing more
    assert page.locator("img[src=x]").count() == 0
    assert "it ran" not in page.title()

    photo = page.get_by_alt_text("tap a place to mark it")
    expect(photo).to_be_visible()
    box = photo.bounding_box()
    assert box is not None
    photo.click(position={"x": box["width"] * 0.5, "y": box["height"] * 0.25})
    words = page.get_by_label("Mark 1")
    expect(words).to_be_visible()
    words.fill("a rim of lumps")
    words.press("Tab")

    expect(page.locator("[data-testid=stApp][data-test-script-state=running]")).to_have_count(0)
    blind = page.content() + "".join(
        f.decode("utf-8", "replace") if isinstance(f, bytes) else f for f in frames
    )
    assert "Can this go in?" in blind
    for secret in asked[1]:
        assert secret not in blind, secret

    page.get_by_text("WATCH", exact=False).first.click()
    page.get_by_label("Why, in a sentence").fill("re-mixes, so agitate")
    page.get_by_label("Why, in a sentence").press("Tab")
    page.get_by_role("button", name="Record mine").click()
    expect(page.get_by_text(REASON)).to_be_visible()
    expect(page.get_by_text("the program, where it was asked")).to_be_visible()
    expect(page.get_by_alt_text("drawn on it")).to_be_visible()
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "the page can be pushed sideways"

    with page.expect_download() as got:
        page.get_by_role("button", name="Save the answer").click()
    from jartest.exchange.incoming import read_incoming
    from jartest.exchange.manifest import Answer

    made = read_incoming(Path(got.value.path()).read_bytes())
    answer = made.said
    assert made.key, "what is answered here is signed with the shop's key"
    assert isinstance(answer, Answer)
    (said,) = answer.said
    assert (said.by, said.word, said.reason, said.saw_machine) == (
        "Wren",
        "watch",
        "re-mixes, so agitate",
        False,
    )
    (mark,) = said.marks
    assert (mark.across_fraction, mark.down_fraction) == pytest.approx((0.5, 0.25), abs=0.01)
    assert mark.words == "a rim of lumps"


def test_the_page_in_a_parcel_is_whole_without_script_and_without_network(
    asked, chromium: Browser, tmp_path: Path
) -> None:
    file = tmp_path / "opinion.html"
    file.write_bytes(asked[0].parts["opinion.html"])
    went: list[str] = []
    for scripts in (True, False):
        _read_page(chromium, file, scripts, went, asked[1])


def _read_page(chromium: Browser, file: Path, scripts: bool, went: list[str], secrets: list[str]) -> None:
    context = chromium.new_context(java_script_enabled=scripts)
    page = context.new_page()
    page.on("request", lambda r: went.append(r.url))
    page.goto(file.as_uri())
    expect(page.get_by_text("Can this go in?")).to_be_visible()
    expect(page.get_by_alt_text("The jar")).to_be_visible()
    assert [u for u in went if not u.startswith(("file:", "data:"))] == []
    text = page.inner_text("body")
    assert not [s for s in secrets if s in text]
    assert HOSTILE in text
    assert "it ran" not in page.title()
    context.close()
