"""The owner's eleven questions, each answered in at most three taps from the bench, at a desk and on a phone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page

from jartest.recorder import Recorder
from jartest.records.model import JarUsed, KeptVerdict, Opinion, Product, Signature, TestPlan, Water
from jartest.settings import open_recorder, read_settings
from jartest.verdict.values import Verdict

pytestmark = pytest.mark.browser

# Invented. Alder with Briar curdles in hard water; Clove goes with Alder; Dill passed with Alder once, two years ago.
MOST = 3


class Past:
    """Puts signed tests of a shop's past into its records, a day apart."""

    def __init__(self, recorder: Recorder) -> None:
        self.recorder, self.at = recorder, datetime(2024, 3, 1, 8, 0, tzinfo=UTC)
        self.sha256 = recorder.limits.sha256
        recorder.store.keep_limits(self.sha256, recorder.limits.text)

    def jar(
        self, products: str, word: Any, *, hardness: float = 60.0, ml: float = 4.0, blind: Any = None
    ) -> None:
        r = self.recorder
        self.at += timedelta(days=1)
        test = r.store.add_test(
            TestPlan(
                title=products,
                products=tuple(Product(name=n, maker="Ferrow", amount_ml=ml) for n in products.split()),
                water=Water(source="yard well" if hardness > 200 else "rain tank", hardness_mg_l=hardness),
                jar=JarUsed(volume_ml=1000.0),
            ),
            test_id=r.fresh_id(),
            by="Wren",
            at=self.at,
            utc_offset_min=0,
        )
        said = Verdict(word=word, reasons=(), limits_sha256=self.sha256, age_s=7200.0)
        seen = KeptVerdict(id=r.fresh_id(), test_id=test.id, at=self.at, verdict=said)
        r.store.add_verdict(seen)
        opinion = None
        if blind is not None:
            opinion = Opinion(
                id=r.fresh_id(),
                test_id=test.id,
                at=self.at,
                by="Wren",
                word=blind,
                reason="seen",
                saw_machine=False,
            )
        r.store.add_signature(
            Signature(
                id=r.fresh_id(), test_id=test.id, at=self.at + timedelta(hours=3), by="Wren", word=blind or word,
                reason="seen", revision=1, verdict_id=seen.id, opinion_id=opinion.id if opinion else None,
            ),
            opinion,
        )  # fmt: skip


@pytest.fixture(scope="module")
def shop(served_to_all: Any) -> str:
    """The address of a shop of three seasons."""
    recorder = open_recorder(read_settings({"JARTEST_HOME": str(served_to_all.home)}))
    past = Past(recorder)
    past.jar("Alder Dill", "pass")
    for year in (2025, 2026):
        past.at = datetime(year, 3, 1, 8, 0, tzinfo=UTC)
        for _ in range(5):
            past.jar("Alder Briar", "pass", hardness=60.0)
            past.jar("Alder Clove", "pass", hardness=60.0 if year == 2025 else 300.0, ml=3.0, blind="pass")
    for _ in range(6):
        past.jar("Alder Briar", "fail", hardness=420.0, blind="fail")
    past.jar("Briar Clove", "pass")
    recorder.store.close()
    return str(served_to_all.url)


class Thumb:
    """Counts its taps; reading, scrolling and typing are none."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, what: Locator) -> None:
        what.first.click()
        self.taps += 1

    def history(self) -> None:
        self.tap(self.page.get_by_role("link", name="History", exact=True))
        self.page.get_by_role("heading", name="History", exact=True).wait_for()

    def view(self, name: str) -> None:
        self.history()
        self.tap(self.page.get_by_role("radio", name=name, exact=True))

    def product(self, name: str) -> None:
        """The page of a product, picked from the list where the history opens."""
        self.history()
        self.tap(self.page.get_by_role("combobox", name=re.compile("What goes with")))
        self.tap(self.page.get_by_role("option", name=name))


def _goes_with(thumb: Thumb) -> None:
    thumb.product("Alder (Ferrow)")


def _in_view(name: str) -> Callable[[Thumb], None]:
    return lambda thumb: thumb.view(name)


# Each question: the way to its answer, and what the screen then says.
QUESTIONS: dict[str, tuple[Callable[[Thumb], None], str]] = {
    "may X go with Y": (_goes_with, r"● Clove \(Ferrow\): goes"),
    "at this rate": (
        _goes_with,
        r"Clove \(Ferrow\): goes at Alder \(Ferrow\) at 3 per liter, .*beyond that not tried",
    ),
    "in that water": (_goes_with, r"Briar \(Ferrow\): (likely )?fails in water from .* mg/L hardness on"),
    "what goes with X": (_goes_with, r"Alder \(Ferrow\): 2 go with it, 1 do not"),
    "what was approved, by whom, on what": (
        _in_view("Approved"),
        r"PASS to 2 h · signed by Wren 2026-03-\d\d · test \d+",
    ),
    "which pair keeps failing": (Thumb.history, r"Alder \(Ferrow\) with Briar \(Ferrow\) keeps failing \("),
    "maker or water": (
        Thumb.history,
        r"it is the water: in water from .* 6 of 6 jars failed, .*\(tests 27, 26, 25",
    ),
    "whose eye": (_in_view("How good are we"), r"Wren"),
    "what to test before spring": (_in_view("Before the season"), r"jars? covers? all \d+ open pairs"),
    "what changed": (Thumb.history, r"In 2026, by 17 jars: pairs .*"),
    "what rests on one old jar": (
        Thumb.history,
        r"Alder \(Ferrow\) with Dill \(Ferrow\): one jar, \d+ (months|years) ago",
    ),
}


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desktop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser) -> Iterator[Page]:
    """A window of one size or another."""
    width, height = request.param
    context = chromium.new_context(viewport={"width": width, "height": height}, has_touch=width < 500)
    page = context.new_page()
    page.set_default_timeout(30_000)
    yield page
    context.close()


def test_each_question_is_answered_in_three_taps(
    page: Page, shop: str, record_property: Callable[[str, object], None]
) -> None:
    for question, (go, answer) in QUESTIONS.items():
        page.goto(shop)
        thumb = Thumb(page)
        go(thumb)
        page.get_by_text(re.compile(answer)).first.wait_for()
        record_property(f"taps: {question}", thumb.taps)
        assert thumb.taps <= MOST, question
        wide = page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert wide, f"cut off at the side: {question}"
    assert len(QUESTIONS) == 11


def test_the_photos_of_an_approval_are_one_tap_away(page: Page, shop: str) -> None:
    page.goto(shop)
    thumb = Thumb(page)
    thumb.product("Alder (Ferrow)")
    page.get_by_text(
        re.compile(r"On 10 jars, the newest test \d+: PASS to 2 h, signed by Wren")
    ).first.wait_for()
    page.get_by_text("Photos and jars").last.click()
    page.get_by_role("link", name=re.compile(r"PASS to 2 h · test \d+")).first.wait_for()
