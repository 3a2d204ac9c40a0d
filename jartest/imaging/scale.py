"""Millimetres from pixels at the jar's near wall: by the reference card behind it, by its known diameter, or both.

What is measured lies on the near wall, nearer to the camera than the jar's axis and much nearer than a
card behind the jar: at arm's length the three scales differ by a tenth and more.  Both ways therefore
place the jar before the camera first and reckon the height of the column from the angles under which
its two ends are seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.card import CARD_HIGH_MM, Card
from jartest.imaging.photo import Photo
from jartest.imaging.pinhole import focal_guess, middle_px, turn
from jartest.imaging.profile import Geometry

__all__ = ["Scale", "find_scale", "with_scale"]

Floats = NDArray[np.float64]

_GLASS_INDEX = 1.52  # soda-lime glass, sodium D line; value from memory
_WALL_FRACTION = 0.055  # glass wall over inner radius: 0.02 (thin tumblers) to 0.09 (preserving jars) in the rendered pictures
_WALL_SIGMA_FRACTION = 0.025
_WALL_SIGMA_MM = 0.3  # how well people measure a wall; our choice
_DIAMETER_SIGMA_FRACTION = (
    0.004  # how well people measure an inner diameter, and how round jars are; our choice
)
_ANY_MM = 80.0  # a diameter where none is known: nothing that is given then depends on it
_WALL_SIGMA_PX = 1.0  # how well a wall is placed
_SAG_SIGMA = 0.07  # rms of the sine under which the camera looks down, on the 45 pictures with known truth
_TOUCH_SIGMA_MM = 4.0  # the jar touches the card; heel, label and a hand's haste; our choice
_LEAN_SIGMA_DEG = 2.0  # a card that was stood upright with care; our choice
_PRINT_SIGMA_FRACTION = 0.002  # a printer's scale, once its rule was checked; our choice
_APART = 3.0  # sigmas of the difference from which card and jar disagree


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Height of a pixel row on the near wall, over the whole column, and what was found on the way.

    `bend` is the height of the column over the way from its floor down to where all uprights meet in the
    photo: 0 for a level camera, NaN where only its sigma is known.  `outer_diameter_mm` is the jar's by the card alone.
    """

    mm_per_px: float = math.nan
    sigma: float = math.nan
    flags: tuple[str, ...] = ()
    bend: float = math.nan
    bend_sigma: float = 0.0
    outer_diameter_mm: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Jar:
    """A jar upright before the camera: half the angle it fills, the tangents down to floor and surface, the bend."""

    half_angle: float
    ahead: float  # cosine between its direction and straight away from the camera, seen from above
    floor: float
    surface: float
    bend: float

    def column_mm(self, axis_mm: float, seen_radius_mm: float) -> float:
        """Height of the column on a jar whose axis is so far away."""
        return (axis_mm - seen_radius_mm) * (self.floor - self.surface)


def find_scale(
    photo: Photo,
    geometry: Geometry,
    *,
    card: Card | None = None,
    inner_diameter_mm: float | None = None,
    wall_mm: float | None = None,
) -> Scale:
    """Millimetres per row at the near wall with their sigma; NaN where neither card nor diameter is known.

    Parameters
    ----------
    photo : Photo
    geometry : Geometry
        Where the jar stands, with all four lines.
    card : Card or None
        The reference card, where it was found; it says nothing of a jar that does not stand before it.
    inner_diameter_mm, wall_mm : float or None
        Of the jar, where known; without the wall a usual one is taken, and its doubt is in the sigma.

    Returns
    -------
    Scale
        The height of the column in mm is `mm_per_px` times its height in rows.

    Notes
    -----
    A jar is a cylinder whose outer radius r fills the half angle a: its axis is r / sin a away, seen from
    above.  By the card: the jar touches it, so that the axis stands one radius before it; camera and
    focal length follow from the markers.  By the jar alone: r is known, how far the camera looks down
    follows from the sag of the arcs, and the focal length is what the camera wrote, or a usual one.
    The contents are seen through the wall, which lifts them towards the camera by a third of it.

    The sigma is carried through from every input by differences; where both ways are open, the two
    heights are weighted by their joint covariance (generalised least squares), and they disagree where
    their difference is more than three of its sigmas.  Assumed: a jar round and upright, walls seen from
    their silhouettes, a card that stands upright behind it.  A jar that tapers is taken at mid-height.
    """
    if card is not None and card.window.left < geometry.centre_px < card.window.right:
        return _by_card(photo, geometry, card, inner_diameter_mm, wall_mm)
    return _by_jar(photo, geometry, inner_diameter_mm, wall_mm)


