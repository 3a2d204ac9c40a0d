"""What may be said of a pair of products: its state, in the range in which it was tried."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from jartest.history.evidence import GROUNDS, Floats, speaks
from jartest.history.prior import Prior
from jartest.history.weighing import Weighed

__all__ = ["STATE_SHAPES", "PairKnown", "Range", "StateWord", "know_pairs", "more_than_misread", "state_word"]

StateWord = Literal["fails", "likely fails", "open", "likely goes", "goes"]

# Shape and meaning of each state, from the worst on; the word always stands beside the shape.
STATE_SHAPES: dict[StateWord, tuple[str, str]] = {
    "fails": ("✖", "does not go together, with 9 in 10 or more"),
    "likely fails": ("▲", "more likely than not does not go together"),
    "open": ("○", "not known: too little was tried, or tests contradict"),
    "likely goes": ("◔", "passed, in its tried range, but that rests on one jar or leaves a doubt"),
    "goes": ("●", "passed twice or more in its tried range, and nothing speaks against it there"),
}
# From which chance on a pair fails, likely fails; up to which it goes, likely goes (our choices: a wrong
# "goes" costs most)
_FAILS, _LIKELY_FAILS, _GOES, _LIKELY_GOES = 0.9, 0.5, 0.03, 0.10
_EXPLAINED = 0.98  # from which chance on that a cause was at work a failure no longer asks for later passes (our choice)
_PASSES = 2  # passes from which on a pair goes, not only likely (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Where a pair passed: doses of both (mL or g per liter), hardness, pH and temperature of the water, years.

    Each is lowest and highest, NaN where nobody wrote it in any of these jars; `first_in` names the product
    that always went in first, nothing where both orders passed.
    """

    dose_first: tuple[float, float]
    dose_second: tuple[float, float]
    hardness_mg_l: tuple[float, float]
    ph: tuple[float, float]
    temperature_c: tuple[float, float]
    seasons: tuple[int, int]
    first_in: str = ""

    def to_json(self) -> dict[str, Any]:
        """As JSON values, NaN as null."""
        axes = ("dose_first", "dose_second", "hardness_mg_l", "ph", "temperature_c")
        low_high = {a: [None if math.isnan(x) else float(x) for x in getattr(self, a)] for a in axes}
        return {**low_high, "seasons": list(self.seasons), "first_in": self.first_in}

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Range:
        """The range that `to_json` wrote."""
        axes = ("dose_first", "dose_second", "hardness_mg_l", "ph", "temperature_c")
        back: dict[str, Any] = {a: tuple(math.nan if x is None else float(x) for x in d[a]) for a in axes}
        return cls(**back, seasons=tuple(d["seasons"]), first_in=d["first_in"])

    def says(self, first: str, second: str) -> str:
        """The range in words, with what was not written."""
        said = []
        for name, (low, high) in ((first, self.dose_first), (second, self.dose_second)):
            if not math.isnan(low):
                said.append(f"{name} at {_span(low, high)} per liter")
        low, high = self.hardness_mg_l
        said.append(
            "hardness not written" if math.isnan(low) else f"water of {_span(low, high)} mg/L hardness"
        )
        if self.first_in:
            said.append(f"{self.first_in} in first")
        return ", ".join(said)


