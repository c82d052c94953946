"""Handing over what waits in the outbox, oldest first; each message is taken before, so that no
other process hands it over meanwhile, and marked after."""

from __future__ import annotations

import logging
from collections.abc import Callable

from checkwatch.answers.notice.plan import Plan
from checkwatch.core.instant import Instant
from checkwatch.run.senders.letter import Letter, Undelivered
from checkwatch.run.senders.post import hand_over
from checkwatch.run.watcher.holder import is_dead
from checkwatch.store import engine, lease, outbox
from checkwatch.store.outbox import Message

log = logging.getLogger("checkwatch.watcher")

Clock = Callable[[], Instant]


def free_the_dead(url: str, now: Instant) -> None:
    """Nobody waits for a watcher of this computer that is dead: what it had in hand is free, and so
    is its place.

    Raises CannotTell where the book cannot be read or written.
    """
    with engine.noting(url) as conn:
        standing = lease.lease(conn)
        if standing is not None and is_dead(standing.holder):
            lease.give_back(conn, standing.holder, now)
            outbox.free_all(conn)


def deliver(
    url: str, plan: Plan, clock: Clock, only: str = "", stop: Callable[[], bool] = lambda: False
) -> None:
    """Hands over all that waits, or what waits for one recipient; ends after the message in hand
    when `stop` says so.

    Raises CannotTell where the book cannot be read or written.
    """
    with engine.reading(url) as conn:
        numbers = outbox.waiting(conn, clock(), only)
    for number in numbers:
        if stop():
            return
        with engine.noting(url) as conn:
            message = outbox.take(conn, number, clock())
        if message is not None:
            _hand_over(message, url, plan, clock)


def _hand_over(message: Message, url: str, plan: Plan, clock: Clock) -> None:
    trouble = _try(message, plan)
    with engine.noting(url) as conn:
        if trouble:
            outbox.mark_failed(conn, message.number, clock(), trouble)
        else:
            outbox.mark_sent(conn, message.number, clock())
    event = "undelivered" if trouble else "delivered"
    log.info(
        "event=%s message=%d recipient=%s trouble=%r",
        event,
        message.number,
        message.recipient,
        # What the other side says may name somebody: it stands in `watch --status` alone.
        trouble.partition(", it says ")[0],
    )


def _try(message: Message, plan: Plan) -> str:
    """Why nobody took a message; empty where somebody did."""
    recipient = next((one for one in plan.recipients if one.code == message.recipient), None)
    if recipient is None:
        return "the notices file names no such recipient any more"
    letter = Letter(
        message.message_id,
        message.title,
        message.body,
        message.html,
        message.created,
        message.recipient,
    )
    try:
        hand_over(letter, recipient.way, plan.server)
    except Undelivered as refusal:
        return refusal.reason
    return ""
