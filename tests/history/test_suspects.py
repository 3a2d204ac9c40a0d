"""Suspects against a plain enumeration, and what each kind of evidence does to them."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.history.rests_on import leanings
from jartest.history.suspects import EXACT_MOST, Prior, Suspect, make_space, weigh
from jartest.history.trials import Trial
from jartest.verdict.values import Word

PRIOR = Prior()
PAIRS_ONLY = Prior(product=0, order=0)


def rng() -> np.random.Generator:
    return np.random.default_rng(3)


def trial(number: int, products: str, word: Word, **more: object) -> Trial:
    return Trial(number=number, products=tuple(products), word=word, **more)  # type: ignore[arg-type]


def pair(a: str, b: str) -> Suspect:
    return Suspect(kind="pair", products=(a, b))


# ------------------------------------------------------------------ enumeration
def blame_by_hand(
    trials: list[Trial], products: str, waters: list[str], prior: Prior
) -> dict[Suspect, float]:
    """The chance of each suspect by going through every set, written without the code under test."""
    suspects = [pair(a, b) for a, b in itertools.combinations(products, 2)]
    suspects += [Suspect(kind="product", products=(p,), water=w) for p in products for w in waters]
    suspects += [Suspect(kind="order", products=(a, b)) for a, b in itertools.permutations(products, 2)]
    chance = {"pair": prior.pair, "product": prior.product, "order": prior.order}
    suspects = [s for s in suspects if chance[s.kind] > 0]
    total, blame = 0.0, dict.fromkeys(suspects, 0.0)
    for size in range(prior.fewest, min(prior.most, len(suspects)) + 1):
        for guilty in itertools.combinations(suspects, size):
            weight = 1.0
            for s in suspects:
                weight *= chance[s.kind] if s in guilty else 1 - chance[s.kind]
            for t in trials:
                weight *= likelihood_by_hand(t, guilty, prior)
            total += weight
            for s in guilty:
                blame[s] += weight
    return {s: b / total for s, b in blame.items()}


def likelihood_by_hand(t: Trial, guilty: tuple[Suspect, ...], prior: Prior) -> float:
    if t.word == "watch":
        return 1.0
    completions = []
    for s in guilty:
        if not set(s.products) <= set(t.products):
            continue
        places = [t.products.index(p) + 1 for p in s.products]
        if s.kind == "product" and s.water != t.water:
            continue
        if s.kind == "order" and places[0] > places[1]:
            continue
        completions.append(max(places))
    error = prior.remix_error if (t.word, t.remix) == ("fail", "fully") else prior.error
    fails = 1 - error if completions else error
    if t.word == "pass":
        return 1 - fails
    if t.first_sign_after is None or len(t.products) == 1:
        return fails
    if not completions:
        return fails / len(t.products)
    if min(completions) == t.first_sign_after:
        return fails * (1 - prior.sign_error)
    return fails * prior.sign_error / (len(t.products) - 1)


@st.composite
def small_cases(draw: st.DrawFn) -> tuple[list[Trial], str]:
    products = "ABCD"[: draw(st.integers(2, 4))]
    trials = []
    for number in range(draw(st.integers(0, 5))):
        mix = draw(st.permutations(products))[: draw(st.integers(1, len(products)))]
        word = draw(st.sampled_from(["pass", "watch", "fail"]))
        sign = draw(st.none() | st.integers(1, len(mix))) if word == "fail" else None
        remix = draw(st.sampled_from(["not tried", "fully", "partly", "not at all"]))
        water = draw(st.sampled_from(["", "well"]))
        trials.append(
            Trial(
                number=number, products=tuple(mix), word=word, water=water, first_sign_after=sign, remix=remix
            )
        )
    return trials, products


@settings(max_examples=60, deadline=None)
@given(
    small_cases(), st.sampled_from([PRIOR, PAIRS_ONLY, Prior(fewest=1, most=2), Prior(order=0, error=0.1)])
)
def test_suspects_are_those_of_a_plain_enumeration(case: tuple[list[Trial], str], prior: Prior) -> None:
    trials, products = case
    said = [t for t in trials if t.word != "watch" and (len(t.products) > 1 or t.products[0] in products)]
    waters = sorted({t.water for t in said}) or [""]
    found = weigh(trials, tuple(products), prior, rng=rng())
    assert found.space.exact
    by_hand = blame_by_hand(trials, products, waters, prior)
    assert dict(found.ranked()) == pytest.approx(by_hand, abs=1e-9)


def test_a_walk_over_sets_finds_what_weighing_each_of_them_finds() -> None:
    trials = [
        trial(1, "ABCDE", "fail", first_sign_after=4),
        trial(2, "ABC", "pass"),
        trial(3, "BDE", "fail"),
        trial(4, "CD", "pass"),
    ]
    exact = dict(weigh(trials, tuple("ABCDE"), PAIRS_ONLY, rng=rng()).ranked())
    walked = weigh(trials, tuple("ABCDE"), PAIRS_ONLY, rng=rng(), steps=40_000, exact_most=10)
    assert not walked.space.exact
    # 32 000 correlated steps, about one in ten independent: 0.03 is over three standard errors of a share
    assert dict(walked.ranked()) == pytest.approx(exact, abs=0.03)


def test_too_many_sets_are_walked_over_and_the_culprit_of_many_tests_is_still_found() -> None:
    names = [f"P{i:02d}" for i in range(24)]
    draws = rng()
    trials = []
    for number in range(250):
        mix = tuple(draws.choice(names, 5, replace=False))
        bad = {"P03", "P07"} <= set(mix)
        trials.append(Trial(number=number, products=mix, word="fail" if bad else "pass"))
    assert any(t.word == "fail" for t in trials)
    prior = Prior(product=0, order=0, most=10)
    found = weigh(trials, tuple(names), prior, rng=rng())
    assert not found.space.exact
    assert found.ranked()[0][0] == pair("P03", "P07")
    assert found.ranked()[0][1] > 0.9


# --------------------------------------------------------------------- evidence
def test_two_failures_with_one_pair_in_common_point_at_it() -> None:
    trials = [
        trial(1, "ABC", "fail"),
        trial(2, "ABD", "fail"),
        trial(3, "ACD", "pass"),
        trial(4, "BCD", "pass"),
    ]
    (suspect, chance), *_ = weigh(trials, tuple("ABCD"), PRIOR, rng=rng()).ranked()
    assert suspect == pair("A", "B")
    assert chance > 0.6


def test_a_first_sign_after_the_third_product_points_at_its_pairs() -> None:
    plain = dict(weigh([trial(1, "ABC", "fail")], tuple("ABC"), PAIRS_ONLY, rng=rng()).ranked())
    noted = trial(1, "ABC", "fail", first_sign_after=3)
    signed = dict(weigh([noted], tuple("ABC"), PAIRS_ONLY, rng=rng()).ranked())
    assert signed[pair("A", "C")] > plain[pair("A", "C")] > signed[pair("A", "B")]


def test_a_failure_that_re_mixed_fully_weighs_less() -> None:
    firm = dict(weigh([trial(1, "AB", "fail")], tuple("AB"), PRIOR, rng=rng()).ranked())
    soft = dict(weigh([trial(1, "AB", "fail", remix="fully")], tuple("AB"), PRIOR, rng=rng()).ranked())
    assert soft[pair("A", "B")] < firm[pair("A", "B")]


def test_a_pair_that_fails_one_way_round_only_is_a_matter_of_order() -> None:
    trials = [trial(n, "AB", "fail") for n in range(3)] + [trial(n, "BA", "pass") for n in range(3, 6)]
    (suspect, chance), *_ = weigh(trials, tuple("AB"), PRIOR, rng=rng()).ranked()
    assert suspect == Suspect(kind="order", products=("A", "B"))
    assert chance > 0.9


def test_a_product_that_fails_in_one_water_only_is_a_matter_of_water() -> None:
    trials = [trial(n, m, "fail", water="hard well") for n, m in enumerate(["AB", "AC", "AD", "A"])]
    trials += [trial(n + 9, m, "pass", water="rain") for n, m in enumerate(["AB", "AC", "AD", "A"])]
    (suspect, chance), *_ = weigh(trials, tuple("ABCD"), PRIOR, rng=rng()).ranked()
    assert suspect == Suspect(kind="product", products=("A",), water="hard well")
    assert chance > 0.9


def test_a_jar_with_products_from_elsewhere_weighs_less_than_one_without() -> None:
    own = dict(weigh([trial(1, "AB", "fail")], tuple("AB"), PAIRS_ONLY, rng=rng()).ranked())
    mixed = dict(weigh([trial(1, "ABXYZ", "fail")], tuple("AB"), PAIRS_ONLY, rng=rng()).ranked())
    assert PAIRS_ONLY.pair < mixed[pair("A", "B")] < own[pair("A", "B")]


def test_it_is_said_which_tests_the_result_rests_on_and_what_would_change_it() -> None:
    trials = [trial(1, "ABC", "fail"), trial(2, "AB", "fail"), trial(3, "AC", "pass"), trial(4, "BC", "pass")]
    rests = leanings(weigh(trials, tuple("ABC"), PAIRS_ONLY, rng=rng()))
    assert rests[0].number == 2
    assert rests[0].would_change
    assert {r.number for r in rests} == {1, 2, 3, 4}


# --------------------------------------------------------- empty, one, all, contradictory
def test_without_any_test_the_suspects_stand_as_the_prior_says() -> None:
    prior = Prior(product=0, order=0, most=3)
    found = weigh([], tuple("ABC"), prior, rng=rng())
    assert [p for _, p in found.ranked()] == pytest.approx([prior.pair] * 3, abs=1e-12)
    assert found.best() == ((), pytest.approx((1 - prior.pair) ** 3))
    assert leanings(found) == ()


def test_one_product_alone_can_be_weighed() -> None:
    found = weigh([trial(1, "A", "fail")], ("A",), PRIOR, rng=rng())
    assert found.ranked()[0][0] == Suspect(kind="product", products=("A",))
    assert weigh([], ("A",), PAIRS_ONLY, rng=rng()).ranked() == ()


def test_jars_that_all_passed_leave_nobody_under_suspicion() -> None:
    trials = [trial(n, "ABC", "pass") for n in range(5)]
    assert max(p for _, p in weigh(trials, tuple("ABC"), PRIOR, rng=rng()).ranked()) < 0.01


def test_jars_that_all_failed_leave_everybody_under_suspicion() -> None:
    trials = [trial(n, "ABC", "fail") for n in range(5)]
    found = weigh(trials, tuple("ABC"), PAIRS_ONLY, rng=rng()).ranked()
    assert all(p > 0.3 for _, p in found)


def test_tests_that_contradict_each_other_leave_the_doubt_standing() -> None:
    trials = [trial(1, "AB", "fail"), trial(2, "AB", "pass"), trial(3, "AB", "fail"), trial(4, "AB", "pass")]
    chance = dict(weigh(trials, tuple("AB"), PAIRS_ONLY, rng=rng()).ranked())[pair("A", "B")]
    assert chance == pytest.approx(PAIRS_ONLY.pair, abs=1e-9)


def test_tests_that_cannot_both_be_without_a_wrong_reading_still_give_chances() -> None:
    sure = Prior(product=0, order=0, error=0)
    found = weigh([trial(1, "AB", "fail"), trial(2, "AB", "pass")], tuple("AB"), sure, rng=rng())
    assert math.isfinite(found.ranked()[0][1])


# ---------------------------------------------------------------------- refusals
@pytest.mark.parametrize(
    "wrong", [{"pair": 1.0}, {"error": 0.5}, {"order": -0.1}, {"fewest": 3, "most": 2}, {"product": math.nan}]
)
def test_a_prior_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(BadEntry):
        Prior(**wrong)  # type: ignore[arg-type]


def test_a_product_named_twice_in_a_jar_is_refused() -> None:
    with pytest.raises(BadEntry, match="twice"):
        trial(1, "AA", "fail")


def test_a_sign_after_a_product_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadEntry, match="first sign after number 3"):
        trial(1, "AB", "fail", first_sign_after=3)


def test_more_sets_than_can_be_weighed_are_refused_where_each_is_asked_for() -> None:
    with pytest.raises(BadEntry, match=str(EXACT_MOST)):
        make_space([str(i) for i in range(40)], PRIOR)


def test_the_prior_says_itself() -> None:
    assert "each pair is a culprit with 5.0 %" in PRIOR.says
