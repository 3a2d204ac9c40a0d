"""Known truth of one picture: the camera, each vessel's shape, and what is in it.

Lengths are millimetres, y points up, the inner floor of a vessel is y = 0 on its own axis.  From
this any line or mask can be drawn: project the outer wall's near half.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Band", "Truth", "Vessel", "View"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A pinhole camera with square pixels; pixel centres at integers."""

    eye: Array
    target: Array
    up: Array
    fov_y_deg: float
    width_px: int
    height_px: int

    def project(self, points: Array) -> Array:
        """(..., 2) columns and rows of (..., 3) points."""
        ahead = (self.target - self.eye) / np.linalg.norm(self.target - self.eye)
        right = np.cross(ahead, self.up)
        right = right / np.linalg.norm(right)
        above = np.cross(right, ahead)
        v = points - self.eye
        s = self.height_px / 2 / np.tan(np.radians(self.fov_y_deg) / 2)
        z = np.maximum(v @ ahead, 1.0)
        x = self.width_px / 2 + (v @ right) / z * s - 0.5
        y = self.height_px / 2 - (v @ above) / z * s - 0.5
        return np.stack([x, y], -1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One layer of the contents, heights in mm above the inner floor."""

    kind: str  # settled | liquid | floating | foam
    bottom_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Vessel:
    """One vessel: outer radius against height, the shape of its cross-section, and its contents."""

    profile: Array  # (n, 2) height, outer radius
    bands: tuple[Band, ...]
    height_mm: float
    floor_mm: float  # glass under the inner floor
    origin: Array
    power: float = 2.0  # exponent of the cross-section: 2 a circle, 4 to 8 a rounded square
    yaw_deg: float = 0.0
    arcs: dict[str, Any] | None = None  # edges as they are seen through glass and liquid: `arcs.arcs`

    def ring(self, height_mm: float, angles: Array) -> Array:
        """(n, 3) points of the outer wall at one height; angle 0 faces the camera's side."""
        r = float(np.interp(height_mm, self.profile[:, 0], self.profile[:, 1]))
        s = section(angles, self.power, self.yaw_deg)
        y = np.full_like(s, height_mm)
        return self.origin + np.stack([r * s * np.sin(angles), y, r * s * np.cos(angles)], -1)

    def seen(self, name: str, side: str = "near", layer: int | None = None) -> Array | None:
        """Column and row of an edge on the side that faces the camera, where the record tells it."""
        if self.arcs is None:
            return None
        held = self.arcs["layers"][layer] if layer is not None else self.arcs.get(name)
        points = held and held[side]
        return None if not points or points[len(points) // 2] is None else np.array(points[len(points) // 2])

    @property
    def surface_mm(self) -> float:
        """Height of the liquid surface: the top of the uppermost layer that is no foam."""
        return max((b.top_mm for b in self.bands if b.kind != "foam"), default=0.0)

    @property
    def top_mm(self) -> float:
        """Height of the top of the contents, foam included."""
        return max((b.top_mm for b in self.bands), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """What a picture shows."""

    view: View
    vessels: tuple[Vessel, ...]

    @classmethod
    def from_json(cls, d: dict[str, Any]) -> Truth:
        """Read the renderer's record: one vessel at the top level, or several under `vessels`."""
        v = d["view"]
        view = View(
            eye=np.array(v["eye_mm"], float),
            target=np.array(v["target_mm"], float),
            up=np.array(v["up"], float),
            fov_y_deg=v["fov_y_deg"],
            width_px=v["width_px"],
            height_px=v["height_px"],
        )
        if not d.get("jar_present", True):
            return cls(view=view, vessels=())
        return cls(view=view, vessels=tuple(_vessel(x) for x in d.get("vessels", [d])))


_KIND = {
    "sediment": "settled", "cream": "floating", "oil": "floating", "foam": "foam",
    "turbid": "liquid", "clear": "liquid", "gel": "liquid",
}  # fmt: skip


def _vessel(d: dict[str, Any]) -> Vessel:
    bands = tuple(
        Band(kind=_KIND[b["kind"]], bottom_mm=b["bottom_mm"], top_mm=b["top_mm"]) for b in d["layers"]
    )
    return Vessel(
        profile=np.array(d["profile_mm"], float),
        bands=bands,
        height_mm=d["inner_height_mm"],
        floor_mm=d.get("glass_floor_mm", 5.0),
        origin=np.array(d.get("origin_mm", [0.0, 0.0, 0.0]), float),
        power=d.get("power", 2.0),
        yaw_deg=d.get("yaw_deg", 0.0),
        arcs=d.get("arcs"),
    )


def section(angles: Array, power: float, yaw_deg: float) -> Array:
    """How far the cross-section reaches in each direction, 1 where it is widest along its sides."""
    t = angles - np.radians(yaw_deg)
    reach: Array = (np.abs(np.cos(t)) ** power + np.abs(np.sin(t)) ** power) ** (-1 / power)
    return reach
