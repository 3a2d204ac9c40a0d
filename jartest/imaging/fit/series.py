"""One drawn jar looked at several times: camera moved by hand, contents settling, light changing; exact truth.

Room and bench are planes in space, so they shift against the jar as they would before a real camera.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import scene, textures
from jartest.imaging.fit.drawn import _Drawing
from jartest.imaging.fit.shots import looks
from jartest.imaging.fit.truth import Truth, Vessel, View

__all__ = ["ROUND", "frames"]

Array = NDArray[Any]
Rng = np.random.Generator
ROUND = ("straight", "shouldered", "tapered", "curved", "squat", "beaker", "bottle", "measuring")


def frames(
    i: int, n: int, *, width: int = 576, height: int = 768
) -> list[tuple[NDArray[np.uint8], dict[str, Any]]]:
    """The i-th series of n looks (RGB) with their records of truth; the seed is fixed."""
    shot = _shot(i, width, height)
    jar, layers, at = shot.jars[0]
    rng = np.random.default_rng([20261131, i])
    room = [textures.backdrop(rng, shot.backdrop, (900, 1200)), textures.bench(rng, shot.bench, (900, 1200))]
    out = []
    for k in range(n):
        move = np.random.default_rng([20261132, i, k])
        now = replace(shot, jars=((jar, _later(move, layers, k), at),), **_moved(move, shot, k))
        truth = {"view": scene.camera(now), "vessels": [scene.record(*now.jars[0])], "jar_present": True}
        known = Truth.from_json(truth)
        img = _room(known.view, known.vessels[0], room)
        _paint(i, k, img, known, now)
        out.append((_developed(move, img), truth))
    return out


def _shot(i: int, width: int, height: int) -> scene.Shot:
    """The first shot after the i-th of the list that shows one whole round vessel with contents."""
    for j in range(6_000_000 + 50 * i, 6_000_000 + 50 * (i + 1)):
        shot = looks(j, 1, width=width, height=height)[0]
        one = len(shot.jars) == 1 and shot.jars[0][0].name in ROUND and shot.jars[0][1]
        if one and 0.45 < shot.fill < 0.9 and abs(shot.aside) < 0.15 and abs(shot.above) < 0.06:
            jar, layers, at = shot.jars[0]
            jar = replace(jar, yaw_deg=0.0, emboss="", handle=False, lift=0.0)
            backdrop = shot.backdrop if shot.backdrop != "photo" else "card"
            return replace(shot, jars=((jar, layers, at),), roll=0.0, width=width, height=height, hand=False,
                           straw=False, objects=0, backdrop=backdrop, fov=float(np.clip(shot.fov, 25, 50)))  # fmt: skip
    raise ValueError(f"no whole round vessel among the 50 shots of series {i}; take another number")


def _moved(rng: Rng, shot: scene.Shot, k: int) -> dict[str, Any]:
    """Where a hand holds the phone the next time: about as before."""
    if k == 0:
        return {}
    return {
        "pitch": shot.pitch + float(rng.normal(0, 0.8)), "aside": shot.aside + float(rng.normal(0, 0.02)),
        "above": shot.above + float(rng.normal(0, 0.015)), "fill": shot.fill * float(np.exp(rng.normal(0, 0.025))),
    }  # fmt: skip


def _later(rng: Rng, layers: tuple[scene.Layer, ...], k: int) -> tuple[scene.Layer, ...]:
    """The same amount of liquid with more of it settled, cleared or creamed."""
    liquid = [x for x in layers if x.kind != "foam"]
    total = sum(x.height for x in liquid)
    body = max(liquid, key=lambda x: x.height)
    low, high = float(rng.uniform(0, 0.08)) * k, float(rng.uniform(0, 0.03)) * k
    parts = []
    if rng.random() < 0.6 and low > 0.005:
        parts.append(
            scene.Layer(
                kind="sediment",
                height=total * min(low, 0.5),
                colour=tuple(c * 0.8 for c in body.colour),
                mottle=0.3,
            )
        )
    rest = total - sum(x.height for x in parts)
    top = scene.Layer(
        kind="cream",
        height=total * min(high, 0.2),
        colour=tuple(min(1.0, c * 1.2) for c in body.colour),
        mottle=0.1,
    )
    creamed = rng.random() < 0.5 and high > 0.005
    flocs = int(rng.integers(20, 200)) if rng.random() < 0.3 and k else body.flocs
    dense = body.density * float(np.exp(-0.3 * k * rng.random()))
    parts.append(replace(body, height=rest - (top.height if creamed else 0), flocs=flocs, density=dense))
    return (*parts, top) if creamed else tuple(parts)


def _room(view: View, v: Vessel, room: list[Any]) -> Any:
    """Backdrop and bench as planes in space behind and under the vessel."""
    ahead = (view.target - view.eye) / np.linalg.norm(view.target - view.eye)
    right = np.cross(ahead, view.up)
    right = right / np.linalg.norm(right)
    s = view.height_px / 2 / np.tan(np.radians(view.fov_y_deg) / 2)
    y, x = np.mgrid[: view.height_px, : view.width_px].astype(float)
    rays = (
        ahead + ((x + 0.5 - view.width_px / 2) / s)[..., None] * right
        - ((y + 0.5 - view.height_px / 2) / s)[..., None] * np.cross(right, ahead)
    )  # fmt: skip
    behind = -2.2 * v.height_mm
    t = (behind - view.eye[2]) / np.minimum(rays[..., 2], -1e-3)
    at = view.eye + t[..., None] * rays
    wall = _sample(room[0], at[..., 0], -at[..., 1], v.height_mm)
    t = (-v.floor_mm - view.eye[1]) / np.minimum(rays[..., 1], -1e-3)
    at = view.eye + t[..., None] * rays
    bench = _sample(room[1], at[..., 0], at[..., 2], v.height_mm)
    low = (rays[..., 1] < -1e-3) & (at[..., 2] > behind)
    return np.where(low[..., None], bench, wall).astype(np.float32)


def _sample(texture: Any, x_mm: Array, y_mm: Array, height_mm: float) -> Any:
    k = texture.shape[0] / (4.0 * height_mm)  # the texture is four jars high
    col, row = x_mm * k + texture.shape[1] / 2, y_mm * k + texture.shape[0] / 2
    return cv2.remap(
        texture, col.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR, None, cv2.BORDER_REFLECT
    )


def _paint(i: int, k: int, img: Any, known: Truth, shot: scene.Shot) -> None:
    """The vessel; what hangs on the glass is the same in every look, what is in it is not."""
    d = _Drawing(np.random.default_rng([20261133, i]), img, known.view, known.vessels[0])
    layers = shot.jars[0][1]
    air, wet = d.seen_through(False), d.seen_through(True)
    d._shadow()
    d.blend(d.inside, air * d.rng.uniform(0.85, 1.0, 3), 1.0)
    d._base(wet)
    d.rng = np.random.default_rng([20261134, i, k])
    tops = np.cumsum([0.0, *[x.height * 10 for x in layers]])
    for x, a, b in zip(layers, tops[:-1], tops[1:], strict=True):
        d._layer(x, float(a), float(b), wet)
    d._face(layers[-1], float(tops[-1]))
    d.rng = np.random.default_rng([20261135, i])
    d._glints(float(tops[-1]))
    d._dress(float(tops[-1]), replace(shot, residue=0.0))


def _developed(rng: Rng, img: Any) -> NDArray[np.uint8]:
    x = img * (rng.uniform(0.7, 0.95) / max(float(np.percentile(img.mean(-1), 90)), 0.02))
    x = x * np.array([rng.uniform(0.95, 1.05), 1, rng.uniform(0.95, 1.05)], np.float32)
    x = np.where(x > 0.8, 0.8 + 0.2 * (1 - np.exp(-(x - 0.8) / 0.2)), x)
    x = np.clip(x, 0, 1) ** (1 / 2.2) + rng.normal(0, rng.uniform(0.004, 0.02), x.shape)
    return (np.clip(x, 0, 1) * 255 + 0.5).astype(np.uint8)
