"""At the bench: addition by addition, each with one tap; and a stop the moment something goes wrong."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.words import products_in
from jartest.plan.order import OrderStep
from jartest.plan.recipe import JarRecipe, RecipeLine
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

__all__ = ["draw_mixing", "draw_next_addition", "draw_what_was_done"]


def _key(case: Case, *parts: object) -> str:
    return state.key("test", case.test.id, *parts)


def _following(case: Case, standing: RunningTest) -> int | None:
    """The product that goes in next, by its place in the plan; None once all are ticked."""
    count = len(case.test.plan.products)
    return next((n for n in range(1, count + 1) if n not in standing.added), None)


def _recipe(recorder: Recorder, case: Case) -> tuple[JarRecipe | None, list[int]]:
    going_in = [n for n, _ in products_in(case)[1]]
    return recipe_of(recorder, case.test.plan, positions=going_in), going_in


# ------------------------------------------------------------------ what is due
def draw_next_addition(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """The one act that is due while mixing: the next product, then the start of the clock."""
    n = _following(case, standing)
    if n is None:
        _finish_button(recorder, case, standing, main=True)
        return
    recipe, going_in = _recipe(recorder, case)
    if recipe is not None and n in going_in:
        line, step = _line_of(recipe, going_in, n)
        st.caption(f"{plain(say_measure(line))}. {plain(step.reason)}.")
    _add_button(recorder, case, n, main=True)


def _line_of(recipe: JarRecipe, going_in: list[int], n: int) -> tuple[RecipeLine, OrderStep]:
    place = going_in.index(n)
    return recipe.lines[place], [s for s in recipe.steps if s.act == "add"][place]


def _add_button(recorder: Recorder, case: Case, n: int, *, main: bool) -> None:
    pressed = st.button(
        f"Add {n} · {plain(say_product(case.test.plan.products[n - 1]))}",
        key=_key(case, "in", n),
        type="primary" if main else "secondary",
        width="stretch",
        wrap=True,
    )
    if pressed and skipped_before(case, n):
        state.put(_key(case, "ask"), n)
        st.rerun()
    elif pressed:
        _tick(recorder, case, n)


def _finish_button(recorder: Recorder, case: Case, standing: RunningTest, *, main: bool) -> None:
    """The start of the clock; what is not ticked is asked about first."""
    asked = _key(case, "ask-finish")
    open_ = [n for n in range(1, len(case.test.plan.products) + 1) if n not in standing.added]
    pressed = st.button(
        "Mixing done, start the clock",
        key=_key(case, "mixed"),
        type="primary" if main else "secondary",
        width="stretch",
    )
    if pressed and open_ and recorder.case(case.test.id).mixed_at is None:
        state.put(asked, True)
    elif pressed:
        _finish(recorder, case)
    if open_ and state.get(asked):
        names = ", ".join(f"{n} · {plain(case.test.plan.products[n - 1].name)}" for n in open_)
        with st.container(border=True):
            st.warning(
                f"Not ticked: {names}. What is not ticked counts as left out, and the test makes no tank card."
            )
            if st.button("Left out: start the clock", key=_key(case, "finish-anyway"), width="stretch"):
                _finish(recorder, case)
            st.button(
                "Back: it still goes in",
                key=_key(case, "not-finished"),
                width="stretch",
                on_click=state.put,
                args=(asked, None),
            )


def _finish(recorder: Recorder, case: Case) -> None:
    with error_box():
        recorder.finish_mixing(case.test.id, by=name())
        state.put(_key(case, "ask-finish"), None)
        st.rerun()


# ---------------------------------------------------------------- the whole list
def draw_mixing(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """What goes in, in its order, and what is in; the act that is due is `draw_next_addition`'s."""
    recipe, going_in = _recipe(recorder, case)
    following = _following(case, standing)
    if recipe is None:
        _draw_plain_list(recorder, case, standing, following)
    else:
        _draw_steps(recorder, case, standing, recipe, going_in, following)
    st.caption(f"After each: turn the closed jar over gently, and look. {REACTION}")
    if following is not None:
        _finish_button(recorder, case, standing, main=False)
    _did_not_go_in(recorder, case)
    _stop_here(recorder, case, standing)


