"""What changed in a jar since an earlier photo: colour, texture and heights, with the light allowed for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, Strip, find_geometry, unroll
from jartest.imaging.texture import GREY_LEVELS, texture_figures
from jartest.imaging.values import Reading

__all__ = [
    "SPOILT",
    "Change",
    "HeightChange",
    "change_since",
    "colour_difference",
    "comparable",
    "lab_of",
    "light_gains",
    "linear_of",
    "say_change",
]

Floats = NDArray[np.float32]

SPOILT = (
    "dark",
    "overexposed",
    "blur",
    "cut off",
    "small",
    "hidden",
)  # flags that leave no colour to compare
_BACKDROP = (1.15, 1.4)  # half-widths from the axis: beside the jar, and in the strip
_BANDS = 20  # of the contents, in height
_MOST_GAIN = 2.5  # of the light; a photo that much darker or lighter is taken of another scene (our choice)
_SPREAD = 0.12  # of the light from one part of the backdrop to another; more is another backdrop (our choice)
_USABLE = 0.3  # of the backdrop must be neither burnt out nor black
_SIGMA_MIN = (
    0.5  # CIEDE2000: JPEG and a camera's own tone curve (our choice; one is a just visible difference)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightChange:
    """How much more of the column a layer has than before, with one sigma; NaN where either was not measurable."""

    what: str
    change_fraction: float
    sigma_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What changed since an earlier photo; NaN with `why_not` where light or photo allow no comparison.

    `colour` is the CIEDE2000 difference of the contents as a whole, `colour_most` that of the band of
    height `most_at_fraction` where it is largest.  `texture_ratio` is how many times as rough (Haralick
    contrast) the contents are.  `light_ratio` is how much lighter this photo was taken, as the backdrop
    beside the jar tells.
    """

    why_not: str = ""
    colour: float = math.nan
    colour_sigma: float = math.nan
    colour_most: float = math.nan
    most_at_fraction: float = math.nan
    texture_ratio: float = math.nan
    texture_sigma_ratio: float = math.nan
    light_ratio: float = math.nan
    heights: tuple[HeightChange, ...] = ()


def colour_difference(first: Floats, second: Floats) -> Floats:
    """The CIEDE2000 difference of CIELAB colours; the last axis holds L*, a*, b*.

    References
    ----------
    CIE 142-2001; checked on Sharma, Wu and Dalal (2005), Color Res. Appl. 30, 21-30, Table 1.
    """
    from skimage.color import deltaE_ciede2000  # heavy to import, and needed here alone

    found = deltaE_ciede2000(np.asarray(first, float), np.asarray(second, float))  # type: ignore[no-untyped-call]
    return np.asarray(found)


def change_since(first: Photo, then: Reading, photo: Photo, now: Reading) -> Change:
    """What changed in the jar between two photos of it.

    Parameters
    ----------
    first, photo : Photo
        The earlier photo and the later one.
    then, now : Reading
        Their readings, whose frames are used.

    Notes
    -----
    The backdrop beside the jar is taken as the same in both photos: what is lighter or of another tint
    there is the light's doing, and is taken off the contents by one factor for each of red, green and
    blue (von Kries).  The sigma comes from how four parts of the backdrop differ in these factors, and
    how the left half of the contents differs from the right.  A backdrop of another colour that is as
    even as the first cannot be told from another light.
    """
    heights = _heights(then, now)
    spoilt = [f for r in (then, now) for f in r.flags if f in SPOILT]
    if not (_whole(then) and _whole(now)):
        return Change(why_not="the jar's lines are not known in both photos", heights=heights)
    if spoilt:
        return Change(why_not=f"a photo is flagged “{spoilt[0]}”", heights=heights)
    old, new = _unrolled(first, then), _unrolled(photo, now)
    gains, why_not = light_gains(old, new)
    if gains is None:
        return Change(why_not=why_not, heights=heights)
    return _compared(old, new, gains, heights)


def comparable(reading: Reading) -> bool:
    """Whether a later photo can be held against this one: the jar's lines known, the contents plainly seen."""
    return _whole(reading) and not set(reading.flags) & set(SPOILT)


