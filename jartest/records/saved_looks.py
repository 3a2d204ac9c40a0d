"""Saved searches: a set of search and filter choices under a name.

(A look at the data; the looks at a jar are `model.Look`.)  Nothing is overwritten: saving again under a
name and taking a name away are later entries, and the last entry of a name stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, get_args

from sqlalchemy import JSON, Boolean, Column, Index, Integer, Select, Table, func, insert, select

from jartest.records.books import Books
from jartest.records.tables import Instant, Key, SearchWords, Words, metadata, one_of

__all__ = ["LOOK_SCREENS", "LookScreen", "SavedLook", "SavedLookBooks", "saved_looks"]

LookScreen = Literal["tests", "history"]
LOOK_SCREENS: tuple[LookScreen, ...] = get_args(LookScreen)

# A look is known by its screen and its name, whatever the name's capitals.
saved_looks = Table(
    "saved_looks",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("screen", Key(16), nullable=False),
    Column("name_key", SearchWords, nullable=False),
    Column("name", Words, nullable=False),
    Column("choices", JSON(none_as_null=True), nullable=False),
    Column("removed", Boolean, nullable=False),
    Column("at", Instant(timezone=True), nullable=False),
    Column("by", Words, nullable=False),
    one_of("screen", LookScreen),
    Index(None, "screen", "name_key", "seq"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedLook:
    """One entry: choices of a screen kept under a name, or that name taken away; by whom and when."""

    screen: LookScreen
    name: str
    at: datetime
    by: str
    choices: Mapping[str, str | bool] = field(default_factory=dict)
    removed: bool = False

    @property
    def key(self) -> str:
        """What tells it from other looks of its screen."""
        return " ".join(self.name.split()).casefold()


class SavedLookBooks(Books):
    """The part of a store that keeps the saved looks."""

    def add_saved_look(self, entry: SavedLook) -> None:
        """Keep this entry; it stands until a later one of its name."""
        names = ("screen", "name", "removed", "at", "by")
        row = {n: getattr(entry, n) for n in names} | {"name_key": entry.key, "choices": dict(entry.choices)}
        with self._writing() as c:
            c.execute(insert(saved_looks).values(row))

    def saved_looks(self) -> tuple[SavedLook, ...]:
        """Every look that stands, in order of screen and name."""
        last = select(func.max(saved_looks.c.seq)).group_by(saved_looks.c.screen, saved_looks.c.name_key)
        query = select(saved_looks).where(saved_looks.c.seq.in_(last), ~saved_looks.c.removed)
        return self._found(query.order_by(saved_looks.c.screen.desc(), saved_looks.c.name_key))

    def saved_look_entries(self, screen: LookScreen, name: str) -> tuple[SavedLook, ...]:
        """Every entry of one name, the first one first."""
        key = " ".join(name.split()).casefold()
        query = select(saved_looks).where(saved_looks.c.screen == screen, saved_looks.c.name_key == key)
        return self._found(query.order_by(saved_looks.c.seq))

    def _found(self, query: Select[Any]) -> tuple[SavedLook, ...]:
        names = ("screen", "name", "choices", "removed", "at", "by")
        with self._reading() as c:
            return tuple(SavedLook(**{n: row[n] for n in names}) for row in c.execute(query).mappings())
