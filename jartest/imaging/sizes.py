"""What a reading says in millimetres and millilitres, where its photo has a scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jartest.imaging.values import LayerKind, Reading
from jartest.plan.jars import JarShape
from jartest.units import say_volume

__all__ = ["Fill", "LayerSize", "column_mm", "fill", "layer_sizes"]

_LINE_SIGMA = 0.004  # of the column: how well floor and surface are placed, as in layers.py
_SHAPE_SIGMA = 0.05  # of the volume: heel and shoulder of a jar that is taken for straight; our choice
_CALIBRATED_SIGMA = 0.015  # of the volume, between two fillings; our choice
_WIDTH_SIGMA = 0.06  # of a diameter taken from the photo: focal length and wall are not known; our choice
_FOCAL = 1.5  # focal length in units of the longer picture side, as in profile.py
_WALL_PART = 0.05  # of the outer radius is glass, as in scale.py
_PLAN_SIGMA = 0.03  # of the volume: how well a jar is filled by eye to a mark; our choice


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """How much the plan fills the jar to, and how much stands in it by the photo, with one sigma, in mL."""

    planned_ml: float
    seen_ml: float
    sigma_ml: float

    @property
    def differs(self) -> bool:
        """Whether the two are apart by more than twice the doubt of both."""
        return abs(self.seen_ml - self.planned_ml) > 2 * math.hypot(
            self.sigma_ml, _PLAN_SIGMA * self.planned_ml
        )

    @property
    def says(self) -> str:
        """Both in a sentence, and what to check where they differ."""
        seen = f"By this photo {say_volume(self.seen_ml, us_first=True)} stand in the jar, ± {say_volume(self.sigma_ml, us_first=True)}"
        planned = say_volume(self.planned_ml, us_first=True)
        if not self.differs:
            return f"{seen}; the plan has {planned}."
        return f"{seen}, but the plan has {planned}: check the floor and surface lines, which jar it is, and what went in."


def fill(reading: Reading, planned_ml: float, jar: JarShape | None = None) -> Fill | None:
    """The planned volume beside that of the photo, foam left out; None without a scale, or over the last filling.

    Notes
    -----
    Without a known jar it is taken for a straight one as wide as the photo and its scale say.
    """
    column, column_sigma = column_mm(reading)
    if not math.isfinite(column) or reading.jar is None:
        return None
    surface = next((x.top_sigma_fraction for x in reversed(reading.layers) if x.kind != "foam"), _LINE_SIGMA)
    # What is settled ends at the floor, and knows its doubt; NaN compares false.
    floor = max(_LINE_SIGMA, reading.settled_sigma_fraction)
    relative = column_sigma / column
    height_sigma = column * math.hypot(relative, surface, floor)
    shape = _CALIBRATED_SIGMA if jar is not None and jar.fillings else _SHAPE_SIGMA
    if jar is None:
        inner = _outer_diameter_mm(reading) * (1 - _WALL_PART)
        jar = JarShape(name="by the photo", inner_diameter_mm=inner)
        shape = math.hypot(shape, 2 * math.hypot(_WIDTH_SIGMA, relative))
    seen = jar.volume_to(column)
    if math.isnan(seen):
        return None
    sigma = math.hypot(jar.area_at(column) * height_sigma / 1000, shape * seen)
    return Fill(planned_ml=planned_ml, seen_ml=seen, sigma_ml=sigma)


def _outer_diameter_mm(reading: Reading) -> float:
    """Outer diameter of a jar whose silhouettes fill the half angle a and whose scale m holds at its near wall.

    With the axis D away, r = D sin a, m = (D - r) / f and half a width of h = f tan a: r = m h cos a / (1 - sin a).
    """
    assert reading.jar is not None  # a scale was asked for before
    half = (reading.jar.right_px - reading.jar.left_px) / 2
    a = math.atan(half / (_FOCAL * max(reading.width_px, reading.height_px)))
    return 2 * reading.mm_per_px * half * math.cos(a) / (1 - math.sin(a))
