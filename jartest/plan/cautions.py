"""What to know before mixing: the labels' prohibitions, troublesome pairs, the water, and handling."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from jartest.plan.dropout import drop_outs
from jartest.plan.hazards import mark_pairs, unchecked
from jartest.plan.label_ions import METALS, ions_of
from jartest.plan.mixture import Caution, FailedPair, MixItem
from jartest.plan.proposals import as_far_as_known
from jartest.plan.water import MixWater
from jartest.plan.water_cautions import water_cautions

__all__ = ["HANDLING", "TANK_HANDLING", "Caution", "FailedPair", "MixItem", "cautions_for"]

# Shown once where somebody is about to mix.  Sources beside each sentence.
HANDLING = (
    "The label is the law, and its order of mixing wins over this one.",  # label as law: CEU article on labels (Florida)
    "Wear the protective equipment on the labels: concentrate is the riskiest to handle.",  # Growsafe NZ, Mixing
    "Use a glass jar that never holds food again.",  # GRDC, Spray Application Manual 7.5
    "Heat or gas: stop, do not shake or seal the jar, vent it in open air.",  # signs: Utah State 2012; venting: common practice, no source
    "A jar shows physical compatibility only, nothing of efficacy or crop safety: try a small plot.",  # Michigan State University Extension; plot: common practice, no source
    "Dispose of what is left by the labels and local rules.",  # The Pesticide Stewardship Alliance, excess mixture
)

# Shown on the crew's tank card: what of the above concerns a tank.
TANK_HANDLING = (
    *(s for s in HANDLING if "jar" not in s),
    "Heat, gas or lumps in the tank: stop filling, keep people off, and ask whoever signed this card.",  # common practice, no source
    next(s for s in HANDLING if s.startswith("A jar shows")),
)


def cautions_for(
    items: Sequence[MixItem],
    *,
    mix_ml: float | None = None,
    water: MixWater | None = None,
    failed: Sequence[FailedPair] = (),
) -> tuple[Caution, ...]:
    """Every caution for this mixture, the worst first.

    Parameters
    ----------
    items
        The products with their amounts.
    mix_ml
        Finished volume that holds the amounts, mL; None leaves the ion products out, and says so.
    water
        The water, as far as known.
    failed
        Pairs that the shop's own history says failed.
    """
    known = water or MixWater()
    # A product that nobody checked is gone by its name as far as that tells, and it is said so.
    taken = [replace(i, product=as_far_as_known(i.product)) for i in items]
    drops = tuple(drop_outs(taken, mix_ml=mix_ml, water=known))
    found = [
        *_prohibited(taken),
        *_failed_before(items, failed),
        *mark_pairs(taken, reckoned=_reckoned(taken, mix_ml, drops)),
        *drops,
        *water_cautions(taken, known),
        *unchecked(items),
    ]
    rank = {"stop": 0, "warning": 1, "note": 2}
    return tuple(sorted(found, key=lambda c: rank[c.level]))


# The ions that stand behind a mark, any of them.
_IONS = {"calcium": ("Ca",), "phosphate": ("PO4",), "metal salt": tuple(m for m in METALS if m != "Ca")}


def _reckoned(
    items: Sequence[MixItem], mix_ml: float | None, drops: Sequence[Caution]
) -> frozenset[tuple[str, str]]:
    """Each product with a mark whose ions are reckoned with, or told to be beyond reckoning."""
    told = {name for c in drops for name in c.products}
    out = set()
    for item in items:
        ions = ions_of(item.product, item.grams, math.nan if mix_ml is None else mix_ml)
        for mark, wanted in _IONS.items():
            mol = [ions[ion] for ion in wanted if ion in ions]
            if mol and (item.product.said in told or not any(map(math.isnan, mol))):
                out.add((item.product.said, mark))
    return frozenset(out)


def _prohibited(items: Sequence[MixItem]) -> Iterator[Caution]:
    for item in items:
        product, label = item.product, item.product.label
        others = [i.product for i in items if i is not item]
        source = f"label of {product.said}"
        if label.alone and others:
            says = f"The label of {product.said} says to use it alone."
            yield Caution(level="stop", rule="use alone", products=(product.said,), says=says, source=source)
        for other in others:
            hit = next((t for t in label.not_with if other.answers_to(t)), None)
            if hit is not None:
                says = f"The label of {product.said} forbids mixing with {other.said} ({hit})."
                yield Caution(
                    level="stop",
                    rule="do not mix with",
                    products=(product.said, other.said),
                    says=says,
                    source=source,
                )
            if label.no_adjuvant and other.is_adjuvant:
                says = f"The label of {product.said} forbids adjuvants, and {other.said} is one."
                yield Caution(
                    level="stop",
                    rule="no adjuvant",
                    products=(product.said, other.said),
                    says=says,
                    source=source,
                )


def _failed_before(items: Sequence[MixItem], failed: Sequence[FailedPair]) -> Iterator[Caution]:
    for a, b in combinations((i.product for i in items), 2):
        for pair in failed:
            if {a.key, b.key} == {pair.first, pair.second}:
                yield Caution(
                    level="warning",
                    rule="failed before",
                    products=(a.said, b.said),
                    says=f"{a.said} and {b.said} failed together before: {pair.says}.",
                    source="this shop's own tests",
                )
