"""Calendar arithmetic and recurrences, against values published elsewhere."""

from datetime import datetime

import pytest

from tests.oracle import calendar
from tests.oracle.builder import utc


@pytest.mark.parametrize(
    ("start", "step", "end"),
    [
        # W3C XML Schema Part 2, 2nd edition (2004), appendix E.
        ("2000-01-12T12:13:14", "P1Y3M5DT7H10M3.3S", "2001-04-17T19:23:17.3"),
        ("2000-01-12", "PT33H", "2000-01-13T09:00"),
        # Shown with ISO 8601's interval notation in many places; the source is from memory.
        ("2007-03-01T13:00", "P1Y2M10DT2H30M", "2008-05-11T15:30"),
    ],
)
def test_durations_are_added_as_published(start: str, step: str, end: str) -> None:
    assert calendar.add(utc(start), calendar.duration(step), "UTC") == utc(end)


def test_month_then_day_is_not_day_then_month() -> None:
    # W3C XML Schema Part 2, appendix E.
    day, month = calendar.duration("P1D"), calendar.duration("P1M")
    march = utc("2000-03-30")
    assert calendar.add(calendar.add(march, day, "UTC"), month, "UTC") == utc("2000-04-30")
    assert calendar.add(calendar.add(march, month, "UTC"), day, "UTC") == utc("2000-05-01")


@pytest.mark.parametrize("text", ["1Y", "P1S", "P-1Y", "P1M2Y", "P1Y-1M", "P", "PT", "P1DT"])
def test_what_is_no_duration_is_refused(text: str) -> None:
    # XML Schema Part 2, §3.2.6, and the examples of its readers; the last three are by hand.
    with pytest.raises(ValueError, match="no ISO 8601 duration"):
        calendar.duration(text)


@pytest.mark.parametrize(
    ("zone", "start", "step", "end"),
    [
        # The clock changes are those of the tz database; a nominal day may have 23 or 25 hours
        # by RFC 5545, §3.3.6.
        ("Europe/London", "2026-03-28T08:00+00:00", "P1D", "2026-03-29T08:00+01:00"),
        ("Europe/London", "2026-03-28T08:00+00:00", "PT24H", "2026-03-29T09:00+01:00"),
        ("Europe/London", "2026-10-24T08:00+01:00", "P1D", "2026-10-25T08:00+00:00"),
        ("Europe/London", "2026-10-24T08:00+01:00", "PT24H", "2026-10-25T07:00+00:00"),
        # By hand: forward over the gap, the first of the repeated, elapsed time after that.
        ("Europe/London", "2026-03-28T01:30+00:00", "P1D", "2026-03-29T02:30+01:00"),
        ("Europe/London", "2026-10-24T01:30+01:00", "P1D", "2026-10-25T01:30+01:00"),
        ("Europe/London", "2026-10-25T01:30+00:00", "PT0S", "2026-10-25T01:30+00:00"),
        ("Europe/London", "2026-03-28T01:30+00:00", "P1DT1H", "2026-03-29T03:30+01:00"),
        ("Australia/Lord_Howe", "2026-10-03T02:10+10:30", "P1D", "2026-10-04T02:40+11:00"),
        ("Pacific/Apia", "2011-12-29T08:00-10:00", "P1D", "2011-12-31T08:00+14:00"),
        ("UTC", "2024-02-29", "P1Y", "2025-02-28"),
        ("UTC", "2026-01-31", "P1M1D", "2026-03-01"),
    ],
)
def test_calendar_steps_keep_the_wall_clock(zone: str, start: str, step: str, end: str) -> None:
    assert calendar.add(utc(start), calendar.duration(step), zone) == utc(end)


@pytest.mark.parametrize(
    ("start", "rule", "dates"),
    [
        # RFC 5545 (2009), §3.8.5.3, its examples in America/New_York at 09:00.
        ("1997-09-02", "FREQ=DAILY;INTERVAL=10;COUNT=5", "09-02 09-12 09-22 10-02 10-12"),
        (
            "1997-09-02",
            "FREQ=WEEKLY;COUNT=10",
            "09-02 09-09 09-16 09-23 09-30 10-07 10-14 10-21 10-28 11-04",
        ),
        ("1997-09-22", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "09-22 10-20 11-17 12-22 01-19 02-16"),
        (
            "1997-09-30",
            "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
            "09-30 10-01 10-31 11-01 11-30 12-01 12-31 01-01 01-31 02-01",
        ),
        (
            "1997-08-05",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
            "08-05 08-10 08-19 08-24",
        ),
        (
            "1997-08-05",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
            "08-05 08-17 08-19 08-31",
        ),
    ],
)
def test_recurrences_occur_as_in_rfc_5545(start: str, rule: str, dates: str) -> None:
    zone, counted_from = "America/New_York", datetime.fromisoformat(f"{start}T09:00")
    found, after = [], utc("1997-01-01")
    while (at := calendar.next_occurrence(rule, counted_from, after, zone)) is not None:
        found.append(calendar.wall(at, zone))
        after = at
    assert [f"{local:%m-%d}" for local in found] == dates.split()
    assert {f"{local:%H:%M}" for local in found} == {"09:00"}


def test_daily_until_an_instant_of_utc_occurs_113_times() -> None:
    # RFC 5545, §3.8.5.3: daily until 24 December 1997; standard time from 26 October on.
    rule, zone = "FREQ=DAILY;UNTIL=19971224T000000Z", "America/New_York"
    found, after = [], utc("1997-01-01")
    while (at := calendar.next_occurrence(rule, datetime(1997, 9, 2, 9), after, zone)) is not None:
        found.append(at)
        after = at
    assert len(found) == 113
    assert found[-1] == utc("1997-12-23T09:00-05:00")
    assert utc("1997-10-25T13:00") in found
    assert utc("1997-10-26T14:00") in found
