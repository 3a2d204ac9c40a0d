"""Every screen by AppTest: opens, on an empty store, with a record, with odd words; refuses in a sentence."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.samples import load_samples
from jartest.screens import state
from jartest.screens.curve_part import over_time
from jartest.screens.shell import SCREENS

REPO = Path(__file__).resolve().parents[2]
ODD = "Léa's “50 %” *mix* [x](y) $1$ <1>_a_ :fire: 🧪 " + "very long " * 15

Open = Callable[..., AppTest]


def photo(name: str) -> bytes:
    return (REPO / "samples" / name.split("-")[0] / f"{name}.jpg").read_bytes()


def plan(title: str = "Copper + boron", name: str = "Bineguard Copper 20") -> TestPlan:
    products = (
        Product(name=name, maker="Brackmoor", formulation="SC", amount_text="5 mL", amount_ml=5.0),
        Product(name="Nettlesap Boron 10", amount_text="1 tsp", amount_ml=4.92892159375),
    )
    return TestPlan(title=title, products=products, schedule=default_schedule(2))


@pytest.fixture
def test(kept: Recorder) -> JarTest:
    return kept.start_test(plan(), by="Wren", utc_offset_min=-420)


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(x.value) for x in shown)


def button(app: AppTest, label: str) -> Any:
    found = [b for b in app.button if b.label.startswith(label)]
    assert found, f"no button {label!r} among {[b.label for b in app.button]}"
    return found[0]


def field(app: AppTest, label: str) -> Any:
    (found,) = [f for f in (*app.text_input, *app.text_area, *app.number_input) if f.label == label]
    return found


# --------------------------------------------------------------- every screen
@pytest.mark.parametrize("path", [s.path for s in SCREENS])
def test_every_screen_opens_on_an_empty_store(screen: Open, path: str) -> None:
    assert "#" in words(screen(path))


@pytest.mark.parametrize("path", [s.path for s in SCREENS])
def test_every_screen_opens_with_a_record_and_without_a_name(screen: Open, test: JarTest, path: str) -> None:
    query = {"id": test.id} if path == "test" else {}
    assert "#" in words(screen(path, name="", **query))


@pytest.mark.parametrize("path", [s.path for s in SCREENS])
def test_every_screen_bears_long_names_quotes_and_emoji(screen: Open, kept: Recorder, path: str) -> None:
    test = kept.start_test(plan(title=ODD, name=ODD), by=ODD[:80], utc_offset_min=0)
    kept.add_product(test.id, 1, by=ODD[:80], note=ODD)
    kept.finish_mixing(test.id, by=ODD[:80])
    kept.take_look(test.id, slot="age-0", data=photo("stable-0000min"), name=ODD, by=ODD[:80])
    kept.observe(test.id, by=ODD[:80], text=ODD, signs=["lumps"])
    kept.give_opinion(test.id, word="fail", reason=ODD, by=ODD[:80])
    query = {"id": test.id} if path == "test" else {}
    said = words(screen(path, name=ODD[:80], **query))
    assert "<1>" not in said.replace("\\<1\\>", ""), "markup of a name reached the page"
    assert "[x](y)" not in said
    if path in ("bench", "test", "tests"):
        assert "🧪" in said + "".join(str(x.proto) for x in screen(path, **query).get("page_link"))


# ----------------------------------------------------------------------- bench
def test_an_empty_bench_says_what_it_is_for_and_loads_samples_in_one_click(
    screen: Open, kept: Recorder
) -> None:
    app = screen("bench")
    assert "Before products share a tank" in words(app)
    button(app, "Load the sample tests").click().run(timeout=120)
    assert kept.count() == 4
    assert "On the bench" in words(app)
    button(screen("help"), "Remove the sample tests").click().run()
    assert kept.count() == 0


def test_the_bench_counts_what_is_in_and_names_what_was_missed(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    kept.add_product(test.id, 1, by="Wren")
    assert "1 of 2 products are in" in words(screen("bench"))
    an_hour_ago = kept.now() - timedelta(hours=1)
    Recorder(
        store=kept.store, photos=kept.photos, limits=kept.limits, clock=lambda: an_hour_ago
    ).finish_mixing(test.id, by="Wren")
    assert "Missed: 0 min, 5 min, 15 min" in words(screen("bench"))


# -------------------------------------------------------------------- new test
def fill(app: AppTest, *products: tuple[str, str]) -> AppTest:
    for n, (name, amount) in enumerate(products, start=1):
        field(app, f"Product {n}").set_value(name)
        field(app, f"Amount {n}, in the jar").set_value(amount)
    return app.run()


def test_a_new_test_is_kept_as_it_was_typed(screen: Open, kept: Recorder) -> None:
    app = fill(screen("new"), ("Bineguard Copper 20", "5 mL"), ("Nettlesap Boron 10", "1 tsp"))
    said = words(app)
    assert "Understood: 5 mL" in said
    assert "4\\.93 mL" in said
    button(app, "Start this test").click().run()
    (row,) = kept.find()
    made = kept.case(row.id).test
    assert made.plan.title == "Bineguard Copper 20 + Nettlesap Boron 10"
    assert [p.amount_text for p in made.plan.products] == ["5 mL", "1 tsp"]
    assert made.plan.products[1].amount_ml == pytest.approx(4.92892159375)  # US teaspoon, NIST HB 44 App. C
    assert [s.key for s in made.plan.schedule][:3] == ["addition-1", "addition-2", "age-0"]
    assert made.opened_by == "Wren"
    assert "Fill the jar" in words(app), "starting a test leads to it"


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Amount 1, in the jar", "5 spoons", "not known"),
        ("Amount 1, in the jar", "5", "no unit"),
        ("Photos at these times after mixing", "soon", "not a time for a look"),
        ("Water it is filled to", "12 g", "a volume is needed"),
        ("Temperature", "warm", "not a temperature"),
    ],
)
def test_a_wrong_entry_is_answered_in_a_sentence_and_nothing_typed_is_lost(
    screen: Open, kept: Recorder, label: str, typed: str, says: str
) -> None:
    app = fill(screen("new"), ("Bineguard Copper 20", "5 mL"))
    field(app, label).set_value(typed).run()
    button(app, "Start this test").click().run()
    assert any(says in e.value.replace("\\", "") for e in app.error), [e.value for e in app.error]
    assert kept.count() == 0
    assert field(app, "Product 1").value == "Bineguard Copper 20"
    assert field(app, label).value == typed


def test_without_a_name_and_without_a_title_a_test_is_refused_in_words(screen: Open, kept: Recorder) -> None:
    app = fill(screen("new", name=""), ("Bineguard Copper 20", "5 mL"))
    button(app, "Start this test").click().run()
    assert any("Enter your name" in e.value for e in app.error)
    app = screen("new")
    button(app, "Start this test").click().run()
    assert any("no title" in e.value for e in app.error)
    assert kept.count() == 0


def test_lines_move_and_go_and_known_products_come_filled(screen: Open, test: JarTest) -> None:
    app = fill(screen("new"), ("A", "1 mL"), ("B", "2 mL"))
    button(app, "+ Another product").click().run()
    app.selectbox(key=state.key("new", "known")).select_index(0).run()
    filled = field(app, "Product 3").value
    assert filled in ("Bineguard Copper 20", "Nettlesap Boron 10")
    app.button(key=_row_key(app, 3, "up")).click().run()
    assert [field(app, f"Product {n}").value for n in (1, 2, 3)] == ["A", filled, "B"]
    app.button(key=_row_key(app, 1, "out")).click().run()
    assert [field(app, f"Product {n}").value for n in (1, 2)] == [filled, "B"]


def _row_key(app: AppTest, place: int, act: str) -> str:
    label = {"up": "▲ up", "down": "▼ down", "out": "✕ take out"}[act]
    return str([b for b in app.button if b.label == label][place - 1].key)


# ------------------------------------------------------------------------ test
def test_a_test_that_is_not_there_is_said_in_words(screen: Open) -> None:
    app = screen("test", id="'; drop table tests; --")
    assert any("test" in e.value for e in app.error)
    words(app)


def test_products_go_in_by_one_tap_each_and_the_clock_starts(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = screen("test", id=test.id)
    button(app, "Add 1").click().run()
    button(app, "Add 2").click().run()
    button(app, "Mixing done, start the clock").click().run()
    words(app)
    case = kept.case(test.id)
    assert [(e.kind, e.position, e.by) for e in case.events] == [
        ("added", 1, "Wren"),
        ("added", 2, "Wren"),
        ("mixed", None, "Wren"),
    ]


def test_ticks_and_words_are_kept_corrected_and_both_stay(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = screen("test", id=test.id)
    app.checkbox(key=state.key(f"see-{test.id}", "sign", "heat")).check().run()
    assert any("do not seal it" in e.value for e in app.error), "heat shows the caution at once"
    field(app, "In your words").set_value("warm to the hand")
    button(app, "Keep what I saw").click().run()
    (seen,) = kept.case(test.id).observations
    assert (seen.signs, seen.text, seen.by) == (("heat",), "warm to the hand", "Wren")
    assert "✖ FAIL" in words(app)
    assert "What next" in words(app)

    button(app, "Correct").click().run()
    app.checkbox(key=state.key(f"see-{test.id}", "sign", "heat")).uncheck()
    app.checkbox(key=state.key(f"see-{test.id}", "sign", "colour")).check().run()
    button(app, "Keep what I saw").click().run()
    case = kept.case(test.id)
    assert [o.signs for o in case.observations] == [("heat",), ("colour",)]
    assert [o.signs for o in case.standing_observations()] == [("colour",)]
    assert "corrected since" in words(app)


def test_nothing_ticked_and_contradictions_are_refused_in_words(screen: Open, test: JarTest) -> None:
    app = screen("test", id=test.id)
    button(app, "Keep what I saw").click().run()
    assert any("Nothing is ticked" in e.value for e in app.error)
    for sign in ("smooth", "gel"):
        app.checkbox(key=state.key(f"see-{test.id}", "sign", sign)).check()
    button(app.run(), "Keep what I saw").click().run()
    assert any("can't go with" in e.value for e in app.error)
    assert app.checkbox(key=state.key(f"see-{test.id}", "sign", "gel")).value is True


WHY = "Why, in a sentence: the machine does not say so"


def sign(app: AppTest, test: JarTest, word: str, reason: str = "") -> AppTest:
    choose(app, test, word)
    field(app, WHY).set_value(reason)
    return button(app.run(), f"Sign: {word.upper()}, as Wren").click().run()  # type: ignore[no-any-return]


def choose(app: AppTest, test: JarTest, word: str) -> AppTest:
    return app.radio(key=state.key("decide", test.id, "word")).set_value(word).run()  # type: ignore[no-any-return]


def test_a_word_over_the_machine_s_fail_is_warned_of(screen: Open, kept: Recorder, test: JarTest) -> None:
    """Was wrong: overruling a FAIL read on the screen as a word over no verdict."""
    kept.observe(test.id, by="Teal", signs=["gel"])
    app = choose(screen("test", id=test.id), test, "pass")
    assert any("The machine says FAIL. PASS overrules it" in w.value for w in app.warning)
    app = choose(app, test, "fail")
    assert not any("overrules it" in w.value for w in app.warning)


def offered(app: AppTest) -> list[str]:
    return [b.label for b in app.button if b.label.startswith("Sign")]


def test_what_was_chosen_is_what_is_signed_and_the_button_says_it_before(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = screen("test", id=test.id)
    assert offered(app) == ["Sign: first choose your verdict"]
    assert offered(choose(app, test, "fail")) == ["Sign: FAIL, as Wren"]
    sign(app, test, "watch")
    assert any("write one sentence why" in e.value.replace("\\", "") for e in app.error)
    assert not kept.case(test.id).signed
    sign(app, test, "watch", "seen it stand for a day")
    signature = kept.case(test.id).signature
    assert signature is not None
    assert (signature.word, signature.reason, signature.by) == ("watch", "seen it stand for a day", "Wren")
    said = words(app)
    assert re.search(
        r"Signed by Wren, [^:]*[^.]*: ◐ WATCH \(the machine: .+\)\. “seen it stand for a day”", said
    ), "the signer's own word first"
    assert offered(app) == [], "it is signed once"
    assert "Keep what I saw" in {b.label for b in app.button}, "what shows up later is still written down"


def test_nobody_signs_under_another_s_word_and_the_screen_says_where_two_do_not_agree(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    kept.give_opinion(test.id, word="fail", reason="curds on the wall", by="Teal")
    app = choose(screen("test", id=test.id), test, "watch")
    said = words(app)
    assert "Teal says ✖ FAIL: “curds on the wall”" in said.replace("\\", "")
    assert any("Wren and Teal do not agree" in w.value for w in app.warning)
    choose(app, test, "fail")
    assert not any("do not agree" in w.value for w in app.warning)
    sign(app, test, "watch", "stirs out")
    case = kept.case(test.id)
    assert case.signature is not None
    assert (case.signature.word, case.signature.by) == ("watch", "Wren")
    assert [(o.by, o.word) for o in case.opinions] == [("Teal", "fail"), ("Wren", "watch")]
    assert any("Wren and Teal do not agree" in w.value for w in app.warning), (
        "and it stays beside the signature"
    )


def test_who_signs_second_reads_who_signed_what_and_keeps_what_was_typed(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = choose(screen("test", id=test.id), test, "fail")
    field(app, WHY).set_value("gel on the spoon").run()
    seen = kept.judge(test.id).id
    kept.sign(
        test.id, word="watch", reason="it stirs out", by="Teal", expected_revision=1, expected_verdict=seen
    )
    button(app, "Sign: FAIL, as Wren").click().run()
    assert "Signed by Teal" in words(app)
    assert any("You had chosen ✖ FAIL. It was not kept: Teal signed first" in w.value for w in app.warning)
    assert len(kept.case(test.id).signatures) == 1
    button(app, "Keep beside it: FAIL, as Wren").click().run()
    case = kept.case(test.id)
    assert (case.opinions[-1].by, case.opinions[-1].word) == ("Wren", "fail")
    assert case.opinions[-1].reason == "gel on the spoon"
    assert case.signature is not None
    assert case.signature.word == "watch"
    assert not any("You had chosen" in w.value for w in app.warning)
    assert any("Teal and Wren do not agree" in w.value for w in app.warning)


def test_a_look_and_a_word_after_signing_are_kept_and_change_nothing_that_was_signed(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = sign(screen("test", id=test.id), test, "pass", "stood well")
    signed = kept.case(test.id)
    assert signed.signed
    app.checkbox(key=state.key(f"see-{test.id}", "sign", "gel")).check()
    button(app.run(), "Keep what I saw").click().run()
    after = kept.case(test.id)
    assert [o.signs for o in after.observations] == [("gel",)]
    assert after.signatures == signed.signatures
    assert after.verdicts[: len(signed.verdicts)] == signed.verdicts
    assert any("has become" in w.value for w in app.warning)


def test_a_signature_is_refused_when_plan_or_verdict_moved_behind_the_signer(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = choose(screen("test", id=test.id), test, "pass")
    field(app, WHY).set_value("stood well").run()
    kept.change_plan(test.id, plan(title="Other"), by="Teal", expected_revision=1)
    button(app, "Sign: PASS, as Wren").click().run()
    assert any("Teal changed the plan" in e.value for e in app.error)
    kept.observe(test.id, by="Teal", signs=["gel"])
    button(app, "Sign: PASS, as Wren").click().run()
    assert any("while you looked: it is FAIL now" in e.value.replace("\\", "") for e in app.error)
    assert not kept.case(test.id).signed


def test_a_conflict_keeps_what_was_typed_and_shows_what_the_other_saved(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    app = screen("test", id=test.id)
    button(app, "Change the plan").click().run()
    field(app, "Notes on the plan").set_value("mine").run()
    kept.change_plan(test.id, plan(title="Theirs"), by="Teal", expected_revision=1)
    button(app, "Save as a new revision").click().run()
    assert any("Teal" in e.value for e in app.error)
    assert field(app, "Notes on the plan").value == "mine"
    assert "Theirs" in words(app)
    button(app, "Mine comes after theirs").click().run()
    button(app, "Save as a new revision").click().run()
    case = kept.case(test.id)
    assert [r.revision for r in case.revisions] == [1, 2, 3]
    assert case.test.plan.notes == "mine"


# ------------------------------------------------------------------- all tests
def test_tests_are_found_by_words_and_turned_page_by_page(screen: Open, kept: Recorder) -> None:
    for n in range(25):
        title = "The odd one" if n == 3 else f"Round {n}"
        kept.start_test(plan(title=title), by="Wren", utc_offset_min=0)
    app = screen("tests")
    assert "25 found" in words(app)
    assert "these are 1 to 20" in words(app)
    button(app, "Older").click().run()
    assert "these are 21 to 25" in words(app)
    field(app, "Search").set_value("ODD one").run()
    assert "1 found" in words(app)
    field(app, "Search").set_value("zinc").run()
    assert "No test holds all of this" in words(app)


def test_a_list_tells_the_time_that_the_test_s_own_page_tells(
    screen: Open, kept: Recorder, test: JarTest
) -> None:
    """Was wrong: the list went by the clock of whoever looked, and said “1 looks”."""
    local = test.opened_at + timedelta(minutes=-420)
    said = f"{local:%b} {local.day}, {local:%Y %H:%M}"
    kept.take_look(test.id, slot="extra", data=photo("stable-0005min"), name="a.jpg", by="Wren")
    assert f"{said} · Wren · 1 look ·" in words(screen("tests"))
    assert said in words(screen("test", id=test.id))


# ------------------------------------------------------------------- one photo
def test_an_even_loose_photo_shows_no_pass_and_says_what_one_needs(screen: Open) -> None:
    app = screen("photo")
    app.file_uploader[0].upload("jar.jpg", photo("stable-0030min"), "image/jpeg").run()
    said = words(app)
    assert "PASS" not in said
    assert "NO VERDICT" in said
    assert "within its limit" in said
    assert "a pass needs a look 30 min after mixing" in said


def test_a_loose_photo_is_read_and_not_kept(screen: Open, kept: Recorder, home: Path) -> None:
    app = screen("photo")
    app.file_uploader[0].upload("jar.jpg", photo("curdler-0060min"), "image/jpeg").run()
    said = words(app)
    assert "this photo alone" in said or "take it again" in said
    assert "with the photo's doubt counted against it" in said, "the rule of decision is told"
    assert "Settled" in said
    assert not list((home / "photos").rglob("*.jpg"))
    assert kept.count() == 0
    app.file_uploader[0].upload("jar.jpg", b"", "image/jpeg").run()
    assert any("empty" in e.value for e in app.error)


def test_the_sample_tests_open_on_their_screen(screen: Open, kept: Recorder) -> None:
    load_samples(kept)
    for row in kept.find():
        app = screen("test", id=row.id)
        app.session_state[over_time(row.id)] = True
        said = words(app.run())
        assert "sample, invented" in said
        assert "Score of each photo alone" in said
        assert "against the first good photo" in said
        # Cream and curds are half way or more when they are first seen: no look shows them on their way.
        fast = ("Oil adjuvant over humic liquid", "Liquid calcium into liquid phosphorus")
        assert ("how fast it grew the looks do not tell" in said) == (row.title in fast)
        assert ("a minute at first, from" in said) == (
            row.title not in (*fast, "Copper + boron + spreader, first cover spray")
        )
