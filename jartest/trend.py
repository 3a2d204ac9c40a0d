"""Readings over time: the settling curve, its rate, and how long a tank may stand.

A mixture that comes apart does so in one of three ways seen from outside: a front of solids falls and
leaves liquid above it; solids pile up from the floor; a floating layer grows from the surface.  Each is
a depth that grows with time, first at a steady rate, then to a stop.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.imaging.values import Reading

__all__ = [
    "CurvePoint",
    "Growth",
    "GrowthKind",
    "StandingTime",
    "growths",
    "settling_curve",
    "standing_time",
]

GrowthKind = Literal["falling front", "rising sediment", "floating layer"]

# A depth under this share of the column is no layer yet: the reading tells a trace from 1 % on.
_SEEN = 0.01
# A fit of a rate never claims to know the lines better than this (one standard deviation, of the column).
_SIGMA_MIN = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The heights of one look as fractions of the liquid column, each with one sigma; NaN where not measurable.

    `column_mm` is the height of the liquid, NaN without a scale.
    """

    age_s: float
    settled_fraction: float
    settled_sigma_fraction: float
    clear_fraction: float
    clear_sigma_fraction: float
    top_layer_fraction: float
    top_layer_sigma_fraction: float
    column_mm: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """How one depth grows: fractions of the liquid column, seconds, each rate with one sigma.

    `rate_per_s` is the steady rate before it stops; `final_fraction` the depth where it has stopped and
    `stopped_s` when, both NaN while it still grows; `half_time_s` the time to half the final depth.
    `rate_mm_per_s` is NaN without a scale.  `looks` is how many looks the rate rests on.
    """

    kind: GrowthKind
    rate_per_s: float
    rate_sigma_per_s: float
    rate_mm_per_s: float
    rate_sigma_mm_per_s: float
    half_time_s: float
    final_fraction: float
    stopped_s: float
    looks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingTime:
    """How long the tank may stand without agitation: best value and its range (two sigma), in seconds.

    `says` states the assumption it rests on.
    """

    best_s: float
    low_s: float
    high_s: float
    says: str


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
            column_mm=math.nan if r.jar is None else (r.jar.floor_px - r.jar.surface_px) * r.mm_per_px,
        )
        for age, r in readings
        if r.jar_found
    ]
    return tuple(sorted(points, key=lambda p: p.age_s))


def growths(points: Sequence[CurvePoint]) -> tuple[Growth, ...]:
    """What grows in this jar, and how fast; empty where nothing does or fewer than two looks tell.

    Parameters
    ----------
    points : sequence of CurvePoint
        In order of age.

    Notes
    -----
    Solids whose top falls from look to look leave a front: its depth below the surface grows.  Solids
    whose top rises pile up from the floor.  The depth is fitted by the least absolute error of
    ``min(rate * age, final)``: a single wrong look does not move it.  The rate's sigma comes from the
    doubts of the looks in the steady part and from how far they lie off the line.  A mixture that rests
    before it starts to settle is read as slower than it is; more early looks show that.
    """
    found = []
    column_mm = _median([p.column_mm for p in points])
    settled = [(p.age_s, p.settled_fraction, p.settled_sigma_fraction) for p in points]
    seen = [h for _, h, _ in settled if not math.isnan(h) and h > _SEEN]
    if len(seen) >= 2 or (seen and len(points) >= 2):
        falls = seen[0] > 0.5 and seen[-1] <= seen[0]
        kind: GrowthKind = "falling front" if falls else "rising sediment"
        depth = [(t, (1 - h if h > _SEEN else 0.0) if falls else h, s) for t, h, s in settled]
        found.append(_grow(kind, depth, column_mm))
    floating = [(p.age_s, p.top_layer_fraction, p.top_layer_sigma_fraction) for p in points]
    if sum(h > _SEEN for _, h, _ in floating) and len(points) >= 2:
        found.append(_grow("floating layer", floating, column_mm))
    return tuple(g for g in found if g is not None)


def _median(values: Sequence[float]) -> float:
    known = [v for v in values if not math.isnan(v)]
    return float(np.median(known)) if known else math.nan


