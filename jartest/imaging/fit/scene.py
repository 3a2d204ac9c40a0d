"""Path-traced scenes: vessels with layered contents in varied rooms, with known truth.

Needs Mitsuba 3 (extra `fit`).  The variant comes with the call of `use`: "cuda_ad_rgb" on a GPU,
"llvm_ad_rgb" or "scalar_rgb" on a CPU.  Lengths inside a scene are centimetres, y points up, the
inner floor of the first vessel is y = 0 and its axis is the y axis.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import mesh, textures
from jartest.imaging.fit.truth import section

__all__ = ["Jar", "Layer", "Shot", "camera", "develop", "record", "shoot", "use"]

Array = NDArray[Any]
Rng = np.random.Generator
mi: Any = None


def use(variant: str) -> None:
    """Load Mitsuba in the given variant; call once before `shoot`."""
    global mi
    import mitsuba

    mitsuba.set_variant(variant)
    mi = mitsuba


@dataclass(frozen=True, kw_only=True)
class Jar:
    """A vessel: inner radius against height (both cm, increasing heights), glass and section."""

    name: str
    heights: tuple[float, ...]
    radii: tuple[float, ...]
    wall: float = 0.25
    floor: float = 0.5
    ior: float = 1.5
    power: float = 2.0
    yaw_deg: float = 0.0
    emboss: str = ""  # ribs | diamonds | rings | letters
    handle: bool = False
    foot: float = 0.0
    lift: float = 0.0  # cm above the bench

    @property
    def height(self) -> float:
        return self.heights[-1]

    def radius(self, y: Array) -> Array:
        return np.interp(y, self.heights, self.radii)


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One band of the contents."""

    kind: str  # sediment | cream | oil | foam | turbid
    height: float
    colour: tuple[float, ...]
    density: float = 0.0  # scattering per cm; 6 and more is painted as opaque
    mottle: float = 0.0
    lump: int = 10
    ragged: float = 0.0
    flocs: int = 0
    floc_mm: float = 2.0
    strings: int = 0

    @property
    def opaque(self) -> bool:
        """Whether it is painted, not seen into."""
        return self.kind in ("sediment", "cream", "foam") or self.density >= 6


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One picture to be made."""

    seed: int
    jars: tuple[tuple[Jar, tuple[Layer, ...], tuple[float, float]], ...]  # jar, contents, (x, z) of its axis
    width: int = 288
    height: int = 384
    spp: int = 64
    pitch: float = 5.0
    roll: float = 0.0
    aside: float = 0.0
    above: float = 0.0
    fill: float = 0.7
    fov: float = 32.0
    backdrop: str = "card"
    bench: str = "wood"
    light: str = "window"
    open: bool = False  # no wall behind: what the light comes from is what stands behind
    glossy: bool = False  # a bench that mirrors
    bubbles: int = 0  # of air, on the inner wall
    aperture: float = 0.001  # radius of the lens, cm
    focus: float = 0.0  # cm behind the near wall of the first vessel
    label: bool = False
    ticks: bool = False
    lid: str = ""  # metal | plastic | cork
    residue: float = 0.0
    straw: bool = False
    hand: bool = False
    objects: int = 0
    akin: bool = False  # whether other looks change all colours of the contents alike
    develop: dict[str, Any] = field(default_factory=dict)


def _rgb(c: Any) -> dict[str, Any]:
    return {"type": "rgb", "value": [float(v) for v in c]}


def _diffuse(reflectance: dict[str, Any]) -> dict[str, Any]:
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": reflectance}}


def _polished(reflectance: dict[str, Any]) -> dict[str, Any]:
    return {"type": "twosided", "bsdf": {"type": "plastic", "diffuse_reflectance": reflectance}}


def _bitmap(img: Array) -> dict[str, Any]:
    data = mi.Bitmap(np.ascontiguousarray(img.astype(np.float32)))
    return {"type": "bitmap", "bitmap": data, "raw": True, "filter_type": "bilinear", "wrap_mode": "mirror"}


def _glass(inside: float, outside: float) -> dict[str, Any]:
    return {"type": "dielectric", "int_ior": inside, "ext_ior": outside}


_IOR = {"turbid": 1.336, "oil": 1.46}  # water and a vegetable oil, common handbook values, from memory


class Builder:
    """Collects the shapes of one scene."""

    def __init__(self, shot: Shot, tmp: Path) -> None:
        self.shot, self.tmp = shot, tmp
        self.d: dict[str, Any] = {"type": "scene"}
        self.rng = np.random.default_rng(shot.seed)
        self.move: Any = mi.ScalarTransform4f()
        self.what = "s"  # shapes' names begin with it

    @staticmethod
    def heights(a: float, b: float, n: int) -> Array:
        """Heights at which the wall of one band is sampled."""
        return np.linspace(a, b, n)

    def path(self) -> Path:
        return self.tmp / f"{len(self.d):04d}.ply"

    def add(self, path: Path, bsdf: dict[str, Any], **more: Any) -> None:
        shape = {"type": "ply", "filename": str(path), "bsdf": bsdf, "to_world": self.move, **more}
        self.d[f"{self.what}{len(self.d):04d}"] = shape

    def lathe(
        self, jar: Jar, r: Array, y: Array, bsdf: dict[str, Any], bump: Any = None, **more: Any
    ) -> None:
        p = self.path()
        mesh.lathe(p, r, y, power=jar.power, yaw_deg=jar.yaw_deg, bump=bump)
        self.add(p, bsdf, **more)

    def vessel(self, jar: Jar, layers: tuple[Layer, ...], at: tuple[float, float]) -> dict[str, Any]:
        """Add one vessel; its record of truth without the camera."""
        self.move = mi.ScalarTransform4f().translate([at[0], 0.0, at[1]])
        self._walls(jar)
        self._contents(jar, layers)
        if self.shot.bubbles:
            self.bubbles(jar, layers)
        top = sum(x.height for x in layers)
        if top < jar.height - 0.05:
            y = np.linspace(max(top, 1e-3), jar.height, 40)
            self.lathe(jar, jar.radius(y), y, _glass(1.0, jar.ior))
        if top <= 0:
            r0 = float(jar.radius(np.array(0.0)))
            self.lathe(jar, np.linspace(1e-3, max(r0, 0.01), 16), np.full(16, 0.0), _glass(1.0, jar.ior))
        self._outside(jar, top)
        return record(jar, layers, at)

    def _walls(self, jar: Jar) -> None:
        y = np.linspace(0, jar.height, 160)
        inner = jar.radius(y)
        outer = inner + jar.wall
        glass = _glass(jar.ior, 1.0)
        if jar.emboss:
            th = np.linspace(0, 2 * np.pi, 241)
            a, b = np.meshgrid(th, y)
            lift = _relief(jar.emboss, a, b / jar.height) * min(0.8 * jar.wall, 0.14)
            r = (outer[:, None] + lift) * section(th, jar.power, jar.yaw_deg)
            p = self.path()
            mesh.grid(p, np.stack([r * np.sin(a), b, r * np.cos(a)], -1))
            self.add(p, glass)
        else:
            self.lathe(jar, outer, y, glass)
        self.lathe(jar, np.linspace(1e-3, outer[0], 24), np.full(24, -jar.floor), glass)
        self.lathe(jar, np.full(8, outer[0]), np.linspace(-jar.floor, 0, 8), glass)
        self.lathe(jar, np.linspace(outer[-1], inner[-1], 6), np.full(6, jar.height), glass)
        if jar.foot:
            r = np.array([0.01, jar.foot, jar.foot, outer[0], 0.01])
            h = np.array([-0.9, -0.9, -0.5, -0.1, -0.1]) - jar.floor
            self.lathe(jar, r, h, glass)
        if jar.handle:
            self.handle(jar, float(outer[80]), glass)

    def handle(self, jar: Jar, r0: float, glass: dict[str, Any]) -> None:
        """A handle at the left or right, of glass or painted."""
        t = np.linspace(-1.25, 1.25, 40)
        reach = float(self.rng.uniform(1.6, 3.0))
        line = np.stack([r0 - 0.3 + reach * np.cos(t) * 1.2, jar.height * (0.5 + 0.3 * np.sin(t)), 0 * t], -1)
        if self.rng.random() < 0.5:
            line[:, 0] *= -1
        p = self.path()
        mesh.tube(p, line, np.full(40, float(self.rng.uniform(0.25, 0.6))))
        self.add(p, glass if self.rng.random() < 0.8 else _diffuse(_rgb(self.rng.random(3) * 0.8)))

    def _medium(self, x: Layer) -> dict[str, Any]:
        absorb = -np.log(np.clip(np.array(x.colour), 1e-3, 0.999))
        st = absorb + x.density
        albedo = x.density / st
        sc = float(max(st.max(), 1e-6))
        return {
            "type": "homogeneous", "scale": sc, "sigma_t": _rgb(st / sc), "albedo": _rgb(albedo),
            "phase": {"type": "hg", "g": 0.6},
        }  # fmt: skip

    def _paint(self, x: Layer) -> dict[str, Any]:
        n = textures.noise(self.rng, (300, 900), 5, x.lump, 0.6)
        col = np.array(x.colour)[None, None] * (1 - x.mottle * (1 - n[..., None]) * 0.75)
        if x.kind == "foam":
            col = col * (1 - _bubbles(self.rng, (300, 900))[..., None])
        return _diffuse(_bitmap(col.clip(0.01, 0.97)))

    def _contents(self, jar: Jar, layers: tuple[Layer, ...]) -> None:
        y0 = 0.0
        solid = [x.opaque for x in layers]
        for k, x in enumerate(layers):
            a, b = y0, y0 + x.height
            y0 = b
            if solid[k]:
                self.what = "foam" if x.kind == "foam" else "s"
                self._opaque(jar, x, a, b, k == 0)
                self.what = "s"
            else:
                above = layers[k + 1] if k + 1 < len(layers) else None
                self._clear(jar, x, a, b, k == 0, above, k + 1 < len(layers) and solid[k + 1])
                self._floating_bits(jar, x, a, b)

    def _opaque(self, jar: Jar, x: Layer, a: float, b: float, lowest: bool) -> None:
        rng, bump = self.rng, None
        paint = self._paint(x)
        y = self.heights(a, b, 24)
        r = jar.radius(y) - 0.004
        if x.ragged > 0:
            g = textures.noise(rng, (64, 64), 3, 5) - 0.5
            rb = float(jar.radius(np.array(b)))

            def bump(px: Array, pz: Array) -> Array:
                i = np.clip((px / rb + 1) * 31.5, 0, 63).astype(int)
                j = np.clip((pz / rb + 1) * 31.5, 0, 63).astype(int)
                return x.ragged * 2 * g[j, i]

            th = np.linspace(0, 2 * np.pi, 257)
            s = section(th, jar.power, jar.yaw_deg)
            top = b + bump(np.sin(th) * rb * s, np.cos(th) * rb * s)
            h = a + (top - a) * np.linspace(0, 1, 24)[:, None]
            rr = (jar.radius(h.clip(0, jar.height)) - 0.004) * s
            p = self.path()
            mesh.grid(p, np.stack([rr * np.sin(th), h, rr * np.cos(th)], -1), smooth=False)
            self.add(p, paint)
        else:
            self.lathe(jar, r, y, paint)
        self.lathe(jar, np.linspace(max(r[-1], 0.01), 1e-3, 40), np.full(40, b), paint, bump)
        self.lathe(
            jar, np.linspace(1e-3, max(r[0], 0.01), 16), np.full(16, a + (0.002 if lowest else 0)), paint
        )

    def _clear(
        self, jar: Jar, x: Layer, a: float, b: float, lowest: bool, above: Layer | None, above_solid: bool
    ) -> None:
        med, i0 = self._medium(x), _IOR.get(x.kind, 1.333)
        y = self.heights(a, b, 40)
        r = jar.radius(y)
        self.lathe(jar, r, y, _glass(i0, jar.ior), interior=med)
        if lowest:
            self.lathe(
                jar, np.linspace(1e-3, max(r[0], 0.01), 16), np.full(16, a), _glass(i0, jar.ior), interior=med
            )
        top = np.linspace(r[-1], 1e-3, 40)
        if above is None:  # free surface, with a small meniscus
            men = float(self.rng.uniform(0.05, 0.2)) * np.exp(-(r[-1] - top) / 0.18)
            self.lathe(jar, top, b + men, _glass(i0, 1.0), interior=med)
        elif not above_solid:
            i1 = _IOR.get(above.kind, 1.333)
            face = _glass(i0, i1) if abs(i0 - i1) > 0.02 else {"type": "null"}
            self.lathe(jar, top, np.full(40, b), face, interior=med, exterior=self._medium(above))

    def _floating_bits(self, jar: Jar, x: Layer, a: float, b: float) -> None:
        rng = self.rng
        rm = float(jar.radius(np.array((a + b) / 2)))
        colour = _diffuse(_rgb(np.array([0.86, 0.83, 0.74]) * rng.uniform(0.3, 1.1)))
        if x.flocs:
            size = np.minimum(np.exp(rng.normal(np.log(x.floc_mm / 10), 0.35, x.flocs)), 0.6 * rm)
            size = np.minimum(size, 0.8 * (b - a))
            q, ph = np.sqrt(rng.random(x.flocs)) * (0.93 * rm - size / 2), rng.random(x.flocs) * 2 * np.pi
            h = a + size / 2 + rng.random(x.flocs) ** rng.uniform(0.8, 1.4) * (b - a - size)
            p = self.path()
            mesh.lumps(p, rng, np.stack([q * np.sin(ph), h, q * np.cos(ph)], -1), size / 2)
            self.add(p, colour)
        for _ in range(x.strings):
            n = 24
            step = rng.normal(0, 1, (n, 3)).cumsum(0) * 0.12 * rm
            line = step - step.mean(0)
            line[:, [0, 2]] = np.clip(line[:, [0, 2]], -0.6 * rm, 0.6 * rm)
            line[:, 1] = np.clip(line[:, 1] + rng.uniform(a, b), a + 0.1, b - 0.1)
            p = self.path()
            mesh.tube(p, line, np.full(n, float(rng.uniform(0.03, 0.16))))
            self.add(p, colour)

    def bubbles(self, jar: Jar, layers: tuple[Layer, ...]) -> None:
        """Bubbles of air on the inner wall, where the contents are clear."""
        rng, y0 = self.rng, 0.0
        for x in layers:
            a, y0 = y0, y0 + x.height
            if x.kind == "turbid" and x.density < 6 and x.height > 0.5:
                y = rng.uniform(a + 0.15, y0 - 0.15, self.shot.bubbles)
                ph = rng.random(self.shot.bubbles) * 2 * np.pi
                size = rng.uniform(0.03, 0.11, self.shot.bubbles)
                self.add(self._on_wall(jar, y, ph, size, size + 0.01), _glass(1.0, 1.333))

    def _on_wall(self, jar: Jar, y: Array, ph: Array, size: Array, inside: Any) -> Path:
        """Lumps at these heights and angles, their middles so far inside the inner wall."""
        r = (jar.radius(y) - inside) * section(ph, jar.power, jar.yaw_deg)
        p = self.path()
        mesh.lumps(p, self.rng, np.stack([r * np.sin(ph), y, r * np.cos(ph)], -1), size)
        return p

    def _outside(self, jar: Jar, top: float) -> None:
        """Lid, label, ticks, curds on the wall and a straw."""
        shot, rng, h = self.shot, self.rng, jar.height
        if shot.residue > 0 and top < h - 1:
            n = int(60 * shot.residue)
            y, ph = rng.uniform(top + 0.1, min(h - 0.3, top + 3), n), rng.random(n) * 2 * np.pi
            p = self._on_wall(jar, y, ph, rng.uniform(0.04, 0.2, n), 0.06)
            self.add(p, _diffuse(_rgb(np.array([0.85, 0.82, 0.74]) * rng.uniform(0.3, 1.1))))
        if shot.label:
            img = np.full((200, 300, 3), rng.uniform(0.5, 0.9))
            img *= 1 if rng.random() < 0.6 else rng.random(3)
            for row in range(30, 180, int(rng.integers(20, 60))):
                x0 = 20
                while x0 < 260:
                    w = int(rng.integers(8, 60))
                    img[row : row + int(rng.integers(6, 24)), x0 : min(280, x0 + w)] = rng.uniform(0.02, 0.4)
                    x0 += w + 8
            c, low, wide = rng.uniform(-0.9, 0.9), rng.uniform(0.1, 0.6) * h, rng.uniform(0.2, 0.7)
            high = min(low + rng.uniform(0.1, 0.35) * h, 0.97 * h)
            self._patch(jar, low, high, c - wide, c + wide, _bitmap(img.clip(0, 1)))
        if shot.ticks:
            ink = _rgb(np.full(3, rng.choice([0.9, 0.05])) if rng.random() < 0.7 else rng.random(3))
            c, step = rng.uniform(-0.8, 0.6), rng.uniform(0.02, 0.09)
            for i, at in enumerate(np.arange(0.1 * h, 0.92 * h, step * h)):
                self._patch(
                    jar, float(at) - 0.03, float(at) + 0.03, c, c + (0.36 if i % 2 == 0 else 0.2), ink
                )
        if shot.lid:
            over = float(jar.radius(np.array(h))) + jar.wall + 0.12
            metal = {"type": "twosided", "bsdf": {"type": "roughconductor", "alpha": 0.25}}
            face = metal if shot.lid == "metal" else _diffuse(_rgb(rng.random(3) * 0.85 + 0.03))
            if shot.lid == "cork":
                inside = float(jar.radius(np.array(h))) - 0.02
                rr = np.array([0.01, inside, inside, inside * 1.15, inside * 1.2, 0.01])
                yy = np.array([-0.15, -0.15, 0.0, 0.02, 0.2, 0.2]) * min(h * 0.5, 7) + h
                self.lathe(jar, rr, yy, face)
            else:
                skirt = float(rng.uniform(0.5, 2.2))
                self.lathe(jar, np.full(8, over), np.linspace(h - skirt, h + 0.15, 8), face)
                self.lathe(jar, np.linspace(over, 1e-3, 16), np.full(16, h + 0.15), face)
        if shot.straw and not shot.lid:
            lean = rng.uniform(-0.5, 0.5, 2) * float(jar.radius(np.array(0.3 * h)))
            foot = np.array([-lean[0], 0.15, -lean[1]])
            head = np.array([lean[0], h * rng.uniform(0.9, 1.4), lean[1]])
            p = self.path()
            part = np.linspace(0, 1, 20)[:, None]
            mesh.tube(p, foot * (1 - part) + head * part, np.full(20, float(rng.uniform(0.1, 0.4))))
            self.add(p, _diffuse(_rgb(rng.random(3) * 0.9)))

    def _patch(self, jar: Jar, ya: float, yb: float, t0: float, t1: float, refl: dict[str, Any]) -> None:
        th = np.linspace(t0, t1, 48)
        y = np.linspace(ya, yb, 12)[:, None]
        gap = 0.16 if jar.emboss else 0.012
        r = (jar.radius(y) + jar.wall) * section(th, jar.power, jar.yaw_deg) + gap
        p = self.path()
        h = np.repeat(y, 48, 1)
        mesh.grid(p, np.stack([r * np.sin(th), h, r * np.cos(th)], -1), smooth=False)
        self.add(p, _diffuse(refl))

    def seen_by(self, view: dict[str, Any], vessels: list[dict[str, Any]], shot: Any) -> list[dict[str, Any]]:
        """The vessels' records as one camera sees them."""
        return vessels

    def finish(self, picture: NDArray[np.uint8], rng: Rng, shot: Any) -> NDArray[np.uint8]:
        """What is done to a developed picture afterwards."""
        return picture

    def hand(self, jar: Jar) -> None:
        """Fingers round the jar from one side, and a forearm."""
        rng = self.rng
        skin = _diffuse(_rgb(np.array([0.62, 0.42, 0.32]) * rng.uniform(0.35, 1.3)))
        side = 1 if rng.random() < 0.5 else -1
        y0 = float(rng.uniform(0.05, 0.75)) * jar.height
        for i in range(int(rng.integers(2, 5))):
            y = y0 + i * 1.7
            r = float(jar.radius(np.array(min(y, jar.height)))) + jar.wall + 0.75
            a = np.linspace(np.radians(125), np.radians(float(rng.uniform(15, 70))), 16)
            h = y + 0.4 * np.sin(a * 2 + i)
            p = self.path()
            mesh.tube(p, np.stack([side * r * np.sin(a), h, r * np.cos(a)], -1), np.linspace(0.85, 0.6, 16))
            self.add(p, skin)
        p = self.path()
        n = np.linspace(0, 1, 12)
        r = float(jar.radius(np.array(0.0))) + 1.0
        ends = np.array([[side * r, y0 + 2.5, -1.5], [side * (r + 24), y0 - 4, -3.0]])
        mesh.tube(p, ends[0] + n[:, None] * (ends[1] - ends[0]), np.linspace(1.6, 3.4, 12))
        self.add(p, skin)

    def room(self, size: float, low: float) -> None:
        """Backdrop, bench, light, and whatever else stands about."""
        shot, rng, t = self.shot, self.rng, mi.ScalarTransform4f
        for k in range(shot.objects):
            self._object(k, size, low, bool(shot.jars))
        img = textures.backdrop(rng, shot.backdrop)
        span = float(np.exp(rng.uniform(np.log(0.35), np.log(1.1))))
        behind = -float(rng.uniform(6, 26))
        self.d["wallplane"] = {
            "type": "rectangle",
            "to_world": t().translate([0, 18 - 5000 * shot.open, behind]).scale([48 * max(span, 0.9), 34, 1]),
            "bsdf": _diffuse(_bitmap(img[::-1])),
        }
        deep = float(rng.choice([48, 48, rng.uniform(size, 16)]))
        self.d["bench"] = {
            "type": "rectangle",
            "to_world": t().translate([0, low - 0.01, 0]).rotate([1, 0, 0], -90).scale([48, deep, 1]),
            "bsdf": (_polished if shot.glossy else _diffuse)(_bitmap(textures.bench(rng, shot.bench))),
        }
        self.d["sky"] = _sky(rng, shot.light)
        # one of each kind, far behind the camera: every scene then compiles to the same kernels
        away = t().translate([0, -900, 900])
        media = {"type": "homogeneous", "sigma_t": 0.1, "albedo": 0.5, "phase": {"type": "hg", "g": 0.6}}
        faces: list[dict[str, Any]] = [
            {"type": "plastic"}, {"type": "twosided", "bsdf": {"type": "roughconductor", "alpha": 0.25}},
            {"type": "null"}, _glass(1.4, 1.1), _diffuse(_rgb([0.5, 0.5, 0.5])), _diffuse(_bitmap(np.ones((2, 2, 3)))),
            _polished(_bitmap(np.ones((2, 2, 3)))),
        ]  # fmt: skip
        for k, face in enumerate(faces):
            more = {"interior": media, "exterior": media} if face["type"] in ("null", "dielectric") else {}
            kinds = ("cube", "cylinder", "sphere")
            self.d[f"far{k}"] = {"type": kinds[k % 3], "to_world": away, "bsdf": face, **more}

    def _object(self, k: int, size: float, low: float, jar: bool) -> None:
        rng, t = self.rng, mi.ScalarTransform4f
        side = -1 if rng.random() < 0.5 else 1
        x = (
            side * float(rng.uniform(size * 1.5 + 1.5, size * 1.2 + 14))
            if jar
            else float(rng.uniform(-11, 11))
        )
        z, h, w = float(rng.uniform(-9, 2)), float(rng.uniform(2, 16)), float(rng.uniform(0.6, 4))
        kind = int(rng.integers(5))
        colour = _rgb(rng.random(3) * 0.75 + 0.03)
        face = {"type": "plastic", "diffuse_reflectance": colour} if rng.random() < 0.4 else _diffuse(colour)
        if kind == 0:
            move = t().translate([x, low + h / 2, z]).rotate([0, 1, 0], float(rng.uniform(0, 90)))
            self.d[f"obj{k}"] = {
                "type": "cube",
                "bsdf": face,
                "to_world": move.scale([w / 1.5, h / 2, w / 2]),
            }
        elif kind == 1:
            self.d[f"obj{k}"] = {"type": "sphere", "bsdf": face, "center": [x, low + w, z], "radius": w}
        else:  # a can, cup or vase, plain, of metal, or with painted bands
            if kind == 3:
                face = {"type": "twosided", "bsdf": {"type": "roughconductor", "alpha": 0.2}}
            elif kind == 4:
                img = np.empty((64, 32, 3))
                img[:] = rng.random(3) * 0.8
                for _ in range(int(rng.integers(1, 5))):
                    a, b = sorted(rng.integers(0, 64, 2))
                    img[a:b] = rng.random(3) * 0.9
                face = _diffuse(_bitmap(img))
            y = np.linspace(0, 1, 24)
            r = w * (1 + rng.uniform(-0.3, 0.5) * y + rng.uniform(-0.3, 0.3) * np.sin(np.pi * y))
            rr = np.concatenate([[1e-3], r, r[::-1] - 0.15 * w, [1e-3]])
            yy = np.concatenate([[0], y * h, y[::-1] * h * 0.96 + 0.04 * h, [0.04 * h]]) + low
            keep = self.move
            self.move = t().translate([x, 0, z])
            p = self.path()
            mesh.lathe(
                p, np.maximum(rr, 1e-3), yy, power=float(rng.choice([2, 2, 5])), yaw_deg=45 * rng.random()
            )
            self.add(p, face)
            self.move = keep


