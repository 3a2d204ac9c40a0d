"""A question goes out, an answer comes home: blind first, never overwriting, twice is once."""

from __future__ import annotations

import dataclasses
from datetime import timedelta

import pytest

from jartest.errors import BadEntry, BadParcel, Conflict, NotFound
from jartest.exchange.answer import (
    answer_parcel,
    ask_about_photo,
    ask_about_test,
    ask_at_once,
    give_second_opinion,
    inbox,
    may_see,
    question_in,
    question_of,
    receive,
)
from jartest.exchange.answer_file import pack_answer
from jartest.exchange.incoming import read_incoming
from jartest.exchange.manifest import Answer, Question
from jartest.records.model import PhotoMark


@pytest.fixture
def ids():
    """Fresh ids, one after another."""
    numbers = iter(range(1, 10_000))
    return lambda: f"{next(numbers):032x}"


@pytest.fixture
def asked(recorder, case, ids):
    """The parcel of a question asked at home."""
    return ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id=ids(), at=recorder.now(), by="Wren", asked_of="Teasel", words="Can this go in?"
    )  # fmt: skip


def answered(other_home, asked, ids, **said):
    """The parcel of an answer given in the other home."""
    receive(other_home.store, asked.data, at=other_home.now())
    how = {"by": "Teasel", "word": "watch", "reason": "re-mixes, so agitate"}
    give_second_opinion(
        other_home.store, asked.said.id, opinion_id=ids(), at=other_home.now(), **(how | said)
    )
    return answer_parcel(other_home.store, asked.said.id, at=other_home.now())


def test_an_answer_comes_home_to_its_test(recorder, case, other_home, asked, ids) -> None:
    mark = PhotoMark(
        look_id=case.looks[1].id, across_fraction=0.5, down_fraction=0.25, words="a rim of lumps"
    )
    answer = answered(other_home, asked, ids, marks=(mark,))
    got = receive(recorder.store, answer.data, at=recorder.now())
    assert got.fresh
    assert got.says.startswith(
        "An answer came in: Teasel (as written in the file) on “Copper and boron for Mr Quill” says watch. Not signed."
    )
    assert got.says.endswith("When it was asked, the program said fail and Wren said fail: not the same.")
    (said,) = recorder.case(case.test.id).second_opinions
    assert (said.by, said.word, said.reason, said.saw_machine) == (
        "Teasel",
        "watch",
        "re-mixes, so agitate",
        False,
    )
    assert said.marks == (mark,)
    assert said.answer_id == answer.said.id
    assert said.changed_since == ""


def test_coming_home_changes_nothing_else(recorder, case, other_home, asked, ids) -> None:
    receive(recorder.store, answered(other_home, asked, ids).data, at=recorder.now())
    after = dataclasses.replace(recorder.case(case.test.id), second_opinions=())
    assert repr(after) == repr(case)
    assert recorder.find()[0].person_word == "fail"


def test_an_answer_twice_is_once(recorder, case, other_home, asked, ids) -> None:
    answer = answered(other_home, asked, ids)
    receive(recorder.store, answer.data, at=recorder.now())
    again = receive(recorder.store, answer.data, at=recorder.now())
    assert not again.fresh
    assert "nothing is new" in again.says
    assert len(recorder.case(case.test.id).second_opinions) == 1


def test_a_question_twice_is_once(other_home, asked) -> None:
    first, second = (receive(other_home.store, asked.data, at=other_home.now()) for _ in range(2))
    assert (first.fresh, second.fresh) == (True, False)
    assert len(other_home.store.parcels()) == 1


def test_a_question_taken_in_where_it_was_asked_is_nothing_new(recorder, asked) -> None:
    got = receive(recorder.store, asked.data, at=recorder.now())
    assert not got.fresh
    assert "was asked here" in got.says


def test_a_test_that_changed_meanwhile_says_so(
    recorder, case, other_home, asked, ids, photo_bytes, clock
) -> None:
    answer = answered(other_home, asked, ids)
    clock.go_on(minutes=5)
    recorder.observe(case.test.id, by="Wren", signs=("foam",), text="foam after all")
    got = receive(recorder.store, answer.data, at=recorder.now())
    (said,) = recorder.case(case.test.id).second_opinions
    assert "1 observation" in said.changed_since
    assert said.changed_since in got.says


