"""Durations and calendar steps at their edges, worked by hand from docs/meaning.md part 5."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from checkwatch.core.instant import DAY, FOREVER, HOUR, Instant, from_datetime, from_wall
from checkwatch.core.period import (
    NOTHING,
    Period,
    Unit,
    earlier,
    end_of,
    end_of_day,
    later,
    parse_period,
)
from checkwatch.errors import WrongUse

LONDON = ZoneInfo("Europe/London")


def local(text: str) -> Instant:
    """The first instant at which a wall in London shows a time."""
    return from_wall(datetime.fromisoformat(text), LONDON)


def refusal(text: str) -> str:
    with pytest.raises(WrongUse) as refused:
        parse_period(text)
    return str(refused.value)


def test_each_letter_is_read_and_written() -> None:
    for text, months, days, micros in (
        ("P1Y", 12, 0, 0),
        ("P1Y2M", 14, 0, 0),
        ("P11M", 11, 0, 0),
        ("P9D", 0, 9, 0),
        ("PT3H", 0, 0, 10_800_000_000),
        ("PT59M", 0, 0, 3_540_000_000),
        ("PT59S", 0, 0, 59_000_000),
        ("PT59M59S", 0, 0, 3_599_000_000),
        ("PT1H1M", 0, 0, 3_660_000_000),
        ("PT1M1S", 0, 0, 61_000_000),
        ("PT0.5S", 0, 0, 500_000),
        ("PT0.000001S", 0, 0, 1),
        ("P1Y1M1DT1H1M1.25S", 13, 1, 3_661_250_000),
        ("PT0S", 0, 0, 0),
    ):
        period = Period(months, days, micros)
        assert (parse_period(text), str(period)) == (period, text)


def test_what_is_written_otherwise_means_the_same() -> None:
    for text, same in ((" P2W ", "P14D"), ("PT60M", "PT1H"), ("PT3600S", "PT1H"), ("P12M", "P1Y")):
        assert str(parse_period(text)) == same
    assert parse_period("P1W1D") == Period(days=8)


def test_one_of_its_parts_makes_a_duration_something() -> None:
    assert not NOTHING
    assert Period() == NOTHING == Period(0, 0, 0)
    for part, elapsed in (("months", False), ("days", False), ("micros", True)):
        period = Period(**{part: 1})
        assert period
        assert period.is_elapsed is elapsed


def test_a_duration_is_between_its_shortest_and_its_longest() -> None:
    """A month has 28 to 31 days, and a run of days meets at most one change of the clocks."""
    for text, shortest, longest in (
        ("P1D", 23 * HOUR, 25 * HOUR),
        ("P2D", 47 * HOUR, 49 * HOUR),
        ("P1M", 28 * DAY - HOUR, 31 * DAY + HOUR),
        ("P1M2DT3H", 30 * DAY + 2 * HOUR, 33 * DAY + 4 * HOUR),
        ("PT5H", 5 * HOUR, 5 * HOUR),
    ):
        period = parse_period(text)
        assert (period.shortest, period.longest) == (shortest, longest)


def test_a_thousand_years_of_366_days_can_be_given_and_no_more() -> None:
    assert parse_period("P365999D") == Period(days=365_999)
    assert parse_period("PT8784000H") == Period(micros=366_000 * DAY)
    for text in ("P366000D", "PT8784000H0.000001S", "P1001Y"):
        assert refusal(text).startswith(f"duration: '{text}' is longer than 1000 years")


def test_a_number_has_at_most_twelve_digits() -> None:
    """Python refuses to read one of many thousands, in words that no user should see."""
    assert str(parse_period("PT000000000001S")) == "PT1S"
    for digits in ("0" * 12 + "1", "9" * 5000):
        assert "is longer than 1000 years" in refusal(f"PT{digits}S")


def test_a_refusal_shows_sixty_characters_of_what_was_given() -> None:
    for text in ("x" * 70, "P" + "9" * 70 + "D"):
        assert refusal(text).startswith(f"duration: {text[:60]!r} is ")


def test_elapsed_time_is_counted_from_the_second_reading_of_a_repeated_hour() -> None:
    """On 25 October 2026 London shows 01:30 twice. An hour after the second it is 02:30."""
    second = from_datetime(datetime(2026, 10, 25, 1, 30, tzinfo=LONDON, fold=1))
    assert second == local("2026-10-25T01:30") + HOUR
    assert later(second, parse_period("PT1H"), LONDON) == local("2026-10-25T02:30")
    assert earlier(second, parse_period("PT1H"), LONDON) == local("2026-10-25T01:30")
    assert later(second, parse_period("P1D"), LONDON) == local("2026-10-26T01:30")


def test_a_step_of_months_a_step_of_days_and_elapsed_time_are_taken_in_this_order() -> None:
    for start, text, after in (
        ("2026-01-31T10:00", "P1M", "2026-02-28T10:00"),
        ("2026-01-31T10:00", "P1M1D", "2026-03-01T10:00"),
        ("2026-01-31T10:00", "P1M1DT2H", "2026-03-01T12:00"),
        ("2026-11-15T10:00", "P1M", "2026-12-15T10:00"),
        ("2026-12-15T10:00", "P1M", "2027-01-15T10:00"),
        ("2024-02-29T10:00", "P1Y", "2025-02-28T10:00"),
        ("2026-03-28T10:00", "P1D", "2026-03-29T10:00"),
        ("2026-03-28T10:00", "PT24H", "2026-03-29T11:00"),
    ):
        assert later(local(start), parse_period(text), LONDON) == local(after)
    for start, text, before in (
        ("2026-03-31T10:00", "P1M", "2026-02-28T10:00"),
        ("2026-01-15T10:00", "P1M", "2025-12-15T10:00"),
        ("2026-03-31T10:00", "P1M1DT2H", "2026-02-27T08:00"),
    ):
        assert earlier(local(start), parse_period(text), LONDON) == local(before)


def test_after_the_last_day_of_the_calendar_is_forever() -> None:
    last = local("9999-12-31T23:30")
    for text in ("P1D", "P1M", "PT1H"):
        assert later(last, parse_period(text), LONDON) == FOREVER
    assert later(last, parse_period("PT29M"), LONDON) == last + 29 * HOUR // 60
    for unit in ("day", "week", "month", "quarter", "year"):
        assert end_of(last, unit, LONDON) == FOREVER


def test_forever_is_never_left() -> None:
    for text in ("PT1H", "P1D", "P1M"):
        assert later(FOREVER, parse_period(text), LONDON) == FOREVER
        assert earlier(FOREVER, parse_period(text), LONDON) == FOREVER


@pytest.mark.parametrize(
    ("unit", "start", "end"),
    [
        ("day", "2026-10-25", "2026-10-26"),
        ("day", "2026-12-31", "2027-01-01"),
        ("week", "2026-10-19", "2026-10-26"),
        ("month", "2026-10-01", "2026-11-01"),
        ("month", "2026-12-01", "2027-01-01"),
        ("quarter", "2026-01-01", "2026-04-01"),
        ("quarter", "2026-04-01", "2026-07-01"),
        ("quarter", "2026-07-01", "2026-10-01"),
        ("quarter", "2026-10-01", "2027-01-01"),
        ("year", "2026-01-01", "2027-01-01"),
    ],
)
def test_a_unit_ends_where_the_next_begins(unit: Unit, start: str, end: str) -> None:
    """At its first instant, at each day's 09:08:07.000001, and at its last; midnight begins one."""
    first, over = local(f"{start}T00:00"), local(f"{end}T00:00")
    day, days = datetime.fromisoformat(f"{start}T09:08:07.000001"), []
    while day < datetime.fromisoformat(end):
        days.append(from_wall(day, LONDON))
        day += timedelta(days=1)
    for instant in (first, *days, Instant(over - 1)):
        assert end_of(instant, unit, LONDON) == over
    assert end_of(Instant(first - 1), unit, LONDON) == first
    assert end_of(over, unit, LONDON) > over


@pytest.mark.parametrize(
    ("day", "end"),
    [
        ("2026-03-12", "2026-03-13T00:00"),
        ("2026-03-29", "2026-03-30T00:00"),
        ("2028-02-28", "2028-02-29T00:00"),
        ("9999-12-30", "9999-12-31T00:00"),
    ],
)
def test_a_day_ends_where_the_next_begins(day: str, end: str) -> None:
    assert end_of_day(date.fromisoformat(day), LONDON) == local(end)


def test_the_last_day_of_the_calendar_never_ends() -> None:
    assert end_of_day(date(9999, 12, 31), LONDON) == FOREVER
