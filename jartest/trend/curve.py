"""The settling curve: what each look shows, in order of age."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from jartest.imaging.sizes import column_mm
from jartest.imaging.values import Reading

__all__ = ["CurvePoint", "settling_curve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The heights of one look as fractions of the liquid column, each with one sigma; NaN where not measurable.

    `column_mm` is the height of the liquid with its sigma, NaN without a scale.
    """

    age_s: float
    settled_fraction: float
    settled_sigma_fraction: float
    clear_fraction: float
    clear_sigma_fraction: float
    top_layer_fraction: float
    top_layer_sigma_fraction: float
    column_mm: float = math.nan
    column_sigma_mm: float = math.nan


def settling_curve(readings: Iterable[tuple[float, Reading]]) -> tuple[CurvePoint, ...]:
    """The points of the curve in order of age, one for each reading with a jar.

    Parameters
    ----------
    readings : iterable of (float, Reading)
        Age in seconds after mixing, and the reading that counts at that age.
    """
    points = []
    for age, r in readings:
        if r.jar_found:
            high, high_sigma = column_mm(r)
            points.append(
                CurvePoint(
                    age_s=age,
                    settled_fraction=r.settled_fraction,
                    settled_sigma_fraction=r.settled_sigma_fraction,
                    clear_fraction=r.clear_fraction,
                    clear_sigma_fraction=r.clear_sigma_fraction,
                    top_layer_fraction=r.top_layer_fraction,
                    top_layer_sigma_fraction=r.top_layer_sigma_fraction,
                    column_mm=high,
                    column_sigma_mm=high_sigma,
                )
            )
    return tuple(sorted(points, key=lambda p: p.age_s))
