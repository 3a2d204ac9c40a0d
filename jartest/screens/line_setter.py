"""The photo on which a thumb puts the reading right: the jar's lines, its layers, and lumps that were missed."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from jartest.errors import BadEntry
from jartest.imaging.by_hand import boundary_rows
from jartest.imaging.marks_file import marks_of
from jartest.imaging.values import Frame, LayerKind, Marks, Reading
from jartest.screens.web import web_text

__all__ = ["line_setter", "marks_from"]

_LINES = ("left_px", "right_px", "floor_px", "surface_px")

_mount = st.components.v2.component(
    "jartest_lines",
    html=web_text("lines.html"),
    css=web_text("lines.css"),
    js=web_text("lines.js"),
)


def line_setter(jpeg: bytes, reading: Reading, *, of: str, key: str) -> Marks | None:
    """What a person has just said is right, or None.

    Parameters
    ----------
    jpeg
        The upright photo, made small.
    reading
        Where lines, layers and lumps start; a line that is NaN must be set by hand.
    of
        What these marks belong to; another value starts afresh, the same value keeps what was dragged.

    Raises
    ------
    BadEntry
        If the browser sent anything but marks.
    """
    result = _mount(
        key=key,
        data={
            "id": of,
            "src": f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}",
            "width_px": reading.width_px,
            "height_px": reading.height_px,
            **_start(reading),
        },
        on_kept_change=lambda: None,
    )
    sent = result.get("kept")
    if not sent or (isinstance(sent, Mapping) and sent.get("id") != of):
        return None
    return marks_from(sent)


def _start(reading: Reading) -> dict[str, Any]:
    """What the reading says, as the page draws it, and what of it a person had set before."""
    frame, marks = reading.jar or Frame(), reading.marks or Marks()
    lines = {n.removesuffix("_px"): getattr(frame, n) for n in _LINES}
    kinds: Sequence[LayerKind | None] = [x.kind for x in reading.layers] or [None]
    named = marks.kinds if marks.kinds and len(marks.kinds) == len(kinds) else (None,) * len(kinds)
    return {
        "lines": {n: None if math.isnan(v) else v for n, v in lines.items()},
        "rows": list(boundary_rows(reading)),
        "kinds": [{"read": k, "named": n} for k, n in zip(kinds, named, strict=True)],
        "layers_set": marks.boundaries_px is not None,
        "read": [x.to_json() for x in reading.lumps if x not in marks.lumps],
        "marked": [x.to_json() for x in marks.lumps],
    }


def marks_from(sent: Any) -> Marks:
    """The marks that the browser sent.

    Raises
    ------
    BadEntry
        If the lines are anything but four numbers, or the rest cannot be taken.
    """
    if not isinstance(sent, Mapping) or not all(_is_number(sent.get(n)) for n in _LINES):
        msg = "The lines did not arrive as four numbers; set them again."
        raise BadEntry(msg)
    return marks_of({k: v for k, v in sent.items() if k != "id"})


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and math.isfinite(x)
