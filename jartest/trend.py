"""Readings over time: the settling curve, its rate, and how long a tank may stand.

A mixture that comes apart does so in one of three ways seen from outside: a front of solids falls and
leaves liquid above it; solids pile up from the floor; a floating layer grows from the surface.  Each is
a depth that grows with time, first at a steady rate, then to a stop.
"""

# Longer than the guide of 300 lines: values, two shapes of a curve and what follows from them belong together.

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.imaging.sizes import column_mm
from jartest.imaging.values import Reading

__all__ = [
    "CurvePoint",
    "Growth",
    "GrowthKind",
    "StandingTime",
    "growths",
    "say_growth",
    "settling_curve",
    "standing_time",
]

GrowthKind = Literal["falling front", "rising sediment", "clear liquid", "floating layer"]

# A depth under this share of the column is no layer yet: the reading tells a trace from 1 % on.
_SEEN = 0.01
# A fit of a rate never claims to know the lines better than this (one standard deviation, of the column).
_SIGMA_MIN = 0.002


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """How one depth grows: fractions of the liquid column, seconds, each rate with one sigma.

    `rate_per_s` is the steady rate before it stops; `final_fraction` the depth where it has stopped and
    `stopped_s` when, both NaN while it still grows; `half_time_s` the time to half the final depth.
    `rate_mm_per_s` is NaN without a scale, whose doubt is part of its sigma.  `looks` is how many looks
    the rate rests on.
    """

    kind: GrowthKind
    rate_per_s: float
    rate_sigma_per_s: float
    rate_mm_per_s: float
    rate_sigma_mm_per_s: float
    half_time_s: float
    half_time_sigma_s: float
    final_fraction: float
    final_sigma_fraction: float
    stopped_s: float
    stopped_sigma_s: float
    looks: int

    @property
    def settled_fraction(self) -> float:
        """Height of the settled solids where it has stopped; NaN while it grows, and for what does not settle."""
        if self.kind == "falling front":
            return 1 - self.final_fraction
        return self.final_fraction if self.kind == "rising sediment" else math.nan


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


def growths(points: Sequence[CurvePoint]) -> tuple[Growth, ...]:
    """What grows in this jar, and how fast; empty where nothing does or fewer than two looks tell.

    Parameters
    ----------
    points : sequence of CurvePoint
        In order of age.

    Notes
    -----
    Solids whose top falls from look to look leave a front: its depth below the surface grows.  What an
    early look takes for a floating or clear layer, and a later one for the liquid above such solids, is
    that same front: one photo cannot tell them apart, the series can.  Solids whose top rises pile up
    from the floor.  The depth is fitted by the least absolute error of ``min(rate * age, final)``, or of
    ``final * (1 - exp(-age / tau))`` where that fits plainly better: a single wrong look does not move it.  The rate's sigma comes from the doubts of the looks in the steady
    part and from how far they lie off the line.  A mixture that rests before it starts to settle is read
    as slower than it is; more early looks show that.  What the last look shows no more has not grown.
    """
    settled = _series(points, "settled")
    floating, clear = _series(points, "top_layer"), _series(points, "clear")
    first = next((n for n, (_, h, _) in enumerate(settled) if h > _SEEN), len(points))
    seen = [h for _, h, _ in settled if h > _SEEN]
    falls = len(points) >= 2 and bool(seen) and seen[0] > 0.5 and seen[-1] <= seen[0]
    series: list[tuple[GrowthKind, list[_Depth]]] = []
    if falls:
        above = [c if c[1] > _SEEN else f for c, f in zip(clear, floating, strict=True)]
        before = [(t, y if y > _SEEN else 0.0, s) for t, y, s in above[:first]]
        after = [(t, 1 - h if h > _SEEN else math.nan, s) for t, h, s in settled[first:]]
        series = [("falling front", before + after), ("floating layer", floating[first:])]
    elif len(points) >= 2:
        series = [("rising sediment", settled), ("clear liquid", clear), ("floating layer", floating)]
    found = [_grow(kind, depth, _column(points)) for kind, depth in series]
    return tuple(g for g in found if g is not None)


_Depth = tuple[float, float, float]  # age in s, depth as a fraction, its sigma


def _series(points: Sequence[CurvePoint], what: str) -> list[_Depth]:
    return [(p.age_s, getattr(p, f"{what}_fraction"), getattr(p, f"{what}_sigma_fraction")) for p in points]


def _column(points: Sequence[CurvePoint]) -> tuple[float, float]:
    """Height of the liquid in mm and its sigma: the looks share jar and camera, so their doubt does not average out."""
    return _median([p.column_mm for p in points]), _median([p.column_sigma_mm for p in points])


