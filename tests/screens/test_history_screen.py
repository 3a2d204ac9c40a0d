"""The History screen by AppTest: every view, every kind of store, and the way to the next jar."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.history.agreement import Judged, compare
from jartest.history.pairs import PairCell, make_table
from jartest.history.states import PairKnown
from jartest.recorder import Recorder
from jartest.records.model import JarTest, KeptVerdict, Product, Signature, TestPlan, Water
from jartest.screens import state
from jartest.screens.agreement_part import disagreements
from jartest.screens.pairs_part import grid_rows
from jartest.verdict.values import Verdict

Open = Callable[..., AppTest]
FIVE = "Copper Boron Zinc Phos Spread"
VIEWS = (
    "What stands out",
    "Pairs",
    "One product",
    "Approved",
    "Suspects and next jar",
    "Before the season",
    "How good are we",
)


def sign(recorder: Recorder, names: str, word: Any, *, sample: bool = False) -> JarTest:
    products = tuple(
        Product(name=n, maker="Ferrow", amount_text="5 mL", amount_ml=5.0) for n in names.split()
    )
    plan = TestPlan(title=names, products=products, water=Water(source="well"))
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0, sample=sample)
    # Under the machine's own word, so that a pass rests on something.
    limits = recorder.limits
    recorder.store.keep_limits(limits.sha256, limits.text)
    said = Verdict(word=word, reasons=(), limits_sha256=limits.sha256, age_s=7200.0)
    seen = KeptVerdict(id=recorder.fresh_id(), test_id=test.id, at=recorder.now(), verdict=said)
    recorder.store.add_verdict(seen)
    signature = Signature(
        id=recorder.fresh_id(),
        test_id=test.id,
        at=recorder.now(),
        by="Wren",
        word=word,
        reason="seen",
        revision=1,
        verdict_id=seen.id,
        opinion_id=None,
    )
    recorder.store.add_signature(signature)
    return test


def words(app: AppTest) -> str:
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def view(app: AppTest, name: str) -> AppTest:
    app.session_state[state.key("history", "view")] = name
    return app.run()


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize(
    ("tests", "pairs"),
    [
        ([], "No signed test held two products yet"),
        ([("Copper Boron", "pass")], "1 likely goes"),
        ([("Copper Boron", "fail")], "1 open"),
        ([("Copper Boron", "fail"), ("Copper Boron", "pass")], "1 open"),
    ],
)
def test_every_view_of_every_store_says_something_sensible(
    screen: Open, kept: Recorder, tests: list[tuple[str, str]], pairs: str, name: str
) -> None:
    for mix, word in tests:
        sign(kept, mix, word)
    said = words(view(screen("history"), name))
    if name == "Pairs":
        assert pairs in said
    elif name == "What stands out":
        assert ("What keeps failing, and why" in said) == bool(tests)
    elif name == "Approved":
        passed = bool(tests) and tests[-1][1] == "pass"
        assert ("1 mixture passed in the newest signed test" in said) == passed
    elif name == "Suspects and next jar":
        assert ("so nobody is suspected" in said) == all(w != "fail" for _, w in tests)
    elif name == "One product":
        assert ("Pick a product" in said) or not tests
    elif name == "Before the season":
        assert ("No mixture is planned yet" in said) == (not tests)
    else:
        assert "No test was judged by both yet" in said


def test_the_tests_behind_a_pair_are_one_pick_away(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron Zinc", "pass")
    app = view(screen("history"), "Pairs")
    (pick,) = [s for s in app.selectbox if s.label == "The tests behind a pair"]
    pick.select_index(1).run()
    said = words(app)
    assert "1 passed, 0 watched, 0 failed" in said
    assert (
        "Copper (Ferrow) 5.28 per liter, Boron (Ferrow) 5.28 per liter" in said
    )  # 5 mL in 946.353 mL, a US quart
    assert "water: well" in said


def test_the_tests_behind_a_pair_of_kinds_are_shown_too(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "fail")
    app = view(screen("history"), "Pairs")
    app.toggle(key=state.key("history", "rolled")).set_value(True).run()
    (pick,) = [s for s in app.selectbox if s.label == "The tests behind a pair"]
    assert pick.options == ["○ boron + copper"]
    pick.select_index(0).run()
    assert "Copper (Ferrow) 5.28 per liter, Boron (Ferrow)" in words(app)
    app.toggle(key=state.key("history", "rolled")).set_value(False).run()
    assert "per liter" not in words(app), "that pair of kinds is no pair of products"


def test_what_goes_with_a_product_is_one_pick_away_with_its_tests(screen: Open, kept: Recorder) -> None:
    for _ in range(2):
        sign(kept, "Copper Boron", "pass")
    sign(kept, "Copper Zinc", "watch")
    app = view(screen("history"), "One product")
    (pick,) = [s for s in app.selectbox if s.label == "What goes with …"]
    said = words(pick.select("Copper (Ferrow)").run())
    assert "Copper (Ferrow): 1 go with it, 0 do not, 1 not known, 1 never tried" not in said
    assert "Copper (Ferrow): 1 go with it, 0 do not, 1 not known" in said
    assert "● Boron (Ferrow): goes" in said
    assert "passed 2 times" in said
    assert "On 2 jars, the newest test 2: PASS to 2 h, signed by Wren" in said
    assert "○ Zinc (Ferrow): open" in said
    app.number_input(key=state.key("history", "rate", "Copper (Ferrow)")).set_value(50.0).run()
    said = words(app)
    assert "not tried there: Copper (Ferrow) at 50 per liter; it passed at 5.28" in said
    app.number_input(key=state.key("history", "rate", "Copper (Ferrow)")).set_value(5.3).run()
    assert "goes** · in the tried range" in words(app)
    app.number_input(key=state.key("history", "hardness")).set_value(300.0).run()
    assert "in no jar that passed was that written" in words(app), "nobody wrote the hardness of these jars"


def test_a_product_picked_where_the_history_opens_leads_to_its_page(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "pass")
    app = screen("history")
    (pick,) = [s for s in app.selectbox if s.label == "What goes with …"]
    said = words(pick.select("Copper (Ferrow)").run())
    assert "Copper (Ferrow): 1 go with it" in said
    assert app.session_state[state.key("history", "view")] == "One product"


def test_pairs_are_narrowed_to_a_season_a_water_and_a_product(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "pass")
    sign(kept, "Copper Zinc", "fail")
    app = view(screen("history"), "Pairs")
    assert "2 pairs were tried" in words(app)
    (product,) = [s for s in app.selectbox if s.label == "Product"]
    assert "1 pair was tried" in words(product.select("Zinc (Ferrow)").run())
    (water,) = [s for s in app.selectbox if s.label == "Water"]
    assert water.options == ["well"]
    assert "1 pair was tried" in words(water.select("well").run())
    (season,) = [s for s in app.selectbox if s.label == "Season"]
    assert season.options == [str(kept.now().year)]


def test_before_the_season_says_which_jars_and_why(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron Zinc", "pass")
    said = words(view(screen("history"), "Before the season"))
    assert "1 jar covers all 3 open pairs of 1 planned mixtures" in said
    assert "the hardness of the water is not written" in said or "was the hardness written" in said


def test_all_disagreements_stand_in_a_table() -> None:
    at = datetime(2026, 3, 14, tzinfo=UTC)
    two = [
        Judged(number=n, first="pass", second=w, at=at, first_by="machine", second_by="Wren")
        for n, w in ((1, "watch"), (2, "fail"), (3, "pass"))
    ]
    table = disagreements(compare(two))  # type: ignore[arg-type]
    assert list(table["test"]) == [2, 1], "the furthest apart first"
    assert list(disagreements(compare([])).columns) == list(table.columns)


def known(first: str, second: str, chance: float, word: Any) -> PairKnown:
    return PairKnown(
        first=first,
        second=second,
        pair_chance=chance,
        chance=chance,
        word=word,
        passes=2,
        clear_chance=chance,
    )


def test_the_picture_has_a_shape_and_a_word_in_every_cell() -> None:
    cells = [
        PairCell(first="A", second="B", failed=9, failed_alone=9, known=known("A", "B", 0.99, "fails")),
        PairCell(first="B", second="C", passed=2, known=known("B", "C", 0.001, "goes")),
    ]
    rows = grid_rows(make_table(cells))
    assert len(rows) == 3, "each pair once"
    sizes = dict(zip(rows["word"], rows["size"], strict=True))
    assert sizes["fails"] > sizes["goes"] > sizes["never tried"], "nine tests, two, none"
    assert set(zip(rows["word"], rows["shape"], strict=True)) == {
        ("fails", "✖"),
        ("goes", "●"),
        ("never tried", "·"),
    }
    assert set(make_table(cells).products[:2]) == {"A", "B"}, "trouble first"
    told = grid_rows(make_table(cells), {("A", "B"): (12, 7)})
    assert [x.endswith("Newest jars: tests 12, 7.") for x in told["says"]].count(True) == 1


def test_the_next_jar_is_handed_to_the_form_with_its_recipe(screen: Open, kept: Recorder) -> None:
    test = sign(kept, FIVE, "fail")
    app = screen("history", of=test.id)
    said = words(app)
    assert "Next jar: " in said
    (start,) = [b for b in app.button if b.label == "Start this jar"]
    start.click().run()
    rows = app.session_state[state.key("new", "rows")]
    names = [app.session_state[state.key("new", f"row{r}", "name")] for r in rows]
    amounts = {app.session_state[state.key("new", f"row{r}", "amount")] for r in rows}
    assert 2 <= len(names) <= 4
    assert set(names) < set(FIVE.split())
    assert amounts == {"5 mL"}
    assert app.session_state[state.key("new", "source")] == "well"


def test_a_prior_that_cannot_be_is_answered_in_a_sentence(screen: Open, kept: Recorder) -> None:
    test = sign(kept, FIVE, "fail")
    app = screen("history", of=test.id)
    (error,) = [n for n in app.number_input if n.label == "A jar is read wrongly, %"]
    error.set_value(40.0).run()
    assert "40 % of the jars are read wrongly" in words(app)


def test_samples_are_shown_only_when_asked_for(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "pass", sample=True)
    app = view(screen("history"), "Pairs")
    assert "No signed test held two products yet" in words(app)
    app.toggle[0].set_value(True).run()
    assert "1 pair was tried" in words(app)


def test_a_mixture_that_failed_before_is_warned_of_on_the_form(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "fail")
    app = screen("new")
    rows = app.session_state[state.key("new", "rows")]
    for row, name in zip(rows, ("Copper", "Boron"), strict=True):
        app.session_state[state.key("new", f"row{row}", "name")] = name
        app.session_state[state.key("new", f"row{row}", "maker")] = "Ferrow"
    assert "failed in a jar of their own" in words(app.run())


def test_all_failures_can_be_weighed_together(screen: Open, kept: Recorder) -> None:
    for mix in ("Copper Boron", "Copper Boron Zinc", "Boron Copper Phos"):
        sign(kept, mix, "fail")
    for mix in ("Boron Zinc Phos", "Copper Zinc Phos"):
        sign(kept, mix, "pass")
    app = view(screen("history"), "Suspects and next jar")
    (toggle,) = [t for t in app.toggle if t.label.startswith("All failures together")]
    said = words(toggle.set_value(True).run())
    assert said.count("Boron (Ferrow) with Copper (Ferrow): to blame") == 2


# ------------------------------------------------------- searching, and saved looks at the data
def press(app: AppTest, label: str) -> AppTest:
    (button,) = [b for b in app.button if b.label.replace("\\", "") == label]
    return button.click().run()


def test_verdict_and_days_write_into_the_search_and_the_list_follows(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "fail")
    sign(kept, "Copper Zinc", "pass")
    app = screen("tests")
    (verdict,) = [s for s in app.selectbox if s.label == "Verdict"]
    verdict.select("fail").run()
    assert app.text_input(key=state.key("tests", "words")).value == "verdict:fail"
    assert "1 found, newest first" in words(app)
    app.date_input[0].set_value(date(2099, 1, 1)).run()
    assert app.text_input(key=state.key("tests", "words")).value == "verdict:fail since:2099-01-01"
    assert "No test holds all of this" in words(app)
    app.text_input(key=state.key("tests", "words")).set_value("zinc").run()
    assert [s.value for s in app.selectbox if s.label == "Verdict"] == ["any"]
    assert app.date_input[0].value is None
    app.text_input(key=state.key("tests", "words")).set_value("since:2400-01-01").run()
    assert "No test holds all of this" in words(app)
    app.text_input(key=state.key("tests", "words")).set_value("zinc").run()
    assert "1 found" in words(app)


def test_a_search_is_saved_under_a_name_opened_by_one_tap_and_taken_away(
    screen: Open, kept: Recorder
) -> None:
    sign(kept, "Copper Boron", "fail")
    sign(kept, "Copper Zinc", "pass")
    app = screen("tests")
    app.text_input(key=state.key("tests", "words")).set_value("copper verdict:fail").run()
    app.text_input(key=state.key("tests", "look name")).set_value("Copper that failed").run()
    press(app, "Save this search")
    (look,) = kept.saved_looks("tests")
    assert (look.name, look.by, look.choices) == (
        "Copper that failed",
        "Wren",
        {"words": "copper verdict:fail", "order": "newest"},
    )
    again = screen("tests")
    assert "2 found" in words(again)
    press(again, "Copper that failed")
    assert "1 found" in words(again)
    assert again.text_input(key=state.key("tests", "words")).value == "copper verdict:fail"
    (gone,) = [b for b in again.button if b.label.startswith("Take away")]
    gone.click().run()
    assert kept.saved_looks() == ()
    assert [e.removed for e in kept.store.saved_look_entries("tests", "Copper that failed")] == [False, True]


def test_a_look_at_the_history_keeps_its_view_and_its_choices(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "fail")
    failed = sign(kept, "Copper Zinc", "fail")
    sign(kept, "Copper Phos", "fail")
    app = view(screen("history"), "Suspects and next jar")
    (pick,) = [s for s in app.selectbox if s.label == "Which failed mixture?"]
    pick.set_value(failed.id).run()
    app.text_input(key=state.key("history", "look name")).set_value("Copper Zinc").run()
    press(app, "Save this search")
    assert kept.saved_looks()[0].choices["failed"] == failed.id
    again = screen("history")
    assert "What keeps failing" in words(again)
    press(again, "Copper Zinc")
    assert not again.exception
    assert [s.value for s in again.selectbox if s.label == "Which failed mixture?"] == [failed.id]


def test_a_look_without_a_name_is_answered_in_a_sentence(screen: Open, kept: Recorder) -> None:
    sign(kept, "Copper Boron", "fail")
    app = press(screen("tests"), "Save this search")
    assert "Give the search a name" in words(app)
    assert kept.saved_looks() == ()


@pytest.mark.parametrize("name", VIEWS)
def test_who_works_here_is_asked_once_on_every_view(screen: Open, kept: Recorder, name: str) -> None:
    sign(kept, "Copper Boron", "fail")
    app = screen("history", name="")
    app = view(app, name)
    words(app)
    assert len([t for t in app.text_input if t.label.startswith("Who are you?")]) == 1
    refused = press(app, "Save this search")
    assert "Enter your name" in words(refused) or "Give the search a name" in words(refused)
    assert kept.saved_looks() == ()


def test_an_older_failure_is_reached_by_its_id_and_one_that_is_gone_does_no_harm(
    screen: Open, kept: Recorder
) -> None:
    passed, failed = sign(kept, "Copper Boron", "pass"), sign(kept, "Copper Zinc", "fail")
    for asked, shown in ((failed.id, failed.id), (passed.id, passed.id), ("0" * 32, failed.id)):
        app = screen("history", of=asked)
        assert [s.value for s in app.selectbox if s.label == "Which failed mixture?"] == [shown]
        assert not app.error
