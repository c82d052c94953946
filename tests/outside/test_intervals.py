"""The rows of intervals.py asked the other way round, and rules of theirs over every day.

Here the instants are the source's: at each, a microsecond before and one after, the state is what
the source gives. The counts over every day are made with plain dates, without the engine.
"""

from __future__ import annotations

import calendar
import random
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from checkwatch.answers.book import Book
from checkwatch.core.instant import DAY, FOREVER, Instant, from_datetime, from_wall, iso, wall
from checkwatch.core.states import READY, State
from checkwatch.rules.read import read_or_refuse
from tests.build import book, enrolled, passed
from tests.outside.evidence import LAX, SAFE, Row
from tests.outside.intervals import (
    COMMISSIONED,
    RULEBOOK,
    UNIT,
    Case,
    cases,
    rows,
    state_at,
    turns,
)

TURN = re.compile(r"(valid|due|in-grace|lapsed|voided) (from|after|at) (\S+?)(?:,|$)")


def said(case: Case) -> Iterator[tuple[State, Instant]]:
    """The turns as the source has them, read without the code that writes ours."""
    for state, how, when in TURN.findall(case.row.says):
        if how == "at":
            yield State(state), next(at for at, number in case.read.items() if str(number) == when)
        else:
            local = datetime.fromisoformat(when) + timedelta(days=how == "after")
            yield State(state), from_wall(local, case.rule.zone)


@pytest.mark.parametrize(
    "case",
    [case for case in cases() if not case.row.differs],
    ids=lambda case: f"{case.row.source.name}-{case.row.case.rpartition('done ')[2]}",
)
def test_states_around_the_instants_of_the_source(case: Case) -> None:
    assert case.book is not None
    before = State.VALID
    for state, at in said(case):
        just, then, after = (state_at(case.book, Instant(at + near)) for near in (-1, 0, 1))
        assert then is after is state
        # What comes before the pass itself is another one's.
        assert at == case.asked_from or (just in READY if case.rule.only else just is before)
        before = state
    assert state_at(case.book, Instant(FOREVER - 1)) is before


END = re.compile(r"lapsed (?:after|from|at) (\S+)$")


def ends(row: Row) -> list[str]:
    """When a pass is over, by the source and by us; fewer where it is not said."""
    return [found[1] for text in (row.says, row.ours) if (found := END.search(text))]


@pytest.mark.parametrize(
    "row",
    [row for row in rows() if row.differs and [end[:2] for end in ends(row)] == ["20", "20"]],
    ids=lambda row: f"{row.source.name}-{row.case}",
)
def test_a_difference_says_whether_a_pass_lasts_longer(row: Row) -> None:
    said, ours = ends(row)
    assert row.differs.startswith(LAX if ours > said else SAFE)


def done(check: str, zone: str, *at: Instant) -> Book:
    """A unit and when it passed, under a check of one rulebook text."""
    rulebook = read_or_refuse(RULEBOOK.format(zone=zone, check=check), "rulebook.toml")
    passes = [passed(UNIT, "inspection", iso(one)) for one in at]
    return book(rulebook, enrolled(UNIT, kind="unit", at=COMMISSIONED), *passes)


def noon(day: date, zone: str = "UTC") -> Instant:
    return from_datetime(datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)))


def end(found: Book, last: Instant) -> Instant:
    return turns(found, last)[-1].start


def last_day(found: Book, last: Instant, zone: str) -> date:
    """The last day on any part of which the pass still counts."""
    return wall(Instant(end(found, last) - 1), ZoneInfo(zone)).date()


def days(first: date, last: date) -> Iterator[date]:
    for number in range((last - first).days + 1):
        yield first + timedelta(days=number)


#: W3C XML Schema Part 2 (2004), 3.2.6.2: how short and how long so many months can be, in days.
MONTH_DAYS = {
    1: (28, 31),
    2: (59, 62),
    3: (89, 92),
    4: (120, 123),
    5: (150, 153),
    6: (181, 184),
    7: (212, 215),
    8: (242, 245),
    9: (273, 276),
    10: (303, 306),
    11: (334, 337),
    12: (365, 366),
}


