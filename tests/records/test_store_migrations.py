"""The schema comes up to date from wherever it stands, or is left alone."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, create_engine, inspect, text

from jartest.errors import BadEntry, Conflict, StoreFault
from jartest.records.engine import make_engine, read_url
from jartest.records.migrate import HEAD, MIGRATIONS, bring_up_to_date
from jartest.records.store import Store
from jartest.records.tables import metadata

# What a later version might bring: one table is made again, with all its rows.
NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "9999"
down_revision = "{head}"


def upgrade():
    again = "always" if op.get_bind().dialect.name == "sqlite" else "never"
    with op.batch_alter_table("tests", recreate=again) as batch:
        batch.add_column(sa.Column("season", sa.Text(), nullable=False, server_default="2026"))
    {more}
"""


@pytest.fixture
def later(tmp_path: Path) -> Callable[[str], Path]:
    """Makes the migrations of an invented later version."""

    def make(more: str = "") -> Path:
        scripts = tmp_path / "migrations"
        shutil.copytree(MIGRATIONS, scripts, ignore=shutil.ignore_patterns("__pycache__"))
        (scripts / "versions" / "v9999_next.py").write_text(NEXT.format(head=HEAD, more=more))
        return scripts

    return make


def upgrade(url: str, scripts: Path) -> None:
    engine = make_engine(read_url(url))
    try:
        bring_up_to_date(read_url(url), engine, head="9999", scripts=scripts)
    finally:
        engine.dispose()


def backups(path: Path) -> list[Path]:
    return sorted(path.parent.glob(f"{path.name}.revision-*"))


def test_the_head_named_in_the_code_is_the_newest_migration() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_the_migrations_make_the_tables_that_the_code_uses(url: str, store: Store) -> None:
    engine = create_engine(url)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
        checks = {
            table.name: {c["name"] for c in inspect(connection).get_check_constraints(table.name)}
            for table in metadata.sorted_tables
        }
    engine.dispose()
    in_code = {
        table.name: {c.name for c in table.constraints if isinstance(c, CheckConstraint)}
        for table in metadata.sorted_tables
    }
    assert checks == in_code
    assert "ck_verdicts_verdict" in in_code["verdicts"]


def test_a_store_is_made_from_an_empty_file(sqlite_path: Path) -> None:
    sqlite_path.touch()
    with Store.open(f"sqlite:///{sqlite_path}") as store:
        assert store.count() == 0
    assert backups(sqlite_path) == []


def test_a_store_is_made_with_the_folder_it_lies_in(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "store.sqlite"
    with Store.open(f"sqlite:///{path}"):
        assert path.is_file()


def test_a_store_that_is_up_to_date_is_left_as_it_is(sqlite_path: Path) -> None:
    def schema() -> int:
        with closing(sqlite3.connect(sqlite_path)) as raw:
            return raw.execute("PRAGMA schema_version").fetchone()[0]

    Store.open(f"sqlite:///{sqlite_path}").close()
    before = schema()
    Store.open(f"sqlite:///{sqlite_path}").close()
    assert schema() == before
    assert backups(sqlite_path) == []


def test_an_older_store_is_brought_up_to_date_and_keeps_every_row(
    url: str, bench_of: Callable, later: Callable
) -> None:
    with Store.open(url) as store:
        bench = bench_of(store)
        test = bench.open_test("Hop mix", "Invented A")
        bench.fill(test)
        before = store.case(test.id)
    upgrade(url, later())
    engine = create_engine(url)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT season FROM tests")).scalars().all() == ["2026"]
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == "9999"
        still = Store(make_engine(read_url(url)))
        assert repr(still.case(test.id)) == repr(before)
        with pytest.raises(Conflict):  # the rules outlive the making again of a table
            still.add_event(before.events[0])
        still.close()
    engine.dispose()


def test_an_older_file_is_backed_up_beside_it_with_what_is_only_in_its_log(
    sqlite_path: Path, bench_of: Callable, later: Callable
) -> None:
    url = f"sqlite:///{sqlite_path}"
    with Store.open(url) as store:
        test = bench_of(store).open_test("Only in the log")
        with closing(sqlite3.connect(f"file:{sqlite_path}?immutable=1", uri=True)) as without_log:
            seen = without_log.execute("SELECT count(*) FROM tests").fetchone()
            assert seen == (0,)  # so a plain copy of the file would have lost everything
        upgrade(url, later())
    (backup,) = backups(sqlite_path)
    with Store.open(f"sqlite:///{backup}") as old:
        assert old.case(test.id).test == test


def test_a_second_backup_leaves_the_first_one_alone(sqlite_path: Path, later: Callable) -> None:
    url = f"sqlite:///{sqlite_path}"
    Store.open(url).close()
    first = sqlite_path.with_name(f"{sqlite_path.name}.revision-{HEAD}-1")
    first.write_bytes(b"an earlier backup")
    upgrade(url, later())
    assert [p.name[-1] for p in backups(sqlite_path)] == ["1", "2"]
    assert first.read_bytes() == b"an earlier backup"


@pytest.mark.parametrize(
    ("more", "error"),
    [
        ('op.execute("DELETE FROM revisions")', StoreFault),
        ('raise ArithmeticError("a mistake in a migration")', ArithmeticError),
    ],
)
def test_a_migration_that_goes_wrong_leaves_the_store_as_it_was(
    sqlite_path: Path, bench_of: Callable, later: Callable, more: str, error: type[Exception]
) -> None:
    url = f"sqlite:///{sqlite_path}"
    with Store.open(url) as store:
        test = bench_of(store).open_test("Hop mix", "Invented A")
    with pytest.raises(error):
        upgrade(url, later(more))
    with Store.open(url) as store:
        assert store.case(test.id).test == test


def test_a_store_of_a_newer_version_is_refused_in_words_and_left_alone(
    url: str, bench_of: Callable, later: Callable
) -> None:
    with Store.open(url) as store:
        bench_of(store).open_test()
    upgrade(url, later())
    with pytest.raises(StoreFault, match=r"newer version \(its revision is '9999'\)"):
        Store.open(url)
    with make_engine(read_url(url)).connect() as connection:
        assert connection.execute(text("SELECT count(season) FROM tests")).scalar_one() == 1
    connection.engine.dispose()


def test_another_programs_database_is_refused_and_left_alone(sqlite_path: Path) -> None:
    with closing(sqlite3.connect(sqlite_path)) as raw:
        raw.execute("CREATE TABLE birds (name TEXT)")
    with pytest.raises(StoreFault, match="another program's database"):
        Store.open(f"sqlite:///{sqlite_path}")
    with closing(sqlite3.connect(sqlite_path)) as raw:
        assert raw.execute("SELECT name FROM sqlite_master").fetchall() == [("birds",)]


def test_a_refused_address_makes_no_file(tmp_path: Path) -> None:
    with pytest.raises(BadEntry):
        Store.open(f"mysql:///{tmp_path / 'x' / 'store'}")
    assert list(tmp_path.iterdir()) == []


def test_a_store_is_made_on_a_postgresql_server() -> None:
    """Every test with a `store` runs on PostgreSQL too when there is one; this one says so when not."""
    url = os.environ.get("JARTEST_TEST_POSTGRES_URL", "")
    if not url:
        pytest.skip("JARTEST_TEST_POSTGRES_URL is not set: no test of the store tries PostgreSQL")
    assert read_url(url).get_backend_name() == "postgresql"
