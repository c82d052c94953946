"""Is this book sound and usable? What can be wrong with it, one finding after another."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.core.instant import CLOCK_TOLERANCE, Instant, iso
from checkwatch.errors import CannotTell
from checkwatch.store import chains, engine, guards, health, people, read
from checkwatch.views.words import listed, relative

#: Bytes that should be free, beside those of a copy of the book. Ours, without a source.
_ROOM = 100_000_000


class Verdict(StrEnum):
    """Whether a finding keeps the book from being used."""

    GOOD = "good"
    BEWARE = "beware"
    WRONG = "wrong"


class Finding(NamedTuple):
    """One thing that was looked at; no remedy where nothing is to be done."""

    verdict: Verdict
    part: str
    what: str
    remedy: str = ""


def check(url: str, now: Instant) -> Iterator[Finding]:
    """What is found, one after the other; it ends where the book cannot be opened.

    Raises WrongUse for an address that cannot be read.
    """
    path = engine.sqlite_path(url)
    first = _asked(url, "book", lambda conn: _book(conn, url, path))
    yield first
    if first.verdict is Verdict.WRONG:
        return
    yield _asked(url, "pages", _pages)
    yield _asked(url, "guards", _guards)
    yield _asked(url, "entries", _entries)
    yield _asked(url, "people", _people)
    yield _asked(url, "clock", lambda conn: _clock(conn, now))
    if path is not None:
        yield _asked(url, "use", lambda conn: _use(conn, path))
        yield _room(path)


def _asked(url: str, part: str, look: Callable[[Connection], Finding]) -> Finding:
    """What a look into the book finds, or why nobody can look."""
    try:
        with engine.reading(url) as conn:
            return look(conn)
    except CannotTell as refusal:
        problem = refusal.problems[0]
        return Finding(Verdict.WRONG, part, problem.what, problem.remedy)


def _book(conn: Connection, url: str, path: Path | None) -> Finding:
    what = f"{engine.shown(url)}, up to entry {read.newest_seq(conn)}"
    if path is not None and not os.access(path, os.W_OK):
        remedy = "who is to write entries asks its keeper for the right"
        return Finding(Verdict.BEWARE, "book", f"{what}; you cannot write it", remedy)
    return Finding(Verdict.GOOD, "book", what)


def _pages(conn: Connection) -> Finding:
    if found := health.damage(conn):
        remedy = "keep the file, and go on with a backup: `checkwatch book restore`"
        return Finding(Verdict.WRONG, "pages", f"damaged: {'; '.join(found)}", remedy)
    if conn.dialect.name != "sqlite":
        return Finding(Verdict.GOOD, "pages", "left to PostgreSQL")
    return Finding(Verdict.GOOD, "pages", "the file is not damaged")


def _guards(conn: Connection) -> Finding:
    if gone := guards.missing(conn):
        remedy = "find out who took them away, then run `checkwatch upgrade`"
        return Finding(Verdict.WRONG, "guards", f"missing: {', '.join(gone)}", remedy)
    return Finding(Verdict.GOOD, "guards", "no entry can be changed or taken away")


def _entries(conn: Connection) -> Finding:
    if broken := chains.verify(conn):
        what = f"entry {broken.seq} of {broken.machine or 'the book'}: {broken.why}"
        remedy = "keep the book, and go on with a backup: `checkwatch book restore`"
        return Finding(Verdict.WRONG, "entries", what, remedy)
    return Finding(Verdict.GOOD, "entries", "every one is as it was written")


def _people(conn: Connection) -> Finding:
    if found := people.unreadable(conn):
        what = f"the training of {listed(found)} cannot be read: untrained, and without roles"
        remedy = "`checkwatch people --erase` each, and read the people file in again"
        return Finding(Verdict.BEWARE, "people", what, remedy)
    return Finding(Verdict.GOOD, "people", "what is known of each can be read")


def _clock(conn: Connection, now: Instant) -> Finding:
    newest = read.newest_recorded(conn)
    if newest is None:
        return Finding(Verdict.BEWARE, "clock", "no entry to compare it with")
    if now < newest - CLOCK_TOLERANCE:
        what = f"says {iso(now)}, but the newest entry was written {iso(newest)}"
        return Finding(Verdict.WRONG, "clock", what, "set this computer's clock right")
    written = relative(min(newest, now), now)
    return Finding(Verdict.GOOD, "clock", f"not behind the newest entry, written {written}")


def _use(conn: Connection, path: Path) -> Finding:
    """Whether several can use the file at once."""
    if kind := health.network(path):
        remedy = "move it to a disk of this computer, or go over to PostgreSQL"
        what = f"it lies on a network disk ({kind}), where its locks do not hold"
        return Finding(Verdict.WRONG, "use", what, remedy)
    if (mode := health.journal_mode(conn)) != "wal":
        remedy = "a backup becomes a book by `checkwatch book restore`"
        what = f"it is kept as a single file (journal mode {mode}): questions wait for writers"
        return Finding(Verdict.BEWARE, "use", what, remedy)
    return Finding(Verdict.GOOD, "use", "on a disk of this computer; questions wait for no writer")


def _room(path: Path) -> Finding:
    free, taken = health.room(path)
    what = f"{_size(free)} free on its disk; it takes {_size(taken)}"
    if free < taken + _ROOM:
        return Finding(Verdict.BEWARE, "room", what, "make room: a full disk takes no entry")
    return Finding(Verdict.GOOD, "room", what)


def _size(count: int) -> str:
    """Bytes as people say them, rounded down: "3 MB"."""
    for unit in ("B", "kB", "MB"):
        if count < 1000:
            return f"{count} {unit}"
        count //= 1000
    return f"{count} GB"
