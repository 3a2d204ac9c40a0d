"""A small network's word on each row of the unrolled jar: what it is, and whether a layer ends there.

It was fitted on rendered pictures by `jartest/imaging/fit/layers_fit.py` and runs in OpenCV.  Its
word is a proposal: where exactly a boundary lies is placed on the photo's own edges (layers.py).
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.finder import edge_odds
from jartest.imaging.photo import Photo
from jartest.imaging.profile import COLUMNS, FRACTIONS, ROWS, Geometry, Strip

__all__ = ["BODY", "FLOATING", "FOAM", "SETTLED", "RowsSeen", "both", "see_rows", "with_edges"]

Floats = NDArray[np.float32]

BELOW, SETTLED, BODY, FLOATING, FOAM, ABOVE = range(6)
_WEIGHTS = Path(__file__).parent / "weights" / "layers.onnx"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsSeen:
    """`kinds` (rows, 6) probabilities; `ends`, `floor`, `surface` (rows) of a line being there."""

    kinds: Floats
    ends: Floats
    floor: Floats
    surface: Floats

    def moved(self, here: Geometry, there: Geometry) -> RowsSeen:
        """The same jar's rows where its floor and surface were taken elsewhere, to the nearest row."""
        fraction = (here.floor_px - (there.floor_px - FRACTIONS * there.column_px)) / here.column_px
        rows = np.rint((FRACTIONS[0] - fraction) / (FRACTIONS[0] - FRACTIONS[1])).astype(int)
        at = np.clip(rows, 0, ROWS - 1)
        return RowsSeen(**{f.name: getattr(self, f.name)[at] for f in fields(RowsSeen)})


def both(one: RowsSeen, other: RowsSeen) -> RowsSeen:
    """The mean of two words on the same rows."""
    mean = {f.name: (getattr(one, f.name) + getattr(other, f.name)) / 2 for f in fields(RowsSeen)}
    return RowsSeen(**mean)


def with_edges(seen: RowsSeen, photo: Photo, geometry: Geometry) -> RowsSeen:
    """This network's word on where layers end, pooled with the closer look's, which was fitted on other pictures.

    A logarithmic pool: both must find an end likely.  They err in different places: on real photographs half of the
    ends that this network tells alone are false and fall away.  The closer look's odds count for all rows within
    `_NEAR` of theirs, because two networks never name the same row.

    References
    ----------
    Genest and Zidek (1986), Combining probability distributions, Statistical Science 1(1), 114-135.
    """
    col, row = geometry.points(np.array([0.0, 1.0], np.float32), np.zeros(2, np.float32))
    floor, surface = (np.array([c, r], float) for c, r in zip(col, row, strict=True))
    fractions, odds = edge_odds(photo.pixels, floor, surface, geometry.half_px)
    there = np.interp(FRACTIONS[::-1], fractions[::-1], odds[::-1])[::-1]
    wide = 2 * round(_NEAR / float(FRACTIONS[0] - FRACTIONS[1])) + 1
    near = cv2.dilate(there.astype(np.float32)[:, None], np.ones((wide, 1), np.uint8))[:, 0]
    pooled = np.maximum(seen.ends, 1e-6) ** _WEIGHT * np.maximum(near, 1e-6) ** (1 - _WEIGHT)
    return replace(seen, ends=np.asarray(pooled, np.float32))


_WEIGHT = 0.7  # of this network's word: of a half to eight tenths the best on left-out vessels, fit/DIARY.md
_NEAR = 0.02  # of the column; our choice, as `layers._APART`
_held = threading.local()


def _net() -> Any:
    """This thread's network: one holds its last input, so that threads cannot share it."""
    if not hasattr(_held, "net"):
        _held.net = cv2.dnn.readNetFromONNX(str(_WEIGHTS), cv2.dnn.ENGINE_CLASSIC)  # a seventh faster here
    return _held.net


def see_rows(strip: Strip, *, mirrored: bool = False) -> RowsSeen:
    """The network's word on this strip, or on its mirror image."""
    lab = strip.lab[:, ::-1] if mirrored else strip.lab
    x = (lab / 50 - np.array([1, 0, 0], np.float32)).transpose(2, 0, 1).reshape(1, 3, ROWS, COLUMNS)
    net = _net()
    net.setInput(np.ascontiguousarray(x, np.float32))
    rows, _ = net.forward(["rows", "whole"])
    kinds = np.exp(rows[:, :6] - rows[:, :6].max(axis=1, keepdims=True))
    kinds = (kinds / kinds.sum(axis=1, keepdims=True))[0].T
    lines = (1 / (1 + np.exp(-rows[:, 6:])))[0]
    return RowsSeen(
        kinds=np.asarray(kinds, np.float32),
        ends=np.asarray(lines[0], np.float32),
        floor=np.asarray(lines[1], np.float32),
        surface=np.asarray(lines[2], np.float32),
    )
