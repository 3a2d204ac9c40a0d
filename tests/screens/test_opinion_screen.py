"""Second opinion on screen: asked, taken in, answered blind and then open, and brought home."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest.errors import BadEntry
from jartest.exchange.answer import (
    answer_parcel,
    ask_about_test,
    give_second_opinion,
    question_file,
    question_in,
    receive,
)
from jartest.exchange.incoming import read_incoming
from jartest.exchange.parcel import Parcel, read_parcel
from jartest.exchange.signing import SigningKey, read_key_text, say_key_text
from jartest.field.files import Offer
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Case, PhotoMark, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.screens import state
from jartest.screens.mark_setter import place_from
from jartest.settings import own_key, read_settings
from jartest.verdict.limits import load_limits

REPO = Path(__file__).resolve().parents[2]
REASON = "SENDERS OWN REASON"

Open = Callable[..., AppTest]
Offered = Callable[[AppTest], dict[str, Offer]]


def photo(name: str = "settler-0030min") -> bytes:
    return (REPO / "samples" / "settler" / f"{name}.jpg").read_bytes()


def fill(recorder: Recorder) -> Case:
    products = (Product(name="Bineguard Copper 20", amount_text="5 mL", amount_ml=5.0),)
    plan = TestPlan(title="Copper alone", products=products, schedule=default_schedule(1, (0.0,)))
    test = recorder.start_test(plan, by="Sorrel", utc_offset_min=0)
    recorder.finish_mixing(test.id, by="Sorrel")
    recorder.take_look(test.id, slot="age-0", data=photo(), name="a.jpg", by="Sorrel")
    recorder.observe(test.id, by="Sorrel", text="a rim at the top")
    recorder.give_opinion(test.id, word="fail", reason=REASON, by="Sorrel")
    return recorder.case(test.id)


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Recorder]:
    """Another shop, which asks."""
    folder = tmp_path / "elsewhere"
    with Store.open(f"sqlite:///{folder / 'jartest.sqlite'}") as store:
        yield Recorder(store=store, photos=PhotoFiles(folder / "photos"), limits=load_limits())


@pytest.fixture
def asked(elsewhere: Recorder) -> tuple[Case, Parcel]:
    """A test of the other shop, and the parcel that asks about it."""
    case = fill(elsewhere)
    parcel = ask_about_test(
        elsewhere.store, elsewhere.photos, case.test.id, parcel_id="a" * 32, at=elsewhere.now(),
        by="Sorrel", asked_of="Wren", words="Can this go in?",
    )  # fmt: skip
    return elsewhere.case(case.test.id), parcel


@pytest.fixture
def question(kept: Recorder, asked: tuple[Case, Parcel]) -> str:
    """The question, taken in here."""
    return receive(kept.store, asked[1].data, at=kept.now()).row.id


def whole_page(app: AppTest) -> str:
    """Every word that the server sent to the browser, hidden ones too."""
    assert not app.exception, app.exception[0].message
    found: list[str] = []

    def walk(node: Any) -> None:
        found.append(str(getattr(node, "proto", "")))
        for child in getattr(node, "children", {}).values():
            walk(child)

    for block in (app.main, app.sidebar):
        walk(block)
    return "\n".join(found).replace("\\\\", "")


def press(app: AppTest, label: str) -> AppTest:
    (button,) = [b for b in app.button if b.label.startswith(label)]
    return button.click().run()


def write(app: AppTest, label: str, text: str) -> None:
    (field,) = [f for f in (*app.text_area, *app.text_input) if f.label == label]
    field.set_value(text)


# ------------------------------------------------------------------------ asking
def test_an_empty_inbox_says_what_it_is_for(screen: Open) -> None:
    assert "Nothing was asked yet" in whole_page(screen("opinion"))


def test_a_question_about_a_test_is_made_and_kept(screen: Open, kept: Recorder) -> None:
    case = fill(kept)
    app = screen("opinion", ask=case.test.id)
    write(app, "The question", "Can this go in?")
    write(app, "Who is asked (may stay empty)", "Teasel")
    press(app, "Make the question")
    (row,) = kept.store.parcels()
    assert (row.by, row.asked_of, row.words, row.test_id) == (
        "Wren",
        "Teasel",
        "Can this go in?",
        case.test.id,
    )
    assert read_parcel(kept.store.parcel_content(row.id)).sha256 == row.sha256
    page = whole_page(app)
    assert "The question is made" in page
    assert "Send or save the question" in page


def test_names_are_left_out_by_one_switch(screen: Open, kept: Recorder) -> None:
    case = fill(kept)
    app = screen("opinion", ask=case.test.id)
    app.toggle[0].set_value(True)
    press(app, "Make the question")
    (row,) = kept.store.parcels()
    assert b"Sorrel" not in kept.store.parcel_content(row.id)


def test_a_test_shows_the_way_to_ask(screen: Open, kept: Recorder) -> None:
    case = fill(kept)
    assert "Ask for a second opinion" in whole_page(screen("test", id=case.test.id))


def test_one_tap_saves_the_file_of_a_test_once_somebody_works_here(
    screen: Open, kept: Recorder, offered: Offered
) -> None:
    case = fill(kept)
    label = "Save one file to send, as it stands"
    assert label in offered(screen("test", name="Wren", id=case.test.id))
    nobody = offered(screen("test", name="", id=case.test.id))
    assert nobody
    assert label not in nobody


def test_one_photo_is_asked_about_in_few_taps(screen: Open, kept: Recorder) -> None:
    app = screen("photo")
    app.file_uploader[0].set_value(("tailgate.jpg", photo(), "image/jpeg")).run()
    write(app, "What is in it, in one line", "zinc and glue")
    write(app, "The water, if known", "pond")
    write(app, "The question (may stay empty)", "lumpy after the zinc, stirs out")
    press(app, "Make the question")
    (row,) = kept.store.parcels()
    assert (row.title, row.words, row.test_id) == ("zinc and glue", "lumpy after the zinc, stirs out", None)
    asked = question_in(kept.store, row.id).said
    assert asked.loose  # type: ignore[union-attr]
    assert asked.case.test.plan.water.source == "pond"  # type: ignore[union-attr]
    assert asked.case.test.plan.jar.name == ""  # type: ignore[union-attr]
    assert kept.count() == 0
    assert "Send or save the question" in whole_page(app)


def test_a_link_for_the_shop_s_network_is_offered_where_there_is_one(
    screen: Open, kept: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = fill(kept)
    monkeypatch.setenv("JARTEST_PHONE_URL", "http://192.168.1.20:8501")
    app = screen("opinion", ask=case.test.id)
    press(app, "Make the question")
    (row,) = kept.store.parcels()
    link = f"http://192.168.1.20:8501/opinion?id={row.id}"
    assert [c.value for c in app.code] == [link]
    # Whoever opens it is asked blind, as if it had come by mail.
    page = whole_page(screen("opinion", name="Teasel", id=row.id))
    assert "Your verdict, before you see" in page
    for hidden in others_words(case):
        assert hidden not in page, hidden


def test_no_link_is_offered_that_nobody_else_could_open(screen: Open, kept: Recorder) -> None:
    app = screen("opinion", ask=fill(kept).test.id)
    press(app, "Make the question")
    assert not app.code


# --------------------------------------------------------------------- taking in
def test_a_parcel_that_is_picked_waits_in_the_inbox(screen: Open, kept: Recorder, asked) -> None:
    app = screen("opinion")
    app.file_uploader[0].set_value(("question.zip", asked[1].data, "application/zip")).run()
    page = whole_page(app)
    assert "it waits for an answer" in page
    assert "Waits for an answer here (1)" in page
    assert [r.id for r in kept.store.parcels()] == ["a" * 32]


def test_a_spoiled_parcel_is_refused_in_words_and_nothing_is_kept(
    screen: Open, kept: Recorder, asked
) -> None:
    app = screen("opinion")
    app.file_uploader[0].set_value(("question.zip", asked[1].data[:-9], "application/zip")).run()
    assert "not a complete parcel" in app.error[0].value
    assert kept.store.parcels() == ()


def test_a_question_that_is_not_there_is_said_in_words(screen: Open) -> None:
    assert "There is no parcel" in screen("opinion", id="f" * 32).error[0].value


# ---------------------------------------------------------------------- blindness
def others_words(case: Case) -> list[str]:
    """What would tell a reviewer what the others think: their words, the program's reasons and its figures."""
    said = [REASON, "the program, where it was asked", "Second opinions"]
    said += [r.says for v in case.verdicts for r in v.verdict.reasons]
    said += [r.says for k in case.readings for r in k.verdict.reasons]
    said += [f"{k.reading.settled_fraction:.1%}" for k in case.readings]
    return said


