"""Parcels and second opinions are kept once, whole, and never overwritten."""

from __future__ import annotations

import dataclasses
import hashlib

import pytest

from jartest.errors import BadEntry, Conflict, NotFound
from jartest.records.model import ParcelRow, PhotoMark, SecondOpinion


def parcel(bench, content: bytes = b"a parcel", **more) -> ParcelRow:
    parcel_id = bench.fresh_id()
    made = {
        "id": parcel_id,
        "direction": "sent",
        "kind": "question",
        "question_id": parcel_id,
        "test_id": None,
        "title": "Hop mix",
        "by": "Ada",
        "asked_of": "Ben",
        "words": "what is it?",
        "made_at": bench.now(),
        "kept_at": bench.now(),
        "sha256": hashlib.sha256(content).hexdigest(),
        "size_bytes": len(content),
    }
    return ParcelRow(**made | more)


def said(bench, question: ParcelRow, **more) -> SecondOpinion:
    made = {
        "id": bench.fresh_id(),
        "question_id": question.id,
        "test_id": question.test_id,
        "at": bench.now(),
        "by": "Ben",
        "word": "watch",
        "reason": "re-mixes",
        "saw_machine": False,
        "marks": (
            PhotoMark(look_id=bench.fresh_id(), across_fraction=0.25, down_fraction=0.5, words="here"),
        ),
    }
    return SecondOpinion(**made | more)


def test_a_parcel_comes_back_with_its_bytes(bench) -> None:
    row = parcel(bench, bytes(range(256)))
    assert bench.store.add_parcel(row, bytes(range(256)))
    assert bench.store.parcel(row.id) == row
    assert bench.store.parcel_content(row.id) == bytes(range(256))
    assert bench.store.parcels() == (row,)
    assert bench.store.has_parcel(row.id)


def test_a_parcel_kept_twice_is_kept_once(bench) -> None:
    row = parcel(bench)
    assert bench.store.add_parcel(row, b"a parcel")
    assert not bench.store.add_parcel(row, b"a parcel")
    assert len(bench.store.parcels()) == 1


def test_another_parcel_of_the_same_id_overwrites_nothing(bench) -> None:
    row = parcel(bench)
    bench.store.add_parcel(row, b"a parcel")
    with pytest.raises(Conflict, match="nothing was overwritten"):
        bench.store.add_parcel(dataclasses.replace(row, sha256="f" * 64), b"another")
    assert bench.store.parcel_content(row.id) == b"a parcel"


def test_second_opinions_come_back_with_their_test(bench) -> None:
    test = bench.open_test()
    question = parcel(bench, test_id=test.id)
    bench.store.add_parcel(question, b"a parcel")
    first = said(bench, question)
    bench.store.add_second_opinion(first)
    answer = parcel(bench, kind="answer", direction="received", question_id=question.id, test_id=test.id)
    second = said(
        bench, question, saw_machine=True, answer_id=answer.id, changed_since="1 look was added", marks=()
    )
    assert bench.store.add_parcel(answer, b"an answer", [second])
    assert bench.store.case(test.id).second_opinions == (first, second)
    assert bench.store.second_opinions(question.id) == (first, second)
    assert bench.store.second_opinions() == (first, second)


def test_an_opinion_that_comes_again_with_another_answer_is_kept_once(bench) -> None:
    question = parcel(bench)
    bench.store.add_parcel(question, b"a parcel")
    for n in range(2):
        answer = parcel(bench, kind="answer", direction="received", question_id=question.id)
        opinion = said(bench, question, id="e" * 32, at=bench.noon, answer_id=answer.id, marks=())
        assert bench.store.add_parcel(answer, b"answer %d" % n, [opinion])
    assert len(bench.store.second_opinions()) == 1


def test_an_opinion_of_the_same_id_that_says_otherwise_stops_the_whole_answer(bench) -> None:
    question = parcel(bench)
    bench.store.add_parcel(question, b"a parcel")
    kept = said(bench, question)
    bench.store.add_second_opinion(kept)
    answer = parcel(bench, kind="answer", direction="received", question_id=question.id)
    with pytest.raises(Conflict, match="says otherwise"):
        bench.store.add_parcel(
            answer, b"an answer", [said(bench, question), dataclasses.replace(kept, word="fail")]
        )
    assert bench.store.second_opinions() == (kept,)
    assert bench.store.parcels() == (question,)


def test_an_answer_to_nothing_is_not_kept(bench) -> None:
    with pytest.raises(NotFound):
        bench.store.add_parcel(parcel(bench, question_id="f" * 32), b"an answer")
    with pytest.raises(NotFound, match="There is no parcel"):
        bench.store.parcel("f" * 32)
    with pytest.raises(NotFound, match="There is no parcel"):
        bench.store.parcel_content("f" * 32)
    assert not bench.store.has_parcel("f" * 32)


def test_a_word_that_is_none_is_refused(bench) -> None:
    question = parcel(bench)
    bench.store.add_parcel(question, b"a parcel")
    with pytest.raises(BadEntry, match="not one of those"):
        bench.store.add_second_opinion(said(bench, question, word="perhaps"))


def test_with_a_sample_test_goes_what_was_asked_about_it(bench) -> None:
    test = bench.open_test(sample=True)
    other = bench.open_test()
    gone, kept = parcel(bench, test_id=test.id), parcel(bench, test_id=other.id)
    for row in (gone, kept):
        bench.store.add_parcel(row, b"a parcel")
        answer = parcel(bench, kind="answer", direction="received", question_id=row.id, test_id=row.test_id)
        bench.store.add_parcel(answer, b"an answer", [said(bench, row, answer_id=answer.id)])
    bench.store.remove_samples()
    assert {p.question_id for p in bench.store.parcels()} == {kept.id}
    assert {o.question_id for o in bench.store.second_opinions()} == {kept.id}
