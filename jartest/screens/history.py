"""History: which pairs are trouble, who is to blame, which jar next, and how good we are."""

from __future__ import annotations

import streamlit as st

from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.agreement_part import draw_agreement
from jartest.screens.blame_part import draw_blame
from jartest.screens.pairs_part import draw_pairs
from jartest.screens.parts import link_to

__all__ = ["render"]

_VIEWS = ("Pairs", "Suspects and next jar", "How good are we")


def render(recorder: Recorder) -> None:
    """Draw the view that was picked, over the shop's own tests or the samples."""
    st.markdown("## History")
    samples = False
    if recorder.store.sample_count():
        samples = st.toggle("Show the sample tests (invented) instead", key=state.key("history", "samples"))
    asked = "Suspects and next jar" if "of" in st.query_params else "Pairs"
    view = st.segmented_control(
        "View", _VIEWS, default=asked, key=state.key("history", "view"), width="stretch"
    )
    history = recorder.history(samples=samples)
    if view == "Suspects and next jar":
        draw_blame(recorder, samples=samples)
    elif view == "How good are we":
        draw_agreement(recorder, history)
    else:
        draw_pairs(history)
    st.caption("Only signed tests count here, each with the word it was signed under.")
    link_to("tests", "Search all tests")
