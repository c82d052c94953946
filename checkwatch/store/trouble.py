"""What a database complains of, as a refusal that names the book and says what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from checkwatch.errors import CannotTell, Problem

_WAIT = "try again in a moment"
_RIGHTS = "ask whoever keeps the book for the right to write it"
_FOLDER = "ask for the right to write its folder: two more files belong to a book in use"
_RESTORE = "keep the file, and go on with a backup"

_Known = tuple[tuple[str, str, str], ...]

#: By the beginning of SQLite's error name (sqlite.org/rescode.html); the first that fits.
_SQLITE: _Known = (
    ("SQLITE_BUSY", "is locked: somebody else is writing", _WAIT),
    ("SQLITE_LOCKED", "is locked: somebody else is writing", _WAIT),
    ("SQLITE_READONLY_DIRECTORY", "cannot be used: nothing can be written beside it", _FOLDER),
    ("SQLITE_READONLY_CANTINIT", "cannot be used: nothing can be written beside it", _FOLDER),
    ("SQLITE_READONLY", "cannot be written", _RIGHTS),
    ("SQLITE_PERM", "cannot be opened: permission denied", _RIGHTS),
    ("SQLITE_CANTOPEN", "cannot be opened", "look whether it can be read, and its folder written"),
    ("SQLITE_NOTADB", "is no book, it is some other file", "name another with --db"),
    ("SQLITE_CORRUPT", "is damaged", _RESTORE),
    ("SQLITE_FULL", "the disk is full", "make room, then try again"),
    ("SQLITE_IOERR", "the disk cannot be read or written", "look at the disk, then try again"),
)

#: By the beginning of the SQLSTATE (PostgreSQL manual, appendix A); the first that fits.
_POSTGRESQL: _Known = (
    ("40P01", "two writers waited for each other", _WAIT),
    ("40", "somebody else was writing", _WAIT),
    ("55P03", "is locked: somebody else is writing", _WAIT),
    ("25006", "cannot be written", _RIGHTS),
    ("42501", "permission denied", _RIGHTS),
    ("53", "the server has no room left", "ask whoever keeps the server"),
    ("XX", "is damaged", "keep it, and go on with a backup"),
)


@contextmanager
def refused(where: str) -> Iterator[None]:
    """Turns the database's errors inside the block into CannotTell, naming the book `where`."""
    try:
        yield
    except DBAPIError as error:
        raise CannotTell(_problem(where, error.orig)) from error
    except sqlite3.Error as error:
        raise CannotTell(_problem(where, error)) from error


def _problem(where: str, error: BaseException | None) -> Problem:
    if isinstance(error, sqlite3.Error):
        code, known = str(getattr(error, "sqlite_errorname", "")), _SQLITE
    else:
        code, known = str(getattr(error, "sqlstate", None) or ""), _POSTGRESQL
    for start, what, remedy in known:
        if code.startswith(start):
            return Problem(where, what, remedy)
    said = " ".join(str(error).split())
    if not isinstance(error, sqlite3.Error) and code in ("", "57P01", "57P02", "57P03"):
        # A connection that fails carries no SQLSTATE, only the server's sentence, if it gave one.
        _, _, reason = said.partition("FATAL: ")
        what = f"the server cannot be reached{reason and f': {reason[:200]}'}"
        return Problem(where, what, "look whether it runs and whether --db is right")
    return Problem(where, f"the database refused: {said[:200]}", "run `checkwatch verify`")
