"""Fit how sure the finder is, on left-out vessels:  python -m jartest.imaging.fit.calibrate OUT.json --data PATH ... --drawn N.

Right is: for the jar, that a vessel with contents stands where it was proposed; for a line, that it lies
within 3 % of the column.  The table printed is five-fold: each set of vessels is judged by a fit that has
not seen it.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging import finder
from jartest.imaging.fit.drawn import draw
from jartest.imaging.fit.facts import held_out, points_of, read
from jartest.imaging.fit.textures import BACKDROPS, backdrop
from jartest.imaging.fit.truth import Truth
from jartest.imaging.fit.unlike import KINDS, unlike

__all__ = ["five_fold", "judge", "logistic", "main", "odds", "standing", "table"]

Array = NDArray[Any]
_RIGHT = 0.03  # of the column
_PULL = 3.0  # ridge on the standardised weights


def standing(known: Truth, w: int, h: int) -> list[tuple[Array, Array]]:
    """Surface and floor, as they are seen, of each vessel with contents whose column is in the picture."""
    out = []
    for v in known.vessels:
        if not v.bands:
            continue
        s, b = points_of(known.view, v)[:2]
        middle = (s + b) / 2
        if 0 < middle[0] < w and 0 < middle[1] < h:
            out.append((s, b))
    return out


def judge(
    name: str, pixels: Any, full: list[tuple[Array, Array]], *, weight: float = 1.0
) -> list[dict[str, Any]]:
    """Signs and truth of every proposal in one picture, whose vessels' surfaces and floors are `full`."""
    work, to_photo = finder._work_copy(pixels)
    seen, columns = finder._first_look(work)
    h = pixels.shape[0]
    rows: list[dict[str, Any]] = []
    held = {"set": name.split("-")[0], "name": name, "full": len(full), "weight": weight}
    for k, c in enumerate(columns[: finder._MANY]):
        _, close, lines, signs = finder._looked(work, seen, c)
        mid = finder._centre(close)
        at = [(close.point(mid, line[0]) + 0.5) * to_photo - 0.5 for line in lines]
        m, half = (at[0] + at[1]) / 2, c.half * float(to_photo[0])
        row: dict[str, Any] = held | {"k": k, "signs": signs, "jar": False}
        for s, b in full:
            long = max(float(np.linalg.norm(b - s)), 2.0)
            if abs(m[0] - (s + b)[0] / 2) < 0.7 * half + 3 and abs(m[1] - (s + b)[1] / 2) < 0.8 * long + 5:
                row["jar"] = True
                for key, p, q in (("surface", at[0], s), ("floor", at[1], b)):
                    row[key] = bool(abs(p[1] - q[1]) < _RIGHT * long and 0 <= q[1] < h)
        rows.append(row)
    return rows or [held | {"k": -1}]


def logistic(x: Array, y: Array, weight: Array | None = None) -> dict[str, Any]:
    """Ridge logistic regression by Newton's method on standardised signs; each picture counts by its weight."""
    count = np.ones(len(x)) if weight is None else weight
    mean, spread = x.mean(0), x.std(0) + 1e-6
    z = np.c_[np.ones(len(x)), (x - mean) / spread]
    w, pull = np.zeros(z.shape[1]), np.r_[1e-6, np.full(x.shape[1], _PULL)]
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ w))
        pulled = (z * (count * p * (1 - p))[:, None]).T @ z + np.diag(pull)
        w -= np.linalg.solve(pulled, z.T @ (count * (p - y)) + pull * w)
    return {"bias": float(w[0]), "weights": w[1:].tolist(), "mean": mean.tolist(), "spread": spread.tolist()}


def odds(f: dict[str, Any], x: Array) -> Array:
    """The confidence that a fit gives to signs."""
    z = (x - np.array(f["mean"])) / np.array(f["spread"])
    return np.asarray(1 / (1 + np.exp(-(f["bias"] + z @ np.array(f["weights"])))))


def five_fold(x: Array, y: Array, sets: list[str], weight: Array | None = None) -> Array:
    """Confidences, each from a fit that has not seen the set (of vessels, or the source of photographs)."""
    count = np.ones(len(x)) if weight is None else weight
    names = sorted(set(sets))
    fold = dict(zip(names, np.random.default_rng(5).integers(0, 5, len(names)), strict=True))
    of = np.array([fold[s] for s in sets])
    out = np.zeros(len(y))
    for k in range(5):
        if (of == k).any():
            out[of == k] = odds(logistic(x[of != k], y[of != k], count[of != k]), x[of == k])
    return out


def table(what: str, p: Array, y: Array) -> list[str]:
    """The reliability table: said, right, how many."""
    lines = [f"{what}: says -> right (of how many)"]
    for lo, hi in ((0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 1.01)):
        m = (p >= lo) & (p < hi)
        if m.any():
            lines.append(f"  {100 * p[m].mean():3.0f} % -> {100 * y[m].mean():3.0f} % ({m.sum()})")
    return lines


