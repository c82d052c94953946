"""Which lists are due: once for each local time of a route, every day, whatever the clocks do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from checkwatch.answers.notice.decide import AHEAD, Notice, Past
from checkwatch.answers.notice.kinds import LISTS, MANNERS, Kind
from checkwatch.answers.notice.plan import Plan, Recipient, Route
from checkwatch.core.instant import CLOCK_TOLERANCE, HOUR, MINUTE, Instant, from_wall, wall

#: A list that is sent so long after its time is marked late.
LATE_AFTER = 5 * MINUTE

#: Whoever asks for a list so shortly before its time asks for that one.
BEFORE = 2 * HOUR

#: Who looks for the first time sends what was due so shortly before; earlier nobody expected any.
FRESH = HOUR

#: How the occasion of a list is written: the local time that it was for.
_OCCASION = "%Y-%m-%d %H:%M"


class Late(NamedTuple):
    """That a list comes late: the time that it was for, and those of the lists before it that its
    recipient never got, the oldest first."""

    at: Instant
    missed: tuple[Instant, ...] = ()


class Listing(NamedTuple):
    """A list for a recipient: over some areas (all where empty), `at` the time that it was for,
    `missed` those of earlier ones that were not sent."""

    notice: Notice
    areas: tuple[str, ...]
    at: Instant
    missed: tuple[Instant, ...] = ()

    @property
    def late(self) -> Late | None:
        """How late it comes, where it is so long after its time that this must be said."""
        if self.notice.decided - self.at < LATE_AFTER:
            return None
        return Late(self.at, self.missed)


def lists_due(
    plan: Plan, past: Past, now: Instant, looked: Instant | None, zone: ZoneInfo
) -> list[Listing]:
    """The lists whose time has come since somebody last looked; None if nobody ever did.

    Of several times that were missed only the last is made up: one list says what is owed now.
    """
    if looked is None or looked > now + CLOCK_TOLERANCE:
        looked = Instant(now - FRESH)
    found: list[Listing] = []
    for route, kind in _routes(plan):
        at, local = _last(route, now, zone)
        if at > looked:
            for one in _listings(kind, route, plan.called(route.to), past, at, local, now):
                found.append(one._replace(missed=_missed(one, route, past, looked, zone)))
    return found


def lists_now(kind: Kind, plan: Plan, past: Past, now: Instant, zone: ZoneInfo) -> list[Listing]:
    """The lists of a kind, at whatever time they are asked for, and never late: as those of the
    route's last time today, or of its first where that comes soon; in the night before, as one of
    its own, once."""
    found: list[Listing] = []
    for route, of in _routes(plan):
        if of is not kind:
            continue
        today = wall(now, zone).date()
        _, local = _last(route, now, zone)
        if local.date() != today:
            first = datetime.combine(today, min(route.times))
            soon = from_wall(first, zone) - now <= BEFORE
            local = first if soon else datetime.combine(today, time.min)
        found += _listings(kind, route, plan.called(route.to), past, now, local, now)
    return found


def next_list(plan: Plan, now: Instant, zone: ZoneInfo) -> Instant | None:
    """When the next list is due; None where no route has a time."""
    coming = [
        at for route, _ in _routes(plan) for at, _ in _times(route.times, now, zone) if at > now
    ]
    return min(coming, default=None)


def _routes(plan: Plan) -> Iterator[tuple[Route, Kind]]:
    return ((route, kind) for route in plan.routes for kind in route.kinds if kind in LISTS)


def _times(
    times: Iterable[time], now: Instant, zone: ZoneInfo
) -> Iterator[tuple[Instant, datetime]]:
    """The times of a route yesterday, today and tomorrow. One that the clocks skip moves forward
    by the gap, of one that comes twice the first is meant: each day has each time once."""
    today = wall(now, zone).date()
    for day in (-1, 0, 1):
        for at in times:
            local = datetime.combine(today + timedelta(days=day), at)
            yield from_wall(local, zone), local


def _last(route: Route, now: Instant, zone: ZoneInfo) -> tuple[Instant, datetime]:
    return max(found for found in _times(route.times, now, zone) if found[0] <= now)


def _listings(
    kind: Kind,
    route: Route,
    recipients: Iterable[Recipient],
    past: Past,
    at: Instant,
    local: datetime,
    now: Instant,
) -> Iterator[Listing]:
    subject = ", ".join(route.areas) or "all areas"
    occasion = f"{local:{_OCCASION}}"
    about = (kind, subject, occasion)
    for recipient in recipients:
        mine = [t for t in past.told if t.about == about and t.recipient == recipient.code]
        # What a clock decided that was far ahead was told of a day that had not come.
        if any(one.decided <= now + AHEAD for one in mine):
            continue
        turn = f" #{len(mine) + 1}" if mine else ""
        reason = f"{MANNERS[kind].title}: the list of {occasion}"
        notice = Notice(kind, subject, occasion + turn, recipient.code, now, reason)
        yield Listing(notice, route.areas, at)


def _missed(
    listing: Listing, route: Route, past: Past, looked: Instant, zone: ZoneInfo
) -> tuple[Instant, ...]:
    """The times since somebody looked whose list the recipient was not sent."""
    notice = listing.notice
    told = {
        one.about[2]
        for one in past.told
        if one.about[:2] == (notice.kind, notice.subject) and one.recipient == notice.recipient
    }
    first = wall(looked, zone).date()
    found = []
    for day in range((wall(listing.at, zone).date() - first).days + 1):
        for time_of_day in route.times:
            local = datetime.combine(first + timedelta(days=day), time_of_day)
            at = from_wall(local, zone)
            if looked < at < listing.at and f"{local:{_OCCASION}}" not in told:
                found.append(at)
    return tuple(sorted(found))


def list_subjects(plan: Plan) -> set[str]:
    """The subjects of all lists of a plan."""
    return {", ".join(route.areas) or "all areas" for route, _ in _routes(plan)}
