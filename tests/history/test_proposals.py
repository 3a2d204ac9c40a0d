"""Proposals for limits: only from enough tests, counted honestly, and never in force by themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from jartest.errors import BadEntry
from jartest.history.proposals import Scored, propose, write_shop_limits
from jartest.verdict.limits import load_limits
from jartest.verdict.values import Word

LIMITS = load_limits()


def scored(values: list[float], word: Word, start: int = 0) -> list[Scored]:
    return [Scored(number=start + i, value=v, word=word) for i, v in enumerate(values)]


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def test_a_shop_whose_jars_fail_late_gets_its_own_limit() -> None:
    """Failures above 0.2 only, passes up to 0.19, while the limit in force is 0.10."""
    draws = rng()
    good = scored(list(draws.uniform(0.0, 0.19, 60)), "pass")
    bad = scored(list(draws.uniform(0.21, 0.6, 40)), "fail", start=100)
    found = propose([*good, *bad], "settled", LIMITS, rng=rng())
    assert found.fail_min is not None
    assert 0.15 < found.fail_min < 0.25
    assert found.now.alarms > 10
    assert found.held_out is not None
    assert found.held_out.alarms + found.held_out.missed <= 3
    assert "instead of 0.1" in found.says


def test_counts_on_tests_that_had_no_say_add_up_to_all_tests() -> None:
    draws = rng()
    good, bad = (
        scored(list(draws.normal(0.1, 0.05, 33)), "pass"),
        scored(list(draws.normal(0.2, 0.05, 17)), "fail"),
    )
    held = propose([*good, *bad], "settled", LIMITS, rng=rng()).held_out
    assert held is not None
    assert (held.failed, held.others) == (17, 33)


@pytest.mark.parametrize("seed", range(10))
def test_a_figure_that_is_mere_chance_proposes_nothing_and_says_so(seed: int) -> None:
    """Failed and passed tests drawn from one and the same spread: any limit that looks better does so by luck."""
    draws = np.random.default_rng([26, seed])
    values = list(draws.uniform(0.0, 0.2, 400))
    found = propose(
        [*scored(values[:60], "fail"), *scored(values[60:], "pass", start=100)], "settled", LIMITS, rng=rng()
    )
    assert found.fail_min is None
    assert "does not tell your failed tests from the others" in found.says


def test_where_the_limit_in_force_parts_them_it_stays() -> None:
    draws = rng()
    good, bad = (
        scored(list(draws.uniform(0, 0.09, 50)), "pass"),
        scored(list(draws.uniform(0.11, 0.3, 50)), "fail"),
    )
    found = propose([*good, *bad], "settled", LIMITS, rng=rng())
    assert found.fail_min is None
    assert "in force" in found.says


@pytest.mark.parametrize(
    "tests", [[], scored([0.5], "fail"), scored([0.1] * 30, "pass"), scored([0.3] * 30, "fail")]
)
def test_too_few_tests_of_either_kind_propose_nothing_and_say_how_many_it_takes(tests: list[Scored]) -> None:
    found = propose(tests, "settled", LIMITS, rng=rng())
    assert found.fail_min is None
    assert "from 8 of each" in found.says


def test_a_value_that_was_not_measurable_is_left_aside() -> None:
    found = propose(scored([math.nan] * 30, "fail"), "settled", LIMITS, rng=rng())
    assert found.now.failed == 0


def test_an_unknown_rule_is_refused() -> None:
    with pytest.raises(BadEntry, match="no rule 'colour'"):
        propose([], "colour", LIMITS, rng=rng())


def test_accepting_writes_the_limit_and_keeps_what_the_shop_had_set() -> None:
    draws = rng()
    good = scored(list(draws.uniform(0.0, 0.19, 60)), "pass")
    bad = scored(list(draws.uniform(0.21, 0.6, 40)), "fail", start=100)
    found = propose([*good, *bad], "settled", LIMITS, rng=rng())
    shop = "# ours\n[settled]\npass_max = 0.03\nfail_min = 0.2\n\n[foam]\nfail_min = 0.4\n"
    text = write_shop_limits(shop, [found], by='Ada "A" \\ B', on="2026-03-14")
    after = load_limits(text)
    assert after.photo["settled"].fail_min == pytest.approx(found.fail_min)
    assert after.photo["settled"].pass_max == 0.03
    assert after.photo["foam"].fail_min == 0.4
    assert 'accepted by Ada "A" \\ B on 2026-03-14' in after.photo["settled"].source
    assert text.startswith("# ours")
    assert LIMITS.photo["settled"].fail_min == 0.10


@pytest.mark.parametrize("seed", range(4))
def test_the_figures_stated_are_those_of_exactly_what_is_proposed(seed: int) -> None:
    """A store with a known best limit, also where it lies under what may be set; each figure recounted by hand."""
    draws = np.random.default_rng([31, seed])
    best = float(draws.uniform(0.01, 0.3))
    values = draws.uniform(0.0, 2 * best, 200)
    failed = values >= best
    failed ^= draws.random(200) < 0.02
    tests = [
        Scored(number=i, value=float(v), word="fail" if f else "pass")
        for i, (v, f) in enumerate(zip(values, failed, strict=True))
    ]
    found = propose(tests, "settled", LIMITS, rng=rng())
    lowest = LIMITS.photo["settled"].pass_max
    if found.fail_min is None:
        assert best < 0.115, "the limit in force is as good only near it"
        return
    assert found.fail_min > lowest
    missed = sum(f and v < found.fail_min for v, f in zip(values, failed, strict=True))
    alarms = sum(not f and v >= found.fail_min for v, f in zip(values, failed, strict=True))
    assert found.fitted is not None
    assert (found.fitted.missed, found.fitted.alarms) == (missed, alarms)
    assert (
        f"{missed} of {failed.sum()} failures missed, {alarms} of {(~failed).sum()} false alarms; now"
        in found.says
    )
    every = [round(x, 4) for x in np.arange(lowest + 0.001, 1.0, 0.001)]
    cost = [5 * (failed & (values < x)).sum() + (~failed & (values >= x)).sum() for x in every]
    assert 5 * missed + alarms <= min(cost), "no other limit that may be set costs less"


def test_on_noise_hardly_any_shop_is_proposed_anything() -> None:
    """300 shops with nothing to find, six rules each: at most 2 % of them are proposed a limit at all."""
    proposed = 0
    for shop in range(300):
        draws = np.random.default_rng([41, shop])
        words = np.where(draws.random(150) < 0.3, "fail", "pass")
        any_of_it = False
        for rule in LIMITS.photo:
            values = draws.uniform(0.0, 0.4, 150)
            tests = [
                Scored(number=i, value=float(v), word=w)
                for i, (v, w) in enumerate(zip(values, words, strict=True))
            ]
            any_of_it |= propose(tests, rule, LIMITS, rng=np.random.default_rng(shop)).fail_min is not None
        proposed += any_of_it
    assert proposed <= 6
