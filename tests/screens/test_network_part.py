"""The network's part of the help: what to scan, and who may make a new access code."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from jartest.field.access import Access
from jartest.screens import network_part

Open = Callable[..., AppTest]
LABEL = "Make a new access code"


class Seen:
    """Where a page is looked at from, as Streamlit tells it: no address for this machine."""

    def __init__(self, url: str, ip: str | None = None, **headers: str) -> None:
        self.url, self.ip_address, self.headers = url, ip, headers
        self.timezone_offset = 0


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> Callable[[Seen], None]:
    """The page from somewhere, of an app that serves the network."""
    monkeypatch.setenv("JARTEST_PHONE_URL", "http://192.0.2.20:8501")  # RFC 5737: for documentation

    def look(where: Seen) -> None:
        monkeypatch.setattr(network_part.st, "context", where)

    return look


def test_an_app_for_this_machine_alone_says_how_to_open_it(screen: Open, home: Path) -> None:
    app = screen("help")
    assert any("jartest app --lan" in m.value for m in app.markdown)
    assert LABEL not in [b.label for b in app.button]


def test_the_shops_screen_makes_a_code_that_fits_and_is_kept_nowhere(
    screen: Open, home: Path, seen: Callable[[Seen], None]
) -> None:
    seen(Seen("http://localhost:8501/help"))
    old = Access(home).make_code()
    app = screen("help")
    assert any("192.0.2.20:8501" in m.value for m in app.markdown)
    next(b for b in app.button if b.label == LABEL).click().run()
    said = "\n".join(m.value for m in app.markdown)
    code = re.search(r"Access code: (\w{4}-\w{4})", said)
    assert code is not None
    assert Access(home).code_fits(code[1])
    assert not Access(home).code_fits(old)
    assert code[1].replace("-", "") not in (home / "access.json").read_text("utf-8").upper()
    app.run()
    assert code[1] not in "\n".join(m.value for m in app.markdown), "shown once"


def test_the_shops_screen_lists_the_devices_and_shows_one_out(
    screen: Open, home: Path, seen: Callable[[Seen], None]
) -> None:
    seen(Seen("http://localhost:8501/help"))
    access, now = Access(home), time.time()
    access.make_code()
    tablet = access.give_pass(now - 100, device="Android", address="192.0.2.77")
    lost = access.give_pass(now, device="iPhone ![x](http://192.0.2.9/)", address="192.0.2.78")
    app = screen("help")
    listed = [m.value for m in app.markdown if "since" in m.value and "from" in m.value]
    assert len(listed) == 2
    assert "![x](" not in "".join(listed)
    next(b for b in app.button if b.label.startswith("Show it out: iPhone")).click().run()
    assert (access.pass_holds(tablet, now), access.pass_holds(lost, now)) == (True, False)
    assert len([b for b in app.button if b.label.startswith("Show it out")]) == 1


@pytest.mark.parametrize(
    "where",
    [
        Seen("http://192.0.2.20:8501/help", "192.0.2.77"),
        Seen(
            "http://localhost:8501/help", "192.0.2.77"
        ),  # what a page says of its own address proves nothing
        Seen("http://jars.example/help"),
        Seen("http://localhost:8501/help", None, **{"x-forwarded-for": "192.0.2.77"}),
        Seen(""),
    ],
)
def test_nobody_elsewhere_is_offered_one(screen: Open, seen: Callable[[Seen], None], where: Seen) -> None:
    seen(where)
    app = screen("help")
    assert LABEL not in [b.label for b in app.button]
    assert any("made at the shop's own screen" in c.value for c in app.caption)