def _median(values: Sequence[float]) -> float:
    known = [v for v in values if not math.isnan(v)]
    return float(np.median(known)) if known else math.nan


def _grow(kind: GrowthKind, depth: Sequence[_Depth], column: tuple[float, float]) -> Growth | None:
    told = [x for x in depth if x[0] >= 0 and not math.isnan(x[1])]
    if not any(t > 0 for t, _, _ in told) or not told[-1][1] > _SEEN:
        return None
    t, y = np.array([x[0] for x in told]), np.array([x[1] for x in told])
    floor = np.where(y > _SEEN, _SIGMA_MIN, _SEEN)  # what is too thin to be seen may be that thick
    sigma = np.fmax([x[2] for x in told], floor)
    fit = _best(t, y, sigma)
    if fit is None:
        return None
    (high, high_sigma), relative = column, fit.rate_sigma / fit.rate
    scale = 0.0 if math.isnan(high_sigma) else high_sigma / high
    stopped_sigma = fit.stopped * math.hypot(relative, fit.final_sigma / fit.final)
    return Growth(
        kind=kind,
        rate_per_s=fit.rate,
        rate_sigma_per_s=fit.rate_sigma,
        rate_mm_per_s=fit.rate * high,
        rate_sigma_mm_per_s=fit.rate * high * math.hypot(relative, scale),
        half_time_s=fit.half,
        half_time_sigma_s=stopped_sigma * fit.half / fit.stopped,
        final_fraction=fit.final,
        final_sigma_fraction=fit.final_sigma,
        stopped_s=fit.stopped,
        stopped_sigma_s=stopped_sigma,
        looks=fit.looks,
    )


Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """A growth as one of the two shapes: rate at first, final depth (NaN while it grows), how far off the looks lie."""

    rate: float
    rate_sigma: float
    misfit: float
    looks: int
    final: float = math.nan
    final_sigma: float = math.nan
    half: float = math.nan
    stopped: float = math.nan


# A shape must bring the looks nearer by this many sigmas in all to be taken for the plainer one (our choice).
_PLAINER = 3.0


def _best(t: Floats, y: Floats, sigma: Floats) -> _Fit | None:
    """The steady growth that stops, or the one that slows down where that fits plainly better.

    Where a stop is claimed and the slowing one fits as well, half their difference is doubt of the rate.
    """
    steady, slowing = _fit_steady(t, y, sigma), _fit_slowing(t, y, sigma)
    if steady is None or slowing is None:
        return steady
    if slowing.misfit + _PLAINER < steady.misfit:
        return slowing
    if math.isnan(steady.final) or slowing.misfit > steady.misfit + _PLAINER:
        return steady
    apart = abs(slowing.rate - steady.rate) / 2
    return replace(steady, rate_sigma=math.hypot(steady.rate_sigma, apart))


def _fit_steady(t: Floats, y: Floats, sigma: Floats) -> _Fit | None:
    """``min(rate * t, final)`` with the least absolute error; the rate polished by least squares.

    The best rate goes through one of the points, and the best final depth is the median of some last
    looks: all such pairs are tried, which is exact for a least-absolute fit and cheap for a jar's looks.
    """
    rates = [float(b / a) for a, b in zip(t, y, strict=True) if a > 0 and b > _SEEN]
    if not rates:
        return None
    medians = [float(np.median(y[k:])) for k in range(len(y) - 1)]
    finals = [math.inf] + [f for f in medians if f > _SEEN]
    tries = [
        (float(np.sum(np.abs(y - np.minimum(r * t, f)) / sigma)), i, r, f)
        for r in rates
        for i, f in enumerate(finals)
    ]
    misfit, _, rate, final = min(tries)
    # A stop is claimed only when the last two looks stand on the plateau.
    if math.isfinite(final) and sum(rate * t > final) < 2:
        misfit, _, rate, final = min((x for x in tries if math.isinf(x[3])), key=lambda x: x[0])
    near = (t > 0) & (rate * t <= final) & (np.abs(y - rate * t) <= 3 * sigma)
    if not near.any():
        return None
    w = 1 / sigma[near] ** 2
    rate = float(np.sum(w * t[near] * y[near]) / np.sum(w * t[near] ** 2))
    spread = float(np.sum(w * (y[near] - rate * t[near]) ** 2)) / max(1, w.size - 1)
    rate_sigma = math.sqrt(max(1.0, spread) / float(np.sum(w * t[near] ** 2)))
    if math.isinf(final):
        return _Fit(rate=rate, rate_sigma=rate_sigma, misfit=misfit, looks=int(near.sum()))
    flat = rate * t > final
    return _Fit(
        rate=rate,
        rate_sigma=rate_sigma,
        misfit=misfit,
        looks=int(near.sum()),
        final=final,
        final_sigma=_middle_sigma(y[flat] - final, sigma[flat]) if flat.any() else math.nan,
        half=final / rate / 2,
        stopped=final / rate,
    )


