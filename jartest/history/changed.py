"""What changed since last season: pairs whose state is another one, pairs and products that are new, wider ranges."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from jartest.history.before import Past
from jartest.history.failing import say_tests
from jartest.history.pairs import PairCell, pair_key
from jartest.history.states import STATE_SHAPES, PairKnown, Range, StateWord

__all__ = ["CHANGES", "Changed", "ChangedKind", "Season", "what_changed"]

ChangedKind = Literal["worse", "better", "new", "wider"]
# What each kind of change is called, the worst first.
CHANGES: dict[ChangedKind, str] = {
    "worse": "Got worse",
    "better": "Got better",
    "new": "Tried for the first time",
    "wider": "Goes in a wider range",
}
_WORDS = list(STATE_SHAPES)  # from the worst on
_WIDER = 0.05  # a range that grew by no more than this, as a share, counts as the same (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A pair that is another one than before the season: how, in a sentence, and its jars of this season."""

    kind: ChangedKind
    first: str
    second: str
    says: str
    jars: tuple[Past, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """What changed in a season, the worst first; `since` is its year, `products` are new, `tests` its tests."""

    since: int
    changes: tuple[Changed, ...]
    products: tuple[str, ...]
    tests: int

    @property
    def says(self) -> str:
        """What changed in one sentence."""
        counts = [(len([c for c in self.changes if c.kind == k]), k) for k in CHANGES]
        words = {"worse": "got worse", "better": "got better", "new": "new", "wider": "in a wider range"}
        said = ", ".join(f"{n} {words[k]}" for n, k in counts if n)
        jars = "1 jar" if self.tests == 1 else f"{self.tests} jars"
        if not said:
            return f"In {self.since}, nothing changed by {jars}."
        new = len(self.products)
        more = f"; {new} new product{'s' if new > 1 else ''}" if new else ""
        return f"In {self.since}, by {jars}: pairs {said}{more}."


def what_changed(
    before: Mapping[tuple[str, str], PairKnown],
    now: Mapping[tuple[str, str], PairCell],
    season: Sequence[Past],
    *,
    since: int,
    known: frozenset[str],
) -> Season:
    """What changed in a season.

    Parameters
    ----------
    before, now : mapping
        What was known of each pair when it began, and what is known now, under its two names in order.
    season : sequence of Past
        The signed tests of the season, newest first.
    since : int
        Its year.
    known : frozenset of str
        The products that were tried before it.
    """
    jars: dict[tuple[str, str], list[Past]] = {}
    for past in season:
        held = past.mix.products
        for n, a in enumerate(held):
            for b in held[n + 1 :]:
                jars.setdefault(pair_key(a, b), []).append(past)
    found = []
    for pair, cell in now.items():
        change = _change(before.get(pair), cell, jars.get(pair, []))
        if change is not None:
            found.append(change)
    kinds = list(CHANGES)
    found.sort(
        key=lambda c: (kinds.index(c.kind), _WORDS.index(_word(now[pair_key(c.first, c.second)])), c.first)
    )
    new = sorted({p for past in season for p in past.mix.products} - known)
    return Season(since=since, changes=tuple(found), products=tuple(new), tests=len(season))


def _word(cell: PairCell) -> StateWord:
    return "open" if cell.known is None else cell.known.word


def _change(was: PairKnown | None, cell: PairCell, jars: Sequence[Past]) -> Changed | None:
    who, word = f"{cell.first} with {cell.second}", _word(cell)
    kind: ChangedKind
    if was is None:
        if not jars:
            return None
        kind, says = "new", f"{who}: {word}, {_ended(jars)}."
    elif was.word != word:
        kind = "worse" if _WORDS.index(word) < _WORDS.index(was.word) else "better"
        by = _ended(jars) if jars else "by jars of other pairs"
        says = f"{who}: was {was.word}, is now {word}, {by}."
    else:
        wider = _wider(was.goes_in, cell.known.goes_in if cell.known else None, cell.first, cell.second)
        if not wider or word not in ("goes", "likely goes"):
            return None
        kind, says = "wider", f"{who}: {word}, now {wider}, {_ended(jars)}."
    return Changed(kind=kind, first=cell.first, second=cell.second, says=says, jars=tuple(jars))


def _ended(jars: Sequence[Past]) -> str:
    failed = [j for j in jars if j.word == "fail"]
    n = "1 jar" if len(jars) == 1 else f"{len(jars)} jars"
    if not jars:
        return "by jars of other pairs"
    if not failed:
        return f"none failed of {n} ({say_tests(jars)})"
    return f"{len(failed)} failed of {n} ({say_tests(failed)})"


def _wider(was: Range | None, now: Range | None, first: str, second: str) -> str:
    """In what a range grew, in words; nothing where it did not."""
    if was is None or now is None:
        return ""
    said = []
    for (old_low, old_high), (low, high), says in (
        (was.dose_first, now.dose_first, f"{first} at {{}} per liter"),
        (was.dose_second, now.dose_second, f"{second} at {{}} per liter"),
        (was.hardness_mg_l, now.hardness_mg_l, "in water of {} mg/L hardness"),
    ):
        if any(math.isnan(x) for x in (old_low, old_high, low, high)):
            continue
        if low < old_low * (1 - _WIDER) or high > old_high * (1 + _WIDER):
            said.append(says.format(f"{low:.3g} to {high:.3g}") + f" (was {old_low:.3g} to {old_high:.3g})")
    return ", ".join(said)
