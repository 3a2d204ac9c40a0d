"""Proposals for the shop's own limits, from its own signed tests.

For one rule, each signed test gives one value (the worst look) and the person's word.  A limit at which
a photo fails is proposed where missed failures and false alarms together cost least, and what it would
have done is counted on tests that had no say in choosing it.  Nothing changes until a person accepts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadEntry
from jartest.verdict.limits import PHOTO_RULES, Limits, load_limits
from jartest.verdict.values import Word

__all__ = ["MISS_COST", "Counts", "Proposal", "Scored", "propose", "write_shop_limits"]

_FEWEST = 8  # failed and not failed tests each, under which nothing is proposed (our choice)
_FOLDS = 5
_BY_CHANCE_Z = 2.878  # one-sided 0.2 % point of the normal distribution, for six rules looked at; our choice
MISS_COST = 5.0  # a missed failure costs as much as this many false alarms (our choice, can be set)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """One signed test: what the rule saw as the verdict takes it (last look, guard band off), and the signed word."""

    number: int
    value: float
    word: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a limit does: failures that stay under it, and others that reach it, of how many each."""

    missed: int
    failed: int
    alarms: int
    others: int

    @property
    def says(self) -> str:
        """The counts in words."""
        return f"{self.missed} of {self.failed} failures missed, {self.alarms} of {self.others} false alarms"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A limit that the shop's own tests speak for, or why there is none.

    `now` counts what the limit in force does, `fitted` exactly the proposed one, both on all tests; `held_out`
    counts limits chosen in the same way without the tests they are counted on: what to expect of new tests.
    """

    rule: str
    fail_min: float | None
    in_force: float
    now: Counts
    fitted: Counts | None
    held_out: Counts | None
    says: str


def _count(values: NDArray[np.float64], failed: NDArray[np.bool_], limit: float) -> Counts:
    over = values >= limit
    return Counts(
        missed=int((failed & ~over).sum()),
        failed=int(failed.sum()),
        alarms=int((~failed & over).sum()),
        others=int((~failed).sum()),
    )


def _choose(values: NDArray[np.float64], failed: NDArray[np.bool_], miss_cost: float, lowest: float) -> float:
    """The cheapest limit that may be set: midway between two values seen; of equals the lowest, the careful one.

    It lies from `lowest` to 1, and has four places, as it would be written down.
    """
    seen = np.unique(values)
    between = np.concatenate([[lowest, 1.0], (seen[:-1] + seen[1:]) / 2, seen[-1:] + 0.001])
    limits = np.unique(np.round(np.clip(between, lowest, 1.0), 4))
    bad, good = np.sort(values[failed]), np.sort(values[~failed])
    missed = np.searchsorted(bad, limits, side="left")
    alarms = len(good) - np.searchsorted(good, limits, side="left")
    return float(limits[int(np.argmin(miss_cost * missed + alarms))])


def propose(
    scored: Sequence[Scored],
    rule: str,
    limits: Limits,
    *,
    rng: np.random.Generator,
    miss_cost: float = MISS_COST,
) -> Proposal:
    """The limit at which this rule should fail a photo, by the shop's own signed tests.

    Parameters
    ----------
    scored : sequence of Scored
        One per signed test; those without a value (NaN) are left aside.
    rule : str
        A photo rule.
    limits : Limits
        The limits in force.
    rng : numpy.random.Generator
        Deals the tests into five parts, each part judged by a limit chosen on the other four.
    miss_cost : float
        How many false alarms a missed failure costs.

    Raises
    ------
    BadEntry
        If there is no such rule.

    Notes
    -----
    Nothing is proposed unless, on tests that had no say, failures reach the limit oftener than the others
    do by more than chance, and it costs less than the limit in force and than failing no jar or every jar.
    Of ever so many rules tried, one always looks a little better.

    References
    ----------
    M. Stone, J. R. Stat. Soc. B 36 (1974) 111-147, for counting on tests that had no say.
    """
    if rule not in PHOTO_RULES:
        msg = f"There is no rule {rule!r}; known are {', '.join(PHOTO_RULES)}."
        raise BadEntry(msg)
    usable = [s for s in scored if np.isfinite(s.value)]
    values = np.array([s.value for s in usable], np.float64)
    failed = np.array([s.word == "fail" for s in usable], bool)
    in_force = limits.photo[rule]
    now = _count(values, failed, in_force.fail_min)
    few = min(now.failed, now.others)
    if few < _FEWEST:
        says = (
            f"{now.failed} failed and {now.others} other signed tests have this figure; "
            f"from {_FEWEST} of each on a limit can be proposed."
        )
        return Proposal(
            rule=rule,
            fail_min=None,
            in_force=in_force.fail_min,
            now=now,
            fitted=None,
            held_out=None,
            says=says,
        )
    lowest = math.ceil((in_force.pass_max + 0.001) * 1e4) / 1e4
    fail_min: float | None = _choose(values, failed, miss_cost, lowest)
    held_out = _hold_out(values, failed, miss_cost, rng, lowest)
    fitted = _count(values, failed, fail_min or math.nan)
    blind = min(miss_cost * now.failed, now.others)  # failing no jar at all, or every one
    tells = _tells_apart(held_out) and _cost(held_out, miss_cost) < blind
    if not tells or _cost(held_out, miss_cost) >= _cost(now, miss_cost) or fitted == now:
        fail_min = None
    if fail_min is not None:
        says = (
            f"At {fail_min:.4g} instead of {in_force.fail_min:.4g}: {fitted.says}; now {now.says}. "
            f"Of new tests expect rather {held_out.says}: limits chosen in this way, on tests without a say in them."
        )
    elif not tells:
        says = (
            f"This figure does not tell your failed tests from the others, at whatever limit; the one in force, "
            f"{in_force.fail_min:.3g}, stays: {now.says}."
        )
    else:
        says = f"The limit in force, {in_force.fail_min:.3g}, does as well as any other on tests of your own: {now.says}."
    return Proposal(
        rule=rule,
        fail_min=fail_min,
        in_force=in_force.fail_min,
        now=now,
        fitted=fitted,
        held_out=held_out,
        says=says,
    )


def _cost(counts: Counts, miss_cost: float) -> float:
    return miss_cost * counts.missed + counts.alarms


def _tells_apart(counts: Counts) -> bool:
    """Whether failures reach the limit oftener than the others do, by more than chance.

    The usual z of two proportions with their pooled variance, as in any textbook of statistics.
    """
    reached = counts.failed - counts.missed + counts.alarms
    pooled = reached / (counts.failed + counts.others)
    spread = pooled * (1 - pooled) * (1 / counts.failed + 1 / counts.others)
    apart = 1 - counts.missed / counts.failed - counts.alarms / counts.others
    return apart > _BY_CHANCE_Z * math.sqrt(spread)


def _hold_out(
    values: NDArray[np.float64],
    failed: NDArray[np.bool_],
    miss_cost: float,
    rng: np.random.Generator,
    lowest: float,
) -> Counts:
    """Counts over five parts, failed and others dealt alike, each judged by the other four's limit."""
    part = np.empty(len(values), np.int64)
    for kind in (failed, ~failed):
        dealt = np.arange(int(kind.sum())) % _FOLDS
        part[kind] = rng.permutation(dealt)
    found = [
        _count(
            values[part == k],
            failed[part == k],
            _choose(values[part != k], failed[part != k], miss_cost, lowest),
        )
        for k in range(_FOLDS)
    ]
    return Counts(
        missed=sum(c.missed for c in found),
        failed=sum(c.failed for c in found),
        alarms=sum(c.alarms for c in found),
        others=sum(c.others for c in found),
    )


