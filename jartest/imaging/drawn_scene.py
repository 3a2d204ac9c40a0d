"""A drawn jar before the drawn reference card, seen by a pinhole camera: known truth for tests of scale.

Every ray is followed: to the card, or through the glass (Snell's law) to the contents on the inner wall.
Millimetres as on the card: across, down, and away from the camera; the bench lies at the card's lower edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.card import CARD_HIGH_MM, CARD_WIDE_MM, draw_card
from jartest.imaging.drawn import Band
from jartest.imaging.pinhole import turn
from jartest.imaging.values import Frame

__all__ = ["Camera", "DrawnScene", "JarBefore", "draw_scene", "near_row"]

Floats = NDArray[np.float64]

_CARD_PX_PER_MM = 8
_FINE = 2  # rays a pixel, each way


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Where the camera stands (mm, seen from the card's upper left corner), where it looks, and its picture."""

    across_mm: float = 93.0
    down_mm: float = 120.0
    before_mm: float = 450.0
    looks_at: tuple[float, float] = (93.0, 150.0)  # on the card
    roll_deg: float = 0.0
    focal_px: float = 1200.0
    width_px: int = 900
    height_px: int = 1200

    def matrix(self) -> tuple[Floats, Floats]:
        """Turn (3, 3) from world to camera, and the eye."""
        eye = np.array([self.across_mm, self.down_mm, -self.before_mm])
        ahead = np.array([*self.looks_at, 0.0]) - eye
        ahead /= np.linalg.norm(ahead)
        right = np.cross(np.array([0.0, 1.0, 0.0]), ahead)
        right /= np.linalg.norm(right)
        level = np.stack([right, np.cross(ahead, right), ahead])
        return turn(np.array([0, 0, math.radians(self.roll_deg)])) @ level, eye


@dataclass(frozen=True, slots=True, kw_only=True)
class JarBefore:
    """A straight jar on the bench before the card, touching it unless there is a gap; heights above its inner floor."""

    inner_diameter_mm: float = 86.0
    wall_mm: float = 3.0
    floor_mm: float = 5.0
    content_mm: float = 110.0
    rim_mm: float = 165.0
    across_mm: float = 93.0
    gap_mm: float = 0.0
    bands: tuple[Band, ...] = (
        Band(top_fraction=0.25, colour=(120, 90, 60)),
        Band(top_fraction=1, colour=(200, 180, 130)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnScene:
    """A drawn picture with the jar's true lines in it (None without a jar) and the card's corners in pixels."""

    pixels: NDArray[np.uint8]
    frame: Frame | None
    corners_px: Floats
    camera: Camera = field(default_factory=Camera)

    def jpeg(self, quality: int = 92) -> bytes:
        """The picture as a JPEG file."""
        bgr = np.ascontiguousarray(self.pixels[..., ::-1])
        return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def draw_scene(
    camera: Camera,
    jar: JarBefore | None = None,
    *,
    card: bool = True,
    blur_px: float = 0.6,
    noise: float = 1.5,
    light: tuple[float, float, float] = (0.85, 0.85, 0.85),
    fall_off: float = 0.0,
    seed: int = 0,
) -> DrawnScene:
    """The scene with this light (linear red, green, blue of white paper), which falls off to the right by a part."""
    w, h = camera.width_px, camera.height_px
    at = (np.arange(_FINE) + 0.5) / _FINE - 0.5
    cols = (np.arange(w)[:, None] + at).ravel()
    rows = (np.arange(h)[:, None] + at).ravel()
    picture = np.empty((h, w, 3))
    for block in range(0, h, 100):  # in strips, to keep the memory small
        part = slice(block * _FINE, (block + 100) * _FINE)
        fine = _shade(camera, jar, cols, rows[part], card)
        picture[block : block + 100] = fine.reshape(-1, _FINE, w, _FINE, 3).mean(axis=(1, 3))
    falling = 1 - fall_off * np.arange(w) / w
    picture *= np.array(light) * falling[None, :, None]
    picture = 255 * np.where(
        picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055
    )  # IEC 61966-2-1
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), blur_px), float)
    picture += np.random.default_rng(seed).normal(0, noise, picture.shape)
    corner = np.array(
        [(0, 0, 0), (CARD_WIDE_MM, 0, 0), (CARD_WIDE_MM, CARD_HIGH_MM, 0), (0, CARD_HIGH_MM, 0)]
    )
    return DrawnScene(
        pixels=np.clip(np.rint(picture), 0, 255).astype(np.uint8),
        frame=None if jar is None else _frame(camera, jar),
        corners_px=_seen(camera, corner.astype(float)),
        camera=camera,
    )


