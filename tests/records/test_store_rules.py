"""What the store refuses, and what it does only once."""

from __future__ import annotations

import dataclasses
import hashlib
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from jartest.errors import BadEntry, Conflict, NotFound
from jartest.imaging.values import Reading
from jartest.records.engine import in_words
from jartest.records.model import TestPlan
from jartest.records.rows import flat_row
from jartest.records.tables import signatures
from jartest.verdict.values import Verdict


def test_tests_are_numbered_one_after_the_other(bench) -> None:
    assert [bench.open_test().number for _ in range(3)] == [1, 2, 3]


def test_a_number_is_never_given_twice_even_when_samples_go(bench) -> None:
    bench.open_test("Mine")
    bench.open_test("A sample", sample=True)
    bench.store.remove_samples()
    assert bench.open_test("Next").number == 3


def test_a_test_that_could_not_be_kept_uses_up_no_number(bench) -> None:
    taken = bench.open_test()
    with pytest.raises(Conflict, match="kept already"):
        bench.store.add_test(taken.plan, test_id=taken.id, by="Ben", at=bench.now(), utc_offset_min=0)
    assert bench.open_test().number == 2
    assert bench.store.case(taken.id).test == taken


def test_the_second_of_two_revisers_is_told_who_saved_first_and_when(bench) -> None:
    test = bench.open_test("Hop mix")  # its shop is two hours east of UTC
    at = datetime(2026, 7, 1, 9, 5, tzinfo=UTC)
    bens = bench.store.revise(test.id, TestPlan(title="Ben's"), expected_revision=1, by="Ben", at=at)
    with pytest.raises(Conflict, match=r"Ben saved this plan at 2026-07-01 11:05 .*nothing was overwritten"):
        bench.store.revise(test.id, TestPlan(title="Cleo's"), expected_revision=1, by="Cleo", at=bench.now())
    case = bench.store.case(test.id)
    assert [r.plan.title for r in case.revisions] == ["Hop mix", "Ben's"]
    assert case.test == bens


def test_a_plan_of_no_test_is_refused(bench) -> None:
    with pytest.raises(NotFound):
        bench.store.revise("0" * 32, TestPlan(title="x"), expected_revision=1, by="Ben", at=bench.now())


def test_the_same_photo_in_the_same_slot_is_one_look(bench) -> None:
    test = bench.open_test()
    first = bench.look(test.id, "age-300", photo="jar", note="first")
    again = bench.look(test.id, "age-300", photo="jar", note="again", by="Ben")
    assert again == first
    assert bench.store.case(test.id).looks == (first,)
    assert bench.store.count("again") == 0


def test_the_same_photo_in_another_slot_or_test_is_another_look(bench) -> None:
    one, other = bench.open_test(), bench.open_test()
    kept = [bench.look(t.id, slot, photo="jar") for t in (one, other) for slot in ("age-0", "extra")]
    assert len({look.id for look in kept}) == 4


@pytest.mark.parametrize("kind", ["event", "look", "observation", "verdict", "opinion"])
def test_a_record_of_no_test_is_refused(bench, kind: str) -> None:
    with pytest.raises(NotFound, match="There is no test '0000"):
        getattr(bench, kind)("0" * 32)


def test_a_signature_under_no_test_is_refused(bench) -> None:
    with pytest.raises(NotFound, match="There is no test"):
        bench.signature("0" * 32, "0" * 32)


def test_a_reading_of_no_look_or_of_another_photo_is_refused(bench) -> None:
    look = bench.look(bench.open_test().id)
    with pytest.raises(NotFound, match="There is no look"):
        bench.reading(dataclasses.replace(look, id="0" * 32))
    wrong = Reading(photo_sha256="0" * 64, method="1", width_px=1, height_px=1, jar_found=False)
    with pytest.raises(BadEntry, match="from photo '000000000000'"):
        bench.reading(look, reading=wrong)
    assert bench.store.case(look.test_id).readings == ()


def test_a_verdict_or_reading_needs_its_limits_kept_first(bench) -> None:
    look = bench.look(bench.open_test().id)
    text = "other limits, é"
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    verdict = Verdict(word="pass", reasons=(), limits_sha256=sha256)
    with pytest.raises(NotFound, match="no kept text of limits"):
        bench.verdict(look.test_id, verdict=verdict)
    with pytest.raises(NotFound, match="no kept text of limits"):
        bench.reading(look, verdict=verdict)
    bench.store.keep_limits(sha256, text)
    bench.store.keep_limits(sha256, text)
    kept = bench.verdict(look.test_id, verdict=verdict)
    bench.reading(look, verdict=verdict)
    assert bench.store.limits_text(kept.verdict.limits_sha256) == text


def test_limits_under_a_wrong_digest_are_refused(bench) -> None:
    with pytest.raises(BadEntry, match="digest"):
        bench.store.keep_limits("0" * 64, "limits")


def test_an_observation_may_not_speak_of_another_tests_look_or_observation(bench) -> None:
    mine, other = bench.open_test(), bench.open_test()
    look, seen = bench.look(other.id), bench.observation(other.id)
    for theirs in ({"look_id": look.id}, {"replaces": seen.id}, {"look_id": "0" * 32}):
        with pytest.raises(NotFound, match="nothing was saved"):
            bench.observation(mine.id, **theirs)
    assert bench.store.case(mine.id).observations == ()


