"""Sets of causes drawn from the posterior, where there are too many to weigh each: a Gibbs sampler."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.history.candidates import Candidates, Ints
from jartest.history.evidence import Floats, speaks, word_chances
from jartest.history.prior import Prior

__all__ = ["Sampled", "draw"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sampled:
    """What was drawn.

    `chance` is (candidate,) how likely each is among the causes, averaged over the exact conditional
    chances at every step; `sets` is (draw, place) with the number of candidates for an empty place;
    `error` is (reader,) the mean rate of wrong readings, `error_sd` its spread; `holds` is (jar,) how likely a
    cause was at work in each.
    """

    chance: Floats
    sets: NDArray[np.int32]
    error: Floats
    error_sd: Floats
    holds: Floats


class _State:
    """The causes that are in at one moment, and what each candidate would change."""

    def __init__(self, c: Candidates, prior: Prior) -> None:
        self.c, self.prior = c, prior
        e = c.evidence
        self.of_inc = np.repeat(np.arange(c.count), np.diff(c.ptr))
        by_jar = np.argsort(c.jar, kind="stable")
        self.jar_ptr = np.searchsorted(c.jar[by_jar], np.arange(e.jars + 1))
        self.jar_cand, self.jar_fits = self.of_inc[by_jar], c.fits[by_jar].astype(np.int64)
        self.places = np.full(max(prior.most, 1), -1, np.int64)
        self.count = np.zeros((2, e.jars), np.int64)  # causes at work there whose sign does not fit, and fits
        self.log_odds = c.log_odds.copy()
        self._blank: tuple[Floats, float] | None = None  # what an empty place may become, as things are
        self.set_error(np.full(len(e.readers), prior.error))

    def set_error(self, error: Floats) -> None:
        """Take these rates of wrong readings."""
        self.error, self._blank = error, None
        self.value = speaks(self.c.evidence, self.prior, error)
        v0, v1, v2 = self.value
        zero = np.zeros_like(v0)
        # what one more cause changes, by what is at work in the jar already, and whether the sign fits it
        self.delta = np.stack([np.stack([v1, v2]), np.stack([zero, v2 - v1]), np.stack([zero, zero])])
        self.score = self.scores()

    def scores(self) -> Floats:
        """(candidate,) what the log likelihood would gain by each, from scratch."""
        c = self.c
        d = self.delta[self.jar_state()[c.jar], c.fits.astype(np.int64), c.jar]
        return np.bincount(self.of_inc, d, minlength=c.count).astype(np.float64)

    def jar_state(self) -> Ints:
        """(jar,) 0 without a cause at work, 1 with one that the sign does not fit, 2 with one that it fits."""
        return np.where(self.count[1] > 0, 2, np.where(self.count[0] > 0, 1, 0))

    def change(self, i: int, by: int) -> None:
        """Put a candidate in (+1) or take it out (-1), and bring the scores up to date."""
        part = slice(self.c.ptr[i], self.c.ptr[i + 1])
        jars, fits = self.c.jar[part], self.c.fits[part].astype(np.int64)
        before = self._state_of(jars)
        self.count[fits, jars] += by
        after = self._state_of(jars)
        moved = before != after
        if not moved.any():
            return
        jars, before, after = jars[moved], before[moved], after[moved]
        starts, lengths = self.jar_ptr[jars], self.jar_ptr[jars + 1] - self.jar_ptr[jars]
        at = np.repeat(starts - np.concatenate([[0], np.cumsum(lengths)[:-1]]), lengths) + np.arange(
            lengths.sum()
        )
        which, fit = self.jar_cand[at], self.jar_fits[at]
        jar = np.repeat(jars, lengths)
        d = self.delta[np.repeat(after, lengths), fit, jar] - self.delta[np.repeat(before, lengths), fit, jar]
        if len(which) * 4 < self.c.count:
            np.add.at(self.score, which, d)
        else:
            self.score += np.bincount(which, d, minlength=self.c.count)

    def _state_of(self, jars: Ints) -> Ints:
        return np.where(self.count[1, jars] > 0, 2, np.where(self.count[0, jars] > 0, 1, 0))

    def resample(self, place: int, rng: np.random.Generator | None) -> Floats:
        """Give one place a new candidate, or none, by its exact conditional chance; the chances of each.

        The sets are without order: filling a place among L - k empty ones comes L - k times as often as the
        set it leads to, and is weighed down by that.  Without a generator the likeliest is taken.
        """
        old = int(self.places[place])
        if old >= 0:
            self.change(old, -1)
            self.places[place] = -1
            found = self.conditional()
        else:
            found = self._blank = self._blank or self.conditional()
        chances, none = found
        if rng is None:
            new = int(np.argmax(chances)) if chances.max(initial=0.0) > none else -1
        else:
            u = rng.random()
            new = -1 if u >= 1 - none else min(int(np.searchsorted(np.cumsum(chances), u)), self.c.count - 1)
        if new >= 0:
            self.change(new, 1)
            self.places[place] = new
        if new != old:
            self._blank = None
        return chances

    def conditional(self) -> tuple[Floats, float]:
        """What one empty place may become: the chance of each candidate, and the chance of none."""
        inside = self.places[self.places >= 0]
        logs = self.log_odds + self.score - math.log(len(self.places) - len(inside))
        logs[inside] = -np.inf
        top = max(float(logs.max(initial=-np.inf)), 0.0)
        weights = np.exp(logs - top)
        none = 0.0 if len(inside) < self.prior.fewest else math.exp(-top)
        total = float(weights.sum()) + none
        return weights / total, none / total

    def draw_error(self, rng: np.random.Generator) -> None:
        """Draw each reader's rate of wrong readings, given what is at work in the jars."""
        e, p = self.c.evidence, self.prior
        if not p.error or not p.error_worth:
            return
        good, bad = word_chances(p, self.error[e.reader])
        _, right_bad = word_chances(p, np.zeros(e.jars))
        right_good, _ = word_chances(p, np.zeros(e.jars))
        at, w, holds = np.arange(e.jars), e.word, self.jar_state() > 0
        rate = self.error[e.reader]
        seen = np.where(holds, bad[w, at], good[w, at])
        other = np.where(holds, right_good[w, at], right_bad[w, at])
        counted = ~(e.remixed & (w == 2)) & ~((e.ground < 2) & (w == 0))
        wrong = rng.random(e.jars) < np.where(seen > 0, rate * other / np.maximum(seen, 1e-300), 0.0)
        n = np.bincount(e.reader, counted, minlength=len(e.readers))
        k = np.bincount(e.reader, wrong & counted, minlength=len(e.readers))
        drawn = rng.beta(p.error * p.error_worth + k, (1 - p.error) * p.error_worth + n - k)
        self.set_error(np.clip(drawn, 1e-4, 0.45))

    def draw_odds(self, rng: np.random.Generator) -> None:
        """Draw how common causes are in this shop, for each kind of suspect, given how many are in."""
        c, p = self.c, self.prior
        if not p.worth_tests:
            return
        inside = self.places[self.places >= 0]
        kinds = c.scopes.kind[c.scope[inside]]
        base = np.array([p.pair, p.product, p.kinds])
        shift = np.zeros(3)
        for k in range(3):
            tried = int((c.scopes.kind == k).sum())
            found = min(len(set(c.scope[inside][kinds == k].tolist())), tried)
            if base[k] > 0 and tried:
                few = max((1 - base[k]) * p.worth_tests, p.tried_worth * tried)
                drawn = float(
                    np.clip(rng.beta(base[k] * p.worth_tests + found, few + tried - found), 1e-9, 1 - 1e-9)
                )
                shift[k] = math.log(drawn / (1 - drawn)) - math.log(base[k] / (1 - base[k]))
        self._blank = None
        self.log_odds = c.log_odds + shift[c.scopes.kind[c.scope]]


