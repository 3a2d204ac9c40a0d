"""From a five-product tank recipe to the crew's card, on screen and on paper, and its end, in a real browser."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

HERE = Path(__file__).resolve().parent
STABLE = HERE.parents[1] / "samples" / "stable"

pytestmark = pytest.mark.browser

# Name, maker, formulation, rate as on an (invented) label; typed in no order of addition.
FIVE = (
    ("Evenspread S", "Larkmill (invented)", "NIS", "8 fl oz/100 gal"),
    ("Velvetine Oil 83", "Larkmill (invented)", "EC", "0.25 % v/v"),
    ("Nettlesap Boron 10", "Brackmoor (invented)", "SL", "1 pt/acre"),
    ("Bineguard Copper 20", "Brackmoor (invented)", "SC", "1.5 qt/acre"),
    ("Chalkwing Sulfur 80", "Larkmill (invented)", "WG", "2 lb/100 gal"),
)
# 200 gal at 40 gal/acre is 5 acres.  Full tank and 32 fl oz jar by proportion, reckoned by hand: 4 lb and
# 4 lb / 800 = 2.27 g; 7.5 qt and 7.5 qt / 800 = 8.87 mL; 5 pt and 2.96 mL; 0.5 gal and 2.37 mL; 16 fl oz and
# 0.591 mL.  Unit sizes: NIST Handbook 44, App. C.
JAR = (
    "2.27 g (0.08 oz)",
    "8.87 mL (1.8 tsp)",
    "2.96 mL (0.6 tsp)",
    "2.37 mL (0.48 tsp)",
    "0.591 mL (0.12 tsp)",
)
TANK = (
    "4 lb (1.814 kg)",
    "1.87 gal (7.098 L)",
    "80 fl oz (2.366 L)",
    "64 fl oz (1.893 L)",
    "16 fl oz (473 mL)",
)
# The same on the crew's card, in the measures of a filling station.
CARD = (
    "4 lb (1.814 kg)",
    "1 gal 112 fl oz (7.098 L)",
    "5 pt (2.366 L)",
    "4 pt (1.893 L)",
    "1 pt (473 mL)",
)


class Clocked:
    """The app whose clock can be set ahead, on a free port over one data folder."""

    def __init__(self, folder: Path) -> None:
        self._ahead = folder / "ahead"
        self.go_to(0)
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            port = s.getsockname()[1]
        self.url = f"http://localhost:{port}"
        self.server = subprocess.Popen(
            [sys.executable, str(HERE / "clocked_server.py"), str(port)],
            env=os.environ | {"JARTEST_HOME": str(folder / "home"), "JARTEST_TEST_AHEAD": str(self._ahead)},
            stdout=subprocess.DEVNULL,
        )

    def go_to(self, seconds: float) -> None:
        """Set the app's clock so far ahead of this machine's."""
        self._ahead.write_text(str(seconds), "utf-8")

    def wait(self) -> None:
        for _ in range(150):
            assert self.server.poll() is None, "the server ended by itself"
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1):
                    return
            except (urllib.error.URLError, OSError):
                time.sleep(0.2)
        raise AssertionError("the server did not answer in 30 s")


@pytest.fixture
def clocked(tmp_path: Path) -> Iterator[Clocked]:
    app = Clocked(tmp_path)
    app.wait()
    yield app
    app.server.terminate()
    app.server.wait(timeout=20)


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    yield page
    context.close()


class Hands:
    """What a person does on a page, counted: fields typed into, and taps."""

    def __init__(self, page: Page) -> None:
        self.page, self.fields, self.signs, self.taps = page, 0, 0, 0
        self.began = time.monotonic()

    def type(self, label: str, text: str) -> None:
        self.page.get_by_label(label, exact=True).fill(text)
        self.page.keyboard.press("Tab")
        self.fields += 1
        self.signs += len(text)

    def pick_product(self, n: int, said: str) -> None:
        """Type the first letters and take what the shelf offers."""
        self.page.get_by_label(f"Product {n}", exact=True).press_sequentially(said[:4].lower(), delay=40)
        self.fields += 1
        self.signs += 4
        self.tap(f"It is {said}")

    def tap(self, name: str | re.Pattern[str]) -> None:
        settle(self.page)
        self.page.get_by_role("button", name=name).click()
        self.taps += 1

    def say(self) -> str:
        return f"{self.fields} fields with {self.signs} signs, {self.taps} taps, {time.monotonic() - self.began:.0f} s of a robot's hands"


def introduce(page: Page) -> None:
    page.get_by_label("Who are you?").fill("Wren")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Working as Wren").wait_for()


def type_recipe(page: Page, hands: Hands, *, known: bool) -> None:
    """The five products; those the shelf knows need no more than name and rate."""
    for n, (name, maker, code, rate) in enumerate(FIVE, start=1):
        if n > 2:
            hands.tap("+ Another product")
        if known:
            hands.pick_product(n, f"{name} ({maker})")
            page.get_by_text(f"On the shelf: {maker}, {code}").first.wait_for()
        else:
            hands.type(f"Product {n}", name)
            hands.tap(f"More {n}")
            hands.type(f"Maker {n}", maker)
            hands.type(f"Formulation {n}", code)
            page.keyboard.press("Escape")
        hands.type(f"Rate {n}", rate)
        expect(
            page.get_by_text(re.compile("^(Understood|On the shelf.*understood): (?!tank)")).filter(
                visible=True
            )
        ).to_have_count(n)


def settle(page: Page) -> None:
    """Wait until the app has answered: a tap on a page that is still being drawn may be lost."""
    expect(page.locator("[data-testid=stApp][data-test-script-state=running]")).to_have_count(0)


def take(page: Page, minute: int) -> None:
    """A photo for the look that is due, with its lines said to be right."""
    picture = page.locator("[data-testid=stImage] img").first
    old = picture.get_attribute("src") if picture.count() else None
    chooser = page.locator("input.photos")
    chooser.set_input_files(STABLE / f"stable-{minute:04}min.jpg")
    page.wait_for_function(
        "old => { const i = document.querySelector('[data-testid=stImage] img'); return i && i.getAttribute('src') !== old; }",
        arg=old,
    )
    page.get_by_role("button", name="Lines are right").click()
    page.get_by_text("Lines set by hand by Wren").wait_for()


def pdf_text(page: Page, path: Path) -> str:
    with page.expect_download() as got:
        page.get_by_role("button", name=re.compile("^Print: ")).click()
    got.value.save_as(path)
    read = PdfReader(path)
    assert len(read.pages) == 1, "the card is one page"
    return " ".join(read.pages[0].extract_text().split())


def test_a_recipe_becomes_a_jar_a_card_and_a_lapsed_card(
    clocked: Clocked, page: Page, tmp_path: Path, record_property: object
) -> None:
    said = record_property
    assert callable(said)

    # The recipe typed in.
    page.goto(f"{clocked.url}/new")
    introduce(page)
    hands = Hands(page)
    page.get_by_role("radio", name="Tank recipe").click()
    hands.taps += 1
    hands.type("Tank", "200 gal")
    hands.type("Carrier rate", "40 gal/acre")
    hands.type("Jar filled to", "32 fl oz")
    page.get_by_text("carrier 40 US gal per acre").wait_for()
    type_recipe(page, hands, known=False)
    page.get_by_text("How to measure it, why in this order").click()

    # Amounts and order, before anything is poured.
    for amount in (*JAR, *TANK):
        page.get_by_text(amount).first.wait_for()
    page.get_by_text("The jar would overflow").wait_for()
    for place in ("1 · Chalkwing Sulfur 80", "5 · Evenspread S"):  # among the steps, and with its reason
        expect(page.get_by_role("strong").filter(has_text=place).filter(visible=True)).to_have_count(2)
    page.get_by_text("Oklahoma State University Extension").first.wait_for()

    # Addition by addition.
    hands.tap("Start this test")
    page.get_by_role("heading", name=re.compile(r"1 · 2.27 g .* of Chalkwing Sulfur 80")).wait_for()
    first = page.get_by_role("button", name="Add 1 ·")
    first.click()
    hands.taps += 1
    first.wait_for(state="detached")
    said("recipe of five new products to the first addition", hands.say())
    for n in (2, 3, 4, 5):
        button = page.get_by_role("button", name=f"Add {n} ·")
        button.click()
        button.wait_for(state="detached")
    page.get_by_role("button", name="Mixing done, start the clock").click()
    page.get_by_text("DUE NOW").wait_for()
    take(page, 0)
    clocked.go_to(1800)
    page.reload()
    page.get_by_role("button", name="Wren").first.wait_for()
    page.get_by_text("Photo: 30 min").wait_for()
    take(page, 30)

    # A pass, signed.
    for tap in ("Bottom clean", "Re-mixes fully", "Runs like water, no gel"):
        page.get_by_role("button", name=tap).click()
        page.get_by_role("button", name=tap).wait_for(state="detached")
    expect(page.locator("[class*=st-key-chip-][class*=machine]")).to_contain_text("● PASS to 30 min")
    page.get_by_text("Why: every reason, and the rule").click()
    page.get_by_text(re.compile("^● pass 100 · Re-mixes fully")).wait_for()
    settle(page)
    page.get_by_text("● pass", exact=True).click()
    page.get_by_role("button", name="Sign: PASS to 30 min, as Wren").click()
    page.get_by_text("Signed by Wren, ").wait_for()
    page.get_by_role("button", name="Make the tank card").click()
    page.get_by_role("link", name="The tank card of this test").click()

    # The card on screen and on paper.
    plate = page.locator("[class*=st-key-chip-][class*=card]")
    expect(plate).to_contain_text("● PASS")
    for amount in CARD:
        page.get_by_text(amount).first.wait_for()
    card_url = page.url
    text = pdf_text(page, tmp_path / "card.pdf")
    for amount, (name, maker, code, rate) in zip(CARD, reversed(FIVE), strict=True):
        assert f"{name} ({maker}) {code} {amount} {rate}" in text
    assert "Signed by Wren" in text
    assert "on jar test 1" in text
    assert "30 min of standing no photo of the jar showed anything part" in text
    assert "LAPSED" not in text
    page.get_by_label("In the tank this time").fill("50 gal")
    page.keyboard.press("Enter")
    page.get_by_text("1 lb (454 g)").wait_for()  # a quarter of 4 lb

    # A second time: everything is on the shelf, and tank and carrier stand as last time.
    page.goto(f"{clocked.url}/new")
    page.get_by_role("button", name="Working as Wren").wait_for()
    again = Hands(page)
    expect(page.get_by_label("Tank", exact=True)).to_have_value("200 gal")
    type_recipe(page, again, known=True)
    page.get_by_text(JAR[0]).first.wait_for()
    again.tap("Start this test")
    page.get_by_role("button", name="Add 1 ·").click()
    again.taps += 1
    page.get_by_role("button", name="Add 1 ·").wait_for(state="detached")
    said("the same recipe a second time to the first addition", again.say())

    # Another maker's copper on the shelf ends the card, on screen and on paper.
    page.goto(f"{clocked.url}/shelf")
    page.get_by_label("Find").fill("copper")
    page.keyboard.press("Enter")
    page.get_by_text("1 found.").wait_for()
    page.get_by_role("button", name="Change", exact=True).click()
    page.get_by_label("Maker", exact=True).fill("Stonecrop (invented)")
    page.keyboard.press("Tab")
    settle(page)
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("Bineguard Copper 20 (Stonecrop (invented)) is on the shelf.").wait_for()
    page.goto(card_url)
    expect(plate).to_contain_text("✖ LAPSED: DO NOT MIX BY THIS CARD")
    why = "Bineguard Copper 20 is now from Stonecrop (invented); tested was that of Brackmoor (invented)."
    page.get_by_text(why).wait_for()
    expect(page.get_by_text(CARD[0]).first).to_be_hidden()
    text = pdf_text(page, tmp_path / "lapsed.pdf")
    assert text.startswith("✖ LAPSED: DO NOT MIX BY THIS CARD")
    assert why in text


def test_a_stop_at_the_bench_keeps_its_place_and_makes_no_card_on_a_phone(
    clocked: Clocked, chromium: Browser
) -> None:
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{clocked.url}/new")
    introduce(page)
    page.get_by_role("radio", name="Tank recipe").click()
    hands = Hands(page)
    hands.type("Tank", "100 gal")
    hands.type("Product 1", "Bineguard Copper 20")
    hands.type("Rate 1", "1 qt/100 gal")
    hands.tap("More 1")
    hands.type("Formulation 1", "SC")
    page.keyboard.press("Escape")
    hands.type("Product 2", "Nettlesap Boron 10")
    hands.type("Rate 2", "1 pint per acre")
    page.get_by_text("is per area, so the carrier rate is needed too").wait_for()
    hands.type("Rate 2", "1 oz/100 gal")
    page.get_by_text("may be fluid ounces or weight").first.wait_for()
    hands.type("Rate 2", "1 pt/100 gal")
    hands.tap("More 2")
    hands.type("Formulation 2", "SL")
    page.keyboard.press("Escape")
    page.get_by_text("1.18 mL").first.wait_for()  # 1 qt/100 gal: 473.18 mL per 400 quarts
    page.get_by_text("2 · Nettlesap Boron 10 SL").first.wait_for()  # the formulation typed last is read
    settle(page)
    page.get_by_text("How to measure it, why in this order").click()
    page.get_by_role("button", name="Nettlesap Boron 10 SL: earlier").click()
    page.get_by_text("moved here; advised as addition 2").wait_for()
    settle(page)
    page.get_by_role("button", name="Drag Nettlesap Boron 10").press("ArrowDown")
    expect(page.get_by_text("moved here")).to_have_count(0)
    expect(page.get_by_role("button", name="Drag Nettlesap Boron 10")).to_be_focused()
    settle(page)
    page.get_by_role("button", name="Nettlesap Boron 10 SL: earlier").click()
    page.get_by_text("moved here; advised as addition 2").wait_for()
    settle(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"
    hands.tap("Start this test")
    page.get_by_role("button", name="Add 1 · Nettlesap Boron 10").click()
    page.get_by_text("Stop here, after 1: Nettlesap Boron 10").click()
    page.get_by_label("What happened").fill("curds at once")
    page.get_by_role("button", name="Stop here", exact=True).click()
    page.get_by_text("stopped").first.wait_for()
    page.get_by_text("This test: plan, phone, paper, history").click()
    page.get_by_text("History: who did what, when").click()
    page.get_by_text(re.compile("stopped the test.*curds at once")).wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "cut off at the side"
    context.close()
