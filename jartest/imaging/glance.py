"""A quick look at what a camera sees, not kept: whether it went dark, or something moved since the glance before."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.errors import BadPhoto

__all__ = ["Glance", "glance_at", "went_wrong"]

_ROWS, _COLS = 48, 64
_DARK = 0.12  # mean lightness as a fraction of white, below which no line of a jar is seen (our choice)
# Root mean square of the difference of two glances, each of mean 0 and deviation 1.  A jar of the sample tests moved by
# a tenth of the picture's width gives 0.33 to 0.73; two looks 5 minutes apart 0.16 to 0.61, which is a fifteenth of
# that from one glance to the next, 20 s later (tests/imaging/test_glance.py).
_MOVED = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glance:
    """What is left of a picture: its lightness, from 0 to 1, and its pattern without its lightness."""

    lightness: float
    pattern: NDArray[np.float32]


def glance_at(data: bytes) -> Glance:
    """The glance of a photo.

    Raises
    ------
    BadPhoto
        If it cannot be decoded.
    """
    grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_4)
    if grey is None:
        raise BadPhoto("The camera did not deliver a picture; unplug it and plug it in again.")
    small = cv2.resize(grey, (_COLS, _ROWS), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    small = cv2.GaussianBlur(small, (3, 3), 0).astype(np.float32)
    spread = float(small.std()) or 1.0
    return Glance(
        lightness=float(small.mean()), pattern=(small - small.mean()) / np.float32(max(spread, 0.02))
    )


def went_wrong(before: Glance | None, now: Glance) -> str:
    """What happened since the glance before, in words; empty where nothing did."""
    if now.lightness < _DARK:
        return "" if before is not None and before.lightness < _DARK else "the picture went dark"
    if before is None or before.lightness < _DARK:
        return ""
    difference = float(np.sqrt(np.mean((now.pattern - before.pattern) ** 2)))
    return "the jar or the camera moved" if difference > _MOVED else ""
