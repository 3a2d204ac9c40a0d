"""The signs a person can tick, and what each leads to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["SIGNS", "Sign", "sign"]

Weight = Literal["fails", "by re-mixing", "by straining", "watch", "good"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One sign: its name in the records, what stands beside the tick box, how it weighs, and the ground.

    `fails`: fails whatever the photo says.  `by re-mixing`: a watch when it re-mixes on inversion, a fail
    when it does not, and no verdict before that was tried.  `by straining`: a fail until it pours clean
    through a strainer as fine as the sprayer's, then a watch.  `watch`: a watch.  `good`: no fault.
    `score` is what it gives a jar by itself, 0 to 100; `score_failed` where it re-mixes or strains badly.
    """

    name: str
    says: str
    weight: Weight
    source: str
    score: int
    score_failed: int = 0


# Signs and what they mean: University of Arizona 1999 (flakes, sludge, gels, separation layers, oil
# particles); Utah State University Extension 2012 (layers, clumpy, grainy, foamy, warm or hot);
# University of Arizona 2022 (heat, gas, precipitate).  How each is weighed against re-mixing: ASTM
# E1518 (what neither re-disperses nor passes the sieve is incompatible), as summarised by a test laboratory.
# The scores are our choice, held against forty jars in tests/verdict/forty_cases.toml.
SIGNS = (
    Sign(name="smooth", says="Smooth, nothing seen", weight="good", source="Utah State 2012", score=100),
    Sign(name="gel", says="Gel, jelly or slimy strings", weight="fails", source="Arizona 1999", score=0),
    Sign(name="curds", says="Curdled", weight="fails", source="ASTM E1518 (second hand)", score=0),
    Sign(
        name="heat",
        says="Jar turned warm or hot",
        weight="fails",
        source="Utah State 2012; Arizona 2022",
        score=0,
    ),
    Sign(name="gas", says="Gas, fizzing or pressure", weight="fails", source="Arizona 2022", score=0),
    Sign(
        name="lumps",
        says="Lumps or flakes",
        weight="by straining",
        source="Arizona 1999",
        score=45,
        score_failed=15,
    ),
    Sign(
        name="grainy",
        says="Grainy or sandy",
        weight="by straining",
        source="Utah State 2012",
        score=45,
        score_failed=15,
    ),
    Sign(
        name="settled",
        says="Solids on the bottom",
        weight="by re-mixing",
        source="Michigan State",
        score=50,
        score_failed=15,
    ),
    Sign(
        name="layers",
        says="Layers",
        weight="by re-mixing",
        source="Arizona 1999; Utah State 2012",
        score=50,
        score_failed=15,
    ),
    Sign(
        name="oil",
        says="Oil or cream on top",
        weight="by re-mixing",
        source="Arizona 1999",
        score=50,
        score_failed=15,
    ),
    Sign(name="foam", says="Foam that stays", weight="watch", source="Utah State 2012", score=55),
    Sign(name="colour", says="Color changed", weight="watch", source="common practice, no source", score=50),
)


def sign(name: str) -> Sign | None:
    """The sign of that name, or None."""
    return next((s for s in SIGNS if s.name == name), None)
