"""A button that saves a file, which is made when the button is pressed."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from jartest.field.files import Offer, offer_file
from jartest.screens import state
from jartest.screens.web import web_text

__all__ = ["save_button"]

_MOST = 40  # offers a session keeps; the oldest end first, and a page that is drawn again makes its own anew

_mount = st.components.v2.component(
    "jartest_save",
    html=web_text("save.html"),
    css=web_text("save.css"),
    js=web_text("save.js"),
)


def save_button(
    label: str,
    make: Callable[[], bytes | str],
    *,
    file: str,
    mime: str,
    key: str,
    main: bool = False,
    share: bool = False,
) -> None:
    """Offer the file that `make` gives under the name `file`; `main` where it is what one came for.

    With `share` it goes into the device's own sheet for sending, where the browser has one; otherwise it is saved.
    """
    offers: dict[str, tuple[str, Offer]] = state.get(state.OFFERS, {})
    standing = offers.pop(key, None)
    offer = offer_file(make, name=file, mime=mime, standing=standing and standing[1])
    offers[key] = (label, offer)
    state.put(state.OFFERS, dict(list(offers.items())[-_MOST:]))
    _mount(key=key, data={"label": label, "path": offer.path, "file": file, "main": main, "share": share})
