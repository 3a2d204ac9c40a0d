"""Drawn textures: backdrops and benches, and the photographs and rooms that may stand round a jar."""

from __future__ import annotations

import functools
import os
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BACKDROPS",
    "BENCHES",
    "FITTED_PHOTOS",
    "WORLD_BACKDROPS",
    "WORLD_BENCHES",
    "backdrop",
    "bench",
    "noise",
    "photo",
    "room",
    "stuff",
]

Image = NDArray[np.float32]
Rng = np.random.Generator

# Of scikit-image's own pictures only these are ever shown in fitting; all others stay unseen for the check
# that a picture without a jar is told as such.
FITTED_PHOTOS = (
    "brick",
    "grass",
    "gravel",
    "coffee",
    "rocket",
    "camera",
    "text",
    "colorwheel",
    "retina",
    "coins",
)

BACKDROPS = (
    "card", "grey", "dark", "wall", "board", "clutter", "outdoor", "stripes", "checks", "bricks", "tiles",
    "blind", "print", "photo", "photo", "blobs", "shelf", "gradient",
)  # fmt: skip
BENCHES = ("wood", "steel", "dark", "concrete", "cloth", "white", "planks", "photo")
WORLD_BACKDROPS = (
    "card", "grey", "dark", "wall", "clutter", "outdoor", "stripes", "checks", "bricks", "tiles", "blind", "print",
    "blobs", "shelf", "gradient", "picture", "picture", "picture", "mosaic", "screen", "halves", "halves",
)  # fmt: skip
WORLD_BENCHES = (
    "wood", "steel", "dark", "concrete", "cloth", "white", "planks", "granite", "granite", "tiles", "mosaic", "mat",
    "picture", "print", "black",
)  # fmt: skip


def noise(rng: Rng, shape: tuple[int, int], octaves: int = 5, base: int = 4, falloff: float = 0.55) -> Image:
    """Fractal noise in [0, 1]."""
    out = np.zeros(shape, np.float32)
    amp = 1.0
    for o in range(octaves):
        n = base * 2**o
        rows, cols = (max(2, int(n * s / max(shape)) + 2) for s in shape)
        grid = rng.random((rows, cols)).astype(np.float32)
        out += amp * cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_CUBIC)
        amp *= falloff
    lo, hi = np.percentile(out[::3, ::3], [1, 99])
    return np.clip((out - lo) / (hi - lo + 1e-9), 0, 1).astype(np.float32)


@functools.cache
def _photos() -> tuple[Image, ...]:
    import skimage.data

    out = []
    for name in FITTED_PHOTOS:
        a: Any = np.asarray(getattr(skimage.data, name)())
        a = a if a.ndim == 3 else np.repeat(a[..., None], 3, -1)
        out.append((a[..., :3].astype(np.float32) / 255) ** 2.2)
    more = os.environ.get("JARTEST_FIT_PHOTOS")
    if more:
        out += [(img / 255) ** 2.2 for img in _gathered(more)]
    return tuple(out)


@functools.cache
def _vesselless() -> tuple[Image, ...]:
    """The photographs without the cup of coffee."""
    return tuple(
        a for k, a in enumerate(_photos()) if k >= len(FITTED_PHOTOS) or FITTED_PHOTOS[k] != "coffee"
    )


@functools.cache
def _rooms() -> tuple[Image, ...]:
    file = os.environ.get("JARTEST_FIT_ROOMS")
    if not file:
        raise ValueError("JARTEST_FIT_ROOMS names no file of rooms: make one by jartest.imaging.fit.rooms")
    return tuple(np.exp2((img - 128) / 16) for img in _gathered(file))


def _gathered(file: str) -> list[Image]:
    """The pictures in a file of `fit/rooms.py`, RGB, values 0 to 255."""
    with np.load(file) as held:
        seen: Any = [cv2.imdecode(held[k], cv2.IMREAD_COLOR) for k in held.files]
    return [np.asarray(img[..., ::-1], np.float32) for img in seen]


def room(rng: Rng) -> Image:
    """Light from all round as it was in one of the rooms and places of `fit/rooms.py`, turned about, (256, 512, 3).

    The file that `fit/rooms.py` wrote is named by the environment variable JARTEST_FIT_ROOMS.
    """
    img = np.roll(_rooms()[int(rng.integers(len(_rooms())))], int(rng.integers(512)), 1)
    if rng.random() < 0.5:
        img = img[:, ::-1]
    return np.ascontiguousarray(img * rng.uniform(0.85, 1.15, 3), np.float32)


