"""Durations, calendar steps, periods and recurrences in one zone (meaning, §2 and §5)."""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from dateutil.rrule import rrule, rruleset, rrulestr

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
SECOND = 1_000_000
# No zone has ever moved its clocks by more than a day.
TWO_DAYS = 2 * 24 * 60 * 60 * SECOND


class Duration(NamedTuple):
    """An ISO 8601 duration: months and days are steps of the calendar, the rest has elapsed."""

    months: int
    days: int
    microseconds: int


DURATION = re.compile(
    r"(?P<sign>-?)P(?=.)(?:(?P<Y>\d+)Y)?(?:(?P<M>\d+)M)?(?:(?P<W>\d+)W)?(?:(?P<D>\d+)D)?"
    r"(?:T(?=.)(?:(?P<h>\d+)H)?(?:(?P<m>\d+)M)?(?:(?P<s>\d+(?:[.,]\d+)?)S)?)?"
)


def duration(text: str) -> Duration:
    """Read an ISO 8601 duration, such as "P1M" or "PT24H"."""
    match = DURATION.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is no ISO 8601 duration")
    part = {
        name: Decimal((found or "0").replace(",", "."))
        for name, found in match.groupdict().items()
        if name != "sign"
    }
    sign = -1 if match["sign"] else 1
    return Duration(
        sign * int(12 * part["Y"] + part["M"]),
        sign * int(7 * part["W"] + part["D"]),
        sign * int((3600 * part["h"] + 60 * part["m"] + part["s"]) * SECOND),
    )


def instant(moment: datetime) -> int:
    """Give the instant of a datetime that knows its offset."""
    return (moment - EPOCH) // MICROSECOND


def wall(at: int, zone: str) -> datetime:
    """Show an instant as the clock on the wall of the zone has it."""
    moment = (EPOCH + at * MICROSECOND).astimezone(ZoneInfo(zone))
    return moment.replace(tzinfo=None, fold=0)


def resolve(local: datetime, zone: str) -> int:
    """Give the instant at which the clock on the wall shows `local`.

    With fold 0 a time that exists twice is the first. One that does not exist is read with the
    offset from before the gap, which is the same as moving it forward by the gap.
    """
    return instant(local.replace(tzinfo=ZoneInfo(zone), fold=0).astimezone(UTC))


def month_step(local: datetime, months: int) -> datetime:
    """Step over whole months, and fall back to the last day of a month that is too short."""
    year, month = divmod(local.year * 12 + local.month - 1 + months, 12)
    for day in range(local.day, 0, -1):
        try:
            return local.replace(year=year, month=month + 1, day=day)
        except ValueError:
            continue
    raise ValueError(f"no month {months} after {local}")


def add(at: int, step: Duration, zone: str) -> int:
    """Add the calendar part on the wall clock, resolved once, and then the elapsed part."""
    if step.months or step.days:
        local = month_step(wall(at, zone), step.months) + timedelta(days=step.days)
        at = resolve(local, zone)
    return at + step.microseconds


def subtract(at: int, step: Duration, zone: str) -> int:
    """Step back in the same order: the calendar part, then the elapsed part."""
    return add(at, Duration(-step.months, -step.days, -step.microseconds), zone)


def first_day(day: date, period: str) -> date:
    """Give the first day of the calendar period that `day` belongs to."""
    match period:
        case "day":
            return day
        case "week":
            return day - timedelta(days=day.weekday())
        case "month":
            return day.replace(day=1)
        case "quarter":
            return day.replace(month=(day.month - 1) // 3 * 3 + 1, day=1)
        case "year":
            return day.replace(month=1, day=1)
    raise ValueError(f"no period is called {period!r}")


def day_after(day: date, period: str) -> date:
    """Give the first day that no longer belongs to the period of `day`, counting day by day."""
    later = day
    while first_day(later, period) == first_day(day, period):
        later += timedelta(days=1)
    return later


def period_end(at: int, period: str, zone: str) -> int:
    """Give the end of the calendar period of the zone in which an instant falls."""
    return midnight(day_after(wall(at, zone).date(), period), zone)


def next_period_end(at: int, period: str, zone: str) -> int:
    """Give the end of the calendar period after the one in which an instant falls.

    A day that the zone left out is none of its days: there was no instant to do anything in it.
    """
    return period_end(period_end(at, period, zone), period, zone)


def midnight(day: date, zone: str) -> int:
    """Give the instant at which a day begins in the zone."""
    return resolve(datetime(day.year, day.month, day.day), zone)


@lru_cache(maxsize=4096)
def next_occurrence(text: str, counted_from: datetime, after: int, zone: str) -> int | None:
    """Give the first instant strictly after `after` at which an RFC 5545 rule occurs, or None.

    Occurrences are wall-clock times. Around a clock change their instants may not be in order,
    so all that lie within two days of the first one are looked at.

    Like the expansion below, this depends on nothing in any book, so it may be remembered.
    """
    rule, until = without_until(text, zone)
    found: list[int] = []
    for local in occurrences_near(rule, counted_from, wall(after, zone)):
        at = resolve(local, zone)
        if (until is not None and at > until + TWO_DAYS) or (found and at > found[0] + TWO_DAYS):
            break
        if at > after and (until is None or at <= until):
            found.append(at)
    return min(found, default=None)


def occurrences_near(text: str, counted_from: datetime, local: datetime) -> Iterator[datetime]:
    """Go through the occurrences from two days before `local` on."""
    return (each for each in expansion(text, counted_from) if each > local - timedelta(days=2))


@lru_cache(maxsize=64)
def expansion(text: str, counted_from: datetime) -> rrule | rruleset:
    """Expand a recurrence, once."""
    return rrulestr(text, dtstart=counted_from, cache=True)


def without_until(text: str, zone: str) -> tuple[str, int | None]:
    """Take UNTIL out of a rule: it may be UTC while the occurrences are wall-clock times.

    An UNTIL that is only a date means the day's beginning, which is the earlier reading.
    """
    parts = text.upper().removeprefix("RRULE:").split(";")
    ends = [part.removeprefix("UNTIL=") for part in parts if part.startswith("UNTIL=")]
    rule = ";".join(part for part in parts if not part.startswith("UNTIL="))
    if not ends:
        return rule, None
    if ends[0].endswith("Z"):
        return rule, instant(datetime.fromisoformat(ends[0]))
    return rule, resolve(datetime.fromisoformat(ends[0]), zone)