def _span(low: float, high: float) -> str:
    a, b = f"{low:.3g}", f"{high:.3g}"
    return a if a == b else f"{a} to {b}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairKnown:
    """What the tests together say of a pair.

    `pair_chance` is how likely it does not go together in at least one of the conditions in which it was tried;
    `chance` counts also that one of the two goes wrong by itself there; `clear_chance`
    is the highest chance at any jar of `goes_in`, the range of its passes that no cause speaks against, which
    `passes` counts.  `baseless` counts passes that were signed over a machine's fail, or over no verdict of a jar that
    nobody looked at for long: they clear nothing.  `jars` and `fails` count all jars of the pair that were weighed.  `failed_when` says under which conditions it fails, likeliest first, with chances.
    """

    first: str
    second: str
    pair_chance: float
    chance: float
    word: StateWord
    passes: int
    clear_chance: float
    jars: int = 0
    fails: int = 0
    goes_in: Range | None = None
    failed_when: tuple[tuple[str, float], ...] = ()
    newest_pass: int = 0
    baseless: int = 0

    @property
    def says(self) -> str:
        """The state in a sentence, with its range."""
        who = f"{self.first} with {self.second}"
        inside = f" at {self.goes_in.says(self.first, self.second)}" if self.goes_in else ""
        when = next((c for c, p in self.failed_when if c and p >= _LIKELY_FAILS), "")
        beyond = "; beyond that not tried" if self.goes_in else ""
        bare = f"; {self._baseless_says}" if self.baseless else ""
        if self.word in ("fails", "likely fails"):
            much = f" ({100 * self.chance:.0f} %)"
            rest = f"; goes{inside}" if self.goes_in and when else ""
            return f"{who}: {self.word}{' ' + when if when else ''}{much}{rest}{bare}."
        if self.word == "open":
            return f"{who}: open ({100 * self.chance:.0f} % that it fails){bare}."
        times = "once" if self.passes == 1 else f"{self.passes} times"
        return f"{who}: {self.word}{inside} (passed {times}){beyond}{bare}."

    @property
    def _baseless_says(self) -> str:
        n = self.baseless
        passes = "1 pass was" if n == 1 else f"{n} passes were"
        return f"{passes} signed over no verdict or over the machine's FAIL, and clear nothing"


def state_word(
    chance: float, clear_chance: float, passes: int, stray: int = 0, explained: int = 0
) -> StateWord:
    """The word for a pair with this chance to fail somewhere it was tried, and passes that nothing speaks against.

    Each of its jars that failed without a likely cause (`stray`, wrong readings if all is well) asks for two more
    passes before it goes, and for one more before it likely does; each that another cause explains asks for one
    more before it goes, as the explanation may be the wrong one.
    """
    if chance >= _FAILS:
        return "fails"
    if chance >= _LIKELY_FAILS:
        return "likely fails"
    if passes >= _PASSES + 2 * stray + explained and clear_chance <= _GOES and chance <= _LIKELY_GOES:
        return "goes"
    if passes > stray and clear_chance <= _LIKELY_GOES:
        return "likely goes"
    return "open"


def more_than_misread(stray: int, jars: int, error: float) -> bool:
    """Whether two or more failures that nothing explains are more than wrong readings make of so many jars.

    By the binomial distribution: so many or more come about with less than 1 in 10 (our choice).
    """
    fewer = sum(math.comb(jars, k) * error**k * (1 - error) ** (jars - k) for k in range(stray))
    return stray >= 2 and 1 - fewer < 0.1


