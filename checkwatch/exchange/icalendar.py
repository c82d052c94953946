"""iCalendar (RFC 5545): events as text that calendar programs read.

A zone is told by its changes of the clocks, one by one, so that a reader needs no other table than
the text itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import date, timedelta, tzinfo
from typing import NamedTuple

from checkwatch.core.instant import DAY, MINUTE, SECOND, Instant, to_datetime
from checkwatch.core.period import end_of_day

#: Between two changes of the clocks there is more than a week.
_STRIDE = 7 * DAY

#: Octets in a line, without its end (RFC 5545, 3.1).
_WIDTH = 75


class Event(NamedTuple):
    """Something at an instant, or on a whole day. `revised` is when it was last another."""

    uid: str
    revised: Instant
    at: Instant | date
    summary: str
    description: str
    location: str = ""


def calendar(name: str, description: str, events: Sequence[Event], zone: tzinfo, year: int) -> str:
    """The whole text, its lines ended by CRLF; the zone is told for at least a year.

    `REFRESH-INTERVAL` and the calendar's own name and description: RFC 7986, 5.1, 5.2 and 5.7.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//checkwatch//checks that are due//EN",
        f"NAME:{escaped(name)}",
        f"DESCRIPTION:{escaped(description)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
        *_zone(zone, {year, *(_year(event.at, zone) for event in events)}),
        *(line for event in events for line in _event(event, zone)),
        "END:VCALENDAR",
    ]
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _year(at: Instant | date, zone: tzinfo) -> int:
    return at.year if isinstance(at, date) else to_datetime(at, zone).year


def _event(event: Event, zone: tzinfo) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{event.uid}"
    yield f"DTSTAMP:{_utc(event.revised)}"
    # It must rise with every change of the time (3.8.7.4), and nothing is remembered from one
    # calendar to the next: so it is the minute of the change, counted from 1970.
    yield f"SEQUENCE:{event.revised // MINUTE}"
    yield f"DTSTART{_start(event.at, zone)}"
    yield f"SUMMARY:{escaped(event.summary)}"
    yield f"DESCRIPTION:{escaped(event.description)}"
    if event.location:
        yield f"LOCATION:{escaped(event.location)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _start(at: Instant | date, zone: tzinfo) -> str:
    if isinstance(at, date):
        return f";VALUE=DATE:{at:%Y%m%d}"
    local = to_datetime(at, zone)
    # A local time that comes twice means the first (3.3.5), so the second is told in UTC.
    return f":{_utc(at)}" if local.fold else f";TZID={zone}:{local:%Y%m%dT%H%M%S}"


def _utc(at: Instant) -> str:
    return f"{to_datetime(at):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """As a value of type TEXT (3.3.11)."""
    for character in "\\;,":
        text = text.replace(character, f"\\{character}")
    return text.replace("\n", "\\n")


def folded(line: str) -> str:
    """On lines of at most 75 octets, never broken inside a character (3.1)."""
    octets = line.encode()
    parts: list[bytes] = []
    width = _WIDTH
    while len(octets) > width:
        end = width
        while octets[end] & 0xC0 == 0x80:
            end -= 1
        parts.append(octets[:end])
        octets = octets[end:]
        width = _WIDTH - 1  # A blank comes before what goes on.
    return b"\r\n ".join([*parts, octets]).decode()


# The zone (3.6.5)


def _zone(zone: tzinfo, years: Collection[int]) -> Iterator[str]:
    """The years in which anything is: what is due in a hundred years needs no hundred years."""
    yield "BEGIN:VTIMEZONE"
    yield f"TZID:{zone}"
    for year in sorted(years):
        first, last = (end_of_day(date(one - 1, 12, 31), zone) for one in (year, year + 1))
        offset = _offset(first, zone)
        if year - 1 not in years:
            yield from _observance(first, offset, zone)
        for change in _changes(first, last, zone):
            before, offset = offset, _offset(change, zone)
            yield from _observance(change, before, zone)
    yield "END:VTIMEZONE"


def _observance(since: Instant, before: timedelta, zone: tzinfo) -> Iterator[str]:
    """What a clock of the zone shows from an instant on. Its beginning is told by the clock that
    was in use before."""
    local = to_datetime(since, zone)
    name = "DAYLIGHT" if local.dst() else "STANDARD"
    yield f"BEGIN:{name}"
    yield f"DTSTART:{to_datetime(since).replace(tzinfo=None) + before:%Y%m%dT%H%M%S}"
    yield f"TZOFFSETFROM:{_signed(before)}"
    yield f"TZOFFSETTO:{_signed(_offset(since, zone))}"
    yield f"TZNAME:{escaped(local.tzname() or '')}"
    yield f"END:{name}"


def _changes(first: Instant, last: Instant, zone: tzinfo) -> Iterator[Instant]:
    """The instants at which the clocks change."""
    for start in range(first, last, _STRIDE):
        low, high = start // SECOND, min(start + _STRIDE, last) // SECOND
        before = _offset(Instant(low * SECOND), zone)
        if _offset(Instant(high * SECOND), zone) == before:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            if _offset(Instant(middle * SECOND), zone) == before:
                low = middle
            else:
                high = middle
        yield Instant(high * SECOND)


def _offset(at: Instant, zone: tzinfo) -> timedelta:
    return to_datetime(at, zone).utcoffset() or timedelta()


def _signed(offset: timedelta) -> str:
    """As a value of type UTC-OFFSET (3.3.14); seconds only where there are any."""
    seconds = int(offset.total_seconds())
    hours, rest = divmod(abs(seconds), 3600)
    minutes, rest = divmod(rest, 60)
    return f"{'-' if seconds < 0 else '+'}{hours:02d}{minutes:02d}" + (
        f"{rest:02d}" if rest else ""
    )
