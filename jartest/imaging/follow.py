"""The same jar in the next photo: the frame carried over by registration."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np

from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame

__all__ = ["follow_jar"]


def follow_jar(photo: Photo, earlier_photo: Photo, earlier_frame: Frame) -> Frame | None:
    """The earlier frame in this photo, or None where the two cannot be laid over each other."""
    lines = (earlier_frame.left_px, earlier_frame.right_px, earlier_frame.floor_px, earlier_frame.surface_px)
    if not all(math.isfinite(v) for v in lines):
        return None
    scale = 500 / max(photo.height_px, earlier_photo.height_px)
    now, then = _grey(photo, scale), _grey(earlier_photo, scale)
    orb = cv2.ORB_create(1500)
    k0, d0 = orb.detectAndCompute(then, None)
    k1, d1 = orb.detectAndCompute(now, None)
    if d0 is None or d1 is None:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(d0, d1)
    if len(pairs) < 20:
        return None
    a = np.float32([k0[m.queryIdx].pt for m in pairs])
    b = np.float32([k1[m.trainIdx].pt for m in pairs])
    move, inlier = cv2.estimateAffinePartial2D(a, b, ransacReprojThreshold=2.5)
    if move is None or int(inlier.sum()) < 20:
        return None
    return _moved(earlier_frame, np.asarray(move), scale)


def _grey(photo: Photo, scale: float) -> np.ndarray:
    size = (round(photo.width_px * scale), round(photo.height_px * scale))
    return np.asarray(
        cv2.cvtColor(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    )


def _moved(frame: Frame, move: np.ndarray, scale: float) -> Frame:
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
