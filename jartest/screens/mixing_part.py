"""At the bench: addition by addition, each with one tap; and a stop the moment something goes wrong."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.exchange.words import products_in
from jartest.plan.recipe import JarRecipe
from jartest.recorder import UNDO, Recorder, RunningTest, skipped_before
from jartest.records.done import departures_of
from jartest.records.model import Case, Event
from jartest.screens import state
from jartest.screens.caution_part import draw_caution_list
from jartest.screens.parts import STATE_SHAPES, clock, error_box, plain, say_product
from jartest.screens.recipe_part import draw_cautions, say_jar, say_measure, say_step
from jartest.screens.who import name
from jartest.screens.words import REACTION
from jartest.tank import cautions_of_plan, recipe_of
from jartest.units import say_volume

__all__ = ["draw_mixing", "draw_what_was_done"]


def draw_mixing(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """The products as large buttons in their order, then the start of the clock."""
    going_in = [n for n, _ in products_in(case)[1]]
    recipe = recipe_of(recorder, case.test.plan, positions=going_in)
    count = len(case.test.plan.products)
    following = next((n for n in range(1, count + 1) if n not in standing.added), None)
    if recipe is None:
        if not standing.added:
            draw_caution_list(cautions_of_plan(recorder, case.test.plan))
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
    _did_not_go_in(recorder, case)
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
        _in_jar(recorder, case, next(e for e in case.additions if e.position == n))
        return
    asked = state.key("test", test_id, "ask")
    if st.button(
        f"In: {n} · {plain(say_product(product))}",
        key=state.key("test", test_id, "in", n),
        type="primary" if main else "secondary",
        width="stretch",
        wrap=True,
    ):
        if skipped_before(case, n):
            state.put(asked, n)
        else:
            _tick(recorder, case, n)
    if state.get(asked) == n and skipped_before(case, n):
        _ask(recorder, case, n)


def _tick(recorder: Recorder, case: Case, n: int, *, out_of_order: bool = False) -> None:
    with error_box():
        recorder.add_product(case.test.id, n, by=name(), out_of_order=out_of_order)
        state.put(state.key("test", case.test.id, "ask"), None)
        st.rerun()


def _ask(recorder: Recorder, case: Case, n: int) -> None:
    """Out of order: asked before it is kept."""
    product = plain(case.test.plan.products[n - 1].name)
    with st.container(border=True):
        st.warning(f"{plain(skipped_before(case, n))} Is {product} in the jar already?")
        if st.button("Yes, it went in now", key=state.key("test", case.test.id, "yes", n), width="stretch"):
            _tick(recorder, case, n, out_of_order=True)
        st.button(
            "No, not yet",
            key=state.key("test", case.test.id, "no", n),
            width="stretch",
            on_click=state.put,
            args=(state.key("test", case.test.id, "ask"), None),
        )


def _in_jar(recorder: Recorder, case: Case, tick: Event) -> None:
    """What is in and when it went in, one line; and for ten seconds the way back from a slip of the thumb."""
    n = tick.position or 0
    said = f"{n} · {plain(say_product(case.test.plan.products[n - 1]))}"
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(
            f"{STATE_SHAPES['taken']} **{said}** · in at {clock(tick.at, case.test, day=False)}",
            width="stretch",
        )
        slip = not case.signed and recorder.now() - tick.at <= UNDO
        if slip and st.button("Undo", key=state.key("test", case.test.id, "undo", tick.id)):
            _take_back(recorder, case, n, "")


def _did_not_go_in(recorder: Recorder, case: Case) -> None:
    """Later than that: which of the ticked products did not go in, and why."""
    if case.signed or not case.additions:
        return

    def field(part: str) -> str:
        return state.key("test", case.test.id, "left-out", part)

    products = case.test.plan.products
    with st.popover("Ticked, but it did not go in?", width="stretch"):
        n = st.radio(
            "Which",
            [e.position or 0 for e in case.additions],
            index=None,
            key=field("which"),
            format_func=lambda n: f"{n} · {plain(products[n - 1].name)}",
        )
        why = st.text_input("Why (optional)", key=field("why"), max_chars=500)
        label = f"{plain(products[n - 1].name)} did not go in" if n else "First choose which"
        if st.button(label, key=field(str(n)), type="primary", width="stretch", disabled=not n) and n:
            _take_back(recorder, case, n, why)


def _take_back(recorder: Recorder, case: Case, n: int, note: str) -> None:
    with error_box():
        recorder.take_back(case.test.id, n, by=name(), note=note)
        state.clear("test", case.test.id, "left-out")
        st.rerun()


def _stop_here(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """One tap and a word; the record keeps after which addition it was."""
    if not standing.added:
        return
    last = case.additions[-1].position or 0
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


def draw_what_was_done(recorder: Recorder, case: Case) -> None:
    """What went in, once mixing is done; and what was done otherwise than advised."""
    if case.mixed_at is not None and case.test.plan.products:
        _draw_jar(recorder, case)
    said = departures_of(case)
    if said:
        st.markdown("**Done otherwise than advised**\n" + "\n".join(f"- {plain(s)}" for s in said))


def _draw_jar(recorder: Recorder, case: Case) -> None:
    products = case.test.plan.products
    with st.expander(f"In the jar: {len(case.additions)} of {len(products)} products ticked"):
        for tick in case.additions:
            _in_jar(recorder, case, tick)
        ticked = {e.position for e in case.additions}
        for n, product in enumerate(products, 1):
            if n not in ticked:
                how = "did not go in" if n in case.left_out else "not ticked"
                st.markdown(f"{STATE_SHAPES['missed']} {n} · {plain(say_product(product))} · {how}")
        _did_not_go_in(recorder, case)
