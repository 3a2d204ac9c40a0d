"""The tables of parcels, with their bytes, and of second opinions."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Table,
    UniqueConstraint,
)

from jartest.records.model import ParcelDirection, ParcelKind
from jartest.records.tables import Instant, Key, Words, WordsWithin, metadata, one_of
from jartest.verdict.values import Word

__all__ = ["answer_signatures", "known_keys", "parcels", "second_opinions", "sent_questions"]


def _words(name: str) -> Column[str]:
    return Column(name, Words, nullable=False)


# A question's `question_id` is its own id, so that a question and its answers are found by one column.
parcels = Table(
    "parcels",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False),
    Column("direction", Key(16), nullable=False),
    Column("kind", Key(16), nullable=False),
    Column("question_id", Key(32), ForeignKey("parcels.id"), nullable=False),
    Column("test_id", Key(32), ForeignKey("tests.id")),
    _words("title"),
    _words("by"),
    _words("asked_of"),
    _words("words"),
    Column("made_at", Instant(timezone=True), nullable=False),
    Column("kept_at", Instant(timezone=True), nullable=False),
    Column("sha256", Key(64), nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("content", LargeBinary, nullable=False),
    UniqueConstraint("id"),
    one_of("direction", ParcelDirection),
    one_of("kind", ParcelKind),
    Index(None, "question_id"),
    Index(None, "test_id"),
)

second_opinions = Table(
    "second_opinions",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Key(32), nullable=False),
    Column("question_id", Key(32), ForeignKey("parcels.id"), nullable=False),
    Column("test_id", Key(32), ForeignKey("tests.id")),
    Column("at", Instant(timezone=True), nullable=False),
    _words("by"),
    Column("word", Key(8), nullable=False),
    _words("reason"),
    Column("saw_machine", Boolean, nullable=False),
    Column("marks", WordsWithin(none_as_null=True), nullable=False),
    Column("answer_id", Key(32), ForeignKey("parcels.id")),
    _words("changed_since"),
    UniqueConstraint("id"),
    one_of("word", Word),
    Index(None, "question_id"),
    Index(None, "test_id", "at"),
)

# The question's file as it left the house: without what anybody here thinks, so other bytes than those in `parcels`.
sent_questions = Table(
    "sent_questions",
    metadata,
    Column("question_id", Key(32), ForeignKey("parcels.id"), primary_key=True),
    Column("sha256", Key(64), nullable=False),
    Column("content", LargeBinary, nullable=False),
)

# Public keys of those whose answers are known by their signature.
known_keys = Table(
    "known_keys",
    metadata,
    Column("key", Key(43), primary_key=True),
    _words("name"),
    Column("of_shop", Boolean, nullable=False),
    Column("at", Instant(timezone=True), nullable=False),
    _words("by"),
)

# Signatures that held when their answer came in, whether or not anybody knew the key by then.
answer_signatures = Table(
    "answer_signatures",
    metadata,
    Column("answer_id", Key(32), ForeignKey("parcels.id"), primary_key=True),
    Column("key", Key(43), primary_key=True),
    Column("signature", Key(86), nullable=False),
)