def _whole(r: Reading) -> bool:
    return r.jar is not None and not math.isnan(
        r.jar.left_px + r.jar.right_px + r.jar.floor_px + r.jar.surface_px
    )


def _unrolled(photo: Photo, reading: Reading) -> Strip:
    assert reading.jar is not None  # `_whole` was asked before
    return unroll(photo, reading.jar, find_geometry(photo, reading.jar))


def _heights(then: Reading, now: Reading) -> tuple[HeightChange, ...]:
    out = []
    for what in ("settled", "clear", "top_layer", "foam"):
        (a, da), (b, db) = (
            (getattr(r, f"{what}_fraction"), getattr(r, f"{what}_sigma_fraction")) for r in (then, now)
        )
        called = "floating" if what == "top_layer" else what
        out.append(HeightChange(what=called, change_fraction=b - a, sigma_fraction=math.hypot(da, db)))
    return tuple(out)


# ------------------------------------------------------------------------ light
def linear_of(lab: Floats) -> Floats:
    """Linear sRGB of CIELAB (IEC 61966-2-1)."""
    rgb = np.clip(cv2.cvtColor(np.ascontiguousarray(lab, np.float32), cv2.COLOR_LAB2RGB), 0, 1)
    return np.asarray(np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4), np.float32)


def lab_of(linear: Floats) -> Floats:
    """CIELAB of linear sRGB, what is outside 0 to 1 cut off."""
    x = np.clip(linear, 0, 1)
    rgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    return np.asarray(cv2.cvtColor(np.asarray(rgb, np.float32), cv2.COLOR_RGB2LAB), np.float32)


def light_gains(old: Strip, new: Strip) -> tuple[Floats | None, str]:
    """What the light of the later photo must be multiplied by, from each of four parts of the backdrop; (4, 3)."""
    usable = (old.lab[..., 0] < 98) & (new.lab[..., 0] < 98) & (old.lab[..., 0] > 5) & (new.lab[..., 0] > 5)
    log = np.log(np.maximum(linear_of(old.lab), 1e-4) / np.maximum(linear_of(new.lab), 1e-4))
    middle = (FRACTIONS[0] + FRACTIONS[-1]) / 2
    gains = []
    for side in (-1, 1):
        beside = (side * ACROSS > _BACKDROP[0]) & (side * ACROSS <= _BACKDROP[1])
        for rows in (middle < FRACTIONS, middle >= FRACTIONS):
            part = np.ix_(rows, beside)
            if usable[part].mean() < _USABLE:
                return None, "the backdrop beside the jar is burnt out, black or not in the photo"
            gains.append(np.median(log[part][usable[part]], axis=0))
    found = np.array(gains)
    if np.abs(found.mean(axis=0)).max() > math.log(_MOST_GAIN):
        return None, "one photo is far darker than the other, or taken before another backdrop"
    if found.std(axis=0, ddof=1).max() > _SPREAD:
        return None, "the backdrop beside the jar differs: another place, another light, or something behind"
    return np.asarray(np.exp(found), np.float32), ""


# --------------------------------------------------------------------- contents
def _bands(linear: Floats, across: NDArray[np.bool_]) -> Floats:
    """Median linear colour of each band of the contents, from the floor up; (bands, 3)."""
    edges = np.linspace(0.03, 0.97, _BANDS + 1)
    rows = [(low < FRACTIONS) & (high >= FRACTIONS) for low, high in pairwise(edges)]
    return np.array([np.median(linear[np.ix_(r, across)].reshape(-1, 3), axis=0) for r in rows], np.float32)


