"""Who is told what now, and why: matters, routes, what was told, what was heard, and an instant.

Pure: the same values give the same notices, so that whoever dies in between decides the same again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from zoneinfo import ZoneInfo

from checkwatch.answers.notice.kinds import MANNERS, Kind
from checkwatch.answers.notice.matter import EARLY, Matter
from checkwatch.answers.notice.plan import COORDINATOR, Plan, Recipient, Route
from checkwatch.core.instant import FOREVER, HOUR, MINUTE, Instant
from checkwatch.core.period import earlier, later

#: What a clock decided that was further ahead than this was told of a time that has not come; a
#: clock that was set back by an hour leaves what was told, told.
AHEAD = 2 * HOUR

#: Between an occasion and how often it was told.
_TURN = " #"


class Notice(NamedTuple):
    """That a recipient is told of something, once; `reason` says why, for who asks later. `again`
    is the same where the recipient must know it: it is a repeat, or for the next person."""

    kind: Kind
    subject: str
    occasion: str
    recipient: str
    decided: Instant
    reason: str
    again: str = ""

    @property
    def key(self) -> tuple[Kind, str, str, str]:
        """Nobody is told twice of what has the same key."""
        return (self.kind, self.subject, self.occasion, self.recipient)


class Told(NamedTuple):
    """A notice that was decided earlier; `delivered` once somebody took the message with it."""

    number: int
    kind: Kind
    subject: str
    occasion: str
    recipient: str
    decided: Instant
    delivered: bool = True

    @property
    def key(self) -> tuple[Kind, str, str, str]:
        """As of the notice."""
        return (self.kind, self.subject, self.occasion, self.recipient)

    @property
    def about(self) -> tuple[Kind, str, str]:
        """The matter that it was about, however often that was told."""
        return (self.kind, self.subject, self.occasion.split(_TURN)[0])


class Heard(NamedTuple):
    """That somebody took notice of a matter."""

    kind: Kind
    subject: str
    occasion: str
    by: str
    at: Instant


class Due(NamedTuple):
    """A notice with the matter that it is about."""

    notice: Notice
    matter: Matter


class Decided(NamedTuple):
    """The notices of an instant, and when more may come of the same matters by time alone."""

    due: tuple[Due, ...]
    again: Instant


@dataclass(frozen=True)
class Past:
    """What was told and heard so far."""

    told: Sequence[Told] = ()
    heard: Sequence[Heard] = ()


def decide(
    matters: Iterable[Matter], plan: Plan, past: Past, now: Instant, zone: ZoneInfo
) -> Decided:
    """Who is told of what at this instant. Each recipient is told of a matter once; again after the
    route's pause, while nobody heard it."""
    history = _History(past, now)
    due: dict[object, Due] = {}
    again: list[Instant] = []
    near: list[tuple[Instant, Matter, _Telling]] = []
    for matter, route in _told_by(matters, plan, now):
        starts = _starts(matter, route, zone)
        found = _Telling(matter, route, plan, history, now, zone)
        if starts > now:
            near.append((starts, matter, found))
            continue
        for notice in found.notices():
            due.setdefault(notice.key, Due(notice, matter))
        again.append(found.again)
    lapses = {one.notice.recipient for one in due.values() if one.matter.kind is Kind.LAPSE_SOON}
    for starts, matter, found in near:
        for notice in found.notices():
            if notice.recipient in lapses and starts <= now + EARLY:
                due.setdefault(notice.key, Due(notice, matter))
        if not all(key in due for key in found.untold()):
            again.append(starts)
    return Decided(tuple(due.values()), min(again, default=FOREVER))


def _told_by(matters: Iterable[Matter], plan: Plan, now: Instant) -> Iterator[tuple[Matter, Route]]:
    """Each matter with each route that is about it; of a lapse that has come nobody is warned. What
    is urgent and no route's is the coordinator's: a place may have got into an area that nobody
    thought of."""
    for matter in matters:
        if matter.kind is Kind.LAPSE_SOON and matter.until <= now:
            continue
        routes = [route for route in plan.routes if route.concerns(matter.kind, matter.area)]
        if not routes and MANNERS[matter.kind].urgent:
            routes = [Route((matter.kind,), (COORDINATOR,))]
        yield from ((matter, route) for route in routes)


def _starts(matter: Matter, route: Route, zone: ZoneInfo) -> Instant:
    """From when on a route tells of a matter."""
    if matter.kind is Kind.LAPSE_SOON and route.ahead:
        return earlier(matter.until, route.ahead, zone)
    return matter.since


