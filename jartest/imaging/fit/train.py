"""Fit one of the two networks:  python -m jartest.imaging.fit.train picture|crop OUT --data PATH ... --seconds S.

Everything random comes from --seed.  Left-out sets of vessels (facts.held_out) are never fitted on; the
figures printed are theirs.
"""

from __future__ import annotations

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch.nn import functional as tf

from jartest.imaging.fit.facts import CANVAS, Facts, facts, read, ungrained
from jartest.imaging.fit.nets import CROP_COLS, CROP_ROWS, SIDE, CropNet, PictureNet, folded
from jartest.imaging.fit.truth import Truth

__all__ = ["main"]

Tensor = Any
PAD = 128 / 255


class Data:
    """All pictures as tensors on the device; more may be added later."""

    def __init__(self, device: str) -> None:
        self.device, self.n = device, 0
        self.parts: dict[str, list[Tensor]] = {}
        self.t: dict[str, Tensor] = {}

    def add(self, some: list[Facts]) -> None:
        new = {
            "image": np.stack([f.image for f in some]).transpose(0, 3, 1, 2), "mask": np.stack([f.mask for f in some]),
            "size": np.array([f.size for f in some], np.float32), "points": np.stack([f.points for f in some]),
            "tops": np.stack([f.band_tops for f in some]), "kinds": np.stack([f.band_kinds for f in some]),
            "held": np.array([f.held_out for f in some]), "bait": np.stack([f.bait for f in some]),
            "traced": np.array([f.traced for f in some]),
        }  # fmt: skip
        for k, v in new.items():
            part = torch.from_numpy(np.ascontiguousarray(v)).to(self.device)
            self.t[k] = torch.cat([self.t[k], part]) if k in self.t else part
        self.n += len(some)
        full = self.t["points"][:, 0, 0, 0].isfinite()
        self.fit_jar = (full & ~self.t["held"]).nonzero()[:, 0]
        self.fit_traced = (full & ~self.t["held"] & self.t["traced"]).nonzero()[:, 0]
        self.fit_bait = (self.t["bait"][:, 0, 0, 0].isfinite() & ~self.t["held"]).nonzero()[:, 0]
        self.fit_none = (~full & ~self.t["held"]).nonzero()[:, 0]
        kept = self.t["held"] & (self.t["traced"] | ~full) if len(self.fit_traced) else self.t["held"]
        self.held, self.held_jar = kept.nonzero()[:, 0], (full & kept).nonzero()[:, 0]


def load(paths: list[Path], drawn: range, workers: int) -> list[Facts]:
    """Read pictures and draw more, on several processes."""
    from jartest.imaging.fit.drawn import draw

    if workers < 2:
        drawings = (facts(f"d{i}", *draw(i)) for i in drawn)
        return [f for p in paths for f in _facts_of(p)] + list(drawings)
    with ProcessPoolExecutor(workers) as pool:
        out = [f for some in pool.map(_facts_of, paths) for f in some]
        for i, (img, t) in zip(drawn, pool.map(draw, drawn, chunksize=8), strict=True):
            out.append(facts(f"d{i}", img, t))
    return out


def _facts_of(path: Path) -> list[Facts]:
    cv2.setNumThreads(1)
    return [
        facts(n, ungrained(n, img), t if "bait" in t else t | {"bait": _baits(img, t)})
        for n, img, t in read([path])
    ]


def _baits(image: Any, truth: dict[str, Any]) -> Any:
    from jartest.imaging.fit.bait import baits

    return baits(image, Truth.from_json(truth))


def uniform(g: Tensor, n: int, lo: float, hi: float) -> Tensor:
    return lo + (hi - lo) * torch.rand(n, generator=g, device=g.device)


def normal(g: Tensor, n: int, s: float) -> Tensor:
    return s * torch.randn(n, generator=g, device=g.device)


