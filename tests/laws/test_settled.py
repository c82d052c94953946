"""Readings that the engine once missed, each worked by hand from docs/meaning.md.

Most were found where the engine and the oracle, or the engine and a law, disagreed.
"""

from __future__ import annotations

from decimal import Decimal

from checkwatch.answers.cleared import Gap, cleared
from checkwatch.answers.least_work import NO_WORK, least_work
from checkwatch.core import entry as e
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import ForUse, Measure, UntilNext, ValidFor
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing, State
from tests.build import ask, book, check, did, enrolled, happened, passed, rules, t, wrote

TAG = "AM-01"


def stands(rulebook, *entries: e.Entry, at: str) -> MachineStanding:
    return book(rulebook, *entries).standing(TAG, ask(at, at))


def struck(of: int, at: str) -> e.Entry:
    return wrote(e.Struck, TAG, at, of=of)


def test_without_a_further_occurrence_grace_opens_no_window() -> None:
    ended = UntilNext("FREQ=DAILY;UNTIL=20260101T000000", late=parse_period("PT1H"))
    rulebook = rules(check("look", validity=(ended,)))
    log = (enrolled(TAG), passed(TAG, "look", "07:00"))
    assert stands(rulebook, *log, at="07:30").standing is Standing.NOT_CLEARED


def test_a_struck_limited_result_lifts_no_earlier_limit() -> None:
    rulebook = rules(check("look", "PT24H"))
    log = (
        enrolled(TAG),
        did(TAG, "look", e.Outcome.LIMITED, "07:00", limits=("no low flow",)),
        did(TAG, "look", e.Outcome.LIMITED, "08:00", limits=("no ventilator",)),
        struck(3, "08:30"),
    )
    assert stands(rulebook, *log, at="09:00").limits == ("no low flow", "no ventilator")


def test_a_reading_at_the_very_end_of_its_time_comes_too_late() -> None:
    clause = ForUse(100, "hours", parse_period("PT2H"))
    rulebook = rules(check("look", validity=(clause,)))
    log = (
        enrolled(TAG),
        wrote(e.Reading, TAG, "07:00", meter="hours", value=Decimal(10)),
        passed(TAG, "look", "07:30"),
        wrote(e.Reading, TAG, "09:00", meter="hours", value=Decimal(11)),
    )
    assert stands(rulebook, *log, at="08:59").standing is Standing.CLEARED
    assert stands(rulebook, *log, at="09:00").standing is Standing.NOT_CLEARED


def test_striking_a_pass_lengthens_no_later_window_of_a_kept_schedule() -> None:
    """11 January's pass keeps the schedule, so 22 January's is due on the 31st and over on 2
    February. Without it, 22 January's would be late and last to 1 February 12:00, in grace to 3
    February 12:00: more than before."""
    clause = ValidFor(
        parse_period("P10D"), True, None, early=parse_period("P1D"), late=parse_period("P2D")
    )
    rulebook = rules(check("service", validity=(clause,)))
    log = (
        enrolled(TAG, at="2025-12-01T08:00"),
        *(passed(TAG, "service", f"2026-01-{day}") for day in ("01T00:00", "11T00:00", "22T12:00")),
    )
    at = "2026-02-03T00:00"
    assert stands(rulebook, *log, at=at).standing is Standing.NOT_CLEARED
    log += (struck(3, "2026-01-23T00:00"),)
    assert stands(rulebook, *log, at=at).standing is Standing.NOT_CLEARED
    assert stands(rulebook, *log, at="2026-02-01T23:59").standing is Standing.CLEARED


def test_an_exception_excuses_nothing_that_was_ready_when_it_was_written() -> None:
    rulebook = rules(check("look", "PT24H"))
    log = (
        enrolled(TAG),
        passed(TAG, "look", "07:00"),
        wrote(e.EmergencyUse, TAG, "08:00", until=t("11:00"), note="a reason", decided="XX"),
        struck(2, "08:30"),
    )
    assert stands(rulebook, *log, at="09:00").standing is Standing.NOT_CLEARED