class _Per:
    """What is known of each scope: `total` in any of its jars, `at_work` in each."""

    def __init__(self, w: Weighed, prior: Prior) -> None:
        self.w, self.s = w, w.candidates.scopes
        s, c = self.s, w.candidates
        self.of = np.repeat(np.arange(s.count), np.diff(s.ptr))
        key = self.of * np.int64(w.evidence.jars) + s.jar  # in order: scope by scope, jar by jar
        # how likely a cause of the scope was at work in each of its jars
        there = np.searchsorted(key, np.repeat(c.scope, np.diff(c.ptr)) * np.int64(w.evidence.jars) + c.jar)
        each = np.repeat(w.chance, np.diff(c.ptr))
        self.at_work = np.minimum(np.bincount(there, each, minlength=len(key)), 1.0)
        self.total = np.minimum(np.bincount(c.scope, w.chance, minlength=s.count), 1.0)
        # a scope without any candidate: its prior, and its passes
        bare = np.bincount(c.scope, minlength=s.count) == 0
        said = speaks(w.evidence, prior, w.error)[2]
        odds = (
            np.log(np.maximum([prior.pair, prior.product, prior.kinds], 1e-300))[s.kind]
            if s.count
            else np.zeros(0)
        )
        log = odds + np.bincount(self.of, said[s.jar], minlength=s.count)
        quiet = 1 / (1 + np.exp(-np.clip(log, -50.0, 50.0)))
        self.total = np.where(bare, quiet, self.total)
        self.at_work = np.where(bare[self.of], quiet[self.of], self.at_work)
        self._of_product = self._products()

    def _products(self) -> dict[int, tuple[float, dict[int, float]]]:
        """Of each product that may go wrong by itself: how likely it does, and in each of its jars."""
        s = self.s
        doubted = np.flatnonzero((s.kind == 1) & (self.total >= _GOES / 10))
        out = {}
        for i in doubted:
            part = slice(s.ptr[i], s.ptr[i + 1])
            jars = zip(s.jar[part].tolist(), self.at_work[part].tolist(), strict=True)
            out[int(s.first[i])] = (float(self.total[i]), dict(jars))
        return out

    def alone(self, product: int, jars: NDArray[np.int64]) -> tuple[float, Floats]:
        """How likely a product goes wrong by itself, anywhere it was tried and in each of these jars."""
        total, by_jar = self._of_product.get(product, (0.0, {}))
        return total, np.array([by_jar.get(int(j), 0.0) for j in jars]) if by_jar else np.zeros(len(jars))


def know_pairs(w: Weighed, prior: Prior) -> tuple[PairKnown, ...]:
    """What is known of every pair that stood in these jars, kinds of product included.

    Notes
    -----
    The chance is that of the pair's own causes, of those of its two kinds, and of each of the two by itself.  A jar belongs to the range
    where it passed and no cause is likelier than 1 in 10 at work in it; the range runs from the lowest to
    the highest of each figure among these jars, so a corner of it may be untried, and one that nobody
    wrote is no part of it.  Where a failure is not surely another cause's, two passes must have come after the last
    such: what began with it cannot be cleared by what was before.
    """
    e, s = w.evidence, w.candidates.scopes
    per = _Per(w, prior)
    pairs = np.flatnonzero(s.kind == 0)
    by_kind = {(int(s.first[i]), int(s.second[i])): float(per.total[i]) for i in np.flatnonzero(s.kind == 2)}
    reasons = _reasons(w)
    stray = (e.word == 2) & (w.holds < 0.5)
    out = []
    for i in pairs:
        part = slice(s.ptr[i], s.ptr[i + 1])
        a, b = int(s.first[i]), int(s.second[i])
        kinds = tuple(sorted((int(e.kind_of[a]), int(e.kind_of[b]))))
        kind = by_kind.get((kinds[0], kinds[1]), 0.0)
        jars = s.jar[part]
        (alone_a, in_a), (alone_b, in_b) = per.alone(a, jars), per.alone(b, jars)
        # Added up, not multiplied: where one explanation stands for another, only one of them is true.
        at_work = np.minimum(per.at_work[part] + kind + in_a + in_b, 1.0)
        pair = min(float(per.total[i]) + kind, 1.0)
        chance = max(pair, float(at_work.max()))
        fails, lost = int((e.word[jars] == 2).sum()), int(stray[jars].sum())
        if more_than_misread(lost, len(jars), prior.error):
            at_work = np.ones(len(jars))  # no pass of it is trusted until its failures are explained
        passed, ground = e.word[jars] == 0, e.ground[jars]
        goes_in, doubt, newest = None, 1.0, 0
        doubtful = e.number[jars][(e.word[jars] == 2) & (w.holds[jars] < _EXPLAINED)]
        later = e.number[jars] > doubtful.max(initial=-1)
        word, clear = _word(chance, at_work, passed, ground, later, lost, fails - lost)
        if clear.any():
            goes_in = _range(w, jars[clear], s.row_a[part][clear], s.row_b[part][clear], a, b)
            doubt, newest = float(at_work[clear].max()), int(jars[clear].max())
        when = list(reasons.get(int(i), ()))
        if kind >= _LIKELY_GOES:
            when.append((f"as {e.kinds[kinds[0]]} with {e.kinds[kinds[1]]}, whoever makes them", kind))
        for who, total in ((a, alone_a), (b, alone_b)):
            if total >= _LIKELY_GOES:
                when.append((f"because {e.products[who]} goes wrong by itself", total))
        out.append(
            PairKnown(
                first=e.products[a],
                second=e.products[b],
                pair_chance=pair,
                chance=chance,
                word=word,
                baseless=int((passed & (ground == 0)).sum()),
                passes=int(clear.sum()),
                jars=len(jars),
                fails=fails,
                clear_chance=doubt,
                goes_in=goes_in,
                failed_when=tuple(sorted(when, key=lambda x: -x[1])),
                newest_pass=int(e.number[newest]) if goes_in else 0,
            )
        )
    return tuple(out)