def _bubbles(rng: Rng, shape: tuple[int, int]) -> Array:
    """How much darker foam is than its palest part: bubbles with shaded insides, the large ones plain to see."""
    b = np.zeros(shape, np.float32)
    deep = float(rng.uniform(0.15, 0.7))
    for r in np.sort(np.exp(rng.uniform(np.log(2), np.log(rng.uniform(5, 30)), 700))):
        at = (int(rng.integers(0, shape[1])), int(rng.integers(0, shape[0])))
        cv2.circle(b, at, int(r), float(deep * rng.uniform(0.2, 1)), -1, cv2.LINE_AA)
        cv2.circle(b, at, int(r), float(deep * rng.uniform(0, 0.4)), max(1, int(r / 5)), cv2.LINE_AA)
        glint = (int(at[0] - 0.35 * r), int(at[1] - 0.35 * r))
        cv2.circle(b, glint, max(1, int(r / 5)), 0.0, -1, cv2.LINE_AA)
    return b


def _relief(kind: str, a: Array, y: Array) -> Array:
    """Raised glass, 0 to 1, against angle and relative height."""
    if kind == "ribs":
        return 0.5 + 0.5 * np.cos(a * 28)
    if kind == "rings":
        return (np.sin(y * 60) > 0.6).astype(float) * (y > 0.05)
    if kind == "diamonds":
        return (np.abs(np.sin(a * 9 + y * 22)) * np.abs(np.sin(a * 9 - y * 22))) ** 0.5
    word = np.sin(a * 31 + np.floor(y * 14) * 3) * np.sin(y * 88)
    return (word > 0.25) * (np.cos(a) > 0.4) * (np.abs(y - 0.5) < 0.22)


