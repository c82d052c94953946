"""The nights on which the clocks change: in every zone there is, and to the microsecond."""

from __future__ import annotations

from zoneinfo import ZoneInfo, available_timezones

import pendulum
import pytest
from dateutil import tz
from dateutil.relativedelta import relativedelta

from checkwatch.core.instant import DAY, HOUR, SECOND, Instant, from_datetime, to_datetime
from checkwatch.core.states import State
from tests.outside.calendar_rules import CHANGES, LONDON
from tests.outside.clock_changes import Change, changes
from tests.outside.one_check import expiries, instant, judge, local

DAYS, HOURS = 'valid_for = "P1D"', 'valid_for = "PT24H"'

#: Zones that differ in when and by how much their clocks change.
ZONES = (
    "Europe/London",
    "America/New_York",
    "America/Sao_Paulo",
    "America/Havana",
    "Australia/Lord_Howe",
    "Antarctica/Troll",
    "Pacific/Apia",
)


def near(zone: str, first: int, last: int) -> dict[Instant, Change]:
    """Passes a day before every change in some years, in order."""
    found = {at: change for change in changes(zone, first, last) for at in change.passes}
    return dict(sorted(found.items()))


def test_in_every_zone_hours_are_elapsed_and_days_keep_the_time_on_the_wall() -> None:
    """The tz database, every change from 2015 to 2025; RFC 5545 (2009), 3.3.5 and 3.3.6."""
    looked_at = 0
    for zone in sorted(available_timezones()):
        if passes := near(zone, 2015, 2025):
            assert expiries(HOURS, zone, list(passes)) == [at + DAY for at in passes]
            a_day_later = [change.same_time_tomorrow(at) for at, change in passes.items()]
            assert expiries(DAYS, zone, list(passes)) == a_day_later
            looked_at += len(passes)
    # Fewer would mean that the zones were not found.
    assert looked_at > 20_000


def test_in_every_zone_a_day_ends_where_the_wall_first_shows_another() -> None:
    """Every change from 2015 to 2025. Until 2011 the clocks of St John's went back over midnight,
    and there it does not hold: the difference stands on the page.
    """
    clause = 'valid_for = "PT0.000001S"\nround_up_to = "day"'
    for zone in sorted(available_timezones()):
        hours = (-25, -3, -1, 0, 1, 3)
        passes = sorted({c.at + h * HOUR for c in changes(zone, 2015, 2025) for h in hours})
        ends = expiries(clause, zone, [Instant(at) for at in passes]) if passes else []
        for at, end in zip(passes, ends, strict=True):
            day, last, following = (local(Instant(i), zone)[:10] for i in (at, end - 1, end))
            assert day == last < following


def known() -> list[Change]:
    """The changes of the page, as bisection finds them."""
    years = {(zone, instant(change)): int(change[:4]) for zone, change, *_ in CHANGES}
    found = {(c.zone, c.at): c for (zone, _), y in years.items() for c in changes(zone, y, y)}
    return [found[key] for key in years]


@pytest.mark.parametrize("change", known(), ids=lambda change: local(change.at, change.zone))
def test_a_window_is_open_to_the_microsecond_at_which_it_ends(change: Change) -> None:
    """The changes of tzdata 2025b on the page: ends just before, at and after each."""
    for at in change.passes:
        for clause, over in ((HOURS, at + DAY), (DAYS, change.same_time_tomorrow(at))):
            judging = judge(clause, change.zone, at)
            states = [judging.at(Instant(over + by)).checks[0].state for by in (-1, 0, 1)]
            assert states == [State.VALID, State.LAPSED, State.LAPSED]


def test_both_readings_of_a_time_that_comes_twice_are_over_together_the_next_day() -> None:
    """RFC 5545 (2009), 3.3.6: a day has 25 hours from the first of them."""
    first, second = instant("2026-10-25T01:30+01:00"), instant("2026-10-25T01:30+00:00")
    assert second == first + HOUR
    over = instant("2026-10-26T01:30+00:00")
    assert expiries(DAYS, LONDON, [first, second]) == [over, over]
    assert over - first == 25 * HOUR


def by_dateutil(at: Instant, lasts: relativedelta, zone: str) -> Instant:
    """Stepped on the wall, and forward by the gap where there is no such time."""
    wall = to_datetime(at, ZoneInfo(zone)).replace(tzinfo=None, fold=0) + lasts
    return from_datetime(tz.resolve_imaginary(wall.replace(tzinfo=tz.gettz(zone))))


def from_pendulum(moment: pendulum.DateTime) -> Instant:
    return Instant(moment.int_timestamp * SECOND + moment.microsecond)


def to_pendulum(at: Instant, zone: str) -> pendulum.DateTime:
    return pendulum.instance(to_datetime(at, ZoneInfo(zone)))


@pytest.mark.parametrize("zone", ZONES)
def test_a_day_over_a_change_of_the_clocks_is_that_of_the_libraries(zone: str) -> None:
    """python-dateutil has the same everywhere. pendulum 3 takes the second reading of a time that
    comes twice, and so ends later there, by what comes twice; RFC 5545, 3.3.5, takes the first.
    """
    passes = near(zone, 1990, 2030)
    later = 0
    for (at, change), over in zip(passes.items(), expiries(DAYS, zone, list(passes)), strict=True):
        assert over == by_dateutil(at, relativedelta(days=1), zone)
        beyond = from_pendulum(to_pendulum(at, zone).add(days=1)) - over
        comes_twice = local(Instant(over - change.shift), zone)[:-6] == local(over, zone)[:-6]
        assert beyond == (-change.shift if change.shift < 0 and comes_twice else 0)
        later += beyond > 0
    assert later > 0


@pytest.mark.parametrize("zone", ZONES)
def test_hours_over_a_change_of_the_clocks_are_elapsed_in_pendulum_too(zone: str) -> None:
    """dateutil adds hours on the wall: its difference stands on the page."""
    for at in near(zone, 1990, 2030):
        assert from_pendulum(to_pendulum(at, zone).add(hours=24)) == at + DAY
