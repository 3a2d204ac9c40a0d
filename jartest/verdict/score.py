"""How much of a score a figure leaves: straight between nothing, its two limits, and the worst."""

from __future__ import annotations

import numpy as np

from jartest.verdict.limits import PhotoLimit
from jartest.verdict.values import BANDS, Word

__all__ = ["LOWEST_WATCH", "score_of"]

# What a fault leaves that is a watch only because it re-mixes or is gone again: never more than a watch by itself.
LOWEST_WATCH = BANDS["watch"][0]


def score_of(word: Word, value: float, limit: PhotoLimit) -> int:
    """The score, 0 to 100, of a figure that leads to this word.

    Parameters
    ----------
    word : str
        The word that the figure leads to; the score stays in its band, so that the two cannot disagree.
    value : float
        The figure with the doubt that counts against it added, in the unit of the limit.
    limit : PhotoLimit
        The figure's limits.

    Notes
    -----
    Piecewise linear: 100 at 0, 67 at `pass_max`, 33 at `fail_min`, 0 at `worst` and beyond.
    """
    low, high = BANDS[word]
    at = (0.0, limit.pass_max, limit.fail_min, limit.worst)
    straight = float(np.interp(value, at, (100.0, 67.0, 33.0, 0.0)))
    return min(max(round(straight), low), high)
