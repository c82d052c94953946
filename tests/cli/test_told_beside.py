"""What a write says beside the standing: a case under a test, a closing, a return for nothing."""

from __future__ import annotations

from pathlib import Path

from freezegun import freeze_time

from tests.cli.clocked import RULES, Clocked

LEAK = ("done", "AM-02", "leak-test")
NOW = ("pass", "--measure", "leak=60")
REPAIRED = ("--how", "repaired")
STOP = ("fault", "AM-02", "stop-use", "--note", "no flow")
LIMIT = ("fault", "AM-02", "limit", "--note", "dim lamp")


def test_a_case_that_begins_under_a_test_is_told_at_its_start_and_at_the_pass(
    clocked: Clocked,
) -> None:
    clocked.at("07:00", *LEAK, "begun")
    said = clocked.says("07:05", "happened", "AM-02", "case-start")
    assert "A leak test is under way since 07:00 GMT." in said
    said = clocked.says("07:10", *LEAK, *NOW)
    assert "A case began at 07:05 GMT, under this test." in said
    clocked.at("07:20", "happened", "AM-02", "case-end")
    assert "under way" not in clocked.says("07:30", "happened", "AM-02", "case-start")


def test_a_case_before_or_after_a_test_is_not_told_with_it(clocked: Clocked) -> None:
    clocked.at("06:30", "happened", "AM-02", "case-start")
    clocked.at("07:00", *LEAK, "begun")
    assert "A case began" not in clocked.says("07:10", *LEAK, *NOW)


def test_a_case_that_begins_while_another_one_has_no_end_says_so(clocked: Clocked) -> None:
    case = ("happened", "AM-02", "case-start")
    assert "case before" not in clocked.says("06:30", *case)
    said = clocked.says("07:10", *case)
    assert (
        "The case before this one began at 06:30 GMT, 40 min ago, entry 6, and has no end in the"
        " book."
    ) in said
    assert "case before" not in clocked.says("07:12", *case, "--at", "06:10"), "of none before it"
    clocked.at("07:20", "happened", "AM-02", "case-end")
    assert "case before" not in clocked.says("07:30", *case)
    clocked.at("07:40", "strike", "10", "--restores", "--reason", "wrong machine")
    assert "case before" not in clocked.says("07:50", *case)
    clocked.at("07:55", "strike", "12", "--reason", "wrong machine")
    assert "case before" not in clocked.says("08:00", *case)


def test_a_pass_that_counts_for_a_covered_check_is_not_for_nothing(tmp_path: Path) -> None:
    """Here a change of the absorbent ends the self-test, and not the leak test that it covers."""
    rules = RULES.replace(', "absorbent-change"]', "]").replace(
        '"circuit-change"]\ngate', '"circuit-change", "absorbent-change"]\ngate'
    )
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        one = Clocked(tmp_path, clock, rules)
        one.at("07:00", "done", "AM-02", "self-test", "begun")
        one.at("07:05", "happened", "AM-02", "absorbent-change")
        said = one.says("07:10", "done", "AM-02", "self-test", *NOW)
    assert "Now ready: leak test." in said
    assert "As a full self-test this pass counts for nothing: " in said
    assert "This pass" not in said


def test_the_job_number_stands_where_the_closing_does(clocked: Clocked) -> None:
    fault = clocked.wrote("07:00", *STOP)
    close = ("fault-closed", "AM-02", fault, "--how", "repaired", "--ref", "JOB-1234", "--by", "hv")
    closing = f"Fault {fault} closed, repaired, JOB-1234"
    assert f"{closing}." in clocked.says("07:30", *close)
    assert closing in clocked.says("07:40", "log", "AM-02")


