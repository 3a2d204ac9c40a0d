"""What was done at the bench beside what its recipe advised."""

from __future__ import annotations

from collections.abc import Sequence

from jartest.plan.order import advise_order, departures
from jartest.plan.scaling import RecipeRequest
from jartest.records.model import Case, Product, TestPlan

__all__ = ["departures_of", "done_of", "places_in"]


def places_in(request: RecipeRequest, products: Sequence[Product]) -> list[int]:
    """Where each product of a plan stands in its recipe."""
    place = {p.product.key: i for i, p in enumerate(request.products)}
    return [place[_key(p)] for p in products]


def _key(product: Product) -> tuple[str, str]:
    return " ".join(product.name.split()).casefold(), " ".join(product.maker.split()).casefold()


def done_of(case: Case, plan: TestPlan) -> list[int]:
    """The places in the recipe of what went in, first to last; what was ticked in keeps its place in the plan."""
    if plan.recipe is None:
        return []
    places = places_in(plan.recipe, plan.products)
    return [places[e.position - 1] for e in case.additions if e.position is not None]


def departures_of(case: Case) -> tuple[str, ...]:
    """How the order in which the products went in departs from the advised one, a sentence each."""
    request = case.test.plan.recipe
    done = done_of(case, case.test.plan)
    if request is None or not done:
        return ()
    products = [p.as_measured for p in request.products]
    said = departures(products, advise_order(products, request.order), done)
    if len(done) == len(products):
        return said
    # While products still go in, what has not gone in is no departure.
    return tuple(s for s in said if "did not go in" not in s)
