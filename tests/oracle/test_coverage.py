"""Coverage of a period, worked by hand from docs/meaning.md and docs/decisions/0001."""

from typing import Any

import pytest

from tests.oracle import coverage
from tests.oracle.builder import DAY, LATER, TEST, Log, rulebook, utc

pytestmark = pytest.mark.usefixtures("answered_by")

RULES = rulebook(DAY)
MINUTE = 60_000_000


def case(log: Log, start: str, end: str) -> int:
    """A case on Wednesday 4 March 2026, both entries written when they were true."""
    seq = log.add("case-start", f"2026-03-04T{start}")
    log.add("case-end", f"2026-03-04T{end}")
    return seq


def covered(log: Log, start: str = "00:00", until: str = "23:00", **more: Any) -> dict[str, Any]:
    """The coverage of a time of that day."""
    period = utc(f"2026-03-04T{start}"), utc(f"2026-03-04T{until}")
    at, known = more.pop("at", LATER), more.pop("known", LATER)
    return coverage(more.pop("rules", RULES), log, "AM-01", *period, at, known)


def minutes(seen: dict[str, Any]) -> dict[str, int]:
    """The times in minutes."""
    return {word: time // MINUTE for word, time in seen["times"].items()}


def test_use_is_split_where_the_window_ends() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    number = case(log, "08:00", "09:30")
    found = covered(log)
    assert found["now"] == found["then"]
    assert minutes(found["now"]) == {"cleared": 60, "uncovered": 30}
    assert found["now"]["began_uncovered"] == []
    assert found["now"]["lapses"] == [(number, utc("2026-03-04T09:00"), "test")]


def test_a_case_that_begins_as_the_window_ends_began_uncovered_and_saw_no_end_of_it() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    case(log, "08:00", "09:00")
    number = case(log, "09:00", "09:10")
    found = covered(log)["now"]
    assert minutes(found) == {"cleared": 60, "uncovered": 10}
    assert (found["began_uncovered"], found["lapses"]) == ([number], [])


def test_a_pass_that_takes_over_from_another_ends_nothing() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    case(log, "08:00", "10:00")
    log.done("2026-03-04T08:30")
    assert covered(log)["now"] == {
        "times": {"cleared": 120 * MINUTE}, "began_uncovered": [], "lapses": [],
    }  # fmt: skip


def test_a_gate_that_was_not_ready_before_ends_at_no_change() -> None:
    log = Log()
    number = case(log, "08:00", "10:00")
    log.done("2026-03-04T08:30", "stopped")
    log.done("2026-03-04T09:00")
    log.done("2026-03-04T09:30", "stopped")
    found = covered(log)["now"]
    assert minutes(found) == {"uncovered": 90, "cleared": 30}
    assert found["lapses"] == [(number, utc("2026-03-04T09:30"), "test")]


def test_a_start_that_voids_a_gate_and_was_written_late_was_not_known_then() -> None:
    rules = rulebook(DAY.replace("power-on", "case-start"))
    log = Log()
    log.done("2026-03-04T07:00")
    number = log.add("case-start", "2026-03-04T08:00", recorded="2026-03-04T08:20")
    log.add("case-end", "2026-03-04T09:00")
    found = covered(log, rules=rules)
    assert minutes(found["now"]) == {"uncovered": 60}
    assert minutes(found["then"]) == {"cleared": 20, "uncovered": 40}
    assert (found["now"]["began_uncovered"], found["then"]["began_uncovered"]) == ([number], [])


def test_of_several_late_entries_each_is_known_from_its_own_writing_on() -> None:
    log = Log()
    log.done("2026-03-04T07:00", recorded="2026-03-04T08:10")
    case(log, "08:00", "09:00")
    log.add("power-on", "2026-03-04T07:30", recorded="2026-03-04T08:20")
    log.done("2026-03-04T07:45", recorded="2026-03-04T08:50")
    assert minutes(covered(log)["then"]) == {"cleared": 10 + 10, "uncovered": 10 + 30}


def test_a_pass_written_late_betters_what_is_known_now_only() -> None:
    log = Log()
    log.done("2026-03-04T07:00", recorded="2026-03-04T08:40")
    number = case(log, "08:00", "09:00")
    found = covered(log)
    assert minutes(found["now"]) == {"cleared": 60}
    assert minutes(found["then"]) == {"cleared": 20, "uncovered": 40}
    assert (found["now"]["began_uncovered"], found["then"]["began_uncovered"]) == ([], [number])


def test_what_ended_a_pass_and_was_written_late_was_not_known_then() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    number = case(log, "08:00", "09:00")
    log.add("power-on", "2026-03-04T08:10", recorded="2026-03-04T08:50")
    found = covered(log)
    assert minutes(found["now"]) == {"cleared": 10, "uncovered": 50}
    assert minutes(found["then"]) == {"cleared": 50, "uncovered": 10}
    assert found["now"]["lapses"] == [(number, utc("2026-03-04T08:10"), "test")]
    assert found["then"]["lapses"] == [(number, utc("2026-03-04T08:50"), "test")]


def test_a_striking_changes_nothing_that_was_known_before_it() -> None:
    log = Log()
    number = log.done("2026-03-04T07:00")
    case(log, "08:00", "09:00")
    log.strike(number, "2026-03-04T08:45")
    found = covered(log)
    assert minutes(found["now"]) == {"uncovered": 60}
    assert minutes(found["then"]) == {"cleared": 45, "uncovered": 15}


def test_a_restored_happening_was_known_until_it_was_struck() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    number = log.add("power-on", "2026-03-04T08:10")
    case(log, "08:00", "09:00")
    log.strike(number, "2026-03-04T08:45", "restores")
    found = covered(log)
    assert minutes(found["now"]) == {"cleared": 60}
    assert minutes(found["then"]) == {"cleared": 25, "uncovered": 35}


def test_use_by_exception_is_neither_cleared_nor_uncovered() -> None:
    log = Log()
    number = case(log, "08:00", "09:00")
    log.add("exception", "2026-03-04T08:20", until=utc("2026-03-04T08:50"))
    found = covered(log)["now"]
    assert minutes(found) == {"uncovered": 30, "by-exception": 30}
    assert found["began_uncovered"] == [number]


def test_a_machine_with_limits_is_covered_and_one_withdrawn_or_unknown_is_not() -> None:
    log = Log()
    log.done("2026-03-04T07:00", "limited", limits=["no low flow"])
    case(log, "08:00", "10:00")
    log.add("withdrawn", "2026-03-04T09:00")
    log.add("retired", "2026-03-04T09:30")
    assert minutes(covered(log)["now"]) == {"cleared": 60, "uncovered": 60}


def test_a_case_is_counted_inside_the_period_and_began_where_it_began() -> None:
    log = Log()
    log.add("power-on", "2026-03-04T07:00")
    number = case(log, "08:00", "09:00")
    early, late = covered(log, "07:00", "08:20")["now"], covered(log, "08:20", "23:00")["now"]
    assert (minutes(early), early["began_uncovered"]) == ({"uncovered": 20}, [number])
    assert (minutes(late), late["began_uncovered"]) == ({"uncovered": 40}, [])


def test_a_window_that_ends_just_where_the_period_begins_ended_in_it() -> None:
    log = Log()
    log.done("2026-03-03T08:20")
    number = case(log, "08:00", "09:00")
    assert covered(log, "07:00", "08:20")["now"]["lapses"] == []
    late = covered(log, "08:20", "23:00")["now"]
    assert late["lapses"] == [(number, utc("2026-03-04T08:20"), "test")]


def test_nothing_after_the_instant_asked_about_counts() -> None:
    log = Log()
    case(log, "08:00", "09:00")
    log.done("2026-03-04T08:30")
    found = covered(log, at=utc("2026-03-04T08:40"))
    # Its end lies ahead: of a case without one, what was cleared does not count.
    assert minutes(found["now"]) == minutes(found["then"]) == {"uncovered": 30}


@pytest.mark.parametrize("known", ["2026-03-04T08:40", "2026-03-04T09:00"])
def test_what_was_written_after_k_is_neither_known_now_nor_then(known: str) -> None:
    log = Log()
    case(log, "08:00", "09:00")
    log.done("2026-03-04T08:00", recorded="2026-03-04T09:01")
    found = covered(log, known=utc(known), until="09:00")
    assert minutes(found["now"]) == minutes(found["then"]) == {"uncovered": 60}


def test_what_was_written_at_k_is_known_at_k_and_was_not_before() -> None:
    log = Log()
    log.done("2026-03-04T07:00", recorded="2026-03-04T08:30")
    case(log, "08:00", "09:00")
    log.add("power-on", "2026-03-04T08:40")
    found = covered(log, known=utc("2026-03-04T08:30"), until="08:30")
    # The case has no end by then, and so much of it as was cleared does not count.
    assert (minutes(found["now"]), minutes(found["then"])) == ({}, {"uncovered": 30})


# What was not written, or struck


def test_without_its_end_a_case_lasts_to_the_next_and_counts_where_it_was_not_cleared() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    log.add("case-start", "2026-03-04T08:00")
    case(log, "10:00", "10:30")
    assert minutes(covered(log)["now"]) == {"uncovered": 60 + 30}


def test_the_last_case_without_an_end_goes_on() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    log.add("case-start", "2026-03-04T08:00")
    assert minutes(covered(log, until="12:00")["now"]) == {"uncovered": 180}
    log.done("2026-03-04T09:30")
    assert minutes(covered(log, until="12:00")["now"]) == {"uncovered": 30}


def test_an_end_without_a_start_may_end_what_began_at_the_end_before_it() -> None:
    log = Log()
    log.done("2026-03-03T10:00")
    case(log, "08:00", "09:00")
    log.add("case-end", "2026-03-04T10:20")
    found = covered(log)["now"]
    assert minutes(found) == {"cleared": 60, "uncovered": 20}
    assert found["began_uncovered"] == []


def test_a_first_end_without_a_start_ends_what_may_have_begun_at_the_commissioning() -> None:
    log = Log()
    log.add("case-end", "2026-03-04T01:00")
    assert minutes(covered(log)["now"]) == {"uncovered": 60}


def test_a_struck_start_goes_on_counting_and_a_restored_one_counts_for_nothing() -> None:
    for outcome, expected in (("", {"uncovered": 60}), ("restores", {})):
        log = Log()
        number = case(log, "08:00", "09:00")
        log.done("2026-03-04T09:00")
        case(log, "10:00", "10:00")
        log.strike(number, "2026-03-04T11:00", outcome)
        log.strike(number + 1, "2026-03-04T11:00", outcome)
        assert minutes(covered(log, until="10:00")["now"]) == expected


def test_after_a_struck_end_the_case_may_go_on_until_the_next() -> None:
    log = Log()
    log.done("2026-03-03T10:00")
    number = case(log, "08:00", "09:00")
    log.strike(number + 1, "2026-03-04T09:00")
    case(log, "11:00", "11:30")
    assert minutes(covered(log)["now"]) == {"cleared": 60, "uncovered": 60 + 30}


def test_when_a_case_without_a_start_began_nobody_knows() -> None:
    log = Log()
    number = case(log, "08:00", "09:00")
    log.add("case-end", "2026-03-04T09:30")
    log.strike(number + 2, "2026-03-04T09:40")
    found = covered(log, until="10:00")["now"]
    assert minutes(found) == {"uncovered": 60 + 30 + 30}
    assert found["began_uncovered"] == [number]


def test_before_its_commissioning_a_machine_was_in_no_use() -> None:
    log = Log()
    log.add("case-end", "2020-01-01T01:00")
    period = utc("2019-12-31"), utc("2020-01-02")
    found = coverage(RULES, log, "AM-01", *period, LATER, LATER)["now"]
    assert minutes(found) == {"uncovered": 60}


def test_a_case_of_no_length_began_uncovered_all_the_same() -> None:
    log = Log()
    number = case(log, "08:00", "08:00")
    found = covered(log)["now"]
    assert (found["times"], found["began_uncovered"]) == ({}, [number])
    log.done("2026-03-04T07:00")
    assert covered(log)["now"]["began_uncovered"] == []


def test_no_case_leaves_nothing_to_tell() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    assert covered(log)["now"] == {"times": {}, "began_uncovered": [], "lapses": []}


# Versions


def test_each_instant_is_judged_by_the_version_in_force_at_it() -> None:
    strict = rulebook(TEST + '[[check.validity]]\nvalid_for = "PT1H"\n')[0][2]
    start, recorded = utc("2026-03-04T08:30"), utc("2026-03-04T08:00")
    log = Log()
    log.done("2026-03-04T07:00")
    number = case(log, "08:00", "09:00")
    found = covered(log, rules=[*RULES, (start, recorded, strict)])
    assert minutes(found["now"]) == minutes(found["then"]) == {"cleared": 30, "uncovered": 30}
    assert found["now"]["lapses"] == [(number, start, "test")]


def test_before_the_book_had_rules_nothing_was_known() -> None:
    log = Log()
    log.done("2026-03-04T07:00")
    case(log, "08:00", "09:00")
    found = covered(log, rules=[(utc("2026-03-04T08:30"), utc("2026-03-04T08:30"), RULES[0][2])])
    assert minutes(found["now"]) == {"cleared": 60}
    assert minutes(found["then"]) == {"cleared": 30, "uncovered": 30}
