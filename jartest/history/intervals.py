"""Intervals on a share that was counted."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Z95", "wilson", "wilson_many"]

Z95 = 1.959963984540054  # two-sided 95 % quantile of the normal distribution


def wilson(count: int, of: int, *, z: float = Z95) -> tuple[float, float]:
    """The score interval on the share `count` / `of`.

    Parameters
    ----------
    count, of : int
        How many of how many; 0 <= count <= of.
    z : float
        Two-sided normal quantile of the confidence wanted.

    Returns
    -------
    tuple of float
        Lower and upper limit, from 0 to 1; NaN, NaN where nothing was counted.

    Raises
    ------
    ValueError
        If the counts are impossible.

    Notes
    -----
    Inverts the score test, without continuity correction; near its stated cover from small counts on,
    and never outside 0 to 1.

    References
    ----------
    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212; method 3 in R. G. Newcombe, Statist. Med. 17
    (1998) 857-872.
    """
    if not 0 <= count <= of:
        msg = f"{count} of {of} cannot be counted."
        raise ValueError(msg)
    low, high = wilson_many([count], [of], z=z)
    return float(low[0]), float(high[0])


def wilson_many(
    counts: ArrayLike, of: ArrayLike, *, z: float = Z95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same for many counts at once; NaN where nothing was counted."""
    x = np.asarray(counts, np.float64)
    n = np.where(np.asarray(of) > 0, np.asarray(of, np.float64), math.nan)
    middle = (x + z * z / 2) / (n + z * z)
    half = z * np.sqrt(x * (n - x) / n + z * z / 4) / (n + z * z)
    # at 0 and n of n the limit is exact, and rounding must not push it outside
    low = np.where(x == 0, 0.0 * n, middle - half)
    high = np.where(x == n, 1.0, middle + half)
    return np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
