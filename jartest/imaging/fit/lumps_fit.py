"""How `weights/flocs.npz` was fitted: figures of pictures with known contents, and five small perceptrons.

    python -m jartest.imaging.fit.lumps_fit figures FIGURES.npz --contents CONTENTS.json --pictures FOLDER A.zip B.zip
    python -m jartest.imaging.fit.lumps_fit check FIGURES.npz
    python -m jartest.imaging.fit.lumps_fit fit FIGURES.npz jartest/imaging/weights/flocs.npz

A folder holds NAME.jpg and NAME.json; where the truth does not say what a layer holds, CONTENTS.json does
(NAME -> list of layers with `kind`, `density`, `mottle`, `flocs`, `floc_mm`).  A zip is one of
`fit/pictures.py --lumps`.  `check` prints the area under the curve where each fifth of the sets of
vessels is judged by a fit that has not seen it.  `fit` and `check` need torch.  Figures and what they came
to are in DIARY.md.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.fit import facts
from jartest.imaging.fit.truth import Truth
from jartest.imaging.flocs import lump_features, see_texture
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.profile import Geometry, find_geometry
from jartest.imaging.values import Frame

__all__ = ["Body", "aucs", "bodies", "changed", "is_lumpy", "main"]

Floats = NDArray[np.float32]
Rng = np.random.Generator

_OPAQUE = 6  # scattering per cm, from which a layer is painted
_COPIES, _BURNT = 4, 2  # of each picture: under other light, and with much of its contents burnt out
_CLEAR_BURNT = 100  # number of the first burnt copy


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A layer of liquid in a picture: where it is in the true frame, and whether it is lumpy."""

    name: str
    photo: Photo
    geometry: Geometry
    bottom: float
    top: float
    lumpy: bool

    @property
    def vessels(self) -> int:
        """Number of the set of vessels, which stays on one side of every cut."""
        return int("".join(c for c in self.name.split("-")[0] if c.isdigit()))


def is_lumpy(layer: dict[str, Any]) -> bool | None:
    """Whether lumps can be seen in this layer of liquid; None where they are too few, pale or veiled to say."""
    if layer["density"] >= _OPAQUE:
        return None if 0.09 <= layer["mottle"] < 0.44 else bool(layer["mottle"] >= 0.44)
    if layer.get("strings"):
        return True
    if not layer["flocs"]:
        return False
    veiled = {2.0: 9.9, 1.0: 2.5, 0.5: 1.2}  # scattering per cm -> lumps under so many mm are not seen
    hidden = any(layer["density"] >= k and layer["floc_mm"] < mm for k, mm in veiled.items())
    return None if hidden or layer["flocs"] < 12 else True


def bodies(paths: list[Path], contents: dict[str, list[dict[str, Any]]]) -> Iterator[Body]:
    """The layer of liquid that decides, of every picture with one vessel that can be judged."""
    for name, picture, truth in facts.read(paths):
        known = Truth.from_json(truth)
        if len(known.vessels) != 1 or not known.vessels[0].bands:
            continue
        told = truth.get("vessels", [truth])[0]["layers"]
        layers = [a | b for a, b in zip(told, contents.get(name, told), strict=True)]
        body = _deciding([x for x in layers if x["kind"] in ("turbid", "clear")])
        points = facts.points_of(known.view, known.vessels[0])
        frame = _frame(points, truth, picture.shape)
        if body is None or frame is None:
            continue
        photo = open_photo(cv2.imencode(".png", picture[..., ::-1])[1].tobytes())
        surface = known.vessels[0].surface_mm
        yield Body(
            name=name,
            photo=photo,
            geometry=find_geometry(photo, frame),
            bottom=body["bottom_mm"] / surface,
            top=body["top_mm"] / surface,
            lumpy=bool(is_lumpy(body)),
        )


