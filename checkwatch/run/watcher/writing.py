"""Writing down what was decided: one message for each recipient, made from the book as it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.answers.board import board
from checkwatch.answers.notice.decide import Due, Past
from checkwatch.answers.notice.kinds import LISTS, Kind
from checkwatch.answers.notice.lists import Listing, list_subjects
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.notice.plan import Plan
from checkwatch.answers.risks import risks
from checkwatch.core.instant import DAY, Instant, iso
from checkwatch.run.world import Asked
from checkwatch.store import outbox, read
from checkwatch.store.outbox import Message, Numbered
from checkwatch.views.message import Composed, Known, Told, compose

#: A domain that nobody has (RFC 2606, part 2), where no mail server is named.
_NOWHERE = "checkwatch.invalid"


#: Of older lists nobody asks whether they were sent.
_LISTS_OF = 31 * DAY


class Wrote(NamedTuple):
    """A message that was written: its number, for whom, its title, and the notices in it."""

    number: int
    recipient: str
    title: str
    notices: tuple[Numbered, ...]


def past_of(conn: Connection, matters: Iterable[Matter], plan: Plan, now: Instant) -> Past:
    """What was told and heard of these matters, and of the lists of the last days.

    Of a lapse nobody was told longer ago than routes tell of it before: what was told of those
    before it on the same machine is not read again and again.
    """
    known = list(matters)
    lapses = {one.subject for one in known if one.kind is Kind.LAPSE_SOON}
    others = {one.subject for one in known} - lapses
    ahead = max((r.ahead.longest for r in plan.routes if r.ahead), default=0)
    told = [
        *outbox.told(conn, others),
        *outbox.told(conn, lapses, Instant(now - ahead - DAY)),
        *outbox.told(conn, list_subjects(plan), Instant(now - _LISTS_OF)),
    ]
    return Past(told, outbox.who_heard(conn, lapses | others))


def write(
    conn: Connection,
    asked: Asked,
    due: Sequence[Due],
    lists: Sequence[Listing],
    plan: Plan,
    now: Instant,
) -> tuple[Wrote, ...]:
    """Writes the notices that nobody decided yet, a message for each recipient; they stand when the
    transaction ends."""
    outbox.alone(conn)
    made = prepared(conn, asked, due, lists, plan, now)
    for message, notices in made:
        outbox.put(conn, message, notices)
    return tuple(
        Wrote(message.number, message.recipient, message.title, tuple(notices))
        for message, notices in made
    )


def prepared(
    conn: Connection,
    asked: Asked,
    due: Sequence[Due],
    lists: Sequence[Listing],
    plan: Plan,
    now: Instant,
) -> list[tuple[Message, list[Numbered]]]:
    """The messages as `write` would write them, each with its notices."""
    about = _about(due, lists)
    numbered = outbox.number_new(conn, [*(d.notice for d in due), *(one.notice for one in lists)])
    known = _known_for({one.notice.kind for one in numbered}, asked)
    by_recipient: dict[str, list[Numbered]] = defaultdict(list)
    for one in numbered:
        by_recipient[one.notice.recipient].append(one)
    made = []
    for number, (recipient, notices) in enumerate(by_recipient.items(), outbox.next_message(conn)):
        told = [about[one.notice.key]._replace(number=one.number) for one in notices]
        composed = compose(told, known, asked.here, asked.title)
        message_id = _message_id(conn, notices, plan, now)
        made.append((_message(number, recipient, composed, message_id, now), notices))
    return made


def _about(due: Iterable[Due], lists: Iterable[Listing]) -> Mapping[object, Told]:
    """What each notice tells, by its key; its number is still to come."""
    told: dict[object, Told] = {
        one.notice.key: Told(0, one.notice.kind, one.matter, why=one.notice.again) for one in due
    }
    for one in lists:
        told[one.notice.key] = Told(0, one.notice.kind, None, one.areas, one.late)
    return told


def _known_for(kinds: set[Kind], asked: Asked) -> Known | None:
    """What the lists among these kinds are made from; None where there is none."""
    if kinds.isdisjoint(LISTS):
        return None
    found = risks(asked.book, asked.question) if Kind.TOMORROWS_RISKS in kinds else None
    return Known(board(asked.book, asked.question), found)


def _message_id(conn: Connection, notices: Iterable[Numbered], plan: Plan, now: Instant) -> str:
    """The same for the same notices of the same book at the same instant. It is written with the
    message, so that it stays however often that is handed over; with the instant, since a book that
    was put back gives its numbers a second time."""
    keys = sorted(repr(tuple(map(str, one.notice.key))) for one in notices)
    # A book begins with the hash of its first entry, which no other book has.
    book = read.hash_of_entry(conn, 1).hex()
    digest = sha256("\n".join([book, iso(now), *keys]).encode()).hexdigest()[:32]
    domain = plan.server.sender.rpartition("@")[2] if plan.server else _NOWHERE
    return f"<{digest}@{domain}>"


def _message(
    number: int, recipient: str, composed: Composed, message_id: str, now: Instant
) -> Message:
    return Message(
        number,
        recipient,
        message_id,
        *composed,
        created=now,
        sent=None,
        tries=0,
        next_try=now,
        trouble="",
    )
