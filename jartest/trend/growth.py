"""What grows in a jar, and how fast.

A mixture that comes apart does so in one of three ways seen from outside: a front of solids falls and
leaves liquid above it; solids pile up from the floor; a floating layer grows from the surface.  Each is
a depth that grows with time, first at a steady rate, then to a stop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

import numpy as np

from jartest.trend.curve import CurvePoint
from jartest.trend.fit import SEEN, Fit, Floats, fastest, fit_depths

__all__ = ["Growth", "GrowthKind", "growths"]

GrowthKind = Literal["falling front", "rising sediment", "clear liquid", "floating layer"]

# A fit of a rate never claims to know the lines better than this (one standard deviation, of the column).
_SIGMA_MIN = 0.002
# Clear liquid that lies right on a bed: what is left between them is within the doubt of their lines (our choice).
_BETWEEN = 0.02
# How far beyond its pace a front may have come between two looks, by the doubt of the pace (our choice).
_CARRIED = 1.1
_OF_COLUMN = ("falling front", "clear liquid")  # what parts is the column itself, not a bed or a cream of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """How one depth grows: fractions of the liquid column, seconds, each rate with one sigma.

    `rate_per_s` is the steady rate before it stops, NaN where no look shows the depth on its way;
    `final_fraction` the depth where it has stopped and `stopped_s` when, both NaN while that is not told;
    `slowed` is true where it had slowed down or stopped, no more being known; `half_time_s` the time to half
    the final depth.  `rate_mm_per_s` is NaN without a scale, whose doubt is part of its sigma.  `looks` is
    how many looks the rate rests on.

    `least_per_s` is the largest depth over age that any look shows, infinite where it was there at once;
    `cautious_per_s` is the greatest rate that the looks allow (`fit.fastest`), never less than that, NaN where
    nothing bounds it; it can be known where the rate itself is not.
    `most_fraction` is the greatest depth that any look shows.  `gone` is true where the last look shows it no more.
    """

    kind: GrowthKind
    rate_per_s: float
    rate_sigma_per_s: float
    rate_mm_per_s: float
    rate_sigma_mm_per_s: float
    cautious_per_s: float
    least_per_s: float
    most_fraction: float
    column_mm: float
    column_sigma_mm: float
    half_time_s: float
    half_time_sigma_s: float
    final_fraction: float
    final_sigma_fraction: float
    stopped_s: float
    stopped_sigma_s: float
    looks: int
    slowed: bool = False
    gone: bool = False

    @property
    def settled_fraction(self) -> float:
        """Height of the settled solids where it has stopped; NaN while it grows, and for what does not settle."""
        if self.kind == "falling front":
            return 1 - self.final_fraction
        return self.final_fraction if self.kind == "rising sediment" else math.nan

    @property
    def whole_fraction(self) -> float:
        """The depth at which all has parted: the whole column for a front, the greatest depth seen for a bed or cream."""
        return 1.0 if self.kind in _OF_COLUMN else self.most_fraction


def growths(points: Sequence[CurvePoint]) -> tuple[Growth, ...]:
    """What grows in this jar, and how fast; empty where nothing does.

    Parameters
    ----------
    points : sequence of CurvePoint
        In order of age.

    Notes
    -----
    Solids whose top falls from look to look leave a front: its depth below the surface grows.  What an
    early look takes for a floating or clear layer, and a later one for the liquid above such solids, is
    that same front: one photo cannot tell them apart, the series can.  Solids whose top rises pile up
    from the floor.  Clear liquid that at last lies right on a bed and that bed are two sides of one
    parting: where the looks tell the rate of one side only, that is the rate.

    The depth is fitted by the least absolute error of ``min(rate * age, final)``, or of
    ``final * (1 - exp(-age / tau))`` where that fits plainly better: a single wrong look does not move it.
    A rate needs a look that shows the depth on its way (`fit.on_its_way`): of a look on the plateau, or of
    one look alone, only the least rate is known.  The rate's sigma comes from the doubts of the looks in the
    steady part and from how far they lie off the line.
    """
    settled = _series(points, "settled")
    floating, clear = _series(points, "top_layer"), _series(points, "clear")
    first = next((n for n, (_, h, _) in enumerate(settled) if h > SEEN), len(points))
    above = [c if c[1] > SEEN else f for c, f in zip(clear, floating, strict=True)]
    before = [(t, y if y > SEEN else 0.0, s) for t, y, s in above[:first]]
    series: list[tuple[GrowthKind, list[_Depth]]]
    if _falls(before, [x for x in settled[first:] if x[1] > SEEN]):
        after = [(t, 1 - h if h > SEEN else math.nan, s) for t, h, s in settled[first:]]
        series = [("falling front", before + after), ("floating layer", floating[first:])]
    else:
        series = [("rising sediment", settled), ("clear liquid", clear), ("floating layer", floating)]
    found = {kind: g for kind, depth in series if (g := _grow(kind, depth, _column(points))) is not None}
    return _one_side(found, points)


_Depth = tuple[float, float, float]  # age in s, depth as a fraction, its sigma


def _falls(before: Sequence[_Depth], solids: Sequence[_Depth]) -> bool:
    """Whether the top of these solids is a front that falls, by what looks `before` show above it and the first solids.

    Solids that fill more than half of the jar at first cannot have piled up.  Lower ones that grow no more are
    the end of a front where that was seen above before, and at its pace had come down as far by then.
    """
    if not solids:
        return False
    (t, first, sigma), (_, last, last_sigma) = solids[0], solids[-1]
    if first > 0.5:
        return last <= first and len(before) + len(solids) >= 2
    pace = max((y / age for age, y, _ in before if age > 0 and y > SEEN), default=0.0)
    carried = pace > 0 and before[-1][1] > SEEN and 1 - first - 2 * sigma <= _CARRIED * pace * t
    return carried and last <= first + 2 * math.hypot(sigma, last_sigma)


def _series(points: Sequence[CurvePoint], what: str) -> list[_Depth]:
    return [(p.age_s, getattr(p, f"{what}_fraction"), getattr(p, f"{what}_sigma_fraction")) for p in points]


def _column(points: Sequence[CurvePoint]) -> tuple[float, float]:
    """Height of the liquid in mm and its sigma: the looks share jar and camera, so their doubt does not average out."""
    return _median([p.column_mm for p in points]), _median([p.column_sigma_mm for p in points])


def _median(values: Sequence[float]) -> float:
    known = [v for v in values if not math.isnan(v)]
    return float(median(known)) if known else math.nan


def _one_side(found: dict[GrowthKind, Growth], points: Sequence[CurvePoint]) -> tuple[Growth, ...]:
    """Without the side of a parting whose rate is not known, where the other side's is."""
    bed, clear = found.get("rising sediment"), found.get("clear liquid")
    if bed is not None and clear is not None:
        last = points[-1]
        touch = last.settled_fraction + last.clear_fraction > 1 - _BETWEEN
        if touch and math.isnan(bed.rate_per_s) != math.isnan(clear.rate_per_s):
            del found["rising sediment" if math.isnan(bed.rate_per_s) else "clear liquid"]
    return tuple(found.values())


