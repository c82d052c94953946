"""The oracle itself, against values published elsewhere and examples worked by hand.

Where a test names a source, the values are that source's; "by hand" marks values that were worked
out from docs/meaning.md on paper.
"""

import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from tests.oracle import (
    calendar,
    check_at,
    cleared_for,
    least_work,
    owed,
    place_at,
    standing_at,
    windows,
)

LATER = calendar.instant(datetime(2099, 1, 1, tzinfo=UTC))
FIRST = calendar.instant(datetime(2020, 1, 1, tzinfo=UTC))


def utc(text: str) -> int:
    """Give the instant of an ISO 8601 text; without an offset it is UTC."""
    moment = datetime.fromisoformat(text)
    return calendar.instant(moment if moment.tzinfo else moment.replace(tzinfo=UTC))


def rulebook(checks: str, zone: str = "UTC", more: str = "") -> list[tuple[int, int, Any]]:
    """Adopt one rulebook, made of its checks, from the beginning."""
    text = f"""
        [rulebook]
        title = "example"
        zone = "{zone}"
        [[happening]]
        code = "power-on"
        title = "Switched on"
        {more}
        {checks}"""
    return [(FIRST, FIRST, tomllib.loads(text, parse_float=Decimal))]


class Log(list[dict[str, Any]]):
    """A list of entries of one machine, in the order of their seq."""

    def __init__(self, machine: str = "AM-01", kind: str = "am", place: str = "T1") -> None:
        super().__init__()
        self.machine = machine
        self.add("enrolled", "2020-01-01", kind=kind, model="", place=place)

    def add(self, what: str, at: str, recorded: str | None = None, **more: Any) -> int:
        """Write an entry, recorded when it was true unless said otherwise; give its seq."""
        seq = len(self) + 1
        instants = {"at": utc(at), "recorded": utc(recorded or at)}
        self.append({"seq": seq, "machine": self.machine, "what": what, **instants, **more})
        return seq

    def done(self, at: str, outcome: str = "pass", what: str = "test", **more: Any) -> int:
        """Write a result; `started` is a text, measures are given as texts."""
        measures = {code: Decimal(value) for code, value in more.pop("measures", {}).items()}
        started = more.pop("started", None)
        begun = None if started is None else utc(started)
        return self.add(what, at, outcome=outcome, measures=measures, started=begun, **more)

    def read(self, at: str, hours: str) -> int:
        return self.add("reading", at, measures={"hours": Decimal(hours)})

    def strike(self, seq: int, at: str, outcome: str = "") -> int:
        return self.add("struck", at, of=seq, outcome=outcome)


TEST = '[[check]]\ncode = "test"\nkinds = ["am"]\n'
DAY = TEST + 'voided_by = ["power-on"]\n[[check.validity]]\nvalid_for = "PT24H"\n'


def state(rules: Any, log: Log, at: str, check: str = "test") -> str:
    return str(check_at(rules, log, log.machine, check, utc(at), LATER)["state"])


def stands(rules: Any, log: Log, at: str) -> str:
    return str(standing_at(rules, log, log.machine, utc(at), LATER)["standing"])


def due(clause: str, log: Log, zone: str = "UTC") -> list[tuple[str, str]]:
    """Give the due instant and the end of each window, in local time, of a check with a clause."""
    rules = rulebook(f"{TEST}[[check.validity]]\n{clause}", zone)
    found = windows(rules, log, log.machine, "test", LATER, LATER)
    return [
        (calendar.wall(w["due"], zone).isoformat(), calendar.wall(w["until"], zone).isoformat())
        for w in found
    ]


# Calendar arithmetic


@pytest.mark.parametrize(
    ("start", "step", "end"),
    [
        # W3C XML Schema Part 2, 2nd edition (2004), appendix E.
        ("2000-01-12T12:13:14", "P1Y3M5DT7H10M3.3S", "2001-04-17T19:23:17.3"),
        ("2000-01-12", "PT33H", "2000-01-13T09:00"),
        # Shown with ISO 8601's interval notation in many places; the source is from memory.
        ("2007-03-01T13:00", "P1Y2M10DT2H30M", "2008-05-11T15:30"),
    ],
)
def test_durations_are_added_as_published(start: str, step: str, end: str) -> None:
    assert calendar.add(utc(start), calendar.duration(step), "UTC") == utc(end)


