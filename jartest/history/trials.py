"""One earlier test as evidence: what went in, in which order, in which water, and how it ended."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jartest.errors import BadEntry
from jartest.records.grounds import Ground
from jartest.records.model import Remix
from jartest.verdict.values import Word

__all__ = ["MACHINE", "Trial"]

MACHINE = "machine"  # the reader of a test that was signed under the machine's own word


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A test that counts: its products in the order they went in, its water, and its standing word.

    Products are named as people say them, `Name (Maker)`.  `doses` (mL or g per liter of the jar) and
    `lots` stand in the order of the products, or are empty; a dose or a figure of the water that nobody
    wrote is NaN.  `season` is the year, 0 where it is not known.  `reader` gave the word.  `score` runs
    from 0 to 100, NaN where there is none.  `first_sign_after` is the position (from 1) of the product
    after which something was first seen, None where nobody noted it.  `ground` is what a pass rests on.

    Raises
    ------
    BadEntry
        If a product stands in it twice, or the first sign came after a product that it does not have.
    """

    number: int
    products: tuple[str, ...]
    word: Word
    water: str = ""
    first_sign_after: int | None = None
    remix: Remix = "not tried"
    doses: tuple[float, ...] = ()
    lots: tuple[str, ...] = ()
    hardness_mg_l: float = math.nan
    ph: float = math.nan
    temperature_c: float = math.nan
    season: int = 0
    reader: str = ""
    score: float = math.nan
    ground: Ground = "measured"

    def __post_init__(self) -> None:
        if len(set(self.products)) != len(self.products):
            msg = f"Test {self.number} names a product twice; count it once."
            raise BadEntry(msg)
        k = self.first_sign_after
        if k is not None and not 1 <= k <= len(self.products):
            msg = f"Test {self.number} has {len(self.products)} products, and a first sign after number {k}."
            raise BadEntry(msg)
        for name, found in (("doses", self.doses), ("lots", self.lots)):
            if found and len(found) != len(self.products):
                msg = f"Test {self.number} has {len(self.products)} products and {len(found)} {name}."
                raise BadEntry(msg)

    def dose_of(self, product: str) -> float:
        """The dose of a product that stands in it; NaN where nobody wrote it."""
        return self.doses[self.products.index(product)] if self.doses else math.nan

    def lot_of(self, product: str) -> str:
        """The lot of a product that stands in it; nothing where nobody wrote it."""
        return self.lots[self.products.index(product)] if self.lots else ""
