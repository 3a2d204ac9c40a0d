"""Every screen and plain page against axe-core's rules, light and dark, desktop and phone; and by keyboard alone."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from importlib import resources
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.samples import load_samples
from jartest.screens.shell import SCREENS
from jartest.settings import Settings, open_recorder

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "desktop": (1280, 900)}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
PHOTO = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0015min.jpg"
PATHS = [s.path for s in SCREENS]


@pytest.fixture(scope="module")
def shop(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """The address of each screen and plain page of an app with the sample tests in it."""
    home = tmp_path_factory.mktemp("axe")
    recorder = open_recorder(Settings(home=home, database_url=f"sqlite:///{home / 'jartest.sqlite'}"))
    load_samples(recorder)
    row = recorder.find()[0]
    jar = recorder.start_test(recorder.case(row.id).test.plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(jar.id, by="Wren")
    recorder.store.close()
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    words = [sys.executable, "-m", "jartest", "app", "--port", str(port), "--no-browser"]
    server = subprocess.Popen(words, env=os.environ | {"JARTEST_HOME": str(home)}, stdout=subprocess.DEVNULL)
    base = f"http://localhost:{port}"
    for _ in range(300):
        with suppress(urllib.error.URLError, OSError):
            urllib.request.urlopen(f"{base}/_stcore/health", timeout=1).close()
            break
        time.sleep(0.2)
    pages = {p: f"{base}/{'' if p == 'bench' else p}" for p in PATHS}
    pages |= {"test": f"{base}/test?id={row.id}", "running test": f"{base}/test?id={jar.id}"}
    pages |= {"capture": f"{base}{link_path(Access(home), jar)}", "entry": f"{base}/enter"}
    pages["other looks"] = f"{pages['capture']}?other"
    yield pages
    server.terminate()
    server.wait(timeout=30)


def settle(page: Page) -> None:
    """Wait until the app has answered and nothing in the page has changed for a third of a second."""
    if page.locator("[data-testid=stApp]").count():
        page.locator("[data-testid=stMain]").wait_for(timeout=60_000)
        page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for(timeout=60_000)
        page.wait_for_function("!document.querySelector('[data-stale=true], [data-testid=stSkeleton]')")
    page.evaluate(
        """() => new Promise(done => {
          let timer = setTimeout(done, 350);
          const seen = new MutationObserver(changes => {
            // A countdown changes every second; that is no sign of a page still being drawn.
            if (changes.every(c => c.target.parentElement?.closest('[role=timer]'))) return;
            clearTimeout(timer); timer = setTimeout(done, 350); });
          seen.observe(document, {subtree: true, childList: true, characterData: true});
          setTimeout(done, 10_000); })"""
    )


NAMES = [*PATHS, "running test", "capture", "other looks", "entry"]
AXE = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")


def serious(page: Page) -> dict[str, str]:
    """What axe-core finds serious or worse in this page: the rule, and where first."""
    said = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert len(said["passes"]) > 5, "the rules were not run"
    return {
        v["id"]: v["nodes"][0]["html"][:160]
        for v in said["violations"]
        if v["impact"] in ("serious", "critical")
    }


def lapping(page: Page) -> list[str]:
    """Pairs of controls that lie over one another, so that a thumb may hit the wrong one."""
    pairs: list[str] = page.evaluate(
        """() => {
          const shown = e => e.checkVisibility({visibilityProperty: true, opacityProperty: true}) && !e.closest('[inert]');
          const all = [...document.querySelectorAll('[data-testid=stMain] :is(button, a[href], summary)')].filter(shown)
            .map(e => [e, e.getBoundingClientRect()]).filter(([, r]) => r.width && r.height);
          const found = [];
          // What is held at the bottom of a phone covers what scrolls under it; at the end nothing may be left under it.
          const held = e => !!e.closest('[class*=st-key-due-]') && getComputedStyle(e.closest('[class*=st-key-due-]')).position === 'fixed';
          const bar = all.filter(([e]) => held(e)).map(([e]) => e.closest('[class*=st-key-due-]').getBoundingClientRect().top)[0];
          const main = document.querySelector('[data-testid=stMain]');
          if (bar !== undefined) {
            const left = main.scrollHeight - main.clientHeight - main.scrollTop;
            all.filter(([e]) => !held(e)).forEach(([e, r]) => { if (r.bottom - left > bar) found.push(`${e.innerText} under what is due`); });
          }
          all.forEach(([e, a], i) => { for (const [f, b] of all.slice(i + 1)) {
            if (e.contains(f) || f.contains(e) || held(e) !== held(f)) continue;
            const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
            const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
            if (wide > 2 && high > 2) found.push(`${e.innerText || e.ariaLabel} / ${f.innerText || f.ariaLabel}`); } });
          return found; }"""
    )
    return pairs


def beyond_reach(page: Page) -> list[str]:
    """The controls that pressing Tab never comes to."""
    # A group of pills or radio buttons is one stop; arrows go on within it.
    page.evaluate(
        """() => {
          document.activeElement?.blur();
          const group = e => e.closest('[role=radiogroup], [role=toolbar], [role=grid], [data-testid=stButtonGroup]') || e;
          const every = root => [...root.querySelectorAll('*')].flatMap(e => e.shadowRoot ? [e, ...every(e.shadowRoot)] : [e]);
          window.left = every(document)
            .filter(e => e.matches('button, a[href], input, textarea, summary, [tabindex="0"]'))
            .filter(e => e.checkVisibility({visibilityProperty: true}) && !e.disabled && e.tabIndex >= 0 && !e.closest('[inert]'));
          // Within one shadow root the news of the focus does not leave it.
          const roots = [document, ...every(document).map(e => e.shadowRoot).filter(r => r)];
          for (const root of roots) root.addEventListener('focusin', e => { const at = e.composedPath()[0];
            window.left = window.left.filter(x => x !== at && group(x) !== group(at)); }); }"""
    )
    for _ in range(25):
        if not page.evaluate("window.left.filter(e => e.isConnected).length"):
            break
        for _ in range(10):
            page.keyboard.press("Tab")
    rest: list[str] = page.evaluate(
        "window.left.filter(e => e.isConnected).map(e => e.outerHTML.slice(0, 140))"
    )
    return rest


@pytest.mark.parametrize("name", NAMES)
def test_a_screen_has_no_serious_finding_light_or_dark_large_or_small_and_works_by_keyboard(
    chromium: Browser, shop: dict[str, str], name: str
) -> None:
    found: dict[tuple[str, ...], object] = {}
    for scheme in SCHEMES:
        # The plain pages forbid every script; axe is put in past that, by the browser itself.
        context = chromium.new_context(color_scheme=scheme, bypass_csp=True)
        page = context.new_page()
        page.goto(shop[name], timeout=60_000)
        if name == "running test" and scheme == "light":
            page.locator("input.photos").set_input_files(PHOTO)
            page.get_by_text("Write your name above").wait_for()
        page.evaluate(AXE)
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            settle(page)
            found[scheme, size] = serious(page)
            if scheme == "light":
                found["keyboard", size] = beyond_reach(page)
                found["lapping", size] = lapping(page)
        context.close()
    assert {where: what for where, what in found.items() if what} == {}
