"""Before you mix: what earlier tests say of a mixture that is planned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from jartest.history.pairs import PairCell
from jartest.history.suspects import Suspect
from jartest.records.model import Remix
from jartest.verdict.values import Word

__all__ = [
    "Before",
    "Mix",
    "Nearest",
    "Past",
    "Same",
    "Substitute",
    "Tone",
    "rank_nearest",
    "say_before",
    "tell_apart",
]

_DOSE_MARGIN = 0.25  # doses this far apart, as a share, are said to differ (our choice)
_HARDNESS_MARGIN = 0.25  # the same for the hardness of the water (our choice)
Tone = Literal["warning", "caution", "good", "open"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """A mixture: products as `Name (Maker)` in their order, dose of each in mL or g per litre, the water."""

    products: tuple[str, ...]
    doses: tuple[float | None, ...] = ()
    water: str = ""
    hardness_mg_l: float | None = None

    @property
    def says(self) -> str:
        """The mixture in words, with what is known of its proportions and its water."""
        doses = self.doses or (None,) * len(self.products)
        said = [
            product if dose is None else f"{product} {dose:.3g} per litre"
            for product, dose in zip(self.products, doses, strict=False)
        ]
        water = [self.water] if self.water else []
        if self.hardness_mg_l is not None:
            water.append(f"hardness {self.hardness_mg_l:.0f} mg/L")
        return ", ".join(said) + (f" · water: {', '.join(water)}" if water else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A signed test of the past."""

    number: int
    test_id: str
    word: Word
    signed_at: datetime
    signed_by: str
    mix: Mix
    first_sign_after: int | None = None
    remix: Remix = "not tried"
    sample: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Same:
    """An earlier test of the same products, and in what it differed."""

    past: Past
    differs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """An earlier test that had most in common: what it shared, lacked, and had besides."""

    past: Past
    shared: tuple[str, ...]
    lacked: tuple[str, ...]
    besides: tuple[str, ...]
    likeness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitute:
    """A product of the same kind that passed where another one did not, and the tests where it did."""

    instead_of: str
    product: str
    passed_with: tuple[str, ...]
    tests: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What is known of a planned mixture; `failed`, `suspect`, `untried` are pairs."""

    tone: Tone
    says: str
    same: tuple[Same, ...]
    nearest: tuple[Nearest, ...]
    failed: tuple[PairCell, ...]
    suspect: tuple[PairCell, ...]
    cleared: tuple[PairCell, ...]
    untried: tuple[tuple[str, str], ...]
    substitutes: tuple[Substitute, ...]
    blamed: tuple[tuple[Suspect, float], ...] = ()


def tell_apart(planned: Mix, past: Mix) -> tuple[str, ...]:
    """In what an earlier mixture of the same products differed, in words."""
    said = []
    if planned.products != past.products:
        said.append(f"other order: {', '.join(past.products)}")
    then = dict(zip(past.products, past.doses, strict=False))
    for product, dose in zip(planned.products, planned.doses, strict=False):
        before = then.get(product)
        if dose and before and not math.isclose(dose, before, rel_tol=_DOSE_MARGIN):
            said.append(f"other proportion: {product} at {before:.3g} per litre then, {dose:.3g} now")
    hard, soft = planned.hardness_mg_l, past.hardness_mg_l
    if (
        hard is not None
        and soft is not None
        and not math.isclose(hard, soft, rel_tol=_HARDNESS_MARGIN, abs_tol=20)
    ):
        said.append(f"other water: hardness {soft:.0f} mg/L then, {hard:.0f} now")
    elif planned.water and past.water and planned.water.casefold() != past.water.casefold():
        said.append(f"other water: {past.water} then, {planned.water} now")
    return tuple(said)


def rank_nearest(planned: Mix, pasts: Sequence[Past], *, most: int = 5) -> tuple[Nearest, ...]:
    """The earlier tests with most in common, by shared products over all products of both (Jaccard 1901)."""
    wanted = set(planned.products)
    found = []
    for past in pasts:
        there = set(past.mix.products)
        shared = wanted & there
        if len(shared) < 2 or there == wanted:
            continue
        found.append(
            Nearest(
                past=past,
                shared=tuple(p for p in planned.products if p in shared),
                lacked=tuple(p for p in planned.products if p not in there),
                besides=tuple(p for p in past.mix.products if p not in wanted),
                likeness=len(shared) / len(wanted | there),
            )
        )
    return tuple(sorted(found, key=lambda n: (-n.likeness, -n.past.number))[:most])


def say_before(
    planned: Mix,
    *,
    same: Sequence[Same],
    nearest: Sequence[Nearest],
    pairs: Sequence[PairCell],
    substitutes: Sequence[Substitute],
    blamed: Sequence[tuple[Suspect, float]] = (),
) -> Before:
    """What is known of the planned mixture, and one plain sentence on it; `pairs` holds every pair of it."""
    failed = tuple(c for c in pairs if c.state in ("fails", "both"))
    suspect = tuple(c for c in pairs if c.state == "suspect")
    cleared = tuple(c for c in pairs if c.state == "cleared")
    untried = tuple((c.first, c.second) for c in pairs if c.state == "never tried")
    tone, says = _sentence(planned, same, failed, suspect, untried, blamed, len(pairs))
    return Before(
        tone=tone,
        says=says,
        same=tuple(same),
        nearest=tuple(nearest),
        failed=failed,
        suspect=suspect,
        cleared=cleared,
        untried=untried,
        substitutes=tuple(substitutes),
        blamed=tuple(blamed),
    )


def _sentence(
    planned: Mix,
    same: Sequence[Same],
    failed: Sequence[PairCell],
    suspect: Sequence[PairCell],
    untried: Sequence[tuple[str, str]],
    blamed: Sequence[tuple[Suspect, float]],
    pairs: int,
) -> tuple[Tone, str]:
    """The tone and the sentence, the gravest first."""
    if len(planned.products) < 2:
        return "open", "One product alone: earlier tests of mixtures say nothing of it."
    words = [s.past.word for s in same]
    lead = blamed[0] if blamed else None
    if "fail" in words and "pass" in words:
        numbers = ", ".join(f"#{s.past.number} {s.past.word}" for s in same[:4])
        return (
            "warning",
            f"This mixture has failed and has passed before ({numbers}): see in what they differed.",
        )
    if failed:
        worst = failed[0]
        more = f", and {len(failed) - 1} more of its pairs" if len(failed) > 1 else ""
        mixed = " though it has also passed" if worst.state == "both" else ""
        return (
            "warning",
            f"Warning: {worst.first} with {worst.second} failed in a jar of their own{mixed}{more}.",
        )
    if lead is not None:
        failures = "this mixture failed before, and" if "fail" in words else "in earlier failures,"
        return "warning", f"Warning: {failures} {lead[0].says} is to blame with {100 * lead[1]:.0f} %."
    if "fail" in words:
        last = next(s for s in same if s.past.word == "fail")
        return (
            "warning",
            f"Warning: this mixture failed before, last in test #{last.past.number}{_how(last)}.",
        )
    if "pass" in words:
        last = next(s for s in same if s.past.word == "pass")
        times = f"{words.count('pass')} times" if words.count("pass") > 1 else "once"
        return "good", f"This mixture passed {times} before, last in test #{last.past.number}{_how(last)}."
    if same:
        return (
            "caution",
            f"This mixture was only watched before, last in test #{same[0].past.number}{_how(same[0])}.",
        )
    if suspect:
        c = suspect[0]
        more = f" and {len(suspect) - 1} more pairs" if len(suspect) > 1 else ""
        return (
            "caution",
            f"{c.first} with {c.second}{more} stood only in jars that failed; which pair it was is not known.",
        )
    if len(untried) == pairs:
        return "open", "Nobody here has tried any two of these products together: a jar will tell."
    if untried:
        a, b = untried[0]
        more = f" and {len(untried) - 1} more pairs" if len(untried) > 1 else ""
        return "open", f"Not tried together yet: {a} with {b}{more}; nothing known speaks against the rest."
    return (
        "open",
        "Every pair of it was tried and none failed alone, but never all of them in one jar: a jar will tell.",
    )


def _how(same: Same) -> str:
    return (
        f" ({'; '.join(same.differs)})"
        if same.differs
        else ", in the same order, proportion and water as far as written"
    )
