"""Walls, inner floor and liquid surface: found, placed exactly, or as a person set them."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.profile import FRACTIONS, find_geometry, unroll
from jartest.imaging.rows import see_rows
from jartest.imaging.values import Frame, Marks

__all__ = ["find_jar", "place", "with_marks"]

Floats = NDArray[np.float32]

_WORK_ROWS = 288  # rows of the copy on which the jar is sought: walls stay two pixels wide


def with_marks(frame: Frame | None, marks: Marks | None) -> Frame | None:
    """The frame with a person's lines in the place of the finder's."""
    if marks is None:
        return frame
    frame = frame or Frame()
    lines = {n: getattr(marks, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    set_ = {n: v for n, v in lines.items() if not math.isnan(v)}
    if not set_:
        return frame
    if "floor_px" in set_:
        set_["floor_sigma_px"] = 1.0
    if "surface_px" in set_:
        set_["surface_sigma_px"] = 1.0
    if "surface_px" in set_ and "floor_px" in set_:
        set_["confidence"] = 1.0
    if "left_px" in set_ or "right_px" in set_:
        set_["tilt_deg"] = 0.0
    return replace(frame, **set_)


def find_jar(photo: Photo) -> Frame | None:
    """The frame of the jar in the photo, None where there is none; a line it cannot tell is NaN."""
    scale = min(1.0, _WORK_ROWS / photo.height_px)
    size = (max(16, round(photo.width_px * scale)), max(16, round(photo.height_px * scale)))
    small = cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA)
    lab = np.asarray(cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB), np.float32)
    pair = _wall_pair(lab)
    if pair is None:
        return None
    left, right, top, low = pair
    floor, surface, alone = _levels(lab, left, right, top, low)
    back = photo.height_px / size[1]
    return Frame(
        left_px=(left + 0.5) * back - 0.5,
        right_px=(right + 0.5) * back - 0.5,
        floor_px=(floor + 0.5) * back - 0.5,
        surface_px=(surface + 0.5) * back - 0.5,
        floor_sigma_px=3 * back,
        surface_sigma_px=3 * back,
        confidence=alone,
    )


def _wall_pair(lab: Floats) -> tuple[float, float, float, float] | None:
    """Columns of two near-vertical lines that run side by side over the same rows, and those rows."""
    blur = cv2.GaussianBlur(lab, (0, 0), 0.8)
    gx = np.linalg.norm(cv2.Sobel(blur, cv2.CV_32F, 1, 0), axis=2)
    gy = np.linalg.norm(cv2.Sobel(blur, cv2.CV_32F, 0, 1), axis=2)
    edge = np.where(gx > 0.7 * gy, gx, 0).astype(np.float32)
    edge = np.asarray(np.minimum(edge, 40) / 40, np.float32)
    edge = np.asarray(cv2.dilate(edge, np.ones((1, 5), np.uint8)), np.float32)
    rows, cols = edge.shape
    best: tuple[float, float, float, float, float] | None = None
    for width in range(max(12, cols // 12), int(cols * 0.97), 2):
        both = np.minimum(edge[:, :-width], edge[:, width:]) - 0.12
        total = np.cumsum(both, axis=0)
        low_so_far = np.minimum.accumulate(
            np.vstack([np.zeros((1, both.shape[1]), np.float32), total[:-1]]), axis=0
        )
        gain = total - low_so_far
        j = int(gain.argmax())
        end, col = divmod(j, gain.shape[1])
        value = float(gain[end, col])
        if best is None or value > best[4]:
            start = int(np.argmin(np.concatenate([[0], total[:end, col]]))) if end else 0
            best = (float(col), float(col + width), float(start), float(end), value)
    if best is None or best[4] < 0.04 * rows:
        return None
    return best[:4]


def _levels(lab: Floats, left: float, right: float, top: float, low: float) -> tuple[float, float, float]:
    """Rows of the floor and the surface between two walls, and how much the surface stands alone.

    The last is 1 less the second strongest colour step above the floor over the strongest: a layer
    boundary, a lid or a shoulder may be as strong as the surface, and then this finder cannot tell.
    """
    a, b = int(left + 0.3 * (right - left)), int(left + 0.7 * (right - left)) + 1
    strip = np.median(lab[:, a:b], axis=1)
    k = 3
    step = np.zeros(len(strip), np.float32)
    for i in range(k, len(strip) - k):
        step[i] = np.linalg.norm(strip[i : i + k].mean(axis=0) - strip[i - k : i].mean(axis=0))
    lo, hi = int(max(0, low - 8)), int(min(len(step), low + 8))
    floor = lo + int(step[lo:hi].argmax()) if hi > lo else low
    inner = step.copy()
    inner[: int(top)] = 0
    inner[int(floor - 0.1 * (low - top)) :] = 0
    at = int(inner.argmax())
    others = inner.copy()
    near = max(4, round(0.06 * (low - top)))
    others[max(0, at - near) : at + near + 1] = 0
    alone = 0.8 * (1 - float(others.max()) / max(1e-6, float(inner[at])))  # never sure by itself
    return float(floor), float(at), alone


def place(photo: Photo, approx: Frame, marks: Marks | None = None) -> Frame:
    """The frame with floor and surface placed exactly near an approximate one; a person's lines as they are.

    Parameters
    ----------
    photo : Photo
    approx : Frame
        Lines good to about a twentieth of the column.
    marks : Marks or None
        Lines that a person set.

    Returns
    -------
    Frame
        Floor and surface on the network's line for each in the unrolled jar, where it is sure that one
        is near; else where they were, with the sigmas they came with.
    """
    frame = with_marks(approx, marks) or approx
    held = [marks is not None and not math.isnan(v) for v in _rows_of(marks)]
    for _ in range(_ROUNDS):
        if all(held) or not _upright(frame):
            return frame
        geometry = find_geometry(photo, frame)
        seen = see_rows(unroll(photo, frame, geometry))
        high = frame.floor_px - frame.surface_px
        floor, surface = _line(seen.floor), _line(seen.surface)
        moved = {"tilt_deg": math.degrees(math.atan(geometry.lean))}
        if not held[0] and not math.isnan(floor):
            moved |= {"floor_px": frame.floor_px - floor * high, "floor_sigma_px": _LINE_SIGMA * high}
        if not held[1] and not math.isnan(surface):
            moved |= {"surface_px": frame.floor_px - surface * high, "surface_sigma_px": _LINE_SIGMA * high}
        frame = replace(frame, **moved)
    return frame


_ROUNDS = 2  # the second looks along arcs that fit the lines of the first
_LINE_SIGMA = 0.006  # of the column: twice the median error of 0.2 to 0.3 % on the test pictures
_LINE_SURE = 0.3


def _rows_of(marks: Marks | None) -> tuple[float, float]:
    return (math.nan, math.nan) if marks is None else (marks.floor_px, marks.surface_px)


def _upright(frame: Frame) -> bool:
    """True for a frame with all four lines, the right way round and large enough to unroll."""
    wide, high = frame.right_px - frame.left_px, frame.floor_px - frame.surface_px
    return wide >= 8 and high >= 8  # NaN compares false


def _line(sure: Floats) -> float:
    """Height of the strongest place, as a fraction of the column; NaN where none is sure."""
    i = int(sure.argmax())
    if sure[i] < _LINE_SURE:
        return math.nan
    near = slice(max(0, i - 3), i + 4)
    return float((sure[near] * FRACTIONS[near]).sum() / sure[near].sum())