def test_month_then_day_is_not_day_then_month() -> None:
    # W3C XML Schema Part 2, appendix E.
    day, month = calendar.duration("P1D"), calendar.duration("P1M")
    march = utc("2000-03-30")
    assert calendar.add(calendar.add(march, day, "UTC"), month, "UTC") == utc("2000-04-30")
    assert calendar.add(calendar.add(march, month, "UTC"), day, "UTC") == utc("2000-05-01")


@pytest.mark.parametrize("text", ["1Y", "P1S", "P-1Y", "P1M2Y", "P1Y-1M", "P", "PT", "P1DT"])
def test_what_is_no_duration_is_refused(text: str) -> None:
    # XML Schema Part 2, §3.2.6, and the examples of its readers; the last three are by hand.
    with pytest.raises(ValueError, match="no ISO 8601 duration"):
        calendar.duration(text)


@pytest.mark.parametrize(
    ("zone", "start", "step", "end"),
    [
        # The clock changes are those of the tz database; a nominal day may have 23 or 25 hours
        # by RFC 5545, §3.3.6.
        ("Europe/London", "2026-03-28T08:00+00:00", "P1D", "2026-03-29T08:00+01:00"),
        ("Europe/London", "2026-03-28T08:00+00:00", "PT24H", "2026-03-29T09:00+01:00"),
        ("Europe/London", "2026-10-24T08:00+01:00", "P1D", "2026-10-25T08:00+00:00"),
        ("Europe/London", "2026-10-24T08:00+01:00", "PT24H", "2026-10-25T07:00+00:00"),
        # By hand: forward over the gap, the first of the repeated, elapsed time after that.
        ("Europe/London", "2026-03-28T01:30+00:00", "P1D", "2026-03-29T02:30+01:00"),
        ("Europe/London", "2026-10-24T01:30+01:00", "P1D", "2026-10-25T01:30+01:00"),
        ("Europe/London", "2026-10-25T01:30+00:00", "PT0S", "2026-10-25T01:30+00:00"),
        ("Europe/London", "2026-03-28T01:30+00:00", "P1DT1H", "2026-03-29T03:30+01:00"),
        ("Australia/Lord_Howe", "2026-10-03T02:10+10:30", "P1D", "2026-10-04T02:40+11:00"),
        ("Pacific/Apia", "2011-12-29T08:00-10:00", "P1D", "2011-12-31T08:00+14:00"),
        ("UTC", "2024-02-29", "P1Y", "2025-02-28"),
        ("UTC", "2026-01-31", "P1M1D", "2026-03-01"),
    ],
)
def test_calendar_steps_keep_the_wall_clock(zone: str, start: str, step: str, end: str) -> None:
    assert calendar.add(utc(start), calendar.duration(step), zone) == utc(end)


@pytest.mark.parametrize(
    ("start", "rule", "dates"),
    [
        # RFC 5545 (2009), §3.8.5.3, its examples in America/New_York at 09:00.
        ("1997-09-02", "FREQ=DAILY;INTERVAL=10;COUNT=5", "09-02 09-12 09-22 10-02 10-12"),
        (
            "1997-09-02",
            "FREQ=WEEKLY;COUNT=10",
            "09-02 09-09 09-16 09-23 09-30 10-07 10-14 10-21 10-28 11-04",
        ),
        ("1997-09-22", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "09-22 10-20 11-17 12-22 01-19 02-16"),
        (
            "1997-09-30",
            "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
            "09-30 10-01 10-31 11-01 11-30 12-01 12-31 01-01 01-31 02-01",
        ),
        (
            "1997-08-05",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
            "08-05 08-10 08-19 08-24",
        ),
        (
            "1997-08-05",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
            "08-05 08-17 08-19 08-31",
        ),
    ],
)
def test_recurrences_occur_as_in_rfc_5545(start: str, rule: str, dates: str) -> None:
    zone, counted_from = "America/New_York", datetime.fromisoformat(f"{start}T09:00")
    found, after = [], utc("1997-01-01")
    while (at := calendar.next_occurrence(rule, counted_from, after, zone)) is not None:
        found.append(calendar.wall(at, zone))
        after = at
    assert [f"{local:%m-%d}" for local in found] == dates.split()
    assert {f"{local:%H:%M}" for local in found} == {"09:00"}


