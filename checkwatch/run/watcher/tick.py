"""One tick: look, decide, and write down what is to be told. Whatever it is called twice with, and
wherever it dies, nobody is told twice, and nothing is forgotten.

All of a tick is one transaction: the notices, their messages, and that this watcher looked.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.answers.notice.decide import decide
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.lists import lists_due, next_list
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.notice.plan import Plan
from checkwatch.core.instant import DAY, FOREVER, MINUTE, SECOND, Instant, iso
from checkwatch.errors import CannotTell
from checkwatch.run.watcher.fleet import Fleet, is_behind, zone_of
from checkwatch.run.watcher.writing import Wrote, past_of, write
from checkwatch.run.world import Asked
from checkwatch.store import engine, lease, outbox
from checkwatch.store.lease import NEVER, Lease

#: Whoever did not look for so long says so when it is back; shorter pauses are restarts.
GAP = 10 * MINUTE

#: So often the book is told that somebody looks.
RENEW = 15 * SECOND


class Ticked(NamedTuple):
    """What came of a tick. `decides` says whether this watcher may, `changed` whether any machine
    was looked at anew; `again` is when the next tick is wanted, whatever is written until then.
    `why` says why the book cannot be read, empty where it can."""

    asked: Asked
    decides: bool
    changed: bool
    wrote: tuple[Wrote, ...]
    again: Instant
    why: str = ""


class Watcher:
    """Looks at one book by one plan. `holder` names this process among others, `started` is when
    it began."""

    def __init__(self, url: str, plan: Plan, holder: str, started: Instant) -> None:
        self.url, self.plan = url, plan
        self._holder, self._started = holder, started
        self._fleet = Fleet(url, plan)
        #: Up to where notices and what was heard were taken into account, None for not at all.
        self._seen: tuple[int, int] | None = None
        self._was_behind = False
        #: When more may come of the same matters.
        self._again = FOREVER

    def tick(self, now: Instant) -> Ticked:
        """Looks at the book as of `now` and writes what is to be told; also that the book holds
        what cannot be believed.

        Raises CannotTell where the book cannot be reached, or nothing be written beside it.
        """
        # A tick that dies half-way leaves nothing taken into account.
        seen, self._seen = self._seen, None
        asked, changed, why = self._look(now)
        with engine.noting(self.url) as conn:
            outbox.alone(conn)
            standing = lease.lease(conn)
            if standing is not None and not lease.is_free(standing, self._holder, now):
                return Ticked(asked, False, changed, (), standing.until, why)
            looked = self._looked(standing, asked)
            mine = self._renewed(standing, asked, now)
            state = outbox.state(conn)
            wrote: tuple[Wrote, ...] = ()
            if changed or state != seen or self._is_time(asked, looked, now):
                wrote = self._decide(conn, asked, mine, looked, now)
            if wrote or _is_old(standing, self._holder, now):
                lease.renew(conn, mine)
        self._seen, self._was_behind = state, is_behind(asked, now)
        coming = next_list(self.plan, now, zone_of(asked)) or FOREVER
        again = min(self._again, self._fleet.again, coming)
        return Ticked(asked, True, changed, wrote, again, why)

    def _look(self, now: Instant) -> tuple[Asked, bool, str]:
        try:
            return *self._fleet.look(now), ""
        except CannotTell as refusal:
            # Where the book cannot be reached at all, the next thing that is tried says so.
            why = "; ".join(problem.what for problem in refusal.problems)
            return self._fleet.disbelieved(why, now), True, why

    def _renewed(self, standing: Lease | None, asked: Asked, now: Instant) -> Lease:
        """The lease as it will be: with the gap, if nobody looked for a while."""
        away = (standing.away_from, standing.away_until) if standing else (NEVER, NEVER)
        looked = self._looked(standing, asked)
        if looked is not None and now - looked >= GAP and not is_behind(asked, now):
            away = (looked, now)
        return Lease(self._holder, Instant(now + lease.LASTS), self._started, now, *away)

    def _looked(self, standing: Lease | None, asked: Asked) -> Instant | None:
        """When somebody last looked. By a clock that was behind the book this was no earlier than
        the book's newest entry."""
        if standing is None:
            return None
        newest = asked.book.newest if self._was_behind else None
        return max(standing.ticked, newest or standing.ticked)

    def _is_time(self, asked: Asked, looked: Instant | None, now: Instant) -> bool:
        """Whether something may come of the same matters by time alone."""
        if looked is None or now < looked or now - looked >= GAP:
            return True
        coming = next_list(self.plan, looked, zone_of(asked))
        return now >= self._again or (coming is not None and coming <= now)

    def _decide(
        self, conn: Connection, asked: Asked, mine: Lease, looked: Instant | None, now: Instant
    ) -> tuple[Wrote, ...]:
        zone = zone_of(asked)
        matters = [*self._fleet.matters(asked), *_was_away(mine, now)]
        past = past_of(conn, matters, self.plan, now)
        decided = decide(matters, self.plan, past, now, zone)
        self._again = decided.again
        lists = lists_due(self.plan, past, now, looked, zone)
        return write(conn, asked, decided.due, lists, self.plan, now)


def _is_old(standing: Lease | None, holder: str, now: Instant) -> bool:
    """Whether the book must be told again that somebody looks: not at every look, since each time
    something is written to disk."""
    if standing is None or standing.holder != holder:
        return True
    return not 0 <= now - standing.ticked < RENEW


def _was_away(mine: Lease, now: Instant) -> Iterator[Matter]:
    """That nobody looked for a while, told for a day: what came about then is told late."""
    if mine.away_until and 0 <= now - mine.away_until < DAY:
        yield Matter(
            Kind.WATCHER_BACK,
            "watcher",
            iso(mine.away_from),
            since=mine.away_from,
            until=mine.away_until,
            words="What came about meanwhile is told now.",
        )
