"""A new plan from an earlier one: the same, or the same with a product of another maker."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from jartest.errors import BadEntry
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
from jartest.screens import state
from jartest.screens.parts import plain

__all__ = ["draw_same_as", "plan_again"]


def draw_same_as(form: str, recorder: Recorder, put: Callable[[TestPlan], None]) -> None:
    """The number of an earlier test, whose plan fills the form in one tap."""
    says = state.key("again", form)

    def take(*, other_maker: bool) -> None:
        try:
            put(plan_again(recorder, str(state.get(state.key(form, "again"), "")), other_maker=other_maker))
            state.put(says, "")
        except BadEntry as e:
            state.put(says, str(e))

    with st.popover("Same as an earlier test"):
        st.text_input("Number of the test", key=state.key(form, "again"), placeholder="12", max_chars=12)
        with st.container(horizontal=True):
            st.button("Same again", key=state.key(form, "same"), on_click=take, kwargs={"other_maker": False})
            st.button(
                "Same, other maker",
                key=state.key(form, "other"),
                on_click=take,
                kwargs={"other_maker": True},
                help="Makers and lots are left empty, to be typed for the products at hand.",
            )
    if state.get(says):
        st.error(plain(str(state.get(says))))


def plan_again(recorder: Recorder, typed: str, *, other_maker: bool) -> TestPlan:
    """The plan of the test of that number without lots, title and the mixture's pH, which were that jar's own.

    With `other_maker` no product keeps its maker.

    Raises
    ------
    BadEntry
        If no test has that number.
    """
    number = typed.strip().removeprefix("#").strip()
    found = (
        [r for r in recorder.find(number, limit=50) if str(r.number) == number] if number.isdecimal() else []
    )
    if not found:
        msg = f"There is no test {typed.strip()[:12]!r}: type the number of an earlier test, such as 12."
        raise BadEntry(msg)
    plan = recorder.case(found[0].id).test.plan

    def maker(now: str) -> str:
        return "" if other_maker else now

    recipe = plan.recipe
    if recipe is not None:
        lines = [
            replace(p, product=replace(p.product, maker=maker(p.product.maker), lot=""))
            for p in recipe.products
        ]
        recipe = replace(recipe, products=tuple(lines), water=replace(recipe.water, mix_ph=None))
    products = tuple(replace(p, maker=maker(p.maker), lot="") for p in plan.products)
    water = replace(plan.water, mix_ph=None)
    return replace(plan, title="", notes="", products=products, recipe=recipe, water=water)
