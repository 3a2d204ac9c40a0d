"""The same jar in the next photo: the frame carried over by registration."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame

__all__ = ["follow_jar"]

_WORK_PX = 640  # longer side of the copies that are compared
_ALIKE = 0.97  # correlation of the two photos once laid over each other
_SKEW = 0.04  # a camera that moved a little turns and scales a picture; more skew is a wrong match
_AGREE = 12  # points, at least: common practice, no source


def follow_jar(photo: Photo, earlier_photo: Photo, earlier_frame: Frame) -> Frame | None:
    """The earlier frame in this photo, or None where the two cannot be laid over each other.

    Notes
    -----
    Points of jar, bench and backdrop that look alike in both photos (SIFT) are laid over each other by
    one shift, turn and scale; what does not agree (contents that changed) is left out (RANSAC).  None
    where fewer than a dozen points agree, or the scale changed by more than a third.

    References
    ----------
    Lowe (2004), Int. J. Comput. Vision 60, 91-110; Fischler and Bolles (1981), Commun. ACM 24, 381-395.
    """
    lines = (earlier_frame.left_px, earlier_frame.right_px, earlier_frame.floor_px, earlier_frame.surface_px)
    if not all(math.isfinite(v) for v in lines):
        return None
    scale = _WORK_PX / max(photo.height_px, earlier_photo.height_px)
    then, now = _grey(earlier_photo, scale), _grey(photo, scale)
    move = _by_points(then, now)
    if move is None:
        move = _by_shades(then, now)
    if move is None or not 0.75 < math.hypot(move[0, 0], move[1, 0]) < 1.33:
        return None
    return _moved(earlier_frame, move, scale)


def _by_points(then: NDArray[Any], now: NDArray[Any]) -> NDArray[Any] | None:
    finder = cv2.SIFT.create(nfeatures=1500, contrastThreshold=0.01)
    k0, d0 = finder.detectAndCompute(then, None)
    k1, d1 = finder.detectAndCompute(now, None)
    if min(len(k0), len(k1)) < _AGREE:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True).match(d0, d1)
    if len(pairs) < _AGREE:
        return None
    a = np.array([k0[m.queryIdx].pt for m in pairs], np.float32)
    b = np.array([k1[m.trainIdx].pt for m in pairs], np.float32)
    move, agree = cv2.estimateAffinePartial2D(a, b, ransacReprojThreshold=2.0, maxIters=4000)
    return np.asarray(move, float) if int(np.sum(agree)) >= _AGREE else None


def _by_shades(then: NDArray[Any], now: NDArray[Any]) -> NDArray[Any] | None:
    """The move that lays the shades of two photos without marked points over each other (ECC)."""
    if then.shape != now.shape:
        return None
    start = np.eye(2, 3, dtype=np.float32)
    everywhere = np.full(then.shape, 255, np.uint8)
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 80, 1e-5)
    try:
        alike, move = cv2.findTransformECC(then, now, start, cv2.MOTION_AFFINE, stop, everywhere, 9)
    except cv2.error:  # it says so when it does not converge
        return None
    fixed = np.asarray(move, float)
    skew = abs(fixed[0, 0] - fixed[1, 1]) + abs(fixed[0, 1] + fixed[1, 0])
    return fixed if alike > _ALIKE and skew < _SKEW else None


def _grey(photo: Photo, scale: float) -> NDArray[Any]:
    size = (round(photo.width_px * scale), round(photo.height_px * scale))
    return np.asarray(
        cv2.cvtColor(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    )


def _moved(frame: Frame, move: NDArray[Any], scale: float) -> Frame:
    def at(col: float, row: float) -> tuple[float, float]:
        x, y = (col + 0.5) * scale - 0.5, (row + 0.5) * scale - 0.5
        u, v = move @ np.array([x, y, 1.0])
        return float((u + 0.5) / scale - 0.5), float((v + 0.5) / scale - 0.5)

    mid_col, mid_row = (frame.left_px + frame.right_px) / 2, (frame.floor_px + frame.surface_px) / 2
    return replace(
        frame,
        left_px=at(frame.left_px, mid_row)[0],
        right_px=at(frame.right_px, mid_row)[0],
        floor_px=at(mid_col, frame.floor_px)[1],
        surface_px=at(mid_col, frame.surface_px)[1],
        tilt_deg=frame.tilt_deg + math.degrees(math.atan2(move[1, 0], move[0, 0])),
    )
