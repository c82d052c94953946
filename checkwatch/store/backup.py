"""Copies of a book in SQLite: made while it is in use, and put where nothing is overwritten.

A copy is written beside its place under another name, and takes the place only once it is whole and
on the disk. Nothing here looks at what the copy holds.
"""

from __future__ import annotations

import os
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store import trouble
from checkwatch.store.engine import PATIENCE

#: Milliseconds between two attempts at a book that somebody else is writing.
_PAUSE = 250

#: The files that belong to a book in use. One that is left beside another book would be read into
#: it (sqlite.org/howtocorrupt.html, 1.4).
_BESIDE = ("-wal", "-shm", "-journal")


@contextmanager
def beside(target: Path) -> Iterator[Path]:
    """An empty file in the folder of a target, to be filled; gone when the block is left."""
    with _named(target):
        handle, name = tempfile.mkstemp(prefix=f"{target.name}.", suffix=".part", dir=target.parent)
        os.close(handle)
    try:
        yield Path(name)
    finally:
        for path in (name, *(f"{name}{end}" for end in _BESIDE)):
            with suppress(OSError):
                os.unlink(path)


def copy(source: Path, target: Path, where: str, journal: str) -> None:
    """Copies a database page by page as it stands at one moment, damage and all.

    Others may read and write meanwhile. `journal` is the copy's journal mode: WAL for a book that
    is to be used, DELETE for one that is to lie as a single file. Raises CannotTell for trouble.
    """
    with trouble.refused(where), closing(_read(source)) as there, closing(_written(target)) as here:
        there.backup(here, progress=_patience(where), sleep=_PAUSE / 1000)
        here.execute(f"PRAGMA journal_mode = {journal}")


def replace(source: Path, target: Path, keep: Callable[[], None]) -> None:
    """Writes a database over one that may be in use, as one change: others see the one or the
    other.

    `keep` is called when nobody else can write the old one any more, and may read it: what it
    copies is all that was ever written there. Raises CannotTell for any trouble, then the old one
    stands.
    """
    where = str(target)
    waited = _patience(where)
    kept = False

    def held(status: int, rest: int, pages: int) -> None:
        nonlocal kept
        waited(status, rest, pages)
        if status == sqlite3.SQLITE_OK and not kept:
            keep()
            kept = True

    with trouble.refused(where), closing(_read(source)) as there, closing(_written(target)) as here:
        # Without it the writer who holds the old one would keep off its readers, too.
        here.execute("PRAGMA journal_mode = WAL")
        # From its first page on the copy holds the target.
        there.backup(here, pages=1, progress=held, sleep=_PAUSE / 1000)


def _read(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)


def _written(path: Path) -> sqlite3.Connection:
    conn = sqlite3.connect(path, timeout=0)
    conn.execute("PRAGMA synchronous = FULL")
    return conn


def _patience(where: str) -> Callable[[int, int, int], None]:
    """Told how a copy goes on; gives up where somebody else holds the target for too long."""
    tries = 0

    def waited(status: int, _rest: int, _pages: int) -> None:
        nonlocal tries
        tries += status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
        if tries > PATIENCE / _PAUSE:
            what = "is locked: somebody else is writing"
            raise CannotTell(Problem(where, what, "try again in a moment"))

    return waited


def put(part: Path, target: Path) -> None:
    """Gives a file its name once it is on the disk; WrongUse where there is one of that name."""
    with _named(target):
        with part.open("rb") as stream:
            os.fsync(stream.fileno())
        try:
            # Unlike a renaming it never replaces what another process has put there meanwhile.
            os.link(part, target)
        except FileExistsError:
            raise taken(target) from None
        except OSError:  # a disk that knows no links
            if target.exists():
                raise taken(target) from None
            os.rename(part, target)
        _sync_folder(target.parent)


def taken(target: Path) -> WrongUse:
    """The refusal to write over a file."""
    return WrongUse(Problem(str(target), "is there already", "name a new file"))


def opens(path: Path) -> bool:
    """Whether a file is a database, sound or not; CannotTell where nobody can tell now."""
    if not path.exists() or path.stat().st_size == 0:
        return False
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as conn:
            conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorname.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
            return False
        with trouble.refused(str(path)):
            raise
    return True


def set_aside(path: Path, target: Path) -> bool:
    """Gives a file that is no usable book another name, with those that belong to it; whether
    there was any."""
    found = False
    with _named(path):
        for end in ("", *_BESIDE):
            if os.path.exists(f"{path}{end}"):
                os.rename(f"{path}{end}", f"{target}{end}")
                found = True
        _sync_folder(path.parent)
    return found


def same_rights(path: Path, source: Path) -> None:
    """Lets a file be read and written by those who may so with another, and by its owner."""
    with suppress(OSError):
        path.chmod(stat.S_IMODE(source.stat().st_mode) | stat.S_IWUSR)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """Trouble with a file as a refusal that names it."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CannotTell(Problem(str(path), f"cannot be written: {reason}", _ELSEWHERE)) from None


_ELSEWHERE = "look at its folder and the room on the disk, or name another place"
