"""A small network's word on where the jar stands and what is in it: proposals, with confidence.

Two looks.  The first sees the whole picture at 256 x 256 and says, cell by cell, what is there
(background, glass, the liquid's upper face, foam, floating, liquid, settled) and where columns of
liquid stand.  The second sees the jar proposed by the first, upright and stretched to 256 x 96, and
says for each row how likely it is the near arc of the surface, its far arc, the inner floor or the
top of the foam, and what stands there; it is asked twice, the second time close to the liquid.  Where
the two disagree the confidence falls.

What both were fitted on stands in weights/MODEL.md, and how in fit/DIARY.md.
"""

from __future__ import annotations

import itertools
import json
import math
import threading
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.values import Frame, LayerKind

__all__ = ["CLASSES", "FOUND", "SURE", "TRUSTED", "Ends", "Finding", "SeenLayer", "edge_odds", "look"]

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

CLASSES = ("background", "glass", "face", "foam", "floating", "liquid", "settled")
_WEIGHTS = Path(__file__).parent / "weights"
_SIDE, _CELL = 256, 4
_ROWS, _COLS = 256, 96
_WORK = 1280  # longest side, about, of the copy that the second look is cut from
_PAD = 128
_NEAR = 0.025  # of the column: how far from a line its odds still count as the same line
# Where the odds are sharp this is the peak's own row to 1 % of the column; where a thick base or a meniscus spreads them,
# eyes set lines at their upper part.  Of 27 real photographs, each judged by a fit that had not seen its source, floors
# within 3 % went from 13 to 16 and surfaces from 12 to 16; on the test pictures all 45 and 42 stayed.  Chosen on these.
_ABOVE, _AROUND = (
    (0.3, 0.25),
    0.05,
)  # share of the odds of surface and floor; columns to each side of the peak
_APART = 1.2  # half-widths between two vessels' middles from which they are two; our choice
_MANY = 3  # vessels looked at; a picture of more is answered with these

_FOAM = 0.1  # how much rarer foam is than where the networks were fitted: chosen on left-out pictures, see fit/DIARY.md
_SAME_ROW = 3  # rows of a crop: a surface this near to the top of the contents is that top

