"""All tests by AppTest: sorting, jumping to a day, makers, the nearest search, and closing old tests together."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.screens import all_tests, state

Open = Callable[..., AppTest]


def opened(
    recorder: Recorder, title: str, at: datetime, *, maker: str = "Ferrow", offset: int = 0
) -> JarTest:
    plan = TestPlan(title=title, products=(Product(name="Alder", maker=maker),))
    return recorder.store.add_test(plan, test_id=recorder.fresh_id(), by="Wren", at=at, utc_offset_min=offset)


def words(app: AppTest) -> str:
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def pick(app: AppTest, label: str, value: str) -> AppTest:
    (box,) = [s for s in app.selectbox if s.label == label]
    return box.select(value).run()


@pytest.fixture
def week(kept: Recorder) -> datetime:
    """Seven tests, a day apart, the last one yesterday."""
    start = kept.now().replace(hour=12) - timedelta(days=8)
    for n in range(7):
        opened(kept, f"Mix {n}", start + timedelta(days=n), maker="Karst & Sons" if n == 3 else "Ferrow")
    return start


def test_the_list_is_sorted_and_jumps_to_a_day(
    screen: Open, kept: Recorder, week: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(all_tests, "_PAGE", 2)
    app = screen("tests")
    assert "7 found, newest first; these are 1 to 2." in words(app)
    day: date = (week + timedelta(days=2)).date()  # the third test, the fifth from the newest
    app.date_input(key=state.key("tests", "jump")).set_value(day).run()
    assert "these are 5 to 6." in words(app)
    pick(app, "Sort", "oldest")
    assert "7 found, oldest first; these are 1 to 2." in words(app)
    app.date_input(key=state.key("tests", "jump")).set_value(day + timedelta(days=1)).run()
    assert "these are 3 to 4." in words(app), "the fourth test"
    pick(app, "Sort", "worst")
    assert "worst score first" in words(app)
    assert not [d for d in app.date_input if d.label == "Jump to"], "no days in that order"


def test_a_maker_is_picked_and_stands_in_the_search(screen: Open, kept: Recorder, week: datetime) -> None:
    app = pick(screen("tests"), "Maker", "Karst_&_Sons")
    assert app.text_input(key=state.key("tests", "words")).value == "maker:Karst_&_Sons"
    assert "1 found" in words(app)
    (maker,) = [s for s in app.selectbox if s.label == "Maker"]
    assert maker.value == "Karst_&_Sons"


def test_a_typo_is_put_right_by_one_tap(screen: Open, kept: Recorder) -> None:
    opened(kept, "Karstphos", kept.now())
    app = screen("tests")
    app.text_input(key=state.key("tests", "words")).set_value("karstfos").run()
    assert "No test holds all of this" in words(app)
    (near,) = [b for b in app.button if b.label.startswith("Did you mean")]
    assert near.label.replace("\\", "") == "Did you mean “karstphos”?"
    near.click().run()
    assert "1 found" in words(app)


def test_a_test_stands_under_the_clock_it_was_opened_by(screen: Open, kept: Recorder) -> None:
    opened(kept, "Far west", datetime(2026, 3, 2, 2, 30, tzinfo=UTC), offset=-300)
    assert "Mar 1, 2026 21:30" in words(screen("tests")), "five hours behind UTC"


def test_old_open_tests_are_closed_together_with_a_reason(screen: Open, kept: Recorder) -> None:
    old = [opened(kept, f"Old {n}", kept.now() - timedelta(days=60 + n)) for n in range(3)]
    young = opened(kept, "Young", kept.now())
    app = screen("tests")
    app.session_state[state.key("tests", "old open")] = True
    app.run()
    assert "3 old tests are open: close them together" in [e.label for e in app.expander]
    app.checkbox(key=state.key("tests", "close", old[1].id)).uncheck().run()
    (close,) = [b for b in app.button if b.label == "Close these 2 tests"]
    close.click().run()
    assert "Old tests are closed with a reason" in words(app)
    app.text_input(key=state.key("tests", "close", "why")).set_value("never finished").run()
    (close,) = [b for b in app.button if b.label == "Close these 2 tests"]
    close.click().run()
    assert "2 tests were closed; the reason is in the history of each." in words(app)
    assert {c.test.id for c in kept.store.running()} == {old[1].id, young.id}
    event = kept.case(old[0].id).events[-1]
    assert (event.kind, event.by, event.note) == ("stopped", "Wren", "never finished")
