"""Jars put together on the GPU from pieces of any picture, with known lines: strange ones by the thousand, no rendering.

    pieces = Pieces(textures, size=512)      # (n, 3, h, w) in 0 to 1, on the device: any pictures without a vessel
    made = pieces.batch(16)                  # pictures and their truth, as `facts.Facts` has it, and the geometry

A jar is a body of revolution with an outline of its own, seen from up to 40 degrees above: level lines are arcs, near
and far, of ellipses that grow from the surface down to the floor.  What stands in it are layers of stuff, each a
colour with grain, lumps, pores, beads or a piece of a picture in it, opaque or clear; through what is clear one sees
the backdrop, turned round, the far side, the tops of the layers below and the floor.  Base, foot, cap, shoulder,
rim, far arcs, meniscus, film, drops, labels, marks, ribs, ice, straw, handle and glare are drawn as well and are no
layers.  A jar whose layers cannot be told apart at their boundary is thrown away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import torch
from torch.nn import functional as tf

__all__ = ["GEOMETRY", "Made", "Pieces"]

Tensor = Any
_LOW, _HIGH, _KNOTS = (
    -0.6,
    1.5,
    106,
)  # heights in inner heights that an outline has, and how many places of it
GEOMETRY = ("centre", "half", "floor", "surface", "lean", "sag_floor", "sag_surface")
_SEEN = 0.025  # a boundary whose two sides differ by less, in colour and in grain, is not there to be told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """Pictures (n, 3, s, s) as bytes and their truth: as in `facts.Facts`, and `GEOMETRY` in px, (n, 7)."""

    image: Tensor
    mask: Tensor
    points: Tensor  # (n, 2, 7, 2)
    tops: Tensor  # (n, 2, 6, 2)
    kinds: Tensor  # (n, 2, 6)
    geometry: Tensor


class _Draw:
    """Random figures for a batch, each (n, 1, 1, 1)."""

    def __init__(self, n: int, device: str) -> None:
        self.n, self.device = n, device

    def u(self, low: float, high: float) -> Tensor:
        return low + (high - low) * torch.rand(self.n, 1, 1, 1, device=self.device)

    def log(self, low: float, high: float) -> Tensor:
        return torch.exp(self.u(math.log(low), math.log(high)))

    def normal(self, s: float) -> Tensor:
        return s * torch.randn(self.n, 1, 1, 1, device=self.device)

    def some(self, p: float) -> Tensor:
        return (torch.rand(self.n, 1, 1, 1, device=self.device) < p).float()

    def colour(self) -> Tensor:
        """Grey to vivid, dark to light, pale ones often."""
        v, s, h = self.u(0.03, 1.0), self.u(0, 1) ** 1.7, self.u(0, 6)
        k = torch.tensor([5.0, 3.0, 1.0], device=self.device)[None, :, None, None]
        q = (k + h) % 6
        vivid = v - v * s * torch.minimum(q, 4 - q).clamp(0, 1)
        pale = 1 - (1 - vivid) * self.u(0.0, 0.35)
        return torch.where(self.some(0.25) > 0, pale, vivid)


def mix(x: Tensor, y: Tensor, share: Tensor) -> Tensor:
    """`share` of y over x."""
    return x + (y - x) * share


def step(x: Tensor, soft: Tensor | float) -> Tensor:
    """0 to 1 where x passes 0."""
    return torch.sigmoid((x / soft).clamp(-30, 30))


def blur(x: Tensor, k: int) -> Tensor:
    """Mean over k x k, k odd."""
    return tf.avg_pool2d(tf.pad(x, (k // 2,) * 4, mode="replicate"), k, 1)


class Pieces:
    """Makes pictures of jars; all that is random comes from torch's own generator."""

    def __init__(self, textures: Tensor, size: int = 512) -> None:
        self.textures, self.size, self.device = textures, size, textures.device
        k = torch.arange(size, device=self.device).float()
        self.y, self.x = (t[None, None] for t in torch.meshgrid(k, k, indexing="ij"))

    # ------------------------------------------------------------ pieces

    def patch(self, n: int, low: float, high: float) -> Tensor:
        """Pieces of the pictures, `low` to `high` of their size, turned and mirrored."""
        i = torch.randint(0, len(self.textures), (n,), device=self.device)
        k = torch.exp(torch.rand(n, device=self.device) * math.log(high / low)) * low
        a = (torch.rand(n, device=self.device) - 0.5) * torch.where(
            torch.rand(n, device=self.device) < 0.7, 0.3, 6.3
        )
        flip = torch.where(torch.rand(n, device=self.device) < 0.5, -1.0, 1.0)
        at = (torch.rand(n, 2, device=self.device) * 2 - 1) * (1 - k[:, None]).clamp(min=0)
        c, s = k * torch.cos(a), k * torch.sin(a)
        m = torch.stack(
            [torch.stack([c * flip, -s, at[:, 0]], 1), torch.stack([s * flip, c, at[:, 1]], 1)], 1
        )
        grid = tf.affine_grid(m, (n, 3, self.size, self.size), align_corners=False)
        return tf.grid_sample(self.textures[i], grid, padding_mode="reflection", align_corners=False)

    def noise(self, n: int, rows: int, cols: int = 0) -> Tensor:
        x = torch.randn(n, 1, rows, cols or rows, device=self.device)
        return tf.interpolate(x, size=(self.size, self.size), mode="bicubic", align_corners=False)

    def backdrop(self, d: _Draw, floor: Tensor, high: Tensor) -> Tensor:
        """A room, a wall over a bench, a sheet, print, tiles, or nearly nothing."""
        n, y, x = d.n, self.y / self.size, self.x / self.size
        wall = mix(self.patch(n, 0.25, 1.0), d.colour() + 0 * self.y, d.u(0, 1) ** 0.6 * d.some(0.6))
        wall = wall + d.u(-0.3, 0.3) * (y - 0.5) + d.u(-0.3, 0.3) * (x - 0.5)
        bench = mix(self.patch(n, 0.05, 0.7), d.colour() + 0 * self.y, d.u(0, 1) ** 0.6)
        edge = floor - high * d.u(-0.1, 1.3) + (self.x - self.size / 2) * d.normal(0.03)
        out = mix(wall, bench, step(self.y - edge, d.log(0.5, 12)) * d.some(0.75))
        pitch = d.log(0.02, 0.15)
        lines = torch.maximum(
            (y / pitch % 1 < 0.12).float(), (x / (pitch * d.log(0.5, 2)) % 1 < 0.12).float()
        )
        out = mix(out, d.colour() + 0 * self.y, lines * d.some(0.1) * d.u(0.3, 1))
        text = ((y / d.log(0.01, 0.05) % 1 < 0.5) & (self.noise(n, 64) > 0)).float()
        out = mix(out, out * d.u(0, 0.4), text * step(self.noise(n, 3) - 0.3, 0.05) * d.some(0.12))
        dark, light = d.some(0.13), d.some(0.1)
        out = mix(out, out * d.u(0, 0.15) + d.u(0, 0.06), dark)
        out = mix(out, out * 0.15 + d.u(0.6, 0.95), light)
        soft = torch.where(d.some(0.5) > 0, blur(out, 9), out)
        return torch.where(d.some(0.25) > 0, blur(soft, 21), soft).clamp(0, 1)

    def stuff(self, d: _Draw, colour: Tensor) -> Tensor:
        """What a layer is made of: a colour with nothing, grain, mottle, pores, beads, curds or a picture in it."""
        n, k = d.n, d.u(0, 1)
        x = colour + d.u(-0.25, 0.25) * (self.y / self.size - 0.5)
        fine, mid, coarse = self.noise(n, self.size // 3), self.noise(n, self.size // 9), self.noise(n, 24)
        picture = self.patch(n, 0.03, 0.6)
        picture = picture - picture.mean((2, 3), keepdim=True)
        pores = step(mid * 0.6 + coarse * 0.6 - d.u(0.3, 1.4), 0.12)
        beads = step(self.noise(n, self.size // d_int(10, 24)) - d.u(0.5, 1.6), 0.12)
        curds = step(coarse + 0.35 * mid - d.u(-0.3, 0.9), 0.15)
        force = d.u(0, 1)  # how strongly it shows
        grey = picture.mean(1, keepdim=True)
        other = x + (d.colour() - x) * force.clamp(min=0.1)
        kinds = (
            (0.46, x + (fine + mid) * d.u(0, 0.01)),
            (0.55, x + (fine * 0.5 + mid * 0.5) * force * 0.2),
            (0.61, x + coarse * force * 0.12),
            (0.68, x * (1 - pores * force * 0.85)),
            (0.77, mix(x, other, beads) + fine * d.u(0, 0.04)),
            (0.84, x + curds * (force * torch.where(d.some(0.5) > 0, 0.5, -0.5)) + fine * d.u(0, 0.03)),
            (0.92, x + mix(grey, picture, d.u(0, 1)) * force),
            (1.01, x + (self.y - self.size / 2) / self.size * d.u(-0.5, 0.5)),
        )
        out = kinds[-1][1]
        for most, some in reversed(kinds[:-1]):
            out = torch.where(k < most, some, out)
        return out

    # ------------------------------------------------------------ the jar

    def outline(self, d: _Draw) -> Tensor:
        """Half-width against height, in half-widths of the body: (n, _KNOTS)."""
        n = d.n
        t = torch.linspace(_LOW, _HIGH, _KNOTS, device=self.device)[None]
        f = lambda v: v.reshape(n, 1)  # noqa: E731
        r = 1 + f(d.u(-0.08, 0.08)) * t
        taper = f(d.some(0.3)) * f(d.u(-0.12, 0.45))
        r = r * (1 + taper * (t - 0.5))
        bulge = f(d.some(0.15)) * f(d.u(-0.2, 0.35))
        r = r * (1 + bulge * (1 - (2 * t.clamp(0, 1) - 1) ** 2) - bulge)
        corner = f(d.log(0.01, 0.12)) * f(d.some(0.7))
        low = ((corner - t.clamp(min=0)) / corner.clamp(min=1e-3)).clamp(0, 1)
        r = r * (1 - f(d.u(0.0, 0.3)) * low**2)
        bowl = f(d.some(0.06)) * ((f(d.u(0.3, 0.7)) - t.clamp(0, 1)) / 0.5).clamp(0, 1) ** 2 * 0.8
        r = r * (1 - bowl)
        neck = f(d.some(0.4)) * (1 - f(d.u(0.4, 0.97)))
        at, wide = f(d.u(0.6, 1.0)), f(d.log(0.01, 0.12))
        r = r * (1 - neck * torch.sigmoid(((t - at) / wide).clamp(-30, 30)))
        foot = f(d.u(-0.5, 0.15)) * f(d.some(0.4))  # the base is narrower or wider than the body
        r = r * (1 + foot * torch.sigmoid(((-0.01 - t) / 0.012).clamp(-30, 30)))
        stem, flare = f(d.some(0.08)), f(d.u(0.2, 0.45))
        r = torch.where((stem > 0) & (t < -0.03), 0.15 + 0.7 * ((-t - flare) / 0.1).clamp(0, 1) ** 2, r)
        knob = f(d.some(0.05)) * f(d.u(0, 0.06))
        r = r * (1 + knob * torch.sin(t / f(d.u(0.01, 0.04)) * 6.28) * (t < f(d.u(-0.3, 0.3))))
        return r.clamp(min=0.05)

    def bore(self, d: _Draw, outline: Tensor, long: Tensor) -> Tensor:
        """The contents' outline: the glass wall taken off, and rounded at the floor: (n, _KNOTS)."""
        n = d.n
        t = torch.linspace(_LOW, _HIGH, _KNOTS, device=self.device)[None]
        f = lambda v: v.reshape(n, 1)  # noqa: E731
        corner = f(d.log(0.01, 0.6)) * f(d.some(0.7)) + 1e-3  # radius in half-widths
        x = (t.clamp(min=0) * f(long) / corner).clamp(max=1)
        rounded = 1 - corner * (1 - (1 - (1 - x) ** 2).clamp(min=0).sqrt())
        return (outline * (1 - f(d.u(0, 0.07))) * rounded).clamp(min=0.04)

    def _radius(self, outline: Tensor, t: Tensor) -> Tensor:
        k = ((t - _LOW) / (_HIGH - _LOW) * (_KNOTS - 1)).clamp(0, _KNOTS - 1.001)
        i = k.long()
        flat = i.reshape(len(t), -1)
        a, b = outline.gather(1, flat).reshape(t.shape), outline.gather(1, flat + 1).reshape(t.shape)
        return a + (b - a) * (k - i)

    @torch.no_grad()
    def batch(self, n: int) -> Made:
        """About n pictures; those with a boundary that cannot be seen are left out."""
        size, d = self.size, _Draw(n, str(self.device))
        sag0 = torch.where(
            d.u(0, 1) < 0.4, d.u(-0.06, 0.12), torch.where(d.u(0, 1) < 0.75, d.u(0.1, 0.42), d.u(0.4, 0.62))
        )
        grow = d.u(0.0, 0.3)
        high = size * torch.where(d.some(0.3) > 0, d.u(0.25, 0.5), d.u(0.45, 0.85))
        half = (high * d.log(0.14, 0.62)).clamp(max=0.46 * size)
        theta = d.normal(0.035) * torch.where(d.some(0.12) > 0, 3.0, 1.0)
        cx = size * (0.5 + d.u(-0.5, 0.5) * (1 - 2 * half / size).clamp(min=0))
        floor = size * (0.5 + d.u(-0.3, 0.35)) + high / 2
        floor = torch.minimum(floor, torch.full_like(floor, 0.985 * size))
        power = torch.where(d.some(0.18) > 0, d.u(2.2, 7), torch.full_like(cx, 2.0))
        outline = self.outline(d)
        has_cap, cap_at, cap_high = d.some(0.42), d.u(0.9, 1.06), d.log(0.06, 0.4)
        cap_wide = d.u(0.98, 1.2)
        knots = torch.linspace(_LOW, _HIGH, _KNOTS, device=self.device)[None]
        mouth = self._radius(outline, torch.ones(n, 1, device=self.device)) * cap_wide.reshape(n, 1)
        over = (knots > cap_at.reshape(n, 1)) & (has_cap.reshape(n, 1) > 0)
        outline = torch.where(over, mouth.expand_as(outline), outline)

        dx, dy = self.x - cx, self.y - floor
        u = dx * torch.cos(theta) + dy * torch.sin(theta)
        v = -dx * torch.sin(theta) + dy * torch.cos(theta)

        def sag(t: Tensor) -> Tensor:
            return sag0 + grow * (0.5 - t)

        def arc(r: Tensor) -> Tensor:
            z = (u / (half * r)).abs().clamp(max=1)
            return (1 - z**power).clamp(min=0) ** (1 / power)

        near, far, side = (-v / high for _ in range(3))
        bore = self.bore(d, outline, high / half)  # of the glass: the contents' outline

        def heights(
            of: Tensor, first: Tensor, second: Tensor, third: Tensor
        ) -> tuple[Tensor, Tensor, Tensor]:
            """Heights on the near wall, on the far wall, and where the outline is straight beside the place."""
            for _ in range(4):
                r1, r2, r3 = (self._radius(of, t) for t in (first, second, third))
                first = (-v - sag(first) * half * r1 * (1 - arc(r1))) / high
                second = (-v - sag(second) * half * r2 * (1 + arc(r2))) / high
                third = (-v - sag(third) * half * r3) / high
            return first, second, third

        outer, rim_far, side = heights(outline, near, far, side)
        near, far, side_in = heights(bore, outer, rim_far, side)
        z = u / (half * self._radius(outline, outer))
        soft = d.log(0.5, 2.5)
        inside = step(half * self._radius(outline, side) - u.abs(), soft)  # within the outline, low and high
        filled = step(half * self._radius(bore, side_in) - u.abs(), soft)

        base = torch.where(d.some(0.12) > 0, d.u(0.15, 0.5), d.log(0.012, 0.3))
        full = torch.where(d.some(0.12) > 0, d.u(0.93, 0.99), d.u(0.25, 0.92))  # height of the surface
        foamy = d.some(0.24)
        foam = foamy * torch.minimum(d.log(0.01, 0.4), (1.04 - full).clamp(min=0.005))

        back = self.backdrop(d, floor, high)
        shade = torch.exp(
            -(((u - half * d.u(-1, 1)) / (half * d.u(0.8, 2.0))) ** 2)
            - ((v - half * 0.1) / (half * d.u(0.1, 0.5))) ** 2
        )
        x = back * (1 - shade * d.u(0, 0.7))

        # what is seen through the contents: the backdrop turned round, by a round vessel upside down too
        kx, ky = d.u(0.15, 1.3), torch.where(d.some(0.15) > 0, d.u(-0.9, -0.2), d.u(0.4, 1.1))
        gx = cx - kx * u + d.normal(0.02) * size
        gy = floor - high / 2 + ky * (self.y - floor + high / 2)
        grid = torch.stack([(2 * gx / size - 1)[:, 0], (2 * gy / size - 1)[:, 0]], -1)
        through = tf.grid_sample(x, grid, padding_mode="reflection", align_corners=False)
        through = torch.where(d.some(0.5) > 0, blur(through, 5), through) * d.u(0.55, 1.1) + d.u(0, 0.12)

        # contents
        count = torch.randint(1, 4, (n,), device=self.device)
        count = torch.where(torch.rand(n, device=self.device) < 0.4, torch.ones_like(count), count)
        cut = torch.sort(torch.rand(n, 2, device=self.device) * 0.92 + 0.03, 1).values
        thin = torch.rand(n, 2, device=self.device)
        cut[:, 0] = torch.where(thin[:, 0] < 0.3, 0.015 + 0.1 * torch.rand(n, device=self.device), cut[:, 0])
        cut[:, 1] = torch.where(
            thin[:, 1] < 0.3, 1 - 0.015 - 0.15 * torch.rand(n, device=self.device), cut[:, 1]
        )
        cut = torch.sort(cut, 1).values
        there = torch.arange(2, device=self.device)[None] < (count - 1)[:, None]
        there[:, 1] &= cut[:, 1] - cut[:, 0] > 0.04
        colours = [d.colour()]
        for _ in range(2):
            way = torch.nn.functional.normalize(torch.randn(n, 3, 1, 1, device=self.device), dim=1)
            near_by = colours[-1] + way * d.log(0.06, 0.5)
            colours.append(torch.where(d.some(0.65) > 0, near_by, d.colour()).clamp(0.01, 1))
        stuffs = [self.stuff(d, c) for c in colours]
        whole = d.some(0.35)  # a jar of one clear liquid, or clear over a bed, often
        alpha = [torch.where(d.some(p) > 0, d.u(0.0, 0.5) ** 1.5, d.u(0.75, 1.0)) for p in (0.4, 0.5, 0.4)]
        alpha = [mix(a, a * 0.3, whole * (k != 0)) for k, a in enumerate(alpha)]
        tint = [mix(torch.ones_like(c), c, d.u(0, 0.9)) for c in colours]
        levels = [cut[:, k][:, None, None, None] * full for k in (0, 1)]
        shown = [there[:, k].float()[:, None, None, None] for k in (0, 1)]
        ends = [mix(full, levels[0], shown[0]), mix(full, levels[1], shown[1])]

        lit = 1 - d.u(0, 0.6) * z.abs().clamp(0, 1) ** d.u(1, 7) + d.u(-0.25, 0.25) * z.clamp(-1, 1)
        inner = through  # floor and tops of layers, seen from above through what is clear
        line = d.log(0.6, 3) / high
        floor_disc = step(near, line) * step(-far, line)
        ring = (u / half) ** 2 + ((v + sag(near * 0) * half) / (sag(near * 0).abs() * half + 1)) ** 2
        rings = torch.sin(ring.clamp(0, 4).sqrt() * d.u(3, 25)) * d.u(0, 0.25) * d.some(0.5)
        inner = mix(inner, (inner * d.u(0.4, 1.4) + d.u(-0.1, 0.25) + rings), floor_disc * d.u(0, 1))
        for k in range(2):
            disc = step(near - ends[k], line) * step(ends[k] - far, line) * shown[k] * alpha[k].clamp(min=0.2)
            inner = mix(inner, stuffs[k] * d.u(0.6, 1.5) + d.u(-0.1, 0.15), disc)
        parts = [mix(inner * tint[k], stuffs[k], alpha[k]) for k in range(3)]
        liquid = parts[0]
        ragged = self.noise(n, 2, 12) * d.u(0, 1) ** 3 * 0.03 + self.noise(n, 2, 40) * d.u(0, 1) ** 4 * 0.02
        for k in range(2):
            soft_k = torch.where(d.some(0.15) > 0, d.log(0.02, 0.12), d.log(0.6, 3) / high)
            m = step(near + ragged * (0.6 if k else 1.0) - ends[k], soft_k) * shown[k]
            rag = d.some(0.06) * self.noise(n, 30) * 0.05  # a band of scum at the boundary
            m2 = torch.exp(-(((near - ends[k]) / (d.u(0.005, 0.02))) ** 2)) * shown[k] * d.some(0.12)
            liquid = mix(liquid, parts[k + 1], m)
            liquid = liquid + m2 * (d.u(-0.3, 0.4) + rag)
        solids = self._blobs(d, u / half, near / full, d.u(0, 1), 5) * d.some(0.1)
        liquid = mix(liquid, d.colour() + self.noise(n, 60) * 0.1, solids * d.u(0.4, 1))
        bubbles = step(self.noise(n, size // 7) - d.u(1.6, 2.6), 0.08) * d.some(0.12)
        liquid = liquid + bubbles * d.u(-0.2, 0.5)
        liquid = liquid * lit

        # headspace: glass over the backdrop, film and drops on the wall
        head = mix(x, through, d.u(0, 0.4)) * d.u(0.65, 1.05) + d.u(0, 0.2) * d.some(0.6)
        above = ((near - full) / (1.01 - full).clamp(min=0.02)).clamp(0, 1)
        film = step(
            self.noise(n, 30, 10) + self.noise(n, 90, 60) * 0.5 - above * d.u(1, 5) + d.u(-0.5, 0.8), 0.3
        )
        head = mix(head, colours[2] * d.u(0.6, 1.2) + d.u(0, 0.1), film * d.some(0.35) * d.u(0.1, 0.95))
        drops = step(self.noise(n, size // 8) - d.u(1.3, 2.4), 0.08)
        head = head + drops * d.some(0.3) * d.u(-0.3, 0.5)
        fog = d.some(0.3) * d.u(
            0.1, 0.85
        )  # a headspace that looks much like the contents: only the surface's edge tells
        head = mix(head, mix(parts[0], parts[2], shown[1]) * d.u(0.8, 1.2) + d.u(-0.05, 0.15), fog)
        thread = torch.sin(outer / d.u(0.01, 0.03) * 6.28) * step(outer - d.u(0.8, 1.0), 0.01)
        head = head * (1 + thread * d.some(0.15) * d.u(0.05, 0.3)) * (1 + (lit - 1) * 0.5)

        # the face of the contents, from above or from below
        face_up = step(near - full, line) * step(full - far, line)
        top_alpha = torch.where(shown[1] > 0, alpha[2], torch.where(shown[0] > 0, alpha[1], alpha[0]))
        top_part = torch.where(shown[1] > 0, stuffs[2], torch.where(shown[0] > 0, stuffs[1], stuffs[0]))
        face = mix(
            head * d.u(0.5, 1.2) + d.u(-0.1, 0.2), top_part * d.u(0.5, 1.4) + d.u(-0.1, 0.2), top_alpha
        )
        face = mix(face, self.patch(n, 0.2, 1.0) * d.u(0.4, 1), d.u(0, 0.5) * d.some(0.4))
        inside_of_it = mix(head, face, face_up)
        face_down = step(full - near, line) * step(far - full, line)
        below = liquid * d.u(0.6, 1.5) + d.u(-0.1, 0.2)
        liquid = mix(liquid, below, face_down * (1 - top_alpha))

        under = step(full - near, d.log(0.6, 3) / high)
        pane = mix(head, through * d.u(0.6, 1.3) + d.u(-0.2, 0.2), d.u(0, 1))  # the wall beside the contents
        glass = mix(inside_of_it, mix(pane, liquid, filled), under)
        meniscus = torch.exp(-(((near - full - d.u(-0.012, 0.012)) / d.log(0.003, 0.02)) ** 2))
        glass = glass + meniscus * d.some(0.7) * d.u(-0.5, 0.5)
        far_line = torch.exp(-(((far - full) / (0.8 * line)) ** 2)) * (near > full)
        glass = glass + far_line * d.some(0.5) * d.u(-0.3, 0.5)

        pale = 1 - (1 - colours[2]) * d.u(0, 0.6)
        froth = mix(pale, colours[2], d.some(0.3) * d.u(0.3, 1)) + self.noise(n, size // 4) * d.u(0, 0.12)
        froth = froth * (1 - step(self.noise(n, size // d_int(6, 16)) - d.u(1, 2), 0.1) * d.u(0, 0.5)) * lit
        top = full + foam
        foam_on = foamy * step(near - full, d.log(0.6, 3) / high) * step(top + ragged - far, line)
        foam_on = foam_on * torch.maximum(step(top + ragged - near, line), step(near - top, line))
        glass = mix(glass, froth * torch.where(near > top, d.u(0.8, 1.2), torch.ones_like(near)), foam_on)

        ice = self._blobs(d, u / half, near / full, torch.ones_like(full), 4) * d.some(0.1)
        edge = (ice - blur(ice, 5)).abs() * 3
        glass = mix(glass, glass * 0.5 + d.u(0.2, 0.5), ice * d.u(0.2, 0.9)) + edge * d.u(-0.3, 0.4)

        # base, foot and what the contents lend them
        lent = mix(through.flip(2) * d.u(0.5, 1.3), parts[0] * d.u(0.5, 1.2), d.u(0, 0.85))
        bands = torch.sin(outer / d.u(0.015, 0.12) * 6.28 + d.u(0, 6)) * d.u(0, 0.35) * d.some(0.5)
        ribs = torch.sin(torch.asin(z.clamp(-0.999, 0.999)) * d.u(5, 40)) * d.u(0, 0.3) * d.some(0.4)
        heel = mix(lent, d.colour() + 0 * near, d.u(0, 0.6)) + bands + ribs + d.u(-0.15, 0.15)
        heel = heel + torch.exp(-(((z - d.u(-0.5, 0.5)) / 0.3) ** 2)) * d.u(-0.2, 0.5) * d.some(0.6)
        on_base = step(-near, d.log(0.6, 4) / high)
        glass = mix(glass, heel, on_base)
        floor_line = torch.exp(-(((near + d.u(0, 0.01)) / d.log(0.003, 0.012)) ** 2)) * filled
        glass = glass + floor_line * d.some(0.5) * d.u(-0.4, 0.4)
        foot_line = torch.exp(-(((outer + base) / d.log(0.004, 0.03)) ** 2))
        glass = glass + foot_line * d.some(0.6) * d.u(-0.5, 0.4)

        # walls, ribs, marks, labels, glare
        wall = torch.exp(-(((z.abs() - d.u(0.9, 1.0)) / d.log(0.015, 0.08)) ** 2))
        glass = glass + wall * d.u(-0.6, 0.4)
        stripe = torch.sin(torch.asin(z.clamp(-0.999, 0.999)) * d.u(6, 30)) * d.u(0.03, 0.25)
        glass = glass * (1 + stripe * d.some(0.12) * step(d.u(-0.2, 1.2) - outer, 0.02))
        hoops = torch.sin(outer / d.u(0.02, 0.1) * 6.28 + d.u(0, 6)) * d.u(0.03, 0.3)
        glass = glass * (1 + hoops * d.some(0.1) * (1 - 0.3 * z**2))
        glass = self._marked(d, glass, z, outer)
        for _ in range(3):
            spot = torch.exp(-(((z - d.u(-1, 1)) / d.log(0.02, 0.2)) ** 2))
            spot = spot * step(outer - d.u(-0.3, 0.8), 0.02) * step(d.u(0.2, 1.2) - outer, 0.02)
            glass = mix(glass, d.u(0.7, 1.1) + 0 * glass, spot * d.some(0.35) * d.u(0, 0.8))
        lean, at_u = d.u(-0.8, 0.8), d.u(-0.5, 0.5)
        straw = step(d.u(0.03, 0.12) - (u / half - at_u - lean * (near - 0.5)).abs(), 0.02)
        broken = step(d.u(0.03, 0.12) - (u / half - at_u * 1.3 - lean * 1.2 * (near - 0.45)).abs(), 0.02)
        stick = mix(straw, broken * d.u(0.2, 0.9), under)
        stick = stick * step(near - d.u(-0.05, 0.6), 0.01) * d.some(0.1)
        stick_colour = d.colour()
        glass = mix(glass, stick_colour * lit, stick)

        # rim and cap over it, and out into the picture
        rim = torch.exp(-(((outer - 1) / (0.9 * line)) ** 2)) + torch.exp(
            -(((rim_far - 1) / (0.9 * line)) ** 2)
        )
        glass = glass + rim * d.some(0.8) * d.u(-0.4, 0.5)
        cap_c = (
            d.colour() * (1 + torch.sin(torch.asin(z.clamp(-0.999, 0.999)) * d.u(10, 60)) * d.u(0, 0.3)) * lit
        )
        cap_c = cap_c + bands * 0.3
        capped = has_cap * step(outer - cap_at, 0.7 / high)
        cap_top = cap_at + cap_high
        glass = mix(glass, torch.where(outer > cap_top, cap_c * d.u(0.9, 1.4), cap_c), capped)
        last = torch.where(has_cap > 0, cap_top, torch.ones_like(cap_top))
        on = inside * step(outer + base, d.log(0.5, 2) / high) * step(last - rim_far, d.log(0.5, 2) / high)
        clear_in_head = (1 - under) * (1 - has_cap * step(near - cap_at, 0.01)) * (near > full).float()
        handle = self._handle(d, u / half, outer)
        x = mix(x, mix(through, d.colour() * d.u(0.3, 1), d.u(0, 1)), handle * d.some(0.12))
        x = mix(x, glass, on * (1 - clear_in_head * d.u(0, 0.25)))
        x = mix(
            x,
            stick_colour,
            straw * step(near - 1, 0.01) * (stick.amax((2, 3), keepdim=True) > 0.5) * step(1.4 - near, 0.01),
        )

        points, tops, kinds, geometry = self._truth(
            d, cx, floor, theta, high, half, bore, sag, full, foam, foamy, ends, shown, alpha
        )
        beside = torch.roll(torch.cat([x, on], 1), 1, 0)
        far_off = (d.u(2.1, 3.2) * half * torch.where(d.some(0.5) > 0, 1.0, -1.0)).round()
        x = self._neighbour(d, x, on, beside, far_off)
        x = x.clamp(0, 1)
        seen = self._told(x, near, z, ends, shown)
        keep = seen & (points[:, 0, :2].amin((1, 2)) > 4) & (points[:, 0, :2].amax((1, 2)) < size - 4)
        wet = (on > 0.5) & (near < full) & (near > 0) & (filled > 0.5)
        mask = torch.where(wet, 5, torch.where(on > 0.5, 1, 0))
        names = kinds[:, 0, :3, None, None, None]  # of the layers from the floor up
        for k, (lo, hi) in enumerate(((0 * full, ends[0]), (ends[0], ends[1]), (ends[1], full))):
            here = wet & (near >= lo) & (near < hi)
            mask = torch.where(here & (names[:, k] == 4), 6, torch.where(here & (names[:, k] == 2), 4, mask))
        mask = torch.where((on > 0.5) & (face_up > 0.5) & (top_alpha > 0), 2, mask)
        mask = torch.where((on > 0.5) & (foam_on > 0.5), 3, mask)[:, 0]
        return Made(
            image=(x[keep] * 255).round().to(torch.uint8), mask=mask[keep].to(torch.uint8), points=points[keep],
            tops=tops[keep], kinds=kinds[keep], geometry=geometry[keep],
        )  # fmt: skip

    def _blobs(self, d: _Draw, a: Tensor, b: Tensor, at: Tensor, count: int) -> Tensor:
        out = torch.zeros_like(a)
        for _ in range(count):
            ra, rb = d.log(0.1, 0.45), d.log(0.05, 0.25)
            here = ((a - d.u(-0.8, 0.8)) / ra) ** 2 + ((b - at - d.normal(0.06)) / rb) ** 2
            out = torch.maximum(out, step(1 - here, 0.15) * d.some(0.7))
        return out

    def _marked(self, d: _Draw, x: Tensor, z: Tensor, t: Tensor) -> Tensor:
        """Labels, printed and embossed marks on the near wall."""
        pitch, left, long = d.u(0.04, 0.15), d.u(-0.7, 0.4), d.u(0.1, 0.6)
        tick = ((t / pitch % 1) < 0.08).float() * ((z > left) & (z < left + long)).float()
        tick = tick * ((t > d.u(-0.05, 0.3)) & (t < d.u(0.5, 1.0))).float()
        x = mix(x, d.u(0, 1) + 0 * x, tick * d.some(0.22) * d.u(0.3, 1))
        word = (((t / d.u(0.03, 0.1)) % 1) < 0.5).float() * step(self.noise(d.n, 70) - 0.1, 0.1)
        word = (
            word * ((z > left - 0.2) & (z < left + 0.5) & (t > d.u(0.2, 0.6)) & (t < d.u(0.5, 0.9))).float()
        )
        x = x + word * d.some(0.15) * d.u(-0.4, 0.5)
        left, low = d.u(-1, 0.6), d.u(-0.05, 0.7)
        here = ((z > left) & (z < left + d.u(0.3, 1.8)) & (t > low) & (t < low + d.log(0.08, 0.5))).float()
        paper = mix(self.patch(d.n, 0.2, 1.0), d.u(0.4, 1.0) + 0 * x, d.u(0.2, 1))
        paper = mix(
            paper,
            paper * 0.3,
            word * 0 + (((t / d.u(0.02, 0.06)) % 1 < 0.4) & (self.noise(d.n, 64) > 0)).float(),
        )
        return mix(x, paper, here * d.some(0.2))

    def _handle(self, d: _Draw, a: Tensor, t: Tensor) -> Tensor:
        side = torch.where(d.some(0.5) > 0, 1.0, -1.0)
        ra, rb, thick = d.u(0.3, 0.7), d.u(0.2, 0.4), d.u(0.08, 0.2)
        rho = (((a * side - 1) / ra) ** 2 + ((t - d.u(0.4, 0.6)) / rb) ** 2).sqrt()
        return step(thick / ra - (rho - 1).abs(), 0.05) * (a * side > 0.9).float()

    def _neighbour(self, d: _Draw, x: Tensor, on: Tensor, other: Tensor, by: Tensor) -> Tensor:
        """Another vessel beside or behind this one, in some."""
        shift = torch.zeros(d.n, 2, 3, device=self.device)
        shift[:, 0, 0] = shift[:, 1, 1] = 1
        shift[:, 0, 2] = (2 * by / self.size).reshape(-1)
        moved = tf.grid_sample(
            other, tf.affine_grid(shift, list(other.shape), align_corners=False), align_corners=False
        )
        return mix(x, moved[:, :3], moved[:, 3:] * (1 - on) * d.some(0.15))

    def _told(self, x: Tensor, near: Tensor, z: Tensor, ends: list[Tensor], shown: list[Tensor]) -> Tensor:
        """Whether both sides of every boundary differ in what is seen."""
        ok = torch.ones(len(x), dtype=torch.bool, device=self.device)
        inner = z.abs() < 0.6
        fine = (x - blur(x, 5)).abs().mean(1, keepdim=True)
        for k in range(2):
            side = []
            for lo, hi in ((-0.05, -0.008), (0.008, 0.05)):
                m = ((near - ends[k] > lo) & (near - ends[k] < hi) & inner).float()
                area = m.sum((2, 3)).clamp(min=1)
                side.append(torch.cat([(x * m).sum((2, 3)) / area, (fine * m).sum((2, 3)) / area * 2], 1))
            differ = (side[0] - side[1]).abs().amax(1) > _SEEN
            ok &= differ | (shown[k].reshape(-1) == 0)
        return ok

    def _truth(
        self, d: _Draw, cx: Tensor, floor: Tensor, theta: Tensor, high: Tensor, half: Tensor, outline: Tensor,
        sag: Any, full: Tensor, foam: Tensor, foamy: Tensor, ends: list[Tensor], shown: list[Tensor], alpha: list[Tensor],
    ) -> tuple[Tensor, Tensor, Tensor, Tensor]:  # fmt: skip
        n = d.n

        def at(u: Tensor, v: Tensor) -> Tensor:
            px = cx + u * torch.cos(theta) - v * torch.sin(theta)
            py = floor + u * torch.sin(theta) + v * torch.cos(theta)
            return torch.stack([px.reshape(n), py.reshape(n)], -1)

        def radius(t: Tensor) -> Tensor:
            return half * self._radius(outline, t.reshape(n, 1)).reshape(n, 1, 1, 1)

        zero = torch.zeros_like(full)
        mid = full / 2
        r, top = radius(mid), full + foam
        low = -mid * high - sag(mid) * r
        points = torch.stack(
            [
                at(zero, -full * high), at(zero, zero), at(zero, -high), at(-r, low), at(r, low),
                at(zero, -full * high - 2 * sag(full) * radius(full)), at(zero, -top * high),
            ],
            1,
        )  # fmt: skip
        tops = torch.full((n, 2, 6, 2), math.nan, device=self.device)
        kinds = torch.zeros(n, 2, 6, dtype=torch.long, device=self.device)
        nan = torch.full((n, 2, 7, 2), math.nan, device=self.device)
        nan[:, 0] = points
        two, three = shown[0].reshape(n) > 0, shown[1].reshape(n) > 0
        share = [(e / full).reshape(n) for e in ends]
        thick = [a.reshape(n) for a in alpha]
        bed = two & (share[0] < 0.6) & (thick[0] >= 0.5)
        last = torch.where(three, 1 - share[1], 1 - share[0])
        floats = (three | (two & ~bed)) & (last < 0.35)
        kind0 = torch.where(bed, 4, 3)
        kind1 = torch.where(~three & floats, 2, 3)
        kind2 = torch.where(floats, 2, 3)
        seq_k = [kind0, torch.where(two, kind1, 0), torch.where(three, kind2, 0)]
        seq_t = [at(zero, -torch.where(shown[0] > 0, ends[0], full) * high),
                 at(zero, -torch.where(shown[1] > 0, ends[1], full) * high), at(zero, -full * high)]  # fmt: skip
        for j in range(3):
            tops[:, 0, j] = torch.where((seq_k[j] > 0)[:, None], seq_t[j], tops[:, 0, j])
            kinds[:, 0, j] = seq_k[j]
        # foam goes into the first free place
        free = 1 + two.long() + three.long()
        rows = torch.arange(n, device=self.device)
        has = foamy.reshape(n) > 0
        tops[rows[has], 0, free[has]] = at(zero, -top * high)[has]
        kinds[rows[has], 0, free[has]] = 1
        width = r.reshape(n)
        geometry = torch.stack(
            [
                at(zero, -mid * high)[:, 0], width / torch.cos(theta).reshape(n), points[:, 1, 1], points[:, 0, 1],
                torch.tan(theta).reshape(n), (sag(zero) * radius(zero)).reshape(n) / width,
                (sag(full) * radius(full)).reshape(n) / width,
            ],
            1,
        )  # fmt: skip
        return nan, tops, kinds, geometry


def d_int(low: int, high: int) -> int:
    """A whole number, the same for the whole batch."""
    return int(torch.randint(low, high + 1, (1,)))
