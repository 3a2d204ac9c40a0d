"""Before the season: the jars to mix, and the long table that leaves."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.long_table import dictionary_csv, long_csv
from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import plain
from jartest.screens.save_button import save_button

__all__ = ["draw_winter"]


def draw_winter(recorder: Recorder, history: History) -> None:
    """Draw the jars to mix before the season: the mixtures of last season with what is open of each."""
    plan = history.winter_plan(recorder.now())
    st.markdown(f"#### {plain(plan.says)}")
    st.caption(
        "Planned are the mixtures of your newest season, at the doses and in the water of their last test."
    )
    for n, jar in enumerate(plan.jars, 1):
        st.markdown(f"**{n}. {plain(' + '.join(jar.mix.products))}**")
        st.markdown("\n".join(f"- {plain(f'{a} with {b}: {why}')}" for (a, b), why in jar.settles))
    st.markdown("#### Tables")
    with st.container(horizontal=True):
        save_button(
            "Every test by product, as CSV",
            lambda: long_csv(recorder.store.product_lines(samples=history.samples)),
            file="tests-by-product.csv",
            mime="text/csv",
            key=state.key("history", "long"),
        )
        save_button(
            "What its columns mean",
            dictionary_csv,
            file="tests-by-product-columns.csv",
            mime="text/csv",
            key=state.key("history", "dictionary"),
        )
