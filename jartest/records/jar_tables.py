"""The table of the shop's jars; rows are added and never changed."""

from __future__ import annotations

from sqlalchemy import Boolean, CheckConstraint, Column, Integer, Table, UniqueConstraint

from jartest.records.tables import Instant, Key, Words, WordsWithin, metadata

__all__ = ["jars"]

# A changed jar is a new revision under the same id.
jars = Table(
    "jars",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("at", Instant(timezone=True), nullable=False),
    Column("by", Words, nullable=False),
    Column("retired", Boolean, nullable=False),
    Column("jar", WordsWithin(none_as_null=True), nullable=False),
    UniqueConstraint("id", "revision"),
    CheckConstraint("revision >= 1", name="revision"),
)
