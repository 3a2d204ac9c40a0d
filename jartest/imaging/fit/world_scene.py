"""Builds the scenes of `wares`: path-traced as `scene`'s, with truth that names what is not a layer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import mesh, scene, textures
from jartest.imaging.fit.arcs import arcs
from jartest.imaging.fit.clutter import Clutter
from jartest.imaging.fit.phone import phone
from jartest.imaging.fit.scene import Jar, Layer, Shot, _bitmap, _diffuse, _glass, _rgb
from jartest.imaging.fit.truth import View, section
from jartest.imaging.fit.wares import Stuff, Ware, World, blended, outline

__all__ = ["shoot"]

Array = NDArray[Any]
Rng = np.random.Generator
_GRAIN = 7  # how strongly the renderer's own grain is taken out, of 255


def shoot(shots: tuple[World, ...]) -> list[tuple[NDArray[np.uint8], dict[str, Any]]]:
    """The pictures (RGB) of one set of vessels in several rooms, each with its record of truth."""
    return scene.shoot(shots, WorldBuilder)


class WorldBuilder(Clutter):
    """Collects the shapes of one scene of the world; each stage has dice of its own."""

    shot: Any

    def __init__(self, shot: Shot, tmp: Path) -> None:
        super().__init__(shot, tmp)
        self.noted: dict[str, Any] = {}

    @staticmethod
    def heights(a: float, b: float, n: int) -> Array:
        return a + (b - a) * np.linspace(0, 1, n) ** (1.8 if a <= 0 else 1.0)

    def vessel(self, jar: Jar, layers: tuple[Layer, ...], at: tuple[float, float]) -> dict[str, Any]:
        self.noted = {}
        self.stage = len(self.d)
        record = super().vessel(jar, layers, at)
        wall = np.linspace(0, jar.height, 60)
        assert isinstance(jar, Ware)
        record |= {
            "inner_mm": [[round(float(y) * 10, 2), round(float(jar.nominal(y)) * 10, 2)] for y in wall],
            "profile_mm": [
                [round(float(y) * 10, 2), round(float(jar.nominal(y) + jar.wall) * 10, 2)] for y in wall
            ],
            "wall_mm": jar.wall * 10, "glass_ior": jar.ior, "round_mm": jar.round * 10,
            "base": jar.base.kind, "relief": jar.base.relief, "marks": jar.marks,
            "relief_reach_mm": jar.base.reach * jar.height * 10 if jar.base.relief else 0.0,
            "foot_radius_mm": float(outline(jar, np.array([-jar.floor + jar.base.heel]), np.zeros(1))[0, 0]) * 10,
        }  # fmt: skip
        for layer, x in zip(record["layers"], layers, strict=True):
            if isinstance(x, Stuff):
                layer |= {
                    "grain": x.grain,
                    "beads_mm": x.beads * 10,
                    "blend_mm": x.blend * 10,
                    "opaque": x.opaque,
                }
        return record | {"noted": dict(self.noted)}

    def _walls(self, jar: Jar) -> None:
        assert isinstance(jar, Ware)
        self.rng = np.random.default_rng([self.shot.seed, 1, self.stage])
        th = np.linspace(0, 2 * np.pi, 361)
        glass = _glass(jar.ior, 1.0)
        if min(jar.tint) < 1:
            glass |= {"specular_transmittance": _rgb(jar.tint)}
        low = -jar.floor + jar.base.heel * (1 - np.cos(np.linspace(0, np.pi / 2, 8)))
        y = np.concatenate([low, np.linspace(low[-1], 0, 40)[1:], np.linspace(0, jar.height, 170)[1:]])
        r = outline(jar, y, th)
        if jar.marks in ("embossed", "both"):
            r = r + self._embossed(jar, th, y)
        self.around(r, y[:, None] * np.ones_like(th), th, glass)
        share = np.linspace(1, 1e-3, 16)[:, None]
        self.around(r[0] * share, -jar.floor + jar.base.punt * (1 - share**2) * np.ones_like(th), th, glass)
        inner = jar.nominal(np.array(jar.height)) * section(th, jar.power, jar.yaw_deg)
        t = np.linspace(0, 1, 8)[:, None]
        lip = jar.height + 0.4 * jar.wall * np.sin(np.pi * t) * np.ones_like(th)
        self.around(r[-1] * (1 - t) + inner * t, lip, th, glass)
        if jar.handle:
            self.handle(jar, float(outline(jar, np.array([jar.height / 2]), th[:1])[0, 0]), glass)

    def around(self, r: Array, y: Array, th: Array, bsdf: dict[str, Any]) -> None:
        """A surface of (rows, angles) radii and heights."""
        p = self.path()
        mesh.grid(p, np.stack([r * np.sin(th), y, r * np.cos(th)], -1))
        self.add(p, bsdf)

    def _embossed(self, jar: Ware, th: Array, y: Array) -> Array:
        """Raised marks or letters on the side that faces the camera."""
        img = cv2.GaussianBlur(_scale(self.rng, (320, 160)), (0, 0), 1.2)
        u = np.clip((((th + np.pi) % (2 * np.pi)) - np.pi - self.rng.uniform(-0.5, 0.5)) / 0.9 + 0.5, 0, 1)
        v = np.clip((y / jar.height - 0.08) / 0.75, 0, 1)
        rows = np.repeat((319 - v * 319).astype(np.float32)[:, None], len(th), 1)
        cols = np.repeat((u * 159).astype(np.float32)[None], len(y), 0)
        return 0.09 * cv2.remap(img, cols, rows, cv2.INTER_LINEAR)

    def _contents(self, jar: Jar, layers: tuple[Layer, ...]) -> None:
        self.rng = np.random.default_rng([self.shot.seed, 2, self.stage, self.shot.frame])
        super()._contents(jar, blended(layers))
        top, shot = sum(x.height for x in layers), self.shot
        if layers and top < jar.height - 0.3:
            above = min(jar.height - 0.1, top + shot.film)
            if shot.film:
                self._film(jar, layers[-1], top, above)
            if shot.drops:
                n = shot.drops
                y = top + 0.1 + (jar.height - top - 0.3) * self.rng.random(n) ** 1.7
                size = np.exp(self.rng.uniform(np.log(0.03), np.log(0.16), n))
                ph = self.rng.random(n) * 2 * np.pi
                self.add(self._on_wall(jar, y, ph, size, 0.3 * size), _glass(1.333, 1.0))
            if shot.rim_foam:
                self._rim_foam(jar, top)
        if shot.floaters and layers:
            self._floaters(jar, top)
        self.rng = np.random.default_rng(
            [shot.seed, 3, self.stage]
        )  # what follows is the same in every frame

    def _film(self, jar: Jar, x: Layer, a: float, b: float) -> None:
        n = textures.noise(self.rng, (160, 640), 5, 12, 0.7)
        streaks = cv2.GaussianBlur(n, (0, 0), sigmaX=1.5, sigmaY=14)
        up = np.linspace(1, 0, 160)[:, None] ** self.rng.uniform(0.3, 1.5)
        veil = np.clip((streaks - 0.35) * 2.5 * up + 0.25 * up, 0, 1) * self.shot.film_strength
        colour = 0.5 * np.array(x.colour) + 0.45 if not x.opaque else np.array(x.colour)
        y = np.linspace(a + 0.02, b, 30)
        face = {"type": "mask", "opacity": _bitmap(np.repeat(veil[..., None], 3, -1)), "nested": _diffuse(_rgb(colour.clip(0.02, 0.95)))}  # fmt: skip
        self.lathe(jar, jar.radius(y) - 0.008, y, face)
        self.noted["film_mm"] = [a * 10, b * 10]

    def _rim_foam(self, jar: Jar, top: float) -> None:
        n = int(self.rng.integers(120, 420))
        size = np.exp(self.rng.uniform(np.log(0.04), np.log(max(0.07, min(0.25, self.shot.rim_foam))), n))
        y = top + self.rng.random(n) ** 1.5 * self.shot.rim_foam
        ph = self.rng.random(n) * 2 * np.pi
        pale = np.array([0.92, 0.91, 0.87]) * self.rng.uniform(0.7, 1.0)
        face = _diffuse(_rgb(pale)) if self.rng.random() < 0.6 else _glass(1.1, 1.0)
        self.add(self._on_wall(jar, np.minimum(y, jar.height - 0.1), ph, size, size), face)
        self.noted["rim_foam_mm"] = [top * 10, (top + self.shot.rim_foam) * 10]

    def _floaters(self, jar: Jar, top: float) -> None:
        rng, what = self.rng, self.shot.floaters
        rm = float(jar.radius(np.array(max(top - 0.3, 0.01))))
        n = int(rng.integers(2, 7)) if what in ("ice", "slices") else int(rng.integers(8, 60))
        big = rm * rng.uniform(0.25, 0.5) if n < 8 else rm * rng.uniform(0.05, 0.22)
        big = min(big, 0.45 * top)
        q, ph = np.sqrt(rng.random(n)) * max(rm - big, 0.05), rng.random(n) * 2 * np.pi
        where = np.stack([q * np.sin(ph), top - big * rng.uniform(-0.1, 0.9, n), q * np.cos(ph)], -1)
        colour = np.clip(rng.random(3) * 0.8 + 0.1, 0.05, 0.95)
        if what == "ice":
            face: dict[str, Any] = {"type": "mask", "opacity": float(rng.uniform(0.2, 0.6)), "nested": _diffuse(_rgb([0.9, 0.93, 0.95]))}  # fmt: skip
            t = scene.mi.ScalarTransform4f
            for k, c in enumerate(where):
                turn = [float(v) for v in rng.normal(0, 1, 3)]
                move = self.move @ t().translate(c.tolist()).rotate(turn, float(rng.uniform(0, 360))).scale(float(big * 0.6))  # fmt: skip
                self.d[f"ice{len(self.d)}{k}"] = {"type": "cube", "bsdf": face, "to_world": move}
        elif what == "slices":
            for c in where:
                p, a = self.path(), rng.uniform(-0.5, 0.5)
                th = np.linspace(0, 2 * np.pi, 40)
                ring = np.stack([np.cos(th), np.sin(th), a * np.cos(th)], -1)
                pts = np.stack([c + big * s * ring + np.array([0, 0, z]) for s, z in ((1e-3, 0.08), (1, 0.08), (1, -0.08), (1e-3, -0.08))])  # fmt: skip
                mesh.grid(p, pts, smooth=False)
                self.add(p, _diffuse(_rgb(colour)))
        else:
            p = self.path()
            mesh.lumps(p, rng, where, np.full(n, big) * rng.uniform(0.6, 1, n))
            self.add(p, _diffuse(_rgb(colour)))
        self.noted["floaters"] = what

    def _paint(self, x: Layer) -> dict[str, Any]:
        grain = getattr(x, "grain", "")
        if not grain:
            return super()._paint(x)
        return _diffuse(_bitmap(textures.stuff(self.rng, grain, x.colour, x.mottle)))

    def _floating_bits(self, jar: Jar, x: Layer, a: float, b: float) -> None:
        super()._floating_bits(jar, x, a, b)
        if not isinstance(x, Stuff):
            return
        rng = self.rng
        if x.bubbles:
            n, size = x.bubbles, np.exp(rng.uniform(np.log(0.025), np.log(0.12), x.bubbles))
            rm = float(jar.radius(np.array((a + b) / 2)))
            q, ph = np.sqrt(rng.random(n)) * (0.95 * rm - size), rng.random(n) * 2 * np.pi
            p = self.path()
            h = a + 0.15 + rng.random(n) * max(b - a - 0.3, 0.01)
            mesh.lumps(p, rng, np.stack([q * np.sin(ph), h, q * np.cos(ph)], -1), size)
            self.add(p, _glass(1.0, 1.333))
        if x.beads:
            self._beads(jar, x, a, b)

    def _beads(self, jar: Jar, x: Stuff, a: float, b: float) -> None:
        """Beads in rows along the wall, and a second row inside, so that none can be seen past them."""
        rng, size, where = self.rng, x.beads, []
        for k, y in enumerate(np.arange(a + size, b - 0.6 * size, 1.75 * size)):
            for inside in (0.0, 1.9 * size):
                r = float(jar.radius(np.array(y))) - 1.08 * size - inside
                if r < size:
                    continue
                n = int(2 * np.pi * r / (2.06 * size))
                ph = (np.arange(n) + 0.5 * (k % 2) + rng.normal(0, 0.12, n)) * 2 * np.pi / n
                h = y + rng.normal(0, 0.15 * size, n)
                keep = rng.random(n) < 0.96
                where.append(np.stack([r * np.sin(ph), h, r * np.cos(ph)], -1)[keep])
        at = np.concatenate(where)[:2600]
        p = self.path()
        mesh.lumps(p, rng, at, size * rng.uniform(0.85, 1.0, len(at)))
        colour = _rgb(x.bead_colour)
        face = {"type": "plastic", "diffuse_reflectance": colour} if rng.random() < 0.5 else _diffuse(colour)
        self.add(p, face)

    def _outside(self, jar: Jar, top: float) -> None:
        super()._outside(jar, top)
        assert isinstance(jar, Ware)
        if jar.marks in ("printed", "both"):
            self._printed(jar)
        for _ in range(self.shot.stickers):
            self._sticker(jar)
        if jar.cap is not None:
            self._cap(jar)

    def _printed(self, jar: Ware) -> None:
        rng = self.rng
        img = _scale(rng, (640, 240))[::-1]
        ink = np.full(3, rng.choice([0.9, 0.04])) if rng.random() < 0.75 else rng.random(3)
        middle, wide = rng.uniform(-0.7, 0.7), rng.uniform(0.18, 0.4)
        low, high = rng.uniform(0.04, 0.15) * jar.height, rng.uniform(0.7, 0.92) * jar.height
        th, y = np.linspace(middle - wide, middle + wide, 48), np.linspace(low, high, 60)
        r = outline(jar, y, th) + 0.012
        p = self.path()
        mesh.grid(
            p, np.stack([r * np.sin(th), y[:, None] * np.ones_like(th), r * np.cos(th)], -1), smooth=False
        )
        self.add(p, {"type": "mask", "opacity": _bitmap(np.repeat(img[..., None], 3, -1) * 0.9), "nested": _diffuse(_rgb(ink))})  # fmt: skip
        self.noted["marks_mm"] = [low * 10, high * 10]

    def _sticker(self, jar: Ware) -> None:
        rng, h = self.rng, jar.height
        img: Array = np.full((300, 400, 3), rng.uniform(0.4, 0.92)) * (
            1 if rng.random() < 0.5 else rng.random(3)
        )
        if rng.random() < 0.3:
            img = textures.backdrop(rng, str(rng.choice(["stripes", "blobs", "picture"])), (300, 400))
        for _ in range(int(rng.integers(1, 6))):
            word = "".join(
                rng.choice(list("ABEHKLMNORSTUX0123456789")) for _ in range(int(rng.integers(2, 7)))
            )
            at = (int(rng.integers(5, 200)), int(rng.integers(40, 290)))
            ink = _text(img.shape[:2], word, at, float(rng.uniform(0.8, 3)), int(rng.integers(2, 7)))[
                ..., None
            ]
            img = img * (1 - ink) + ink * rng.random(3)
        c, wide = rng.uniform(-1.0, 1.0), rng.uniform(0.15, 0.8)
        low = rng.uniform(0.05, 0.6) * h
        high = min(low + rng.uniform(0.08, 0.4) * h, 0.97 * h)
        th, y = np.linspace(c - wide, c + wide, 60), np.linspace(low, high, 30)
        r = outline(jar, y, th) + 0.015
        p = self.path()
        mesh.grid(
            p, np.stack([r * np.sin(th), y[:, None] * np.ones_like(th), r * np.cos(th)], -1), smooth=False
        )
        self.add(p, _diffuse(_bitmap(np.clip(img, 0.02, 0.95)[::-1])))
        self.noted.setdefault("labels_mm", []).append([low * 10, high * 10])

    def _cap(self, jar: Ware) -> None:
        cap, h, rng = jar.cap, jar.height, self.rng
        assert cap is not None
        th = np.linspace(0, 2 * np.pi, 361)
        if cap.metal:
            face: dict[str, Any] = {"type": "twosided", "bsdf": {"type": "roughconductor", "alpha": 0.25}}
        else:
            colour = _rgb(cap.colour)
            face = (
                {"type": "plastic", "diffuse_reflectance": colour} if rng.random() < 0.5 else _diffuse(colour)
            )
        neck = float(jar.nominal(np.array(h)))
        if cap.kind == "stopper":
            y = np.array([-0.6, -0.6, 0.05, 0.05, 0.6, 0.75, 0.75]) * min(h * 0.3, 2.2) + h
            r = np.array([0.001, 0.98 * neck, 0.98 * neck, neck * 1.3, neck * 1.2, neck, 0.001])
            self.lathe(jar, np.maximum(r, 1e-3), y, face)
            self.noted["cap_mm"] = [float(y[0]) * 10, float(y[-1]) * 10]
            return
        wide = neck + jar.wall + 0.2
        y = np.linspace(h - cap.skirt, h + cap.over, 24)
        knurl = 0.035 * np.cos(int(rng.integers(40, 90)) * th) if cap.kind == "screw" else 0.0
        r = (wide + knurl) * section(th, jar.power, jar.yaw_deg) * np.ones((24, 1))
        if cap.kind == "lid":  # a rolled edge
            r = r + 0.06 * np.exp(-(((y - y[0] - 0.1) / 0.1) ** 2))[:, None]
        self.around(r, y[:, None] * np.ones_like(th), th, face)
        share = np.linspace(1, 1e-3, 16)[:, None]
        dome = h + cap.over + 0.06 * (1 - share**4) * np.ones_like(th)
        self.around(r[-1] * share, dome, th, face)
        self.noted["cap_mm"] = [float(y[0]) * 10, float(y[-1]) * 10]

    def seen_by(self, view: dict[str, Any], vessels: list[dict[str, Any]], shot: Any) -> list[dict[str, Any]]:
        camera = View(
            eye=np.array(view["eye_mm"]), target=np.array(view["target_mm"]), up=np.array(view["up"], float),
            fov_y_deg=view["fov_y_deg"], width_px=view["width_px"], height_px=view["height_px"],
        )  # fmt: skip
        return [v | {"arcs": arcs(camera, v)} for v in vessels]

    def finish(self, picture: NDArray[np.uint8], rng: Rng, shot: Any) -> NDArray[np.uint8]:
        calm = cv2.fastNlMeansDenoisingColored(
            picture, None, _GRAIN, _GRAIN, 5, 13
        )  # before a phone sharpens it
        return phone(np.asarray(calm, np.uint8), rng, **shot.phone)


def _scale(rng: Rng, shape: tuple[int, int]) -> Array:
    """A scale of volume marks with figures, or a line of letters, 0 to 1, seen from outside."""
    h, w = shape
    img = np.zeros(shape, np.float32)
    n, thick = int(rng.integers(4, 13)), max(1, int(h * rng.uniform(0.004, 0.012)))
    unit, long = int(rng.choice([5, 10, 20, 25, 50, 100])), int(w * rng.uniform(0.3, 0.55))
    for k in range(n * int(rng.choice([1, 2, 5]))):
        y = int(h - 12 - k * (h - 30) / (n * 5 if n * 5 > k else k + 1))
        if y < 15:
            break
        main = k % 5 == 0
        cv2.line(img, (4, y), (4 + (long if main else long // 2), y), 1.0, thick, cv2.LINE_AA)
        if main and k:
            size = w / 260
            img += _text(shape, str(unit * (k // 5)), (8 + long, y + int(9 * size)), size, max(1, thick))
    if rng.random() < 0.5:
        word = "".join(rng.choice(list("ABCEGHKLMNOPRSTU")) for _ in range(int(rng.integers(2, 6))))
        img += _text(shape, word, (4, int(h * rng.uniform(0.2, 0.9))), w / 110, max(2, thick * 2))
    return np.clip(img, 0, 1)


def _text(shape: tuple[int, ...], word: str, at: tuple[int, int], size: float, thick: int) -> Array:
    """Letters, 0 to 1, on an empty picture."""
    img = np.zeros(shape, np.uint8)
    cv2.putText(img, word, at, cv2.FONT_HERSHEY_SIMPLEX, size, 255, thick, cv2.LINE_AA)
    return img.astype(np.float32) / 255
