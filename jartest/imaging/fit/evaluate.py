"""Hold the finder against known truth:  python -m jartest.imaging.fit.evaluate PATH ... [--json OUT].

Only the left-out sets of vessels count (facts.held_out), unless --all is given.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from jartest.imaging import finder
from jartest.imaging.fit.calibrate import standing
from jartest.imaging.fit.facts import held_out, read
from jartest.imaging.fit.truth import Truth

__all__ = ["main", "row"]


def row(name: str, pixels: Any, truth: dict[str, Any]) -> dict[str, Any]:
    """What the finder said of one picture beside what is true."""
    f = finder.look(pixels)
    known = Truth.from_json(truth)
    h, w = pixels.shape[:2]
    out: dict[str, Any] = {
        "name": name,
        "confidence": f.confidence,
        "count": f.jar_count,
        "found": f.frame is not None,
    }
    full = standing(known, w, h)
    out["vessels"] = len(full)
    out["empty"] = any(not v.bands for v in known.vessels)
    if f.frame is None or not full:
        return out
    x = (f.frame.left_px + f.frame.right_px) / 2
    s, b = min(full, key=lambda p: abs(float((p[0] + p[1])[0]) / 2 - x))
    column = max(float(np.linalg.norm(b - s)), 2.0)
    for key, line, true in (("surface", f.frame.surface_px, s), ("floor", f.frame.floor_px, b)):
        inside = 0 <= true[0] < w and 0 <= true[1] < h
        out[key] = abs(line - float(true[1])) / column * 100 if inside and not math.isnan(line) else None
        out[key + "_seen"] = bool(inside)
    out["surface_confidence"], out["floor_confidence"] = f.surface_confidence, f.floor_confidence
    out["surface_raw"], out["floor_raw"] = (
        (f.raw_rows[i] - float((s, b)[i][1])) / column * 100 for i in range(2)
    )
    out["surface_sigma"] = f.frame.surface_sigma_px / column * 100
    out["floor_sigma"] = f.frame.floor_sigma_px / column * 100
    return out


def main(argv: list[str] | None = None) -> list[dict[str, Any]]:
    """Figures over all given pictures."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("data", nargs="+")
    p.add_argument("--all", action="store_true")
    p.add_argument("--every", type=int, default=1)
    p.add_argument("--json")
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    rows = []
    for i, (n, img, t) in enumerate(read([Path(x) for x in a.data])):
        if (a.all or held_out(n)) and i % a.every == 0:
            rows.append(row(n, img, t))
    if a.json:
        Path(a.json).write_text(json.dumps(rows))
    jars = [r for r in rows if r["vessels"]]
    none = [r for r in rows if not r["vessels"] and not r["empty"]]
    print(f"pictures with a jar {len(jars)}, found {sum(r['found'] for r in jars)}")
    print(f"pictures without {len(none)}, taken for one {sum(r['found'] for r in none)}")
    one = [r for r in jars if r["found"]]
    print("count right", sum(min(r["count"], 2) == min(r["vessels"], 2) for r in one), "of", len(one))
    for key in ("surface", "floor"):
        seen = [r for r in one if r.get(key + "_seen")]
        e = [r[key] for r in seen if r[key] is not None]
        raw = [abs(r[key + "_raw"]) for r in seen]
        if e:
            q = [round(float(v), 2) for v in np.percentile(e, [50, 75, 90, 95])]
            print(f"{key}: given {len(e)} of {len(seen)}, error % of column 50/75/90/95 {q}")
            print("   all, given or not", [round(float(v), 2) for v in np.percentile(raw, [50, 75, 90, 95])])
    return rows


if __name__ == "__main__":
    main()
