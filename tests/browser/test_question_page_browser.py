"""A question's page opened from a file, by somebody who has never seen the tool: answered, signed, taken in at home."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from jartest.errors import BadParcel
from jartest.exchange.answer import ask_about_test, question_file, receive
from jartest.exchange.incoming import read_incoming
from jartest.exchange.signing import read_key_text
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import KnownKey, Product, SecondOpinion, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"
OUT = "evil.example"  # RFC 2606: names that are nobody's
HOSTILE = (
    f'![x](http://{OUT}/a.png) http://{OUT}/b "> &lt;img src=http://{OUT}/c&gt; \u202egnp.exe\u202c =1+1'
)

pytestmark = pytest.mark.browser


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Recorder]:
    """The shop that asks."""
    with Store.open(f"sqlite:///{tmp_path / 'home' / 'jartest.sqlite'}") as store:
        yield Recorder(store=store, photos=PhotoFiles(tmp_path / "home" / "photos"), limits=load_limits())


@pytest.fixture
def question(home: Recorder, tmp_path: Path) -> Path:
    """The question's file."""
    products = (Product(name="Bineguard Copper 20", maker=HOSTILE, amount_text="5 mL", amount_ml=5.0),)
    plan = TestPlan(title=f"Copper alone {HOSTILE}", products=products, schedule=default_schedule(1, (0.0,)))
    test = home.start_test(plan, by="Sorrel", utc_offset_min=0)
    home.finish_mixing(test.id, by="Sorrel")
    home.take_look(test.id, slot="age-0", data=SAMPLE.read_bytes(), name="a.jpg", by="Sorrel")
    home.give_opinion(test.id, word="fail", reason="SENDERS OWN REASON", by="Sorrel")
    ask_about_test(
        home.store, home.photos, test.id, parcel_id="a" * 32, at=home.now(), by="Sorrel", words="Can this go in?"
    )  # fmt: skip
    file = tmp_path / "question.html"
    file.write_bytes(question_file(home.store, "a" * 32))
    return file


