"""History: which pairs are trouble, who is to blame, which jar next, and how good we are."""

from __future__ import annotations

import streamlit as st

from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.agreement_part import draw_agreement
from jartest.screens.blame_part import draw_blame
from jartest.screens.looks_part import draw_keeping, draw_looks
from jartest.screens.pairs_part import draw_pairs
from jartest.screens.parts import link_to, plain
from jartest.screens.product_part import draw_product, draw_winter

__all__ = ["render"]

_VIEWS = ("Pairs", "One product", "Suspects and next jar", "Before the season", "How good are we")
_CHOICES = ("samples", "view", "rolled", "failed", "by")  # what a saved look keeps


def render(recorder: Recorder) -> None:
    """Draw the view that was picked, over the shop's own tests or the samples."""
    st.markdown("## History")
    samples = False
    if recorder.store.sample_count():
        samples = st.toggle("Show the sample tests (invented) instead", key=state.key("history", "samples"))
    draw_looks(recorder, "history", _CHOICES)
    chosen = state.key("history", "view")
    if state.get(chosen) is None:
        state.put(chosen, "Suspects and next jar" if "of" in st.query_params else "Pairs")
    view = st.segmented_control("View", _VIEWS, key=chosen, width="stretch")
    history = recorder.history(samples=samples)
    if view == "Suspects and next jar":
        draw_blame(recorder, samples=samples)
    elif view == "How good are we":
        draw_agreement(recorder, history)
    elif view == "One product":
        draw_product(history)
    elif view == "Before the season":
        draw_winter(recorder, history)
    else:
        draw_pairs(history)
    st.caption(
        f"Only signed tests count here, each with the word it was signed under. {plain(history.model_says)}"
    )
    draw_keeping(recorder, "history", _CHOICES, ask=view != "How good are we")
    link_to("tests", "Search all tests")
