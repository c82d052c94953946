"""The fleet as the watcher sees it: a machine is looked at again when something is written about
it, or when its time has come; nobody reads the fleet's history a second time."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from hashlib import sha256
from zoneinfo import ZoneInfo

from checkwatch.answers.book import Book, Question
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.matter import Matter, foreseen
from checkwatch.answers.notice.plan import Plan
from checkwatch.core.instant import CLOCK_TOLERANCE, FOREVER, Instant, wall
from checkwatch.core.period import Period
from checkwatch.core.versions import Versions
from checkwatch.core.wording import listed
from checkwatch.run.following import Following
from checkwatch.run.world import Asked, Names


class Fleet:
    """Follows a book; after each `look` it knows all matters, and when to look again."""

    def __init__(self, url: str, plan: Plan) -> None:
        self._following = Following(url)
        self._ahead: tuple[Period, ...] = tuple({r.ahead for r in plan.routes if r.ahead})
        self._matters: dict[str, tuple[Matter, ...]] = {}
        self._again: dict[str, Instant] = {}
        self._waiting: list[tuple[Instant, str]] = []
        self._looked = Instant(0)
        self._doubts: tuple[str, ...] = ()
        self._last: Asked | None = None

    def look(self, now: Instant) -> tuple[Asked, bool]:
        """The book as of now, and whether any machine was looked at anew.

        Raises CannotTell where there is no book to read.
        """
        asked = self._last = self._following.ask(now)
        at = asked.question.at
        touched = self._following.touched
        # A clock that went back leaves matters that have not come about.
        if touched is None or at < self._looked - CLOCK_TOLERANCE:
            self._matters, self._again, self._waiting = {}, {}, []
            touched = asked.names.tags
        self._looked = at
        due = touched | self._due(at)
        for machine in sorted(due):
            self._look_at(machine, asked)
        changed = bool(due) or asked.book.doubts != self._doubts
        self._doubts = asked.book.doubts
        return asked, changed

    def disbelieved(self, why: str, now: Instant) -> Asked:
        """A book of which nothing is read, because it holds what cannot be believed. What was known
        before of its machines is still a matter."""
        last, self._doubts = self._last, (why,)
        versions = last.book.versions if last else Versions.of()
        book = Book(versions, (), {}, (why,))
        return Asked(book, Question(now, now), Names(frozenset(), {}, (), {}))

    def matters(self, asked: Asked) -> Iterable[Matter]:
        """All that people should hear of now."""
        for machine in self._matters.values():
            yield from machine
        if asked.book.doubts:
            yield _not_believed(asked.book.doubts, asked.question.at, zone_of(asked))

    @property
    def again(self) -> Instant:
        """When a machine is to be looked at again if nothing is written."""
        return self._waiting[0][0] if self._waiting else FOREVER

    def _due(self, at: Instant) -> frozenset[str]:
        found = set()
        while self._waiting and self._waiting[0][0] <= at:
            again, machine = heapq.heappop(self._waiting)
            if self._again.get(machine) == again:
                found.add(machine)
        return frozenset(found)

    def _look_at(self, machine: str, asked: Asked) -> None:
        found = foreseen(machine, asked.book, asked.question, self._ahead)
        self._again[machine] = found.again
        if found.again < FOREVER:
            heapq.heappush(self._waiting, (found.again, machine))
        if found.matters:
            self._matters[machine] = found.matters
        else:
            self._matters.pop(machine, None)


def is_behind(asked: Asked, now: Instant) -> bool:
    """Whether this computer's clock is behind the book's newest entry."""
    newest = asked.book.newest
    return newest is not None and now < newest - CLOCK_TOLERANCE


def zone_of(asked: Asked) -> ZoneInfo:
    """The zone in which routes have their times: that of the rules in force."""
    rulebook = asked.book.rulebook(asked.question)
    return rulebook.zone if rulebook else ZoneInfo("UTC")


def _not_believed(doubts: tuple[str, ...], at: Instant, zone: ZoneInfo) -> Matter:
    """Told once a day for the same doubts, numbers and times in them apart."""
    kinds = "".join(c for c in "".join(doubts) if not c.isdigit())
    occasion = f"{wall(at, zone):%Y-%m-%d} {sha256(kinds.encode()).hexdigest()[:8]}"
    return Matter(Kind.CANNOT_TELL, "book", occasion, at, words=listed(doubts))
