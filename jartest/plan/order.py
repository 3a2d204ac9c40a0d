"""The order of addition: a published order chosen by name, and each product's own label above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from jartest.errors import BadEntry
from jartest.plan.formulations import FORMULATIONS
from jartest.plan.orders import DEFAULT_ORDER, Act, OrderVariant, order_named
from jartest.plan.products import ShelfProduct

__all__ = ["Order", "OrderStep", "advise_order", "departures", "order_by_hand"]

_DRY_WAIT = "agitate until everything dry is dispersed"
_LAST = 1000  # a rank after every step of every variant


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderStep:
    """One thing to do; `product` is the index into the products as given, None for filling and stirring.

    `by_label` says that the product's own label put it here; `assumed` that no source did.
    """

    number: int
    act: Act
    product: int | None
    says: str
    reason: str
    source: str
    by_label: bool = False
    assumed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """An advised order: every step, the products' indices in order, and what cannot be reconciled.

    Where `contradictions` is not empty, no order follows every label, and the products named there
    stand in the variant's order only so that they stand somewhere.
    """

    variant: OrderVariant
    steps: tuple[OrderStep, ...]
    products: tuple[int, ...]
    contradictions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """A label's rule: product `before` goes in before product `after`; `owner` is whose label says so."""

    before: int
    after: int
    owner: int


def advise_order(products: Sequence[ShelfProduct], variant: str = DEFAULT_ORDER) -> Order:
    """The order in which `products` go in by a published order, each label's own order above it.

    A product whose label speaks is the one that is moved; the others keep the published order.

    Raises
    ------
    BadEntry
        If the variant is not known.
    """
    chosen = order_named(variant)
    places = [_place(p, chosen) for p in products]
    rules = _label_rules(products)
    loops = _loops(len(products), rules)
    in_loop = {(r.before, r.after) for loop in loops for r in loop}
    kept = [r for r in rules if (r.before, r.after) not in in_loop]
    ranks = _moved_ranks(products, [rank for rank, _ in places], kept)
    sequence = _sorted(ranks, kept)
    return Order(
        variant=chosen,
        steps=_steps(products, chosen, places, ranks, kept, sequence),
        products=sequence,
        contradictions=_say_loops(products, loops),
        notes=_notes(products, chosen, places),
    )


def order_by_hand(products: Sequence[ShelfProduct], advised: Order, sequence: Sequence[int]) -> Order:
    """The steps of `advised` with the products in the sequence that a person chose.

    Every product that stands elsewhere than advised says so; a label that is not followed any more
    stands among the contradictions.

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
    rules = _label_rules(products)
    places = [_place(p, variant) for p in products]
    ranks = _moved_ranks(products, [rank for rank, _ in places], rules)
    steps = _steps(products, variant, places, ranks, rules, chosen)
    return Order(
        variant=variant,
        steps=tuple(_say_moved(step, advised, chosen) for step in steps),
        products=chosen,
        contradictions=(*advised.contradictions, *_against_labels(products, rules, chosen)),
        notes=advised.notes,
    )


def _say_moved(step: OrderStep, advised: Order, chosen: tuple[int, ...]) -> OrderStep:
    """A step that adds a product, with a word where it was moved by hand."""
    if step.product is None or advised.products.index(step.product) == chosen.index(step.product):
        return step
    place = advised.products.index(step.product) + 1
    reason = f"put here by hand; advised as addition {place} ({step.reason})"
    return replace(step, reason=reason, by_label=False)


def _against_labels(
    products: Sequence[ShelfProduct], rules: Sequence[_Rule], sequence: Sequence[int]
) -> list[str]:
    """A sentence for each rule of a label that this sequence does not follow."""
    position = {index: n for n, index in enumerate(sequence)}
    return [
        f"{products[r.before].said} goes in after {products[r.after].said}, against the label of {products[r.owner].said}."
        for r in rules
        if position[r.before] > position[r.after]
    ]


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
    position = {index: n for n, index in enumerate(done)}
    said = [
        f"{products[r.before].said} went in after {products[r.after].said}, against the label of {products[r.owner].said}."
        for r in _label_rules(products)
        if r.before in position and r.after in position and position[r.before] > position[r.after]
    ]
    expected = [i for i in advised.products if i in position]
    said += [
        f"{products[i].said} was advised as addition {expected.index(i) + 1} and went in as addition {n + 1}."
        for i, n in position.items()
        if expected.index(i) != n
    ]
    said += [
        f"{products[i].said} was advised and did not go in." for i in advised.products if i not in position
    ]
    return tuple(said)


# ------------------------------------------------------------------------- where a product belongs


def _groups(product: ShelfProduct) -> tuple[str, ...]:
    """The groups a product belongs to, the one that decides first."""
    code = product.formulation
    kind = product.kind
    if kind == "drift retardant" and product.liquid is False:
        kind_groups: tuple[str, ...] = ("drift retardant (dry)", kind)
    else:
        kind_groups = (kind,)
    codes = (code, FORMULATIONS[code].goes_as) if code else ()
    # A living product is placed by its formulation; an adjuvant or a fertiliser by what it is.
    return (*codes, *kind_groups) if kind == "biological" else (*kind_groups, *codes)


def _place(product: ShelfProduct, variant: OrderVariant) -> tuple[int, bool]:
    """The index of the variant's step for this product and whether the source is silent on it."""
    for group in _groups(product):
        for index, step in enumerate(variant.steps):
            if group in step.takes:
                return index, group in step.assumed
    return _LAST - 2, True


