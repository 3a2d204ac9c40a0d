"""One earlier test as evidence: what went in, in which order, in which water, and how it ended."""

from __future__ import annotations

from dataclasses import dataclass

from jartest.errors import BadEntry
from jartest.records.model import Remix
from jartest.verdict.values import Word

__all__ = ["Trial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A test that counts: its products in the order they went in, and its standing word.

    Products are named as people say them, `Name (Maker)`.  `first_sign_after` is the position (from 1)
    of the product after which something was first seen, None where nobody noted it.

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

    def __post_init__(self) -> None:
        if len(set(self.products)) != len(self.products):
            msg = f"Test {self.number} names a product twice; count it once."
            raise BadEntry(msg)
        k = self.first_sign_after
        if k is not None and not 1 <= k <= len(self.products):
            msg = f"Test {self.number} has {len(self.products)} products, and a first sign after number {k}."
            raise BadEntry(msg)