def test_daily_until_an_instant_of_utc_occurs_113_times() -> None:
    # RFC 5545, §3.8.5.3: daily until 24 December 1997; standard time from 26 October on.
    rule, zone = "FREQ=DAILY;UNTIL=19971224T000000Z", "America/New_York"
    found, after = [], utc("1997-01-01")
    while (at := calendar.next_occurrence(rule, datetime(1997, 9, 2, 9), after, zone)) is not None:
        found.append(at)
        after = at
    assert len(found) == 113
    assert found[-1] == utc("1997-12-23T09:00-05:00")
    assert utc("1997-10-25T13:00") in found
    assert utc("1997-10-26T14:00") in found


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


# Windows and states, by hand


def test_window_is_half_open() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    rules = rulebook(DAY)
    assert state(rules, log, "2026-03-04T06:59:59.999999") == "never"
    assert state(rules, log, "2026-03-04T07:00") == "valid"
    assert state(rules, log, "2026-03-05T06:59:59.999999") == "valid"
    assert state(rules, log, "2026-03-05T07:00") == "lapsed"


def test_due_and_grace() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    rules = rulebook(DAY + 'warn_before = "PT2H"\nlate = "PT1H"')
    for at, expected, since in (
        ("2026-03-05T04:59", "valid", "2026-03-04T07:00"),
        ("2026-03-05T05:00", "due", "2026-03-05T05:00"),
        ("2026-03-05T07:00", "in-grace", "2026-03-05T07:00"),
        ("2026-03-05T08:00", "lapsed", "2026-03-05T08:00"),
    ):
        answer = check_at(rules, log, "AM-01", "test", utc(at), LATER)
        assert (answer["state"], answer["since"]) == (expected, utc(since))


def test_what_comes_under_a_test_empties_its_window() -> None:
    minutes = "minutes = { hands_on = 9, watched = 2, alone = 5 }\n"
    rules = rulebook(DAY.replace("[[check.validity]]", minutes + "[[check.validity]]"))
    for power_on, expected in (
        ("07:53", "valid"),  # the run takes seven minutes, whatever `started` says
        ("07:53:00.000001", "voided"),
        ("08:00", "voided"),  # written before, but after the test began
    ):
        log = Log()
        log.add("power-on", f"2026-03-04T{power_on}")
        log.done("2026-03-04T08:00", started="2026-03-04T07:59")
        assert state(rules, log, "2026-03-04T08:00") == expected


def test_equal_instants_are_ordered_by_seq() -> None:
    rules = rulebook(DAY)
    first, after = Log(), Log()
    first.add("power-on", "2026-03-04T08:00")
    first.done("2026-03-04T08:00")
    after.done("2026-03-04T08:00")
    after.add("power-on", "2026-03-04T08:00")
    assert state(rules, first, "2026-03-04T08:00") == "valid"
    assert state(rules, after, "2026-03-04T08:00") == "voided"


def test_unknown_happening_voids_and_unknown_result_counts_for_nothing() -> None:
    rules = rulebook(TEST + "gate = false\nendless = true\n")
    log = Log()
    log.done("2026-03-04T08:00")
    log.done("2026-03-04T09:00", "fail", what="old-test")
    assert state(rules, log, "2026-03-04T10:00") == "valid"
    log.add("opened", "2026-03-04T10:00")
    assert state(rules, log, "2026-03-04T10:00") == "voided"


def test_fault_closed_voids_gates_if_the_fault_stopped_use() -> None:
    for outcome, expected in (("stop-use", "voided"), ("limit", "valid"), (None, "voided")):
        log = Log()
        fault = log.add("fault", "2026-03-04T08:00", outcome=outcome) if outcome else None
        log.done("2026-03-04T09:00")
        log.add("fault-closed", "2026-03-04T10:00", of=fault)
        assert state(rulebook(DAY), log, "2026-03-04T10:00") == expected
        survives = rulebook(DAY.replace("voided_by", 'survives = ["fault-closed"]\nvoided_by'))
        assert state(survives, log, "2026-03-04T10:00") == "valid"


