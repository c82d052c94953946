"""Validity clauses: intervals published elsewhere, then examples worked by hand."""

from datetime import datetime

import pytest

from tests.oracle import calendar, windows
from tests.oracle.builder import LATER, TEST, Log, due, rulebook, utc

pytestmark = pytest.mark.usefixtures("answered_by")

# Published intervals


@pytest.mark.parametrize(
    ("last", "length", "tolerance", "earliest", "due_on", "latest"),
    [
        # Joint Commission, EC chapter definitions of 2014, as printed by its readers (first row);
        # the others follow from the same definition.
        ("2015-03-15", "P3M", "P10D", "2015-06-05", "2015-06-15", "2015-06-25"),
        ("2026-01-31", "P6M", "P20D", "2026-07-11", "2026-07-31", "2026-08-20"),
        ("2025-11-30", "P3M", "P10D", "2026-02-18", "2026-02-28", "2026-03-10"),
        ("2026-08-31", "P36M", "P45D", "2029-07-17", "2029-08-31", "2029-10-15"),
    ],
)
def test_interval_with_tolerance(
    last: str, length: str, tolerance: str, earliest: str, due_on: str, latest: str
) -> None:
    log = Log()
    log.done(last)
    clause = f'valid_for = "{length}"\nlate = "{tolerance}"\nwarn_before = "{tolerance}"'
    [window] = windows(
        rulebook(f"{TEST}[[check.validity]]\n{clause}"), log, "AM-01", "test", LATER, LATER
    )
    assert window["due_from"] == utc(earliest)
    assert window["due"] == utc(due_on)
    assert window["until"] == utc(latest)


@pytest.mark.parametrize(
    ("expiry", "tested", "following"),
    [
        # The GB vehicle test: up to a month less a day before expiry keeps the date. As quoted
        # from the authority by several pages.
        ("2007-04-01", "2007-03-02", "2008-04-01"),
        ("2003-04-01", "2003-03-02", "2004-04-01"),
        # By hand: a day earlier counts from the test.
        ("2007-04-01", "2007-03-01", "2008-03-01"),
    ],
)
def test_early_within_the_window_keeps_the_date(expiry: str, tested: str, following: str) -> None:
    log = Log()
    log[0]["at"] = utc("2000-01-01")
    log.done(f"{int(expiry[:4]) - 1}{expiry[4:]}")
    log.done(tested)
    clause = 'valid_for = "P1Y"\nearly = "P30D"\nnext_due = "from-due"'
    assert due(clause, log)[-1][0] == f"{following}T00:00:00"


def test_hours_over_the_limit_count_toward_the_next() -> None:
    # 14 CFR 91.409(b): the 100 hours may be passed by 10, and the excess counts; inspected at 102,
    # the next is due at 200.
    log = Log()
    log.read("2026-01-01T00:00", "0")
    log.done("2026-01-01T00:00")
    for day, hours in ((2, "95"), (3, "102")):
        log.read(f"2026-01-0{day}T00:00", hours)
    log.done("2026-01-03T01:00")
    for day, hours in ((4, "199.9"), (5, "200"), (6, "210")):
        log.read(f"2026-01-0{day}T00:00", hours)
    clause = 'valid_for_use = 100\nmeter = "hours"\nreading_within = "P7D"\nnext_due = "from-due"\n'
    assert due(clause + "late = 10", log) == [
        ("2026-01-03T00:00:00", "2026-01-03T01:00:00"),
        ("2026-01-05T00:00:00", "2026-01-06T00:00:00"),
    ]
    # By hand: without grace the hundred is counted from the inspection, at 202.
    assert due(clause, log)[-1] == ("2026-01-06T00:00:00", "2026-01-06T00:00:00")


def test_calendar_months_end_with_the_month() -> None:
    # 14 CFR 61.23(d): good to the end of the last day of the month, so many months later.
    log = Log()
    log.done("2026-01-15T10:00")
    clause = 'valid_for = "P12M"\nround_up_to = "month"'
    assert due(clause, log) == [("2027-02-01T00:00:00", "2027-02-01T00:00:00")]


