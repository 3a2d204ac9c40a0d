"""From a failed mixture of five to its culprit, in a real browser, and the warning when it is planned again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from jartest.recorder import Recorder
from jartest.records.model import JarTest, KeptVerdict, Product, Signature, TestPlan, Water
from jartest.settings import open_recorder, read_settings
from jartest.verdict.values import Verdict

pytestmark = pytest.mark.browser

# Invented; Karstphos and Rimezinc do not go together in this shop.
FIVE = ("Bineguard Copper", "Karstphos", "Nettlesap Boron", "Rimezinc", "Spreadwell")
BAD = {"Karstphos", "Rimezinc"}
PICTURE = "[data-testid=stVegaLiteChart] canvas, [data-testid=stVegaLiteChart] svg"


def narrow(page: Page) -> bool:
    """Whether this window is a phone's, where the picture of the pairs is a list by product."""
    return bool(page.evaluate("window.innerWidth <= 640"))


@pytest.fixture
def kept(served: Any) -> Iterator[Recorder]:
    """A recorder of our own over the same records, for what the bench does between two visits to the screen."""
    recorder = open_recorder(read_settings({"JARTEST_HOME": str(served.home)}))
    yield recorder
    recorder.store.close()


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    """A window of one size or another."""
    width, height = request.param
    context = chromium.new_context(viewport={"width": width, "height": height}, has_touch=width < 500)
    page = context.new_page()
    page.set_default_timeout(20_000)
    yield page
    context.close()


def sign(recorder: Recorder, test: JarTest, word: Any) -> None:
    # Under the machine's own word, so that a pass rests on something.
    limits = recorder.limits
    recorder.store.keep_limits(limits.sha256, limits.text)
    said = Verdict(word=word, reasons=(), limits_sha256=limits.sha256, age_s=7200.0)
    seen = KeptVerdict(id=recorder.fresh_id(), test_id=test.id, at=recorder.now(), verdict=said)
    recorder.store.add_verdict(seen)
    signature = Signature(
        id=recorder.fresh_id(),
        test_id=test.id,
        at=recorder.now(),
        by="Wren",
        word=word,
        reason="seen",
        revision=1,
        verdict_id=seen.id,
        opinion_id=None,
    )
    recorder.store.add_signature(signature)


def introduce(page: Page) -> None:
    page.get_by_label("Who are you?").fill("Wren")
    page.keyboard.press("Enter")
    page.get_by_text(re.compile("Working as")).first.wait_for()


def start_next_jar(page: Page, url: str, failed: JarTest) -> bool:
    """Start the jar that the screen proposes for this failed mixture; False once the culprit is named."""
    page.goto(f"{url}/history?of={failed.id}")
    page.get_by_role("heading", name=re.compile("to blame|Open:|Most likely|contradict")).wait_for()
    if page.get_by_role("heading", name=re.compile(r": to blame with (9[5-9]|100)")).count():
        return False
    page.get_by_role("heading", name="Next jar: ").wait_for()
    page.get_by_role("button", name="Start this jar").click()
    page.get_by_role("heading", name="New test").wait_for()
    page.get_by_text(re.compile("Working as")).first.wait_for()  # the browser has said who works here
    expect(page.get_by_label("Amount 1, in the jar")).to_have_value("5 mL")
    page.get_by_role("button", name="Start this test").click()
    page.get_by_role("heading", name="Fill the jar").wait_for()
    return True


