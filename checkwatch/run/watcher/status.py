"""Asking the book how watching goes."""

from __future__ import annotations

from collections.abc import Iterable

from checkwatch.answers.notice.watching import Handed, Watching
from checkwatch.core.instant import Instant
from checkwatch.store import engine, lease, outbox
from checkwatch.store.outbox import Message

#: So many of the newest messages are shown.
_SHOWN = 10


def last_look(url: str) -> Instant | None:
    """When a watcher last looked; None where none ever did. CannotTell as `watching`."""
    with engine.reading(url) as conn:
        standing = lease.lease(conn)
    return standing.ticked if standing else None


def watching(url: str, now: Instant) -> Watching:
    """How watching goes by now; CannotTell where there is no book to read."""
    with engine.reading(url) as conn:
        standing = lease.lease(conn)
        return Watching(
            now,
            standing.ticked if standing else None,
            standing.started if standing else None,
            _handed(outbox.undelivered(conn, now)),
            _handed(outbox.newest(conn, _SHOWN)),
        )


def _handed(messages: Iterable[Message]) -> tuple[Handed, ...]:
    return tuple(
        Handed(
            one.number,
            one.recipient,
            one.title,
            one.created,
            one.sent,
            one.tries,
            one.next_try,
            one.trouble,
        )
        for one in messages
    )