def test_a_pass_struck_later_still_ends_the_excuse_that_it_ended() -> None:
    rulebook = rules(check("look", "PT24H"))
    log = (
        enrolled(TAG),
        wrote(e.EmergencyUse, TAG, "08:00", until=t("11:00"), note="a reason", decided="XX"),
        passed(TAG, "look", "08:30"),
    )
    assert stands(rulebook, *log, at="08:15").standing is Standing.BY_EXCEPTION
    log += (struck(3, "09:00"),)
    assert stands(rulebook, *log, at="09:30").standing is Standing.NOT_CLEARED


def test_a_struck_reading_lengthens_no_later_window_of_a_kept_schedule() -> None:
    """Base 150, so due at 250; 260 is within late, so next at 350. Were the base 100, as the
    struck reading leaves it, 260 would be late and the next due at 360."""
    clause = ForUse(100, "hours", parse_period("P30D"), True, 20, 20)
    rulebook = rules(check("look", validity=(clause,)))
    values = (("01:00", 100), ("02:00", 150), ("04:00", 260), ("06:00", 341), ("08:00", 370))
    reads = [wrote(e.Reading, TAG, at, meter="hours", value=Decimal(v)) for at, v in values]
    log = (enrolled(TAG), *reads, passed(TAG, "look", "03:00"), passed(TAG, "look", "04:00"))
    for more in ((), (struck(3, "05:00"),)):
        assert stands(rulebook, *log, *more, at="06:00").standing is Standing.CLEARED
        assert stands(rulebook, *log, *more, at="08:00").standing is Standing.NOT_CLEARED


def _read(at: str, value: int) -> e.Entry:
    return wrote(e.Reading, TAG, at, meter="hours", value=Decimal(value))


def test_a_number_that_the_meter_has_reached_is_due_at_the_pass() -> None:
    """Due at 10 and in grace to 12, which the meter reaches with 25: the pass at that instant is in
    time, so the next is due at 20, which is over. The pass after it counts afresh, to 35."""
    clause = ForUse(10, "hours", parse_period("P30D"), True, early=3, late=2)
    rulebook = rules(check("look", validity=(clause,)))
    log = (enrolled(TAG), _read("07:00", 0), passed(TAG, "look", "07:00"), _read("09:00", 25))
    log += (passed(TAG, "look", "09:00"),)
    assert stands(rulebook, *log, at="08:59").standing is Standing.CLEARED
    assert stands(rulebook, *log, at="09:00").standing is Standing.NOT_CLEARED
    log += (passed(TAG, "look", "10:00"), _read("11:00", 34), _read("12:00", 35))
    log += (_read("13:00", 37),)
    assert stands(rulebook, *log, at="11:00").checks[0].state is State.VALID
    assert stands(rulebook, *log, at="12:00").checks[0].state is State.IN_GRACE
    assert stands(rulebook, *log, at="13:00").checks[0].state is State.LAPSED


def test_a_warning_as_long_as_the_use_begins_with_the_pass() -> None:
    clause = ForUse(10, "hours", parse_period("P30D"), warn_before=10)
    rulebook = rules(check("look", validity=(clause,)))
    log = (enrolled(TAG), _read("07:00", 0), passed(TAG, "look", "07:30"))
    assert stands(rulebook, *log, at="07:30").checks[0].state is State.DUE


def _must_do(rulebook, *entries: e.Entry) -> list[str]:
    """The checks that are left to do once somebody else has acted."""
    work = least_work(stands(rulebook, enrolled(TAG), *entries, at="09:30"))
    assert work.others_must
    return [check.code for _, check in work.checks]