def test_a_signature_stands_only_under_its_own_tests_verdict_opinion_and_revision(bench) -> None:
    mine, other = bench.open_test(), bench.open_test()
    verdict, theirs, opinion = bench.verdict(mine.id), bench.verdict(other.id), bench.opinion(other.id)
    for wrong, error, says in (
        ({"verdict_id": theirs.id}, Conflict, "verdict was made again"),
        ({"verdict_id": verdict.id, "opinion_id": opinion.id}, NotFound, "nothing was saved"),
        ({"verdict_id": verdict.id, "revision": 2}, Conflict, "changed the plan"),
    ):
        with pytest.raises(error, match=says):
            bench.signature(mine.id, **wrong)
    assert bench.store.case(mine.id).signatures == ()


def test_a_second_signature_is_refused_in_words_and_by_the_database_itself(bench) -> None:
    test = bench.open_test("Hop mix")  # its shop is two hours east of UTC
    verdict = bench.verdict(test.id, "fail")
    first = bench.signature(test.id, verdict.id, word="watch", reason="stirs out")
    there = first.at + timedelta(minutes=120)
    with pytest.raises(Conflict, match=rf"Ada signed this test WATCH at {there:%Y-%m-%d %H:%M}"):
        bench.signature(test.id, verdict.id, by="Ben", word="fail")
    second = dataclasses.replace(first, id=bench.fresh_id(), by="Ben")
    with in_words(), bench.store._writer.begin() as c, pytest.raises(IntegrityError):
        c.execute(insert(signatures).values(flat_row(second)))
    with in_words(), bench.store._writer.begin() as c:  # what was set aside may stand beside it
        c.execute(insert(signatures).values(flat_row(dataclasses.replace(second, set_aside="came second"))))
    case = bench.store.case(test.id)
    assert case.signature == first
    assert [s.by for s in case.signatures] == ["Ada", "Ben"]


def test_mixing_is_finished_once(bench) -> None:
    test = bench.open_test()
    first = bench.event(test.id, "mixed")
    with pytest.raises(Conflict, match="Ada finished the mixing at 2026-03-14 "):
        bench.event(test.id, "mixed", by="Ben")
    assert bench.store.case(test.id).events == (first,)


@pytest.mark.parametrize(
    ("kind", "wrong"),
    [
        ("event", {"kind": "shaken"}),
        ("observation", {"remix": "perhaps"}),
        ("observation", {"screen_pour": "perhaps"}),
        ("observation", {"runs": "perhaps"}),
        ("observation", {"bottom": "perhaps"}),
        ("verdict", {"word": "perhaps"}),
        ("opinion", {"word": "perhaps"}),
        ("opinion", {"word": ""}),
    ],
)
def test_a_word_that_is_none_of_the_closed_list_is_refused(bench, kind: str, wrong: dict[str, str]) -> None:
    test = bench.open_test()
    with pytest.raises(BadEntry, match="not one of those allowed"):
        getattr(bench, kind)(test.id, **wrong)


def test_a_reading_with_an_unknown_origin_or_verdict_is_refused(bench) -> None:
    look = bench.look(bench.open_test().id)
    wrong = Verdict(word="perhaps", reasons=(), limits_sha256=bench.limits_sha256)  # type: ignore[arg-type]
    for more in ({"origin": "dreamt"}, {"verdict": wrong}):
        with pytest.raises(BadEntry, match="not one of those allowed"):
            bench.reading(look, **more)


def test_the_same_record_sent_twice_is_a_conflict_and_kept_once(bench) -> None:
    event = bench.event(bench.open_test().id)
    with pytest.raises(Conflict, match="kept already"):
        bench.store.add_event(event)
    assert bench.store.case(event.test_id).events == (event,)


def test_a_refused_record_leaves_no_words_behind_for_a_search(bench) -> None:
    test = bench.open_test()
    with pytest.raises(BadEntry):
        bench.event(test.id, "shaken", note="unmistakable")
    assert bench.store.count("unmistakable") == 0


def test_samples_go_with_all_that_is_theirs_and_nothing_else(bench) -> None:
    mine = bench.open_test("Mine", "Invented A")
    samples = [bench.open_test(f"Sample {i}", "Invented B", sample=True) for i in range(2)]
    looks = [bench.fill(test) for test in (mine, *samples)]
    bench.observation(samples[0].id, replaces=bench.store.case(samples[0].id).observations[0].id)
    shared = bench.look(mine.id, photo="shared")
    bench.look(samples[0].id, photo="shared")
    before = bench.store.case(mine.id)
    assert bench.store.sample_count() == 2
    removed, orphans = bench.store.remove_samples()
    assert removed == 2
    assert bench.store.sample_count() == 0
    assert sorted(orphans) == sorted(look.photo.sha256 for look in looks[1:])
    assert shared.photo.sha256 not in orphans
    assert repr(bench.store.case(mine.id)) == repr(before)
    assert [row.title for row in bench.store.rows()] == ["Mine"]
    assert [p.name for p in bench.store.known_products()] == ["Invented A"]
    for test in samples:
        with pytest.raises(NotFound):
            bench.store.case(test.id)
    assert bench.store.looks_of_photo(orphans[0]) == ()
