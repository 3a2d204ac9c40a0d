"""Every screen and plain page against axe-core's rules, light and dark, desktop and phone; and by keyboard alone."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from importlib import resources
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.samples import load_samples
from jartest.screens.shell import SCREENS
from jartest.settings import Settings, open_recorder

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "desktop": (1280, 900)}
PATHS = [s.path for s in SCREENS]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """This machine's Chromium."""
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine; accessibility was not checked")
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        yield one
        one.close()


@pytest.fixture(scope="module")
def shop(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
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
    yield pages
    server.terminate()
    server.wait(timeout=30)


def settle(page: Page, url: str) -> None:
    """Open a page and wait until nothing in it moves any more."""
    page.goto(url, timeout=60_000)
    if "/snap/" in url or url.endswith("/enter"):
        return
    page.locator("[data-testid=stMain]").wait_for(timeout=60_000)
    page.locator("[data-testid=stStatusWidget]").wait_for(state="detached", timeout=60_000)
    page.wait_for_timeout(1500)


NAMES = [*PATHS, "running test", "capture", "entry"]


@pytest.mark.parametrize("size", sorted(SIZES))
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(browser: Browser, shop: dict[str, str], size: str, scheme: Any) -> None:
    axe = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    width, height = SIZES[size]
    found = {}
    # The plain pages forbid every script; axe is put in past that, by the browser itself.
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, bypass_csp=True
    )
    for name in NAMES:
        page = context.new_page()
        settle(page, shop[name])
        page.evaluate(axe)
        said = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert said["passes"] is not None
        for v in said["violations"]:
            if v["impact"] in ("serious", "critical"):
                found.setdefault(v["id"], []).append((name, v["nodes"][0]["html"][:160]))
        page.close()
    context.close()
    assert found == {}


@pytest.mark.parametrize("size", sorted(SIZES))
def test_every_control_of_every_screen_is_reached_by_keyboard(
    browser: Browser, shop: dict[str, str], size: str
) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    missed = {}
    for name in NAMES:
        page = context.new_page()
        settle(page, shop[name])
        # A group of pills or radio buttons is one stop; arrows go on within it.
        page.evaluate(
            """() => {
              const group = e => e.closest('[role=radiogroup], [role=toolbar], [role=grid], [data-testid=stButtonGroup]') || e;
              window.left = [...document.querySelectorAll('button, a[href], input, textarea, summary, [tabindex="0"]')]
                .filter(e => e.checkVisibility({visibilityProperty: true}) && !e.disabled && e.tabIndex >= 0 && !e.closest('[inert]'));
              document.addEventListener('focusin', e => {
                window.left = window.left.filter(x => x !== e.target && group(x) !== group(e.target)); }); }"""
        )
        for _ in range(250):
            if not page.evaluate("window.left.filter(e => e.isConnected).length"):
                break
            page.keyboard.press("Tab")
        rest = page.evaluate("window.left.filter(e => e.isConnected).map(e => e.outerHTML.slice(0, 140))")
        if rest:
            missed[name] = rest[:3]
        page.close()
    context.close()
    assert missed == {}
