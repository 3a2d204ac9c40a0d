"""Lumps in the contents: their count, size and cover, and one figure that ranks pictures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, Geometry, Strip, sample_arcs
from jartest.imaging.surround import beside_and_above, surround_figures
from jartest.imaging.values import Frame, Lump

__all__ = [
    "NO_BODY",
    "Blob",
    "Flocs",
    "Texture",
    "body_patch",
    "clarity",
    "clarity_features",
    "find_flocs",
    "floc_features",
    "lump_features",
    "place_px",
    "see_texture",
    "weigh",
]

Floats = NDArray[np.float32]

_ACROSS = 96  # places across three quarters of the jar: one is 1/128 of its width
_REACH = 0.75
_STRETCH = 0.76  # puts 0.3 at 0.4: of left-out bodies 10.6 % of the smooth and 7.1 % of the lumpy lie on the wrong side
_SMOOTH = 0.15  # index under which spots are glints, marks on the glass and grain: of left-out bodies that the index
# passes, spots over the limit then speak against 15 smooth ones in place of 44, and for 5 lumpy ones in place of 6
_BURNT_LIGHT = 99.0  # L* from which a place counts as burnt out and shows nothing
_BURNT_OUT = 0.9  # of the body, above which lumps are not measurable: in pictures for fitting that were made
# brighter the area under the curve was 0.72 with three fifths burnt out, 0.65 with 83 % and 0.58 with 94 %
_SCALES = (1.0, 2.0, 4.0, 8.0)  # places; the coarsest is a sixteenth of the jar's width


@dataclass(frozen=True, slots=True, kw_only=True)
class Flocs:
    """What the contents' texture says."""

    index: float
    lumps: tuple[Lump, ...]
    area_fraction: float


NO_BODY = Flocs(index=math.nan, lumps=(), area_fraction=math.nan)


def body_patch(photo: Photo, geometry: Geometry, bottom: float, top: float) -> Floats:
    """The body of the liquid in square places, in CIELAB, from just above `bottom` to just below `top`."""
    fraction = _heights(geometry, bottom, top)
    across = np.linspace(-_REACH, _REACH, _ACROSS, dtype=np.float32)
    if len(fraction) < 12:
        return np.zeros((0, _ACROSS, 3), np.float32)
    return sample_arcs(photo, geometry, fraction, across, place_px=2 * _REACH * geometry.half_px / _ACROSS)


def _heights(geometry: Geometry, bottom: float, top: float) -> Floats:
    """Heights of the patch's rows, from the top down."""
    place = 2 * _REACH * geometry.half_px / _ACROSS / geometry.column_px
    edge = 0.025 + 0.02 * (top - bottom)
    fraction = np.arange(top - edge, bottom + edge, -place, dtype=np.float32)
    if len(fraction) > 400:
        fraction = np.linspace(fraction[0], fraction[-1], 400, dtype=np.float32)
    return fraction


