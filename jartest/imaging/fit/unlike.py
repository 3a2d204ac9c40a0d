"""Drawn pictures without a vessel that a finder of vessels may fall for: round, banded, upright, lit.

None of them copies a picture that the finder is held against; each kind is thrown by dice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.textures import BACKDROPS, backdrop, noise, photo

__all__ = ["KINDS", "NOTHING", "unlike"]

Rng = np.random.Generator
Image = NDArray[np.float32]
Array = NDArray[Any]

NOTHING: dict[str, Any] = {  # the record of truth of each: the camera means nothing here
    "view": {"eye_mm": [0, 0, 1], "target_mm": [0, 0, 0], "up": [0, 1, 0], "fov_y_deg": 40, "width_px": 1, "height_px": 1},
    "jar_present": False,
}  # fmt: skip


def unlike(i: int, kind: str = "", *, side: int = 384) -> NDArray[np.uint8]:
    """The i-th picture without a vessel (RGB), of the given kind or of one thrown by dice."""
    rng = np.random.default_rng([20261130, i])
    shape = (side, int(side * rng.uniform(0.6, 1.0)))
    shape = shape if rng.random() < 0.5 else (shape[1], shape[0])
    name = kind or str(rng.choice(list(KINDS)))
    img: Array = np.clip(KINDS[name](rng, shape), 0, 1)
    if rng.random() < 0.35:
        img = np.repeat(img.mean(-1, keepdims=True), 3, -1)
    if rng.random() < 0.3:
        turn = cv2.getRotationMatrix2D((shape[1] / 2, shape[0] / 2), float(rng.normal(0, 25)), 1.3)
        img = cv2.warpAffine(img.astype(np.float32), turn, shape[::-1], borderMode=cv2.BORDER_REFLECT)
    img = img ** float(np.exp(rng.normal(0, 0.3)))
    img = img + rng.normal(0, rng.uniform(0, 0.04), img.shape)
    return (np.clip(img, 0, 1) * 255 + 0.5).astype(np.uint8)


def _colour(rng: Rng, lo: float = 0.0, hi: float = 1.0) -> list[float]:
    c = rng.uniform(lo, hi) + (rng.random(3) - 0.5) * rng.choice([0.05, 0.3, 0.9])
    return [float(v) for v in np.clip(c, 0, 1)]


def _flat(rng: Rng, shape: tuple[int, int], lo: float = 0.0, hi: float = 1.0) -> Image:
    out = np.empty((*shape, 3), np.float32)
    out[:] = _colour(rng, lo, hi)
    slope = np.linspace(-1, 1, shape[0])[:, None] * rng.normal(0, 0.1)
    slope = slope + np.linspace(-1, 1, shape[1])[None] * rng.normal(0, 0.1)
    return (out + slope[..., None] + 0.08 * (noise(rng, shape)[..., None] - 0.5)).astype(np.float32)


def _grid(shape: tuple[int, int]) -> tuple[Array, Array]:
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return y, x


def _write(rng: Rng, img: Image, word: str, at: tuple[int, int], size: float, ink: list[float]) -> None:
    where = np.zeros(img.shape[:2], np.uint8)
    face, wide = int(rng.integers(0, 8)), max(1, round(size * rng.uniform(1, 3)))
    cv2.putText(where, word, at, face, max(size, 0.2), 255, wide, cv2.LINE_AA)
    a = where[..., None].astype(np.float32) / 255
    img[:] = img * (1 - a) + np.array(ink, np.float32) * a


def _dial(rng: Rng, shape: tuple[int, int]) -> Image:
    """A round dial with marks and hands, on a wall or bare."""
    img = _flat(rng, shape) if rng.random() < 0.6 else _room(rng, shape)
    r = float(rng.uniform(0.2, 0.7) * min(shape) / 2)
    at = (float(shape[1] * rng.uniform(0.3, 0.7)), float(shape[0] * rng.uniform(0.3, 0.7)))
    squash = float(rng.uniform(0.75, 1.0))

    def spot(angle: float, reach: float) -> tuple[int, int]:
        return round(at[0] + r * reach * np.sin(angle) * squash), round(at[1] - r * reach * np.cos(angle))

    for reach in (1.0, float(rng.uniform(0.82, 0.97)), float(rng.uniform(0.1, 0.8))):
        axes = (max(1, round(r * reach * squash)), max(1, round(r * reach)))
        cv2.ellipse(img, spot(0, 0), axes, 0, 0, 360, _colour(rng), -1, cv2.LINE_AA)
    ink, n = _colour(rng), int(rng.choice([4, 12, 24, 60]))
    for k in range(n):
        a = 2 * np.pi * k / n
        if rng.random() < 0.5 and n == 12:
            _write(rng, img, str(k or 12), spot(a, 0.8), r / 130, ink)
        cv2.line(img, spot(a, 0.85), spot(a, 0.95), ink, max(1, round(r / 50)), cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        cv2.line(
            img,
            spot(0, 0),
            spot(rng.uniform(0, 6.3), rng.uniform(0.4, 0.9)),
            ink,
            max(1, round(r / 25)),
            cv2.LINE_AA,
        )
    return _soft(rng, img)


def _cells(rng: Rng, shape: tuple[int, int]) -> Image:
    """One or many round cells under a microscope: rims, cores, grain."""
    img = _flat(rng, shape, 0.2, 0.9)
    for _ in range(int(rng.choice([1, 1, 3, 12, 60]))):
        r = float(np.exp(rng.uniform(np.log(6), np.log(0.42 * min(shape)))))
        at = (round(rng.uniform(0, shape[1])), round(rng.uniform(0, shape[0])))
        axes, turn = (max(2, round(r)), max(2, round(r * rng.uniform(0.5, 1)))), float(rng.uniform(0, 180))
        if rng.random() < 0.8:
            cv2.ellipse(img, at, axes, turn, 0, 360, _colour(rng), -1, cv2.LINE_AA)
        for _ in range(int(rng.integers(1, 4))):
            wide = max(1, round(r * rng.uniform(0.02, 0.12)))
            cv2.ellipse(img, at, axes, turn, 0, 360, _colour(rng), wide, cv2.LINE_AA)
            axes = (
                max(1, round(axes[0] * rng.uniform(0.5, 0.97))),
                max(1, round(axes[1] * rng.uniform(0.5, 0.97))),
            )
    grain = noise(rng, shape, 6, 16, 0.85)[..., None] - 0.5
    return _soft(rng, img + rng.uniform(0, 0.5) * grain)


def _stars(rng: Rng, shape: tuple[int, int]) -> Image:
    """A dark sky with points, smears and glows."""
    img = np.zeros((*shape, 3), np.float32) + np.array(_colour(rng, 0, 0.12), np.float32)
    for _ in range(int(rng.integers(30, 900))):
        c = np.array(_colour(rng, 0.3, 1.0))
        at = (int(rng.integers(shape[1])), int(rng.integers(shape[0])))
        r = max(1, round(float(rng.pareto(1.6)) + 0.4))
        axes = (min(r, 40), max(1, round(min(r, 40) * rng.uniform(0.25, 1))))
        cv2.ellipse(img, at, axes, float(rng.uniform(0, 180)), 0, 360, c.tolist(), -1, cv2.LINE_AA)
    glow = cv2.GaussianBlur(img, (0, 0), float(rng.uniform(1, 12)))
    img = img * rng.uniform(0.2, 1) + glow * rng.uniform(0.5, 2)
    if rng.random() < 0.3:
        n = noise(rng, shape, 5, 3)[..., None]
        img = img + rng.uniform(0, 0.5) * n * np.array(_colour(rng))
    return np.asarray(img, np.float32)


def _sign(rng: Rng, shape: tuple[int, int]) -> Image:
    """Flat drawn signs: discs, bars, arcs and letters in a few colours on a plain ground."""
    img = np.empty((*shape, 3), np.float32)
    img[:] = _colour(rng) if rng.random() < 0.5 else [float(rng.choice([0.0, 1.0]))] * 3
    inks = [_colour(rng) for _ in range(int(rng.integers(1, 4)))]
    s = min(shape)
    for _ in range(int(rng.integers(1, 10))):
        c = inks[int(rng.integers(len(inks)))]
        at = (int(shape[1] * rng.uniform(0.15, 0.85)), int(shape[0] * rng.uniform(0.15, 0.85)))
        big = int(s * rng.uniform(0.05, 0.45))
        p = rng.random()
        wide = -1 if rng.random() < 0.6 else max(1, int(big * rng.uniform(0.05, 0.4)))
        if p < 0.3:
            cv2.ellipse(img, at, (big, max(1, int(big * rng.uniform(0.4, 1)))), float(rng.uniform(0, 180)), 0,
                        float(rng.choice([180, 270, 360, 360])), c, wide, cv2.LINE_AA)  # fmt: skip
        elif p < 0.55:
            end = (at[0] + int(big * rng.uniform(0.2, 2)), at[1] + int(big * rng.uniform(0.2, 2)))
            cv2.rectangle(img, at, end, c, wide)
        elif p < 0.75:
            word = "".join(rng.choice(list("ABCDEFGHKMNPRSTUVXYZ0123456789"), int(rng.integers(1, 9))))
            _write(rng, img, word, (at[0] // 2, at[1]), big / 50, c)
        else:
            corners = np.array(at) + rng.normal(0, big, (int(rng.integers(3, 7)), 2))
            cv2.fillPoly(img, [np.round(corners).astype(np.int32)], c, cv2.LINE_AA)
    return _soft(rng, img) if rng.random() < 0.3 else img


def _page(rng: Rng, shape: tuple[int, int]) -> Image:
    """A page of writing, perhaps in shadow."""
    img = _flat(rng, shape, 0.5, 1.0)
    ink, size = _colour(rng, 0, 0.4), float(rng.uniform(0.3, 2.0))
    step = int(size * rng.uniform(24, 40)) + 4
    for y in range(step, shape[0] + step, step):
        word = "".join(rng.choice(list("abcdefghiklmnoprstu   ABC.,12"), 60))
        _write(rng, img, word, (int(rng.integers(-20, 20)), y), size, ink)
    shade = noise(rng, shape, 2, 1)[..., None]
    return np.asarray(img * (1 - rng.uniform(0, 0.7) * shade), np.float32)


def _from_above(rng: Rng, shape: tuple[int, int]) -> Image:
    """A cup, plate, pan or tin seen from above, so that no wall of a column is in sight."""
    img = _room(rng, shape) if rng.random() < 0.5 else _flat(rng, shape)
    for _ in range(int(rng.choice([1, 1, 2, 4]))):
        r = float(rng.uniform(0.12, 0.45) * min(shape))
        at = np.array([shape[1] * rng.uniform(0.2, 0.8), shape[0] * rng.uniform(0.2, 0.8)])
        squash = float(rng.uniform(0.55, 1.0))
        axes = lambda k, r=r, squash=squash: (max(1, round(r * k)), max(1, round(r * k * squash)))  # noqa: E731
        spot = (round(at[0]), round(at[1]))
        shadow = np.zeros(shape, np.float32)
        cv2.ellipse(
            shadow,
            (spot[0] + int(rng.normal(0, r * 0.2)), spot[1] + int(r * 0.15)),
            axes(1.1),
            0,
            0,
            360,
            1.0,
            -1,
        )
        img *= 1 - 0.6 * cv2.GaussianBlur(shadow, (0, 0), max(1.0, r * 0.1))[..., None]
        if rng.random() < 0.6:  # the saucer
            cv2.ellipse(
                img,
                (spot[0], spot[1] + int(r * 0.1)),
                axes(rng.uniform(1.3, 1.9)),
                0,
                0,
                360,
                _colour(rng),
                -1,
                cv2.LINE_AA,
            )
            cv2.ellipse(
                img,
                (spot[0], spot[1] + int(r * 0.1)),
                axes(rng.uniform(1.1, 1.3)),
                0,
                0,
                360,
                _colour(rng),
                max(1, int(r / 30)),
                cv2.LINE_AA,
            )
        outside = _colour(rng)
        for k in range(
            int(r * (1 - squash) * rng.uniform(0, 1.0)), 0, -1
        ):  # what is seen of the opaque outside
            cv2.ellipse(
                img, (spot[0], spot[1] + k), axes(1.0 - 0.002 * k), 0, 0, 360, outside, -1, cv2.LINE_AA
            )
        cv2.ellipse(img, spot, axes(1.0), 0, 0, 360, _colour(rng), -1, cv2.LINE_AA)
        cv2.ellipse(img, spot, axes(0.93), 0, 0, 360, _colour(rng), -1, cv2.LINE_AA)
        drink = _colour(rng)
        cv2.ellipse(img, (spot[0], spot[1] + int(r * 0.06)), axes(0.85), 0, 0, 360, drink, -1, cv2.LINE_AA)
        for _ in range(int(rng.integers(0, 4))):
            c = [min(1.0, v * float(rng.uniform(0.8, 2))) for v in drink]
            cv2.ellipse(img, (spot[0], spot[1] + int(r * 0.06)), axes(rng.uniform(0.2, 0.84)), float(rng.uniform(0, 180)),
                        0, float(rng.uniform(60, 360)), c, max(1, int(r / 25)), cv2.LINE_AA)  # fmt: skip
        if rng.random() < 0.6:  # the handle
            side = float(rng.choice([-1, 1]))
            cv2.ellipse(img, (round(at[0] + side * r * 1.1), spot[1]), (max(1, int(r * 0.3)), max(1, int(r * 0.22))), 0, 0, 360,
                        outside, max(1, int(r / 9)), cv2.LINE_AA)  # fmt: skip
    return _soft(rng, img)


def _scan(rng: Rng, shape: tuple[int, int]) -> Image:
    """Round bright bodies on black with tissue in them, as scans and eye pictures have."""
    n = noise(rng, shape, 6, int(rng.integers(3, 12)), 0.7)
    y, x = _grid(shape)
    cy, cx = shape[0] * rng.uniform(0.4, 0.6), shape[1] * rng.uniform(0.4, 0.6)
    ry, rx = shape[0] * rng.uniform(0.25, 0.6), shape[1] * rng.uniform(0.2, 0.6)
    d = np.sqrt(((y - cy) / ry) ** 2 + ((x - cx) / rx) ** 2)
    body = 1 / (1 + np.exp(np.clip((d - 1) * rng.uniform(10, 80), -50, 50)))
    shell = np.exp(-0.5 * ((d - rng.uniform(0.8, 1)) / rng.uniform(0.02, 0.08)) ** 2)
    img = body[..., None] * (0.2 + 0.8 * n[..., None] * np.array(_colour(rng, 0.4, 1)))
    img = img * np.array(_colour(rng, 0.5, 1)) + rng.uniform(0, 0.7) * shell[..., None]
    img = img.astype(np.float32)
    for _ in range(int(rng.integers(0, 14))):  # vessels and spots
        walk = np.cumsum(rng.normal(0, 9, (30, 2)) + rng.normal(0, 4, 2), 0) + np.array([cx, cy])
        cv2.polylines(
            img, [np.round(walk).astype(np.int32)], False, _colour(rng), int(rng.integers(1, 5)), cv2.LINE_AA
        )
    for _ in range(int(rng.integers(0, 40))):
        at = (int(rng.integers(shape[1])), int(rng.integers(shape[0])))
        cv2.circle(img, at, int(rng.integers(1, 12)), _colour(rng), -1, cv2.LINE_AA)
    return _soft(rng, img)


def _box_faces(rng: Rng, shape: tuple[int, int]) -> Image:
    """Boxes with bands and print, flat or with a second face: upright and layered, but no glass."""
    img = _room(rng, shape)
    for _ in range(int(rng.integers(1, 5))):
        w, h = int(shape[1] * rng.uniform(0.1, 0.45)), int(shape[0] * rng.uniform(0.25, 0.8))
        x, y = int(rng.uniform(0, max(1, shape[1] - w))), int(rng.uniform(0, max(1, shape[0] - h)))
        face = np.empty((h, w, 3), np.float32)
        face[:] = _colour(rng)
        for _ in range(int(rng.integers(0, 5))):
            a, b = sorted(int(v) for v in rng.integers(0, h + 1, 2))
            face[a:b] = _colour(rng)
        for _ in range(int(rng.integers(0, 5))):
            word = "".join(rng.choice(list("ABCDEFGHKMNPRSTUVXYZ"), 6))
            _write(
                rng,
                face,
                word,
                (int(rng.integers(0, w // 2 + 1)), int(rng.integers(8, h))),
                w / 120,
                _colour(rng),
            )
        if rng.random() < 0.5:  # turned: two faces
            cut = int(w * rng.uniform(0.2, 0.8))
            face[:, cut:] *= float(rng.uniform(0.4, 0.85))
        if rng.random() < 0.4:  # a tin: shaded as round, with a flat lid line, and nothing seen through it
            t = np.linspace(-0.97, 0.97, w)
            face *= (0.35 + 0.75 * np.sqrt(1 - t**2))[None, :, None].astype(np.float32)
        img[y : y + h, x : x + w] = face
    return _soft(rng, img)


def _bands(rng: Rng, shape: tuple[int, int]) -> Image:
    """Strata: wavy bands across, of any thickness, with faults."""
    y, x = _grid(shape)
    wave = noise(rng, shape, 4, int(rng.integers(1, 5)))
    t = y / shape[0] + rng.uniform(0, 0.3) * wave + rng.normal(0, 0.2) * x / shape[1]
    for _ in range(int(rng.integers(0, 3))):
        t = t + rng.normal(0, 0.1) * (x > rng.uniform(0, shape[1]) + rng.normal(0, 0.3) * y)
    n = int(rng.integers(3, 40))
    colours = np.array([_colour(rng) for _ in range(n + 1)])
    edges = np.sort(rng.uniform(t.min(), t.max(), n))
    img = colours[np.searchsorted(edges, t)]
    return _soft(rng, img + 0.25 * (noise(rng, shape, 7, 12, 0.8)[..., None] - 0.5))


def _fur(rng: Rng, shape: tuple[int, int]) -> Image:
    """Thousands of strokes along a flow: fur, grass, straw, hair."""
    img = _flat(rng, shape, 0.1, 0.6)
    flow = noise(rng, shape, 2, 2) * rng.uniform(1, 6) + rng.uniform(0, 6.3)
    for _ in range(int(rng.integers(1500, 4000))):
        px, py = int(rng.integers(shape[1])), int(rng.integers(shape[0]))
        a, long = float(flow[py, px] + rng.normal(0, 0.2)), float(rng.uniform(5, 24))
        c = np.clip(img[py, px] * rng.uniform(0.6, 1.6), 0, 1).tolist()
        cv2.line(
            img,
            (px, py),
            (round(px + long * np.cos(a)), round(py + long * np.sin(a))),
            c,
            int(rng.integers(1, 3)),
            cv2.LINE_AA,
        )
    for _ in range(int(rng.integers(0, 3))):  # eyes
        at, r = (int(rng.integers(shape[1])), int(rng.integers(shape[0]))), int(rng.integers(6, 40))
        for k in (1.0, 0.8, 0.4):
            cv2.circle(img, at, max(1, int(r * k)), _colour(rng), -1, cv2.LINE_AA)
    return _soft(rng, img)


def _figure(rng: Rng, shape: tuple[int, int]) -> Image:
    """A head and shoulders, or an upright thing of a few soft ellipses, before a backdrop."""
    img = _room(rng, shape)
    x, s = shape[1] * rng.uniform(0.3, 0.7), min(shape) * rng.uniform(0.15, 0.4)
    y = shape[0] * rng.uniform(0.25, 0.5)
    skin, coat = _colour(rng, 0.2, 0.9), _colour(rng)
    cv2.ellipse(
        img,
        (int(x), int(y + 2.1 * s)),
        (int(s * rng.uniform(1, 1.8)), int(s * 1.5)),
        0,
        0,
        360,
        coat,
        -1,
        cv2.LINE_AA,
    )
    cv2.rectangle(img, (int(x - s * 0.3), int(y)), (int(x + s * 0.3), int(y + s)), skin, -1)
    cv2.ellipse(img, (int(x), int(y)), (int(s * 0.55), int(s * 0.72)), 0, 0, 360, skin, -1, cv2.LINE_AA)
    cv2.ellipse(
        img,
        (int(x), int(y - s * 0.35)),
        (int(s * 0.6), int(s * 0.5)),
        0,
        180,
        360,
        _colour(rng, 0, 0.5),
        -1,
        cv2.LINE_AA,
    )
    for k in (-1, 1):
        cv2.circle(
            img, (int(x + k * s * 0.22), int(y)), max(1, int(s * 0.06)), _colour(rng, 0, 0.3), -1, cv2.LINE_AA
        )
    light = noise(rng, shape, 3, 2)[..., None]
    return _soft(rng, img * (1.2 - rng.uniform(0, 0.8) * light))


def _grain(rng: Rng, shape: tuple[int, int]) -> Image:
    """Gravel, brick, weave and the like: one texture from edge to edge, in photographs or drawn."""
    if rng.random() < 0.5:
        return np.asarray(photo(rng, shape) ** (1 / 2.2), np.float32)
    y, x = _grid(shape)
    p = float(np.exp(rng.uniform(np.log(3), np.log(60))))
    weave = np.sin(x / p * 2 + 3 * noise(rng, shape, 3, 3)) * np.sin(y / p * 2 + 3 * noise(rng, shape, 3, 3))
    a, b = np.array(_colour(rng)), np.array(_colour(rng))
    t = (0.5 + 0.5 * np.tanh(weave * rng.uniform(0.5, 6)))[..., None]
    return np.asarray(
        a * t + b * (1 - t) + 0.3 * (noise(rng, shape, 6, 20, 0.9)[..., None] - 0.5), np.float32
    )


def _streaks(rng: Rng, shape: tuple[int, int]) -> Image:
    """Upright bars, posts, trunks, pipes and a horizon: walls of a jar without the jar."""
    img = _flat(rng, shape)
    if rng.random() < 0.7:
        row = int(shape[0] * rng.uniform(0.2, 0.9))
        img[row:] = _colour(rng)
    for _ in range(int(rng.integers(1, 14))):
        x, w = int(rng.uniform(0, shape[1])), int(np.exp(rng.uniform(np.log(3), np.log(120))))
        a, b = sorted(int(v) for v in rng.uniform(-0.3, 1.3, 2).clip(0, 1) * shape[0])
        bar = img[a:b, x : x + w]
        if bar.size:
            t = np.linspace(-0.95, 0.95, bar.shape[1])
            shade = np.sqrt(1 - t**2) if rng.random() < 0.5 else np.ones_like(t)
            bar[:] = np.array(_colour(rng)) * (0.3 + 0.7 * shade)[None, :, None]
    return _soft(rng, img)


def _room(rng: Rng, shape: tuple[int, int]) -> Image:
    return np.asarray(backdrop(rng, str(rng.choice(BACKDROPS)), shape) ** (1 / 2.2), np.float32)


def _soft(rng: Rng, img: Array) -> Image:
    if rng.random() < 0.5:
        img = cv2.GaussianBlur(np.asarray(img, np.float32), (0, 0), float(rng.uniform(0.4, 2.5)))
    return np.asarray(img, np.float32)


KINDS: dict[str, Callable[[Rng, tuple[int, int]], Image]] = {
    "dial": _dial, "cells": _cells, "stars": _stars, "sign": _sign, "page": _page, "from_above": _from_above,
    "scan": _scan, "box_faces": _box_faces, "bands": _bands, "fur": _fur, "figure": _figure, "grain": _grain,
    "streaks": _streaks, "room": _room,
}  # fmt: skip
