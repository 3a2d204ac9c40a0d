"""Drawn vessels: thousands a minute, with crude optics and known truth, to go beside the path-traced ones.

What they lack in physics they make up in variety: every look of glass, backdrop, liquid and line is thrown
by dice.  The geometry (perspective, arcs, walls) is exact.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import scene, textures
from jartest.imaging.fit.shots import looks, lump_looks
from jartest.imaging.fit.truth import Truth, Vessel, View

__all__ = ["draw"]

Rng = np.random.Generator
Image = NDArray[np.float32]
Array = NDArray[Any]


def draw(
    i: int, *, width: int = 288, height: int = 384, lumps: bool = False
) -> tuple[NDArray[np.uint8], dict[str, Any]]:
    """The i-th drawn picture (RGB) and its record of truth; the seed is fixed.  `lumps`: of `lump_looks`."""
    rng = np.random.default_rng([20261127, i])
    listed = lump_looks if lumps else looks
    shot = listed(5_000_000 + i, 1, width=width, height=height)[0]
    jars = tuple((replace(j, yaw_deg=0.0, emboss="", handle=False), c, at) for j, c, at in shot.jars)
    shot = replace(shot, jars=jars, roll=0.0)
    truth = {
        "view": scene.camera(shot),
        "vessels": [scene.record(*j) for j in jars],
        "jar_present": bool(jars),
    }
    known = Truth.from_json(truth)
    img = _room(rng, shot, known)
    order = sorted(range(len(jars)), key=lambda k: known.vessels[k].origin[2])
    for k in order:
        _Drawing(rng, img, known.view, known.vessels[k]).paint(jars[k][1], shot)
    if shot.hand and jars:
        _fingers(rng, img, known)
    x = img * (rng.uniform(0.4, 1.0) / max(float(np.percentile(img.mean(-1), 90)), 0.02))
    x = x * np.array(shot.develop["wb"], np.float32)
    x = np.where(x > 0.8, 0.8 + 0.2 * (1 - np.exp(-(x - 0.8) / 0.2)), x)
    out = (np.clip(x, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)
    return out, truth


def _room(rng: Rng, shot: scene.Shot, known: Truth) -> Image:
    h, w = shot.height, shot.width
    n = max(h, w)
    img = cv2.resize(textures.backdrop(rng, shot.backdrop, (n, n)), (n, n))[:h, :w].copy()
    if known.vessels:
        v = known.vessels[0]
        foot = float(known.view.project(v.ring(-v.floor_mm, np.zeros(1)))[0, 1])
        back = float(known.view.project(v.ring(-v.floor_mm, np.full(1, np.pi)))[0, 1])
        edge = int(min(foot, back) - abs(rng.normal(0, 0.15)) * h)
    else:
        edge = int(rng.uniform(0.3, 1.1) * h)
    edge = max(0, edge)
    if edge < h and rng.random() < 0.9:
        img[edge:] = textures.bench(rng, shot.bench, (n, n))[: h - edge, :w] * rng.uniform(0.5, 1.3)
    for _ in range(shot.objects):
        x, y = int(rng.integers(0, w)), int(rng.uniform(0.2, 0.8) * h)
        bw, bh = int(rng.uniform(8, 70)), int(rng.uniform(20, 180))
        colour = rng.random(3) * 0.8
        box = img[max(0, y) : y + bh, max(0, x - bw) : x + bw]
        if box.size:
            t = np.linspace(-0.95, 0.95, box.shape[1])
            shade = (0.4 + 0.6 * np.sqrt(1 - t**2)) if rng.random() < 0.6 else np.full_like(t, 0.9)
            box[:] = colour * shade[None, :, None]
            for _ in range(int(rng.integers(0, 3))):
                a, b = sorted(rng.integers(0, box.shape[0], 2))
                box[a:b] = rng.random(3) * shade[None, :, None]
    light = textures.noise(rng, (h, w), 2, 1) * rng.uniform(0, 0.8)
    return (img * (1.1 - light[..., None])).astype(np.float32)


def _fingers(rng: Rng, img: Image, known: Truth) -> None:
    v = known.vessels[0]
    side = 1 if rng.random() < 0.5 else -1
    skin = np.array([0.62, 0.42, 0.32]) * rng.uniform(0.3, 1.3)
    y0 = rng.uniform(0.05, 0.9) * v.height_mm
    for k in range(int(rng.integers(2, 5))):
        ring = known.view.project(
            v.ring(min(y0 + 17 * k, v.height_mm), np.array([side * 1.6, side * rng.uniform(0.2, 1)]))
        )
        wide = max(3, int(np.linalg.norm(ring[0] - ring[1]) * rng.uniform(0.18, 0.3)))
        start = ring[0] + np.array([side * wide * 4, rng.normal(0, wide)])
        line = np.round(np.array([start, *ring])).astype(np.int32)
        for j, f in enumerate((1.0, 0.7, 0.35)):
            cv2.polylines(
                img, [line], False, (skin * (0.6 + 0.25 * j)).tolist(), max(1, int(2 * wide * f)), cv2.LINE_AA
            )


class _Drawing:
    """One vessel drawn into the picture: maps of the near wall's and the far wall's height at each pixel."""

    def __init__(self, rng: Rng, img: Image, view: View, v: Vessel) -> None:
        self.rng, self.img, self.v = rng, img, v
        hs = np.linspace(-v.floor_mm, v.height_mm, 90)
        angles = np.linspace(-np.pi, np.pi, 73)
        rings = np.stack([view.project(v.ring(float(y), angles)) for y in hs])
        left, right = rings[..., 0].min(1), rings[..., 0].max(1)
        near, far = rings[:, 36, 1], rings[:, 0, 1]  # angle 0 and -pi
        h, w = img.shape[:2]
        self.box = (max(0, int(left.min())), min(w, int(right.max()) + 2))
        rows = np.arange(h, dtype=float)
        x = np.arange(*self.box, dtype=float)[None]
        up = slice(None, None, -1)
        wide_row = (near + far) / 2  # the silhouette is widest at the ring's middle
        self.xc = np.interp(rows, wide_row[up], ((left + right) / 2)[up])[:, None]
        self.hw = np.maximum(np.interp(rows, wide_row[up], ((right - left) / 2)[up]), 0.5)[:, None]
        self.t = (x - self.xc) / self.hw
        arc = np.maximum(1 - np.abs(self.t).clip(0, 1) ** v.power, 0) ** (1 / v.power)
        sag = np.interp(rows, near[up], ((near - far) / 2)[up])[:, None]
        y = rows[:, None]
        self.sag = sag
        self.h_near = np.interp(y + sag * (1 - arc), near[up], hs[up])
        self.h_far = np.interp(y + sag * (1 + arc), near[up], hs[up])
        below = y + sag * (1 - arc) > near[0] + 0.5
        above = y + sag * (1 + arc) < near[-1] - 0.5
        above &= y + sag * (1 - arc) < near[-1] - 0.5
        self.inside = (np.abs(self.t) <= 1) & ~below & ~above
        self.arc = arc
        self.mm = float(v.height_mm / max(near[0] - near[-1], 1))  # mm a row

    def part(self) -> Image:
        return self.img[:, self.box[0] : self.box[1]]

    def blend(self, mask: Array, colour: Any, alpha: Any) -> None:
        p = self.part()
        a = (np.asarray(alpha, np.float32) * mask)[..., None].astype(np.float32)
        p[:] = p * (1 - a) + np.asarray(colour, np.float32) * a

    def line(self, height: float, h: Array, colour: Any, alpha: float, rows: float) -> None:
        d = (h - height) / self.mm
        self.blend(self.inside, colour, alpha * np.exp(-0.5 * (d / rows) ** 2))

    def seen_through(self, liquid: bool) -> Image:
        """The backdrop bent by the vessel: nearly straight through air, mirrored and stretched through liquid."""
        rng = self.rng
        h = self.img.shape[0]
        t = self.t
        if liquid:
            f = rng.uniform(0.4, 2.5) * (-1 if rng.random() < 0.8 else 1)
            x = self.xc + self.hw * f * t * (1 + 0.6 * t**2)
        else:
            x = self.xc + self.hw * t * (1 + rng.uniform(-0.2, 0.1) * np.abs(t) ** 6)
        y = np.arange(h)[:, None] + rng.normal(0, 6) + 0 * t
        seen = cv2.remap(
            self.img, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, None, cv2.BORDER_REFLECT
        )
        if liquid:
            seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.5, 2.5))
        return np.asarray(seen, np.float32)

    def paint(self, layers: tuple[scene.Layer, ...], shot: scene.Shot) -> None:
        rng, v = self.rng, self.v
        if self.box[1] - self.box[0] < 6:
            return
        air, wet = self.seen_through(False), self.seen_through(True)
        self._shadow()
        glass = rng.uniform(0.85, 1.0, 3) * rng.uniform(0.8, 1.03)
        self.blend(self.inside, air * glass, 1.0)
        if rng.random() < 0.4:  # milky or tinted plastic
            self.blend(self.inside, rng.random(3) * 0.5 + 0.4, rng.uniform(0.03, 0.3))
        self._base(wet)
        tops = np.cumsum([0.0, *[x.height * 10 for x in layers]])
        for x, a, b in zip(layers, tops[:-1], tops[1:], strict=True):
            self._layer(x, float(a), float(b), wet)
        if layers:
            self._face(layers[-1], float(tops[-1]))
        self._glints(float(tops[-1]))
        self._dress(float(tops[-1]), shot)
        del v

    def _shadow(self) -> None:
        h, w = self.img.shape[:2]
        cx, hw = float(self.xc[-1, 0]), float(self.hw[-1, 0])
        rows = np.where(self.inside.any(1))[0]
        if len(rows) and self.rng.random() < 0.8:
            dark = np.zeros((h, w), np.float32)
            at = (int(cx + self.rng.normal(0, 0.6) * hw), int(rows[-1]))
            axes = (max(2, int(hw * self.rng.uniform(0.9, 2))), max(2, int(hw * self.rng.uniform(0.15, 0.5))))
            cv2.ellipse(dark, at, axes, 0, 0, 360, 1.0, -1)
            soft = np.asarray(cv2.GaussianBlur(dark, (0, 0), max(1.0, hw * 0.12)), np.float32)
            self.img *= 1 - self.rng.uniform(0.1, 0.7) * soft[..., None]

    def _base(self, wet: Image) -> None:
        rng = self.rng
        low = self.inside & (self.h_near < 0)
        self.blend(low, wet * rng.uniform(0.3, 1.2), rng.uniform(0.3, 1.0))
        self.blend(low, np.full(3, rng.uniform(0, 1.0)), rng.uniform(0, 0.7))
        for _ in range(int(rng.integers(1, 4))):
            where = rng.uniform(-self.v.floor_mm, 0)
            self.line(
                where,
                self.h_near,
                np.full(3, rng.uniform(0, 1.1)),
                rng.uniform(0.1, 0.8),
                rng.uniform(0.5, 1.5),
            )

    def _shade(self) -> Array:
        k = self.rng.uniform(-0.7, 0.7)
        s = np.clip(1 - self.rng.uniform(0.1, 0.7) * (self.t.clip(-1, 1) - k) ** 2, 0.1, 1.2)
        return s[..., None]

    def _layer(self, x: scene.Layer, a: float, b: float, wet: Image) -> None:
        rng = self.rng
        jag = 0.0
        if x.ragged:
            n = textures.noise(rng, (1, 64), 3, 5)[0] - 0.5
            jag = np.interp(self.t.clip(-1, 1), np.linspace(-1, 1, 64), n) * 20 * x.ragged
        mask = self.inside & (self.h_near >= a) & (self.h_near < b + jag)
        solid = x.kind in ("sediment", "cream", "foam") or x.density >= 6
        colour = np.array(x.colour) * self._shade()
        if solid:
            n = textures.noise(rng, (*self.t.shape,), 5, x.lump, 0.6)
            colour = colour * (1 - (x.mottle * (1 - n) * 0.75)[..., None])
            if x.kind == "foam":
                dots = rng.random(self.t.shape).astype(np.float32)
                dots = np.asarray(cv2.GaussianBlur(dots, (0, 0), rng.uniform(0.6, 2.5)), np.float32)
                colour = colour * (
                    1 + ((dots - dots.mean()) / (dots.std() + 1e-6) * rng.uniform(0.02, 0.2))[..., None]
                )
            self.blend(mask, colour, rng.uniform(0.85, 1.0))
        else:
            reach = (2 * self.arc * self.hw * self.mm / 10)[..., None]  # cm through the liquid
            keep = np.clip(np.array(x.colour), 0.02, 0.999) ** (reach * rng.uniform(0.3, 1.5))
            veil = 1 - np.exp(-x.density * reach * rng.uniform(0.2, 0.8))
            body = wet * keep * rng.uniform(0.8, 1.1)
            haze = (np.array(x.colour) ** 0.5) * rng.uniform(0.4, 0.9) * self._shade()
            self.blend(mask, body * (1 - veil) + haze * veil, 1.0)
            self._specks(x, a, b)
        if a > 0 and rng.random() < 0.6:
            self.line(
                a,
                self.h_near,
                np.full(3, rng.choice([0.05, 1.0])),
                rng.uniform(0.05, 0.5),
                rng.uniform(0.4, 1.2),
            )

    def _specks(self, x: scene.Layer, a: float, b: float) -> None:
        rng, p = self.rng, self.part()
        rows, cols = np.where(self.inside & (self.h_near > a) & (self.h_near < b) & (np.abs(self.t) < 0.93))
        if len(rows) < 20:
            return
        bubbles = int(rng.integers(5, 60)) if rng.random() < 0.15 else 0
        for k in range(min(x.flocs, 160) + bubbles):
            j = int(rng.integers(len(rows)))
            r = max(0.5, rng.lognormal(np.log(max(x.floc_mm, 0.3)), 0.35) / 2 / self.mm)
            r = r if k < x.flocs else rng.uniform(0.5, 2)
            c = (np.array([0.86, 0.83, 0.74]) * rng.uniform(0.3, 1.1)).tolist()
            axes = (max(1, round(r)), max(1, round(r * rng.uniform(0.6, 1))))
            cv2.ellipse(
                p, (int(cols[j]), int(rows[j])), axes, 0, 0, 360, c, -1 if k < x.flocs else 1, cv2.LINE_AA
            )

    def _face(self, x: scene.Layer, top: float) -> None:
        rng = self.rng
        down = self.inside & (self.h_near >= top) & (self.h_far < top)
        under = self.inside & (self.h_near < top) & (self.h_far >= top)
        solid = x.kind in ("cream", "foam", "sediment") or x.density >= 6
        colour = np.array(x.colour) * rng.uniform(0.6, 1.3) if solid else np.full(3, rng.uniform(0.2, 1.0))
        self.blend(down, colour, rng.uniform(0.8, 1) if solid else rng.uniform(0.1, 0.8))
        if not solid:
            self.blend(under, colour, rng.uniform(0.0, 0.7))
        near = 1 if rng.random() < 0.85 else 0.2
        ink = np.full(3, rng.choice([0.03, rng.uniform(0.1, 0.5), 1.0]))
        self.line(top, self.h_near, ink, near * rng.uniform(0.15, 0.9), rng.uniform(0.5, 1.8))
        self.line(top, self.h_far, np.full(3, rng.uniform(0, 1)), rng.uniform(0, 0.6), rng.uniform(0.4, 1.2))

    def _glints(self, top: float) -> None:
        rng, v = self.rng, self.v
        edge = np.exp(-0.5 * ((np.abs(self.t) - 1) / rng.uniform(0.02, 0.09)) ** 2)
        wet = self.h_near < top
        for mask, strength in ((self.inside & wet, 0.7), (self.inside & ~wet, 1.0)):
            self.blend(
                mask, np.full(3, rng.choice([0.02, 0.3, 0.9])), strength * rng.uniform(0.1, 0.9) * edge
            )
        for _ in range(int(rng.integers(0, 5))):
            t0, s = rng.uniform(-0.95, 0.95), rng.uniform(0.01, 0.12)
            a, b = sorted(rng.uniform(-0.05, 1.05, 2) * v.height_mm)
            window = (self.h_near > a) & (self.h_near < b)
            self.blend(
                self.inside & window,
                np.full(3, rng.uniform(0.7, 1.4)),
                rng.uniform(0.05, 0.7) * np.exp(-0.5 * ((self.t - t0) / s) ** 2),
            )
        rim = np.full(3, rng.uniform(0.3, 1.2))
        high = v.height_mm - 0.8 * self.mm
        self.line(high, self.h_near, rim, rng.uniform(0.2, 0.9), rng.uniform(0.5, 1.4))
        self.line(high, self.h_far, rim, rng.uniform(0.2, 0.9), rng.uniform(0.5, 1.4))

    def _dress(self, top: float, shot: scene.Shot) -> None:
        rng, v = self.rng, self.v
        if shot.residue and top < v.height_mm:
            n = textures.noise(rng, self.t.shape, 4, 20, 0.8)
            wall = self.inside & (self.h_near > top) & (n > rng.uniform(0.7, 0.92))
            fade = np.exp(-(self.h_near - top).clip(0) / rng.uniform(5, 40))
            self.blend(wall, np.array([0.85, 0.82, 0.74]) * rng.uniform(0.3, 1), fade * rng.uniform(0.4, 1))
        if shot.ticks:
            ink, c = np.full(3, rng.choice([0.03, 0.95])), rng.uniform(-0.7, 0.5)
            for k, y in enumerate(np.arange(0.1, 0.92, rng.uniform(0.03, 0.09)) * v.height_mm):
                span = (self.t > c) & (self.t < c + (0.35 if k % 2 else 0.2))
                self.line(float(y), np.where(span, self.h_near, -1e6), ink, 0.85, 0.6)
        if shot.label:
            t0, wide = rng.uniform(-0.8, 0.6), rng.uniform(0.3, 1.0)
            a = rng.uniform(0.1, 0.6) * v.height_mm
            b = a + rng.uniform(0.1, 0.35) * v.height_mm
            spot = self.inside & (self.t > t0) & (self.t < t0 + wide) & (self.h_near > a) & (self.h_near < b)
            self.blend(spot, (rng.random(3) * 0.3 + 0.6) * self._shade(), 0.97)
            text = (np.sin(self.h_near * rng.uniform(0.5, 1.5)) > 0.3) & (
                textures.noise(rng, self.t.shape, 2, 20) > 0.4
            )
            self.blend(spot & text, np.full(3, rng.uniform(0, 0.3)), 0.8)
        if shot.lid:
            skirt = self.inside & (self.h_near > v.height_mm - rng.uniform(6, 22))
            self.blend(skirt, rng.random(3) * 0.8 * self._shade(), 0.97)
        if shot.straw and not shot.lid:
            foot, lean = rng.uniform(-0.5, 0.5), rng.uniform(-0.4, 0.4)
            at = foot + lean * self.h_near / v.height_mm
            wet = self.h_near < top
            at = np.where(wet, at * rng.uniform(1.0, 1.8), at)
            thick = np.where(wet, 1.4, 1.0) * rng.uniform(0.03, 0.12)
            self.blend(self.inside & (np.abs(self.t - at) < thick) & (self.h_near > 0), rng.random(3), 0.95)
