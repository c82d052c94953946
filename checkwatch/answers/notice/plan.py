"""The notices file as values: who is told of what, when, and by which way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from checkwatch.answers.notice.kinds import Kind
from checkwatch.core.instant import FOREVER, Instant, from_wall, wall
from checkwatch.core.period import Period
from checkwatch.core.rulebook import DutySpan

#: Who is told of what lapses during a case.
COORDINATOR = "coordinator"


@dataclass(frozen=True, slots=True)
class Mail:
    """A mail address."""

    address: str


@dataclass(frozen=True, slots=True)
class File:
    """A file to which each message is added."""

    path: str


@dataclass(frozen=True, slots=True)
class Command:
    """A command that gets the message on its standard input, and its subject as last word."""

    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Service:
    """An address that the library apprise knows, for chat services and the like. May hold a
    secret: never shown."""

    url: str = field(repr=False)


Way = Mail | File | Command | Service


@dataclass(frozen=True, slots=True)
class MailServer:
    """The server that takes mail. `user` is empty where it asks for none; the password stands in
    a file of its own, or nowhere. `timeout` is in seconds."""

    host: str
    port: int
    sender: str
    security: Literal["tls", "starttls", "none"] = "starttls"
    user: str = ""
    password_file: str = ""
    timeout: int = 30


@dataclass(frozen=True, slots=True)
class Recipient:
    """Somebody, or something, that is told: in quiet hours only what cannot wait, and that only
    while on call. Without times of call always on call."""

    code: str
    way: Way
    roles: tuple[str, ...] = ()
    quiet: tuple[DutySpan, ...] = ()
    on_call: tuple[DutySpan, ...] = ()

    def is_quiet(self, at: Instant, zone: ZoneInfo) -> bool:
        """Whether an instant lies in the quiet hours."""
        return any(span.holds_at(wall(at, zone)) for span in self.quiet)

    def is_on_call(self, at: Instant, zone: ZoneInfo) -> bool:
        """Whether the recipient is on call at an instant."""
        local = wall(at, zone)
        return not self.on_call or any(span.holds_at(local) for span in self.on_call)

    def is_reached(self, at: Instant, zone: ZoneInfo, *, urgent: bool) -> bool:
        """Whether one may be told at an instant: in quiet hours only of what is urgent, on call."""
        return not self.is_quiet(at, zone) or (urgent and self.is_on_call(at, zone))

    def next_reached(self, at: Instant, zone: ZoneInfo, *, urgent: bool) -> Instant:
        """When one may be told again who may not be now; FOREVER for never. Spans begin and end at
        the same times each week."""
        today = wall(at, zone).date()
        times = {t for span in (*self.quiet, *self.on_call) for t in (span.start, span.end)}
        ends = (
            from_wall(datetime.combine(today + timedelta(days=day), of_day), zone)
            for day in range(9)
            for of_day in times
        )
        later = (end for end in sorted(ends) if end > at)
        return next((e for e in later if self.is_reached(e, zone, urgent=urgent)), FOREVER)

    def is_called(self, name: str) -> bool:
        """Whether a route that names a code or a role means this recipient."""
        return name == self.code or name in self.roles


@dataclass(frozen=True, slots=True)
class Route:
    """What is told to whom.

    `areas` narrows it, empty means all. `to` and `then` are codes or roles; `times` are the local
    times of lists; `ahead` is how long before it a lapse is told. `repeat` None means once, and
    `then_after` how long nobody hears a notice until the next person is told.
    """

    kinds: tuple[Kind, ...]
    to: tuple[str, ...]
    areas: tuple[str, ...] = ()
    times: tuple[time, ...] = ()
    ahead: Period | None = None
    repeat: Period | None = None
    then: tuple[str, ...] = ()
    then_after: Period | None = None

    def concerns(self, kind: Kind, area: str) -> bool:
        """Whether it is about this kind in this area; what concerns no area concerns all."""
        return kind in self.kinds and (not self.areas or not area or area in self.areas)


@dataclass(frozen=True, slots=True)
class Plan:
    """All recipients and routes. `heard_for` is how long an urgent notice that was heard is not
    repeated."""

    recipients: tuple[Recipient, ...]
    routes: tuple[Route, ...]
    heard_for: Period
    server: MailServer | None = None

    def called(self, names: Iterable[str]) -> Iterator[Recipient]:
        """The recipients that codes or roles mean, each once, in the file's order."""
        wanted = tuple(names)
        return (one for one in self.recipients if any(one.is_called(name) for name in wanted))

    def untold(self, areas: Iterable[str]) -> list[tuple[Kind, str]]:
        """Each kind with each of these areas of which no route tells anybody; of a kind that no
        route names at all only the kind, with an empty area."""
        named = {kind for route in self.routes for kind in route.kinds}
        return [
            (kind, area)
            for kind in Kind
            for area in (sorted({*areas}) if kind in named else [""])
            if not any(route.concerns(kind, area) for route in self.routes)
        ]
