"""New test: what goes into the jar, and when to look."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import streamlit as st

from jartest.errors import BadEntry
from jartest.jars import offered_jars
from jartest.plan.jars import USUAL_FILL_ML
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, TestPlan
from jartest.screens import plan_form, recipe_form, state
from jartest.screens.again_part import draw_same_as
from jartest.screens.before_part import draw_before
from jartest.screens.parts import error_box, go_to, utc_offset_min
from jartest.screens.who import ask_name, name
from jartest.screens.words import BEFORE_MIXING
from jartest.tank import start_from_recipe

__all__ = ["render"]

_FORM = "new"
_BY = state.key(_FORM, "by")
_WAYS = {"jar": "Jar amounts", "tank": "Tank recipe"}


def render(recorder: Recorder) -> None:
    """Draw the form of a new test; starting it leads to the test itself."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown("## New test")
        ask_name(recorder)
    if not plan_form.is_filled(_FORM):
        last = recorder.store.last_plan()
        like = _like_last_time(last)
        plan_form.fill(_FORM, like)
        recipe_form.fill(_FORM, replace(like, recipe=last.recipe if last else None), with_products=False)
        state.put(_BY, "tank" if last and last.recipe else "jar")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        by_tank = _ask_way() == "tank"
        draw_same_as(_FORM, recorder, _take)
    left, right = st.columns([11, 9], gap="medium")
    with left:
        if by_tank:
            recipe_form.draw(_FORM, recorder, beside=right)
        else:
            plan_form.draw(_FORM, recorder.known_products(), offered_jars(recorder))
    with right, suppress(BadEntry):  # the form says so itself, beside the line
        plan = _read(recorder, by_tank=by_tank)
        if not by_tank:
            plan_form.draw_cautions(_FORM, recorder, plan)
        draw_before(recorder, plan)
    with right:
        st.info("\n".join(f"- {x}" for x in BEFORE_MIXING), icon=":material/front_hand:")
    if st.button("Start this test", type="primary", width="stretch", key=state.key(_FORM, "start")):
        with error_box():
            plan = _read(recorder, by_tank=by_tank)
            test = start_from_recipe(recorder, plan, by=name(), utc_offset_min=utc_offset_min())
            state.clear(_FORM)
            go_to("test", id=test.id)


def _take(plan: TestPlan) -> None:
    """Put an earlier plan into the form, with its products."""
    state.clear(_FORM)
    plan_form.fill(_FORM, plan)
    recipe_form.fill(_FORM, plan, with_products=plan.recipe is not None)
    state.put(_BY, "tank" if plan.recipe is not None else "jar")


def _ask_way() -> str:
    """Whether amounts are typed for the jar, or reckoned from the tank's rates."""
    way = st.segmented_control(
        "What you have",
        list(_WAYS),
        key=_BY,
        required=True,
        format_func=lambda w: _WAYS[w],
        persist_state="session",
    )
    return str(way)


def _read(recorder: Recorder, *, by_tank: bool) -> TestPlan:
    return recipe_form.read(_FORM, recorder) if by_tank else plan_form.read(_FORM)


def _like_last_time(last: TestPlan | None) -> TestPlan:
    """An empty plan with the water and the jar of the last test that was no sample; a jar full to its brim is not taken over."""
    usual = JarUsed(volume_ml=USUAL_FILL_ML)
    if last is None:
        return TestPlan(title="", jar=usual)
    jar = usual if last.jar == JarUsed() else last.jar
    return TestPlan(title="", water=replace(last.water, mix_ph=None), jar=jar)