def warp(d: Data, idx: Tensor, m: Tensor, h: int, w: int) -> tuple[Tensor, Tensor]:
    """Pictures and masks seen through (n, 2, 3) maps from output px to canvas px."""
    k = 2  # sampled twice as fine, then averaged
    ys = (torch.arange(h * k, device=d.device) + 0.5) / k - 0.5
    xs = (torch.arange(w * k, device=d.device) + 0.5) / k - 0.5
    gy, gx = torch.meshgrid(ys, xs, indexing="ij")
    p = torch.stack([gx, gy, torch.ones_like(gx)], -1).reshape(1, -1, 3)
    src = p @ m.transpose(1, 2)
    grid = (2 * (src + 0.5) / CANVAS - 1).reshape(len(idx), h * k, w * k, 2)
    size = d.t["size"][idx][:, None, None]
    xy = src.reshape(len(idx), h * k, w * k, 2)
    ok = ((xy > -0.5) & (xy < size - 0.5)).all(-1)[:, None]
    img = d.t["image"][idx].float() / 255
    img = tf.grid_sample(img, grid, mode="bilinear", padding_mode="border", align_corners=False)
    img = torch.where(ok, img, torch.full_like(img, PAD))
    mask = tf.grid_sample(
        d.t["mask"][idx][:, None].float(), grid[:, ::k, ::k], mode="nearest", align_corners=False
    )
    return tf.avg_pool2d(img, k), mask[:, 0].round().long()


def apply(inv: Tensor, p: Tensor) -> Tensor:
    """(n, ..., 2) canvas points through (n, 2, 3) maps."""
    shape = p.shape
    q = p.reshape(shape[0], -1, 2)
    return (q @ inv[:, :, :2].transpose(1, 2) + inv[:, None, :, 2]).reshape(shape)


def invert(m: Tensor) -> Tensor:
    a = torch.linalg.inv(m[:, :, :2])
    return torch.cat([a, -(a @ m[:, :, 2:])], 2)


