"""Photos on their way to a test: picked here, sent by plain HTTP, listed until the server has them on disk."""

from __future__ import annotations

import streamlit as st

from jartest.screens.web import web_text

__all__ = ["send_photo"]

_mount = st.components.v2.component(
    "jartest_send",
    html=web_text("send.html"),
    css=web_text("send.css"),
    js=web_text("send.js"),
)


def send_photo(*, test_id: str, path: str, slot: str, hint: str, key: str) -> str | None:
    """The id of the look that a photo has just become, or None.

    Parameters
    ----------
    path
        Where photos go, as `field.links.desk_path` gives it; empty while nobody is named, and then they wait.
    slot
        The look that a single photo is for.
    hint
        What stands under the words on the large button.
    """
    sent = _mount(
        key=key,
        data={"test": test_id, "path": path, "slot": slot, "hint": hint},
        on_kept_change=lambda: None,
    ).get("kept")
    return sent if isinstance(sent, str) else None
