"""Opening the book: for a question, which never makes or changes a file, or to write.

Both yield a connection in one transaction. SQLite is told how to begin (BEGIN IMMEDIATE for
writers, so that two of them queue instead of failing); PostgreSQL is asked for durable commits.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool

from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store import committed, guards, trouble

#: Milliseconds that a writer waits for another before it gives up.
PATIENCE = 10_000

#: How SQLite opens the file: for a question, to write, or to make a book.
Mode = Literal["ro", "rw", "rwc"]

State = Literal["none", "current", "older", "newer"]


@contextmanager
def reading(url: str) -> Iterator[Connection]:
    """The book for questions: a connection on one unchanging snapshot of it.

    Raises CannotTell where there is no book, or none that this program can read, and for a copy
    that nobody can write: what happens now cannot be in it.
    """
    _refuse_frozen(url)
    with _open(url, "ro") as conn:
        refuse_unless_current(conn, url)
        yield conn


@contextmanager
def writing(url: str) -> Iterator[Connection]:
    """The book for one change: all of it is on disk when the block is left, or none of it.

    Raises CannotTell where there is no book, where it cannot be written, or where its guards are
    missing.
    """
    with _open(url, "rw") as conn:
        refuse_unless_current(conn, url)
        if gone := guards.missing(conn):
            what = f"its guards are missing: {', '.join(gone)}"
            remedy = "find out who took them away, then run `checkwatch upgrade`"
            raise CannotTell(Problem(shown(url), what, remedy))
        yield conn


@contextmanager
def noting(url: str) -> Iterator[Connection]:
    """The book for what stands beside the entries; as `writing`, also where its guards are
    missing: that must be told to somebody."""
    with _open(url, "rw") as conn:
        refuse_unless_current(conn, url)
        yield conn


@contextmanager
def making(url: str) -> Iterator[Connection]:
    """A database in which a book is to be made, whatever it holds.

    Raises CannotTell where it cannot be reached or written.
    """
    with _open(url, "rwc") as conn:
        yield conn


@contextmanager
def upgrading(url: str) -> Iterator[Connection]:
    """A database that is there, with a book of any version or none; else as `making`."""
    with _open(url, "rw") as conn:
        yield conn


@contextmanager
def looking(url: str) -> Iterator[Connection]:
    """A database that may or may not hold a book of this program's version, for reading."""
    with _open(url, "ro") as conn:
        yield conn


def state_of(conn: Connection) -> State:
    """Whether the book has the tables that this program knows; `none` if it is no book."""
    if not inspect(conn).has_table(guards.VERSION_TABLE):
        return "none"
    found = conn.exec_driver_sql(f"SELECT version_num FROM {guards.VERSION_TABLE}").scalar()
    if found == guards.SCHEMA:
        return "current"
    return "newer" if found is not None and found > guards.SCHEMA else "older"


def shown(url: str) -> str:
    """The book's address as messages name it: without a password."""
    if "://" not in url:
        return url
    try:
        return make_url(url).render_as_string(hide_password=True)
    except (ArgumentError, ValueError):
        return "--db"


def sqlite_path(url: str) -> Path | None:
    """The file of a book in SQLite, None for another database.

    Raises WrongUse for an address that cannot be read.
    """
    if "://" not in url:
        if not url or "\0" in url:
            raise WrongUse(Problem("--db", "is no path", "name a file or a database URL"))
        return Path(url).absolute()
    address = _parsed(url)
    if address.get_backend_name() != "sqlite":
        return None
    if address.database in (None, "", ":memory:"):
        raise WrongUse(Problem(shown(url), "a book in memory would be lost", "name a file"))
    if address.query:
        raise WrongUse(Problem(shown(url), "a file takes no options", _KNOWN))
    return Path(str(address.database)).absolute()


@contextmanager
def _open(url: str, mode: Mode) -> Iterator[Connection]:
    """A transaction; every trouble of the database becomes a refusal that names the book."""
    path = sqlite_path(url)
    if path is not None:
        _refuse_no_file(path, mode, shown(url))
    with trouble.refused(shown(url)):
        engine = _sqlite(path, mode) if path else _server(url, mode)
        with engine.begin() as conn:
            if conn.dialect.name == "postgresql" and mode != "ro":
                conn.exec_driver_sql(f"SET LOCAL lock_timeout = {PATIENCE}")
                conn.exec_driver_sql("SET LOCAL synchronous_commit = on")
            yield conn
            wrote = committed.handed(conn.info)
        committed.stand(wrote)


