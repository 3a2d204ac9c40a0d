"""One depth over time as a curve: steady until it stops, or slowing down from the start."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import median

import numpy as np
from numpy.typing import NDArray

__all__ = ["SEEN", "Fit", "Floats", "fastest", "fit_depths"]

Floats = NDArray[np.float64]

SEEN = 0.01  # a depth under this share of the column is no layer yet: the reading tells a trace from 1 % on
_TWICE = 2.0  # a depth that a later look shows at least doubled was far from its end (our choice)
_PACE = 0.9  # of an earlier look's pace: a later look that kept it saw no stop in between (our choice)
_BEYOND = 3.0  # sigmas: two looks of many on a plateau differ by two (our choice)
_ALLOWED = 4.0  # chi squared: two sigma of one parameter
_WIDEST = 3.0  # times the best rate: wider apart, the looks tell no rate (our choice)
_AT_ONCE = (
    10.0  # times a look's age over the time it takes: all down long before (by exp, but for a 20,000th)
)
_SHARES = 400  # shares tried, so that each is at most 4 % more than the last over looks from 5 min to a day
_APART = 1.5  # times the age: looks nearer than that keep their pace on a plateau too (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A growth as one of the two shapes: rate at first, final depth (NaN where not told), how far off the looks lie.

    `slowed` is true where a look lies below the steady line, so that it had slowed down or stopped.
    """

    rate: float
    rate_sigma: float
    misfit: float
    looks: int
    final: float = math.nan
    final_sigma: float = math.nan
    half: float = math.nan
    stopped: float = math.nan
    slowed: bool = False


# A shape must bring the looks nearer by this many sigmas in all to be taken for the plainer one (our choice).
_PLAINER = 3.0


def fastest(t: Floats, y: Floats, sigma: Floats, *, whole: float | None = None) -> float:
    """The greatest rate at the start that the looks allow; NaN where they hardly bound it.

    Parameters
    ----------
    t, y, sigma : array
        Age in s, depth and its sigma, as fractions of the column.
    whole : float, optional
        The depth that counts as the whole of a bed or cream: the greatest *share* of it a second is then
        sought, and given as a rate of this depth.

    Notes
    -----
    Of all ``final * min(share * t, 1)`` and ``final * (1 - exp(-share * t))`` those count that lie no further
    off the looks than two sigma beyond the best of them (chi squared by no more than 4), as one does for one
    parameter with the others free (Press et al., Numerical Recipes, 3rd ed., 15.6.5, from memory); looks that lie
    further off the best than their sigmas allow for count as so much more doubtful.  Where a depth that was all
    there before the first look counts among them, nothing bounds the rate; where the greatest is more than
    three times the best, its bound tells too little to go by.
    """
    after = t > 0
    t, y, w = t[after], y[after], 1 / sigma[after] ** 2
    shares = np.geomspace(0.01 / t.max(), _AT_ONCE / t.min(), _SHARES)
    run = shares[:, None] * t
    shape = np.concatenate([np.minimum(run, 1), 1 - np.exp(-run)])
    shares = np.concatenate([shares, shares])
    weight = np.sum(w * shape**2, axis=1)
    final = np.sum(w * shape * y, axis=1) / weight
    off = np.sum(w * (y - final[:, None] * shape) ** 2, axis=1)
    best = float(off.min())
    spare = _ALLOWED * max(1.0, best / max(1, t.size - 2)) - (off - best)
    if spare[-1] >= 0:
        return math.nan
    rates = shares * (final + np.sqrt(np.fmax(spare, 0) / weight)) if whole is None else shares * whole
    likely = shares * (final if whole is None else whole)
    most = float(rates[spare >= 0].max())
    return most if most <= _WIDEST * float(likely[np.argmin(off)]) else math.nan


def _on_its_way(t: Floats, y: Floats, sigma: Floats) -> NDArray[np.bool_]:
    """Which looks show a depth that was still on its way, so that depth over age is a rate.

    A depth that has stopped has an age that says nothing of when it did, and depth over age is then any
    amount too slow.  So a look counts only where a later one is deeper beyond their doubts, and either at
    least twice as deep or, much later, at nearly the same depth over age.
    """
    way = np.zeros(t.size, dtype=bool)
    for k in range(t.size):
        if not (t[k] > 0 and y[k] > SEEN):
            continue
        later = t > t[k]
        deeper = later & (y - y[k] > _BEYOND * np.hypot(sigma, sigma[k]))
        kept = (t >= _APART * t[k]) & (y * t[k] >= _PACE * y[k] * t)
        way[k] = bool(np.any(deeper & ((y >= _TWICE * y[k]) | kept)))
    return way


