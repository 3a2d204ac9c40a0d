"""Fits a network of rows: strips of rendered jars, taken apart and put together anew.

    python -m jartest.imaging.fit.layers_fit t-*.zip p-*.zip r-*.zip --seconds 430 --seed 72 --batch 128 --out layers.onnx

The zips are those of `pictures.py`, with the layers' `density`, `mottle` and `flocs` in the truth; `t` is the
522 pictures of the first renderer, its list of shots giving these three again.  Strips come from each kind of
picture as often as `_SHARE` says; one picture in five of `t` and one set in eight of the others are kept from
fitting and only scored.  Needs torch.

The weights kept, `weights/layers.onnx`, come from an earlier form of this script: seed 1, 150 s on one GPU, 3549
steps of 64 strips of 636 pictures, none of them burnt out on purpose, 250 353 weights.
What came of fitting anew stands in fit/DIARY.md.

Each strip is drawn with a frame, lean and sag that are a little wrong, as a hand and `find_geometry` leave
them.  Six in ten are joined from two pictures along an arc, so that any two contents meet at any height.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional as F

from jartest.imaging.fit.facts import POINTS, held_out, points_of, read, ungrained
from jartest.imaging.fit.truth import Truth, Vessel, View
from jartest.imaging.profile import ACROSS, COLUMNS, FRACTIONS, MIDDLE, ROWS

__all__ = ["Picture", "RowsNet", "Slip", "main"]

Floats = NDArray[np.float32]
_KIND = {"sediment": 1, "turbid": 2, "cream": 3, "oil": 3, "foam": 4}
_SHARE = {"t": 2, "p": 2, "r": 1}  # how often strips come from each kind of picture
_ABOVE = 5
_ROW = float(FRACTIONS[0] - FRACTIONS[1])
_RESIDUAL = (0.05, 0.1, 0.1)  # units of lean and sags, as rows.py multiplies them back
_BOW = 1 - np.sqrt(np.maximum(0, 1 - np.minimum(1, ACROSS**2)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """One picture with its true lines: ends of the layers as fractions of the column's rows."""

    name: str
    pixels: NDArray[np.uint8]
    left: float
    right: float
    floor: float
    surface: float
    lean: float
    sag_floor: float
    sag_surface: float
    ends: tuple[float, ...]
    kinds: tuple[int, ...]
    opaque: tuple[bool, ...]
    lumpy: float  # 1, 0, or -1 where it is neither


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """How wrong a frame is: walls in widths, floor and surface in columns, lean, sags in half-widths."""

    left: float = 0.0
    right: float = 0.0
    floor: float = 0.0
    surface: float = 0.0
    lean: float = 0.0
    sag_floor: float = 0.0
    sag_surface: float = 0.0


def load(name: str, image: NDArray[np.uint8], d: dict[str, Any]) -> Picture | None:
    """The picture and its truth; None without one round vessel in it whose column of 30 rows or more is in sight."""
    truth = Truth.from_json(d)
    layers = d.get("vessels", [d])[0]["layers"] if truth.vessels else []
    liquid = [x for x in layers if x["kind"] != "foam"]
    if len(truth.vessels) != 1 or truth.vessels[0].power != 2 or not liquid:
        return None
    view, vessel, top = truth.view, truth.vessels[0], liquid[-1]["top_mm"]
    at = {n: [float(v) for v in p] for n, p in zip(POINTS, points_of(view, vessel), strict=True)}
    left, right, floor, surface = at["left"][0], at["right"][0], at["floor"][1], at["surface"][1]
    ends = [float(view.project(vessel.ring(x["top_mm"], np.zeros(1)))[0, 1]) for x in layers]
    high, wide = image.shape[:2]
    if floor - surface < 30 or min(left, surface) < 0 or right > wide - 1 or floor > high - 1:
        return None
    k = min(1.0, MIDDLE / (floor - surface))  # as a reading cuts it out
    if k < 1:
        size = (round(wide * k), round(high * k))
        image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
    across, down = image.shape[1] / wide, image.shape[0] / high
    arcs = [_arc(view, vessel, y, (right - left) / 2) for y in (0.0, top)]
    body = [x for x in layers if x["kind"] == "turbid"]
    solid = [x for x in body if x["density"] >= 6]
    lumpy = float(any(x["flocs"] for x in body) or any(x["mottle"] >= 0.5 for x in solid))
    if not lumpy and any(x["mottle"] >= 0.09 for x in solid):
        lumpy = -1.0
    return Picture(
        name=name,
        pixels=np.ascontiguousarray(image),
        left=(left + 0.5) * across - 0.5,
        right=(right + 0.5) * across - 0.5,
        floor=(floor + 0.5) * down - 0.5,
        surface=(surface + 0.5) * down - 0.5,
        lean=(arcs[0][0] + arcs[1][0]) / 2,
        sag_floor=arcs[0][1],
        sag_surface=arcs[1][1],
        ends=tuple((floor - row) / (floor - surface) for row in ends),
        kinds=tuple(_KIND[x["kind"]] for x in layers),
        opaque=tuple(x["kind"] in ("sediment", "cream", "foam") or x["density"] >= 6 for x in layers),
        lumpy=lumpy,
    )


