"""Cautions from what products are marked with, and from the water; the ions are reckoned elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from jartest.plan.mixture import Caution, MixItem
from jartest.plan.products import ShelfProduct
from jartest.plan.water import MixWater, hardness_class
from jartest.units import say_number

__all__ = ["mark_pairs", "water_cautions"]

_HARD_MG_L = 120.0  # above this "hard": USGS class after Durfor and Becker 1964

# Pairs of marks that trouble each other.  All: common practice, no source, but for the signs of a reaction
# (Utah State University Extension 2012; University of Arizona 2022).
_MARK_PAIRS = (
    ("acid", "alkali", "acid and alkali react: heat and gas may come off; vent the jar, do not seal it"),
    ("ammonium", "alkali", "alkali drives ammonia gas out of ammonium: vent the jar and keep your face away"),
    ("copper", "acid", "acid may bring copper into solution, which can harm the leaf"),
    (
        "copper",
        "phosphite",
        "an acid phosphite may bring copper into solution and harm the leaf, and the two may drop out",
    ),
    ("calcium", "phosphite", "calcium may drop out with phosphite"),
    ("oil", "sulphur", "oil with sulphur can harm the leaf"),
)


def _marks(product: ShelfProduct) -> frozenset[str]:
    """What a product is marked with, its kind and grade counted in."""
    marks: set[str] = set(product.contains)
    if product.kind == "oil adjuvant":
        marks.add("oil")
    if product.formulation == "AMS":
        marks.add("ammonium")
    if product.grade:
        marks |= {
            m for m, n in (("copper", "Cu"), ("calcium", "Ca"), ("ammonium", "NH4-N")) if product.grade.of(n)
        }
    return frozenset(marks)


def mark_pairs(items: Sequence[MixItem]) -> Iterator[Caution]:
    for a, b in combinations((i.product for i in items), 2):
        for one, other, says in _MARK_PAIRS:
            for p, q in ((a, b), (b, a)):
                if one in _marks(p) and other in _marks(q):
                    yield Caution(
                        level="warning",
                        rule=f"{one} with {other}",
                        products=(p.said, q.said),
                        says=f"{p.said} with {q.said}: {says}.",
                        source="common practice, no source",
                    )
                    break


# ------------------------------------------------------------------------- the water


def water_cautions(items: Sequence[MixItem], water: MixWater) -> Iterator[Caution]:
    conditioned = bool(water.conditioner) or any(i.product.kind == "water conditioner" for i in items)
    weak = [i.product.said for i in items if "weak-acid salt" in i.product.contains]
    if weak and water.hardness_mg_l is None:
        says = f"Hard water binds salts of weak acids such as {', '.join(weak)}, and the hardness is not recorded."
        yield Caution(level="note", rule="hard water", products=tuple(weak), says=says, source=_WEAK_SOURCE)
    elif weak and (water.hardness_mg_l or 0) > _HARD_MG_L and not conditioned:
        says = (
            f"The water is {hardness_class(water.hardness_mg_l or math.nan)} ({say_number(water.hardness_mg_l or 0)} mg/L): "
            f"calcium and magnesium bind salts of weak acids such as {', '.join(weak)}; "
            "a water conditioner goes in first, where the labels allow it."
        )
        yield Caution(
            level="warning", rule="hard water", products=tuple(weak), says=says, source=_WEAK_SOURCE
        )
    for item in items:
        yield from _ph_caution(item.product, water)


_WEAK_SOURCE = "common practice, no source; conditioner first: Oklahoma State University Extension, Herbicide Mixing Order"


def _ph_caution(product: ShelfProduct, water: MixWater) -> Iterator[Caution]:
    label = product.label
    source = f"label of {product.said}"
    if label.ph_min is None and label.ph_max is None:
        if water.ph is not None and water.ph >= 8 and product.kind in ("insecticide", "fungicide"):
            yield Caution(
                level="note",
                rule="pH",
                products=(product.said,),
                says=f"Water of pH {water.ph:g}: some products break down within minutes in alkaline water; see the label of {product.said}.",
                source="OMAFRA (Deveau and Cowbrough) citing Michigan State 2008: captan half-life 32 h at pH 5, 10 min at pH 8",
            )
        return
    low, high = (
        label.ph_min if label.ph_min is not None else 0.0,
        label.ph_max if label.ph_max is not None else 14.0,
    )
    if water.ph is None:
        says = f"The label of {product.said} wants a pH from {low:g} to {high:g}, and the water's is not recorded: measure it."
        yield Caution(level="note", rule="pH", products=(product.said,), says=says, source=source)
    elif not low <= water.ph <= high:
        says = f"The label of {product.said} wants a pH from {low:g} to {high:g}, and the water has {water.ph:g}."
        yield Caution(level="warning", rule="pH", products=(product.said,), says=says, source=source)
