"""The jar unrolled: colour against height and place across the near wall.

The near wall of an upright jar is (half of) a cylinder.  A level line on it is seen as the near arc
of an ellipse: lowest on the jar's centre line when the camera looks down on it.  How deep these arcs
sag, and how the jar leans, is estimated here from the picture itself; the contents are then sampled
along such arcs, so that every row of the strip is one height in the jar.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from jartest.imaging.photo import Photo
from jartest.imaging.values import Frame

__all__ = [
    "ACROSS",
    "COLUMNS",
    "FRACTIONS",
    "MIDDLE",
    "ROWS",
    "Cut",
    "Geometry",
    "Strip",
    "cut_out",
    "find_geometry",
    "sample_arcs",
    "unroll",
]

Floats = NDArray[np.float32]

BOTTOM, TOP = -0.16, 1.28  # heights that the strip covers, as fractions of the liquid column
ROWS, COLUMNS = 256, 40  # of the strip: a row is 0.56 % of the column
_REACH = 1.4  # the strip reaches this many half-widths to each side: what goes on outside is scenery
_INNER = 0.84  # beyond this part of the half-width the wall is seen too aslant to line up edges
FRACTIONS: Floats = np.linspace(TOP, BOTTOM, ROWS, dtype=np.float32)
ACROSS: Floats = np.linspace(-_REACH, _REACH, COLUMNS, dtype=np.float32)
FRACTIONS.setflags(write=False)
ACROSS.setflags(write=False)
_FINE, MIDDLE, _COARSE = (
    300,
    231,
    140,
)  # rows from floor to surface of a cut for edges, the strip, the geometry
_SAME = 0.08  # of the column and of the half-width: frames that differ by less are served by one cut
# CIELAB lightness.  What is burnt out is as level as `_LEVEL`, also where the photo was made darker afterwards.  Over half
# of the contents are so level in none of 241 left-out pictures that were not burnt out, and in all of 21 that were and
# then put in 0.4 times the light.  Contents darker than `_PALE` may well be so level by themselves: our choice.
_LEVEL, _PALE = 1.0, 60.0
_GLASS_WALL = 0.05  # of the outer radius, as in scale.py: the wall of a usual jar
_GLASS_INDEX = 1.5  # soda-lime glass, 1.50 to 1.52: value from memory
_FOCAL = 1.5  # focal length in units of the longer picture side where unknown: a phone held upright


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """How the jar stands before the camera, in pixels of the full-size photo.

    `sag_floor` and `sag_surface` are the depths of the near arcs in units of the half-width, which is
    the sine of the angle at which the camera looks down on that line.
    """

    centre_px: float
    half_px: float
    floor_px: float
    surface_px: float
    lean: float  # tangent of the tilt; positive: top leans to the right
    sag_floor: float
    sag_surface: float
    score: float = math.nan
    bend: float = math.nan  # height of the column over the way from its floor to where all uprights meet
    bend_sigma: float = 0.0

    @property
    def column_px(self) -> float:
        """Height of the liquid column in rows."""
        return self.floor_px - self.surface_px

    def between(self, floor_px: float, surface_px: float) -> Geometry:
        """The same jar with floor and surface at rows that lie a little elsewhere."""
        low, high = (float(self.sag((self.floor_px - y) / self.column_px)) for y in (floor_px, surface_px))
        middle = (floor_px + surface_px - self.floor_px - self.surface_px) / 2
        return replace(
            self, floor_px=floor_px, surface_px=surface_px, sag_floor=low, sag_surface=high,
            centre_px=self.centre_px - self.lean * middle,
        )  # fmt: skip

    def sag(self, fraction: Floats | float) -> Floats:
        """Sag of the arc at this height fraction, in units of the half-width."""
        return np.asarray(
            self.sag_floor + (self.sag_surface - self.sag_floor) * np.asarray(fraction), np.float32
        )

    def points(self, fraction: Floats, across: Floats) -> tuple[Floats, Floats]:
        """Columns and rows in the photo of places on the near wall.

        `fraction` and `across` (-1 left wall, 1 right wall) broadcast against each other.
        """
        row = self.floor_px - fraction * self.column_px
        middle = (self.floor_px + self.surface_px) / 2
        cos = 1 / math.hypot(1, self.lean)
        drop = self.sag(fraction) * self.half_px * (1 - np.sqrt(np.maximum(0, 1 - np.minimum(1, across**2))))
        col = self.centre_px - self.lean * (row - middle) + across * self.half_px * cos
        rows = row + across * self.half_px * cos * self.lean - drop
        return np.asarray(col, np.float32), np.asarray(rows, np.float32)

    def through_wall(self, fraction: Floats | float) -> Floats:
        """How much too high a line on the inner wall is seen, as a fraction of the column's rows.

        Notes
        -----
        Rows are those of the outer near wall; layers lie against the inner one.  A ray that comes down
        on the wall at the angle e goes on inside the glass at e' with sin e = n sin e' (Snell) and meets
        the inner wall by the wall's thickness times tan e' lower than the outer one.
        """
        inside = np.arcsin(np.clip(self.sag(fraction), -0.9, 0.9) / _GLASS_INDEX)
        return np.asarray(_GLASS_WALL * self.half_px / self.column_px * np.tan(inside), np.float32)

    def true_fraction(self, fraction: Floats) -> Floats:
        """Fraction of the column's height in millimetres at this fraction of its rows.

        Notes
        -----
        The camera sees a height z on the near wall at the depression angle e with tan e linear in z,
        and at a row that is the tangent of e less the camera's own pitch.  The focal length is taken
        as usual for a phone; half or twice of it shifts the middle of the column by up to about 1 %
        for a camera that looks down by 10 degrees on a jar that fills the picture.
        """
        if math.isfinite(self.bend):  # a straight line seen in perspective keeps its cross-ratios
            f = np.asarray(fraction, float)
            return np.asarray(f * (1 + self.bend) / (1 + self.bend * f), np.float32)
        e0, e1 = (math.asin(max(-0.9, min(0.9, s))) for s in (self.sag_floor, self.sag_surface))
        if abs(e0 - e1) < 1e-6:
            return np.asarray(fraction, np.float32)
        e = e0 + (e1 - e0) * np.asarray(fraction, float)
        return np.asarray((np.tan(e) - math.tan(e0)) / (math.tan(e1) - math.tan(e0)), np.float32)

    def true_sigma(self, fraction: Floats) -> Floats:
        """Sigma of `true_fraction` from what is not known of the camera: its angle and its focal length."""
        f = np.asarray(fraction, float)
        bend = 0.0 if math.isnan(self.bend) else self.bend
        return np.asarray(np.abs(f * (1 - f)) / (1 + bend * f) ** 2 * self.bend_sigma, np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """The near wall unrolled: `lab` is (ROWS, COLUMNS, CIELAB) at FRACTIONS and ACROSS, row 0 the highest.

    `clipped` and `black` are the parts of the contents that are as level as what is burnt out and too dark to
    read; `outside` the part of the jar that lies outside the photo.
    """

    lab: Floats
    geometry: Geometry
    clipped: float
    black: float
    outside: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Copy:
    """A part of the photo in CIELAB, with `across` columns and `down` rows for each of the photo's."""

    lab: Floats
    left: float
    top: float
    across: float
    down: float

    def sample(self, col: Floats, row: Floats) -> Floats:
        """Lab values at these places of the full-size photo."""
        x = (col - self.left + 0.5) * self.across - 0.5
        y = (row - self.top + 0.5) * self.down - 0.5
        return np.asarray(
            cv2.remap(
                self.lab,
                x.astype(np.float32),
                y.astype(np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            np.float32,
        )

    def reduced(self, rows: float, high: float) -> _Copy:
        """The same with about `rows` rows from floor to surface, `high` of the photo's; itself where it has no more."""
        k = rows / (high * self.down)
        if k >= 1:
            return self
        size = tuple(max(8, round(n * k)) for n in self.lab.shape[1::-1])
        lab = np.asarray(cv2.resize(self.lab, size, interpolation=cv2.INTER_AREA), np.float32)
        across, down = (
            v * n / o for v, n, o in zip((self.across, self.down), size, self.lab.shape[1::-1], strict=True)
        )
        return _Copy(lab=lab, left=self.left, top=self.top, across=across, down=down)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """The jar cut out of the photo in CIELAB at three sizes: whoever looks at the jar on a copy looks at one of these."""

    frame: Frame
    fine: _Copy
    middle: _Copy
    coarse: _Copy

    def serves(self, frame: Frame) -> bool:
        """True where this frame differs little from the one that the cut was made for."""
        mine, high = self.frame, self.frame.floor_px - self.frame.surface_px
        upright = max(abs(frame.floor_px - mine.floor_px), abs(frame.surface_px - mine.surface_px))
        sideways = max(abs(frame.left_px - mine.left_px), abs(frame.right_px - mine.right_px))
        return upright < _SAME * high and sideways < _SAME * (mine.right_px - mine.left_px) / 2


def cut_out(photo: Photo, frame: Frame, earlier: Cut | None = None) -> Cut:
    """The jar with what is above, below and beside it, cut out; `earlier` where that serves this frame too."""
    if earlier is not None and earlier.serves(frame):
        return earlier
    high = frame.floor_px - frame.surface_px
    fine = _cut(photo, frame)
    return Cut(frame=frame, fine=fine, middle=fine.reduced(MIDDLE, high), coarse=fine.reduced(_COARSE, high))


def _cut(photo: Photo, frame: Frame) -> _Copy:
    high, half = frame.floor_px - frame.surface_px, (frame.right_px - frame.left_px) / 2
    top = int(max(0, math.floor(frame.surface_px - 0.45 * high - 0.5 * half)))
    low = int(min(photo.height_px, math.ceil(frame.floor_px + 0.25 * high + 0.2 * half)))
    left = int(max(0, math.floor(frame.left_px - 0.6 * half)))
    right = int(min(photo.width_px, math.ceil(frame.right_px + 0.6 * half)))
    part = np.asarray(photo.pixels[top:low, left:right])
    scale = min(1.0, _FINE / high)
    whole = int(1 / scale)  # OpenCV averages whole numbers of pixels several times as fast
    if whole > 1 and min(part.shape[:2]) >= 8 * whole:
        size = (part.shape[1] // whole, part.shape[0] // whole)
        part = np.asarray(
            cv2.resize(part[: size[1] * whole, : size[0] * whole], size, interpolation=cv2.INTER_AREA),
            np.uint8,
        )
    else:
        whole = 1
    across = down = 1 / whole
    if scale * whole < 1:
        size = (max(8, round(part.shape[1] * scale * whole)), max(8, round(part.shape[0] * scale * whole)))
        across, down = across * size[0] / part.shape[1], down * size[1] / part.shape[0]
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = cv2.cvtColor(part.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return _Copy(lab=np.asarray(lab, np.float32), left=left, top=top, across=across, down=down)


def find_geometry(photo: Photo, frame: Frame, cut: Cut | None = None) -> Geometry:
    """Lean and sag of the jar in this frame: those that line up the edges across the jar best.

    Parameters
    ----------
    photo : Photo
    frame : Frame
        All four lines known (no NaN); its tilt is taken when it is not zero.
    cut : Cut or None
        The jar cut out, where that is there already.

    Notes
    -----
    For each lean and sag the vertical colour differences are averaged along the arcs; edges of level
    layers, of the surface and of the floor add up where the arcs are right and cancel where they are
    not.  The sag grows from surface to floor by the column's height over the focal length.  Scenery
    seen through a clear liquid has its own curvature and can mislead where it is stronger than floor
    and surface, whose rows therefore count more.
    """
    crop = cut_out(photo, frame, cut).coarse
    base = _plain(photo, frame)
    usual = _FOCAL * max(photo.width_px, photo.height_px)
    growth = base.column_px / (photo.focal_px if math.isfinite(photo.focal_px) else usual)
    best = _coarse(crop, base, frame.tilt_deg, growth)
    fine = [best.lean + math.tan(math.radians(d)) for d in (-0.6, -0.3, 0, 0.3, 0.6)]
    mid = (best.sag_floor + best.sag_surface) / 2
    sags = np.linspace(mid - 0.02, mid + 0.02, 9, dtype=np.float32)
    return max((_best_sag(crop, base, lean, sags, growth) for lean in fine), key=lambda g: g.score)


def _coarse(crop: _Copy, base: Geometry, tilt_deg: float, growth: float) -> Geometry:
    leans = [math.tan(math.radians(t)) for t in np.arange(-8, 8.1, 1.0)]
    if tilt_deg:
        leans = [math.tan(math.radians(tilt_deg + d)) for d in (-0.5, 0, 0.5)]
    sags = np.linspace(-0.12, 0.5, 32, dtype=np.float32)
    best = max((_best_sag(crop, base, lean, sags, growth) for lean in leans), key=lambda g: g.score)
    if not tilt_deg and best.lean in (leans[0], leans[-1]):  # it may lean further that way
        more = [math.copysign(math.tan(math.radians(t)), best.lean) for t in range(9, 17)]
        further = (_best_sag(crop, base, lean, sags, growth) for lean in more)
        best = max((best, *further), key=lambda g: g.score)
    return best


def _plain(photo: Photo, frame: Frame) -> Geometry:
    return Geometry(
        centre_px=(frame.left_px + frame.right_px) / 2,
        half_px=(frame.right_px - frame.left_px) / 2,
        floor_px=frame.floor_px,
        surface_px=frame.surface_px,
        lean=0.0,
        sag_floor=0.0,
        sag_surface=0.0,
    )


def _best_sag(crop: _Copy, base: Geometry, lean: float, sags: Floats, growth: float) -> Geometry:
    """The geometry with this lean whose sag lines the edges up best."""
    n = round((TOP - BOTTOM) * 100) + 1
    fraction = np.linspace(TOP, BOTTOM, n, dtype=np.float32)
    across = np.linspace(-_INNER, _INNER, 17, dtype=np.float32)
    flat = Geometry(
        centre_px=base.centre_px,
        half_px=base.half_px,
        floor_px=base.floor_px,
        surface_px=base.surface_px,
        lean=lean,
        sag_floor=0.0,
        sag_surface=0.0,
    )
    col, row = flat.points(fraction[:, None], across[None, :])
    lab = crop.sample(col, row)
    g = cv2.GaussianBlur(lab, (1, 5), sigmaX=0.1, sigmaY=1.0)
    g = np.asarray(g[2:] - g[:-2], np.float32)
    f = fraction[1:-1]
    size = np.linalg.norm(g, axis=2, keepdims=True)
    g = g / (1 + size / 12)  # a strong edge does not drown the others
    keep = (f > -0.05) & (f < 1.05)
    rows, last = np.arange(len(f), dtype=np.float32)[keep], len(f) - 1
    f = f[keep]
    weight = 1 + 3 * (np.exp(-0.5 * (f / 0.03) ** 2) + np.exp(-0.5 * ((f - 1) / 0.03) ** 2))
    bow = 1 - np.sqrt(1 - across**2)
    rows_per_half = base.half_px / base.column_px * 100
    low, high = sags + growth / 2, sags - growth / 2
    arcs = low[:, None] + (high - low)[:, None] * f
    shift = (bow * rows_per_half).astype(np.float32)[:, None, None] * arcs
    at = np.clip(np.rint(rows - shift), 0, last).astype(np.intp)
    at *= len(across)
    at += np.arange(len(across))[:, None, None]
    mean = np.take(g.reshape(-1, 3), at, axis=0).mean(axis=0)  # (sags, rows, 3)
    scores = ((mean**2).sum(axis=2) * weight).sum(axis=1)
    k = int(scores.argmax())
    return replace(flat, sag_floor=float(low[k]), sag_surface=float(high[k]), score=float(scores[k]))


def unroll(photo: Photo, frame: Frame, geometry: Geometry, cut: Cut | None = None) -> Strip:
    """The contents and what is beside and above them, sampled along the arcs of the near wall."""
    col, row = geometry.points(FRACTIONS[:, None], ACROSS[None, :])
    lab = cut_out(photo, frame, cut).middle.sample(col, row)
    body = np.ix_((FRACTIONS > 0) & (FRACTIONS < 1), np.abs(ACROSS) < 0.9)
    out = (col < 0) | (col > photo.width_px - 1) | (row < 0) | (row > photo.height_px - 1)
    light = lab[body][..., 0]
    brightest = float(np.percentile(light, 99.5))
    return Strip(
        lab=lab,
        geometry=geometry,
        clipped=float((light > brightest - _LEVEL).mean()) if brightest > _PALE else 0.0,
        black=float((light < 4).mean()),
        outside=float(out[body].mean()),
    )


def sample_arcs(
    photo: Photo, geometry: Geometry, fraction: Floats, across: Floats, *, place_px: float = 1.0
) -> Floats:
    """CIELAB on a grid of heights and places across; (heights, places, 3).

    Where a place is two pixels and more, it is given the mean over its pixels, so that a photo of many
    pixels shows no finer grain than one of few.
    """
    col, row = geometry.points(fraction[:, None], across[None, :])
    left, right = math.floor(col.min()) - 2, math.ceil(col.max()) + 3
    top, low = math.floor(row.min()) - 2, math.ceil(row.max()) + 3
    left, top = max(0, min(left, photo.width_px - 2)), max(0, min(top, photo.height_px - 2))
    part = photo.pixels[top : max(top + 2, low), left : max(left + 2, right)]
    x, y = col - np.float32(left), row - np.float32(top)
    whole = int(place_px)
    if whole > 1 and min(part.shape[:2]) >= 2 * whole:
        size = (part.shape[1] // whole, part.shape[0] // whole)
        part = np.asarray(
            cv2.resize(part[: size[1] * whole, : size[0] * whole], size, interpolation=cv2.INTER_AREA),
            np.uint8,
        )
        x, y = ((v + np.float32(0.5)) / np.float32(whole) - np.float32(0.5) for v in (x, y))
    rgb = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.cvtColor(rgb.astype(np.float32) / 255, cv2.COLOR_RGB2LAB), np.float32)
