"""History: what stands out, what goes with what, what was approved, who is to blame, which jar next, whose eye."""

from __future__ import annotations

import streamlit as st

from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.agreement_part import draw_agreement
from jartest.screens.approved_part import draw_approved
from jartest.screens.blame_part import draw_blame
from jartest.screens.looks_part import draw_keeping, draw_looks
from jartest.screens.pairs_part import draw_pairs
from jartest.screens.parts import link_to, plain
from jartest.screens.product_part import draw_product, pick_product
from jartest.screens.stands_out_part import draw_stands_out
from jartest.screens.winter_part import draw_winter

__all__ = ["render"]

_VIEWS = (
    "What stands out",
    "Pairs",
    "One product",
    "Approved",
    "Suspects and next jar",
    "Before the season",
    "How good are we",
)
_CHOICES = (
    "samples", "view", "rolled", "failed", "by", "product", "of product", "of kind", "of season", "of water",
)  # what a saved look keeps  # fmt: skip
_POLL_S = 2  # how soon a screen sees that the tests were weighed (our choice)
_VIEW = state.key("history", "view")


def render(recorder: Recorder) -> None:
    """Draw the view that was picked, over the shop's own tests or the samples."""
    st.markdown("## History")
    samples = False
    if recorder.store.sample_count():
        samples = st.toggle("Show the sample tests (invented) instead", key=state.key("history", "samples"))
    draw_looks(recorder, "history", _CHOICES)
    if state.get(_VIEW) is None:
        state.put(_VIEW, "Suspects and next jar" if "of" in st.query_params else _VIEWS[0])
    view = str(st.segmented_control("View", _VIEWS, key=_VIEW, width="stretch", label_visibility="collapsed"))
    history = recorder.history(samples=samples)
    if history.model is None:
        _wait(recorder, samples=samples)
    _draw(recorder, history, view, samples=samples)
    st.caption(
        f"Only signed tests count here, each with the word it was signed under. {plain(history.model_says)}"
    )
    draw_keeping(recorder, "history", _CHOICES, ask=view != "How good are we")
    link_to("tests", "Search all tests")


@st.fragment(run_every=_POLL_S)
def _wait(recorder: Recorder, *, samples: bool) -> None:
    """Say that the tests are being weighed, and draw the screen again once that is done."""
    history = recorder.history(samples=samples)
    if history.model is not None:
        st.rerun(scope="app")
    st.info(plain(history.model_says), icon=":material/hourglass_top:")


def _draw(recorder: Recorder, history: History, view: str, *, samples: bool) -> None:
    if view == "Suspects and next jar":
        draw_blame(recorder, samples=samples)
    elif view == "How good are we":
        draw_agreement(recorder, history)
    elif view == "One product":
        draw_product(recorder, history, history.pair_table())
    elif view == "Approved":
        draw_approved(recorder, history)
    elif view == "Before the season":
        draw_winter(recorder, history)
    elif view == "Pairs":
        draw_pairs(history)
    else:
        table = history.pair_table()
        if table.cells:
            pick_product(table.products, picked=_to_product)
        draw_stands_out(recorder, history, table)


def _to_product() -> None:
    """A product that was picked is shown on its own page."""
    state.put(_VIEW, "One product")