def test_a_failed_mixture_is_split_until_its_culprit_is_named_and_warned_of(
    page: Page, served: Any, kept: Recorder, record_property: Callable[[str, object], None]
) -> None:
    products = tuple(Product(name=n, maker="Ferrow", amount_text="5 mL", amount_ml=5.0) for n in FIVE)
    plan = TestPlan(title="All five", products=products, water=Water(source="yard well"))
    failed = kept.start_test(plan, by="Wren", utc_offset_min=0)
    sign(kept, failed, "fail")

    page.goto(f"{served.url}/new")
    introduce(page)
    jars = 0
    while start_next_jar(page, served.url, failed):
        jars += 1
        assert jars <= 12, "the culprit was not named"
        row, *_ = kept.find(limit=1)
        started = kept.case(row.id).test
        assert {p.name for p in started.plan.products} < set(FIVE)
        assert all(p.amount_ml == 5.0 for p in started.plan.products), "the recipe came along"
        sign(kept, started, "fail" if {p.name for p in started.plan.products} >= BAD else "pass")
    record_property("further jars", jars)
    page.get_by_role("heading", name="Karstphos (Ferrow) with Rimezinc (Ferrow): to blame with").wait_for()

    page.goto(f"{served.url}/history")
    page.get_by_role("radio", name="Pairs", exact=True).click()
    page.get_by_role("heading", name=re.compile("pairs were tried")).wait_for()
    if narrow(page):
        page.get_by_text(re.compile(r"Karstphos \(Ferrow\) · ✖1")).wait_for()
    else:
        page.locator(PICTURE).first.wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"

    page.goto(f"{served.url}/new")
    for n, name in enumerate(("Karstphos", "Rimezinc"), 1):
        page.get_by_label(f"Product {n}", exact=True).fill(name)
        page.get_by_role("button", name=f"More {n}").click()
        page.get_by_label(f"Maker {n}", exact=True).fill("Ferrow")
        page.keyboard.press("Tab")
        page.keyboard.press("Escape")
    page.get_by_text(re.compile(r"Warning: .*Karstphos \(Ferrow\) with Rimezinc \(Ferrow\)")).wait_for()


def test_a_search_is_saved_and_opened_again_by_one_tap(page: Page, served: Any, kept: Recorder) -> None:
    for names, word in ((("Karstphos", "Rimezinc"), "fail"), (("Karstphos", "Spreadwell"), "pass")):
        products = tuple(Product(name=n, maker="Ferrow") for n in names)
        sign(
            kept,
            kept.start_test(
                TestPlan(title=" + ".join(names), products=products), by="Wren", utc_offset_min=0
            ),
            word,
        )
    page.goto(f"{served.url}/new")
    introduce(page)
    page.goto(f"{served.url}/tests")
    search = page.get_by_role("searchbox", name="Search")
    search.fill("karstphos")
    search.press("Enter")
    page.get_by_text("2 found, newest first").wait_for()
    page.get_by_label("Verdict").click()
    page.get_by_role("option", name=re.compile("FAIL")).click()
    page.get_by_text("1 found, newest first").wait_for()
    expect(search).to_have_value("karstphos verdict:fail")
    expect(page.locator("[data-testid=stApp][data-test-script-state=running]")).to_have_count(0)
    page.get_by_text("Save this search, or remove one").click()
    page.get_by_text("Working as Wren").first.wait_for()  # known to the browser, and not asked for twice
    page.get_by_label("Name of the search").fill("Karstphos that failed")
    page.keyboard.press("Enter")
    expect(page.locator("[data-testid=stApp][data-test-script-state=running]")).to_have_count(0)
    page.get_by_role("button", name="Save this search", exact=True).click()
    page.get_by_text("Saved searches").wait_for()

    page.goto(f"{served.url}/tests")
    page.get_by_text("2 found, newest first").wait_for()
    page.get_by_role("button", name=re.compile("^(bookmark )?Karstphos that failed")).first.click()
    page.get_by_text("1 found, newest first").wait_for()
    expect(page.get_by_role("searchbox", name="Search")).to_have_value("karstphos verdict:fail")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"


def test_a_tapped_square_shows_the_tests_behind_it(page: Page, served: Any, kept: Recorder) -> None:
    products = tuple(Product(name=n, maker="Ferrow", amount_ml=5.0) for n in ("Karstphos", "Rimezinc"))
    sign(kept, kept.start_test(TestPlan(title="Two", products=products), by="Wren", utc_offset_min=0), "fail")
    page.goto(f"{served.url}/history")
    page.get_by_role("radio", name="Pairs", exact=True).click()
    if narrow(page):
        page.get_by_text(re.compile(r"Karstphos \(Ferrow\) · ")).click()
        page.get_by_role("button", name=re.compile(r"Rimezinc \(Ferrow\): ")).click()
        page.get_by_role("link", name=re.compile("FAIL · test 1")).wait_for()
        return
    picture = page.locator(PICTURE).first
    picture.wait_for()
    box = picture.bounding_box()
    assert box is not None
    # The squares are 26 px wide at the lower right; that of the last column and the row above the last is a pair.
    picture.click(position={"x": box["width"] - 18, "y": box["height"] - 44})
    page.get_by_role("link", name=re.compile("FAIL · test 1")).wait_for()
    page.get_by_text(re.compile(r"Karstphos \(Ferrow\) 5\.28 per liter")).wait_for()
