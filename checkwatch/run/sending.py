"""Sending one kind of notice now, for who runs it by a timer: the same list once, whatever runs it.

What was decided is in the outbox before anything is handed over; so a run that fails is made good
by the next one, or by the watcher.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.answers.notice.decide import Due, Past, decide
from checkwatch.answers.notice.kinds import LISTS, Kind
from checkwatch.answers.notice.lists import Listing, lists_now
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.notice.plan import Plan
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import nearest, quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.table import one_of
from checkwatch.run import clock
from checkwatch.run.watcher.deliver import deliver, free_the_dead
from checkwatch.run.watcher.fleet import Fleet, zone_of
from checkwatch.run.watcher.writing import past_of, prepared, write
from checkwatch.run.world import Asked
from checkwatch.store import engine, outbox
from checkwatch.store.outbox import Key, Message

#: So long one waits, in seconds, for another process that has the same message in hand.
_PATIENCE = 60


class Sent(NamedTuple):
    """What came of it: the messages of this kind for now, and which were handed over before."""

    asked: Asked
    messages: tuple[Message, ...]
    before: frozenset[int]

    @property
    def undelivered(self) -> tuple[Message, ...]:
        """Those that nobody took."""
        return tuple(one for one in self.messages if one.sent is None)


def send(url: str, kind: Kind, plan: Plan, to: tuple[str, ...], now: Instant) -> Sent:
    """Decides, writes down and hands over.

    Raises WrongUse where no route tells this kind or `to` means nobody, CannotTell where the book
    cannot be read or written.
    """
    plan = narrowed(plan, kind, to)
    asked, matters = _looked(url, plan, kind, now)
    with engine.noting(url) as conn:
        outbox.alone(conn)
        todo = _todo(conn, kind, plan, matters, asked, now)
        write(conn, asked, todo.due, todo.lists, plan, now)
        known = outbox.carrying(conn, todo.keys).values()
        before = frozenset(one.number for one in known if one.sent is not None)
    free_the_dead(url, now)
    with engine.noting(url) as conn:
        # Somebody asks for it: no pause is waited for.
        outbox.make_due(conn)
    _hand_over(url, plan, todo.keys)
    _hand_over_the_rest(url, plan, todo.keys)
    with engine.reading(url) as conn:
        found = {one.number: one for one in outbox.carrying(conn, todo.keys).values()}
    return Sent(asked, tuple(found.values()), before)


def imagined(
    url: str, kind: Kind, plan: Plan, to: tuple[str, ...], now: Instant
) -> tuple[Asked, list[Message]]:
    """The messages that `send` would write and hand over; nothing is written."""
    plan = narrowed(plan, kind, to)
    asked, matters = _looked(url, plan, kind, now)
    with engine.reading(url) as conn:
        todo = _todo(conn, kind, plan, matters, asked, now)
        made = prepared(conn, asked, todo.due, todo.lists, plan, now)
    return asked, [message for message, _ in made]


def _looked(url: str, plan: Plan, kind: Kind, now: Instant) -> tuple[Asked, list[Matter]]:
    """The book as of now, and what is going on of one kind."""
    fleet = Fleet(url, plan)
    asked, _ = fleet.look(now)
    return asked, [one for one in fleet.matters(asked) if one.kind is kind]


def narrowed(plan: Plan, kind: Kind, to: tuple[str, ...]) -> Plan:
    """The plan with nothing but the routes of a kind, to whom they are told or to these.

    Raises WrongUse where that leaves nobody.
    """
    routes = tuple(
        replace(route, kinds=(kind,), to=to, then=(), then_after=None)
        if to
        else replace(route, kinds=(kind,))
        for route in plan.routes
        if kind in route.kinds
    )
    if not routes:
        remedy = f'add a [[route]] with kinds = ["{kind}"] to the notices file'
        raise WrongUse(Problem(kind, "no route says whom to tell", remedy))
    known = {name for one in plan.recipients for name in (one.code, *one.roles)}
    for name in to:
        if name not in known:
            remedy = nearest(name, sorted(known), one_of(sorted(known)))
            raise WrongUse(Problem("--to", f"nobody is called {quoted(name)}", remedy))
    return replace(plan, routes=routes)


class _Todo(NamedTuple):
    """What is to be told now, and the keys of all that was or is told of it."""

    due: tuple[Due, ...]
    lists: list[Listing]
    keys: frozenset[Key]


def _todo(
    conn: Connection,
    kind: Kind,
    plan: Plan,
    matters: list[Matter],
    asked: Asked,
    now: Instant,
) -> _Todo:
    past, zone = past_of(conn, matters, plan, now), zone_of(asked)
    if kind in LISTS:
        lists = lists_now(kind, plan, past, now, zone)
        all_of_them = lists_now(kind, plan, Past(), now, zone)
        return _Todo((), lists, frozenset(one.notice.key for one in (*lists, *all_of_them)))
    due = decide(matters, plan, past, now, zone).due
    about = {matter.key for matter in matters}
    whom = {one.code for route in plan.routes for one in plan.called((*route.to, *route.then))}
    told = {one.key for one in past.told if one.about in about and one.recipient in whom}
    return _Todo(due, [], frozenset({one.notice.key for one in due} | told))


def _hand_over(url: str, plan: Plan, keys: frozenset[Key]) -> None:
    """Hands over what waits for these recipients; waits for who has the same in hand."""
    recipients = sorted({recipient for *_, recipient in keys})
    for _ in range(_PATIENCE):
        for recipient in recipients:
            deliver(url, plan, clock.now, recipient)
        with engine.reading(url) as conn:
            found = outbox.carrying(conn, keys).values()
        if all(one.sent or one.tries for one in found):
            return
        time.sleep(1)


def _hand_over_the_rest(url: str, plan: Plan, keys: frozenset[Key]) -> None:
    """Tries once what waits for anybody else: there may be no watcher that would."""
    told = {recipient for *_, recipient in keys}
    for one in plan.recipients:
        if one.code not in told:
            deliver(url, plan, clock.now, one.code)