def _middle_sigma(off: Floats, sigma: Floats) -> float:
    """Sigma of the median of some looks: from their doubts, or from how far they lie apart if that is more."""
    spread = 1.4826 * float(np.median(np.abs(off)))  # of a normal distribution
    widest = max(float(np.median(sigma)), spread)
    return 1.2533 * widest / math.sqrt(off.size)  # sqrt(pi / 2): a median, not a mean


def _fit_slowing(t: Floats, y: Floats, sigma: Floats) -> _Fit | None:
    """``final * (1 - exp(-t / tau))`` with the least absolute error; None for fewer than three looks after the start.

    It counts as stopped where it is within a twentieth of the final depth, at three tau, and only where
    a look was taken as late as that.
    """
    late = t[t > 0]
    if late.size < 3:
        return None
    best: tuple[float, float, float] | None = None
    for tau in np.geomspace(late.min() / 3, 3 * late.max(), 120):
        shape = 1 - np.exp(-t / tau)
        final = _weighted_median(y[t > 0] / shape[t > 0], shape[t > 0] / sigma[t > 0])
        misfit = float(np.sum(np.abs(y - final * shape) / sigma))
        if best is None or misfit < best[0]:
            best = misfit, float(tau), final
    assert best is not None  # the grid is not empty
    misfit, tau, final = best
    if not final > _SEEN:
        return None
    fall = np.exp(-t / tau)
    near = (t > 0) & (np.abs(y - final * (1 - fall)) <= 3 * sigma)
    slopes = np.stack([1 - fall, -final * t / tau**2 * fall], axis=1)[near] / sigma[near, None]
    if near.sum() < 2 or np.linalg.matrix_rank(slopes) < 2:
        return None
    spread = float(np.sum(((y - final * (1 - fall)) / sigma)[near] ** 2)) / max(1, int(near.sum()) - 2)
    cov = np.linalg.inv(slopes.T @ slopes) * max(1.0, spread)
    to_rate = np.array([1 / tau, -final / tau**2])
    stopped = 3 * tau <= late.max()
    return _Fit(
        rate=final / tau,
        rate_sigma=math.sqrt(float(to_rate @ cov @ to_rate)),
        misfit=misfit,
        looks=int(near.sum()),
        final=final if stopped else math.nan,
        final_sigma=math.sqrt(float(cov[0, 0])) if stopped else math.nan,
        half=tau * math.log(2) if stopped else math.nan,
        stopped=3 * tau if stopped else math.nan,
    )


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    part = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(part, part[-1] / 2)])


def say_growth(growth: Growth) -> str:
    """The growth in one sentence: rate with one sigma, half time, when it stopped and where."""
    g = growth
    says = f"{g.kind[0].upper()}{g.kind[1:]}: {_minutes(g.rate_per_s, g.rate_sigma_per_s, 100)} % of the liquid's height"
    if not math.isnan(g.rate_mm_per_s):
        says += f", or {_minutes(g.rate_mm_per_s, g.rate_sigma_mm_per_s, 1)} mm,"
    says += f" a minute at first, from {g.looks} {'look' if g.looks == 1 else 'looks'}"
    if math.isnan(g.stopped_s):
        return f"{says}; it had not stopped at the last look."
    settled = g.settled_fraction
    what = "deep" if math.isnan(settled) else "settled"
    depth = g.final_fraction if math.isnan(settled) else settled
    return (
        f"{says}; half of it by {_age(g.half_time_s, g.half_time_sigma_s)}, stopped by "
        f"{_age(g.stopped_s, g.stopped_sigma_s)} with {100 * depth:.1f} ± {100 * g.final_sigma_fraction:.1f} % {what}."
    )


def _age(value_s: float, sigma_s: float) -> str:
    digits = 0 if sigma_s >= 60 else 1
    return f"{value_s / 60:.{digits}f} ± {sigma_s / 60:.{digits}f} min"


def _minutes(rate: float, sigma: float, times: float) -> str:
    """A rate a minute and its sigma, both to the sigma's first digit."""
    value, doubt = 60 * times * rate, 60 * times * sigma
    digits = max(0, -math.floor(math.log10(doubt))) if 0 < doubt < math.inf else 3
    return f"{value:.{digits}f} ± {doubt:.{digits}f}"


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
