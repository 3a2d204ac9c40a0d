"""The pair table: what is known of every two products that stood in a jar together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, get_args

from jartest.history.intervals import wilson
from jartest.history.states import STATE_SHAPES, PairKnown, StateWord

__all__ = ["PAIR_SHAPES", "PairCell", "PairState", "PairTable", "make_table", "pair_key", "roll_up"]

PairState = StateWord | Literal["never tried"]

# Shape and meaning of each state, from the worst on; the word always stands beside the shape.
PAIR_SHAPES: dict[PairState, tuple[str, str]] = {
    **{w: STATE_SHAPES[w] for w in get_args(StateWord)},
    "never tried": ("·", "never in a jar together"),
}


def pair_key(a: str, b: str) -> tuple[str, str]:
    """The two names in the order of the alphabet."""
    return (a, b) if a <= b else (b, a)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairCell:
    """What is known of one pair, from signed tests: counts, and what the evidence model makes of all tests.

    `failed_alone` counts failures of jars that held nothing else, `baseless` passes that rest on nothing.  The ratio is dose of the first over
    dose of the second in jars that passed (g and mL counted alike), None where no amounts were written.
    """

    first: str
    second: str
    passed: int = 0
    watched: int = 0
    failed: int = 0
    failed_alone: int = 0
    baseless: int = 0
    last_at: datetime | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    hardness_low: float | None = None
    hardness_high: float | None = None
    known: PairKnown | None = None

    @property
    def tests(self) -> int:
        """How many jars held both."""
        return self.passed + self.watched + self.failed

    @property
    def state(self) -> PairState:
        """The one word for this pair: the evidence model's; open where it has not weighed these tests yet."""
        if not self.tests:
            return "never tried"
        return "open" if self.known is None else self.known.word

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's 95 % interval on the share of failures; NaN where never tried."""
        return wilson(self.failed, self.tests)

    @property
    def trouble(self) -> float:
        """How much trouble this pair is to the eye, 0 to 2: it sorts the picture, and judges nothing."""
        if self.known is None or not self.failed or self.state in ("goes", "likely goes"):
            return 0.0
        # Four tests more (E. B. Wilson's middle at 95 %, about): one failure of one is less than nine of ten.
        return self.known.chance + self.failed / (self.tests + 4)

    @property
    def says(self) -> str:
        """The pair in one sentence."""
        if not self.tests:
            return f"{self.first} with {self.second}: never tried together."
        low, high = self.interval
        bare = f" ({self.baseless} of them without ground)" if self.baseless else ""
        counts = f"{self.passed} passed{bare}, {self.watched} watched, {self.failed} failed"
        alone = f" ({self.failed_alone} of them with nothing else in the jar)" if self.failed_alone else ""
        last = f", last {self.last_at:%Y-%m-%d}" if self.last_at else ""
        known = self.known.says if self.known else f"{self.first} with {self.second}: not weighed yet."
        return (
            f"{known} {counts[0].upper()}{counts[1:]}{alone}{last}; "
            f"share of failures {100 * low:.0f} % to {100 * high:.0f} % (95 %)."
        )

    @property
    def cleared_at(self) -> str:
        """At which proportions and in which water it was tried, as far as that was written down."""
        said = []
        if self.ratio_low is not None and self.ratio_high is not None:
            said.append(
                f"passed at {_range(self.ratio_low, self.ratio_high)} parts of the first to one of the second"
            )
        if self.hardness_low is not None and self.hardness_high is not None:
            said.append(f"in water of {_range(self.hardness_low, self.hardness_high)} mg/L hardness")
        return "; ".join(said)


