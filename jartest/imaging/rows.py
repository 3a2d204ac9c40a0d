"""A small network's word on each row of the unrolled jar: what it is, and whether a layer ends there.

It was fitted on rendered pictures by `jartest/imaging/fit/layers_fit.py` and runs in OpenCV.  Its
word is a proposal: where exactly a boundary lies is placed on the photo's own edges (layers.py).
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.profile import COLUMNS, ROWS, Strip

__all__ = ["BODY", "FLOATING", "FOAM", "SETTLED", "RowsSeen", "see_rows"]

Floats = NDArray[np.float32]

BELOW, SETTLED, BODY, FLOATING, FOAM, ABOVE = range(6)
_WEIGHTS = Path(__file__).parent / "weights" / "layers.onnx"
_STEPS = np.array([0.05, 0.1, 0.1], np.float32)  # units of the residuals, as in fitting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsSeen:
    """`kinds` (rows, 6) probabilities; `ends`, `floor`, `surface` (rows) of a line being there;
    `residual`: how much too large lean, sag at the floor and sag at the surface were taken.
    """

    kinds: Floats
    ends: Floats
    floor: Floats
    surface: Floats
    residual: Floats


_held = threading.local()


def _net() -> Any:
    """This thread's network: one holds its last input, so that threads cannot share it."""
    if not hasattr(_held, "net"):
        _held.net = cv2.dnn.readNetFromONNX(str(_WEIGHTS))
    return _held.net


def see_rows(strip: Strip, *, once: bool = False) -> RowsSeen:
    """The network's word on this strip and on its mirror image, averaged: a mirrored photo reads the same.

    `once` asks about the strip alone, in half the time.
    """
    x = (strip.lab / 50 - np.array([1, 0, 0], np.float32)).transpose(2, 0, 1)
    ways = (x,) if once else (x, x[:, :, ::-1])
    both = np.stack(ways).astype(np.float32).reshape(len(ways), 3, ROWS, COLUMNS)
    net = _net()
    net.setInput(np.ascontiguousarray(both))
    rows, whole = net.forward(["rows", "whole"])
    kinds = np.exp(rows[:, :6] - rows[:, :6].max(axis=1, keepdims=True))
    kinds = (kinds / kinds.sum(axis=1, keepdims=True)).mean(axis=0).T
    lines = (1 / (1 + np.exp(-rows[:, 6:]))).mean(axis=0)
    turned = whole[:, 1:] * np.array([[1, 1, 1], [-1, 1, 1]], np.float32)[: len(ways)]
    return RowsSeen(
        kinds=np.asarray(kinds, np.float32),
        ends=np.asarray(lines[0], np.float32),
        floor=np.asarray(lines[1], np.float32),
        surface=np.asarray(lines[2], np.float32),
        residual=np.asarray(turned.mean(axis=0) * _STEPS, np.float32),
    )
