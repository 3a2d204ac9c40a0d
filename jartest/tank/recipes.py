"""The recipe of a plan and the plan of a recipe, with what failed before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from jartest.errors import Conflict
from jartest.plan.cautions import Caution, FailedPair
from jartest.plan.products import ShelfProduct
from jartest.plan.recipe import JarRecipe, make_recipe
from jartest.recorder import Recorder, checked_name
from jartest.records.cautioned import cautions_of, shelf_product_of
from jartest.records.done import places_in
from jartest.records.model import JarTest, JarUsed, Product, TestPlan, Water
from jartest.tank.shelf import fold, shelf_entry
from jartest.units import say_number

__all__ = [
    "cautions_of_plan",
    "failed_before",
    "new_on_shelf",
    "plan_of_recipe",
    "products_of_plan",
    "recipe_of",
    "start_from_recipe",
]


def failed_before(recorder: Recorder, products: Sequence[ShelfProduct]) -> tuple[FailedPair, ...]:
    """Pairs of these products that failed in a jar of just the two, by this shop's own signed tests."""
    keys = {p.key for p in products}
    items = {
        i: item for i, item in recorder.store.shelf_items().items() if fold(item.name, item.maker) in keys
    }
    found = []
    for pair in recorder.store.around(tuple(items), samples=False, most=1).pairs:
        if pair.failed_alone:
            first, second = items[pair.first_id], items[pair.second_id]
            times = "once" if pair.failed_alone == 1 else f"{pair.failed_alone} times"
            found.append(
                FailedPair(
                    first=fold(first.name, first.maker),
                    second=fold(second.name, second.maker),
                    says=f"{times} in a jar of the two alone, the last signed by {pair.last_at:%Y-%m-%d}",
                )
            )
    return tuple(found)


def recipe_of(
    recorder: Recorder, plan: TestPlan, *, positions: Sequence[int] | None = None
) -> JarRecipe | None:
    """The jar's recipe of a plan, in the plan's order; None for a plan without a tank recipe.

    `positions` are the products' numbers in the plan (from 1) as they really go in, where that is another order.
    """
    if plan.recipe is None:
        return None
    failed = failed_before(recorder, [p.product for p in plan.recipe.products])
    places = places_in(plan.recipe, plan.products)
    by_hand = places if positions is None else [places[n - 1] for n in positions]
    return make_recipe(plan.recipe, failed=failed, by_hand=by_hand)


def cautions_of_plan(recorder: Recorder, plan: TestPlan) -> tuple[Caution, ...]:
    """The cautions of a planned jar, by the shelf and by this shop's own signed tests."""
    products = products_of_plan(recorder, plan)
    return cautions_of(plan, products, failed_before(recorder, products))


def products_of_plan(recorder: Recorder, plan: TestPlan) -> tuple[ShelfProduct, ...]:
    """The products of a plan: as its tank recipe has them, else as the shelf has them, else by their names."""
    if plan.recipe is not None:
        return tuple(p.product for p in plan.recipe.products)
    shelf = [e.product for e in recorder.store.shelf_products() if not e.retired]
    return tuple(shelf_product_of(p, shelf) for p in plan.products)


def plan_of_recipe(recipe: JarRecipe, frame: TestPlan) -> TestPlan:
    """The plan that a recipe makes: `frame` gives its title, jar, looks and notes; amounts and order are the recipe's."""
    products = tuple(
        Product(
            name=line.product.name,
            maker=line.product.maker,
            formulation=line.product.formulation,
            lot=line.product.lot,
            amount_text=f"{say_number(line.jar_ml)} mL"
            if line.jar_ml is not None
            else f"{say_number(line.jar_g or 0)} g",
            amount_ml=line.jar_ml,
            amount_g=line.jar_g,
        )
        for line in recipe.lines
    )
    water = recipe.request.water
    return replace(
        frame,
        title=frame.title.strip() or " + ".join(p.name for p in products),
        products=products,
        water=Water(
            source=water.source,
            hardness_mg_l=water.hardness_mg_l,
            ph=water.ph,
            temperature_c=water.temperature_c,
            mix_ph=water.mix_ph,
        ),
        jar=JarUsed(
            name=frame.jar.name,
            volume_ml=recipe.request.jar_ml,
            inner_diameter_mm=frame.jar.inner_diameter_mm,
        ),
        recipe=recipe.request,
    )


def new_on_shelf(recorder: Recorder, plan: TestPlan, *, by: str) -> tuple[ShelfProduct, ...]:
    """The products of a plan's recipe that were not on the shelf and are now.

    Raises
    ------
    Conflict
        If one of them was taken off the shelf.
    """
    kept = {e.product.key: e for e in recorder.store.shelf_products()}
    fresh = []
    for p in plan.recipe.products if plan.recipe else ():
        entry = kept.get(p.product.key)
        if entry is None:
            fresh.append(replace(p.product, lot=""))
        elif entry.retired:
            msg = (
                f"{entry.product.said} was taken off the shelf by {entry.by}: bring it back on the shelf, or take it "
                "out of the recipe; nothing you typed is lost."
            )
            raise Conflict(msg)
    entries = [shelf_entry(recorder, p, by=by, before=None) for p in fresh]
    if entries:
        recorder.store.put_on_shelf(entries)
    return tuple(fresh)


def start_from_recipe(recorder: Recorder, plan: TestPlan, *, by: str, utc_offset_min: int) -> JarTest:
    """A new test with this plan; products of its recipe that nobody knew yet stand on the shelf from now on.

    Raises
    ------
    Conflict
        If a product was taken off the shelf meanwhile; nothing is started then.
    """
    checked_name(by)
    new_on_shelf(recorder, plan, by=by)
    return recorder.start_test(plan, by=by, utc_offset_min=utc_offset_min)
