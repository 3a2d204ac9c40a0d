"""Cautions from the water, and from the pH of the mixture: what it does to products that cannot bear it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

from jartest.plan.hazards import marks_of, names
from jartest.plan.mixture import Caution, MixItem
from jartest.plan.products import ShelfProduct
from jartest.plan.water import MixWater, hardness_class
from jartest.units import say_number

__all__ = ["water_cautions"]

_CUSTOM = "common practice, no source"
_HARD_MG_L = 120.0  # above this "hard": USGS class after Durfor and Becker 1964
_BICARBONATE_MG_L = (
    500.0  # from here it may weaken 2,4-D amine and others: Saskatchewan Agriculture, see below
)
_BICARBONATE_SOURCE = "Government of Saskatchewan, Spray Water Quality (Marcino 2021, after Brenzil)"
_WEAK_SOURCE = "common practice, no source; conditioner first: Oklahoma State University Extension, Herbicide Mixing Order"
_LIVE_PH = (5.0, 8.0)  # what most live organisms bear: common practice, no source
_COPPER_PH = 6.0  # below it fixed coppers dissolve: common practice, no source
_BORATE_PH = 8.0  # above it boric acid turns to borate (pKa 9.24, value from memory); the limit is our choice
_SULFIDE_PH = 8.0  # one unit above the pKa of hydrogen sulfide, 7.0 (value from memory): 9 % of it is gas
_TREATED = re.compile(r"\b(?:town|city|municipal|mains|tap|chlorinated|treated|pool)\b")


def water_cautions(items: Sequence[MixItem], water: MixWater) -> Iterator[Caution]:
    """Every caution that the water and the mixture's pH give for these products."""
    products = [i.product for i in items]
    yield from _weak_acids(products, water)
    yield from _silicates(products, water)
    yield from _by_mixture_ph(products, water)
    for product in products:
        yield from _live(product, water)
        yield from _ph_caution(product, water)


def _holding(products: Sequence[ShelfProduct], mark: str) -> list[str]:
    return [p.said for p in products if mark in marks_of(p)]


def _weak_acids(products: Sequence[ShelfProduct], water: MixWater) -> Iterator[Caution]:
    """Hard water and bicarbonate against salts of weak acids."""
    weak = _holding(products, "weak-acid salt")
    if not weak:
        return
    conditioned = bool(water.conditioner) or any(p.kind == "water conditioner" for p in products)
    hard = water.hardness_mg_l
    if hard is None:
        says = f"Hard water binds salts of weak acids such as {', '.join(weak)}, and the hardness is not recorded."
        yield Caution(level="note", rule="hard water", products=tuple(weak), says=says, source=_WEAK_SOURCE)
    elif hard > _HARD_MG_L and not conditioned:
        says = (
            f"The water is {hardness_class(hard)} ({say_number(hard)} mg/L): "
            f"calcium and magnesium bind salts of weak acids such as {', '.join(weak)}; "
            "a water conditioner goes in first, where the labels allow it."
        )
        yield Caution(
            level="warning", rule="hard water", products=tuple(weak), says=says, source=_WEAK_SOURCE
        )
    bicarbonate = water.bicarbonate_mg_l
    if bicarbonate is not None and bicarbonate >= _BICARBONATE_MG_L:
        says = (
            f"The water has {say_number(bicarbonate)} mg/L of bicarbonate: from {say_number(_BICARBONATE_MG_L)} it may weaken "
            f"salts of weak acids such as {', '.join(weak)}; ammonium sulfate helps with some and not with others, "
            "so see the labels, or take other water."
        )
        yield Caution(
            level="warning", rule="bicarbonate", products=tuple(weak), says=says, source=_BICARBONATE_SOURCE
        )


def _silicates(products: Sequence[ShelfProduct], water: MixWater) -> Iterator[Caution]:
    silicates = _holding(products, "silicate")
    if silicates and (water.hardness_mg_l or 0) > _HARD_MG_L:
        says = (
            f"The water is {hardness_class(water.hardness_mg_l or math.nan)} ({say_number(water.hardness_mg_l or 0)} mg/L): "
            f"its calcium and magnesium may drop out with the silicate of {names(silicates)}, or gel."
        )
        yield Caution(
            level="warning", rule="hard water", products=tuple(silicates), says=says, source=_CUSTOM
        )