def test_a_later_answer_with_more_to_say_adds_only_that(
    recorder, case, other_home, asked, ids, clock
) -> None:
    first = answered(other_home, asked, ids)
    receive(recorder.store, first.data, at=recorder.now())
    clock.go_on(minutes=1)
    second = answered(other_home, asked, ids, word="fail", reason="the program is right")
    assert second.said.id != first.said.id
    receive(recorder.store, second.data, at=recorder.now())
    said = recorder.case(case.test.id).second_opinions
    assert [(s.word, s.saw_machine) for s in said] == [("watch", False), ("fail", True)]
    assert [s.answer_id for s in said] == [first.said.id, second.said.id]


def test_the_first_word_is_blind_and_every_later_one_is_not(other_home, asked, ids) -> None:
    answered(other_home, asked, ids)
    assert may_see(other_home.store.second_opinions(asked.said.id), "Teasel")
    assert not may_see(other_home.store.second_opinions(asked.said.id), "Sorrel")
    answered(other_home, asked, ids, by="Sorrel")
    answered(other_home, asked, ids)
    said = other_home.store.second_opinions(asked.said.id)
    assert [(s.by, s.saw_machine) for s in said] == [("Teasel", False), ("Sorrel", False), ("Teasel", True)]


def test_whoever_says_that_they_had_seen_a_verdict_is_not_blind(other_home, asked, ids) -> None:
    answered(other_home, asked, ids, has_seen=True)
    (said,) = other_home.store.second_opinions(asked.said.id)
    assert said.saw_machine


def test_an_answer_can_be_given_where_it_was_asked(recorder, case, asked, ids) -> None:
    give_second_opinion(
        recorder.store,
        asked.said.id,
        opinion_id=ids(),
        at=recorder.now(),
        by="Teasel",
        word="fail",
        reason="gel",
    )
    (said,) = recorder.case(case.test.id).second_opinions
    assert (said.word, said.saw_machine, said.answer_id) == ("fail", False, None)
    with pytest.raises(BadEntry, match="asked here"):
        answer_parcel(recorder.store, asked.said.id, at=recorder.now())


def test_the_same_words_make_the_same_answer(other_home, asked, ids) -> None:
    first = answered(other_home, asked, ids)
    again = answer_parcel(other_home.store, asked.said.id, at=other_home.now() + timedelta(days=1))
    assert again.data == first.data
    assert read_incoming(first.data).sha256 == first.sha256


# --------------------------------------------------------------------- refused
def nothing_came(home) -> None:
    assert home.store.parcels() == ()
    assert home.store.second_opinions() == ()
    assert list(home.find()) == []


def test_an_answer_to_a_question_of_others_is_refused(
    other_home, recorder, asked, ids, tmp_path, clock
) -> None:
    answer = answered(other_home, asked, ids)
    other_home.store.close()
    from jartest.records.store import Store

    with Store.open(f"sqlite:///{tmp_path / 'third.sqlite'}") as third:
        with pytest.raises(BadParcel, match="was not asked here"):
            receive(third, answer.data, at=recorder.now())
        assert third.parcels() == ()


def test_an_answer_to_a_changed_question_is_refused(recorder, case, other_home, asked, ids) -> None:
    answer = answered(other_home, asked, ids)
    changed = dataclasses.replace(answer.said, question_sha256="f" * 64, parts=())
    with pytest.raises(BadParcel, match="another question"):
        receive(recorder.store, pack_answer(changed, None).data, at=recorder.now())
    assert recorder.case(case.test.id).second_opinions == ()


def test_an_answer_about_another_look_is_refused(recorder, case, other_home, asked, ids) -> None:
    answer = answered(other_home, asked, ids).said
    assert isinstance(answer, Answer)
    mark = PhotoMark(look_id="f" * 32, across_fraction=0.5, down_fraction=0.25, words="here")
    said = (dataclasses.replace(answer.said[0], marks=(mark,)),)
    changed = dataclasses.replace(answer, said=said, parts=())
    with pytest.raises(BadParcel, match="another test"):
        receive(recorder.store, pack_answer(changed, None).data, at=recorder.now())
    assert recorder.case(case.test.id).second_opinions == ()


def test_an_answer_that_says_otherwise_under_the_same_id_overwrites_nothing(
    recorder, case, other_home, asked, ids
) -> None:
    answer = answered(other_home, asked, ids)
    receive(recorder.store, answer.data, at=recorder.now())
    other = dataclasses.replace(answer.said.said[0], word="pass")
    for changed in (
        dataclasses.replace(answer.said, said=(other,), parts=()),
        dataclasses.replace(answer.said, id="e" * 32, said=(other,), parts=()),
    ):
        with pytest.raises(Conflict, match="nothing was overwritten"):
            receive(recorder.store, pack_answer(changed, None).data, at=recorder.now())
    assert [s.word for s in recorder.case(case.test.id).second_opinions] == ["watch"]