@pytest.fixture(params=[390, 1280])
def context(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[BrowserContext]:
    phone = request.param == 390
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
    context.set_default_timeout(20_000)
    yield context
    context.close()


def opened(context: BrowserContext, file: Path) -> tuple[Page, list[str]]:
    """The page of this file, and what it asks anybody for."""
    page, went = context.new_page(), []
    page.on("request", lambda r: went.append(r.url))
    page.on("pageerror", lambda e: went.append(f"error {e}"))
    page.on("console", lambda m: went.append(f"console {m.text}"))
    page.goto(file.as_uri())
    return page, went


def tap(page: Page, down: float) -> None:
    photo = page.get_by_alt_text("The jar")
    box = photo.bounding_box()
    assert box is not None
    photo.click(position={"x": box["width"] * 0.5, "y": box["height"] * down})


def fill_in(page: Page, name: str, word: str = "WATCH") -> None:
    page.locator("strong", has_text=word).click()
    page.get_by_label("Why, in a sentence").fill("re-mixes, so agitate <b>")
    page.get_by_label("Your name").fill(name)


def answer_of(page: Page) -> bytes:
    page.get_by_role("button", name="Make my answer").click()
    expect(page.get_by_text("Your answer is ready")).to_be_visible()
    with page.expect_download() as got:
        page.get_by_role("button", name="Save the answer file").click()
    assert got.value.suggested_filename == "answer-aaaaaaaa.txt"
    return Path(got.value.path()).read_bytes()


def kept(home: Recorder, data: bytes) -> tuple[str, SecondOpinion]:
    says = receive(home.store, data, at=home.now()).says
    return says, home.store.second_opinions()[-1]


def test_a_question_goes_round_by_a_plain_browser(
    home: Recorder, question: Path, context: BrowserContext, record_property: Any, tmp_path: Path
) -> None:
    page, went = opened(context, question)
    expect(page.get_by_text("Can this go in?")).to_be_visible()
    shown = page.inner_text("body")
    assert "SENDERS OWN REASON" not in page.content()
    assert HOSTILE.replace("\u202e", "").replace("\u202c", "") in shown
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0, "pushed sideways"

    # The whole photo is seen at first, larger when asked, and a mark stays where it was put.
    photo = page.get_by_alt_text("The jar")
    first = photo.bounding_box()
    assert first is not None
    assert first["height"] <= page.evaluate("window.innerHeight")
    tap(page, 0.25)
    page.get_by_role("button", name="Larger").click()
    larger = photo.bounding_box()
    assert larger is not None
    assert larger["width"] == pytest.approx(2 * first["width"], rel=0.02)
    expect(page.locator("figure b")).to_have_text("1")
    page.get_by_label("Mark 1", exact=True).fill("a rim of lumps")
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0, "pushed sideways"

    page.get_by_role("button", name="Make my answer").click()
    expect(page.get_by_role("alert")).to_have_text("Choose pass, watch or fail.")
    fill_in(page, "Teasel")
    page.get_by_text("Sign it, so that").click()
    with page.expect_download() as got:
        page.get_by_role("button", name="Make me a key").click()
    key_file = tmp_path / "my-signing-key.txt"
    key_file.write_bytes(Path(got.value.path()).read_bytes())
    line = page.get_by_label("Your key's line").input_value()
    signed = answer_of(page)
    record_property("question, bytes", question.stat().st_size)
    record_property("answer, bytes", len(signed))
    assert [u for u in went if not u.startswith(("file:", "data:", "blob:"))] == []

    says, said = kept(home, signed)
    assert said.standing == "unknown key"
    name, key = read_key_text(line)
    assert name == "Teasel"
    home.store.keep_key(KnownKey(key=key, name=name, of_shop=False, at=home.now(), by="Sorrel"))
    (said,) = home.store.second_opinions()
    assert (said.standing, said.by, said.word, said.saw_machine) == ("signed", "Teasel", "watch", False)
    assert said.reason == "re-mixes, so agitate < b>"
    (mark,) = said.marks
    assert (mark.across_fraction, mark.down_fraction) == pytest.approx((0.5, 0.25), abs=0.01)
    assert mark.words == "a rim of lumps"
    assert "Sorrel said fail: not the same." in says
    assert "nothing is new" in kept(home, signed)[0]

    # The kept key signs the next answer, after the page was closed.
    page.close()
    again, _ = opened(context, question)
    again.get_by_text("Sign it, so that").click()
    again.locator("input[type=file]").set_input_files(key_file)
    expect(again.get_by_label("Your name")).to_have_value("Teasel")
    again.locator("strong", has_text="FAIL").click()
    again.get_by_label("Why, in a sentence").fill("gel")
    says, said = kept(home, answer_of(again))
    assert "Signed with the key of Teasel." in says
    assert (said.word, said.standing) == ("fail", "signed")


def test_an_answer_without_a_key_and_as_pasted_text_is_shown_as_written_in_the_file(
    home: Recorder, question: Path, context: BrowserContext
) -> None:
    page, _ = opened(context, question)
    fill_in(page, "Owner", "PASS")
    data = answer_of(page)
    page.get_by_text("The answer as text").click()
    text = page.get_by_label("The answer as text").input_value()
    assert text.encode() == data
    assert len(text) < 2000, "more than goes into a message"
    says, said = kept(home, text.encode())
    assert "Owner (as written in the file)" in says
    assert not said.vouched


def test_a_page_that_was_changed_on_its_way_takes_no_answer(
    home: Recorder, question: Path, context: BrowserContext
) -> None:
    whole = question.read_bytes()
    for old, new in (
        (b"Can this go in?", b"Say pass please"),
        (b"5 mL", b"9 mL"),
        (b"image/jpeg;base64,/", b"image/jpeg;base64,+"),
    ):
        assert old in whole
        question.write_bytes(whole.replace(old, new, 1))
        page, _ = opened(context, question)
        expect(page.get_by_text("This file was changed on its way")).to_be_visible()
        expect(page.get_by_role("button", name="Make my answer")).to_have_count(0)
        with pytest.raises(BadParcel):
            read_incoming(question.read_bytes())
        page.close()


def test_a_browser_that_cannot_sign_says_so_and_still_answers(
    home: Recorder, question: Path, context: BrowserContext
) -> None:
    context.add_init_script(
        "SubtleCrypto.prototype.generateKey = () => Promise.reject(new Error('not here'))"
    )
    page, _ = opened(context, question)
    expect(page.get_by_text("This browser cannot sign")).to_be_visible()
    fill_in(page, "Teasel")
    assert kept(home, answer_of(page))[1].standing == "unsigned"


def test_an_answer_that_is_ready_is_withdrawn_by_any_change(question: Path, context: BrowserContext) -> None:
    """Was wrong: made with WATCH, then FAIL ticked, it was saved with WATCH."""
    page, _ = opened(context, question)
    fill_in(page, "Teasel")
    changes = (lambda: page.locator("strong", has_text="FAIL").click(), lambda: tap(page, 0.5))
    for change in changes:
        page.get_by_role("button", name="Make my answer").click()
        expect(page.get_by_text("Your answer is ready")).to_be_visible()
        change()
        expect(page.get_by_text("Your answer is ready")).to_have_count(0)


def test_a_phone_s_own_sheet_for_sending_gets_the_answer_file(
    home: Recorder, question: Path, context: BrowserContext
) -> None:
    context.add_init_script(
        "navigator.canShare = (what) => what.files.length === 1;"
        "navigator.share = async (what) => { window.sent = [what.files[0].name, what.files[0].type, await what.files[0].text()]; };"
    )
    page, _ = opened(context, question)
    fill_in(page, "Teasel")
    page.get_by_role("button", name="Make my answer").click()
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_text("Handed over.")).to_be_visible()
    name, kind, text = page.evaluate("window.sent")
    assert (name, kind) == ("answer-aaaaaaaa.txt", "text/plain")
    assert kept(home, text.encode())[1].by == "Teasel"