def _draw_plain_list(recorder: Recorder, case: Case, standing: RunningTest, following: int | None) -> None:
    plan = case.test.plan
    if not standing.added:
        draw_caution_list(cautions_of_plan(recorder, plan))
    st.markdown(f"#### Fill the jar: {say_volume(plan.jar.volume_ml)} of water, then in this order")
    for n, product in enumerate(plan.products, 1):
        if n == following:
            st.markdown(f"### {n} · {plain(say_product(product))}")
        _addition(recorder, case, standing, n, following)


def _draw_steps(
    recorder: Recorder,
    case: Case,
    standing: RunningTest,
    recipe: JarRecipe,
    going_in: list[int],
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
        _addition(recorder, case, standing, n, following)


def _addition(recorder: Recorder, case: Case, standing: RunningTest, n: int, following: int | None) -> None:
    """One product: when it went in; or a button, save for the next one, whose button is always in reach."""
    if n in standing.added:
        _in_jar(recorder, case, next(e for e in case.additions if e.position == n))
        return
    if n != following:
        _add_button(recorder, case, n, main=False)
    if state.get(_key(case, "ask")) == n and skipped_before(case, n):
        _ask(recorder, case, n)


def _tick(recorder: Recorder, case: Case, n: int, *, out_of_order: bool = False) -> None:
    with error_box():
        recorder.add_product(case.test.id, n, by=name(), out_of_order=out_of_order)
        state.put(_key(case, "ask"), None)
        st.rerun()


def _ask(recorder: Recorder, case: Case, n: int) -> None:
    """Out of order: asked before it is kept."""
    product = plain(case.test.plan.products[n - 1].name)
    with st.container(border=True):
        st.warning(f"{plain(skipped_before(case, n))} Is {product} in the jar already?")
        if st.button("Yes, it went in now", key=_key(case, "yes", n), width="stretch"):
            _tick(recorder, case, n, out_of_order=True)
        st.button(
            "No, not yet",
            key=_key(case, "no", n),
            width="stretch",
            on_click=state.put,
            args=(_key(case, "ask"), None),
        )


# ------------------------------------------------------------------- taking back
def _in_jar(recorder: Recorder, case: Case, tick: Event) -> None:
    """What is in and when it went in, one line; and for ten seconds the way back from a slip of the thumb."""
    n = tick.position or 0
    said = f"{n} · {plain(say_product(case.test.plan.products[n - 1]))}"
    asked = _key(case, "ask-undo")
    slip = not case.signed and recorder.now() - tick.at <= UNDO
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.markdown(
            f"{STATE_SHAPES['taken']} **{said}** · in at {clock(tick.at, case.test, day=False)}",
            width="stretch",
        )
        # The style sheet takes the button away after the ten seconds that it is good for.
        key, pressed = _key(case, "undo", tick.id), False
        if slip:
            with st.container(key=f"undo-{tick.id}", width="content"):
                pressed = st.button("Undo", key=key)
    if pressed:
        _take_back(recorder, case, n, "")
    elif state.get(key) and not slip:  # pressed in the instant in which it went away
        state.put(asked, tick.id)
    if state.get(asked) == tick.id and not case.signed:
        _ask_left_out(recorder, case, n)


def _ask_left_out(recorder: Recorder, case: Case, n: int) -> None:
    """An undo that came too late for a slip: asked, as the record will say that the product is not in the jar."""
    product = plain(case.test.plan.products[n - 1].name)
    with st.container(border=True):
        st.warning(f"The tick is more than {UNDO.seconds} seconds old. Did {product} not go in?")
        if st.button(f"{product} is not in the jar", key=_key(case, "not-in", n), width="stretch"):
            _take_back(recorder, case, n, "")
        st.button(
            "It is in",
            key=_key(case, "is-in", n),
            width="stretch",
            on_click=state.put,
            args=(_key(case, "ask-undo"), None),
        )


def _did_not_go_in(recorder: Recorder, case: Case) -> None:
    """Later than that: which of the ticked products did not go in, and why."""
    if case.signed or not case.additions:
        return

    def field(part: str) -> str:
        return _key(case, "left-out", part)

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
        state.put(_key(case, "ask-undo"), None)
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
    else:
        _say_departures(case)


def _say_departures(case: Case) -> None:
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
        _say_departures(case)
        _did_not_go_in(recorder, case)