def test_why_shows_the_job_number_of_a_fault_of_its_closing_and_of_a_return(
    clocked: Clocked,
) -> None:
    def why(time: str) -> str:
        return " ".join(clocked.at(time, "why", "AM-02", code=1).out.split())

    clocked.at("06:50", "done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd")
    fault = clocked.wrote("07:00", *STOP, "--ref", "JOB-7", "--by", "kd")
    assert "by kd, ref JOB-7: no flow" in why("07:10")
    clocked.at("07:20", "fault-closed", "AM-02", fault, *REPAIRED, "--ref", "JOB-8", "--by", "hv")
    assert f"fault-closed (fault {fault}), 07:20 GMT, 5 min ago, by hv, ref JOB-8" in why("07:25")
    clocked.at("07:30", "done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd")
    clocked.at("07:40", "return", "AM-02", "--by", "hv", "--ref", "JOB-9")
    assert "returned, 07:40 GMT, 10 min ago, by hv, ref JOB-9" in why("07:50")


def test_a_fault_that_came_and_went_within_the_shift_is_handed_over(clocked: Clocked) -> None:
    fault = clocked.wrote("07:00", *STOP)
    close = ("fault-closed", "AM-02", fault, "--how", "repaired", "--ref", "JOB-1234", "--by", "hv")
    number = clocked.wrote("07:30", *close)
    span = "AM-02, 07:00 GMT to 07:30 GMT"
    told = f"{span}, stop-use fault (no flow): {fault} closed, repaired, JOB-1234, by hv"
    assert f"Faults closed {told}, entry {number}." in clocked.says("08:00", "handover")
    (one,) = clocked.at("08:00", "handover", "--json").document["faults_closed"]
    assert (one["fault"], one["how"], one["ref"]) == (int(fault), "repaired", "JOB-1234")
    assert "Faults closed" not in clocked.says("08:00", "handover", "--since", "07:45")


def test_a_fault_is_closed_once(clocked: Clocked) -> None:
    fault = clocked.wrote("07:00", *STOP)
    accept = (
        "fault-closed",
        "AM-02",
        fault,
        "--how",
        "accepted",
        "--limit",
        "by hand",
        "--by",
        "hv",
    )
    clocked.at("07:30", *accept)
    said = clocked.at("07:40", "fault-closed", "AM-02", fault, *REPAIRED, code=2)
    number = int(fault)
    told = f"fault {fault} was closed by entry {number + 1}; its limit is fault {number + 2}\n"
    assert said.err.endswith(told)


def test_a_closing_whose_own_closing_was_struck_may_be_written_anew(clocked: Clocked) -> None:
    fault = clocked.wrote("07:00", *STOP)
    number = clocked.wrote("07:30", "fault-closed", "AM-02", fault, *REPAIRED)
    clocked.at("07:35", "strike", number, "--reason", "not yet")
    clocked.at("07:40", "fault-closed", "AM-02", fault, *REPAIRED)


def test_which_of_the_open_faults_is_closed_must_be_said(clocked: Clocked) -> None:
    first, second = clocked.wrote("07:00", *STOP), clocked.wrote("07:05", *LIMIT)
    said = clocked.at("07:10", "fault-closed", "AM-02", *REPAIRED, code=2)
    commands = (f"`checkwatch fault-closed AM-02 {one} --how HOW`" for one in (first, second))
    assert said.err.endswith(f"which fault is closed is not said; {' or '.join(commands)}\n")


def test_a_return_of_what_was_not_out_is_told(clocked: Clocked) -> None:
    told = "AM-02 was not withdrawn and waited for no engineer"
    assert told in clocked.says("07:00", "return", "AM-02")
    clocked.at("07:10", "withdraw", "AM-02")
    assert told not in clocked.says("07:20", "return", "AM-02")
    clocked.at("07:30", "done", "AM-02", "suction-test", "fail")
    assert told not in clocked.says("07:40", "return", "AM-02")


def test_an_exception_until_a_time_that_is_over_today_says_tomorrow(clocked: Clocked) -> None:
    use = ("except", "AM-02", "--reason", "airway", "--decided", "ms", "--until")
    said = clocked.at("20:50", *use, "00:30", code=2)
    assert said.err.endswith('say --until "tomorrow 00:30"\n')
    clocked.at("20:50", *use, "tomorrow 00:30")