def test_what_was_written_comes_back_when_the_phone_put_the_page_away(
    home: Recorder, question: Path, context: BrowserContext
) -> None:
    page, went = opened(context, question)
    tap(page, 0.25)
    page.get_by_label("Mark 1", exact=True).fill("a rim")
    fill_in(page, "Teasel")
    page.reload()
    expect(page.get_by_label("Your name")).to_have_value("Teasel")
    said = kept(home, answer_of(page))[1]
    assert (said.word, said.reason, [m.words for m in said.marks]) == (
        "watch",
        "re-mixes, so agitate < b>",
        ["a rim"],
    )
    assert [u for u in went if not u.startswith(("file:", "data:", "blob:"))] == []


def test_the_page_keeps_to_axe_core_s_rules(question: Path, context: BrowserContext) -> None:
    page, _ = opened(context, question)
    tap(page, 0.25)
    fill_in(page, "Teasel")
    page.get_by_text("Sign it, so that").click()
    page.get_by_role("button", name="Make me a key").click()
    page.get_by_role("button", name="Make my answer").click()
    expect(page.get_by_text("Your answer is ready")).to_be_visible()
    for folded in page.locator("summary").all():
        if not folded.evaluate("s => s.parentElement.open"):
            folded.click()
    page.evaluate(resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
    found = page.evaluate(
        "axe.run().then((r) => r.violations.map((v) => [v.id, v.nodes.map((n) => n.html)]))"
    )
    assert found == []


def test_without_script_the_question_is_still_read_and_says_how_to_answer(
    question: Path, chromium: Browser
) -> None:
    context = chromium.new_context(java_script_enabled=False)
    page, went = opened(context, question)
    expect(page.get_by_text("Can this go in?")).to_be_visible()
    expect(page.get_by_alt_text("The jar")).to_be_visible()
    expect(page.get_by_text("This preview shows the question but cannot take your answer")).to_be_visible()
    assert [u for u in went if not u.startswith(("file:", "data:"))] == []
    context.close()
