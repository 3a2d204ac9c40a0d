"""Before you mix: what earlier tests say of a mixture that is planned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from jartest.history.causes import Cause
from jartest.history.pairs import PairCell
from jartest.history.states import PairKnown, Range
from jartest.history.trials import Trial
from jartest.records.grounds import MEASURED, SignedOver
from jartest.records.model import Remix
from jartest.verdict.values import Word
from jartest.verdict.words import say_signed

__all__ = [
    "CAUTIONED",
    "RANGE_MARGIN",
    "WARNED",
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
    "tell_new",
]

_DOSE_MARGIN = 0.25  # doses this far apart, as a share, are said to differ (our choice)
_HARDNESS_MARGIN = 0.25  # the same for the hardness of the water (our choice)
RANGE_MARGIN = 0.05  # what lies no further outside a tried range, as a share, counts as inside (our choice)
_PH_MARGIN, _CELSIUS_MARGIN = 0.3, 3.0  # the same for pH and temperature (our choice)
_NOW = 9999  # the season of a jar that is yet to be mixed: whatever began since some year is at work in it
WARNED, CAUTIONED = (
    0.5,
    0.05,
)  # chance to fail from which on a mixture is warned of, and no longer green (our choices)
Tone = Literal["warning", "caution", "good", "open"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """A mixture: products as `Name (Maker)` in their order, dose of each in mL or g per liter, the water."""

    products: tuple[str, ...]
    doses: tuple[float | None, ...] = ()
    water: str = ""
    hardness_mg_l: float | None = None
    ph: float | None = None
    temperature_c: float | None = None
    lots: tuple[str, ...] = ()

    def planned(self) -> Trial:
        """The mixture as a jar that is yet to be mixed."""
        nan = math.nan
        return Trial(
            number=0,
            products=self.products,
            word="pass",
            water=self.water,
            doses=tuple(nan if d is None else d for d in self.doses),
            lots=self.lots,
            hardness_mg_l=nan if self.hardness_mg_l is None else self.hardness_mg_l,
            ph=nan if self.ph is None else self.ph,
            temperature_c=nan if self.temperature_c is None else self.temperature_c,
            season=_NOW,
        )

    @property
    def says(self) -> str:
        """The mixture in words, with what is known of its proportions and its water."""
        doses = self.doses or (None,) * len(self.products)
        said = [
            product if dose is None else f"{product} {dose:.3g} per liter"
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
    over: SignedOver = MEASURED

    @property
    def said(self) -> str:
        """Its word with the age that it holds to, and over what it was signed."""
        return say_signed(self.word, self.over.age_s, self.over.word, self.over.seen_s)

    @property
    def passed(self) -> bool:
        """Whether it passed, and not over a machine's fail or over no verdict."""
        return self.word == "pass" and self.over.ground_of("pass") == "measured"


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
    """What is known of a planned mixture.

    `failed`, `suspect` (open), `cleared` and `untried` are pairs; `fail_chance` is how likely a cause is at work
    in it; `new` says in what it lies outside of what was tried; `model_says` how old the evidence model is.
    """

    tone: Tone
    says: str
    same: tuple[Same, ...]
    nearest: tuple[Nearest, ...]
    failed: tuple[PairCell, ...]
    suspect: tuple[PairCell, ...]
    cleared: tuple[PairCell, ...]
    untried: tuple[tuple[str, str], ...]
    substitutes: tuple[Substitute, ...]
    blamed: tuple[tuple[Cause, float], ...] = ()
    fail_chance: float = math.nan
    new: tuple[str, ...] = ()
    model_says: str = ""


def tell_apart(planned: Mix, past: Mix) -> tuple[str, ...]:
    """In what an earlier mixture of the same products differed, in words."""
    said = []
    if planned.products != past.products:
        said.append(f"other order: {', '.join(past.products)}")
    then = dict(zip(past.products, past.doses, strict=False))
    for product, dose in zip(planned.products, planned.doses, strict=False):
        before = then.get(product)
        if dose and before and not math.isclose(dose, before, rel_tol=_DOSE_MARGIN):
            said.append(f"other proportion: {product} at {before:.3g} per liter then, {dose:.3g} now")
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


def tell_new(planned: Mix, pairs: Sequence[PairKnown]) -> tuple[str, ...]:
    """In what a planned mixture lies outside the range in which these pairs of it passed, or was not written."""
    jar = planned.planned()
    said: dict[str, None] = {}
    for pair in pairs:
        if pair.goes_in is not None:
            said |= dict.fromkeys(_outside(jar, pair, pair.goes_in))
    return tuple(said)