FOUND = 0.75  # confidence from which a jar counts as found; what passes it without one, see fit/DIARY.md
SURE = 0.5  # confidence from which a line is given: chosen on left-out pictures, see fit/DIARY.md
TRUSTED = 0.8  # confidence from which nobody need say that the lines are right: one in five lines is wrong there; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLayer:
    """A layer as the network sees it, as fractions of the column from the floor up."""

    kind: LayerKind
    bottom_fraction: float
    top_fraction: float
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ends:
    """Where the finder sees the contents end: for rows of the photo on the jar's centre line, from the top down.

    `odds` are the closer look's that a row is the upper end of foam, or of the contents where there is none;
    `surface` those that it is the liquid's surface.  Each adds up to one.
    """

    rows_px: Floats
    odds: Floats
    surface: Floats

    def above(self, row_px: float) -> float:
        """Odds that the contents end above this row."""
        return float(self.odds[self.rows_px < row_px].sum())

    def lowered(self, by_px: float) -> Ends:
        """The same where the photo begins so many rows higher."""
        return replace(self, rows_px=self.rows_px + by_px)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding:
    """What the finder proposes for one photo.

    `classes` are the odds of each of `CLASSES` in cells of the picture, (rows, cols, 7), the picture
    from edge to edge.  `frame` is None where no jar with contents is found; a line whose confidence is
    too low, or that lies outside the picture, is NaN in it.  `far_px` and `foam_top_px` are rows on the
    centre line, NaN where not seen; `ends` has the odds of every row.  `jar_count` is how many vessels with contents stand in the picture.
    """

    classes: NDArray[np.float32]
    jar_count: int
    confidence: float
    frame: Frame | None
    surface_confidence: float = math.nan
    floor_confidence: float = math.nan
    far_px: float = math.nan
    foam_top_px: float = math.nan
    layers: tuple[SeenLayer, ...] = ()
    raw_rows: tuple[float, float] = (math.nan, math.nan)  # surface and floor, however unsure
    ends: Ends | None = None
    beside: float = 0.0  # how sure it is of a second vessel beside this one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Column:
    """A column of liquid as the first look proposes it, in px of the photo."""

    score: float
    surface: Floats
    floor: Floats
    rim: Floats
    half: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Overview:
    """What the first look says of each cell."""

    classes: NDArray[np.float32]  # of the picture alone
    odds: NDArray[np.float32]  # (64, 64, 7), of the letterboxed square
    scale: Floats
    shift: Floats

    def at(self, points: Floats) -> Floats:
        """(n, 7) odds at points of the work copy; outside the picture the nearest cell's."""
        cell = ((points + 0.5) / self.scale + self.shift) / _CELL
        i = np.clip(cell.astype(int), 0, _SIDE // _CELL - 1)
        return np.asarray(self.odds[i[..., 1], i[..., 0]], float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Crop:
    """The second look at one crop: odds over its rows and columns, and the map back to the photo."""

    back: Floats  # (2, 3): crop column, row, 1 -> photo column, row
    lines: Floats  # (5, rows): near arc where foam is as rare as it is, floor, far arc, top of the foam, far floor
    surface: Floats  # (rows,): the near arc as the network itself has it
    kinds: Floats  # (6, rows): glass, foam, floating, liquid, settled, outside
    edges: Floats  # (rows,)
    walls: Floats  # (2, columns)
    jar: float
    gone: Floats  # (5,)

    def point(self, col: float, row: float) -> Floats:
        out: Floats = self.back @ np.array([col, row, 1.0])
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Judged:
    """One vessel after both looks: rows in `close` with their sigma, and how sure each thing is."""

    column: _Column
    wide: _Crop
    close: _Crop
    rows: tuple[float, float]  # surface, floor
    sigmas: tuple[float, float]
    jar: float
    sure: tuple[float, float]


_lock = threading.Lock()


@cache
def _net(name: str) -> Any:
    return cv2.dnn.readNetFromONNX(str(_WEIGHTS / f"{name}.onnx"))


def _run(name: str, x: NDArray[np.float32], outputs: list[str]) -> list[NDArray[np.float32]]:
    with _lock:  # a network holds its last input: one photo at a time
        net = _net(name)
        net.setInput(x)
        return [np.array(o) for o in net.forward(outputs)]


def _sigmoid(x: Any) -> Any:
    return 1 / (1 + np.exp(-np.clip(x, -60, 60)))


def _softmax(x: Any, axis: int) -> Floats:
    e = np.exp(x - x.max(axis=axis, keepdims=True))
    out: Floats = np.asarray(e / e.sum(axis=axis, keepdims=True), float)
    return out


def look(pixels: Pixels, *, found: float = FOUND) -> Finding:
    """The finder's proposal for one upright RGB photo.

    Parameters
    ----------
    pixels : (H, W, 3) uint8
        The photo, RGB, full size.
    found : float
        Confidence from which a jar counts as found.

    Returns
    -------
    Finding
        Coordinates in px of this photo, pixel centres at integers.

    Raises
    ------
    ValueError
        `pixels` is not an (H, W, 3) array of uint8.

    Notes
    -----
    Two small convolutional networks run by OpenCV; the same photo gives the same finding.  They fail
    where the model card says they fail: above all clear liquid before a pattern, and vessels cut off.
    """
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype != np.uint8:
        raise ValueError(f"the finder needs (H, W, 3) bytes, not {pixels.shape} of {pixels.dtype}")
    work, to_photo = _work_copy(pixels)
    overview, columns = _first_look(work)
    classes = overview.classes
    seen = sorted((_judged(work, overview, c) for c in columns[:_MANY]), key=lambda x: -x.jar)
    if not seen or seen[0].jar < found:
        return Finding(classes=classes, jar_count=0, confidence=seen[0].jar if seen else 0.0, frame=None)
    finding = _finding(seen[0], classes, _count(seen), to_photo, pixels.shape[:2])
    return replace(finding, beside=_beside(seen))


def _work_copy(pixels: Pixels) -> tuple[Pixels, Floats]:
    """A copy of about _WORK px, and how many of the photo's px one of its px is, across and down."""
    h, w = pixels.shape[:2]
    k = min(
        max(1, round(max(h, w) / _WORK)), h, w
    )  # a whole number: OpenCV averages those five times as fast
    if k == 1:
        return pixels, np.ones(2)
    size = (w // k, h // k)
    part = pixels[: size[1] * k, : size[0] * k]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8), np.full(2, float(k))


def _first_look(work: Pixels) -> tuple[_Overview, list[_Column]]:
    h, w = work.shape[:2]
    s = _SIDE / max(h, w)
    nw, nh = max(1, round(w * s)), max(1, round(h * s))
    x0, y0 = (_SIDE - nw) // 2, (_SIDE - nh) // 2
    box = np.full((_SIDE, _SIDE, 3), _PAD, np.uint8)
    how = cv2.INTER_AREA if s < 1 else cv2.INTER_LINEAR
    box[y0 : y0 + nh, x0 : x0 + nw] = cv2.resize(work, (nw, nh), interpolation=how)
    x = box.transpose(2, 0, 1).astype(np.float32) / 255
    out = _run("picture", np.ascontiguousarray(x[None]), ["maps"])[0][0].astype(float)
    odds = _softmax(out[:7], 0).transpose(1, 2, 0).astype(np.float32)
    rows = slice(y0 // _CELL, -(-(y0 + nh) // _CELL))
    cols = slice(x0 // _CELL, -(-(x0 + nw) // _CELL))
    scale, shift = np.array([w / nw, h / nh]), np.array([x0, y0], float)

    def back(p: Floats) -> Floats:
        return np.asarray((p - shift + 0.5) * scale - 0.5, float)

    seen = _Overview(classes=np.ascontiguousarray(odds[rows, cols]), odds=odds, scale=scale, shift=shift)
    seen.classes.setflags(write=False)
    return seen, _columns(_sigmoid(out[7]), out[8:] * 64, back, float(scale.mean()))


def _columns(heat: Floats, lengths: Floats, back: Any, scale: float) -> list[_Column]:
    """The columns of liquid, most likely first; cells that speak of the same one count once."""
    heat = heat.copy()
    n = heat.shape[0]
    gy, gx = np.mgrid[:n, :n] * _CELL + (_CELL - 1) / 2
    found: list[_Column] = []
    for _ in range(4):
        i, j = divmod(int(heat.argmax()), n)
        score = float(heat[i, j])
        if score < max(0.03, 0.15 * (found[0].score if found else 0.0)):
            break
        part = (slice(max(0, i - 1), i + 2), slice(max(0, j - 1), j + 2))
        weight = heat[part] / heat[part].sum()
        at = [(weight * (g[part] + lengths[k][part])).sum() for k, g in enumerate((gx, gy) * 3)]
        surface, floor, rim = (np.array(at[k : k + 2]) for k in (0, 2, 4))
        half = float((weight * lengths[6][part]).sum())
        found.append(
            _Column(
                score=score,
                surface=back(surface),
                floor=back(floor),
                rim=back(rim),
                half=max(half, 2) * scale,
            )
        )
        middle, long = (surface + floor) / 2, max(float(np.linalg.norm(surface - floor)), 10.0)
        e = (surface - floor) / max(float(np.linalg.norm(surface - floor)), 1e-3)
        along = ((gx - middle[0]) * e[0] + (gy - middle[1]) * e[1]) / long
        across = ((gx - middle[0]) * e[1] - (gy - middle[1]) * e[0]) / max(half, 4)
        heat[(np.abs(along) < 1.2) & (np.abs(across) < 1.1)] = 0
    return found


def _cut(work: Pixels, floor: Floats, top: Floats, half: float, above: float = 0.09) -> tuple[Pixels, Floats]:
    """The jar between two points of its centre line, upright and stretched to fill; and the map back."""
    axis = top - floor
    length = max(float(np.linalg.norm(axis)), 8.0)
    down = -axis / length if np.linalg.norm(axis) > 1e-6 else np.array([0.0, 1.0])
    side = np.array([down[1], -down[0]])
    start = top - down * above * length
    ey = down * length * (1.2 + above) / _ROWS
    ex = side * max(2.7 * half, 8.0) / _COLS
    at = start + 0.5 * ey - ex * (_COLS - 1) / 2
    back = np.stack([ex, ey, at], 1)
    k = 2  # sampled twice as fine, then averaged, as in fitting
    fine = np.stack([ex / k, ey / k, at + (0.5 / k - 0.5) * (ex + ey)], 1)
    crop = cv2.warpAffine(
        work, fine, (_COLS * k, _ROWS * k), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT, borderValue=(_PAD, _PAD, _PAD),
    )  # fmt: skip
    return np.asarray(cv2.resize(crop, (_COLS, _ROWS), interpolation=cv2.INTER_AREA), np.uint8), back


def _second_look(work: Pixels, floor: Floats, top: Floats, half: float, above: float = 0.09) -> _Crop:
    """Ask about the jar between two points of its centre line."""
    crop, back = _cut(work, floor, top, half, above)
    x = crop.transpose(2, 0, 1).astype(np.float32) / 255
    asked = _run("crop", np.ascontiguousarray(x[None]), ["rows", "cols", "whole"])
    rows, cols, whole = (o[0].astype(float) for o in asked)
    lines = _softmax(rows[:5], 1)
    return _Crop(
        back=back,
        lines=_rarer_foam(lines),
        surface=lines[0],
        kinds=_softmax(rows[5:11], 0),
        edges=_sigmoid(rows[11]),
        walls=_softmax(cols, 1),
        jar=float(_sigmoid(whole[0])),
        gone=_sigmoid(whole[1:6]),
    )


def edge_odds(pixels: Pixels, floor: Floats, surface: Floats, half_px: float) -> tuple[Floats, Floats]:
    """How likely a layer ends at each height of a jar whose lines are known, by the closer look alone.

    Parameters
    ----------
    pixels : (H, W, 3) uint8
        The photo, RGB, full size.
    floor, surface : (2,) float
        Where inner floor and surface cross the jar's centre line, px.
    half_px : float
        Half the jar's inner width, px.

    Returns
    -------
    fractions, odds : (256,) float
        Heights as fractions of the column, from the top down, and the odds.  A mirrored photo has the same.
    """
    column, middle = surface - floor, (surface + floor) / 2
    reach = 0.8 * float(np.linalg.norm(column)) + 1.6 * half_px
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.minimum(np.ceil(middle + reach) + 1, np.array(pixels.shape[1::-1])).astype(int)
    work, to_photo = _work_copy(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]))
    at = [(p - low + 0.5) / to_photo - 0.5 for p in (floor, floor + _OVER * column)]
    crop, back = _cut(work, at[0], at[1], half_px / float(to_photo[0]))
    x = crop.transpose(2, 0, 1).astype(np.float32) / 255
    rows = _run("crop", np.stack([x, x[:, :, ::-1]]), ["rows", "cols", "whole"])[0][:, 11].astype(float)
    down = np.stack([np.full(_ROWS, (_COLS - 1) / 2), np.arange(_ROWS), np.ones(_ROWS)])
    places = ((back @ down).T + 0.5) * to_photo - 0.5 + low - floor
    return places @ column / (column @ column), np.asarray(_sigmoid(rows).mean(0), float)


_OVER = 1.2  # of the column: how high the crop reaches whose rows are asked for edges; our choice


def _rarer_foam(lines: Floats) -> Floats:
    """The lines' odds where foam is so much rarer than among the pictures for fitting (`_FOAM`).

    A surface below the top of the contents means foam between the two: its odds shrink, and all add up to one again.
    """
    top = np.convolve(lines[3], np.ones(2 * _SAME_ROW + 1), "same")
    surface = lines[0] * (_FOAM + (1 - _FOAM) * np.minimum(top, 1))
    return np.concatenate([surface[None] / surface.sum(), lines[1:]])


def _peak(odds: Floats) -> float:
    """The place of the highest odds, to a part of a row."""
    k = int(odds.argmax())
    a, b = max(0, k - 3), k + 4
    return float((odds[a:b] * np.arange(a, a + len(odds[a:b]))).sum() / odds[a:b].sum())


def _placed(odds: Floats, above: float, column: float) -> float:
    """The row above which this share of the odds near their highest lie, to a part of a row."""
    k = np.arange(len(odds))
    there = odds * (np.abs(k - _peak(odds)) <= max(2.0, _AROUND * column))
    return float(np.interp(above, np.cumsum(there) / there.sum(), k + 0.5)) - 0.5


def _centre(crop: _Crop) -> float:
    return (_peak(crop.walls[0]) + _peak(crop.walls[1])) / 2


def _closer(work: Pixels, wide: _Crop, c: _Column) -> _Crop:
    """The second look again, close to the liquid that the first time showed."""
    mid = _centre(wide)
    surface, floor = wide.point(mid, _peak(wide.lines[0])), wide.point(mid, _peak(wide.lines[1]))
    if (
        floor[1] - surface[1] < 3 or max(wide.gone[0], wide.gone[1]) > 0.8
    ):  # nothing to go by: as first proposed
        surface, floor = c.surface, c.floor
    half = abs(_peak(wide.walls[1]) - _peak(wide.walls[0])) / 2 * float(np.linalg.norm(wide.back[:, 0]))
    return _second_look(
        work, floor, floor + 1.35 * (surface - floor), half if half > 0.3 * c.half else c.half
    )


def _line(kind: int, wide: _Crop, close: _Crop, column: float) -> tuple[float, float, float]:
    """Row in `close`, its sigma in rows, and the odds that both crops give to that place."""
    odds = close.lines[kind]
    row = _placed(odds, _ABOVE[kind], column)
    k = np.arange(_ROWS)
    near = np.abs(k - row) <= max(2.0, _NEAR * column)
    sigma = math.sqrt(float((odds[near] * (k[near] - row) ** 2).sum() / odds[near].sum()))
    there = close.point(_centre(close), row)
    ends = np.stack([wide.point(_centre(wide), float(j)) for j in (0, _ROWS - 1)])
    along = ends[1] - ends[0]
    t = float((there - ends[0]) @ along / (along @ along)) * (_ROWS - 1)
    ratio = float(np.linalg.norm(close.back[:, 1]) / np.linalg.norm(wide.back[:, 1]))
    same = np.abs(k - t) <= max(2.0, _NEAR * column * ratio + 1)
    held = (float(odds[near].sum()) + float(wide.lines[kind][same].sum())) / 2
    return row, sigma, held * (1 - (float(close.gone[kind]) + float(wide.gone[kind])) / 2)


def _logit(p: float) -> float:
    p = min(max(p, 1e-3), 1 - 1e-3)
    return math.log(p / (1 - p))


def _signs(c: _Column, wide: _Crop, close: _Crop, lines: list[tuple[float, float, float]]) -> Floats:
    """What speaks for or against a jar and its lines; the confidences are fitted on these."""
    (rs, ss, surface), (rf, sf, floor) = lines
    long = max(4.0, rf - rs)
    walls = [
        w[max(0, int(w.argmax()) - 2) : int(w.argmax()) + 3].sum() for x in (wide, close) for w in x.walls
    ]
    a, b = max(0, round(rs)), round(rf)
    inside = close.kinds[1:5, a : b + 1].sum(0).mean() if b > a else 0.0
    above = close.kinds[0, :a].mean() if a > 2 else 0.5
    below = close.kinds[5, b + 1 :].mean() if b < _ROWS - 3 else 0.5
    mid = _centre(close)
    at = [close.point(mid, r) for r in (rs, rf)]
    px = max(4.0, float(np.linalg.norm(at[1] - at[0])))
    moved = [
        min(1.0, float(np.linalg.norm(p - q)) / px) for p, q in zip(at, (c.surface, c.floor), strict=True)
    ]
    width = float(np.linalg.norm(close.back[:, 0])) * abs(_peak(close.walls[1]) - _peak(close.walls[0]))
    wider = min(1.0, abs(math.log(max(width, 2.0) / (2 * c.half))))
    return np.array(
        [
            _logit(c.score), _logit(wide.jar), _logit(close.jar), surface, floor, np.mean(walls), min(walls), inside,
            above, below, *moved, wider, close.gone[0], close.gone[1], ss / long, sf / long, math.log(long),
        ]
    )  # fmt: skip


@cache
def _confidences() -> dict[str, Any]:
    held: dict[str, Any] = json.loads((_WEIGHTS / "confidence.json").read_text())
    return held


def _confidence(what: str, signs: Floats) -> float:
    w = _confidences()[what]
    z = (signs - np.array(w["mean"])) / np.array(w["spread"])
    return float(_sigmoid(w["bias"] + z @ np.array(w["weights"])))


def _looked(
    work: Pixels, seen: _Overview, c: _Column
) -> tuple[_Crop, _Crop, list[tuple[float, float, float]], Floats]:
    wide = _second_look(work, c.floor, c.rim, c.half)
    close = _closer(work, wide, c)
    column = max(4.0, _peak(close.lines[1]) - _peak(close.lines[0]))
    lines = [_line(k, wide, close, column) for k in (0, 1)]
    return wide, close, lines, np.append(_signs(c, wide, close, lines), _surroundings(seen, close, lines))


def _surroundings(seen: _Overview, close: _Crop, lines: list[tuple[float, float, float]]) -> Floats:
    """The first look's odds of contents in the column, of glass over it, and of backdrop beside it."""
    rows = np.linspace(lines[0][0], max(lines[1][0], lines[0][0] + 2), 9)
    left, right = _peak(close.walls[0]), _peak(close.walls[1])
    mid, half = (left + right) / 2, max(abs(right - left) / 2, 2)
    ones = np.ones(9)

    def odds(t: float, at: Floats) -> Floats:
        return seen.at(np.stack([(mid + t * half) * ones, at, ones], 1) @ close.back.T)

    inside = np.mean([odds(t, rows)[:, 2:].sum(1) for t in (-0.6, 0, 0.6)])
    beside = [float(odds(t, rows)[:, 0].mean()) for t in (-1.5, 1.5)]
    over = rows[0] - np.linspace(0.1, 0.4, 9) * (rows[-1] - rows[0])
    return np.array([inside, max(beside), min(beside), odds(0, over)[:, 1:3].sum(1).mean()])


def _judged(work: Pixels, seen: _Overview, c: _Column) -> _Judged:
    wide, close, lines, signs = _looked(work, seen, c)
    jar = _confidence("jar", signs)
    return _Judged(
        column=c, wide=wide, close=close, rows=(lines[0][0], lines[1][0]), sigmas=(lines[0][1], lines[1][1]), jar=jar,
        sure=(_confidence("surface", signs), _confidence("floor", signs)),
    )  # fmt: skip


def _count(seen: list[_Judged]) -> int:
    """How many different vessels: two looks that ended on the same one count once."""
    middles: list[tuple[Floats, float]] = []
    for x in seen:
        if x.jar < FOUND:
            continue
        m = x.close.point(_centre(x.close), sum(x.rows) / 2)
        if all(np.linalg.norm(m - other) > half for other, half in middles):
            middles.append((m, x.column.half))
    return len(middles)


def _beside(seen: list[_Judged]) -> float:
    """Confidence of the surest vessel whose middle is at least `_APART` half-widths of the first beside it."""
    middles = [x.close.point(_centre(x.close), sum(x.rows) / 2) for x in seen]
    apart = _APART * seen[0].column.half
    there = [x.jar for x, m in zip(seen, middles, strict=True) if abs(m[0] - middles[0][0]) > apart]
    return max(there, default=0.0)


def _finding(
    x: _Judged, classes: NDArray[np.float32], count: int, to_photo: Floats, shape: tuple[int, int]
) -> Finding:
    close, mid = x.close, _centre(x.close)
    row_px = float(np.linalg.norm(close.back[:, 1])) * float(to_photo[1])

    def row_of(row: float) -> float:
        return float((close.point(mid, row)[1] + 0.5) * to_photo[1] - 0.5)

    rows = (row_of(x.rows[0]), row_of(x.rows[1]))
    given = [
        y if s >= SURE and 0 <= y <= shape[0] - 1 else math.nan for y, s in zip(rows, x.sure, strict=True)
    ]
    sides = [
        float((close.point(_peak(w), sum(x.rows) / 2)[0] + 0.5) * to_photo[0] - 0.5) for w in close.walls
    ]
    down = close.back[:, 1] * to_photo
    frame = Frame(
        left_px=min(sides), right_px=max(sides), floor_px=given[1], surface_px=given[0],
        tilt_deg=math.degrees(math.atan2(-down[0], down[1])), floor_sigma_px=x.sigmas[1] * row_px,
        surface_sigma_px=x.sigmas[0] * row_px, confidence=min(x.jar, *x.sure),
    )  # fmt: skip
    extra = [row_of(_peak(close.lines[k])) if close.gone[k] < 0.5 else math.nan for k in (2, 3)]
    return Finding(
        classes=classes, jar_count=count, confidence=x.jar, frame=frame, surface_confidence=x.sure[0],
        floor_confidence=x.sure[1], far_px=extra[0], foam_top_px=extra[1], raw_rows=rows,
        layers=_layers(close, *x.rows), ends=_ends(close, to_photo),
    )  # fmt: skip


def _ends(close: _Crop, to_photo: Floats) -> Ends:
    rows = close.back[1] @ np.stack([np.full(_ROWS, _centre(close)), np.arange(_ROWS), np.ones(_ROWS)])
    rows_px = np.asarray((rows + 0.5) * to_photo[1] - 0.5, float)
    return Ends(rows_px=rows_px, odds=close.lines[3], surface=close.surface)


_KINDS: dict[int, LayerKind] = {1: "foam", 2: "floating", 3: "body", 4: "settled"}


def _layers(crop: _Crop, surface: float, floor: float) -> tuple[SeenLayer, ...]:
    """Runs of rows of one kind between floor and surface, split where a boundary is seen."""
    a, b = round(surface), round(floor)
    if b - a < 4:
        return ()
    kinds = crop.kinds[1:5, a:b]
    best = kinds[1:].argmax(0) + 2  # no foam under the surface
    cuts = [0]
    for r in range(1, b - a):
        edge = crop.edges[a + r]
        peak = edge > 0.5 and edge >= crop.edges[a + r - 1 : a + r + 2].max()
        if (best[r] != best[r - 1] or peak) and r - cuts[-1] >= 2:
            cuts.append(r)
    cuts.append(b - a)
    out = []
    for lo, hi in itertools.pairwise(cuts):
        kind = int(np.bincount(best[lo:hi]).argmax())
        out.append(
            SeenLayer(
                kind=_KINDS[kind], bottom_fraction=1 - hi / (b - a), top_fraction=1 - lo / (b - a),
                confidence=float(kinds[kind - 1, lo:hi].mean()),
            )
        )  # fmt: skip
    return tuple(reversed(out))
