"""Readings over time: the settling curve."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from jartest.imaging.values import Reading

__all__ = ["CurvePoint", "settling_curve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The heights of one look as fractions of the liquid column, each with one sigma; NaN where not measurable."""

    age_s: float
    settled_fraction: float
    settled_sigma_fraction: float
    clear_fraction: float
    clear_sigma_fraction: float
    top_layer_fraction: float
    top_layer_sigma_fraction: float


def settling_curve(readings: Iterable[tuple[float, Reading]]) -> tuple[CurvePoint, ...]:
    """The points of the curve in order of age, one for each reading with a jar.

    Parameters
    ----------
    readings : iterable of (float, Reading)
        Age in seconds after mixing, and the reading that counts at that age.
    """
    points = [
        CurvePoint(
            age_s=age,
            settled_fraction=r.settled_fraction,
            settled_sigma_fraction=r.settled_sigma_fraction,
            clear_fraction=r.clear_fraction,
            clear_sigma_fraction=r.clear_sigma_fraction,
            top_layer_fraction=r.top_layer_fraction,
            top_layer_sigma_fraction=r.top_layer_sigma_fraction,
        )
        for age, r in readings
        if r.jar_found
    ]
    return tuple(sorted(points, key=lambda p: p.age_s))
