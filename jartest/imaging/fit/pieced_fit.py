"""Fit the finder's two networks on jars put together from pieces (`pieced.py`).

    python -m jartest.imaging.fit.pieced_fit crop|picture OUT --textures textures.npz --data PATH ... --real real.npz

Renderings and drawings (`--data`, zips or folders as `facts.read` takes them) and real photographs (`--real`) are mixed
in by the shares below.  `--leave-out` names sources of real photographs that are never fitted on; `--start` goes on
from a fit.  Pictures put together are made while fitting, a few at every step, in the place of the oldest.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch.nn import functional as tf

from jartest.imaging.fit import train
from jartest.imaging.fit.facts import (
    CANVAS,
    MOST_BAITS,
    MOST_BANDS,
    MOST_VESSELS,
    Facts,
    facts,
    points_of,
    read,
    ungrained,
)
from jartest.imaging.fit.layers_fit import _arc
from jartest.imaging.fit.nets import CROP_COLS, CROP_ROWS, SIDE, CropNet, PictureNet, folded
from jartest.imaging.fit.pieced import Pieces
from jartest.imaging.fit.truth import Truth

__all__ = ["main"]

Tensor = Any


def textures(path: str, device: str) -> Tensor:
    """The pictures of an npz of JPEGs, (n, 3, 256, 256) in 0 to 1."""
    return torch.from_numpy(np.stack(_images(np.load(path)))).permute(0, 3, 1, 2).to(device).float() / 255


def _images(held: Any) -> list[Any]:
    data, start, out = held["data"], 0, []
    for end in held["ends"]:
        out.append(np.asarray(cv2.imdecode(data[start:end], cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
        start = int(end)
    return out


def photographs(path: str) -> list[tuple[Any, dict[str, Any]]]:
    """Real photographs and what was read of them by eye."""
    held = np.load(path)
    records = json.loads(str(held["records"]))
    names = [r["name"] for r in records]
    return [
        (i, r | {"several": names.count(r["name"]) > 1}) for i, r in zip(_images(held), records, strict=True)
    ]


def real_facts(path: str, leave_out: set[str]) -> tuple[list[Facts], list[list[float]]]:
    """Real photographs as facts, and their geometry."""
    some, shapes = [], []
    for image, r in photographs(path):
        if r["source"] in leave_out:
            continue
        canvas = np.full((CANVAS, CANVAS, 3), 128, np.uint8)
        h, w = image.shape[:2]
        canvas[:h, :w] = image
        points = np.full((MOST_VESSELS, 7, 2), np.nan, np.float32)
        tops = np.full((MOST_VESSELS, MOST_BANDS, 2), np.nan, np.float32)
        kinds = np.zeros((MOST_VESSELS, MOST_BANDS), np.int64)
        if not r["none"]:
            for k, p in enumerate(r["points"]):
                if p is not None:
                    points[0, k] = p
            for k, (y, kind) in enumerate(zip(r["tops"], r["kinds"], strict=True)):
                tops[0, k], kinds[0, k] = (r["points"][0][0], y), kind
        some.append(
            Facts(
                image=canvas, size=(w, h), mask=np.zeros((CANVAS, CANVAS), np.uint8), points=points, band_tops=tops,
                band_kinds=kinds, bait=np.full((MOST_BAITS, 5, 2), np.nan, np.float32), traced=False, held_out=False,
            )
        )  # fmt: skip
        g = [np.nan] * 7 if r["none"] else list(r["geometry"])
        if not r["none"]:
            g[4], g[5] = (
                0.0,
                g[6] + 0.15,
            )  # not read by eye: about upright, and as a phone at arm's length sees it
        shapes.append(g)
    return some, shapes


def _of_zip(path: Path) -> tuple[list[Facts], list[list[float]]]:
    cv2.setNumThreads(1)
    some, shapes = [], []
    for n, img, t in read([path]):
        some.append(facts(n, ungrained(n, img), t))
        shapes.append(_shape(Truth.from_json(t)))
    return some, shapes


def _shape(known: Truth) -> list[float]:
    """`pieced.GEOMETRY` of the only round vessel with contents; NaN where there is none."""
    nan = [math.nan] * 7
    full = [v for v in known.vessels if v.bands]
    if len(full) != 1 or full[0].power != 2:
        return nan
    v, view, turn = full[0], known.view, np.linspace(-np.pi, np.pi, 97)
    top = v.surface_mm
    ring = view.project(v.ring(top / 2, turn))
    left, right = float(ring[:, 0].min()), float(ring[:, 0].max())
    middle = view.project(v.ring(top / 2, np.zeros(1)))[0]
    surface, floor = points_of(view, v)[:2]
    if floor[1] - surface[1] < 12 or right - left < 6:
        return nan
    half = (right - left) / 2
    arcs = [_arc(view, v, y, half) for y in (0.0, top)]
    lean = (arcs[0][0] + arcs[1][0]) / 2
    sags = [s for _, s in arcs]
    for k, name in enumerate(("floor", "surface")):
        near, far = v.seen(name, "near"), v.seen(name, "far")
        if near is not None and far is not None:
            sags[k] = float(near[1] - far[1]) / 2 / half
    return [float(middle[0]), half, float(floor[1]), float(surface[1]), lean, *sags]


class Pool(train.Data):
    """Pictures of all kinds on the device; `made` is a ring of those put together."""

    def __init__(self, device: str, pieces: Pieces, made: int) -> None:
        super().__init__(device)
        self.pieces, self.made, self.next = pieces, made, 0
        empty = np.full((MOST_BAITS, 5, 2), np.nan, np.float32)
        n = made
        self.t = {
            "image": torch.zeros(n, 3, CANVAS, CANVAS, dtype=torch.uint8, device=device),
            "mask": torch.zeros(n, CANVAS, CANVAS, dtype=torch.uint8, device=device),
            "size": torch.full((n, 2), float(CANVAS), device=device),
            "points": torch.full((n, MOST_VESSELS, 7, 2), math.nan, device=device),
            "tops": torch.full((n, MOST_VESSELS, MOST_BANDS, 2), math.nan, device=device),
            "kinds": torch.zeros(n, MOST_VESSELS, MOST_BANDS, dtype=torch.long, device=device),
            "held": torch.zeros(n, dtype=torch.bool, device=device),
            "bait": torch.from_numpy(np.repeat(empty[None], n, 0)).to(device),
            "traced": torch.zeros(n, dtype=torch.bool, device=device),
            "shape": torch.full((n, 7), math.nan, device=device),
        }
        self.n = n
        self.real: list[int] = []
        while self.next < made:
            self.renew(16)
        self.next = made

    def renew(self, count: int) -> None:
        """Make some more, in the place of the oldest."""
        m = self.pieces.batch(count)
        at = (self.next + torch.arange(len(m.image), device=self.device)) % self.made
        self.next += len(m.image)
        parts = (m.image, m.mask, m.points, m.tops, m.kinds, m.geometry)
        for k, v in zip(("image", "mask", "points", "tops", "kinds", "shape"), parts, strict=True):
            self.t[k][at] = v

    def put(self, some: list[Facts], shapes: list[list[float]], *, real: bool = False) -> None:
        """Add pictures with known truth."""
        if not some:
            return
        first = self.n
        kept = self.t.pop("shape")
        super().add(some)
        self.t["shape"] = torch.cat([kept, torch.tensor(shapes, device=self.device)])
        if real:
            self.real += list(range(first, self.n))

    def groups(self) -> dict[str, Tensor]:
        """Indices of what may be fitted on, by kind of picture; each with one vessel at least, or none."""
        t = self.t
        full = t["points"][:, 0, 0, 0].isfinite() & ~t["held"]
        i = torch.arange(self.n, device=self.device)
        real = torch.zeros(self.n, dtype=torch.bool, device=self.device)
        real[torch.tensor(self.real, dtype=torch.long, device=self.device)] = True
        rest = full & ~real & (i >= self.made)
        return {
            "made": i[: self.made], "rest": i[rest], "real": i[full & real], "none": i[~full & ~t["held"] & (i >= self.made)],
        }  # fmt: skip


def pick(groups: dict[str, Tensor], shares: dict[str, float], batch: int) -> Tensor:
    """Indices, `batch` of them, each kind by its share; what is empty goes to what is put together."""
    parts, left = [], batch
    for k, share in shares.items():
        some = groups[k]
        if len(some) and k != "made":
            n = round(batch * share)
            parts.append(some[torch.randint(len(some), (n,), device=some.device)])
            left -= n
    some = groups["made"]
    return torch.cat([some[torch.randint(len(some), (left,), device=some.device)], *parts])


# ---------------------------------------------------------------- the closer look


def crop_step(
    net: Any, d: Pool, groups: dict[str, Tensor], shares: dict[str, float], batch: int, g: Any
) -> Tensor:
    """The loss of one batch of crops."""
    none = int(batch * 0.16) if len(groups["none"]) else 0
    idx = pick(groups, shares, batch - none)
    idx = idx[torch.randperm(len(idx), device=d.device)]
    if none:
        idx = torch.cat([idx, groups["none"][torch.randint(len(groups["none"]), (none,), device=d.device)]])
    two = d.t["points"][idx, 1, 0, 0].isfinite()
    which = (two & (torch.rand(len(idx), device=d.device) < 0.5)).long()
    m = train.crop_maps(d, idx, which, g, 1.0)
    jar = train.in_sight(d, idx, which)
    lost = torch.rand(len(idx), device=d.device) < 0.04
    way = torch.where(torch.rand(len(idx), device=d.device) < 0.5, -0.9, 0.9)
    m = torch.cat([m[:, :, :2], (m[:, :, 2] + (lost * way)[:, None] * m[:, :, 0] * CROP_COLS)[:, :, None]], 2)
    jar &= ~lost
    if none:
        jar[-none:] = False
        m = torch.cat([m[:-none], train.loose_maps(d, idx[-none:], g)])
        has = d.t["bait"][idx[-none:], 0, 0, 0].isfinite()
        if has.any():
            b = train.bait_maps(d, idx[-none:], g).nan_to_num(0.0)
            m[-none:] = torch.where(has[:, None, None], b, m[-none:])
    m = m.nan_to_num(0.0)
    t = train.crop_targets(d, idx, which, m, jar)
    t["far_floor"], t["far_floor_seen"] = far_floor(d, idx, which, m, jar)
    real = torch.isin(idx, groups["real"]) if len(groups["real"]) else torch.zeros_like(jar)
    t["cols_seen"] &= ~real[:, None]
    t["far_floor_seen"] &= ~real
    x, mask = train.warp(d, idx, m, CROP_ROWS, CROP_COLS)
    x = train.paled(x, mask, g, 0.3)
    x = train.spoil(x, g)
    with torch.autocast(d.device, torch.bfloat16, enabled=d.device == "cuda"):
        rows, cols, whole = net(x)
    return crop_loss(rows.float(), cols.float(), whole.float(), t)


def crop_loss(rows: Tensor, cols: Tensor, whole: Tensor, t: dict[str, Tensor]) -> Tensor:
    """As `train.crop_loss`, with the far edge of the floor as a fifth line."""
    loss = train.crop_loss(
        (torch.cat([rows[:, :4], rows[:, 5:12]], 1), cols, torch.cat([whole[:, :5], whole[:, 6:]], 1)), t
    )
    jar = t["jar"].float()
    loss = loss + 0.4 * train._peaks(rows[:, 4], t["far_floor"], t["far_floor_seen"], 1.2)
    known = t["far_floor"].isfinite() & (jar > 0)
    gone = tf.binary_cross_entropy_with_logits(whole[:, 5], (~t["far_floor_seen"]).float(), reduction="none")
    return loss + 0.1 * (gone * known).sum() / known.sum().clamp(min=1)


def far_floor(d: Pool, idx: Tensor, which: Tensor, m: Tensor, jar: Tensor) -> tuple[Tensor, Tensor]:
    """Row of the floor's far edge in the crop, and whether it is asked for: round vessels of known shape alone."""
    s = d.t["shape"][idx]
    floor = d.t["points"][idx, which, 1]
    up = 2 * s[:, 5] * s[:, 1]
    far = torch.stack([floor[:, 0] + s[:, 4] * up, floor[:, 1] - up], 1)
    row = train.apply(train.invert(m + 1e-6 * (m == 0)), far[:, None])[:, 0, 1]
    ok = row.isfinite() & (which == 0) & jar & (row > 0) & (row < CROP_ROWS - 1)
    return row.nan_to_num(0.0), ok


