"""The worst readings of folders with known truth on one sheet, with what went wrong in words.

    python tests/evidence/worst.py FOLDER... -o OUT.png [--marks] [--count 10]

Each tile shows the jar with the true lines on its left half (green, solid) and the read ones on its right
half (yellow, dashed); under it what went wrong, worst first, which is also printed.  `--marks` gives the true
walls, floor and surface to the reading.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
from known import FAR, Truth, matched, pictures, truth_of
from PIL import Image, ImageDraw, ImageFont

from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Reading
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo

_TILE, _WORDS, _ACROSS = (380, 460), 150, 5  # px of a picture, px of the words under it, tiles in a row
_TRUE, _READ, _HALO = (60, 255, 90), (255, 225, 0), (0, 0, 0)
# What a fault weighs against an error of 1 % of the column: only to bring the worst to the top.
_PASSED, _NO_JAR, _NO_LINE, _MISSED, _FALSE, _FOAM, _NOT_PASSED = 1000.0, 200.0, 60.0, 30.0, 25.0, 30.0, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that went wrong, in words, and its weight."""

    weight: float
    says: str


def faults(t: Truth, r: Reading) -> list[Fault]:
    """What went wrong in a reading, worst first; empty where it is right."""
    out = _line_faults(t, r) if r.jar_found and r.jar is not None else [_said(_NO_JAR, "no jar found")]
    if r.layers:
        out += _layer_faults(t, r)
    verdict = judge_photo(r, load_limits())
    if t.harmful and verdict.word == "pass":
        out.append(_said(_PASSED, f"HARMFUL ({t.category}) AND PASSED, lump index {r.floc_index:.2f}"))
    if t.uniform and verdict.word != "pass":
        why = [x.rule for x in verdict.reasons if x.leads_to != "pass"]
        out.append(
            _said(_NOT_PASSED, f"uniform, yet {verdict.word or 'no verdict'}: {', '.join(why)} {_flags(r)}")
        )
    return sorted(out, key=lambda f: -f.weight)


def _said(weight: float, says: str) -> Fault:
    return Fault(weight=weight, says=says)


def _flags(r: Reading) -> str:
    return f"[{', '.join(f for f in r.flags if f not in ('no scale', 'set by hand'))}]"


def _line_faults(t: Truth, r: Reading) -> list[Fault]:
    assert r.jar is not None
    out = []
    high = t.marks.floor_px - t.marks.surface_px
    for name in ("surface", "floor"):
        true, got = (getattr(x, f"{name}_px") for x in (t.marks, r.jar))
        error = (true - got) / high
        if math.isnan(got):
            out.append(_said(_NO_LINE, f"no {name} given {_flags(r)}"))
        elif abs(error) > FAR / 3:
            where = "too high" if error > 0 else "too low"
            out.append(_said(100 * abs(error), f"{name} {100 * abs(error):.1f} % of the column {where}"))
    return out


def _layer_faults(t: Truth, r: Reading) -> list[Fault]:
    pairs, false = matched(t, r)
    met = {true for true, _, _ in pairs}
    out = [
        _said(_MISSED, f"boundary at {100 * b:.1f} % missed {_flags(r)}")
        for b in t.boundaries
        if b not in met
    ]
    out += [_said(_FALSE, f"boundary at {100 * b:.1f} % that is none") for b in false]
    for true, got, sigma in pairs:
        if abs(got - true) > 2 * sigma:
            says = f"boundary at {100 * true:.1f} % read at {100 * got:.1f} ± {100 * sigma:.1f} %"
            out.append(_said(100 * abs(got - true), says))
    foam = r.foam_fraction
    if abs(t.foam - foam) > FAR:
        says = f"foam of {100 * t.foam:.0f} % of the column read as {100 * foam:.0f} % {_flags(r)}"
        out.append(_said(_FOAM if "foam unsure" in r.flags else 2 * _FOAM, says))
    return out


