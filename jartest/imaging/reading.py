"""The one place where the steps meet: photo and jar to reading."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from jartest.imaging.flocs import find_flocs
from jartest.imaging.follow import follow_jar
from jartest.imaging.jar import find_jar, place
from jartest.imaging.layers import Boundary, find_boundaries, make_layers
from jartest.imaging.photo import Photo
from jartest.imaging.profile import Strip, find_geometry, unroll
from jartest.imaging.scale import mm_per_px
from jartest.imaging.texture import GREY_LEVELS, texture_figures
from jartest.imaging.values import Frame, Layer, Marks, Reading

__all__ = ["METHOD", "read_photo"]

METHOD = "reading-1"

_SMALL_PX = 40  # fewer rows of liquid than this and half a percent is far below a pixel


def read_photo(
    photo: Photo,
    *,
    marks: Marks | None = None,
    earlier: tuple[Photo, Frame] | None = None,
    inner_diameter_mm: float | None = None,
) -> Reading:
    """What this photo says of the jar in it: layers, fractions, lumps, each with its doubt and flags.

    Parameters
    ----------
    photo : Photo
    marks : Marks or None
        Lines that a person set, taken as they are.
    earlier : (Photo, Frame) or None
        An earlier photo of the same jar and its frame, to carry over.
    inner_diameter_mm : float or None
        Inner diameter of the jar, for millimetres.
    """
    flags: list[str] = []
    proposed = find_jar(photo)
    start = proposed
    if earlier is not None and not _whole(marks):
        carried = follow_jar(photo, *earlier)
        if carried is not None:
            start = carried
            flags.append("carried over")
    frame = place(photo, start or Frame(), marks)
    if marks is not None:
        flags.append("set by hand")
    base = Reading(
        photo_sha256=photo.sha256,
        method=METHOD,
        width_px=photo.width_px,
        height_px=photo.height_px,
        jar_found=False,
        jar_proposed=proposed,
        marks=marks,
    )
    unsure = [w for w, v in _lines(frame) if math.isnan(v)]
    if len(unsure) == 3:
        return replace(base, flags=(*flags, "no jar"))
    if unsure:
        return replace(base, jar_found=True, jar=frame, flags=(*flags, *unsure))
    scale, scale_sigma = mm_per_px(frame, inner_diameter_mm)
    if math.isnan(scale):
        flags.append("no scale")
    return _measured(base, photo, frame, flags, scale, scale_sigma)


def _whole(marks: Marks | None) -> bool:
    return marks is not None and not any(
        math.isnan(v) for v in (marks.left_px, marks.right_px, marks.floor_px, marks.surface_px)
    )


def _lines(frame: Frame) -> list[tuple[str, float]]:
    return [
        ("walls unsure", frame.left_px + frame.right_px),
        ("floor unsure", frame.floor_px),
        ("surface unsure", frame.surface_px),
    ]


def _measured(
    base: Reading, photo: Photo, frame: Frame, flags: list[str], scale: float, scale_sigma: float
) -> Reading:
    geometry = find_geometry(photo, frame)
    frame = replace(frame, tilt_deg=math.degrees(math.atan(geometry.lean)))
    strip = unroll(photo, frame, geometry)
    boundaries = _marked(base.marks, frame) or find_boundaries(strip)
    layers = make_layers(strip, boundaries)
    flocs = find_flocs(strip, layers)
    if frame.floor_px - frame.surface_px < _SMALL_PX:
        flags.append("small")
    settled = _thickness(layers, "settled")
    return replace(
        base,
        jar_found=True,
        jar=frame,
        flags=tuple(flags),
        mm_per_px=scale,
        mm_per_px_sigma=scale_sigma,
        layers=layers,
        settled_fraction=settled[0],
        settled_sigma_fraction=settled[1],
        **{
            f"{name}{end}": v
            for name, kind in (("clear", "clear"), ("top_layer", "floating"), ("foam", "foam"))
            for end, v in zip(("_fraction", "_sigma_fraction"), _thickness(layers, kind), strict=True)
        },
        floc_index=flocs.index,
        floc_count=float(len(flocs.lumps)),
        floc_area_fraction=flocs.area_fraction,
        lumps=flocs.lumps,
        texture=_texture(strip),
    )


def _marked(marks: Marks | None, frame: Frame) -> list[Boundary]:
    if marks is None or marks.boundaries_px is None:
        return []
    high = frame.floor_px - frame.surface_px
    return sorted(
        (
            Boundary(fraction=(frame.floor_px - r) / high, sigma=1.0 / high, sure=1.0)
            for r in marks.boundaries_px
        ),
        key=lambda b: b.fraction,
    )


def _thickness(layers: tuple[Layer, ...], kind: str) -> tuple[float, float]:
    own = [x for x in layers if x.kind == kind]
    total = sum(x.top_fraction - x.bottom_fraction for x in own)
    return float(total), float(math.sqrt(sum(x.top_sigma_fraction**2 for x in own)) if own else 0.004)


def _texture(strip: Strip) -> dict[str, float]:
    rows = (strip.fraction > 0.1) & (strip.fraction < 0.9)
    light = strip.lab[rows][..., 0]
    levels = np.clip(light / 100 * GREY_LEVELS, 0, GREY_LEVELS - 1).astype(np.uint8)
    return texture_figures(levels)
