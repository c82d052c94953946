"""What makes the table `entry` append-only: triggers that refuse everything but adding.

They are text, compared letter by letter with what the database says of itself: a guard that was
taken away, switched off or emptied is missing. Importing this file loads no database library.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlalchemy import Connection

#: The revision of the tables that this program reads and writes; alembic's head.
SCHEMA = "0004"

#: Where a book keeps its revision. Not alembic's own name: it also tells a book from a database
#: that belongs to somebody else.
VERSION_TABLE = "book_schema"

#: Why a book that nobody can write is not asked.
UNWRITABLE = "nobody can write it, so what happens now cannot be in it"

_REFUSAL = "entries are only ever added"

#: INSERT OR REPLACE would remove the line in its way, and fires no DELETE trigger by itself.
_TAKEN = """EXISTS (SELECT 1 FROM entry WHERE seq = NEW.seq)
    OR EXISTS (SELECT 1 FROM entry WHERE machine = NEW.machine AND position = NEW.position)
    OR EXISTS (SELECT 1 FROM entry WHERE ref = NEW.ref AND ref <> '')"""

SQLITE_GUARDS = {
    "entry_no_update": f"""CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END""",
    "entry_no_delete": f"""CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END""",
    "entry_no_replace": f"""CREATE TRIGGER entry_no_replace BEFORE INSERT ON entry
WHEN {_TAKEN}
BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END""",
}

#: Asks SQLite for the triggers that stand.
SQLITE_TRIGGERS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"

_BODY = f"""
BEGIN RAISE EXCEPTION '{_REFUSAL}'; END
"""

#: ALWAYS: also where a session calls itself a replica, which silences ordinary triggers.
_POSTGRESQL = (
    "DROP TRIGGER IF EXISTS entry_guard ON entry",
    f"""CREATE OR REPLACE FUNCTION entry_guard() RETURNS trigger LANGUAGE plpgsql
AS $guard${_BODY}$guard$""",
    """CREATE TRIGGER entry_guard BEFORE UPDATE OR DELETE OR TRUNCATE ON entry
FOR EACH STATEMENT EXECUTE FUNCTION entry_guard()""",
    "ALTER TABLE entry ENABLE ALWAYS TRIGGER entry_guard",
)

#: tgtype is a sum of bits: 2 before, 8 delete, 16 update, 32 truncate; no 1, so for the statement
#: (PostgreSQL, src/include/catalog/pg_trigger.h, from memory).
_POSTGRESQL_STANDS = """SELECT p.prosrc FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
WHERE t.tgrelid = to_regclass('entry') AND t.tgname = 'entry_guard' AND t.tgenabled = 'A'
AND t.tgtype = 58"""


def build(conn: Connection) -> None:
    """Sets the guards up anew; every upgrade ends with it."""
    if conn.dialect.name == "sqlite":
        for name, guard in SQLITE_GUARDS.items():
            conn.exec_driver_sql(f"DROP TRIGGER IF EXISTS {name}")
            conn.exec_driver_sql(guard)
    else:
        for statement in _POSTGRESQL:
            conn.exec_driver_sql(statement)


def frozen(path: str) -> bool:
    """Whether the file of a book can be read, and by nobody at all be written."""
    rights = os.stat(path).st_mode
    on_disk_to_read = os.statvfs(path).f_flag & os.ST_RDONLY
    return bool(rights & 0o444) and bool(not rights & 0o222 or on_disk_to_read)


def missing_among(triggers: Iterable[Sequence[object]]) -> tuple[str, ...]:
    """Of SQLite's guards, those that are not among the rows that `SQLITE_TRIGGERS` gave."""
    standing = {row[0]: row[1] for row in triggers}
    return tuple(name for name, sql in SQLITE_GUARDS.items() if standing.get(name) != sql)


def missing(conn: Connection) -> tuple[str, ...]:
    """The names of the guards that do not stand as they should."""
    if conn.dialect.name == "sqlite":
        return missing_among(conn.exec_driver_sql(SQLITE_TRIGGERS).all())
    body = conn.exec_driver_sql(_POSTGRESQL_STANDS).scalar()
    return () if body == _BODY else ("entry_guard",)