def test_before_their_own_verdict_a_reviewer_sees_nothing_of_the_others(
    screen: Open, question: str, asked
) -> None:
    app = screen("opinion", id=question)
    page = whole_page(app)
    for seen in (
        "Can this go in?",
        "Bineguard Copper 20",
        "a rim at the top",
        "Your verdict, before you see",
    ):
        assert seen in page
    for hidden in others_words(asked[0]):
        assert hidden not in page, hidden
    assert "drawn on it" not in page  # the photo stands in the marker, as it was taken


def test_after_it_they_see_everything_and_the_record_says_that_it_was_blind(
    screen: Open, kept: Recorder, question: str, asked
) -> None:
    app = screen("opinion", id=question)
    app.radio[0].set_value("watch")
    write(app, "Why, in a sentence", "re-mixes, so agitate")
    press(app, "Record mine")
    (said,) = kept.store.second_opinions(question)
    assert (said.by, said.word, said.reason, said.saw_machine) == (
        "Wren",
        "watch",
        "re-mixes, so agitate",
        False,
    )
    page = whole_page(app)
    assert REASON in page
    assert "the program, where it was asked" in page
    assert "given before seeing any other verdict" in page
    assert "with the measurements drawn on it" in page
    app.radio[0].set_value("fail")
    write(app, "Why, in a sentence", "they are right")
    press(app, "Add this")
    assert [s.saw_machine for s in kept.store.second_opinions(question)] == [False, True]


