"""What tomorrow brings: what lapses while somebody works, what is not as it should be, and when
tomorrow ends, over the changes of the clocks too."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from checkwatch.answers.book import Book, Question
from checkwatch.answers.risks import Risks, risks
from checkwatch.core import entry as e
from checkwatch.core.instant import iso, parse_instant
from checkwatch.core.versions import Versions
from tests.board.fleet import RULES, with_places
from tests.build import ask, book, check, did, enrolled, happened, passed, rules, wrote

PLACES = [
    ("Theatre 1", "theatre", "Main theatres"),
    ("Theatre 7", "day-theatre", "Day surgery"),
    ("Store", "store", "Main theatres"),
]


def brings(*entries: e.Entry, at: str = "15:30", **more: object) -> Risks:
    return risks(with_places(book(RULES, *entries, **more), PLACES), ask(at, at))


def lapsing(found: Risks) -> list[tuple[str, str, str]]:
    return [
        (one.machine.machine, one.state.check.code, iso(one.until)[5:16]) for one in found.lapsing
    ]


def test_what_lapses_before_the_end_of_tomorrow_the_first_comes_first() -> None:
    found = brings(
        enrolled("AM-01", "Theatre 1"),
        enrolled("AM-02", "Theatre 1"),
        passed("AM-01", "self-test", "14:00"),
        passed("AM-02", "self-test", "06:00"),
    )
    assert lapsing(found) == [
        ("AM-02", "self-test", "03-13T06:00"),
        ("AM-02", "leak-test", "03-13T06:00"),
        ("AM-01", "self-test", "03-13T14:00"),
        ("AM-01", "leak-test", "03-13T14:00"),
    ]
    assert (found.unusable, found.limited, found.machines) == ((), (), 2)


def test_what_lapses_after_the_work_of_tomorrow_or_where_nobody_works_is_no_risk() -> None:
    found = brings(
        enrolled("AM-07", "Theatre 7"),
        enrolled("AM-10", "Store"),
        passed("AM-07", "self-test", "18:30", recorded="15:00"),
        passed("AM-10", "self-test", "06:00"),
        at="19:00",
    )
    assert lapsing(found) == []
    sooner = brings(enrolled("AM-07", "Theatre 7"), passed("AM-07", "self-test", "14:00"))
    assert {machine for machine, *_ in lapsing(sooner)} == {"AM-07"}


def test_on_a_friday_the_day_theatre_has_no_tomorrow() -> None:
    found = brings(
        enrolled("AM-07", "Theatre 7"),
        passed("AM-07", "self-test", "2026-03-13T16:00"),
        at="2026-03-13T18:10",
    )
    assert lapsing(found) == []


def test_a_machine_that_cannot_be_used_is_named_where_somebody_works() -> None:
    found = brings(
        enrolled("AM-01", "Theatre 1"),
        enrolled("AM-02", "Theatre 1"),
        enrolled("AM-10", "Store"),
        enrolled("AM-11", "Theatre 1"),
        passed("AM-02", "self-test", "14:00"),
        wrote(e.Withdrawn, "AM-11", "14:10"),
        happened("AM-02", "power-on", "15:00"),
    )
    assert [one.machine for one in found.unusable] == ["AM-01", "AM-02", "AM-11"]


def test_a_machine_in_a_place_that_the_book_does_not_know_is_a_risk() -> None:
    found = brings(enrolled("AM-01", "Cupboard"), passed("AM-01", "self-test", "14:00"))
    assert len(found.lapsing) == 2


def test_limits_in_force_are_named_wherever_the_machine_stands() -> None:
    limited = did("AM-10", "self-test", e.Outcome.LIMITED, "14:00", limits=("no air supply",))
    found = brings(enrolled("AM-10", "Store"), limited)
    assert [(one.machine, one.limits) for one in found.limited] == [("AM-10", ("no air supply",))]


def test_an_advisory_check_is_no_risk() -> None:
    advice = rules(check("leak-test", "PT24H"), check("count", "PT24H", gate=False))
    of = book(
        advice,
        enrolled("AM-04"),
        passed("AM-04", "leak-test", "14:00"),
        passed("AM-04", "count", "14:00"),
    )
    assert [code for _, code, _ in lapsing(risks(of, ask("15:30", "15:30")))] == ["leak-test"]


def test_a_book_that_is_not_believed_says_why_and_nothing_else() -> None:
    found = brings(
        enrolled("AM-01", "Theatre 1"),
        passed("AM-01", "self-test", "14:00"),
        doubts=("the clock is behind it",),
    )
    assert (found.doubts, found.lapsing) == (("the clock is behind it",), ())


def test_without_rules_every_machine_is_a_risk() -> None:
    of = replace(book(RULES, enrolled("AM-01", "Theatre 1")), versions=Versions.of())
    found = risks(of, ask("15:30", "15:30"))
    assert found.lapsing == ()
    assert [one.machine for one in found.unusable] == ["AM-01"]


#: Directive 2000/84/EC, articles 2 and 3, for Europe; the tz database for Lebanon, where the clocks
#: change at midnight.
@pytest.mark.parametrize(
    ("zone", "at", "until"),
    [
        ("Europe/London", "2026-03-27T15:30", "2026-03-28T24Z"),
        ("Europe/London", "2026-03-28T15:30", "2026-03-29T23Z"),
        ("Europe/London", "2026-03-29T15:30", "2026-03-30T23Z"),
        ("Europe/London", "2026-10-24T15:30", "2026-10-25T24Z"),
        ("Europe/London", "2026-10-25T15:30", "2026-10-26T24Z"),
        ("Asia/Beirut", "2026-03-27T15:30", "2026-03-28T22Z"),
        ("Asia/Beirut", "2026-03-28T15:30", "2026-03-29T21Z"),
    ],
)
def test_tomorrow_ends_at_midnight_of_the_wall_clock(zone: str, at: str, until: str) -> None:
    here = ZoneInfo(zone)
    of = _in_zone(book(RULES, enrolled("AM-01", "Theatre 1")), here)
    now = parse_instant(at, here)
    day, hour = until[:-1].split("T")
    wanted = parse_instant(f"{day}T00:00Z", here) + int(hour) * 3_600_000_000
    assert risks(of, Question(now, now)).until == wanted


def _in_zone(of: Book, zone: ZoneInfo) -> Book:
    (version,) = of.versions.adopted
    moved = version._replace(rulebook=replace(version.rulebook, zone=zone))
    return replace(of, versions=Versions.of(moved))
