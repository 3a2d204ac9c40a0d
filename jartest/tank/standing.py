"""How long a tank may stand, in words, by the looks at its jar."""

from __future__ import annotations

import math
from collections.abc import Sequence

from jartest.errors import BadEntry
from jartest.plan.schedule import say_age, say_age_down
from jartest.records.acts import seen_in, stood_readings
from jartest.records.model import Case, KeptReading
from jartest.trend import Growth, StandingTime, first_to_part, growths, settling_curve
from jartest.verdict.values import Reason

__all__ = ["PARTED_FRACTION", "readable", "say_standing", "standing_of"]

# A tank may stand until this share of it has parted: of its depth cleared, of what falls or rises down or up (our choice).
PARTED_FRACTION = 0.05
_MM_PER_IN = 25.4  # exact: NIST Handbook 44, App. C


def readable(case: Case) -> tuple[tuple[float, KeptReading], ...]:
    """The looks whose photo could be read, each with how long the jar had stood, in s."""
    return tuple((stood, k) for stood, k in stood_readings(case) if not any(map(_poor, k.verdict.reasons)))


def _poor(reason: Reason) -> bool:
    return reason.rule in ("photo", "no jar") and reason.leads_to is None


def standing_of(
    case: Case, tank_depth_in: float | None, *, jar_c: float | None, tank_c: float | None
) -> tuple[float | None, str]:
    """How long the tank may stand, in s where it can be reckoned, and what the jar showed, in words."""
    points = settling_curve((stood, kept.reading) for stood, kept in stood_readings(case))
    if not points:
        return None, "How long it may stand was not measured: keep it moving."
    growing = growths(points)
    if not growing:
        return None, _say_nothing_parted(case)
    said = f"The jar showed {' and '.join(f'a {g.kind}' for g in growing)}"
    if seen_in(case).remix != "fully":
        return None, f"{said}, and nobody saw it re-mix fully: never let the tank stand."
    if tank_depth_in is None:
        return None, f"{said}; without the tank's depth no time is reckoned: keep it moving."
    try:
        first = first_to_part(
            growing,
            tank_depth_mm=_MM_PER_IN * tank_depth_in,
            allowed_fraction=PARTED_FRACTION,
            jar_c=jar_c,
            tank_c=tank_c,
        )
    except BadEntry as e:
        return None, f"{said}; {e}"
    if first is None or math.isnan(first.low_s):
        return None, f"{said}. {first.says if first else ''}"
    return first.low_s, f"{first.says} Until {PARTED_FRACTION:.0%} has parted, at the cautious end."


def _say_nothing_parted(case: Case) -> str:
    """What is known where no photo shows anything part: only as far as all could be measured."""
    told = [
        stood
        for stood, kept in readable(case)
        if not math.isnan(
            kept.reading.settled_fraction + kept.reading.clear_fraction + kept.reading.top_layer_fraction
        )
    ]
    if not told:
        return (
            "The layers in the jar could not be measured: how long it may stand is not known, keep it moving."
        )
    return f"In {say_age_down(max(told))} of standing no photo of the jar showed anything part; beyond that nothing is known."


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
        most = f"at most {say_age(time.high_s)}" if math.isfinite(time.high_s) else "or more"
        best = "" if math.isnan(time.best_s) else f"best value {say_age(time.best_s)}, "
        said.append(
            f"By the {g.kind}, {in_words}: {say_age_down(time.low_s)} at the cautious end "
            f"({best}{most}) until {parted_fraction:.0%} has parted. {time.says}"
        )
    if len(growing) > 1:
        first = time_of(*growing)
        counts = (
            "that is not known" if math.isnan(first.low_s) else f"no more than {say_age_down(first.low_s)}"
        )
        said.append(f"For the tank what parts first counts: {counts}.")
    return tuple(said)
