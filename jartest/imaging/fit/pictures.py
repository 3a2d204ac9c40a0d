"""Render pictures with truth into a zip:  python -m jartest.imaging.fit.pictures OUT.zip --seconds 500."""

from __future__ import annotations

import argparse
import json
import time
import zipfile
from collections.abc import Iterator
from typing import Any

import cv2

from jartest.imaging.fit import scene, world, world_scene
from jartest.imaging.fit.answers import answer
from jartest.imaging.fit.bait import baits
from jartest.imaging.fit.drawn import draw
from jartest.imaging.fit.shots import looks, lump_looks, plain_looks
from jartest.imaging.fit.truth import Truth
from jartest.imaging.fit.unlike import NOTHING, unlike
from jartest.imaging.fit.wares import World

__all__ = ["main"]


def main(argv: list[str] | None = None) -> None:
    """Render every step-th set of vessels from the first on, until the time or the number is reached."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("out")
    p.add_argument("--first", type=int, default=0)
    p.add_argument("--step", type=int, default=1)
    p.add_argument("--count", type=int, default=1_000_000)
    p.add_argument("--seconds", type=float, default=1e9)
    p.add_argument("--megabytes", type=float, default=15.5)
    p.add_argument("--variant", default="cuda_ad_rgb")
    p.add_argument("--width", type=int, default=288)
    p.add_argument("--height", type=int, default=384)
    p.add_argument("--spp", type=int, default=64)
    p.add_argument("--drawn", action="store_true", help="drawn pictures in place of path-traced ones")
    p.add_argument(
        "--plain", action="store_true", help="one plain jar in each, as one is told to photograph it"
    )
    p.add_argument("--unlike", action="store_true", help="drawn pictures without a vessel")
    p.add_argument(
        "--lumps", action="store_true", help="jars seen close, lumpy and not, path-traced or drawn"
    )
    p.add_argument(
        "--bait", action="store_true", help="note where the finder as it stands sees a jar that is none"
    )
    p.add_argument("--world", action="store_true", help="strange vessels, contents, rooms and phones")
    p.add_argument("--fresh-test", action="store_true", help="the pictures for testing only, with answers")
    p.add_argument("--looks", type=int, default=6)
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    if a.fresh_test:
        scene.use(a.variant)
        _fresh(a)
        return
    kind = next(
        (k for k, on in zip("dulpw", (a.drawn, a.unlike, a.lumps, a.plain, a.world), strict=True) if on), "r"
    )
    if kind in "rlpw":
        scene.use(a.variant)
    start, done, size = time.monotonic(), 0, 0
    with zipfile.ZipFile(a.out, "w", zipfile.ZIP_DEFLATED) as z:
        for i in range(a.first, a.first + a.step * a.count, a.step):
            if time.monotonic() - start > a.seconds or size > a.megabytes * 1e6:
                break
            if a.drawn:
                made = [draw(i, width=a.width, height=a.height, lumps=a.lumps)]
            elif a.unlike:
                made = [(unlike(i), dict(NOTHING))]
            elif a.world:
                shots = world.world_looks(i, a.looks, width=a.width, height=a.height, spp=a.spp)
                made = world_scene.shoot(shots)
            else:
                listed = lump_looks if a.lumps else plain_looks if a.plain else looks
                made = scene.shoot(listed(i, a.looks, width=a.width, height=a.height, spp=a.spp))
            for k, (picture, truth) in enumerate(made):
                if a.bait:
                    truth["bait"] = baits(picture, Truth.from_json(truth))
                jpg = cv2.imencode(".webp", picture[..., ::-1], [cv2.IMWRITE_WEBP_QUALITY, 82])[1].tobytes()
                text = json.dumps(truth)
                z.writestr(f"{kind}{i:06d}-{k}.webp", jpg, zipfile.ZIP_STORED)
                z.writestr(f"{kind}{i:06d}-{k}.json", text)
                size += len(jpg) + len(text) // 3
                done += 1
    print(f"{done} pictures, {size / 1e6:.1f} MB, {time.monotonic() - start:.0f} s", flush=True)


def _fresh(a: argparse.Namespace) -> None:
    """Every step-th picture for testing only, from the first on, as JPEG with its answer in a zip."""
    size = {"width": a.width, "height": a.height, "spp": a.spp}
    start, done = time.monotonic(), 0
    with zipfile.ZipFile(a.out, "w") as z:
        for name, shot, about in list(_listed(size))[a.first : a.first + a.step * a.count : a.step]:
            if time.monotonic() - start > a.seconds:
                break
            picture, truth = world_scene.shoot((shot,))[0]
            told = answer(truth, shot) if shot.jars else {"jar_present": False, "layers": []}
            jpg = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()
            z.writestr(f"{name}.jpg", jpg)
            z.writestr(f"{name}.json", json.dumps(told | about, indent=1))
            done += 1
    print(f"{done} pictures, {time.monotonic() - start:.0f} s", flush=True)


def _listed(size: dict[str, int]) -> Iterator[tuple[str, World, dict[str, Any]]]:
    """Name, shot and further truth of every picture for testing only: 76 vessels, 4 series of 5, 20 rooms."""
    for i in range(76):
        kind, shot = world.fresh_looks(i, **size)
        yield (
            f"single/fresh-{i:03d}-{kind.replace(' ', '_')}",
            shot,
            {"shows": kind} | ({"category": kind} if kind == "curdled" else {}),
        )
    for s in range(4):
        name, shots = world.fresh_series(s, **size)
        for minutes, shot in zip(world.MINUTES, shots, strict=True):
            yield f"series/{name}{s}-{minutes:04d}min", shot, {"series": name, "minutes": minutes}
    for i in range(20):
        shot = world.fresh_rooms(i, **size)
        yield f"rooms/room-{i:03d}-{shot.prop}", shot, {"category": "none", "shows": shot.prop}


if __name__ == "__main__":
    main()
