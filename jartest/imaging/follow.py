"""The same jar in the next photo: the frame carried over by registration."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.finder import Finding, look
from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame

__all__ = ["follow_jar"]

Array = NDArray[Any]
Lines = tuple[float, float, float, float]  # left, right, floor, surface

_COLUMN_PX = 256  # height of the column in the copies that are compared
_LONGEST_PX = 1024  # and how large such a copy may be
_COARSE = 4  # how much smaller the copies are in which the first search is made
_POINTS_PX = 512  # longer side of the copies in which points are sought
_TRIED = 3  # places of the first search from which the second goes on
_AGREE = 12  # points, at least: common practice, no source
_ALIKE = 0.7  # agreement of the outlines, of 1, from which it is the same jar: in drawn series the same have 0.69 to 0.95
_STRETCH = 1.33  # a camera held by hand about where it was changes the size less


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outline:
    """Points of the jar's own edges in the earlier photo: place, direction across the edge, part of the jar."""

    at: Array  # (n, 2) col, row
    across: Array  # (n, 2)
    part: Array  # (n,) left wall, right wall, floor, surface, rest: as in _SHARES


_SHARES = np.array([0.2, 0.2, 0.25, 0.25, 0.1])  # of the agreement
_FLOOR, _SURFACE = 2, 3


def follow_jar(
    photo: Photo, earlier_photo: Photo, earlier_frame: Frame, *, seen: Finding | None = None
) -> Frame | None:
    """The earlier frame in this photo, or None where the jar cannot be told to be the same.

    `seen` is the finder's word on this photo, where it was asked already.

    Notes
    -----
    The jar's own edges (walls, floor, surface, rim, what is written on it) are laid over the edges of
    this photo by one shift, turn and scale, so that the directions of the edges agree; which side is
    darker, and how strong an edge is, does not count, for contents and light change.  A backdrop may
    shift against the jar.  The search starts from points that look alike in both photos (SIFT), from
    the jar where it stood, and from the finder's word on both photos; the best agreement counts.  Floor
    and surface then each move a little along the axis on their own.  None where too little agrees or
    the size changed by more than a third.

    References
    ----------
    Steger (2002), ISPRS Archives 34(3A), 345-350 (agreement of edge directions); Lowe (2004), Int. J.
    Comput. Vision 60, 91-110; Fischler and Bolles (1981), Commun. ACM 24, 381-395.
    """
    f = earlier_frame
    if not all(math.isfinite(v) for v in (f.left_px, f.right_px, f.floor_px, f.surface_px)):
        return None
    if f.floor_px - f.surface_px < 8 or f.right_px - f.left_px < 8:
        return None
    longest = max(photo.height_px, photo.width_px, earlier_photo.height_px, earlier_photo.width_px)
    scale = min(1.0, _COLUMN_PX / (f.floor_px - f.surface_px), _LONGEST_PX / longest)
    then, now = _grey(earlier_photo, scale), _grey(photo, scale)
    lines = _scaled(f, scale)
    starts = [np.eye(2, 3)]
    for start in (_by_points(then, now), _by_finder(seen or look(photo.pixels), earlier_photo, scale)):
        starts += [] if start is None else [start]
    move, alike, shifts = _laid_over(then, now, lines, starts)
    if alike < _ALIKE or not 1 / _STRETCH < math.hypot(move[0, 0], move[1, 0]) < _STRETCH:
        return None
    return _moved(f, move, scale, shifts)


def _scaled(f: Frame, scale: float) -> Lines:
    left, right, floor, surface = (
        (v + 0.5) * scale - 0.5 for v in (f.left_px, f.right_px, f.floor_px, f.surface_px)
    )
    return left, right, floor, surface


def _grey(photo: Photo, scale: float) -> Array:
    size = (max(1, round(photo.width_px * scale)), max(1, round(photo.height_px * scale)))
    small = cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA) if scale < 1 else photo.pixels
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY))


def _edges(grey: Array) -> Array:
    """(rows, cols, 2) direction across the edge at each pixel, its length near 1 on an edge and near 0 on none."""
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.2)
    g = np.stack([cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)], -1)
    size = np.linalg.norm(g, axis=-1, keepdims=True)
    noise = 2.0 * float(np.median(size)) + 2.0
    return np.asarray(g / (size + noise), np.float32)