@pytest.mark.parametrize(
    ("period", "start", "end"),
    [
        ("day", "2026-03-05", "2026-03-06"),
        ("week", "2026-03-09", "2026-03-16"),
        ("month", "2026-04-01", "2026-05-01"),
        ("quarter", "2026-04-01", "2026-07-01"),
        ("year", "2027-01-01", "2028-01-01"),
    ],
)
def test_once_each_period_is_due_through_the_next(period: str, start: str, end: str) -> None:
    # By hand; 4 March 2026 is a Wednesday.
    log = Log()
    log.done("2026-03-04T23:59:59.999999")
    rules = rulebook(f'{TEST}[[check.validity]]\nonce_each = "{period}"')
    [window] = windows(rules, log, "AM-01", "test", LATER, LATER)
    assert (window["due_from"], window["due"]) == (utc(start), utc(end))


def test_a_warning_longer_than_the_period_begins_before_it() -> None:
    log = Log()
    log.done("2026-03-04T12:00")
    rules = rulebook(f'{TEST}[[check.validity]]\nonce_each = "week"\nwarn_before = "P10D"')
    [window] = windows(rules, log, "AM-01", "test", LATER, LATER)
    assert (window["due_from"], window["due"]) == (utc("2026-03-06"), utc("2026-03-16"))


# Clauses, by hand


def test_midnight_belongs_to_the_day_it_begins() -> None:
    log = Log()
    log.done("2026-03-04T00:00")
    clause = 'valid_for = "P1D"\nround_up_to = "day"'
    assert due(clause, log)[0][0] == "2026-03-06T00:00:00"


def test_recurrence_looks_strictly_after_early() -> None:
    clause = 'valid_until_next = "FREQ=DAILY;BYHOUR=7;BYMINUTE=0"\n'
    for at, early, expected in (
        ("2026-03-04T06:50", "PT0S", "2026-03-04T07:00:00"),
        ("2026-03-04T06:50", "PT15M", "2026-03-05T07:00:00"),
        ("2026-03-04T06:45", "PT15M", "2026-03-05T07:00:00"),
        ("2026-03-04T06:44:59.999999", "PT15M", "2026-03-04T07:00:00"),
    ):
        log = Log()
        log.done(at)
        assert due(f'{clause}early = "{early}"', log)[0][0] == expected


def test_recurrence_without_another_occurrence_leaves_an_empty_window() -> None:
    log = Log()
    log.done("2026-03-04T06:50")
    clause = 'valid_until_next = "FREQ=DAILY;UNTIL=20260304T000000"\nlate = "PT1H"'
    assert due(clause, log) == [("2026-03-04T06:50:00", "2026-03-04T06:50:00")]


def test_recurrence_around_a_clock_change() -> None:
    rule, start = "FREQ=DAILY;BYHOUR=1;BYMINUTE=30", datetime(2000, 1, 1)
    for after, expected in (
        ("2026-03-29T00:00", "2026-03-29T01:30"),  # 02:30 local, moved over the gap
        ("2026-10-25T00:00", "2026-10-25T00:30"),  # the first 01:30
        ("2026-10-25T00:30", "2026-10-26T01:30"),  # the second is no occurrence
    ):
        assert calendar.next_occurrence(rule, start, utc(after), "Europe/London") == utc(expected)


def test_schedule_is_kept_early_and_late_both_included() -> None:
    clause = 'valid_for = "P10D"\nearly = "P2D"\nlate = "P1D"\nnext_due = "from-due"'
    for second, expected in (
        ("2026-01-08T23:59:59.999999", "2026-01-18T23:59:59.999999"),
        ("2026-01-09T00:00", "2026-01-21T00:00:00"),
        ("2026-01-12T00:00", "2026-01-21T00:00:00"),
        ("2026-01-12T00:00:00.000001", "2026-01-22T00:00:00.000001"),
    ):
        log = Log()
        log.done("2026-01-01T00:00")
        log.done(second)
        assert due(clause, log)[-1][0] == expected


