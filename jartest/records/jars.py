"""The shop's jars, as kept: a changed jar is a new revision, one that broke is retired and stays."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select

from jartest.errors import Conflict
from jartest.plan.jars import Filling, JarShape
from jartest.records.books import Books
from jartest.records.jar_tables import jars
from jartest.records.tables import counters

__all__ = ["JarBooks", "JarEntry", "jar_of", "jar_to_json"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JarEntry:
    """A jar as somebody last wrote it; a retired one is kept and no longer offered."""

    id: str
    revision: int
    at: datetime
    by: str
    jar: JarShape
    retired: bool = False


def jar_to_json(jar: JarShape) -> dict[str, Any]:
    """A jar as JSON values."""
    return asdict(jar)


def jar_of(said: dict[str, Any]) -> JarShape:
    """The jar of JSON values."""
    return JarShape(**said | {"fillings": tuple(Filling(**f) for f in said["fillings"])})


class JarBooks(Books):
    """The part of a store that keeps the jars."""

    def jars(self) -> tuple[JarEntry, ...]:
        """Every jar as last written, the retired ones too, in order of name."""
        with self._reading() as c:
            return _jars(c)

    def jar_history(self, entry_id: str) -> tuple[JarEntry, ...]:
        """Every revision of one jar, the first one first."""
        query = select(jars).where(jars.c.id == entry_id).order_by(jars.c.revision)
        with self._reading() as c:
            return tuple(_entry_of(row) for row in c.execute(query).mappings())

    def put_jar(self, entry: JarEntry) -> None:
        """Keep this jar, a new one (revision 1) or the next revision of one.

        Raises
        ------
        Conflict
            If somebody else wrote the same revision first, or another jar has that name.
        """
        with self._writing() as c:
            # Held until the end: on PostgreSQL this makes a second writer wait (SQLite lets in one at a time).
            c.execute(select(counters.c.value).with_for_update())
            kept = _jars(c)
            before = next((e for e in kept if e.id == entry.id), None)
            if entry.revision != (before.revision + 1 if before else 1):
                who = before.by if before else "Somebody"
                msg = f"{who} changed {entry.jar.name} while you were editing: open it again and enter your change there."
                raise Conflict(msg)
            if any(e.id != entry.id and e.jar.key == entry.jar.key for e in kept):
                msg = f"A jar named {entry.jar.name} is on the list already: change that one, or give this one another name."
                raise Conflict(msg)
            row = {"id": entry.id, "revision": entry.revision, "at": entry.at, "by": entry.by}
            c.execute(insert(jars).values(row | {"retired": entry.retired, "jar": jar_to_json(entry.jar)}))


def _jars(c: Connection) -> tuple[JarEntry, ...]:
    newest = jars.alias("newest")
    last = select(func.max(newest.c.revision)).where(newest.c.id == jars.c.id).scalar_subquery()
    rows = c.execute(select(jars).where(jars.c.revision == last)).mappings()
    return tuple(sorted((_entry_of(row) for row in rows), key=lambda e: (e.jar.key, e.id)))


def _entry_of(row: Any) -> JarEntry:
    return JarEntry(
        id=row["id"],
        revision=row["revision"],
        at=row["at"],
        by=row["by"],
        retired=row["retired"],
        jar=jar_of(row["jar"]),
    )
