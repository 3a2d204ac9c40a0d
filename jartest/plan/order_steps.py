"""The list of things to do: filling, each product with its reason, stirring in what is dry, topping up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jartest.plan.order_labels import Rule
from jartest.plan.order_places import Place, is_dry, say_tie
from jartest.plan.orders import Act, OrderVariant, VariantStep
from jartest.plan.products import ShelfProduct

__all__ = ["OrderStep", "steps_of", "why_here"]

_CUSTOM = "common practice, no source"
_STIR = "agitate until everything dry is dispersed"


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


def steps_of(
    products: Sequence[ShelfProduct],
    variant: OrderVariant,
    places: Sequence[Place],
    ranks: Sequence[int],
    rules: Sequence[Rule],
    sequence: Sequence[int],
    *,
    ties: bool = True,
) -> tuple[OrderStep, ...]:
    """Every step for the products in this sequence, which need not be the advised one.

    Stirring and filling follow the sequence: what is dry is stirred in after the last of it, and a fill
    between the products comes once all that goes in before it is in.  `ties` says what broke a tie.
    """
    steps: list[OrderStep] = []

    def put(act: Act, says: str, reason: str, source: str) -> None:
        steps.append(
            OrderStep(number=len(steps) + 1, act=act, product=None, says=says, reason=reason, source=source)
        )

    put("fill", variant.fill_says, "products need carrier to disperse in", variant.source)
    if variant.steps[0].act == "agitate":
        put("agitate", variant.steps[0].says, "nothing stands still while it mixes", variant.source)
    fills = [(rank, step) for rank, step in enumerate(variant.steps) if step.act == "fill"]
    for n, index in enumerate(sequence):
        reason, source, by_label, assumed = why_here(products, index, variant, places[index], rules)
        tie = say_tie(products, places, ranks, index) if ties and not by_label else ""
        steps.append(
            OrderStep(
                number=len(steps) + 1,
                act="add",
                product=index,
                says=products[index].said,
                reason="; ".join(filter(None, (reason, tie))),
                source=source,
                by_label=by_label,
                assumed=assumed,
            )
        )
        for act, says, why, told_by in _after(products, variant, sequence, n):
            put(act, says, why, told_by)
        for rank, step in [f for f in fills if _all_in(ranks, f[0], sequence, n)]:
            fills.remove((rank, step))
            put("fill", step.says, "what is in must be dispersed before the next goes in", variant.source)
    put("top up", variant.last_says, "keep agitating until the tank is empty", _CUSTOM)
    return tuple(steps)


def why_here(
    products: Sequence[ShelfProduct], index: int, variant: OrderVariant, place: Place, rules: Sequence[Rule]
) -> tuple[str, str, bool, bool]:
    """The reason for a product's place, its source, and whether the label or nobody gave it."""
    own = [r for r in rules if r.owner == index]
    product = products[index]
    if own:
        if product.label.first or product.label.last:
            said = f"its label: {'first' if product.label.first else 'last'} of all"
        else:
            parts = [f"before {products[r.after].said}" for r in own if r.before == index]
            parts += [f"after {products[r.before].said}" for r in own if r.after == index]
            said = f"its label: {', '.join(parts)}"
        return said, f"label of {product.said}", True, False
    if place.step is None:
        what = "places live organisms" if product.kind == "biological" else "names this type"
        return f"no published order {what}: its label must say where", "no source", False, True
    reason = place.step.reason
    if not place.assumed:
        return reason, variant.source, False, False
    if place.step.source:
        return reason, place.step.source, False, True
    return f"{reason} (placed here by common practice, no source)", _CUSTOM, False, True


def _all_in(ranks: Sequence[int], rank: int, sequence: Sequence[int], n: int) -> bool:
    """Whether the last product that goes in before this step of the variant is in, and another follows."""
    before = {i for i, r in enumerate(ranks) if r < rank}
    return bool(before) and n + 1 < len(sequence) and before <= set(sequence[: n + 1])


def _after(
    products: Sequence[ShelfProduct], variant: OrderVariant, sequence: Sequence[int], n: int
) -> list[tuple[Act, str, str, str]]:
    """What to wait for after the product at `n`: its own time to disperse, and the end of what is dry."""
    product = products[sequence[n]]
    out: list[tuple[Act, str, str, str]] = []
    if product.label.own_step:
        why = f"the label of {product.said} has it added by itself"
        out.append(("wait", "agitate until it is fully dispersed", why, f"label of {product.said}"))
    elif product.formulation == "SB":
        why = "film that is left over blocks screens"
        out.append(("wait", "agitate until the bag is wholly dissolved and dispersed", why, _CUSTOM))
    if _ends_dry(products, sequence, n):
        own = _stirring(variant)
        if own is None:
            why = "a powder that meets oil before it is wet makes lumps"
            out.append(("agitate", _STIR, why, _CUSTOM))
        else:
            why = "what is in must be dispersed before the next goes in"
            out.append(("agitate", own.says, why, variant.source))
    return out


def _stirring(variant: OrderVariant) -> VariantStep | None:
    """The variant's own step of stirring in what is dry; starting the agitator is none."""
    return next((s for s in variant.steps[1:] if s.act == "agitate"), None)


def _ends_dry(products: Sequence[ShelfProduct], sequence: Sequence[int], n: int) -> bool:
    """Whether what is dry ends at `n`, with anything in it that its own wait has not dispersed already."""
    if not is_dry(products[sequence[n]]) or (n + 1 < len(sequence) and is_dry(products[sequence[n + 1]])):
        return False
    start = n
    while start > 0 and is_dry(products[sequence[start - 1]]):
        start -= 1
    run = [products[i] for i in sequence[start : n + 1]]
    return any(not p.label.own_step and p.formulation != "SB" for p in run)
