"""The jar of a test as a narrow picture, by its address: the browser asks for it once the words stand."""

from __future__ import annotations

import streamlit as st

from jartest.field.strips import strip_path

__all__ = ["strip"]


def strip(test_id: str, number: int, *, looks: int = -1) -> None:
    """The jar of this test in its last look; `looks` tells the browser when there is a newer one."""
    if looks == 0:
        st.html("<span class='jartest-strip'>no photo</span>", width=56)
        return
    st.html(
        f"<img class='jartest-strip' src='{strip_path(test_id, looks)}' alt='test {number}' loading='lazy'>",
        width=56,
    )
