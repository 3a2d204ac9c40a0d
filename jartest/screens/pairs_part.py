"""The pair table on screen: a picture, the table, and the very tests behind a pair."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import altair as alt
import pandas as pd
import streamlit as st

from jartest.exchange.history_tables import pairs_csv, pairs_frame, pairs_parquet
from jartest.history.pairs import PAIR_SHAPES, PairCell, PairState, PairTable, make_table, pair_key, roll_up
from jartest.history.questions import History
from jartest.screens import state
from jartest.screens.parts import plain
from jartest.screens.save_button import save_button
from jartest.screens.stands_out_part import past_line

__all__ = ["draw_pairs", "grid_rows"]

_MOST = 40  # products in one picture; more cannot be read on a desk (our choice)
_ROOMY = 24  # up to so many products the squares are larger (our choice)
_BEHIND = 20  # tests listed behind a pair (our choice)
_ORDER: tuple[PairState, ...] = tuple(PAIR_SHAPES)
_PICTURE, _PAIR = state.key("history", "picture"), state.key("history", "pair")
# Beside the shape and the word: dark for trouble, pale for none.
_COLOURS: dict[PairState, str] = {
    "fails": "#8c1010",
    "likely fails": "#c05a00",
    "open": "#ffe39a",
    "likely goes": "#e6f3ea",
    "goes": "#b9ddc6",
    "never tried": "#ffffff",
}
_ON: dict[PairState, str] = {"fails": "#ffffff", "likely fails": "#ffffff"}


def draw_pairs(history: History) -> None:
    """Draw the pair table: narrowed as asked, as a picture on a desk and as a list by product on a phone."""
    if not history.pair_table().cells:
        st.markdown(f"#### {plain(history.pair_table().says)}")
        return
    table, group_of, jars = _narrowed(history)
    st.markdown(f"#### {plain(table.says) if table.cells else 'No signed test is of all that.'}")
    if not table.cells:
        return
    with st.container(key="picture"):
        _picture(table, jars)
    with st.container(key="pairlist"):
        _list(table)
    st.caption(
        " · ".join(f"{shape} {word}: {says}" for word, (shape, says) in PAIR_SHAPES.items())
        + " · The larger the sign, the more tests it rests on."
    )
    _behind(history, table, group_of)
    st.markdown("#### All pairs")
    st.dataframe(pairs_frame(table), hide_index=True, width="stretch", key=state.key("history", "pairs"))
    with st.container(horizontal=True):
        save_button(
            "Pairs as CSV",
            lambda: pairs_csv(table),
            file="pairs.csv",
            mime="text/csv",
            key=state.key("history", "csv"),
        )
        save_button(
            "Pairs as Parquet",
            lambda: pairs_parquet(table),
            file="pairs.parquet",
            mime="application/vnd.apache.parquet",
            key=state.key("history", "parquet"),
        )


def _narrowed(
    history: History,
) -> tuple[PairTable, Callable[[str], str] | None, Mapping[tuple[str, str], Sequence[int]]]:
    """The pairs of what was picked, how products are grouped where they are, and else the newest jars of each."""
    years, waters = history.years_and_waters()
    everything = history.pair_table().products
    kinds = sorted({history.group_of(p) for p in everything})
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom", key="narrow"):
        product = _pick("Product", "of product", sorted(everything, key=str.casefold))
        kind = _pick("Kind", "of kind", kinds)
        year = _pick("Season", "of season", [str(y) for y in years])
        water = _pick("Water", "of water", list(waters))
        by_group = st.toggle(
            "By kind, any maker",
            key=state.key("history", "rolled"),
            help="Rolls products of one kind into one line: by what is in them, or by name.",
        )
    in_year = int(year) if year else None
    table = history.pairs_tried(year=in_year, water=water)
    cells = [c for c in table.cells if product is None or product in (c.first, c.second)]
    if kind is not None:
        cells = [c for c in cells if kind in (history.group_of(c.first), history.group_of(c.second))]
    if by_group:
        return make_table(roll_up(cells, history.group_of)), history.group_of, {}
    table = make_table(cells)
    return table, None, history.pair_numbers(table.products[:_MOST], year=in_year, water=water)


def _pick(label: str, name: str, options: list[str]) -> str | None:
    """One of these, or all of them."""
    key = state.key("history", name)
    if state.get(key) not in options:
        state.put(key, None)
    return st.selectbox(label, options, index=None, key=key, placeholder="all", width=200)


def _list(table: PairTable) -> None:
    """The pairs by product, for a narrow screen: those in trouble first, each a sentence one tap away."""
    mine: dict[str, list[PairCell]] = {p: [] for p in table.products}
    for cell in table.cells:
        mine[cell.first].append(cell)
        mine[cell.second].append(cell)
    for product in table.products[:_MOST]:
        cells = sorted(mine[product], key=lambda c: (_ORDER.index(c.state), -c.tests))
        counts = Counter(c.state for c in cells)
        said = " ".join(f"{PAIR_SHAPES[w][0]}{n}" for w in _ORDER if (n := counts[w]))
        opened = st.expander(
            f"{plain(product)} · {said}", key=state.key("history", "of", product), on_change="rerun"
        )
        if opened.open:
            with opened:
                for cell in cells:
                    other = cell.second if cell.first == product else cell.first
                    st.button(
                        f"{PAIR_SHAPES[cell.state][0]} {plain(other)}: {cell.state}, {cell.tests} jars",
                        key=state.key("history", "pair of", product, other),
                        on_click=state.put,
                        args=(_PAIR, pair_key(product, other)),
                        type="tertiary",
                    )
                    st.caption(plain(cell.says))
    if len(table.products) > _MOST:
        st.caption(f"The {_MOST} products in most trouble; pick a product above for any other.")


def grid_rows(
    table: PairTable, jars: Mapping[tuple[str, str], Sequence[int]] | None = None, most: int = _MOST
) -> pd.DataFrame:
    """The cells of the picture, each pair once, for the products in most trouble; `size` grows with its tests.

    `jars` are the newest tests of each pair, which its sentence then names.
    """
    shown = table.products[:most]
    cells = table.by_pair()
    rows = []
    for n, across in enumerate(shown):
        for down in shown[n + 1 :]:
            cell = cells.get(pair_key(across, down))
            word: PairState = cell.state if cell else "never tried"
            says = cell.says if cell else f"{across} with {down}: never tried together."
            newest = (jars or {}).get(pair_key(across, down), ())
            if newest:
                says += f" Newest jars: tests {', '.join(map(str, newest))}."
            size = 9 + 3 * min(math.log2(1 + cell.tests), 4) if cell else 9  # 12 for one test, 21 from 15 on
            rows.append((across, down, word, PAIR_SHAPES[word][0], _ON.get(word, "#111111"), says, size))
    return pd.DataFrame(rows, columns=["across", "down", "word", "shape", "ink", "says", "size"])


def _picture(table: PairTable, jars: Mapping[tuple[str, str], Sequence[int]]) -> None:
    shown = list(table.products[:_MOST])
    axis = {
        "title": None,
        "labelLimit": 170,
        "labelFontSize": 12,
        "labelColor": "#111",
        "labelOverlap": False,
        "ticks": False,
    }
    base = alt.Chart(grid_rows(table, jars)).encode(
        x=alt.X("across:N", sort=shown[:-1], axis=axis | {"orient": "top", "labelAngle": -60}),
        y=alt.Y("down:N", sort=shown[1:], axis=axis),
        tooltip=alt.Tooltip("says:N", title=" "),
    )
    # No legend beside the picture: the line under it names each shape, and a legend would name colours alone.
    scale = alt.Scale(domain=list(_COLOURS), range=list(_COLOURS.values()))
    cells = base.mark_rect(stroke="#777", strokeWidth=0.5).encode(
        color=alt.Color("word:N", scale=scale, legend=None)
    )
    shapes = base.mark_text().encode(
        text="shape:N",
        color=alt.Color("ink:N", scale=None),
        size=alt.Size("size:Q", scale=None, legend=None),
    )
    step, tapped = (
        alt.Step(26 if len(shown) <= _ROOMY else 23),
        alt.selection_point(name="cell", fields=["across", "down"]),
    )
    st.altair_chart(
        (cells.add_params(tapped) + shapes).properties(width=step, height=step),
        width="content",
        key=_PICTURE,
        on_select=_take_cell,
        alt=f"Pair table of {len(shown)} products: {table.says}",
    )
    if len(table.products) > len(shown):
        st.caption(
            f"The picture shows the {len(shown)} products in most trouble; the table below has all pairs."
        )


def _take_cell() -> None:
    """The pair whose cell was tapped is the one whose tests are shown."""
    tapped = state.get(_PICTURE, {}).get("selection", {}).get("cell") or [None]
    if tapped[0]:
        state.put(_PAIR, pair_key(tapped[0]["across"], tapped[0]["down"]))


def _untried(pair: tuple[str, str] | None, cells: Mapping[tuple[str, str], PairCell]) -> None:
    """What is to say of a tapped pair that nobody has tried."""
    if pair is not None and pair not in cells:
        state.put(_PAIR, None)
        st.info(plain(PairCell(first=pair[0], second=pair[1]).says), icon=":material/help:")


def _behind(history: History, table: PairTable, group_of: Callable[[str], str] | None) -> None:
    """The tests behind one pair, which is tapped in the picture or picked from a list, the worst first."""
    cells = table.by_pair()
    _untried(state.get(_PAIR), cells)
    picked = st.selectbox(
        "The tests behind a pair",
        list(cells),
        format_func=lambda pair: f"{PAIR_SHAPES[cells[pair].state][0]} {' + '.join(pair)}",
        placeholder="tap a square above, or pick here: type a few letters",
        key=_PAIR,
    )
    if picked is None:
        return
    cell = cells[picked]
    st.markdown(plain(cell.says))
    for past in history.behind(*picked, most=_BEHIND, group_of=group_of):
        past_line(past, place="behind")
    if cell.tests > _BEHIND:
        st.caption(f"The newest {_BEHIND} of {cell.tests}; a search for both names lists them all.")
