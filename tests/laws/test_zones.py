"""No answer depends on the zone in which it is read, or on that of the computer.

What is shown is read again here, by its wall clock and the abbreviation beside it.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import cleared
from checkwatch.core.instant import DAY, HOUR, Instant, to_datetime
from checkwatch.views import answer
from checkwatch.views.report import Command, Report, Sentence, Table
from checkwatch.views.words import Here
from tests.laws.adapter import World
from tests.laws.random_worlds import worlds
from tests.laws.test_laws import ASKED, instants, law

ZONES = tuple(map(ZoneInfo, ("UTC", "Asia/Kathmandu", "Pacific/Apia", "America/New_York")))

#: "07:10 GMT", "Thu 12 Mar 07:10 GMT" or "Thu 12 Mar 2026 07:10 GMT", with its preposition: a time
#: is "at", a day "on", and what is today in one zone is not in another.
SHOWN = re.compile(
    r"(?:\b(?:at|on) )?(?:[A-Z][a-z]{2} (\d+) ([A-Z][a-z]{2})(?: (\d{4}))? )?"
    r"(\d\d):(\d\d) ([A-Z]{3,4}|[+-]\d{2,4})"
)

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def said(report: Report) -> str:
    """The words of a report."""
    found: list[str] = []
    for block in report:
        if isinstance(block, Table):
            found += [str(cell) for row in block.rows for cell in row]
        else:
            found.append(block.text if isinstance(block, Sentence | Command) else block)
    return "\n".join(found)


def read_again(shown: re.Match[str], here: Here) -> datetime:
    """The minute that a shown time means, read by a wall clock of its zone."""
    day, month, year, hour, minute, zone = shown.groups()
    local = to_datetime(here.now, here.zone).replace(second=0, microsecond=0)
    local = local.replace(hour=int(hour), minute=int(minute))
    if day:
        local = local.replace(int(year or local.year), MONTHS.index(month) + 1, int(day))
    return next(
        moment.astimezone(UTC)
        for moment in (local.replace(fold=0), local.replace(fold=1))
        if moment.tzname() == zone
    )


def shown(
    world: World, name: str, question: Question, zone: ZoneInfo, span: Instant | None = None
) -> tuple[str, list[datetime]]:
    """The answer as it is read in a zone: its words without the times, and the times."""
    found = cleared(name, world.book, question, span)
    here = Here(zone, question.now)
    words = said(answer.cleared(found, here))
    return SHOWN.sub("TIME", words), [read_again(one, here) for one in SHOWN.finditer(words)]


@law
@given(worlds(), ASKED, st.data())
def test_showing_in_another_zone_changes_no_answer(
    world: World, name: str, data: st.DataObject
) -> None:
    now = instants(world, data, 1)[0]
    for at in instants(world, data):
        question = Question(at, data.draw(st.sampled_from((at, now))))
        span = data.draw(st.sampled_from((None, Instant(at + HOUR), Instant(at + DAY))))
        first, *others = (shown(world, name, question, zone, span) for zone in ZONES)
        assert all(other == first for other in others)
        if question.at != question.now:
            assert to_datetime(at, UTC) - first[1][0] < timedelta(minutes=1)


@contextmanager
def computer_in(zone: str) -> Iterator[None]:
    """As if the computer's own clock stood in another zone."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = zone
    time.tzset()
    try:
        yield
    finally:
        os.environ.pop("TZ") if before is None else os.environ.update(TZ=before)
        time.tzset()


@law
@given(worlds(), ASKED, st.data())
def test_the_zone_of_the_computer_changes_no_answer(
    world: World, name: str, data: st.DataObject
) -> None:
    """A world is asked anew in each zone, since it remembers what it was asked."""
    at, now = instants(world, data, 2)
    found = []
    for zone in ("UTC", "Asia/Kathmandu", "Pacific/Apia"):
        with computer_in(zone):
            fresh = world.with_entries(*world.entries)
            found.append(shown(fresh, name, Question(at, now), ZONES[0]))
    assert found[1:] == found[:1] * 2
