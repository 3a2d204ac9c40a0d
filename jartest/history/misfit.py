"""Whether the causes explain the results at all; where they do not, in what the unexplained jars differed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.history.evidence import Evidence, Floats, word_chances
from jartest.history.prior import Prior
from jartest.history.weighing import Weighed

__all__ = ["Misfit", "check_fit"]

_CHANCE = 0.003  # results rarer than this under the model are said not to be explained by it (our choice)
_DRAWS = 1_000  # stores drawn from the model to hold ours against
_FEWEST = 4  # unexplained failures under which nothing is said (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """Failures that no cause explains: how many, how many were to be expected, and in what they differed.

    `differs` is in words, nothing where nothing was found; `numbers` are the tests.
    """

    unexplained: int
    expected: float
    chance: float
    differs: str
    numbers: tuple[int, ...]

    @property
    def says(self) -> str:
        """What is not explained, in a sentence."""
        differs = f"; these jars differed in {self.differs}" if self.differs else ""
        return (
            f"This does not explain your results: {self.unexplained} jars failed without a cause that fits, "
            f"where {self.expected:.0f} wrong readings were to be expected{differs}."
        )


def _groups(
    e: Evidence, waters: NDArray[np.int64] | None, names: tuple[str, ...]
) -> list[tuple[str, NDArray[np.bool_]]]:
    """Ways to tell jars apart, each in words with the jars that are so."""
    found: list[tuple[str, NDArray[np.bool_]]] = []
    if waters is not None:
        found += [(f"their water ({n})", waters == i) for i, n in enumerate(names) if n]
    found += [(f"their season ({y})", e.season == y) for y in np.unique(e.season[e.season > 0])]
    for values, low, high in (
        (e.hardness, "soft water (under {:.0f} mg/L)", "hard water (over {:.0f} mg/L)"),
        (e.ph, "a low pH (under {:.1f})", "a high pH (over {:.1f})"),
        (e.temperature, "cold (under {:.0f} °C)", "warmth (over {:.0f} °C)"),
    ):
        seen = values[np.isfinite(values)]
        if len(np.unique(seen)) > 1:
            for q in (0.25, 0.5, 0.75):
                cut = float(np.quantile(seen, q))
                found += [(low.format(cut), values < cut), (high.format(cut), values > cut)]
    found += [("how many products were in them (five or more)", e.size >= 5)]
    return [(says, g) for says, g in found if 3 <= g.sum() < e.jars]


def check_fit(
    weighed: Weighed,
    prior: Prior,
    rng: np.random.Generator,
    *,
    water_of: Callable[[int], str] | None = None,
) -> Misfit | None:
    """What the causes leave unexplained beyond wrong readings; None where they explain the results.

    Parameters
    ----------
    weighed : Weighed
        The posterior.
    prior : Prior
        Whose rate of wrong readings is held against: the learnt one has already given way to the misfit.
    rng : numpy.random.Generator
        Draws the stores that ours is compared with.
    water_of : callable, optional
        The name of the water of a test, by its number.

    Notes
    -----
    A posterior predictive check: failures where no cause was at work, their number and their gathering in any
    group of jars (water, season, size; readers have a rate each already), beside those of stores drawn with the rate of wrong
    readings before any test.  The most striking group counts against the most striking one of each drawn store,
    so that looking at many groups finds nothing by itself.

    References
    ----------
    A. Gelman, X.-L. Meng, H. Stern, Statistica Sinica 6 (1996) 733-807.
    """
    e = weighed.evidence
    clear = (weighed.holds < 0.5) & ((e.word > 0) | (e.ground == 2))
    stray = clear & (e.word == 2) & ~e.remixed
    n, k = int(clear.sum()), int(stray.sum())
    if k < _FEWEST:
        return None
    rate = rng.beta(prior.error * prior.error_worth, (1 - prior.error) * prior.error_worth, _DRAWS)
    fails = word_chances(prior, rate)[0][2]
    drawn = rng.binomial(n, fails)
    chance = (1 + int((drawn >= k).sum())) / (1 + _DRAWS)
    waters = None
    names: tuple[str, ...] = ("",)
    if water_of is not None:
        said = [water_of(int(x)) for x in e.number]
        names = tuple(sorted(set(said)))
        waters = np.array([names.index(w) for w in said], np.int64)
    groups = _groups(e, waters, names)
    differs, by_group = _gathers(groups, clear, stray, k, rng)
    if min(chance, by_group) > _CHANCE:
        return None
    return Misfit(
        unexplained=k,
        expected=float(n * fails.mean()),
        chance=min(chance, by_group),
        differs=differs if by_group <= 0.05 else "",
        numbers=tuple(int(x) for x in e.number[stray]),
    )


def _gathers(
    groups: list[tuple[str, NDArray[np.bool_]]],
    clear: NDArray[np.bool_],
    stray: NDArray[np.bool_],
    k: int,
    rng: np.random.Generator,
) -> tuple[str, float]:
    """The group in which the stray jars gather most, and how often chance alone gathers as many."""
    if not groups:
        return "", 1.0
    at = np.flatnonzero(clear)
    member = np.stack([g[at] for _, g in groups]).astype(np.float64)
    share = member.mean(axis=1)
    spread = np.sqrt(np.maximum(k * share * (1 - share), 1e-9))

    def strike(who: NDArray[np.bool_]) -> Floats:
        found: Floats = (member @ who.T.astype(np.float64) - (k * share)[:, None]) / spread[:, None]
        return found

    ours = strike(stray[at][None])[:, 0]
    shuffled = rng.permuted(np.tile(stray[at], (_DRAWS, 1)), axis=1)
    theirs = strike(shuffled).max(axis=0)
    best = int(np.argmax(ours))
    return groups[best][0], (1 + int((theirs >= ours[best]).sum())) / (1 + _DRAWS)
