"""Millimetres per pixel, from a known jar."""

from __future__ import annotations

import math

from jartest.imaging.values import Frame, Reading

__all__ = ["column_mm", "mm_per_px", "near_wall"]

_WALL_FRACTION = 0.055  # glass wall over inner radius: 0.02 (thin tumblers) to 0.09 (preserving jars) in the rendered pictures
_WALL_SIGMA_FRACTION = 0.025
_WALL_SIGMA_PX = 1.0  # how well a wall is placed
_FOCAL = 1.5  # focal length in units of the longer picture side where unknown: a phone held upright, as in profile.py
_FOCAL_FACTOR = (
    1.35  # one sigma of doubt about it, up or down: phones' main cameras lie between (value from memory)
)


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


def near_wall(frame: Frame, width_px: int, height_px: int) -> tuple[float, float]:
    """How much smaller a millimetre is at the jar's axis than on the near wall in the photo, and its sigma.

    A length in pixels on the near wall, times `mm_per_px`, times this factor is its length in mm.

    Notes
    -----
    Of a cylinder of radius R at the distance d the silhouette has the half-width f R / sqrt(d^2 - R^2),
    and a length on the near wall is seen at the distance d - R: they differ by sqrt((d + R) / (d - R)).
    R / d follows from the silhouette and the focal length f, which is taken as usual for a phone.
    """
    half = (frame.right_px - frame.left_px) / 2

    def factor(focal: float) -> float:
        q = half / math.hypot(half, focal * max(width_px, height_px))  # R / d
        return math.sqrt((1 - q) / (1 + q))

    return factor(_FOCAL), (factor(_FOCAL * _FOCAL_FACTOR) - factor(_FOCAL / _FOCAL_FACTOR)) / 2


def column_mm(reading: Reading) -> tuple[float, float]:
    """Height of the liquid on the near wall in mm and its sigma; NaN without a jar, its lines or a scale."""
    if reading.jar is None:
        return math.nan, math.nan
    near, near_sigma = near_wall(reading.jar, reading.width_px, reading.height_px)
    value = (reading.jar.floor_px - reading.jar.surface_px) * reading.mm_per_px * near
    if math.isnan(value):
        return math.nan, math.nan
    return value, value * math.hypot(reading.mm_per_px_sigma / reading.mm_per_px, near_sigma / near)