def draw(t: Truth, photo: Photo, r: Reading, found: list[Fault], number: int) -> Image.Image:
    """One tile: the jar with true and read lines, and what went wrong."""
    wide, high = t.box[2] - t.box[0], t.box[3] - t.box[1]
    tops = [t.box[1]] + ([r.jar.surface_px] if r.jar and not math.isnan(r.jar.surface_px) else [])
    box = (t.box[0] - 0.35 * wide, min(tops) - 0.12 * high, t.box[2] + 0.35 * wide, t.box[3] + 0.15 * high)
    part = Image.fromarray(photo.pixels).crop(tuple(round(v) for v in box))
    scale = min(_TILE[0] / part.width, _TILE[1] / part.height)
    part = part.resize((round(part.width * scale), round(part.height * scale)))
    tile = Image.new("RGB", (_TILE[0], _TILE[1] + _WORDS), (25, 25, 25))
    tile.paste(part, (0, 0))
    pen = ImageDraw.Draw(tile)
    middle = ((t.box[0] + t.box[2]) / 2 - box[0]) * scale

    def rule(row_px: float, right: bool, name: str) -> None:
        if math.isnan(row_px):
            return
        y = (row_px - box[1]) * scale
        start, end = (middle, part.width) if right else (0, middle)
        step = 14 if right else max(1, round(end - start))
        for x in range(round(start), round(end), step):
            stop = min(x + (8 if right else step), end)
            pen.line((x, y, stop, y), fill=_HALO, width=4)
            pen.line((x, y, stop, y), fill=_READ if right else _TRUE, width=2)
        pen.text(
            (part.width - 62 if right else 2, y + 1), name, fill=_READ if right else _TRUE, font=_font(12)
        )

    _rules(t, r, rule)
    _words(pen, t, found, number)
    return tile


def _rules(t: Truth, r: Reading, rule: object) -> None:
    assert callable(rule)
    rule(t.marks.surface_px, False, "surface")
    rule(t.marks.floor_px, False, "floor")
    rule(t.foam_top_px, False, "foam")
    for row in t.boundary_rows_px:
        rule(row, False, "layer")
    if r.jar is None:
        return
    rule(r.jar.surface_px, True, "surface")
    rule(r.jar.floor_px, True, "floor")
    for layer in r.layers:
        if abs(layer.top_fraction - 1) > 1e-6:
            rule(layer.top_px, True, layer.kind)


def _words(pen: ImageDraw.ImageDraw, t: Truth, found: list[Fault], number: int) -> None:
    y = _TILE[1] + 4
    pen.text((4, y), f"{number}. {t.name}", fill=(255, 255, 255), font=_font(15))
    for f in found:
        for line in _broken(f.says, 56):
            y += 17
            pen.text((4, y), line, fill=(225, 225, 225), font=_font(13))


def _broken(words: str, width: int) -> list[str]:
    lines = [""]
    for word in words.split():
        if len(lines[-1]) + len(word) + 1 > width:
            lines.append("  ")
        lines[-1] += (" " if lines[-1].strip() else "") + word
    return lines


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size=size)


def main(argv: Sequence[str] | None = None) -> int:
    """Draw the sheet and print what is on it."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("folders", nargs="+", type=Path)
    p.add_argument("-o", "--out", type=Path, required=True)
    p.add_argument("--marks", action="store_true", help="the true walls, floor and surface are given")
    p.add_argument("--count", type=int, default=10)
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    if not (paths := pictures(*a.folders)):
        raise SystemExit("no pictures with known truth beside them in these folders; give others.")
    read = []
    for path in paths:
        t, photo = truth_of(path), open_photo(path.read_bytes(), path.name)
        r = read_photo(photo, marks=t.marks if a.marks else None)
        if found := faults(t, r):
            read.append((sum(f.weight for f in found), t, photo, r, found))
    read.sort(key=lambda x: -x[0])
    worst = read[: a.count]
    rows = max(1, math.ceil(len(worst) / _ACROSS))
    sheet = Image.new("RGB", (_ACROSS * (_TILE[0] + 8), rows * (_TILE[1] + _WORDS + 8)))
    for k, (_, t, photo, r, found) in enumerate(worst):
        print(f"{k + 1}. {t.name}: " + "; ".join(f.says for f in found))
        at = (k % _ACROSS * (_TILE[0] + 8), k // _ACROSS * (_TILE[1] + _WORDS + 8))
        sheet.paste(draw(t, photo, r, found, k + 1), at)
    sheet.save(a.out)
    print(f"{len(read)} of {len(paths)} readings have something wrong; the worst {len(worst)} are in {a.out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