def _sky(rng: Rng, kind: str) -> dict[str, Any]:
    return {"type": "envmap", "bitmap": mi.Bitmap(_sky_image(rng, kind).astype(np.float32)), "scale": 1.0}


def _sky_image(rng: Rng, kind: str) -> Array:
    if kind == "room":
        return textures.room(rng)
    return np.asarray(cv2.resize(_drawn_sky(rng, kind), (512, 256), interpolation=cv2.INTER_LINEAR))


def _drawn_sky(rng: Rng, kind: str) -> Array:
    h, w = 128, 256
    v = np.linspace(1, 0, h)[:, None, None]
    img = np.full((h, w, 3), 0.55) * (0.6 + 0.6 * v)
    if kind == "window":
        for _ in range(int(rng.integers(1, 4))):
            x = int(rng.integers(0, w - 40))
            img[22:62, x : x + 34] = np.array([5.5, 5.8, 6.2]) * rng.uniform(0.7, 1.2)
            img[22:62, x + 16 : x + 18] = 0.3
            img[41:43, x : x + 34] = 0.3
    elif kind == "overhead":
        for x in range(10, w, 64):
            img[6:18, x : x + 40] = np.array([6.5, 6.2, 5.2])
    elif kind == "sun":
        img = np.array([0.55, 0.7, 1.0]) * (0.5 + 0.6 * v) * np.ones((1, w, 1))
        img[64:] = [0.25, 0.28, 0.18]
        x = int(rng.integers(0, w - 12))
        img[24:34, x : x + 10] = [42, 40, 34]
    elif kind == "dim":
        img *= np.array([0.5, 0.45, 0.35])
        x = int(rng.integers(0, w - 40))
        img[10:50, x : x + 40] = np.array([3.5, 3.0, 2.2])
    elif kind == "side":
        x = int(rng.integers(0, w))
        img = img * 0.3 + 3.0 * np.exp(-(((np.arange(w) - x + w / 2) % w - w / 2) ** 2) / 900)[None, :, None]
    else:
        img[:] = 0.9
    return img * rng.uniform(0.85, 1.15, 3)


