"""What people should hear of a machine: how each kind begins and ends, and when to look again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.answers.book import Book
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.matter import EARLY, Foreseen, Matter, foreseen
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, FOREVER, HOUR, Instant
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.versions import Version, Versions
from tests.board.fleet import RULES as BY_DAY
from tests.board.fleet import with_places
from tests.build import (
    ask,
    book,
    check,
    did,
    enrolled,
    happened,
    passed,
    rules,
    t,
    wrote,
)

AHEAD = (parse_period("PT1H"),)
NEW = enrolled("AM-04")
TESTED = (NEW, passed("AM-04", "self-test", "07:00"))


def seen(of: Book, at: str) -> Foreseen:
    return foreseen("AM-04", of, ask(at, at), AHEAD)


def matters(*entries: e.Entry, at: str, of: Rulebook | None = None) -> tuple[Matter, ...]:
    return seen(book(of or rules(), *entries), at).matters


def kinds(*entries: e.Entry, at: str) -> list[str]:
    return [one.kind.value for one in matters(*entries, at=at)]


def fault(at: str, severity: e.Severity = e.Severity.STOP_USE, note: str = "") -> e.Entry:
    return wrote(e.Fault, "AM-04", at, severity=severity, note=note)


def exception(at: str, until: str) -> e.Entry:
    return wrote(e.EmergencyUse, "AM-04", at, until=t(until), decided="R1", note="bleeding")


# A failed gate


def test_a_failed_gate_stands_from_the_fail_until_a_pass() -> None:
    story = (*TESTED, did("AM-04", "leak-test", e.Outcome.FAIL, "09:00", note="hose split"))
    assert kinds(*story, at="08:59") == []
    (one,) = matters(*story, at="09:00")
    assert (one.kind, one.occasion, one.since) == (Kind.GATE_FAILED, "3", t("09:00"))
    assert (one.title, one.words, one.place) == ("leak test", "hose split", "Theatre 4")
    assert kinds(*story, at="2026-06-12T09:00") == ["gate-failed"]
    assert kinds(*story, passed("AM-04", "leak-test", "10:00"), at="10:00") == []


def test_a_fail_that_covers_another_check_is_one_matter() -> None:
    (one,) = matters(NEW, did("AM-04", "self-test", e.Outcome.FAIL, "09:00"), at="09:00")
    assert one.title == "full self-test and leak test"


def test_a_second_fail_is_another_matter() -> None:
    story = (*TESTED, did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"))
    again = (*story, did("AM-04", "leak-test", e.Outcome.FAIL, "09:20"))
    (first,), (second,) = matters(*story, at="09:00"), matters(*again, at="09:20")
    assert first.key != second.key


@pytest.mark.parametrize("outcome", [e.Outcome.STOPPED, e.Outcome.LIMITED])
def test_what_was_broken_off_or_has_a_limit_did_not_fail(outcome: e.Outcome) -> None:
    assert kinds(*TESTED, did("AM-04", "leak-test", outcome, "09:00"), at="09:00") == []


def test_an_advisory_check_that_failed_is_no_matter() -> None:
    advice = check("count", "PT24H", gate=False)
    story = (NEW, did("AM-04", "count", e.Outcome.FAIL, "09:00"))
    assert matters(*story, at="09:00", of=rules(advice)) == ()


def test_a_fail_that_was_struck_ends_only_where_what_it_cost_is_restored() -> None:
    story = (*TESTED, did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"))
    plain = wrote(e.Struck, "AM-04", "09:10", of=3)
    assert kinds(*story, plain, at="09:10") == ["gate-failed"]
    assert kinds(*story, replace(plain, restores=True, note="wrong kit"), at="09:10") == []


# Faults


def test_each_fault_that_forbids_use_is_a_matter_until_it_is_closed() -> None:
    story = (*TESTED, fault("09:00", note="smell"), fault("09:05"))
    found = matters(*story, at="09:05")
    assert [(one.kind.value, one.occasion, one.words) for one in found] == [
        ("stop-use-fault", "3", "smell"),
        ("stop-use-fault", "4", ""),
    ]
    closed = wrote(e.FaultClosed, "AM-04", "10:00", of=3)
    (left,) = matters(*story, closed, at="10:00")
    assert left.occasion == "4"


def test_a_fault_with_a_limit_is_no_matter() -> None:
    assert kinds(*TESTED, fault("09:00", e.Severity.LIMIT, "no air"), at="09:00") == []


def test_a_machine_that_is_withdrawn_is_told_of_once_and_does_not_lapse() -> None:
    story = (*TESTED, fault("09:00"), wrote(e.Withdrawn, "AM-04", "09:10"))
    (one,) = matters(*story, at="2026-03-13T06:30")
    assert (one.kind, one.at_rest) == (Kind.STOP_USE_FAULT, True)
    resting = (*TESTED, wrote(e.Withdrawn, "AM-04", "09:10"))
    assert kinds(*resting, at="2026-03-13T06:30") == []


def test_of_a_retired_machine_there_is_nothing_to_hear() -> None:
    story = (*TESTED, fault("09:00"), wrote(e.Retired, "AM-04", "09:10"))
    assert seen(book(rules(), *story), "09:10") == Foreseen((), FOREVER)


# Exceptions


OWING = (*TESTED, happened("AM-04", "power-on", "09:00"))


def test_an_exception_is_told_while_it_lasts_and_its_debt_afterwards() -> None:
    story = (*OWING, exception("09:05", "11:00"))
    (taken,) = matters(*story, at="09:05")
    assert (taken.kind, taken.until, taken.words) == (
        Kind.EXCEPTION_TAKEN, t("11:00"), "bleeding",
    )  # fmt: skip
    assert seen(book(rules(), *story), "09:05").again == t("11:00")
    (taken, unpaid) = matters(*story, at="11:00")
    assert (unpaid.kind, unpaid.since) == (Kind.EXCEPTION_UNPAID, t("11:00"))
    assert unpaid.title == "full self-test and leak test"
    paid = (*story, passed("AM-04", "self-test", "11:30"))
    (taken,) = matters(*paid, at="11:30")
    assert (taken.kind, taken.paid, taken.at_rest) == (Kind.EXCEPTION_TAKEN, True, True)
    assert kinds(*paid, at="2026-03-13T09:06") == []


def test_the_debt_stands_from_the_end_of_the_case_where_that_comes_first() -> None:
    story = (
        *OWING,
        exception("09:05", "11:00"),
        wrote(e.CaseStart, "AM-04", "09:06"),
        wrote(e.CaseEnd, "AM-04", "10:00"),
    )
    assert kinds(*story, at="09:59") == ["exception-taken"]
    assert [one.since for one in matters(*story, at="10:00")] == [t("09:05"), t("10:00")]


def test_a_case_that_ended_before_the_exception_does_not_end_it() -> None:
    story = (
        *OWING,
        wrote(e.CaseStart, "AM-04", "08:30"),
        wrote(e.CaseEnd, "AM-04", "09:04"),
        exception("09:05", "11:00"),
    )
    assert kinds(*story, at="09:30") == ["exception-taken"]


def test_a_case_that_nobody_ended_hides_no_debt() -> None:
    story = (*OWING, exception("09:05", "11:00"), wrote(e.CaseStart, "AM-04", "09:06"))
    assert kinds(*story, at="10:59") == ["exception-taken"]
    assert "exception-unpaid" in kinds(*story, at="11:00")


def test_of_two_exceptions_in_a_row_the_debt_is_one() -> None:
    story = (*OWING, exception("09:05", "10:00"), exception("10:30", "11:00"))
    debts = [one for one in matters(*story, at="11:00") if one.kind is Kind.EXCEPTION_UNPAID]
    assert [(one.occasion, one.since) for one in debts] == [("5", t("11:00"))]


def test_an_exception_that_was_struck_is_no_matter() -> None:
    story = (*OWING, exception("09:05", "11:00"))
    struck = wrote(e.Struck, "AM-04", "09:10", of=4)
    assert kinds(*story, struck, at="09:10") == []


# Lapses

MORNING = passed("AM-04", "self-test", "2026-03-11T09:00")


def test_a_lapse_is_a_matter_a_little_before_anybody_is_told() -> None:
    of = book(rules(), NEW, MORNING)
    told = Instant(t("09:00") - HOUR)
    looked = Instant(told - EARLY)
    early = seen(of, "07:44")
    assert (early.matters, early.again) == ((), looked)
    found = seen(of, "07:45").matters
    assert [(one.kind.value, one.subject, one.until) for one in found] == [
        ("lapse-soon", "AM-04 self-test", t("09:00")),
        ("lapse-soon", "AM-04 leak-test", t("09:00")),
    ]
    assert kinds(NEW, MORNING, at="09:00") == []
    assert kinds(NEW, MORNING, passed("AM-04", "self-test", "08:30"), at="08:30") == []


def test_a_lapse_is_a_matter_only_where_somebody_works_then_or_when_it_is_told() -> None:
    places = [("Theatre 7", "day-theatre", "Day surgery"), ("Store", "store", "")]

    def lapses(place: str, at: str, asked: str) -> int:
        entries = (enrolled("AM-04", place), passed("AM-04", "self-test", at))
        return len(seen(with_places(book(BY_DAY, *entries), places), asked).matters)

    # Thursday; the day theatre works from 07:30 to 18:00.
    assert lapses("Store", "2026-03-11T09:00", "08:30") == 0
    assert lapses("Theatre 7", "2026-03-11T09:00", "08:30") == 2
    assert lapses("Theatre 7", "2026-03-11T07:15", "07:00") == 0
    assert lapses("Theatre 7", "2026-03-11T18:30", "17:45") == 2
    assert lapses("Theatre 7", "2026-03-11T21:00", "20:30") == 0


def test_in_a_place_that_the_book_does_not_know_somebody_always_works() -> None:
    lost = (enrolled("AM-04", "Cupboard"), MORNING, fault("08:10"))
    (fault_there, *lapses) = matters(*lost, at="08:30")
    assert (fault_there.place, fault_there.area) == ("Cupboard", "")
    assert len(lapses) == 2


def test_during_a_case_a_lapse_says_so_until_its_end() -> None:
    story = (NEW, MORNING, wrote(e.CaseStart, "AM-04", "08:10"))
    assert all(one.in_use for one in matters(*story, at="08:30"))
    ended = (*story, wrote(e.CaseEnd, "AM-04", "08:40"))
    assert not any(one.in_use for one in matters(*ended, at="08:40"))


# Rules that come later


def versions(*starts: tuple[str, Rulebook]) -> Versions:
    return Versions.of(
        *(
            Version(t(at) if at else BEGINNING, number, t(at) if at else BEGINNING, of)
            for number, (at, of) in enumerate(starts)
        )
    )


def test_it_is_looked_at_again_when_other_rules_begin_to_judge() -> None:
    advisory = rules(check("leak-test", "PT24H", gate=False))
    of = book(rules(), NEW, did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"))
    of = replace(of, versions=versions(("", rules()), ("12:00", advisory)))
    before = seen(of, "11:00")
    assert ([one.kind.value for one in before.matters], before.again) == (
        ["gate-failed"], t("12:00"),
    )  # fmt: skip
    assert seen(of, "12:00").matters == ()


def test_the_first_rules_judge_what_was_before_them() -> None:
    of = book(rules(), NEW, did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"))
    of = replace(of, versions=versions(("12:00", rules())))
    assert [one.kind.value for one in seen(of, "11:00").matters] == ["gate-failed"]


def test_a_machine_that_is_put_to_use_later_is_looked_at_then() -> None:
    of = book(rules(), enrolled("AM-04", at="2026-03-14T08:00", recorded="2026-03-12T08:00"))
    assert seen(of, "09:00") == Foreseen((), t("2026-03-14T08:00"))
