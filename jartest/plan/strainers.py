"""Screens and strainers of a sprayer: which would stop a lump of a given size."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jartest.errors import BadEntry

__all__ = ["OPENINGS_MM", "POSITIONS", "Strainer", "StrainerPosition", "strainers_that_stop"]

# US standard sieve numbers and their openings: Das, Fundamentals of Geotechnical Engineering, Table 2.3
# (the ASTM E11 series; second hand), 170 after current ASTM E11 and ISO 3310-1 (value from memory).
# A sprayer's "mesh" counts wires of its own make, so an opening is near these, not equal.
OPENINGS_MM = {
    16: 1.18,
    20: 0.850,
    30: 0.600,
    40: 0.425,
    50: 0.300,
    60: 0.250,
    80: 0.180,
    100: 0.150,
    140: 0.106,
    170: 0.090,
    200: 0.075,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StrainerPosition:
    """A place in the sprayer where a strainer sits, and the mesh usual there (coarsest, finest)."""

    name: str
    coarsest_mesh: int
    finest_mesh: int


# Agrochemical and Pesticide Safety Handbook (Waxman, CRC; author from memory): usual mesh by position.
POSITIONS = (
    StrainerPosition(name="filler opening", coarsest_mesh=12, finest_mesh=25),
    StrainerPosition(name="suction to pump", coarsest_mesh=15, finest_mesh=40),
    StrainerPosition(name="pressure line to boom", coarsest_mesh=25, finest_mesh=100),
    StrainerPosition(name="nozzle body", coarsest_mesh=50, finest_mesh=100),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strainer:
    """One mesh, its opening in mm, and whether a round lump of the asked size would stop at it."""

    mesh: int
    opening_mm: float
    stops: bool


def strainers_that_stop(diameter_mm: float) -> tuple[Strainer, ...]:
    """Every mesh from 16 to 200, coarsest first, with whether a lump of this diameter stops there.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the lump; a soft one may be pressed through a mesh that would stop a hard one.

    Raises
    ------
    BadEntry
        If the diameter is not a positive length.
    """
    if not (math.isfinite(diameter_mm) and diameter_mm > 0):
        msg = f"A lump has a diameter over 0 mm, not {diameter_mm:g} mm."
        raise BadEntry(msg)
    return tuple(Strainer(mesh=m, opening_mm=o, stops=diameter_mm > o) for m, o in OPENINGS_MM.items())