def spoil(x: Tensor, g: Tensor) -> Tensor:
    """Other light, lens, sensor and obstacles."""
    n, _, h, w = x.shape
    dev = x.device
    u = lambda lo, hi: uniform(g, n, lo, hi)[:, None, None, None]  # noqa: E731
    some = lambda p: (torch.rand(n, generator=g, device=dev) < p)[:, None, None, None]  # noqa: E731
    yy, xx = torch.meshgrid(torch.arange(h, device=dev), torch.arange(w, device=dev), indexing="ij")
    for _ in range(3):  # obstacles and smears
        cx, cy, rx, ry = u(0, w), u(0, h), u(0.02, 0.16) * w, u(0.02, 0.16) * h
        inside = (((xx - cx) / rx) ** 2 + ((yy - cy) / ry) ** 2 < 1).float()
        colour = torch.rand(n, 3, 1, 1, generator=g, device=dev)
        x = torch.where(some(0.12), x * (1 - inside) + colour * inside, x)
    for _ in range(2):  # glare
        glow = torch.exp(
            -(((xx - u(0, w)) / (u(0.01, 0.2) * w)) ** 2) - ((yy - u(0, h)) / (u(0.03, 0.5) * h)) ** 2
        )
        x = torch.where(some(0.15), x + u(0.1, 0.9) * glow * (1.1 - x), x)
    slope = torch.sin(u(0, 6.3)) * (xx / w - 0.5) + torch.cos(u(0, 6.3)) * (yy / h - 0.5)
    x = x * (1 + u(0, 0.5) * slope)
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * torch.where(some(0.12), u(0, 0.2), u(0.5, 1.5))
    x = torch.where(some(0.1), x[:, torch.randperm(3, generator=g, device=dev)], x)
    gain = torch.exp(0.12 * torch.randn(n, 3, 1, 1, generator=g, device=dev))
    x = (x * gain).clamp(1e-4, 1) ** torch.exp(u(-0.6, 0.6))
    mean = x.mean((1, 2, 3), keepdim=True)
    x = (x - mean) * u(0.55, 1.35) + mean + u(-0.15, 0.15)
    x = torch.where(some(0.3), x * torch.exp(u(-1.1, 0.75)), x).clamp(0, 1)  # under- and overexposed
    coarse = tf.interpolate(tf.avg_pool2d(x, 4), (h, w), mode="bilinear", align_corners=False)
    light, dull = x.mean(1, keepdim=True), coarse.mean(1, keepdim=True)
    x = torch.where(some(0.3), (light + coarse - dull).clamp(0, 1), x)  # colour kept coarsely
    soft = tf.avg_pool2d(tf.pad(x, (2, 2, 2, 2), mode="replicate"), 5, 1)
    mild = tf.avg_pool2d(tf.pad(x, (1, 1, 1, 1), mode="replicate"), 3, 1)
    x = torch.where(some(0.3), mild, x)
    x = torch.where(some(0.12), soft, x)
    x = torch.where(some(0.25), x + u(0.2, 1.0) * (x - mild), x)  # sharpened
    fine = torch.randn(x.shape, generator=g, device=dev)
    coarse = tf.interpolate(torch.randn(n, 3, h // 2, w // 2, generator=g, device=dev), (h, w))
    x = (
        x
        + torch.where(some(0.7), u(0, 0.05), u(0, 0.002)) * fine
        + torch.where(some(0.2), u(0, 0.04), 0 * gain[:, :1]) * coarse
    )
    return x.clamp(0, 1)


def compose(d: Data, x: Tensor, mask: Tensor, m: Tensor, g: Tensor, p: float) -> Tensor:
    """Some of the pictures with their vessels put before another backdrop."""
    n, _, h, w = x.shape
    k = int(n * p)
    if not k or not len(d.fit_none):
        return x
    other = d.fit_none[torch.randint(len(d.fit_none), (k,), generator=g, device=g.device)]
    mm = m[:k].clone()
    mm[:, :, 2] += uniform(g, k, -60, 60)[:, None]
    back = warp(d, other, mm, h, w)[0]
    alpha = tf.avg_pool2d(tf.pad((mask[:k] > 0).float()[:, None], (1, 1, 1, 1), mode="replicate"), 3, 1)
    return torch.cat([x[:k] * alpha + back * (1 - alpha), x[k:]])


def paled(x: Tensor, mask: Tensor, g: Tensor, p: float = 0.5) -> Tensor:
    """Some of the pictures with what floats made paler: cream is as often white as foam is, and has no bubbles."""
    n = len(x)
    share = torch.where(torch.rand(n, generator=g, device=x.device) < p, uniform(g, n, 0.2, 0.9), 0.0)
    floats = tf.avg_pool2d(tf.pad((mask == 4).float()[:, None], (1, 1, 1, 1), mode="replicate"), 3, 1)
    return x + (1 - x) * floats * share[:, None, None, None]


# --------------------------------------------------------------- the whole picture


def picture_maps(d: Data, idx: Tensor, g: Tensor | None) -> Tensor:
    """Maps from 256 x 256 letterboxed px to canvas px, thrown about when fitting."""
    size = d.t["size"][idx]
    n = len(idx)
    s = size.max(1).values / SIDE
    zero = torch.zeros(n, device=d.device)
    centre, a, flip = (size - 1) / 2, zero, torch.ones(n, device=d.device)
    if g is not None:
        s = s * torch.exp(uniform(g, n, -0.55, 0.45))
        centre = centre + torch.stack([normal(g, n, 0.09), normal(g, n, 0.09)], 1) * size
        a = normal(g, n, 0.08)
        flip = torch.where(torch.rand(n, generator=g, device=d.device) < 0.5, -1.0, 1.0)
    c, sn = torch.cos(a) * s, torch.sin(a) * s
    lin = torch.stack([torch.stack([c * flip, -sn], 1), torch.stack([sn * flip, c], 1)], 1)
    mid = torch.full((n, 2, 1), (SIDE - 1) / 2, device=d.device)
    return torch.cat([lin, centre[:, :, None] - lin @ mid], 2)


def picture_targets(d: Data, idx: Tensor, m: Tensor) -> dict[str, Tensor]:
    inv = invert(m)
    pts = apply(inv, d.t["points"][idx])  # n, vessels, 7, 2
    surf, floor, rim, left, right = (pts[:, :, i] for i in range(5))
    half = (right - left).norm(dim=-1) / 2
    cell = (torch.arange(SIDE // 4, device=d.device) * 4 + 1.5).float()
    cy, cx = torch.meshgrid(cell, cell, indexing="ij")
    c = torch.stack([cx, cy], -1)  # 64, 64, 2
    axis = surf - floor
    long = axis.norm(dim=-1).clamp(min=10.0)
    e = axis / axis.norm(dim=-1, keepdim=True).clamp(min=1e-3)
    rel = c[None, None] - ((surf + floor) / 2)[:, :, None, None]
    along = (rel * e[:, :, None, None]).sum(-1) / long[:, :, None, None]
    across = (rel[..., 0] * e[:, :, None, None, 1] - rel[..., 1] * e[:, :, None, None, 0]) / half.clamp(
        min=4
    )[:, :, None, None]
    heat = torch.exp(-0.5 * (along / 0.22) ** 2 - 0.5 * (across / 0.4) ** 2)
    middle = (surf + floor) / 2
    seen = (middle > 0).all(-1) & (middle < SIDE).all(-1) & (half > 3)
    src = d.t["points"][idx]
    mid_src = (src[:, :, 0] + src[:, :, 1]) / 2
    size = d.t["size"][idx][:, None]
    seen &= (mid_src > 0).all(-1) & (mid_src < size).all(-1)
    heat = torch.where(seen[:, :, None, None], heat, torch.zeros_like(heat)).nan_to_num(0.0)
    best, which = heat.max(1)

    def pick(v: Tensor) -> Tensor:  # of the vessel that each cell belongs to
        cells = which.reshape(len(idx), -1, *[1] * (v.dim() - 2)).expand(-1, -1, *v.shape[2:])
        return v.gather(1, cells).reshape(len(idx), *which.shape[1:], *v.shape[2:])

    lengths = torch.cat([(pick(q) - c) / 64 for q in (surf, floor, rim)] + [(pick(half) / 64)[..., None]], -1)
    scale = pick(long + 2 * half) / 64
    return {"heat": best, "lengths": lengths.nan_to_num(0.0), "scale": scale.nan_to_num(1.0).clamp(min=0.2)}


def picture_loss(out: Tensor, mask: Tensor, t: dict[str, Tensor]) -> Tensor:
    out = out.float()
    ce = tf.cross_entropy(out[:, :7], mask[:, 2::4, 2::4], label_smoothing=0.02)
    z, y = out[:, 7], t["heat"]
    focal = (tf.binary_cross_entropy_with_logits(z, y, reduction="none") * (z.sigmoid() - y).abs() ** 2).sum()
    focal = focal / (y > 0.5).sum().clamp(min=1)
    weight = y * (y > 0.3)
    err = tf.smooth_l1_loss(out[:, 8:].permute(0, 2, 3, 1), t["lengths"], reduction="none", beta=0.05)
    w = torch.tensor([1, 1, 1, 1, 0.3, 0.3, 1.0], device=out.device)
    reg = ((err * w).sum(-1) / t["scale"] * weight).sum() / weight.sum().clamp(min=1)
    return ce + 0.5 * focal + 2.0 * reg


def picture_check(net: Any, d: Data) -> dict[str, float]:
    """Figures on the left-out vessels: found, false finds, surface and floor error in % of the column."""
    errors, peak_yes, peak_no = [], [], []
    for part in d.held.split(64):
        m = picture_maps(d, part, None)
        x, mask = warp(d, part, m, SIDE, SIDE)
        t = picture_targets(d, part, m)
        out = net(x).float()
        p = out[:, 7].sigmoid().flatten(1)
        peak, at = p.max(1)
        yes = t["heat"].flatten(1).max(1).values > 0.6
        none = ~d.t["points"][part][:, 0, 0, 0].isfinite()
        ln = out[:, 8:].flatten(2).gather(2, at[:, None, None].expand(-1, 7, 1))[:, :, 0]
        tr = t["lengths"].reshape(len(part), -1, 7).gather(1, at[:, None, None].expand(-1, 1, 7))[:, 0]
        col = (tr[:, :2] - tr[:, 2:4]).norm(dim=1).clamp(min=0.05)
        e = torch.stack([(ln[:, 1] - tr[:, 1]).abs() / col, (ln[:, 3] - tr[:, 3]).abs() / col], 1)
        errors.append(e[yes])
        peak_yes.append(peak[yes])
        peak_no.append(peak[none])
        del mask
    e, a, b = torch.cat(errors) * 100, torch.cat(peak_yes), torch.cat(peak_no)
    q = lambda v, p: round(float(v.quantile(p)), 2) if len(v) else float("nan")  # noqa: E731
    return {
        "jars": len(a), "found": round(float((a > 0.5).float().mean()), 3) if len(a) else float("nan"),
        "none": len(b), "false": round(float((b > 0.5).float().mean()), 3) if len(b) else float("nan"),
        "surface_50": q(e[:, 0], 0.5), "surface_95": q(e[:, 0], 0.95), "floor_50": q(e[:, 1], 0.5),
        "floor_95": q(e[:, 1], 0.95),
    }  # fmt: skip


# --------------------------------------------------------------- the jar


def crop_maps(d: Data, idx: Tensor, which: Tensor, g: Tensor, jitter: float, what: str = "points") -> Tensor:
    """Maps from crop px to canvas px for one vessel (or bait) of each picture, thrown about."""
    n = len(idx)
    p = d.t[what][idx, which]
    surf, floor, rim, left, right = (p[:, i] for i in range(5))
    col = surf - floor
    u = torch.rand(n, generator=g, device=d.device)
    close = floor + col * (1 + uniform(g, n, 0.15, 0.6)[:, None])
    whole = rim
    top = torch.where(
        (u < 0.45)[:, None],
        close,
        torch.where(
            (u < 0.8)[:, None],
            whole,
            close + (whole - close) * torch.rand(n, 1, generator=g, device=d.device),
        ),
    )
    inside = torch.minimum(((top[:, 1] - floor[:, 1]).abs() + 1e-3), floor[:, 1].clamp(min=8) + 12) / (
        (top[:, 1] - floor[:, 1]).abs() + 1e-3
    )
    top = floor + (top - floor) * inside.clamp(max=1)[:, None]
    axis = top - floor
    length = axis.norm(dim=1).clamp(min=8)
    half = ((right - left).norm(dim=1) / 2).clamp(min=3)
    a = torch.atan2(axis[:, 0], -axis[:, 1]) + normal(g, n, 0.04 * jitter)
    down = torch.stack([-torch.sin(a), torch.cos(a)], 1)
    side = torch.stack([torch.cos(a), torch.sin(a)], 1)
    wild = torch.where(torch.rand(n, generator=g, device=d.device) < 0.12, 3.0, 1.0) * jitter
    below = uniform(g, n, 0.1, 0.3) + normal(g, n, 0.04) * wild
    above = uniform(g, n, 0.02, 0.16) + normal(g, n, 0.05) * wild
    start = top - down * (above * length)[:, None] + side * (normal(g, n, 0.08) * wild * half)[:, None]
    length = length * (1 + below + above)
    wide = 2.7 * half * torch.exp(normal(g, n, 0.12) * jitter)
    flip = torch.where(torch.rand(n, generator=g, device=d.device) < 0.5, -1.0, 1.0)
    ex = side * (wide / CROP_COLS * flip)[:, None]
    ey = down * (length / CROP_ROWS)[:, None]
    at = start + 0.5 * ey - side * (wide * flip * (0.5 - 0.5 / CROP_COLS))[:, None]
    return torch.stack([ex, ey, at], 2)


def loose_maps(d: Data, idx: Tensor, g: Tensor) -> Tensor:
    """Maps for crops anywhere."""
    n = len(idx)
    size = d.t["size"][idx]
    length = uniform(g, n, 0.2, 1.1) * size[:, 1]
    wide = length * torch.exp(uniform(g, n, -1.6, 0.3))
    a = normal(g, n, 0.05)
    down, side = torch.stack([-torch.sin(a), torch.cos(a)], 1), torch.stack([torch.cos(a), torch.sin(a)], 1)
    mid = size * torch.rand(n, 2, generator=g, device=d.device)
    ex, ey = side * (wide / CROP_COLS)[:, None], down * (length / CROP_ROWS)[:, None]
    return torch.stack([ex, ey, mid - ex * CROP_COLS / 2 - ey * CROP_ROWS / 2], 2)


def bait_maps(d: Data, idx: Tensor, g: Tensor) -> Tensor:
    """Maps for crops where the finder as it stood saw a jar that is none."""
    there = d.t["bait"][idx, :, 0, 0].isfinite().sum(1)
    which = (torch.rand(len(idx), generator=g, device=d.device) * there).long()
    return crop_maps(d, idx, which, g, 1.0, "bait")


def crop_targets(d: Data, idx: Tensor, which: Tensor, m: Tensor, is_jar: Tensor) -> dict[str, Tensor]:
    inv = invert(m)
    src = d.t["points"][idx, which]
    p = apply(inv, src)
    tops = apply(inv, d.t["tops"][idx, which])[..., 1]  # n, bands
    kinds = d.t["kinds"][idx, which]
    size = d.t["size"][idx][:, None]
    rows = torch.stack([p[:, 0, 1], p[:, 1, 1], p[:, 5, 1], p[:, 6, 1]], 1)
    at = torch.stack([src[:, 0], src[:, 1], src[:, 5], src[:, 6]], 1)
    seen = (at > -1).all(-1) & (at < size).all(-1) & (rows > 0) & (rows < CROP_ROWS - 1) & is_jar[:, None]
    r = torch.arange(CROP_ROWS, device=d.device).float()
    cls = torch.full((len(idx), CROP_ROWS), 5, device=d.device)
    cls = torch.where(r[None] <= rows[:, 1:2], torch.zeros_like(cls), cls)
    bottom = rows[:, 1:2]
    edge = torch.zeros(len(idx), CROP_ROWS, device=d.device)
    for j in range(tops.shape[1]):
        t = tops[:, j : j + 1]
        band = (r[None] <= bottom) & (r[None] > t) & (kinds[:, j : j + 1] > 0)
        cls = torch.where(band, kinds[:, j : j + 1], cls)
        if j + 1 < tops.shape[1]:
            inner = (kinds[:, j + 1 : j + 2] > 1) & (kinds[:, j : j + 1] > 0)
            there = torch.exp(
                -0.5 * ((r[None] - t) / 1.3) ** 2
            )  # not a number where there is no band: never multiplied
            edge = torch.where(inner, torch.maximum(edge, there), edge)
        bottom = torch.where(kinds[:, j : j + 1] > 0, t, bottom)
    cols = torch.stack([p[:, 3, 0], p[:, 4, 0]], 1)
    cols = torch.stack([cols.min(1).values, cols.max(1).values], 1)
    side = torch.stack([src[:, 3], src[:, 4]], 1)
    cols_seen = (
        (cols > 0) & (cols < CROP_COLS - 1) & (side > 0).all(-1) & (side < size).all(-1) & is_jar[:, None]
    )
    return {
        "rows": rows.nan_to_num(0.0), "seen": seen, "cls": cls, "edge": edge.nan_to_num(0.0), "cols": cols.nan_to_num(0.0),
        "cols_seen": cols_seen, "jar": is_jar,
    }  # fmt: skip


def _peaks(logits: Tensor, at: Tensor, seen: Tensor, sigma: float) -> Tensor:
    k = torch.arange(logits.shape[-1], device=logits.device).float()
    want = torch.exp(-0.5 * ((k - at[..., None]) / sigma) ** 2)
    want = want / want.sum(-1, keepdim=True).clamp(min=1e-6)
    ce = -(want * logits.log_softmax(-1)).sum(-1)
    return (ce * seen).sum() / seen.sum().clamp(min=1)


def crop_loss(out: tuple[Tensor, Tensor, Tensor], t: dict[str, Tensor]) -> Tensor:
    rows, cols, whole = (o.float() for o in out)
    w = torch.tensor([1.5, 1.5, 0.4, 0.6], device=rows.device)
    lines = sum(w[i] * _peaks(rows[:, i], t["rows"][:, i], t["seen"][:, i], 0.9) for i in range(4))
    jar = t["jar"].float()
    ce = (tf.cross_entropy(rows[:, 4:10], t["cls"], reduction="none").mean(1) * jar).sum() / jar.sum().clamp(
        min=1
    )
    z, y = rows[:, 10], t["edge"]
    focal = tf.binary_cross_entropy_with_logits(z, y, reduction="none") * (z.sigmoid() - y).abs() ** 1.5
    focal = (focal.sum(1) * jar).sum() / jar.sum().clamp(min=1)
    walls = _peaks(cols, t["cols"], t["cols_seen"], 0.7)
    is_jar = tf.binary_cross_entropy_with_logits(whole[:, 0], jar)
    gone = tf.binary_cross_entropy_with_logits(whole[:, 1:5], (~t["seen"]).float(), reduction="none")
    gone = (gone * jar[:, None]).sum() / jar.sum().clamp(min=1)
    return lines + ce + 0.3 * focal + 0.5 * walls + is_jar + 0.2 * gone


def place(logits: Tensor) -> Tensor:
    """The row (or column) of a peak: mean of the odds within 3 of the highest."""
    p = logits.softmax(-1)
    k = torch.arange(p.shape[-1], device=p.device).float()
    near = (k - p.argmax(-1, keepdim=True)).abs() <= 3
    q = p * near
    return (q * k).sum(-1) / q.sum(-1)


def crop_check(net: Any, d: Data, g: Tensor) -> dict[str, float]:
    """Figures on the left-out vessels, in % of the column, from crops thrown about as when fitting."""
    es, ef, cls, jar = [], [], [], []
    for part in d.held_jar.split(128):
        part = part[in_sight(d, part, torch.zeros_like(part))]
        which = torch.zeros_like(part)
        m = crop_maps(d, part, which, g, 1.0)
        t = crop_targets(d, part, which, m, torch.ones(len(part), dtype=torch.bool, device=d.device))
        x = warp(d, part, m, CROP_ROWS, CROP_COLS)[0]
        rows, _, whole = (o.float() for o in net(x))
        col = (t["rows"][:, 1] - t["rows"][:, 0]).clamp(min=2)
        es.append(((place(rows[:, 0]) - t["rows"][:, 0]).abs() / col)[t["seen"][:, 0]])
        ef.append(((place(rows[:, 1]) - t["rows"][:, 1]).abs() / col)[t["seen"][:, 1]])
        cls.append((rows[:, 4:10].argmax(1) == t["cls"]).float().mean(1))
        jar.append(whole[:, 0] > 0)
    s, f = torch.cat(es) * 100, torch.cat(ef) * 100
    q = lambda v, p: round(float(v.quantile(p)), 2)  # noqa: E731
    return {
        "surface_50": q(s, 0.5), "surface_90": q(s, 0.9), "surface_95": q(s, 0.95), "floor_50": q(f, 0.5),
        "floor_90": q(f, 0.9), "floor_95": q(f, 0.95), "rows_right": round(float(torch.cat(cls).mean()), 4),
        "jar": round(float(torch.cat(jar).float().mean()), 4),
    }  # fmt: skip


def in_sight(d: Data, idx: Tensor, which: Tensor) -> Tensor:
    """Whether the middle of the column lies in the picture."""
    middle = d.t["points"][idx, which, :2].mean(1)
    return ((middle > 0) & (middle < d.t["size"][idx])).all(-1)


def step(kind: str, net: Any, d: Data, batch: int, g: Tensor, traced: float = 0.0) -> Tensor:
    """The loss of one batch; `traced` is the least share of path-traced pictures among those with a vessel."""
    none = int(batch * 0.22) if len(d.fit_none) else 0
    pick = lambda pool, n: pool[torch.randint(len(pool), (n,), generator=g, device=d.device)]  # noqa: E731
    real = int((batch - none) * traced) if len(d.fit_traced) else 0
    idx = torch.cat(
        [pick(d.fit_jar, batch - none - real), pick(d.fit_traced, real)]
        if real
        else [pick(d.fit_jar, batch - none)]
    )
    idx = idx[torch.randperm(len(idx), generator=g, device=d.device)]
    if none:
        idx = torch.cat([idx, pick(d.fit_none, none)])
    if kind == "picture":
        m = picture_maps(d, idx, g)
        t = picture_targets(d, idx, m)
        x, mask = warp(d, idx, m, SIDE, SIDE)
        x = spoil(compose(d, x, mask, m, g, 0.2), g)
        with torch.autocast(d.device, torch.bfloat16, enabled=d.device == "cuda"):
            out = net(x)
        return picture_loss(out, mask, t)
    two = d.t["points"][idx, 1, 0, 0].isfinite()
    which = (two & (torch.rand(batch, generator=g, device=d.device) < 0.5)).long()
    m = crop_maps(d, idx, which, g, 1.0)
    jar = in_sight(d, idx, which)
    lost = torch.rand(batch, generator=g, device=d.device) < 0.05  # beside the jar
    shift = (
        m[:, :, 0]
        * (CROP_COLS * torch.where(torch.rand(batch, generator=g, device=d.device) < 0.5, -0.9, 0.9))[:, None]
    )
    m = torch.cat([m[:, :, :2], (m[:, :, 2] + lost[:, None] * shift)[:, :, None]], 2)
    jar &= ~lost
    if none:
        jar[batch - none :] = False
        most = none * 2 // 3 if len(d.fit_bait) else 0  # of them where the finder was taken in
        m = torch.cat([m[: batch - none], loose_maps(d, idx[batch - none :], g)])
        if most:
            idx = torch.cat([idx[:-most], pick(d.fit_bait, most)])
            m = torch.cat([m[:-most], bait_maps(d, idx[-most:], g)])
            which = torch.cat([which[:-most], torch.zeros_like(which[-most:])])
    t = crop_targets(d, idx, which, m.nan_to_num(0.0), jar)
    x, mask = warp(d, idx, m, CROP_ROWS, CROP_COLS)
    x = paled(x, mask, g)
    x = spoil(compose(d, x, mask, m, g, 0.12), g)
    with torch.autocast(d.device, torch.bfloat16, enabled=d.device == "cuda"):
        out = net(x)
    return crop_loss(out, t)


def fit(kind: str, d: Data, a: argparse.Namespace, more: Any = None) -> Any:
    """Fit for a.seconds; the averaged network."""
    torch.manual_seed(a.seed)
    g = torch.Generator(d.device).manual_seed(a.seed + 1)
    if a.start:
        from jartest.imaging.fit.export import load as held  # needs onnx, which a machine that fits may lack

        net, mean = (held(kind, a.start, fold=a.folded).to(d.device) for _ in range(2))
    else:
        net, mean = ((PictureNet if kind == "picture" else CropNet)().to(d.device) for _ in range(2))
        if a.folded:
            net, mean = folded(net), folded(mean)
    if a.folded:
        net, mean = (x.to(memory_format=torch.channels_last) for x in (net, mean))
    mean.load_state_dict(net.state_dict())
    slow, fast = ([t for t in x.state_dict().values() if t.dtype.is_floating_point] for x in (mean, net))
    opt = torch.optim.AdamW(net.parameters(), lr=a.lr, weight_decay=0.02)
    start, n, told, total = time.monotonic(), 0, 0.0, 0.0
    while (spent := time.monotonic() - start) < a.seconds and n < a.steps:
        part = max(spent / a.seconds, n / a.steps)
        rate = a.lr * min(1, (n + 1) / (50 if a.start else 200)) * (0.5 + 0.5 * np.cos(np.pi * part)) + 1e-6
        for group in opt.param_groups:
            group["lr"] = rate
        loss = step(kind, net, d, a.batch, g, a.traced)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        if torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0).isfinite():
            opt.step()
        n += 1
        with torch.no_grad():
            keep = min(0.998, n / (n + 10))
            torch._foreach_lerp_(slow, fast, 1 - keep)
        if n % 20 == 0:
            total = float(loss.detach())
        if spent - told > a.every:
            told = spent
            print(
                json.dumps(
                    {"s": round(spent), "steps": n, "loss": round(total, 3), "pictures": d.n}
                    | check(kind, mean, d, a)
                ),
                flush=True,
            )
            torch.save(mean.state_dict(), a.out)
            if more is not None:
                more(d)
    print(
        json.dumps(
            {"s": round(time.monotonic() - start), "steps": n, "pictures": d.n} | check(kind, mean, d, a)
        ),
        flush=True,
    )
    return mean


def check(kind: str, net: Any, d: Data, a: argparse.Namespace) -> dict[str, float]:
    """Figures on the left-out vessels."""
    if not len(d.held_jar):
        return {}
    net.eval()
    with torch.no_grad():
        g = torch.Generator(d.device).manual_seed(a.seed + 2)
        out = picture_check(net, d) if kind == "picture" else crop_check(net, d, g)
    net.train()
    return out


def main(argv: list[str] | None = None) -> Any:
    """Fit one network and save it."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("kind", choices=["picture", "crop"])
    p.add_argument("out")
    p.add_argument("--data", nargs="*", default=[])
    p.add_argument("--drawn", type=int, default=0)
    p.add_argument("--watch", default="", help="a folder where more zips may appear while fitting")
    p.add_argument("--start", default="", help="weights to go on from")
    p.add_argument(
        "--folded", action="store_true", help="with the norms folded in: for going on from --start"
    )
    p.add_argument("--traced", type=float, default=0.0, help="least share of path-traced pictures")
    p.add_argument("--threads", type=int, default=0)
    p.add_argument("--seconds", type=float, default=400)
    p.add_argument("--steps", type=int, default=10**9)
    p.add_argument("--every", type=float, default=60)
    p.add_argument("--batch", type=int, default=128)
    p.add_argument("--lr", type=float, default=3e-3)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--workers", type=int, default=8)
    a = p.parse_args(argv)
    start = time.monotonic()
    torch.backends.cudnn.benchmark = True
    if a.threads:
        torch.set_num_threads(a.threads)
    d = Data("cuda" if torch.cuda.is_available() else "cpu")
    d.add(load([Path(x) for x in a.data], range(a.drawn), a.workers))
    print(f"{d.n} pictures in {time.monotonic() - start:.0f} s", flush=True)
    seen: set[Path] = set()

    def more(d: Data) -> None:
        new = [x for x in sorted(Path(a.watch).glob("*.zip")) if x not in seen] if a.watch else []
        seen.update(new)
        if new:
            d.add(load(new, range(0), a.workers))

    net = fit(a.kind, d, a, more)
    torch.save(net.state_dict(), a.out)
    return net


if __name__ == "__main__":
    main()
