"""The tables of the shelf and of the tank cards; rows are added and never changed."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    ForeignKey,
    Integer,
    Table,
    UniqueConstraint,
)

from jartest.records.tables import Instant, Key, Words, WordsWithin, metadata

__all__ = ["card_lapses", "shelf_products", "tank_cards"]

# A changed product is a new revision under the same id.
shelf_products = Table(
    "shelf_products",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("at", Instant(timezone=True), nullable=False),
    Column("by", Words, nullable=False),
    Column("retired", Boolean, nullable=False),
    Column("product", WordsWithin(none_as_null=True), nullable=False),
    UniqueConstraint("id", "revision"),
    CheckConstraint("revision >= 1", name="revision"),
)

tank_cards = Table(
    "tank_cards",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False, unique=True),
    Column("test_id", Key(32), ForeignKey("tests.id"), nullable=False, index=True),
    Column("signature_id", Key(32), ForeignKey("signatures.id"), nullable=False),
    Column("at", Instant(timezone=True), nullable=False),
    Column("by", Words, nullable=False),
    Column("card", WordsWithin(none_as_null=True), nullable=False),
)

card_lapses = Table(
    "card_lapses",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False, unique=True),
    Column("card_id", Key(32), ForeignKey("tank_cards.id"), nullable=False, index=True),
    Column("at", Instant(timezone=True), nullable=False),
    Column("by", Words, nullable=False),
    Column("reasons", JSON(none_as_null=True), nullable=False),
)
