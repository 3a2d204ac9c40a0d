"""Tables that only sum up what the records say, so that questions across many tests stay quick.

They are kept up in the transaction that keeps the record, hold nothing that the records do not, and can
be made again from them.  A test counts from its signature on, with the word that stands under it.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Table,
    UniqueConstraint,
)

from jartest.records.model import Remix
from jartest.records.tables import Instant, Key, SearchWords, metadata, one_of
from jartest.verdict.values import Word

__all__ = ["fitted_models", "outcome_products", "outcomes", "pair_counts", "shelf", "word_tests", "words"]

# Every product that a counted test held: known by its name and maker, whatever their capitals.
shelf = Table(
    "shelf",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("name_key", SearchWords, nullable=False),
    Column("maker_key", SearchWords, nullable=False),
    Column("name", SearchWords, nullable=False),
    Column("maker", SearchWords, nullable=False),
    UniqueConstraint("name_key", "maker_key"),
)

# How each signed test ended; `reader` gave the word, nothing for the machine.  `mixture` is its product ids in ascending order, such as `3-17-22`.
outcomes = Table(
    "outcomes",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("test_id", Key(32), ForeignKey("tests.id"), nullable=False, unique=True),
    Column("mixture", SearchWords, nullable=False),
    Column("word", Key(8), nullable=False),
    Column("sample", Boolean, nullable=False),
    Column("signed_at", Instant(timezone=True), nullable=False),
    Column("signed_by", SearchWords, nullable=False),
    Column("size", Integer, nullable=False),
    Column("water_source", SearchWords, nullable=False),
    Column("water_hardness_mg_l", Double),
    Column("first_sign_after", Integer),
    Column("remix", Key(16), nullable=False),
    Column("reader", SearchWords),
    Column("water_ph", Double),
    Column("water_temperature_c", Double),
    Column("score", Double),
    one_of("word", Word),
    one_of("remix", Remix),
    Index(None, "mixture", "number"),
)

# What was in it, in the order it went in; `dose` in mL or g per liter of the jar.
outcome_products = Table(
    "outcome_products",
    metadata,
    Column("number", Integer, ForeignKey("outcomes.number"), primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("product_id", Integer, ForeignKey("shelf.id"), nullable=False),
    Column("dose", Double),
    Column("lot", SearchWords),
    Index(None, "product_id", "number", "position"),
    sqlite_with_rowid=False,
)

# What is known of each pair, first_id < second_id.  `failed_alone`: failures of jars with nothing else.
# The ratio is dose of the first over dose of the second, in jars that passed; hardness in all jars.
pair_counts = Table(
    "pair_counts",
    metadata,
    Column("first_id", Integer, ForeignKey("shelf.id"), primary_key=True, autoincrement=False),
    Column("second_id", Integer, ForeignKey("shelf.id"), primary_key=True, autoincrement=False),
    Column("sample", Boolean, primary_key=True),
    Column("passed", Integer, nullable=False),
    Column("watched", Integer, nullable=False),
    Column("failed", Integer, nullable=False),
    Column("failed_alone", Integer, nullable=False),
    Column("last_at", Instant(timezone=True), nullable=False),
    Column("ratio_low", Double),
    Column("ratio_high", Double),
    Column("hardness_low", Double),
    Column("hardness_high", Double),
    CheckConstraint("first_id < second_id", name="in_order"),
    sqlite_with_rowid=False,
)

# The evidence model as it was last made of these tests, told apart by `fingerprint`; `lease` and `leased_at`
# say which process is making it anew.
fitted_models = Table(
    "fitted_models",
    metadata,
    Column("sample", Boolean, primary_key=True),
    Column("fingerprint", SearchWords, nullable=False),
    Column("tests", Integer, nullable=False),
    Column("made_at", Instant(timezone=True)),
    Column("lease", Key(32), nullable=False),
    Column("leased_at", Instant(timezone=True)),
    Column("body", LargeBinary, nullable=False),
)

# Every word that stands in `search_texts`, once, and the tests that hold it.
words = Table(
    "words",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("word", SearchWords, nullable=False, unique=True),
)
word_tests = Table(
    "word_tests",
    metadata,
    Column("word_id", Integer, ForeignKey("words.id"), primary_key=True, autoincrement=False),
    Column("number", Integer, ForeignKey("tests.number"), primary_key=True, autoincrement=False),
    sqlite_with_rowid=False,
)
