"""Gather photographs and light from all round for the renderer:  python -m jartest.imaging.fit.rooms OUT.npz FILE ...

Takes panoramas of high dynamic range as `.exr`, or as the JavaScript modules of the package `@pmndrs/assets`, and
with `--photos` ordinary pictures.  Needs Mitsuba 3 (extra `fit`) for the panoramas.
"""

from __future__ import annotations

import argparse
import base64
import re
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["main", "packed", "panorama", "picture"]

ROWS, COLS = 256, 512
# Times the light that 40 % exceed: paths through glass find small strong lights by chance only.
_BRIGHTEST = 25.0


def panorama(path: Path) -> NDArray[np.uint8]:
    """One panorama, packed, its mean 0.8 and its strongest lights dimmed."""
    import mitsuba as mi

    mi.set_variant("scalar_rgb")
    if path.suffix == ".js":
        found = re.search(r"base64,([A-Za-z0-9+/=]+)", path.read_text())
        if found is None:
            raise ValueError(f"{path} holds no base64 data")
        with tempfile.NamedTemporaryFile(suffix=".exr") as file:
            file.write(base64.b64decode(found.group(1)))
            file.flush()
            held = mi.Bitmap(file.name)
    else:
        held = mi.Bitmap(str(path))
    img: Any = np.array(held.convert(mi.Bitmap.PixelFormat.RGB, mi.Struct.Type.Float32))
    img = np.minimum(img, _BRIGHTEST * np.percentile(img, 60))
    img = cv2.resize(img, (COLS, ROWS), interpolation=cv2.INTER_AREA)
    return packed(img * (0.8 / img.mean()))


def packed(light: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Light as the bytes of a WebP file whose values are 128 + 16 log2 of it, as `textures.room` unpacks it."""
    log = 128.5 + 16 * np.log2(np.maximum(light, 1e-3))
    return _webp(log.clip(0, 255).astype(np.uint8))


def picture(path: Path, longest: int = 640) -> NDArray[np.uint8]:
    """One ordinary picture no longer than it need be, as the bytes of a WebP file."""
    img = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if img is None:
        raise ValueError(f"{path} is no picture")
    k = min(1.0, longest / max(img.shape[:2]))
    size = (round(img.shape[1] * k), round(img.shape[0] * k))
    return _webp(np.asarray(cv2.resize(img, size, interpolation=cv2.INTER_AREA)[..., ::-1], np.uint8))


def _webp(img: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(
        cv2.imencode(".webp", img[..., ::-1], [cv2.IMWRITE_WEBP_QUALITY, 92])[1].ravel(), np.uint8
    )


def main(argv: list[str] | None = None) -> None:
    """Write one file of them."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("out", type=Path)
    p.add_argument("files", nargs="+", type=Path)
    p.add_argument("--photos", action="store_true")
    a = p.parse_args(argv)
    made: dict[str, Any] = {f"{i:03d}": (picture if a.photos else panorama)(f) for i, f in enumerate(a.files)}
    np.savez_compressed(a.out, **made)
    print(f"{len(made)} to {a.out}")


if __name__ == "__main__":
    main()
