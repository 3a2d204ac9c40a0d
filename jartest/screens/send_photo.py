"""Photos on their way to a test: picked here, sent by plain HTTP, listed until the server has them on disk."""

from __future__ import annotations

import streamlit as st

from jartest.screens import state
from jartest.screens.web import web_text

__all__ = ["send_photo"]

_mount = st.components.v2.component(
    "jartest_send",
    html=web_text("send.html"),
    css=web_text("send.css"),
    js=web_text("send.js"),
)


def send_photo(*, test_id: str, path: str, slot: str, label: str, main: bool, shown: str, key: str) -> None:
    """The button for photos; the look that a photo has just become is the one shown, under the key `shown`.

    Parameters
    ----------
    path
        Where photos go, as `field.links.desk_path` gives it; empty while nobody is named, and then they wait.
    slot
        The look that a single photo is for.
    label
        What stands on the button.
    main
        Whether a photo is what is due; else the button is a smaller one beside it.
    """
    _mount(
        key=key,
        data={"test": test_id, "path": path, "slot": slot, "label": label, "main": main},
        # Before the screen is drawn: what shows the looks stands above this button.
        on_kept_change=lambda: _show(key, shown),
    )


def _show(key: str, shown: str) -> None:
    sent = (state.get(key) or {}).get("kept")
    if isinstance(sent, str):
        state.put(shown, sent)
