"""Rendered pictures with known truth, copies of them with the truth carried along, and the figures over many.

What the tests of the reading and the commands beside this file share.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import open_photo
from jartest.imaging.values import Marks, Reading
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo

REPO = Path(__file__).resolve().parents[2]
SERIES = ("stable", "settler", "curdler", "creamer")
NEVER_PASS = {"flocs", "flocs_settling", "curdled", "oil", "three_bands"}
LUMPY = {"flocs", "flocs_settling", "curdled"}
NEAR = 0.03  # a boundary this near to a true one is that one
FAR = 0.03  # a line off by more than this is far off

Pixels = NDArray[np.uint8]
Move = NDArray[np.float64]  # (2, 3): column, row, 1 of the picture -> column, row of the copy


@dataclass
class Truth:
    """What a picture shows."""

    path: Path
    marks: Marks
    boundaries: list[float]
    boundary_rows_px: list[float]  # of the picture itself, on the near wall at the jar's centre line
    foam_top_px: float  # NaN where there is none
    settled: float
    floating: float
    foam: float
    lumpy: bool
    uniform: bool
    category: str
    box: tuple[float, float, float, float]  # of the jar: left, top, right, bottom

    @property
    def name(self) -> str:
        return self.path.stem

    @property
    def harmful(self) -> bool:
        """Contents that must not pass: what settled, floats, clots or foams over the limits."""
        foams = self.foam >= load_limits().photo["foam"].fail_min
        return (
            self.settled >= 0.1 or self.floating >= 0.05 or foams or self.lumpy or self.category in NEVER_PASS
        )


def truth_of(path: Path) -> Truth:
    """The truth beside a picture."""
    d: dict[str, Any] = json.loads(path.with_suffix(".json").read_text("utf-8"))
    liquid = [x for x in d["layers"] if x["kind"] != "foam"]
    column = max(x["top_mm"] for x in liquid)
    category = d.get("category") or d["series"]
    lumpy = category in LUMPY or (category == "curdler" and d["minutes"] >= 1)
    top, jar = liquid[-1], d["jar_px"]
    left, right = (jar[k][0] for k in ("left", "right"))
    return Truth(
        path=path,
        marks=Marks(
            left_px=left,
            right_px=right,
            floor_px=liquid[0]["front_bottom_px"][1],
            surface_px=top["front_top_px"][1],
        ),
        boundaries=[x["top_mm"] / column for x in liquid[:-1]],
        boundary_rows_px=[x["front_top_px"][1] for x in liquid[:-1]],
        foam_top_px=min((x["front_top_px"][1] for x in d["layers"] if x["kind"] == "foam"), default=math.nan),
        settled=liquid[0]["top_mm"] / column if liquid[0]["kind"] == "sediment" else 0.0,
        floating=(top["top_mm"] - top["bottom_mm"]) / column if top["kind"] in ("cream", "oil") else 0.0,
        foam=max(x["top_mm"] for x in d["layers"]) / column - 1,
        lumpy=lumpy,
        uniform=len(liquid) == len(d["layers"]) == 1 and not lumpy,
        category=category,
        box=(left, jar["rim_front"][1], right, jar["inner_bottom"][1]),
    )


def pictures(*folders: Path) -> list[Path]:
    """The pictures of these folders that have their truth beside them."""
    return [f for d in folders for f in sorted(d.glob("*.jpg")) if _has_truth(f)]


def _has_truth(path: Path) -> bool:
    beside = path.with_suffix(".json")
    return beside.exists() and "layers" in json.loads(beside.read_text("utf-8"))


def all_71() -> list[Path]:
    """The 45 single pictures and the 26 of the four series."""
    return pictures(REPO / "tests/pictures/single", *(REPO / "samples" / name for name in SERIES))


# ------------------------------------------------------------------------------------------- copies


def as_jpeg(pixels: Pixels, quality: int = 92) -> bytes:
    """A JPEG of RGB pixels."""
    rgb = np.ascontiguousarray(pixels[..., ::-1])
    return bytes(cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


def lit(pixels: Pixels, by: float) -> Pixels:
    """The picture in so many times the light."""
    light = (pixels / 255.0) ** 2.2 * by
    return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5, np.uint8)


def half(pixels: Pixels) -> Pixels:
    """The picture at half its size."""
    size = (pixels.shape[1] // 2, pixels.shape[0] // 2)
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def recompressed(pixels: Pixels) -> Pixels:
    """The picture after a JPEG of quality 60."""
    raw = np.frombuffer(as_jpeg(pixels, 60), np.uint8)
    return np.asarray(cv2.imdecode(raw, cv2.IMREAD_COLOR)[..., ::-1], np.uint8)


def noised(pixels: Pixels, sigma: float = 8.0) -> Pixels:
    """The picture with the noise of a small sensor in poor light, always the same."""
    grain = np.random.default_rng(20261125).normal(0, sigma, pixels.shape)
    return np.asarray(np.clip(pixels + grain, 0, 255) + 0.5, np.uint8)


_STAYS: Move = np.array([[1.0, 0, 0], [0, 1.0, 0]])
_HALVED: Move = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25]])  # pixel centres at integers


def _mirrored(x: Pixels, _: Truth) -> tuple[Pixels, Move]:
    return np.ascontiguousarray(x[:, ::-1]), np.array([[-1.0, 0, x.shape[1] - 1], [0, 1.0, 0]])


def _turned(x: Pixels, _: Truth) -> tuple[Pixels, Move]:
    high, wide = x.shape[:2]
    move = np.asarray(cv2.getRotationMatrix2D(((wide - 1) / 2, (high - 1) / 2), 3.0, 1.0), float)
    return np.asarray(cv2.warpAffine(x, move, (wide, high), borderMode=cv2.BORDER_REPLICATE), np.uint8), move


def _cropped(x: Pixels, t: Truth) -> tuple[Pixels, Move]:
    """Half of what lies around the jar cut away, on all four sides."""
    high, wide = x.shape[:2]
    left, top = int(t.box[0] / 2), int(t.box[1] / 2)
    right, low = math.ceil((t.box[2] + wide) / 2), math.ceil((t.box[3] + high) / 2)
    return np.ascontiguousarray(x[top:low, left:right]), np.array([[1.0, 0, -left], [0, 1.0, -top]])


COPIES: dict[str, Callable[[Pixels, Truth], tuple[Pixels, Move]]] = {
    "mirrored": _mirrored,
    "darkened": lambda x, _: (lit(x, 0.5), _STAYS),
    "brightened": lambda x, _: (lit(x, 1.6), _STAYS),
    "recompressed": lambda x, _: (recompressed(x), _STAYS),
    "half size": lambda x, _: (half(x), _HALVED),
    "turned by 3°": _turned,
    "cropped": _cropped,
    "noised": lambda x, _: (noised(x), _STAYS),
}


def copy_of(kind: str, t: Truth) -> tuple[bytes, Truth]:
    """A copy of the picture as a file, and the truth carried along; of kind "plain" the picture itself."""
    data = t.path.read_bytes()
    if kind == "plain":
        return data, t
    pixels, move = COPIES[kind](open_photo(data).pixels, t)
    quality = 60 if kind == "recompressed" else 92
    return as_jpeg(pixels, quality), replace(t, marks=moved(t.marks, move))


def moved(m: Marks, move: Move) -> Marks:
    """The four lines under a shift, turn, mirror or scale of the picture."""
    centre, middle = (m.left_px + m.right_px) / 2, (m.floor_px + m.surface_px) / 2

    def at(col: float, row: float) -> Any:
        return move @ np.array([col, row, 1.0])

    sides = sorted(float(at(col, middle)[0]) for col in (m.left_px, m.right_px))
    return Marks(
        left_px=sides[0],
        right_px=sides[1],
        floor_px=float(at(centre, m.floor_px)[1]),
        surface_px=float(at(centre, m.surface_px)[1]),
    )


# ------------------------------------------------------------------------------------------- figures


@dataclass
class Tally:
    """The figures over many pictures."""

    seen: int = 0
    found: int = 0
    lines_missing: int = 0
    boundaries: int = 0
    missed: int = 0
    false: int = 0
    unsafe: list[str] = field(default_factory=list)
    not_passed: list[str] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    surface: list[float] = field(default_factory=list)
    floor: list[float] = field(default_factory=list)
    lumpy: list[float] = field(default_factory=list)
    smooth: list[float] = field(default_factory=list)

    def add(self, t: Truth, r: Reading) -> None:
        word = judge_photo(r, load_limits()).word
        self.seen += 1
        if t.harmful and word == "pass":
            self.unsafe.append(t.name)
        if t.uniform and word != "pass":
            self.not_passed.append(t.name)
        if not r.jar_found or r.jar is None:
            self.missed += len(t.boundaries)
            self.boundaries += len(t.boundaries)
            return
        self.found += 1
        self.lines_missing += math.isnan(r.jar.surface_px + r.jar.floor_px)
        high = t.marks.floor_px - t.marks.surface_px
        self.surface += [abs(r.jar.surface_px - t.marks.surface_px) / high]
        self.floor += [abs(r.jar.floor_px - t.marks.floor_px) / high]
        if not math.isnan(r.floc_index):
            (self.lumpy if t.lumpy else self.smooth).append(r.floc_index)
        self._match(t, r)

    def _match(self, t: Truth, r: Reading) -> None:
        self.boundaries += len(t.boundaries)
        pairs, left = matched(t, r)
        self.missed += len(t.boundaries) - len(pairs)
        for true, got, sigma in pairs:
            self.errors.append(abs(got - true))
            self.covered.append(abs(got - true) <= 2 * sigma)
        self.false += len(left)

    @property
    def recall(self) -> float:
        return 1 - self.missed / self.boundaries

    @property
    def lump_auc(self) -> float:
        return float(np.mean([[(p > n) + (p == n) / 2 for n in self.smooth] for p in self.lumpy]))

    def figures(self) -> dict[str, float]:
        """Each figure by its name, in per cent where it is a part; what is larger is not always better."""
        return {
            "found": self.found,
            "no surface or floor": self.lines_missing,
            "surface median %": 100 * float(np.nanmedian(self.surface)),
            "surface 95th %": 100 * float(np.nanpercentile(self.surface, 95)),
            "floor median %": 100 * float(np.nanmedian(self.floor)),
            "recall %": 100 * self.recall,
            "false": self.false,
            "boundary median %": 100 * float(np.median(self.errors)),
            "within two sigma %": 100 * float(np.mean(self.covered)),
            "lumps AUC": self.lump_auc,
            "harmful passed": len(self.unsafe),
            "uniform not passed": len(self.not_passed),
        }

    def line(self, name: str) -> str:
        return (
            f"{name}: found {self.found}, surface median {100 * np.nanmedian(self.surface):.2f} %, floor median "
            f"{100 * np.nanmedian(self.floor):.2f} %, boundaries {self.boundaries}, recall {100 * self.recall:.1f} %, "
            f"false {self.false}, error median {100 * np.median(self.errors):.2f} %, within two sigma "
            f"{100 * np.mean(self.covered):.1f} %, lumps AUC {self.lump_auc:.3f}, harmful passed {self.unsafe}, "
            f"uniform not passed {self.not_passed}"
        )


# Of each figure, whether more of it is better.
LOSSES = {
    "found": True,
    "no surface or floor": False,
    "surface median %": False,
    "surface 95th %": False,
    "floor median %": False,
    "recall %": True,
    "false": False,
    "within two sigma %": True,
    "lumps AUC": True,
    "harmful passed": False,
    "uniform not passed": False,
}


def losses(got: Tally, plain: Tally) -> dict[str, float]:
    """How much worse each figure is than that of the pictures themselves; negative where it is better."""
    mine, theirs = got.figures(), plain.figures()
    return {k: (theirs[k] - mine[k]) * (1 if more else -1) for k, more in LOSSES.items()}


def loss_line(got: Tally, plain: Tally) -> str:
    """The figures of a copy, each with its loss where there is one."""
    figures, lost = got.figures(), losses(got, plain)
    said = []
    for name in LOSSES:
        value = round(figures[name], 3 if name == "lumps AUC" else 2)
        loss = round(lost[name], 3 if name == "lumps AUC" else 2)
        said.append(f"{name} {value:g}" + (f" (loss {loss:+g})" if loss else ""))
    return ", ".join(said)


def matched(t: Truth, r: Reading) -> tuple[list[tuple[float, float, float]], list[float]]:
    """Pairs of true and read boundary with its sigma, as fractions; and the boundaries read that are none."""
    left = [x for x in r.layers if x.kind != "foam"][:-1]
    pairs = []
    for true in t.boundaries:
        best = min(left, key=lambda x: abs(x.top_fraction - true), default=None)
        if best is not None and abs(best.top_fraction - true) <= NEAR:
            left.remove(best)
            pairs.append((true, best.top_fraction, best.top_sigma_fraction))
    return pairs, [x.top_fraction for x in left]
