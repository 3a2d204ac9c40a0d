"""Who is to blame for the failures: a posterior over sets of culprits.

A culprit is a pair of products, one product in one water, or one product put in before another.  A jar
that holds any culprit goes wrong.  All jars are weighed together: a jar that passed clears what it
held, one that failed puts it under suspicion, each as far as a reading may be wrong.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.history.trials import Trial

__all__ = [
    "EXACT_MOST",
    "Posterior",
    "Prior",
    "Space",
    "Suspect",
    "log_likelihood",
    "make_space",
    "relevant",
    "weigh",
]

EXACT_MOST = 200_000  # sets of culprits that are weighed one by one; more are sampled (our choice: about 1 s)
_MOST_WORK = 6_000_000  # sets times jars weighed one by one (our choice: about 1 s); more are sampled
_NEVER = 127  # position of a culprit that is not in the jar

SuspectKind = Literal["pair", "product", "order"]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Suspect:
    """A pair of products, one product in one water, or the first product put in before the second."""

    kind: SuspectKind
    products: tuple[str, ...]
    water: str = ""

    @property
    def says(self) -> str:
        """The suspect in words."""
        if self.kind == "pair":
            return f"{self.products[0]} with {self.products[1]}"
        if self.kind == "order":
            return f"{self.products[0]} put in before {self.products[1]}"
        return f"{self.products[0]} in {self.water or 'this water'}"

    def completed_by(self, trial: Trial) -> int:
        """The position of the product whose addition completes it in this jar; 127 where it is not in it."""
        at = [trial.products.index(p) + 1 if p in trial.products else _NEVER for p in self.products]
        if self.kind == "product" and trial.water != self.water:
            return _NEVER
        if self.kind == "order" and at[0] > at[1]:
            return _NEVER
        return max(at)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is believed before any jar: each chance is our choice and can be set.

    `pair`, `product`, `order`: the chance that one such suspect is a culprit (0 leaves that kind out).
    `fewest`, `most`: how many culprits there may be together.  `error`: how often a jar is read wrongly.
    `remix_error`: the same for a jar that failed but re-mixed fully.  `sign_error`: how often the first
    sign is noted after another product than the one that brought it.
    """

    pair: float = 0.05
    product: float = 0.005
    order: float = 0.005
    fewest: int = 0
    most: int = 3
    error: float = 0.03
    remix_error: float = 0.25
    sign_error: float = 0.15

    def __post_init__(self) -> None:
        for name in ("pair", "product", "order", "error", "remix_error", "sign_error"):
            value = getattr(self, name)
            if not 0 <= value < 1 or not math.isfinite(value):
                msg = f"The chance “{name}” lies from 0 to under 1, not at {value:g}."
                raise BadEntry(msg)
        if max(self.error, self.remix_error) >= 0.5:
            msg = "A reading that is wrong half the time tells nothing; set its chance under 0.5."
            raise BadEntry(msg)
        if not 0 <= self.fewest <= self.most:
            msg = f"There cannot be at least {self.fewest} and at most {self.most} culprits."
            raise BadEntry(msg)

    @property
    def says(self) -> str:
        """The prior in one sentence."""
        return (
            f"Before any jar: each pair is a culprit with {100 * self.pair:.1f} %, each product in its water with "
            f"{100 * self.product:.1f} %, each order with {100 * self.order:.1f} %; at most {self.most} together; "
            f"{100 * self.error:.0f} % of the jars are read wrongly."
        )

    def of(self, suspect: Suspect) -> float:
        """The chance of one suspect."""
        return float(getattr(self, suspect.kind))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Space:
    """The suspects, and the sets of them that are weighed.

    `sets` is (set, member): indices into `suspects`, filled up with len(suspects).
    """

    products: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    prior: Prior
    sets: NDArray[np.int32]
    exact: bool

    @property
    def log_prior(self) -> NDArray[np.float64]:
        """(set,) the logarithm of its chance before any jar, but for a constant."""
        odds = [math.log(self.prior.of(s) / (1 - self.prior.of(s))) for s in self.suspects]
        out: NDArray[np.float64] = np.array([*odds, 0.0])[self.sets].sum(axis=1)
        return out

    def row(self, trial: Trial) -> NDArray[np.int8]:
        """(suspect + 1,) after which product each is complete in this jar; 127, also at the end, for never."""
        return np.array([*(s.completed_by(trial) for s in self.suspects), _NEVER], np.int8)

    def completed(self, trial: Trial) -> NDArray[np.int8]:
        """(set,) after which product the first culprit of each set is complete; 127 for never."""
        found: NDArray[np.int8] = self.row(trial)[self.sets].min(axis=1, initial=_NEVER)
        return found


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Posterior:
    """How likely each set of culprits is; `chances` sums to 1."""

    space: Space
    log_weights: NDArray[np.float64]
    trials: tuple[Trial, ...] = ()

    @property
    def chances(self) -> NDArray[np.float64]:
        """(set,) how likely each set is to be the whole truth."""
        return _normal(self.log_weights)

    def after(self, trial: Trial) -> Posterior:
        """The posterior once this jar is known too."""
        more = log_likelihood(self.space, trial)
        return replace(self, log_weights=self.log_weights + more, trials=(*self.trials, trial))

    def of_each(self, chances: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """(suspect,) how likely each suspect is among the culprits."""
        weights = self.chances if chances is None else chances
        n = len(self.space.suspects)
        out = np.zeros(n + 1)
        for column in self.space.sets.T:
            out += np.bincount(column, weights, minlength=n + 1)
        return out[:n]

    def ranked(self) -> tuple[tuple[Suspect, float], ...]:
        """Every suspect with its chance, the likeliest first."""
        each = self.of_each()
        order = np.argsort(-each, kind="stable")
        return tuple((self.space.suspects[i], float(each[i])) for i in order)

    def best(self) -> tuple[tuple[Suspect, ...], float]:
        """The likeliest set of culprits (empty: none at all), and how likely it is."""
        chances = self.chances
        i = int(np.argmax(chances))
        members = [k for k in self.space.sets[i] if k < len(self.space.suspects)]
        return tuple(self.space.suspects[k] for k in members), float(chances[i])


def _normal(log_weights: NDArray[np.float64]) -> NDArray[np.float64]:
    weights = np.exp(log_weights - log_weights.max())
    out: NDArray[np.float64] = weights / weights.sum()
    return out


def log_likelihood(space: Space, trial: Trial) -> NDArray[np.float64]:
    """(set,) the logarithm of how likely this jar would have ended so under each set of culprits."""
    at = space.completed(trial)
    out: NDArray[np.float64] = _by_position(trial, space.products, space.prior)[np.where(at == _NEVER, 0, at)]
    return out


def _by_position(trial: Trial, products: Sequence[str], prior: Prior) -> NDArray[np.float64]:
    """(1 + products of the jar,) log likelihood of its end: [0] without a culprit, [k] if complete after k.

    Notes
    -----
    A watch says nothing for or against.  A jar with products outside the space may have gone wrong by
    them: that chance is taken from the prior alone, as if no other jar held them.
    """
    n = len(trial.products)
    if trial.word == "watch":
        return np.zeros(n + 1)
    error = prior.remix_error if trial.word == "fail" and trial.remix == "fully" else prior.error
    leak = _leak(trial, products, prior)
    fails = np.full(n + 1, 1 - error)
    fails[0] = leak * (1 - error) + (1 - leak) * error
    if trial.word == "pass":
        return _log(1 - fails)
    if trial.first_sign_after is not None and n >= 2:
        noted = np.full(n + 1, prior.sign_error / (n - 1))
        noted[trial.first_sign_after] = 1 - prior.sign_error
        noted[0] = 1 / n
        fails = fails * noted
    return _log(fails)


def _log(x: NDArray[np.float64]) -> NDArray[np.float64]:
    # The floor keeps a jar that cannot be (no error allowed, and yet it ended so) from emptying the posterior.
    return np.log(np.maximum(x, 1e-300))


def _leak(trial: Trial, products: Sequence[str], prior: Prior) -> float:
    """The chance that something outside these products is a culprit in this jar, by the prior alone."""
    n = len(trial.products)
    outside = n - len(set(products).intersection(trial.products))
    pairs = math.comb(n, 2) - math.comb(n - outside, 2)
    return 1 - ((1 - prior.pair) * (1 - prior.order)) ** pairs * (1 - prior.product) ** outside


# ---------------------------------------------------------------------- weighing
def _suspects(products: Sequence[str], waters: Sequence[str], prior: Prior) -> tuple[Suspect, ...]:
    pairs = list(itertools.combinations(products, 2))
    out: list[Suspect] = []
    if prior.pair:
        out += [Suspect(kind="pair", products=p) for p in pairs]
    if prior.product:
        out += [Suspect(kind="product", products=(p,), water=w) for p in products for w in waters]
    if prior.order:
        out += [Suspect(kind="order", products=p) for a, b in pairs for p in ((a, b), (b, a))]
    return tuple(out)


def _set_count(m: int, prior: Prior) -> int:
    return sum(math.comb(m, k) for k in range(prior.fewest, min(prior.most, m) + 1))


def make_space(products: Sequence[str], prior: Prior, *, waters: Sequence[str] = ("",)) -> Space:
    """Every set of culprits that the prior allows among these products.

    Raises
    ------
    BadEntry
        If there are more than can be weighed one by one, or the prior allows none.
    """
    suspects = _suspects(products, waters, prior)
    count = _set_count(len(suspects), prior)
    if not 1 <= count <= EXACT_MOST:
        msg = f"{count} sets of culprits cannot be weighed one by one; from 1 to {EXACT_MOST} can."
        raise BadEntry(msg)
    width = min(prior.most, len(suspects))
    sets = np.full((count, width), len(suspects), np.int32)
    start = 0
    for k in range(prior.fewest, width + 1):
        found = list(itertools.combinations(range(len(suspects)), k))
        sets[start : start + len(found), :k] = found
        start += len(found)
    return Space(products=tuple(products), suspects=suspects, prior=prior, sets=sets, exact=True)


def relevant(trials: Sequence[Trial], products: Sequence[str]) -> tuple[Trial, ...]:
    """The trials that say something of these products: a word other than watch, and two of them or one alone."""
    wanted = set(products)
    held = ((t, len(wanted.intersection(t.products))) for t in trials if t.word != "watch")
    return tuple(t for t, n in held if n >= 2 or (n == 1 and len(t.products) == 1))


def weigh(
    trials: Sequence[Trial],
    products: Sequence[str],
    prior: Prior,
    *,
    rng: np.random.Generator,
    steps: int = 20_000,
    exact_most: int = EXACT_MOST,
) -> Posterior:
    """How likely each set of culprits among these products is, after all these trials.

    Parameters
    ----------
    trials : sequence of Trial
        Every earlier test; those that say nothing of these products are left aside.
    products : sequence of str
        Whose pairs, waters and orders are suspected, for example those of one failed mixture.
    prior : Prior
        What is believed before.
    rng : numpy.random.Generator
        Used only where there are too many sets to weigh each.
    steps : int
        Steps of the sampler, the first fifth of which are thrown away.
    exact_most : int
        From how many sets on they are sampled.

    Notes
    -----
    Bayes' rule over every set of culprits that the prior allows, where these are at most `exact_most` and
    not too many for the number of jars; else a Metropolis walk over sets (add one, drop one, or change one for another).  Trials are taken as
    independent given the culprits, and a culprit as one at every proportion; both are simplifications.

    References
    ----------
    N. Metropolis et al., J. Chem. Phys. 21 (1953) 1087-1092, for the walk.
    """
    used = relevant(trials, products)
    alike = len({replace(t, number=0) for t in used})
    waters = tuple(sorted({t.water for t in used})) or ("",)
    suspects = _suspects(products, waters, prior)
    count = _set_count(len(suspects), prior)
    if count <= min(exact_most, EXACT_MOST) and count * alike <= _MOST_WORK:
        space = make_space(products, prior, waters=waters)
        return _posterior(space, used, space.log_prior)
    empty = Space(
        products=tuple(products),
        suspects=suspects,
        prior=prior,
        sets=np.zeros((1, 0), np.int32),
        exact=False,
    )
    sets, visits = _walk(used, empty, rng, steps)
    return Posterior(space=replace(empty, sets=sets), log_weights=np.log(visits), trials=used)


def _posterior(space: Space, used: tuple[Trial, ...], log_weights: NDArray[np.float64]) -> Posterior:
    total = log_weights.copy()
    alike = Counter(replace(t, number=0) for t in used)
    for trial, times in alike.items():
        total += times * log_likelihood(space, trial)
    return Posterior(space=space, log_weights=total, trials=used)


def _walk(
    used: tuple[Trial, ...], space: Space, rng: np.random.Generator, steps: int
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Sets of culprits visited by a Metropolis walk, and how often."""
    score = _Score(used, space)
    m, prior = len(space.suspects), space.prior
    now = tuple(range(prior.fewest))
    height = score(now)
    visits: Counter[tuple[int, ...]] = Counter()
    for step in range(steps):
        proposed = _propose(now, m, rng)
        if prior.fewest <= len(proposed) <= prior.most:
            other = score(proposed)
            if rng.random() < math.exp(min(other - height, 0.0)):
                now, height = proposed, other
        if step >= steps // 5:
            visits[now] += 1
    width = max(len(s) for s in visits)
    sets = np.full((len(visits), width), m, np.int32)
    for i, members in enumerate(visits):
        sets[i, : len(members)] = members
    return sets, np.array(list(visits.values()), np.float64)


def _propose(now: tuple[int, ...], m: int, rng: np.random.Generator) -> tuple[int, ...]:
    """A neighbour of this set: one suspect flipped, or one member changed for another; as likely back."""
    pick = int(rng.integers(m))
    if not now or rng.random() < 0.5:
        return tuple(sorted(set(now) ^ {pick}))
    if pick in now:
        return now
    gone = now[int(rng.integers(len(now)))]
    return tuple(sorted({*now, pick} - {gone}))


class _Score:
    """Log prior and log likelihood of one set of culprits at a time, from tables made once."""

    def __init__(self, used: tuple[Trial, ...], space: Space) -> None:
        alike = Counter(replace(t, number=0) for t in used)
        self._odds = [math.log(space.prior.of(s) / (1 - space.prior.of(s))) for s in space.suspects]
        self._at = np.zeros((len(space.suspects) + 1, len(alike)), np.int8)
        longest = max((len(t.products) for t in alike), default=0)
        self._log = np.zeros((len(alike), longest + 1))
        for i, (trial, times) in enumerate(alike.items()):
            self._at[:, i] = space.row(trial)
            said = times * _by_position(trial, space.products, space.prior)
            self._log[i, : len(said)] = said
        self._trial = np.arange(len(alike))

    def __call__(self, members: tuple[int, ...]) -> float:
        at = self._at[list(members) or [-1]].min(axis=0)
        said = self._log[self._trial, np.where(at == _NEVER, 0, at)]
        return sum(self._odds[k] for k in members) + float(said.sum())
