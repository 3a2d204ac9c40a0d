"""Signing and the bench, case by case: what went wrong, and what is right."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from jartest.errors import BadEntry, Conflict
from jartest.exchange import history_tables
from jartest.exchange.nameless import without_names
from jartest.exchange.tables import csv_of_tests
from jartest.exchange.words import say_look
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Case, JarTest, KeptVerdict, Product, Signature, TestPlan
from jartest.records.said import said_by_others
from jartest.verdict.values import Verdict, Word

PHOTO = Path(__file__).resolve().parents[2] / "samples" / "stable" / "stable-0000min.jpg"


class Scripted(Recorder):
    """A recorder whose machine says what the test wants; everything else is as it is."""

    machine: Word | None = None

    def judge(self, test_id: str) -> KeptVerdict:
        """The machine's verdict, kept when it differs from the last one."""
        last = self.store.case(test_id).verdicts[-1:]
        if last and last[0].verdict.word == self.machine:
            return last[0]
        verdict = Verdict(word=self.machine, reasons=(), limits_sha256=self.limits.sha256)
        kept = KeptVerdict(id=self.fresh_id(), test_id=test_id, at=self.now(), verdict=verdict)
        self.store.keep_limits(self.limits.sha256, self.limits.text)
        self.store.add_verdict(kept)
        return kept


@pytest.fixture
def recorder(recorder: Recorder, clock: Any) -> Scripted:
    return Scripted(store=recorder.store, photos=recorder.photos, limits=recorder.limits, clock=clock)


def says(recorder: Scripted, test: JarTest, word: Word | None) -> Case:
    """The test once the machine has said this, as a person then sees it."""
    recorder.machine = word
    recorder.judge(test.id)
    return recorder.case(test.id)


@pytest.fixture
def test(recorder: Recorder) -> JarTest:
    products = tuple(Product(name=n) for n in ("Bineguard Copper 20", "Nettlesap Boron 10", "Hopcal 12"))
    plan = TestPlan(title="Copper + boron", products=products, schedule=default_schedule(3))
    return recorder.start_test(plan, by="Wren", utc_offset_min=-420)


def sign(recorder: Recorder, case: Case, word: Word, reason: str = "", *, by: str = "Wren") -> Signature:
    """Sign what this person saw: the test as it stood in this case."""
    return recorder.sign(
        case.test.id,
        word=word,
        reason=reason,
        by=by,
        expected_revision=case.test.revision,
        expected_verdict=case.verdicts[-1].id if case.verdicts else None,
    )


# -------------------------------------------------------------------------- signing
@pytest.mark.parametrize(
    ("machine", "word", "reason"),
    [
        ("fail", "watch", "stirs out"),  # signed FAIL, and the reason was gone
        ("fail", "pass", "that was foam"),
        ("fail", "fail", ""),
        ("pass", "fail", "gel on the spoon"),  # by the code it was signed PASS
        ("pass", "pass", ""),
        ("watch", "fail", "worse than it looks"),
        ("watch", "watch", "only with the agitator on"),
        (None, "pass", "seen by eye"),
        (None, "fail", "curds at once"),
    ],
)
def test_the_word_chosen_is_the_word_signed_and_counted(
    recorder: Scripted, test: JarTest, machine: Word | None, word: Word, reason: str
) -> None:
    before = says(recorder, test, machine) if machine else recorder.case(test.id)
    signature = sign(recorder, before, word, reason)
    case = recorder.case(test.id)
    assert case.signature == signature
    assert (signature.word, signature.reason) == (word, reason)
    assert case.signed_over is not None
    assert case.signed_over.word == machine
    (row,) = recorder.find(f"verdict:{word}")
    assert (row.signed_word, row.signed_by, row.person_word) == (word, "Wren", word)
    counted = recorder.history().pair_table().cells[0]
    assert {"pass": counted.passed, "watch": counted.watched, "fail": counted.failed}[word] == 1


def test_a_word_that_differs_from_the_machine_s_needs_a_reason(recorder: Scripted, test: JarTest) -> None:
    says(recorder, test, "fail")
    with pytest.raises(BadEntry, match="The machine says fail and you say pass: write one sentence why"):
        sign(recorder, recorder.case(test.id), "pass", "  ")
    with pytest.raises(BadEntry, match="Enter your name"):
        sign(recorder, recorder.case(test.id), "fail", by=" ")
    assert recorder.case(test.id).signatures == ()


def test_nobody_signs_under_another_s_opinion(recorder: Scripted, test: JarTest, clock: Any) -> None:
    """B spoke last, A signed, and it was B's word."""
    says(recorder, test, "watch")
    recorder.give_opinion(test.id, word="fail", reason="cream that stays", by="Teal")
    clock.go_on(minutes=1)
    signature = sign(recorder, recorder.case(test.id), "watch", by="Wren")
    case = recorder.case(test.id)
    assert (signature.by, signature.word, signature.reason) == ("Wren", "watch", "")
    own = next(o for o in case.opinions if o.id == signature.opinion_id)
    assert (own.by, own.word) == ("Wren", "watch")
    (teal,) = said_by_others(case, "wren ")
    assert (teal.by, teal.word, teal.reason) == ("Teal", "fail", "cream that stays")


