"""Whether the contents' own texture is what is seen: held against what stands beside and above them.

A clear liquid shows what is behind it, bent as by a lens: stripes, tiles and print behind a jar vary like
lumps in it.  They also stand beside the jar and are seen through its empty part, they repeat, and what is
level in them goes on level beside the jar.  These figures say so; `flocs.py` weighs them.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.profile import Geometry, sample_arcs

__all__ = ["beside_and_above", "surround_figures"]

Floats = NDArray[np.float32]

_BESIDE = (
    1.125,
    1.5,
)  # half-widths from the jar's middle: from just outside the wall, a quarter of its width on
_ABOVE = (1.06, 1.32)  # of the column: the glass over the contents
_LEVELS = 5  # octaves: the finest is a place, the coarsest sixteen
_WEIGHT = np.array([1, 0.7, 0.7], np.float32)  # colour counts less than light, as in flocs.py
_BURNT_LIGHT = 99.0  # as in flocs.py
_WINDOW = 128  # places, in which what repeats is looked for


def beside_and_above(
    photo: Photo, geometry: Geometry, fraction: Floats, place: float
) -> tuple[Floats, Floats, Floats]:
    """CIELAB left and right of the jar at these heights, and over the contents, in places of the same size.

    `place` is a place's width in half-widths of the jar.
    """
    across = np.arange(*_BESIDE, place, dtype=np.float32)
    up = place * geometry.half_px / geometry.column_px
    over = np.arange(_ABOVE[1], _ABOVE[0], -up, dtype=np.float32)
    middle = np.arange(-0.75, 0.75, place, dtype=np.float32)
    grids = ((fraction, -across[::-1]), (fraction, across), (over, middle))
    left, right, above = (
        sample_arcs(photo, geometry, *grid, place_px=place * geometry.half_px) for grid in grids
    )
    return left, right, above


def surround_figures(patch: Floats, left: Floats, right: Floats, above: Floats) -> Floats:
    """How the contents vary in each octave against what is beside and above them, and how regularly.

    Notes
    -----
    Octaves are those of a Laplacian pyramid (Burt and Adelson 1983, IEEE Trans. Commun. 31, 532-540).
    Places that are burnt out say nothing and are left out where single places are counted.
    """
    flat = patch - np.median(patch, axis=1, keepdims=True)
    flat = flat - np.median(flat, axis=0, keepdims=True)
    inside = _energies(_octaves(patch))
    beside = np.maximum(_energies(_octaves(left)), _energies(_octaves(right)))
    over = _energies(_octaves(above))
    middle = np.median(patch.reshape(-1, 3), axis=0)
    out = [
        *inside,
        *beside,
        *over,
        *(inside - beside),
        *(inside - over),
        *(np.abs(middle - np.median(above.reshape(-1, 3), axis=0)) / 20),
        *(np.abs(middle - np.median(np.concatenate([left, right], axis=1).reshape(-1, 3), axis=0)) / 20),
        float(middle[0]) / 50 - 1,
        float(np.hypot(middle[1], middle[2])) / 30,
        *_level_lines(patch, left, right),
        *_spread(flat, patch[..., 0] <= _BURNT_LIGHT, float(middle[0])),
        *_repeats(flat[..., 0]),
    ]
    return np.array(out, np.float32)


def _octaves(patch: Floats) -> list[Floats]:
    """The patch's octaves, finest first."""
    out, here = [], patch
    for _ in range(_LEVELS):
        lower = np.asarray(cv2.pyrDown(here), np.float32)
        out.append(here - np.asarray(cv2.pyrUp(lower, dstsize=(here.shape[1], here.shape[0])), np.float32))
        here = lower
    return out


def _energies(octaves: list[Floats]) -> Floats:
    """Logarithms of how much the middle place and a lively one vary in each octave."""
    found = []
    for band in octaves:
        size = np.sqrt(((band * _WEIGHT) ** 2).sum(axis=2))
        found += [math.log(float(q) + 0.05) for q in np.percentile(size, (50, 85))]
    return np.array(found, np.float32)


def _level_lines(patch: Floats, left: Floats, right: Floats) -> list[float]:
    """How alike rows go up and down inside and beside the jar, and how much rows and columns do inside."""
    inside = _waves(np.median(patch[..., 0], axis=1))
    beside = _waves(np.median(np.concatenate([left, right], axis=1)[..., 0], axis=1))
    alike = float((inside * beside).sum() / (np.linalg.norm(inside) * np.linalg.norm(beside) + 3))
    columns = _waves(np.median(patch[..., 0], axis=0))
    return [alike, math.log(float(inside.std()) + 0.05), math.log(float(columns.std()) + 0.05)]


def _waves(profile: Floats) -> Floats:
    """A profile less its mean over 25 places."""
    return np.asarray(profile - cv2.blur(profile.reshape(-1, 1), (1, 25)).ravel(), np.float32)


def _spread(flat: Floats, seen: NDArray[np.bool_], light: float) -> list[float]:
    """How lopsided and how peaked light is in three octaves, how coloured, and how strong against the light."""
    found: list[float] = []
    for band in _octaves(flat)[1:4]:
        where = cv2.resize(seen.astype(np.float32), band.shape[1::-1], interpolation=cv2.INTER_AREA) > 0.99
        values = band[where] if where.mean() > 0.02 else band.reshape(-1, 3)
        size = float(values[:, 0].std()) + 0.05
        normal = np.clip(values[:, 0] / size, -8, 8)
        colour = float(np.sqrt((values[:, 1:] ** 2).sum(axis=1)).mean())
        typical = float(np.abs(values[:, 0]).mean())
        found += [
            float(np.clip((normal**3).mean(), -4, 4)),
            math.log(max(0.5, float((normal**4).mean()))),
            math.log((colour + 0.05) / (typical + 0.05)),
            math.log((typical + 0.05) / (light + 5)),
        ]
    return found


def _repeats(light: Floats) -> list[float]:
    """What comes again at a distance, along rows and along columns, and how much one wave has of all."""
    wave = cv2.GaussianBlur(light, (0, 0), 1.0) - cv2.blur(light, (25, 25))
    bound = 3 * float(wave.std()) + 0.1
    part = np.zeros((_WINDOW, _WINDOW), np.float32)
    kept = np.clip(wave, -bound, bound)[:_WINDOW, :_WINDOW]
    part[: kept.shape[0], : kept.shape[1]] = kept
    power = np.abs(np.fft.rfft2(part)) ** 2
    again = np.fft.irfft2(power)
    again = again / (again[0, 0] + 1e-3)
    found: list[float] = []
    for line in (again[0, :48], again[:48, 0]):
        fallen = np.flatnonzero(line < 0.15)
        k = int(fallen[0]) if len(fallen) else 47
        found += [float(line[k:].max()), math.log(1 + k), float(line.min())]
    return [*found, math.log(float(power.max() / (power.mean() + 1e-6)) + 1e-3)]
