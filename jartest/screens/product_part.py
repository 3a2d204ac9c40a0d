"""One product: what goes with it, at what range, on whose word and ground; what does not; what is not known."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from jartest.history.approved import Line, say_ago
from jartest.history.pairs import PAIR_SHAPES, PairTable
from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import plain
from jartest.screens.stands_out_part import past_line

__all__ = ["PRODUCT", "draw_product", "pick_product"]

PRODUCT = state.key("history", "product")
_JARS = 5  # jars shown under a pair, the newest (our choice)
_LISTED = 12  # pairs of one section drawn at once; the others are a tap away (our choice)


def pick_product(products: Sequence[str], *, picked: Callable[[], None] | None = None) -> str | None:
    """The product that was picked; `picked` is called when it changes."""
    if state.get(PRODUCT) not in products:
        state.put(PRODUCT, None)
    return st.selectbox(
        "What goes with …",
        sorted(products, key=str.casefold),
        index=None,
        key=PRODUCT,
        placeholder="a product: type a few letters",
        on_change=picked or "rerun",
    )


def draw_product(recorder: Recorder, history: History, table: PairTable) -> None:
    """Draw the page of one product."""
    product = pick_product(table.products)
    if product is None:
        st.caption("Pick a product: what goes with it, in which range, and what does not.")
        return
    (page,) = history.pages(table, [product])
    dose, hardness = _asked(product)
    never = f", {len(page.never)} never tried" if page.never else ""
    st.markdown(
        f"#### {plain(product)}: {len(page.goes)} go with it, {len(page.fails)} do not, "
        f"{len(page.not_known)} not known{never}"
    )
    for title, lines in (
        ("Does not go with it", page.fails),
        ("Goes with it", page.goes),
        ("Not known", page.not_known),
    ):
        if lines:
            st.markdown(f"##### {title}")
            for line in lines[:_LISTED]:
                _line(recorder, history, line, dose, hardness)
            _rest(recorder, history, title, lines[_LISTED:], dose, hardness)
    if page.never:
        st.markdown("##### Never in a jar with it")
        st.markdown(plain(", ".join(page.never)))
    st.caption(
        "A jar shows whether a mixture stays mixed; it says nothing of efficacy or crop safety. The label decides."
    )


def _asked(product: str) -> tuple[float | None, float | None]:
    """The rate and the water that are asked for; None where they were left open."""
    with st.container(horizontal=True, gap="small"):
        dose = st.number_input(
            "At this rate, mL or g per liter",
            min_value=0.0,
            value=None,
            key=state.key("history", "rate", product),
            placeholder="any",
            width=260,
        )
        hardness = st.number_input(
            "In water of this hardness, mg/L",
            min_value=0.0,
            value=None,
            key=state.key("history", "hardness"),
            placeholder="any",
            width=260,
        )
    return dose, hardness


def _rest(
    recorder: Recorder,
    history: History,
    title: str,
    lines: Sequence[Line],
    dose: float | None,
    hardness: float | None,
) -> None:
    if not lines:
        return
    names = ", ".join(plain(x.other) for x in lines)
    opened = st.expander(f"And {len(lines)} more", key=state.key("history", "more", title), on_change="rerun")
    if opened.open:
        with opened:
            for line in lines:
                _line(recorder, history, line, dose, hardness)
    else:
        st.caption(names)


def _line(
    recorder: Recorder, history: History, line: Line, dose: float | None, hardness: float | None
) -> None:
    shape = PAIR_SHAPES[line.cell.state][0]
    with st.container(border=True, gap="small"):
        st.markdown(
            f"**{shape} {plain(line.other)}: {line.cell.state}**{_answer(line, dose, hardness)}"
            f"  \n{plain(line.cell.says)}"
        )
        if line.newest is not None:
            st.caption(plain(f"{line.ground}, {say_ago(line.newest.signed_at, recorder.now())}."))
        opened = st.expander(
            "Photos and jars", key=state.key("history", "behind", line.product, line.other), on_change="rerun"
        )
        if opened.open:
            with opened:
                for past in history.behind(line.cell.first, line.cell.second, most=_JARS):
                    past_line(past, place=line.other)
                if line.cell.tests > _JARS:
                    st.caption(f"The newest {_JARS} of {line.cell.tests}.")


def _answer(line: Line, dose: float | None, hardness: float | None) -> str:
    """Whether what was asked lies in the tried range; nothing where nothing was asked or it does not go."""
    if line.cell.state not in ("goes", "likely goes"):
        return ""
    outside = line.asked(dose, hardness)
    if outside is None:
        return ""
    return f" · not tried there: {plain('; '.join(outside))}" if outside else " · in the tried range"
