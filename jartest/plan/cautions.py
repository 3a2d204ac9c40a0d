"""What to know before mixing: the labels' prohibitions, troublesome pairs, the water, and handling."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from jartest.plan.dropout import drop_outs
from jartest.plan.hazards import mark_pairs, water_cautions
from jartest.plan.mixture import Caution, FailedPair, MixItem
from jartest.plan.water import MixWater

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
    """Every caution for this mixture, the gravest first.

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
    found = [
        *_prohibited(items),
        *_failed_before(items, failed),
        *mark_pairs(items),
        *drop_outs(items, mix_ml=mix_ml, water=known),
        *water_cautions(items, known),
    ]
    rank = {"stop": 0, "warning": 1, "note": 2}
    return tuple(sorted(found, key=lambda c: rank[c.level]))


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
