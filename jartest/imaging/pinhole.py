"""A pinhole camera before a flat card: where it stands and which focal length it has, with their doubts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo

__all__ = ["Pose", "fit_pose", "focal_guess", "middle_px", "turn"]

Floats = NDArray[np.float64]

# Focal length over the longer side of the photo.  Phones' main cameras (24 to 28 mm on 35 mm film) have 0.7 to 0.8,
# their second and third lenses 1.4 to 2.3: the middle of the logarithms, and a sigma that holds them within two.
_FOCAL, _FOCAL_SIGMA = 1.3, 0.45
_EXIF_SIGMA = 0.05  # whole millimetres, and whether the width or the diagonal is meant: 4 % apart at 4:3
_LEAST_PX = 0.1  # how well a corner is placed at best
_GROWTH_SIGMA_MM = 0.3  # of ink and blur; our choice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Camera before the card: six numbers of the pose (turn as a rotation vector, shift in mm) and ln(focal px).

    `covariance` is that of the seven, from the markers and from what was known of the focal length.
    """

    values: Floats
    covariance: Floats

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return math.exp(self.values[6])

    @property
    def focal_sigma(self) -> float:
        """Relative sigma of the focal length."""
        return math.sqrt(float(self.covariance[6, 6]))


def focal_guess(photo: Photo) -> tuple[float, float]:
    """Focal length in pixels and its relative sigma: from the photo's EXIF, else as is usual for phones."""
    if math.isfinite(photo.focal_px):
        return photo.focal_px, _EXIF_SIGMA
    return _FOCAL * max(photo.width_px, photo.height_px), _FOCAL_SIGMA


def middle_px(photo: Photo) -> Floats:
    """The middle of the photo, which is taken for the place that the camera looks at."""
    return np.array([(photo.width_px - 1) / 2, (photo.height_px - 1) / 2])


def turn(vector: Floats) -> Floats:
    """The rotation matrix of a rotation vector."""
    return np.asarray(cv2.Rodrigues(np.asarray(vector, float))[0], float)


def fit_pose(mm: Floats, outwards: Floats, px: Floats, photo: Photo) -> tuple[Pose, float]:
    """The pose and focal length that put these places of the card where they are seen, and the growth in mm.

    Parameters
    ----------
    mm, px : (n, 2)
        Corners of markers on the card and in the photo, at least two markers.
    outwards : (n, 2)
        Which way each corner moves when its marker grows by a millimetre to each side.

    Notes
    -----
    Ink spreads, and a corner is rounded off by blur: all markers grow or shrink alike, by a length that
    is fitted too.
    Least squares over pose and ln(focal length) at once, the latter held by what is known of it
    beforehand; a card seen aslant says more of it than one seen straight, and the covariance tells how
    much.  Square pixels and no lens distortion are assumed: phones take theirs out, and what is left
    shows in the residuals, from which the sigma follows.  A flat card can be seen in two poses that look
    nearly alike; both are tried.
    """
    focal, doubt = focal_guess(photo)
    middle = middle_px(photo)
    camera = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]])
    solid = np.column_stack([mm, np.zeros(len(mm))])
    _, turns, shifts, _ = cv2.solvePnPGeneric(
        solid, np.ascontiguousarray(px, float), camera, None, flags=cv2.SOLVEPNP_IPPE
    )
    known = np.array([math.log(focal), 0.0])
    doubts = np.array([doubt, _GROWTH_SIGMA_MM])
    starts = [np.concatenate([np.ravel(r), np.ravel(t), known]) for r, t in zip(turns, shifts, strict=True)]

    def off(v: Floats) -> Floats:
        return (_project(v, mm + v[7] * outwards) + middle - px).ravel()

    found = [_descend(off, start, known, doubts, _LEAST_PX) for start in starts]
    _, values, _ = min(found, key=lambda f: f[0])
    rest = off(values)
    spread = max(_LEAST_PX, math.sqrt(float(rest @ rest) / max(1, rest.size - 7)))
    _, values, covariance = _descend(off, values, known, doubts, spread)
    return Pose(values=values[:7], covariance=covariance[:7, :7]), float(values[7])


def _project(values: Floats, places: Floats) -> Floats:
    """Where places of the card are seen, from the middle of the photo."""
    solid = np.column_stack([places, np.zeros(len(places))])
    seen = solid @ turn(values[:3]).T + values[3:6]
    return np.asarray(math.exp(values[6]) * seen[:, :2] / seen[:, 2:], float)


_STEP = np.array([1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-6, 1e-4])  # radians, mm, and of the logarithm


def _descend(
    off: Callable[[Floats], Floats], start: Floats, known: Floats, doubts: Floats, spread: float
) -> tuple[float, Floats, Floats]:
    """Cost, values and covariance where damped Gauss-Newton steps end (Levenberg and Marquardt)."""

    def all_off(v: Floats) -> Floats:
        return np.append(off(v) / spread, (v[6:] - known) / doubts)

    values, damping = start.copy(), 1e-3
    rest = all_off(values)
    for _ in range(30):
        slope = np.stack(
            [(all_off(values + d) - all_off(values - d)) / (2 * d.sum()) for d in np.diag(_STEP)], 1
        )
        square = slope.T @ slope
        move = np.linalg.solve(square + damping * np.diag(np.diag(square)), -slope.T @ rest)
        tried = all_off(values + move)
        if tried @ tried < rest @ rest:
            small = rest @ rest - tried @ tried < 1e-9 * (rest @ rest)
            values, rest, damping = values + move, tried, damping / 5
            if small:
                break
        else:
            damping *= 10
            if damping > 1e9:
                break
    return float(rest @ rest), values, np.asarray(np.linalg.inv(square), float)
