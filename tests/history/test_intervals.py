"""Wilson's interval against the worked examples of its literature."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.history.intervals import wilson


# R. G. Newcombe, Statist. Med. 17 (1998) 857-872, Table I, method 3 (values from memory, computed again);
# 19/38: test file of statsmodels 0.15.0.
@pytest.mark.parametrize(
    ("count", "of", "low", "high", "off"),
    [
        (81, 263, 0.2553, 0.3662, 5e-5),
        (15, 148, 0.0624, 0.1605, 5e-5),
        (0, 20, 0.0000, 0.1611, 5e-5),
        (1, 29, 0.0061, 0.1718, 5e-5),
        (19, 38, 0.348499283643951, 0.651500716356049, 1e-12),
        (9, 30, 0.1666, 0.4788, 5e-5),
    ],
)
def test_wilson_limits_are_those_of_newcombe_and_statsmodels(
    count: int, of: int, low: float, high: float, off: float
) -> None:
    assert wilson(count, of) == pytest.approx((low, high), abs=off)


def test_nothing_counted_has_no_limits() -> None:
    assert all(math.isnan(x) for x in wilson(0, 0))


def test_more_than_all_cannot_be_counted() -> None:
    with pytest.raises(ValueError, match="3 of 2"):
        wilson(3, 2)


@settings(deadline=None)  # a loaded machine is no fault
@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_failures_and_passes_are_mirrored_and_the_share_lies_inside(counted: tuple[int, int]) -> None:
    count, of = counted
    low, high = wilson(count, of)
    assert 0 <= low <= count / of <= high <= 1
    assert wilson(of - count, of) == pytest.approx((1 - high, 1 - low), abs=1e-12)
