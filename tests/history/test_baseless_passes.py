"""A pass that a person signed where nothing was measured clears nothing, and says wherever it stands what it rests on."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from jartest.history.before import Mix
from jartest.history.evidence import gather, speaks
from jartest.history.prior import default_prior
from jartest.history.questions import History
from jartest.history.states import PairKnown, know_pairs
from jartest.history.trials import Trial
from jartest.history.weighing import weigh_evidence
from jartest.records.grounds import SignedOver
from jartest.verdict.words import say_signed

PAIR = ("A (Ferrow)", "B (Ferrow)")
MIX = Mix(products=PAIR, doses=(5.0, 5.0), water="well", hardness_mg_l=300.0)


def over_no_verdict(shop: Any, minute: int) -> None:
    """A pass signed over no verdict, of a jar that was looked at last at this minute."""
    test = shop.open("A B")
    shop.mix(test)
    shop.notice(test, minute, "smooth")
    shop.sign(test, None, person="pass")


def known(shop: Any) -> PairKnown:
    cell = History(shop.store).pair_table().by_pair()[PAIR]
    assert cell.known is not None
    return cell.known


@pytest.mark.parametrize("over", [None, "fail"])
def test_passes_over_no_verdict_or_over_a_fail_never_make_a_pair_go(shop: Any, over: Any) -> None:
    """Was wrong: ten passes signed over no verdict, each of a jar seen for a minute, made it “goes”."""
    for _ in range(10):
        if over is None:
            over_no_verdict(shop, 1)
        else:
            shop.sign(shop.open("A B"), over, person="pass")
    found = known(shop)
    assert (found.word, found.passes, found.baseless, found.goes_in) == ("open", 0, 10, None)
    assert "10 passes were signed over no verdict or over the machine's FAIL, and clear nothing" in found.says
    assert found.chance == pytest.approx(default_prior().pair, abs=0.03)
    before = History(shop.store).before(MIX)
    assert before.tone == "caution"
    assert "passed only over" in before.says


def test_what_a_person_watched_for_long_without_the_machine_makes_a_pair_likely_go_at_most(shop: Any) -> None:
    for _ in range(10):
        over_no_verdict(shop, 60)
    found = known(shop)
    assert (found.word, found.passes, found.baseless) == ("likely goes", 10, 0)
    assert History(shop.store).before(MIX).tone == "caution"
    for _ in range(2):
        shop.add("A B", "pass")
    assert (known(shop).word, known(shop).passes) == ("goes", 2)
    assert History(shop.store).before(MIX).tone == "good"


def test_a_mixture_of_two_out_of_a_jar_that_passed_over_no_verdict_is_a_caution(shop: Any) -> None:
    """Was wrong: “every pair of it was tried and none speaks against it”, on passes that clear nothing."""
    for over in (None, "fail"):
        shop.sign(shop.open("A B C"), over, person="pass")
    before = History(shop.store).before(MIX)
    assert before.tone == "caution"
    assert "which clears nothing. Mix a jar first." in before.says


@pytest.mark.parametrize("year", [None, 2026])
def test_counts_say_how_many_passes_are_without_ground(shop: Any, year: int | None) -> None:
    shop.add("A B", "pass")
    over_no_verdict(shop, 1)
    over_no_verdict(shop, 60)  # watched for long: that is a ground
    shop.sign(shop.open("A B C"), "fail", person="pass")
    shop.sign(shop.open("A C"), "watch", person="pass")
    cells = History(shop.store).pairs_tried(year=year).by_pair()
    said = {pair: (c.passed, c.baseless) for pair, c in cells.items()}
    a_c, b_c = ("A (Ferrow)", "C (Ferrow)"), ("B (Ferrow)", "C (Ferrow)")
    assert said == {PAIR: (4, 2), a_c: (2, 1), b_c: (1, 1)}
    assert "4 passed (2 of them without ground), 0 watched" in cells[PAIR].says
    ids = [i for i, x in shop.store.shelf_items().items() if x.name in ("A", "C")]
    (row,) = shop.store.counted_pairs(samples=False, ids=ids)[1]
    assert (row.passed, row.baseless) == (2, 1)


def test_a_baseless_pass_widens_no_range(shop: Any) -> None:
    for _ in range(2):
        shop.add("A B", "pass", hardness=100.0)
    test = shop.open("A B", hardness=400.0)
    shop.mix(test)
    shop.notice(test, 60, "smooth")
    shop.sign(test, None, person="pass")
    found = known(shop)
    assert found.word == "goes"
    assert found.goes_in is not None
    assert found.goes_in.hardness_mg_l == (100.0, 100.0)


def test_each_word_of_the_history_says_what_it_rests_on(shop: Any) -> None:
    over_no_verdict(shop, 1)
    shop.sign(shop.open("A B"), "fail", person="pass")
    shop.add("A B", "pass")
    said = [p.said for p in History(shop.store).behind(*PAIR)]
    assert said == [
        "PASS to 2 h",
        "PASS to 2 h over the machine's FAIL",
        "PASS over NO VERDICT, jar seen to 1 min",
    ]
    rows = shop.store.rows("")
    assert [(r.signed_word, r.signed_over) for r in rows] == [
        ("pass", "pass"),
        ("pass", "fail"),
        ("pass", None),
    ]


def test_a_signed_word_never_stands_bare() -> None:
    assert say_signed("pass", 1800, "pass") == "PASS to 30 min"
    assert say_signed("pass", None, None) == "PASS over NO VERDICT"
    assert say_signed("watch", None, None, 60.0) == "WATCH over NO VERDICT, jar seen to 1 min"
    assert say_signed("pass", None, "pass") == "PASS, age not kept"
    assert say_signed("fail", None, None) == "FAIL"
    assert say_signed(None, None, None) == "NO VERDICT"


def test_ground_is_what_was_measured_or_seen_for_long() -> None:
    assert SignedOver(word="watch").ground_of("pass") == "measured"
    assert SignedOver(word="fail", age_s=7200.0).ground_of("pass") == "none"
    assert SignedOver(word=None, seen_s=1799.0).ground_of("pass") == "none"
    assert SignedOver(word=None, seen_s=1800.0).ground_of("pass") == "seen"
    assert SignedOver(word=None).ground_of("fail") == "measured"  # a fail holds whatever the age


def test_a_baseless_pass_says_nothing_to_the_model_and_a_watched_one_less_than_a_measured_one() -> None:
    prior = default_prior()
    trials = [
        Trial(number=n, products=PAIR, word="pass", ground=ground)  # type: ignore[arg-type]
        for n, ground in enumerate(("none", "seen", "measured"), 1)
    ]
    e = gather(trials)
    none, seen, measured = speaks(e, prior, np.array([prior.error]))[2]
    assert none == 0.0
    assert seen == pytest.approx(np.log(prior.unmeasured_error / (1 - prior.unmeasured_error)), abs=0.1)
    assert measured < 2 * seen < 0


def test_failures_among_baseless_passes_are_not_washed_out() -> None:
    trials = [Trial(number=n, products=PAIR, word="pass", ground="none") for n in range(1, 21)]
    trials += [Trial(number=n, products=PAIR, word="fail") for n in range(21, 24)]
    w = weigh_evidence(gather(trials), default_prior(), rng=np.random.default_rng(1))
    (pair,) = know_pairs(w, default_prior())
    assert pair.word == "fails"
