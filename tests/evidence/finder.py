"""The finder held against pictures with known truth, as they are and as copies.

    python tests/evidence/finder.py jars FOLDER...        (pictures with a .json of truth beside each)
    python tests/evidence/finder.py none                  (pictures without a vessel)
    python tests/evidence/finder.py real FOLDER           (photographs with an INDEX.csv of readings by eye)
    python tests/evidence/finder.py series FOLDER         (names LABEL-0005min.jpg: the first one's lines given)

`jars` prints, for each kind of copy: found, given no surface or floor, and the median and 95th percentile of
the error of surface and floor in % of the column.  Nothing here is fitted on or chosen by.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import sys
import warnings
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import skimage.data
from known import COPIES, copy_of, pictures, truth_of
from numpy.typing import NDArray

from jartest.imaging import finder
from jartest.imaging.fit import textures, unlike
from jartest.imaging.follow import follow_jar
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame

Pixels = NDArray[np.uint8]

_FOLDER_HAS = "known truth beside each picture as NAME.json"


def jars(folders: Sequence[str], kinds: Sequence[str]) -> list[dict[str, Any]]:
    """One row of figures for each kind of copy."""
    files = pictures(*(Path(d) for d in folders))
    if not files:
        raise SystemExit(f"no pictures in {', '.join(folders)}; give folders with {_FOLDER_HAS}.")
    return [_figures(k, files) for k in kinds]


def _figures(kind: str, files: list[Path]) -> dict[str, Any]:
    found = missing = 0
    errors: dict[str, list[float]] = {"surface": [], "floor": []}
    for f in files:
        data, truth = copy_of(kind, truth_of(f))
        reading = read_photo(open_photo(data, f.name))
        found += reading.jar_found
        jar = reading.jar
        if not reading.jar_found or jar is None:
            continue
        surface, floor = truth.marks.surface_px, truth.marks.floor_px
        missing += math.isnan(jar.surface_px + jar.floor_px)
        for what, got, true in (("surface", jar.surface_px, surface), ("floor", jar.floor_px, floor)):
            if not math.isnan(got):
                errors[what].append(abs(got - true) / (floor - surface) * 100)
    out: dict[str, Any] = {
        "copy": kind,
        "pictures": len(files),
        "found": found,
        "no surface or floor": missing,
    }
    for what, e in errors.items():
        out[what] = [round(float(v), 2) for v in np.percentile(e, [50, 95])] if e else None
    return out


def without() -> dict[str, Any]:
    """How many pictures without a vessel are taken for one, by name."""
    shown = {
        f"drawn {k} {i}": unlike.unlike(8_000_000 + i, k) for k in sorted(unlike.KINDS) for i in range(3)
    }
    for k in sorted(set(textures.BACKDROPS) - {"photo"}):
        x = textures.backdrop(np.random.default_rng([77, len(k), ord(k[0])]), k, (480, 640)) ** (1 / 2.2)
        shown[f"backdrop {k}"] = (x * 255).astype(np.uint8)
    shown |= _offline()
    taken = sorted(n for n, x in shown.items() if finder.look(x).frame is not None)
    return {"pictures": len(shown), "taken for a jar": taken}


def _offline() -> dict[str, Pixels]:
    out: dict[str, Pixels] = {}
    for n in sorted(set(skimage.data.__all__)):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                a: Any = np.asarray(getattr(skimage.data, n)())
        except (ModuleNotFoundError, TypeError, OSError, ValueError):
            continue
        if a.ndim not in (2, 3) or min(a.shape[:2]) < 64:
            continue
        a = (a if a.ndim == 3 else np.repeat(a[..., None], 3, -1))[..., :3]
        if a.dtype != np.uint8:
            a = (a.astype(float) / max(float(a.max()), 1e-9) * 255).astype(np.uint8)
        out[f"scikit-image {n}"] = np.ascontiguousarray(a)
    return out


def real(folder: Path) -> list[dict[str, Any]]:
    """What is read of each photograph beside what an eye reads."""
    rows = []
    with (folder / "INDEX.csv").open() as f:
        entries = list(csv.DictReader(f))
    for name, some in groupby(entries, key=lambda r: r["file"]):
        vessels = [r for r in some if r["vessel_no"] != "0"]
        photo = open_photo((folder / name).read_bytes(), name)
        found, reading = finder.look(photo.pixels), read_photo(photo)
        row: dict[str, Any] = {"file": name, "vessels": len(vessels), "counted": found.jar_count,
                               "sure": round(found.confidence, 2), "flags": reading.flags}  # fmt: skip
        jar = reading.jar
        if vessels and reading.jar_found and jar is not None:
            x = (jar.left_px + jar.right_px) / 2
            v = min(vessels, key=lambda r: abs((float(r["box_left"]) + float(r["box_right"])) / 2 - x))
            column = float(v["inner_bottom_y"]) - float(v["surface_y"])
            row["surface %"] = round((jar.surface_px - float(v["surface_y"])) / column * 100, 1)
            row["floor %"] = round((jar.floor_px - float(v["inner_bottom_y"])) / column * 100, 1)
        rows.append(row)
    return rows


def series(folder: Path) -> dict[str, Any]:
    """Errors of the lines carried from each series' first photo to the others, in % of the column."""
    files = pictures(folder)
    errors: dict[str, list[float]] = {"surface": [], "floor": []}
    lost = []
    for _, some in groupby(files, key=lambda f: f.stem.rsplit("-", 1)[0]):
        first, *rest = list(some)
        photo, frame = _with_truth(first)
        for f in rest:
            now, true = _with_truth(f)
            got = follow_jar(now, photo, frame)
            if got is None:
                lost.append(f.name)
                continue
            column = true.floor_px - true.surface_px
            errors["surface"].append(abs(got.surface_px - true.surface_px) / column * 100)
            errors["floor"].append(abs(got.floor_px - true.floor_px) / column * 100)
    out: dict[str, Any] = {"lost": lost}
    for what, e in errors.items():
        out[what] = (
            {"n": len(e), "median": round(float(np.median(e)), 2), "worst": round(max(e), 2)} if e else None
        )
    return out


def _with_truth(path: Path) -> tuple[Photo, Frame]:
    m = truth_of(path).marks
    frame = Frame(
        left_px=m.left_px, right_px=m.right_px, floor_px=m.floor_px, surface_px=m.surface_px, confidence=1.0
    )
    return open_photo(path.read_bytes(), path.name), frame


def main(argv: Sequence[str] | None = None) -> int:
    """Print the figures, one JSON object a line."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("what", choices=["jars", "none", "real", "series"])
    p.add_argument("folders", nargs="*")
    p.add_argument("--copies", action="store_true", help="with jars: the five kinds of copies too")
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    if a.what == "none":
        rows: list[dict[str, Any]] = [without()]
    elif a.what == "real":
        rows = real(Path(a.folders[0]))
    elif a.what == "series":
        rows = [series(Path(a.folders[0]))]
    else:
        rows = jars(a.folders, ["plain", *(COPIES if a.copies else ())])
    for r in rows:
        print(json.dumps(r, ensure_ascii=False), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
