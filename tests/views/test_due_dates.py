"""What stands in a calendar, on which day, under which identifier, and what it says."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

import pytest

from checkwatch.answers.calendar import Dated, calendar
from checkwatch.answers.windows import windows
from checkwatch.core.entry import Entry, Outcome, Reading, Withdrawn
from checkwatch.core.period import Period, parse_period
from checkwatch.core.rulebook import (
    Check,
    ForUse,
    OnceEach,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.views.calendar import unbelieved, words
from checkwatch.views.words import Here
from tests.build import ZONE, ask, book, check, did, enrolled, passed, rules, t, wrote

LATE = ValidFor(parse_period("P7D"), late=parse_period("P2D"))
ALARM = check("oxygen-alarm", title="Oxygen-failure alarm", validity=(LATE,))
VISIT = check("visit", title="Monthly visit", gate=False, validity=(OnceEach("month"),))
RULES = rules(check("self-test", "PT24H"), ALARM, VISIT)

DONE = (
    enrolled("AM-04"),
    passed("AM-04", "oxygen-alarm", "2026-03-10T07:00"),
    passed("AM-04", "visit", "2026-03-05T09:00"),
)


def dates(*entries: Entry, at: str = "15:20", rulebook: object = RULES) -> tuple[Dated, ...]:
    return calendar(book(rulebook, *entries), ask(at, at)).dates  # type: ignore[arg-type]


def one(*entries: Entry, at: str = "15:20") -> Dated:
    return next(d for d in dates(*entries, at=at) if d.state.check.code == "oxygen-alarm")


def told(dated: Dated, at: str = "15:20") -> str:
    return words(dated, Here(ZONE, t(at))).summary


def test_it_is_due_when_its_window_says() -> None:
    asked = book(RULES, *DONE)
    due = {d.state.check.code: d.due for d in calendar(asked, ask()).dates}
    of = {c.code: window.due for c, window in windows("AM-04", asked, ask()).windows}
    assert due == of == {"oxygen-alarm": t("2026-03-17T07:00"), "visit": t("2026-05-01T00:00")}


@pytest.mark.parametrize(
    ("clauses", "is_long"),
    [
        ([ValidFor(parse_period("P7D"))], True),
        ([ValidFor(parse_period("PT168H"))], True),
        ([ValidFor(parse_period("P6DT23H"))], False),
        ([ValidFor(parse_period("P1M"))], True),
        ([ValidFor(parse_period("P1Y")), ValidFor(parse_period("PT24H"))], False),
        ([OnceEach("week")], True),
        ([OnceEach("day")], False),
        ([UntilNext("FREQ=WEEKLY;BYDAY=MO")], True),
        ([UntilNext("FREQ=WEEKLY;BYDAY=MO,TH")], False),
        ([UntilNext("FREQ=MONTHLY;BYMONTHDAY=1,5")], False),
        ([UntilNext("FREQ=MONTHLY;BYDAY=1MO")], True),
        ([UntilNext("FREQ=DAILY;BYHOUR=7", datetime(2026, 1, 1))], False),
        ([UntilExpiry("absorbent-change")], True),
        ([ForUse(350, "hours", parse_period("P14D"))], False),
        ([ForUse(350, "hours", parse_period("P14D")), ValidFor(parse_period("P1Y"))], True),
        ([], False),
    ],
)
def test_what_lasts_a_week_is_in_it(clauses: list[Validity], is_long: bool) -> None:
    looked: Check = check("look", validity=tuple(clauses))
    entries = (enrolled("AM-04"), wrote(Reading, "AM-04", "07:00", meter="hours", value=Decimal(1)))
    assert bool(dates(*entries, rulebook=rules(looked))) is is_long


def test_what_is_not_done_stands_on_the_day_until_it_is() -> None:
    """Before it is due on its day, in its grace and when it is owed on the day of asking; done, on
    its new day: always the same event, and always a later one."""
    again = passed("AM-04", "oxygen-alarm", "2026-03-21T08:00")
    seen = [
        one(*DONE),
        one(*DONE, at="2026-03-17T12:00"),
        one(*DONE, at="2026-03-18T12:00"),
        one(*DONE, at="2026-03-19T12:00"),
        one(*DONE, at="2026-03-20T12:00"),
        one(*DONE, again, at="2026-03-21T12:00"),
    ]
    assert [d.due for d in seen] == [
        t("2026-03-17T07:00"), None, None, None, None, t("2026-03-28T08:00"),
    ]  # fmt: skip
    assert [d.today.day for d in seen] == [12, 17, 18, 19, 20, 21]
    assert [told(d, at=f"2026-03-{d.today.day}T12:00").split(": ")[1] for d in seen] == [
        "oxygen-failure alarm due",
        "oxygen-failure alarm was due Tue 17 Mar 07:00 GMT",
        "oxygen-failure alarm was due Tue 17 Mar 07:00 GMT",
        "oxygen-failure alarm owed since Thu 19 Mar 07:00 GMT",
        "oxygen-failure alarm owed since Thu 19 Mar 07:00 GMT",
        "oxygen-failure alarm due",
    ]
    assert len({d.uid for d in seen}) == 1
    revised = [d.revised for d in seen]
    assert revised == sorted({*revised})


def test_nothing_changes_while_nothing_changes() -> None:
    assert one(*DONE, at="12:00")[2::2] == one(*DONE, at="15:00")[2::2]
    assert one(*DONE, at="2026-03-13T12:00").revised == one(*DONE).revised


def test_a_failed_check_is_owed_on_the_day_of_asking() -> None:
    failed = did("AM-04", "oxygen-alarm", Outcome.FAIL, "09:00")
    found = one(*DONE, failed)
    assert (found.due, found.today) == (None, date(2026, 3, 12))
    said = words(found, Here(ZONE, t("15:20")))
    assert said.description.startswith("The oxygen-failure alarm failed on Thu 12 Mar 09:00 GMT.")


def test_an_event_says_machine_place_check_and_ends() -> None:
    alarm, visit = dates(*DONE)
    here = Here(ZONE, t("15:20"))
    assert words(alarm, here) == (
        "AM-04, Theatre 4: oxygen-failure alarm due",
        "Due before Tue 17 Mar 2026 07:00 GMT. It runs out at Thu 19 Mar 2026 07:00 GMT. "
        "About 4 attended minutes.",
        "Theatre 4",
    )
    assert words(visit, here).summary == "AM-04, Theatre 4: monthly visit (advice) due"


def test_no_event_says_whether_a_machine_may_be_used() -> None:
    for at in ("15:20", "2026-03-18T12:00", "2026-03-20T12:00"):
        said = [words(d, Here(ZONE, t(at))) for d in dates(*DONE, at=at)]
        assert "clear" not in str([*said, unbelieved(["the clock is behind"])]).lower()


def test_identifiers_differ_by_machine_check_and_book() -> None:
    found = [*dates(*DONE, enrolled("AM-05"))]
    later = enrolled("AM-04", recorded="2026-03-02T08:01")
    assert len({d.uid for d in (*found, *dates(later))}) == len(found) + 2


def test_a_machine_out_of_use_and_a_book_that_is_not_believed_have_none() -> None:
    assert dates(*DONE, wrote(Withdrawn, "AM-04", "09:00")) == ()
    doubted = calendar(book(RULES, *DONE, doubts=("the clock is behind",)), ask())
    assert (doubted.dates, doubted.doubts) == ((), ("the clock is behind",))


def test_only_the_machines_that_are_meant() -> None:
    both = book(RULES, *DONE, enrolled("AM-05"))
    assert {d.machine.machine for d in calendar(both, ask(), {"AM-05"}).dates} == {"AM-05"}


def test_what_never_comes_has_no_event() -> None:
    forever = check("look", validity=(ValidFor(Period(months=12 * 9000)),))
    assert dates(enrolled("AM-04"), passed("AM-04", "look", "07:00"), rulebook=rules(forever)) == ()


def test_what_people_wrote_has_no_character_that_a_calendar_may_not_hold() -> None:
    """RFC 5545, 3.3.11: no control characters."""
    hostile = "a\x1b[31m\r\nBEGIN:VEVENT\u202e"
    looked = rules(check("look", "P7D", title=hostile))
    for done in ((), (passed(hostile, "look", "07:00"),)):
        (found,) = dates(enrolled(hostile, hostile), *done, rulebook=looked)
        assert all(text.isprintable() for text in words(found, Here(ZONE, t("15:20"))))
    assert all(text.isprintable() for text in unbelieved([hostile]))