def write_shop_limits(shop_text: str, accepted: Sequence[Proposal], *, by: str, on: str) -> str:
    """The text of the shop's file of limits with these proposals in it; all else stays as it stands.

    Raises
    ------
    BadLimits
        If the file would no longer be one that can be used.
    """
    lines = shop_text.splitlines()
    for p in accepted:
        if p.fail_min is not None and p.fitted is not None:
            source = f"proposed from own signed tests, accepted by {by} on {on}: {p.fitted.says}"
            lines = _put(lines, p.rule, {"fail_min": f"{p.fail_min:g}", "source": _quoted(source)})
    text = "\n".join(lines).strip("\n") + "\n"
    load_limits(text)
    return text


def _quoted(text: str) -> str:
    safe = "".join(" " if ord(c) < 32 or c == "\x7f" else c for c in text)
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _put(lines: list[str], table: str, values: dict[str, str]) -> list[str]:
    """These lines with the values in this table, in place of what they were."""
    heads = [i for i, line in enumerate(lines) if line.split("#")[0].strip() == f"[{table}]"]
    if not heads:
        return [*lines, "", f"[{table}]", *(f"{k} = {v}" for k, v in values.items())]
    start = heads[0] + 1
    end = next((i for i in range(start, len(lines)) if lines[i].lstrip().startswith("[")), len(lines))
    kept = [x for x in lines[start:end] if x.split("=")[0].strip() not in values]
    return [*lines[:start], *(f"{k} = {v}" for k, v in values.items()), *kept, *lines[end:]]
