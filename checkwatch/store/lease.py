"""Which of several watchers decides, and when it last looked.

A lease that would last longer than any does was written by a clock that was ahead: it keeps nobody
out.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, select

from checkwatch.core.instant import CLOCK_TOLERANCE, MINUTE, Instant
from checkwatch.store.tables import watcher

#: So long after its last look a watcher's place is free for another.
LASTS = MINUTE

#: Where there is no time for which nobody looked.
NEVER = Instant(0)

_NAME = "watcher"


class Lease(NamedTuple):
    """Who decides, until when another may not, when that process began, and when it last looked;
    `away_from` and `away_until` are the last time for which nobody did, both 0 if there was none.
    """

    holder: str
    until: Instant
    started: Instant
    ticked: Instant
    away_from: Instant
    away_until: Instant


def lease(conn: Connection) -> Lease | None:
    """The lease as it stands; None where no watcher ever looked."""
    columns = (getattr(watcher.c, name) for name in Lease._fields)
    row = conn.execute(select(*columns).where(watcher.c.name == _NAME)).first()
    return None if row is None else Lease._make(row)


def is_free(standing: Lease | None, holder: str, now: Instant) -> bool:
    """Whether a process may decide now."""
    if standing is None or standing.holder == holder:
        return True
    return not now < standing.until <= now + LASTS + CLOCK_TOLERANCE


def renew(conn: Connection, new: Lease) -> None:
    """Holds that a process decides from now on; it asked first whether it may."""
    values = new._asdict()
    ours = watcher.c.name == _NAME
    if conn.execute(watcher.update().where(ours).values(values)).rowcount == 0:
        conn.execute(watcher.insert().values(name=_NAME, **values))


def give_back(conn: Connection, holder: str, now: Instant) -> None:
    """Lets another process decide at once; nobody is the holder then, so that who died or went is
    not taken for dead again and again."""
    mine = (watcher.c.name == _NAME) & (watcher.c.holder == holder)
    conn.execute(watcher.update().where(mine).values(until=now, holder=""))
