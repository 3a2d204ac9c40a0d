"""The store looked after: a copy while it is in use, and what may be wrong in it."""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

from sqlalchemy import exists, select, text

from jartest.errors import StoreFault
from jartest.records.books import Books
from jartest.records.migrate import HEAD
from jartest.records.schema import open_untrusted
from jartest.records.tables import looks, photos, readings, tests

__all__ = ["Upkeep", "is_whole_store", "photos_named_in"]


class Upkeep(Books):
    """The part of a store that looks after it."""

    def copy_to(self, file: Path) -> None:
        """Copy the whole store into a file as it stands at one moment, while others go on writing.

        Raises
        ------
        StoreFault
            If the store is on a server, or the file cannot be written.
        """
        with self._reading() as c:
            if c.dialect.name != "sqlite":
                msg = "The records are on a database server; back them up with the server's own tools."
                raise StoreFault(msg)
            source = c.connection.driver_connection
            assert isinstance(source, sqlite3.Connection)
            c.rollback()  # SQLite's own backup reads outside of any transaction
            try:
                with closing(sqlite3.connect(file)) as target:
                    source.backup(target)
                    # One file alone, without the log that a store in use has beside it.
                    target.execute("PRAGMA journal_mode=DELETE")
            except sqlite3.Error as e:
                msg = "The copy of the record store cannot be written; make room on the disk and try again."
                raise StoreFault(msg) from e

    def photo_uses(self) -> dict[str, tuple[str, tuple[int, ...]]]:
        """Every photo that a record names: its kind of file, and the numbers of the tests that show it."""
        query = (
            select(photos.c.sha256, photos.c.media_type, tests.c.number)
            .join_from(photos, looks, looks.c.photo_sha256 == photos.c.sha256, isouter=True)
            .join(tests, tests.c.id == looks.c.test_id, isouter=True)
            .order_by(photos.c.sha256, tests.c.number)
        )
        found: dict[str, tuple[str, tuple[int, ...]]] = {}
        with self._reading() as c:
            for sha256, media_type, number in c.execute(query):
                shown = found.get(sha256, (media_type, ()))[1]
                found[sha256] = (media_type, shown if number is None else (*shown, number))
        return found

    def unread_looks(self) -> tuple[tuple[int, str, str], ...]:
        """Every look whose photo has no reading, in order of coming in: its test's number and id, and its own id."""
        query = (
            select(tests.c.number, looks.c.test_id, looks.c.id)
            .join_from(looks, tests, looks.c.test_id == tests.c.id)
            .where(~exists().where(readings.c.look_id == looks.c.id))
            .order_by(looks.c.seq)
        )
        with self._reading() as c:
            return tuple((int(number), test_id, look_id) for number, test_id, look_id in c.execute(query))

    def own_faults(self) -> tuple[str, ...]:
        """What is wrong with the database itself, a sentence each; nothing where it is sound."""
        with self._reading() as c:
            found = c.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()
            said = (
                []
                if found == HEAD
                else [f"The record store is at revision {found!r} and should be at {HEAD!r}."]
            )
            if c.dialect.name == "sqlite":
                whole = c.execute(text("PRAGMA integrity_check")).scalar_one()
                if whole != "ok":
                    said.append("The record store's file is damaged; go back to the last backup.")
                lost = Counter(row[0] for row in c.execute(text("PRAGMA foreign_key_check")))
                said += [
                    f"{n} row{'s' if n > 1 else ''} of {name!r} belong{'' if n > 1 else 's'} to nothing that is kept; "
                    "go back to the last backup."
                    for name, n in sorted(lost.items())
                ]
        return tuple(said)


def photos_named_in(file: Path) -> dict[str, str]:
    """The photos that a copy of a store names, each with its kind of file."""
    with closing(open_untrusted(file)) as c:
        return dict(c.execute("SELECT sha256, media_type FROM photos ORDER BY sha256"))


def is_whole_store(file: Path) -> bool:
    """Whether this file is an undamaged store of this program."""
    try:
        with closing(open_untrusted(file)) as c:
            whole = c.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return whole and bool(c.execute("SELECT count(*) FROM alembic_version").fetchone() == (1,))
    except sqlite3.Error:
        return False
