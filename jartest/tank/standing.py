"""How long a tank may stand, in words, by the looks at its jar."""

from __future__ import annotations

import math
from collections.abc import Sequence

from jartest.errors import BadEntry
from jartest.plan.schedule import say_age, say_age_down
from jartest.trend import CurvePoint, Growth, StandingTime, first_to_part, growths

__all__ = ["PARTED_FRACTION", "say_standing", "standing_of"]

# A tank may stand until this share of it has parted: of its depth cleared, of what falls or rises down or up (our choice).
PARTED_FRACTION = 0.05
_MM_PER_IN = 25.4  # exact: NIST Handbook 44, App. C


def standing_of(
    points: Sequence[CurvePoint], tank_depth_in: float | None, *, jar_c: float | None, tank_c: float | None
) -> tuple[float | None, str]:
    """How long the tank may stand, in s where it can be reckoned, and what the jar showed, in words."""
    if not points:
        return None, "How long it may stand was not measured: keep it moving."
    watched = f"The jar was watched for {say_age(points[-1].age_s)}"
    growing = growths(points)
    if not growing:
        told = any(p.settled_fraction == p.settled_fraction for p in points)  # NaN differs from itself
        seen = "nothing was seen to part" if told else "its layers could not be measured"
        return None, f"{watched} and {seen}; beyond that nothing is known."
    kinds = " and ".join(f"a {g.kind}" for g in growing)
    if tank_depth_in is None:
        return (
            None,
            f"{watched} and showed {kinds}; without the tank's depth no time is reckoned: keep it moving.",
        )
    try:
        first = first_to_part(
            growing,
            tank_depth_mm=_MM_PER_IN * tank_depth_in,
            allowed_fraction=PARTED_FRACTION,
            jar_c=jar_c,
            tank_c=tank_c,
        )
    except BadEntry as e:
        return None, f"{watched} and showed {kinds}; {e}"
    if first is None or math.isnan(first.low_s):
        return None, f"{watched} and showed {kinds}. {first.says if first else ''}"
    return (
        first.low_s,
        f"{first.says} Until {PARTED_FRACTION:.0%} has parted, at the cautious end.",
    )


def say_standing(
    growing: Sequence[Growth],
    tank_depth_in: float,
    parted_fraction: float = PARTED_FRACTION,
    *,
    jar_c: float | None = None,
    tank_c: float | None = None,
) -> tuple[str, ...]:
    """For each growth, how long a tank of this depth may stand without agitation, with its range, in words.

    The last line says which counts where more than one grows.

    Raises
    ------
    BadEntry
        If the looks have no scale, or depth, share or a temperature are out of range.
    """

    def time_of(*some: Growth) -> StandingTime:
        time = first_to_part(
            some,
            tank_depth_mm=_MM_PER_IN * tank_depth_in,
            allowed_fraction=parted_fraction,
            jar_c=jar_c,
            tank_c=tank_c,
        )
        assert time is not None  # only of nothing that grows
        return time

    in_words = f"in {tank_depth_in:g} in ({_MM_PER_IN * tank_depth_in / 10:.0f} cm)"
    said = []
    for g in growing:
        time = time_of(g)
        if math.isnan(time.low_s):
            said.append(f"By the {g.kind}, {in_words}: not known. {time.says}")
            continue
        most = f"to {say_age(time.high_s)}" if math.isfinite(time.high_s) else "or more"
        said.append(
            f"By the {g.kind}, {in_words}: {say_age(time.best_s)} ({say_age_down(time.low_s)} {most}) until "
            f"{parted_fraction:.0%} has parted. {time.says}"
        )
    if len(growing) > 1:
        first = time_of(*growing)
        counts = (
            "that is not known" if math.isnan(first.low_s) else f"no more than {say_age_down(first.low_s)}"
        )
        said.append(f"For the tank what parts first counts: {counts}.")
    return tuple(said)
