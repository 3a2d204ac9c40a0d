"""A record without the names of people, customers and places."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from jartest.records.model import Case, JarTest, Look, PhotoInfo

__all__ = ["without_names"]


def without_names(case: Case) -> Case:
    """The case with people as “person 1, 2, ...” and without what commonly names a customer or a place.

    Left out are the test's title (its products stand there instead), its notes, the source of its water,
    the lots, and the photos' file names.  What was written as observation, note or reason stays, because
    it is what an opinion is asked on: whoever wrote a name there has to take it out.
    """
    numbers: dict[str, str] = {}

    def person(name: str) -> str:
        return numbers.setdefault(name, f"person {len(numbers) + 1}") if name else ""

    def by(value: Any) -> Any:
        return replace(value, by=person(value.by))

    def test(of: JarTest) -> JarTest:
        plan = of.plan
        names = " + ".join(p.name for p in plan.products) or "A mixture"
        recipe = plan.recipe
        if recipe is not None:
            bare = tuple(replace(p, product=replace(p.product, lot="")) for p in recipe.products)
            recipe = replace(recipe, products=bare, water=replace(recipe.water, source=""))
        plan = replace(
            plan,
            recipe=recipe,
            title=names,
            notes="",
            water=replace(plan.water, source=""),
            products=tuple(replace(p, lot="") for p in plan.products),
        )
        return replace(of, opened_by=person(of.opened_by), revised_by=person(of.revised_by), plan=plan)

    def photo(of: PhotoInfo) -> PhotoInfo:
        return replace(of, original_name="", received_by=person(of.received_by))

    def look(of: Look) -> Look:
        return replace(of, by=person(of.by), photo=photo(of.photo))

    return replace(
        case,
        test=test(case.test),
        revisions=tuple(test(r) for r in case.revisions),
        events=tuple(by(e) for e in case.events),
        looks=tuple(look(x) for x in case.looks),
        readings=tuple(by(r) for r in case.readings),
        observations=tuple(by(o) for o in case.observations),
        opinions=tuple(by(o) for o in case.opinions),
        signatures=tuple(by(s) for s in case.signatures),
        second_opinions=tuple(by(s) for s in case.second_opinions),
    )
