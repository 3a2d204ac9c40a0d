"""Meshes for the scenes: lathed surfaces of round or rounded-square section, tubes, lumps; written as PLY."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit.truth import section

__all__ = ["grid", "icosphere", "lathe", "lumps", "tube", "write_ply"]

Array = NDArray[np.float64]
Bump = Callable[[Array, Array], Array]


def write_ply(path: Path, v: Array, f: NDArray[Any], n: Array | None = None, uv: Array | None = None) -> None:
    """A binary PLY of triangles with optional normals and texture coordinates."""
    cols = [v]
    head = ["ply", "format binary_little_endian 1.0", f"element vertex {len(v)}"]
    head += [f"property float {k}" for k in "xyz"]
    if n is not None:
        cols.append(n)
        head += [f"property float {k}" for k in ("nx", "ny", "nz")]
    if uv is not None:
        cols.append(uv)
        head += [f"property float {k}" for k in ("u", "v")]
    head += [f"element face {len(f)}", "property list uchar int vertex_indices", "end_header"]
    faces = np.empty(len(f), dtype=[("n", "u1"), ("i", "<i4", 3)])
    faces["n"], faces["i"] = 3, f
    body = np.concatenate(cols, 1).astype("<f4")
    path.write_bytes(("\n".join(head) + "\n").encode() + body.tobytes() + faces.tobytes())


def _faces(rows: int, cols: int) -> NDArray[Any]:
    i = np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)[None]
    a, b, d, e = i, i + 1, i + cols, i + cols + 1
    both = [np.stack([a, b, e], -1).reshape(-1, 3), np.stack([a, e, d], -1).reshape(-1, 3)]
    return np.concatenate(both)


def grid(path: Path, p: Array, *, smooth: bool = True) -> None:
    """A (rows, cols, 3) grid of points; `smooth` adds numeric normals pointing away from the axis."""
    rows, cols = p.shape[:2]
    normals = None
    if smooth:
        du, dv = np.gradient(p, axis=1), np.gradient(p, axis=0)
        if np.allclose(p[:, 0], p[:, -1]):  # closed round the axis: no seam
            du[:, 0] = du[:, -1] = (p[:, 1] - p[:, -2]) / 2
        n = np.cross(du, dv)
        n /= np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12
        out = p - p.mean((0, 1))
        normals = np.where((n * out).sum() < 0, -n, n).reshape(-1, 3)
    u, v = np.meshgrid(np.linspace(0, 1, cols), np.linspace(0, 1, rows))
    write_ply(path, p.reshape(-1, 3), _faces(rows, cols), normals, np.stack([u, v], -1).reshape(-1, 2))


def lathe(
    path: Path,
    r: Array,
    y: Array,
    *,
    power: float = 2.0,
    yaw_deg: float = 0.0,
    seg: int = 144,
    bump: Bump | None = None,
) -> None:
    """A surface through (r_i, y_i) turned round the y axis; angle 0 faces +z."""
    r, y = np.asarray(r, float), np.asarray(y, float)
    th = np.linspace(0, 2 * np.pi, seg + 1)
    s = section(th, power, yaw_deg)
    x, z = r[:, None] * s * np.sin(th), r[:, None] * s * np.cos(th)
    h = np.repeat(y[:, None], seg + 1, 1)
    if bump is not None:
        h = h + bump(x, z)
    dr, dy = np.gradient(r), np.gradient(y)
    ln = np.hypot(dr, dy) + 1e-12
    ds = np.gradient(s, th)
    nx, nz = s * np.sin(th) - ds * np.cos(th), s * np.cos(th) + ds * np.sin(th)  # outward normal of r = s(th)
    nl = np.hypot(nx, nz)
    up = np.repeat((-dr / ln)[:, None], seg + 1, 1)
    n = np.stack([(dy / ln)[:, None] * nx / nl, up, (dy / ln)[:, None] * nz / nl], -1)
    u, v = np.broadcast_arrays(th / (2 * np.pi), ((y - y.min()) / (np.ptp(y) + 1e-9))[:, None])
    p = np.stack([x, h, z], -1)
    normals = None if bump is not None else n.reshape(-1, 3)
    write_ply(path, p.reshape(-1, 3), _faces(len(r), seg + 1), normals, np.stack([u, v], -1).reshape(-1, 2))


def icosphere() -> tuple[Array, NDArray[Any]]:
    """A unit sphere of 162 points and 320 triangles."""
    g = (1 + 5**0.5) / 2
    v: list[tuple[float, float, float]] = [
        (-1, g, 0),
        (1, g, 0),
        (-1, -g, 0),
        (1, -g, 0),
        (0, -1, g),
        (0, 1, g),
        (0, -1, -g),
        (0, 1, -g),
    ]
    v += [(g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1)]
    points = [tuple(np.array(q) / np.hypot(1, g)) for q in v]
    f = [[0, 11, 5], [0, 5, 1], [0, 1, 7], [0, 7, 10], [0, 10, 11], [1, 5, 9], [5, 11, 4], [11, 10, 2]]
    f += [[10, 7, 6], [7, 1, 8], [3, 9, 4], [3, 4, 2], [3, 2, 6], [3, 6, 8], [3, 8, 9], [4, 9, 5]]
    f += [[2, 4, 11], [6, 2, 10], [8, 6, 7], [9, 8, 1]]
    for _ in range(2):
        halves: dict[tuple[int, int], int] = {}
        finer = []
        for a, b, c in f:
            m = []
            for i, j in ((a, b), (b, c), (c, a)):
                key = (min(i, j), max(i, j))
                if key not in halves:
                    q = np.add(points[i], points[j])
                    halves[key] = len(points)
                    points.append(tuple(q / np.linalg.norm(q)))
                m.append(halves[key])
            finer += [[a, m[0], m[2]], [b, m[1], m[0]], [c, m[2], m[1]], m]
        f = finer
    return np.array(points), np.array(f)


def lumps(path: Path, rng: np.random.Generator, centres: Array, radii: Array) -> None:
    """Bumpy balls at the given centres."""
    v0, f0 = icosphere()
    vs, fs = [], []
    for i, (c, r) in enumerate(zip(centres, radii, strict=True)):
        wave = rng.normal(0, 1, (3, 3))
        shape = 1 + 0.33 * np.sin(v0 @ wave * 1.8 + rng.random(3) * 6).mean(1)
        vs.append(v0 * shape[:, None] * r * np.array([1, rng.uniform(0.6, 1), 1]) + c)
        fs.append(f0 + i * len(v0))
    write_ply(path, np.concatenate(vs), np.concatenate(fs))


def tube(path: Path, line: Array, radius: Array, seg: int = 12) -> None:
    """A tube of the given radii round a polyline: a handle, a gel string."""
    t = np.gradient(line, axis=0)
    t /= np.linalg.norm(t, axis=1, keepdims=True) + 1e-12
    side = np.cross(t, np.array([0.31, 0.23, 0.92]))
    side /= np.linalg.norm(side, axis=1, keepdims=True) + 1e-12
    other = np.cross(t, side)
    a = np.linspace(0, 2 * np.pi, seg + 1)[None, :, None]
    p = line[:, None] + radius[:, None, None] * (np.cos(a) * side[:, None] + np.sin(a) * other[:, None])
    rows, cols = p.shape[:2]
    write_ply(path, p.reshape(-1, 3), _faces(rows, cols))