def _seen(camera: Camera, points: Floats) -> Floats:
    turned, eye = camera.matrix()
    p = (points - eye) @ turned.T
    middle = np.array([(camera.width_px - 1) / 2, (camera.height_px - 1) / 2])
    return np.asarray(camera.focal_px * p[:, :2] / p[:, 2:] + middle, float)


def _rays(camera: Camera, cols: Floats, rows: Floats) -> tuple[Floats, Floats]:
    turned, eye = camera.matrix()
    col, row = np.meshgrid(cols, rows)
    middle = np.array([(camera.width_px - 1) / 2, (camera.height_px - 1) / 2])
    rays = np.stack([col - middle[0], row - middle[1], np.full_like(col, camera.focal_px)], -1) @ turned
    return rays / np.linalg.norm(rays, axis=-1, keepdims=True), eye


def _shade(camera: Camera, jar: JarBefore | None, cols: Floats, rows: Floats, card: bool) -> Floats:
    """Linear reflectance at each ray."""
    rays, eye = _rays(camera, cols, rows)
    away = -eye[2] / np.maximum(rays[..., 2], 1e-9)
    on = eye + rays * away[..., None]
    out = np.full(rays.shape, 0.28)
    bench = (CARD_HIGH_MM - eye[1]) / np.where(np.abs(rays[..., 1]) < 1e-9, 1e-9, rays[..., 1])
    out[(bench > 0) & (bench < away)] = (0.20, 0.16, 0.12)
    if card:
        x, y = on[..., 0], on[..., 1]
        inside = (
            (x >= 0) & (x < CARD_WIDE_MM) & (y >= 0) & (y < CARD_HIGH_MM) & ~((bench > 0) & (bench < away))
        )
        k = _CARD_PX_PER_MM
        out[inside] = _paper()[(y[inside] * k).astype(int), (x[inside] * k).astype(int)][:, None]
    if jar is not None:
        height, across = _heights(jar, rays, eye)
        _paint(jar, out, height, across)
    return out


@cache
def _paper() -> Floats:
    """Linear reflectance of the card (sRGB: IEC 61966-2-1)."""
    grey = draw_card(_CARD_PX_PER_MM) / 255
    linear = np.asarray(np.where(grey <= 0.04045, grey / 12.92, ((grey + 0.055) / 1.055) ** 2.4), float)
    linear.setflags(write=False)
    return linear


def _cylinder(origin: Floats, rays: Floats, radius: float, jar: JarBefore) -> Floats:
    """How far along each ray the upright cylinder around the jar's axis is entered; NaN where it is missed."""
    o = origin[..., [0, 2]] - _axis(jar)
    d = rays[..., [0, 2]]
    a, b, c = (d**2).sum(-1), (o * d).sum(-1), (o**2).sum(-1) - radius**2
    root = b**2 - a * c
    return np.asarray(np.where(root >= 0, (-b - np.sqrt(np.maximum(root, 0))) / a, np.nan), float)


def _axis(jar: JarBefore) -> Floats:
    return np.array([jar.across_mm, -(jar.inner_diameter_mm / 2 + jar.wall_mm + jar.gap_mm)])