def test_window_ends_in_the_order_voiding_expiry_attempt() -> None:
    rules = rulebook(DAY)
    log = Log()
    log.done("2026-03-04T08:00")
    log.done("2026-03-05T08:00")
    again = log.done("2026-03-05T09:00")
    log.done("2026-03-06T09:00")
    power_on = log.add("power-on", "2026-03-06T09:00")
    ends = [
        (w["ended_by"], w["ended_entry"])
        for w in windows(rules, log, "AM-01", "test", LATER, LATER)
    ]
    assert ends == [
        ("expiry", None),
        ("attempt", again),
        ("voided", power_on),
        ("voided", power_on),
    ]


def test_fail_is_not_laundered_by_breaking_off() -> None:
    log = Log()
    log.done("2026-03-04T08:00")
    log.done("2026-03-04T09:00", "fail")
    log.done("2026-03-04T10:00", "stopped")
    answer = check_at(rulebook(DAY), log, "AM-01", "test", utc("2026-03-04T11:00"), LATER)
    assert (answer["state"], answer["since"]) == ("failed", utc("2026-03-04T09:00"))


def test_pass_begun_before_a_fail_is_stopped() -> None:
    log = Log()
    log.done("2026-03-04T08:30", "fail")
    log.done("2026-03-04T09:00", started="2026-03-04T08:29")
    assert state(rulebook(DAY), log, "2026-03-04T09:00") == "failed"
    log.done("2026-03-04T10:00", started="2026-03-04T09:30")
    assert state(rulebook(DAY), log, "2026-03-04T10:00") == "valid"


def test_after_fail_an_engineer_must_come_before_the_pass_begins() -> None:
    rules = rulebook(DAY.replace("voided_by", 'after_fail = "engineer"\nvoided_by'))
    log = Log()
    log.done("2026-03-04T08:00", "fail")
    log.done("2026-03-04T09:00")
    assert state(rules, log, "2026-03-04T09:00") == "failed"
    assert least_work(rules, log, "AM-01", utc("2026-03-04T09:00"), LATER) is None
    log.add("returned", "2026-03-04T10:00")
    assert least_work(rules, log, "AM-01", utc("2026-03-04T10:00"), LATER) == ["test"]
    log.done("2026-03-04T11:00")
    assert state(rules, log, "2026-03-04T11:00") == "valid"


COVERING = """
[[check]]
code = "full"
kinds = ["am"]
covers = ["middle"]
minutes = { hands_on = 9 }
endless = true
[[check.measure]]
code = "leak"
unit = "mL/min"
required = true
limited_above = 200
fail_above = 300
believable = [0, 2000]
[[check]]
code = "middle"
kinds = ["am"]
covers = ["short"]
minutes = { hands_on = 4 }
endless = true
[[check]]
code = "short"
kinds = ["am"]
minutes = { hands_on = 3, alone = 1 }
endless = true
[[check.measure]]
code = "leak"
unit = "mL/min"
limited_above = 100
[[check.measure]]
code = "hold"
required = false
"""


@pytest.mark.parametrize(
    ("leak", "full", "short"),
    [("100", "valid", "pass"), ("101", "valid", "limited"), ("201", "valid", "limited")],
)
def test_measures_are_judged_by_both_checks(leak: str, full: str, short: str) -> None:
    log = Log()
    log.done("2026-03-04T08:00", what="full", measures={"leak": leak})
    rules = rulebook(COVERING)
    assert state(rules, log, "2026-03-04T08:00", "full") == full
    [window] = windows(rules, log, "AM-01", "short", LATER, LATER)
    assert window["outcome"] == short


def test_measures_missing_and_beyond() -> None:
    rules = rulebook(COVERING)
    for measures, full, short in (
        ({"leak": "301"}, "failed", "failed"),
        ({}, "stopped", "stopped"),
        ({"leak": "2001"}, "stopped", "stopped"),  # not believable, so missing
    ):
        log = Log()
        log.done("2026-03-04T08:00", what="full", measures=measures)
        assert state(rules, log, "2026-03-04T08:00", "full") == full
        assert state(rules, log, "2026-03-04T08:00", "short") == short


