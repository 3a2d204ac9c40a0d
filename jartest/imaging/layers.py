"""The strip's rows cut into layers, each boundary with its sigma."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.profile import ROWS_PER_COLUMN, Strip
from jartest.imaging.values import Layer, LayerKind

__all__ = ["Boundary", "find_boundaries", "make_layers"]

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """A place where one layer ends: fraction of the column's rows, sigma, and how sure it is (0 to 1)."""

    fraction: float
    sigma: float
    sure: float


def find_boundaries(strip: Strip) -> list[Boundary]:
    """Boundaries between floor and surface, from the bottom up."""
    step = _step(strip, 0.025)
    strength = np.linalg.norm(step, axis=1)
    inner = (strip.fraction > 0.012) & (strip.fraction < 0.988)
    out: list[Boundary] = []
    left = np.where(inner, strength, 0)
    while left.max() > 7:
        i = int(left.argmax())
        out.append(
            Boundary(fraction=float(strip.fraction[i]), sigma=0.006, sure=min(1.0, float(left[i]) / 20))
        )
        left[max(0, i - 8) : i + 9] = 0
    return sorted(out, key=lambda b: b.fraction)


def _step(strip: Strip, reach: float) -> Floats:
    """Coherent colour step at each row: mean over columns, less where columns disagree."""
    k = max(2, round(reach * ROWS_PER_COLUMN))
    lab = strip.lab
    total = np.concatenate([np.zeros((1, *lab.shape[1:]), np.float32), np.cumsum(lab, axis=0)])
    n = len(lab)
    i = np.arange(n)
    up, low = np.clip(i - k, 0, n), np.clip(i + k, 0, n)
    above = (total[i] - total[up]) / np.maximum(i - up, 1)[:, None, None]
    below = (total[low] - total[i]) / np.maximum(low - i, 1)[:, None, None]
    return np.asarray(np.median(below - above, axis=1), np.float32)


def make_layers(strip: Strip, boundaries: list[Boundary]) -> tuple[Layer, ...]:
    """Layers from the bottom up with their kinds and mean colours."""
    edges = [0.0, *(b.fraction for b in boundaries), 1.0]
    sigmas = [b.sigma for b in boundaries] + [0.004]
    true = strip.geometry.true_fraction(np.array(edges))
    out = []
    for k in range(len(edges) - 1):
        lab = region(strip, edges[k], edges[k + 1])
        out.append(
            Layer(
                kind=_kind(k, len(edges) - 1, edges),
                bottom_fraction=float(true[k]),
                top_fraction=float(true[k + 1]),
                top_sigma_fraction=sigmas[k],
                lightness=float(lab[0]),
                a=float(lab[1]),
                b=float(lab[2]),
            )
        )
    return tuple(out)


def region(strip: Strip, bottom: float, top: float) -> Floats:
    """Median colour between two heights."""
    rows = (strip.fraction > bottom) & (strip.fraction < top)
    if not rows.any():
        return np.full(3, math.nan, np.float32)
    return np.asarray(np.median(strip.lab[rows].reshape(-1, 3), axis=0), np.float32)


def _kind(k: int, count: int, edges: list[float]) -> LayerKind:
    if count == 1:
        return "body"
    if k == 0:
        return "settled"
    if k == count - 1 and edges[k + 1] - edges[k] < 0.3:
        return "floating"
    return "body"
