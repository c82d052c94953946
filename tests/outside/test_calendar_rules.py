"""Durations and calendar units: any date against two libraries and the standard's own steps."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pendulum
from dateutil.relativedelta import MO, relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core.instant import HOUR, Instant, from_datetime, to_datetime
from tests.outside import calendar_rules as page
from tests.outside.clock_changes import changes
from tests.outside.one_check import instant, local, window
from tests.outside.test_clock_changes import ZONES, by_dateutil, from_pendulum, to_pendulum

law = settings(max_examples=200, deadline=None, derandomize=True)

MOMENTS = st.datetimes(datetime(1900, 1, 1), datetime(2100, 1, 1))


class Lasts(NamedTuple):
    """A duration in its parts, which are named as both libraries name them."""

    years: int = 0
    months: int = 0
    weeks: int = 0
    days: int = 0
    hours: int = 0
    minutes: int = 0
    seconds: int = 0

    def __str__(self) -> str:
        y, m, w, d, hours, minutes, seconds = self
        time = f"T{hours}H{minutes}M{seconds}S" if hours or minutes or seconds else ""
        return f"P{y}Y{m}M{w}W{d}D{time}"


_MOST = (5, 30, 9, 40, 60, 90, 90)


def durations(parts: int) -> st.SearchStrategy[Lasts]:
    """Durations of so many of the first parts, longer than nothing."""
    amounts = st.tuples(*(st.integers(0, most) for most in _MOST[:parts]))
    return amounts.filter(any).map(lambda given: Lasts(*given))


DURATIONS, CALENDAR = durations(7), durations(4)


def end(lasts: Lasts, moment: datetime) -> datetime:
    """When a pass is over, in UTC."""
    at = from_datetime(moment.replace(tzinfo=UTC))
    return to_datetime(window(f'valid_for = "{lasts}"', "UTC", at).until).replace(tzinfo=None)


def warned(lasts: Lasts, due: datetime) -> datetime:
    """From when a check is due whose `warn_before` is so long, in UTC."""
    at = from_datetime(due.replace(tzinfo=UTC) - timedelta(days=9000))
    clause = f'valid_for = "P9000D"\nwarn_before = "{lasts}"'
    return to_datetime(window(clause, "UTC", at).due_from).replace(tzinfo=None)


@law
@given(MOMENTS, DURATIONS)
def test_a_duration_ends_where_two_libraries_say(moment: datetime, lasts: Lasts) -> None:
    """python-dateutil and pendulum 3, where no clocks change."""
    assert end(lasts, moment) == moment + relativedelta(**lasts._asdict())
    theirs = pendulum.instance(moment, tz="UTC").add(**lasts._asdict())
    assert end(lasts, moment) == theirs.naive()


@law
@given(MOMENTS, DURATIONS)
def test_a_warning_begins_where_two_libraries_say(due: datetime, lasts: Lasts) -> None:
    assert warned(lasts, due) == due - relativedelta(**lasts._asdict())
    theirs = pendulum.instance(due, tz="UTC").subtract(**lasts._asdict())
    assert warned(lasts, due) == theirs.naive()


def added(start: datetime, lasts: Lasts, sign: int) -> datetime:
    """W3C XML Schema Part 2, appendix E (read), step by step as it stands there."""

    def split(value: int, low: int, high: int) -> tuple[int, int]:
        return (value - low) // (high - low), (value - low) % (high - low) + low

    def most(year: int, month: int) -> int:
        carry, month = split(month, 1, 13)
        year += carry
        leap = year % 400 == 0 or (year % 100 != 0 and year % 4 == 0)
        return (31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[month - 1]

    carry, month = split(start.month + sign * lasts.months, 1, 13)
    year = start.year + sign * lasts.years + carry
    carry, second = split(start.second + sign * lasts.seconds, 0, 60)
    carry, minute = split(start.minute + sign * lasts.minutes + carry, 0, 60)
    carry, hour = split(start.hour + sign * lasts.hours + carry, 0, 24)
    day = min(start.day, most(year, month)) + sign * (7 * lasts.weeks + lasts.days) + carry
    while not 1 <= day <= most(year, month):
        carry = -1 if day < 1 else 1
        day += most(year, month - 1) if day < 1 else -most(year, month)
        carry, month = split(month + carry, 1, 13)
        year += carry
    return datetime(year, month, day, hour, minute, second, start.microsecond)


@law
@given(MOMENTS, DURATIONS)
def test_durations_are_added_by_the_steps_of_the_standard(moment: datetime, lasts: Lasts) -> None:
    assert end(lasts, moment) == added(moment, lasts, +1)
    assert warned(lasts, moment) == added(moment, lasts, -1)


def moments_in(zone: str) -> st.SearchStrategy[tuple[str, Instant]]:
    """A zone with an instant: any, or one near a change of its clocks."""
    any_time = st.datetimes(datetime(1971, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC))
    near = [at for change in changes(zone, 1990, 2025) for at in change.passes]
    return st.tuples(st.just(zone), any_time.map(from_datetime) | st.sampled_from(near))


PLACES = st.one_of(*(moments_in(zone) for zone in ZONES))


@law
@given(PLACES, CALENDAR)
def test_calendar_steps_in_a_zone_are_those_of_dateutil(
    place: tuple[str, Instant], lasts: Lasts
) -> None:
    """Up to 2037: of later changes dateutil knows nothing."""
    zone, at = place
    over = window(f'valid_for = "{lasts}"', zone, at).until
    assert over == by_dateutil(at, relativedelta(**lasts._asdict()), zone)


#: From midnight of a day to the end of its calendar unit, by dateutil.
TO_THE_END: dict[str, Callable[[datetime], relativedelta]] = {
    "day": lambda _: relativedelta(days=1),
    "week": lambda _: relativedelta(days=1, weekday=MO),
    "month": lambda _: relativedelta(months=1, day=1),
    "quarter": lambda day: relativedelta(months=3 - (day.month - 1) % 3, day=1),
    "year": lambda _: relativedelta(years=1, month=1, day=1),
}


def end_by_dateutil(at: Instant, unit: str, zone: str) -> Instant:
    midnight = relativedelta(hour=0, minute=0, second=0, microsecond=0)
    day = to_datetime(at, ZoneInfo(zone)).replace(tzinfo=None)
    return by_dateutil(at, midnight + TO_THE_END[unit](day), zone)


def end_by_pendulum(at: Instant, unit: str, zone: str) -> Instant:
    """pendulum names the last microsecond; it knows the last day of a quarter only."""
    moment = to_pendulum(at, zone)
    last = moment.last_of(unit).end_of("day") if unit == "quarter" else moment.end_of(unit)
    return from_pendulum(last.add(microseconds=1))


@law
@given(PLACES, st.sampled_from(list(TO_THE_END)))
def test_calendar_units_end_where_the_libraries_end_them(
    place: tuple[str, Instant], unit: str
) -> None:
    """`round_up_to` moves a due instant there; from there `once_each` is due, to the next end.

    Where the last hour of a day comes twice, pendulum 3 ends the day with the first of them.
    """
    zone, due = place
    clause = f'valid_for = "PT1H"\nround_up_to = "{unit}"'
    first = end_by_dateutil(due, unit, zone)
    assert window(clause, zone, Instant(due - HOUR)).until == first
    once = window(f'once_each = "{unit}"', zone, due)
    assert (once.due_from, once.until) == (first, end_by_dateutil(first, unit, zone))
    last_comes_twice = to_datetime(Instant(first - 1), ZoneInfo(zone)).fold
    assert end_by_pendulum(due, unit, zone) == first - last_comes_twice * HOUR


@law
@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_a_week_is_that_of_iso_8601(day: date) -> None:
    """From Monday on; week 1 has the year's first Thursday (the standard library's calendar)."""
    noon = from_datetime(datetime(day.year, day.month, day.day, 12, tzinfo=UTC))
    once = window('once_each = "week"', "UTC", noon)
    monday = date.fromisocalendar(*day.isocalendar()[:2], 1)
    weeks = [monday + timedelta(weeks=n) for n in (1, 2)]
    assert [local(at, "UTC")[:10] for at in (once.due_from, once.until)] == list(map(str, weeks))


def parts(lasts: str) -> dict[str, Any]:
    """The parts of a duration of the page, in years, months, days or hours."""
    names = {"Y": "years", "M": "months", "D": "days", "H": "hours"}
    return {names[letter]: int(n) for n, letter in re.findall(r"(\d+)([YMDH])", lasts)}


def test_the_libraries_say_what_the_page_has_them_say() -> None:
    for source, rows in page.DURATIONS.items():
        for zone, lasts, text, says in rows:
            at, step = instant(text, zone), parts(lasts)
            if source in (page.BOTH, page.PENDULUM):
                assert local(from_pendulum(to_pendulum(at, zone).add(**step)), zone).startswith(
                    says
                )
            if source in (page.BOTH, page.DATEUTIL):
                stepped = by_dateutil(at, relativedelta(**step), zone)
                assert local(stepped, zone).startswith(says)
    for zone, lasts, text, says in page.BEFORE[page.BOTH]:
        back = by_dateutil(instant(text, zone), -relativedelta(**parts(lasts)), zone)
        assert local(back, zone).startswith(says)
    for unit, first, second in page.UNITS:
        ends = [
            end_by_dateutil(instant(text, page.LONDON), unit, page.LONDON)
            for text in ("2024-02-29", first)
        ]
        assert [local(at, page.LONDON)[:10] for at in ends] == [first, second]
    for zone, text, says in page.MIDNIGHTS:
        found = end_by_pendulum(Instant(instant(text, zone) + HOUR), "day", zone)
        assert local(found, zone) == says