def _word(
    chance: float,
    at_work: Floats,
    passed: NDArray[np.bool_],
    ground: NDArray[np.int64],
    later: NDArray[np.bool_],
    stray: int,
    explained: int,
) -> tuple[StateWord, NDArray[np.bool_]]:
    """The word for a pair, and which of its jars make the range in which it goes.

    Passes that the machine measured come first; what a person alone saw widens no range of theirs, and makes no
    pair go, only likely; nor do passes of which fewer than two came `later` than the last failure in doubt.
    """
    clear = passed & (at_work <= _LIKELY_GOES) & (ground > 0)
    measured = clear & (ground == GROUNDS.index("measured"))

    def word(jars: NDArray[np.bool_]) -> StateWord:
        return state_word(chance, float(at_work[jars].max(initial=0.0)), int(jars.sum()), stray, explained)

    if word(measured) == "goes" and (measured & later).sum() >= _PASSES:
        return "goes", measured
    found = word(clear)
    return ("likely goes" if found == "goes" else found), clear


def _reasons(w: Weighed) -> dict[int, list[tuple[str, float]]]:
    """For each scope, the conditions of its causes in words, with chances; those under 1 in 20 left out."""
    found: dict[int, dict[tuple[str, ...], tuple[str, float, float]]] = {}
    c = w.candidates
    for i in np.flatnonzero(w.chance >= 1e-3):
        cause = c.cause(int(i))
        mine = found.setdefault(int(c.scope[i]), {})
        key = cause.name[2:]
        says, total, lead = mine.get(key, ("", 0.0, 0.0))
        p = float(w.chance[i])
        mine[key] = (cause.condition if p > lead else says, total + p, max(lead, p))
    return {
        k: [(says, min(total, 1.0)) for says, total, _ in v.values() if total >= 0.05]
        for k, v in found.items()
    }


def _range(
    w: Weighed, jars: NDArray[np.int64], rows_a: NDArray[np.int64], rows_b: NDArray[np.int64], a: int, b: int
) -> Range:
    e = w.evidence

    def span(values: Floats) -> tuple[float, float]:
        seen = values[np.isfinite(values)]
        return (float(seen.min()), float(seen.max())) if len(seen) else (math.nan, math.nan)

    a_first = rows_a < rows_b
    first = e.products[a] if a_first.all() else e.products[b] if not a_first.any() else ""
    years = e.season[jars]
    return Range(
        dose_first=span(e.dose[rows_a]),
        dose_second=span(e.dose[rows_b]),
        hardness_mg_l=span(e.hardness[jars]),
        ph=span(e.ph[jars]),
        temperature_c=span(e.temperature[jars]),
        seasons=(int(years.min()), int(years.max())),
        first_in=first,
    )