def main(argv: list[str] | None = None) -> None:
    """Fit, print the tables, write the file."""
    a = argparse.ArgumentParser(description=main.__doc__)
    a.add_argument("out")
    a.add_argument("--data", nargs="*", default=[])
    a.add_argument("--drawn", type=int, default=260)
    a.add_argument("--unlike", type=int, default=0)
    a.add_argument("--real", default="", help="real photographs, as pieced_fit takes them")
    a.add_argument(
        "--folds", default="", help="their sources, those left out of one fit together: hs;htc,h4;..."
    )
    a.add_argument("--unseen", default="", help="folders of the weights that have not seen them: w/x{}")
    a.add_argument(
        "--textures", default="", help="pictures to put jars together from, as pieced_fit takes them"
    )
    a.add_argument("--pieced", type=int, default=0)
    o = a.parse_args(argv)
    cv2.setNumThreads(1)
    rows: list[dict[str, Any]] = []
    for n, img, t in read([Path(x) for x in o.data]):
        if held_out(n):
            rows += judge(n, img, standing(Truth.from_json(t), img.shape[1], img.shape[0]))
    for i in range(3_000_000, 3_000_000 + o.drawn):
        img, t = draw(i)
        rows += judge(f"d{i}", img, standing(Truth.from_json(t), img.shape[1], img.shape[0]))
    if o.real:
        rows += _real(o.real, o.folds, o.unseen)
    if o.textures:
        rows += _pieced(o.textures, o.pieced)
    for i in range(o.unlike):
        name = sorted(KINDS)[i % len(KINDS)]
        rows += judge(f"u{2_000_000 + i}", unlike(2_000_000 + i, name), [])
    kinds = 2 * BACKDROPS + 60 * ("photo",)  # no vessel in any; of the photographs only those fitted on
    for i, kind in enumerate(kinds):
        x = backdrop(np.random.default_rng([9, i]), kind, (384, 512)) ** (1 / 2.2)
        rows += judge(f"b{i}", (x * 255).astype(np.uint8), [])
    out = {}
    for what in ("jar", "surface", "floor"):
        some = [r for r in rows if r["k"] >= 0 and (what == "jar" or what in r)]
        x, y = np.stack([r["signs"] for r in some]), np.array([r[what] for r in some], float)
        weight = np.array([r["weight"] for r in some])
        p = five_fold(x, y, [r["set"] for r in some], weight)
        print("\n".join(table(what, p, y)))
        real = weight > 1
        if real.any():
            print("\n".join(table(f"{what}, real photographs by source", p[real], y[real])))
        out[what] = logistic(x, y, weight)
        if what == "jar":
            _pictures(rows, some, p)
    Path(o.out).write_text(json.dumps(out, indent=1) + "\n")


_REAL = 5.0  # how often a real photograph counts: they are few, and what the confidence is for; our choice


def _real(path: str, folds: str, unseen: str) -> list[dict[str, Any]]:
    """Real photographs, each judged by networks that were fitted without its source."""
    from jartest.imaging.fit.pieced_fit import photographs

    groups, kept, rows = [g.split(",") for g in folds.split(";")], finder._WEIGHTS, []
    for image, r in photographs(path):
        k = next((i for i, g in enumerate(groups) if r["source"] in g), len(groups))
        finder._WEIGHTS = Path(unseen.format(k))
        finder._net.cache_clear()
        full = [] if r["none"] else [(np.array(r["points"][0]), np.array(r["points"][1]))]
        for row in judge(f"{r['source']}-{r['name']}-{r.get('vessel', 0)}", image, full, weight=_REAL):
            if r["none"] or row.get("jar") or not r["several"]:  # what it sees of other vessels is no fault
                rows.append(row)
    finder._WEIGHTS = kept
    finder._net.cache_clear()
    return rows


def _pieced(path: str, count: int) -> list[dict[str, Any]]:
    """Jars put together from pieces, none of them fitted on."""
    import torch

    from jartest.imaging.fit.pieced import Pieces
    from jartest.imaging.fit.pieced_fit import textures

    torch.manual_seed(77)
    pieces = Pieces(textures(path, "cpu"), 384)
    rows: list[list[dict[str, Any]]] = []
    while len(rows) < count:
        m = pieces.batch(8)
        for image, points in zip(m.image.numpy(), m.points[:, 0].numpy(), strict=True):
            picture = np.ascontiguousarray(image.transpose(1, 2, 0))
            name = f"m{len(rows):04d}"
            rows.append(judge(name, picture, [(points[0], points[1])]))
    return [r for some in rows for r in some]


def _pictures(rows: list[dict[str, Any]], some: list[dict[str, Any]], p: Array) -> None:
    """How many pictures with and without a jar would be found at each limit."""
    best = {r["name"]: (r["full"], 0.0) for r in rows}
    for r, v in zip(some, p, strict=True):
        best[r["name"]] = (r["full"], max(best[r["name"]][1], float(v)))
    kinds = {
        "without": lambda n: True,
        "drawn unlike": lambda n: n[0] == "u",
        "path-traced": lambda n: n[0] in "prt",
    }
    yes = np.array([v for full, v in best.values() if full])
    for limit in (0.5, 0.6, 0.65, 0.7, 0.75, 0.8, 0.9):
        line = f"  limit {limit}: found {np.mean(yes >= limit):.3f} of {len(yes)}, false"
        for kind, of in kinds.items():
            no = np.array([v for n, (full, v) in best.items() if not full and of(n)])
            line += f", {np.sum(no >= limit)} of {len(no)} {kind}"
        print(line)


if __name__ == "__main__":
    main()
