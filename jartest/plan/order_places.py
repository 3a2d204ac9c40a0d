"""Where a published order puts a product, and where the labels move it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jartest.plan.formulations import FORMULATIONS
from jartest.plan.order_labels import Rule
from jartest.plan.orders import OrderVariant, VariantStep
from jartest.plan.products import ShelfProduct

__all__ = ["Place", "is_dry", "moved_ranks", "place_of", "say_tie", "sort_places"]

_LAST = 1000  # a rank after every step of every variant
_NOWHERE = _LAST - 2  # the rank of what no step takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A product's step in a published order (`rank`), and where the step's list names its group (`within`).

    `assumed` says that the source is silent on it; `step` is None where no step takes it.
    """

    rank: int
    within: int
    assumed: bool
    step: VariantStep | None


def is_dry(product: ShelfProduct) -> bool:
    """Whether it must be stirred in as a dry product."""
    return product.liquid is False


def place_of(product: ShelfProduct, variant: OrderVariant) -> Place:
    """The place of this product in a published order."""
    for group in _groups(product):
        for rank, step in enumerate(variant.steps):
            if group in step.takes:
                return Place(
                    rank=rank, within=step.takes.index(group), assumed=group in step.assumed, step=step
                )
    return Place(rank=_NOWHERE, within=0, assumed=True, step=None)


def _groups(product: ShelfProduct) -> tuple[str, ...]:
    """The groups a product belongs to, the one that decides first."""
    code, kind = product.formulation, product.kind
    if kind == "biological":
        return (kind,)  # no published order places what lives
    codes = (code, FORMULATIONS[code].goes_as) if code else ()
    if kind == "liquid fertiliser" and is_dry(product):
        kinds: tuple[str, ...] = ("dry fertiliser",)
    elif kind == "other" and "chelate" in product.contains:
        kinds = ("micronutrient (dry)",) if is_dry(product) else ("micronutrient",)
    else:
        kinds = (f"{kind} (dry)", kind) if is_dry(product) else (kind,)
    # A bag is placed by its film, and AMS by its name; an adjuvant or a fertilizer by what it is.
    if code == "SB" or (code and FORMULATIONS[code].implies_kind == kind):
        return (*codes, *kinds)
    return (*kinds, *codes)


def moved_ranks(
    products: Sequence[ShelfProduct], places: Sequence[Place], rules: Sequence[Rule]
) -> list[int]:
    """The ranks, with a product whose own label says "before" brought forward to what it must precede."""
    out = [
        -1 if p.label.first else _LAST if p.label.last else place.rank
        for p, place in zip(products, places, strict=True)
    ]
    for _ in products:
        for r in rules:
            if r.owner == r.before:
                out[r.before] = min(out[r.before], out[r.after])
    return out


def sort_places(
    products: Sequence[ShelfProduct], places: Sequence[Place], ranks: Sequence[int], rules: Sequence[Rule]
) -> tuple[int, ...]:
    """The indices by rank, then as the step names them, then by name, each after all that the rules put before it."""

    def weight(i: int) -> tuple[int, int, tuple[str, str]]:
        within = places[i].within if ranks[i] == places[i].rank else _LAST
        return ranks[i], within, products[i].key

    left = set(range(len(ranks)))
    out: list[int] = []
    while left:
        free = [i for i in left if not any(r.after == i and r.before in left for r in rules)]
        following = min(free, key=weight)
        out.append(following)
        left.remove(following)
    return tuple(out)


def say_tie(
    products: Sequence[ShelfProduct], places: Sequence[Place], ranks: Sequence[int], index: int
) -> str:
    """Why it stands where it does among those of its own step; nothing where it is alone there."""
    own = places[index]
    beside = [
        i
        for i, place in enumerate(places)
        if i != index and own.step is not None and ranks[i] == ranks[index] == place.rank == own.rank
    ]
    alike = [i for i in beside if places[i].within == own.within]
    if alike:
        names = _names(products, alike)
        return f"no source says which of it and {names} goes first: put by name, so that jar and tank are filled the same way"
    if not beside:
        return ""
    names = _names(products, beside)
    if own.assumed or any(places[i].assumed for i in beside):
        return f"one step with {names}, in this sequence by common practice, no source"
    return f"one step with {names}, in the sequence in which the source names them"


def _names(products: Sequence[ShelfProduct], which: Sequence[int]) -> str:
    names = sorted(products[i].said for i in which)
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