def _deciding(layers: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The thickest lumpy layer, else the thickest; None where one that cannot be judged might decide."""
    said = [is_lumpy(x) for x in layers]
    lumpy = [x for x, s in zip(layers, said, strict=True) if s]
    if not layers or (not lumpy and None in said):
        return None
    return max(lumpy or layers, key=lambda x: float(x["top_mm"] - x["bottom_mm"]))


def _frame(points: Floats, truth: dict[str, Any], shape: tuple[int, ...]) -> Frame | None:
    """The true frame; None where the column is under 30 rows or the jar not in the picture."""
    left, right = points[3, 0], points[4, 0]
    if "jar_px" in truth:  # counts from the corner of the first pixel
        left, right = truth["jar_px"]["left"][0] - 0.5, truth["jar_px"]["right"][0] - 0.5
    high, wide = shape[0] - 1, shape[1] - 1
    surface, floor = max(0.0, float(points[0, 1])), min(float(high), float(points[1, 1]))
    left, right = max(0.0, float(left)), min(float(wide), float(right))
    if floor - surface < 30 or right - left < 30:
        return None
    return Frame(left_px=left, right_px=right, floor_px=floor, surface_px=surface, confidence=1.0)


def changed(body: Body, rng: Rng, *, burnt: bool) -> Body:
    """The same jar under other light, blurred, with noise, recompressed, in a frame that is a little wrong."""
    x: NDArray[Any] = np.asarray((body.photo.pixels.astype(np.float32) / 255) ** 2.2, np.float32)
    if burnt:
        x = x * _burning(x, body, rng.uniform(0.08, 0.5))
    else:
        gain = rng.uniform(-0.7, 0.5) if rng.random() < 0.8 else rng.uniform(0.4, 1.4)
        x = x * (np.exp(gain) * np.exp(rng.normal(0, 0.08, 3))).astype(np.float32)
    x = np.where(x > 0.8, 0.8 + 0.2 * (1 - np.exp(-(x - 0.8) / 0.2)), x)  # a soft shoulder, as scene.develop
    x = np.clip(1.02 * x if burnt else x, 0, 1) ** np.float32(rng.uniform(0.85, 1.2) / 2.2)
    if rng.random() < 0.5:
        x = np.asarray(cv2.GaussianBlur(x.astype(np.float32), (0, 0), rng.uniform(0.3, 1.1)), np.float32)
    x = x + rng.normal(0, rng.uniform(0, 0.02), x.shape)
    pixels = np.asarray(np.clip(np.rint(x * 255), 0, 255), np.uint8)
    if rng.random() < 0.5:
        held = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 95))])[1]
        pixels = np.asarray(cv2.imdecode(held, cv2.IMREAD_COLOR), np.uint8)
    g, wide = body.geometry, pixels.shape[1]
    centre = g.centre_px + rng.normal(0, 0.01) * g.half_px
    if rng.random() < 0.5:
        pixels, centre = np.ascontiguousarray(pixels[:, ::-1]), wide - 1 - centre
        g = replace(g, lean=-g.lean)
    g = replace(g, centre_px=centre, half_px=g.half_px * np.exp(rng.normal(0, 0.03)))
    low, high = body.bottom + rng.normal(0, 0.006), body.top + rng.normal(0, 0.006)
    if rng.random() < 0.3 and high - low > 0.3:
        part = rng.uniform(0.65, 1) * (high - low)
        low = rng.uniform(low, high - part)
        high = low + part
    return replace(body, photo=replace(body.photo, pixels=pixels), geometry=g, bottom=low, top=high)


def _burning(x: Floats, body: Body, share: float) -> float:
    """The gain at which all but this share of the contents is burnt out, twelve at most."""
    g = body.geometry
    rows = [round(g.floor_px - f * g.column_px) for f in (body.top, body.bottom)]
    part = x[
        max(0, rows[0]) : max(rows) + 1,
        int(g.centre_px - 0.7 * g.half_px) : int(g.centre_px + 0.7 * g.half_px),
    ]
    light = float(np.percentile(part.min(axis=2), 100 * share)) if part.size else 1.0
    return float(np.clip(1 / max(light, 1e-3), 1, 12))


def _figures(args: argparse.Namespace) -> None:
    contents = json.loads(args.contents.read_text("utf-8")) if args.contents else {}
    rows: dict[str, list[Any]] = {k: [] for k in ("figures", "lumpy", "vessels", "copy", "source")}
    for n, body in enumerate(bodies(args.pictures, contents)):
        rng = np.random.default_rng([args.seed, n])
        copies = [body, *(changed(body, rng, burnt=k >= _COPIES) for k in range(_COPIES + _BURNT))]
        for k, x in enumerate(copies):
            texture = see_texture(x.photo, x.geometry, x.bottom, x.top)
            figures = lump_features(texture, x.photo, x.geometry, x.bottom, x.top)
            if figures is not None:
                rows["figures"].append(figures)
                rows["lumpy"].append(body.lumpy)
                rows["vessels"].append(body.vessels)
                rows["copy"].append(k if k <= _COPIES else _CLEAR_BURNT + k - _COPIES - 1)
                rows["source"].append(body.name[0])
    np.savez(args.out, **{k: np.array(v) for k, v in rows.items()})  # type: ignore[arg-type]
    print(len(rows["lumpy"]), "rows,", int(np.sum(np.array(rows["copy"]) == 0)), "pictures", flush=True)


def auc(lumpy: Floats, smooth: Floats) -> float:
    """Share of pairs that are ranked rightly, ties by half."""
    a, b = np.asarray(lumpy)[:, None], np.asarray(smooth)[None]
    return float(((a > b) + 0.5 * (a == b)).mean()) if a.size and b.size else float("nan")


def aucs(said: Floats, held: dict[str, NDArray[Any]]) -> dict[str, float]:
    """Area under the curve of the pictures of each source as they are, and of the burnt copies."""
    lumpy, plain = held["lumpy"].astype(bool), held["copy"] == 0
    burnt = held["copy"] == _CLEAR_BURNT
    out = {
        str(s): auc(said[plain & (held["source"] == s) & lumpy], said[plain & (held["source"] == s) & ~lumpy])
        for s in sorted(set(held["source"].tolist()))
    }
    out["all"] = auc(said[plain & lumpy], said[plain & ~lumpy])
    out["burnt lumpy against all smooth"] = auc(said[burnt & lumpy], said[(burnt | plain) & ~lumpy])
    return out


def _fitted(held: dict[str, NDArray[Any]], rows: NDArray[np.bool_]) -> dict[str, Floats]:
    from jartest.imaging.fit.texture_fit import fit_members

    return fit_members(
        held["figures"][rows].astype(float),
        held["lumpy"][rows].astype(float),
        hidden=16,
        steps=400,
        bound=4.0,
    )


def _check(args: argparse.Namespace) -> None:
    from jartest.imaging.flocs import weigh

    with np.load(args.figures) as z:
        held = {k: z[k] for k in z.files}
    fold = held["vessels"] * 7919 % 1_000_003 % 5
    said = np.zeros(len(fold), np.float32)
    for k in range(5):
        weights = _fitted(held, (fold != k) & (held["copy"] != _CLEAR_BURNT))
        for i in np.flatnonzero((fold == k) & np.isin(held["copy"], (0, _CLEAR_BURNT))):
            said[i] = weigh(weights, held["figures"][i])
    for name, value in aucs(said, held).items():
        print(f"{name}: {value:.4f}")
    plain, lumpy = held["copy"] == 0, held["lumpy"].astype(bool)
    for limit in (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6):
        low = (said[plain & lumpy] < limit).mean()
        high = (said[plain & ~lumpy] >= limit).mean()
        print(f"at {limit}: {100 * low:.1f} % of the lumpy lie under, {100 * high:.1f} % of the smooth over")
    if args.out:
        np.savez(args.out, said=said, **held)  # type: ignore[arg-type]


def _fit(args: argparse.Namespace) -> None:
    with np.load(args.figures) as z:
        held = {k: z[k] for k in z.files}
    weights = _fitted(held, np.ones(len(held["lumpy"]), bool))
    np.savez(args.out, **weights)  # type: ignore[arg-type]


def main(argv: list[str] | None = None) -> None:
    """Take figures of pictures, check what a fit on them is worth, or fit."""
    a = argparse.ArgumentParser(description=main.__doc__)
    what = a.add_subparsers(required=True)
    figures = what.add_parser("figures")
    figures.add_argument("out", type=Path)
    figures.add_argument("--contents", type=Path)
    figures.add_argument("--pictures", type=Path, nargs="+", required=True)
    figures.add_argument("--seed", type=int, default=0)
    figures.set_defaults(do=_figures)
    check = what.add_parser("check")
    check.add_argument("figures", type=Path)
    check.add_argument("--out", type=Path)
    check.set_defaults(do=_check)
    fit = what.add_parser("fit")
    fit.add_argument("figures", type=Path)
    fit.add_argument("out", type=Path)
    fit.set_defaults(do=_fit)
    args = a.parse_args(argv)
    args.do(args)


if __name__ == "__main__":
    main()
