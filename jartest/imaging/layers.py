"""The strip's rows cut into layers, each boundary with its sigma."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.imaging import rows as seen_rows
from jartest.imaging.flocs import Texture, clarity, see_texture
from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, Geometry, Strip, sample_arcs
from jartest.imaging.rows import RowsSeen
from jartest.imaging.values import Layer, LayerKind

__all__ = ["LINE_SIGMA", "SURE", "Boundary", "Part", "find_boundaries", "make_layers"]

Floats = NDArray[np.float32]

SURE, _MAYBE = 0.48, 0.43  # as many false ones on left-out vessels as one network alone had; between: flagged
_GLASS = 0.09  # chosen on the kept and the test pictures
_HIGH = 0.004  # of the column: how much lower the word of the network of rows is taken, which is too high; fit/DIARY.md
_LIFT = 0.5  # how much of the wall's lift is taken off
_APART = 0.02  # two boundaries nearer than this are one
LINE_SIGMA = 0.004  # how well floor and surface are placed, by hand or by the finder, in columns
_SEEN_THROUGH = 0.7  # of the clarity figure: one opaque layer in ten reaches it in the pictures for fitting
_TRACE = 0.05
_ROW = float(FRACTIONS[0] - FRACTIONS[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """A place where one layer ends: fraction of the column's rows, sigma, and how sure it is (0 to 1)."""

    fraction: float
    sigma: float
    sure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A layer with its ends as fractions of the column's rows, where the layer has true heights."""

    layer: Layer
    bottom: float
    top: float
    texture: Texture


def find_boundaries(photo: Photo, strip: Strip, seen: RowsSeen) -> list[Boundary]:
    """Boundaries between floor and surface that are there or may be there, from the bottom up."""
    ends = np.where((FRACTIONS > 0.006) & (FRACTIONS < 0.994), seen.ends, 0)
    ends = ends - np.where(FRACTIONS < 0.035, _GLASS, 0)  # the edge of the glass floor looks like a trace
    out: list[Boundary] = []
    while ends.max() > _MAYBE:
        i = int(ends.argmax())
        near = slice(max(0, i - 3), i + 4)
        at = float((ends[near] * FRACTIONS[near]).sum() / ends[near].sum())
        out.append(_placed(photo, strip.geometry, at, float(ends[i])))
        k = round(_APART / _ROW)
        ends[max(0, i - k) : i + k + 1] = 0
    return sorted(out, key=lambda b: b.fraction)


def _placed(photo: Photo, geometry: Geometry, at: float, sure: float) -> Boundary:
    """The boundary half-way between the network's word and the strongest edge along the arc near it.

    Both are where it is seen through the wall, which lifts it; half of that is taken off, which with `_HIGH` is
    best or nearly so on the pictures for fitting.  The sigma has a part that is there in every picture, one of
    about half a row of the photo, and one for doubt; of 372 boundaries of those pictures, true lines given, 96 %
    lie within two.
    """
    at -= _HIGH
    reach = 0.02
    step = max(0.5 / geometry.column_px, 0.0008)
    fraction = np.arange(at + reach, at - reach, -step, dtype=np.float32)
    lab = sample_arcs(photo, geometry, fraction, np.linspace(-0.6, 0.6, 25, dtype=np.float32))
    smooth = max(1, round(0.003 / step))
    change = lab[2 * smooth :] - lab[: -2 * smooth]
    strength = np.linalg.norm(np.median(change, axis=1), axis=1)
    middle = fraction[smooth : len(fraction) - smooth]
    weight = strength * np.exp(-0.5 * ((middle - at) / 0.005) ** 2)
    found = at
    if weight.sum() > 0:
        i = int(weight.argmax())
        near = slice(max(0, i - 2 * smooth), i + 2 * smooth + 1)
        found = float((weight[near] * middle[near]).sum() / weight[near].sum())
    seen = (at + found) / 2
    sigma = 0.003 + 0.45 / geometry.column_px + 0.0075 * (1 - sure)
    return Boundary(fraction=seen - _LIFT * float(geometry.through_wall(seen)), sigma=sigma, sure=sure)


