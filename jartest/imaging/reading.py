"""The one place where the steps meet: photo and jar to reading."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from jartest.imaging.blank import Blank, strip_like, unexplained, without_jar, without_marks
from jartest.imaging.by_hand import ByHand, add_lumps, take_marks
from jartest.imaging.card import find_card
from jartest.imaging.conditions import (
    condition_flags,
    ends_above,
    foam_unsure,
    goes_on_above,
    other_end,
    picture_flags,
)
from jartest.imaging.evenness import PLAIN, strongest_change
from jartest.imaging.finder import SURE as LINE_GIVEN
from jartest.imaging.finder import TRUSTED, Ends, look
from jartest.imaging.flocs import NO_BODY, find_flocs
from jartest.imaging.follow import follow_jar
from jartest.imaging.held import Apart, apart_from, beyond_doubt, widened
from jartest.imaging.jar import Placed, find_jar, place, placed_rows
from jartest.imaging.layers import SURE, find_boundaries, make_layers
from jartest.imaging.photo import Photo
from jartest.imaging.profile import ACROSS, FRACTIONS, Cut, Geometry, Strip, cut_out, find_geometry, unroll
from jartest.imaging.rows import RowsSeen, both, see_rows, with_edges
from jartest.imaging.scale import Scale, find_scale, with_scale
from jartest.imaging.texture import GREY_LEVELS, texture_figures
from jartest.imaging.values import Frame, Layer, Marks, Reading

__all__ = ["METHOD", "read_photo"]

METHOD = "reading-11"
_SIDES = ("left", "right", "floor", "surface")


def read_photo(
    photo: Photo,
    *,
    marks: Marks | None = None,
    earlier: tuple[Photo, Frame] | None = None,
    settled: Apart | None = None,
    blank: Blank | None = None,
    inner_diameter_mm: float | None = None,
    wall_mm: float | None = None,
) -> Reading:
    """What this photo says of the jar in it: layers, fractions, lumps, each with its doubt and flags.

    Parameters
    ----------
    photo : Photo
    marks : Marks or None
        What a person set, taken as it is.
    earlier : (Photo, Frame) or None
        An earlier photo of the same jar and its frame, to carry over.
    settled : Apart or None
        How far off the finder's lines lay where a person, asked, refused them in an earlier photo of this jar.
    blank : Blank or None
        The first photo of this jar after mixing, or one of it with water alone, to tell jar from mixture.
    inner_diameter_mm, wall_mm : float or None
        Inner diameter and glass wall of the jar, for millimetres; the reference card gives them too.

    Returns
    -------
    Reading
        Pixels are those of the upright photo at full size, also where it was decoded smaller.

    Raises
    ------
    BadEntry
        If what a person set cannot be in this photo.
    """
    if blank is not None:
        blank = blank.as_decoded()
    if photo.shrunk == 1 and (earlier is None or earlier[0].shrunk == 1):
        return _read(photo, marks, earlier, settled, blank, (inner_diameter_mm, wall_mm))
    smaller = None if earlier is None else (earlier[0].as_decoded(), earlier[1].scaled(1 / earlier[0].shrunk))
    few = None if marks is None else marks.scaled(1 / photo.shrunk)
    reading = _read(photo.as_decoded(), few, smaller, settled, blank, (inner_diameter_mm, wall_mm))
    reading = reading.scaled(photo.shrunk)
    return replace(reading, width_px=photo.width_px, height_px=photo.height_px, marks=marks)


def _read(
    photo: Photo,
    marks: Marks | None,
    earlier: tuple[Photo, Frame] | None,
    settled: Apart | None,
    blank: Blank | None,
    jar_mm: tuple[float | None, float | None],
) -> Reading:
    flags: list[str] = []
    seen = look(photo.pixels) if earlier is not None and not _whole(marks) else None
    carried = follow_jar(photo, *earlier, seen=seen) if earlier is not None and seen is not None else None
    if earlier is not None and carried is not None:
        flags += ["carried over"] + (["jar moved"] if _has_moved(carried, earlier[1]) else [])
    elif earlier is not None and not _whole(marks):
        flags.append("not carried over")
    card = find_card(photo)
    proposal = find_jar(photo, card.window if card and carried is None else None, seen)
    proposed, ends = proposal.frame, proposal.ends if carried is None else None
    if proposal.two and carried is None and not _whole(marks):
        flags.append("two jars")
    placed = place(photo, carried or proposed or Frame(), marks)
    apart = None
    if carried is not None and proposed is not None:
        proposed, apart = _held(photo, placed.frame, proposed, marks)
        apart = apart.beside(settled)
        if beyond_doubt(apart):
            flags.append("lines doubted")
    by_hand = take_marks(placed.frame, marks)
    frame = by_hand.frame
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
        return replace(base, flags=(*flags, *picture_flags(photo), "no jar"))
    if unsure:
        withheld = placed_rows(photo, frame, proposal.withheld)
        return replace(base, jar_found=True, jar=frame, flags=(*flags, *unsure), withheld=withheld)
    if frame.floor_px - frame.surface_px < 8 or frame.right_px - frame.left_px < 8:
        return replace(base, jar_found=True, jar=frame, flags=(*flags, "surface unsure"))
    if not frame.confidence >= LINE_GIVEN:  # a person and what is carried over from one have 1
        flags.append("surface unsure")
    elif not frame.confidence >= TRUSTED:
        flags.append("lines likely")
    cut = cut_out(photo, frame, placed.cut)
    if frame is not placed.frame:  # foam set by hand moved the surface
        placed = Placed(frame=frame)
    geometry = placed.geometry or find_geometry(photo, frame, cut)
    scale = find_scale(photo, geometry, card=card, inner_diameter_mm=jar_mm[0], wall_mm=jar_mm[1])
    flags += scale.flags
    if apart is not None and beyond_doubt(apart):
        blank = None  # who does not know where the jar stands cannot say what stood where
    reading = _measured(
        base, photo, by_hand, with_scale(geometry, scale), cut, placed.seen, flags, scale, ends, blank
    )
    if apart is not None and beyond_doubt(apart, sigmas=1.0):
        reading = widened(reading, apart)
    drawn = by_hand.boundaries is not None or by_hand.foam_top is not None  # a person said what ends where
    other = None
    if ends is not None and proposed is not None:
        doubted = not math.isnan(proposed.surface_px) and _contradicted(reading, frame, ends)
        other = other_end(frame, ends, set_by_hand=_surface_by_hand(marks)) if doubted else None
    else:
        doubted = carried is None and goes_on_above(unroll(photo, frame, geometry, cut))
    if drawn or not doubted:
        return reading
    return replace(reading, flags=(*reading.flags, "foam unsure"), withheld=() if other is None else (other,))


def _held(photo: Photo, frame: Frame, found: Frame, marks: Marks | None) -> tuple[Frame, Apart]:
    """The finder's frame, placed as exactly as the carried one where they may differ, and how far apart they are."""
    apart = apart_from(frame, found)
    if beyond_doubt(apart, sigmas=1.0):
        found = place(photo, found).frame
        apart = apart_from(frame, found)
    by_hand = {
        f"{n}_fraction": math.nan for n in _SIDES if not math.isnan(getattr(marks, f"{n}_px", math.nan))
    }
    return found, replace(apart, **by_hand)


