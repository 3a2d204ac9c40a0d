"""The printable reference card: its layout, drawn and found again in a photo.

The card stands upright behind the jar.  Twelve square markers in two columns say where each of its
millimetres is; between them stand grey steps; its middle is plain, so that nothing but paper is seen
behind the jar.  From the markers follow the camera's distance and direction, with their doubts; what
that means for a jar in front of the card is reckoned in scale.py.

Card coordinates are millimetres from its upper left corner, across and down, and away from the camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.pinhole import Pose, fit_pose

__all__ = [
    "CARD_HIGH_MM",
    "CARD_WIDE_MM",
    "GREY_STEPS",
    "MARKERS",
    "MARKER_SIDE_MM",
    "MODULES",
    "PATCHES",
    "PATCH_SIDE_MM",
    "RULE",
    "Balance",
    "Box",
    "Card",
    "draw_card",
    "find_card",
    "marker_modules",
]

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

# All sizes: our choice.  Both Letter (215.9 x 279.4 mm) and A4 (210 x 297 mm) hold it within 12 mm margins.
CARD_WIDE_MM, CARD_HIGH_MM = 186.0, 254.0
MARKER_SIDE_MM = 22.0
MODULES = 7  # of a marker: five by five bits and a border of one
_FIRST_ID = 30  # of DICT_5X5_50: apart from the low ids that other boards begin with
_COLUMNS_MM, _TOPS_MM = (5.0, 159.0), (6.0, 49.0, 92.0, 135.0, 178.0, 221.0)
MARKERS: dict[int, tuple[float, float]] = {
    _FIRST_ID + 6 * c + r: (x, y) for c, x in enumerate(_COLUMNS_MM) for r, y in enumerate(_TOPS_MM)
}
GREY_STEPS = (217, 176, 137, 102, 71)  # sRGB, from light to dark
PATCH_SIDE_MM = 12.0
# Left from light to dark, right from dark to light, so that light falling off to one side or downwards cancels.
PATCHES: tuple[tuple[float, float, int], ...] = tuple(
    (x + 5.0, y + 26.5, grey)
    for x, steps in zip(_COLUMNS_MM, (GREY_STEPS, GREY_STEPS[::-1]), strict=True)
    for y, grey in zip(_TOPS_MM[:-1], steps, strict=True)
)
RULE = (31.0, 32.0, 120.0)  # left end, line, length
_WINDOW_MM = (27.0, 159.0)  # between the columns of markers

_QUICK_PX = 1400  # longest side, at most, of the copy that is looked at first
_SEARCH_PX = 2000  # of the copy on which markers are sought: about 3 megapixels
_FEWEST = 3  # markers; fewer may be a wrong one, and say little of the distance
_ODD = 4.0  # times the usual distance: a corner farther off is taken out with its marker
_OFF_PX = 4.0  # a corner farther than this from the homography of the others is no corner of the card


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A part of the photo, in pixels, within its edges."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What the grey steps say of the light: factors for linear red, green, blue that make them grey.

    `sigma` is the spread of single steps; `light` the paper's linear brightness (0 black, 1 full).
    All NaN where fewer than three steps are seen unclipped.
    """

    gains: tuple[float, float, float]
    sigma: float
    light: float

    def apply(self, rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The colours as they would be in white light of the same strength."""
        linear = _linear(np.asarray(rgb, float) / 255) * np.array(self.gains)
        return np.asarray(np.rint(255 * _srgb(np.clip(linear, 0, 1))), np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """The card found in a photo.

    `markers` are the ids seen; `homography` maps card millimetres to pixels; `pose` is the camera before
    the card with its doubts; `residual_px` how far the markers' corners lie from where they should.
    """

    markers: tuple[int, ...]
    homography: Floats
    pose: Pose
    residual_px: float
    window: Box
    balance: Balance

    def to_mm(self, points_px: Floats) -> Floats:
        """(n, 2) places on the card, in millimetres, of (n, 2) pixels."""
        return _through(np.asarray(np.linalg.inv(self.homography), float), points_px)

    def to_px(self, points_mm: Floats) -> Floats:
        """(n, 2) pixels of (n, 2) places on the card."""
        return _through(self.homography, points_mm)


def _through(h: Floats, points: Floats) -> Floats:
    p = np.asarray(points, float).reshape(-1, 2)
    q = np.column_stack([p, np.ones(len(p))]) @ h.T
    return np.asarray(q[:, :2] / q[:, 2:], float)


# ----------------------------------------------------------------------- drawn
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)


@cache
def marker_modules(marker: int) -> tuple[tuple[bool, ...], ...]:
    """Which modules of a marker are dark, row by row, its border included."""
    drawn = cv2.aruco.generateImageMarker(_dictionary(), marker, MODULES, borderBits=1)
    return tuple(tuple(bool(v == 0) for v in row) for row in np.asarray(drawn))


def draw_card(px_per_mm: int = 8) -> Grey:
    """The card as a grey picture, without its words; what the printed page shows is drawn from the same layout."""
    k = px_per_mm
    picture = np.full((round(CARD_HIGH_MM * k), round(CARD_WIDE_MM * k)), 255, np.uint8)
    for marker, (x, y) in MARKERS.items():
        dark = np.array(marker_modules(marker))
        side = round(MARKER_SIDE_MM * k)
        at = np.arange(side) * MODULES // side
        picture[round(y * k) : round(y * k) + side, round(x * k) : round(x * k) + side] = np.where(
            dark[np.ix_(at, at)], 0, 255
        )
    side = round(PATCH_SIDE_MM * k)
    for x, y, grey in PATCHES:
        picture[round(y * k) : round(y * k) + side, round(x * k) : round(x * k) + side] = grey
    return picture


# ----------------------------------------------------------------------- found
def find_card(photo: Photo) -> Card | None:
    """The card in this photo, None where fewer than three of its markers are seen in their places.

    Notes
    -----
    A quick look at every third pixel or so tells whether any marker is there; only then are they sought
    on about 3 megapixels and their corners placed at full size.  Corners round off in a blurred photo,
    all four alike, so that markers shrink about their middles; the card's scale rests on how the markers
    stand to each other and hardly changes.
    """
    k = max(1, math.ceil(max(photo.width_px, photo.height_px) / _QUICK_PX))
    quick = np.ascontiguousarray(
        photo.pixels[::k, ::k, 1]
    )  # single green pixels: averaging takes ten times as long
    if len(_markers(quick, thorough=False)) < 2:
        return None
    search, shrunk = _shrunk(photo.pixels, _SEARCH_PX)
    seen = _markers(search, thorough=True)
    if len(seen) < _FEWEST:
        return None
    ids = sorted(seen)
    px = np.concatenate([_refined(photo, (seen[i] + 0.5) * shrunk - 0.5) for i in ids])
    mm = np.concatenate([_corners_mm(i) for i in ids])
    out = np.tile(_OUTWARDS, (len(ids), 1))
    use = _in_place(mm, px)
    if use.sum() < 4 * _FEWEST:
        return None
    pose, growth = fit_pose(mm[use], out[use], px[use], photo)
    places = mm[use] + growth * out[use]
    found, _ = cv2.findHomography(places, px[use], 0)
    h = np.asarray(found, float)
    return Card(
        markers=tuple(i for n, i in enumerate(ids) if use[4 * n]),
        homography=h,
        pose=pose,
        residual_px=float(np.sqrt(((_through(h, places) - px[use]) ** 2).mean())),
        window=_window(h, photo),
        balance=_balance(photo, h),
    )


_OUTWARDS = np.array([(-1.0, -1), (1, -1), (1, 1), (-1, 1)])  # in the order of the corners


def _in_place(mm: Floats, px: Floats) -> NDArray[np.bool_]:
    """Which corners belong to markers that stand where the others say, all four corners of each."""
    h, kept = cv2.findHomography(mm, px, cv2.RANSAC, _OFF_PX)
    if h is None:
        return np.zeros(len(mm), bool)
    good = np.repeat(np.ravel(kept).astype(bool).reshape(-1, 4).all(axis=1), 4)
    if good.sum() < 4 * _FEWEST:
        return good
    h, _ = cv2.findHomography(mm[good], px[good], 0)
    off = np.linalg.norm(_through(np.asarray(h, float), mm) - px, axis=1)
    limit = max(1.0, _ODD * float(np.median(off[good])))  # a marker whose corner is hidden, or bent paper
    return np.repeat((off < limit).reshape(-1, 4).all(axis=1), 4)


def _corners_mm(marker: int) -> Floats:
    """Corners of a marker in the order in which they are found: clockwise from its upper left."""
    x, y = MARKERS[marker]
    s = MARKER_SIDE_MM
    return np.array([(x, y), (x + s, y), (x + s, y + s), (x, y + s)])


def _shrunk(pixels: NDArray[np.uint8], longest_px: int) -> tuple[Grey, float]:
    """A grey copy shrunk by a whole number, and by how much."""
    h, w = pixels.shape[:2]
    k = max(1, math.ceil(max(h, w) / longest_px))
    if k > 1:
        size = (w // k, h // k)
        pixels = np.asarray(
            cv2.resize(pixels[: size[1] * k, : size[0] * k], size, interpolation=cv2.INTER_AREA), np.uint8
        )
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8), float(k)


def _markers(grey: Grey, *, thorough: bool) -> dict[int, Floats]:
    """The corners of each of our markers that is seen, in pixels of this picture."""
    how = cv2.aruco.DetectorParameters()
    if not thorough:  # one threshold: a marker that is missed here has eleven others beside it
        how.adaptiveThreshWinSizeMin = how.adaptiveThreshWinSizeMax = 13
    corners, ids, _ = cv2.aruco.ArucoDetector(_dictionary(), how).detectMarkers(grey)
    if len(corners) == 0:  # ids are None then
        return {}
    found: dict[int, Floats] = {}
    for i, c in zip(np.ravel(ids), corners, strict=True):
        if int(i) in MARKERS and int(i) not in found:
            found[int(i)] = np.asarray(c, float).reshape(4, 2)
    return found


def _refined(photo: Photo, corners: Floats) -> Floats:
    """Corners placed to a fraction of a pixel at full size."""
    side = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    reach = int(np.clip(round(0.5 * side / MODULES), 2, 8))
    left, top = np.floor(corners.min(axis=0)).astype(int) - 3 * reach
    right, low = np.ceil(corners.max(axis=0)).astype(int) + 3 * reach + 1
    left, top = max(0, int(left)), max(0, int(top))
    part = photo.pixels[top : int(low), left : int(right)]
    if min(part.shape[:2]) <= 4 * reach:
        return corners
    grey = np.ascontiguousarray(cv2.cvtColor(part, cv2.COLOR_RGB2GRAY))
    start = np.ascontiguousarray(corners - (left, top), np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    inside = (start > reach + 1).all() and (
        start.reshape(-1, 2) < np.array(grey.shape[::-1]) - reach - 2
    ).all()
    if not inside:
        return corners
    placed = cv2.cornerSubPix(grey, start, (reach, reach), (-1, -1), stop)
    return np.asarray(placed.reshape(4, 2) + (left, top), float)  # noqa: RUF005 -- a sum of arrays


def _window(h: Floats, photo: Photo) -> Box:
    """Where the jar stands: between the columns of markers, and as far below the card as one may look down on it."""
    left, right = _WINDOW_MM
    edge = np.array([(x, y) for x in (left, right) for y in (-0.2 * CARD_HIGH_MM, 1.4 * CARD_HIGH_MM)])
    p = _through(h, edge)
    return Box(
        left=int(np.clip(p[:, 0].min(), 0, photo.width_px - 1)),
        top=int(np.clip(p[:, 1].min(), 0, photo.height_px - 1)),
        right=int(np.clip(math.ceil(p[:, 0].max()), 1, photo.width_px)),
        bottom=int(np.clip(math.ceil(p[:, 1].max()), 1, photo.height_px)),
    )


# ----------------------------------------------------------------------- light
def _linear(v: Floats) -> Floats:
    """Linear light of sRGB values from 0 to 1 (IEC 61966-2-1)."""
    return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4), float)


def _srgb(v: Floats) -> Floats:
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055), float)


def _balance(photo: Photo, h: Floats) -> Balance:
    """White balance of the grey steps that are in the picture, even and not clipped."""
    gains, light = [], []
    for x, y, grey in PATCHES:
        values = _patch(photo, h, x, y)
        if values is None or values.max() > 250 or values.min() < 5 or values.std(axis=0).max() > 12:
            continue
        rgb = _linear(values.mean(axis=0) / 255)
        gains.append(rgb.mean() / rgb)
        light.append(rgb.mean() / float(_linear(np.array(grey / 255))))
    if len(gains) < 3:
        return Balance(gains=(math.nan, math.nan, math.nan), sigma=math.nan, light=math.nan)
    middle = np.median(gains, axis=0)
    return Balance(
        gains=(float(middle[0]), float(middle[1]), float(middle[2])),
        sigma=float(1.4826 * np.median(np.abs(np.array(gains) - middle))),  # of a normal spread
        light=float(np.median(light)),
    )


def _patch(photo: Photo, h: Floats, x: float, y: float) -> Floats | None:
    """(64, 3) values of the middle of one grey step; None where it lies outside the picture."""
    inner = np.linspace(0.25, 0.75, 8) * PATCH_SIDE_MM
    at = _through(h, np.array([(x + a, y + b) for b in inner for a in inner]))
    col, row = np.rint(at).astype(int).T
    if col.min() < 0 or row.min() < 0 or col.max() >= photo.width_px or row.max() >= photo.height_px:
        return None
    return np.asarray(photo.pixels[row, col], float)