def _grow(kind: GrowthKind, depth: Sequence[tuple[float, float, float]], column_mm: float) -> Growth | None:
    told = [(t, y, s) for t, y, s in depth if t >= 0 and not math.isnan(y)]
    if sum(t > 0 for t, _, _ in told) < 1:
        return None
    t = np.array([x[0] for x in told])
    y = np.array([x[1] for x in told])
    sigma = np.array([_SIGMA_MIN if math.isnan(x[2]) else max(x[2], _SIGMA_MIN) for x in told])
    rate, final = _fit(t, y, sigma)
    if not rate > 0:
        return None
    steady = (t > 0) & (rate * t <= final)
    rate_sigma = _rate_sigma(t[steady], y[steady], sigma[steady], rate)
    stopped = math.isfinite(final)
    mm = column_mm if not math.isnan(column_mm) else math.nan
    return Growth(
        kind=kind,
        rate_per_s=rate,
        rate_sigma_per_s=rate_sigma,
        rate_mm_per_s=rate * mm,
        rate_sigma_mm_per_s=rate_sigma * mm,
        half_time_s=final / rate / 2 if stopped else math.nan,
        final_fraction=final if stopped else math.nan,
        stopped_s=final / rate if stopped else math.nan,
        looks=int(steady.sum()),
    )


def _fit(t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64]) -> tuple[float, float]:
    """Rate and final depth of ``min(rate * t, final)`` with the least absolute error; final inf while it grows.

    The best rate goes through one of the points, and the best final depth is the median of some last
    looks: all such pairs are tried, which is exact for a least-absolute fit and cheap for a jar's looks.
    """
    rates = [float(b / a) for a, b in zip(t, y, strict=True) if a > 0 and b > _SEEN]
    if not rates:
        return 0.0, math.inf
    finals = [math.inf] + [float(np.median(y[k:])) for k in range(len(y) - 1)]
    tries = [(_misfit(t, y, sigma, r, f), i, r, f) for r in rates for i, f in enumerate(finals)]
    _, _, rate, final = min(tries)
    # A stop is claimed only when the last two looks stand on the plateau.
    if math.isfinite(final) and sum(rate * t > final) < 2:
        return min((x for x in tries if math.isinf(x[3])), key=lambda x: x[0])[2], math.inf
    return _polish(t, y, sigma, rate, final), final


def _misfit(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64], rate: float, final: float
) -> float:
    return float(np.sum(np.abs(y - np.minimum(rate * t, final)) / sigma))


def _polish(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64], rate: float, final: float
) -> float:
    """The rate by least squares over the looks of the steady part that lie within three sigma of the line."""
    keep = (t > 0) & (rate * t <= final) & (np.abs(y - rate * t) <= 3 * sigma)
    if not keep.any():
        return rate
    w = 1 / sigma[keep] ** 2
    return float(np.sum(w * t[keep] * y[keep]) / np.sum(w * t[keep] ** 2))


def _rate_sigma(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64], rate: float
) -> float:
    if t.size == 0:
        return math.nan
    w = 1 / sigma**2
    from_doubts = 1 / math.sqrt(float(np.sum(w * t**2)))
    if t.size < 2:
        return from_doubts
    spread = float(np.sum(w * (y - rate * t) ** 2)) / (t.size - 1)
    return from_doubts * max(1.0, math.sqrt(spread))


def standing_time(growth: Growth, *, tank_depth_mm: float, allowed_fraction: float) -> StandingTime:
    """How long a tank may stand before this growth reaches an allowed share of its depth.

    Parameters
    ----------
    growth : Growth
        With a rate in mm/s, so the jar needs a scale.
    tank_depth_mm : float
        Depth of the liquid in the tank.
    allowed_fraction : float
        Share of that depth that may be cleared, settled or floating.

    Raises
    ------
    BadEntry
        If the rate has no scale, or a value is out of range.

    Notes
    -----
    Assumes that the front moves at the same speed in mm/s in jar and tank, which holds while hindered
    settling does (the speed depends on the concentration, not on the depth: Richardson and Zaki 1954,
    from memory), the tank is as warm as the jar, and nothing stirs it.
    """
    if math.isnan(growth.rate_mm_per_s):
        msg = "The jar's looks have no scale, so there is no speed in mm; give the jar's inner diameter."
        raise BadEntry(msg)
    if not (0 < tank_depth_mm < 20_000 and 0 < allowed_fraction <= 1):
        msg = f"A tank is up to 20 m deep and the share from 0 to 1, not {tank_depth_mm:g} mm and {allowed_fraction:g}."
        raise BadEntry(msg)
    depth_mm = tank_depth_mm * allowed_fraction
    rate, doubt = growth.rate_mm_per_s, 2 * growth.rate_sigma_mm_per_s
    says = (
        f"Reckoned from {growth.looks} looks: the {growth.kind} moves {60 * rate:.2g} mm a minute and, as long as "
        "it is hindered settling, as fast in the tank as in the jar; same temperature, nothing stirring."
    )
    high = depth_mm / (rate - doubt) if doubt < rate else math.inf
    return StandingTime(best_s=depth_mm / rate, low_s=depth_mm / (rate + doubt), high_s=high, says=says)
