"""The book is append-only, and refuses to be written where that is not certain."""

from __future__ import annotations

import sqlite3

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, inspect
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.errors import CannotTell, CheckwatchError
from checkwatch.store import chains, guards, journal, migrate, read
from checkwatch.store.engine import making, reading, sqlite_path, writing
from checkwatch.store.indexes import metadata
from checkwatch.store.seal import Line

NOW = Instant(1_790_000_000_000_000)


@pytest.fixture
def noted(book: str) -> str:
    with writing(book) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-01", at=NOW, recorded=NOW, ref="r")], NOW)
    return book


def kept(url: str) -> None:
    with reading(url) as conn:
        assert chains.verify(conn) is None
        assert read.newest_seq(conn) == 1


on_sqlite = pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
on_postgresql = pytest.mark.parametrize("book_url", ["postgresql"], indirect=True)

FORBIDDEN = ["UPDATE entry SET note = 'x'", "UPDATE entry SET note = note", "DELETE FROM entry"]


@pytest.mark.parametrize("statement", FORBIDDEN)
def test_nothing_is_changed_or_taken_away(noted: str, statement: str) -> None:
    with pytest.raises(CheckwatchError, match="only ever added"), writing(noted) as conn:
        conn.exec_driver_sql(statement)
    kept(noted)


@on_sqlite
@pytest.mark.parametrize(("seq", "position", "ref"), [(1, 2, "'s'"), (2, 1, "'s'"), (2, 2, "'r'")])
def test_nothing_is_replaced_in_sqlite(noted: str, seq: int, position: int, ref: str) -> None:
    # A connection of somebody else: recursive_triggers is off, as is SQLite's default.
    conn = sqlite3.connect(noted)
    with pytest.raises(sqlite3.IntegrityError, match="only ever added"), conn:
        conn.execute(
            f"INSERT OR REPLACE INTO entry SELECT {seq}, machine, {position}, form, what, at,"
            f" recorded, by, 'x', {ref}, payload, prev_hash, hash FROM entry"
        )
    conn.close()
    kept(noted)


@on_postgresql
@pytest.mark.parametrize(
    "statement",
    [
        "TRUNCATE entry",
        "SET LOCAL session_replication_role = replica; UPDATE entry SET note = 'x'",
        "INSERT INTO entry SELECT * FROM entry ON CONFLICT (seq) DO UPDATE SET note = 'x'",
    ],
)
def test_nothing_is_changed_in_postgresql_by_another_way(noted: str, statement: str) -> None:
    with pytest.raises(CheckwatchError, match="only ever added"), writing(noted) as conn:
        conn.exec_driver_sql(statement)
    kept(noted)


def outside(url: str, *statements: str) -> None:
    """Statements of somebody who does not use checkwatch."""
    address = url if "://" in url else f"sqlite:///{url}"
    engine = create_engine(address, poolclass=NullPool)
    with engine.begin() as conn:
        for statement in statements:
            conn.exec_driver_sql(statement)


SABOTAGE = {
    "sqlite": [
        *([f"DROP TRIGGER {name}"] for name in guards.SQLITE_GUARDS),
        [
            "DROP TRIGGER entry_no_update",
            "CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT 1; END",
        ],
    ],
    "postgresql": [
        ["DROP TRIGGER entry_guard ON entry"],
        ["ALTER TABLE entry DISABLE TRIGGER entry_guard"],
        ["ALTER TABLE entry ENABLE TRIGGER entry_guard"],
        [
            "CREATE OR REPLACE FUNCTION entry_guard() RETURNS trigger LANGUAGE plpgsql"
            " AS 'BEGIN RETURN NULL; END'"
        ],
    ],
}


@pytest.mark.parametrize("number", range(4))
def test_without_its_guards_a_book_is_not_written_and_not_believed(noted: str, number: int) -> None:
    outside(noted, *SABOTAGE["sqlite" if sqlite_path(noted) else "postgresql"][number])
    with reading(noted) as conn:
        (doubt,) = read.doubts(conn, NOW)
    assert doubt.startswith("the book's guards are missing: entry_")
    with pytest.raises(CannotTell, match="its guards are missing"), writing(noted):
        pass
    migrate.upgrade(noted)
    with reading(noted) as conn:
        assert read.doubts(conn, NOW) == ()
    kept(noted)


def revisions() -> list[str]:
    scripts = ScriptDirectory(str(migrate.scripts()))
    return [revision.revision for revision in scripts.walk_revisions()][::-1]


@pytest.mark.parametrize("revision", revisions())
def test_after_upgrading_from_any_revision_the_guards_stand(book_url: str, revision: str) -> None:
    with making(book_url) as conn:
        command.upgrade(migrate.config(conn), revision)
    migrate.upgrade(book_url)
    with writing(book_url) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-01", at=NOW, recorded=NOW)], NOW)
    for statement in FORBIDDEN:
        with pytest.raises(CheckwatchError, match="only ever added"), writing(book_url) as conn:
            conn.exec_driver_sql(statement)
    kept(book_url)


def test_the_program_knows_the_newest_revision() -> None:
    assert revisions()[-1] == guards.SCHEMA


def test_the_migrations_make_the_tables_that_the_program_knows(book: str) -> None:
    with reading(book) as conn:
        opts = {"version_table": guards.VERSION_TABLE, "include_name": no_outlook}
        context = MigrationContext.configure(conn, opts=opts)
        assert compare_metadata(context, metadata) == []


def no_outlook(name: str | None, kind: str, _parents: object) -> bool:
    """The cache is no table of SQLAlchemy's: see tests/store/test_outlook.py."""
    return (kind, name) != ("table", "outlook")


@on_sqlite
def test_every_constraint_has_a_name_of_its_own(book: str) -> None:
    with reading(book) as conn:
        table = conn.exec_driver_sql("SELECT sql FROM sqlite_master WHERE name = 'entry'").scalar()
    words = str(table).split()
    assert words.count("CONSTRAINT") == sum(map(words.count, ("PRIMARY", "UNIQUE", "CHECK"))) == 3


def test_a_migration_that_dies_leaves_nothing_behind(
    book_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def die(_conn: Connection) -> None:
        raise RuntimeError

    with monkeypatch.context() as patch:
        patch.setattr(guards, "build", die)
        with pytest.raises(RuntimeError):
            migrate.create(book_url)
    assert migrate.schema_state(book_url) == "none"
    with making(book_url) as conn:
        assert inspect(conn).get_table_names() == []
    migrate.create(book_url)
    assert migrate.schema_state(book_url) == "current"


@on_sqlite
def test_strict_types_hold_in_sqlite(book: str) -> None:
    columns = ", ".join(f'"{name}"' for name in Line._fields)
    values = "1, '', 1, '', '', 'noon', 0, '', '', '', '', x'', x''"
    with pytest.raises(DBAPIError, match="cannot store TEXT value in INTEGER column"):
        outside(book, f"INSERT INTO entry ({columns}) VALUES ({values})")