# ------------------------------------------------------------------------- what the labels say


def _label_rules(products: Sequence[ShelfProduct]) -> list[_Rule]:
    rules = []
    for i, product in enumerate(products):
        for j, other in enumerate(products):
            if i == j:
                continue
            label = product.label
            if label.first or any(other.answers_to(t) for t in label.before):
                rules.append(_Rule(before=i, after=j, owner=i))
            if label.last or any(other.answers_to(t) for t in label.after):
                rules.append(_Rule(before=j, after=i, owner=i))
    return rules


def _loops(count: int, rules: Sequence[_Rule]) -> list[list[_Rule]]:
    """The rules that chase each other in a ring, ring by ring; no order can follow all of a ring."""
    reach = [[False] * count for _ in range(count)]
    for r in rules:
        reach[r.before][r.after] = True
    for k in range(count):
        for i in range(count):
            if reach[i][k]:
                reach[i] = [a or b for a, b in zip(reach[i], reach[k], strict=True)]
    rings: dict[frozenset[int], list[_Rule]] = {}
    for r in rules:
        if reach[r.after][r.before]:
            ring = frozenset(
                i for i in range(count) if i == r.before or (reach[r.before][i] and reach[i][r.before])
            )
            rings.setdefault(ring, []).append(r)
    return list(rings.values())


def _say_loops(products: Sequence[ShelfProduct], loops: Sequence[Sequence[_Rule]]) -> tuple[str, ...]:
    said = []
    for loop in loops:
        parts = "; ".join(
            f"{products[r.before].said} before {products[r.after].said} (label of {products[r.owner].said})"
            for r in loop
        )
        said.append(
            f"These labels cannot all be followed: {parts}: ask the makers, and do not mix until it is settled."
        )
    return tuple(said)


def _moved_ranks(products: Sequence[ShelfProduct], ranks: Sequence[int], rules: Sequence[_Rule]) -> list[int]:
    """The ranks, with a product whose own label says "before" brought forward to what it must precede."""
    out = [
        -1 if p.label.first else _LAST if p.label.last else r for p, r in zip(products, ranks, strict=True)
    ]
    for _ in products:
        for r in rules:
            if r.owner == r.before:
                out[r.before] = min(out[r.before], out[r.after])
    return out


def _sorted(ranks: Sequence[int], rules: Sequence[_Rule]) -> tuple[int, ...]:
    """The indices by rank, then as given, each after all that the rules put before it."""
    left = set(range(len(ranks)))
    out: list[int] = []
    while left:
        free = [i for i in left if not any(r.after == i and r.before in left for r in rules)]
        following = min(free, key=lambda i: (ranks[i], i))
        out.append(following)
        left.remove(following)
    return tuple(out)


# ------------------------------------------------------------------------- the list of steps


