"""A photo on which a reviewer points with a finger."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from jartest.errors import BadEntry
from jartest.screens.web import web_text

__all__ = ["mark_setter", "place_from"]

_mount = st.components.v2.component(
    "jartest_marks",
    html=web_text("marks.html"),
    css=web_text("marks.css"),
    js=web_text("marks.js"),
)


def mark_setter(
    jpeg: bytes, alt: str, shown: Sequence[tuple[int, float, float]], *, key: str
) -> tuple[float, float] | None:
    """Where the photo was tapped just now (across, down, as fractions), or None.

    Parameters
    ----------
    shown
        The marks so far: number, across, down.

    Raises
    ------
    BadEntry
        If the browser sent anything but two fractions.
    """
    result = _mount(
        key=key,
        data={
            "src": f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}",
            "alt": alt,
            "marks": [{"number": n, "across": x, "down": y} for n, x, y in shown],
        },
        on_tapped_change=lambda: None,
    )
    sent = result.get("tapped")
    return None if not sent else place_from(sent)


def place_from(sent: Any) -> tuple[float, float]:
    """The place that the browser sent.

    Raises
    ------
    BadEntry
        If it is anything but two fractions.
    """
    if not isinstance(sent, Mapping) or not all(_is_fraction(sent.get(n)) for n in ("across", "down")):
        raise BadEntry("The mark did not arrive as a place on the photo; tap again.")
    return float(sent["across"]), float(sent["down"])


def _is_fraction(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and math.isfinite(x) and 0 <= x <= 1
