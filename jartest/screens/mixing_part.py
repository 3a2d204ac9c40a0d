"""At the bench: addition by addition, each with one tap; and a stop the moment something goes wrong."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.exchange.words import products_in
from jartest.plan.recipe import JarRecipe
from jartest.recorder import Recorder, RunningTest
from jartest.records.done import departures_of
from jartest.records.model import Case
from jartest.screens import state
from jartest.screens.parts import STATE_SHAPES, clock, error_box, plain, say_product
from jartest.screens.recipe_part import draw_cautions, say_jar, say_measure, say_step
from jartest.screens.who import name
from jartest.screens.words import REACTION
from jartest.tank import recipe_of
from jartest.units import say_volume

__all__ = ["draw_mixing", "draw_what_was_done"]


def draw_mixing(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """The products as large buttons in their order, then the start of the clock."""
    going_in = [n for n, _ in products_in(case)[1]]
    recipe = recipe_of(recorder, case.test.plan, positions=going_in)
    count = len(case.test.plan.products)
    following = next((n for n in range(1, count + 1) if n not in standing.added), None)
    if recipe is None:
        st.markdown(
            f"#### Fill the jar: {say_volume(case.test.plan.jar.volume_ml)} of water, then in this order"
        )
        for n in range(1, count + 1):
            _addition(recorder, case, standing, n, main=n == following)
    else:
        _steps(recorder, case, standing, recipe, going_in, following)
    st.caption(f"After each: turn the closed jar over gently, and look. {REACTION}")
    test_id = case.test.id
    if st.button(
        "Mixing done, start the clock",
        key=state.key("test", test_id, "mixed"),
        type="secondary" if following else "primary",
        width="stretch",
    ):
        with error_box():
            recorder.finish_mixing(test_id, by=name())
            st.rerun()
    _stop_here(recorder, case, standing)


def _steps(
    recorder: Recorder,
    case: Case,
    standing: RunningTest,
    recipe: JarRecipe,
    going_in: Sequence[int],
    following: int | None,
) -> None:
    """The recipe's steps as the products really go in; the amount of the next is the largest thing on the screen."""
    st.markdown(f"#### Fill the jar: {say_volume(recipe.jar_carrier_ml)} of water in all, in this order")
    if not standing.added:
        draw_cautions(recipe)
    lines = iter(zip(going_in, recipe.lines, strict=True))
    for step in recipe.steps:
        if step.act != "add":
            st.markdown(say_step(recipe, step))
            continue
        n, line = next(lines)
        if n == following:
            st.markdown(f"### {n} · {say_jar(line)} of {plain(line.product.said)}")
            st.caption(f"Measure: {plain(say_measure(line))}. {plain(step.reason)}.")
        _addition(recorder, case, standing, n, main=n == following)


def _addition(recorder: Recorder, case: Case, standing: RunningTest, n: int, *, main: bool) -> None:
    """One product: a button until it is in, then when it went in."""
    test_id, product = case.test.id, case.test.plan.products[n - 1]
    if n in standing.added:
        at = next(e.at for e in case.events if e.kind == "added" and e.position == n)
        st.markdown(
            f"{STATE_SHAPES['taken']} **{n} · {plain(say_product(product))}** · in at {clock(at, case.test, day=False)}"
        )
    elif st.button(
        f"In: {n} · {plain(say_product(product))}",
        key=state.key("test", test_id, "in", n),
        type="primary" if main else "secondary",
        width="stretch",
        wrap=True,
    ):
        with error_box():
            recorder.add_product(test_id, n, by=name())
            st.rerun()


def _stop_here(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """One tap and a word; the record keeps after which addition it was."""
    if not standing.added:
        return
    last = [e.position for e in case.events if e.kind == "added" and e.position is not None][-1]
    after = f"after {last}: {case.test.plan.products[last - 1].name}"
    with st.popover(f"✖ Stop here, {plain(after)}", width="stretch"):
        st.markdown(REACTION)
        what = st.text_input(
            "What happened",
            key=state.key("test", case.test.id, "what-happened"),
            placeholder="clouds, curds, gel, warm …",
            max_chars=500,
        )
        if st.button("Stop here", key=state.key("test", case.test.id, "stop-here"), type="primary"):
            with error_box():
                recorder.stop_test(case.test.id, by=name(), note=what)
                st.rerun()


def draw_what_was_done(case: Case) -> None:
    """What was done beside what was advised, where the two differ."""
    said = departures_of(case)
    if said:
        st.markdown("**Done otherwise than advised**\n" + "\n".join(f"- {plain(s)}" for s in said))
