"""A local time is read as every instant at which a wall of its zone shows it, and as no other."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import example, given
from hypothesis import strategies as st

from checkwatch.core.instant import HOUR, Instant, from_datetime, readings, wall

#: Half an hour at a change, a day left out, war time, a change at midnight, and no change.
ZONES = [
    ZoneInfo(name)
    for name in (
        "Australia/Lord_Howe",
        "Pacific/Apia",
        "Europe/London",
        "America/Havana",
        "Asia/Kolkata",
    )
]


@given(st.datetimes(datetime(1935, 1, 1), datetime(2037, 1, 1)), st.sampled_from(ZONES))
@example(datetime(2011, 12, 30, 12), ZoneInfo("Pacific/Apia"))
@example(datetime(2026, 10, 25, 1, 30), ZoneInfo("Europe/London"))
@example(datetime(2026, 3, 29, 1, 30), ZoneInfo("Europe/London"))
@example(datetime(2026, 4, 5, 1, 45), ZoneInfo("Australia/Lord_Howe"))
def test_a_local_time_is_read_as_the_walls_show_it(local: datetime, zone: ZoneInfo) -> None:
    near = from_datetime(local.replace(tzinfo=UTC))
    offsets = {
        (wall(Instant(near + hours * HOUR), zone) - local) // timedelta(microseconds=1)
        - hours * HOUR
        for hours in range(-36, 37)
    }
    shown = {Instant(near - offset) for offset in offsets}
    shown = {instant for instant in shown if wall(instant, zone).replace(fold=0) == local}
    assert set(readings(local, zone)) == shown