def floc_features(patch: Floats, blobs: tuple[list[Blob], list[Blob]] | None = None) -> Floats:
    """How the patch varies at each scale: how much, in quiet and lively tiles, how peaked, which way.

    Shade that goes with the height or with the place across is taken off first; tiles make a label, a
    printed scale or a reflection, which are in one place, count less than lumps, which are everywhere.
    Where places are burnt out, the tiles that show most of their contents speak for the body.
    """
    seen = patch[..., 0] <= _BURNT_LIGHT
    flat = patch - np.median(patch, axis=1, keepdims=True)
    flat = flat - np.median(flat, axis=0, keepdims=True)
    high = max(3, round(len(patch) / 12))
    step = max(1, len(patch) // high)
    places = seen[::step, ::12] if seen[::step, ::12].any() else np.ones_like(seen[::step, ::12])
    share = cv2.resize(seen.astype(np.float32), (8, high), interpolation=cv2.INTER_AREA).ravel()
    tiles = share >= min(0.5, float(np.percentile(share, 75)))
    out: list[float] = []
    last = cv2.GaussianBlur(flat, (0, 0), 0.6)
    for scale in _SCALES:
        blurred = cv2.GaussianBlur(flat, (0, 0), scale)
        signed = last - blurred
        band = np.sqrt(((signed * np.array([1, 0.7, 0.7], np.float32)) ** 2).sum(axis=2))
        energy = cv2.resize(band, (8, high), interpolation=cv2.INTER_AREA).ravel()[tiles]
        out += [math.log(q + 0.05) for q in _percentiles(energy, (25, 50, 75))]
        light = signed[..., 0]
        sigma = 1.4826 * float(np.median(np.abs(light[seen] if seen.any() else light))) + 0.05
        for side in (light, -light):
            peak = cv2.dilate(side, np.ones((5, 5), np.uint8))[::step, ::12][places] / sigma
            out += [math.log(max(0.5, q)) for q in _percentiles(peak, (30, 60, 85))]
        fine = cv2.Sobel(blurred[..., 0], cv2.CV_32F, 1, 0), cv2.Sobel(blurred[..., 0], cv2.CV_32F, 0, 1)
        out.append(
            math.log((float(np.median(np.abs(fine[0]))) + 0.02) / (float(np.median(np.abs(fine[1]))) + 0.02))
        )
        last = blurred
    for spots in blobs or (_blobs(patch, 1), _blobs(patch, -1)):
        out += _blob_features(patch, spots)
    light = patch[..., 0]
    out += [float(light.mean()) / 50 - 1, float((light > 98).mean()), math.log(len(patch) / 100)]
    return np.array(out, np.float32)


def _percentiles(values: NDArray[Any], percents: tuple[float, ...]) -> list[float]:
    """As NumPy's percentile, which takes ten times as long for the few places that are asked about here."""
    ordered = np.sort(values, axis=None)
    return [
        float(q)
        for q in np.interp(np.array(percents) / 100 * (len(ordered) - 1), np.arange(len(ordered)), ordered)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blob:
    """A spot: the row and place of its middle in the patch, and how many places it covers."""

    row: float
    place: float
    area: float  # square places


def _blobs(patch: Floats, side: int) -> list[Blob]:
    """Compact spots lighter (side 1) or darker (side -1) than what is around them."""
    light = side * cv2.GaussianBlur(patch[..., 0], (0, 0), 0.8)
    around = (
        cv2.medianBlur(((light - light.min()) * 2).clip(0, 255).astype(np.uint8), 23).astype(np.float32) / 2
    )
    over = light - light.min() - around
    sigma = 1.4826 * float(np.median(np.abs(over - np.median(over))))
    mask = (over > max(4 * sigma, 2.0)).astype(np.uint8)
    count, _, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=8)
    out = []
    for k in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[k])
        inside = x > 0 and y > 0 and x + w < mask.shape[1] and y + h < mask.shape[0]
        if inside and area >= 4 and max(w, h) <= 24 and max(w, h) <= 3.5 * min(w, h) and area >= 0.45 * w * h:
            out.append(Blob(row=float(centres[k][1]), place=float(centres[k][0]), area=float(area)))
    return out


