"""What is to be done next stands under the verdict, and each answer is one tap."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from streamlit.testing.v1 import AppTest

from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from tests.screens.test_screens import button, photo, words

Open = Callable[..., AppTest]

POWDER = Product(
    name="Chalkwing Sulfur 80", maker="Larkmill", formulation="WG", amount_text="2.3 g", amount_g=2.3
)
SOLUTION = Product(name="Nettlesap Boron 10", formulation="SL", amount_text="4.7 mL", amount_ml=4.7)


def begun(kept: Recorder, product: Product, name: str = "stable-0030min", minutes: int = 35) -> JarTest:
    """A test mixed some minutes ago, with a look at 30 min."""
    start = kept.now() - timedelta(minutes=minutes)
    at = [start]
    then = Recorder(store=kept.store, photos=kept.photos, limits=kept.limits, clock=lambda: at[0])
    plan = TestPlan(title="One", products=(product,), schedule=default_schedule(1))
    test = then.start_test(plan, by="Wren", utc_offset_min=0)
    then.add_product(test.id, 1, by="Wren")
    then.finish_mixing(test.id, by="Wren")
    at[0] = start + timedelta(minutes=30)
    then.take_look(test.id, slot="age-1800", data=photo(name), name="a.jpg", by="Wren")
    return test


def labels(app: AppTest) -> set[str]:
    return {b.label for b in app.button}


def test_a_pass_of_a_powder_is_three_taps_after_the_photo(screen: Open, kept: Recorder) -> None:
    test = begun(kept, POWDER)
    app = screen("test", id=test.id)
    assert "Next: look at the bottom from below" in words(app)
    assert "○ NO VERDICT" in words(app)
    button(app, "Bottom clean").click().run()
    assert "Next: invert it first" in words(app)
    button(app, "Re-mixes fully").click().run()
    assert "Next: see how it runs" in words(app)
    button(app, "Runs like water, no gel").click().run()
    said = words(app)
    assert "● PASS to 30 min · 80" in said
    assert "Not strained" in said
    assert "Next:" not in said
    assert [o.bottom for o in kept.case(test.id).observations] == ["clean", "not looked", "not looked"]


def test_a_strainer_counts_only_with_its_mesh(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION)
    kept.observe(test.id, by="Wren", remix="fully")
    app = screen("test", id=test.id)
    assert button(app, "Strainer clean").disabled
    (mesh,) = [s for s in app.selectbox if s.label.startswith("Mesh of the strainer")]
    mesh.select(100).run()
    button(app, "Strainer clean").click().run()
    said = words(app)
    assert "● PASS to 30 min" in said
    assert "Not strained" not in said


def test_lumps_cannot_be_waved_through_without_a_strainer(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION)
    kept.observe(test.id, by="Wren", remix="fully")
    assert "Runs like water, no gel" in labels(screen("test", id=test.id))
    look = kept.case(test.id).looks[0]
    kept.observe(test.id, by="Wren", look_id=look.id, signs=["lumps"])
    app = screen("test", id=test.id)
    assert "Runs like water, no gel" not in labels(app)
    assert "✖ FAIL · 15" in words(app)


def test_a_bed_is_turned_over_by_one_tap(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION, "settler-0030min")
    app = screen("test", id=test.id)
    assert "Next: invert it first" in words(app)
    button(app, "Does not re-mix").click().run()
    assert "✖ FAIL · 0" in words(app)


def test_a_young_jar_is_left_standing(screen: Open, kept: Recorder) -> None:
    test = kept.start_test(
        TestPlan(title="One", products=(SOLUTION,), schedule=default_schedule(1)), by="Wren", utc_offset_min=0
    )
    kept.finish_mixing(test.id, by="Wren")
    kept.take_look(test.id, slot="age-0", data=photo("stable-0000min"), name="a.jpg", by="Wren")
    app = screen("test", id=test.id)
    assert "Next: take the look" in words(app)
    assert "Re-mixes fully" not in labels(app)


def test_without_a_name_a_tap_is_refused_in_words(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION)
    app = screen("test", name="", id=test.id)
    button(app, "Re-mixes fully").click().run()
    assert "Enter your name" in words(app)
    assert kept.case(test.id).observations == ()


def test_the_list_says_the_word_with_its_age_and_score(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION)
    kept.observe(test.id, by="Wren", remix="fully", runs="like water")
    assert kept.find()[0].machine_word == "pass"
    assert "● PASS to 30 min · 80" in words(screen("tests"))


def test_a_signed_word_carries_its_age_in_lists_and_before_mixing_again(screen: Open, kept: Recorder) -> None:
    test = begun(kept, SOLUTION)
    kept.observe(test.id, by="Wren", remix="fully", runs="like water")
    verdict = kept.judge(test.id)
    kept.sign(test.id, word="pass", reason="", by="Wren", expected_revision=1, expected_verdict=verdict.id)
    kept.observe(test.id, by="Teal", text="Seen later.")
    (row,) = kept.find()
    assert (row.signed_word, row.signed_age_s) == ("pass", 1800.0)
    assert "signed **● PASS to 30 min** by Wren" in words(screen("tests"))
    (same,) = kept.before_mixing(kept.case(test.id).test.plan).same
    assert same.past.said == "PASS to 30 min"
