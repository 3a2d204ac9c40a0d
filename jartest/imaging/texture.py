"""Texture figures of the contents under their textbook names."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["GREY_LEVELS", "texture_figures"]

GREY_LEVELS = 32  # enough for eight-bit photos, a third of the time of 256 levels


def texture_figures(levels: NDArray[np.uint8], count: int = GREY_LEVELS) -> dict[str, float]:
    """Contrast, dissimilarity, homogeneity, ASM, entropy and correlation of a region.

    Parameters
    ----------
    levels : (rows, columns) array of uint8
        Grey levels from 0 to `count` - 1.
    count : int
        Number of grey levels.

    Returns
    -------
    dict of str to float
        Mean over the four directions at one pixel's distance; entropy in nats.  NaN for a region
        of less than two rows or columns; the correlation of a flat region is 1 by convention.

    References
    ----------
    Haralick, Shanmugam and Dinstein (1973), IEEE Trans. SMC-3, 610-621, features f1 to f9.
    """
    names = ("contrast", "dissimilarity", "homogeneity", "asm", "entropy", "correlation")
    if min(levels.shape) < 2:
        return dict.fromkeys(names, float("nan"))
    figures = [_figures(_matrix(levels, count, *step)) for step in ((0, 1), (1, 1), (1, 0), (1, -1))]
    return {name: float(np.mean([f[k] for f in figures])) for k, name in enumerate(names)}


def _matrix(levels: NDArray[np.uint8], count: int, down: int, right: int) -> NDArray[np.float64]:
    """How often each pair of grey levels stands at this step, both ways round, as a share of all pairs."""
    rows, cols = levels.shape
    first = levels[: rows - down, max(0, -right) : cols - max(0, right)].astype(np.intp)
    second = levels[down:, max(0, right) : cols - max(0, -right)]
    pairs = np.bincount((first * count + second).ravel(), minlength=count * count).reshape(count, count)
    both = (pairs + pairs.T).astype(np.float64)
    return np.asarray(both / both.sum(), np.float64)


def _figures(p: NDArray[np.float64]) -> tuple[float, ...]:
    """Contrast, dissimilarity, homogeneity, ASM, entropy and correlation of one matrix."""
    i, j = np.indices(p.shape)
    apart = np.abs(i - j)
    mean = float((i * p).sum())  # of rows and of columns: the matrix is symmetric
    variance = float(((i - mean) ** 2 * p).sum())
    together = float(((i - mean) * (j - mean) * p).sum())
    return (
        float((apart**2 * p).sum()),
        float((apart * p).sum()),
        float((p / (1 + apart**2)).sum()),
        float((p**2).sum()),
        float(-(p[p > 0] * np.log(p[p > 0])).sum()),
        together / variance if variance > 0 else 1.0,
    )
