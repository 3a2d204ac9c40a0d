"""Drawn jars with known truth, for tests and for readers of the code: no rendering, only geometry.

A drawn jar is a cylinder seen a little from above: bench, backdrop, glass, contents in bands with
near arcs, lumps.  Every line is known to a fraction of a pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.values import Frame

__all__ = ["Band", "Drawn", "draw_jar"]

RGB = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One band of the contents: where it ends, as a fraction of the liquid column, and its colour."""

    top_fraction: float
    colour: RGB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """A drawn picture, the jar's true frame in it and the true boundaries from the bottom up."""

    pixels: NDArray[np.uint8]
    frame: Frame
    boundaries: tuple[float, ...]

    def jpeg(self, quality: int = 92) -> bytes:
        """The picture as a JPEG file."""
        bgr = np.ascontiguousarray(self.pixels[..., ::-1])
        return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def draw_jar(
    bands: tuple[Band, ...],
    *,
    width_px: int = 480,
    height_px: int = 640,
    tilt_deg: float = 0.0,
    sag: float = 0.12,
    lumps: int = 0,
    noise: float = 1.5,
    seed: int = 0,
) -> Drawn:
    """A jar with these bands, bottom up, the last of which ends at 1.

    `sag` is the depth of the near arcs in half-widths; `noise` the standard deviation of the noise in
    grey levels; lumps are light spots of 1 to 3 % of the width, spread evenly over the contents.
    """
    rng = np.random.default_rng(seed)
    half, floor, surface = 0.26 * width_px, 0.84 * height_px, 0.34 * height_px
    centre, middle = width_px / 2 + 0.05 * width_px, (floor + surface) / 2
    lean = math.tan(math.radians(tilt_deg))
    row, col = np.mgrid[:height_px, :width_px].astype(np.float64)
    across = (col - centre + lean * (row - middle)) / half
    bow = half * sag * (1 - np.sqrt(np.clip(1 - across**2, 0, 1)))
    level = row - lean * across * half + bow  # the row at which this place's arc crosses the centre line
    fraction = (floor - level) / (floor - surface)
    picture = np.where(
        (row < 0.72 * height_px)[..., None], np.array([182.0, 186, 190]), np.array([120.0, 104, 88])
    )
    in_wall = np.abs(across) <= 1
    top = 1.5
    glass = in_wall & (fraction > -0.05) & (fraction < top)
    picture[glass] = 0.85 * picture[glass] + 22
    low = -0.05
    bottom = 0.0
    picture[in_wall & (fraction >= low) & (fraction < bottom)] = (70, 72, 70)
    shade = 1 - 0.25 * across**2
    for band in bands:
        here = in_wall & (fraction >= bottom) & (fraction < band.top_fraction)
        picture[here] = np.array(band.colour) * shade[here][:, None]
        bottom = band.top_fraction
    cap = (
        in_wall
        & (fraction >= 1)
        & (level + 2 * sag * half * np.sqrt(np.clip(1 - across**2, 0, 1)) >= surface)
    )
    picture[cap] = np.minimum(255, np.array(bands[-1].colour) * 1.12)
    picture[(np.abs(np.abs(across) - 1) < 1.5 / half) & (fraction > low) & (fraction < top)] *= 0.6
    spots = np.zeros((height_px, width_px), np.float32)
    for _ in range(lumps):
        u, s = rng.uniform(-0.85, 0.85), rng.uniform(0.03, 0.97)
        r = floor - s * (floor - surface)
        x = centre - lean * (r - middle) + u * half
        y = r + lean * u * half - half * sag * (1 - math.sqrt(1 - u * u))
        cv2.circle(
            spots,
            (round(x * 8), round(y * 8)),
            round(rng.uniform(0.02, 0.06) * half * 8),
            1.0,
            -1,
            cv2.LINE_AA,
            3,
        )
    picture += spots[..., None] * (np.array([238.0, 232, 214]) - picture)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, noise, picture.shape)
    frame = Frame(
        left_px=centre - half,
        right_px=centre + half,
        floor_px=floor,
        surface_px=surface,
        tilt_deg=tilt_deg,
        confidence=1.0,
    )
    pixels = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return Drawn(pixels=pixels, frame=frame, boundaries=tuple(b.top_fraction for b in bands[:-1]))
