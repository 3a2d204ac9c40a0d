"""Render pictures with truth into a zip:  python -m jartest.imaging.fit.pictures OUT.zip --seconds 500."""

from __future__ import annotations

import argparse
import json
import time
import zipfile

import cv2

from jartest.imaging.fit import scene
from jartest.imaging.fit.bait import baits
from jartest.imaging.fit.drawn import draw
from jartest.imaging.fit.shots import looks, lump_looks, plain_looks
from jartest.imaging.fit.truth import Truth
from jartest.imaging.fit.unlike import NOTHING, unlike

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
    p.add_argument("--looks", type=int, default=6)
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    kind = "d" if a.drawn else "u" if a.unlike else "l" if a.lumps else "p" if a.plain else "r"
    if kind in "rlp":
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


if __name__ == "__main__":
    main()
