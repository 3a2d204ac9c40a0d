"""What is wrong with a photo of a jar: measured on the jar, named as in quality.py."""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.finder import Ends
from jartest.imaging.layers import Part
from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, Cut, Strip
from jartest.imaging.values import Frame, Withheld

__all__ = [
    "blur",
    "boundary_spread",
    "condition_flags",
    "ends_above",
    "foam_unsure",
    "glare",
    "goes_on_above",
    "hidden",
    "other_end",
    "picture_flags",
]

Floats = NDArray[np.float32]

_BURNT = 0.5  # part of the contents as level as what is burnt out
_BLACK = 0.6  # part with L* below 4
_OUTSIDE = 0.02  # part of the jar that lies outside the photo
_TILT_DEG = 10.0
_SMALL_PX = 40  # fewer rows of liquid than this and half a percent is far below a pixel
_BLUR = (
    0.0055  # of the column: sharp pictures of 280 rows and more reach 0.0047, blurred by 0.01 they pass it
)
_BLUR_PX = 1.5  # of the copy: small sharp pictures reach 1.45
_GLARE = 0.05  # of the contents
_HIDDEN = 0.35  # of the contents; pictures without a large label reach 0.28
_SPREAD = 0.04  # of the column, from 20 to 80 % of the way from one colour to the other
_FAINT = 6.0  # CIELAB difference of two layers below which a spread means nothing
_OVER = 0.05  # of the column: contents that end so far over the surface are no meniscus
_OVER_ODDS = 0.1  # chosen on the pictures for fitting; what it costs stands in fit/DIARY.md
_OVER_ODDS_BY_HAND = 0.35  # over a line that a person set
_ALIKE, _UNLIKE = 6.0, 18.0  # CIELAB differences, chosen on the pictures for fitting


def ends_above(frame: Frame, ends: Ends, *, by_hand: bool = False) -> bool:
    """True where the finder sees the contents end over this surface by more than a meniscus."""
    high = frame.floor_px - frame.surface_px
    return ends.above(frame.surface_px - _OVER * high) > (_OVER_ODDS_BY_HAND if by_hand else _OVER_ODDS)


def foam_unsure(frame: Frame, ends: Ends, *, foam: bool, set_by_hand: bool = False) -> bool:
    """True where the finder sees contents over this surface and the reading no foam.

    Parameters
    ----------
    frame : Frame
        With floor and surface.
    ends : Ends
        Where the finder, sure of its own surface, sees the contents end.
    foam : bool
        Whether the reading itself shows foam over the surface, which contents over it then are.
    set_by_hand : bool
        Whether a person set the surface, which takes more to be doubted.

    Notes
    -----
    The finder's line for the upper end of foam lies on the surface where there is no foam.  Foam thinner
    than a twentieth of the column is not told, nor foam that both looks take for liquid.
    """
    return not foam and ends_above(frame, ends, by_hand=set_by_hand)


def other_end(frame: Frame, ends: Ends, *, set_by_hand: bool = False) -> Withheld | None:
    """The other row at which the contents may end, where `foam_unsure` says that there is one; None where not."""
    if not ends_above(frame, ends, by_hand=set_by_hand):
        return None
    high = frame.floor_px - frame.surface_px
    where = ends.rows_px < frame.surface_px - _OVER * high
    rows, odds = ends.rows_px[where], ends.odds[where]
    peak = float(rows[np.argmax(odds)])
    near = np.abs(rows - peak) <= _OVER / 2 * high
    total = float(odds[near].sum())
    sigma = math.sqrt(float((odds[near] * (rows[near] - peak) ** 2).sum()) / total)
    step = abs(float(ends.rows_px[1] - ends.rows_px[0]))
    return Withheld(line="surface", row_px=peak, sigma_px=max(sigma, step), confidence=min(1.0, total))


