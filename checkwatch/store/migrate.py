"""Making a book and bringing an older one up to date. Imports alembic, so no question needs it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.util import CommandError
from sqlalchemy import Connection, inspect

import checkwatch
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store import engine, trouble
from checkwatch.store.engine import State


def create(url: str) -> None:
    """Makes an empty book; WrongUse where there is one already, or something else, CannotTell where
    none can be made."""
    with creating(url):
        pass


@contextmanager
def creating(url: str) -> Iterator[Connection]:
    """As `create`, and the new book for a first change: both stand when the block is left, or
    neither.

    In SQLite a file without a book may be left then. It is not removed: another process could be
    making a book in it by now.
    """
    path = engine.sqlite_path(url)
    if path is not None:
        _prepare_file(path, engine.shown(url))
    with engine.making(url) as conn:
        if engine.state_of(conn) != "none":
            remedy = "name another place with --db, or go on with this one"
            raise WrongUse(Problem(engine.shown(url), "there is a book already", remedy))
        _refuse_foreign(conn, url)
        command.upgrade(config(conn), "head")
        yield conn


def upgrade(url: str) -> None:
    """Brings a book's tables to this program's version and sets its guards up anew.

    Raises CannotTell where there is no book that this program can bring there.
    """
    with engine.upgrading(url) as conn:
        state = engine.state_of(conn)
        if state == "none":
            raise CannotTell(Problem(engine.shown(url), "there is no book in it", "make one first"))
        if state == "newer":
            remedy = "use the version of checkwatch that wrote it, or a later one"
            raise CannotTell(Problem(engine.shown(url), "the book is of a newer version", remedy))
        try:
            command.upgrade(config(conn), "head")
        except CommandError:
            remedy = "use the version of checkwatch that wrote it"
            problem = Problem(engine.shown(url), "nobody knows the book's version", remedy)
            raise CannotTell(problem) from None


def schema_state(url: str) -> State:
    """How the book's tables compare with this program's; `none` where there is no book.

    Raises CannotTell where it cannot be reached.
    """
    path = engine.sqlite_path(url)
    if path is not None and (not path.exists() or path.stat().st_size == 0):
        return "none"
    with engine.looking(url) as conn:
        return engine.state_of(conn)


def config(conn: Connection) -> Config:
    """What alembic needs to run our migrations on an open connection."""
    made = Config()
    # Config reads % as the start of a variable, and folders may be called anything.
    made.set_main_option("script_location", str(scripts()).replace("%", "%%"))
    made.attributes["connection"] = conn
    return made


def scripts() -> Path:
    """The folder of the migrations: inside the installed package, or beside it in a checkout."""
    package = Path(checkwatch.__file__).parent
    shipped = package / "_migrations"
    return shipped if shipped.is_dir() else package.parent / "alembic"


def _refuse_foreign(conn: Connection, url: str) -> None:
    if tables := inspect(conn).get_table_names():
        what = f"belongs to something else: it holds {', '.join(sorted(tables)[:3])}"
        raise WrongUse(Problem(engine.shown(url), what, "name an empty place with --db"))


def _prepare_file(path: Path, where: str) -> None:
    """An empty file in WAL mode, which cannot be set inside a transaction."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.stat().st_size > 0:
            return
    except OSError as error:
        reason = f"cannot be made: {(error.strerror or str(error)).lower()}"
        raise CannotTell(Problem(where, reason, "name another place with --db")) from None
    with trouble.refused(where), closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA journal_mode = WAL")
