"""Which jar to mix next: the one that tells most about the culprits, and the plan it belongs to."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.history.causes import NEVER, Cause
from jartest.history.trials import Trial
from jartest.history.weighing import Posterior, Space
from jartest.verdict.values import Word

__all__ = ["SURE", "Bench", "Jar", "Named", "Step", "best_jar", "best_jars", "make_bench", "plan_jars"]

SURE = 0.95  # a set of culprits is named from this chance on (our choice)
_MOST_PRODUCTS = 10  # 1 013 jars of two and more; more would keep nobody's bench busy (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Jar:
    """A jar to mix: its products in their order, dose of each and water where they count, and what its end would tell.

    `bits` is the expected information on who is to blame; `fail_chance` how likely it is to fail; `says` what is
    other in it than in the mixture that is looked into, nothing where only products are left out.
    """

    products: tuple[str, ...]
    water: str
    doses: tuple[float, ...] = ()
    hardness_mg_l: float = math.nan
    ph: float = math.nan
    temperature_c: float = math.nan
    season: int = 0
    says: str = ""
    bits: float = math.nan
    fail_chance: float = math.nan

    def ended(self, word: Word, number: int = 0) -> Trial:
        """This jar as a trial that ended so."""
        return Trial(
            number=number,
            products=self.products,
            word=word,
            water=self.water,
            doses=self.doses,
            hardness_mg_l=self.hardness_mg_l,
            ph=self.ph,
            temperature_c=self.temperature_c,
            season=self.season,
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """The jars that can be mixed; `goes_wrong` is (jar, set): whether one of the set's causes is at work in the jar.

    `cost` is (jar,) what each takes, one plain jar as the unit.
    """

    space: Space
    jars: tuple[Jar, ...]
    goes_wrong: NDArray[np.float32]
    cost: NDArray[np.float64]


def make_bench(
    space: Space,
    *,
    water: str = "",
    at_hand: Sequence[str] | None = None,
    always: Sequence[str] = (),
    like: Trial | None = None,
    soft_mg_l: float | None = None,
) -> Bench:
    """Every jar of these products that a bench can mix, small jars first, in the order the products stand.

    Parameters
    ----------
    space : Space
        The causes; its products stand in the order they go in.
    water : str
        The water there is.
    at_hand : sequence of str, optional
        Products that are there; all of the space otherwise.
    always : sequence of str
        Products that go into every jar, such as a water conditioner that the label asks for.
    like : Trial, optional
        The mixture that is looked into: its doses and its water hold for every jar.
    soft_mg_l : float, optional
        Hardness of a soft water that is there too: where hardness is suspected, jars in it are thought of.

    Notes
    -----
    Only what a suspect depends on is varied: the order of two products, half the doses, soft water.  A jar in
    another water or at other doses counts a tenth more than a plain one.

    Raises
    ------
    BadEntry
        If there are too many products.
    """
    there = [p for p in space.products if at_hand is None or p in at_hand]
    if len(there) > _MOST_PRODUCTS:
        msg = f"{len(there)} products make too many jars to choose from; take up to {_MOST_PRODUCTS} of them."
        raise BadEntry(msg)
    smallest = 1 if any(c.kind == "product" for c in space.causes) else 2
    found = (c for k in range(smallest, len(there) + 1) for c in itertools.combinations(there, k))
    mixes = [c for c in found if set(always) <= set(c)]
    whens = {c.when for c in space.causes}
    if "order" in whens:
        mixes += [c[::-1] for c in mixes if len(c) > 1]
    plain = [_jar(c, water, like) for c in mixes]
    more: list[Jar] = []
    if like is not None and like.doses and "rate" in whens:
        more += [replace(j, doses=tuple(d / 2 for d in j.doses), says="at half the rates") for j in plain]
    if like is not None and soft_mg_l is not None and "hardness" in whens:
        more += [replace(j, hardness_mg_l=soft_mg_l, water="soft water", says="in soft water") for j in plain]
    jars = tuple(plain + more)
    wrong = [space.completed(jar.ended("fail")) != NEVER for jar in jars]
    goes_wrong = np.array(wrong, np.float32).reshape(len(jars), len(space.sets))
    cost = np.array([1.1 if j.says else 1.0 for j in jars])
    return Bench(space=space, jars=jars, goes_wrong=goes_wrong, cost=cost)


def _jar(products: tuple[str, ...], water: str, like: Trial | None) -> Jar:
    if like is None:
        return Jar(products=products, water=water)
    return Jar(
        products=products,
        water=like.water or water,
        doses=tuple(like.dose_of(p) for p in products) if like.doses else (),
        hardness_mg_l=like.hardness_mg_l,
        ph=like.ph,
        temperature_c=like.temperature_c,
        season=like.season,
    )


def _entropy(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """The entropy of a yes or no, in bits."""
    q = np.clip(p, 1e-15, 1 - 1e-15)
    out: NDArray[np.float64] = -q * np.log2(q) - (1 - q) * np.log2(1 - q)
    return out


def best_jar(posterior: Posterior, bench: Bench) -> Jar | None:
    """The jar whose end tells most about who is to blame; None where no jar would tell anything.

    Notes
    -----
    A jar that fails when it holds a culprit, and is read wrongly with chance e, is a binary symmetric
    channel: it tells H(p(1 - e) + (1 - p)e) - H(e) bits, where p is the chance that it holds one.
    Of jars that tell the same, the one with the fewest products, and of these the first.  One jar is
    looked ahead; the best plan of several jars may begin with another one.

    References
    ----------
    C. E. Shannon, Bell Syst. Tech. J. 27 (1948) 379-423, for the information; D. V. Lindley, Ann. Math.
    Statist. 27 (1956) 986-1005, for choosing an experiment by it.
    """
    if not bench.jars:
        return None
    error = bench.space.prior.error
    holds = np.clip((bench.goes_wrong @ posterior.chances.astype(np.float32)).astype(np.float64), 0.0, 1.0)
    fails = holds * (1 - error) + (1 - holds) * error
    bits = _entropy(fails) - _entropy(np.array([error]))
    i = int(np.argmax(np.round(bits / bench.cost, 6)))
    if bits[i] < 1e-4:
        return None
    return replace(bench.jars[i], bits=float(bits[i]), fail_chance=float(fails[i]))


def best_jars(posterior: Posterior, bench: Bench, *, count: int = 4) -> tuple[Jar, ...]:
    """Jars to mix side by side, none of which waits for another: together they tell most.

    Notes
    -----
    Taken one after the other, each the one that adds most to what all before it will tell together, per cost;
    for information this greedy choice is within 1 - 1/e of the best one.  `bits` is what each adds.

    References
    ----------
    G. L. Nemhauser, L. A. Wolsey, M. L. Fisher, Math. Program. 14 (1978) 265-294, for the bound.
    """
    if not bench.jars:
        return ()
    error = bench.space.prior.error
    noise = np.array([[1 - error, error], [error, 1 - error]])
    channel, of_jar = np.ones((1, 1)), float(_entropy(np.array([error]))[0])
    patterns = posterior.chances[None]  # (pattern of true ends so far, set)
    wrong = bench.goes_wrong.astype(np.float64)
    known = 0.0
    chosen: list[Jar] = []
    for _ in range(count):
        bad = patterns @ wrong.T  # (pattern, jar): that pattern, and this jar goes wrong
        good = patterns.sum(axis=1)[:, None] - bad
        ends = np.stack([bad, good], axis=1).reshape(-1, len(bench.jars))
        seen = np.kron(channel, noise) @ ends
        spread = -(seen * np.log2(np.maximum(seen, 1e-300))).sum(axis=0)
        adds = spread - known - of_jar * (len(chosen) + 1)
        i = int(np.argmax(np.round(adds / bench.cost, 6)))
        if adds[i] < 1e-3:
            break
        fails = float(bad[:, i].sum()) * (1 - error) + (1 - float(bad[:, i].sum())) * error
        chosen.append(replace(bench.jars[i], bits=float(adds[i]), fail_chance=fails))
        known += float(adds[i])
        patterns = np.stack([patterns * wrong[i], patterns * (1 - wrong[i])], axis=1).reshape(
            -1, patterns.shape[1]
        )
        channel = np.kron(channel, noise)
    return tuple(chosen)


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """An end of the plan: the culprits (none: the failure was a wrong reading), and how sure that is.

    `sure` is False where no further jar would tell more, or the plan ends here.
    """

    culprits: tuple[Cause, ...]
    chance: float
    sure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A jar of the plan, and what to do when it passes and when it fails."""

    jar: Jar
    if_pass: Step | Named
    if_fail: Step | Named


def plan_jars(posterior: Posterior, bench: Bench, *, depth: int = 4, sure: float = SURE) -> Step | Named:
    """The jars to mix, each depending on how the one before it ended, until the culprits are named.

    `depth` bounds how many jars in a row are planned; the plan is made again when they are known.
    """
    culprits, chance = posterior.best()
    if chance >= sure:
        return Named(culprits=culprits, chance=chance, sure=True)
    jar = best_jar(posterior, bench) if depth > 0 else None
    if jar is None:
        return Named(culprits=culprits, chance=chance, sure=False)
    ends = [
        plan_jars(posterior.after(jar.ended(w)), bench, depth=depth - 1, sure=sure) for w in ("pass", "fail")
    ]
    return Step(jar=jar, if_pass=ends[0], if_fail=ends[1])