def _by_mixture_ph(products: Sequence[ShelfProduct], water: MixWater) -> Iterator[Caution]:
    """What hangs on the pH of the mixture itself: sulfides, calcium with borate, and copper."""
    ph = water.mix_ph
    sulfides = _holding(products, "sulfide")
    if sulfides and ph is not None and ph < _SULFIDE_PH:
        says = (
            f"The mixture has pH {ph:g}: below {_SULFIDE_PH:g} the sulfide of {names(sulfides)} gives off hydrogen sulfide, a gas that "
            "kills. Leave it, keep people off, and let it air."
        )
        yield Caution(level="stop", rule="sulfide by pH", products=tuple(sulfides), says=says, source=_CUSTOM)
    calcium, borate = _holding(products, "calcium"), _holding(products, "borate")
    if calcium and borate and len({*calcium, *borate}) > 1 and (ph is None or ph >= _BORATE_PH):
        who = names(sorted({*calcium, *borate}))
        if ph is None:
            says = (
                f"Calcium and borate of {who} may drop out where the mixture's pH is over {_BORATE_PH:g}, and it is not noted: "
                "measure it."
            )
        else:
            says = f"The mixture has pH {ph:g}: calcium and borate of {who} may drop out."
        yield Caution(
            level="note" if ph is None else "warning",
            rule="calcium with borate",
            products=tuple(sorted({*calcium, *borate})),
            says=says,
            source=_CUSTOM,
        )
    copper = [p.said for p in products if "copper" in marks_of(p) and "chelate" not in p.contains]
    known, whose = (ph, "mixture") if ph is not None else (water.ph, "water")
    if copper and known is not None and known < _COPPER_PH:
        says = f"The {whose} has pH {known:g}: below {_COPPER_PH:g} copper of {names(copper)} may come into solution and harm the leaf."
        yield Caution(level="warning", rule="copper by pH", products=tuple(copper), says=says, source=_CUSTOM)


def _live(product: ShelfProduct, water: MixWater) -> Iterator[Caution]:
    """Live organisms against chlorine in the water, and against a pH that they do not bear."""
    if "live organisms" not in marks_of(product):
        return
    if _TREATED.search(water.source.casefold()):
        says = f"{water.source} may hold chlorine, which kills the live organisms of {product.said}: let it stand open, or take other water."
        yield Caution(
            level="warning", rule="chlorine in the water", products=(product.said,), says=says, source=_CUSTOM
        )
    label = product.label
    ph, whose = (water.mix_ph, "mixture") if water.mix_ph is not None else (water.ph, "water")
    low, high = _LIVE_PH
    if label.ph_min is None and label.ph_max is None and ph is not None and not low <= ph <= high:
        says = (
            f"The {whose} has pH {ph:g}: live organisms such as those of {product.said} mostly bear {low:g} to {high:g}; "
            "its label must say."
        )
        yield Caution(level="warning", rule="pH", products=(product.said,), says=says, source=_CUSTOM)


def _ph_caution(product: ShelfProduct, water: MixWater) -> Iterator[Caution]:
    """The label's own span of pH, held against the mixture's where it is noted, else the water's."""
    label = product.label
    source = f"label of {product.said}"
    ph, whose = (water.mix_ph, "mixture") if water.mix_ph is not None else (water.ph, "water")
    if label.ph_min is None and label.ph_max is None:
        if ph is not None and ph >= 8 and product.kind in ("insecticide", "fungicide"):
            yield Caution(
                level="note",
                rule="pH",
                products=(product.said,),
                says=f"{whose.capitalize()} of pH {ph:g}: some products break down within minutes in alkaline water; see the label of {product.said}.",
                source="OMAFRA (Deveau and Cowbrough) citing Michigan State 2008: captan half-life 32 h at pH 5, 10 min at pH 8",
            )
        return
    low, high = (
        label.ph_min if label.ph_min is not None else 0.0,
        label.ph_max if label.ph_max is not None else 14.0,
    )
    if ph is None:
        says = f"The label of {product.said} wants a pH from {low:g} to {high:g}, and none is recorded: measure the mixture's."
        yield Caution(level="note", rule="pH", products=(product.said,), says=says, source=source)
    elif not low <= ph <= high:
        says = f"The label of {product.said} wants a pH from {low:g} to {high:g}, and the {whose} has {ph:g}."
        yield Caution(level="warning", rule="pH", products=(product.said,), says=says, source=source)