def load_all(paths: list[Path], workers: int) -> list[Picture]:
    """The pictures of these zips that `load` takes, on several processes."""
    with ProcessPoolExecutor(max(1, workers)) as pool:
        return [p for some in pool.map(_load_zip, paths) for p in some]


def _load_zip(path: Path) -> list[Picture]:
    cv2.setNumThreads(1)
    some = (load(n, ungrained(n, image), d) for n, image, d in read([path]))
    return [p for p in some if p is not None]


def left_out(name: str) -> bool:
    """Whether a picture is kept from fitting: of `t` one in five, as for the first networks; else one set in eight."""
    return int(name[1:]) % 5 == 2 if name[0] == "t" else held_out(name)


def _arc(view: View, vessel: Vessel, height_mm: float, half: float) -> tuple[float, float]:
    """Slope and sag (in half-widths) of the near arc at this height."""
    points = view.project(vessel.ring(height_mm, np.radians(np.linspace(-58, 58, 41))))
    middle = view.project(vessel.ring(height_mm, np.zeros(1)))[0]
    across = points[:, 0] - middle[0]
    bow = -half * (1 - np.sqrt(np.clip(1 - (across / half) ** 2, 0, 1)))
    slope, sag = np.linalg.lstsq(np.stack([across, bow], 1), points[:, 1] - middle[1], rcond=None)[0]
    return float(slope), float(sag)


def slipped(rng: np.random.Generator) -> Slip:
    """A frame as wrong as a hand sets it, three times as wrong in one of four."""
    k = 3.0 if rng.random() < 0.25 else 1.0
    sag = rng.normal(0, 0.06) * (2 if rng.random() < 0.2 else 1)
    growth = rng.normal(0, 0.035)
    return Slip(
        left=rng.normal(0, 0.008 * k),
        right=rng.normal(0, 0.008 * k),
        floor=rng.normal(0, 0.005 * k),
        surface=rng.normal(0, 0.005 * k),
        lean=rng.normal(0, 0.035) * (2 if rng.random() < 0.2 else 1),
        sag_floor=sag + growth / 2,
        sag_surface=sag - growth / 2,
    )


def cut_out(p: Picture, slip: Slip) -> tuple[Floats, list[float], float, float, float]:
    """Strip in RGB (0 to 1), ends of layers, true floor and surface in the slipped frame, half over column."""
    high, wide = p.floor - p.surface, p.right - p.left
    left, right = p.left + slip.left * wide, p.right + slip.right * wide
    floor, surface = p.floor + slip.floor * high, p.surface + slip.surface * high
    half, column, lean = (right - left) / 2, floor - surface, p.lean + slip.lean
    s, u = FRACTIONS[:, None], ACROSS[None]
    row = floor - s * column
    low, top = p.sag_floor + slip.sag_floor, p.sag_surface + slip.sag_surface
    across = u * half / math.hypot(1, lean)
    col = (left + right) / 2 - lean * (row - (floor + surface) / 2) + across
    rows = row + across * lean - (low + (top - low) * s) * half * _BOW
    strip = cv2.remap(
        p.pixels,
        col.astype(np.float32),
        rows.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )

    def seen(end: float) -> float:
        return (floor - (p.floor - end * high)) / column

    rgb = np.asarray(strip, np.float32) / np.float32(255)
    return rgb.astype(np.float32), [seen(e) for e in p.ends], seen(0), seen(1), half / column


