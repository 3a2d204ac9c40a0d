"""How far two judges agree beyond chance: machine and person, first opinion and second."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeVar, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jartest.history.intervals import Z95
from jartest.verdict.values import Word

__all__ = [
    "FEWEST",
    "WORDS",
    "Compared",
    "Judged",
    "Kappa",
    "Weights",
    "compare",
    "compare_by",
    "kappa",
    "tally",
]

WORDS: tuple[Word, ...] = get_args(Word)
FEWEST = 20  # tests under which kappa has no interval (our choice, by the cover that was counted)
_A_LITTLE = 0.2  # of a test, in each cell, beforehand (our choice, by the same)
_DRAWS = 2_000
Weights = Literal["none", "linear", "quadratic"]
_K = TypeVar("_K", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Agreement beyond chance: 1 full, 0 as by chance; NaN where nothing could be told.

    `se` is the standard error at the value found, `se_null` at no agreement beyond chance.
    """

    n: int
    value: float
    se: float
    low: float
    high: float
    se_null: float
    observed: float
    expected: float


def _agreement_weights(k: int, weights: Weights) -> NDArray[np.float64]:
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k)))
    if weights == "none":
        return np.asarray(apart == 0, np.float64)
    steps = apart / max(k - 1, 1)
    return np.asarray(1 - steps if weights == "linear" else 1 - steps**2, np.float64)


def kappa(
    counts: ArrayLike,
    *,
    weights: Weights | NDArray[np.float64] | Sequence[Sequence[float]] = "none",
    z: float = Z95,
) -> Kappa:
    """Kappa of a square table of counts.

    Parameters
    ----------
    counts : array_like of int, shape (k, k)
        Rows: the first judge's word; columns: the second's, in the same order.
    weights : {"none", "linear", "quadratic"} or array_like of float, shape (k, k)
        How far two words agree: 1 for the same word, less the further apart they are.
    z : float
        Two-sided normal quantile of the interval.

    Returns
    -------
    Kappa
        Value, standard errors and interval (cut at -1 and 1); NaN where the table is empty or both
        judges always said the same one word.

    Raises
    ------
    ValueError
        If the table is not square.

    Notes
    -----
    The interval is none of a large sample, which promises too much with few tests and has no width where
    two never differ: it is what the counts leave possible when each cell could as well hold a fifth of a test
    more (`_DRAWS` tables drawn from that Dirichlet distribution).  Drawn at `z` 1.96 from the 1st to the 99th
    percentile, it holds the true kappa in 95 of 100 cases from 20 tests on (a test counts it); under
    `FEWEST` tests there is none.

    References
    ----------
    J. Cohen, Psychol. Bull. 70 (1968) 213-220, for the weights; J. L. Fleiss, J. Cohen, B. S. Everitt,
    Psychol. Bull. 72 (1969) 323-327, for the standard errors.
    """
    table = np.asarray(counts, np.float64)
    if table.ndim != 2 or table.shape[0] != table.shape[1]:
        msg = f"A table of two judges is square, not {table.shape}."
        raise ValueError(msg)
    n = table.sum()
    nan = math.nan
    if n == 0:
        return Kappa(n=0, value=nan, se=nan, low=nan, high=nan, se_null=nan, observed=nan, expected=nan)
    w = (
        _agreement_weights(len(table), weights)
        if isinstance(weights, str)
        else np.asarray(weights, np.float64)
    )
    p = table / n
    row, column = p.sum(axis=1), p.sum(axis=0)
    chance = np.outer(row, column)
    observed, expected = float((w * p).sum()), float((w * chance).sum())
    if 1 - expected < 1e-12:
        return Kappa(
            n=int(n), value=nan, se=nan, low=nan, high=nan, se_null=nan, observed=observed, expected=expected
        )
    value = (observed - expected) / (1 - expected)
    low, high = _interval(table, w, z) if n >= FEWEST else (nan, nan)
    means = np.add.outer(w @ column, w.T @ row)
    spread = (p * (w - means * (1 - value)) ** 2).sum() - (value - expected * (1 - value)) ** 2
    null = (chance * (w - means) ** 2).sum() - expected**2
    se, se_null = (math.sqrt(max(v, 0.0) / n) / (1 - expected) for v in (spread, null))
    return Kappa(
        n=int(n),
        value=value,
        se=se,
        low=low,
        high=high,
        se_null=se_null,
        observed=observed,
        expected=expected,
    )


