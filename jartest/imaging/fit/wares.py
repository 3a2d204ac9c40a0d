"""Vessels, contents and shots as the world has them: bases, feet, caps, marks; films, beads, gradients; phones.

Everything is a plain value on top of `scene`'s; `world` throws the dice, `world_scene` builds them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.scene import Jar, Layer, Shot
from jartest.imaging.fit.truth import section

__all__ = ["Base", "Cap", "Stuff", "Ware", "World", "blended", "outline"]

Array = NDArray[Any]


@dataclass(frozen=True, kw_only=True)
class Base:
    """What stands under the inner floor, and the relief of the outer wall that often goes with it."""

    kind: str = "plain"  # plain | taper | step | pedestal | stem
    waist: float = 0.5  # narrowest radius of a pedestal or stem, and of a step, over that of the body
    foot: float = 1.0  # radius of the foot over that of the body
    relief: str = ""  # lobes | flutes | facets | ribs | rings | knobs
    count: int = 12
    deep: float = 0.1  # cm
    reach: float = 0.2  # up to this share of the height; 1 and more: all of it
    punt: float = 0.0  # cm by which the underside is pushed up
    heel: float = 0.15  # cm of rounding at the foot


@dataclass(frozen=True, kw_only=True)
class Cap:
    """What closes a vessel."""

    kind: str = "screw"  # screw | lid | stopper
    colour: tuple[float, ...] = (0.05, 0.1, 0.5)
    skirt: float = 1.2  # cm down from the rim
    over: float = 0.25  # cm above the rim
    metal: bool = False


@dataclass(frozen=True, kw_only=True)
class Ware(Jar):
    """A vessel with a base, rounding inside, tinted glass, marks and a cap."""

    base: Base = Base()
    round: float = 0.0  # cm of rounding between inner wall and floor
    tint: tuple[float, ...] = (1.0, 1.0, 1.0)
    thread: float = 0.0  # cm of neck with a screw thread
    marks: str = ""  # printed | embossed | both
    cap: Cap | None = None

    def nominal(self, y: Array) -> Array:
        """Inner radius as if wall and floor met at a right angle."""
        return np.interp(y, self.heights, self.radii)

    def radius(self, y: Array) -> Array:
        c = self.round
        t = np.clip((c - np.asarray(y, float)) / max(c, 1e-6), 0, 1)
        return np.maximum(self.nominal(y) - c * (1 - np.sqrt(1 - t * t)), 0.02)


@dataclass(frozen=True, kw_only=True)
class Stuff(Layer):
    """One band of the contents, with what the world has in it."""

    grain: str = ""  # pores | curds | grains | pulp | cracks | photo: painted on what is opaque
    beads: float = 0.0  # cm, radius of beads packed through the band
    bead_colour: tuple[float, ...] = (0.7, 0.7, 0.7)
    bubbles: int = 0  # of air, through the band
    blend: float = 0.0  # cm over which it goes into the band above

    @property
    def opaque(self) -> bool:
        return not self.beads and (self.kind in ("sediment", "cream", "foam") or self.density >= 6)


@dataclass(frozen=True, kw_only=True)
class World(Shot):
    """One picture of the world."""

    frame: int = 0  # of a series
    stand: str = ""  # coaster | plate | paper | block: what the vessel stands on
    clutter: int = 0
    shelf: bool = False
    film: float = 0.0  # cm above the surface
    film_strength: float = 0.5
    drops: int = 0
    floaters: str = ""  # ice | slices | crumbs | berries
    rim_foam: float = 0.0  # cm of bubbles along the wall above the surface
    stickers: int = 0
    prop: str = ""  # what stands where a vessel would
    phone: dict[str, Any] = field(default_factory=dict)


def _step(t: Array, at: float, wide: float) -> Array:
    s = np.clip((t - at) / wide + 0.5, 0, 1)
    return s * s * (3 - 2 * s)


def _base_shape(b: Base, t: Array) -> Array:
    """Radius over that of the body against the share of the way down to the foot."""
    if b.kind == "taper":
        return 1 + (b.foot - 1) * t
    if b.kind == "step":
        return 1 + (b.foot - 1) * _step(t, 0.45, 0.1)
    if b.kind in ("pedestal", "stem"):
        first, last = (0.35, 0.85) if b.kind == "pedestal" else (0.14, 0.93)
        down = 1 + (b.waist - 1) * _step(t, first / 2, first)
        return down + (b.foot - b.waist) * _step(t, last, 2 * (1 - last))
    return np.ones_like(t)


def _relief(b: Base, th: Array, y: Array, r: Array) -> Array:
    n = b.count
    if b.relief == "lobes":
        return b.deep * (0.5 + 0.5 * np.cos(n * th)) * np.ones_like(y)
    if b.relief == "flutes":
        return b.deep * np.abs(np.sin(n * th / 2)) * np.ones_like(y)
    if b.relief == "ribs":
        return b.deep * 0.5 * (0.5 + 0.5 * np.cos(3 * n * th)) * np.ones_like(y)
    if b.relief == "facets":
        return r * (1 / np.cos((th % (2 * np.pi / n)) - np.pi / n) - 1)
    if b.relief == "rings":
        return b.deep * (0.5 + 0.5 * np.cos(2 * np.pi * y * n / 12)) * np.ones_like(th)
    if b.relief == "knobs":
        rows = np.exp(-((np.sin(np.pi * y / 0.9) / 0.5) ** 2))
        return b.deep * 1.6 * rows * np.maximum(np.cos(n * th), 0) ** 2
    return np.zeros(np.broadcast_shapes(th.shape, y.shape))


def outline(jar: Ware, y: Array, th: Array) -> Array:
    """Outer radius, (heights, angles), cm; heights reach down to -jar.floor."""
    b, yy = jar.base, np.asarray(y, float)[:, None]
    t = np.clip(-yy / jar.floor, 0, 1)
    body = jar.nominal(np.maximum(yy, 0)) + jar.wall
    r = body * _base_shape(b, t) * section(th, jar.power, jar.yaw_deg)[None]
    if b.relief:
        top = b.reach * jar.height
        fade = 1.0 if b.reach >= 1 else 1 - _step(yy, top, 0.12 * jar.height)
        quiet = 1 - _step(t, 0.25, 0.3) if b.kind in ("pedestal", "stem") else 1.0
        r = r + fade * quiet * _relief(b, th[None], yy, body)
    if jar.thread:
        low = jar.height - jar.thread
        r = r + 0.1 * (0.5 + 0.5 * np.cos(2 * np.pi * yy / 0.38 + th[None])) * _step(yy, low, 0.2)
    heel = np.clip(1 - (yy + jar.floor) / b.heel, 0, 1)
    return r - b.heel * (1 - np.sqrt(1 - heel * heel))


def blended(layers: tuple[Layer, ...], slices: int = 12) -> tuple[Layer, ...]:
    """The bands as they are built: where one goes slowly into the next, thin ones between."""
    heights = [x.height for x in layers]
    out: list[Layer] = []
    parts: list[list[Layer]] = [[] for _ in layers]
    for k, x in enumerate(layers[:-1]):
        wide, above = getattr(x, "blend", 0.0), layers[k + 1]
        wide = min(wide, 1.8 * heights[k], 1.8 * heights[k + 1])
        if wide <= 0:
            continue
        heights[k] -= wide / 2
        heights[k + 1] -= wide / 2
        for j in range(slices):
            t = (j + 0.5) / slices
            t = t * t * (3 - 2 * t)
            colour = tuple(float(a + t * (b - a)) for a, b in zip(x.colour, above.colour, strict=True))
            density = float(_thick(x) ** (1 - t) * _thick(above) ** t)
            parts[k].append(
                Stuff(kind="turbid", height=wide / slices, colour=colour, density=density, mottle=x.mottle * (1 - t))
            )  # fmt: skip
    for x, h, part in zip(layers, heights, parts, strict=True):
        out += [replace(x, height=max(h, 0.02), ragged=0.0 if part else x.ragged), *part]
    return tuple(out)


def _thick(x: Layer) -> float:
    return 8.0 if x.opaque else max(x.density, 0.02)
