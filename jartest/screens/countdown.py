"""A countdown that runs in the browser, by the server's clock, without a reload of the page."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from jartest.screens.web import web_text

__all__ = ["countdown"]

_mount = st.components.v2.component(
    "jartest_countdown",
    html=web_text("countdown.html"),
    css=web_text("countdown.css"),
    js=web_text("countdown.js"),
)


def _ms(at: datetime) -> int:
    return round(at.timestamp() * 1000)


def countdown(
    what: str,
    *,
    due_at: datetime,
    now: datetime,
    late: bool,
    offer_sound: bool,
    key: str,
    small: bool = False,
) -> None:
    """Draw the time left until `due_at`; when it runs out, the page (or its fragment) runs once more.

    `small` makes it one tile of many.
    """
    _mount(
        key=key,
        data={
            "what": what,
            "due_ms": _ms(due_at),
            "now_ms": _ms(now),
            "late": late,
            "offer_sound": offer_sound,
            "small": small,
        },
        on_ran_out_change=lambda: None,
        on_asked_change=lambda: None,
    )
