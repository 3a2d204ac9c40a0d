"""What was set by hand, from a JSON file: photo name to marks."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from jartest.errors import BadEntry
from jartest.imaging.values import Lump, Marks

__all__ = ["marks_of", "read_marks"]

_LINES = ("left_px", "right_px", "floor_px", "surface_px")
_LUMP = ("row_px", "col_px", "diameter_px")
_KNOWN = (*_LINES, "boundaries_px", "kinds", "lumps")


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
        msg = f"The marks file is not valid JSON: line {e.lineno}, {e.msg[:1].lower()}{e.msg[1:]}."
        raise BadEntry(msg) from e
    if not isinstance(d, dict):
        msg = "The marks file must be a JSON object: the name of each photo, then its lines."
        raise BadEntry(msg)
    return {name: _one(name, lines, text) for name, lines in d.items()}


def _one(name: str, lines: Any, text: str) -> Marks:
    if not isinstance(lines, dict):
        msg = f"Line {_line_of(text, name)}: the marks of {name!r} must be an object with any of {', '.join(_KNOWN)}."
        raise BadEntry(msg)
    odd = set(lines) - set(_KNOWN)
    if odd:
        key = sorted(odd)[0]
        msg = f"Line {_line_of(text, name, key)}: the marks of {name!r} have {key!r}, which is not known: take one of {', '.join(_KNOWN)}."
        raise BadEntry(msg)
    try:
        return marks_of(lines)
    except BadEntry as e:
        key = next((k for k in _KNOWN if k in str(e) and k in lines), "lumps" if "lumps" in lines else "")
        msg = f"Line {_line_of(text, name, key)}: the marks of {name!r} can't be used: {e}"
        raise BadEntry(msg) from e


def _line_of(text: str, name: str, key: str = "") -> int:
    """The line where this photo, or this key of it, stands in the file; the first where it is written otherwise."""
    at = max(text.find(json.dumps(name)), text.find(f'"{name}"'), 0)
    inside = text.find(f'"{key}"', at) if key else at
    return text.count("\n", 0, max(inside, at)) + 1


def marks_of(said: Mapping[str, Any]) -> Marks:
    """The marks in a JSON object of lines, boundaries, names and lumps, each of which may be null or missing.

    Raises
    ------
    BadEntry
        If a value is of another kind, or they do not go together.
    """
    px = {k: _number(k, said[k]) for k in _LINES if said.get(k) is not None}
    rows, kinds, lumps = (_list(k, said.get(k)) for k in ("boundaries_px", "kinds", "lumps"))
    odd = [k for k in kinds or () if not (k is None or isinstance(k, str))]
    if odd:
        msg = f"kinds must be names of layers or null, not {odd[0]!r}."
        raise BadEntry(msg)
    return Marks(
        boundaries_px=None if rows is None else tuple(_number("boundaries_px", v) for v in rows),
        kinds=None if kinds is None else tuple(kinds),
        lumps=tuple(_lump(x) for x in lumps or ()),
        **px,
    )


def _list(key: str, value: Any) -> list[Any] | None:
    if value is not None and not isinstance(value, list):
        msg = f"{key} must be a list, not {value!r}."
        raise BadEntry(msg)
    return value


def _lump(value: Any) -> Lump:
    if not isinstance(value, Mapping) or set(value) != set(_LUMP):
        msg = f"A lump must be an object of {', '.join(_LUMP)}, not {value!r}."
        raise BadEntry(msg)
    return Lump(**{k: _number(k, value[k]) for k in _LUMP})


def _number(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        msg = f"{key} must be a number of pixels, not {value!r}."
        raise BadEntry(msg)
    return float(value)