def _blob_features(patch: Floats, blobs: list[Blob]) -> list[float]:
    """Of the blobs: how many, in how many tiles, and how much they cover."""
    tiles = {(int(b.row // 16), int(b.place // 16)) for b in blobs}
    tile_count = max(1.0, len(patch) / 16) * 6
    cover = sum(b.area for b in blobs) / (patch.shape[0] * patch.shape[1])
    density = len(blobs) / (patch.shape[0] * patch.shape[1]) * 1e4
    return [math.log1p(density), len(tiles) / tile_count, math.log(cover + 1e-4)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Texture:
    """A layer's patch and its figures: empty and None where it is too thin to tell anything."""

    patch: Floats
    features: Floats | None
    spots: tuple[Blob, ...] = ()  # lighter than what is around them


def see_texture(photo: Photo, geometry: Geometry, bottom: float, top: float) -> Texture:
    """How the layer between two heights varies; asked once, for its lumps and for its clarity."""
    patch = body_patch(photo, geometry, bottom, top)
    if not len(patch):
        return Texture(patch=patch, features=None)
    light, dark = _blobs(patch, 1), _blobs(patch, -1)
    return Texture(patch=patch, features=floc_features(patch, (light, dark)), spots=tuple(light))


def lump_features(
    texture: Texture, photo: Photo, geometry: Geometry, bottom: float, top: float
) -> Floats | None:
    """How a layer varies, alone and against what stands beside and above it; None where it is too thin."""
    if texture.features is None:
        return None
    fraction = _heights(geometry, bottom, top)
    around = beside_and_above(photo, geometry, fraction, 2 * _REACH / _ACROSS)
    return np.concatenate([texture.features, surround_figures(texture.patch, *around)])


def find_flocs(texture: Texture, photo: Photo, geometry: Geometry, bottom: float, top: float) -> Flocs:
    """The lumps of the liquid between two heights, in fractions of the column's rows.

    Returns
    -------
    Flocs
        `index` NaN where the body is too thin to tell (less than a tenth of the jar's width), or burnt
        out nearly everywhere.
    """
    patch = texture.patch
    if texture.features is None or (patch[..., 0] > _BURNT_LIGHT).mean() > _BURNT_OUT:
        return NO_BODY
    features = lump_features(texture, photo, geometry, bottom, top)
    if features is None:
        return NO_BODY
    index = _figure("flocs", features) ** _STRETCH
    blobs = texture.spots if index >= _SMOOTH else ()
    edge = 0.025 + 0.02 * (top - bottom)
    place_px = 2 * _REACH * geometry.half_px / _ACROSS
    lumps = []
    for b in blobs:
        fraction = np.float32(top - edge - (top - bottom - 2 * edge) * b.row / max(1, len(patch) - 1))
        across = np.float32(-_REACH + 2 * _REACH * b.place / (_ACROSS - 1))
        col, row = geometry.points(np.asarray(fraction), np.asarray(across))
        diameter = 2 * math.sqrt(b.area / math.pi) * place_px
        lumps.append(Lump(row_px=float(row), col_px=float(col), diameter_px=diameter))
    cover = sum(b.area for b in blobs) / (patch.shape[0] * patch.shape[1])
    return Flocs(index=index, lumps=tuple(lumps), area_fraction=cover)


def place_px(frame: Frame) -> float:
    """Side of one of the square places in which lumps are sought, in pixels; the smallest lump told has four."""
    return _REACH * (frame.right_px - frame.left_px) / _ACROSS


def clarity_features(texture: Texture, strip: Strip) -> Floats | None:
    """How a layer varies, and how its colour differs from the glass above; None where it is too thin."""
    if texture.features is None:
        return None
    above = strip.lab[np.ix_((FRACTIONS > 1.1) & (FRACTIONS < 1.25), np.abs(ACROSS) < 0.7)].reshape(-1, 3)
    apart = np.abs(np.median(texture.patch.reshape(-1, 3), axis=0) - np.median(above, axis=0)) / 20
    return np.concatenate([texture.features, apart.astype(np.float32)])


def clarity(texture: Texture, strip: Strip) -> float:
    """How sure it is that one sees through this layer (0 to 1); NaN where it is too thin to tell."""
    features = clarity_features(texture, strip)
    return math.nan if features is None else _figure("clarity", features)


@cache
def _weights(name: str) -> dict[str, Floats]:
    with np.load(Path(__file__).parent / "weights" / f"{name}.npz") as held:
        return {key: np.asarray(held[key], np.float32) for key in held.files}


def _figure(name: str, features: Floats) -> float:
    return weigh(_weights(name), features)


def weigh(weights: dict[str, Floats], features: Floats) -> float:
    """A figure from 0 to 1: the mean of five two-layer perceptrons, fitted by `fit/lumps_fit.py` and `fit/texture_fit.py`."""
    x = (features - weights["mean"]) / weights["spread"]
    if "bound" in weights:
        x = np.clip(x, -weights["bound"], weights["bound"])
    hidden = np.tanh(weights["w1"] @ x + weights["b1"])
    return float((1 / (1 + np.exp(-(weights["w2"] @ hidden + weights["b2"])))).mean())