def test_what_moved_since_the_signer_looked_is_refused_in_words(recorder: Scripted, test: JarTest) -> None:
    seen = says(recorder, test, "watch")
    says(recorder, test, "fail")
    with pytest.raises(Conflict, match=r"verdict was made again at 2026-03-14 06:30 .* it is FAIL now"):
        sign(recorder, seen, "watch")
    seen = recorder.case(test.id)
    recorder.change_plan(
        test.id, replace(seen.test.plan, title="Another"), by="Teal", expected_revision=seen.test.revision
    )
    with pytest.raises(Conflict, match=r"Teal changed the plan at 2026-03-14 06:30 .* revision 2 now"):
        sign(recorder, seen, "fail")
    case = recorder.case(test.id)
    assert (case.signatures, case.opinions) == ((), ()), "a refused signature leaves nothing behind"
    assert sign(recorder, case, "fail").revision == 2


def test_a_verdict_that_came_while_there_was_none_to_see_is_refused(
    recorder: Scripted, test: JarTest
) -> None:
    nothing = recorder.case(test.id)
    says(recorder, test, "fail")
    with pytest.raises(Conflict, match="it is FAIL now"):
        sign(recorder, nothing, "pass", "looks fine")


def test_the_second_to_sign_reads_who_signed_what_and_leaves_nothing(
    recorder: Scripted, test: JarTest, clock: Any
) -> None:
    seen = says(recorder, test, "watch")
    sign(recorder, seen, "watch", by="Teal")
    clock.go_on(minutes=1)
    with pytest.raises(Conflict, match=r"Teal signed this test WATCH at 2026-03-14 06:30.*say so below it"):
        sign(recorder, seen, "fail", "no", by="Wren")
    case = recorder.case(test.id)
    assert [(s.by, s.word) for s in case.signatures] == [("Teal", "watch")]
    assert [o.by for o in case.opinions] == ["Teal"]


def test_the_signed_word_stands_in_every_list_and_file(recorder: Scripted, test: JarTest) -> None:
    sign(recorder, says(recorder, test, "fail"), "watch", "stirs out")
    rows = recorder.find()
    (line,) = csv.DictReader(io.StringIO(csv_of_tests(rows).decode("utf-8-sig")))
    assert (line["machine_word"], line["signed_word"], line["signed_by"]) == ("fail", "watch", "Wren")
    frame = pd.read_parquet(io.BytesIO(history_tables.tests_parquet(rows)))
    assert list(frame["signed_word"]) == ["watch"]
    assert [r.number for r in recorder.find("verdict:watch")] == [1]
    assert recorder.find("verdict:fail") == ()
    signature = without_names(recorder.case(test.id)).signature
    assert signature is not None
    assert (signature.by, signature.word) == ("person 1", "watch")


def test_what_is_said_after_the_signature_stands_beside_it(
    recorder: Scripted, test: JarTest, clock: Any
) -> None:
    says(recorder, test, "watch")
    signature = sign(recorder, recorder.case(test.id), "watch")
    clock.go_on(minutes=1)
    recorder.give_opinion(test.id, word="fail", reason="gelled overnight", by="Teal")
    case = recorder.case(test.id)
    assert case.signature == signature
    assert [(x.by, x.word) for x in said_by_others(case, "Wren")] == [("Teal", "fail")]
    (row,) = recorder.find("copper")
    assert (row.signed_word, row.person_word) == ("watch", "fail")


def test_a_word_given_before_the_machine_s_was_seen_still_counts_as_that(
    recorder: Scripted, test: JarTest
) -> None:
    says(recorder, test, "watch")
    recorder.give_opinion(test.id, word="watch", reason="cream", by="Wren", saw_machine=False)
    sign(recorder, recorder.case(test.id), "watch", "cream")
    assert [o.saw_machine for o in recorder.case(test.id).opinions] == [False, False]


# ------------------------------------------------------------------------ the bench
def added(case: Case) -> list[int | None]:
    return [e.position for e in case.additions]


