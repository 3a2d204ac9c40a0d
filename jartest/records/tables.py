"""The tables of the record store, under the names of the data contract.

Rows are added and never changed, but for two things that are no record: `search_texts`, which can be
made again from the rest, and the counter of test numbers.  `seq` is the order in which rows came in and
settles which of two rows of the same instant is the later one.  Nothing is deleted by a cascade.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any, get_args

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

from jartest.errors import BadEntry
from jartest.records.model import Bottom, EventKind, ReadingOrigin, Remix, Runs, ScreenPour
from jartest.records.plain_words import keepable, plain_words, plain_words_in
from jartest.verdict.values import BANDS, Word

__all__ = [
    "FIGURES",
    "FRAME",
    "Figure",
    "Instant",
    "Key",
    "SearchWords",
    "Words",
    "WordsWithin",
    "metadata",
    "one_of",
]


class Words(TypeDecorator[str]):
    """Text as typed; what `plain_words` refuses is refused in its words."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """The text, once it is known to be words and nothing else."""
        return None if value is None else plain_words(value)


class Key(TypeDecorator[str]):
    """An id, a digest or a word from a closed list: text of at most a known length."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """The key, once it is known that every database can be asked for it."""
        return None if value is None else keepable(value)


class SearchWords(TypeDecorator[str]):
    """Text made of kept words to find them by: put in small letters, joined, or cut."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """The text, once it is known that every database can be asked for it."""
        return None if value is None else keepable(value)


class WordsWithin(TypeDecorator[Any]):
    """Values as JSON, with texts of people's in them, each of which is words and nothing else."""

    impl = JSON
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:
        """The value, once that is known."""
        plain_words_in(value)
        return value


class Instant(TypeDecorator[datetime]):
    """An aware time, kept as UTC; a naive one is refused, because nobody could say when it was."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The time in UTC, without its zone on SQLite, which would drop it unasked."""
        if value is None:
            return None
        if value.utcoffset() is None:
            msg = f"The time {value.isoformat()} names no time zone; give it one."
            raise BadEntry(msg)
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The time, aware, in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Figure(TypeDecorator[float]):
    """A measured figure: not measurable is NaN here and NULL in the database."""

    impl = Double
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        """None for NaN."""
        return None if value is None or math.isnan(value) else float(value)

    def process_result_value(self, value: float | None, dialect: Dialect) -> float:
        """NaN for NULL."""
        return math.nan if value is None else value


# The columns that hold `Reading.jar`; `jar_framed` tells a frame of NaNs from none.
FRAME = (
    "left_px",
    "right_px",
    "floor_px",
    "surface_px",
    "tilt_deg",
    "floor_sigma_px",
    "surface_sigma_px",
    "confidence",
)
# The columns that hold the figures of a `Reading`.
FIGURES = (
    "mm_per_px",
    "mm_per_px_sigma",
    "settled_fraction",
    "settled_sigma_fraction",
    "clear_fraction",
    "clear_sigma_fraction",
    "top_layer_fraction",
    "top_layer_sigma_fraction",
    "foam_fraction",
    "foam_sigma_fraction",
    "floc_index",
    "floc_count",
    "floc_area_fraction",
    "floc_diameter_mm",
    "floc_diameter_p90_mm",
)

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)
_JSON = JSON(none_as_null=True)


def _timestamp() -> Instant:
    return Instant(timezone=True)


def _id(name: str = "id", *, nullable: bool = False) -> Column[str]:
    return Column(name, Key(32), nullable=nullable)


def _seq() -> Column[int]:
    return Column("seq", Integer, primary_key=True, autoincrement=True)


def _words(name: str) -> Column[str]:
    return Column(name, Words, nullable=False)


def _test_id() -> Column[str]:
    return Column("test_id", Key(32), ForeignKey("tests.id"), nullable=False)


def _at(name: str = "at", *, nullable: bool = False) -> Column[datetime]:
    return Column(name, _timestamp(), nullable=nullable)


def _limits_sha256() -> Column[str]:
    return Column("limits_sha256", Key(64), ForeignKey("limits.sha256"), nullable=False)


