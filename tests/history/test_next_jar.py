"""The next jar, the plan, and how few jars name the culprit."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from jartest.errors import BadEntry
from jartest.history.next_jar import Named, Step, best_jar, best_jars, make_bench, plan_jars
from jartest.history.prior import Prior
from jartest.history.trials import Trial
from jartest.history.weighing import Posterior, make_space

ONE_PAIR = Prior(product=0, order=0, fewest=1, most=1, error=0)
OPEN = Prior(pair=0.05, product=0, order=0, most=3)


def failed(products: str, prior: Prior) -> Posterior:
    space = make_space(tuple(products), prior)
    blank = Posterior(space=space, log_weights=space.log_prior)
    return blank.after(Trial(number=1, products=tuple(products), word="fail"))


def test_the_first_jar_for_one_bad_pair_of_four_halves_the_pairs() -> None:
    """Three of six pairs: three products with each other, which is one bit."""
    now = failed("ABCD", ONE_PAIR)
    jar = best_jar(now, make_bench(now.space))
    assert jar is not None
    assert len(jar.products) == 3
    assert (jar.bits, jar.fail_chance) == pytest.approx((1.0, 0.5))


def test_the_expected_information_is_that_of_the_joint_distribution() -> None:
    """I(set; end) summed over sets and ends, against the shorter formula used."""
    now = failed("ABCD", OPEN)
    bench = make_bench(now.space)
    jar = best_jar(now, bench)
    assert jar is not None
    e, chances = OPEN.error, now.chances
    holds = bench.goes_wrong[[j.products for j in bench.jars].index(jar.products)]
    fails = np.where(holds > 0, 1 - e, e)
    total = 0.0
    for given in (fails, 1 - fails):
        joint = chances * given
        total += float((joint * np.log2(given / joint.sum())).sum())
    assert jar.bits == pytest.approx(total, abs=1e-6)


def test_no_jar_is_proposed_where_none_would_tell_anything() -> None:
    now = failed("AB", ONE_PAIR)
    assert best_jar(now, make_bench(now.space)) is None
    assert best_jar(now, make_bench(now.space, at_hand=())) is None


def test_jars_side_by_side_tell_what_their_joint_distribution_says_and_more_than_the_best_one() -> None:
    now = failed("ABCDE", OPEN)
    bench = make_bench(now.space)
    jars = best_jars(now, bench, count=3)
    one = best_jar(now, bench)
    assert one is not None
    assert jars[0].products == one.products
    assert jars[0].bits == pytest.approx(one.bits, abs=1e-6)
    e, chances = OPEN.error, now.chances
    rows = [bench.goes_wrong[[j.products for j in bench.jars].index(jar.products)] for jar in jars]
    total = 0.0  # I(set; all three ends), every set and every end by itself
    for ends in product((True, False), repeat=3):
        given = np.ones(len(chances))
        for row, fails in zip(rows, ends, strict=True):
            given = given * np.where((row > 0) == fails, 1 - e, e)
        joint = chances * given
        total += float((joint * np.log2(given / joint.sum())).sum())
    assert sum(j.bits for j in jars) == pytest.approx(total, abs=1e-6)
    assert total > one.bits + 0.1


def test_what_is_suspected_of_rate_or_water_is_tried_at_half_the_rate_and_in_soft_water() -> None:
    space = make_space(("A", "B"), Prior(product=0, order=0, most=1))
    (plain,) = space.causes
    hard = replace(plain, when="hardness", value=200.0)
    rate = replace(plain, when="rate", of="A", value=3.0)
    both = replace(
        space, causes=(plain, hard, rate), log_odds=np.zeros(3), sets=np.array([[0], [1], [2]], np.int32)
    )
    like = Trial(number=1, products=("A", "B"), word="fail", doses=(4.0, 1.0), hardness_mg_l=400.0)
    bench = make_bench(both, like=like, soft_mg_l=20.0)
    ends = {j.says: row.tolist() for j, row in zip(bench.jars, bench.goes_wrong, strict=True)}
    assert ends == {"": [1, 1, 1], "at half the rates": [1, 1, 0], "in soft water": [1, 0, 1]}
    assert bench.cost.tolist() == [1.0, 1.1, 1.1]


def test_only_what_is_at_hand_goes_in_and_what_must_always_does() -> None:
    now = failed("ABCDE", OPEN)
    bench = make_bench(now.space, at_hand="ABCD", always=["A"])
    assert all("A" in jar.products and "E" not in jar.products for jar in bench.jars)


def test_products_stand_in_the_jar_in_the_order_they_go_in() -> None:
    bench = make_bench(failed("CADB", OPEN).space)
    assert all(list(j.products) == sorted(j.products, key="CADB".index) for j in bench.jars)


def test_where_an_order_is_suspected_the_other_way_round_can_be_proposed() -> None:
    now = failed("AB", Prior(pair=0.01, product=0, order=0.2, most=2))
    bench = make_bench(now.space)
    assert ("B", "A") in [j.products for j in bench.jars]


def test_more_products_than_a_bench_can_do_are_refused() -> None:
    with pytest.raises(BadEntry, match="11 products"):
        make_bench(make_space("ABCDEFGHIJK", ONE_PAIR))


def leaves(plan: Step | Named, depth: int = 0) -> list[tuple[Named, int]]:
    if isinstance(plan, Named):
        return [(plan, depth)]
    return leaves(plan.if_pass, depth + 1) + leaves(plan.if_fail, depth + 1)


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7, 8])
def test_the_plan_for_one_bad_pair_names_each_pair_once_within_one_jar_of_the_bound(n: int) -> None:
    now = failed("ABCDEFGH"[:n], ONE_PAIR)
    ends = leaves(plan_jars(now, make_bench(now.space), depth=12))
    assert all(end.sure for end, _ in ends)
    named = [end.culprits[0].products for end, _ in ends]
    assert sorted(named) == sorted(combinations("ABCDEFGH"[:n], 2))
    bound = math.log2(len(named))
    assert np.mean([depth for _, depth in ends]) <= bound + 1.0
    assert max(depth for _, depth in ends) <= math.ceil(bound) + 1


def test_a_plan_that_ends_early_says_that_it_is_not_sure() -> None:
    now = failed("ABCDE", OPEN)
    ends = leaves(plan_jars(now, make_bench(now.space), depth=1))
    assert not any(end.sure for end, _ in ends)


@pytest.fixture(scope="module")
def culprits(repo_root: Path) -> ModuleType:
    found = importlib.util.spec_from_file_location("culprits", repo_root / "tests/evidence/culprits.py")
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def repo_root() -> Path:
    return Path(__file__).resolve().parents[2]


def test_simulated_shops_name_their_culprits_in_few_jars(culprits: ModuleType) -> None:
    """A hundred shops a row; `tests/evidence/culprits.py --shops 1000` prints the full table."""
    for r in culprits.table(100, 7):
        if r["bad_pairs"] == 1:
            assert r["mean_jars"] <= r["bound_bits"] + 1.0
            assert r["right_fraction"] >= 0.99
        else:
            assert r["mean_jars"] <= 2 * (r["bound_bits"] + 1.0)
            assert r["right_fraction"] >= 0.95


@pytest.mark.parametrize("bad", list(combinations("ABCDEFG", 2)))
def test_the_halving_that_we_compare_with_ends_for_every_pair(
    culprits: ModuleType, bad: tuple[str, str]
) -> None:
    fails = culprits.reader([bad], 0.0, np.random.default_rng(0))
    assert 2 <= culprits.halving("ABCDEFG", 1, fails) <= 6