def _contradicted(reading: Reading, frame: Frame, ends: Ends) -> bool:
    """True where the finder sees the contents end elsewhere than this reading does."""
    return foam_unsure(
        frame, ends, foam=reading.foam_fraction > 0, set_by_hand=_surface_by_hand(reading.marks)
    )


def _surface_by_hand(marks: Marks | None) -> bool:
    return marks is not None and not math.isnan(marks.surface_px)


def _has_moved(now: Frame, then: Frame) -> bool:
    """True where the jar stands elsewhere in the photo by more than a quarter of its width."""
    wide = then.right_px - then.left_px
    return abs(now.left_px + now.right_px - then.left_px - then.right_px) / 2 > wide / 4 or (
        abs(now.floor_px - then.floor_px) > wide / 4
    )


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
    base: Reading,
    photo: Photo,
    by_hand: ByHand,
    geometry: Geometry,
    cut: Cut,
    straight: RowsSeen | None,
    flags: list[str],
    scale: Scale,
    ends: Ends | None,
    blank: Blank | None,
) -> Reading:
    frame = replace(by_hand.frame, tilt_deg=math.degrees(math.atan(geometry.lean)))
    strip = unroll(photo, frame, geometry, cut)
    like = None if blank is None else strip_like(blank.photo, blank.frame, strip)
    # A mirrored photo reads the same: the strip and its mirror image are asked about alike.
    seen = both(straight or see_rows(strip), see_rows(strip, mirrored=True))
    if by_hand.boundaries is not None:
        boundaries = list(by_hand.boundaries)
    else:
        found = find_boundaries(photo, strip, with_edges(seen, photo, geometry))
        heights = [b.fraction for b in found]  # also what the blank explains, and what is told as unsure
        if blank is not None and like is not None:
            found, used = without_jar(blank, like, strip, found)
            flags += used
        boundaries = [b for b in found if b.sure >= SURE]
        if len(boundaries) < len(found):
            flags.append("layers unsure")
        change = strongest_change(strip, heights)
        if change is not None and change.delta_e >= PLAIN:
            flags.append("color changes")
    # A surface that the finder itself put too low has contents over it that are no foam: there it stays a doubt.
    seen_above = ends is not None and _surface_by_hand(base.marks) and ends_above(frame, ends, by_hand=True)
    parts = make_layers(
        photo,
        strip,
        seen,
        boundaries,
        foam_top=by_hand.foam_top,
        named=by_hand.kinds,
        ends_above=seen_above,
    )
    layers = tuple(p.layer for p in parts)
    if like is not None and by_hand.boundaries is None:
        clear = [x.clarity for x in layers if x.kind != "foam" and not math.isnan(x.clarity)]
        seen_through = max(clear, default=1.0)
        if unexplained(like, strip, boundaries, seen_through):
            flags.append("parted since")
    body = max(
        (p for p in parts if p.layer.kind in ("body", "clear")), key=lambda p: p.top - p.bottom, default=None
    )
    flocs = find_flocs(body.texture, photo, geometry, body.bottom, body.top) if body else NO_BODY
    flags += condition_flags(cut, frame, strip, parts)
    if "dark" in flags:
        flocs = NO_BODY  # what is black shows no lumps
    area_px = 2 * geometry.half_px * geometry.column_px * (body.top - body.bottom if body else 1.0)
    if blank is not None:
        flocs, used = without_marks(blank, frame, flocs, area_px)
        flags += used
    flocs = add_lumps(flocs, base.marks, area_px)
    settled, cleared = _thickness(layers, "settled"), _thickness(layers, "clear")
    floating, foam = _thickness(layers, "floating"), _thickness(layers, "foam")
    sizes = np.array([x.diameter_px for x in flocs.lumps]) * scale.mm_per_px
    known = len(sizes) > 0 and math.isfinite(scale.mm_per_px)
    return replace(
        base,
        jar_found=True,
        jar=frame,
        flags=tuple(dict.fromkeys(flags)),
        mm_per_px=scale.mm_per_px,
        mm_per_px_sigma=scale.sigma,
        layers=layers,
        settled_fraction=settled[0],
        settled_sigma_fraction=settled[1],
        clear_fraction=cleared[0],
        clear_sigma_fraction=cleared[1],
        top_layer_fraction=floating[0],
        top_layer_sigma_fraction=floating[1],
        foam_fraction=foam[0],
        foam_sigma_fraction=foam[1],
        floc_index=flocs.index,
        floc_count=math.nan if math.isnan(flocs.area_fraction) else float(len(flocs.lumps)),
        floc_area_fraction=flocs.area_fraction,
        floc_diameter_mm=float(np.median(sizes)) if known else math.nan,
        floc_diameter_p90_mm=float(np.percentile(sizes, 90)) if known else math.nan,
        lumps=flocs.lumps,
        texture=_texture(strip),
    )


def _thickness(layers: tuple[Layer, ...], kind: str) -> tuple[float, float]:
    """Height of all layers of a kind and its sigma, from the doubt about their lower and upper ends."""
    total, variance = 0.0, 0.0
    for below, x in zip((None, *layers), layers, strict=False):
        if x.kind == kind:
            total += x.top_fraction - x.bottom_fraction
            variance += x.top_sigma_fraction**2 + (below.top_sigma_fraction if below else 0.004) ** 2
    return total, math.sqrt(variance) if variance else 0.004


def _texture(strip: Strip) -> dict[str, float]:
    light = strip.lab[np.ix_((FRACTIONS > 0.1) & (FRACTIONS < 0.9), np.abs(ACROSS) < 0.8)][..., 0]
    levels = np.clip(light / 100 * GREY_LEVELS, 0, GREY_LEVELS - 1).astype(np.uint8)
    return texture_figures(levels)