def one_of(column: str, literal: Any) -> CheckConstraint:
    """The rule that a column holds one of the words of this closed list."""
    words = ", ".join(f"'{w}'" for w in get_args(literal))
    return CheckConstraint(f"{column} IN ({words})", name=column)


def _score_of_word() -> CheckConstraint:
    """The rule that a score lies in the band of its verdict's word."""
    bands = [f"(verdict = '{w}' AND score BETWEEN {low} AND {high})" for w, (low, high) in BANDS.items()]
    return CheckConstraint(f"score IS NULL OR {' OR '.join(bands)}", name="score")


counters = Table(
    "counters",
    metadata,
    Column("name", Key(32), primary_key=True),
    Column("value", Integer, nullable=False),
)

tests = Table(
    "tests",
    metadata,
    Column("id", Key(32), primary_key=True),
    Column("number", Integer, nullable=False, unique=True),
    _at("opened_at"),
    _words("opened_by"),
    Column("utc_offset_min", Integer, nullable=False),
    Column("sample", Boolean, nullable=False),
)

revisions = Table(
    "revisions",
    metadata,
    Column("test_id", Key(32), ForeignKey("tests.id"), primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    _at("revised_at"),
    _words("revised_by"),
    _words("title"),
    _words("notes"),
    _words("water_source"),
    Column("water_hardness_mg_l", Double),
    Column("water_ph", Double),
    Column("water_temperature_c", Double),
    Column("water_mix_ph", Double),
    _words("jar_name"),
    Column("jar_volume_ml", Double, nullable=False),
    Column("jar_inner_diameter_mm", Double),
    Column("schedule", _JSON, nullable=False),
    Column("recipe", WordsWithin(none_as_null=True)),
    CheckConstraint("revision >= 1", name="revision"),
)

products = Table(
    "products",
    metadata,
    _seq(),
    _id("test_id"),
    Column("revision", Integer, nullable=False),
    Column("position", Integer, nullable=False),
    _words("name"),
    _words("maker"),
    _words("formulation"),
    _words("lot"),
    _words("amount_text"),
    Column("amount_ml", Double),
    Column("amount_g", Double),
    UniqueConstraint("test_id", "revision", "position"),
    ForeignKeyConstraint(["test_id", "revision"], ["revisions.test_id", "revisions.revision"]),
    CheckConstraint("position >= 1", name="position"),
    CheckConstraint("amount_ml IS NULL OR amount_g IS NULL", name="one_amount"),
    Index(None, "name", "maker", "formulation", "seq"),
)

events = Table(
    "events",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _at(),
    _words("by"),
    Column("kind", Key(16), nullable=False),
    Column("position", Integer),
    _words("note"),
    UniqueConstraint("id"),
    one_of("kind", EventKind),
    Index(None, "test_id", "at"),
)

photos = Table(
    "photos",
    metadata,
    Column("sha256", Key(64), primary_key=True),
    Column("size_bytes", BigInteger, nullable=False),
    _words("media_type"),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
)

looks = Table(
    "looks",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _words("slot"),
    _at("taken_at"),
    _at("received_at"),
    _words("by"),
    Column("photo_sha256", Key(64), ForeignKey("photos.sha256"), nullable=False, index=True),
    _words("original_name"),
    _at("exif_taken_at", nullable=True),
    _at("photo_received_at"),
    _words("photo_received_by"),
    _words("note"),
    UniqueConstraint("id"),
    UniqueConstraint("test_id", "id"),
    UniqueConstraint("test_id", "slot", "photo_sha256"),
    Index(None, "test_id", "taken_at"),
)

readings = Table(
    "readings",
    metadata,
    _seq(),
    _id(),
    Column("look_id", Key(32), ForeignKey("looks.id"), nullable=False),
    _at(),
    _words("by"),
    Column("origin", Key(16), nullable=False),
    Column("found", _JSON),
    Column("marks", _JSON),
    Column("photo_sha256", Key(64), ForeignKey("photos.sha256"), nullable=False),
    _words("method"),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
    Column("jar_found", Boolean, nullable=False),
    Column("flags", _JSON, nullable=False),
    Column("jar_framed", Boolean, nullable=False),
    *(Column(name, Figure) for name in FRAME),
    Column("jar_proposed", _JSON),
    Column("reading_marks", _JSON),
    Column("withheld", _JSON),
    *(Column(name, Figure) for name in FIGURES),
    Column("layers", _JSON, nullable=False),
    Column("lumps", _JSON, nullable=False),
    Column("texture", _JSON, nullable=False),
    Column("verdict", Key(8)),
    Column("score", Integer),
    Column("reasons", _JSON, nullable=False),
    _limits_sha256(),
    UniqueConstraint("id"),
    one_of("origin", ReadingOrigin),
    one_of("verdict", Word),
    _score_of_word(),
    Index(None, "look_id", "at"),
)

observations = Table(
    "observations",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _id("look_id", nullable=True),
    _at(),
    _words("by"),
    Column("signs", _JSON, nullable=False),
    Column("remix", Key(16), nullable=False),
    Column("screen_pour", Key(16), nullable=False),
    Column("screen_mesh", Integer),
    Column("runs", Key(16), nullable=False),
    Column("bottom", Key(16), nullable=False),
    _words("text"),
    _id("replaces", nullable=True),
    UniqueConstraint("id"),
    UniqueConstraint("test_id", "id"),
    ForeignKeyConstraint(["test_id", "look_id"], ["looks.test_id", "looks.id"]),
    ForeignKeyConstraint(["test_id", "replaces"], ["observations.test_id", "observations.id"]),
    one_of("remix", Remix),
    one_of("screen_pour", ScreenPour),
    one_of("runs", Runs),
    one_of("bottom", Bottom),
    Index(None, "test_id", "at"),
)

limits = Table(
    "limits",
    metadata,
    Column("sha256", Key(64), primary_key=True),
    _words("text"),
)

verdicts = Table(
    "verdicts",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _at(),
    Column("verdict", Key(8)),
    Column("score", Integer),
    Column("age_s", Double),
    Column("reasons", _JSON, nullable=False),
    _limits_sha256(),
    UniqueConstraint("id"),
    UniqueConstraint("test_id", "id"),
    one_of("verdict", Word),
    _score_of_word(),
    Index(None, "test_id", "at"),
)

opinions = Table(
    "opinions",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _at(),
    _words("by"),
    Column("word", Key(8), nullable=False),
    _words("reason"),
    Column("saw_machine", Boolean, nullable=False),
    UniqueConstraint("id"),
    UniqueConstraint("test_id", "id"),
    one_of("word", Word),
    Index(None, "test_id", "at"),
)

signatures = Table(
    "signatures",
    metadata,
    _seq(),
    _id(),
    _test_id(),
    _at(),
    _words("by"),
    Column("word", Key(8), nullable=False),
    _words("reason"),
    Column("revision", Integer, nullable=False),
    _id("verdict_id"),
    _id("opinion_id", nullable=True),
    _words("set_aside"),
    UniqueConstraint("id"),
    one_of("word", Word),
    ForeignKeyConstraint(["test_id", "revision"], ["revisions.test_id", "revisions.revision"]),
    ForeignKeyConstraint(["test_id", "verdict_id"], ["verdicts.test_id", "verdicts.id"]),
    ForeignKeyConstraint(["test_id", "opinion_id"], ["opinions.test_id", "opinions.id"]),
    Index(None, "test_id", "at"),
    Index(
        "uq_signatures_one_of_a_test",
        "test_id",
        unique=True,
        sqlite_where=text("set_aside = ''"),
        postgresql_where=text("set_aside = ''"),
    ),
)

# What a search looks through, folded to one case: the standing plan, everything said since, and the last
# words of machine and person.
search_texts = Table(
    "search_texts",
    metadata,
    Column("test_id", Key(32), ForeignKey("tests.id"), primary_key=True),
    Column("number", Integer, ForeignKey("tests.number"), nullable=False, unique=True),
    Column("plan", SearchWords, nullable=False),
    Column("said", SearchWords, nullable=False),
    Column("machine_word", Key(8)),
    Column("person_word", Key(8)),
    Index(None, "machine_word", "number"),
    Index(None, "person_word", "number"),
)
