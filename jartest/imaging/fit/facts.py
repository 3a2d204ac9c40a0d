"""From a picture's truth to what the networks are asked for: points, kinds and a mask."""

from __future__ import annotations

import itertools
import json
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.truth import Truth, Vessel, View

__all__ = [
    "CANVAS",
    "MOST_BAITS",
    "MOST_BANDS",
    "MOST_VESSELS",
    "POINTS",
    "Facts",
    "facts",
    "held_out",
    "points_of",
    "read",
    "ungrained",
]

CANVAS = 512
MOST_VESSELS, MOST_BANDS, MOST_BAITS = 2, 6, 3
POINTS = ("surface", "floor", "rim", "left", "right", "far", "top")
_MASK = {"foam": 3, "floating": 4, "liquid": 5, "settled": 6}
_ROW = {"foam": 1, "floating": 2, "liquid": 3, "settled": 4}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Facts:
    """One picture on a square canvas, with everything asked of it; columns and rows in px, NaN where absent."""

    image: NDArray[np.uint8]  # (512, 512, 3)
    size: tuple[int, int]  # width, height
    mask: NDArray[np.uint8]  # (512, 512)
    points: NDArray[np.float32]  # (vessels, 7, 2)
    band_tops: NDArray[np.float32]  # (vessels, bands, 2)
    band_kinds: NDArray[np.int64]  # (vessels, bands), 0 for none
    bait: NDArray[np.float32]  # (baits, 5, 2): columns proposed where no vessel stands, as `points`
    traced: bool  # path-traced, not drawn
    held_out: bool


def held_out(name: str) -> bool:
    """Whether a picture is kept for choosing and calibrating: one set of vessels in eight."""
    number = int("".join(c for c in name.split("-")[0] if c.isdigit()))
    return number % 8 == 3


def read(paths: list[Path]) -> Iterator[tuple[str, NDArray[np.uint8], dict[str, Any]]]:
    """Name, picture (RGB) and truth of every picture in the given folders and zips."""
    for p in paths:
        if p.is_dir():
            for j in sorted(p.glob("*.json")):
                img = cv2.imread(str(j.with_suffix(".jpg")))
                if img is not None:
                    yield j.stem, np.asarray(img[..., ::-1], np.uint8), json.loads(j.read_text())
            continue
        with zipfile.ZipFile(p) as z:
            for n in sorted(z.namelist()):
                if n.endswith(".json"):
                    raw = np.frombuffer(z.read(n[:-4] + "webp"), np.uint8)
                    img = cv2.imdecode(raw, cv2.IMREAD_COLOR)
                    if img is not None:
                        yield n[:-5], np.asarray(img[..., ::-1], np.uint8), json.loads(z.read(n))


def ungrained(name: str, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture with the grain of few samples taken out, two in three of the renderer's `p` and `r`, by name."""
    strength = (0, 9, 16)[zlib.crc32(name.encode()) % 3]
    if name[0] not in "pr" or not strength:
        return image
    return np.asarray(cv2.fastNlMeansDenoisingColored(image, None, strength, strength, 3, 13), np.uint8)


def facts(name: str, image: NDArray[np.uint8], truth: dict[str, Any]) -> Facts:
    """What the networks are asked for in one picture."""
    known = Truth.from_json(truth)
    h, w = image.shape[:2]
    canvas = np.full((CANVAS, CANVAS, 3), 128, np.uint8)
    canvas[:h, :w] = image
    mask = np.zeros((CANVAS, CANVAS), np.uint8)
    points = np.full((MOST_VESSELS, len(POINTS), 2), np.nan, np.float32)
    tops = np.full((MOST_VESSELS, MOST_BANDS, 2), np.nan, np.float32)
    kinds = np.zeros((MOST_VESSELS, MOST_BANDS), np.int64)
    eye = known.view.eye
    order = sorted(known.vessels, key=lambda v: -float(np.linalg.norm(v.origin - eye)))
    for v in order:
        _draw(mask, known.view, v)
    mask[h:], mask[:, w:] = 0, 0
    bait = np.full((MOST_BAITS, 5, 2), np.nan, np.float32)
    for k, b in enumerate(truth.get("bait", [])[:MOST_BAITS]):
        bait[k] = b
    k = 0
    for v in reversed(order):
        if not v.bands or k >= MOST_VESSELS:
            continue
        points[k] = points_of(known.view, v)
        for j, b in enumerate(v.bands[:MOST_BANDS]):
            seen = v.seen("", layer=j)
            tops[k, j] = known.view.project(v.ring(b.top_mm, np.zeros(1)))[0] if seen is None else seen
            kinds[k, j] = _ROW[b.kind]
        k += 1
    return Facts(
        image=canvas, size=(w, h), mask=mask, points=points, band_tops=tops, band_kinds=kinds,
        bait=bait, traced=name[0] in "prtw", held_out=held_out(name),
    )  # fmt: skip


def points_of(view: View, v: Vessel) -> NDArray[np.float32]:
    """Columns and rows of the points that `POINTS` names, (7, 2)."""
    at = lambda h, a=0.0: view.project(v.ring(h, np.array([a])))[0]  # noqa: E731
    turn = np.linspace(-np.pi, np.pi, 97)
    ring = view.project(v.ring(v.surface_mm / 2, turn))
    left, right = ring[ring[:, 0].argmin()], ring[ring[:, 0].argmax()]
    s = v.surface_mm
    plain = [at(s), at(0.0), at(v.height_mm), left, right, at(s, np.pi), at(v.top_mm)]
    names = [
        ("surface", "near"),
        ("floor", "near"),
        ("rim", "near"),
        None,
        None,
        ("surface", "far"),
        ("top", "near"),
    ]
    seen = [v.seen(*n) if n else None for n in names]
    return np.array([p if q is None else q for p, q in zip(plain, seen, strict=True)], np.float32)


def _hull(mask: NDArray[np.uint8], view: View, v: Vessel, heights: NDArray[Any], value: int) -> None:
    turn = np.linspace(-np.pi, np.pi, 49)
    rings = [view.project(v.ring(float(y), turn)) for y in heights]
    for a, b in itertools.pairwise(rings):
        hull = cv2.convexHull(np.concatenate([a, b]).clip(-4000, 4000).astype(np.float32))
        cv2.fillConvexPoly(mask, np.round(hull).astype(np.int32), value)


def _draw(mask: NDArray[np.uint8], view: View, v: Vessel) -> None:
    _hull(mask, view, v, np.linspace(-v.floor_mm, v.height_mm, 24), 1)
    for b in v.bands:
        _hull(mask, view, v, np.linspace(b.bottom_mm, b.top_mm, 7), _MASK[b.kind])
    if v.bands:
        ring = view.project(v.ring(v.top_mm, np.linspace(-np.pi, np.pi, 49)))
        if ring[24, 1] > ring[0, 1] + 0.5:  # seen from above: the face between near and far arc
            cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 2)