# ---------------------------------------------------------------- the whole picture


def picture_step(
    net: Any, d: Pool, groups: dict[str, Tensor], shares: dict[str, float], batch: int, g: Any
) -> Tensor:
    """The loss of one batch of whole pictures; of those put together only the one vessel's column is asked for."""
    none = int(batch * 0.2) if len(groups["none"]) else 0
    idx = pick(groups, shares | {"real": 0.0}, batch - none)
    if none:
        idx = torch.cat([idx, groups["none"][torch.randint(len(groups["none"]), (none,), device=d.device)]])
    m = train.picture_maps(d, idx, g)
    t = train.picture_targets(d, idx, m)
    x, mask = train.warp(d, idx, m, SIDE, SIDE)
    x = train.spoil(x, g)
    with torch.autocast(d.device, torch.bfloat16, enabled=d.device == "cuda"):
        out = net(x)
    return train.picture_loss(out, mask, t)


_STEPS: dict[str, Any] = {
    "crop": (crop_step, CropNet),
    "picture": (picture_step, PictureNet),
}


def fit(kind: str, d: Pool, a: argparse.Namespace, start: dict[str, Any] | None = None) -> Any:
    """Fit for a.seconds; the averaged network."""
    torch.manual_seed(a.seed)
    g = torch.Generator(d.device).manual_seed(a.seed + 1)
    take, make = _STEPS[kind]
    net, mean = (make().to(d.device).to(memory_format=torch.channels_last) for _ in range(2))
    if start and not any(k.endswith("running_var") for k in start):  # kept weights, their norms folded in
        net, mean = (folded(make().eval()).to(d.device).train() for _ in range(2))
    if start:
        net.load_state_dict(start)
    elif a.trunk:
        net.trunk.take(torch.load(a.trunk, map_location="cpu", weights_only=True))
    mean.load_state_dict(net.state_dict())
    slow, fast = ([t for t in x.state_dict().values() if t.dtype.is_floating_point] for x in (mean, net))
    parts = [
        {
            "params": [p for n, p in net.named_parameters() if n.startswith("trunk.") == is_trunk],
            "share": share,
        }
        for is_trunk, share in ((True, a.trunk_rate), (False, 1.0))
    ]
    opt = torch.optim.AdamW([p for p in parts if p["params"]], lr=a.lr, weight_decay=0.02)
    groups = d.groups()
    shares = {"rest": a.rest, "real": a.real_share, "made": 1.0}
    begun, n, told = time.monotonic(), 0, 0.0
    waiting = sorted(Path(a.watch).glob("*.zip")) if a.watch else []
    while (spent := time.monotonic() - begun) < a.seconds and n < a.steps:
        part = max(spent / a.seconds, n / a.steps)
        rate = a.lr * min(1, (n + 1) / (50 if start else 300)) * (0.5 + 0.5 * math.cos(math.pi * part)) + 1e-6
        for group in opt.param_groups:
            group["lr"] = rate * group["share"]
        if a.renew and n % 8 == 0:  # many at once: it is the calls that take the time
            d.renew(8 * a.renew)
        loss = take(net, d, groups, shares, a.batch, g)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        if torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0).isfinite():
            opt.step()
        n += 1
        with torch.no_grad():
            torch._foreach_lerp_(slow, fast, 1 - min(0.998, n / (n + 10)))
        if spent - told > a.every:
            print(
                json.dumps(
                    {"kind": kind, "s": round(spent), "steps": n, "loss": round(float(loss.detach()), 3)}
                ),
                flush=True,
            )
            told = spent
            _save(mean, a.out)
            new = [] if not a.watch else [x for x in sorted(Path(a.watch).glob("*.zip")) if x not in waiting]
            if new:
                waiting += new
                load(new, a.workers, d)
                groups = d.groups()
                print(f"{d.n} pictures", flush=True)
    _save(mean, a.out)
    print(
        json.dumps({"kind": kind, "s": round(time.monotonic() - begun), "steps": n, "done": a.out}),
        flush=True,
    )
    return mean