def goes_on_above(strip: Strip) -> bool:
    """True where what stands over the surface looks like the contents under it and unlike the backdrop beside it.

    Bare glass shows what is behind the jar.  Looked at just over the far arc of the surface, on the side
    that differs less; for readings of which the finder has nothing to say.
    """
    g = strip.geometry
    face = max(0.0, 2 * g.sag_surface * g.half_px / g.column_px)
    low = min(1.2, 1.02 + face)
    over, under = (low < FRACTIONS) & (low + 0.06 > FRACTIONS), (FRACTIONS > 0.88) & (FRACTIONS < 0.96)
    inside = np.median(strip.lab[:, np.abs(ACROSS) < 0.6], axis=1)
    beside = [np.median(strip.lab[:, where], axis=1) for where in (ACROSS < -1.12, ACROSS > 1.12)]
    unlike = min(float(np.median(np.linalg.norm(inside[over] - x[over], axis=1))) for x in beside)
    alike = float(np.median(np.linalg.norm(inside[over] - np.median(inside[under], axis=0), axis=1)))
    return alike < _ALIKE and unlike > _UNLIKE


def condition_flags(cut: Cut, frame: Frame, strip: Strip, parts: list[Part]) -> list[str]:
    """Names of the flags that this jar in this photo deserves."""
    high = frame.floor_px - frame.surface_px
    liquid = [p for p in parts if p.layer.kind != "foam"]
    holds = {
        "small": high < _SMALL_PX,
        "overexposed": strip.clipped > _BURNT,
        "dark": strip.black > _BLACK,
        "cut off": strip.outside > _OUTSIDE,
        "tilt": abs(math.degrees(math.atan(strip.geometry.lean))) > _TILT_DEG,
        "blur": blur(cut, frame) > max(_BLUR, _BLUR_PX / (high * cut.fine.down)),
        "glare": glare(strip) > _GLARE,
        "hidden": hidden(strip) > _HIDDEN,
        "diffuse boundary": any(
            boundary_spread(strip, a.bottom, b.bottom, b.top) > _SPREAD for a, b in itertools.pairwise(liquid)
        ),
    }
    return [name for name, held in holds.items() if held]