def _range(low: float, high: float) -> str:
    a, b = f"{low:.3g}", f"{high:.3g}"
    return a if a == b else f"{a} to {b}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTable:
    """All pairs that were tried, and their products in an order in which trouble clusters."""

    products: tuple[str, ...]
    cells: tuple[PairCell, ...]

    def by_pair(self) -> dict[tuple[str, str], PairCell]:
        """Each cell under its two names in the order of the alphabet."""
        return {pair_key(c.first, c.second): c for c in self.cells}

    @property
    def says(self) -> str:
        """The table in one sentence."""
        n = len(self.cells)
        if not n:
            return "No signed test held two products yet; the first one that is signed opens this table."
        count = Counter(c.state for c in self.cells)
        possible = len(self.products) * (len(self.products) - 1) // 2
        pairs = "1 pair was" if n == 1 else f"{n} pairs were"
        said = ", ".join(f"{count[w]} {w}" for w in STATE_SHAPES if count[w])
        return f"{pairs} tried, of {possible} that {len(self.products)} products make: {said}."


def make_table(cells: Sequence[PairCell]) -> PairTable:
    """The table of these cells, trouble first."""
    tried = sorted(cells, key=lambda c: (-c.trouble, -c.failed, -c.tests, c.first, c.second))
    return PairTable(products=_by_trouble(tried), cells=tuple(tried))


def _by_trouble(cells: Sequence[PairCell]) -> tuple[str, ...]:
    """The products so that trouble clusters: next comes the one in most trouble with those just placed.

    Products without any trouble follow in the order of the alphabet.
    """
    weight: dict[str, dict[str, float]] = {}
    for c in cells:
        for a, b in ((c.first, c.second), (c.second, c.first)):
            row = weight.setdefault(a, {})
            if c.trouble:
                row[b] = c.trouble
    own = {p: sum(row.values()) for p, row in weight.items()}
    left = {p for p in weight if own[p] > 0}
    quiet = sorted(weight.keys() - left)
    pull = dict.fromkeys(left, 0.0)
    placed: list[str] = []
    while left:
        best = min(left, key=lambda p: (-pull[p], -own[p], p))
        placed.append(best)
        left.remove(best)
        for p in left:
            pull[p] = 0.5 * pull[p] + weight[best].get(p, 0.0)  # those placed long ago pull less
    return (*placed, *quiet)


def roll_up(cells: Sequence[PairCell], group_of: Callable[[str], str]) -> tuple[PairCell, ...]:
    """The cells by group, such as the active ingredient; pairs within one group are left out.

    A jar that held two products of one group counts once for each of them.
    """
    found: dict[tuple[str, str], PairCell] = {}
    for c in cells:
        a, b = group_of(c.first), group_of(c.second)
        if a == b:
            continue
        turned = a > b
        here = replace(
            c,
            first=min(a, b),
            second=max(a, b),
            ratio_low=1 / c.ratio_high if turned and c.ratio_high else c.ratio_low,
            ratio_high=1 / c.ratio_low if turned and c.ratio_low else c.ratio_high,
        )
        key = (here.first, here.second)
        found[key] = _together(found[key], here) if key in found else here
    return tuple(found.values())


def _together(a: PairCell, b: PairCell) -> PairCell:
    def least(x: float | None, y: float | None) -> float | None:
        return min((v for v in (x, y) if v is not None), default=None)

    def most(x: float | None, y: float | None) -> float | None:
        return max((v for v in (x, y) if v is not None), default=None)

    times = [t for t in (a.last_at, b.last_at) if t is not None]
    return replace(
        a,
        known=max((k for k in (a.known, b.known) if k is not None), key=lambda k: k.chance, default=None),
        passed=a.passed + b.passed,
        watched=a.watched + b.watched,
        failed=a.failed + b.failed,
        failed_alone=a.failed_alone + b.failed_alone,
        baseless=a.baseless + b.baseless,
        last_at=max(times, default=None),
        ratio_low=least(a.ratio_low, b.ratio_low),
        ratio_high=most(a.ratio_high, b.ratio_high),
        hardness_low=least(a.hardness_low, b.hardness_low),
        hardness_high=most(a.hardness_high, b.hardness_high),
    )