def test_covering_result_without_a_required_measure_is_no_attempt() -> None:
    rules = rulebook(COVERING.replace("required = false", "required = true"))
    log = Log()
    log.done("2026-03-04T08:00", what="full", measures={"leak": "50"})
    assert state(rules, log, "2026-03-04T08:00", "middle") == "valid"
    assert state(rules, log, "2026-03-04T08:00", "short") == "never"
    log.done("2026-03-04T09:00", "fail", what="full")
    assert state(rules, log, "2026-03-04T09:00", "short") == "failed"


def test_limit_texts() -> None:
    rules = rulebook(COVERING)
    log = Log()
    log.done("2026-03-04T08:00", what="full", measures={"leak": "260"})
    answer = standing_at(rules, log, "AM-01", utc("2026-03-04T08:00"), LATER)
    assert answer["standing"] == "limited"
    assert answer["limits"] == [
        "leak 260 mL/min, limited above 200",
        "leak 260 mL/min, limited above 100",
    ]


# Striking, by hand


def test_plain_striking_takes_away_what_was_given_only() -> None:
    rules = rulebook(DAY)
    log = Log()
    first = log.done("2026-03-04T08:00")
    power_on = log.add("power-on", "2026-03-04T09:00")
    log.strike(power_on, "2026-03-04T10:00")
    assert state(rules, log, "2026-03-04T11:00") == "voided"
    restoring = log.strike(power_on, "2026-03-04T12:00", "restores")
    assert state(rules, log, "2026-03-04T11:00") == "valid"  # known now, whatever T is
    before = utc("2026-03-04T11:59")
    assert check_at(rules, log, "AM-01", "test", before, before)["state"] == "voided"
    log.strike(restoring, "2026-03-04T13:00", "restores")  # a striking cannot be struck
    log.strike(first, "2026-03-04T14:00")
    assert state(rules, log, "2026-03-04T15:00") == "stopped"


def test_struck_return_still_voids_and_gives_no_return() -> None:
    log = Log()
    log.add("withdrawn", "2026-03-04T07:00")
    log.done("2026-03-04T08:00")
    returned = log.add("returned", "2026-03-04T09:00")
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "not-cleared"
    log.strike(returned, "2026-03-04T10:00")
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "withdrawn"
    assert state(rulebook(DAY), log, "2026-03-04T09:00") == "voided"


def test_struck_limited_result_keeps_its_limit() -> None:
    rules = rulebook(
        DAY + '[[check]]\ncode = "extra"\nkinds = ["am"]\ngate = false\nendless = true'
    )
    log = Log()
    log.done("2026-03-04T08:00")
    limited = log.done("2026-03-04T08:00", "limited", what="extra", limits=["no low flow"])
    log.strike(limited, "2026-03-04T09:00")
    answer = standing_at(rules, log, "AM-01", utc("2026-03-04T09:00"), LATER)
    assert (answer["standing"], answer["limits"]) == ("limited", ["no low flow"])


# Standings, by hand


def test_standing_follows_the_first_line_that_applies() -> None:
    rules = rulebook(DAY)
    log = Log()
    steps: list[tuple[Callable[[str], int], str]] = [
        (lambda at: log.done(at), "cleared"),
        (lambda at: log.add("fault", at, outcome="limit", text="no low flow"), "limited"),
        (lambda at: log.add("fault", at, outcome="stop-use"), "not-cleared"),
        (lambda at: log.add("withdrawn", at), "withdrawn"),
        (lambda at: log.add("retired", at), "unknown"),
    ]
    for hour, (write, expected) in enumerate(steps, start=10):
        write(f"2026-03-04T{hour}:00")
        assert stands(rules, log, f"2026-03-04T{hour}:00") == expected
    assert stands(rules, log, "2019-12-31T23:59") == "unknown"
    assert stands(rules, log, "2020-01-01T00:00") == "not-cleared"