def _outside(jar: Trial, pair: PairKnown, tried: Range) -> list[str]:
    out = []
    for product, other, (low, high) in (
        (pair.first, pair.second, tried.dose_first),
        (pair.second, pair.first, tried.dose_second),
    ):
        dose = jar.dose_of(product)
        if math.isnan(dose):
            out.append(f"the amount of {product} is not written")
        elif math.isnan(low):
            out.append(f"in no jar of {product} with {other} that passed was its amount written")
        elif not low * (1 - RANGE_MARGIN) <= dose <= high * (1 + RANGE_MARGIN):
            out.append(f"{product} at {dose:.3g} per liter; with {other} it passed at {_span(low, high)}")
    low, high = tried.hardness_mg_l
    hard = jar.hardness_mg_l
    who = f"{pair.first} with {pair.second}"
    if math.isnan(hard):
        out.append("the hardness of the water is not written")
    elif math.isnan(low):
        out.append(f"in no jar of {who} that passed was the hardness written")
    elif not low * (1 - RANGE_MARGIN) - 5 <= hard <= high * (1 + RANGE_MARGIN) + 5:
        out.append(f"water of {hard:.0f} mg/L hardness; {who} passed at {_span(low, high)} mg/L")
    for name, value, (low, high), margin in (
        ("pH", jar.ph, tried.ph, _PH_MARGIN),
        ("temperature", jar.temperature_c, tried.temperature_c, _CELSIUS_MARGIN),
    ):
        if math.isfinite(value) and math.isfinite(low) and not low - margin <= value <= high + margin:
            unit = " °C" if name == "temperature" else ""
            out.append(f"{name} {value:.3g}{unit}; {who} passed at {_span(low, high)}{unit}")
    first = min((pair.first, pair.second), key=jar.products.index)
    if tried.first_in and tried.first_in != first:
        out.append(f"{first} in before {tried.first_in}; they passed the other way round")
    return out


def _span(low: float, high: float) -> str:
    a, b = f"{low:.3g}", f"{high:.3g}"
    return a if a == b else f"{a} to {b}"


def say_before(
    planned: Mix,
    *,
    same: Sequence[Same],
    nearest: Sequence[Nearest],
    pairs: Sequence[PairCell],
    substitutes: Sequence[Substitute],
    blamed: Sequence[tuple[Cause, float]] = (),
    fail_chance: float = math.nan,
    model_says: str = "",
) -> Before:
    """What is known of the planned mixture, and one plain sentence on it; `pairs` holds every pair of it."""
    known = [c.known for c in pairs if c.known is not None]
    found = Before(
        tone="open",
        says="",
        same=tuple(same),
        nearest=tuple(nearest),
        failed=tuple(c for c in pairs if c.state in ("fails", "likely fails")),
        suspect=tuple(c for c in pairs if c.state == "open"),
        cleared=tuple(c for c in pairs if c.state in ("goes", "likely goes")),
        untried=tuple((c.first, c.second) for c in pairs if c.state == "never tried"),
        substitutes=tuple(substitutes),
        blamed=tuple(blamed),
        fail_chance=fail_chance,
        new=tell_new(planned, known),
        model_says=model_says,
    )
    tone, says = _sentence(planned, found, len(pairs))
    return replace(found, tone=tone, says=says)


def _sentence(planned: Mix, b: Before, pairs: int) -> tuple[Tone, str]:
    """The tone and the sentence, the worst first."""
    if len(planned.products) < 2:
        return "open", "One product alone: earlier tests of mixtures say nothing of it."
    return _warning(b) or _caution(b) or _good(b) or _not_known(b, pairs)


def _warning(b: Before) -> tuple[Tone, str] | None:
    words = [s.past.word for s in b.same]
    if "fail" in words and "pass" in words:
        numbers = ", ".join(f"#{s.past.number} {s.past.said}" for s in b.same[:4])
        return (
            "warning",
            f"This mixture has failed and has passed before ({numbers}): see in what they differed.",
        )
    lead = next(((c, p) for c, p in b.blamed if p >= WARNED), None)
    if lead is not None:
        failures = "this mixture failed before, and" if "fail" in words else "in earlier failures,"
        return "warning", f"Warning: {failures} {lead[0].says} is to blame with {100 * lead[1]:.0f} %."
    alone = next((c for c in b.failed + b.suspect if c.failed_alone), None)
    if alone is not None:
        mixed = " though it has also passed" if alone.passed else ""
        return "warning", f"Warning: {alone.first} with {alone.second} failed in a jar of their own{mixed}."
    if "fail" in words:
        last = next(s for s in b.same if s.past.word == "fail")
        return (
            "warning",
            f"Warning: this mixture failed before, last in test #{last.past.number}{_how(last)}.",
        )
    if b.fail_chance >= WARNED:
        return (
            "warning",
            f"Warning: by earlier failures this fails with {100 * b.fail_chance:.0f} %; which pair it is, is not known.",
        )
    return None


