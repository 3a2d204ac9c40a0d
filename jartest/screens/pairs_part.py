"""The pair table on screen: a picture, the table, and the very tests behind a pair."""

from __future__ import annotations

import altair as alt
import pandas as pd
import streamlit as st

from jartest.exchange.history_tables import pairs_csv, pairs_frame, pairs_parquet
from jartest.history.pairs import PAIR_SHAPES, PairState, PairTable, pair_key
from jartest.history.questions import History
from jartest.screens import state
from jartest.screens.parts import link_to, plain, say_word

__all__ = ["draw_pairs", "grid_rows"]

_MOST = 24  # products in one picture; more cannot be read (our choice)
# Beside the shape and the word: dark for trouble, pale for none.
_COLOURS: dict[PairState, str] = {
    "fails": "#8c1010",
    "both": "#c05a00",
    "suspect": "#e8a33d",
    "watched": "#ffe39a",
    "cleared": "#cfe8d8",
    "never tried": "#ffffff",
}
_ON: dict[PairState, str] = {"fails": "#ffffff", "both": "#ffffff"}


def draw_pairs(history: History) -> None:
    """Draw the pair table."""
    by_group = st.toggle(
        "By what is in them, or by name whoever makes it",
        key=state.key("history", "rolled"),
        help="Rolls products of one kind into one line.",
    )
    table = history.pair_table(group_of=history.group_of if by_group else None)
    st.markdown(f"#### {plain(table.says)}")
    if not table.cells:
        return
    with st.container(key="picture"):
        _picture(table)
    st.caption(" · ".join(f"{shape} {word}: {says}" for word, (shape, says) in PAIR_SHAPES.items()))
    if not by_group:
        _behind(history, table)
    st.markdown("#### All pairs")
    st.dataframe(pairs_frame(table), hide_index=True, width="stretch", key=state.key("history", "pairs"))
    with st.container(horizontal=True):
        st.download_button(
            "Pairs as CSV",
            data=lambda: pairs_csv(table),
            file_name="pairs.csv",
            mime="text/csv",
            on_click="ignore",
            key=state.key("history", "csv"),
        )
        st.download_button(
            "Pairs as Parquet",
            data=lambda: pairs_parquet(table),
            file_name="pairs.parquet",
            mime="application/vnd.apache.parquet",
            on_click="ignore",
            key=state.key("history", "parquet"),
        )


def grid_rows(table: PairTable, most: int = _MOST) -> pd.DataFrame:
    """The cells of the picture, both ways round, for the products in most trouble."""
    shown = table.products[:most]
    cells = table.by_pair()
    rows = []
    for across in shown:
        for down in shown:
            if across == down:
                continue
            cell = cells.get(pair_key(across, down))
            word: PairState = cell.state if cell else "never tried"
            says = cell.says if cell else f"{across} with {down}: never tried together."
            rows.append((across, down, word, PAIR_SHAPES[word][0], _ON.get(word, "#111111"), says))
    return pd.DataFrame(rows, columns=["across", "down", "word", "shape", "ink", "says"])


def _picture(table: PairTable) -> None:
    shown = list(table.products[:_MOST])
    axis = {"title": None, "labelLimit": 170, "labelColor": "#111", "labelOverlap": False, "ticks": False}
    base = alt.Chart(grid_rows(table)).encode(
        x=alt.X("across:N", sort=shown, axis=axis | {"orient": "top", "labelAngle": -60}),
        y=alt.Y("down:N", sort=shown, axis=axis),
        tooltip=alt.Tooltip("says:N", title=" "),
    )
    # No legend beside the picture: the line under it names each shape, and a legend would name colours alone.
    scale = alt.Scale(domain=list(_COLOURS), range=list(_COLOURS.values()))
    cells = base.mark_rect(stroke="#777", strokeWidth=0.5).encode(
        color=alt.Color("word:N", scale=scale, legend=None)
    )
    shapes = base.mark_text(fontSize=15).encode(text="shape:N", color=alt.Color("ink:N", scale=None))
    step = alt.Step(26)
    st.altair_chart(
        (cells + shapes).properties(width=step, height=step),
        width="content",
        key=state.key("history", "picture"),
        alt=f"Pair table of {len(shown)} products: {table.says}",
    )
    if len(table.products) > len(shown):
        st.caption(
            f"The picture shows the {len(shown)} products in most trouble; the table below has all pairs."
        )


def _behind(history: History, table: PairTable) -> None:
    """The tests behind one pair, which is picked from a list, the worst first."""
    picked = st.selectbox(
        "The tests behind a pair",
        range(len(table.cells)),
        format_func=lambda i: (
            f"{PAIR_SHAPES[table.cells[i].state][0]} {table.cells[i].first} + {table.cells[i].second}"
        ),
        index=None,
        placeholder="pick a pair, or type a few letters",
        key=state.key("history", "pair"),
    )
    if picked is None:
        return
    cell = table.cells[picked]
    st.markdown(plain(cell.says))
    if cell.cleared_at:
        st.caption(plain(cell.cleared_at))
    for past in history.behind(cell.first, cell.second, most=20):
        link_to("test", f"{say_word(past.word)} · test {past.number}", id=past.test_id)
        hardness = past.mix.hardness_mg_l
        water = f" · {past.mix.water}" + (f", {hardness:.0f} mg/L" if hardness is not None else "")
        st.caption(
            plain(f"{past.signed_at:%Y-%m-%d} · {past.signed_by} · {', '.join(past.mix.products)}{water}")
        )
