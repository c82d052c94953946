"""An instant is a point of UTC, held as whole microseconds since 1970-01-01T00:00:00Z.

A whole number cannot be naive, sorts the same in every database and is exact; wall-clock times
appear only here, in calendar steps (period.py) and where people read or type them.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo
from typing import NewType

from checkwatch.errors import Problem, WrongUse

Instant = NewType("Instant", int)

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

#: How far the clocks of our computers may differ (docs/meaning.md, part 2).
CLOCK_TOLERANCE = 2 * MINUTE

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_TOO_FINE = re.compile(r"[.,]\d{7,}")

#: Later than every instant that can be written: the end of what nothing but an entry ends.
FOREVER = Instant((datetime.max.replace(tzinfo=UTC) - _EPOCH) // _MICROSECOND + 1)

#: Before every instant that can be written.
BEGINNING = Instant((datetime.min.replace(tzinfo=UTC) - _EPOCH) // _MICROSECOND)


def from_datetime(moment: datetime) -> Instant:
    """The instant of an aware datetime; ValueError for a naive one."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise ValueError("a datetime without an offset is not an instant")
    return Instant((moment - _EPOCH) // _MICROSECOND)


def to_datetime(instant: Instant, zone: tzinfo = UTC) -> datetime:
    """The aware datetime of an instant in a zone."""
    return (_EPOCH + timedelta(microseconds=instant)).astimezone(zone)


def iso(instant: Instant) -> str:
    """ISO 8601 in UTC, `2026-03-29T01:00:00Z`, with a fraction only where it is not zero."""
    return to_datetime(instant).replace(tzinfo=None).isoformat() + "Z"


def wall(instant: Instant, zone: tzinfo) -> datetime:
    """What a clock on a wall of the zone shows: a naive datetime, its `fold` telling a second
    reading of a repeated hour."""
    return to_datetime(instant, zone).replace(tzinfo=None)


def from_wall(local: datetime, zone: tzinfo) -> Instant:
    """The instant of a wall-clock time: one that does not exist moves forward by the gap, one
    that exists twice means the first.

    A datetime with fold 0 has just this meaning in the standard library (PEP 495): inside a gap
    it takes the offset before the change.
    """
    return from_datetime(local.replace(tzinfo=zone, fold=0))


def readings(local: datetime, zone: tzinfo) -> tuple[Instant, ...]:
    """The instants at which a wall of the zone shows this time: one, two, or none in a gap."""
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    # PEP 495: only near a change of the clocks do they differ.
    if first.utcoffset() == second.utcoffset() and 1 < local.year < 9999:
        return (from_datetime(first),)
    both = {from_datetime(first), from_datetime(second)}
    return tuple(sorted(i for i in both if wall(i, zone) == local.replace(fold=0)))


def parse_instant(text: str, zone: tzinfo, where: str = "time") -> Instant:
    """Reads ISO 8601 with an offset, or a local time of the zone.

    Raises WrongUse for what is no time, is finer than a microsecond, or falls in a repeated or
    skipped hour; the message shows both readings.
    """
    text = text.strip()
    moment = _read(text, where)
    try:
        if moment.tzinfo is not None:
            return from_datetime(moment)
        found = readings(moment, zone)
    except OverflowError:
        raise _unreadable(text, where) from None
    if len(found) == 1:
        return found[0]
    raise WrongUse(_ambiguous(text, moment, zone, where))


def parse_day_or_instant(text: str, zone: tzinfo, where: str = "time") -> Instant:
    """As `parse_instant`; a date alone means the start of that day in the zone."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text.strip()):
        return from_wall(_read(text.strip(), where), zone)
    return parse_instant(text, zone, where)


def _read(text: str, where: str) -> datetime:
    # datetime would silently cut a finer fraction, and so move an entry before its neighbour.
    if _TOO_FINE.search(text):
        raise WrongUse(Problem(where, f"{text!r} is finer than a microsecond", "cut its fraction"))
    try:
        moment = datetime.fromisoformat(text)
        moment.utcoffset()
    except ValueError:
        raise _unreadable(text, where) from None
    return moment


def _unreadable(text: str, where: str) -> WrongUse:
    remedy = "type it like 2026-03-29T06:50 or 2026-03-29T06:50:00+01:00"
    return WrongUse(Problem(where, f"{text[:60]!r} is not a time", remedy))


def _ambiguous(text: str, moment: datetime, zone: tzinfo, where: str) -> Problem:
    both = [from_datetime(moment.replace(tzinfo=zone, fold=fold)) for fold in (0, 1)]
    why = "occurs twice" if both[0] < both[1] else "does not occur"
    shown = " or ".join(to_datetime(i, zone).isoformat() for i in sorted(both))
    return Problem(where, f"{text!r} {why} in {zone}: the clocks change", f"say {shown}")