def test_what_one_reviewer_said_is_hidden_from_the_next(
    screen: Open, kept: Recorder, question: str, asked
) -> None:
    give_second_opinion(
        kept.store,
        question,
        opinion_id="1" * 32,
        at=kept.now(),
        by="Teasel",
        word="pass",
        reason="TEASELS REASON",
    )
    for page in (whole_page(screen("opinion", id=question)), whole_page(screen("opinion"))):
        assert "TEASELS REASON" not in page
    assert REASON not in whole_page(screen("opinion", id=question))
    assert "TEASELS REASON" in whole_page(screen("opinion", name="Teasel", id=question))


def test_without_a_name_nothing_is_shown_and_nothing_kept(
    screen: Open, kept: Recorder, question: str, asked
) -> None:
    app = screen("opinion", name="", id=question)
    assert REASON not in whole_page(app)
    app.radio[0].set_value("pass")
    write(app, "Why, in a sentence", "fine")
    press(app, "Record mine")
    assert "Enter your name" in app.error[0].value
    assert kept.store.second_opinions() == ()


def test_a_verdict_without_word_or_reason_is_refused_in_words(
    screen: Open, kept: Recorder, question: str
) -> None:
    app = screen("opinion", id=question)
    press(app, "Record mine")
    assert "Choose pass, watch or fail" in app.error[0].value
    app.radio[0].set_value("pass")
    press(app, "Record mine")
    assert "one sentence why" in app.error[0].value
    assert kept.store.second_opinions() == ()


def test_who_had_seen_a_verdict_before_says_so(screen: Open, kept: Recorder, question: str) -> None:
    app = screen("opinion", id=question)
    app.radio[0].set_value("pass")
    write(app, "Why, in a sentence", "fine")
    app.checkbox[0].set_value(True)
    press(app, "Record mine")
    assert kept.store.second_opinions()[0].saw_machine


def test_marks_are_kept_with_their_words(screen: Open, kept: Recorder, question: str, asked) -> None:
    look = asked[0].looks[0].id
    app = screen("opinion", id=question)
    app.session_state[state.key("answer", question, "marks")] = [(look, 0.5, 0.25), (look, 0.1, 0.9)]
    app.run()
    press(app, "Take the last mark away")
    write(app, "Mark 1", "a rim of lumps")
    app.radio[0].set_value("watch")
    write(app, "Why, in a sentence", "see the mark")
    press(app, "Record mine")
    mark = PhotoMark(look_id=look, across_fraction=0.5, down_fraction=0.25, words="a rim of lumps")
    assert kept.store.second_opinions()[0].marks == (mark,)
    assert "a rim of lumps" in whole_page(app)


@pytest.mark.parametrize(
    "sent", [None, "here", {}, {"across": 0.5}, {"across": 0.5, "down": 1.5}, {"across": True, "down": 0}]
)
def test_a_mark_that_is_no_place_is_refused_in_words(sent: Any) -> None:
    with pytest.raises(BadEntry, match="tap again"):
        place_from(sent)


def test_a_mark_is_a_place_on_the_photo() -> None:
    assert place_from({"across": 0.5, "down": 1}) == (0.5, 1.0)


