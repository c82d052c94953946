"""Putting a backup in the place of a book: what happened since the backup, nobody knows.

So an entry in every machine's chain voids every gate. It is written into the copy before that takes
the book's place: at no moment can anybody ask a restored book that does not say so.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.core.entry import Restored
from checkwatch.core.instant import Instant, iso, to_datetime
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.keeping import look, refuse_unsound, whole
from checkwatch.store import backup as copies
from checkwatch.store import engine, journal, migrate, read


class Held(NamedTuple):
    """What a book holds: its highest number, when its newest entry was written, how many machines;
    `trouble` says why nobody can tell, or what is wrong with it."""

    newest: int = 0
    written: Instant | None = None
    machines: int = 0
    trouble: str = ""


class Put(NamedTuple):
    """What was put where: what the backup held, the file into which the old book was put, if there
    was one, and how many entries were written."""

    backup: Held
    aside: Path | None
    marked: int


#: Asked before anything is changed, with the backup and what is in its place, None for nothing.
#: Returns when it was agreed; raises to leave all as it is.
Agree = Callable[[Held, Held | None], Instant]


def restore(url: str, source: Path, by: str, agree: Agree) -> Put:
    """Puts a backup in the place of a book in SQLite; what was there is kept under another name.

    Raises WrongUse for a book in PostgreSQL, CannotTell for a backup that cannot be read or does
    not verify: then nothing is changed.
    """
    path = engine.sqlite_path(url)
    if path is None:
        what = "lies in PostgreSQL, which puts its own backups back"
        remedy = "do that first (docs/operating/backup.md), then run it without a file"
        raise WrongUse(Problem(engine.shown(url), what, remedy))
    if path.exists() and source.exists() and path.samefile(source):
        raise WrongUse(Problem(str(source), "is the book itself", "name its backup"))
    with copies.beside(path) as part:
        held = _prepared(part, source)
        now = agree(held, _in_place(url, path))
        marked = mark(str(part), now, by)
        return Put(held, _put(part, path, source, now), marked)


def mark(url: str, now: Instant, by: str) -> int:
    """Writes for every machine that the book was put back, which voids every gate; returns how
    many entries that is."""
    with changing(url, now) as conn:
        held = _held(conn)
        since = iso(whole(held.written)) if held.written is not None else "nothing"
        note = f"from the backup of {since}, up to entry {held.newest}"
        # Retired ones too: a retirement may be struck.
        drafts = [
            Restored(seq=0, machine=machine, at=now, recorded=now, by=by, note=note)
            for machine in read.machines(conn)
        ]
        return len(journal.append(conn, drafts, now))


def held_by(url: str) -> Held:
    """What a book holds; CannotTell where there is none of this program's version."""
    with engine.reading(url) as conn:
        return _held(conn)


def _held(conn: Connection) -> Held:
    machines = len(read.machines(conn))
    return Held(read.newest_seq(conn), read.newest_recorded(conn), machines)


def _prepared(part: Path, source: Path) -> Held:
    """A copy of the backup that this program can use, verified; what it holds."""
    state = migrate.schema_state(str(source))
    if state not in ("current", "older"):
        with engine.reading(str(source)):
            pass  # It says what there is instead of a book.
    copies.copy(source, part, str(source), "WAL")
    refuse_unsound(part, str(source), state == "older")
    if state == "older":
        migrate.upgrade(str(part))
        refuse_unsound(part, str(source))
    return held_by(str(part))


def _in_place(url: str, path: Path) -> Held | None:
    """What is where the backup is to be put; None for nothing at all."""
    if not path.exists() or path.stat().st_size == 0:
        return None
    try:
        held = held_by(url)
        reasons = look(url, held.written or Instant(0)).reasons
        return held._replace(trouble="; ".join(reasons))
    except CannotTell as refusal:
        return Held(trouble="; ".join(problem.what for problem in refusal.problems))


def _put(part: Path, path: Path, source: Path, now: Instant) -> Path | None:
    """Gives the copy the book's place; returns the name that the old one was given.

    A database that can be opened is copied and then written over in one change: whoever waits to
    write it writes the new one. What is none is only renamed.
    """
    stamp = f"{to_datetime(now):%Y%m%dT%H%M%SZ}"
    aside = path.with_name(f"{path.name}.before-{stamp}")
    if copies.opens(path):
        with copies.beside(aside) as old:
            copies.copy(path, old, str(path), "DELETE")
            copies.same_rights(old, path)
            copies.put(old, aside)
        copies.copy(part, path, str(path), "WAL")
        return aside
    there = copies.set_aside(path, aside)
    copies.same_rights(part, source)
    copies.put(part, path)
    return aside if there else None
