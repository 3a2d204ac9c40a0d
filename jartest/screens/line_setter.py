"""The photo with four lines that a thumb can drag right: two walls, floor and surface."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from typing import Any

import streamlit as st

from jartest.errors import BadEntry
from jartest.imaging.values import Frame, Marks
from jartest.screens.web import web_text

__all__ = ["line_setter", "marks_from"]

_LINES = ("left_px", "right_px", "floor_px", "surface_px")

_mount = st.components.v2.component(
    "jartest_lines",
    html=web_text("lines.html"),
    css=web_text("lines.css"),
    js=web_text("lines.js"),
)


def line_setter(
    jpeg: bytes, frame: Frame | None, *, width_px: int, height_px: int, of: str, key: str
) -> Marks | None:
    """The lines a person has just said are right, or None.

    Parameters
    ----------
    jpeg
        The upright photo, made small.
    frame
        Where the lines start, in pixels of the full-size photo; a line that is NaN must be set by hand.
    width_px, height_px
        Size of the full-size photo.
    of
        What these lines belong to; another value starts afresh, the same value keeps what was dragged.

    Raises
    ------
    BadEntry
        If the browser sent anything but four numbers.
    """
    start = frame or Frame()
    lines = {n.removesuffix("_px"): getattr(start, n) for n in _LINES}
    result = _mount(
        key=key,
        data={
            "id": of,
            "src": f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}",
            "width_px": width_px,
            "height_px": height_px,
            "lines": {n: None if math.isnan(v) else v for n, v in lines.items()},
        },
        on_kept_change=lambda: None,
    )
    sent = result.get("kept")
    if not sent or (isinstance(sent, Mapping) and sent.get("id") != of):
        return None
    return marks_from(sent)


def marks_from(sent: Any) -> Marks:
    """The marks that the browser sent.

    Raises
    ------
    BadEntry
        If it is anything but four numbers.
    """
    if not isinstance(sent, Mapping) or not all(_is_number(sent.get(n)) for n in _LINES):
        msg = "The lines did not arrive as four numbers; set them again."
        raise BadEntry(msg)
    left, right, floor, surface = (float(sent[n]) for n in _LINES)
    return Marks(left_px=left, right_px=right, floor_px=floor, surface_px=surface)


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and math.isfinite(x)
