"""ISO 8601 durations and calendar steps: the only calendar arithmetic of the project.

A duration keeps its calendar part (months, days) apart from its elapsed part, because 24 hours
and one day differ on the night the clocks change.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Literal, get_args

from checkwatch.core.instant import DAY, FOREVER, HOUR, MINUTE, SECOND, Instant, from_wall, wall
from checkwatch.errors import Problem, WrongUse

Unit = Literal["day", "week", "month", "quarter", "year"]
UNITS: tuple[Unit, ...] = get_args(Unit)

_MONTHS_IN = {"month": 1, "quarter": 3, "year": 12}

_DURATION = re.compile(
    r"P(?=.)(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?"
    r"(?:T(?=.)(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)(?:\.(\d{1,6}))?S)?)?",
    re.ASCII,
)

#: Longer than any interval between checks, and short enough that no step leaves the calendar.
_LONGEST_YEARS = 1000


@dataclass(frozen=True, slots=True)
class Period:
    """A duration: calendar months and days, then elapsed microseconds; none negative."""

    months: int = 0
    days: int = 0
    micros: int = 0

    def __bool__(self) -> bool:
        return bool(self.months or self.days or self.micros)

    @property
    def is_elapsed(self) -> bool:
        """Whether it has no calendar part."""
        return not (self.months or self.days)

    @property
    def shortest(self) -> int:
        """A lower bound of its length in microseconds, whatever month or clock change it meets."""
        return self._length(month_days=28, day=23 * HOUR)

    @property
    def longest(self) -> int:
        """An upper bound of its length in microseconds."""
        return self._length(month_days=31, day=25 * HOUR)

    def _length(self, month_days: int, day: int) -> int:
        # One hour more or less is all that a clock change makes of a run of days.
        calendar_days = self.months * month_days + self.days
        if not calendar_days:
            return self.micros
        return (calendar_days - 1) * DAY + day + self.micros

    def __str__(self) -> str:
        date = _written((self.months // 12, "Y"), (self.months % 12, "M"), (self.days, "D"))
        seconds, fraction = divmod(self.micros, SECOND)
        time = _written((seconds // 3600, "H"), (seconds // 60 % 60, "M"))
        if seconds % 60 or fraction:
            tail = f".{fraction:06d}".rstrip("0") if fraction else ""
            time += f"{seconds % 60}{tail}S"
        return f"P{date}{'T' if time else ''}{time}" if date or time else "PT0S"


NOTHING = Period()


def _written(*parts: tuple[int, str]) -> str:
    return "".join(f"{number}{letter}" for number, letter in parts if number)


def parse_period(text: str, where: str = "duration") -> Period:
    """Reads an ISO 8601 duration such as `PT24H`, `P1M` or `P1DT12H`.

    Only the seconds may carry a fraction, of up to six digits. Raises WrongUse for anything else
    and for more than a thousand years.
    """
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        remedy = "write an ISO 8601 duration like PT24H, P7D or P1M"
        raise WrongUse(Problem(where, f"{text[:60]!r} is not a duration", remedy))
    if max(len(group or "") for group in match.groups()) > 12:
        raise _too_long(text, where)
    y, m, w, d, hours, minutes, seconds = (int(group or 0) for group in match.groups()[:7])
    fraction = int((match.group(8) or "").ljust(6, "0"))
    period = Period(
        months=12 * y + m,
        days=7 * w + d,
        micros=hours * HOUR + minutes * MINUTE + seconds * SECOND + fraction,
    )
    if period.longest > _LONGEST_YEARS * 366 * DAY:
        raise _too_long(text, where)
    return period


def _too_long(text: str, where: str) -> WrongUse:
    what = f"{text[:60]!r} is longer than {_LONGEST_YEARS} years"
    return WrongUse(Problem(where, what, "give a shorter one"))


def later(instant: Instant, period: Period, zone: tzinfo) -> Instant:
    """The instant a period after another; FOREVER where the calendar ends first.

    Months and days step the wall clock of the zone, the 31st falling back to the month's last
    day; the elapsed part is added to what that gives.
    """
    return _moved(instant, period, zone, +1)


def earlier(instant: Instant, period: Period, zone: tzinfo) -> Instant:
    """The instant a period before another: the calendar part first, then the elapsed part."""
    return _moved(instant, period, zone, -1)


def _moved(instant: Instant, period: Period, zone: tzinfo, sign: int) -> Instant:
    if instant >= FOREVER:
        return FOREVER
    if period.months or period.days:
        try:
            local = _step_months(wall(instant, zone), sign * period.months)
            instant = from_wall(local + timedelta(days=sign * period.days), zone)
        except (OverflowError, ValueError):
            return FOREVER
    return Instant(min(instant + sign * period.micros, FOREVER))


def _step_months(local: datetime, months: int) -> datetime:
    if not months:
        return local
    year, month0 = divmod(local.year * 12 + local.month - 1 + months, 12)
    day = min(local.day, calendar.monthrange(year, month0 + 1)[1])
    return local.replace(year=year, month=month0 + 1, day=day)


def end_of(instant: Instant, unit: Unit, zone: tzinfo) -> Instant:
    """The end of that calendar unit: the start of the next, as midnight begins a day."""
    first = _first_day(wall(instant, zone), unit)
    try:
        if unit in _MONTHS_IN:
            return from_wall(_step_months(first, _MONTHS_IN[unit]), zone)
        return from_wall(first + timedelta(days=7 if unit == "week" else 1), zone)
    except (OverflowError, ValueError):
        return FOREVER


def end_of_day(day: date, zone: tzinfo) -> Instant:
    """The end of a calendar day of the zone; FOREVER for the calendar's last."""
    if day == date.max:
        return FOREVER
    return from_wall(datetime(day.year, day.month, day.day) + timedelta(days=1), zone)


def _first_day(local: datetime, unit: Unit) -> datetime:
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    if unit == "day":
        return midnight
    if unit == "week":
        return midnight - timedelta(days=midnight.weekday())
    months = _MONTHS_IN[unit]
    return midnight.replace(month=(midnight.month - 1) // months * months + 1, day=1)
