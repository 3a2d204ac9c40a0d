"""One product: what goes with it, at what range, on what ground; and the jars to mix before the season."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.long_table import dictionary_csv, long_csv
from jartest.history.pairs import PAIR_SHAPES, PairCell
from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import link_to, plain
from jartest.screens.save_button import save_button

__all__ = ["draw_product", "draw_winter"]


def draw_product(history: History) -> None:
    """Draw what is known of one product with each other one, by state, with the test that each newest pass rests on."""
    table = history.pair_table()
    picked = st.selectbox(
        "Product",
        sorted(table.products),
        index=None,
        key=state.key("history", "product"),
        placeholder="type a few letters",
    )
    if picked is None:
        st.caption("Pick a product: what goes with it, in which range, and what does not.")
        return
    mine = [c for c in table.cells if picked in (c.first, c.second)]
    for word, (shape, says) in PAIR_SHAPES.items():
        cells = [c for c in mine if c.state == word]
        if cells:
            st.markdown(f"#### {shape} {word}: {len(cells)}")
            st.caption(says)
            for cell in cells:
                _line(history, cell, picked)
    others = len(table.products) - 1 - len(mine)
    if others:
        st.caption(f"{others} other products never stood in a jar with it.")


def _line(history: History, cell: PairCell, product: str) -> None:
    other = cell.second if cell.first == product else cell.first
    with st.expander(plain(f"{other} · {cell.passed} passed, {cell.failed} failed")):
        st.markdown(plain(cell.says))
        for past in history.behind(cell.first, cell.second, most=5):
            link_to("test", f"Test {past.number}: {past.word}", id=past.test_id)
            st.caption(plain(f"{past.signed_at:%Y-%m-%d} · signed by {past.signed_by} · {past.mix.says}"))


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
