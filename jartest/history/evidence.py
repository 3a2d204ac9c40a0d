"""Signed tests as columns, and how much each speaks for a cause at work in its jar."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.history.prior import Prior
from jartest.history.trials import Trial
from jartest.records.grounds import Ground

__all__ = ["GROUNDS", "WORDS", "Evidence", "gather", "speaks", "tilt", "word_chances"]

WORDS = ("pass", "watch", "fail")
GROUNDS: tuple[Ground, ...] = ("none", "seen", "measured")
_BANDS = {0: (67.0, 100.0), 1: (34.0, 66.0), 2: (0.0, 33.0)}  # scores of each word, by the data contract

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """Signed tests as columns.

    The first group has one entry a jar, the second one entry a product in a jar, jar after jar, in the
    order they went in; `start` says where each jar begins.  `ground` is what a pass rests on, as its place in
    `GROUNDS`.  `kind_of` is the kind of each product.
    """

    products: tuple[str, ...]
    kinds: tuple[str, ...]
    kind_of: Ints
    readers: tuple[str, ...]
    lots: tuple[str, ...]
    number: Ints
    word: Ints
    score: Floats
    reader: Ints
    hardness: Floats
    ph: Floats
    temperature: Floats
    season: Ints
    remixed: NDArray[np.bool_]
    ground: Ints
    sign: Ints
    start: Ints
    product: Ints
    dose: Floats
    lot: Ints

    @property
    def jars(self) -> int:
        """How many jars there are."""
        return len(self.word)

    @property
    def size(self) -> Ints:
        """(jar,) how many products each held."""
        return np.diff(self.start)


def gather(trials: Sequence[Trial], kind_of: Callable[[str], str] | None = None) -> Evidence:
    """These trials as columns; `kind_of` tells the kind of a product, each its own where it is not given."""
    names = tuple(sorted({p for t in trials for p in t.products}))
    index = {p: i for i, p in enumerate(names)}
    of_kind = [(kind_of or str)(p) for p in names]
    kinds = tuple(sorted(set(of_kind)))
    readers = tuple(sorted({t.reader for t in trials}))
    lots = tuple(sorted({lot for t in trials for lot in t.lots} | {""}))
    nan = math.nan

    def jar(values: list[float]) -> Floats:
        return np.array(values, np.float64)

    lot_index = {lot: i for i, lot in enumerate(lots)}
    return Evidence(
        products=names,
        kinds=kinds,
        kind_of=np.array([kinds.index(k) for k in of_kind], np.int64),
        readers=readers,
        lots=lots,
        number=np.array([t.number for t in trials], np.int64),
        word=np.array([WORDS.index(t.word) for t in trials], np.int64),
        score=jar([t.score for t in trials]),
        reader=np.array([readers.index(t.reader) for t in trials], np.int64),
        hardness=jar([t.hardness_mg_l for t in trials]),
        ph=jar([t.ph for t in trials]),
        temperature=jar([t.temperature_c for t in trials]),
        season=np.array([t.season for t in trials], np.int64),
        remixed=np.array([t.remix == "fully" for t in trials], bool),
        ground=np.array([GROUNDS.index(t.ground) for t in trials], np.int64),
        sign=np.array([t.first_sign_after or 0 for t in trials], np.int64),
        start=np.concatenate([[0], np.cumsum([len(t.products) for t in trials], dtype=np.int64)]),
        product=np.array([index[p] for t in trials for p in t.products], np.int64),
        dose=jar([d for t in trials for d in (t.doses or (nan,) * len(t.products))]),
        lot=np.array([lot_index[x] for t in trials for x in (t.lots or ("",) * len(t.products))], np.int64),
    )


def word_chances(prior: Prior, error: Floats) -> tuple[Floats, Floats]:
    """(word, ...) how likely pass, watch and fail are without a cause at work, and with one.

    A wrong reading takes one for the other.
    """
    good = np.array([1 - prior.good_watch, prior.good_watch, 0.0])
    bad = np.array([0.0, prior.bad_watch, 1 - prior.bad_watch])
    e = np.asarray(error, np.float64)[None]
    shape = (3,) + (1,) * (e.ndim - 1)
    g, b = good.reshape(shape), bad.reshape(shape)
    return (1 - e) * g + e * b, (1 - e) * b + e * g


def _ratio(bad: Floats, good: Floats) -> Floats:
    # The floor keeps a jar that cannot be (no error allowed, and yet it ended so) from emptying the posterior.
    out: Floats = np.log(np.maximum(bad, 1e-300)) - np.log(np.maximum(good, 1e-300))
    return out


def tilt(prior: Prior, word: Ints, score: Floats) -> Floats:
    """By how much the place of a score in the band of its word speaks for a cause, as log odds; 0 without a score."""
    low = np.array([_BANDS[w][0] for w in range(3)])[word]
    high = np.array([_BANDS[w][1] for w in range(3)])[word]
    place = np.clip((score - low) / (high - low), 0.0, 1.0)
    return np.where(np.isnan(score), 0.0, math.log(max(prior.score_tilt, 1.0)) * (1 - 2 * place))


def speaks(evidence: Evidence, prior: Prior, error: Floats) -> Floats:
    """(state, jar) log likelihood ratio of each jar against no cause at work in it.

    State 0 is none; 1 a cause, but the first sign came after another product; 2 a cause that the first
    sign fits, or of a jar where nobody noted it.

    Parameters
    ----------
    error : ndarray, shape (reader,)
        How often each reader reads a jar wrongly.
    """
    e = error[evidence.reader]
    passed, failed = evidence.word == 0, evidence.word == 2
    e = np.where(failed & evidence.remixed, np.maximum(prior.remix_error, e), e)
    e = np.where(passed & (evidence.ground == 1), np.maximum(prior.unmeasured_error, e), e)
    good, bad = word_chances(prior, e)
    at = np.arange(evidence.jars)
    base = _ratio(bad[evidence.word, at], good[evidence.word, at])
    base = base + tilt(prior, evidence.word, evidence.score)
    base = np.where(passed & (evidence.ground == 0), 0.0, base)  # a pass that rests on nothing says nothing
    size = evidence.size
    noted = failed & (evidence.sign > 0) & (size >= 2)
    fits = np.log(max(1 - prior.sign_error, 1e-300) * np.maximum(size, 1))
    misses = np.log(np.maximum(prior.sign_error / np.maximum(size - 1, 1) * np.maximum(size, 1), 1e-300))
    high = base + np.where(noted, fits, 0.0)
    low = base + np.where(noted, misses, 0.0)
    return np.stack([np.zeros(evidence.jars), np.minimum(low, high), high])
