"""Old tests that nobody signed: closed many at once, with a reason that is kept."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.who import name

__all__ = ["draw_old_open"]

_OLD = 30  # days after which an open test counts as old (our choice)
_AT_ONCE = 50  # tests that are closed together; the others come next (our choice)


def draw_old_open(recorder: Recorder) -> None:
    """Offer to close open tests that are older than a month; nothing where there are none."""
    until = recorder.now() - timedelta(days=_OLD)
    words = f"state:open until:{until:%Y-%m-%d}"
    count = recorder.count(words)
    said = state.get(state.key("tests", "closed said"))
    if said:
        st.success(said)
        state.put(state.key("tests", "closed said"), "")
    if not count:
        return
    tests = "1 old test is" if count == 1 else f"{count:,} old tests are"
    opened = st.expander(
        f"{tests} open: close them together", key=state.key("tests", "old open"), on_change="rerun"
    )
    if opened.open:
        with opened:
            _draw_closing(recorder, words, count)


def _draw_closing(recorder: Recorder, words: str, count: int) -> None:
    st.caption(
        f"Opened more than {_OLD} days ago, and neither signed nor stopped. What was kept of them stays; they are marked "
        "as stopped, with your reason."
    )
    rows = recorder.find(words, limit=_AT_ONCE, order="oldest")
    if count > len(rows):
        st.caption(f"The oldest {len(rows)} of {count:,}; the others come next.")
    picked = [
        row.id
        for row in rows
        if st.checkbox(
            f"{row.number} · {plain(row.title)} · {clock(row.opened_at, row)} · {plain(row.opened_by)}",
            value=True,
            key=state.key("tests", "close", row.id),
        )
    ]
    why = st.text_input(
        "Why they are closed",
        key=state.key("tests", "close", "why"),
        max_chars=500,
        placeholder="never finished",
    )
    many = "this test" if len(picked) == 1 else f"these {len(picked)} tests"
    if st.button(
        f"Close {many}", key=state.key("tests", "close", "button"), disabled=not picked, type="primary"
    ):
        with error_box() as box:
            closed = recorder.stop_tests(picked, by=name(), note=why)
        if box.error is None:
            state.clear("tests", "close")
            many = "1 test was closed" if closed == 1 else f"{closed} tests were closed"
            state.put(state.key("tests", "closed said"), f"{many}; the reason is in the history of each.")
            st.rerun()
