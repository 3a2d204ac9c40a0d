"""How large the lumps of a reading are, in mm, and how far that can be trusted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from jartest.imaging.flocs import place_px
from jartest.imaging.values import Reading
from jartest.plan.strainers import say_strainers

__all__ = ["LumpSizes", "lump_sizes", "say_lumps"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LumpSizes:
    """Median and 90th percentile of the diameters, one sigma of each, and the smallest diameter that is told."""

    count: int
    median_mm: float
    p90_mm: float
    sigma_mm: float
    smallest_mm: float


def lump_sizes(reading: Reading) -> LumpSizes | None:
    """The sizes of the lumps; None where there are none or no scale is known.

    Notes
    -----
    The sigma is that of the scale and of half a place of the grid in which lumps are sought.  A lump behind the near wall looks smaller than it is.
    """
    if reading.jar is None or math.isnan(reading.floc_diameter_p90_mm):
        return None
    place_mm = place_px(reading.jar) * reading.mm_per_px
    relative = reading.mm_per_px_sigma / reading.mm_per_px
    return LumpSizes(
        count=len(reading.lumps),
        median_mm=reading.floc_diameter_mm,
        p90_mm=reading.floc_diameter_p90_mm,
        sigma_mm=math.hypot(relative * reading.floc_diameter_p90_mm, place_mm / 2),
        smallest_mm=2 * math.sqrt(4 / math.pi) * place_mm,
    )


def say_lumps(reading: Reading, fitted: Mapping[str, int]) -> str:
    """The lumps against the sprayer's strainers, in words; nothing where there are none.

    Parameters
    ----------
    fitted : mapping of str to int
        Mesh of the sprayer's own strainers, as `plan.strainers.in_sprayer` takes them.
    """
    if not reading.lumps:
        return ""
    sizes = lump_sizes(reading)
    if sizes is None:
        return "How large the lumps are is not measurable, because no size is known: give the jar's inner diameter."
    how_many = "1 lump of" if sizes.count == 1 else f"{sizes.count} lumps; nine in ten are smaller than"
    return (
        f"{how_many} {sizes.p90_mm:.1f} ± {sizes.sigma_mm:.1f} mm, and of this size: "
        f"{say_strainers(sizes.p90_mm, sizes.sigma_mm, fitted)} Lumps smaller than {sizes.smallest_mm:.1f} mm can't be seen in "
        "this photo: pour the jar through a strainer as fine as the sprayer's."
    )
