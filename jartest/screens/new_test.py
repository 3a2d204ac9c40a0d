"""New test: what goes into the jar, and when to look."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from jartest.errors import BadEntry
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
from jartest.screens import plan_form, state
from jartest.screens.before_part import draw_before
from jartest.screens.parts import error_box, go_to, utc_offset_min
from jartest.screens.who import ask_name, name
from jartest.screens.words import BEFORE_MIXING

__all__ = ["render"]

_FORM = "new"


def render(recorder: Recorder) -> None:
    """Draw the form of a new test; starting it leads to the test itself."""
    st.markdown("## New test")
    ask_name(recorder)
    if not plan_form.is_filled(_FORM):
        plan_form.fill(_FORM, _like_last_time(recorder))
    plan_form.draw(_FORM, recorder.known_products())
    _say_before(recorder)
    st.info("\n".join(f"- {x}" for x in BEFORE_MIXING), icon=":material/front_hand:")
    if st.button("Start this test", type="primary", width="stretch", key=state.key(_FORM, "start")):
        with error_box():
            plan = plan_form.read(_FORM)
            test = recorder.start_test(plan, by=name(), utc_offset_min=utc_offset_min())
            state.clear(_FORM)
            go_to("test", id=test.id)


def _say_before(recorder: Recorder) -> None:
    """What earlier tests say of the products typed so far; nothing while a line cannot be read yet."""
    with suppress(BadEntry):  # the form says so itself, beside the line
        draw_before(recorder, plan_form.read(_FORM))


def _like_last_time(recorder: Recorder) -> TestPlan:
    """An empty plan with the water and the jar of the last test that was no sample."""
    own = next((row for row in recorder.find(limit=20) if not row.sample), None)
    if own is None:
        return TestPlan(title="")
    last = recorder.case(own.id).test.plan
    return TestPlan(title="", water=last.water, jar=last.jar)