def _grow(kind: GrowthKind, depth: Sequence[_Depth], column: tuple[float, float]) -> Growth | None:
    told = [x for x in depth if x[0] >= 0 and not math.isnan(x[1])]
    if not told:
        return None
    t, y = np.array([x[0] for x in told]), np.array([x[1] for x in told])
    gone = not y[-1] > SEEN
    if not np.any(y[t > 0] > SEEN):  # of what was there at the start alone, mostly foam, nothing has grown
        return None
    floor = np.where(y > SEEN, _SIGMA_MIN, SEEN)  # what is too thin to be seen may be that thick
    sigma = np.fmax([x[2] for x in told], floor)
    least = _least(t, y)
    fit = None if gone or math.isinf(least) else fit_depths(t, y, sigma)
    cautious = math.nan
    if not (gone or math.isinf(least)):
        told_by = np.where(
            y > SEEN, sigma, np.hypot(SEEN / 2, [x[2] for x in told])
        )  # up to SEEN, at two sigma
        cautious = fastest(t, y, told_by, whole=None if kind in _OF_COLUMN else float(y.max()))
    if not math.isnan(cautious):
        cautious = max(least, _fastest_between(t, y), cautious)
    return _growth(
        kind, fit or _NO_FIT, column, least=least, cautious=cautious, most=float(y.max()), gone=gone
    )


_NO_FIT = Fit(rate=math.nan, rate_sigma=math.nan, misfit=math.nan, looks=0)


def _least(t: Floats, y: Floats) -> float:
    """The largest depth over age; infinite for a depth that was there at once."""
    shown = y > SEEN
    return math.inf if np.any(shown & (t <= 0)) else float((y[shown] / t[shown]).max())


def _fastest_between(t: Floats, y: Floats) -> float:
    """The most that was gained from one look to the next over the time between: a growth that rests at first is faster then."""
    gained, time = np.diff(y)[y[1:] > SEEN], np.diff(t)[y[1:] > SEEN]
    return float((gained[time > 0] / time[time > 0]).max(initial=0.0))


def _growth(
    kind: GrowthKind,
    fit: Fit,
    column: tuple[float, float],
    *,
    least: float,
    cautious: float,
    most: float,
    gone: bool,
) -> Growth:
    (high, high_sigma), relative = column, fit.rate_sigma / fit.rate
    scale = 0.0 if math.isnan(high_sigma) else high_sigma / high
    stopped_sigma = fit.stopped * math.hypot(relative, fit.final_sigma / fit.final)
    return Growth(
        kind=kind,
        rate_per_s=fit.rate,
        rate_sigma_per_s=fit.rate_sigma,
        rate_mm_per_s=fit.rate * high,
        rate_sigma_mm_per_s=fit.rate * high * math.hypot(relative, scale),
        cautious_per_s=cautious,
        least_per_s=least,
        most_fraction=most,
        column_mm=high,
        column_sigma_mm=0.0 if math.isnan(high_sigma) else high_sigma,
        half_time_s=fit.half,
        half_time_sigma_s=stopped_sigma * fit.half / fit.stopped,
        final_fraction=fit.final,
        final_sigma_fraction=fit.final_sigma,
        stopped_s=fit.stopped,
        stopped_sigma_s=stopped_sigma,
        looks=fit.looks,
        slowed=fit.slowed,
        gone=gone,
    )