def record(jar: Jar, layers: tuple[Layer, ...], at: tuple[float, float]) -> dict[str, Any]:
    """The truth of one vessel, in mm."""
    y = np.linspace(0, jar.height, 40)
    tops = np.cumsum([x.height for x in layers])
    return {
        "profile_mm": [[round(float(v) * 10, 2), round((float(jar.radius(v)) + jar.wall) * 10, 2)] for v in y],
        "inner_height_mm": jar.height * 10, "glass_floor_mm": jar.floor * 10, "power": jar.power,
        "yaw_deg": jar.yaw_deg, "origin_mm": [at[0] * 10, 0.0, at[1] * 10], "jar": jar.name,
        "layers": [
            {"kind": x.kind, "bottom_mm": float(b - x.height) * 10, "top_mm": float(b) * 10, "density": x.density,
             "mottle": x.mottle, "flocs": x.flocs, "floc_mm": x.floc_mm, "strings": x.strings}
            for x, b in zip(layers, tops, strict=True)
        ],
    }  # fmt: skip


def camera(shot: Shot) -> dict[str, Any]:
    """The camera of a shot, in mm."""
    if shot.jars:
        h, r = shot.jars[0][0].height, float(shot.jars[0][0].radius(np.array(shot.jars[0][0].height * 0.5)))
    else:
        h, r = 12.0, 4.0
    fov, span = shot.fov, h / shot.fill
    dist = span / (2 * np.tan(np.radians(fov) / 2)) + r
    p = np.radians(shot.pitch)
    aside = np.array([shot.aside * span * shot.width / shot.height, shot.above * span, 0.0])
    target = np.array([0, h * 0.5, 0.0]) + aside
    eye = target + dist * np.array([0, np.sin(p), np.cos(p)])
    up = [float(np.sin(np.radians(shot.roll))), float(np.cos(np.radians(shot.roll))), 0.0]
    return {
        "eye_mm": (eye * 10).tolist(), "target_mm": (target * 10).tolist(), "up": up, "fov_y_deg": fov,
        "width_px": shot.width, "height_px": shot.height,
    }  # fmt: skip


