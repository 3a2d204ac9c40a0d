"""The signs a person can tick, and what each leads to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["SIGNS", "Sign", "sign"]

Weight = Literal["fails", "by re-mixing", "watch", "good"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One sign: its name in the records, what stands beside the tick box, how it weighs, and the ground.

    `fails`: fails whatever the photo says.  `by re-mixing`: a watch when it re-mixes on inversion or
    that was not tried, a fail when it does not.  `watch`: a watch.  `good`: no fault.
    """

    name: str
    says: str
    weight: Weight
    source: str


# Signs and what they mean: University of Arizona 1999 (flakes, sludge, gels, separation layers, oil
# particles); Utah State University Extension 2012 (layers, clumpy, grainy, foamy, warm or hot);
# University of Arizona 2022 (heat, gas, precipitate).  How each is weighed against re-mixing: ASTM
# E1518 (what neither re-disperses nor passes the sieve is incompatible), as summarised by a test laboratory.
SIGNS = (
    Sign(name="smooth", says="Smooth, nothing seen", weight="good", source="Utah State 2012"),
    Sign(name="gel", says="Gel, jelly or slimy strings", weight="fails", source="Arizona 1999"),
    Sign(name="curds", says="Curdled", weight="fails", source="ASTM E1518 (second hand)"),
    Sign(name="heat", says="Jar turned warm or hot", weight="fails", source="Utah State 2012; Arizona 2022"),
    Sign(name="gas", says="Gas, fizzing or pressure", weight="fails", source="Arizona 2022"),
    Sign(name="lumps", says="Lumps or flakes", weight="by re-mixing", source="Arizona 1999"),
    Sign(name="grainy", says="Grainy or sandy", weight="by re-mixing", source="Utah State 2012"),
    Sign(name="settled", says="Solids on the bottom", weight="by re-mixing", source="Michigan State"),
    Sign(name="layers", says="Layers", weight="by re-mixing", source="Arizona 1999; Utah State 2012"),
    Sign(name="oil", says="Oil or cream on top", weight="by re-mixing", source="Arizona 1999"),
    Sign(name="foam", says="Foam that stays", weight="watch", source="Utah State 2012"),
    Sign(name="colour", says="Colour changed", weight="watch", source="common practice, no source"),
)


def sign(name: str) -> Sign | None:
    """The sign of that name, or None."""
    return next((s for s in SIGNS if s.name == name), None)
