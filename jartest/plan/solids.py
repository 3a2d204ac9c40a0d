"""How much of a mixture could settle: the range of the bed if all of it fell out, from grams and formulation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from jartest.plan.formulations import FORMULATIONS
from jartest.plan.marks import Tag

__all__ = ["PACKING", "InJar", "PossibleBed", "possible_bed"]

# Share of a fresh, loose bed that is solid, lowest and highest, by volume: common practice, no source.
PACKING = (0.15, 0.30)

# What lies between the lightest and the heaviest solids of a powder or granule, g/mL: organic actives from 1.3
# (common practice, no source) to kaolin and quartz 2.6 to 2.7 (CRC Handbook of Chemistry and Physics, value
# from memory).
_POWDER_G_ML = (1.3, 2.7)
# Of what a label names, g/mL: sulfur 2.07, copper hydroxide 3.4 and cuprous oxide 6.0 (CRC Handbook, values
# from memory), each with room for the filler.
_NAMED_G_ML: dict[Tag, tuple[float, float]] = {"sulphur": (1.8, 2.7), "copper": (2.0, 6.0)}
# Solids in a suspension, g in a mL of product: 200 to 600 g/L of active, common practice, no source.
_IN_SUSPENSION = (0.2, 0.6)
# A suspension weighed instead of measured, g/mL of product: common practice, no source.
_SUSPENSION_G_ML = (1.0, 1.3)

# By the code whose place a formulation takes in the order.
_POWDERS = frozenset({"WP", "WG", "SB"})
_SUSPENSIONS = frozenset({"SC", "CS", "SE", "OD"})
_DISSOLVES = frozenset({"SP", "SG", "SL", "EC", "EW", "ME", "AMS", "NIS", "COC", "MSO", "UAN", "ATS"})
# Kinds of product that are liquids without solids, where no formulation is written.
_CLEAR_KINDS = frozenset({"surfactant", "oil adjuvant", "defoamer"})


@dataclass(frozen=True, slots=True, kw_only=True)
class InJar:
    """One product as it goes into a jar: formulation code, what else is known of it, and its mL or g."""

    name: str
    formulation: str = ""
    kind: str = ""
    contains: tuple[Tag, ...] = ()
    ml: float | None = None
    g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PossibleBed:
    """The bed if all that could settle did, as fractions of the liquid's height, and of what it is made.

    `of` names the products counted, `not_told` those of which nothing can be said.  With nothing counted
    and something not told, the bed is not known.
    """

    low_fraction: float = 0.0
    high_fraction: float = 0.0
    of: tuple[str, ...] = field(default=())
    not_told: tuple[str, ...] = field(default=())

    @property
    def known(self) -> bool:
        """Whether there is a range to judge by: something that settles was counted."""
        return self.low_fraction > 0

    def says(self) -> str:
        """What could settle, in one sentence."""
        missing = f" ({', '.join(self.not_told)} not counted: amount or formulation is not known)"
        if self.known:
            return (
                f"All of {' and '.join(self.of)} fallen out would be a bed of {100 * self.low_fraction:.2g} to "
                f"{100 * self.high_fraction:.2g} % of the height{missing if self.not_told else ''}."
            )
        if self.not_told:
            return (
                f"How much could settle is not known (no amount or formulation of {', '.join(self.not_told)}), "
                "so the plain limits stand."
            )
        return "Nothing in this mixture settles by itself, so the plain limits stand."


def possible_bed(
    products: Sequence[InJar], jar_ml: float, packing: tuple[float, float] = PACKING
) -> PossibleBed:
    """The bed that these products could make in a jar of `jar_ml`, from the least to the most.

    Parameters
    ----------
    products : sequence of InJar
        What goes in, with amounts in mL or g.
    jar_ml : float
        The filled jar, mL.
    packing : (float, float)
        Share of a loose bed that is solid, lowest and highest, by volume.

    Notes
    -----
    Mass of solids / (their density x packing) / volume of the jar.  The least bed has the heaviest solids
    packed densest; the most has the lightest, packed loosest.  A wettable powder or granule is counted
    whole: the few percent of soluble aids in it are less than the doubt of the density.  In a jar that is no
    cylinder, volume and height part; that is not corrected.
    """
    low = high = 0.0
    counted, unknown = [], []
    for p in products:
        grams = _solids_g(p)
        if grams is None:
            unknown.append(p.name)
        elif grams[1] > 0:
            light, heavy = next((d for t, d in _NAMED_G_ML.items() if t in p.contains), _POWDER_G_ML)
            low += grams[0] / (heavy * packing[1]) / jar_ml
            high += grams[1] / (light * packing[0]) / jar_ml
            counted.append(p.name)
    return PossibleBed(
        low_fraction=min(low, 1.0), high_fraction=min(high, 1.0), of=tuple(counted), not_told=tuple(unknown)
    )


def _solids_g(p: InJar) -> tuple[float, float] | None:
    """The solids of one product in g, least and most; None where they cannot be told."""
    known = FORMULATIONS.get(p.formulation.strip().upper())
    code = known.goes_as if known else ""
    if code in _DISSOLVES or (not code and p.kind in _CLEAR_KINDS):
        return 0.0, 0.0
    if code in _POWDERS and p.g is not None:
        return p.g, p.g
    if code in _SUSPENSIONS and p.ml is not None:
        return p.ml * _IN_SUSPENSION[0], p.ml * _IN_SUSPENSION[1]
    if code in _SUSPENSIONS and p.g is not None:
        return p.g / _SUSPENSION_G_ML[1] * _IN_SUSPENSION[0], p.g / _SUSPENSION_G_ML[0] * _IN_SUSPENSION[1]
    return None