def _heights(jar: JarBefore, rays: Floats, eye: Floats) -> tuple[Floats, Floats]:
    """Height on the inner wall at which each ray ends, and where it enters the outer one, from -1 to 1."""
    inner = jar.inner_diameter_mm / 2
    outer = inner + jar.wall_mm
    far = _cylinder(eye, rays, outer, jar)
    hit = eye + rays * far[..., None]
    normal = np.zeros_like(hit)
    normal[..., [0, 2]] = (hit[..., [0, 2]] - _axis(jar)) / outer
    cos = -(normal * rays).sum(-1)
    n = 1 / 1.52  # air to soda-lime glass
    inside = n * rays + (n * cos - np.sqrt(1 - n**2 * (1 - cos**2)))[..., None] * normal
    deep = hit + inside * _cylinder(hit, inside, inner, jar)[..., None]
    floor = CARD_HIGH_MM - jar.floor_mm
    return np.asarray(floor - deep[..., 1], float), np.asarray((hit[..., 0] - jar.across_mm) / outer, float)


def _paint(jar: JarBefore, out: Floats, height: Floats, across: Floats) -> None:
    with np.errstate(invalid="ignore"):
        shade = 1 - 0.2 * across**2
        glass = (height >= -jar.floor_mm) & (height < jar.rim_mm)
        out[glass] = 0.8 * out[glass] + 0.04
        out[(height >= -jar.floor_mm) & (height < 0)] = (0.12, 0.13, 0.12)
        low = 0.0
        for band in jar.bands:
            here = (height >= low) & (height < band.top_fraction * jar.content_mm)
            out[here] = (np.array(band.colour) / 255) ** 2.2 * shade[here][:, None]
            low = band.top_fraction * jar.content_mm
        out[(np.abs(across) > 0.985) & glass] *= 0.5


def _frame(camera: Camera, jar: JarBefore) -> Frame:
    """The jar's true lines: rows at which the centre line shows floor and surface, columns of the silhouettes."""
    outer = jar.inner_diameter_mm / 2 + jar.wall_mm
    axis = _axis(jar)
    _, eye = camera.matrix()
    foot = CARD_HIGH_MM - jar.floor_mm
    apart = float(np.hypot(*(axis - eye[[0, 2]])))
    rows = [near_row(camera, jar, height) for height in (0.0, jar.content_mm)]
    half = math.asin(outer / apart)
    straight = math.atan2(*(axis - eye[[0, 2]]))
    edges = []
    for side in (-half, half):
        way = np.array([math.sin(straight + side), math.cos(straight + side)])
        touch = eye[[0, 2]] + way * math.sqrt(apart**2 - outer**2)
        level = np.array([(touch[0], foot - jar.content_mm / 2, touch[1])])
        edges.append(float(_seen(camera, level)[0, 0]))
    return Frame(left_px=edges[0], right_px=edges[1], floor_px=rows[0], surface_px=rows[1], confidence=1.0)


def near_row(camera: Camera, jar: JarBefore, height_mm: float) -> float:
    """The row at which the centre line of the near wall shows this height, by halving."""
    axis = _axis(jar)
    towards = camera.matrix()[1][[0, 2]] - axis
    near = axis + towards / np.hypot(*towards) * (jar.inner_diameter_mm / 2 + jar.wall_mm)
    foot = CARD_HIGH_MM - jar.floor_mm
    line = _seen(camera, np.array([(near[0], foot - y, near[1]) for y in (height_mm - 15, height_mm + 15)]))
    (c0, below), (c1, above) = line
    low, high = below, above
    for _ in range(50):
        row = (low + high) / 2
        col = c0 + (c1 - c0) * (row - below) / (above - below)
        rays, eye = _rays(camera, np.array([col]), np.array([row]))
        seen = float(_heights(jar, rays, eye)[0][0, 0])
        low, high = (row, high) if seen < height_mm else (low, row)
    return float(low + high) / 2