def _compared(old: Strip, new: Strip, gains: Floats, heights: tuple[HeightChange, ...]) -> Change:
    was, now = linear_of(old.lab), linear_of(new.lab)
    gain = np.exp(np.log(gains).mean(axis=0))
    whole = np.abs(ACROSS) < 0.7
    a, b = _bands(was, whole), _bands(now, whole) * gain
    by_band = colour_difference(lab_of(a[None])[0], lab_of(b[None])[0])
    most = int(by_band.argmax())
    mean_now = _mean_lab(b)
    light = [colour_difference(_mean_lab(b / gain * g), mean_now) for g in gains]
    sides = [_shift(was, now * gain, side * ACROSS > 0) for side in (-1, 1)]
    halves = float(np.linalg.norm(sides[0] - sides[1])) / 2
    sigma = math.hypot(float(np.sqrt(np.mean(np.square(light)))) / 2, halves / math.sqrt(2), _SIGMA_MIN)
    texture, texture_sigma = _texture(old.lab, lab_of(now * gain))
    return Change(
        colour=float(colour_difference(_mean_lab(a), mean_now)),
        colour_sigma=sigma,
        colour_most=float(by_band[most]),
        most_at_fraction=0.03 + 0.94 * (most + 0.5) / _BANDS,
        texture_ratio=texture,
        texture_sigma_ratio=texture_sigma,
        light_ratio=float(1 / np.mean(gain)),
        heights=heights,
    )


def _mean_lab(bands: Floats) -> Floats:
    return np.asarray(lab_of(bands.mean(axis=0)[None, None])[0, 0], np.float32)


def _shift(was: Floats, now: Floats, side: NDArray[np.bool_]) -> Floats:
    across = side & (np.abs(ACROSS) < 0.7)
    return _mean_lab(_bands(now, across)) - _mean_lab(_bands(was, across))


def _texture(was: Floats, now: Floats) -> tuple[float, float]:
    """How many times as rough, and its sigma, from four quarters of the contents."""
    logs = []
    for rows in ((FRACTIONS > 0.1) & (FRACTIONS < 0.5), (FRACTIONS >= 0.5) & (FRACTIONS < 0.9)):
        for side in (-1, 1):
            part = np.ix_(rows, (side * ACROSS > 0) & (np.abs(ACROSS) < 0.7))
            a, b = (_contrast(x[part][..., 0]) for x in (was, now))
            logs.append(math.log((b + 0.02) / (a + 0.02)))  # two grey levels in a hundred pairs are noise
    ratio = math.exp(float(np.mean(logs)))
    return ratio, ratio * float(np.std(logs, ddof=1)) / 2


def _contrast(light: Floats) -> float:
    levels = np.clip(light / 100 * GREY_LEVELS, 0, GREY_LEVELS - 1).astype(np.uint8)
    return texture_figures(levels)["contrast"]


# ------------------------------------------------------------------------ words
def say_change(change: Change) -> tuple[str, ...]:
    """What changed, in sentences: colour, texture, and each height that changed by more than its doubt."""
    if change.why_not:
        said = [f"Color and texture: not comparable, because {change.why_not}."]
    else:
        said = [_say_colour(change), _say_texture(change)]
    for h in change.heights:
        if math.isnan(h.change_fraction):
            said.append(
                f"{h.what.capitalize()}: not comparable, because it was not measurable in both photos."
            )
        elif abs(h.change_fraction) > 2 * h.sigma_fraction:
            more = "more" if h.change_fraction > 0 else "less"
            said.append(
                f"{h.what.capitalize()}: {100 * abs(h.change_fraction):.1f} ± {100 * h.sigma_fraction:.1f} % of the "
                f"liquid's height {more}."
            )
    return tuple(said)


def _say_colour(c: Change) -> str:
    if c.colour <= 2 * c.colour_sigma and c.colour_most <= 4 * c.colour_sigma:
        return f"Color: no change beyond the doubt ({c.colour:.1f} ± {c.colour_sigma:.1f} CIEDE2000)."
    return (
        f"Color: changed by {c.colour:.1f} ± {c.colour_sigma:.1f} (CIEDE2000; from about 1 on one sees it side by "
        f"side), most at {100 * c.most_at_fraction:.0f} % of the height, by {c.colour_most:.1f}."
    )


def _say_texture(c: Change) -> str:
    if abs(c.texture_ratio - 1) <= max(2 * c.texture_sigma_ratio, 0.25):
        return f"Texture: no change beyond the doubt ({c.texture_ratio:.2f} ± {c.texture_sigma_ratio:.2f} times as rough)."
    return f"Texture: {c.texture_ratio:.2f} ± {c.texture_sigma_ratio:.2f} times as rough as it was."