def test_rounded_schedule_is_not_rounded_again() -> None:
    clause = 'valid_for = "P1M"\nround_up_to = "month"\nearly = "P5D"\nnext_due = "from-due"'
    log = Log()
    for at in ("2026-01-10T00:00", "2026-02-27T00:00", "2026-03-28T00:00"):
        log.done(at)
    assert [each for each, _ in due(clause, log)] == [
        "2026-03-01T00:00:00",
        "2026-04-01T00:00:00",
        "2026-05-01T00:00:00",
    ]


def test_use_ends_at_the_reading_a_new_meter_or_silence() -> None:
    clause = 'valid_for_use = 100\nmeter = "hours"\nreading_within = "P7D"\nwarn_before = 20'
    for readings, expected in (
        ([("01-05", "79"), ("01-06", "99"), ("01-08", "100")], ("01-06", "01-08")),
        ([("01-05", "40"), ("01-06", "39"), ("01-07", "200")], ("01-06", "01-06")),
        ([("01-05", "40")], ("01-12", "01-12")),
        ([], ("01-08", "01-08")),
        ([("01-08", "40")], ("01-08", "01-08")),  # at that very instant is too late
    ):
        log = Log()
        log.read("2026-01-01", "0")
        log.done("2026-01-02")
        for day, hours in readings:
            log.read(f"2026-{day}", hours)
        rules = rulebook(f"{TEST}[[check.validity]]\n{clause}")
        [window] = windows(rules, log, "AM-01", "test", LATER, LATER)
        start, end = (utc(f"2026-{day}") for day in expected)
        assert (window["due_from"], window["until"]) == (start, end)


def test_use_without_a_reading_is_over_at_once() -> None:
    log = Log()
    log.done("2026-01-02")
    clause = 'valid_for_use = 100\nmeter = "hours"\nreading_within = "P7D"'
    assert due(clause, log) == [("2026-01-02T00:00:00", "2026-01-02T00:00:00")]


def test_a_meter_that_leapt_leaves_no_window_of_a_kept_schedule() -> None:
    # By hand: the grace to 12 is reached with 25, at the pass, so the next due number is 20.
    log = Log()
    for at, hours in (("2026-01-01", "0"), ("2026-01-05", "25")):
        log.read(at, hours)
        log.done(at)
    clause = 'valid_for_use = 10\nmeter = "hours"\nreading_within = "P30D"\nearly = 3\nlate = 2\n'
    day = "2026-01-05T00:00:00"
    assert due(clause + 'next_due = "from-due"', log) == [(day, day), (day, day)]


def test_a_window_that_was_emptied_is_no_predecessor() -> None:
    # By hand: opened under its test, 11 January's pass leaves 1 January's schedule, for which 22
    # January is late; struck as well, it still leaves it.
    clause = 'valid_for = "P10D"\nearly = "P2D"\nlate = "P2D"\nnext_due = "from-due"'
    log = Log()
    log.done("2026-01-01T00:00")
    log.add("opened", "2026-01-11T11:30")
    emptied = log.done("2026-01-11T12:00", started="2026-01-11T11:00")
    log.done("2026-01-22T12:00")
    assert due(clause, log)[-1][0] == "2026-02-01T12:00:00"
    log.strike(emptied, "2026-01-22T13:00")
    assert due(clause, log)[-1][0] == "2026-02-01T12:00:00"


def test_a_pass_done_again_too_early_keeps_the_later_due() -> None:
    # By hand: 9 January is within `early` of the 11th, so due on the 21st; half a day later counted
    # from the pass it would be due on the 19th.
    clause = 'valid_for = "P10D"\nearly = "P2D"\nnext_due = "from-due"'
    log = Log()
    for at in ("2026-01-01T00:00", "2026-01-09T00:00", "2026-01-09T12:00"):
        log.done(at)
    assert due(clause, log)[-1][0] == "2026-01-21T00:00:00"


USE = 'valid_for_use = 10\nmeter = "hours"\nreading_within = "P7D"\n'
KEPT = USE + 'early = 3\nlate = 2\nnext_due = "from-due"'
JUDGED = [f"2026-01-{day:02}" for day in range(20, 30)]


def reads(log: Log, first: int) -> Log:
    """A reading a day from 20 January on, one more each day."""
    for hours, day in enumerate(JUDGED, start=first):
        log.read(day, str(hours))
    return log