def test_exception_excuses_until_its_own_end_and_no_fault() -> None:
    rules = rulebook(DAY)
    log = Log()
    log.add("exception", "2026-03-04T08:00", until=utc("2026-03-04T10:00"))
    answer = standing_at(rules, log, "AM-01", utc("2026-03-04T08:00"), LATER)
    assert (answer["standing"], answer["until"]) == ("by-exception", utc("2026-03-04T10:00"))
    assert answer["excused"] == {"test": utc("2026-03-04T10:00")}
    [debt] = owed(rules, log, "AM-01", utc("2026-03-04T09:00"), LATER)
    assert debt["excused_until"] == utc("2026-03-04T10:00")
    log.done("2026-03-04T08:30", "stopped")
    assert stands(rules, log, "2026-03-04T08:30") == "by-exception"
    log.add("power-on", "2026-03-04T08:40")
    assert stands(rules, log, "2026-03-04T08:40") == "not-cleared"


def test_exception_does_not_excuse_what_lapses_later() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    log.add("exception", "2026-03-04T08:59", until=utc("2026-03-04T12:00"))
    assert stands(rulebook(DAY), log, "2026-03-04T08:59") == "cleared"
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "not-cleared"


def test_cleared_for_is_half_open() -> None:
    log = Log()
    log.done("2026-03-04T08:00")
    rules, at = rulebook(DAY), utc("2026-03-04T10:00")
    assert standing_at(rules, log, "AM-01", at, LATER)["until"] == utc("2026-03-05T08:00")
    assert cleared_for(rules, log, "AM-01", at, LATER, "PT22H")
    assert not cleared_for(rules, log, "AM-01", at, LATER, "PT22H0.000001S")


def test_version_last_adopted_judges_the_whole_history() -> None:
    lenient, strict = rulebook(DAY)[0][2], rulebook(DAY.replace("24H", "1H"))[0][2]
    versions = [(FIRST, FIRST, lenient), (utc("2026-03-04T12:00"), FIRST, strict)]
    log = Log()
    log.done("2026-03-04T08:00")
    assert stands(versions, log, "2026-03-04T11:59") == "cleared"
    assert stands(versions, log, "2026-03-04T12:00") == "not-cleared"
    assert not cleared_for(versions, log, "AM-01", utc("2026-03-04T11:00"), LATER, "PT2H")


def test_models_narrow_and_no_gate_is_unknown() -> None:
    log = Log()
    assert stands(
        rulebook(DAY.replace("voided_by", 'models = ["x"]\nvoided_by')), log, "2026-03-04"
    ) == ("unknown")
    assert stands(
        rulebook(DAY.replace("voided_by", "models = []\nvoided_by")), log, "2026-03-04"
    ) == ("not-cleared")


def test_least_work_is_the_fewest_attended_minutes() -> None:
    # By hand: of full (9), middle (4, readies short) and short (3 + 1 alone).
    rules, log = rulebook(COVERING), Log()
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == ["full"]
    log.done("2026-03-03", what="full", measures={"leak": "50"})
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == []
    log.done("2026-03-03", "stopped", what="short")
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == ["short"]


# Places, by hand

ROOMS = [
    {"place": "T1", "place_kind": "theatre", "area": "A", "order": 1, "with": "R1"},
    {"place": "R1", "place_kind": "room", "area": "A", "order": 2, "with": None},
]


def place(logs: list[Log], needs: str) -> dict[str, Any]:
    more = f'[[place_kind]]\ncode = "theatre"\nneeds = {needs}\n'
    entries: list[dict[str, Any]] = []
    for log in logs:
        entries += [{**entry, "seq": len(entries) + n} for n, entry in enumerate(log, start=1)]
    return place_at(rulebook(DAY, more=more), entries, ROOMS, "T1", utc("2026-03-04T09:00"), LATER)


def test_place_takes_the_best_and_warns_of_the_worse() -> None:
    good, bad = Log("AM-04"), Log("AM-19")
    good.done("2026-03-04T08:00")
    assert place([good], '["am"]') == {"standing": "cleared", "limits": []}
    assert place([good, bad], '["am"]') == {
        "standing": "limited",
        "limits": ["use AM-04 only: AM-19, also here, is not cleared"],
    }
    bad.add("withdrawn", "2026-03-04T08:30")
    assert place([good, bad], '["am"]')["standing"] == "cleared"
    assert place([good, bad], '["am", "am"]')["standing"] == "not-cleared"
    assert place([good], '["am", "am"]')["standing"] == "not-cleared"
    assert place([good], "[]")["standing"] == "unknown"
