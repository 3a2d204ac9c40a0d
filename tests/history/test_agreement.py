"""Kappa against printed values, and what is said of two judges."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.history.agreement import Judged, compare, compare_by, kappa
from jartest.history.intervals import Z95
from jartest.verdict.values import Word

WEISS = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
SLIDES = [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]
RATINGS = [[7, 7, 2, 3], [2, 8, 3, 7], [1, 5, 4, 9], [2, 8, 9, 14]]


def test_kappa_and_both_standard_errors_are_those_of_the_sas_printout_in_statsmodels() -> None:
    found = kappa(WEISS)
    assert found.value == pytest.approx(0.4842, abs=5e-5)
    of_a_large_sample = (found.value - Z95 * found.se, found.value + Z95 * found.se)
    assert (found.se, *of_a_large_sample) == pytest.approx((0.1380, 0.2137, 0.7547), abs=5e-5)
    assert found.se_null == pytest.approx(0.1484, abs=5e-5)
    assert found.value / found.se_null == pytest.approx(3.2626, abs=5e-5)


def test_weighted_kappa_and_its_interval_are_those_of_the_sas_printout_in_statsmodels() -> None:
    found = kappa(WEISS, weights="linear")
    assert (found.value, found.se) == pytest.approx((0.4701, 0.1457), abs=5e-5)
    of_a_large_sample = (found.value - Z95 * found.se, found.value + Z95 * found.se)
    assert of_a_large_sample == pytest.approx((0.1845, 0.7558), abs=5e-5)
    assert kappa(WEISS, weights="quadratic").value == pytest.approx(0.450161, abs=5e-7)


def test_kappa_of_eighteen_cases_is_that_of_its_article() -> None:
    """pmc.ncbi.nlm.nih.gov/articles/PMC2648993, table T2: 0.906 with standard error 0.092."""
    found = kappa([[7, 1, 0], [0, 8, 0], [0, 0, 2]])
    assert (found.value, found.se) == pytest.approx((0.906, 0.092), abs=5e-4)


def test_disagreement_weights_of_cohens_own_example_give_his_kappa() -> None:
    """J. Cohen, Psychol. Bull. 70 (1968) 213-220 (values from memory)."""
    counts = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]
    agreement = [[1 - v / 6 for v in row] for row in ([0, 1, 3], [1, 0, 6], [3, 6, 0])]
    assert kappa(counts).value == pytest.approx(0.492, abs=6e-4)
    assert kappa(counts, weights=agreement).value == pytest.approx(0.348, abs=5e-4)


@pytest.mark.parametrize(
    ("counts", "plain", "linear", "quadratic"),
    [
        (SLIDES, 0.493006, 0.648810, 0.783822),  # A. Agresti, Categorical Data Analysis (values from memory)
        (RATINGS, 0.1293, 0.2374, None),  # M. Hout et al., as in the R package vcd (values from memory)
        ([[75, 1, 4], [5, 4, 1], [0, 0, 10]], 0.676, 0.722, 0.755),  # J. L. Fleiss 1981 (values from memory)
        ([[20, 5], [10, 15]], 0.40, None, None),  # a common encyclopaedia example (value from memory)
    ],
)
def test_kappa_of_textbook_tables(
    counts: list[list[int]], plain: float, linear: float | None, quadratic: float | None
) -> None:
    assert kappa(counts).value == pytest.approx(plain, abs=5e-4)
    if linear is not None:
        assert kappa(counts, weights="linear").value == pytest.approx(linear, abs=5e-4)
    if quadratic is not None:
        assert kappa(counts, weights="quadratic").value == pytest.approx(quadratic, abs=5e-4)


@settings(deadline=None)  # a loaded machine is no fault
@given(st.lists(st.lists(st.integers(0, 30), min_size=3, max_size=3), min_size=3, max_size=3))
def test_kappa_is_the_same_whoever_is_called_the_first_judge(counts: list[list[int]]) -> None:
    turned = [list(row) for row in zip(*counts, strict=True)]
    here, there = kappa(counts, weights="linear"), kappa(turned, weights="linear")
    assert here.value == pytest.approx(there.value, nan_ok=True)
    assert here.se == pytest.approx(there.se, nan_ok=True)


def test_always_the_same_one_word_is_not_measurable() -> None:
    assert math.isnan(kappa([[9, 0], [0, 0]]).value)
    assert math.isnan(kappa([[0, 0], [0, 0]]).value)


def test_a_table_that_is_not_square_is_refused() -> None:
    with pytest.raises(ValueError, match="square"):
        kappa([[1, 2, 3], [4, 5, 6]])


def judged(number: int, first: Word, second: Word, *, by: str = "Ada") -> Judged:
    at = datetime(2026, 3, 14, tzinfo=UTC)
    return Judged(number=number, first=first, second=second, at=at, first_by="machine", second_by=by)


def test_what_they_differed_in_is_listed_worst_first() -> None:
    found = compare([judged(1, "pass", "watch"), judged(2, "pass", "fail"), judged(3, "fail", "fail")])
    assert [j.number for j in found.apart] == [2, 1]
    assert (found.missed, found.alarms) == (1, 0)


def test_groups_are_told_apart() -> None:
    found = compare_by(
        [judged(1, "pass", "fail"), judged(2, "pass", "pass", by="Ben"), judged(3, "fail", "fail", by="Ben")],
        lambda j: j.second_by,
    )
    assert list(found) == ["Ben", "Ada"]
    assert found["Ada"].missed == 1
    assert found["Ben"].missed == 0


@pytest.mark.parametrize(
    ("many", "says"),
    [
        ([], "No test was judged by both yet, so nothing can be said."),
        ([("pass", "pass")], "They gave the same word in 1 of 1 tests, always the same one word"),
        ([("pass", "fail")], "They gave the same word in 0 of 1 tests: too few"),
        (
            [("pass", "pass"), ("fail", "fail")] * 12,
            "same word in 24 of 24 tests; beyond chance that is 1.00",
        ),
        (
            [("pass", "fail"), ("fail", "pass")] * 12,
            "same word in 0 of 24 tests; beyond chance that is -1.00",
        ),
    ],
)
def test_there_is_a_sentence_for_every_store(many: list[tuple[Word, Word]], says: str) -> None:
    assert says in compare([judged(i, a, b) for i, (a, b) in enumerate(many)]).says
