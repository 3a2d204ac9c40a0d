"""The cautions of a plan, from the plan's own words and from what the shelf knows of its products."""

from __future__ import annotations

from collections.abc import Sequence

from jartest.errors import BadEntry
from jartest.plan.cautions import Caution, FailedPair, MixItem, cautions_for
from jartest.plan.products import ShelfProduct, make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.water import MixWater
from jartest.records.done import places_in
from jartest.records.model import Product, TestPlan

__all__ = ["cautions_of", "shelf_product_of"]


def cautions_of(
    plan: TestPlan, shelf: Sequence[ShelfProduct] = (), failed: Sequence[FailedPair] = ()
) -> tuple[Caution, ...]:
    """Every caution for a planned jar, the worst first; a tank recipe's products are as they were typed there.

    Parameters
    ----------
    plan
        The plan, with a tank recipe or with amounts for the jar alone.
    shelf
        The products that the shop knows; those of a plan without a recipe are looked up among them.
    failed
        Pairs that the shop's own history says failed.
    """
    if plan.recipe is not None:
        by_hand = places_in(plan.recipe, plan.products)
        return make_recipe(plan.recipe, failed=failed, by_hand=by_hand).cautions
    items = [MixItem(product=shelf_product_of(p, shelf), ml=p.amount_ml, g=p.amount_g) for p in plan.products]
    water = plan.water
    return cautions_for(
        items,
        mix_ml=plan.jar.volume_ml + sum(p.amount_ml or 0.0 for p in plan.products),
        water=MixWater(
            source=water.source,
            hardness_mg_l=water.hardness_mg_l,
            ph=water.ph,
            temperature_c=water.temperature_c,
            mix_ph=water.mix_ph,
        ),
        failed=failed,
    )


def shelf_product_of(product: Product, shelf: Sequence[ShelfProduct] = ()) -> ShelfProduct:
    """The product as the shelf has it, else as its name and formulation tell; a formulation that cannot be read tells nothing."""
    made = _made(product)
    return next((p for p in shelf if p.key == made.key), made)


def _made(product: Product) -> ShelfProduct:
    name, maker = (_fitting(x) for x in (product.name, product.maker))
    try:
        return make_product(name=name or "a product", maker=maker, formulation=product.formulation)
    except BadEntry:
        return make_product(name=name or "a product", maker=maker)


def _fitting(text: str) -> str:
    """A text of an old record such that a product can have it: one line, not without end."""
    return " ".join("".join(c if c >= " " else " " for c in text).split())[:200]
