"""Every edge of a vessel and its contents as the camera sees it, by name: the truth of one picture."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.seen import Wall, arc
from jartest.imaging.fit.truth import View, section

__all__ = ["arcs"]

Array = NDArray[Any]
_INDEX = {"turbid": 1.336, "oil": 1.46}


def arcs(view: View, v: dict[str, Any]) -> dict[str, Any]:
    """Columns and rows of every edge of one vessel's contents and glass as the camera sees them, by name.

    `floor`, `surface`, `top` (foam's) and `layers` (their tops, from the bottom up) have a near and, where
    it can be seen, a far arc; `rim`, `cap`, `film`, `foot` and `relief` are glass and what clings to it.
    """
    wall = Wall(
        heights=np.array([y for y, _ in v["inner_mm"]]), radii=np.array([r for _, r in v["inner_mm"]]),
        wall=v["wall_mm"], height=v["inner_height_mm"], origin=np.array(v["origin_mm"]), power=v["power"],
        yaw_deg=v["yaw_deg"], ior=v["glass_ior"],
    )  # fmt: skip

    def pair(y: float, inside: float | None) -> dict[str, Any]:
        near = _points(arc(view, wall, y, far=False))
        far = None if inside is None else _points(arc(view, wall, y, far=True, inside=inside))
        return {"near": near, "far": far}

    layers = v["layers"]
    out: dict[str, Any] = {"rim": pair(wall.height, 1.0), "layers": []}
    eye = float(view.eye[1] - wall.origin[1])
    for k, x in enumerate(layers):
        above = layers[k + 1] if k + 1 < len(layers) else None
        out["layers"].append(pair(x["top_mm"], _between(eye, x["top_mm"], x, above)))
    liquid = [x for x in layers if x["kind"] != "foam"]
    if liquid:
        first = layers[0]
        out["floor"] = pair(0.0, None if _hidden(first) or eye < 0 else _INDEX.get(first["kind"], 1.333))
        out["floor"]["near"] = _points(_lowest(view, wall, v["round_mm"]))
        out["surface"] = out["layers"][len(liquid) - 1]
        out["top"] = out["layers"][-1]
    noted = v["noted"]
    for name, key, which in (("cap", "cap_mm", 0), ("film", "film_mm", 1), ("relief", "", 0)):
        y = noted[key][which] if key in noted else 0.0
        if name == "relief":
            y = v["relief_reach_mm"] if v["relief_reach_mm"] < wall.height else 0.0
        if y:
            out[name] = {"near": _points(arc(view, wall, y, far=False)), "far": None}
    out["foot"] = {"near": _foot(view, v), "far": None}
    return out


def _points(a: Array) -> list[list[float] | None] | None:
    seen = [None if np.isnan(x) else [round(float(x), 2), round(float(y), 2)] for x, y in a]
    return seen if any(seen) else None


def _hidden(x: dict[str, Any]) -> bool:
    return bool(x.get("opaque") or x.get("beads_mm") or x["density"] > 0.3 or x["flocs"] > 150)


def _between(eye: float, y: float, x: dict[str, Any], above: dict[str, Any] | None) -> float | None:
    """Refractive index of what the far arc of a layer's top is seen through; None where it is hidden."""
    through = above if eye > y else x
    if through is None:
        return 1.0
    return None if _hidden(through) else _INDEX.get(through["kind"], 1.333)


def _lowest(view: View, wall: Wall, round_mm: float) -> Array:
    """Near edge of the floor: of the lower part of the inner wall what is seen lowest, each height as if upright."""
    inner = lambda y: float(np.interp(y, wall.heights, wall.radii))  # noqa: E731
    heights = [round_mm * t for t in np.linspace(0, 0.9, 7)] if round_mm else [0.0]
    if inner(0.12 * wall.height) > 1.03 * inner(0.0):  # a bowl, a bulge, a round end
        heights += list(np.linspace(0.02, 0.4, 9) * wall.height)
    rows = []
    for y in heights:
        t = max(1 - y / round_mm, 0.0) if round_mm else 0.0
        r = max(inner(y) - round_mm * (1 - np.sqrt(1 - t * t)), 0.5)
        upright = replace(
            wall, heights=np.array([0.0, wall.height]), radii=np.array([r, r]), wall=inner(y) + wall.wall - r
        )
        rows.append(arc(view, upright, y, far=False))
    seen = np.stack(rows)
    y = np.where(np.isnan(seen[..., 1]), -np.inf, seen[..., 1])
    return np.asarray(seen[y.argmax(0), np.arange(seen.shape[1])])


def _foot(view: View, v: dict[str, Any]) -> Any:
    """Near half of the ring on which the vessel stands."""
    q = view.eye - np.array(v["origin_mm"])
    angles = float(np.arctan2(q[0], q[2])) + np.radians(np.linspace(-86, 86, 17))
    r = v["foot_radius_mm"] * section(angles, v["power"], v["yaw_deg"])
    y = np.full_like(r, -v["glass_floor_mm"])
    return _points(
        view.project(np.array(v["origin_mm"]) + np.stack([r * np.sin(angles), y, r * np.cos(angles)], -1))
    )
