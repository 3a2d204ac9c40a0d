"""The order of addition: a published order chosen by name, and each product's own label above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from jartest.errors import BadEntry
from jartest.plan.formulations import FORMULATIONS
from jartest.plan.order_labels import against_labels, label_rules, loops, say_loops
from jartest.plan.order_places import Place, is_dry, moved_ranks, place_of, sort_places
from jartest.plan.order_steps import OrderStep, steps_of
from jartest.plan.orders import DEFAULT_ORDER, OrderVariant, order_kept
from jartest.plan.products import ShelfProduct

__all__ = ["Order", "OrderStep", "advise_order", "departures", "order_by_hand"]

_PUTTY = (
    " An oil or emulsion that meets a dry product before it is dispersed makes putty that floats and does not mix in "
    "(Michigan State University Extension)."
)
_OILY = frozenset({"EC", "EW", "OD", "COC", "MSO"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """An order of addition: every step, the products' indices in order, and what is to be said of it.

    Where `contradictions` is not empty, no order follows every label, or this one does not; the products
    named there stand in the variant's order only so that they stand somewhere.  `warnings` says where an
    order by hand breaks the published one.
    """

    variant: OrderVariant
    steps: tuple[OrderStep, ...]
    products: tuple[int, ...]
    contradictions: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def advise_order(products: Sequence[ShelfProduct], variant: str = DEFAULT_ORDER) -> Order:
    """The order in which `products` go in by a published order, each label's own order above it.

    A product whose label speaks is the one that is moved; the others keep the published order.  What was
    typed first decides nothing.  A `variant` that is not offered falls to the default, and a note says so.
    """
    chosen, gone = order_kept(variant)
    places = [place_of(p, chosen) for p in products]
    rules = label_rules(products)
    rings = loops(len(products), rules)
    in_ring = {(r.before, r.after) for ring in rings for r in ring}
    kept = [r for r in rules if (r.before, r.after) not in in_ring]
    ranks = moved_ranks(products, places, kept)
    sequence = sort_places(products, places, ranks, kept)
    return Order(
        variant=chosen,
        steps=steps_of(products, chosen, places, ranks, kept, sequence),
        products=sequence,
        contradictions=say_loops(products, rings),
        notes=(*filter(None, [gone]), *_notes(products, chosen, places)),
    )


def order_by_hand(products: Sequence[ShelfProduct], advised: Order, sequence: Sequence[int]) -> Order:
    """The steps of `advised` with the products in the sequence that a person chose.

    What was moved says so, and what moved along does not; a published order that is broken is warned of,
    and a label that is not followed any more stands among the contradictions.

    Raises
    ------
    BadEntry
        If `sequence` does not name every product once.
    """
    if sorted(sequence) != list(range(len(products))):
        msg = f"The order by hand, {list(sequence)}, must name each of the {len(products)} products once."
        raise BadEntry(msg)
    chosen = tuple(sequence)
    if chosen == advised.products:
        return advised
    variant = advised.variant
    rules = label_rules(products)
    places = [place_of(p, variant) for p in products]
    steps = steps_of(
        products, variant, places, moved_ranks(products, places, rules), rules, chosen, ties=False
    )
    ranks = _advised_ranks(products, advised)
    moved = _moved(ranks, advised, chosen)
    against = against_labels(products, rules, chosen, verb="goes in")
    broken = {
        r.owner for r in rules if chosen.index(r.before) > chosen.index(r.after)
    }  # whose label is not followed here
    return Order(
        variant=variant,
        steps=tuple(_say_moved(s, advised, moved=moved, broken=broken) for s in steps),
        products=chosen,
        contradictions=(*advised.contradictions, *against),
        notes=advised.notes,
        warnings=tuple(_say_break(products, variant, places, ranks, chosen, i) for i in chosen if i in moved),
    )


def _advised_ranks(products: Sequence[ShelfProduct], advised: Order) -> list[int]:
    """The ranks such that the advised order, labels and all, never goes down."""
    places = [place_of(p, advised.variant) for p in products]
    ranks = moved_ranks(products, places, label_rules(products))
    highest = min(ranks, default=0)
    for index in advised.products:
        highest = ranks[index] = max(highest, ranks[index])
    return ranks


def _moved(ranks: Sequence[int], advised: Order, chosen: Sequence[int]) -> set[int]:
    """What must have been moved: all but the longest run of products that still stand as advised.

    Of two runs of one length the one counts that holds what was advised earlier.
    """
    place = {index: n for n, index in enumerate(advised.products)}
    best: list[tuple[int, int, tuple[int, ...]]] = []
    for n, index in enumerate(chosen):
        before = [b for b in best[:n] if ranks[b[2][-1]] <= ranks[index]]
        length, weight, run = max(before, key=lambda b: b[:2], default=(0, 0, ()))
        best.append((length + 1, weight - place[index], (*run, index)))
    kept = max(best, key=lambda b: b[:2])[2] if best else ()
    return set(chosen) - set(kept)


def _say_moved(step: OrderStep, advised: Order, *, moved: set[int], broken: set[int]) -> OrderStep:
    """A step that adds a product, with a word where it was moved, or does not stand where its label puts it."""
    if step.product in broken:
        return replace(step, reason=f"not where its label puts it ({step.reason})", by_label=False)
    if step.product is None or step.product not in moved:
        return step
    place = advised.products.index(step.product) + 1
    return replace(step, reason=f"moved here; advised as addition {place} ({step.reason})", by_label=False)


def _say_break(
    products: Sequence[ShelfProduct],
    variant: OrderVariant,
    places: Sequence[Place],
    ranks: Sequence[int],
    chosen: Sequence[int],
    index: int,
) -> str:
    """How one product that was moved breaks the published order, and what that order says of it."""
    here = chosen.index(index)
    too_late = [
        i for i in chosen[here + 1 :] if ranks[i] < ranks[index]
    ]  # they should have gone in before it
    too_early = [i for i in chosen[:here] if ranks[i] > ranks[index]]
    parts = []
    for verb, other_way, which in (("before", "after", too_late), ("after", "before", too_early)):
        if which:
            names = _names([products[i].said for i in which])
            them = "it" if len(which) == 1 else "them"
            parts.append(f"goes in {verb} {names}, and {variant.name} puts it {other_way} {them}")
    step = places[index].step
    why = f": {step.reason}." if step is not None else "."
    met = [products[i] for i in (*too_late, *too_early)]
    wrong_oil = any(is_dry(p) for p in met) and _is_oily(products[index])
    wrong_dry = is_dry(products[index]) and any(_is_oily(products[i]) for i in too_early)
    return f"{products[index].said} {'; it '.join(parts)}{why}{_PUTTY if wrong_oil or wrong_dry else ''}"


def _is_oily(product: ShelfProduct) -> bool:
    code = product.formulation
    return product.kind == "oil adjuvant" or bool(code and FORMULATIONS[code].goes_as in _OILY)


def _names(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def departures(products: Sequence[ShelfProduct], advised: Order, done: Sequence[int]) -> tuple[str, ...]:
    """How the order in which the products went in departs from what was advised, a sentence each.

    Raises
    ------
    BadEntry
        If `done` names a product twice, or one that is not there.
    """
    if len(set(done)) != len(done) or any(not 0 <= i < len(products) for i in done):
        msg = f"The order done, {list(done)}, names a product twice or one that is not in the mixture."
        raise BadEntry(msg)
    said = against_labels(products, label_rules(products), done, verb="went in")
    moved = _moved(_advised_ranks(products, advised), advised, done)
    expected = [i for i in advised.products if i in done]
    said += [
        f"{products[i].said} was advised as addition {expected.index(i) + 1} and went in as addition {n + 1}."
        for n, i in enumerate(done)
        if i in moved
    ]
    said += [f"{products[i].said} was advised and did not go in." for i in advised.products if i not in done]
    return tuple(said)


def _notes(
    products: Sequence[ShelfProduct], variant: OrderVariant, places: Sequence[Place]
) -> tuple[str, ...]:
    said = [
        f"The label of {p.said} says on mixing: {p.label.order_text!r}; see that the order follows it."
        for p in products
        if p.label.order_text
    ]
    said += [
        f"{p.said} is alive, and no published order places it: its label must say where it goes, with what, and how "
        "soon it is sprayed."
        if p.kind == "biological"
        else f"The order {variant.name} does not say where {p.said} goes: read its label."
        for p, place in zip(products, places, strict=True)
        if place.step is None
    ]
    said += [
        f"Whether {p.said} is liquid or dry is not known; it is placed as a liquid, and a dry one goes in with the dry products."
        for p in products
        if p.liquid is None and p.kind in ("micronutrient", "humic material", "drift retardant")
    ]
    said += [
        f"{p.said} ({p.formulation}) {FORMULATIONS[p.formulation].caution}."
        for p in products
        if p.formulation and FORMULATIONS[p.formulation].caution
    ]
    return tuple(said)