def test_a_damaged_parcel_leaves_nothing(other_home, asked) -> None:
    with pytest.raises(BadParcel):
        receive(other_home.store, asked.data[:-7], at=other_home.now())
    nothing_came(other_home)


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"by": " "}, "Enter your name"),
        ({"reason": "  "}, "Write one sentence why"),
        (
            {"marks": (PhotoMark(look_id="a" * 32, across_fraction=1.5, down_fraction=0.0, words=""),)},
            "outside its photo",
        ),
    ],
)
def test_an_opinion_without_name_or_reason_is_not_kept(other_home, asked, ids, how, says) -> None:
    with pytest.raises(BadEntry, match=says):
        answered(other_home, asked, ids, **how)
    assert other_home.store.second_opinions() == ()


def test_nobody_has_said_anything_yet(other_home, asked) -> None:
    receive(other_home.store, asked.data, at=other_home.now())
    with pytest.raises(BadEntry, match="Nothing has been said"):
        answer_parcel(other_home.store, asked.said.id, at=other_home.now())
    with pytest.raises(NotFound):
        question_in(other_home.store, "f" * 32)


# -------------------------------------------------------------- photo and inbox
def test_a_loose_photo_goes_out_and_its_answer_comes_home(recorder, other_home, photo_bytes, ids) -> None:
    data = photo_bytes(1)
    look = recorder.quick_look(data, "tailgate.jpg")
    asked = ask_about_photo(
        recorder.store, data, "tailgate.jpg", look.reading, look.verdict,
        parcel_id=ids(), new_id=ids, at=recorder.now(), utc_offset_min=60, by="Wren", contents="zinc and glue", words="lumpy after the zinc",
    )  # fmt: skip
    assert isinstance(asked.said, Question)
    assert asked.said.loose
    tests = recorder.count()
    answer = answered(other_home, asked, ids)
    got = receive(recorder.store, answer.data, at=recorder.now())
    assert got.fresh
    assert recorder.count() == tests
    line = next(x for x in inbox(recorder.store) if x.question.id == asked.said.id)
    assert [s.word for s in line.said] == ["watch"]
    assert repr(question_of(question_in(recorder.store, asked.said.id))) == repr(asked.said)


def test_the_inbox_says_what_waits_for_whom(recorder, other_home, asked, ids) -> None:
    assert [x.waits for x in inbox(recorder.store)] == ["for an answer from outside"]
    receive(other_home.store, asked.data, at=other_home.now())
    (line,) = inbox(other_home.store)
    assert (line.waits, line.question.asked_of, line.question.by) == ("for an answer here", "Teasel", "Wren")
    give_second_opinion(
        other_home.store,
        asked.said.id,
        opinion_id=ids(),
        at=other_home.now(),
        by="Teasel",
        word="pass",
        reason="fine",
    )
    assert [x.waits for x in inbox(other_home.store)] == ["to be sent back"]
    answer = answer_parcel(other_home.store, asked.said.id, at=other_home.now())
    assert [x.waits for x in inbox(other_home.store)] == ["answered"]
    receive(recorder.store, answer.data, at=recorder.now())
    assert [x.waits for x in inbox(recorder.store)] == ["answered"]


def test_a_parcel_without_names_is_still_known_at_home(recorder, case, other_home, ids) -> None:
    asked = ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id=ids(), at=recorder.now(), by="Wren", asked_of="Teasel", nameless=True
    )  # fmt: skip
    assert recorder.store.parcel(asked.said.id).asked_of == "Teasel"
    receive(recorder.store, answered(other_home, asked, ids).data, at=recorder.now())
    (said,) = recorder.case(case.test.id).second_opinions
    assert said.changed_since == ""


def test_asked_at_once_the_same_record_makes_the_same_parcel_and_a_changed_one_another(
    recorder, case, clock, other_home, ids
) -> None:
    def at_once(by: str = "Wren"):
        return ask_at_once(recorder.store, recorder.photos, case.test.id, at=recorder.now(), by=by)

    first = at_once()
    clock.go_on(minutes=5)
    assert at_once().data == first.data
    assert [r.id for r in recorder.store.parcels()] == [first.said.id]
    assert at_once(by="Sorrel").said.id != first.said.id
    receive(recorder.store, answered(other_home, first, ids).data, at=recorder.now())
    assert at_once().said.id == first.said.id  # an answer that came home is no change of the record
    recorder.observe(case.test.id, by="Wren", signs=("gel",))
    assert at_once().said.id != first.said.id