def with_scale(geometry: Geometry, scale: Scale) -> Geometry:
    """The geometry with what was found of its perspective."""
    return replace(geometry, bend=scale.bend, bend_sigma=scale.bend_sigma)


# --------------------------------------------------------------------- jar alone
def _by_jar(photo: Photo, geometry: Geometry, inner_mm: float | None, wall_mm: float | None) -> Scale:
    focal, focal_sigma = focal_guess(photo)
    radius, radius_sigma, glass, glass_sigma = _radii(inner_mm or _ANY_MM, wall_mm)
    level = math.asin(float(np.clip((geometry.sag_floor + geometry.sag_surface) / 2, -0.9, 0.9)))
    known = np.array([math.log(focal), level, 0.0, 0.0, radius, glass])
    sigmas = np.array([focal_sigma, _SAG_SIGMA, _WALL_SIGMA_PX, _WALL_SIGMA_PX, radius_sigma, glass_sigma])

    def column_and_bend(v: Floats) -> Floats:
        points = _points(geometry, v[2], v[3])
        jar = _upright_jar(points - middle_px(photo), math.exp(v[0]), v[1], math.atan(geometry.lean))
        return np.array([jar.column_mm(v[4] / math.sin(jar.half_angle), v[4] - v[5]), jar.bend])

    value = float(column_and_bend(known)[0])
    sigma, bend_sigma = np.sqrt(np.diag(_carried(column_and_bend, known, np.diag(sigmas**2))))
    if inner_mm is None:
        return Scale(flags=("no scale",), bend_sigma=float(bend_sigma))
    return Scale(
        mm_per_px=value / geometry.column_px,
        sigma=float(sigma) / geometry.column_px,
        bend_sigma=float(bend_sigma),
    )


def _radii(inner_mm: float, wall_mm: float | None) -> tuple[float, float, float, float]:
    """Outer radius, its sigma, how far behind the outer wall the contents seem to lie, and that sigma."""
    inner = inner_mm / 2
    wall, doubt = (
        (wall_mm, _WALL_SIGMA_MM)
        if wall_mm is not None
        else (_WALL_FRACTION * inner, _WALL_SIGMA_FRACTION * inner)
    )
    sigma = math.hypot(doubt, _DIAMETER_SIGMA_FRACTION * inner)
    return inner + wall, sigma, wall / _GLASS_INDEX, doubt / _GLASS_INDEX


def _upright_jar(points: Floats, focal: float, level: float, roll: float) -> _Jar:
    """The jar before a camera that looks down by so much at the middle of the column."""
    c, s = math.cos(roll), math.sin(roll)
    x, y = points @ np.array([c, s]), points @ np.array([-s, c])
    pitch = level - math.atan2(float(y[2] + y[3]) / 2, focal)
    c, s = math.cos(pitch), math.sin(pitch)
    return _jar_on(np.column_stack([x, c * y + s * focal, c * focal - s * y]))


def _jar_on(rays: Floats) -> _Jar:
    """The jar between two rays to its walls, with those to floor and surface; (across, down, away) each.

    All rays end on the plane of the picture: how far away a place of the upright line is goes with one over
    the level length of its ray, and so do the places' weights in perspective.
    """
    left, right = (math.atan2(r[0], r[2]) for r in rays[:2])
    level = np.hypot(rays[2:, 0], rays[2:, 2])
    down = rays[2:, 1] / level
    return _Jar(
        half_angle=abs(right - left) / 2,
        ahead=math.cos((left + right) / 2),
        floor=float(down[0]),
        surface=float(down[1]),
        bend=float(level[1] / level[0] - 1),
    )


def _points(geometry: Geometry, left_off: float, right_off: float) -> Floats:
    """Left wall, right wall, floor and surface in the photo, the walls moved outwards by so much."""
    g = geometry
    middle = (g.floor_px + g.surface_px) / 2
    left, right = -g.half_px - left_off, g.half_px + right_off
    return np.array(
        [
            (g.centre_px + left, middle + g.lean * left),
            (g.centre_px + right, middle + g.lean * right),
            *((g.centre_px - g.lean * (row - middle), row) for row in (g.floor_px, g.surface_px)),
        ]
    )


