"""A frame carried over from an earlier photo, held against the one that the finder has of this photo."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from jartest.imaging.values import Frame, Reading

__all__ = ["DOUBTED", "Apart", "apart_from", "beyond_doubt", "say_apart", "widened"]

DOUBTED = "lines doubted"  # the flag, as quality.py has it

# One sigma of how far right lines of the two lie apart, of the column and of the width.  In drawn series, where both
# were right, floors were up to 1.0 and surfaces up to 2.0 % of the column apart, walls up to 4 % of the width.
_LINE_SIGMA, _WALL_SIGMA = 0.01, 0.04
_SIGMAS = 2.0  # apart by more, the two are told to differ; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far the finder's lines lie from the carried ones: floor and surface in columns, up; walls in widths, right.

    NaN for a line that the finder cannot tell.
    """

    floor_fraction: float
    surface_fraction: float
    left_fraction: float
    right_fraction: float

    def beside(self, settled: Apart | None) -> Apart:
        """What is left of it where a person refused the finder's lines that lay so far off in an earlier photo.

        A finder that errs on one jar mostly does so in each of its photos, and alike.
        """
        if settled is None:
            return self
        return Apart(**{n: _nearer(getattr(self, n), getattr(settled, n)) for n in self.__slots__})


def _nearer(now: float, then: float) -> float:
    rest = now - then
    return rest if abs(rest) < abs(now) else now  # NaN compares false


def apart_from(carried: Frame, found: Frame) -> Apart:
    """How far the finder's lines lie from the carried ones; both have floor, surface and walls, the finder's maybe NaN."""
    high, wide = carried.floor_px - carried.surface_px, carried.right_px - carried.left_px
    return Apart(
        floor_fraction=(carried.floor_px - found.floor_px) / high,
        surface_fraction=(carried.surface_px - found.surface_px) / high,
        left_fraction=(found.left_px - carried.left_px) / wide,
        right_fraction=(found.right_px - carried.right_px) / wide,
    )


def beyond_doubt(apart: Apart, sigmas: float = _SIGMAS) -> bool:
    """True where a line of the two differs by more than so many sigmas of both; a line not told differs from none."""
    lines = max(_size(apart.floor_fraction), _size(apart.surface_fraction)) / _LINE_SIGMA
    walls = max(_size(apart.left_fraction), _size(apart.right_fraction)) / _WALL_SIGMA
    return max(lines, walls) > sigmas


def _size(x: float) -> float:
    return 0.0 if math.isnan(x) else abs(x)


def say_apart(apart: Apart) -> str:
    """Which lines found in a photo lie elsewhere than the carried ones, and by how much, in a sentence."""
    said = []
    for line, up in (("floor", apart.floor_fraction), ("surface", apart.surface_fraction)):
        if _size(up) > _SIGMAS * _LINE_SIGMA:
            said.append(f"the {line} {abs(up):.0%} of the liquid's height {'higher' if up > 0 else 'lower'}")
    for wall, right in (("left", apart.left_fraction), ("right", apart.right_fraction)):
        if _size(right) > _SIGMAS * _WALL_SIGMA:
            where = "right" if right > 0 else "left"
            said.append(f"the {wall} wall {abs(right):.0%} of the jar's width further {where}")
    found = ", ".join(said) or "all lines within their doubts"
    return f"Found in this photo, against the lines carried over: {found}.".replace("%", " %")


def widened(reading: Reading, apart: Apart) -> Reading:
    """The reading with doubt enough that it holds in either frame: each sigma with what the other frame would make of it.

    Notes
    -----
    A height f of the column goes with its floor by (1 - f) and with its surface by f.  Sediment lies on the floor,
    and what floats or has cleared hangs from the surface; a layer that is not seen may hide between the two frames.
    """
    floor, surface = _size(apart.floor_fraction), _size(apart.surface_fraction)

    def at(sigma: float, height: float) -> float:
        return math.hypot(sigma, (1 - height) * floor, height * surface)

    layers = tuple(
        replace(x, top_sigma_fraction=at(x.top_sigma_fraction, x.top_fraction)) for x in reading.layers
    )
    wider: dict[str, Any] = {
        f"{n}_sigma_fraction": at(getattr(reading, f"{n}_sigma_fraction"), hung(getattr(reading, f"{n}_fraction")))
        for n, hung in (("settled", float), ("clear", _from_above), ("top_layer", _from_above), ("foam", _over))
    }  # fmt: skip
    return replace(reading, layers=layers, **wider)


def _from_above(thickness: float) -> float:
    return 1 - thickness


def _over(thickness: float) -> float:
    return 1 + thickness