Part = tuple[float, int, bool]  # where it ends, its kind, whether it is opaque


def _joined(
    a: tuple[Floats, list[Part], float, float],
    b: tuple[Floats, list[Part], float, float],
    slip: Slip,
    aspect: float,
    rng: np.random.Generator,
) -> tuple[Floats, list[Part]] | None:
    """Strip `a` with its lower or upper part from `b`; None where the two look alike at the cut."""
    strip, parts, floor, surface = a
    other, other_parts, _, _ = b
    low_cut = rng.random() < 0.5
    share = math.exp(rng.uniform(math.log(0.012), math.log(0.6)))
    cut = floor + (share if low_cut else 1 - share * 0.66) * (surface - floor)
    sag = slip.sag_floor + (slip.sag_surface - slip.sag_floor) * cut
    line = cut + slip.lean * ACROSS * aspect - sag * aspect * _BOW
    if rng.random() < 0.4:
        ragged = np.cumsum(rng.normal(0, 1, COLUMNS))
        ragged -= np.linspace(ragged[0], ragged[-1], COLUMNS)
        line = line + (ragged - ragged.mean()) / (np.abs(ragged).max() + 1e-6) * rng.uniform(0, 0.012)
    soft = rng.choice([0.4, 0.6, 1.2, 3.0], p=[0.4, 0.3, 0.2, 0.1]) * _ROW
    below = 1 / (1 + np.exp(np.clip((FRACTIONS[:, None] - line[None]) / soft, -40, 40)))
    lower = low_cut if rng.random() < 0.8 else not low_cut
    mask = below if lower else (1 - below) * (surface > FRACTIONS)[:, None]
    mask = (mask * (np.abs(ACROSS) < 1))[..., None].astype(np.float32)
    new = strip * (1 - mask) + other * mask
    k, inner = int(np.abs(FRACTIONS - cut).argmin()), np.abs(ACROSS) < 0.7
    sides = [
        new[rows][:, inner].reshape(-1, 3).mean(axis=0)
        for rows in (slice(max(0, k - 7), k - 2), slice(k + 3, k + 8))
    ]
    lab = [cv2.cvtColor(x[None, None].astype(np.float32), cv2.COLOR_RGB2LAB)[0, 0] for x in sides]
    if not np.linalg.norm(lab[0] - lab[1]) > 5:
        return None
    down, up = (other_parts, parts) if lower else (parts, other_parts)
    under = _between(down, -9.0, cut)
    over = _between(up, cut, 9.0 if lower else surface)
    if not lower:
        over += [x for x in parts if x[1] == 4]
    return (new, _renamed(under, over, floor, cut, surface)) if under and over else None


def _between(parts: list[Part], low: float, high: float) -> list[Part]:
    out, bottom = [], -9.0
    for end, kind, opaque in parts:
        if end > low + 0.004 and bottom < high - 0.004 and not (high < 8 and kind == 4):
            out.append((min(end, high), kind, opaque))
        bottom = end
    return out


def _renamed(under: list[Part], over: list[Part], floor: float, cut: float, surface: float) -> list[Part]:
    """What a piece is called follows from where it now lies and whether one sees through it."""
    under[-1] = (cut, *under[-1][1:])
    if len(under) == 1:
        _, _, opaque = under[0]
        thin = (cut - floor) / (surface - floor) < 0.5
        under = [(cut, 1 if opaque and thin else 2, opaque)]
    else:
        under = [(e, 2 if k == 3 else k, o) for e, k, o in under]
    over = [(e, 2 if k == 1 else k, o) for e, k, o in over]
    liquid = [n for n, x in enumerate(over) if x[1] != 4]
    if liquid:
        n = liquid[-1]
        start = over[n - 1][0] if n else cut
        over[n] = (surface, 3 if surface - start < 0.25 else over[n][1], over[n][2])
    return under + over