def draw(
    c: Candidates, prior: Prior, rng: np.random.Generator, *, sweeps: int = 40, learn: bool = True
) -> Sampled:
    """Sets of causes from the posterior over these candidates.

    Parameters
    ----------
    c : Candidates
        At least one.
    prior : Prior
        `prior.most` places are filled or left empty.
    rng : numpy.random.Generator
        The chance in it.
    sweeps : int
        How often every place is drawn anew; half as many come first and are thrown away.
    learn : bool
        Whether the rate of wrong readings of each reader, and how common causes are, are drawn too, or
        stay as the prior states them.

    Notes
    -----
    A jar goes wrong when any cause is at work in it.  Places begin with what gains most, one after the
    other, and are then drawn anew in turn from their exact conditional distribution over all candidates, so
    that a suspect gives way to another in one step.  `chance` averages the conditional chances themselves
    and not the draws, which is the same in the mean and scatters less.

    References
    ----------
    S. Geman, D. Geman, IEEE Trans. PAMI 6 (1984) 721-741, for the sampler; A. E. Gelfand, A. F. M. Smith,
    J. Am. Stat. Assoc. 85 (1990) 398-409, for averaging conditional chances.
    """
    s = _State(c, prior)
    for place in range(len(s.places)):
        s.resample(place, None)
        if s.places[place] < 0:
            break
    warm = max(sweeps // 2, 1)
    chance = np.zeros(c.count)
    sets = np.full((sweeps, len(s.places)), c.count, np.int32)
    errors = np.zeros((sweeps, len(s.error)))
    holds = np.zeros(c.evidence.jars)
    for sweep in range(warm + sweeps):
        if learn:
            s.draw_odds(rng)
            s.draw_error(rng)
        kept = sweep - warm
        for place in range(len(s.places)):
            found = s.resample(place, rng)
            if kept >= 0:
                chance += found
        if kept >= 0:
            sets[kept] = np.where(s.places < 0, c.count, s.places)
            errors[kept] = s.error
            holds += s.jar_state() > 0
    return Sampled(
        chance=np.minimum(chance / sweeps, 1.0),
        sets=sets,
        error=errors.mean(axis=0),
        error_sd=errors.std(axis=0),
        holds=holds / sweeps,
    )
