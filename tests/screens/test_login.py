"""Sign-in by Streamlit's own login where a shop has set it up, and the phone's code on a test's screen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.screens.shell import SCREENS

REPO = Path(__file__).resolve().parents[2]
Open = Callable[..., AppTest]


def signed_in(app: AppTest, **user: Any) -> AppTest:
    app.user = user
    return app.run()


def all_text(app: AppTest) -> str:
    return " ".join(str(x.value) for x in (*app.markdown, *app.caption))


@pytest.fixture
def jar(kept: Recorder) -> JarTest:
    test = kept.start_test(
        TestPlan(title="Copper + boron", products=(Product(name="Bineguard Copper 20"),)),
        by="Wren",
        utc_offset_min=0,
    )
    kept.finish_mixing(test.id, by="Wren")
    return test


@pytest.mark.parametrize("path", [s.path for s in SCREENS])
def test_nobody_sees_a_screen_before_signing_in_where_that_is_asked_for(
    screen: Open, path: str, jar: JarTest
) -> None:
    app = signed_in(screen(path, id=jar.id), is_logged_in=False)
    assert [b.label for b in app.button] == ["Sign in"]
    assert "Copper" not in all_text(app)
    assert not app.exception


def test_without_a_login_set_up_nothing_is_asked(screen: Open) -> None:
    app = screen("bench")
    assert "Sign in" not in [b.label for b in app.button]


@pytest.mark.parametrize(
    ("user", "shown"),
    [
        ({"name": "Teal Brackmoor", "email": "t@bines.example"}, "Teal Brackmoor"),
        ({"email": "t@bines.example"}, "bines.example"),
    ],
)
def test_the_name_from_the_login_goes_under_what_is_done(
    screen: Open, kept: Recorder, user: dict[str, str], shown: str, jar: JarTest
) -> None:
    app = signed_in(screen("test", name="", id=jar.id), is_logged_in=True, **user)
    assert any(shown in b.label.replace("\\", "") and "sign out" in b.label for b in app.button)
    why = next(t for t in app.text_input if t.label == "Why")
    why.set_value("spilled").run()
    next(b for b in app.button if b.label == "Stop it").click().run()
    assert not app.exception
    assert kept.case(jar.id).events[-1].by == (user.get("name") or user["email"])


def test_a_running_test_shows_its_code_for_phones(
    screen: Open, jar: JarTest, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JARTEST_PHONE_URL", "http://192.0.2.20:8501")
    app = screen("test", id=jar.id)
    assert f"http://192.0.2.20:8501{link_path(Access(home), jar)}" in all_text(app)


def test_where_no_phone_can_reach_it_the_screen_says_how(screen: Open, jar: JarTest, home: Path) -> None:
    said = all_text(screen("test", id=jar.id))
    assert "jartest app --lan" in said
    assert link_path(Access(home), jar) in said


def test_a_stopped_test_shows_no_code(screen: Open, kept: Recorder, jar: JarTest, home: Path) -> None:
    kept.stop_test(jar.id, by="Wren", note="spilled")
    assert link_path(Access(home), jar) not in all_text(screen("test", id=jar.id))