def _any(groups: list[list[Picture]], rng: np.random.Generator) -> Picture:
    some = groups[int(rng.integers(len(groups)))]
    return some[int(rng.integers(len(some)))]


def sample(
    groups: list[list[Picture]], rng: np.random.Generator
) -> tuple[Floats, NDArray[np.int64], Floats, Floats, Floats]:
    """One strip for fitting: network input, kind of each row, three lines, lumpy or not, residual."""
    p, slip = _any(groups, rng), slipped(rng)
    strip, ends, floor, surface, aspect = cut_out(p, slip)
    parts, lumpy = list(zip(ends, p.kinds, p.opaque, strict=True)), p.lumpy
    if rng.random() < 0.6:
        q = _any(groups, rng)
        other, q_ends, q_floor, q_surface, _ = cut_out(q, slip)
        q_parts = list(zip(q_ends, q.kinds, q.opaque, strict=True))
        both = _joined(
            (strip, parts, floor, surface), (other, q_parts, q_floor, q_surface), slip, aspect, rng
        )
        if both is not None:
            strip, parts = both
            lumpy = lumpy if lumpy == q.lumpy else -1.0
    lines = np.zeros((3, ROWS), np.float32)
    inner = [e for e, _, _ in parts[:-1] if abs(e - surface) > 0.004]
    for channel, at in [*((0, e) for e in inner), (1, floor), (2, surface)]:
        lines[channel] = np.maximum(lines[channel], np.exp(-0.5 * ((FRACTIONS - at) / _ROW / 1.3) ** 2))
    kinds, bottom = np.where(floor <= FRACTIONS, _ABOVE, 0).astype(np.int64), floor
    for end, kind, _ in parts:
        kinds[(bottom <= FRACTIONS) & (end > FRACTIONS)] = kind
        bottom = end
    strip = _lived(strip, rng)
    turned = rng.random() < 0.5
    lab = cv2.cvtColor(np.ascontiguousarray(strip[:, ::-1] if turned else strip), cv2.COLOR_RGB2LAB) / 50
    lab = lab - np.array([1, 0, 0], np.float32)
    if rng.random() < 0.5:  # other hues
        a = rng.normal(0, 0.8)
        turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]]) * rng.uniform(0.4, 1.4)
        lab[..., 1:] = lab[..., 1:] @ turn
    residual = np.array([-slip.lean if turned else slip.lean, slip.sag_floor, slip.sag_surface])
    x = np.ascontiguousarray(lab.transpose(2, 0, 1), np.float32)
    lumps = np.asarray(lumpy, np.float32)
    return x, kinds, np.asarray(lines, np.float32), lumps, (residual / _RESIDUAL).astype(np.float32)


