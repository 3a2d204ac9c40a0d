"""Millimetres per pixel, from a known jar."""

from __future__ import annotations

import math

from jartest.imaging.values import Frame

__all__ = ["mm_per_px"]

_WALL_FRACTION = 0.055  # glass wall over inner radius: 0.02 (thin tumblers) to 0.09 (preserving jars) in the rendered pictures
_WALL_SIGMA_FRACTION = 0.025
_WALL_SIGMA_PX = 1.0  # how well a wall is placed


def mm_per_px(frame: Frame, inner_diameter_mm: float | None) -> tuple[float, float]:
    """Millimetres per pixel at the jar's axis and its sigma; NaN where no diameter is known.

    Notes
    -----
    The frame holds the outer walls; the glass is taken as usual for jars, and the doubt about it is
    part of the sigma.
    """
    width = frame.right_px - frame.left_px
    if inner_diameter_mm is None or not math.isfinite(width) or width <= 0:
        return math.nan, math.nan
    value = inner_diameter_mm * (1 + _WALL_FRACTION) / width
    relative = math.hypot(_WALL_SIGMA_FRACTION, math.sqrt(2) * _WALL_SIGMA_PX / width)
    return value, value * relative
