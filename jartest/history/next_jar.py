"""Which jar to mix next: the one that tells most about the culprits, and the plan it belongs to."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.history.suspects import Posterior, Space, Suspect
from jartest.history.trials import Trial
from jartest.verdict.values import Word

__all__ = ["SURE", "Bench", "Jar", "Named", "Step", "best_jar", "make_bench", "plan_jars"]

SURE = 0.95  # a set of culprits is named from this chance on (our choice)
_MOST_PRODUCTS = 10  # 1 013 jars of two and more; more would keep nobody's bench busy (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Jar:
    """A jar to mix: its products in their order, its water, and what its end is expected to tell.

    `bits` is the expected information on who is to blame; `fail_chance` how likely it is to fail.
    """

    products: tuple[str, ...]
    water: str
    bits: float = math.nan
    fail_chance: float = math.nan

    def ended(self, word: Word, number: int = 0) -> Trial:
        """This jar as a trial that ended so."""
        return Trial(number=number, products=self.products, word=word, water=self.water)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """The jars that can be mixed; `goes_wrong` is (jar, set): whether the jar holds one of the set's culprits."""

    space: Space
    jars: tuple[Jar, ...]
    goes_wrong: NDArray[np.float32]


def make_bench(
    space: Space,
    *,
    water: str = "",
    at_hand: Sequence[str] | None = None,
    always: Sequence[str] = (),
) -> Bench:
    """Every jar of these products that a bench can mix, small jars first, in the order the products stand.

    Parameters
    ----------
    space : Space
        The suspects; its products stand in the order they go in.
    water : str
        The water there is.
    at_hand : sequence of str, optional
        Products that are there; all of the space otherwise.
    always : sequence of str
        Products that go into every jar, such as a water conditioner that the label asks for.

    Raises
    ------
    BadEntry
        If there are too many products.
    """
    there = [p for p in space.products if at_hand is None or p in at_hand]
    if len(there) > _MOST_PRODUCTS:
        msg = f"{len(there)} products make too many jars to choose from; take up to {_MOST_PRODUCTS} of them."
        raise BadEntry(msg)
    smallest = 1 if space.prior.product else 2
    found = (c for k in range(smallest, len(there) + 1) for c in itertools.combinations(there, k))
    mixes = [c for c in found if set(always) <= set(c)]
    if space.prior.order:
        mixes += [c[::-1] for c in mixes if len(c) > 1]
    jars = tuple(Jar(products=c, water=water) for c in mixes)
    wrong = [space.completed(jar.ended("fail")) <= len(jar.products) for jar in jars]
    goes_wrong = np.array(wrong, np.float32).reshape(len(jars), len(space.sets))
    return Bench(space=space, jars=jars, goes_wrong=goes_wrong)


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
    i = int(np.argmax(np.round(bits, 6)))
    if bits[i] < 1e-4:
        return None
    jar = bench.jars[i]
    return Jar(products=jar.products, water=jar.water, bits=float(bits[i]), fail_chance=float(fails[i]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """An end of the plan: the culprits (none: the failure was a wrong reading), and how sure that is.

    `sure` is False where no further jar would tell more, or the plan ends here.
    """

    culprits: tuple[Suspect, ...]
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
