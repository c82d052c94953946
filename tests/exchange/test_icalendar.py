"""Calendars as text, read again by an implementation that is not ours; sections are those of
RFC 5545."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core.instant import Instant, from_datetime
from checkwatch.exchange.icalendar import Event, calendar, escaped, folded

LONDON = ZoneInfo("Europe/London")
REVISED = from_datetime(datetime(2026, 3, 12, 10, tzinfo=UTC))

#: With half an hour of summer time, with winter time as the exception, without any, far ahead, in
#: the southern half, and with a time that religion moves.
ZONES = (
    "Europe/London", "America/New_York", "Australia/Lord_Howe", "Europe/Dublin", "Asia/Kolkata",
    "Pacific/Kiritimati", "America/Santiago", "Africa/Casablanca", "UTC",
)  # fmt: skip


def at(text: str) -> Instant:
    return from_datetime(datetime.fromisoformat(text).replace(tzinfo=UTC))


def event(when: Instant | date, **more: str) -> Event:
    words = {"uid": "one", "summary": "s", "description": "d", **more}
    return Event(revised=REVISED, at=when, **words)


def written(*events: Event, zone: ZoneInfo = LONDON, **more: str) -> str:
    name, description = more.get("name", "Suite"), more.get("description", "dates")
    return calendar(name, description, events, zone, 2026)


def read(text: str) -> icalendar.Calendar:
    """By the zone that stands in the text: under its own name the library would take its own."""
    return icalendar.Calendar.from_ical(
        text.replace("TZID=", "TZID=x-").replace("TZID:", "TZID:x-")
    )


def starts(text: str) -> list[datetime]:
    return [one["DTSTART"].dt for one in read(text).walk("VEVENT")]


@pytest.mark.parametrize("name", ZONES)
def test_every_instant_around_every_change_of_the_clocks_is_read_as_it_was(name: str) -> None:
    """3.6.5: by the changes that the text tells, one by one, in this year and one far ahead."""
    zone = ZoneInfo(name)
    instants = [
        Instant(from_datetime(datetime(year, 1, 1, tzinfo=UTC)) + hours * 3_600_000_000)
        for year in (2026, 2027, 2061)
        for hours in range(0, 365 * 24, 1)
        if _near_a_change(datetime(year, 1, 1, tzinfo=UTC) + timedelta(hours=hours), zone)
        or hours % 500 == 0
    ]
    read_again = starts(written(*map(event, instants), zone=zone))
    assert [from_datetime(moment) for moment in read_again] == instants


def _near_a_change(moment: datetime, zone: ZoneInfo) -> bool:
    near = (moment + timedelta(hours=hours) for hours in (-3, 3))
    return len({one.astimezone(zone).utcoffset() for one in near}) > 1


def test_a_text_names_its_zone_and_the_local_time() -> None:
    assert "DTSTART;TZID=Europe/London:20260712T090000\r\n" in written(
        event(at("2026-07-12T08:00"))
    )


def test_the_second_of_two_equal_hours_is_told_in_utc() -> None:
    """3.3.5: a local time that occurs twice means the first."""
    first, second = (written(event(at(f"2026-10-25T0{hour}:30"))) for hour in (0, 1))
    assert "DTSTART;TZID=Europe/London:20261025T013000" in first
    assert "DTSTART:20261025T013000Z" in second


def test_a_fraction_of_a_second_is_cut() -> None:
    """3.3.5 knows whole seconds; no event is later than it is."""
    (start,) = starts(written(event(at("2026-03-12T08:00:00.999999"))))
    assert start == datetime(2026, 3, 12, 8, tzinfo=UTC)


def test_the_zone_is_told_for_the_years_in_which_something_is() -> None:
    text = written(event(at("9998-07-01T00:00")))
    assert (len(text) < 2500, text.count("DTSTART:9998")) == (True, 3)


def test_a_whole_day_is_a_date() -> None:
    """3.3.4, and 3.6.1: without an end it lasts that day."""
    assert starts(written(event(date(2026, 3, 12)))) == [date(2026, 3, 12)]


def test_an_event_has_what_it_must_have_and_blocks_no_time() -> None:
    """3.6.1; DTSTAMP is in UTC (3.8.7.2), SEQUENCE a whole number (3.8.7.4)."""
    (found,) = read(written(event(date(2026, 3, 12), uid="u-1", location="Theatre 4"))).walk(
        "VEVENT"
    )
    assert (found["UID"], found["LOCATION"], found["TRANSP"]) == ("u-1", "Theatre 4", "TRANSPARENT")
    assert found["DTSTAMP"].dt == datetime(2026, 3, 12, 10, tzinfo=UTC)
    assert found["SEQUENCE"] == REVISED // 60_000_000 < 2**31
    assert found.errors == []


def test_what_is_revised_later_has_a_higher_sequence() -> None:
    later = event(date(2026, 3, 12))._replace(revised=Instant(REVISED + 60_000_000))
    (found,) = read(written(later)).walk("VEVENT")
    assert found["SEQUENCE"] == REVISED // 60_000_000 + 1


def test_a_calendar_without_events_is_one_all_the_same() -> None:
    """3.6: at least one component."""
    found = read(written())
    assert found["VERSION"] == "2.0"
    assert found["PRODID"].startswith("-//checkwatch//")
    assert [part.name for part in found.subcomponents] == ["VTIMEZONE"]


HARD = 'a\\b;c,d:"e"\nnext “ünïcödé” 病院 ' + "x" * 80


def test_every_text_comes_back_as_it_was() -> None:
    """3.3.11."""
    found = read(written(event(at("2026-03-12T08:00"), summary=HARD), name=HARD, description=HARD))
    (one,) = found.walk("VEVENT")
    assert [str(one["SUMMARY"]), str(found["DESCRIPTION"])] == [HARD] * 2
    # RFC 7986, 5.1; the library leaves this value as it stands in the text.
    assert str(found["NAME"]) == escaped(HARD)
    assert escaped(";,\\\n") == "\\;\\,\\\\\\n"


@given(st.text(alphabet=st.characters(exclude_categories=["C"]), max_size=400))
def test_no_line_is_longer_than_75_octets_or_broken_in_a_character(text: str) -> None:
    """3.1."""
    lines = folded(text).encode().split(b"\r\n")
    assert all(len(line) <= 75 and line.decode() is not None for line in lines)
    assert b"".join([lines[0], *(line[1:] for line in lines[1:])]).decode() == text
    assert all(line.startswith(b" ") for line in lines[1:])


def test_all_lines_end_with_crlf() -> None:
    """3.1."""
    text = written(event(at("2026-03-12T08:00"), summary=HARD))
    assert text.count("\n") == text.count("\r\n") == text.count("\r")
    assert text.endswith("END:VCALENDAR\r\n")
