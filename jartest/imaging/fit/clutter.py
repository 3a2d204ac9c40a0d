"""Rooms as the world has them: things on the bench, shelves, what a vessel stands on, and things that are no vessel."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import mesh, scene, textures
from jartest.imaging.fit.scene import Builder, _bitmap, _diffuse, _glass, _rgb

__all__ = ["PROPS", "Clutter"]

Array = NDArray[Any]
PROPS = (
    "candle",
    "shelves",
    "bowl",
    "books",
    "cans",
    "plates",
    "pot",
    "lamp",
    "roll",
    "cup",
    "boxes",
    "bottles",
)


class Clutter(Builder):
    """A builder whose rooms are cluttered."""

    shot: Any

    def room(self, size: float, low: float) -> None:
        shot, t = self.shot, scene.mi.ScalarTransform4f
        self.rng = np.random.default_rng([shot.seed, 4])
        self.move = t()
        bench = low
        if shot.stand:
            bench = self._stand(size, low)
        super().room(size, bench)
        for k in range(shot.clutter):
            self._thing(k, size, bench, bool(shot.jars))
        if shot.shelf:
            self._shelf(bench)
        if shot.prop:
            PLACED[shot.prop](self, bench)
        self._sorts()

    def _sorts(self) -> None:
        """One more of each kind of surface far behind the camera: scenes then compile to the same kernels."""
        away = scene.mi.ScalarTransform4f().translate([0, -900, 900])
        faces: list[dict[str, Any]] = [
            {"type": "mask", "opacity": 0.5, "nested": _diffuse(_rgb([0.5, 0.5, 0.5]))},
            {
                "type": "mask",
                "opacity": _bitmap(np.ones((2, 2, 3))),
                "nested": _diffuse(_rgb([0.5, 0.5, 0.5])),
            },
            _glass(1.4, 1.1) | {"specular_transmittance": _rgb([0.5, 0.5, 0.5])},
        ]
        for k, face in enumerate(faces):
            self.d[f"farther{k}"] = {"type": "sphere", "to_world": away, "bsdf": face}

    def put(self, r: Array, y: Array, face: dict[str, Any], x: float, z: float, **more: Any) -> None:
        """A lathed thing at (x, z)."""
        keep, self.move = self.move, scene.mi.ScalarTransform4f().translate([x, 0, z])
        p = self.path()
        mesh.lathe(p, np.maximum(r, 1e-3), y, **more)
        self.add(p, face)
        self.move = keep

    def box(self, at: Array, half: Array, face: dict[str, Any], turn: float = 0.0) -> None:
        """A box with its middle at `at`."""
        move = scene.mi.ScalarTransform4f().translate(np.asarray(at, float).tolist()).rotate([0, 1, 0], turn)
        self.d[f"box{len(self.d)}"] = {"type": "cube", "bsdf": face, "to_world": move.scale(np.asarray(half, float).tolist())}  # fmt: skip

    def face(self) -> dict[str, Any]:
        """A surface of any sort that is not glass."""
        rng = self.rng
        k = rng.random()
        if k < 0.3:
            return _diffuse(_rgb(rng.random(3) * 0.75 + 0.03))
        if k < 0.45:
            return {"type": "plastic", "diffuse_reflectance": _rgb(rng.random(3) * 0.75 + 0.03)}
        if k < 0.55:
            return {"type": "twosided", "bsdf": {"type": "roughconductor", "alpha": 0.25}}
        kind = str(rng.choice(["print", "stripes", "picture", "blobs", "shelf", "screen"]))
        return _diffuse(_bitmap(textures.backdrop(rng, kind, (160, 200))[::-1]))

    def _stand(self, size: float, low: float) -> float:
        rng, t = self.rng, scene.mi.ScalarTransform4f
        high = {"paper": 0.03, "coaster": 0.5, "plate": 1.2}.get(self.shot.stand, float(rng.uniform(1, 6)))
        wide = size * float(rng.uniform(1.15, 2.6))
        face = self.face()
        if self.shot.stand in ("coaster", "plate"):
            r = np.array([1e-3, wide, wide * 1.04, wide, 1e-3] if self.shot.stand == "coaster" else [1e-3, wide, wide * 1.5, wide * 0.7, 1e-3])  # fmt: skip
            y = (
                np.array([0, 0, -0.5, -1, -1] if self.shot.stand == "coaster" else [0, 0, 0.25, -1, -1])
                * high
                + low
            )
            self.put(r, y - 0.005, face, 0, 0)
        else:
            move = (
                t().translate([0, low - high / 2 - 0.005, 0]).rotate([0, 1, 0], float(rng.uniform(-40, 40)))
            )
            self.d["stand"] = {"type": "cube", "bsdf": face, "to_world": move.scale([wide, high / 2, wide * float(rng.uniform(0.8, 1.5))])}  # fmt: skip
        return low - high

    def _thing(self, k: int, size: float, low: float, jar: bool) -> None:
        """Something beside or behind the vessel, never before it."""
        rng = self.rng
        back = rng.random() < 0.6
        z = float(rng.uniform(-22, -size * 1.6 - 2)) if back else float(rng.uniform(-6, 3))
        x = (
            float(rng.uniform(-20, 20))
            if back
            else float(rng.choice([-1, 1]) * rng.uniform(size * 1.6 + 2, size + 14))
        )
        if not jar:
            x, z = float(rng.uniform(-16, 16)), float(rng.uniform(-16, 2))
        h, w = float(np.exp(rng.uniform(np.log(1), np.log(22)))), float(rng.uniform(0.8, 4.5))
        if not back:
            w = min(w, abs(x) - size * 1.2 - 0.5) if jar else w
        kind = int(rng.integers(7))
        if kind <= 2:
            self.box(
                np.array([x, low + h / 2, z]),
                np.array([w, h / 2, w * 0.7]),
                self.face(),
                float(rng.uniform(-50, 50)),
            )
        elif kind == 3:  # flat on the bench
            self.box(
                np.array([x, low + 0.1, z]),
                np.array([w * 1.6, 0.1, w * 1.2]),
                self.face(),
                float(rng.uniform(0, 90)),
            )
        elif kind == 4:  # a pen or a spoon
            p, a = self.path(), rng.uniform(0, np.pi)
            line = np.array([x, low + 0.4, z]) + np.linspace(-1, 1, 12)[:, None] * np.array(
                [np.cos(a), 0, np.sin(a)]
            ) * min(5, max(w, 1))
            mesh.tube(p, line, np.full(12, float(rng.uniform(0.2, 0.5))))
            self.add(p, self.face())
        else:
            y = np.linspace(0, 1, 30)
            r = w * 0.8 * (1 + rng.uniform(-0.3, 0.5) * y + rng.uniform(-0.3, 0.3) * np.sin(np.pi * y))
            rr, yy = np.concatenate([[1e-3], r, [1e-3]]), np.concatenate([[0], y, [1]]) * h + low
            self.put(rr, yy, self.face(), x, z)

    def _shelf(self, low: float) -> None:
        """Boards behind the vessel, with things on them."""
        rng = self.rng
        z, y = float(rng.uniform(-24, -9)), low + float(rng.uniform(3, 12))
        for _ in range(int(rng.integers(1, 3))):
            self.box(np.array([0, y, z]), np.array([45, 0.5, 5]), self.face())
            x = -22.0
            while x < 22:
                w, h = float(rng.uniform(0.7, 3.2)), float(rng.uniform(3, 12))
                self.box(np.array([x, y + 0.5 + h / 2, z]), np.array([w, h / 2, 1.5]), self.face())
                x += 2 * w + float(rng.choice([0.1, 0.5, 4]))
            y += float(rng.uniform(9, 15))


def _candle(b: Clutter, low: float) -> None:
    rng = b.rng
    r, h = float(rng.uniform(2, 4)), float(rng.uniform(5, 14))
    wax = _diffuse(_rgb(np.clip(np.array([0.9, 0.85, 0.7]) * rng.uniform(0.7, 1.05, 3), 0, 0.95)))
    b.put(np.array([1e-3, r, r, 0.9 * r, 1e-3]), np.array([0, 0, h, h, h - 0.4]) + low, wax, 0, 0)
    b.put(np.array([1e-3, 0.07, 0.05, 1e-3]), np.array([h - 0.4, h - 0.4, h + 0.8, h + 0.9]) + low, _diffuse(_rgb([0.05] * 3)), 0, 0)  # fmt: skip
    y = np.linspace(0, 1, 24)
    flame = 0.38 * np.sin(np.pi * y**0.7) * (1 - y * 0.4) + 1e-3
    keep, p = b.move, b.path()
    mesh.lathe(p, flame, low + h + 0.5 + y * 2.2)
    b.add(p, _diffuse(_rgb([0.5] * 3)), emitter={"type": "area", "radiance": _rgb([9.0, 6.0, 2.5])})
    b.move = keep
    if rng.random() < 0.5:  # in a holder of coloured glaze
        b.put(
            np.array([1e-3, r + 0.3, r + 0.6, r + 0.3]),
            np.array([0, 0, h * 0.4, h * 0.4]) + low,
            b.face(),
            0,
            0,
        )


def _shelves(b: Clutter, low: float) -> None:
    for z in (-8.0, -8.5):
        b._shelf(low - 3 + z * 0)


def _bowl(b: Clutter, low: float) -> None:
    """A bowl or plate with food: meant to be seen from above."""
    rng = b.rng
    r, h = float(rng.uniform(5, 8)), float(rng.uniform(2, 5))
    t = np.linspace(0, 1, 24)
    shape = r * np.sqrt(np.clip(0.12 + 0.88 * t, 0, 1))
    b.put(np.concatenate([[1e-3], shape, shape[::-1] - 0.25, [1e-3]]), np.concatenate([[0], t * h, t[::-1] * h + 0.05, [0.1]]) + low, b.face(), 0, 0)  # fmt: skip
    soup = _diffuse(
        _bitmap(
            textures.stuff(
                rng,
                str(rng.choice(["curds", "pulp", "photo", "pores"])),
                tuple(rng.random(3) * 0.8 + 0.1),
                0.5,
            )
        )
    )
    level = float(rng.uniform(0.5, 0.9))
    inner = r * np.sqrt(0.12 + 0.88 * level) - 0.25
    b.put(np.linspace(inner, 1e-3, 30), np.full(30, low + level * h), soup, 0, 0)
    n = int(rng.integers(0, 14))
    if n:
        q, ph = np.sqrt(rng.random(n)) * inner * 0.8, rng.random(n) * 6.28
        p = b.path()
        mesh.lumps(
            p,
            rng,
            np.stack([q * np.sin(ph), np.full(n, low + level * h), q * np.cos(ph)], -1),
            rng.uniform(0.3, 1.2, n),
        )
        b.add(p, b.face())


def _books(b: Clutter, low: float) -> None:
    rng, x = b.rng, -9.0
    flat = rng.random() < 0.5
    y = low
    for _ in range(int(rng.integers(4, 12))):
        w, h = float(rng.uniform(0.5, 2.0)), float(rng.uniform(7, 14))
        if flat:
            b.box(
                np.array([rng.uniform(-1, 1), y + w, -2]),
                np.array([h / 1.6, w, h / 2]),
                b.face(),
                float(rng.normal(0, 6)),
            )
            y += 2 * w
        else:
            b.box(np.array([x + w, low + h / 2, -2]), np.array([w, h / 2, 4]), b.face())
            x += 2 * w + 0.05


def _cans(b: Clutter, low: float) -> None:
    """Cylinders with painted bands, as tins have."""
    rng = b.rng
    for x in np.linspace(-7, 7, int(rng.integers(1, 4))) if rng.random() < 0.7 else [0.0]:
        img = np.empty((128, 64, 3), np.float32)
        img[:] = rng.random(3) * 0.8
        for _ in range(int(rng.integers(1, 6))):
            a, c = sorted(rng.integers(0, 128, 2))
            img[a:c] = rng.random(3) * 0.9
        img = np.asarray(cv2.GaussianBlur(img, (0, 0), float(rng.uniform(0.3, 3))))
        r, h = float(rng.uniform(2, 3.6)), float(rng.uniform(5, 13))
        b.put(np.array([1e-3, r, r, 0.95 * r, 1e-3]), np.array([0, 0, h, h + 0.2, h - 0.1]) + low, _diffuse(_bitmap(img)), float(x), float(rng.uniform(-3, 0)))  # fmt: skip


def _plates(b: Clutter, low: float) -> None:
    y, r = low, float(b.rng.uniform(4, 8))
    face = b.face()
    for _ in range(int(b.rng.integers(2, 9))):
        b.put(np.array([1e-3, 0.6 * r, r, 0.62 * r, 1e-3]), np.array([0, 0, 0.9, 0.2, 0.2]) + y, face, 0, 0)
        y += 0.45


def _pot(b: Clutter, low: float) -> None:
    rng = b.rng
    r, h = float(rng.uniform(3, 5)), float(rng.uniform(5, 9))
    b.put(
        np.array([1e-3, 0.7 * r, r, 1.1 * r, 1.1 * r, 0.95 * r]),
        np.array([0, 0, 0.85 * h, 0.85 * h, h, h]) + low,
        b.face(),
        0,
        0,
    )
    b.put(np.linspace(r, 1e-3, 20), np.full(20, low + 0.92 * h), _diffuse(_rgb([0.12, 0.08, 0.05])), 0, 0)
    for _ in range(int(rng.integers(6, 24))):
        p = b.path()
        d = rng.normal(0, 1, 3) * np.array([1, 0, 1]) * rng.uniform(1, 4)
        s = np.linspace(0, 1, 14)[:, None]
        line = (
            np.array([0, low + 0.9 * h, 0])
            + s * (d + np.array([0, rng.uniform(3, 9), 0]))
            - s**2 * np.array([0, 2.5, 0])
        )
        mesh.tube(p, line, np.linspace(0.35, 0.05, 14))
        b.add(p, _diffuse(_rgb(np.array([0.1, 0.35, 0.08]) * rng.uniform(0.5, 1.5))))


def _lamp(b: Clutter, low: float) -> None:
    rng = b.rng
    h, r = float(rng.uniform(7, 13)), float(rng.uniform(3, 5))
    b.put(np.array([1e-3, 2.5, 2.5, 0.5, 0.5, 1e-3]), np.array([0, 0, 0.5, 0.8, h, h]) + low, b.face(), 0, 0)
    b.put(np.array([r, 0.6 * r]), np.array([h - 1, h + 3.5]) + low, _diffuse(_rgb([0.85, 0.8, 0.65])), 0, 0)


def _roll(b: Clutter, low: float) -> None:
    """An upright roll of paper or thread: pale, round, with rims."""
    r, h = float(b.rng.uniform(2, 5)), float(b.rng.uniform(5, 15))
    pale = _diffuse(_rgb(np.array([0.85, 0.84, 0.8]) * b.rng.uniform(0.6, 1.05)))
    b.put(np.array([1e-3, r, r, 0.3 * r, 0.3 * r]), np.array([0, 0, h, h, 0.5]) + low, pale, 0, 0)
    b.put(
        np.array([1e-3, r * 1.25, r * 1.25, 1e-3]), np.array([-0.02, -0.02, 0.5, 0.5]) + low, b.face(), 0, 0
    )


def _cup(b: Clutter, low: float) -> None:
    """A cup of glaze or paper that nothing can be seen through, with or without a handle."""
    rng = b.rng
    r, h = float(rng.uniform(2.8, 4.5)), float(rng.uniform(5, 10))
    face = b.face()
    wide = float(rng.uniform(0.8, 1.3))
    b.put(
        np.array([1e-3, r, wide * r, wide * r - 0.3, r - 0.3, 1e-3]),
        np.array([0, 0, h, h, 0.4, 0.4]) + low,
        face,
        0,
        0,
    )
    b.put(
        np.linspace(0.9 * r, 1e-3, 20), np.full(20, low + 0.7 * h), _diffuse(_rgb(rng.random(3) * 0.5)), 0, 0
    )
    if rng.random() < 0.6:
        t = np.linspace(-1.3, 1.3, 30)
        p = b.path()
        mesh.tube(
            p,
            np.stack([wide * r - 0.6 + 2.4 * np.cos(t), low + h * (0.5 + 0.33 * np.sin(t)), 0 * t], -1),
            np.full(30, 0.4),
        )
        b.add(p, face)


def _boxes(b: Clutter, low: float) -> None:
    for _ in range(int(b.rng.integers(1, 5))):
        h, w = float(b.rng.uniform(4, 15)), float(b.rng.uniform(2, 5))
        b.box(np.array([b.rng.uniform(-7, 7), low + h / 2, b.rng.uniform(-6, 0)]), np.array([w, h / 2, w * 0.7]), b.face(), float(b.rng.uniform(-45, 45)))  # fmt: skip


def _bottles(b: Clutter, low: float) -> None:
    """Opaque bottles and sprayers of plastic or metal."""
    for x in np.linspace(-8, 8, int(b.rng.integers(1, 4))):
        r, h = float(b.rng.uniform(2, 3.5)), float(b.rng.uniform(9, 17))
        b.put(np.array([1e-3, r, r, 0.35 * r, 0.35 * r, 0.5 * r, 0.5 * r, 1e-3]), np.array([0, 0, 0.65, 0.8, 0.86, 0.86, 1, 1]) * h + low, b.face(), float(x), float(b.rng.uniform(-4, 0)))  # fmt: skip


PLACED = {
    "candle": _candle, "shelves": _shelves, "bowl": _bowl, "books": _books, "cans": _cans, "plates": _plates,
    "pot": _pot, "lamp": _lamp, "roll": _roll, "cup": _cup, "boxes": _boxes, "bottles": _bottles,
}  # fmt: skip
