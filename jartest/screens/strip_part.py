"""The jar of a test as a narrow picture, by its address: the browser asks for it once the words stand."""

from __future__ import annotations

import streamlit as st

from jartest.field.strips import film_path, strip_path
from jartest.records.model import Case

__all__ = ["filmstrip", "strip"]


def strip(test_id: str, number: int, *, looks: int = -1) -> None:
    """The jar of this test in its last look; `looks` tells the browser when there is a newer one."""
    if looks == 0:
        st.html("<span class='jartest-strip'>no photo</span>", width=56)
        return
    st.html(
        f"<img class='jartest-strip' src='{strip_path(test_id, looks)}' alt='test {number}' loading='lazy'>",
        width=56,
    )


def filmstrip(case: Case) -> None:
    """Every look of a test side by side, so that settling is seen as a picture; nothing before the second look."""
    if len(case.looks) < 2:
        return
    n, count = case.test.number, len(case.looks)
    st.html(
        f"<img class='jartest-film' src='{film_path(case.test.id, len(case.readings))}' "
        f"alt='The jar of test {n} in its {count} looks, from the first to the last'>"
    )