def _save(net: Any, path: str) -> None:
    """The weights in half precision, as they are shipped."""
    torch.save({k: v.half() if v.dtype == torch.float32 else v for k, v in net.state_dict().items()}, path)


def load(paths: list[Path], workers: int, d: Pool) -> None:
    """Read renderings and drawings on several processes."""
    from concurrent.futures import ProcessPoolExecutor

    if not paths:
        return
    with ProcessPoolExecutor(max(1, workers)) as pool:
        for some, shapes in pool.map(_of_zip, paths):
            d.put(some, shapes)


def main(argv: list[str] | None = None) -> None:
    """Fit one network and save it."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("kind", choices=sorted(_STEPS))
    p.add_argument("out")
    p.add_argument("--textures", required=True)
    p.add_argument("--data", nargs="*", default=[])
    p.add_argument("--watch", default="", help="a folder where more zips may appear while fitting")
    p.add_argument("--real", default="")
    p.add_argument(
        "--leave-out", default="", help="sources of real photographs that are not fitted on, commas between"
    )
    p.add_argument("--start", default="")
    p.add_argument("--trunk", default="", help="published weights of EfficientNet-Lite0")
    p.add_argument("--trunk-rate", type=float, default=0.4, help="its rate as a share of the rest's")
    p.add_argument("--seconds", type=float, default=400)
    p.add_argument("--steps", type=int, default=10**9)
    p.add_argument("--every", type=float, default=60)
    p.add_argument("--batch", type=int, default=224)
    p.add_argument("--lr", type=float, default=3e-3)
    p.add_argument("--rest", type=float, default=0.4, help="share of renderings and drawings")
    p.add_argument("--real-share", type=float, default=0.08)
    p.add_argument("--made", type=int, default=3000)
    p.add_argument("--renew", type=int, default=12)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--workers", type=int, default=8)
    a = p.parse_args(argv)
    torch.backends.cudnn.benchmark = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(a.seed)
    begun = time.monotonic()
    d = Pool(device, Pieces(textures(a.textures, device), CANVAS), a.made)
    print(f"{a.made} put together in {time.monotonic() - begun:.0f} s", flush=True)
    load([Path(x) for x in a.data], a.workers, d)
    print(f"{d.n} pictures in {time.monotonic() - begun:.0f} s", flush=True)
    if a.real:
        d.put(*real_facts(a.real, set(a.leave_out.split(","))), real=True)
    start = torch.load(a.start, map_location="cpu", weights_only=True) if a.start else None
    fit(a.kind, d, a, start)


if __name__ == "__main__":
    main()