# ------------------------------------------------------------------------- home
def test_the_answer_stands_with_its_test_once_it_is_home(
    screen: Open, kept: Recorder, elsewhere: Recorder
) -> None:
    case = fill(kept)
    parcel = ask_about_test(
        kept.store, kept.photos, case.test.id, parcel_id="b" * 32, at=kept.now(), by="Wren"
    )
    receive(elsewhere.store, parcel.data, at=elsewhere.now())
    give_second_opinion(
        elsewhere.store, "b" * 32, opinion_id="c" * 32, at=elsewhere.now(), by="Teasel", word="watch", reason="agitate"
    )  # fmt: skip
    answer = answer_parcel(elsewhere.store, "b" * 32, at=elsewhere.now())
    app = screen("opinion")
    app.file_uploader[0].set_value(("answer.zip", answer.data, "application/zip")).run()
    assert "says watch" in whole_page(app)
    page = whole_page(screen("test", id=case.test.id))
    assert "“agitate”" in page
    assert "given before seeing any other verdict" in page


# ----------------------------------------------------------------- pages, texts, signatures
def test_a_page_is_taken_in_and_answered_under_the_shop_s_own_signature(
    screen: Open, kept: Recorder, elsewhere: Recorder, asked, offered: Offered
) -> None:
    page = question_file(elsewhere.store, asked[1].said.id)
    app = screen("opinion")
    app.file_uploader[0].set_value(("question.html", page, "text/html")).run()
    assert "it waits for an answer" in whole_page(app)
    app = screen("opinion", id="a" * 32)
    app.radio[0].set_value("watch")
    write(app, "Why, in a sentence", "re-mixes")
    press(app, "Record mine")
    opened = whole_page(app)
    assert "stayed with the asker" in opened
    assert REASON not in opened
    made = offered(app)["Save the answer, to send it back"].make()
    assert isinstance(made, bytes)
    answer = read_incoming(made)
    assert answer.key == own_key(read_settings()).public
    app = screen("opinion")
    write(app, "Name of the shop, for the key's line", "Hollow Oak")
    app.run()
    (line,) = [c.value for c in app.code]
    assert read_key_text(line) == ("Hollow Oak", answer.key)


def test_an_answer_is_pasted_and_a_key_taken_in_that_makes_it_count(
    screen: Open, kept: Recorder, elsewhere: Recorder, asked
) -> None:
    case = fill(kept)
    at_home = ask_about_test(
        kept.store, kept.photos, case.test.id, parcel_id="b" * 32, at=kept.now(), by="Sorrel"
    )
    sent = question_file(kept.store, at_home.said.id)
    receive(elsewhere.store, sent, at=elsewhere.now())
    give_second_opinion(
        elsewhere.store, "b" * 32, opinion_id="c" * 32, at=elsewhere.now(), by="Teasel", word="fail", reason="gel"
    )  # fmt: skip
    key = SigningKey.of(bytes(range(32)))
    text = answer_parcel(elsewhere.store, "b" * 32, at=elsewhere.now(), key=key).data.decode()
    app = screen("opinion")
    write(app, "Paste all of it", f"Here it is: {text}")
    press(app, "Take the answer in")
    assert "Signed with a key that nobody here knows" in whole_page(app)
    shown = whole_page(screen("test", id=case.test.id))
    assert "Teasel (as written in the file)" in shown.replace("\\", "")
    write(app, "A key's line, as it was sent to you", "no key at all")
    app.run()
    assert "This is not a key" in app.error[0].value
    write(app, "A key's line, as it was sent to you", say_key_text("Teasel", key.public))
    app.run()
    press(app, "Know this key")
    (known,) = kept.store.known_keys()
    assert (known.name, known.of_shop, known.by) == ("Teasel", False, "Wren")
    shown = whole_page(screen("test", id=case.test.id)).replace("\\", "")
    assert "Signed with the key of Teasel." in shown
    assert "as written in the file" not in shown
    press(screen("opinion"), "Forget this key")
    assert kept.store.known_keys() == ()


def test_a_photo_is_not_asked_about_without_a_name_or_a_line_of_what_is_in_it(
    screen: Open, kept: Recorder
) -> None:
    for name, contents, says in (
        ("", "zinc", "Enter your name"),
        ("Wren", "", "one line on what is in the jar"),
    ):
        app = screen("photo", name=name)
        app.file_uploader[0].set_value(("tailgate.jpg", photo(), "image/jpeg")).run()
        write(app, "What is in it, in one line", contents)
        press(app, "Make the question")
        assert says in app.error[0].value
    assert kept.store.parcels() == ()
