"""The store's schema, brought up to date.

Alembic takes 0.4 s to import, so it is imported only when there is something to do.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, inspect, text

from jartest.errors import StoreFault
from jartest.records.engine import WRITES, make_engine, sqlite_file
from jartest.records.summarise import summarise_again

__all__ = ["HEAD", "MIGRATIONS", "bring_up_to_date"]

HEAD = "0017"  # the newest revision under migrations/versions
MIGRATIONS = Path(__file__).parent / "migrations"
_LOCK = 0x6A617274  # an arbitrary number, the same for everyone who migrates a PostgreSQL store


def bring_up_to_date(url: URL, engine: Engine, *, head: str = HEAD, scripts: Path = MIGRATIONS) -> None:
    """Bring the store at `url` to revision `head`, after a backup of an older SQLite file beside it.

    Raises
    ------
    StoreFault
        If the store was written by a newer version, is some other program's database, or has records
        that belong to nothing after the change; the store is then as it was.
    """
    with engine.connect() as connection:
        found = _revision(connection)
        if found == head:
            return
        if found is None and inspect(connection).get_table_names():
            msg = "The record store's address leads to another program's database; name another one."
            raise StoreFault(msg)
    engine.dispose()  # the file is ours alone while it changes
    _refuse_newer(found, scripts)
    if found is not None and (file := sqlite_file(url)) is not None:
        _back_up(file, found)
    migrating = make_engine(url, foreign_keys=False, keep_open=False)
    with migrating.execution_options(**{WRITES: True}).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        _upgrade(connection, head, scripts)
        _check_belonging(connection)
        if found is not None:  # what a migration changes may change what was counted
            summarise_again(connection)


def _revision(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def _refuse_newer(found: str | None, scripts: Path) -> None:
    known = {p.name[1:5] for p in (scripts / "versions").glob("v*.py")}
    if found is not None and found not in known:
        msg = f"The record store was written by a newer version (its revision is {found!r}); install that version."
        raise StoreFault(msg)


def _upgrade(connection: Connection, head: str, scripts: Path) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, head)


def _check_belonging(connection: Connection) -> None:
    """Refuse rows whose parent is missing: foreign keys are off while tables are rebuilt."""
    if connection.dialect.name != "sqlite":
        return
    lost = connection.execute(text("PRAGMA foreign_key_check")).fetchall()
    if lost:
        msg = f"{len(lost)} records belong to nothing (the first in {lost[0][0]!r}); the store was left as it was."
        raise StoreFault(msg)


def _back_up(file: Path, found: str) -> Path:
    """A copy of the store beside it; SQLite's own backup sees what a copy of the file would miss."""
    n = 1
    while (copy := file.with_name(f"{file.name}.revision-{found}-{n}")).exists():
        n += 1
    part = copy.with_name(f"{copy.name}.part")
    try:
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(part)) as target:
            source.backup(target)
        part.replace(copy)
    except (sqlite3.Error, OSError) as e:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        msg = "The older record store cannot be backed up, so it was not changed; make room on its disk."
        raise StoreFault(msg) from e
    return copy
