"""Bench: what is running and what is due, legible from across the shop."""

from __future__ import annotations

import streamlit as st

from jartest.plan.schedule import next_look
from jartest.recorder import Recorder, RunningTest, board_of, say_slot
from jartest.samples import load_samples
from jartest.screens import state
from jartest.screens.camera_part import draw_heartbeats
from jartest.screens.countdown import countdown
from jartest.screens.parts import STATE_SHAPES, error_box, link_to, plain

__all__ = ["render"]

_POLL_S = 10  # how stale the bench may be when somebody else acts; 5 s and below costs a core for ten tabs


def render(recorder: Recorder) -> None:
    """Draw the bench."""
    if not recorder.count():
        _welcome(recorder)
        return
    link_to("new", "+ Start a new test", main=True)
    _running(recorder)


def _welcome(recorder: Recorder) -> None:
    st.markdown("## Will it mix?")
    st.markdown(
        "Before products share a tank, they share a jar. jartest keeps that jar test: you add the products in "
        "order, take a photo at set times, and it measures what settles, clears, floats and lumps. You write "
        "what you see; you get **pass**, **watch** or **fail** with the reasons, and it is all kept for next season."
    )
    st.markdown(
        "1. **Plan**: products in order, amounts, water. Two minutes.\n"
        "2. **Mix**: one tap for each product that goes in.\n"
        "3. **Look**: a photo when the clock says so; drag four lines if they are off.\n"
        "4. **Decide**: read the verdict, agree or overrule, sign."
    )
    link_to("new", "+ Start your first jar", main=True)
    if st.button("Load the sample tests to look around", width="stretch", key=state.key("bench", "samples")):
        with error_box():
            _load(recorder)
            st.rerun()
    st.caption(
        "The samples are invented: a hop and orchard contractor that does not exist, rendered photos. "
        "Help removes them again."
    )


def _load(recorder: Recorder) -> None:
    text = "Reading the sample photos …"
    shown = st.progress(0.0, text)

    def tell(share: float) -> None:
        shown.progress(share, text)

    load_samples(recorder, tell)


@st.fragment(run_every=_POLL_S)
def _running(recorder: Recorder) -> None:
    with error_box():
        board = board_of(recorder.running())
        st.markdown(f"## On the bench: {len(board.tests)}")
        if not board.tests:
            st.markdown("No jar is standing. Signed and stopped tests are under **All tests**.")
            link_to("tests", "All tests")
            return
        st.markdown(
            f"### {STATE_SHAPES['due']} {board.due} due · {STATE_SHAPES['late']} {board.late} late · "
            f"{STATE_SHAPES['missed']} {board.missed} missed"
        )
        draw_heartbeats({one.test.id: one.test.number for one in board.tests})
        with st.container(key="board"):
            for place, one in enumerate(board.tests):
                _tile(recorder, one, first=place == 0)


def _tile(recorder: Recorder, one: RunningTest, *, first: bool) -> None:
    test, plan = one.test, one.test.plan
    with st.container(border=True, gap="xxsmall"):
        sample = " · sample" if test.sample else ""
        link_to("test", f"{test.number} · {plain(plan.title)}{sample}", id=test.id)
        upcoming = next_look(one.due)
        if one.mixed_at is None:
            st.markdown(f"**Mixing:** {len(one.added)} of {len(plan.products)} products are in.")
        elif upcoming is None or upcoming.due_at is None:
            st.markdown(
                f"**{STATE_SHAPES['taken']} All looks are taken.** It waits for a verdict and a name."
            )
        else:
            countdown(
                f"{say_slot(upcoming.slot.key, plan)} look",
                due_at=upcoming.due_at,
                now=recorder.now(),
                late=upcoming.state == "late",
                offer_sound=first,
                small=True,
                key=state.key("bench", "count", test.id),
            )
        if one.missed:
            st.markdown(f"{STATE_SHAPES['missed']} Missed: {plain(', '.join(one.missed))}")
