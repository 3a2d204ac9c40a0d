"""What cautions are about and what they say: products with amounts, pairs that failed before, a caution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from jartest.plan.products import ShelfProduct

__all__ = ["Caution", "FailedPair", "Level", "MixItem"]

Level = Literal["stop", "warning", "note"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixItem:
    """A product with its amount in the jar, mL or g; both None where no amount was written."""

    product: ShelfProduct
    ml: float | None = None
    g: float | None = None

    @property
    def grams(self) -> float:
        """Its weight; NaN where neither it nor a density is known."""
        if self.g is not None:
            return self.g
        density = self.product.density_g_ml
        return self.ml * density if self.ml is not None and density is not None else math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedPair:
    """Two products, by `ShelfProduct.key`, that failed together in this shop before, and where that is kept."""

    first: tuple[str, str]
    second: tuple[str, str]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One thing to know; `stop` is what a label forbids, or what gives off a gas that kills.  `ratio` is how far over saturation, where reckoned."""

    level: Level
    rule: str
    products: tuple[str, ...]
    says: str
    source: str
    ratio: float | None = None
