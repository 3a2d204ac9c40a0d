"""A store copied to another address, row by row, and verified."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from sqlalchemy import Connection, Engine, Table, delete, func, insert, select, text

from jartest.errors import Conflict, StoreFault
from jartest.records.engine import WRITES, in_words, make_engine, read_url
from jartest.records.store import Store
from jartest.records.tables import counters, metadata

__all__ = ["Moved", "copy_store"]

_BATCH = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What was copied: rows of each table, each compared with its original afterwards."""

    rows: Mapping[str, int]

    @property
    def total(self) -> int:
        """Rows of all tables together."""
        return sum(self.rows.values())


def copy_store(source_url: str, target_url: str) -> Moved:
    """Copy every record from one store to another that is empty, in one transaction, and compare them row by row.

    The source is left as it is.  Photo files are no part of a store; they stay in their folder.

    Raises
    ------
    Conflict
        If the target holds a record already; nothing was written.
    StoreFault
        If a row reads otherwise after the copy; the target is left empty.
    """
    for url in (source_url, target_url):
        Store.open(url).close()  # both brought up to date
    source, target = make_engine(read_url(source_url)), make_engine(read_url(target_url))
    try:
        with in_words(), _snapshot(source) as old, target.execution_options(**{WRITES: True}).begin() as new:
            _need_empty(new)
            new.execute(delete(counters))
            rows = {table.name: _copy(table, old, new) for table in metadata.sorted_tables}
            for table in metadata.sorted_tables:
                _compare(table, old, new)
            _set_sequences(new)
            _count_for_planner(new)
            return Moved(rows=rows)
    finally:
        source.dispose()
        target.dispose()


def _need_empty(new: Connection) -> None:
    for table in metadata.sorted_tables:
        held = table is not counters and new.execute(select(func.count()).select_from(table)).scalar()
        if held:
            msg = f"The store to move to holds records already ({held} in {table.name!r}); name an empty one."
            raise Conflict(msg)


def _snapshot(engine: Engine) -> Connection:
    """A connection that sees one and the same state throughout."""
    level = {} if engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
    return engine.connect().execution_options(**level)


def _rows(table: Table, c: Connection) -> Iterator[tuple[Any, ...]]:
    """Every row in the order of its key."""
    query = select(table).order_by(*table.primary_key.columns)
    with c.execute(query, execution_options={"stream_results": True, "yield_per": _BATCH}) as found:
        for row in found:
            yield tuple(row)


def _copy(table: Table, old: Connection, new: Connection) -> int:
    names = [c.name for c in table.columns]
    count = 0
    batch: list[dict[str, Any]] = []
    for row in _rows(table, old):
        batch.append(dict(zip(names, row, strict=True)))
        if len(batch) == _BATCH:
            new.execute(insert(table), batch)
            count += len(batch)
            batch = []
    if batch:
        new.execute(insert(table), batch)
    return count + len(batch)


def _compare(table: Table, old: Connection, new: Connection) -> None:
    for a, b in zip_longest(_rows(table, old), _rows(table, new)):
        if a is None or b is None or repr(a) != repr(b):  # as text: NaN differs from itself
            msg = f"A row of {table.name!r} reads otherwise after the copy; nothing was moved."
            raise StoreFault(msg)


def _set_sequences(new: Connection) -> None:
    """Let PostgreSQL count on from the highest number copied; SQLite does so by itself."""
    if new.dialect.name != "postgresql":
        return
    for table in metadata.sorted_tables:
        column = table.autoincrement_column
        if column is None or len(table.primary_key.columns) != 1:
            continue
        find = text("SELECT pg_get_serial_sequence(:t, :c)")
        sequence = new.execute(find, {"t": table.name, "c": column.name}).scalar()
        highest = new.execute(select(func.max(column))).scalar()
        if highest is not None and sequence is not None:
            new.execute(text("SELECT setval(:s, :n)"), {"s": sequence, "n": highest})


def _count_for_planner(new: Connection) -> None:
    """Let PostgreSQL count what came in: its plans for empty tables are many times slower until it does."""
    if new.dialect.name == "postgresql":
        for table in metadata.sorted_tables:
            new.execute(text(f"ANALYZE {new.dialect.identifier_preparer.format_table(table)}"))