def _caution(b: Before) -> tuple[Tone, str] | None:
    in_trouble = [c for c in b.suspect if c.failed]
    if b.fail_chance > CAUTIONED:
        who = f", most likely by {b.blamed[0][0].says}" if b.blamed else ""
        return "caution", f"It fails with {100 * b.fail_chance:.0f} %{who}: mix a jar first."
    if in_trouble:
        c = in_trouble[0]
        more = f" and {len(in_trouble) - 1} more pairs" if len(in_trouble) > 1 else ""
        return (
            "caution",
            f"{c.first} with {c.second}{more} failed in company and never clearly passed; which pair it was is not known.",
        )
    words = [s.past.word for s in b.same]
    bare = next((c for c in b.suspect if c.baseless and c.baseless >= c.passed), None)
    if bare is not None and "pass" not in words:
        return (
            "caution",
            f"{bare.first} with {bare.second} passed only where the machine's verdict did not bear it out, which clears nothing. Mix a jar first.",
        )
    if "pass" in words and not any(s.past.passed for s in b.same):
        last = next(s.past for s in b.same if s.past.word == "pass")
        what = "no verdict of the machine" if last.over.word is None else "the machine's FAIL"
        return (
            "caution",
            f"This mixture passed only over {what}, in test #{last.number} ({last.said}). Mix a jar first.",
        )
    if "pass" in words and (b.new or b.suspect):
        last_pass = next(s.past for s in b.same if s.past.passed)
        what = f"new is: {'; '.join(b.new[:3])}" if b.new else "what is known of it has not been weighed yet"
        more = f" and {len(b.new) - 3} more" if len(b.new) > 3 else ""
        return (
            "caution",
            f"It passed before, in test #{last_pass.number} ({last_pass.said}), but {what}{more}. Mix a jar first.",
        )
    if words and "pass" not in words:
        return (
            "caution",
            f"This mixture was only watched before, last in test #{b.same[0].past.number} ({b.same[0].past.said}){_how(b.same[0])}.",
        )
    return None


def _good(b: Before) -> tuple[Tone, str] | None:
    """Green: it passed in one jar, alone or with others, every pair of it goes, and nothing of it is new."""
    if b.new or b.suspect or b.untried or b.failed or math.isnan(b.fail_chance):
        return None
    passed = [s for s in b.same if s.past.passed]
    if passed:
        times = f"{len(passed)} times" if len(passed) > 1 else "once"
        return (
            "good",
            f"This mixture passed {times} before in this range, last in test #{passed[0].past.number} ({passed[0].past.said}){_how(passed[0])}.",
        )
    inside = next((n for n in b.nearest if n.past.passed and not n.lacked), None)
    if inside is not None:
        more = ", ".join(inside.besides)
        return (
            "good",
            f"All of it passed in one jar in this range, with {more} besides, in test #{inside.past.number} ({inside.past.said}).",
        )
    return None


def _not_known(b: Before, pairs: int) -> tuple[Tone, str]:
    if len(b.untried) == pairs:
        return "open", "Nobody here has tried any two of these products together: a jar will tell."
    if b.untried:
        first, second = b.untried[0]
        more = f" and {len(b.untried) - 1} more pairs" if len(b.untried) > 1 else ""
        return (
            "open",
            f"Not tried together yet: {first} with {second}{more}; nothing known speaks against the rest. A jar will tell.",
        )
    if b.new:
        more = f" and {len(b.new) - 2} more" if len(b.new) > 2 else ""
        return (
            "open",
            f"Every pair of it was tried, but new is: {'; '.join(b.new[:2])}{more}. A jar will tell.",
        )
    return (
        "open",
        "Every pair of it was tried and none speaks against it, but never this mixture alone: a jar will tell.",
    )


def _how(same: Same) -> str:
    return (
        f" ({'; '.join(same.differs)})"
        if same.differs
        else ", in the same order, proportion and water as far as written"
    )
