"""A list at a local time comes once a day, every day, over both changes of the clocks."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from checkwatch.answers.notice.decide import Past, Told
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.lists import Late, Listing, lists_due, lists_now, next_list
from checkwatch.core.instant import HOUR, MINUTE, Instant, parse_instant
from tests.build import ZONE, t
from tests.notices.told import plan

AT_0530 = '[[route]]\nkinds = ["nightly-list"]\nto = ["desk"]\ntimes = ["05:30"]\n'


def due(
    routes: str, at: str, looked: str | None, past: tuple[Told, ...] = (), zone: ZoneInfo = ZONE
) -> list[Listing]:
    return lists_due(plan(routes), Past(past), t(at), t(looked) if looked else None, zone)


def as_told(found: list[Listing], first: int = 1) -> tuple[Told, ...]:
    return tuple(Told(n, *one.notice[:5]) for n, one in enumerate(found, first))


def test_a_list_comes_at_its_time_and_not_before() -> None:
    assert due(AT_0530, "05:29", "05:28") == []
    (found,) = due(AT_0530, "05:30", "05:29")
    assert (found.notice.recipient, found.notice.occasion) == ("desk", "2026-03-12 05:30")
    assert not found.late


def test_the_same_nights_list_comes_once_whoever_looks() -> None:
    told = as_told(due(AT_0530, "05:30", "05:29"))
    assert due(AT_0530, "05:30", "05:29", told) == []
    assert lists_now(Kind.NIGHTLY_LIST, plan(AT_0530), Past(told), t("09:00"), ZONE) == []


def test_a_run_before_the_routes_time_stands_for_that_days_list() -> None:
    early = lists_now(Kind.NIGHTLY_LIST, plan(AT_0530), Past(), t("05:10"), ZONE)
    assert due(AT_0530, "05:30", "05:29", as_told(early)) == []


def test_a_missed_night_is_made_up_once_and_marked_late() -> None:
    (found,) = due(AT_0530, "2026-03-12T08:00", "2026-03-09T20:00")
    nights = (t("2026-03-10T05:30"), t("2026-03-11T05:30"))
    assert (found.notice.occasion, found.late) == ("2026-03-12 05:30", Late(t("05:30"), nights))
    assert due(AT_0530, "2026-03-12T08:00", "2026-03-09T20:00", as_told([found])) == []


def test_a_night_whose_list_somebody_else_sent_was_not_missed() -> None:
    by_cron = lists_now(Kind.NIGHTLY_LIST, plan(AT_0530), Past(), t("2026-03-11T05:30"), ZONE)
    (found,) = due(AT_0530, "2026-03-12T05:36", "2026-03-09T20:00", as_told(by_cron))
    assert found.late == Late(t("05:30"), (t("2026-03-10T05:30"),))


def test_of_a_long_absence_every_missed_list_is_counted() -> None:
    twice = AT_0530.replace('"05:30"', '"05:30", "12:00"')
    (found,) = due(twice, "2026-03-12T13:00", "2024-03-12T13:00")
    assert found.late is not None
    assert len(found.late.missed) == 2 * 730 - 1


def test_who_looks_for_the_first_time_sends_only_what_was_due_just_before() -> None:
    assert due(AT_0530, "09:00", None) == []
    (found,) = due(AT_0530, "05:50", None)
    assert found.late


def test_what_a_clock_told_that_was_ahead_is_told_on_the_day_itself() -> None:
    ahead = as_told(due(AT_0530, "2026-03-13T12:00", "2026-03-12T12:00"))
    (found,) = due(AT_0530, "2026-03-13T05:30", "2026-03-13T05:29", ahead)
    assert found.notice.occasion == "2026-03-13 05:30 #2"


#: The changes of the clocks in 2026: the last Sundays of March and October in Europe (Directive
#: 2000/84/EC, articles 2 and 3), the second of March and first of November in the United States
#: (15 U.S.C. 260a). 01:30 and 02:30 are skipped or come twice there.
CHANGES = [
    ("Europe/London", date(2026, 3, 29)),
    ("Europe/London", date(2026, 10, 25)),
    ("Europe/Berlin", date(2026, 3, 29)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    # At midnight: the first hour of the day does not exist, or comes twice (tz database, Lebanon).
    ("Asia/Beirut", date(2026, 3, 29)),
    ("Asia/Beirut", date(2026, 10, 25)),
]


@pytest.mark.parametrize("time", ["00:00", "00:30", "01:30", "02:30", "05:30", "23:59"])
@pytest.mark.parametrize(("zone", "day"), CHANGES)
def test_each_day_has_each_time_once_over_a_change_of_the_clocks(
    zone: str, day: date, time: str
) -> None:
    """Looked at every ten minutes for five days, with what was told remembered."""
    tz, routes = ZoneInfo(zone), AT_0530.replace("05:30", time)
    routes = routes.replace('to = ["desk"]', 'to = ["night-engineer"]')
    routes = routes.replace("night-engineer", "pager") + (
        '[[recipient]]\ncode = "pager"\nfile = "pager.txt"\n'
    )
    now = parse_instant(f"{day - timedelta(days=2)}T12:00", tz)
    end, looked, told = Instant(now + 96 * HOUR), Instant(now - MINUTE), list[Told]()
    while now < end:
        found = lists_due(plan(routes), Past(told), now, looked, tz)
        told += as_told(found, len(told) + 1)
        looked, now = now, Instant(now + 10 * MINUTE)
    first = -1 if time < "12:00" else -2
    days = [day + timedelta(days=n) for n in range(first, first + 4)]
    assert [one.occasion for one in told] == [f"{one} {time}" for one in days]


def test_the_next_list_is_foreseen_to_the_second() -> None:
    assert next_list(plan(AT_0530), t("05:29:59"), ZONE) == t("05:30")
    assert next_list(plan(AT_0530), t("05:30"), ZONE) == t("2026-03-13T05:30")
    assert next_list(plan(""), t("05:30"), ZONE) is None
