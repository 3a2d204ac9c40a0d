"""The order of addition as a list that a thumb can drag, or move one place by a tap or an arrow key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from jartest.errors import BadEntry
from jartest.screens.web import web_text

__all__ = ["order_setter", "places_from"]

_mount = st.components.v2.component(
    "jartest_order",
    html=web_text("order.html"),
    css=web_text("order.css"),
    js=web_text("order.js"),
)


def order_setter(lines: Sequence[str], *, of: str, key: str) -> list[int] | None:
    """The order in which a person has just put these lines, as their places from 0; None where nobody moved any.

    Parameters
    ----------
    of
        What the lines belong to; what was sent for another list is left alone.

    Raises
    ------
    BadEntry
        If the browser sent anything but each place once.
    """
    sent = _mount(key=key, data={"of": of, "lines": list(lines)}, on_moved_change=lambda: None).get("moved")
    if not sent or (isinstance(sent, Mapping) and sent.get("of") != of):
        return None
    return places_from(sent, len(lines))


def places_from(sent: Any, count: int) -> list[int]:
    """The places that the browser sent.

    Raises
    ------
    BadEntry
        If it is anything but each of `count` places once.
    """
    places = sent.get("places") if isinstance(sent, Mapping) else None
    if (
        not isinstance(places, list)
        or not all(isinstance(p, int) and not isinstance(p, bool) for p in places)
        or sorted(places) != list(range(count))
    ):
        raise BadEntry("The order did not arrive as each product once; drag it again.")
    return list(places)
