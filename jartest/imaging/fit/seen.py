"""Where an eye sees the edges of the contents: near and far arcs, refracted by the glass and by what is in it.

A ray leaves the eye towards a point of the outer wall, is bent into the glass, and meets the inner wall; for
a far arc it is bent once more, into liquid or air, and goes on to the inner wall's far side.  Which point of
the outer wall shows a given height is found by stepping.  Reliefs of the outer wall are left out: an arc is
where it would be seen through a plain wall.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.truth import View, section

__all__ = ["Wall", "arc"]

Array = NDArray[Any]
_TURNS = 4096  # steps of a march: the crossing itself is then interpolated


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wall:
    """The glass of one vessel, mm: inner radius against height above the inner floor, and what it is made of."""

    heights: Array
    radii: Array
    wall: float
    height: float
    origin: Array
    power: float = 2.0
    yaw_deg: float = 0.0
    ior: float = 1.5

    def reach(self, p: Array, more: float) -> Array:
        """How far points lie outside the inner wall, or outside the wall that is `more` wider, mm."""
        q = p - self.origin
        angle = np.arctan2(q[..., 0], q[..., 2])
        r = np.interp(q[..., 1], self.heights, self.radii) + more
        out: Array = np.hypot(q[..., 0], q[..., 2]) - r * section(angle, self.power, self.yaw_deg)
        return out

    def outer(self, angles: Array, y: Array) -> Array:
        """Points of the outer wall at angles and heights."""
        r = (np.interp(y, self.heights, self.radii) + self.wall) * section(angles, self.power, self.yaw_deg)
        return self.origin + np.stack([r * np.sin(angles), y, r * np.cos(angles)], -1)

    def normal(self, p: Array, more: float) -> Array:
        """Outward unit normals, by differences."""
        step = 0.02
        n = np.stack(
            [self.reach(p + step * e, more) - self.reach(p - step * e, more) for e in np.eye(3)], axis=-1
        )
        return n / np.linalg.norm(n, axis=-1, keepdims=True)

    def march(self, p: Array, d: Array, longest: float, inwards: bool) -> Array:
        """Where rays from p meet the inner wall, from outside or from inside; NaN where they do not."""
        n = max(64, min(_TURNS, int(longest / 0.25)))
        t = np.linspace(longest / n, longest, n)
        f = self.reach(p[:, None] + t[None, :, None] * d[:, None], 0.0) * (1 if inwards else -1)
        before = np.concatenate([np.ones((len(p), 1)), f[:, :-1]], 1)
        met: Any = (f <= 0) & (before > 0)
        k = met.argmax(1)
        i = np.arange(len(p))
        a, b = before[i, k], f[i, k]
        at = t[k] - (t[1] - t[0]) * np.where(k > 0, -b / np.maximum(a - b, 1e-9), 0.5)
        return np.where(met.any(1)[:, None], p + at[:, None] * d, np.nan)


def bent(d: Array, n: Array, before: float, after: float) -> Array:
    """Directions after refraction (Snell); n faces the ray's source; NaN where all light is thrown back."""
    k = before / after
    c = -(d * n).sum(-1, keepdims=True)
    under = 1 - k * k * (1 - c * c)
    return np.where(under < 0, np.nan, k * d + (k * c - np.sqrt(np.maximum(under, 0))) * n)


def arc(view: View, w: Wall, height: float, *, far: bool, inside: float = 1.0, points: int = 17) -> Array:
    """Columns and rows at which the inner wall's level `height` is seen, (points, 2); NaN where it is not.

    `inside` is the refractive index of what the ray crosses inside the vessel on its way to the far wall.
    The points go from the left to the right of the side that faces the camera.
    """
    q = view.eye - w.origin
    facing = float(np.arctan2(q[0], q[2]))
    angles = facing + np.radians(np.linspace(-86, 86, points))
    y = np.full(points, float(height))
    if far:  # a first guess: the ray as if nothing bent it
        r = float(np.interp(height, w.heights, w.radii))
        away = max(float(np.hypot(q[0], q[2])) - r, 1.0)
        y = y + (q[1] - height) / away * 2 * r * np.cos(angles - facing) * 0.8
    for _ in range(12):
        got = _level(view.eye, w, angles, y, far, inside)
        y = np.where(np.isnan(got), y, y - 0.9 * (got - height))
    got = _level(view.eye, w, angles, y, far, inside)
    ok = np.abs(got - height) < 0.3
    return np.where(ok[:, None], view.project(w.outer(angles, y)), np.nan)


def _level(eye: Array, w: Wall, angles: Array, y: Array, far: bool, inside: float) -> Array:
    """Height at which the ray to each point of the outer wall meets the inner wall, near or far."""
    p = w.outer(angles, y)
    d = p - eye
    d = d / np.linalg.norm(d, axis=-1, keepdims=True)
    n = w.normal(p, w.wall)
    over = (y > w.height)[:, None] & far  # over the rim: nothing bends it
    away = ~over & ((d * n).sum(-1, keepdims=True) > -0.01)  # a part of the wall that is turned from the eye
    glass = np.where(away, np.nan, np.where(over, d, bent(d, n, 1.0, w.ior)))
    p1 = w.march(p, glass, 8 * w.wall + 8.0, inwards=True)
    if not far:
        return p1[:, 1] - w.origin[1]
    d2 = np.where(over, d, bent(glass, w.normal(p1, 0.0), w.ior, inside))
    p2 = w.march(p1 + 0.02 * d2, d2, 4.5 * float(w.radii.max()), inwards=False)
    return p2[:, 1] - w.origin[1]