@pytest.mark.parametrize(
    ("readings", "number"),
    [
        # By hand; the first pass is at 0 and due at 10. Each pair is a day and a reading.
        ([(14, 6)], 16),  # before early: counted from the pass
        ([(14, 7)], 20),  # at early: the schedule is kept
        ([(14, 12)], 20),  # at late
        ([(14, 13)], 20),  # the first reading beyond late, at the pass itself: in time
        ([(13, 12), (14, 12)], 20),  # after that instant, but not beyond by the number
        ([(13, 13), (14, 13)], 23),  # beyond late: counted from the pass
        ([(12, 9), (14, 8)], 18),  # replaced at that very instant
        ([(12, 9), (13, 8), (14, 8)], 18),  # replaced before
    ],
)
def test_a_schedule_by_use_is_kept_by_the_numbers_of_the_meter(
    readings: list[tuple[int, int]], number: int
) -> None:
    log = Log()
    log.read("2026-01-10", "0")
    log.done("2026-01-10")
    for day, hours in readings:
        log.read(f"2026-01-{day}", str(hours))
    log.done("2026-01-14")
    [*_, (reached, _)] = due(KEPT, reads(log, number - 4))
    assert reached == f"{JUDGED[4]}T00:00:00"


def test_a_schedule_by_use_is_not_kept_over_a_silence() -> None:
    # By hand: nobody read for seven days, so the pass at 8 counts from 8.
    log = Log()
    log.read("2026-01-02", "0")
    log.done("2026-01-02")
    log.read("2026-01-14", "8")
    log.done("2026-01-14")
    assert due(KEPT, reads(log, 14))[-1][0] == f"{JUDGED[4]}T00:00:00"


def test_a_pass_by_use_done_again_too_early_keeps_the_later_due() -> None:
    # By hand: at 8 in time for 10, so due at 20; done again at 8 it would be due at 18.
    log = Log()
    log.read("2026-01-10", "0")
    log.done("2026-01-10")
    for day in ("2026-01-13", "2026-01-14"):
        log.read(day, "8")
        log.done(day)
    assert due(KEPT, reads(log, 16))[-1][0] == f"{JUDGED[4]}T00:00:00"


def test_a_struck_lower_reading_still_lowers_the_base() -> None:
    # By hand: due at 100 by the 90, which was struck after the pass, and not at 110.
    log = Log()
    log.read("2026-01-10", "100")
    lower = log.read("2026-01-11", "90")
    log.done("2026-01-12")
    log.strike(lower, "2026-01-13")
    log.read("2026-01-14", "99")
    log.read("2026-01-15", "100")
    log.read("2026-01-16", "110")
    assert due(USE, log) == [("2026-01-15T00:00:00", "2026-01-15T00:00:00")]


def test_a_struck_higher_reading_does_not_raise_the_base() -> None:
    # By hand: due at 110, counted from the 100, and not at 115.
    log = Log()
    log.read("2026-01-10", "100")
    higher = log.read("2026-01-11", "105")
    log.done("2026-01-12")
    log.strike(higher, "2026-01-13")
    log.read("2026-01-15", "110")
    log.read("2026-01-16", "115")
    assert due(USE, log) == [("2026-01-15T00:00:00", "2026-01-15T00:00:00")]


def test_a_pass_whose_return_was_struck_stays_a_predecessor() -> None:
    # By hand: 11 January's pass keeps the schedule, on which 22 January is in time for the 21st.
    # With its return struck it gives nothing, and the last pass must not last longer for that.
    clause = 'valid_for = "P10D"\nearly = "P2D"\nlate = "P2D"\nnext_due = "from-due"'
    rules = rulebook(f'{TEST}after_fail = "engineer"\n[[check.validity]]\n{clause}')
    log = Log()
    log.done("2026-01-01")
    log.done("2026-01-10", "fail")
    returned = log.add("returned", "2026-01-10T12:00")
    log.done("2026-01-11")
    log.add("returned", "2026-01-12")
    log.done("2026-01-22T12:00")
    for _ in range(2):
        assert windows(rules, log, "AM-01", "test", LATER, LATER)[-1]["due"] == utc("2026-01-31")
        log.strike(returned, "2026-01-23")
