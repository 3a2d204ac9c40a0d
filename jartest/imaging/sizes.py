"""What a reading says in millimetres and millilitres, where its photo has a scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jartest.imaging.values import LayerKind, Reading
from jartest.plan.jars import JarShape

__all__ = ["LayerSize", "column_mm", "layer_sizes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerSize:
    """One layer in millimetres above the inner floor and in millilitres, NaN where not known.

    The sigmas are one standard deviation; that of the volume is from its two ends and from the scale.
    """

    kind: LayerKind
    bottom_mm: float
    top_mm: float
    top_sigma_mm: float
    volume_ml: float
    volume_sigma_ml: float


def column_mm(reading: Reading) -> tuple[float, float]:
    """Height of the liquid column in mm and its sigma; NaN without a scale."""
    if reading.jar is None or not math.isfinite(reading.mm_per_px):
        return math.nan, math.nan
    rows = reading.jar.floor_px - reading.jar.surface_px
    return rows * reading.mm_per_px, rows * reading.mm_per_px_sigma


def layer_sizes(reading: Reading, jar: JarShape | None = None) -> tuple[LayerSize, ...]:
    """Each layer from the bottom up in mm, and in mL where the jar is known; empty without a scale.

    Notes
    -----
    The scale's doubt moves all ends together, that of a layer's end this end alone.
    """
    column, column_sigma = column_mm(reading)
    if not math.isfinite(column):
        return ()
    relative = column_sigma / column
    out = []
    below_sigma = 0.0
    for x in reading.layers:
        bottom, top = x.bottom_fraction * column + 0.0, x.top_fraction * column  # no minus zero
        end_sigma = x.top_sigma_fraction * column
        volume = sigma = math.nan
        if jar is not None:
            volume = jar.volume_to(top) - jar.volume_to(bottom)
            ends = math.hypot(jar.area_at(top) * end_sigma, jar.area_at(bottom) * below_sigma)
            scale = relative * (jar.area_at(top) * top - jar.area_at(bottom) * bottom)
            sigma = math.nan if math.isnan(volume) else math.hypot(ends, scale) / 1000
        out.append(
            LayerSize(
                kind=x.kind,
                bottom_mm=bottom,
                top_mm=top,
                top_sigma_mm=math.hypot(end_sigma, relative * top),
                volume_ml=volume,
                volume_sigma_ml=sigma,
            )
        )
        below_sigma = end_sigma
    return tuple(out)
