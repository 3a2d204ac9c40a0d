"""The test's own first photo as blank: what stood there when all was just mixed is jar and scenery.

Two strips of one jar, unrolled from the same floor over the same height: a boundary that is seen now stood at
the same place in the blank, has moved since, or is new.  And what changed its color since by more than the
rest of the contents did is no longer as mixed, whether or not a boundary is seen there.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.change import lab_of, light_gains, linear_of
from jartest.imaging.flocs import Flocs
from jartest.imaging.layers import SURE, Boundary
from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, ROWS, Strip, find_geometry, unroll
from jartest.imaging.values import Frame, Lump

__all__ = [
    "BLANK_DOUBTED",
    "Blank",
    "Since",
    "Stretch",
    "align",
    "changed_apart",
    "since_blank",
    "strip_like",
    "unexplained",
    "without_jar",
    "without_marks",
]

BLANK_USED, BLANK_DOUBTED = "first look", "first look doubted"  # flags, as quality.py has them

Floats = NDArray[np.float32]
Since = Literal["same", "moved", "new"]

_SECTORS = ((-0.75, -0.25), (-0.25, 0.25), (0.25, 0.75))  # of the half-width: left, middle, right
_ROW = float(FRACTIONS[0] - FRACTIONS[1])
_BESIDE, _GAP = 5, 2  # rows on each side of a boundary that make its step, and rows left out between
_NEAR = 3  # rows, 1.7 % of the column: how well two frames of one jar agree, see held.py
_FAR = 18  # rows, 10 %: a step like this one so near has moved
_WIDE = 18  # rows over which the color on each side of a boundary must be as it was
_FAINT = 2.0  # CIELAB difference under which a step proves nothing
_ALIKE, _ALIKE_PART = 3.0, 0.35  # steps differ by no more: CIELAB, or part of the step; our choice
_CHANGED = (
    3.0  # CIELAB: three times what one just sees side by side; steady jars of the drawn series reach 1.2
)
_ENDS = (0.012, 0.988)  # of the column: nearer to floor and surface the lines' own doubt makes changes
_THICK = (
    0.015  # of the column, three rows: thinner stretches are edges that were smeared otherwise; our choice
)
_SAME_COLUMN = 0.05  # two columns of one jar whose heights differ by more are not of one filling; our choice


_THIN = 0.1  # of the column: nobody's word is needed for what so thin a layer is taken for; our choice
_SAME_HEIGHT = 0.03  # of the column: a boundary that a person drew so near is that one; our choice
_SAME_PLACE, _SAME_SIZE = 0.03, 1.5  # in half-widths, and as a ratio: lumps that are one; our choice
_FEW = 0.05  # of the contents: where lumps cover more, some lie at the same place by chance; our choice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blank:
    """The photo that is the blank, the jar's frame and lumps in it, and what is known of it.

    `known` where the jar held water alone, or a person said what layers stand in it; `drawn` are the boundaries
    that person drew, as fractions of the column's rows; `water` where it held water alone.
    """

    photo: Photo
    frame: Frame
    lumps: tuple[Lump, ...] = ()
    known: bool = False
    drawn: tuple[float, ...] = ()
    water: bool = False

    def as_decoded(self) -> Blank:
        """The same as if its file held just the pixels that were decoded."""
        k = 1 / self.photo.shrunk
        lumps = tuple(x.scaled(k) for x in self.lumps)
        return replace(self, photo=self.photo.as_decoded(), frame=self.frame.scaled(k), lumps=lumps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of the contents that changed its color by more than the rest: where, and by how much (CIELAB)."""

    bottom_fraction: float
    top_fraction: float
    change: float


def strip_like(photo: Photo, frame: Frame, now: Strip) -> Strip | None:
    """The blank's jar unrolled from its floor over as high a part of it as `now` has; None for another filling."""
    high, wide = frame.floor_px - frame.surface_px, frame.right_px - frame.left_px
    g = now.geometry
    as_high = g.column_px / (2 * g.half_px) * wide
    if not abs(as_high / high - 1) < _SAME_COLUMN:  # NaN compares false
        return None
    start = replace(frame, surface_px=frame.floor_px - as_high)
    return unroll(photo, start, find_geometry(photo, start))


def align(blank: Strip, now: Strip) -> tuple[Floats, Floats, float] | None:
    """Both strips as medians of left, middle and right, (3, ROWS, CIELAB), in the blank's light, and the light's sigma.

    None where the backdrop beside the jar does not tell how the light changed; see `change.light_gains`.
    """
    gains, _ = light_gains(blank, now)
    if gains is None:
        return None
    log = np.log(gains)
    here = lab_of(linear_of(now.lab) * np.exp(log.mean(axis=0)))
    parts = [(low < ACROSS) & (high > ACROSS) for low, high in _SECTORS]
    was, is_ = (np.stack([np.median(x[:, p], axis=1) for p in parts]) for x in (blank.lab, here))
    # L* goes with the cube root of the light (CIE 1976): 116 / 3 for each part of it, at white.
    return (
        np.asarray(was, np.float32),
        np.asarray(is_, np.float32),
        float(log.std(axis=0, ddof=1).max()) * 116 / 3,
    )


