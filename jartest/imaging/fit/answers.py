"""The truth of a rendered picture as an answer to score by, in the form of `tests/pictures/single`."""

from __future__ import annotations

from typing import Any

import numpy as np

from jartest.imaging.fit.truth import Truth

__all__ = ["answer", "category"]


def category(v: dict[str, Any]) -> str:
    """What the contents are meant to show, in the words of `tests/pictures/single`."""
    layers = v["layers"]
    liquid = [x for x in layers if x["kind"] != "foam"]
    kinds = [x["kind"] for x in liquid]
    if any(x.get("grain") in ("curds", "pores", "pulp", "photo") and x["kind"] == "turbid" for x in liquid):
        return "curdled"
    if any(x["flocs"] or x.get("beads_mm") for x in liquid) or v["noted"].get("floaters"):
        return "flocs_settling" if len(liquid) > 1 else "flocs"
    if "oil" in kinds:
        return "oil"
    if len(liquid) > 2 or kinds.count("turbid") > 1:
        return "three_bands"
    if kinds[0] == "sediment":
        thin = liquid[0]["top_mm"] < 0.03 * liquid[-1]["top_mm"]
        return "trace_sediment" if thin else "sediment_milky" if liquid[-1]["density"] >= 6 else "sediment"
    if kinds[-1] == "cream":
        return "cream"
    if len(layers) > len(liquid):
        return "foam"
    dense = liquid[0]["density"]
    return "uniform_milky" if dense >= 6 else "uniform_hazy" if dense > 0 else "uniform_clear"


def answer(truth: dict[str, Any], shot: Any) -> dict[str, Any]:
    """Lengths in mm above the inner floor, pixels from the top left; lines as they are seen through the glass."""
    v, view = truth["vessels"][0], Truth.from_json(truth)
    vessel, arcs = view.vessels[0], v["arcs"]

    def middle(name: str, height_mm: float, layer: int | None = None) -> list[float]:
        """On the side that faces the camera; as through no glass where a bulge hides it."""
        seen = vessel.seen(name, layer=layer)
        plain = view.view.project(vessel.ring(height_mm, np.zeros(1)))[0]
        return [float(c) for c in (plain if seen is None else seen)]

    floor = middle("floor", 0.0)
    tops = [middle("", b.top_mm, k) for k, b in enumerate(vessel.bands)]
    ring = view.view.project(vessel.ring(vessel.surface_mm / 2, np.linspace(-np.pi, np.pi, 721)))
    jar = {
        "inner_bottom": floor, "rim_front": middle("rim", vessel.height_mm),
        "left": ring[ring[:, 0].argmin()].tolist(), "right": ring[ring[:, 0].argmax()].tolist(),
    }  # fmt: skip
    layers = [
        {"kind": x["kind"], "bottom_mm": x["bottom_mm"], "top_mm": x["top_mm"], "front_bottom_px": a, "front_top_px": b,
         "blend_mm": x["blend_mm"]}
        for x, a, b in zip(v["layers"], [floor, *tops[:-1]], tops, strict=True)
    ]  # fmt: skip
    return {
        "jar": v["jar"], "inner_height_mm": v["inner_height_mm"],
        "inner_diameter_mm": 2 * float(np.interp(vessel.surface_mm / 2, *np.array(v["inner_mm"]).T)),
        "content_height_mm": vessel.top_mm, "layers": layers, "jar_px": jar,
        "flocs": [{"count": x["flocs"], "median_mm": x["floc_mm"]} for x in v["layers"] if x["flocs"]],
        "camera": {"pitch": shot.pitch, "roll": shot.roll, "fov": shot.fov}, "backdrop": shot.backdrop, "light": shot.light,
        "bench": shot.bench, "label": bool(shot.stickers), "ticks": bool(v["marks"]), "lid": "cap_mm" in v["noted"],
        "residue": shot.residue, "category": category(v), "base": v["base"], "relief": v["relief"], "arcs": arcs,
        "noted": v["noted"],
    }  # fmt: skip
