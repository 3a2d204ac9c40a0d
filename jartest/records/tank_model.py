"""What is kept of the way from the tank to the jar and back: shelf, tank cards, and why a card lapsed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from jartest.plan.products import ShelfProduct
from jartest.plan.tankcard import TankCard

__all__ = ["CardLapse", "KeptCard", "ShelfEntry"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfEntry:
    """A product on the shelf as somebody last wrote it; a retired one is kept and no longer offered."""

    id: str
    revision: int
    at: datetime
    by: str
    product: ShelfProduct
    retired: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLapse:
    """Somebody saw that a card no longer holds, and why; it does not come back to life."""

    id: str
    card_id: str
    at: datetime
    by: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCard:
    """A tank card as it was made, the signature it rests on, and what ended it since."""

    id: str
    test_id: str
    signature_id: str
    at: datetime
    by: str
    card: TankCard
    lapses: tuple[CardLapse, ...] = ()
