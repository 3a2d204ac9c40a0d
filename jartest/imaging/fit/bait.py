"""Where the finder as it stands sees a column that is none: what the second look must learn to refuse."""

from __future__ import annotations

from typing import Any

import numpy as np

from jartest.imaging import finder
from jartest.imaging.fit.facts import MOST_BAITS
from jartest.imaging.fit.truth import Truth

__all__ = ["baits"]


def baits(pixels: Any, known: Truth) -> list[list[list[float]]]:
    """Surface, floor, rim, left and right (col, row) of each column proposed where no vessel stands."""
    if any(not v.bands for v in known.vessels):
        return []  # an empty vessel is neither a jar with contents nor nothing
    work, to_photo = finder._work_copy(pixels)
    out = []
    for c in finder._first_look(work)[1][:MOST_BAITS]:
        axis = c.surface - c.floor
        side = np.array([-axis[1], axis[0]]) / max(float(np.linalg.norm(axis)), 1e-3)
        middle = (c.surface + c.floor) / 2
        if any(_on(middle * to_photo, known, v) for v in known.vessels):
            continue
        points = [c.surface, c.floor, c.rim, middle - side * c.half, middle + side * c.half]
        out.append([[float(x) for x in p * to_photo] for p in points])
    return out


def _on(point: Any, known: Truth, v: Any) -> bool:
    """Whether a point lies on a vessel, or beside it by less than its half-width."""
    turn = np.linspace(-np.pi, np.pi, 25)
    ring = np.concatenate([known.view.project(v.ring(y, turn)) for y in (-v.floor_mm, v.height_mm)])
    low, high = ring.min(0), ring.max(0)
    spare = np.array([(high - low)[0] * 0.25, 0.0])
    return bool((point > low - spare).all() and (point < high + spare).all())