def _sensor(shot: Shot) -> tuple[dict[str, Any], dict[str, Any]]:
    view = camera(shot)
    eye, target = np.array(view["eye_mm"]) / 10, np.array(view["target_mm"]) / 10
    look = mi.ScalarTransform4f().look_at(origin=eye.tolist(), target=target.tolist(), up=view["up"])
    film = {"type": "hdrfilm", "width": shot.width, "height": shot.height, "pixel_format": "rgb"}
    near = float(np.linalg.norm(eye - np.array([0.0, target[1], 0.0])))
    if shot.jars:
        near -= float(max(shot.jars[0][0].radii))
    sensor = {
        "type": "thinlens", "aperture_radius": shot.aperture, "focus_distance": max(near + shot.focus, 2.0), "fov": shot.fov, "fov_axis": "y", "to_world": look,
        "film": film | {"rfilter": {"type": "gaussian"}},
        "sampler": {"type": "independent", "sample_count": shot.spp},
    }  # fmt: skip
    return sensor, view


def develop(img: Array, rng: Rng, exposure: float, wb: tuple[float, ...]) -> NDArray[np.uint8]:
    """Linear radiance to an 8-bit sRGB picture, the renderer's own noise taken out."""
    x = np.nan_to_num(np.asarray(img, np.float32), nan=0, posinf=20)
    med = cv2.medianBlur(np.minimum(x, 20), 3)
    fire = x.mean(-1) > 1.6 * med.mean(-1) + 0.05  # fireflies
    x[fire] = med[fire]
    key = np.percentile(x.mean(-1), 90)
    x = x * (exposure / max(float(key), 1e-3)) * np.asarray(wb, np.float32)
    x = np.clip(x, 0, 1.6)
    x = np.where(x > 0.8, 0.8 + 0.2 * (1 - np.exp(-(x - 0.8) / 0.2)), x)  # soft shoulder
    s = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-8), 1 / 2.4) - 0.055)
    u = (np.clip(s, 0, 1) * 255 + 0.5).astype(np.uint8)
    return np.asarray(cv2.fastNlMeansDenoisingColored(u, None, 4, 6, 5, 13), np.uint8)


