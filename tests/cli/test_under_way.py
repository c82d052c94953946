"""A test that was begun in the book began then, also where its result does not say so."""

from __future__ import annotations

import pytest

from tests.cli.clocked import Clocked

BEGUN = ["done", "AM-02", "leak-test", "begun"]
PASS = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60"]
SUCTION = ["done", "AM-02", "suction-test", "pass"]
CHANGE = ["happened", "AM-02", "circuit-change"]


def test_a_change_after_the_beginning_that_was_written_voids_the_pass(clocked: Clocked) -> None:
    clocked.at("06:10", *SUCTION)
    begun = clocked.wrote("15:10", *BEGUN)
    clocked.at("15:15", *CHANGE)
    said = clocked.at("15:42", *PASS)
    since = f"begun at 15:10 GMT by kd, entry {begun}"
    assert said.err == f"{since}; say --started if that was another test\n"
    assert clocked.started() == "2040-01-15T15:10:00Z"
    clocked.at("15:43", "cleared", "AM-02", code=1)


def test_said_otherwise_the_test_began_otherwise(clocked: Clocked) -> None:
    clocked.at("06:10", *SUCTION)
    clocked.at("15:10", *BEGUN)
    clocked.at("15:15", *CHANGE)
    said = clocked.at("15:42", *PASS, "--started", "15:20")
    assert (said.err, clocked.started()) == ("", "2040-01-15T15:20:00Z")
    clocked.at("15:43", "cleared", "AM-02", code=0)


@pytest.mark.parametrize("outcome", ["limited", "fail", "stopped"])
def test_whatever_it_came_to(clocked: Clocked, outcome: str) -> None:
    clocked.at("15:10", *BEGUN)
    limit = ["--measure", "leak=60", "--limit", "dim"] if outcome == "limited" else []
    clocked.at("15:42", "done", "AM-02", "leak-test", outcome, *limit)
    assert clocked.started() == "2040-01-15T15:10:00Z"


def test_what_covers_the_check_and_is_under_way_is_another_test(clocked: Clocked) -> None:
    clocked.at("15:10", "done", "AM-02", "self-test", "begun")
    said = clocked.at("15:42", *PASS)
    assert (said.err, clocked.started()) == ("", "")


@pytest.mark.parametrize(
    "before",
    [
        [],
        [["done", "AM-02", "self-test", "fail"]],
        [BEGUN, PASS],
        [BEGUN, ["done", "AM-02", "leak-test", "stopped"]],
        [BEGUN, ["strike", "6", "--reason", "not AM-02", "--restores"]],
    ],
)
def test_where_no_test_is_under_way_none_began(clocked: Clocked, before: list[list[str]]) -> None:
    for words in before:
        clocked.at("15:10", *words)
    said = clocked.at("15:42", *PASS)
    assert (said.err, clocked.started()) == ("", "")


def test_one_test_after_the_other_may_begin(clocked: Clocked) -> None:
    clocked.at("15:10", *BEGUN)
    said = clocked.at("15:42", *BEGUN)
    assert (said.err, clocked.started()) == ("", "")


def test_a_beginning_after_the_result_is_none_of_it(clocked: Clocked) -> None:
    clocked.at("15:10", *BEGUN)
    said = clocked.at("15:42", *PASS, "--at", "15:05")
    assert (said.err, clocked.started()) == ("", "")