def _lived(strip: Floats, rng: np.random.Generator) -> Floats:
    """The strip under other light and with a label, a printed scale, glare, blur and noise by chance."""
    s = strip * rng.uniform(0.85, 1.18, 3) * rng.uniform(0.6, 1.25)
    s = np.clip(s, 0, 1) ** rng.uniform(0.7, 1.5)
    u, f = ACROSS[None], FRACTIONS[:, None]
    if rng.random() < 0.25:
        s = s * (1 + rng.uniform(-0.25, 0.25) * u + rng.uniform(-0.3, 0.3) * (f - 0.5))[..., None]
    if rng.random() < 0.2:  # glare
        low = rng.uniform(-0.1, 1)
        here = (
            (np.abs(u - rng.uniform(-1, 1)) < rng.uniform(0.03, 0.15))
            & (f > low)
            & (f < low + rng.uniform(0.1, 0.7))
        )
        s = s + (1 - s) * here[..., None] * rng.uniform(0.3, 1)
    if rng.random() < 0.2:  # a label with lines of print
        low, high = rng.uniform(-0.05, 0.9), rng.uniform(0.1, 0.4)
        paper = np.full_like(s, rng.uniform(0.6, 0.95))
        for k in range(int(rng.integers(2, 7))):
            print_ = (np.abs(f - low - high * (k + 0.5) / 7) < high * 0.03) & (rng.random(COLUMNS) < 0.7)[
                None
            ]
            paper[print_] = 0.15
        here = (np.abs(u - rng.uniform(-0.9, 0.9)) < rng.uniform(0.2, 0.5)) & (f > low) & (f < low + high)
        s = np.where(here[..., None], paper, s)
    if rng.random() < 0.2:  # a printed scale
        step, left = rng.uniform(0.04, 0.12), rng.uniform(-0.6, 0.5)
        here = (np.abs((f - rng.random() * step) % step - step / 2) < 0.004) & (u > left) & (u < left + 0.35)
        s = np.where(here[..., None], rng.choice([0.05, 0.9]), s)
    if rng.random() < 0.35:  # more light than the sensor holds
        s = np.clip(s**2.2 * math.exp(rng.uniform(0, 0.9)), 0, 1) ** (1 / 2.2)
    if rng.random() < 0.4:
        s = np.asarray(cv2.GaussianBlur(s.astype(np.float32), (0, 0), rng.uniform(0.3, 1.5)), float)
    if rng.random() < 0.5:
        s = s + rng.normal(0, rng.uniform(0.003, 0.03), s.shape)
    return np.clip(s, 0, 1).astype(np.float32)


