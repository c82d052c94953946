"""Notices, the messages that carry them, and who heard: what was told, and what still is to be.

All of a tick's notices and their messages are written in one transaction, before anything is handed
over; so whatever dies afterwards, the next process finds what is left. A time ahead of the clock
was written by a clock that was wrong, and keeps nobody waiting.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, and_, func, or_, select, text, update

from checkwatch.answers.notice.decide import Heard, Notice, Told
from checkwatch.answers.notice.kinds import Kind
from checkwatch.core.instant import BEGINNING, CLOCK_TOLERANCE, DAY, HOUR, MINUTE, Instant
from checkwatch.store.batches import batches
from checkwatch.store.tables import heard, message, notice

#: So long a process that took a message may take to hand it over, before another may.
HOLD = 5 * MINUTE

#: The pause after a first failure; each further one doubles it, up to the longest.
PAUSE, LONGEST_PAUSE = MINUTE, HOUR

#: So long a message is shown as undelivered after anybody last tried: longer than any pause.
SHOWN_FOR = 7 * DAY

#: A lock of ours on PostgreSQL; on SQLite a writer is alone anyway.
_ALONE = text("SELECT pg_advisory_xact_lock(7363140215048623972)")


#: What a notice has alone: its kind, subject, occasion and recipient.
Key = tuple[Kind, str, str, str]


class Message(NamedTuple):
    """A message as it was written, and how far it came. `sent` is None until somebody took it."""

    number: int
    recipient: str
    message_id: str
    title: str
    body: str
    html: str
    created: Instant
    sent: Instant | None
    tries: int
    next_try: Instant
    trouble: str


class Numbered(NamedTuple):
    """A notice as it stands in the book."""

    number: int
    notice: Notice


def alone(conn: Connection) -> None:
    """Keeps every other process from deciding until the transaction ends."""
    if conn.dialect.name == "postgresql":
        conn.execute(_ALONE)


def state(conn: Connection) -> tuple[int, int]:
    """The highest numbers of notices and of what was heard: while they stay, so does `told`."""
    return (
        conn.scalar(select(func.max(notice.c.number))) or 0,
        conn.scalar(select(func.max(heard.c.number))) or 0,
    )


def told(conn: Connection, subjects: Iterable[str], since: Instant = BEGINNING) -> list[Told]:
    """What was decided about these subjects since an instant, oldest first."""
    wanted = _TOLD.where(notice.c.decided >= since).order_by(notice.c.number)
    return [
        _told(row)
        for some in batches(sorted(set(subjects)))
        for row in conn.execute(wanted.where(notice.c.subject.in_(some)))
        if row.kind in _KINDS
    ]


def told_by_number(conn: Connection, number: int) -> Told | None:
    """The notice with this number."""
    row = conn.execute(_TOLD.where(notice.c.number == number)).first()
    return None if row is None or row.kind not in _KINDS else _told(row)


def _told(row: Row[tuple[object, ...]]) -> Told:
    one = Told._make(row)
    return one._replace(kind=Kind(one.kind), delivered=bool(one.delivered))


def who_heard(conn: Connection, subjects: Iterable[str]) -> list[Heard]:
    """Who took notice of something about these subjects, and when."""
    columns = (heard.c.kind, heard.c.subject, heard.c.occasion, heard.c.by, heard.c.at)
    wanted = select(*columns).order_by(heard.c.number)
    return [
        Heard(Kind(kind), subject, occasion, by, Instant(at))
        for some in batches(sorted(set(subjects)))
        for kind, subject, occasion, by, at in conn.execute(wanted.where(heard.c.subject.in_(some)))
        if kind in _KINDS
    ]


def note_heard(conn: Connection, number: int, one: Heard) -> None:
    """Holds that somebody took notice of the notice with this number."""
    alone(conn)
    newest = conn.scalar(select(func.max(heard.c.number))) or 0
    conn.execute(heard.insert().values(number=newest + 1, notice=number, **one._asdict()))


def number_new(conn: Connection, notices: Sequence[Notice]) -> list[Numbered]:
    """Those that nobody decided yet, with the numbers that they will have."""
    first = (conn.scalar(select(func.max(notice.c.number))) or 0) + 1
    new = {one.key: one for one in notices if _carrier(conn, one.key) is None}
    return [Numbered(number, one) for number, one in enumerate(new.values(), first)]


def next_message(conn: Connection) -> int:
    """The number that the next message will have."""
    return (conn.scalar(select(func.max(message.c.number))) or 0) + 1


def put(conn: Connection, one: Message, carries: Iterable[Numbered]) -> None:
    """Writes a message with the notices that it carries; all stand when the transaction ends."""
    values = one._asdict() | {"sent": 0, "taken_until": 0}
    conn.execute(message.insert().values(values))
    rows = [
        {
            "number": number,
            "kind": carried.kind.value,
            "subject": carried.subject,
            "occasion": carried.occasion,
            "recipient": carried.recipient,
            "decided": carried.decided,
            "reason": carried.reason,
            "message": one.number,
        }
        for number, carried in carries
    ]
    conn.execute(notice.insert(), rows)


def make_due(conn: Connection) -> None:
    """Ends the pauses of all that nobody took yet."""
    conn.execute(update(message).where(message.c.sent == 0).values(next_try=message.c.created))


def recipients_waiting(conn: Connection, now: Instant) -> list[str]:
    """For whom there are messages that should be handed over now."""
    wanted = select(message.c.recipient).where(message.c.sent == 0, _free(now))
    return list(conn.scalars(wanted.distinct()))


def waiting(conn: Connection, now: Instant, recipient: str = "") -> list[int]:
    """The numbers of the messages that should be handed over now, oldest first: all, or those for
    one recipient."""
    wanted = select(message.c.number).where(message.c.sent == 0, _free(now))
    if recipient:
        wanted = wanted.where(message.c.recipient == recipient)
    return list(conn.scalars(wanted.order_by(message.c.number)))


def take(conn: Connection, number: int, now: Instant) -> Message | None:
    """Takes a message to hand it over; None if another process has it, or it is done."""
    taking = (
        update(message)
        .where(message.c.number == number, message.c.sent == 0, _free(now))
        .values(taken_until=now + HOLD)
    )
    if conn.execute(taking).rowcount != 1:
        return None
    return next(messages(conn, [number]), None)


def mark_sent(conn: Connection, number: int, now: Instant) -> None:
    """Holds that the other side took a message."""
    values = {"sent": now, "taken_until": 0, "trouble": ""}
    conn.execute(update(message).where(message.c.number == number).values(values))


def mark_failed(conn: Connection, number: int, now: Instant, trouble: str) -> None:
    """Holds why a message could not be handed over; it is tried again after a pause."""
    tries = conn.scalar(select(message.c.tries).where(message.c.number == number)) or 0
    values = {
        "tries": tries + 1,
        "next_try": now + min(PAUSE << min(tries, 10), LONGEST_PAUSE),
        "taken_until": 0,
        "trouble": trouble,
    }
    # Another process may have handed it over meanwhile, when this one took longer than it may.
    mine = (message.c.number == number) & (message.c.sent == 0)
    conn.execute(update(message).where(mine).values(values))


def undelivered(conn: Connection, now: Instant) -> list[Message]:
    """The messages that nobody took yet, oldest first. One for who is no recipient any more is
    shown for a few days."""
    young = or_(message.c.created > now - SHOWN_FOR, message.c.next_try > now - SHOWN_FOR)
    numbers = conn.scalars(select(message.c.number).where(message.c.sent == 0, young))
    return list(messages(conn, numbers.all()))


def free_all(conn: Connection) -> None:
    """Gives back what a process had in hand that is dead: it is handed over anew at once."""
    conn.execute(update(message).where(message.c.sent == 0).values(taken_until=0))


def carrying(conn: Connection, keys: Iterable[Key]) -> dict[Key, Message]:
    """The messages that carry these notices."""
    carriers = ((key, _carrier(conn, key)) for key in keys)
    found = {key: number for key, number in carriers if number is not None}
    by_number = {one.number: one for one in messages(conn, found.values())}
    return {key: by_number[number] for key, number in found.items() if number in by_number}


def _carrier(conn: Connection, key: Key) -> int | None:
    """The number of the message that carries a notice; None where nobody decided it yet."""
    kind, subject, occasion, recipient = key
    wanted = select(notice.c.message).where(
        notice.c.kind == kind.value,
        notice.c.subject == subject,
        notice.c.occasion == occasion,
        notice.c.recipient == recipient,
    )
    return conn.scalar(wanted)


def newest(conn: Connection, count: int) -> list[Message]:
    """The messages that were written last, the newest first."""
    wanted = select(message.c.number).order_by(message.c.number.desc()).limit(count)
    return sorted(messages(conn, conn.scalars(wanted).all()), reverse=True)


def messages(conn: Connection, numbers: Iterable[int]) -> Iterator[Message]:
    """The messages with these numbers, in their order."""
    columns = [getattr(message.c, name) for name in Message._fields]
    for some in batches(sorted(set(numbers))):
        wanted = select(*columns).where(message.c.number.in_(some)).order_by(message.c.number)
        for row in conn.execute(wanted):
            one = Message._make(row)
            yield one._replace(sent=one.sent or None)


_TOLD = select(
    notice.c.number,
    notice.c.kind,
    notice.c.subject,
    notice.c.occasion,
    notice.c.recipient,
    notice.c.decided,
    (message.c.sent != 0).label("delivered"),
).join_from(notice, message, notice.c.message == message.c.number)
#: What a later version writes of another kind is passed over.
_KINDS = frozenset(kind.value for kind in Kind)


def _free(now: Instant) -> ColumnElement[bool]:
    """Nobody else hands the message over now, and its pause is over."""
    return and_(
        or_(message.c.taken_until <= now, message.c.taken_until > now + HOLD + CLOCK_TOLERANCE),
        or_(
            message.c.next_try <= now,
            message.c.next_try > now + LONGEST_PAUSE + CLOCK_TOLERANCE,
        ),
    )