def picture_flags(photo: Photo) -> list[str]:
    """Names of the flags of a whole picture in which no jar was found: why there may be none to see.

    Notes
    -----
    The same parts and lightnesses as on a jar; CIE 1976 L* 4 and 99 are 15 and 252 of an sRGB grey of 8 bits.
    """
    grey = cv2.cvtColor(
        cv2.resize(photo.pixels, (128, 128), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY
    )
    holds = {"overexposed": np.mean(grey > 252) > _BURNT, "dark": np.mean(grey < 15) > _BLACK}
    return [name for name, held in holds.items() if held]


def blur(cut: Cut, frame: Frame) -> float:
    """How much the sharpest edges of the jar are blurred, sideways or up and down, whichever is more.

    Returns
    -------
    float
        Sigma of the blur as a fraction of the column; infinite where no edge stands out at all.

    Notes
    -----
    An edge of blur s has a slope of 1 / sqrt(a^2 + s^2) after smoothing by a; the ratio of its slopes
    after two smoothings gives s.  Of the strongest tenth of the edges in each direction the sharpest
    quarter counts: layers may be diffuse, but walls, floor and rim of a sharp photo are not.

    References
    ----------
    Zhuo and Sim (2011), Pattern Recognition 44, 1852-1858: blur from the ratio of two smoothings.
    """
    light = np.ascontiguousarray(cut.fine.lab[..., 0])
    rows = (frame.floor_px - frame.surface_px) * cut.fine.down
    fine, coarse = (cv2.GaussianBlur(light, (0, 0), a) for a in (1.0, 2.0))
    (across, later_across), (along, later_along) = (
        [np.abs(np.asarray(cv2.Sobel(x, cv2.CV_32F, *way, scale=1 / 8), np.float32)) for x in (fine, coarse)]
        for way in ((1, 0), (0, 1))
    )
    found = [
        _edge_blur(across, along, later_across, (1, 3)),
        _edge_blur(along, across, later_along, (3, 1)),
    ]
    known = [x for x in found if not math.isnan(x)]
    return max(known) / rows if known else math.inf


def _edge_blur(slope: Floats, other: Floats, later: Floats, beside: tuple[int, int]) -> float:
    """Blur in pixels of edges that run one way; NaN where there are less than ten.

    `slope` is steepness across these edges, `later` after more smoothing, `other` steepness along them;
    `beside` spans the pixels across the edge among which the steepest is its peak.
    """
    top = cv2.dilate(slope, np.ones(beside, np.uint8))
    peak = cv2.bitwise_and(cv2.compare(slope, top, cv2.CMP_GE), cv2.compare(slope, 2 * other, cv2.CMP_GT))
    at = np.flatnonzero(np.ascontiguousarray(peak[4:-4, 4:-4]) != 0)
    if len(at) < 20:
        return math.nan
    slope, later = slope[4:-4, 4:-4].ravel()[at], later[4:-4, 4:-4].ravel()[at]
    strong = slope >= max(1.0, float(np.percentile(slope, 90)))
    if strong.sum() < 10:
        return math.nan
    ratio = np.clip(slope[strong] / np.maximum(later[strong], 1e-3), 1.001, 1.999)
    return float(np.percentile(np.sqrt((4 - ratio**2) / (ratio**2 - 1)), 25))


def glare(strip: Strip) -> float:
    """The part of the contents under burnt-out patches that do not reach across the jar as a layer would."""
    inside = np.ix_((FRACTIONS > 0.03) & (FRACTIONS < 0.97), np.abs(ACROSS) < 0.85)
    light = strip.lab[inside][..., 0]
    return float(((light > 96) & (light - np.median(light, axis=1, keepdims=True) > 8)).mean())


def hidden(strip: Strip) -> float:
    """The part of the contents between two upright edges that face each other, as those of a label do.

    A label that reaches round the whole jar has none, one in the contents' colour none that stands out.
    """
    lab = strip.lab[(FRACTIONS > 0.02) & (FRACTIONS < 0.98)]
    step, at = lab[:, 2:] - lab[:, :-2], ACROSS[1:-1]
    left, right = (at > -0.85) & (at < -0.1), (at > 0.1) & (at < 0.85)
    size = np.linalg.norm(step, axis=2)
    one, other = size[:, left, None], size[:, None, right]
    along = np.einsum("rik,rjk->rij", step[:, left], step[:, right])
    rows = (-along > 0.8 * one * other) & (one > 12) & (other > 12)
    return float((rows.mean(axis=0) * (at[right] - at[left][:, None]) / 2).max())


def boundary_spread(strip: Strip, bottom: float, at: float, top: float) -> float:
    """Height, as a fraction of the column, over which the colour of one layer goes over into the next.

    `bottom`, `at` and `top` are the ends of the lower layer and of the upper one.  0 where the two
    hardly differ or one is too thin to have a colour of its own beside the boundary.
    """
    if min(at - bottom, top - at) < 2 * _SPREAD:
        return 0.0
    colour = np.median(strip.lab[:, np.abs(ACROSS) < 0.6], axis=1)
    lower, upper = (bottom < FRACTIONS) & (at > FRACTIONS), (at < FRACTIONS) & (top > FRACTIONS)
    if not lower.any() or not upper.any():
        return 0.0
    low, high = np.median(colour[lower], axis=0), np.median(colour[upper], axis=0)
    apart = float(np.linalg.norm(high - low))
    if apart < _FAINT:
        return 0.0
    way = ((colour - low) @ (high - low)) / apart**2
    below, above = FRACTIONS[lower & (way < 0.2)], FRACTIONS[upper & (way > 0.8)]
    if len(below) == 0 or len(above) == 0:
        return 0.0
    return float(above.min() - below.max())