@pytest.mark.parametrize("months", MONTH_DAYS)
def test_months_are_as_short_and_as_long_as_the_order_of_durations_has_them(months: int) -> None:
    check = f'validity = [{{ valid_for = "P{months}M" }}]'
    starts = [noon(date(year, month, 1)) for year in range(1999, 2005) for month in range(1, 13)]
    lengths = [(end(done(check, "UTC", start), start) - start) / DAY for start in starts]
    assert (min(lengths), max(lengths)) == MONTH_DAYS[months]


GRACE_MONTH = (
    'validity = [{ valid_for = "P12M", round_up_to = "month", next_due = "from-due",'
    ' early = "P2M", late = "P1M" }]'
)


def test_a_crew_check_of_any_day_is_due_in_the_month_that_the_rule_gives() -> None:
    """14 CFR 135.301(a), read: due in March 2015; within a month of it counts as done in it."""
    zone = "America/New_York"
    due_month = 2015 * 12 + 2
    first = noon(date(2014, 3, 12), zone)
    for day in days(date(2014, 9, 1), date(2015, 12, 31)):
        own = day.year * 12 + day.month - 1
        counts_as = due_month if abs(own - due_month) <= 1 else own
        year, month = divmod(counts_as + 13, 12)  # The month after is grace.
        at = noon(day, zone)
        shown = last_day(done(GRACE_MONTH, zone, first, at), at, zone)
        assert (shown.year, shown.month) == (year, month + 1), day
        assert shown.day == calendar.monthrange(year, month + 1)[1]


VEHICLE = (
    'validity = [{ valid_for = "P1Y", round_up_to = "day", next_due = "from-due", early = "P1M" }]'
)


@pytest.mark.parametrize("day", range(1, 29))
def test_a_vehicle_test_keeps_its_date_from_a_month_less_a_day_before(day: int) -> None:
    """GB vehicle test as quoted by others: expiry 15 May, earliest 16 April. What the last days of
    a month do is published nowhere."""
    zone = "Europe/London"
    expiry = date(2026, 5, day)
    earliest = date(2026, 4, day) + timedelta(days=1)
    first = noon(date(2025, 5, day), zone)
    for tested in days(expiry - timedelta(days=45), expiry):
        at = noon(tested, zone)
        kept = last_day(done(VEHICLE, zone, first, at), at, zone) == date(2027, 5, day)
        assert kept == (tested >= earliest), tested


ANNIVERSARY = (
    'validity = [{ valid_until_next = "FREQ=YEARLY", counted_from = "2020-06-15T00:00:00",'
    ' round_up_to = "day", early = "P3M", late = "P3M" }]'
)


def test_a_survey_of_any_day_is_of_the_anniversary_whose_window_it_falls_in() -> None:
    """IMO A.1104(29), 4.2.1, read: 15 March to 15 September. A survey outside every window is of
    the anniversary before it, so that the next one is owed all the same."""
    for day in days(date(2025, 1, 1), date(2027, 12, 31)):
        following = day.year + (day >= date(day.year, 3, 15))
        at = noon(day)
        assert last_day(done(ANNIVERSARY, "UTC", at), at, "UTC") == date(following, 9, 15), day


STRETCHED = 'validity = [{ valid_for = "P31D", late = "P7DT18H", next_due = "from-due" }]'


def performed(seed: int) -> list[Instant]:
    """Forty surveillances, each somewhere in the window of the one before, mostly late in it."""
    chance = random.Random(seed)
    at = [from_datetime(datetime(2020, 1, 1, 9, tzinfo=UTC))]
    while len(at) < 40:
        until = end(done(STRETCHED, "UTC", *at), at[-1])
        at.append(Instant(at[-1] + int((until - at[-1]) * chance.choice((0.3, 0.9, 0.999)))))
    return at


@pytest.mark.parametrize("seed", range(4))
def test_a_kept_schedule_with_a_quarter_of_grace_never_stretches_three_intervals_too_far(
    seed: int,
) -> None:
    """US NRC, Generic Letter 89-14, read: any one interval at most 1.25, any three together less
    than 3.25 times what is specified."""
    at = performed(seed)
    assert max(b - a for a, b in pairwise(at)) <= 31 * 1.25 * DAY
    assert max(b - a for a, b in zip(at, at[3:], strict=False)) < 31 * 3.25 * DAY
