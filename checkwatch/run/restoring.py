"""Putting a backup in the place of a book: what happened since the backup, nobody knows.

So an entry in every machine's chain voids every gate. It is written into the copy before that takes
the book's place: at no moment can anybody ask a restored book that does not say so.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, tzinfo
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.core.entry import Restored
from checkwatch.core.instant import Instant, to_datetime
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.keeping import look, refuse_unsound
from checkwatch.run.people import refuse_nobody
from checkwatch.run.world import adopted
from checkwatch.store import backup as copies
from checkwatch.store import engine, journal, migrate, read
from checkwatch.store.people import everybody
from checkwatch.views.words import local


class Held(NamedTuple):
    """What a book holds: its highest number, when its newest entry was written, how many machines;
    `trouble` says why nobody can tell, or what is wrong with it. Its times are read in `zone`."""

    newest: int = 0
    written: Instant | None = None
    machines: int = 0
    trouble: str = ""
    zone: tzinfo = UTC


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

    Raises WrongUse for a book in PostgreSQL and for what is nobody's own code, CannotTell for a
    backup that cannot be read or does not verify: then nothing is changed.
    """
    path = engine.sqlite_path(url)
    if path is None:
        what = "lies in PostgreSQL, which puts its own backups back"
        remedy = "do that first (docs/operating/backup.md), then run it without a file"
        raise WrongUse(Problem(engine.shown(url), what, remedy))
    if path.exists() and source.exists() and path.samefile(source):
        raise WrongUse(Problem(str(source), "is the book itself", "name its backup"))
    with copies.beside(path) as part:
        held = _prepared(part, source, by)
        now = agree(held, _in_place(url, path))
        marked = mark(str(part), now, by)
        return Put(held, _put(part, path, source, now), marked)


def mark(url: str, now: Instant, by: str) -> int:
    """Writes for every machine that the book was put back, which voids every gate; returns how
    many entries that is."""
    with changing(url, now) as conn:
        journal.alone(conn)
        held = _held(conn)
        # Another computer's clock may be a little ahead: what it wrote came before this all the
        # same, and a test that it wrote or began is not to outlast it, not at one instant either.
        moment = now if held.written is None else Instant(max(now, held.written + 1))
        # Whoever reads it may do so in another year.
        since = "nothing" if held.written is None else local(held.written, held.zone, Instant(0))
        note = f"from the backup of {since}, up to entry {held.newest}"
        # Retired ones too: a retirement may be struck.
        drafts = [
            Restored(seq=0, machine=machine, at=moment, recorded=moment, by=by, note=note)
            for machine in read.machines(conn)
        ]
        return len(journal.append(conn, drafts, moment))


def held_by(url: str, by: str) -> Held:
    """What a book holds that was put back; CannotTell where there is none of this program's
    version, WrongUse where by its people `by` is nobody's own code."""
    with engine.reading(url) as conn:
        refuse_nobody(by, everybody(conn))
        return _held(conn)


def _held(conn: Connection) -> Held:
    machines = len(read.machines(conn))
    written = read.newest_recorded(conn)
    return Held(read.newest_seq(conn), written, machines, zone=_zone(conn, written))


def _zone(conn: Connection, at: Instant | None) -> tzinfo:
    """UTC for a book whose rules cannot be read: it is put back all the same."""
    try:
        version = adopted(conn).in_force(at or Instant(0))
    except CannotTell:
        return UTC
    return version.rulebook.zone if version else UTC


def _prepared(part: Path, source: Path, by: str) -> Held:
    """A copy of the backup that this program can use, verified; what it holds.

    The backup is only copied, so it may be one that nobody can write.
    """
    state = migrate.schema_state(str(source))
    if state not in ("current", "older"):
        with engine.looking(str(source)) as conn:  # It says what there is instead of a book.
            engine.refuse_unless_current(conn, str(source))
    copies.copy(source, part, str(source), "WAL")
    refuse_unsound(part, str(source), state == "older")
    if state == "older":
        migrate.upgrade(str(part))
        refuse_unsound(part, str(source))
    return held_by(str(part), by)


def _in_place(url: str, path: Path) -> Held | None:
    """What is where the backup is to be put; None for nothing at all."""
    if not path.exists() or path.stat().st_size == 0:
        return None
    try:
        with engine.reading(url) as conn:
            held = _held(conn)
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
        copies.replace(part, path, lambda: _kept(path, aside))
        return aside
    there = copies.set_aside(path, aside)
    copies.same_rights(part, source)
    copies.put(part, path)
    return aside if there else None


def _kept(path: Path, aside: Path) -> None:
    """Copies what is in the place of a book under another name."""
    with copies.beside(aside) as old:
        copies.copy(path, old, str(path), "DELETE")
        copies.same_rights(old, path)
        copies.put(old, aside)