class _History:
    """What was told and heard of each matter, but for what a clock wrote that was ahead."""

    def __init__(self, past: Past, now: Instant) -> None:
        self._told: dict[object, list[Told]] = defaultdict(list)
        self._heard: dict[object, list[Heard]] = defaultdict(list)
        self._latest = now + AHEAD
        for one in past.told:
            self._told[one.about].append(one)
        for heard in past.heard:
            if heard.at <= self._latest:
                self._heard[heard.kind, heard.subject, heard.occasion].append(heard)

    def told(self, matter: Matter) -> list[Told]:
        """What counts as told of a matter, oldest first."""
        return [one for one in self._told[matter.key] if one.decided <= self._latest]

    def heard(self, matter: Matter) -> Heard | None:
        """Who took notice of a matter last."""
        return max(self._heard[matter.key], key=lambda one: one.at, default=None)

    def occasion(self, matter: Matter, recipient: str) -> str:
        """The occasion under which a recipient is told next: a new one each time."""
        times = sum(one.recipient == recipient for one in self._told[matter.key])
        return f"{matter.occasion}{_TURN}{times + 1}" if times else matter.occasion


class _Telling:
    """One matter by one route: who is told now, and when somebody else may be."""

    def __init__(
        self,
        matter: Matter,
        route: Route,
        plan: Plan,
        history: _History,
        now: Instant,
        zone: ZoneInfo,
    ) -> None:
        self._matter, self._route, self._plan = matter, route, plan
        self._history, self._now, self._zone = history, now, zone
        self._told = history.told(matter)
        self._heard = history.heard(matter)
        self.again = FOREVER

    def notices(self) -> Iterator[Notice]:
        """Who is told now, each with the reason."""
        for recipient, why in self._reachable():
            mine = [one for one in self._told if one.recipient == recipient.code]
            again = self._repeated(mine[-1]) if mine else why
            if again or not mine:
                yield Notice(
                    self._matter.kind,
                    self._matter.subject,
                    self._history.occasion(self._matter, recipient.code),
                    recipient.code,
                    self._now,
                    again or MANNERS[self._matter.kind].title,
                    again,
                )

    def untold(self) -> Iterator[tuple[Kind, str, str, str]]:
        """The keys of what those would be told who were not told yet, whenever that may be."""
        told = {one.recipient for one in self._told}
        for recipient in self._people():
            if recipient.code not in told:
                occasion = self._history.occasion(self._matter, recipient.code)
                yield (self._matter.kind, self._matter.subject, occasion, recipient.code)

    def _look(self, at: Instant) -> None:
        self.again = min(self.again, at)

    @property
    def _is_heard(self) -> bool:
        """Whether somebody took notice, and that still counts: of what is urgent for a time only,
        so that it is not forgotten."""
        if self._heard is None:
            return False
        if not MANNERS[self._matter.kind].returns:
            return True
        until = later(self._heard.at, self._plan.heard_for, self._zone)
        self._look(until if until > self._now else FOREVER)
        return until > self._now

    def _repeated(self, last: Told) -> str:
        """Why the same recipient is told again, empty where not."""
        if self._route.repeat is None or self._matter.at_rest or self._is_heard:
            return ""
        if not last.delivered:
            # It is being tried: who cannot be reached is not reached by a second one.
            self._look(Instant(self._now + MINUTE))
            return ""
        at = later(last.decided, self._route.repeat, self._zone)
        self._look(at)
        if at > self._now:
            return ""
        return self._unheard(last)

    def _unheard(self, told: Told) -> str:
        if self._heard is not None:
            return f"it was heard by {self._heard.by} and still stands"
        return f"nobody has heard notice {told.number}"

    def _people(self) -> dict[Recipient, str]:
        """Whom the route names, and the next person once nobody hears it, each with what is to be
        said of it."""
        if self._matter.in_use and self._matter.kind is Kind.LAPSE_SOON:
            return dict.fromkeys(self._plan.called([COORDINATOR]), "")
        found = dict.fromkeys(self._plan.called(self._route.to), "")
        first = min(self._told, key=lambda one: one.decided, default=None)
        if first is None or not self._route.then_after or self._is_heard:
            return found
        at = later(first.decided, self._route.then_after, self._zone)
        if at > self._now:
            self._look(at)
            return found
        reason = self._unheard(first)
        return dict.fromkeys(self._plan.called(self._route.then), reason) | found

    def _reachable(self) -> list[tuple[Recipient, str]]:
        """Those who may be told at this time: in quiet hours only of what cannot wait, and then who
        is on call; where nobody is, all are told."""
        people = list(self._people().items())
        now, zone, urgent = self._now, self._zone, MANNERS[self._matter.kind].urgent
        reached = [one for one in people if one[0].is_reached(now, zone, urgent=urgent)]
        if urgent and not reached:
            return people
        for one in people:
            if one not in reached:
                self._look(one[0].next_reached(now, zone, urgent=urgent))
        return reached