def _repaint(params: Any, rng: Rng, shot: Shot) -> None:
    """Other room, light and colours for a scene that is already built: spares compiling it again."""
    for key in ("wallplane", "bench"):
        img = (
            textures.backdrop(rng, shot.backdrop)[::-1]
            if key == "wallplane"
            else textures.bench(rng, shot.bench)
        )
        what = next(k for k in params.keys() if k.startswith(f"{key}.") and k.endswith("reflectance.data"))  # noqa: SIM118
        params[what] = mi.TensorXf(np.ascontiguousarray(img, np.float32))
    sky = _sky_image(rng, shot.light)
    params["sky.data"] = mi.TensorXf(np.pad(sky, ((0, 0), (1, 1), (0, 0)), mode="wrap").astype(np.float32))
    strength, order = float(np.exp(rng.uniform(-1.6, 1.6))), rng.permutation(3)
    dye = _dye(rng) if shot.akin else None
    for key in params.keys():  # noqa: SIM118  (no mapping: a table of Mitsuba's)
        if key.startswith(("far", "wallplane", "bench", "sky")):
            continue
        if key.endswith("medium.scale"):
            params[key] = params[key] * strength
        elif key.endswith(("sigma_t.value.value", "albedo.value.value")):
            params[key] = mi.Color3f(*(np.array(params[key]).ravel()[order].tolist()))
        elif key.endswith("reflectance.value"):
            old = np.array(params[key]).ravel()
            params[key] = mi.Color3f(*_recolour(old, dye or _dye(rng)).tolist())
        elif key.startswith("foam"):  # always pale: air in little of the liquid
            if key.endswith("reflectance.data"):
                pale = np.clip(
                    np.array(params[key]) * rng.uniform(0.8, 1.1) * rng.uniform(0.95, 1.03, 3), 0.02, 0.97
                )
                params[key] = mi.TensorXf(np.ascontiguousarray(pale, np.float32))
        elif key.endswith("reflectance.data"):
            old = np.array(params[key])
            params[key] = mi.TensorXf(np.ascontiguousarray(_recolour(old, dye or _dye(rng)), np.float32))
    params.update()


