"""How long a tank may stand without agitation, by what grew in its jar."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from jartest.errors import BadEntry
from jartest.plan.schedule import say_age
from jartest.plan.viscosity import water_viscosity_mpa_s
from jartest.trend.growth import Growth
from jartest.units import say_temperature

__all__ = ["StandingTime", "first_to_part", "standing_time"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingTime:
    """How long the tank may stand without agitation, in seconds: best value, cautious end and long end.

    All three are NaN where the looks do not tell it; `most_s` is then the time that it is no longer than.
    The best value alone is NaN where no look shows it on its way, but the looks before bound it.
    `says` states what it rests on.
    """

    best_s: float
    low_s: float
    high_s: float
    most_s: float
    says: str


def first_to_part(
    growing: Sequence[Growth],
    *,
    tank_depth_mm: float,
    allowed_fraction: float,
    jar_c: float | None = None,
    tank_c: float | None = None,
) -> StandingTime | None:
    """The standing time of what parts first; None where nothing grows.

    Where the time of one growth is not known, that of the whole is not known, since it may be the first.

    Parameters
    ----------
    growing : sequence of Growth
        Everything that grew in the jar.
    tank_depth_mm, allowed_fraction, jar_c, tank_c
        As in `standing_time`, with its refusals.
    """
    times = [
        standing_time(
            g, tank_depth_mm=tank_depth_mm, allowed_fraction=allowed_fraction, jar_c=jar_c, tank_c=tank_c
        )
        for g in growing
    ]
    if not times:
        return None
    unknown = [t for t in times if math.isnan(t.low_s)]
    return min(unknown or times, key=lambda t: t.most_s if unknown else t.low_s)


def standing_time(
    growth: Growth,
    *,
    tank_depth_mm: float,
    allowed_fraction: float,
    jar_c: float | None = None,
    tank_c: float | None = None,
) -> StandingTime:
    """How long a tank may stand before an allowed share of it has parted by this growth.

    Parameters
    ----------
    growth : Growth
        With a column in mm, so the jar needs a scale.
    tank_depth_mm : float
        Depth of the liquid in the tank.
    allowed_fraction : float
        Share of that depth that may be cleared; of a bed or cream, the share of it that may lie there.
    jar_c, tank_c : float, optional
        Temperature of the jar's and of the tank's water in degrees Celsius; where one is not known, they are
        taken for the same, and it is said.

    Raises
    ------
    BadEntry
        If the column has no scale, or a value is out of range.

    Notes
    -----
    A front moves at the same speed in mm/s in jar and tank as long as hindered settling does (the speed
    depends on the concentration, not on the depth: Richardson and Zaki 1954, from memory).  What falls or
    rises alone does so too, and of its bed or cream such a share lies there as the depth that it has run is
    of the whole depth; the greatest bed seen is taken for the whole, which is the shorter time while it
    still grows.  The speed goes with one over the viscosity of the water (Stokes), and nothing stirs it.

    The cautious end takes the cautious rate (`Growth.cautious_per_s`) and the column two sigma high.
    """
    if math.isnan(growth.column_mm):
        msg = "The jar's looks have no scale, so there is no speed in mm; give the jar's inner diameter."
        raise BadEntry(msg)
    if not (0 < tank_depth_mm < 20_000 and 0 < allowed_fraction <= 1):
        msg = f"A tank is up to 20 m deep and the share from 0 to 1, not {tank_depth_mm:g} mm and {allowed_fraction:g}."
        raise BadEntry(msg)
    faster, warmth = _warmer(jar_c, tank_c)
    depth_mm = tank_depth_mm * allowed_fraction
    column = faster * growth.column_mm / growth.whole_fraction  # mm in the tank, of one column of the jar
    most_s = depth_mm / (growth.least_per_s * column)
    if math.isnan(growth.cautious_per_s):
        says = f"{_not_known(growth)} So how long it may stand is not known, only that it is less than about {_about(most_s)}: keep it moving."
        return StandingTime(best_s=math.nan, low_s=math.nan, high_s=math.nan, most_s=most_s, says=says)
    high_column = column * (1 + 2 * growth.column_sigma_mm / growth.column_mm)
    rate = growth.rate_mm_per_s * faster / growth.whole_fraction
    doubt = 2 * growth.rate_sigma_mm_per_s * faster / growth.whole_fraction
    low_s = depth_mm / (growth.cautious_per_s * high_column)
    if math.isnan(rate):
        says = (
            f"No look shows the {growth.kind} plainly on its way, so only the cautious end is told, from how little "
            f"of it the early looks showed; {warmth}, nothing stirring."
        )
        return StandingTime(best_s=math.nan, low_s=low_s, high_s=most_s, most_s=most_s, says=says)
    return StandingTime(
        best_s=max(low_s, depth_mm / rate),
        low_s=low_s,
        high_s=depth_mm / (rate - doubt) if doubt < rate else math.inf,
        most_s=most_s,
        says=f"Reckoned from {_looks(growth.looks)} on the way: {_moves(growth, rate)} and, as long as it is hindered settling, "
        f"as fast in the tank as in the jar; {warmth}, nothing stirring.",
    )


def _warmer(jar_c: float | None, tank_c: float | None) -> tuple[float, str]:
    """How many times as fast things move in the tank's water, and what is assumed of its warmth."""
    if jar_c is None or tank_c is None:
        return 1.0, "in water as warm as the jar's"
    times = water_viscosity_mpa_s(jar_c) / water_viscosity_mpa_s(tank_c)
    if jar_c == tank_c:
        return times, f"jar and tank at {say_temperature(tank_c)}"
    return (
        times,
        f"the jar at {say_temperature(jar_c)}, brought to {say_temperature(tank_c)} by the water's viscosity",
    )


def _moves(growth: Growth, rate_mm_s: float) -> str:
    speed = f"{60 * rate_mm_s:.2g} mm a minute"
    if growth.whole_fraction == 1:
        return f"the {growth.kind} moves {speed}"
    what = "falls" if growth.kind == "rising sediment" else "rises"
    return f"what makes the {growth.kind} {what} {speed}"


def _not_known(growth: Growth) -> str:
    if growth.gone:
        return f"A {growth.kind} was seen and is gone from the last look, so its speed can't be measured."
    if math.isinf(growth.least_per_s):
        return f"A {growth.kind} was there at once, so its speed can't be measured."
    return f"No look shows the {growth.kind} still on its way, so its speed can't be measured."


def _about(seconds: float) -> str:
    return say_age(seconds) if seconds >= 60 else "a minute"


def _looks(n: int) -> str:
    return "one look" if n == 1 else f"{n} looks"
