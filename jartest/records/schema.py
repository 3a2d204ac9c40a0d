"""Whether a file of records has the schema that this program writes, and nothing beside it.

A file from elsewhere may carry triggers, views or altered tables that act when the program later writes into it:
https://www.sqlite.org/security.html, "Untrusted SQLite Database Files".
"""

from __future__ import annotations

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from sqlalchemy import make_url

from jartest.errors import StoreFault
from jartest.records.engine import make_engine
from jartest.records.migrate import MIGRATIONS, bring_up_to_date

__all__ = ["foreign_in", "open_untrusted"]

_OWN_OF_SQLITE = ("sqlite_sequence", "sqlite_stat1", "sqlite_stat4", "sqlite_autoindex_")

Parts = dict[str, tuple[str, str, str]]  # name -> kind, table, SQL


def open_untrusted(file: Path) -> sqlite3.Connection:
    """A file that may come from anywhere, to be read only, with what the same page advises for such files."""
    connection = sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)
    connection.execute("PRAGMA trusted_schema=OFF")
    connection.execute("PRAGMA cell_size_check=ON")
    connection.execute("PRAGMA mmap_size=0")
    return connection


def foreign_in(file: Path) -> tuple[str, ...]:
    """What the file's schema has otherwise than a store of its revision that is made anew; nothing where sound.

    Raises
    ------
    StoreFault
        If it was written by a newer version, or by another program.
    """
    with closing(open_untrusted(file)) as c:
        found = _parts(c)
        revisions = c.execute("SELECT version_num FROM alembic_version").fetchall()
    known = {p.name[1:5] for p in (MIGRATIONS / "versions").glob("v*.py")}
    if len(revisions) != 1 or revisions[0][0] not in known:
        msg = "The records were written by a newer version, or by another program; update jartest."
        raise StoreFault(msg)
    own = _fresh(revisions[0][0])
    odd = sorted(n for n in found.keys() | own.keys() if found.get(n) != own.get(n))
    return tuple(f"{found[n][0]} {n!r}" if n in found else f"{own[n][0]} {n!r} (missing)" for n in odd)


def _fresh(revision: str) -> Parts:
    with tempfile.TemporaryDirectory(prefix="jartest-schema-") as folder:
        file = Path(folder) / "fresh.sqlite"
        url = make_url(f"sqlite:///{file}")
        engine = make_engine(url, keep_open=False)
        try:
            bring_up_to_date(url, engine, head=revision)
        finally:
            engine.dispose()
        with closing(sqlite3.connect(file)) as c:
            return _parts(c)


def _parts(c: sqlite3.Connection) -> Parts:
    rows = c.execute("SELECT name, type, tbl_name, sql FROM sqlite_master").fetchall()
    return {
        str(name): (str(kind), str(table), _in_order(" ".join(str(sql).replace('"', "").split())))
        for name, kind, table, sql in rows
        if not str(name).startswith(_OWN_OF_SQLITE)
    }


def _in_order(sql: str) -> str:
    """The SQL with a table's clauses in order: a table that was rebuilt has its constraints in any order."""
    if not sql.startswith("CREATE TABLE"):
        return sql
    head, _, body = sql.removesuffix(")").partition("(")
    clauses, depth = [""], 0
    for sign in body:
        depth += (sign == "(") - (sign == ")")
        if sign == "," and depth == 0:
            clauses.append("")
        else:
            clauses[-1] += sign
    columns = [c.strip() for c in clauses if "CONSTRAINT" not in c]
    return f"{head}({', '.join([*columns, *sorted(c.strip() for c in clauses if 'CONSTRAINT' in c)])}"