def photo(rng: Rng, shape: tuple[int, int], *, vessels: bool = True) -> Image:
    """A random part of one of the photographs, linear light; without `vessels` of none that shows one."""
    held = _photos() if vessels else _vesselless()
    a = held[int(rng.integers(len(held)))]
    s = float(rng.uniform(0.4, 1.0))
    h, w = max(8, int(a.shape[0] * s)), max(8, int(a.shape[1] * s))
    y, x = int(rng.integers(a.shape[0] - h + 1)), int(rng.integers(a.shape[1] - w + 1))
    part = a[y : y + h, x : x + w]
    if rng.random() < 0.5:
        part = part[:, ::-1]
    if rng.random() < 0.3:
        part = part[..., rng.permutation(3)]
    img = cv2.resize(np.ascontiguousarray(part), shape[::-1], interpolation=cv2.INTER_LINEAR)
    return (img * rng.uniform(0.5, 1.2)).clip(0.01, 0.97).astype(np.float32)


def _colour(rng: Rng) -> Image:
    grey = rng.uniform(0.03, 0.9)
    return (grey + (rng.random(3) - 0.5) * rng.choice([0.06, 0.3, 0.7])).clip(0.02, 0.95).astype(np.float32)


def _flat(rng: Rng, shape: tuple[int, int], colour: Image, rough: float) -> Image:
    n = noise(rng, shape, 5, 3)
    return (colour + rough * (n[..., None] - 0.5)).astype(np.float32)


def _stripes(rng: Rng, shape: tuple[int, int], checks: bool) -> Image:
    h, w = shape
    yy, xx = np.mgrid[:h, :w].astype(np.float32)
    a = float(rng.choice([0, 90, 0, 90, rng.uniform(0, 180)])) * np.pi / 180
    period = float(np.exp(rng.uniform(np.log(8), np.log(160))))
    u = np.sin((xx * np.cos(a) + yy * np.sin(a)) * 2 * np.pi / period)
    if checks:
        u = u * np.sin((-xx * np.sin(a) + yy * np.cos(a)) * 2 * np.pi / period)
    t = (1 / (1 + np.exp(-u * float(rng.choice([1.5, 30.0])))))[..., None]
    c0, c1 = _colour(rng), _colour(rng)
    if rng.random() < 0.5:  # ribbed: low contrast
        c1 = (c0 * rng.uniform(0.6, 0.95)).astype(np.float32)
    return (c0 * t + c1 * (1 - t) + 0.05 * (noise(rng, shape)[..., None] - 0.5)).astype(np.float32)


def _bricks(rng: Rng, shape: tuple[int, int], tiles: bool) -> Image:
    h, w = shape
    bh = int(rng.integers(24, 90))
    bw = bh if tiles else bh * 2
    base, joint = _colour(rng), _colour(rng)
    img = np.empty((h, w, 3), np.float32)
    img[:] = joint
    for j, y in enumerate(range(0, h, bh)):
        off = 0 if tiles else (j % 2) * bw // 2
        for x in range(-off, w, bw):
            img[y + 3 : y + bh, max(0, x + 3) : max(0, x + bw)] = base * rng.uniform(0.8, 1.2)
    return (img + 0.1 * (noise(rng, shape, 6, 12, 0.8)[..., None] - 0.5)).astype(np.float32)


def _shelf(rng: Rng, shape: tuple[int, int], rounded: bool) -> Image:
    h, w = shape
    img = np.empty((h, w, 3), np.float32)
    img[:] = _colour(rng) * 0.5
    y = 0
    while y < h:
        sh = int(rng.integers(90, 240))
        x = 0
        while x < w:
            bw, bh = int(rng.integers(25, 130)), int(sh * rng.uniform(0.4, 0.92))
            top = max(0, y + sh - bh)
            box = img[top : y + sh - 8, x : x + bw - 4]
            box[:] = _colour(rng)
            for _ in range(int(rng.integers(0, 3))):  # bands, as of a label or a drink
                a, b = sorted(rng.integers(0, max(2, box.shape[0]), 2))
                box[a:b] = _colour(rng)
            if rounded and box.shape[1] > 4:
                shade = np.sqrt(1 - np.linspace(-0.97, 0.97, box.shape[1]) ** 2)
                box *= (0.35 + 0.75 * shade)[None, :, None].astype(np.float32)
            x += bw
        img[y + sh - 8 : y + sh] = _colour(rng) * 0.6
        y += sh
    return (img + 0.05 * (noise(rng, shape)[..., None] - 0.5)).astype(np.float32)