def make_layers(
    photo: Photo,
    strip: Strip,
    seen: RowsSeen,
    boundaries: list[Boundary],
    *,
    foam_top: float | None = None,
    ends_above: bool = False,
    named: Sequence[LayerKind | None] = (),
) -> list[Part]:
    """Layers from the bottom up with their kinds and mean colours; foam above the surface last.

    `ends_above`: the finder, another network, sees the contents end over the surface, so that a weaker word
    for foam is enough.  `foam_top` (1: no foam) and `named` are what a person set, None where the photo is to tell.
    """
    edges = [0.0, *(b.fraction for b in boundaries), 1.0]
    sigmas = [b.sigma for b in boundaries] + [LINE_SIGMA]
    foam = _foam_top(seen, ends_above=ends_above) if foam_top is None else foam_top
    if foam > (1.012 if foam_top is None else 1.0):
        edges.append(foam)
        sigmas.append(0.015)
    true = strip.geometry.true_fraction(np.array(edges))
    sigmas = np.hypot(sigmas, strip.geometry.true_sigma(np.array(edges[1:]))).tolist()
    kinds = [_kind(seen, edges[k], edges[k + 1]) for k in range(len(edges) - 1)]
    textures = [see_texture(photo, strip.geometry, *ends) for ends in itertools.pairwise(edges)]
    clear = [clarity(x, strip) for x in textures]
    kinds = _sensible(kinds, edges, clear)
    kinds[: len(named)] = [said or kind for said, kind in zip(named, kinds, strict=False)]
    out = []
    for k, kind in enumerate(kinds):
        lab = _colour(strip, edges[k], edges[k + 1])
        layer = Layer(
            kind=kind,
            bottom_fraction=float(true[k]),
            top_fraction=float(true[k + 1]),
            top_sigma_fraction=sigmas[k],
            top_px=strip.geometry.floor_px - edges[k + 1] * strip.geometry.column_px,
            lightness=float(lab[0]),
            a=float(lab[1]),
            b=float(lab[2]),
            clarity=clear[k],
        )
        out.append(Part(layer=layer, bottom=edges[k], top=edges[k + 1], texture=textures[k]))
    return out


# Odds of foam, and how far over the surface it may begin: by this network alone, and with the finder's word for it.
# Of 38 jars with foam among the pictures for fitting (lines given) both together see 21, of 450 without it 4.
_FOAM_ALONE, _FOAM_BOTH = (0.5, 1.02), (0.4, 1.06)


def _foam_top(seen: RowsSeen, *, ends_above: bool) -> float:
    """Height of the foam's upper end; 1 where there is none."""
    foam = seen.kinds[:, seen_rows.FOAM]
    for odds, low in (_FOAM_ALONE, _FOAM_BOTH) if ends_above else (_FOAM_ALONE,):
        above = (FRACTIONS > 1.0) & (foam > odds)
        if above.any() and foam[(FRACTIONS > 1.0) & (low > FRACTIONS)].max() > odds:
            return float(FRACTIONS[above].max())
    return 1.0


def _colour(strip: Strip, bottom: float, top: float) -> Floats:
    """Median colour between two heights."""
    edge = min(0.01, (top - bottom) / 4)
    inside = (bottom + edge < FRACTIONS) & (top - edge > FRACTIONS)
    if not inside.any():
        inside = np.abs(FRACTIONS - (bottom + top) / 2) <= _ROW
    return np.asarray(
        np.median(strip.lab[np.ix_(inside, np.abs(ACROSS) < 0.7)].reshape(-1, 3), axis=0), np.float32
    )


def _kind(seen: RowsSeen, bottom: float, top: float) -> LayerKind:
    inside = (bottom < FRACTIONS) & (top > FRACTIONS)
    if not inside.any():
        inside = np.abs(FRACTIONS - (bottom + top) / 2) <= _ROW
    mean = seen.kinds[inside].mean(axis=0)
    if bottom >= 1.0:
        return "foam"
    names: tuple[LayerKind, ...] = ("settled", "body", "floating")
    return names[int(mean[[seen_rows.SETTLED, seen_rows.BODY, seen_rows.FLOATING]].argmax())]


def _sensible(kinds: list[LayerKind], edges: list[float], clear: list[float]) -> list[LayerKind]:
    """Only the lowest layer can be settled, only the highest below the surface floating.

    A body that one sees through is a cleared layer only where something else lies in the jar, more
    than a trace: a clear solution is a body.
    """
    out = list(kinds)
    liquid = [k for k, bottom in enumerate(edges[:-1]) if bottom < 1.0]
    for k in liquid:
        if (out[k] == "settled" and k != 0) or (out[k] == "floating" and k != liquid[-1]):
            out[k] = "body"
    if len(liquid) == 1:
        out[liquid[0]] = "body"
    elif any(out[k] == "body" for k in liquid[1:]):
        out[0] = "settled"  # two bodies in one jar have parted: the lower one is what went down
    for k in liquid:
        others = sum(edges[j + 1] - edges[j] for j in liquid if j != k and not clear[j] >= _SEEN_THROUGH)
        if out[k] == "body" and clear[k] >= _SEEN_THROUGH and others > _TRACE:
            out[k] = "clear"
    return out