def _interval(table: NDArray[np.float64], w: NDArray[np.float64], z: float) -> tuple[float, float]:
    """What these counts leave possible; the same counts always give the same."""
    rng = np.random.default_rng(20260314)
    p = rng.dirichlet(table.ravel() + _A_LITTLE, _DRAWS).reshape(-1, *table.shape)
    observed = (w * p).sum(axis=(1, 2))
    expected = np.einsum("ni,ij,nj->n", p.sum(axis=2), w, p.sum(axis=1))
    outside = (1 - math.erf(z / math.sqrt(2))) / 5  # in each tail: 1 % where 95 % are asked for
    found = np.quantile((observed - expected) / np.maximum(1 - expected, 1e-12), [outside, 1 - outside])
    return float(found[0]), float(found[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One test judged twice: by whom or what, and with which words."""

    number: int
    first: Word
    second: Word
    at: datetime
    first_by: str
    second_by: str
    jar: str = ""
    method: str = ""
    blind: bool = False


def tally(judged: Sequence[Judged]) -> NDArray[np.int64]:
    """The table of counts: rows the first word, columns the second, each pass, watch, fail."""
    counts = np.zeros((len(WORDS), len(WORDS)), np.int64)
    for j in judged:
        counts[WORDS.index(j.first), WORDS.index(j.second)] += 1
    return counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What is known of two judges: the counts, plain and weighted kappa, and where they differed.

    `missed` counts tests that the second judge failed and the first one passed; `alarms` the reverse.
    """

    counts: tuple[tuple[int, ...], ...]
    plain: Kappa
    weighted: Kappa
    missed: int
    alarms: int
    apart: tuple[Judged, ...]

    @property
    def says(self) -> str:
        """The comparison in one sentence."""
        n = self.plain.n
        if n == 0:
            return "No test was judged by both yet, so nothing can be said."
        same = n - len(self.apart)
        said = f"They gave the same word in {same} of {n} tests"
        k = self.weighted
        if math.isnan(k.value):
            return f"{said}, always the same one word: how far that is more than chance can't be said."
        if n < FEWEST:
            return f"{said}: too few to say how far that is more than chance."
        return f"{said}; beyond chance that is {k.value:.2f} of the way to full agreement (95 %: {k.low:.2f} to {k.high:.2f})."


def compare(judged: Sequence[Judged]) -> Compared:
    """How far the first and the second judge agree; linear weights, so that pass for fail counts double."""
    counts = tally(judged)
    apart = sorted((j for j in judged if j.first != j.second), key=lambda j: (-_gap(j), -j.number))
    return Compared(
        counts=tuple(tuple(int(x) for x in row) for row in counts),
        plain=kappa(counts),
        weighted=kappa(counts, weights="linear"),
        missed=int(counts[0, 2]),
        alarms=int(counts[2, 0]),
        apart=tuple(apart),
    )


def _gap(j: Judged) -> int:
    return abs(WORDS.index(j.first) - WORDS.index(j.second))


def compare_by(judged: Sequence[Judged], key: Callable[[Judged], _K]) -> Mapping[_K, Compared]:
    """The same for each group, the largest first: by jar, person or method version."""
    groups: dict[_K, list[Judged]] = {}
    for j in judged:
        groups.setdefault(key(j), []).append(j)
    return {k: compare(g) for k, g in sorted(groups.items(), key=lambda kg: -len(kg[1]))}