def _carried(f: Callable[[Floats], Floats], at: Floats, covariance: Floats) -> Floats:
    """Covariance of f's values, from that of its arguments, by central differences of half a sigma."""
    steps = np.diag(0.5 * np.sqrt(np.diag(covariance)))
    slope = np.stack([(f(at + d) - f(at - d)) / (2 * d.sum()) if d.sum() else 0 * f(at) for d in steps], 1)
    return np.asarray(slope @ covariance @ slope.T, float)


# --------------------------------------------------------------------- with card
def _by_card(
    photo: Photo, geometry: Geometry, card: Card, inner_mm: float | None, wall_mm: float | None
) -> Scale:
    radius, radius_sigma, _, _ = _radii(inner_mm or _ANY_MM, wall_mm)
    # pose (7), gap, lean, left, right, outer radius where known, part of the radius that is seen, print
    values = np.concatenate([card.pose.values, [0, 0, 0, 0, radius, _seen_share(inner_mm, wall_mm), 1.0]])
    lean = math.radians(_LEAN_SIGMA_DEG)
    sigmas = np.array(
        [_TOUCH_SIGMA_MM, lean, _WALL_SIGMA_PX, _WALL_SIGMA_PX, radius_sigma, 0.02, _PRINT_SIGMA_FRACTION]
    )
    covariance = np.zeros((14, 14))
    covariance[:7, :7] = card.pose.covariance
    covariance[7:, 7:] = np.diag(sigmas**2)

    def columns_and_bend(v: Floats) -> Floats:
        jar, away = _jar_before_card(_points(geometry, v[9], v[10]) - middle_px(photo), v)
        sine = math.sin(jar.half_angle)
        axis = (v[13] * away - v[7]) / (sine + jar.ahead)
        by_card = jar.column_mm(axis, v[12] * axis * sine)
        return np.array([by_card, jar.column_mm(v[11] / sine, v[12] * v[11]), jar.bend])

    found, doubt = columns_and_bend(values), _carried(columns_and_bend, values, covariance)
    jar, away = _jar_before_card(_points(geometry, 0, 0) - middle_px(photo), values)
    sine = math.sin(jar.half_angle)
    diameter = 2 * sine * away / (sine + jar.ahead)
    value, sigma, agree = float(found[0]), math.sqrt(doubt[0, 0]), True
    if inner_mm is not None:
        value, sigma, agree = _weighed(found[:2], doubt[:2, :2])
    return Scale(
        mm_per_px=value / geometry.column_px,
        sigma=sigma / geometry.column_px,
        flags=("card",) if agree else ("card", "card and jar disagree"),
        bend=float(found[2]),
        bend_sigma=math.sqrt(doubt[2, 2]),
        outer_diameter_mm=float(diameter),
    )


def _seen_share(inner_mm: float | None, wall_mm: float | None) -> float:
    """The radius on which the contents seem to lie, as a part of the outer one."""
    radius, _, glass, _ = _radii(inner_mm or _ANY_MM, wall_mm)
    return 1 - glass / radius


def _jar_before_card(points: Floats, v: Floats) -> tuple[_Jar, float]:
    """The jar as seen from the camera of the pose, upright before a leaning card, and how far away the card's foot is."""
    inverse = turn(v[:3]).T
    eye = -inverse @ v[3:6]
    rays = np.column_stack([points, np.full(len(points), math.exp(v[6]))]) @ inverse.T
    c, s = math.cos(v[8]), math.sin(v[8])
    upright = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])  # the card leans: its upper edge is farther away
    foot = np.array([0, CARD_HIGH_MM, 0])
    return _jar_on(rays @ upright.T), -float((upright @ (eye - foot))[2])


def _weighed(both: Floats, doubt: Floats) -> tuple[float, float, bool]:
    """The two heights as one, its sigma, and whether they agree; where they do not, the sigma holds both."""
    inverse = np.linalg.inv(doubt)
    share = float(np.clip(inverse[0].sum() / inverse.sum(), 0, 1))
    weights = np.array([share, 1 - share])
    value, sigma = float(weights @ both), math.sqrt(float(weights @ doubt @ weights))
    apart = abs(float(both[0] - both[1]))
    spread = math.sqrt(max(1e-12, float(doubt[0, 0] + doubt[1, 1] - 2 * doubt[0, 1])))
    if apart <= _APART * spread:
        return value, sigma, True
    return value, max(sigma, apart / 2), False
