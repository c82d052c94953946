"""Attempts, windows, states and striking, worked by hand from docs/meaning.md."""

import pytest

from tests.oracle import check_at, least_work, others_must, standing_at, windows
from tests.oracle.builder import COVERING, DAY, LATER, TEST, Log, rulebook, stands, state, utc

pytestmark = pytest.mark.usefixtures("answered_by")

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


def test_fault_closed_that_a_check_lists_voids_it_whatever_the_fault() -> None:
    log = Log()
    fault = log.add("fault", "2026-03-04T08:00", outcome="limit")
    log.done("2026-03-04T09:00")
    log.add("fault-closed", "2026-03-04T10:00", of=fault)
    listed = rulebook(DAY.replace('["power-on"]', '["fault-closed"]'))
    assert state(listed, log, "2026-03-04T10:00") == "voided"


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
    nine = utc("2026-03-04T09:00")
    assert others_must(rules, log, "AM-01", nine, LATER) == ["returned"]
    assert least_work(rules, log, "AM-01", nine, LATER) == ["test"]
    log.add("returned", "2026-03-04T10:00")
    assert others_must(rules, log, "AM-01", utc("2026-03-04T10:00"), LATER) == []
    assert least_work(rules, log, "AM-01", utc("2026-03-04T10:00"), LATER) == ["test"]
    log.done("2026-03-04T11:00")
    assert state(rules, log, "2026-03-04T11:00") == "valid"


def test_only_what_came_between_the_fail_and_the_pass_lets_it_be_repeated() -> None:
    rules = rulebook(DAY.replace("voided_by", 'after_fail = "engineer"\nvoided_by'))
    log = Log()
    log.add("returned", "2026-03-04T07:00")
    log.done("2026-03-04T08:00", "fail")
    returned = log.add("returned", "2026-03-04T08:30")
    log.done("2026-03-04T09:00")
    assert state(rules, log, "2026-03-04T09:00") == "valid"
    log.strike(returned, "2026-03-04T09:30")
    assert state(rules, log, "2026-03-04T09:30") == "failed"
    log.add("returned", "2026-03-04T10:00")
    log.done("2026-03-04T11:00", started="2026-03-04T09:59")
    assert state(rules, log, "2026-03-04T11:00") == "failed"


def test_after_a_second_fail_the_engineer_comes_again() -> None:
    rules = rulebook(DAY.replace("voided_by", 'after_fail = "engineer"\nvoided_by'))
    log = Log()
    log.done("2026-03-04T08:00", "fail")
    log.add("returned", "2026-03-04T08:30")
    log.done("2026-03-04T09:00", "fail")
    log.done("2026-03-04T10:00")
    assert state(rules, log, "2026-03-04T10:00") == "failed"


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


def test_struck_covering_result_without_a_required_measure_is_a_stopped_attempt() -> None:
    rules = rulebook(COVERING.replace("required = false", "required = true"))
    log = Log()
    log.done("2026-03-04T07:00", what="short", measures={"leak": "50", "hold": "9"})
    full = log.done("2026-03-04T08:00", what="full", measures={"leak": "50"})
    assert state(rules, log, "2026-03-04T08:00", "short") == "valid"
    log.strike(full, "2026-03-04T09:00")
    assert state(rules, log, "2026-03-04T09:00", "short") == "stopped"


@pytest.mark.parametrize(("alone", "short"), [(0, "valid"), (5, "voided")])
def test_a_test_takes_the_minutes_of_the_check_that_was_done(alone: int, short: str) -> None:
    # Half a minute before its end; the covered check itself would take one.
    rules = rulebook(COVERING.replace("hands_on = 9", f"hands_on = 9, alone = {alone}"))
    log = Log()
    log.add("opened", "2026-03-04T07:59:30")
    log.done("2026-03-04T08:00", what="full", measures={"leak": "50"})
    assert state(rules, log, "2026-03-04T08:00", "short") == short


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


def test_what_was_written_and_what_was_measured_both_limit() -> None:
    log = Log()
    measures = {"leak": "260"}
    log.done("2026-03-04T08:00", "limited", what="full", measures=measures, limits=["no air"])
    answer = standing_at(rulebook(COVERING), log, "AM-01", utc("2026-03-04T08:00"), LATER)
    assert answer["limits"] == [
        "no air",
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


def test_struck_end_of_a_fault_leaves_it_open() -> None:
    log = Log()
    fault = log.add("fault", "2026-03-04T07:00", outcome="stop-use")
    closed = log.add("fault-closed", "2026-03-04T08:00", of=fault)
    log.done("2026-03-04T09:00")
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "cleared"
    log.strike(closed, "2026-03-04T10:00")
    assert stands(rulebook(DAY), log, "2026-03-04T10:00") == "not-cleared"


def test_struck_limited_result_keeps_its_limit() -> None:
    rules = rulebook(
        DAY
        + '[[check]]\ncode = "extra"\ntitle = "Extra"\nkinds = ["am"]\ngate = false\nendless = true'
    )
    log = Log()
    log.done("2026-03-04T08:00")
    limited = log.done("2026-03-04T08:00", "limited", what="extra", limits=["no low flow"])
    log.strike(limited, "2026-03-04T09:00")
    answer = standing_at(rules, log, "AM-01", utc("2026-03-04T09:00"), LATER)
    assert (answer["standing"], answer["limits"]) == ("limited", ["no low flow"])


def test_struck_reading_gives_nothing_and_still_ends_what_it_ended() -> None:
    rules = rulebook(
        TEST + '[[check.validity]]\nvalid_for_use = 100\nmeter = "hours"\nreading_within = "P7D"'
    )
    log = Log()
    log.read("2026-01-01", "0")
    log.done("2026-01-02")
    high = log.read("2026-01-03", "100")
    log.strike(high, "2026-01-04")
    assert state(rules, log, "2026-01-05") == "lapsed"
    log.strike(high, "2026-01-04", "restores")
    assert state(rules, log, "2026-01-05") == "valid"
    renewed = log.read("2026-01-06", "1")
    assert state(rules, log, "2026-01-12") == "valid"
    log.strike(renewed, "2026-01-12")
    assert state(rules, log, "2026-01-12") == "lapsed"  # no reading for seven days
