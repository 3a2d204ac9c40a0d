"""Words from anywhere in every field of the records, every screen opened: nothing outside is asked for anything."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from jartest.exchange.answer import ask_about_test, receive
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, Product, TestPlan, Water
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.screens.shell import SCREENS
from jartest.verdict.limits import load_limits

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"
OUT = "evil.example"  # RFC 2606: names that are nobody's
# HTML itself is refused before it is kept (tests/records); this is what else a page takes for its own.
HOSTILE = (
    f"![x](http://{OUT}/a.png) [y](http://{OUT}/b) http://{OUT}/c www.{OUT}/d mail@{OUT} <http://{OUT}/e> "
    f"$\\includegraphics{{http://{OUT}/f}}$ :material/home: =HYPERLINK(1) \u202edetaerf\u202c \u2066x\u2069 \x07\x1b[31m "
    f"![x][1]\n\n[1]: http://{OUT}/g\n\n# big\n| a | b |\n|---|---|\n:red[z] `q` ~~s~~ \u05d0\u05d1"
)
pytestmark = pytest.mark.browser


def words(n: int) -> str:
    """Hostile words, each with its own mark."""
    return f"{n} {HOSTILE}".replace("<http", "< http")


@pytest.fixture
def hostile(served: Any, tmp_path: Path) -> str:
    """The records of the served app with such words wherever words are kept; the test's id."""
    here = home(served.home)
    products = tuple(
        Product(name=words(n), maker=words(n), formulation="SC", lot=words(n), amount_text="5 mL", amount_ml=5.0)
        for n in (1, 2)
    )  # fmt: skip
    plan = TestPlan(
        title=words(3),
        products=products,
        water=Water(source=words(4), hardness_mg_l=180.0, ph=7.4),
        jar=JarUsed(),
        schedule=default_schedule(2, (0.0, 900.0)),
        notes=words(5),
    )
    test = here.start_test(plan, by="Wren", utc_offset_min=0)
    here.add_product(test.id, 1, by="Wren")
    here.add_product(test.id, 2, by="Wren")
    here.finish_mixing(test.id, by="Wren")
    taken = here.take_look(
        test.id, slot="age-0", data=SAMPLE.read_bytes(), name=words(6)[:100], by="Wren", note=words(7)
    )
    assert taken.reading is not None
    here.give_opinion(test.id, word="fail", reason=words(8), by=HOSTILE[:70].replace("<", ""))
    parcel = ask_about_test(
        here.store, here.photos, test.id, parcel_id="a" * 32, at=here.now(), by="Sorrel", words=words(9)
    )
    receive(here.store, parcel.data, at=here.now())
    here.store.close()
    return test.id


def home(folder: Path) -> Recorder:
    store = Store.open(f"sqlite:///{folder / 'jartest.sqlite'}")
    return Recorder(store=store, photos=PhotoFiles(folder / "photos"), limits=load_limits())


def listened(page: Page, served: Any) -> tuple[list[str], list[str]]:
    """What the page asks of anybody but the server, and what its policy refuses or breaks, as they come."""
    outside: list[str] = []
    refused: list[str] = []
    own = (served.url, served.url.replace("http", "ws", 1), "data:", "blob:")
    page.on("request", lambda r: None if r.url.startswith(own) else outside.append(r.url))
    page.on("websocket", lambda w: None if w.url.startswith(own) else outside.append(w.url))
    page.on(
        "console",
        lambda m: refused.append(m.text) if "Content Security Policy" in m.text else None,
    )
    return outside, refused


@pytest.fixture
def page(chromium: Browser) -> Any:
    one = chromium.new_page()
    one.set_default_timeout(30_000)
    yield one
    one.close()


def test_no_word_of_the_records_makes_a_screen_call_outside_or_a_link(
    page: Page, served: Any, hostile: str
) -> None:
    outside, refused = listened(page, served)
    shown = 0
    for screen in SCREENS:
        query = f"?id={hostile}" if screen.path in ("test", "new") else ""
        page.goto(f"{served.url}/{screen.path}{query}")
        for folded in page.locator("[data-testid=stExpander] summary").all():
            folded.click()
        page.wait_for_timeout(500)
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.href)")
        sources = page.eval_on_selector_all("[src]", "all => all.map(a => a.src)")
        assert [x for x in (*links, *sources) if OUT in x] == [], screen.path
        assert page.locator(".katex").count() == 0, screen.path
        shown += OUT in page.inner_text("body").replace("\u2060", "")
    assert shown >= 3, "the words were shown nowhere, so that nothing was tried"
    assert outside == []
    assert refused == []


def fill_all(page: Page, within: str = "") -> int:
    """Type hostile words into every field that is seen, one after another; how many there were."""
    filled = 0
    left = page.locator(f"{within} :is(input[type=text], textarea):not([data-tried]):visible")
    field = page.locator("[data-now]")
    while left.count():
        left.first.evaluate(
            "e => { document.querySelectorAll('[data-now]').forEach(x => delete x.dataset.now); "
            "e.dataset.now = e.dataset.tried = 1; }"
        )
        if field.is_editable():
            field.fill(re.sub(r"[\n\x07\x1b]", " ", HOSTILE))
            field.press("Tab")
            page.wait_for_timeout(300)
        filled += 1
        assert filled < 100, "the same fields come again and again"
    return filled


def test_what_is_typed_into_every_field_stays_text(page: Page, served: Any) -> None:
    outside, refused = listened(page, served)
    filled = 0
    for screen in SCREENS:
        page.goto(f"{served.url}/{screen.path}")
        for folded in page.locator("[data-testid=stExpander] summary").all():
            folded.click()
        filled += fill_all(page)
        for opener in page.locator("[data-testid=stMain] [data-testid=stPopover] button:visible").all():
            opener.click()
            page.get_by_test_id("stPopoverBody").wait_for()
            filled += fill_all(page, "[data-testid=stPopoverBody]")
            page.keyboard.press("Escape")
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.href)")
        assert [x for x in links if OUT in x] == [], screen.path
    assert filled > 10
    assert outside == []
    assert refused == []


def test_the_policy_lets_no_picture_script_or_call_from_outside_in(page: Page, served: Any) -> None:
    """Proof that the policy, not our care alone, stands between a page and the outside."""
    page.goto(served.url)
    tried = page.evaluate(
        """async (out) => {
          const seen = [];
          document.addEventListener('securitypolicyviolation', (e) => seen.push(e.effectiveDirective));
          document.body.append(Object.assign(new Image(), { src: `http://${out}/a.png` }));
          document.body.append(Object.assign(document.createElement('script'), { src: `http://${out}/a.js` }));
          document.body.append(Object.assign(document.createElement('iframe'), { src: `http://${out}/` }));
          const style = document.createElement('style');
          style.textContent = `@font-face{font-family:q;src:url(http://${out}/q.woff)} body{background:url(http://${out}/b.png)}`;
          document.body.append(style);
          await fetch(`http://${out}/c`).catch(() => 0);
          try { new WebSocket(`ws://${out}/d`); } catch { /* refused */ }
          await new Promise((done) => setTimeout(done, 500));
          return seen; }""",
        OUT,
    )
    assert {"img-src", "script-src-elem", "frame-src", "connect-src"} <= set(tried)
