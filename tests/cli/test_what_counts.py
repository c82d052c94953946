"""A good result that counts for nothing says so, and why."""

from __future__ import annotations

import pytest

from tests.cli.clocked import Clocked

LEAK = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60"]
SELF = ["done", "AM-02", "self-test", "pass"]
SUCTION = ["done", "AM-02", "suction-test", "pass"]
ABSORBENT = ["happened", "AM-02", "absorbent-change"]
NOTHING = "counts for nothing"


@pytest.mark.parametrize("until", ["pass", "limited"])
def test_what_came_under_the_test(clocked: Clocked, until: str) -> None:
    clocked.at("15:17", *ABSORBENT)
    limit = ["--limit", "weak"] if until == "limited" else []
    words = [*LEAK[:3], until, *LEAK[4:], *limit]
    said = clocked.says("15:42", *words, "--started", "15:00")
    this = "pass counts" if until == "pass" else "limited result counts"
    stays = ", but its limit stays" if limit else ""
    came = "an absorbent change at 15:17 GMT came under the test, which began at 15:00 GMT."
    assert f"This {this} for nothing{stays}: {came}" in said


def test_of_another_day_it_says_which(clocked: Clocked) -> None:
    clocked.at("15:17", *ABSORBENT)
    said = clocked.says("2040-01-16T07:00", *LEAK, "--started", "yesterday 15:00")
    came = "an absorbent change on Sun 15 Jan 15:17 GMT came under the test, which began on Sun 15"
    assert came in said


def test_a_test_that_takes_longer_than_the_time_since(clocked: Clocked) -> None:
    clocked.at("15:17", *ABSORBENT)
    said = clocked.says("15:20", *LEAK)
    assert "the test, which takes 5 min and began at 15:15 GMT at the latest." in said


def test_what_was_begun_in_the_book_and_altered(clocked: Clocked) -> None:
    clocked.at("15:00", "done", "AM-02", "leak-test", "begun")
    clocked.at("15:17", *ABSORBENT)
    assert "which began at 15:00 GMT." in clocked.says("15:42", *LEAK)


def test_a_fail_under_the_test_is_the_newer_look(clocked: Clocked) -> None:
    clocked.at("15:10", "done", "AM-02", "leak-test", "fail")
    said = clocked.says("15:42", *LEAK, "--started", "15:00")
    came = "a fail at 15:10 GMT came under the test, which began at 15:00 GMT."
    assert f"This pass {NOTHING}: {came}" in said


def test_after_a_fail_that_calls_the_engineer(clocked: Clocked) -> None:
    clocked.at("14:00", "done", "AM-02", "suction-test", "fail")
    said = clocked.says("15:42", *SUCTION)
    why = "the fail at 14:00 GMT waits for a return to use, and none came before this test began."
    assert f"This pass {NOTHING}: {why}" in said
    clocked.at("15:45", "return", "AM-02")
    assert NOTHING not in clocked.says("15:50", *SUCTION)


def test_a_rule_by_the_meter_without_a_reading(clocked: Clocked) -> None:
    words = ["done", "AM-02", "filter", "pass"]
    said = clocked.says("07:00", *words)
    rule = "by its rule, valid for 350 by the meter hours, it was over at once;"
    assert f"This pass {NOTHING}: {rule} look whether a reading is missing." in said
    clocked.at("07:05", "reading", "AM-02", "hours=4120")
    assert NOTHING not in clocked.says("07:10", *words)


def test_a_measure_that_fails_makes_it_a_fail(clocked: Clocked) -> None:
    said = clocked.says("07:00", *LEAK[:4], "--measure", "leak=320")
    assert "This pass counts as a fail: leak 320 mL/min, fails above 300." in said
    said = clocked.says("07:10", *SELF, "--measure", "leak=320")
    assert "As a leak test it counts as a fail: leak 320 mL/min, fails above 300." in said
    assert "This pass" not in said


def test_what_it_covers_needs_a_measure(clocked: Clocked) -> None:
    said = clocked.says("07:00", *SELF)
    assert "As a leak test it does not count: leak was not measured." in said
    assert "This pass" not in said
    clocked.at("07:05", *LEAK)
    assert "does not count" not in clocked.says("07:10", *SELF), "the leak test is ready"


def test_what_takes_away_both_is_said_once(clocked: Clocked) -> None:
    clocked.at("15:17", "happened", "AM-02", "circuit-change")
    said = clocked.says("15:42", *SELF, "--measure", "leak=60", "--started", "15:00")
    assert said.count("a circuit change at 15:17 GMT came under the test") == 1
    assert "As a leak test" not in said


def test_what_counts_and_was_ended_since_counts_for_something(clocked: Clocked) -> None:
    clocked.at("15:17", *ABSORBENT)
    for words in (LEAK, [*LEAK[:3], "stopped"], [*LEAK[:3], "fail"]):
        assert NOTHING not in clocked.says("15:42", *words, "--at", "15:05")
