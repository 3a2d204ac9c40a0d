"""A jar's recipe in words: what goes in and how to measure it, why in this order, and what to beware of."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from jartest.plan.order import OrderStep
from jartest.plan.recipe import JarRecipe, RecipeLine
from jartest.screens.caution_part import draw_caution_list
from jartest.screens.parts import plain
from jartest.units import say_amount, say_area, say_number, say_volume

__all__ = ["draw_cautions", "draw_steps", "say_fill", "say_jar", "say_measure", "say_step"]

_ACTS = {"fill": "Fill", "agitate": "Stir", "wait": "Wait", "top up": "Top up"}


def draw_cautions(recipe: JarRecipe, *, asked: bool = False) -> None:
    """What to know before mixing: labels that are not followed, the cautions, the order, and the amounts.

    `asked` says that what a product's name tells is asked about beside it.
    """
    for says in recipe.order.contradictions:
        st.error(f"**Not allowed.** {plain(says)}", icon=":material/block:")
    draw_caution_list(recipe.cautions, asked=asked)
    if recipe.order.warnings:
        listed = [f"- **Beware.** {plain(says)}" for says in recipe.order.warnings]
        st.warning("\n".join(listed), icon=":material/swap_vert:")
    told = {c.says for c in recipe.cautions} | {*recipe.order.contradictions, *recipe.order.warnings}
    others = [w for w in recipe.warnings if w not in told]
    if others:
        st.warning("\n".join(f"- {plain(says)}" for says in others), icon=":material/straighten:")


def say_jar(line: RecipeLine) -> str:
    """The jar's amount: `5.91 mL (1.2 tsp)`, `3.2 g (0.113 oz)`."""
    return say_amount(ml=line.jar_ml, g=line.jar_g)


def say_measure(line: RecipeLine) -> str:
    """How to measure the jar's amount at the bench."""
    bench, unit, tool = line.bench, *(("mL", "syringe") if line.jar_ml is not None else ("g", "scale"))
    if not bench.measurable:
        return "too little to measure: see the note below"
    return f"{tool} to {say_number(bench.measured)} {unit} ({bench.off_fraction:+.1%}); {bench.spoons}"


def say_fill(recipe: JarRecipe) -> str:
    """How much of the carrier goes in first."""
    low, high = recipe.first_fill_ml()
    amount = say_volume(low) if low == high else f"{say_volume(low)} to {say_volume(high)}"
    return f"{recipe.order.variant.fill_says}: **{amount}** of the jar's {say_volume(recipe.jar_carrier_ml)} of carrier"


def say_step(recipe: JarRecipe, step: OrderStep) -> str:
    """A step that adds nothing, in words: `Stir: until everything dry is dispersed`."""
    says = say_fill(recipe) if step.act == "fill" else plain(step.says)
    if step.act == "top up":
        says = f"{says}: {say_volume(recipe.jar_carrier_ml)} of carrier in all"
    return f"**{_ACTS[step.act]}** · {says}"


def draw_steps(recipe: JarRecipe, order: Callable[[], None]) -> None:
    """Every step in its order, a line each; how to measure, why in this order, and `order` to change it unfold below."""
    lines = iter(recipe.lines)
    said, why = [], []
    place = 0
    for step in recipe.steps:
        if step.act != "add":
            said.append(say_step(recipe, step))
            continue
        line = next(lines)
        place += 1
        said.append(f"**{place} · {plain(line.product.said_with_code)}** · in the jar **{say_jar(line)}**")
        by = "The label says so" if step.by_label else "Why here"
        why.append(
            f"**{place} · {plain(line.product.said_with_code)}** Measure: {plain(say_measure(line))}. Full tank: "
            f"{say_amount(ml=line.tank_ml, g=line.tank_g, us_first=True)}. Read as {plain(line.rate.read_as)}. {by}: {plain(step.reason)}. Source: {plain(step.source)}."
        )
    st.markdown("  \n".join(said))
    with st.expander("How to measure it, why in this order, and another order"):
        _draw_totals(recipe)
        for says in why:
            st.markdown(says)
        order()


def _draw_totals(recipe: JarRecipe) -> None:
    request = recipe.request
    known = "" if recipe.product_volume_known else " (volume of weighed products not counted)"
    said = [
        f"Tank {plain(request.tank_volume.read_as)}",
        f"jar {plain(request.jar_volume.read_as)}, {request.basis} basis",
        f"products {say_volume(recipe.product_volume_ml)}{known}, carrier {recipe.carrier_fraction:.1%} of the jar",
    ]
    if recipe.area_treated_m2 is not None:
        said.append(f"one tank covers {say_area(recipe.area_treated_m2, us_first=True)}")
    st.caption(" · ".join(said))
