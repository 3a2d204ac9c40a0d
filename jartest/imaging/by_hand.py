"""What a person set in a photo, as the reading takes it: surface, boundaries, names and lumps."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from jartest.errors import BadEntry
from jartest.imaging.flocs import Flocs
from jartest.imaging.layers import LINE_SIGMA, Boundary
from jartest.imaging.values import Frame, LayerKind, Lump, Marks, Reading

__all__ = ["ByHand", "add_lumps", "boundary_rows", "say_marks", "take_marks"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """The frame to read in, and what of the layers is set; None where the photo is to tell.

    `foam_top` is a fraction of the column's rows, 1 where there is no foam; `kinds` may hold None, too.
    """

    frame: Frame
    boundaries: tuple[Boundary, ...] | None = None
    kinds: tuple[LayerKind | None, ...] = ()
    foam_top: float | None = None


def take_marks(frame: Frame, marks: Marks | None) -> ByHand:
    """What is set of the layers in this frame, whose floor and surface may be found or set.

    The highest layer, where it is called foam, lies on the liquid: the surface is where it begins.  A
    highest layer above the set surface that is called anything else belongs to the liquid.

    Raises
    ------
    BadEntry
        If a boundary lies under the floor, or more than one above the surface.
    """
    if marks is None or marks.boundaries_px is None or math.isnan(frame.floor_px + frame.surface_px):
        return ByHand(frame=frame)
    lines = sorted((*marks.boundaries_px, frame.surface_px), reverse=True)  # from the floor up
    if lines[0] >= frame.floor_px:
        msg = f"A boundary at row {lines[0]:.0f} lies under the floor at {frame.floor_px:.0f}; move either."
        raise BadEntry(msg)
    above = [r for r in lines if r < frame.surface_px]
    if len(above) > 1:
        msg = "Only one boundary, the upper end of the foam, can lie above the surface; move the surface up."
        raise BadEntry(msg)
    foam = marks.foam_over(frame.surface_px)
    surface = lines[-2] if foam else lines[-1]
    high = frame.floor_px - surface
    fractions = [(frame.floor_px - r) / high for r in lines]
    inside = [f for f, r in zip(fractions, lines, strict=True) if r > surface]
    return ByHand(
        frame=frame if surface == frame.surface_px else replace(frame, surface_px=surface),
        boundaries=tuple(Boundary(fraction=f, sigma=max(1 / high, LINE_SIGMA), sure=1.0) for f in inside),
        kinds=marks.kinds or (),
        foam_top=fractions[-1] if foam else (None if marks.kinds is None else 1.0),
    )


def boundary_rows(reading: Reading) -> tuple[float, ...]:
    """The rows that, given as `Marks.boundaries_px`, make the layers of this reading again; from the floor up."""
    frame, layers = reading.jar, reading.layers
    if frame is None or not layers:
        return ()
    high = frame.floor_px - frame.surface_px
    tops = [frame.floor_px - x.top_fraction * high if math.isnan(x.top_px) else x.top_px for x in layers]
    inside = len([x for x in layers if x.kind != "foam"])
    return tuple(tops[: inside - 1] + tops[inside:])


def add_lumps(flocs: Flocs, marks: Marks | None, area_px: float) -> Flocs:
    """The lumps with those that a person marked; a found one under a marked one is that one.

    Parameters
    ----------
    area_px : float
        Area of the contents in which lumps are told, in square pixels.

    Returns
    -------
    Flocs
        The index as it was: it ranks pictures, and a mark is no picture.  The cover counts the marked
        lumps too; where nothing could be told of the contents, they alone.
    """
    marked = () if marks is None else marks.lumps
    if not marked:
        return flocs
    kept = tuple(x for x in flocs.lumps if not any(_same(x, m) for m in marked))
    gone = sum(_area(x) for x in flocs.lumps) - sum(_area(x) for x in kept)
    cover = 0.0 if math.isnan(flocs.area_fraction) else flocs.area_fraction
    cover += (sum(_area(m) for m in marked) - gone) / area_px
    return Flocs(index=flocs.index, lumps=(*kept, *marked), area_fraction=min(1.0, max(0.0, cover)))


def _area(lump: Lump) -> float:
    return math.pi / 4 * lump.diameter_px**2


def _same(found: Lump, marked: Lump) -> bool:
    apart = math.hypot(found.row_px - marked.row_px, found.col_px - marked.col_px)
    return apart < (found.diameter_px + marked.diameter_px) / 2


def say_marks(marks: Marks) -> str:
    """What a person set, in words: `lines, 2 boundaries, 1 name, 3 lumps`."""
    lines = (marks.left_px, marks.right_px, marks.floor_px, marks.surface_px)
    named = sum(k is not None for k in marks.kinds or ())
    said = [] if all(math.isnan(v) for v in lines) else ["lines"]
    if marks.boundaries_px is not None:
        said.append(_count(len(marks.boundaries_px), "boundary", "boundaries"))
    said += [_count(named, "name", "names")] if named else []
    said += [_count(len(marks.lumps), "lump", "lumps")] if marks.lumps else []
    return ", ".join(said) or "nothing"


def _count(n: int, one: str, many: str) -> str:
    return f"{n or 'no'} {one if n == 1 else many}"
