"""At the bench, by AppTest: a tick by mistake is taken back, out of order is asked, mixing is finished once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan

Open = Callable[..., AppTest]


@pytest.fixture
def test(kept: Recorder) -> JarTest:
    products = tuple(Product(name=n) for n in ("Bineguard Copper 20", "Nettlesap Boron 10", "Hopcal 12"))
    return kept.start_test(TestPlan(title="Copper + boron", products=products), by="Wren", utc_offset_min=0)


def earlier(kept: Recorder, **ago: float) -> Recorder:
    """The same records on a clock that is behind."""
    return Recorder(
        store=kept.store,
        photos=kept.photos,
        limits=kept.limits,
        clock=lambda: kept.now() - timedelta(**ago),
    )


def words(app: AppTest) -> str:
    assert not app.exception, app.exception[0].message
    return "\n".join(x.value for x in (*app.markdown, *app.warning, *app.error)).replace("\\", "")


def button(app: AppTest, label: str) -> Any:
    found = [b for b in app.button if b.label.replace("\\", "").startswith(label)]
    assert found, f"no button {label!r} among {[b.label for b in app.button]}"
    return found[0]


def labels(app: AppTest) -> list[str]:
    return [b.label.replace("\\", "") for b in app.button]


def which(app: AppTest, n: int) -> AppTest:
    """Say which of the ticked products it is about."""
    (radio,) = [r for r in app.radio if r.label == "Which"]
    return radio.set_value(n).run()  # type: ignore[no-any-return]


def test_a_tick_is_undone_with_one_tap(screen: Open, kept: Recorder, test: JarTest) -> None:
    app = screen("test", id=test.id)
    assert "Undo" not in labels(app)
    button(app, "Add 1 · Bineguard Copper 20").click().run()
    assert "✓ **1 · Bineguard Copper 20**" in words(app)
    button(app, "Undo").click().run()
    case = kept.case(test.id)
    assert [e.kind for e in case.events] == ["added", "undone"]
    assert case.additions == ()
    button(app, "Add 1 · Bineguard Copper 20").click().run()
    assert [e.position for e in kept.case(test.id).additions] == [1]


def test_after_ten_seconds_it_takes_a_second_tap_and_a_word_may_be_said(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    earlier(kept, seconds=30).add_product(test.id, 1, by="Teal")
    app = screen("test", id=test.id)
    assert "Undo" not in labels(app)
    button(which(app, 1), "Bineguard Copper 20 did not go in")
    (why,) = [f for f in app.text_input if f.label == "Why (optional)"]
    why.set_value("the jug still stands there")
    button(app, "Bineguard Copper 20 did not go in").click().run()
    event = kept.case(test.id).events[-1]
    assert (event.kind, event.position, event.by) == ("left out", 1, "Wren")
    assert event.note == "the jug still stands there"
    assert "product 1 did not go in: Bineguard Copper 20" in words(app)


def test_what_did_not_go_in_can_be_said_after_mixing_too(screen: Open, kept: Recorder, test: JarTest) -> None:
    before = earlier(kept, minutes=3)
    for n in (1, 2, 3):
        before.add_product(test.id, n, by="Teal")
    before.finish_mixing(test.id, by="Teal")
    app = screen("test", id=test.id)
    button(which(app, 2), "Nettlesap Boron 10 did not go in").click().run()
    assert kept.case(test.id).left_out == frozenset({2})
    assert "2 · Nettlesap Boron 10 · did not go in" in words(app)
    seen = kept.judge(test.id).id
    kept.sign(test.id, word="fail", reason="no boron", by="Wren", expected_revision=1, expected_verdict=seen)
    signed = screen("test", id=test.id)
    assert not [x for x in labels(signed) if "go in" in x or x == "Undo"]
    assert not [r for r in signed.radio if r.label == "Which"]
    assert "1 · Bineguard Copper 20" in words(signed)


def test_a_tick_out_of_order_is_asked_first(screen: Open, kept: Recorder, test: JarTest) -> None:
    app = screen("test", id=test.id)
    button(app, "Add 3 · Hopcal 12").click().run()
    assert kept.case(test.id).events == ()
    assert (
        "Bineguard Copper 20 and Nettlesap Boron 10 come before Hopcal 12 and are not ticked. "
        "Is Hopcal 12 in the jar already?"
    ) in words(app)
    button(app, "No, not yet").click().run()
    assert "Is Hopcal 12 in the jar" not in words(app)
    assert kept.case(test.id).events == ()
    button(app, "Add 3 · Hopcal 12").click().run()
    button(app, "Yes, it went in now").click().run()
    assert [e.position for e in kept.case(test.id).additions] == [3]
    assert "Is Hopcal 12 in the jar" not in words(app)


def test_mixing_is_finished_once_from_two_windows(screen: Open, kept: Recorder, test: JarTest) -> None:
    app = screen("test", id=test.id)
    kept.finish_mixing(test.id, by="Teal")
    button(app, "Mixing done, start the clock").click().run()
    assert "Mixing done, start the clock" not in labels(app)
    assert "Teal · mixing done, the clock starts" in words(app)
    assert [e.by for e in kept.case(test.id).events] == ["Teal"]
