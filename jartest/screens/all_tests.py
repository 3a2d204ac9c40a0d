"""All tests: found by any word in them, newest first."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.tables import csv_of_tests
from jartest.recorder import Recorder
from jartest.records.model import TestRow
from jartest.screens import state
from jartest.screens.parts import clock, link_to, one_line, plain, say_word

__all__ = ["render"]

_PAGE = 20  # lines on one page
_MOST = 100_000  # lines of one CSV


def render(recorder: Recorder) -> None:
    """Draw the list of tests."""
    st.markdown("## All tests")
    words = st.text_input(
        "Search",
        key=state.key("tests", "words"),
        placeholder="product, maker, person, fail, 2026-03 …",
        on_change=_to_first_page,
        persist_state="session",
        type="search",
    )
    count = recorder.count(words)
    if not count:
        st.markdown("No test holds all these words." if words.strip() else "No test is kept yet.")
        link_to("new", "+ Start a new test")
        return
    page = int(state.get(state.key("tests", "page"), 0))
    first = page * _PAGE
    rows = recorder.find(words, limit=_PAGE, offset=first)
    st.caption(f"{count} found, newest first; these are {first + 1} to {first + len(rows)}.")
    for row in rows:
        _draw_row(row)
    _draw_turns(page, more=first + len(rows) < count)
    st.download_button(
        "Download this list as CSV",
        data=lambda: csv_of_tests(recorder.find(words, limit=_MOST)),
        file_name="jar-tests.csv",
        mime="text/csv",
        on_click="ignore",
        key=state.key("tests", "csv"),
    )


def _to_first_page() -> None:
    state.put(state.key("tests", "page"), 0)


def _draw_row(row: TestRow) -> None:
    with st.container(border=True, gap="small"):
        link_to("test", f"{row.number} · {plain(row.title)}", id=row.id)
        said = [f"machine **{say_word(row.machine_word)}**"]
        if row.person_word:
            said.append(f"person **{say_word(row.person_word)}**")
        if row.signed_by:
            said.append(f"signed by {plain(row.signed_by)}")
        elif row.stopped:
            said.append("stopped")
        else:
            said.append("open")
        if row.sample:
            said.append("sample")
        st.markdown(" · ".join(said))
        products = ", ".join(one_line(p) for p in row.products) or "no products"
        st.caption(f"{clock(row.opened_at)} · {plain(row.opened_by)} · {row.looks} looks · {plain(products)}")


def _draw_turns(page: int, *, more: bool) -> None:
    if page == 0 and not more:
        return
    with st.container(horizontal=True):
        for label, to, off in (("◀ Newer", page - 1, page == 0), ("Older ▶", page + 1, not more)):
            st.button(
                label,
                key=state.key("tests", label),
                disabled=off,
                on_click=state.put,
                args=(state.key("tests", "page"), to),
            )
