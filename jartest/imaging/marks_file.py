"""Lines set by hand, from a JSON file: photo name to marks."""

from __future__ import annotations

import json
import math
from typing import Any

from jartest.errors import BadEntry
from jartest.imaging.values import Marks

__all__ = ["read_marks"]

_LINES = ("left_px", "right_px", "floor_px", "surface_px")


def read_marks(text: str) -> dict[str, Marks]:
    """The marks of each photo named in a JSON object.

    Raises
    ------
    BadEntry
        If the text is no such object; the message names the photo and the key.
    """
    try:
        d = json.loads(text)
    except json.JSONDecodeError as e:
        msg = f"The marks are no JSON: {e.msg} at line {e.lineno}."
        raise BadEntry(msg) from e
    if not isinstance(d, dict):
        msg = "The marks must be a JSON object, photo name to lines."
        raise BadEntry(msg)
    return {name: _one(name, lines) for name, lines in d.items()}


def _one(name: str, lines: Any) -> Marks:
    if not isinstance(lines, dict):
        msg = f"The marks of {name!r} must be an object with any of {', '.join(_LINES)} and boundaries_px."
        raise BadEntry(msg)
    odd = set(lines) - {*_LINES, "boundaries_px"}
    if odd:
        msg = (
            f"The marks of {name!r} name {sorted(odd)[0]!r}; known are {', '.join(_LINES)} and boundaries_px."
        )
        raise BadEntry(msg)
    px = {k: _number(name, k, lines[k]) for k in _LINES if lines.get(k) is not None}
    rows = lines.get("boundaries_px")
    if rows is not None and not isinstance(rows, list):
        msg = f"boundaries_px of {name!r} must be a list of rows, not {rows!r}."
        raise BadEntry(msg)
    set_rows = None if rows is None else tuple(_number(name, "boundaries_px", v) for v in rows)
    return Marks(boundaries_px=set_rows, **px)


def _number(name: str, key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        msg = f"{key} of {name!r} must be a number of pixels, not {value!r}."
        raise BadEntry(msg)
    return float(value)