def _steps(
    products: Sequence[ShelfProduct],
    variant: OrderVariant,
    places: Sequence[tuple[int, bool]],
    ranks: Sequence[int],
    rules: Sequence[_Rule],
    sequence: Sequence[int],
) -> tuple[OrderStep, ...]:
    steps: list[OrderStep] = []

    def put(act: Act, says: str, reason: str, source: str = variant.source, **more: Any) -> None:
        product = more.pop("product", None)
        steps.append(
            OrderStep(
                number=len(steps) + 1,
                act=act,
                product=product,
                says=says,
                reason=reason,
                source=source,
                **more,
            )
        )

    put("fill", variant.fill_says, "products need carrier to disperse in")
    passed = 0
    stirs = any(step.act == "agitate" for step in variant.steps[1:])
    for n, index in enumerate(sequence):
        reached = min(max(ranks[index], 0), len(variant.steps))
        dry_in = any(products[i].liquid is False for i in sequence[:n])
        for place, step in enumerate(variant.steps[passed:reached], start=passed):
            # Stirring in waits for something dry to stir in; an order may also begin with the agitator.
            if (step.act == "fill" and n > 0) or (step.act == "agitate" and (dry_in or place == 0)):
                put(step.act, step.says, "what is in must be dispersed before the next goes in")
        passed = max(passed, reached)
        reason, source, by_label, assumed = _why(products, index, variant, places[index], rules)
        put("add", products[index].said, reason, source, product=index, by_label=by_label, assumed=assumed)
        wait = _wait_after(products, index, sequence[n + 1 :])
        # A published order that has its own agitating step needs no second one after the dry products.
        if wait and not (wait[0] == _DRY_WAIT and stirs):
            put("wait", *wait, source="common practice, no source")
    put("top up", variant.last_says, "keep agitating until the tank is empty", "common practice, no source")
    return tuple(steps)


def _why(
    products: Sequence[ShelfProduct],
    index: int,
    variant: OrderVariant,
    place: tuple[int, bool],
    rules: Sequence[_Rule],
) -> tuple[str, str, bool, bool]:
    """The reason for a product's place, its source, and whether the label or nobody gave it."""
    own = [r for r in rules if r.owner == index]
    label = products[index].label
    if own:
        if label.first or label.last:
            said = f"its label: {'first' if label.first else 'last'} of all"
        else:
            parts = [f"before {products[r.after].said}" for r in own if r.before == index]
            parts += [f"after {products[r.before].said}" for r in own if r.after == index]
            said = f"its label: {', '.join(parts)}"
        return said, f"label of {products[index].said}", True, False
    rank, assumed = place
    if rank >= len(variant.steps):
        return "no published order names this type: its label must say where", "no source", False, True
    reason = variant.steps[rank].reason
    if assumed:
        return (
            f"{reason} (placed here by common practice, no source)",
            "common practice, no source",
            False,
            True,
        )
    return reason, variant.source, False, False


def _wait_after(
    products: Sequence[ShelfProduct], index: int, following: Sequence[int]
) -> tuple[str, str] | None:
    """What to wait for after this product, and why; None where nothing needs it."""
    product = products[index]
    if product.label.own_step:
        return "agitate until it is fully dispersed", f"the label of {product.said} has it added by itself"
    if product.formulation == "SB":
        return "agitate until the bag is wholly dissolved", "film that is left over blocks screens"
    last_dry = product.liquid is False and (not following or products[following[0]].liquid is not False)
    if last_dry and following:
        return (
            "agitate until everything dry is dispersed",
            "a powder that meets oil before it is wet makes lumps",
        )
    return None


def _notes(
    products: Sequence[ShelfProduct], variant: OrderVariant, places: Sequence[tuple[int, bool]]
) -> tuple[str, ...]:
    said = [
        f"The label of {p.said} says on mixing: {p.label.order_text!r}; see that the order follows it."
        for p in products
        if p.label.order_text
    ]
    said += [
        f"The order {variant.name} does not say where {p.said} goes: read its label."
        for p, (rank, _) in zip(products, places, strict=True)
        if rank >= len(variant.steps)
    ]
    said += [
        f"{p.said} ({p.formulation}) {FORMULATIONS[p.formulation].caution}."
        for p in products
        if p.formulation and FORMULATIONS[p.formulation].caution
    ]
    return tuple(said)