def fit_depths(t: Floats, y: Floats, sigma: Floats) -> Fit | None:
    """The steady growth that stops, or the one that slows down where that fits plainly better.

    Where a stop is claimed and the slowing one fits as well, half their difference is doubt of the rate.
    None where no look shows it on its way.
    """
    steady, slowing = _fit_steady(t, y, sigma), _fit_slowing(t, y, sigma)
    if steady is None or slowing is None:
        return steady
    if slowing.misfit + _PLAINER < steady.misfit:
        return slowing
    if slowing.misfit > steady.misfit + _PLAINER or math.isnan(steady.final):
        return steady
    apart = abs(slowing.rate - steady.rate) / 2
    return replace(steady, rate_sigma=math.hypot(steady.rate_sigma, apart))


def _fit_steady(t: Floats, y: Floats, sigma: Floats) -> Fit | None:
    """``min(rate * t, final)`` with the least absolute error; the rate polished by least squares.

    The best rate goes through one of the points, and the best final depth is the median of some last
    looks: all such pairs are tried, which is exact for a least-absolute fit and cheap for a jar's looks.
    A stop is claimed only where two looks stand on the plateau.  That it had slowed down by the last look
    is claimed where this one alone lies plainly below the line.
    """
    if not _on_its_way(t, y, sigma).any():
        return None
    shown = (t > 0) & (y > SEEN)
    stops = [f for k in range(len(y) - 1) if (f := float(median(y[k:]))) > SEEN]
    tries = []
    for rate in (float(r) for r in y[shown] / t[shown]):
        ends = [math.inf, *(f for f in stops if sum(rate * t > f) >= 2), float(y[-1])]
        misfits = [float(np.sum(np.abs(y - np.minimum(rate * t, f)) / sigma)) for f in ends]
        costs = [m + _PLAINER * (n == len(ends) - 1) for n, m in enumerate(misfits)]
        tries += [(c, n, rate, f, m) for n, (c, f, m) in enumerate(zip(costs, ends, misfits, strict=True))]
    _, _, rate, final, misfit = min(tries)
    near = (t > 0) & (rate * t <= final) & (np.abs(y - rate * t) <= 3 * sigma)
    if not np.any(near & shown):
        return None
    w = 1 / sigma[near] ** 2
    rate = float(np.sum(w * t[near] * y[near]) / np.sum(w * t[near] ** 2))
    spread = float(np.sum(w * (y[near] - rate * t[near]) ** 2)) / max(1, w.size - 1)
    rate_sigma = math.sqrt(max(1.0, spread) / float(np.sum(w * t[near] ** 2)))
    flat = rate * t > final
    if flat.sum() < 2:
        looks, slowed = int(near.sum()), math.isfinite(final)
        return Fit(rate=rate, rate_sigma=rate_sigma, misfit=misfit, looks=looks, slowed=slowed)
    return Fit(
        rate=rate,
        rate_sigma=rate_sigma,
        misfit=misfit,
        looks=int(near.sum()),
        final=final,
        final_sigma=_middle_sigma(y[flat] - final, sigma[flat]),
        half=final / rate / 2,
        stopped=final / rate,
    )


def _middle_sigma(off: Floats, sigma: Floats) -> float:
    """Sigma of the median of some looks: from their doubts, or from how far they lie apart if that is more."""
    spread = 1.4826 * float(np.median(np.abs(off)))  # of a normal distribution
    widest = max(float(np.median(sigma)), spread)
    return 1.2533 * widest / math.sqrt(off.size)  # sqrt(pi / 2): a median, not a mean


def _fit_slowing(t: Floats, y: Floats, sigma: Floats) -> Fit | None:
    """``final * (1 - exp(-t / tau))`` with the least absolute error; None for fewer than three looks after the start.

    It counts as stopped where it is within a twentieth of the final depth, at three tau, and only where
    a look was taken as late as that.
    """
    late = t[t > 0]
    if late.size < 3:
        return None
    taus = np.geomspace(late.min() / 3, 3 * late.max(), 120)
    shapes = 1 - np.exp(-t[None, :] / taus[:, None])
    after = shapes[:, t > 0]
    ends = _weighted_medians(y[t > 0] / after, after / sigma[t > 0])
    misfits = np.sum(np.abs(y - ends[:, None] * shapes) / sigma, axis=1)
    k = int(np.argmin(misfits))
    misfit, tau, final = float(misfits[k]), float(taus[k]), float(ends[k])
    if not final > SEEN:
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
    return Fit(
        rate=final / tau,
        rate_sigma=math.sqrt(float(to_rate @ cov @ to_rate)),
        misfit=misfit,
        looks=int(near.sum()),
        final=final if stopped else math.nan,
        final_sigma=math.sqrt(float(cov[0, 0])) if stopped else math.nan,
        half=tau * math.log(2) if stopped else math.nan,
        stopped=3 * tau if stopped else math.nan,
    )


def _weighted_medians(values: Floats, weights: Floats) -> Floats:
    """The weighted median of each row."""
    order = np.argsort(values, axis=1)
    part = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    half = np.argmax(part >= part[:, -1:] / 2, axis=1)
    return np.asarray(np.take_along_axis(values, order, axis=1)[np.arange(len(half)), half])
