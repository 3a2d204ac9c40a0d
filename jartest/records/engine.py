"""The database connection, and its faults in words."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, pool
from sqlalchemy.exc import ArgumentError, IntegrityError, StatementError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from jartest.errors import BadEntry, Conflict, JartestError, NotFound, StoreFault

__all__ = ["WRITES", "in_words", "make_engine", "read_url", "sqlite_file"]

WRITES = "jartest_writes"  # the execution option of a transaction that will write
_WAIT_S = 10.0  # how long a writer waits for the one before it (our choice)
_OPENING_TRIES = 100  # 2 s for one who opens a new file while another does (our choice)

# SQLite's primary result codes: https://www.sqlite.org/rescode.html
_SQLITE_SAYS = {
    5: "The record store is busy: another program holds it; try again in a moment.",
    6: "The record store is busy: another program holds it; try again in a moment.",
    8: "The record store may not be written to (read-only); nothing was saved.",
    10: "The disk with the record store failed; nothing was saved, check the disk and its space.",
    11: "The record store is damaged; keep the file as it is and go back to the last backup.",
    13: "The disk is full; nothing was saved, make room and try again.",
    14: "The record store cannot be opened; check that its folder exists and may be written to.",
    26: "The record store's file is not a database; move it away or name another file.",
}
# PostgreSQL's error classes and codes: PostgreSQL documentation, appendix A
_POSTGRES_SAYS = {
    "08": "The database server cannot be reached; check that it runs, then try again.",
    "25006": "The record store may not be written to (read-only); nothing was saved.",
    "28": "The database server refuses this user or password; check the address of the record store.",
    "3D": "The database server holds no database of that name; check the address of the record store.",
    "40": "The record store is busy: somebody saved at the same moment; try again.",
    "53100": "The database server's disk is full; nothing was saved, make room and try again.",
    "53": "The database server has no room for another user; try again in a moment.",
    "57": "The database server is stopping or starting; try again in a moment.",
}
# SQLite's names of extended result codes (same page), and PostgreSQL's codes of class 23
_BROKEN_RULES: tuple[tuple[tuple[str, ...], type[JartestError], str], ...] = (
    (
        ("UNIQUE", "PRIMARYKEY", "23505"),
        Conflict,
        "A record with this id is kept already; nothing was overwritten.",
    ),
    (
        ("FOREIGNKEY", "23503"),
        NotFound,
        "The record belongs to a test, look, verdict or limits that are not kept; nothing was saved.",
    ),
    (
        ("CHECK", "23514"),
        BadEntry,
        "A word or number is not one of those allowed; nothing was saved.",
    ),
)


def read_url(url: str) -> URL:
    """The address of a store, once it is known to be one that can be opened.

    Raises
    ------
    BadEntry
        If it is no address, or neither a SQLite file nor PostgreSQL; it is not repeated, as it may
        hold a password.
    """
    try:
        read = make_url(url)
    except ArgumentError as e:
        msg = (
            "The address of the record store cannot be read; write sqlite:///file or postgresql+psycopg://..."
        )
        raise BadEntry(msg) from e
    if read.drivername not in ("sqlite", "sqlite+pysqlite", "postgresql+psycopg"):
        msg = f"The record store is a SQLite file or postgresql+psycopg, not {read.drivername!r}."
        raise BadEntry(msg)
    if read.get_backend_name() == "sqlite" and read.database in (None, "", ":memory:"):
        msg = "The record store needs a file; write sqlite:/// and its path."
        raise BadEntry(msg)
    return read


def sqlite_file(url: URL) -> Path | None:
    """The file of a SQLite store; None for a server."""
    return Path(url.database or "") if url.get_backend_name() == "sqlite" else None


def make_engine(url: URL, *, foreign_keys: bool = True, keep_open: bool = True) -> Engine:
    """An engine whose transactions neither lose updates nor saved rows.

    On SQLite a transaction marked `WRITES` starts with BEGIN IMMEDIATE, so that two writers queue up
    instead of reading the same old row; `synchronous=FULL` writes every commit through to the disk, so
    that what was acknowledged survives a power cut.
    """
    poolclass = pool.QueuePool if keep_open else pool.NullPool
    if sqlite_file(url) is not None:
        patience = {} if "timeout" in url.query else {"timeout": _WAIT_S}
        engine = create_engine(url, poolclass=poolclass, connect_args=patience)
        _set_up_sqlite(engine, foreign_keys=foreign_keys)
        return engine
    try:
        return create_engine(url, poolclass=poolclass, pool_pre_ping=True)
    except ModuleNotFoundError as e:
        msg = "PostgreSQL needs a further library; install jartest[postgres]."
        raise StoreFault(msg) from e


def _set_up_sqlite(engine: Engine, *, foreign_keys: bool) -> None:
    @event.listens_for(engine, "connect")
    def on_connect(raw: Any, _record: Any) -> None:
        raw.isolation_level = None  # the driver must not begin or commit by itself
        raw.execute("PRAGMA trusted_schema=OFF")  # nothing in the file itself may call a function that acts
        mode = _write_ahead(raw)
        if mode != "wal":
            msg = f"The record store's disk allows no write-ahead log (it says {mode!r}); keep it on a local disk."
            raise StoreFault(msg)
        raw.execute("PRAGMA synchronous=FULL")
        raw.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _write_ahead(raw: Any) -> str:
    """The journal's mode after asking for a write-ahead log; asked again while another opens the same new file.

    SQLite does not wait here by itself, as it does for every other lock.
    """
    (patience_ms,) = raw.execute("PRAGMA busy_timeout").fetchone()
    raw.execute("PRAGMA busy_timeout=0")
    try:
        for _ in range(_OPENING_TRIES):
            with suppress(sqlite3.OperationalError):
                return str(raw.execute("PRAGMA journal_mode=WAL").fetchone()[0])
            threading.Event().wait(0.02)
    finally:
        raw.execute(f"PRAGMA busy_timeout={patience_ms}")
    return str(raw.execute("PRAGMA journal_mode=WAL").fetchone()[0])


@contextmanager
def in_words() -> Iterator[None]:
    """Faults of the database inside, raised as this package's own errors."""
    try:
        yield
    except StatementError as e:
        said = _say(e)
        if said is None:
            raise
        raise said from e
    except sqlite3.Error as e:  # from setting up a connection, which SQLAlchemy does not wrap
        said = _say_sqlite(e)
        if said is None:
            raise
        raise said from e
    except PoolTimeout as e:
        msg = "The record store is busy: too many are at it; try again in a moment."
        raise StoreFault(msg) from e


def _say(e: StatementError) -> JartestError | None:
    """The error to raise instead, or None for a mistake in this program."""
    if isinstance(e.orig, JartestError):
        return e.orig
    if isinstance(e, IntegrityError):
        return _say_broken_rule(e.orig)
    if isinstance(e.orig, sqlite3.Error):
        return _say_sqlite(e.orig)
    return _say_postgres(e.orig) if hasattr(e.orig, "sqlstate") else None


def _say_broken_rule(orig: BaseException | None) -> JartestError | None:
    name = str(getattr(orig, "sqlite_errorname", None) or getattr(orig, "sqlstate", None))
    for marks, error, says in _BROKEN_RULES:
        if name.endswith(marks):
            return error(says)
    return None


def _say_sqlite(e: sqlite3.Error) -> StoreFault | None:
    code = getattr(e, "sqlite_errorcode", None)
    says = _SQLITE_SAYS.get(code & 0xFF) if code is not None else None
    return None if says is None else StoreFault(says)


def _say_postgres(orig: Any) -> StoreFault | None:
    state = orig.sqlstate or "08"  # no state at all: the server never answered
    says = _POSTGRES_SAYS.get(state) or _POSTGRES_SAYS.get(state[:2])
    return None if says is None else StoreFault(says)