def _dye(rng: Rng) -> tuple[Array, Array]:
    """Gains of the three colours, and the order in which they are taken."""
    gain = np.exp(rng.uniform(-0.9, 0.5)) * rng.uniform(0.75, 1.3, 3)
    return gain, rng.permutation(3)


def _recolour(old: Array, dye: tuple[Array, Array]) -> Array:
    gain, order = dye
    return np.clip(old[..., order] * gain, 0.02, 0.96)


def shoot(
    shots: tuple[Shot, ...], builder: type[Builder] = Builder
) -> list[tuple[NDArray[np.uint8], dict[str, Any]]]:
    """The pictures (RGB) of one set of vessels in several rooms, each with its record of truth."""
    shot, out = shots[0], []
    with tempfile.TemporaryDirectory() as tmp:
        b = builder(shot, Path(tmp))
        vessels = [b.vessel(*j) for j in shot.jars]
        first = shot.jars[0][0] if shot.jars else None
        if first is not None and shot.hand:
            b.move = mi.ScalarTransform4f()
            b.hand(first)
        low = -first.floor - first.lift - (0.9 if first.foot else 0) if first is not None else 0.0
        b.room(float(max(first.radii)) + first.wall if first is not None else 4.0, low)
        b.d["sensor"] = _sensor(shot)[0]
        b.d["integrator"] = {"type": "volpath", "max_depth": 40, "rr_depth": 10}
        scene = mi.load_dict(b.d)
        params = mi.traverse(scene)
        for k, s in enumerate(shots):
            rng = np.random.default_rng([s.seed, 7, k])
            sensor, view = _sensor(s)
            if k:
                params["sensor.to_world"] = sensor["to_world"]
                wide = np.tan(np.radians(s.fov) / 2) * s.width / s.height
                params["sensor.x_fov"] = float(2 * np.degrees(np.arctan(wide)))
                params["sensor.aperture_radius"] = sensor["aperture_radius"]
                params["sensor.focus_distance"] = sensor["focus_distance"]
                _repaint(params, rng, s)
            img = np.array(mi.render(scene, spp=s.spp, seed=(s.seed + k) % (1 << 30)))
            truth = {
                "view": view,
                "vessels": b.seen_by(view, vessels, s),
                "jar_present": bool(vessels),
                "seed": s.seed,
                "look": k,
            }
            out.append((b.finish(develop(img, rng, **s.develop), rng, s), truth))
    return out