def _print(rng: Rng, shape: tuple[int, int]) -> Image:
    h, w = shape
    img = np.full((h, w, 3), rng.uniform(0.5, 0.9), np.float32)
    step = int(rng.integers(12, 50))
    for y in range(step, h - step, step):
        x = step
        while x < w - step:
            n = int(rng.integers(step // 4, step * 2))
            img[y : y + step // 2, x : x + n] = rng.uniform(0.02, 0.3)
            x += n + step // 3
    return img


def _outdoor(rng: Rng, shape: tuple[int, int]) -> Image:
    h, w = shape
    g = noise(rng, shape, 7, 8, 0.75)[..., None]
    img = np.empty((h, w, 3), np.float32)
    img[:] = np.array([0.08, 0.16, 0.05]) + g * np.array([0.18, 0.28, 0.1])
    lawn = int(h * rng.uniform(0.35, 0.6))
    img[lawn:] = (np.array([0.16, 0.26, 0.08]) + g[lawn:] * np.array([0.12, 0.18, 0.06])) * rng.uniform(
        0.6, 1.4
    )
    img[: int(h * rng.uniform(0, 0.3))] = [0.75, 0.85, 0.95]
    return img


def _granite(rng: Rng, shape: tuple[int, int]) -> Image:
    base, img = _colour(rng), np.empty((*shape, 3), np.float32)
    img[:] = base
    for k in range(int(rng.integers(2, 5))):
        n = noise(rng, shape, 4, int(rng.integers(60, 200)), 0.8)
        img = np.where((n > rng.uniform(0.5, 0.85))[..., None], _colour(rng) if k else base * 0.3, img)
    return (img + 0.06 * (noise(rng, shape, 4, 200)[..., None] - 0.5)).astype(np.float32)


def _mosaic(rng: Rng, shape: tuple[int, int]) -> Image:
    """Small tiles of a few colours."""
    side = int(rng.integers(14, 60))
    few = np.stack([_colour(rng) for _ in range(int(rng.integers(2, 5)))])
    cells = few[rng.integers(0, len(few), (shape[0] // side + 1, shape[1] // side + 1))]
    img = np.repeat(np.repeat(cells, side, 0), side, 1)[: shape[0], : shape[1]]
    joint, gap = _colour(rng), max(1, side // 12)
    for k in range(gap):
        img[k::side] = joint
        img[:, k::side] = joint
    return img.astype(np.float32)


def _screen(rng: Rng, shape: tuple[int, int]) -> Image:
    """A screen or a board with windows, lines and rows of small things."""
    h, w = shape
    img = np.full((h, w, 3), rng.uniform(0.02, 0.2), np.float32) * (0.4 + rng.random(3))
    for _ in range(int(rng.integers(4, 16))):
        y, x = int(rng.integers(h)), int(rng.integers(w))
        a, b = int(rng.integers(h // 20, h // 2)), int(rng.integers(w // 20, w // 2))
        img[y : y + a, x : x + b] = _colour(rng)
        for row in range(y + 6, min(y + a, h) - 4, max(8, int(rng.integers(8, 30)))):
            img[row : row + 3, x + 6 : x + int(b * rng.uniform(0.2, 0.95))] = _colour(rng)
    return img.astype(np.float32)


def _halves(rng: Rng, shape: tuple[int, int]) -> Image:
    """One thing below, another above, as bench and wall behind a clear liquid."""
    h = shape[0]
    img = _flat(rng, shape, _colour(rng), 0.1)
    img[int(h * rng.uniform(0.3, 0.75)) :] = _colour(rng)
    for _ in range(int(rng.integers(0, 4))):
        x = int(rng.integers(shape[1]))
        img[:, x : x + int(rng.integers(4, 90))] = _colour(rng)
    return img


def stuff(
    rng: Rng, grain: str, colour: tuple[float, ...], strength: float, shape: tuple[int, int] = (420, 1260)
) -> Image:
    """Linear reflectance of a mass that is porous, curdled, grainy, pulpy or cracked, all round a vessel."""
    h, w = shape
    base = np.asarray(colour, np.float32)
    n = noise(rng, shape, 5, int(rng.integers(8, 40)), 0.65)[..., None]
    img = (base * (1 - 0.5 * strength * (1 - n))).astype(np.float32)
    dark = (base * rng.uniform(0.15, 0.7)).astype(np.float32).tolist()
    pale = np.clip(base * rng.uniform(1.0, 1.5) + rng.uniform(0, 0.3), 0.02, 0.96).astype(np.float32)
    if grain == "photo":
        part = photo(rng, shape, vessels=False)
        return np.clip(base * (0.35 + part / max(float(part.mean()), 0.02) * 0.65), 0.02, 0.96).astype(
            np.float32
        )
    if grain == "grains":
        few = np.stack([base, np.asarray(dark), pale])
        size = int(rng.integers(2, 8))
        cells = few[rng.choice(3, (h // size + 1, w // size + 1), p=[0.5, 0.25, 0.25])].astype(np.float32)
        img = cv2.resize(cells, (w, h), interpolation=cv2.INTER_LINEAR) * (0.8 + 0.4 * n)
    elif grain == "cracks":
        for _ in range(int(rng.integers(6, 40))):
            steps = rng.normal(0, 12, (30, 2)) + rng.normal(0, 4, 2)
            line = (np.array([rng.integers(w), rng.integers(h)]) + steps.cumsum(0)).astype(np.int32)
            cv2.polylines(img, [line], False, dark, int(rng.integers(2, 8)), cv2.LINE_AA)
    else:
        count = {"pores": 900, "curds": 1500, "pulp": 1600}[grain]
        largest = float(rng.uniform(5, 22))
        for r in np.sort(np.exp(rng.uniform(np.log(1.5), np.log(largest), count)))[
            :: 1 if grain == "curds" else -1
        ]:
            at = (int(rng.integers(w)), int(rng.integers(h)))
            axes = (max(1, int(r)), max(1, int(r * rng.uniform(0.5, 1))))
            turn = float(rng.uniform(0, 180))
            if grain == "pores":
                cv2.ellipse(img, at, axes, turn, 0, 360, dark, -1, cv2.LINE_AA)
            elif grain == "curds":
                cv2.ellipse(img, at, axes, turn, 0, 360, dark, max(1, int(r / 6)), cv2.LINE_AA)
                cv2.ellipse(
                    img, at, axes, turn, 0, 360, (pale * rng.uniform(0.7, 1)).tolist(), -1, cv2.LINE_AA
                )
            else:
                tint = (pale if rng.random() < 0.5 else np.asarray(dark)).tolist()
                cv2.ellipse(img, at, (axes[0] * 2, max(1, axes[1] // 4)), turn, 0, 360, tint, -1, cv2.LINE_AA)
        img = np.asarray(cv2.GaussianBlur(img, (0, 0), float(rng.uniform(0.4, 2.0))))
        img = img * (1 - 0.4 * strength * (1 - n))
    return np.clip(img, 0.015, 0.96).astype(np.float32)


def _blobs(rng: Rng, shape: tuple[int, int]) -> Image:
    img = np.empty((*shape, 3), np.float32)
    img[:] = _colour(rng)
    for _ in range(int(rng.integers(10, 60))):
        centre = (int(rng.integers(shape[1])), int(rng.integers(shape[0])))
        axes = (int(rng.integers(5, 140)), int(rng.integers(5, 140)))
        cv2.ellipse(
            img, centre, axes, float(rng.uniform(0, 180)), 0, 360, _colour(rng).tolist(), -1, cv2.LINE_AA
        )
    if rng.random() < 0.7:  # out of focus
        img = cv2.GaussianBlur(img, (0, 0), float(rng.uniform(2, 14))).astype(np.float32)
    return img


_MADE = {"granite": _granite, "mosaic": _mosaic, "screen": _screen, "halves": _halves}


def backdrop(rng: Rng, kind: str, shape: tuple[int, int] = (700, 900)) -> Image:
    """Linear reflectance of what stands behind the jar."""
    h, w = shape
    if kind in ("photo", "picture"):
        return photo(rng, shape, vessels=kind == "photo")
    if kind in _MADE:
        img = _MADE[kind](rng, shape)
    elif kind in ("stripes", "checks"):
        img = _stripes(rng, shape, kind == "checks")
    elif kind in ("bricks", "tiles"):
        img = _bricks(rng, shape, kind == "tiles")
    elif kind in ("clutter", "shelf"):
        img = _shelf(rng, shape, kind == "shelf")
    elif kind == "print":
        img = _print(rng, shape)
    elif kind == "outdoor":
        img = _outdoor(rng, shape)
    elif kind == "blobs":
        img = _blobs(rng, shape)
    elif kind == "board":
        img = _flat(rng, shape, _colour(rng), 0.06)
        yy, xx = np.mgrid[:h, :w]
        p = int(rng.integers(20, 60))
        img[((yy % p - p / 2) ** 2 + (xx % p - p / 2) ** 2) < (p * 0.11) ** 2] *= 0.25
    elif kind == "blind":
        img = _flat(rng, shape, _colour(rng), 0.05)
        p = int(rng.integers(10, 40))
        img *= (0.55 + 0.45 * (np.arange(h) % p / p))[:, None, None].astype(np.float32)
    elif kind == "gradient":
        a, b = _colour(rng), _colour(rng)
        t = np.linspace(0, 1, h, dtype=np.float32)[:, None, None]
        img = np.repeat(a * t + b * (1 - t), w, 1).astype(np.float32)
    else:
        base = {"card": rng.uniform(0.7, 0.9), "grey": rng.uniform(0.2, 0.5), "dark": rng.uniform(0.02, 0.08)}
        colour = np.full(3, base[kind], np.float32) if kind in base else _colour(rng)
        img = _flat(rng, shape, colour, 0.03 if kind in base else 0.12)
        if kind == "wall":
            row = int(h * rng.uniform(0.3, 0.8))
            img[row : row + int(rng.integers(4, 40))] *= float(rng.uniform(0.5, 1.4))
    return img.clip(0.02, 0.95)


def bench(rng: Rng, kind: str, shape: tuple[int, int] = (800, 800)) -> Image:
    """Linear reflectance of what the jar stands on."""
    h, w = shape
    if kind in ("photo", "picture"):
        return photo(rng, shape, vessels=kind == "photo")
    if kind == "tiles":
        return _bricks(rng, shape, True).clip(0.02, 0.9)
    if kind == "print":
        return _print(rng, shape).clip(0.02, 0.9)
    if kind == "black":
        return np.full((*shape, 3), rng.uniform(0.02, 0.04), np.float32)
    if kind == "mat":
        img = _flat(rng, shape, _colour(rng), 0.02)
        step = int(rng.integers(12, 50))
        img[::step] *= 0.5
        img[:, ::step] *= 0.5
        return img.clip(0.02, 0.9)
    if kind in _MADE:
        return _MADE[kind](rng, shape).clip(0.02, 0.9)
    if kind in ("wood", "planks"):
        n = cv2.resize(noise(rng, (h, 60), 5, 6), (w, h))
        brown = np.array([0.42, 0.28, 0.16]) * rng.uniform(0.5, 1.6)
        img = brown * (0.6 + 0.7 * n[..., None]) + 0.06 * (noise(rng, shape, 6, 20, 0.8)[..., None] - 0.5)
        if kind == "planks":
            img[:, :: int(rng.integers(60, 160))] *= 0.3
        return img.clip(0.02, 0.9).astype(np.float32)
    base = {"steel": (0.42, 0.08), "dark": (0.05, 0.04), "concrete": (0.5, 0.2), "white": (0.82, 0.04)}
    if kind in base:
        level, rough = base[kind]
        octaves = (6, 30, 0.8) if kind == "concrete" else (4, 3, 0.55)
        n = noise(rng, shape, *octaves)
        return np.repeat((level + rough * (n - 0.5))[..., None], 3, -1).clip(0.02, 0.9).astype(np.float32)
    return _flat(rng, shape, _colour(rng), 0.1).clip(0.02, 0.9)