def _block(
    i: int, o: int, kernel: tuple[int, int] = (3, 3), dilation: tuple[int, int] = (1, 1)
) -> nn.Sequential:
    pad = tuple((k - 1) // 2 * d for k, d in zip(kernel, dilation, strict=True))
    return nn.Sequential(
        nn.Conv2d(i, o, kernel, padding=pad, dilation=dilation, bias=False), nn.BatchNorm2d(o), nn.ReLU()
    )


class RowsNet(nn.Module):
    """Strip to rows: six kinds and three lines a row; lumps and the frame's residual for the whole."""

    def __init__(self, wide: int = 12, deep: int = 48) -> None:
        super().__init__()
        self.first = nn.Sequential(_block(3, wide), _block(wide, wide))
        self.second = nn.Sequential(nn.AvgPool2d((1, 2)), _block(wide, 2 * wide), _block(2 * wide, 2 * wide))
        self.third = nn.Sequential(
            nn.AvgPool2d((2, 2)), _block(2 * wide, 4 * wide), _block(4 * wide, 4 * wide, dilation=(2, 1))
        )
        self.rows = nn.Sequential(
            nn.Conv2d(4 * wide, deep, (3, COLUMNS // 4), padding=(1, 0), bias=False),
            nn.BatchNorm2d(deep),
            nn.ReLU(),
        )
        self.along = nn.ModuleList([_block(deep, deep, (5, 1), (d, 1)) for d in (1, 2, 4, 8, 16, 1)])
        self.fine = nn.Conv2d(2 * wide, deep // 2, (3, COLUMNS // 2), padding=(1, 0))
        self.up = nn.Sequential(
            _block(deep + deep // 2, deep, (5, 1)),
            _block(deep, deep // 2, (5, 1)),
            nn.Conv2d(deep // 2, 9, 1),
        )
        self.whole = nn.Sequential(nn.Linear(2 * deep + 8 * wide, 64), nn.ReLU(), nn.Linear(64, 4))

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """(strips, 9, rows) and (strips, 4), before sigmoid and softmax."""
        fine = self.second(self.first(x))
        coarse = F.dropout2d(self.third(fine), 0.1, self.training)
        rows = F.dropout2d(self.rows(coarse), 0.1, self.training)
        for layer in self.along:
            rows = rows + layer(rows)
        up = F.interpolate(rows, scale_factor=(2.0, 1.0), mode="nearest")
        out = self.up(torch.cat([up, F.relu(self.fine(fine))], 1))[..., 0]
        pooled = [rows.mean((2, 3)), rows.amax((2, 3)), coarse.mean((2, 3)), coarse.amax((2, 3))]
        return out, self.whole(torch.cat(pooled, 1))


def loss_of(rows: Any, whole: Any, kinds: Any, lines: Any, lumpy: Any, residual: Any) -> Any:
    """Kinds by cross entropy, lines by a focal one, lumps where known, residual by a smooth distance."""
    sure = torch.sigmoid(rows[:, 6:])
    focus = (sure - lines).abs() ** 1.5 * (1 + 8 * lines)
    line = (F.binary_cross_entropy_with_logits(rows[:, 6:], lines, reduction="none") * focus).mean() * 12
    known = lumpy >= 0
    lump = F.binary_cross_entropy_with_logits(whole[:, 0][known], lumpy[known]) if known.any() else 0.0
    off = F.smooth_l1_loss(whole[:, 1:], residual)
    return F.cross_entropy(rows[:, :6], kinds) + line + 0.4 * lump + 0.3 * off


class Strips(torch.utils.data.IterableDataset[Any]):
    """Strips without end, other ones in every worker; from each group of pictures as many."""

    def __init__(self, groups: list[list[Picture]], seed: int) -> None:
        self.groups, self.seed = groups, seed

    def __iter__(self) -> Iterator[Any]:
        cv2.setNumThreads(1)
        worker = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.seed, worker.id if worker else 0, 77])
        while True:
            yield sample(self.groups, rng)


def check(net: RowsNet, pictures: list[Picture], where: str) -> float:
    """The loss on strips of these pictures, the same ones every time."""
    rng = np.random.default_rng(5)
    with torch.no_grad():
        losses = []
        for _ in range(12):
            strips = zip(*(sample([pictures], rng) for _ in range(64)), strict=True)
            x, *truth = (torch.from_numpy(np.stack(v)).to(where) for v in strips)
            losses.append(float(loss_of(*net(x), *truth)))
    return float(np.mean(losses))


def main(argv: list[str] | None = None) -> None:
    """Fit for a time and write the network as ONNX."""
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("data", type=Path, nargs="+")
    a.add_argument("--seconds", type=float, default=150)
    a.add_argument("--steps", type=int, default=1_000_000)
    a.add_argument("--batch", type=int, default=64)
    a.add_argument("--lr", type=float, default=2e-3)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--workers", type=int, default=7)
    a.add_argument("--out", type=Path, default=Path("layers.onnx"))
    args = a.parse_args(argv)
    loaded = load_all(args.data, args.workers)
    groups: dict[str, list[Picture]] = {}
    kept: dict[str, list[Picture]] = {}
    for p in loaded:
        (kept if left_out(p.name) else groups).setdefault(p.name[0], []).append(p)
    print({k: (len(v), len(kept.get(k, []))) for k, v in groups.items()}, flush=True)
    where = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(args.seed)
    net = RowsNet().to(where)
    steps = torch.optim.AdamW(net.parameters(), lr=args.lr, weight_decay=2e-2)
    batches = torch.utils.data.DataLoader(
        Strips([v for k, v in groups.items() for _ in range(_SHARE.get(k, 1))], args.seed),
        batch_size=args.batch,
        num_workers=args.workers,
    )
    start = time.monotonic()
    for n, batch in enumerate(batches):
        gone = max((time.monotonic() - start) / args.seconds, n / args.steps)
        if gone >= 1:
            break
        for group in steps.param_groups:
            group["lr"] = args.lr * min(1, n / 100) * (0.5 + 0.5 * math.cos(math.pi * gone)) + 1e-6
        x, *truth = (v.to(where) for v in batch)
        loss = loss_of(*net(x), *truth)
        steps.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        steps.step()
        if n % 2000 == 0:
            print(n, round(float(loss.detach()), 3), flush=True)
            torch.save(net.state_dict(), args.out.with_suffix(".pt"))  # a run that is cut off leaves this
    net.eval()
    print(n, "steps; left out:", {k: round(check(net, v, where), 4) for k, v in kept.items()}, flush=True)
    net.cpu()
    names = {"input_names": ["strip"], "output_names": ["rows", "whole"]}
    torch.onnx.export(
        net, (torch.zeros(2, 3, ROWS, COLUMNS),), str(args.out), opset_version=17, dynamo=False, **names
    )


if __name__ == "__main__":
    main()
