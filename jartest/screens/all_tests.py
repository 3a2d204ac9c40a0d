"""All tests: found by any word in them, newest first."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.exchange.labels import label_sheet
from jartest.exchange.tables import csv_of_readings, csv_of_tests
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
    _draw_files(recorder, words, rows)


def _draw_files(recorder: Recorder, words: str, rows: Sequence[TestRow]) -> None:
    """What was found as files: the list, its readings, and labels for the jars on this page."""

    def readings() -> bytes:
        found = recorder.find(words, limit=_MOST)
        return csv_of_readings(recorder.case(row.id) for row in found)

    with st.container(horizontal=True):
        for name, make, file, mime in (
            (
                "This list as CSV",
                lambda: csv_of_tests(recorder.find(words, limit=_MOST)),
                "jar-tests.csv",
                "text/csv",
            ),
            ("Its readings as CSV", readings, "readings.csv", "text/csv"),
            (
                "Labels of the jars on this page",
                lambda: label_sheet([recorder.case(row.id) for row in rows], lambda i: f"jartest:{i}"),
                "jar-labels.pdf",
                "application/pdf",
            ),
        ):
            st.download_button(
                name,
                data=make,
                file_name=file,
                mime=mime,
                on_click="ignore",
                key=state.key("tests", file),
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
