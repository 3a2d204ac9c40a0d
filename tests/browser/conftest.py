"""A served app and a headless Chromium, for the tests that drive the screens as people do."""

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
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

expect.set_options(timeout=20_000)  # a shared machine may be slow; a condition that holds sooner ends sooner

QUIET = [
    "--no-sandbox",  # Chromium refuses to start as root with it
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-fake-device-for-media-stream",  # a webcam where there is none
    "--use-fake-ui-for-media-stream",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A test in a real browser that fails is tried twice more at most, and the report says that it was."""
    for item in items:
        if item.path.parent == Path(__file__).parent:
            item.add_marker(pytest.mark.flaky(reruns=2))


@pytest.fixture(autouse=True)
def pages_stand_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen that was gone to is drawn before a test goes on, as nobody presses what still moves.

    It is drawn twice: the browser tells who works here only after the first time, and what stood below then
    moves up.
    """
    gone_to = Page.goto

    def goto(page: Page, url: str, **said: Any) -> Any:
        answer = gone_to(page, url, **said)
        if page.locator("[data-testid=stApp]").count():
            page.wait_for_function(
                """() => {
                  const app = document.querySelector('[data-testid=stApp]');
                  const quiet = app?.dataset.testScriptState === 'notRunning' && document.querySelector('[data-testid=stMain]')
                    && !document.querySelector('[data-stale=true], [data-testid=stSkeleton]');
                  if (!quiet) { window.quietSince = 0; return false; }
                  window.quietSince ||= Date.now();
                  return Date.now() - window.quietSince > 400; }""",
                timeout=60_000,
            )
        return answer

    monkeypatch.setattr(Page, "goto", goto)


class Served:
    """The app on a free port over one data folder, by its own command; it can be stopped and started again."""

    def __init__(self, home: Path, *options: str) -> None:
        self.home, self.options = home, options
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            self.port: int = s.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self._server: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [sys.executable, "-m", "jartest", "app", "--port", str(self.port), "--no-browser"]
        self._server = subprocess.Popen(
            [*command, *self.options],
            env=os.environ | {"JARTEST_HOME": str(self.home)},
            cwd=self.home.parent,
            stdout=subprocess.DEVNULL,
        )
        for _ in range(150):
            assert self._server.poll() is None, "the server ended by itself"
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1):
                    return
            except (urllib.error.URLError, OSError):
                time.sleep(0.2)
        raise AssertionError("the server did not answer in 30 s")

    def stop(self) -> None:
        if self._server is not None:
            self._server.terminate()
            self._server.wait(timeout=20)
            self._server = None


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """The app over an empty data folder."""
    app = Served(tmp_path / "home")
    app.start()
    yield app
    app.stop()


@pytest.fixture(scope="module")
def served_to_all(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The app over one data folder for all tests of a file, each with records of its own."""
    app = Served(tmp_path_factory.mktemp("shared") / "home")
    app.start()
    yield app
    app.stop()


@pytest.fixture(scope="module")  # its event loop would stand in the way of tests that run one of their own
def chromium() -> Iterator[Browser]:
    """This machine's Chromium, headless."""
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine; the screens were not driven")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=QUIET)
        yield browser
        browser.close()
