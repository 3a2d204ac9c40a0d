"""Screens and strainers of a sprayer: which would stop a lump of a given size."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from jartest.errors import BadEntry

__all__ = [
    "OPENINGS_MM",
    "POSITIONS",
    "InSprayer",
    "Stops",
    "Strainer",
    "StrainerPosition",
    "finest_mesh",
    "in_sprayer",
    "opening_mm",
    "say_strainers",
    "strainers_that_stop",
]

Stops = Literal["stops", "may stop", "passes"]

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
    """A place in the sprayer where a strainer sits, its key in the shop's file, and the mesh usual there."""

    key: str
    name: str
    coarsest_mesh: int
    finest_mesh: int


# Agrochemical and Pesticide Safety Handbook (Waxman, CRC; author from memory): usual mesh by position.
POSITIONS = (
    StrainerPosition(key="filler", name="filler opening", coarsest_mesh=12, finest_mesh=25),
    StrainerPosition(key="suction", name="suction to pump", coarsest_mesh=15, finest_mesh=40),
    StrainerPosition(key="pressure", name="pressure line to boom", coarsest_mesh=25, finest_mesh=100),
    StrainerPosition(key="nozzle", name="nozzle body", coarsest_mesh=50, finest_mesh=100),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strainer:
    """One mesh, its opening in mm, and whether a round lump of the asked size would stop at it."""

    mesh: int
    opening_mm: float
    stops: Stops


@dataclass(frozen=True, slots=True, kw_only=True)
class InSprayer:
    """One place in the sprayer: its mesh as the shop told, or the usual ones there, and whether a lump stops."""

    position: StrainerPosition
    mesh: int | None
    stops: Stops


def opening_mm(mesh: float) -> float:
    """The opening of a mesh number; between two numbers of the series, and beyond its ends, on the line through the nearest two.

    Raises
    ------
    BadEntry
        If it is no mesh of a sprayer's strainer (8 to 400).
    """
    if not (math.isfinite(mesh) and 8 <= mesh <= 400):
        msg = f"A sprayer's strainer has from 8 to 400 mesh, not {mesh:g}."
        raise BadEntry(msg)
    pairs = list(pairwise(OPENINGS_MM.items()))
    (m0, o0), (m1, o1) = next((p for p in pairs if mesh <= p[1][0]), pairs[-1])
    part = math.log(mesh / m0) / math.log(m1 / m0)
    return float(o0 * (o1 / o0) ** part)


def strainers_that_stop(diameter_mm: float, sigma_mm: float = 0.0) -> tuple[Strainer, ...]:
    """Every mesh from 16 to 200, coarsest first, with whether a lump of this diameter stops there.

    Parameters
    ----------
    diameter_mm, sigma_mm : float
        Diameter of the lump and one sigma; a soft one may be pressed through a mesh that would stop a
        hard one.  Within two sigma of the opening it may stop.

    Raises
    ------
    BadEntry
        If the diameter is not a positive length.
    """
    _check(diameter_mm)
    return tuple(
        Strainer(mesh=m, opening_mm=o, stops=_stops(diameter_mm, sigma_mm, o)) for m, o in OPENINGS_MM.items()
    )


def in_sprayer(diameter_mm: float, sigma_mm: float, fitted: Mapping[str, int]) -> tuple[InSprayer, ...]:
    """Each place in the sprayer, the filler first, and whether a lump of this diameter stops there.

    Parameters
    ----------
    fitted : mapping of str to int
        Mesh by the key of the position, 0 or missing where the shop did not tell: then a lump stops
        where it does at every usual mesh, and may stop where it does at some.
    """
    _check(diameter_mm)
    out = []
    for p in POSITIONS:
        mesh = fitted.get(p.key) or None
        meshes = (p.coarsest_mesh, p.finest_mesh) if mesh is None else (mesh, mesh)
        coarse, fine = (_stops(diameter_mm, sigma_mm, opening_mm(m)) for m in meshes)
        out.append(InSprayer(position=p, mesh=mesh, stops=coarse if coarse == fine else "may stop"))
    return tuple(out)


def finest_mesh(fitted: Mapping[str, int]) -> tuple[int, bool]:
    """The finest strainer of a sprayer, as mesh, and whether the shop told it.

    The nozzle's where told, unless another one told is finer; without it, the finest that is usual there:
    strainers grow finer towards the nozzle (common practice, no source), and what is not told may be that fine.
    """
    told = max(fitted.values(), default=0)
    if fitted.get("nozzle"):
        return told, True
    return max(told, max(p.finest_mesh for p in POSITIONS)), False


def say_strainers(diameter_mm: float, sigma_mm: float, fitted: Mapping[str, int]) -> str:
    """Where a lump of this diameter would stop: by mesh, and in the sprayer, in words."""
    stopping = [s for s in strainers_that_stop(diameter_mm, sigma_mm) if s.stops == "stops"]
    if not stopping:
        by_mesh = "No strainer of 200 mesh or coarser is sure to stop it."
    else:
        by_mesh = f"It would stop at {stopping[0].mesh} mesh ({stopping[0].opening_mm:.2g} mm) and finer."
    places = [
        f"{x.position.name} ({x.mesh} mesh) {x.stops}"
        if x.mesh
        else f"{x.position.name} (usually {x.position.coarsest_mesh} to {x.position.finest_mesh} mesh) {x.stops}"
        for x in in_sprayer(diameter_mm, sigma_mm, fitted)
    ]
    return f"{by_mesh} In the sprayer: {', '.join(places)}. A soft lump may be pressed through."


def _stops(diameter_mm: float, sigma_mm: float, opening: float) -> Stops:
    if diameter_mm - 2 * sigma_mm > opening:
        return "stops"
    return "passes" if diameter_mm + 2 * sigma_mm < opening else "may stop"


def _check(diameter_mm: float) -> None:
    if not (math.isfinite(diameter_mm) and diameter_mm > 0):
        msg = f"A lump has a diameter over 0 mm, not {diameter_mm:g} mm."
        raise BadEntry(msg)
