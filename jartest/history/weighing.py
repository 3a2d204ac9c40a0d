"""Who is to blame: how likely each cause, and each set of causes, is after all these tests."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.history.candidates import Candidates, find_candidates, leave_out
from jartest.history.causes import NEVER, Cause
from jartest.history.evidence import Evidence, Floats, gather, speaks
from jartest.history.prior import Prior
from jartest.history.sampling import Sampled, draw
from jartest.history.trials import Trial

__all__ = [
    "EXACT_MOST",
    "Posterior",
    "Space",
    "Weighed",
    "log_likelihood",
    "make_space",
    "weigh",
    "weigh_evidence",
]

EXACT_MOST = (
    100_000  # sets of causes that are weighed one by one; more are sampled (our choice: under a second)
)
_MOST_WORK = 6_000_000  # sets times jars weighed one by one (our choice: about 1 s); more are sampled
_HOPELESS = -20.0  # log odds under which a cause is not looked at again: two in a thousand million
_PLACES_A_PRODUCT = 2  # causes drawn at once, for each product that is suspected (our choice): with too few the rare ones are told too low
_MOST_PLACES = 240
_KEPT = 1e-3  # causes less likely than this are left out of what is kept, and out of the sets drawn


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Space:
    """The causes, and the sets of them that are weighed.

    `sets` is (set, member): indices into `causes`, filled up with len(causes).  `errors` is the rate of
    wrong readings of each reader who is known; the prior's holds for others.
    """

    products: tuple[str, ...]
    causes: tuple[Cause, ...]
    prior: Prior
    sets: NDArray[np.int32]
    exact: bool
    log_odds: Floats
    errors: Mapping[str, float] = field(default_factory=dict)
    kind_of: Mapping[str, str] = field(default_factory=dict)

    @property
    def log_prior(self) -> Floats:
        """(set,) the logarithm of its chance before any jar, but for a constant."""
        out: Floats = np.append(self.log_odds, 0.0)[self.sets].sum(axis=1)
        return out

    def row(self, trial: Trial) -> NDArray[np.int8]:
        """(cause + 1,) after which product each is complete in this jar; 127, also at the end, for never."""
        return np.array([*(c.completed_by(trial, dict(self.kind_of)) for c in self.causes), NEVER], np.int8)

    def completed(self, trial: Trial) -> NDArray[np.int8]:
        """(set,) after which product the first cause of each set is complete; 127 for never."""
        found: NDArray[np.int8] = self.row(trial)[self.sets].min(axis=1, initial=NEVER)
        return found

    def error_of(self, reader: str) -> float:
        """How often this reader reads a jar wrongly."""
        return self.errors.get(reader, self.prior.error)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Posterior:
    """How likely each set of causes is; `chances` sums to 1.

    `single` is (cause,) how likely each is, where that is known better than by counting sets.
    """

    space: Space
    log_weights: Floats
    trials: tuple[Trial, ...] = ()
    single: Floats | None = None

    @property
    def chances(self) -> Floats:
        """(set,) how likely each set is to be the whole truth."""
        weights = np.exp(self.log_weights - self.log_weights.max())
        out: Floats = weights / weights.sum()
        return out

    def after(self, trial: Trial) -> Posterior:
        """The posterior once this jar is known too."""
        more = log_likelihood(self.space, trial)
        return replace(self, log_weights=self.log_weights + more, trials=(*self.trials, trial), single=None)

    def of_each(self, chances: Floats | None = None) -> Floats:
        """(cause,) how likely each is at work somewhere."""
        if chances is None and self.single is not None:
            return self.single
        weights = self.chances if chances is None else chances
        n = len(self.space.causes)
        out = np.zeros(n + 1)
        for column in self.space.sets.T:
            out += np.bincount(column, weights, minlength=n + 1)
        return out[:n]

    def ranked(self, chances: Floats | None = None) -> tuple[tuple[Cause, float], ...]:
        """Every cause with its chance, the likeliest first; one wherever its condition begins, named by its likeliest place."""
        each = self.of_each(chances)
        total: dict[tuple[str, tuple[str, ...], str, str], float] = {}
        lead: dict[tuple[str, tuple[str, ...], str, str], int] = {}
        for i in np.argsort(-each, kind="stable"):
            name = self.space.causes[i].name
            total[name] = total.get(name, 0.0) + float(each[i])
            lead.setdefault(name, int(i))
        found = [(self.space.causes[lead[k]], min(v, 1.0)) for k, v in total.items()]
        return tuple(sorted(found, key=lambda x: -x[1]))

    def best(self) -> tuple[tuple[Cause, ...], float]:
        """The likeliest set of causes (empty: none at all), and how likely it is, wherever conditions begin."""
        chances = self.chances
        n = len(self.space.causes)
        names = [c.name for c in self.space.causes]
        merged: dict[frozenset[tuple[str, tuple[str, ...], str, str]], float] = {}
        lead: dict[frozenset[tuple[str, tuple[str, ...], str, str]], tuple[float, int]] = {}
        for i in np.argsort(-chances, kind="stable")[:5_000]:
            key = frozenset(names[k] for k in self.space.sets[i] if k < n)
            merged[key] = merged.get(key, 0.0) + float(chances[i])
            lead.setdefault(key, (float(chances[i]), int(i)))
        key = max(merged, key=lambda k: merged[k])
        members = [int(k) for k in self.space.sets[lead[key][1]] if k < n]
        return tuple(self.space.causes[k] for k in members), merged[key]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Weighed:
    """A posterior over all causes of these tests, with what is known of each jar and reader.

    `holds` is (jar,) how likely a cause was at work in it; `error`, `error_sd` are (reader,).
    """

    posterior: Posterior
    evidence: Evidence
    candidates: Candidates
    chance: Floats
    holds: Floats
    error: Floats
    error_sd: Floats


def log_likelihood(space: Space, trial: Trial) -> Floats:
    """(set,) the log likelihood ratio of this jar under each set of causes, against no cause at work in it."""
    one = gather([trial])
    value = speaks(one, space.prior, np.array([space.error_of(trial.reader)]))[:, 0]
    at = space.row(trial)[space.sets]
    k = trial.first_sign_after
    noted = trial.word == "fail" and k is not None and len(trial.products) > 1
    works = (at != NEVER).any(axis=1)
    fits = (at == k).any(axis=1) if noted else works
    out: Floats = np.where(fits & works, value[2], np.where(works, value[1], 0.0))
    return out


# ---------------------------------------------------------------------- all sets
def _set_count(m: int, fewest: int, most: int) -> int:
    return sum(math.comb(m, k) for k in range(fewest, min(most, m) + 1))


def _all_sets(m: int, fewest: int, most: int) -> NDArray[np.int32]:
    count = _set_count(m, fewest, most)
    if not 1 <= count <= EXACT_MOST:
        msg = f"{count} sets of culprits cannot be weighed one by one; from 1 to {EXACT_MOST} can."
        raise BadEntry(msg)
    width = min(most, m)
    sets = np.full((count, width), m, np.int32)
    start = 0
    for k in range(fewest, width + 1):
        found = list(itertools.combinations(range(m), k))
        sets[start : start + len(found), :k] = found
        start += len(found)
    return sets


def make_space(products: Sequence[str], prior: Prior) -> Space:
    """Every set of causes that the prior allows among these products, conditions other than order aside.

    Raises
    ------
    BadEntry
        If there are more than can be weighed one by one, or the prior allows none.
    """
    pairs = list(itertools.combinations(products, 2))
    shares = prior.always + prior.order
    found: list[tuple[Cause, float]] = []
    if prior.pair and prior.always:
        found += [(Cause(kind="pair", products=p), prior.pair * prior.always / shares) for p in pairs]
    if prior.product:
        found += [(Cause(kind="product", products=(p,)), prior.product) for p in products]
    if prior.pair and prior.order:
        chance = prior.pair * prior.order / shares / 2
        found += [(Cause(kind="pair", products=p, when="order", of=x), chance) for p in pairs for x in p]
    odds = np.array([math.log(p / (1 - p)) for _, p in found])
    return Space(
        products=tuple(products),
        causes=tuple(c for c, _ in found),
        prior=prior,
        sets=_all_sets(len(found), prior.fewest, prior.most),
        exact=True,
        log_odds=odds,
    )


# ---------------------------------------------------------------------- weighing
def weigh(
    trials: Sequence[Trial],
    prior: Prior,
    *,
    rng: np.random.Generator,
    kind_of: Callable[[str], str] | None = None,
    sweeps: int = 200,
    exact_most: int = EXACT_MOST,
) -> Posterior:
    """How likely each cause is after these trials.

    Parameters
    ----------
    trials : sequence of Trial
        The tests that are weighed; every product of theirs is suspected.
    prior : Prior
        What is believed before.
    rng : numpy.random.Generator
        Used only where there are too many sets to weigh each.
    kind_of : callable, optional
        The kind of each product, whoever makes it.
    sweeps : int
        Draws of the sampler that are kept.
    exact_most : int
        From how many sets on they are sampled.

    Notes
    -----
    Bayes' rule over every set of causes that the prior allows, where these are few, with the prior's own
    rate of wrong readings; else `sampling.draw`, which learns that rate for each reader, and how common causes
    are, along the way.  No more causes are looked for than jars that did not pass, and one.
    """
    return replace(
        weigh_evidence(
            gather(trials, kind_of), prior, rng=rng, sweeps=sweeps, exact_most=exact_most
        ).posterior,
        trials=tuple(trials),
    )


def weigh_evidence(
    e: Evidence,
    prior: Prior,
    *,
    rng: np.random.Generator,
    sweeps: int = 200,
    exact_most: int = EXACT_MOST,
) -> Weighed:
    """The same of tests that stand in columns, with what is known of each jar and reader."""
    c = find_candidates(e, prior)
    unwell = int((e.word > 0).sum())
    most = max(min(prior.most, unwell + 1), prior.fewest)
    fewest = min(prior.fewest, c.count)
    prior_here = replace(prior, most=most, fewest=fewest)
    count = _set_count(c.count, fewest, most)
    if c.count == 0 or (count <= min(exact_most, EXACT_MOST) and count * e.jars <= _MOST_WORK):
        return _exactly(c, prior_here)
    places = max(most, min(_PLACES_A_PRODUCT * len(e.products), _MOST_PLACES, unwell + 1))
    prior_here = replace(prior_here, most=places)
    c = _hopeful(c, prior_here)
    return _sampled(c, prior_here, draw(c, prior_here, rng, sweeps=sweeps))


def _hopeful(c: Candidates, prior: Prior) -> Candidates:
    """The candidates that their own jars do not speak against with more than `_HOPELESS`, nothing else at work in them."""
    e = c.evidence
    value = speaks(e, prior, np.full(len(e.readers), prior.error))
    each = np.where(c.fits, value[2, c.jar], value[1, c.jar])
    alone = np.bincount(np.repeat(np.arange(c.count), np.diff(c.ptr)), each, minlength=c.count)
    return leave_out(c, alone + c.log_odds > _HOPELESS)


def _exactly(c: Candidates, prior: Prior) -> Weighed:
    e = c.evidence
    error = np.full(len(e.readers), prior.error)
    value = speaks(e, prior, error)
    sets = _all_sets(c.count, prior.fewest, prior.most)
    state = np.zeros((c.count + 1, e.jars), np.int8)  # the last one is an empty place
    of = np.repeat(np.arange(c.count), np.diff(c.ptr))
    state[of, c.jar] = 1 + c.fits
    # A jar where nobody noted a first sign fits any cause.
    state = np.where((state == 1) & (value[1] == value[2])[None], 2, state)
    log = np.append(c.log_odds, 0.0)[sets].sum(axis=1)
    works = np.zeros((len(sets), e.jars), bool) if len(sets) * e.jars <= _MOST_WORK else None
    for jar in range(e.jars):
        of_set = state[:, jar][sets].max(axis=1, initial=0)
        log += value[:, jar][of_set]
        if works is not None:
            works[:, jar] = of_set > 0
    causes = tuple(c.cause(i) for i in range(c.count))
    space = Space(
        products=e.products, causes=causes, prior=prior, sets=sets, exact=True, log_odds=c.log_odds,
        errors=dict(zip(e.readers, error.tolist(), strict=True)), kind_of=_kinds(e),
    )  # fmt: skip
    posterior = Posterior(space=space, log_weights=log)
    holds = posterior.chances @ works if works is not None else np.zeros(e.jars)
    return Weighed(
        posterior=posterior, evidence=e, candidates=c, chance=posterior.of_each(), holds=holds,
        error=error, error_sd=np.zeros(len(error)),
    )  # fmt: skip


def _kinds(e: Evidence) -> dict[str, str]:
    return {p: e.kinds[k] for p, k in zip(e.products, e.kind_of, strict=True)}


def _sampled(c: Candidates, prior: Prior, s: Sampled) -> Weighed:
    e = c.evidence
    kept = np.flatnonzero(s.chance >= _KEPT)
    new = np.full(c.count + 1, len(kept), np.int32)
    new[kept] = np.arange(len(kept), dtype=np.int32)
    alike = Counter(tuple(sorted(row)) for row in new[s.sets].tolist())
    sets = np.array(list(alike), np.int32).reshape(len(alike), -1)
    space = Space(
        products=e.products,
        causes=tuple(c.cause(int(i)) for i in kept),
        prior=prior,
        sets=sets,
        exact=False,
        log_odds=c.log_odds[kept],
        errors={r: round(float(x), 5) for r, x in zip(e.readers, s.error, strict=True)},
        kind_of=_kinds(e),
    )
    posterior = Posterior(
        space=space, log_weights=np.log(np.array(list(alike.values()), np.float64)), single=s.chance[kept]
    )
    return Weighed(
        posterior=posterior, evidence=e, candidates=c, chance=s.chance, holds=s.holds,
        error=s.error, error_sd=s.error_sd,
    )  # fmt: skip
