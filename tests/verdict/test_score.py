"""The score: straight between its four points, in the band of its word, the worst rule's."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry, BadLimits
from jartest.verdict.acts import Seen
from jartest.verdict.decide import TestLook, judge_test
from jartest.verdict.limits import PHOTO_RULES, load_limits
from jartest.verdict.photo import judge_photo
from jartest.verdict.score import score_of
from jartest.verdict.signs import SIGNS
from jartest.verdict.values import BANDS, Reason, Verdict
from jartest.verdict.words import say_aged, say_score, say_strained, say_verdict
from tests.verdict.test_decide import FIGURES, LIMITS, reading


@pytest.mark.parametrize("rule", PHOTO_RULES)
def test_a_score_is_100_at_nothing_67_and_33_at_the_limits_and_0_at_the_worst(rule: str) -> None:
    lim = LIMITS.photo[rule]
    assert score_of("pass", 0.0, lim) == 100
    assert score_of("pass", lim.pass_max, lim) == 67
    assert score_of("fail", lim.fail_min, lim) == 33
    assert score_of("fail", lim.worst, lim) == 0
    assert score_of("fail", 2.0, lim) == 0
    # ... and straight between: half way of each stretch, worked out by hand.
    assert score_of("pass", lim.pass_max / 2, lim) == pytest.approx((100 + 67) / 2, abs=0.5)
    assert score_of("watch", (lim.pass_max + lim.fail_min) / 2, lim) == 50
    assert score_of("fail", (lim.fail_min + lim.worst) / 2, lim) == pytest.approx(33 / 2, abs=0.5)


def test_the_doubt_counts_against_the_jar() -> None:
    def score(settled: float, sigma: float) -> int | None:
        r = reading(settled_fraction=settled, settled_sigma_fraction=sigma)
        return next(x.score for x in judge_photo(r, LIMITS).reasons if x.rule == "settled")

    # 1 % ± 0.2 % under 2 %: 1.645 x 0.2 more is 1.329 %, so 100 - 33 x 0.6645 = 78.07.
    assert score(0.01, 0.002) == 78
    # 5 % ± 1 %: 6.645 % of 2 to 10 % is 67 - 34 x 0.5806 = 47.3.
    assert score(0.05, 0.01) == 47
    # 20 % ± 2 %: 23.29 % of 10 to 30 % is 33 - 33 x 0.6645 = 11.07.
    assert score(0.20, 0.02) == 11


def test_just_over_a_limit_the_score_goes_with_the_word() -> None:
    lim = LIMITS.photo["settled"]
    assert score_of("watch", lim.pass_max * 1.0001, lim) == 66
    assert score_of("watch", lim.fail_min * 0.9999, lim) == 34
    assert score_of("watch", lim.worst, lim) == 34  # a doubt so large that neither is clear


def _agree(verdict: Verdict) -> bool:
    if verdict.word is None:
        return verdict.score is None
    low, high = BANDS[verdict.word]
    return verdict.score is not None and low <= verdict.score <= high


@given(figures=FIGURES)
def test_word_and_score_of_a_photo_never_disagree(figures: dict[str, float]) -> None:
    verdict = judge_photo(reading(**figures), LIMITS)
    assert _agree(verdict)
    assert all(r.score is not None for r in verdict.reasons if r.leads_to)


@given(
    figures=FIGURES,
    signs=st.sets(st.sampled_from([s.name for s in SIGNS])),
    remix=st.sampled_from(["not tried", "fully", "partly", "not at all"]),
    pour=st.sampled_from(["not tried", "clean", "rinses off", "stays on"]),
    mesh=st.none() | st.sampled_from([16, 50, 100]),
)
def test_word_and_score_of_a_test_never_disagree(
    figures: dict[str, float], signs: set[str], remix: str, pour: str, mesh: int | None
) -> None:
    photo = judge_photo(reading(**figures), LIMITS)
    seen = Seen(signs=tuple(signs), remix=remix, screen_pour=pour, screen_mesh=mesh)
    verdict = judge_test([TestLook(age_s=1800.0, says="30 min", verdict=photo)], seen, LIMITS)
    assert _agree(verdict)
    if verdict.score is not None:
        assert verdict.score == min(r.score for r in verdict.reasons if r.score is not None)


@given(value=st.floats(0, 1), more=st.floats(0, 0.3), sigma=st.floats(0, 0.2))
def test_more_settled_never_scores_higher(value: float, more: float, sigma: float) -> None:
    scores = [
        judge_photo(reading(settled_fraction=v, settled_sigma_fraction=sigma), LIMITS).score
        for v in (value, min(1.0, value + more))
    ]
    assert scores[0] >= scores[1]  # type: ignore[operator]


WATCH = Reason(rule="screen", says="Rinses off.", leads_to="watch", score=50)
PASS = Reason(rule="settled", says="Nothing.", leads_to="pass", score=90)


@pytest.mark.parametrize(
    ("word", "score", "reasons"),
    [
        ("pass", 66, (PASS,)),
        ("watch", 67, (WATCH,)),
        ("fail", 34, ()),
        (None, 50, ()),
        ("pass", 95, (PASS,)),  # better than its worst reason
        ("watch", 40, (WATCH, PASS)),
    ],
)
def test_a_verdict_whose_score_is_not_of_its_word_and_reasons_is_refused(
    word: str | None, score: int, reasons: tuple[Reason, ...]
) -> None:
    with pytest.raises(BadEntry):
        Verdict(word=word, score=score, reasons=reasons, limits_sha256="0" * 64)  # type: ignore[arg-type]


def test_a_reason_whose_score_is_not_of_its_word_is_refused() -> None:
    for word, score in (("pass", 66), ("fail", 34), (None, 0)):
        with pytest.raises(BadEntry):
            replace(PASS, leads_to=word, score=score)


def test_two_passes_can_be_compared() -> None:
    better, worse = (
        judge_photo(reading(settled_fraction=v, settled_sigma_fraction=0.001), LIMITS) for v in (0.002, 0.015)
    )
    assert better.word == worse.word == "pass"
    assert better.score > worse.score  # type: ignore[operator]


def test_each_sign_has_a_score_in_the_band_of_what_it_leads_to() -> None:
    for s in SIGNS:
        if s.weight == "good":
            assert s.score == 100
        elif s.weight == "fails":
            assert s.score in range(34)
        else:
            assert s.score in range(34, 67)
            assert s.score_failed in range(34)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[scores]\nremix_partly = 50", "from 0 to 33"),
        ("[scores]\npour_clean = 66", "from 67 to 100"),
        ("[scores]\npour_clean = 90.5", "whole number"),
        ("[settled]\nfail_min = 0.2\nworst = 0.1", "settled.worst"),
    ],
)
def test_scores_that_would_disagree_with_their_word_are_refused(text: str, says: str) -> None:
    with pytest.raises(BadLimits, match=says):
        load_limits(text)


def test_a_shop_that_moved_its_limits_up_before_there_were_scores_still_opens() -> None:
    moved = load_limits("[settled]\npass_max = 0.3\nfail_min = 0.5").photo["settled"]
    assert moved.worst == 0.75
    assert load_limits("[settled]\nfail_min = 1.0").photo["settled"].worst == 1.0


def test_the_word_is_said_with_its_age_and_its_score() -> None:
    assert say_aged("pass", 1800) == "PASS to 30 min"
    assert say_aged("watch", 86400) == "WATCH to 24 h"
    assert say_aged("fail", 1800) == "FAIL"  # it holds whatever the age
    assert say_aged(None, 1800) == "NO VERDICT"
    assert say_aged("pass", None) == "PASS"
    assert say_verdict("pass", 90, 1800) == "● PASS to 30 min · 90"
    assert say_verdict(None) == "○ NO VERDICT"
    assert say_verdict("fail", None, 1800) == "✖ FAIL · no score"
    assert say_score("pass", 90) == "90 of 100"
    assert say_score("pass", None).startswith("no score")


@given(age_s=st.floats(1800, 10 * 86400))
def test_a_word_never_says_more_time_than_was_watched(age_s: float) -> None:
    number, unit = say_aged("pass", age_s).removeprefix("PASS to ").split()
    assert float(number) * {"min": 60, "h": 3600, "d": 86400}[unit] <= age_s


def test_a_word_says_whether_it_was_strained() -> None:
    clean = Reason(rule="screen", says="Stays clean.", leads_to="pass", score=100)
    strained = Verdict(word="pass", score=90, reasons=(clean, PASS), limits_sha256="0" * 64)
    assert say_strained(strained) == ""
    assert say_strained(replace(strained, reasons=(PASS,))) == "not strained"
    assert say_strained(replace(strained, word=None, score=None, reasons=())) == ""