def _outline(edges: Array, lines: Lines, most: int) -> _Outline:
    """The strongest edges of each part of the jar, at most about `most` of each."""
    left, right, floor, surface = lines
    wide, high = right - left, floor - surface
    h, w = edges.shape[:2]
    row, col = np.mgrid[:h, :w].astype(np.float32)
    t = (col - (left + right) / 2) / (wide / 2)
    up = (floor - row) / high
    near = max(0.06 * wide, 3.0)
    side = (np.abs(np.abs(t) - 1) * wide / 2 < near) & (up > -0.05) & (up < 1.1)
    base = (np.abs(t) < 0.75) & (row > floor - 0.06 * wide) & (row < floor + 0.14 * wide)
    top = (np.abs(t) < 0.75) & (np.abs(row - surface) < 0.06 * wide)
    rest = (np.abs(t) < 1.1) & (row > surface - 2.5 * high) & (row < floor + 0.25 * wide)
    rest &= ~(side | base | top | ((up > 0) & (up < 1)))  # contents change
    strength = np.linalg.norm(edges, axis=-1)
    upright = np.abs(edges[..., 0]) > 0.6 * strength
    flat = np.abs(edges[..., 1]) > 0.7 * strength
    parts = (side & upright & (t < 0), side & upright & (t > 0), base & flat, top & flat, rest)
    at, across, part = [], [], []
    for k, mask in enumerate(parts):
        i = np.flatnonzero(mask & (strength > 0.3))
        i = i[np.argsort(-strength.ravel()[i], kind="stable")[: 3 * most]]
        i = i[:: max(1, len(i) // most)]
        rows, cols = np.unravel_index(i, (h, w))
        at.append(np.stack([cols, rows], 1))
        across.append(edges[rows, cols] / strength[rows, cols][:, None])
        part.append(np.full(len(i), k))
    return _Outline(
        at=np.concatenate(at).astype(np.float32), across=np.concatenate(across).astype(np.float32), part=np.concatenate(part)
    )  # fmt: skip


def _agreement(edges: Array, o: _Outline, moves: Array) -> Array:
    """(m,) how well the edges agree after each of (m, 2, 3) moves, 0 to 1; a part that is lost costs dear."""
    each = _each(edges, o, moves)
    out = np.zeros(len(moves))
    there = 0.0
    for k, share in enumerate(_SHARES):
        of = o.part == k
        if of.sum() >= _AGREE:
            out += share * np.sqrt(each[:, of].mean(1))
            there += share
    return out / max(there, 1e-9)


def _each(edges: Array, o: _Outline, moves: Array) -> Array:
    """(m, n) how well each point agrees, whichever side of the edge is darker."""
    moves = moves.astype(np.float32)
    at = o.at @ moves[:, :, :2].transpose(0, 2, 1) + moves[:, None, :, 2]
    found = cv2.remap(
        edges, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    turn = moves[:, :, :2] / np.linalg.norm(moves[:, :, 0], axis=1)[:, None, None]
    return np.asarray(np.abs(((o.across @ turn.transpose(0, 2, 1)) * found).sum(-1)))


def _laid_over(
    then: Array, now: Array, lines: Lines, starts: list[Array]
) -> tuple[Array, float, tuple[float, float]]:
    """The best move, its agreement, and how far floor and surface lie from where it puts them, in px."""
    edges = _edges(now)
    outline = _outline(_edges(then), lines, 300)
    pivot = np.array([(lines[0] + lines[1]) / 2, (lines[2] + lines[3]) / 2])
    if len(outline.at) < _AGREE:
        return np.eye(2, 3), 0.0, (0.0, 0.0)
    found = [_climbed(edges, outline, m, pivot) for m in _first_search(then, now, lines, starts)]
    move, alike = max(found, key=lambda x: x[1])
    return move, alike, _line_shifts(edges, outline, move, lines[2] - lines[3])


def _first_search(then: Array, now: Array, lines: Lines, starts: list[Array]) -> list[Array]:
    """The best few moves of grids around the starts, searched in copies _COARSE times smaller."""
    c = float(_COARSE)
    small = [
        cv2.resize(
            g, (max(1, g.shape[1] // _COARSE), max(1, g.shape[0] // _COARSE)), interpolation=cv2.INTER_AREA
        )
        for g in (then, now)
    ]
    left, right, floor, surface = ((v + 0.5) / c - 0.5 for v in lines)
    outline = _outline(_edges(small[0]), (left, right, floor, surface), 60)
    if len(outline.at) < _AGREE:
        return starts
    edges = _edges(small[1])
    reach = [math.ceil(0.12 * v) for v in (right - left, floor - surface)]
    pivot = np.array([(left + right) / 2, (floor + surface) / 2])
    moves = np.stack(
        [
            _changed(_resized(s, 1 / c), pivot, float(x), float(y), k, 0.0)
            for s in starts
            for k in (-0.06, -0.03, 0, 0.03, 0.06)
            for x in range(-reach[0], reach[0] + 1)
            for y in range(-reach[1], reach[1] + 1)
        ]
    )
    good = _agreement(edges, outline, moves)
    ends = moves[:, :, :2] @ np.array([[left, right], [surface, floor]], float) + moves[:, :, 2:]
    out: list[Array] = []
    for _ in range(_TRIED):
        i = int(good.argmax())
        out.append(_resized(moves[i], c))
        good[np.abs(ends - ends[i]).max((1, 2)) < 2.5] = -1  # the same place but for a little
    return out


def _resized(move: Array, by: float) -> Array:
    """The same move between copies `by` times as large (pixel centres at integers)."""
    half = np.full(2, 0.5)
    shift = by * (move[:, 2] + half - move[:, :2] @ half) - half + move[:, :2] @ half
    return np.column_stack([move[:, :2], shift])


def _changed(move: Array, pivot: Array, x: float, y: float, log_scale: float, turn: float) -> Array:
    """The move with a further shift, scale and turn about where the pivot goes."""
    there = move[:, :2] @ pivot + move[:, 2]
    k = math.exp(log_scale)
    r = k * np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    out = np.empty((2, 3))
    out[:, :2] = r @ move[:, :2]
    out[:, 2] = there - out[:, :2] @ pivot + (x, y)
    return out


def _climbed(edges: Array, o: _Outline, move: Array, pivot: Array) -> tuple[Array, float]:
    """The move bettered step by step in shift, scale and turn."""
    best = float(_agreement(edges, o, move[None])[0])
    steps = np.array([4.0, 4.0, 0.016, 0.012])
    axes = np.concatenate([np.eye(4), -np.eye(4), [[0, s, t, 0] for s in (-1, 1) for t in (-1, 1)]])
    while steps[0] > 0.2:
        moves = np.stack([_changed(move, pivot, *map(float, d)) for d in axes * steps])
        good = _agreement(edges, o, moves)
        i = int(good.argmax())
        if good[i] > best + 1e-6:
            move, best = moves[i], float(good[i])
        else:
            steps = steps / 2
    return move, best


def _line_shifts(edges: Array, o: _Outline, move: Array, high: float) -> tuple[float, float]:
    """How far floor and surface lie from where the one move puts them, in px of the copies."""
    reach = 0.025 * high
    ys = np.arange(-reach, reach + 0.25, 0.5)
    each = _each(edges, o, np.stack([move + np.array([[0, 0, 0], [0, 0, y]]) for y in ys]))
    out = []
    for part in (_FLOOR, _SURFACE):
        of = o.part == part
        good = each[:, of].mean(1) - 0.06 * (ys / reach) ** 2 if of.sum() >= 30 else -np.abs(ys)
        out.append(float(ys[int(good.argmax())]))
    return out[0], out[1]


def _by_points(then: Array, now: Array) -> Array | None:
    """The move of the points that look alike in both, most of them backdrop; None where few agree."""
    k = min(1.0, _POINTS_PX / max(then.shape + now.shape))
    then, now = (cv2.resize(g, None, fx=k, fy=k, interpolation=cv2.INTER_AREA) for g in (then, now))
    finder = cv2.SIFT.create(nfeatures=600, contrastThreshold=0.015)
    k0, d0 = finder.detectAndCompute(then, None)
    k1, d1 = finder.detectAndCompute(now, None)
    if min(len(k0), len(k1)) < _AGREE:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True).match(d0, d1)
    if len(pairs) < _AGREE:
        return None
    a = np.array([k0[m.queryIdx].pt for m in pairs], np.float32)
    b = np.array([k1[m.trainIdx].pt for m in pairs], np.float32)
    move, agree = cv2.estimateAffinePartial2D(a, b, ransacReprojThreshold=2.0, maxIters=2000)
    if np.count_nonzero(agree) < _AGREE:
        return None
    return _resized(np.asarray(move, float), 1 / k)


def _by_finder(seen: Finding, earlier: Photo, scale: float) -> Array | None:
    """The move that takes the finder's jar in the earlier photo to its jar in this one; its faults cancel."""
    found = [look(earlier.pixels), seen]
    if any(f.frame is None or not math.isfinite(sum(f.raw_rows)) for f in found):
        return None
    ends = []
    for f in found:
        assert f.frame is not None
        x, half = (f.frame.left_px + f.frame.right_px) / 2, (f.frame.right_px - f.frame.left_px) / 2
        ends.append(((x + 0.5) * scale - 0.5, (f.raw_rows[1] + 0.5) * scale - 0.5, half * scale))
    if min(e[2] for e in ends) < 2:
        return None
    x0, y0, r0 = ends[0]
    x1, y1, r1 = ends[1]
    k = r1 / r0
    return np.array([[k, 0, x1 - k * x0], [0, k, y1 - k * y0]])


def _moved(frame: Frame, move: Array, scale: float, shifts: tuple[float, float]) -> Frame:
    def at(col: float, row: float) -> tuple[float, float]:
        x, y = (col + 0.5) * scale - 0.5, (row + 0.5) * scale - 0.5
        u, v = move @ np.array([x, y, 1.0])
        return float((u + 0.5) / scale - 0.5), float((v + 0.5) / scale - 0.5)

    mid_col, mid_row = (frame.left_px + frame.right_px) / 2, (frame.floor_px + frame.surface_px) / 2
    return replace(
        frame,
        left_px=at(frame.left_px, mid_row)[0],
        right_px=at(frame.right_px, mid_row)[0],
        floor_px=at(mid_col, frame.floor_px)[1] + shifts[0] / scale,
        surface_px=at(mid_col, frame.surface_px)[1] + shifts[1] / scale,
        tilt_deg=frame.tilt_deg + math.degrees(math.atan2(move[1, 0], move[0, 0])),
    )
