"""Whose eye: how well each reader tells pass, watch and fail, where nobody knows the truth of any test."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.history.agreement import WORDS
from jartest.verdict.values import Word

__all__ = ["Eye", "Said", "read_readers"]

_FEWEST = 20  # tests judged by two or more under which nothing is said (our choice)
_RIGHT, _WRONG = 6.0, 1.0  # words beforehand: six right for one of each wrong kind (our choice)
_SWEEPS, _WARM = 600, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One reader's word on one test, given without having seen another's."""

    number: int
    reader: str
    word: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """One reader: of how many tests, and how often right, with what 95 % of the drawn truths leave possible.

    `right` is the share of words that hold; `missed` the share of failing jars that this reader passed, and
    `alarmed` of good jars that this reader failed; each is (middle, low, high), NaN where nothing can be said.
    """

    reader: str
    tests: int
    right: tuple[float, float, float]
    missed: tuple[float, float, float]
    alarmed: tuple[float, float, float]

    @property
    def says(self) -> str:
        """The reader in a sentence."""
        if math.isnan(self.right[0]):
            return f"{self.reader}: too few tests judged by two or more to say."
        right, low, high = (100 * x for x in self.right)
        missed, least, most = (100 * x for x in self.missed)
        return (
            f"{self.reader}: {self.tests} tests, right in {right:.0f} % ({low:.0f} to {high:.0f} %); passed {missed:.0f} % "
            f"({least:.0f} to {most:.0f} %) of the jars that fail."
        )


def read_readers(said: Sequence[Said], *, rng: np.random.Generator, sweeps: int = _SWEEPS) -> tuple[Eye, ...]:
    """How well each reader tells the words apart, the one with most tests first.

    Parameters
    ----------
    said : sequence of Said
        Blind words; the last one of a reader on a test counts.
    rng : numpy.random.Generator
        The chance in the sampler.
    sweeps : int
        Draws that are kept.

    Notes
    -----
    Each test has one true word that nobody knows, and each reader a table of how often which word is said where
    which one holds.  Truths and tables are drawn in turn, each given the other; readers' tables lean to being
    right beforehand, without which a shop of readers who are all wrong in the same way could not be told from one
    of readers who are right.  Words on a test are taken as independent given its truth.

    References
    ----------
    A. P. Dawid, A. M. Skene, J. R. Stat. Soc. C 28 (1979) 20-28, for the model, there fitted by EM.
    """
    last: dict[tuple[int, str], Word] = {(s.number, s.reader): s.word for s in said}
    judged: dict[int, int] = {}
    for number, _ in last:
        judged[number] = judged.get(number, 0) + 1
    of_reader: dict[str, int] = {}
    for _, reader in last:
        of_reader[reader] = of_reader.get(reader, 0) + 1
    readers = sorted(of_reader, key=lambda r: (-of_reader[r], r))
    if sum(n > 1 for n in judged.values()) < _FEWEST:
        nan = (math.nan,) * 3
        return tuple(Eye(reader=r, tests=of_reader[r], right=nan, missed=nan, alarmed=nan) for r in readers)
    tables, shares = _draw(last, readers, rng, sweeps)
    return tuple(_eye(r, of_reader[r], tables[:, i], shares) for i, r in enumerate(readers))


def _draw(
    last: Mapping[tuple[int, str], Word], readers: Sequence[str], rng: np.random.Generator, sweeps: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(draw, reader, truth, word) tables and (draw, truth) shares of the truths."""
    k = len(WORDS)
    numbers = sorted({n for n, _ in last})
    row = {n: i for i, n in enumerate(numbers)}
    who = {r: i for i, r in enumerate(readers)}
    test = np.array([row[n] for n, _ in last])
    reader = np.array([who[r] for _, r in last])
    word = np.array([WORDS.index(w) for w in last.values()])
    before = np.full((k, k), _WRONG) + (_RIGHT - _WRONG) * np.eye(k)
    votes = np.zeros((len(numbers), k))
    np.add.at(votes, (test, word), 1.0)
    truth = np.argmax(votes + 1e-3 * rng.random(votes.shape), axis=1)
    tables, shares = np.zeros((sweeps, len(readers), k, k)), np.zeros((sweeps, k))
    for sweep in range(_WARM + sweeps):
        counts = np.zeros((len(readers), k, k))
        np.add.at(counts, (reader, truth[test], word), 1.0)
        drawn = rng.standard_gamma(counts + before)
        table = drawn / drawn.sum(axis=2, keepdims=True)
        share = rng.dirichlet(np.bincount(truth, minlength=k) + 1.0)
        log = np.tile(np.log(share), (len(numbers), 1))
        np.add.at(log, test, np.log(np.maximum(table[reader, :, word], 1e-300)))
        chance = np.exp(log - log.max(axis=1, keepdims=True)).cumsum(axis=1)
        truth = (chance < rng.random((len(numbers), 1)) * chance[:, -1:]).sum(axis=1)
        if sweep >= _WARM:
            tables[sweep - _WARM], shares[sweep - _WARM] = table, share
    return tables, shares


def _eye(reader: str, tests: int, table: NDArray[np.float64], shares: NDArray[np.float64]) -> Eye:
    def told(drawn: NDArray[np.float64]) -> tuple[float, float, float]:
        low, high = np.quantile(drawn, [0.025, 0.975])
        return float(np.median(drawn)), float(low), float(high)

    right = (shares * np.einsum("nii->ni", table)).sum(axis=1)
    return Eye(
        reader=reader,
        tests=tests,
        right=told(right),
        missed=told(table[:, 2, 0]),
        alarmed=told(table[:, 0, 2]),
    )
