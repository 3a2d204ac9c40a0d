"""What was approved, by whom, on what: the mixtures whose newest jar passed, and the whole as a printed book."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.exchange.approvals_pdf import approvals_pdf
from jartest.history.approved import say_ago, troubled
from jartest.history.before import Past
from jartest.history.pairs import PairCell, PairTable
from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import SHAPES, link_to, plain
from jartest.screens.save_button import save_button
from jartest.screens.strip_part import strip

__all__ = ["draw_approved"]

_PAGE = 20  # mixtures on one page (our choice)
_AT = state.key("history", "approved page")


def draw_approved(recorder: Recorder, history: History) -> None:
    """Draw the approved mixtures, newest first, and offer the book."""
    table = history.pair_table()
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        product = st.selectbox(
            "With this product",
            table.products,
            index=None,
            key=state.key("history", "approved of"),
            placeholder="any product",
            on_change=state.put,
            args=(_AT, 0),
            width=340,
        )
        chosen = [product] if product else sorted(table.products, key=str.casefold)
        save_button(
            "Book of approvals (PDF)",
            lambda: _book(recorder, history, table, chosen),
            file="approvals.pdf",
            mime="application/pdf",
            key=state.key("history", "book"),
        )
    page = int(state.get(_AT, 0))
    count, found = history.approved(product, limit=_PAGE, offset=page * _PAGE)
    if not count:
        st.markdown("No mixture has passed in its newest signed test yet.")
        return
    mixtures = "1 mixture" if count == 1 else f"{count:,} mixtures"
    st.markdown(f"#### {mixtures} passed in the newest signed test of each")
    cells = table.by_pair()
    for past, times in found:
        _row(recorder, past, times, troubled(past, cells))
    _turn(page, more=(page + 1) * _PAGE < count)


def _row(recorder: Recorder, past: Past, times: int, bad: Sequence[PairCell]) -> None:
    """A mixture with its newest jar; one whose pass clears nothing, or that holds a pair that fails, says so."""
    based = past.over.ground_of(past.word) != "none"
    with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"line-{past.number}"):
        strip(past.test_id, past.number)
        with st.container(gap=None, width="stretch"):
            often = "" if times == 1 else f" · passed {times} times"
            signed = f"signed by {past.signed_by} {past.signed_at:%Y-%m-%d}"
            st.markdown(plain(past.mix.says))
            link_to(
                "test",
                f"{SHAPES[past.word] if based and not bad else '▲'} {past.said} · {plain(signed)} · test {past.number}",
                id=past.test_id,
            )
            st.caption(f"{say_ago(past.signed_at, recorder.now())}{often}")
            for cell in bad:
                who = plain(f"{cell.first} with {cell.second}")
                st.markdown(f"**{who} {cell.state} by all tests together: this pass does not clear it.**")
            if not based:
                st.markdown("**This pass clears nothing:** mix a jar before you rely on it.")


def _turn(page: int, *, more: bool) -> None:
    if page == 0 and not more:
        return
    with st.container(horizontal=True):
        for label, to, off in (("◀ Newer", page - 1, page == 0), ("Older ▶", page + 1, not more)):
            st.button(
                label,
                key=state.key("history", "approved", label),
                disabled=off,
                on_click=state.put,
                args=(_AT, to),
            )


def _book(recorder: Recorder, history: History, table: PairTable, products: Sequence[str]) -> bytes:
    pages = history.pages(table, products)
    return approvals_pdf(pages, now=recorder.now(), model_says=history.model_says)