def since_blank(blank: Strip, now: Strip, heights: Sequence[float]) -> tuple[Since, ...]:
    """For each boundary seen now, whether it stood at the same place in the blank, moved, or is new.

    Parameters
    ----------
    blank, now : Strip
        Of the same jar, from the same floor over the same height, as `strip_like` makes the first.
    heights : sequence of float
        Fractions of the column's rows, from the bottom up.

    Returns
    -------
    tuple of str
        `same` only where an equal step stood at the same place in left, middle and right, and the color over
        and under it is what it was: where what lies there changed, a boundary is the mixture's, jar or no jar.
        All `new` where the light cannot be compared.
    """
    both = align(blank, now)
    if both is None:
        return tuple("new" for _ in heights)
    was, here, sigma = both
    rows = [
        _row(0.0) + _GAP,
        *(_row(f) for f in heights),
        _row(1.0) - _GAP,
    ]  # at floor and surface nothing is left out
    return tuple(
        _since(was, here, sigma, row, (low, high))
        for low, row, high in zip(rows, rows[1:], rows[2:], strict=False)
    )


def _row(fraction: float) -> int:
    return round((float(FRACTIONS[0]) - fraction) / _ROW)


def _since(was: Floats, here: Floats, sigma: float, row: int, ends: tuple[int, int]) -> Since:
    """What became of one boundary; `ends` are the rows of the next ones under and over it."""
    step = _step(here, row)
    size = np.linalg.norm(step, axis=-1)
    if float(np.median(size)) < _FAINT:
        return "new"  # too faint to be known again
    low, high = ends
    over = slice(max(high + _GAP, row - _GAP - _WIDE), row - _GAP)
    under = slice(row + _GAP, min(low - _GAP, row + _GAP + _WIDE))
    for d in range(-_NEAR, _NEAR + 1):
        then = np.roll(was, -d, axis=1)
        if _same_step(step, _step(then, row)) and all(
            _unchanged(then, here, sigma, x) for x in (over, under)
        ):
            return "same"
    far = (d for d in range(-_FAR, _FAR + 1) if abs(d) > _NEAR)
    return "moved" if any(_same_step(step, _step(was, row + d)) for d in far) else "new"


def _step(strip: Floats, row: int) -> Floats:
    """Color over a row less that under it, in each part; (3, CIELAB)."""
    row = min(max(row, _GAP + _BESIDE), ROWS - _GAP - _BESIDE - 1)
    over = strip[:, row - _GAP - _BESIDE : row - _GAP + 1].mean(axis=1)
    under = strip[:, row + _GAP : row + _GAP + _BESIDE + 1].mean(axis=1)
    return np.asarray(over - under, np.float32)


def _same_step(now: Floats, then: Floats) -> bool:
    apart = np.linalg.norm(now - then, axis=-1)
    size, before = np.linalg.norm(now, axis=-1), np.linalg.norm(then, axis=-1)
    return bool(np.all(apart <= np.maximum(_ALIKE, _ALIKE_PART * size)) and np.all(before >= 0.5 * size))


def _unchanged(was: Floats, here: Floats, sigma: float, part: slice) -> bool:
    """True where the color of these rows is what it was, but for the light's doubt; too few rows tell nothing."""
    if part.stop - part.start < 2:
        return False
    apart = np.linalg.norm(np.median(here[:, part], axis=1) - np.median(was[:, part], axis=1), axis=-1)
    return bool(np.all(apart <= _CHANGED + 2 * sigma))


def changed_apart(blank: Strip, now: Strip, seen_through: float = 0.0) -> tuple[Stretch, ...]:
    """Stretches of the contents whose color changed since the blank by more than that of the rest, from the bottom up.

    Parameters
    ----------
    blank, now : Strip
        As for `since_blank`.
    seen_through : float
        How sure it is that one sees through the contents (0 to 1): so far may the backdrop have wandered behind
        them, at most a tenth of the column.

    Notes
    -----
    A row's change is the least over the rows of the blank that it may have been, so that edges which lie a little
    elsewhere, and a backdrop that is seen through, make none; the median over all rows is what the whole contents changed by.  Empty
    where the light cannot be compared: nothing is known then.
    """
    both = align(blank, now)
    if both is None:
        return ()
    was, here, sigma = both
    inside = np.flatnonzero((_ENDS[0] < FRACTIONS) & (_ENDS[1] > FRACTIONS))
    reach = round(_NEAR + seen_through * (_FAR - _NEAR))
    shifts = range(-reach, reach + 1)
    straight = here[:, inside] - was[:, inside]
    whole = np.median(straight, axis=1, keepdims=True)
    each = np.stack([np.linalg.norm(here[:, inside] - was[:, inside + d] - whole, axis=-1) for d in shifts])
    change = np.median(each.min(axis=0), axis=0)  # two of three parts at least
    return _stretches(inside, change, _CHANGED + 2 * sigma)