def test_a_tick_by_mistake_is_taken_back_and_ticked_again(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    recorder.add_product(test.id, 1, by="Wren")
    clock.go_on(seconds=3)
    recorder.take_back(test.id, 1, by="Wren")
    assert added(recorder.case(test.id)) == []
    assert recorder.case(test.id).left_out == frozenset(), "a slip says nothing of what goes in"
    assert recorder.running()[0].added == frozenset()
    clock.go_on(seconds=30)
    again = recorder.add_product(test.id, 1, by="Teal")
    case = recorder.case(test.id)
    assert case.additions == (again,)
    assert [e.kind for e in case.events] == ["added", "undone", "added"], "nothing is overwritten"
    assert case.left_out == frozenset()


def test_what_did_not_go_in_is_said_later_and_is_not_counted_as_if_it_had(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    for n in (1, 2, 3):
        recorder.add_product(test.id, n, by="Wren")
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(seconds=11)
    recorder.take_back(test.id, 2, by="Teal", note="the jug still stands there")
    case = recorder.case(test.id)
    assert (added(case), case.left_out) == ([1, 3], frozenset({2}))
    sign(recorder, case, "watch", "boron never went in")
    pairs = recorder.history().pair_table().cells
    assert [(c.first, c.second) for c in pairs] == [("Bineguard Copper 20", "Hopcal 12")]
    with pytest.raises(Conflict, match="Wren has signed this test"):
        recorder.take_back(test.id, 1, by="Teal")


def test_what_nobody_ticked_beside_what_was_is_not_counted_as_if_it_had_gone_in(
    recorder: Recorder, test: JarTest
) -> None:
    """A jar planned with three, two of them ticked: its pass says nothing of the third."""
    for n in (1, 2):
        recorder.add_product(test.id, n, by="Wren")
    recorder.finish_mixing(test.id, by="Wren")
    sign(recorder, recorder.case(test.id), "watch", "the third was never opened")
    pairs = recorder.history().pair_table().cells
    assert len(pairs) == 1
    assert "Hopcal 12" not in (pairs[0].first, pairs[0].second)


def test_what_is_not_ticked_cannot_be_taken_back(recorder: Recorder, test: JarTest) -> None:
    with pytest.raises(BadEntry, match="nothing to take back"):
        recorder.take_back(test.id, 1, by="Wren")


def test_a_product_that_took_the_place_of_one_taken_back_is_in_its_own_right(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    recorder.add_product(test.id, 1, by="Wren")
    clock.go_on(minutes=1)
    recorder.take_back(test.id, 1, by="Wren")
    assert recorder.case(test.id).left_out == frozenset({1})
    clock.go_on(minutes=1)
    others = (Product(name="Sulfex 80"), *test.plan.products[1:])
    recorder.change_plan(test.id, replace(test.plan, products=others), by="Wren", expected_revision=1)
    assert recorder.case(test.id).left_out == frozenset()


def test_out_of_order_is_asked_first(recorder: Recorder, test: JarTest) -> None:
    recorder.add_product(test.id, 1, by="Wren")
    with pytest.raises(BadEntry, match=r"Nettlesap Boron 10 comes before Hopcal 12 and is not ticked"):
        recorder.add_product(test.id, 3, by="Wren")
    assert added(recorder.case(test.id)) == [1]
    recorder.add_product(test.id, 3, by="Wren", out_of_order=True)
    recorder.add_product(test.id, 2, by="Wren")
    assert added(recorder.case(test.id)) == [1, 3, 2]


def test_mixing_is_finished_once_and_every_look_has_one_age(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    """300 s and -60 s stood side by side, because mixing was finished again after the look."""
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(seconds=300)
    taken = recorder.take_look(test.id, slot="age-300", data=PHOTO.read_bytes(), name="a.jpg", by="Teal")
    clock.go_on(seconds=60)
    with pytest.raises(Conflict, match=r"Wren finished the mixing at 2026-03-14 06:30"):
        recorder.finish_mixing(test.id, by="Teal")
    case = recorder.case(test.id)
    assert taken.look.age_s == case.looks[0].age_s == recorder.store.look(taken.look.id).age_s == 300.0
    assert [p.age_s for p in recorder.curve(case)] in ([300.0], [])  # a point only where it could be measured
    assert say_look(case.looks[0], case) == "5 min after mixing"


def test_a_look_from_before_the_mixing_has_no_age_anywhere(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    clock.go_on(minutes=5)
    before = clock.now - timedelta(minutes=1)
    recorder.finish_mixing(test.id, by="Wren")
    taken = recorder.take_look(
        test.id, slot="age-0", data=PHOTO.read_bytes(), name="a.jpg", by="Teal", taken_at=before
    )
    case = recorder.case(test.id)
    assert (taken.look.age_s, case.looks[0].age_s) == (None, None)
    assert recorder.curve(case) == ()
    assert say_look(case.looks[0], case) == "before mixing"


@pytest.mark.parametrize(
    "wrong",
    [{"by": "  "}, {"by": "x" * 81}, {"by": "<b>Wren</b>"}, {"note": "<i>odd</i>"}, {"slot": "no such look"}],
    ids=["blank", "too long", "html in the name", "html in the note", "unknown look"],
)
def test_a_refused_photo_leaves_no_file_behind(
    recorder: Recorder, test: JarTest, tmp_path: Path, wrong: dict[str, str]
) -> None:
    said = {"slot": "extra", "name": "a.jpg", "by": "Teal"} | wrong
    with pytest.raises(BadEntry):
        recorder.take_look(test.id, data=PHOTO.read_bytes(), **said)  # type: ignore[arg-type]
    assert [p for p in (tmp_path / "photos").rglob("*") if p.is_file()] == []
    assert recorder.case(test.id).looks == ()
