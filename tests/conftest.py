"""Fixtures that several floors share."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from jartest.recorder import Recorder
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

REPO = Path(__file__).resolve().parent.parent


class FakeClock:
    """A clock that stands still until it is told to go on."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def go_on(self, **delta: float) -> None:
        self.now += timedelta(**delta)


@pytest.fixture
def repo() -> Path:
    """The root of the checkout."""
    return REPO


@pytest.fixture
def clock() -> FakeClock:
    """A clock that stands still until it is told to go on."""
    return FakeClock()


@pytest.fixture
def recorder(tmp_path: Path, clock: FakeClock) -> Iterator[Recorder]:
    """An empty recorder in a folder of its own, on a fake clock."""
    with Store.open(f"sqlite:///{tmp_path / 'jartest.sqlite'}") as store:
        yield Recorder(store=store, photos=PhotoFiles(tmp_path / "photos"), limits=load_limits(), clock=clock)


@pytest.fixture
def figures(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Takes a line of measured figures into the test report."""
    return lambda line: record_property("figures", line)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The figures that tests measured, in a part of their own."""
    lines = [
        str(value)
        for word in ("passed", "failed", "xfailed")
        for report in terminalreporter.stats.get(word, [])
        for name, value in report.user_properties
        if name == "figures"
    ]
    if lines:
        terminalreporter.section("figures")
        for line in sorted(lines):
            terminalreporter.write_line(line)


@pytest.hookimpl(tryfirst=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """In CI a browser test that skipped fails the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") != "true" or reporter is None:
        return
    skipped = [r for r in reporter.stats.get("skipped", []) if "browser" in getattr(r, "keywords", {})]
    if skipped and exitstatus == 0:
        reporter.write_line(f"CI: {len(skipped)} browser tests skipped; install chromium.", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
