"""A growth in words."""

from __future__ import annotations

import math

from jartest.trend.growth import Growth

__all__ = ["say_growth"]


def say_growth(growth: Growth) -> str:
    """The growth in one sentence: rate with one sigma, half time, when it stopped and where; or what is known of it."""
    g = growth
    if math.isnan(g.rate_per_s):
        return _say_bounded(g)
    says = f"{_named(g)}: {_minutes(g.rate_per_s, g.rate_sigma_per_s, 100)} % of the liquid's height"
    if not math.isnan(g.rate_mm_per_s):
        says += f", or {_minutes(g.rate_mm_per_s, g.rate_sigma_mm_per_s, 1)} mm,"
    says += f" a minute at first, from {g.looks} {'look' if g.looks == 1 else 'looks'} on the way"
    if g.slowed:
        return f"{says}; it had slowed down or stopped by the last look."
    if math.isnan(g.stopped_s):
        return f"{says}; it had not stopped at the last look."
    settled = g.settled_fraction
    what = "deep" if math.isnan(settled) else "settled"
    depth = g.final_fraction if math.isnan(settled) else settled
    return (
        f"{says}; half settled after {_about(g.half_time_s, g.half_time_sigma_s)}, stopped by "
        f"{_age(g.stopped_s, g.stopped_sigma_s)} with {100 * depth:.1f} ± {100 * g.final_sigma_fraction:.1f} % {what}."
    )


def _named(growth: Growth) -> str:
    return f"{growth.kind[0].upper()}{growth.kind[1:]}"


def _say_bounded(g: Growth) -> str:
    """What is known where no look shows it on its way: how deep it was, and how fast at least."""
    gone = "; gone from the last look" if g.gone else ""
    says = f"{_named(g)}: {100 * g.most_fraction:.0f} % of the height at most{gone}; how fast it grew the looks do not tell"
    if math.isinf(g.least_per_s):
        return f"{says}, it was there at once."
    mm = "" if math.isnan(g.column_mm) else f", or {60 * g.least_per_s * g.column_mm:.2g} mm,"
    return f"{says}, at least {6000 * g.least_per_s:.2g} % of the liquid's height{mm} a minute."


def _age(value_s: float, sigma_s: float) -> str:
    digits = 0 if sigma_s >= 60 else 1
    return f"{value_s / 60:.{digits}f} ± {sigma_s / 60:.{digits}f} min"


def _about(value_s: float, sigma_s: float) -> str:
    """An age in minutes to the digits that its sigma leaves."""
    digits = 0 if sigma_s >= 60 or value_s >= 600 else 1
    return f"about {value_s / 60:.{digits}f} min"


def _minutes(rate: float, sigma: float, times: float) -> str:
    """A rate a minute and its sigma, both to the sigma's first digit."""
    value, doubt = 60 * times * rate, 60 * times * sigma
    digits = max(0, -math.floor(math.log10(doubt))) if 0 < doubt < math.inf else 3
    return f"{value:.{digits}f} ± {doubt:.{digits}f}"