def test_a_return_or_a_closed_fault_alone_clears_nothing() -> None:
    rulebook = rules(
        check("look", "PT24H"),
        check("service", "P1Y", survives=("returned",)),
        check("alarm", "P7D", survives=("returned", "fault-closed"), voided_by=("fault-closed",)),
        check("wipe", "PT24H", survives=("returned", "fault-closed")),
    )
    done = [passed(TAG, code, "07:00") for code in rulebook.checks]
    withdrawn = wrote(e.Withdrawn, TAG, "09:00")
    fault = wrote(e.Fault, TAG, "09:00", severity=e.Severity.STOP_USE)
    assert _must_do(rulebook, *done, withdrawn) == ["look"]
    assert _must_do(rulebook, *done, fault) == ["look", "service", "alarm"]
    assert _must_do(rulebook, *done[:3], withdrawn) == ["look", "wipe"]
    limiting = wrote(e.Fault, TAG, "09:00", severity=e.Severity.LIMIT)
    assert least_work(stands(rulebook, enrolled(TAG), *done, limiting, at="09:30")) == NO_WORK


def test_after_the_engineer_the_failed_gate_is_done_again() -> None:
    rulebook = rules(
        check("alarm", "P7D", engineer_after_fail=True),
        check("look", "PT24H"),
        check("service", "P1Y", survives=("returned",)),
    )
    done = [passed(TAG, code, "07:00") for code in ("look", "service")]
    failed = did(TAG, "alarm", e.Outcome.FAIL, "08:00")
    assert _must_do(rulebook, *done, failed) == ["alarm", "look"]


def test_the_limit_of_what_a_check_covers_is_told_once() -> None:
    """A leak of 150 limits by the covered test only; of 90 by neither, and the limit stays."""
    rulebook = rules(
        check("full", "PT24H", covers=("leak",)),
        check("leak", measures={"leak": Measure("leak", "mL/min", limited_above=100)}),
    )
    for leak, text in (
        ("150", "leak 150 mL/min, limited above 100"),
        ("90", "limited, without a reason"),
    ):
        limited = did(TAG, "full", e.Outcome.LIMITED, "07:00", measures={"leak": leak})
        assert stands(rulebook, enrolled(TAG), limited, at="08:00").limits == (text,)
    # What is limited stays so when the covered test alone is done again.
    log = (enrolled(TAG), did(TAG, "full", e.Outcome.LIMITED, "07:00", measures={"leak": "150"}))
    log += (passed(TAG, "leak", "08:00", measures={"leak": "50"}),)
    assert stands(rulebook, *log, at="09:00").limits == ("leak 150 mL/min, limited above 100",)


def test_a_limit_stays_in_force_after_its_window() -> None:
    rulebook = rules(check("look", "P7D"), check("fan", "PT2H", gate=False))
    limited = did(TAG, "fan", e.Outcome.LIMITED, "07:10", limits=("fan slow",))
    log = (enrolled(TAG), passed(TAG, "look", "07:00"), limited)
    later = (did(TAG, "fan", e.Outcome.STOPPED, "13:00"), passed(TAG, "fan", "14:00"))
    for more, at, expected in (
        ((), "12:00", Standing.LIMITED),
        (later[:1], "13:30", Standing.LIMITED),
        (later, "14:00", Standing.CLEARED),
    ):
        assert stands(rulebook, *log, *more, at=at).standing is expected


def test_cleared_for_a_time_counts_what_was_written_within_it() -> None:
    """As of 08:00 the pass ran to 09:00. It was done again at 08:50, and voided at 12:00."""
    rulebook = rules(check("look", "PT2H"))
    log = (enrolled(TAG), passed(TAG, "look", "07:00"), passed(TAG, "look", "10:30"))
    again, voided = passed(TAG, "look", "08:50"), happened(TAG, "unheard-of", "12:00")

    def gap(*more: e.Entry, end: str) -> Gap | None:
        asked = book(rulebook, *log, *more)
        return cleared(TAG, asked, ask("08:00"), t(end)).gap

    assert gap(end="09:00") is None
    assert gap(end="12:30") == Gap(t("09:00"), Standing.NOT_CLEARED)
    assert gap(again, end="12:30") is None
    assert gap(again, voided, end="12:00") is None
    assert gap(again, voided, end="12:30") == Gap(t("12:00"), Standing.NOT_CLEARED)
