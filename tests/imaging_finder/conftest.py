"""The reliability table of the finder stands at the end of the test report."""

from __future__ import annotations

import pytest

TABLE: pytest.StashKey[list[str]] = pytest.StashKey()


@pytest.fixture
def reliability(pytestconfig: pytest.Config) -> list[str]:
    """Lines added here are printed after the tests."""
    return pytestconfig.stash.setdefault(TABLE, [])


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    lines = config.stash.get(TABLE, [])
    if lines:
        terminalreporter.section("how sure the finder is, and how often right")
        for line in lines:
            terminalreporter.write_line(line)