def _refuse_no_file(path: Path, mode: Mode, where: str) -> None:
    try:
        size = path.stat().st_size
        is_folder = path.is_dir()
    except FileNotFoundError:
        if mode == "rwc":
            return
        raise CannotTell(Problem(where, "there is no book", _BEGIN)) from None
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise CannotTell(Problem(where, reason, "name another file with --db")) from None
    if is_folder:
        raise CannotTell(Problem(where, "is a folder", "name a file in it with --db"))
    if size == 0 and mode != "rwc":
        raise CannotTell(Problem(where, "the file is empty, there is no book in it", _BEGIN))


def _refuse_frozen(url: str) -> None:
    path = sqlite_path(url)
    if path and os.name == "posix" and os.path.isfile(path) and guards.frozen(str(path)):
        remedy = "give its keeper the right to write it"
        raise CannotTell(Problem(shown(url), guards.UNWRITABLE, remedy))


_BEGIN = "make one with `checkwatch begin`, or name another with --db"


def refuse_unless_current(conn: Connection, url: str) -> None:
    """Raises CannotTell where a database holds no book of this program's version."""
    state = state_of(conn)
    if state == "none":
        empty = not inspect(conn).get_table_names()
        what = "there is no book in it" if empty else "belongs to something else, it is no book"
        raise CannotTell(Problem(shown(url), what, _BEGIN))
    if state == "older":
        remedy = "run `checkwatch upgrade`"
        raise CannotTell(Problem(shown(url), "the book is of an older version", remedy))
    if state == "newer":
        remedy = "use the version of checkwatch that wrote it, or a later one"
        raise CannotTell(Problem(shown(url), "the book is of a newer version", remedy))


@lru_cache(maxsize=16)
def _sqlite(path: Path, mode: Mode) -> Engine:
    def connect() -> sqlite3.Connection:
        conn = sqlite3.connect(f"{path.as_uri()}?mode={mode}", uri=True, isolation_level=None)
        for pragma in (
            f"busy_timeout = {PATIENCE}",
            "synchronous = FULL",
            "foreign_keys = ON",
            # Kilobytes. An import touches every index at many places; others never fill it.
            "cache_size = -64000",
            # Else INSERT OR REPLACE would remove lines without firing the guard against it.
            "recursive_triggers = ON",
        ):
            conn.execute(f"PRAGMA {pragma}")
        if mode == "ro":
            conn.execute("PRAGMA query_only = ON")
        return conn

    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)
    begin = "BEGIN" if mode == "ro" else "BEGIN IMMEDIATE"
    event.listen(engine, "begin", lambda conn: conn.exec_driver_sql(begin))
    return engine


@lru_cache(maxsize=16)
def _server(url: str, mode: Mode) -> Engine:
    address = _parsed(url)
    options: dict[str, Any] = {"poolclass": NullPool, "connect_args": {"connect_timeout": 10}}
    try:
        engine = create_engine(address, **options)
    except ArgumentError:
        raise WrongUse(Problem(shown(url), "has options that nobody knows", _KNOWN)) from None
    except ModuleNotFoundError as error:
        remedy = "install checkwatch with its extra `postgres`: pip install 'checkwatch[postgres]'"
        raise WrongUse(Problem(shown(url), f"needs {error.name}", remedy)) from None
    if mode != "ro":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


_DRIVERS = ("sqlite", "sqlite+pysqlite", "postgresql", "postgresql+psycopg")
_KNOWN = "use a path, sqlite:///PATH or postgresql://USER@HOST/NAME"


def _parsed(url: str) -> URL:
    try:
        address = make_url(url)
    except (ArgumentError, ValueError):
        raise WrongUse(Problem("--db", "is no database URL", _KNOWN)) from None
    if address.drivername not in _DRIVERS:
        what = f"{address.drivername!r} is no database that checkwatch knows"
        raise WrongUse(Problem(shown(url), what, _KNOWN))
    return address
