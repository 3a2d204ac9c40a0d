"""A plan for the winter: the fewest of the mixtures planned for the season that try what is not known of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from jartest.history.before import Mix, tell_new
from jartest.history.pairs import PairCell, pair_key

__all__ = ["ToMix", "WinterPlan", "plan_winter"]

_OLD_YEARS = 3  # a pair whose last test is older than this is tried again (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToMix:
    """A mixture to try, and what its jar would settle: each pair with the reason, in words."""

    mix: Mix
    settles: tuple[tuple[tuple[str, str], str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WinterPlan:
    """The jars to mix, those that settle most first; `known` counts the planned mixtures of which nothing is open."""

    jars: tuple[ToMix, ...]
    planned: int
    known: int

    @property
    def says(self) -> str:
        """The plan in one sentence."""
        if not self.planned:
            return "No mixture is planned yet."
        pairs = sum(len(j.settles) for j in self.jars)
        if not self.jars:
            return f"Of all {self.planned} planned mixtures every pair goes in its tried range; nothing needs a jar."
        jars = "1 jar covers" if len(self.jars) == 1 else f"{len(self.jars)} jars cover"
        return f"{jars} all {pairs} open pairs of {self.planned} planned mixtures; {self.known} need none."


def _why(cell: PairCell, new: Sequence[str], now: datetime) -> str:
    """Why a pair of a planned mixture wants a jar; nothing where it does not."""
    if cell.state == "never tried":
        return "never tried together"
    if cell.state in ("fails", "likely fails"):
        return f"{cell.state} so far"
    if cell.state == "open":
        return "not known: too little was tried, or tests contradict"
    if new:
        return f"new is {new[0]}"
    if cell.known is not None and cell.known.passes < 2:
        return "rests on one jar"
    if cell.last_at is not None and (now - cell.last_at).days > 365.25 * _OLD_YEARS:
        return f"last tried {cell.last_at:%Y-%m-%d}"
    return ""


def plan_winter(
    planned: Sequence[Mix],
    cells: Mapping[tuple[str, str], PairCell],
    *,
    now: datetime,
    reformulated: Callable[[str], str] = lambda _: "",
) -> WinterPlan:
    """The fewest of these mixtures whose jars try every pair that is untried, open, old or outside its range.

    Parameters
    ----------
    planned : sequence of Mix
        The mixtures that are planned for the season.
    cells : mapping
        What is known of each pair, under its two names in the order of the alphabet.
    now : datetime
        The day of planning.
    reformulated : callable
        Says of a product since when it is another one than was tried; nothing where it is not.

    Notes
    -----
    A jar of a mixture tries all its pairs at its own doses and in its own water.  The fewest are sought greedily,
    the mixture with most open pairs first (V. Chvatal, Math. Oper. Res. 4 (1979) 233-235: no more than
    1 + 1/2 + ... + 1/n times the fewest).
    """
    wanted: list[tuple[Mix, dict[tuple[str, str], str]]] = []
    for mix in planned:
        reasons = {}
        for i, a in enumerate(mix.products):
            for b in mix.products[i + 1 :]:
                key = pair_key(a, b)
                cell = cells.get(key, PairCell(first=key[0], second=key[1]))
                new = tell_new(mix, [cell.known] if cell.known else [])
                why = reformulated(a) or reformulated(b) or _why(cell, new, now)
                if why:
                    reasons[key] = why
        wanted.append((mix, reasons))
    left = {(key, why) for _, reasons in wanted for key, why in reasons.items()}
    jars = []
    while left:
        mix, reasons = max(wanted, key=lambda w: (len(left & set(w[1].items())), -len(w[0].products)))
        here = {key: why for key, why in reasons.items() if (key, why) in left}
        jars.append(ToMix(mix=mix, settles=tuple(sorted(here.items()))))
        left -= set(here.items())
    return WinterPlan(jars=tuple(jars), planned=len(planned), known=sum(not r for _, r in wanted))