def _stretches(rows: NDArray[np.intp], change: Floats, least: float) -> tuple[Stretch, ...]:
    out = []
    at = 0
    for over, run in itertools.groupby(change > least):
        length = len(list(run))
        if over and length * _ROW >= _THICK:
            part = rows[at : at + length]
            most = float(change[at : at + length].max())
            out.append(
                Stretch(
                    bottom_fraction=float(FRACTIONS[part[-1]]),
                    top_fraction=float(FRACTIONS[part[0]]),
                    change=most,
                )
            )
        at += length
    return tuple(reversed(out))


# ------------------------------------------------------------------ as the reading takes it
def without_jar(
    blank: Blank, like: Strip, strip: Strip, found: Sequence[Boundary]
) -> tuple[list[Boundary], list[str]]:
    """The boundaries that are not the jar's, and the flags that say where the blank was used.

    Notes
    -----
    What stood there in the blank and is as it was is jar or scenery: certainly so where the blank is known,
    else only where it makes a thin layer, and then the photo is at best a watch.  What is new or moved, may or may
    not be a boundary by itself, and lies where the contents changed more than elsewhere is one.
    """
    changed = changed_apart(like, strip, 1.0)
    kept, flags = [], []
    for b, since in zip(found, since_blank(like, strip, [b.fraction for b in found]), strict=True):
        drawn = any(abs(b.fraction - x) < _SAME_HEIGHT for x in blank.drawn)
        thin = min(b.fraction, 1 - b.fraction) < _THIN
        if since == "same" and not drawn and (blank.known or thin):
            flags.append(BLANK_USED if blank.known else BLANK_DOUBTED)
            continue
        seen_twice = since != "same" and any(_near(x, b.fraction) for x in changed)
        kept.append(replace(b, sure=max(b.sure, SURE)) if seen_twice else b)
    return kept, flags


def unexplained(
    like: Strip, strip: Strip, boundaries: Sequence[Boundary], seen_through: float
) -> tuple[Stretch, ...]:
    """Stretches that changed since the blank by more than the rest, and that no boundary bounds."""
    found = changed_apart(like, strip, seen_through)
    return tuple(x for x in found if not any(_near(x, b.fraction) for b in boundaries))


def _near(stretch: Stretch, height: float) -> bool:
    return stretch.bottom_fraction - _SAME_HEIGHT < height < stretch.top_fraction + _SAME_HEIGHT


def without_marks(blank: Blank, frame: Frame, flocs: Flocs, area_px: float) -> tuple[Flocs, list[str]]:
    """The lumps without those that stood at the same place in the blank, and the flag that says so.

    Lumps that are many lie at the same place by chance, and none is taken off.
    """
    if not blank.lumps or not flocs.lumps or not flocs.area_fraction < _FEW:
        return flocs, []
    then = [(*_place(x, blank.frame), _size(x, blank.frame)) for x in blank.lumps]
    gone = [x for x in flocs.lumps if any(_same_lump((*_place(x, frame), _size(x, frame)), y) for y in then)]
    if not gone:
        return flocs, []
    cover = flocs.area_fraction - sum(math.pi / 4 * x.diameter_px**2 for x in gone) / area_px
    kept = tuple(x for x in flocs.lumps if x not in gone)
    return Flocs(index=flocs.index, lumps=kept, area_fraction=max(0.0, cover)), [
        BLANK_USED if blank.water else BLANK_DOUBTED
    ]


def _place(lump: Lump, frame: Frame) -> tuple[float, float]:
    """Across the jar from its axis and up from its floor, in half-widths; the jar's lean is left out."""
    half = (frame.right_px - frame.left_px) / 2
    return (lump.col_px - (frame.left_px + frame.right_px) / 2) / half, (frame.floor_px - lump.row_px) / half


def _size(lump: Lump, frame: Frame) -> float:
    return lump.diameter_px / ((frame.right_px - frame.left_px) / 2)


def _same_lump(now: tuple[float, float, float], then: tuple[float, float, float]) -> bool:
    apart = math.hypot(now[0] - then[0], now[1] - then[1])
    return apart < _SAME_PLACE and 1 / _SAME_SIZE < now[2] / then[2] < _SAME_SIZE
